"""The tables of the journal. How they came to be, version by version, is in ``migrations``.

A check is one row of ``checks`` with its sides and its pieces; a piece's figures have columns of their own,
so that any SQLite tool can read them; the rest of it (outlines, budget) is JSON as ``serialise`` writes it.
Times are ISO 8601 text, which sorts by itself: ``practised`` in the cook's own time, the others in UTC.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)
from sqlalchemy.sql.type_api import TypeEngine

from cutcheck.records import SIDES

# The versions of the tables in their order; a journal says which it has in ``alembic_version``.
VERSIONS = ("0001", "0002", "0003")

metadata = MetaData()


def _figure(name: str) -> Column[float]:
    return Column(name, Float)


def _needed(name: str, kind: type[TypeEngine[Any]]) -> Column[Any]:
    return Column(name, kind, nullable=False)


def _named_row() -> tuple[Column[Any], ...]:
    """``key`` names a row the same in every journal that it is taken to; ``id`` only in this one, and is not
    given to another row after a removal."""
    return Column("id", Integer, primary_key=True), Column("key", Text, nullable=False, unique=True)


cooks = Table(
    "cooks",
    metadata,
    *_named_row(),
    _needed("name", Text),
    _needed("added", Text),
    sqlite_autoincrement=True,
)

checks = Table(
    "checks",
    metadata,
    *_named_row(),
    Column("cook_id", Integer, ForeignKey("cooks.id", ondelete="CASCADE"), nullable=False),
    # the photo as it came; unique, so that the same photo is kept once
    Column("sha256", Text, nullable=False, unique=True),
    _needed("file", Text),
    _needed("width_px", Integer),
    _needed("height_px", Integer),
    Column("taken", Text),
    _needed("practised", Text),
    _needed("kept", Text),
    Column("cut", Text),
    Column("standard", Text),
    Column("produce", Text),
    Column("cut_version", Text),
    _needed("program_version", Text),
    *(_figure(name) for name in ("mark", "mark_low", "mark_high", "on_size", "evenness", "squareness")),
    Column("counted", Integer),
    _figure("sampling"),
    *(_figure(name) for name in ("raw_g", "finished_g", "waste_g", "minutes")),
    _needed("note", Text),
    _needed("scale", JSON),
    Column("suggested", JSON(none_as_null=True)),
    # what it takes to measure the photo again: reference, print check, lens
    _needed("taking", JSON),
    _needed("advice", JSON),
    _needed("warnings", JSON),
    Index("checks_of_cook", "cook_id", "cut", "practised"),
    sqlite_autoincrement=True,
)

sides = Table(
    "sides",
    metadata,
    Column("check_id", Integer, ForeignKey("checks.id", ondelete="CASCADE"), primary_key=True),
    Column("side", Text, primary_key=True),
    _needed("label", Text),
    _needed("low_mm", Float),
    _needed("high_mm", Float),
    *(_figure(name) for name in ("mean_mm", "mean_u_mm", "sd_mm", "noise_mm", "share_on_size")),
    _needed("seen", Integer),
    sqlite_with_rowid=False,
)

pieces = Table(
    "pieces",
    metadata,
    Column("check_id", Integer, ForeignKey("checks.id", ondelete="CASCADE"), primary_key=True),
    Column("number", Integer, primary_key=True),
    _needed("shape", Text),
    *(_figure(f"{side}_{what}") for side in SIDES for what in ("mm", "u95")),
    Column("verdict", Text),
    _figure("conformity"),
    _needed("flags", JSON),
    _needed("rest", JSON),
)

# What a cook or instructor aims at: a share on size in so many sessions, so many days apart.
goals = Table(
    "goals",
    metadata,
    *_named_row(),
    Column("cook_id", Integer, ForeignKey("cooks.id", ondelete="CASCADE"), nullable=False),
    _needed("cut", Text),
    _needed("on_size", Float),
    _needed("sessions", Integer),
    _needed("days_apart", Integer),
    _needed("set_on", Text),
    UniqueConstraint("cook_id", "cut"),
)

# Only where the cook wants the photo kept: a copy without place and serial numbers.
photos = Table(
    "photos",
    metadata,
    Column("check_id", Integer, ForeignKey("checks.id", ondelete="CASCADE"), primary_key=True),
    _needed("kind", Text),
    _needed("data", LargeBinary),
)

# ---- the gradebook: classes and graded work. It is apart from ``cooks`` and ``checks``: those are practice,
# and practice is the student's own.

students = Table(
    "students",
    metadata,
    *_named_row(),
    _needed("name", Text),
    _needed("added", Text),
    sqlite_autoincrement=True,
)

classes = Table(
    "classes",
    metadata,
    *_named_row(),
    _needed("name", Text),
    _needed("begins", Text),
    _needed("ends", Text),
    sqlite_autoincrement=True,
)

# A card number is a person's for a class and some days, both ends included; the number may come back later.
members = Table(
    "members",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("class_id", Integer, ForeignKey("classes.id", ondelete="CASCADE"), nullable=False),
    Column("student_id", Integer, ForeignKey("students.id", ondelete="CASCADE"), nullable=False),
    _needed("number", Integer),
    _needed("begins", Text),
    _needed("ends", Text),
    Index("members_of_class", "class_id", "number"),
    sqlite_autoincrement=True,
)

# ``rubric`` and ``standard_text`` are what they were on that day, whatever becomes of the files.
assignments = Table(
    "assignments",
    metadata,
    *_named_row(),
    Column("class_id", Integer, ForeignKey("classes.id", ondelete="CASCADE"), nullable=False),
    _needed("name", Text),
    _needed("cut", Text),
    Column("standard", Text),
    Column("standard_text", Text),
    Column("produce", Text),
    _needed("rubric", Text),
    _needed("day", Text),
    _needed("blind", Boolean),
    Index("assignments_of_class", "class_id", "day"),
    sqlite_autoincrement=True,
)

gradings = Table(
    "gradings",
    metadata,
    *_named_row(),
    Column("assignment_id", Integer, ForeignKey("assignments.id", ondelete="CASCADE"), nullable=False),
    Column("student_id", Integer, ForeignKey("students.id", ondelete="CASCADE"), nullable=False),
    _needed("sha256", Text),
    _needed("kept", Text),
    *(_needed(name, Float) for name in ("points", "low", "high", "sample_low", "sample_high")),
    _needed("scale_text", Text),
    _needed("passed", Boolean),
    _needed("second_look", Boolean),
    _needed("pass_probability", Float),
    _needed("counted", Integer),
    _needed("points_all", Float),
    # what went into it: {name: points}, {piece: reason}, weights in g and minutes
    _needed("hand_marks", JSON),
    _needed("excluded", JSON),
    _needed("extras", JSON),
    _needed("scale_u", Float),
    _needed("parts", JSON),
    _needed("not_marked", JSON),
    _needed("result", JSON),
    UniqueConstraint("assignment_id", "student_id"),
    Index("gradings_of_student", "student_id"),
    sqlite_autoincrement=True,
)

grading_photos = Table(
    "grading_photos",
    metadata,
    Column("grading_id", Integer, ForeignKey("gradings.id", ondelete="CASCADE"), primary_key=True),
    _needed("kind", Text),
    _needed("data", LargeBinary),
)

# Only grows: triggers of the database refuse to change or remove a line. It names people by key, so that who
# is removed stays in it as a pseudonym alone; nothing in it refers to a row that may go.
grade_log = Table(
    "grade_log",
    metadata,
    Column("id", Integer, primary_key=True),
    _needed("written", Text),
    _needed("who", Text),
    _needed("what", Text),
    Column("class_key", Text),
    Column("assignment_key", Text),
    Column("student_key", Text),
    Column("grading_key", Text),
    _figure("before"),
    _figure("after"),
    _needed("why", Text),
    Index("grade_log_of_class", "class_key"),
    Index("grade_log_of_grading", "grading_key"),
    sqlite_autoincrement=True,
)
