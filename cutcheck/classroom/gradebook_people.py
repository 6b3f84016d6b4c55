"""The people of the gradebook: classes, students, and whose a card number is on which days."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any, cast

from sqlalchemy import Connection, Engine, delete, insert, select, update

from cutcheck.card import LAST_NUMBER
from cutcheck.classroom import gradebook_log as log
from cutcheck.classroom.gradebook_entries import Member, Pupil, SchoolClass
from cutcheck.classroom.gradebook_rows import find_student
from cutcheck.classroom.roster import Roster, Student
from cutcheck.errors import CutcheckError
from cutcheck.journal.database import reading, writing
from cutcheck.journal.schema import classes, members, students


class People:
    """What the gradebook knows of people. ``clock`` tells the time."""

    def __init__(self, engine: Engine, clock: Callable[[], datetime]) -> None:
        self.engine = engine
        self.clock = clock

    def add_class(self, name: str, begins: str, ends: str) -> SchoolClass:
        """A new class, from its first day to its last (ISO dates)."""
        name, days = log.needed(name, "The class's name"), good_days(begins, ends)
        values = {"key": uuid.uuid4().hex, "name": name, "begins": days[0], "ends": days[1]}
        with writing(self.engine) as connection:
            number = connection.execute(insert(classes).values(**values)).inserted_primary_key
            return class_row(connection, int(cast(Any, number)[0]))

    def classes(self) -> tuple[SchoolClass, ...]:
        """All classes, the latest first."""
        with reading(self.engine) as connection:
            rows = connection.execute(select(classes).order_by(classes.c.begins.desc(), classes.c.id.desc()))
            return tuple(SchoolClass(**cast(Any, row)) for row in rows.mappings())

    def remove_class(self, class_id: int, who: str) -> None:
        """Remove a class with its assignments and graded work; the log stays."""
        who = log.needed(who, "Who does this")
        with writing(self.engine) as connection:
            keys = {"class_key": class_row(connection, class_id).key}
            log.write(connection, self.clock(), who, log.CLASS_REMOVED, keys=keys)
            connection.execute(delete(classes).where(classes.c.id == class_id))

    def add_student(
        self,
        class_id: int,
        name: str,
        number: int,
        *,
        begins: str | None = None,
        ends: str | None = None,
        student: Pupil | None = None,
    ) -> Member:
        """Give a person a card number in a class, from a day to a day (the class's own where None).

        ``student`` is a person of the gradebook already; else a new one of that name is added, even where
        somebody has it. Raises ``class`` where the number is another's on any of these days, or the person
        has another number on them.
        """
        with writing(self.engine) as connection:
            return _bound(connection, class_id, name, number, begins, ends, student, self.clock())

    def add_roster(self, class_id: int, roster: Roster) -> tuple[Member, ...]:
        """Give all students of a roster their numbers in a class, or none where one can't be given."""
        with writing(self.engine) as connection:
            return tuple(
                _bound(connection, class_id, one.name, one.number, None, None, None, self.clock())
                for one in roster.students
            )

    def end_number(self, member_id: int, last_day: str) -> None:
        """A number is its person's up to this day only (a lost card, a student who left)."""
        day = good_day(last_day)
        with writing(self.engine) as connection:
            row = connection.execute(select(members).where(members.c.id == member_id)).mappings().first()
            if row is None:
                raise _bad("That card number is nobody's in this class.", "Look at the class's list.")
            if not row["begins"] <= day <= row["ends"]:
                raise _bad(f"{day} is not within {row['begins']} to {row['ends']}.", "Give a day of these.")
            connection.execute(update(members).where(members.c.id == member_id).values(ends=day))

    def members(self, class_id: int, day: str | None = None) -> tuple[Member, ...]:
        """The members of a class by number; those of one day where it is given."""
        with reading(self.engine) as connection:
            found = find_members(connection, class_id)
        day = None if day is None else good_day(day)
        return tuple(one for one in found if day is None or one.begins <= day <= one.ends)

    def roster(self, class_id: int, day: str) -> Roster:
        """The class on a day as naming wants it."""
        return Roster(tuple(Student(one.student.name, one.number) for one in self.members(class_id, day)), ())

    def whose(self, class_id: int, number: int, day: str) -> Member | None:
        """The member whose card a number is on a day."""
        return next((one for one in self.members(class_id, day) if one.number == number), None)

    def remove_student(self, student_id: int, who: str) -> None:
        """Remove a person with all numbers and graded work. The log keeps its lines, with a pseudonym."""
        who = log.needed(who, "Who does this")
        with writing(self.engine) as connection:
            keys = {"student_key": find_student(connection, student_id).key}
            log.write(connection, self.clock(), who, log.REMOVED, keys=keys)
            connection.execute(delete(students).where(students.c.id == student_id))


def class_row(connection: Connection, class_id: int) -> SchoolClass:
    """A class by its id; ``class`` where there is none."""
    row = connection.execute(select(classes).where(classes.c.id == class_id)).mappings().first()
    if row is None:
        raise _bad("That class is not in the gradebook.", "It may have been removed.")
    return SchoolClass(**cast(Any, row))


def find_members(connection: Connection, class_id: int) -> tuple[Member, ...]:
    """The members of a class, by number and day."""
    query = (
        select(members, students.c.key, students.c.name)
        .join_from(members, students)
        .where(members.c.class_id == class_id)
        .order_by(members.c.number, members.c.begins)
    )
    return tuple(
        Member(r.id, Pupil(r.student_id, r.key, r.name), r.number, r.begins, r.ends)
        for r in connection.execute(query)
    )


def good_day(text: str) -> str:
    """A day as the gradebook keeps it; ``class`` where it is none."""
    try:
        return date.fromisoformat(text.strip()).isoformat()
    except ValueError:
        raise _bad(f"'{text}' is no day.", "Write it as 2026-03-04.") from None


def good_days(begins: str, ends: str) -> tuple[str, str]:
    """A first day and a last."""
    first, last = good_day(begins), good_day(ends)
    if last < first:
        raise _bad(f"{last} is before {first}.", "Give the first day, then the last.")
    return first, last


def _bound(
    connection: Connection,
    class_id: int,
    name: str,
    number: int,
    begins: str | None,
    ends: str | None,
    student: Pupil | None,
    now: datetime,
) -> Member:
    """Give a person a number; see ``People.add_student``."""
    course = class_row(connection, class_id)
    days = good_days(begins or course.begins, ends or course.ends)
    if days[0] < course.begins or days[1] > course.ends:
        problem = f"{days[0]} to {days[1]} is not within the class, {course.begins} to {course.ends}."
        raise _bad(problem, "Give days of the class.")
    if not 1 <= number <= LAST_NUMBER:
        raise _bad(f"There is no card {number} for a student.", f"Give 1 to {LAST_NUMBER}.")
    for other in find_members(connection, class_id):
        if other.ends < days[0] or days[1] < other.begins:
            continue
        if other.number == number:
            told = f"Card {number} is {other.student.name}'s from {other.begins} to {other.ends}."
            raise _bad(told, "Give another number, or end that one first.")
        if student is not None and other.student.id == student.id:
            told = f"{student.name} has card {other.number} from {other.begins} to {other.ends}."
            raise _bad(told, "End that one first.")
    if student is None:
        student = _new_student(connection, name, now)
    values = {"class_id": class_id, "student_id": student.id, "number": number}
    done = connection.execute(insert(members).values(**values, begins=days[0], ends=days[1]))
    return Member(int(cast(Any, done.inserted_primary_key)[0]), student, number, *days)


def _new_student(connection: Connection, name: str, now: datetime) -> Pupil:
    plain = log.needed(name, "The student's name")
    values = {
        "key": uuid.uuid4().hex,
        "name": plain,
        "added": now.astimezone(UTC).isoformat(timespec="seconds"),
    }
    done = connection.execute(insert(students).values(**values)).inserted_primary_key
    return Pupil(int(cast(Any, done)[0]), values["key"], plain)


def _bad(problem: str, remedy: str) -> CutcheckError:
    return CutcheckError("class", problem=problem, remedy=remedy)
