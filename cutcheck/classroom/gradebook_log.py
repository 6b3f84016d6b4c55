"""The log of grades: it only grows. Names are never in it; it says who a line is about by key."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Connection, func, insert, select

from cutcheck.classroom.gradebook_entries import LogLine
from cutcheck.errors import CutcheckError
from cutcheck.journal.schema import grade_log, gradings, students

FEWEST_LETTERS = 4  # of a key in a pseudonym; more where two would be the same
LONGEST = 500

GRADED, AGAIN, SET = "graded", "graded again", "mark set by hand"
TAKEN_BACK = "graded tray taken back"
RUBRIC, REVEALED = "rubric changed", "names shown"
REMOVED, CLASS_REMOVED, FORGOTTEN = "person removed", "class removed", "work past its time removed"


def write(
    connection: Connection,
    now: datetime,
    who: str,
    what: str,
    why: str = "",
    *,
    name: str = "",
    keys: Mapping[str, str | None],
    before: float | None = None,
    after: float | None = None,
) -> None:
    """Add a line. ``keys`` are of class, assignment, student and grading, as the columns are called.

    The person's ``name`` is taken out of ``why``: what is written here stays when the person is removed.
    """
    key = keys.get("student_key")
    why = without_name(_plain(why), name, f"Student {key[:FEWEST_LETTERS]}") if key else _plain(why)
    line = {"written": moment(connection, now), "who": _plain(who), "what": what, "why": why}
    connection.execute(insert(grade_log).values(**line, **keys, before=before, after=after))


def moment(connection: Connection, now: datetime) -> str:
    """The time to write down, UTC: never before one that was written, so that a clock which jumps back makes
    nothing look old."""
    last = [
        connection.execute(select(func.max(column))).scalar()
        for column in (grade_log.c.written, gradings.c.kept)
    ]
    utc = now.astimezone(UTC) if now.tzinfo else now.replace(tzinfo=UTC)
    return max(utc.isoformat(timespec="seconds"), *(time or "" for time in last))


def lines(connection: Connection, *conditions: Any) -> tuple[LogLine, ...]:
    """The lines that meet the conditions, oldest first, with names only of who and what is still there."""
    query = (
        select(grade_log, students.c.name.label("name"), gradings.c.id.label("grading_id"))
        .outerjoin(students, students.c.key == grade_log.c.student_key)
        .outerjoin(gradings, gradings.c.key == grade_log.c.grading_key)
        .where(*conditions)
        .order_by(grade_log.c.id)
    )
    rows = connection.execute(query).mappings().all()
    if not rows:
        return ()
    every = connection.execute(select(grade_log.c.student_key).distinct()).scalars()
    called = pseudonyms(key for key in every if key)
    found = []
    for row in rows:
        gone = row["name"] is None or (row["grading_key"] is not None and row["grading_id"] is None)
        student = "" if not row["student_key"] else called[row["student_key"]] if gone else row["name"]
        plain = {n: row[n] for n in ("id", "written", "who", "what", "grading_key", "before", "after", "why")}
        found.append(LogLine(**plain, student=student))
    return tuple(found)


def pseudonyms(keys: Iterable[str]) -> dict[str, str]:
    """``Student 7f3a`` for each key, with as many letters of it as tell them apart."""
    every = sorted(set(keys))
    size = FEWEST_LETTERS
    while len({key[:size] for key in every}) < len(every):
        size += 1
    return {key: f"Student {key[:size]}" for key in every}


def without_name(text: str, name: str, instead: str) -> str:
    """The text with a person's name, whole or a word of it written the same way, replaced."""
    words = [word for word in name.split() if len(word) > 1]
    whole = [re.escape(name)] if name else []
    text = re.sub("|".join(whole), instead, text, flags=re.IGNORECASE) if whole else text
    return re.sub(rf"\b(?:{'|'.join(map(re.escape, words))})\b", instead, text) if words else text


def needed(text: str, what: str) -> str:
    """A text that must not be empty; ``class`` says which one is."""
    plain = _plain(text)
    if not plain:
        raise CutcheckError("class", problem=f"{what} is missing.", remedy="Write it in a few words.")
    return plain


def _plain(text: str) -> str:
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())[:LONGEST]
