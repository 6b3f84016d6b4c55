"""The tables of the journal. How they came to be, version by version, is in ``migrations``.

A check is one row of ``checks`` with its sides and its pieces; a piece's figures have columns of their own,
so that any SQLite tool can read them; the rest of it (outlines, budget) is JSON as ``serialise`` writes it.
Times are ISO 8601 text, which sorts by itself: ``practised`` in the cook's own time, the others in UTC.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import (
    JSON,
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

# The versions of the tables in their order; a journal says which it has in ``alembic_version``.
VERSIONS = ("0001", "0002")

metadata = MetaData()


def _figure(name: str) -> Column[float]:
    return Column(name, Float)


def _needed(name: str, kind: type[TypeEngine[Any]]) -> Column[Any]:
    return Column(name, kind, nullable=False)


# ``key`` names a row the same in every journal that it is taken to; ``id`` only in this one, and is not given
# to another row after a removal.
cooks = Table(
    "cooks",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("key", Text, nullable=False, unique=True),
    _needed("name", Text),
    _needed("added", Text),
    sqlite_autoincrement=True,
)

checks = Table(
    "checks",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("key", Text, nullable=False, unique=True),
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
    *(_figure(f"{side}_{what}") for side in ("length", "width", "height") for what in ("mm", "u95")),
    Column("verdict", Text),
    _figure("conformity"),
    _needed("flags", JSON),
    _needed("rest", JSON),
)

# What a cook or instructor aims at: a share on size in so many sessions, so many days apart.
goals = Table(
    "goals",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("key", Text, nullable=False, unique=True),
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
