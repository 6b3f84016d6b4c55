"""The assignments of a class: what is handed in, marked by which rubric, and the marks over a class."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any, cast

from sqlalchemy import Connection, insert, select, update

from cutcheck.classroom import gradebook_log as log
from cutcheck.classroom.grade import Grade
from cutcheck.classroom.gradebook_entries import Assignment, LogLine, Mark, Overview
from cutcheck.classroom.gradebook_people import People, class_row, find_members, good_day
from cutcheck.classroom.gradebook_rows import (
    assignment_of,
    cut_of,
    find_assignment,
    find_student,
    grade_row,
    graded_by,
    mark_of,
    mark_rows,
    rows_where,
)
from cutcheck.classroom.rubric import Rubric, rubric_text
from cutcheck.errors import CutcheckError
from cutcheck.journal.database import reading, writing
from cutcheck.journal.schema import assignments, grade_log, gradings
from cutcheck.reference import own_text
from cutcheck.standards import SHIPPED


class Assignments(People):
    """What the gradebook knows of assignments."""

    def add_assignment(
        self,
        class_id: int,
        name: str,
        *,
        cut: str,
        rubric: Rubric,
        day: str,
        standard: str | None = None,
        produce: str | None = None,
        blind: bool = False,
    ) -> Assignment:
        """A new assignment; the rubric, and a standard of the school's own, are kept as they are now."""
        own = None if standard is None or standard in SHIPPED else _text_of(standard)
        values = {
            "key": uuid.uuid4().hex,
            "class_id": class_id,
            "name": log.needed(name, "The assignment's name"),
            "cut": cut,
            "standard": standard,
            "standard_text": own,
            "produce": produce,
            "rubric": rubric_text(rubric),
            "day": good_day(day),
            "blind": blind,
        }
        with writing(self.engine) as connection:
            class_row(connection, class_id)
            done = connection.execute(insert(assignments).values(**values)).inserted_primary_key
            found = find_assignment(connection, int(cast(Any, done)[0]))
            cut_of(found)  # an unknown cut is told, and nothing kept
            return found

    def assignments(self, class_id: int) -> tuple[Assignment, ...]:
        """The assignments of a class in the order of their days."""
        with reading(self.engine) as connection:
            return _assignments(connection, class_id)

    def reveal(self, assignment_id: int, who: str) -> None:
        """End blind grading: names are shown from now on, and the log says since when."""
        with writing(self.engine) as connection:
            found = find_assignment(connection, assignment_id)
            if found.blind:
                connection.execute(
                    update(assignments).where(assignments.c.id == assignment_id).values(blind=False)
                )
                self._log(connection, found, log.needed(who, "Who does this"), log.REVEALED)

    def change_rubric(self, assignment_id: int, rubric: Rubric, who: str, why: str) -> int:
        """Mark all trays of an assignment by another rubric; returns how many measured marks changed.

        See ``preview``. Each change is logged. A mark set by hand stays as it was set.
        """
        who, why = log.needed(who, "Who does this"), log.needed(why, "The reason")
        with writing(self.engine) as connection:
            found = find_assignment(connection, assignment_id)
            cut = cut_of(found)
            connection.execute(
                update(assignments)
                .where(assignments.c.id == assignment_id)
                .values(rubric=rubric_text(rubric))
            )
            self._log(connection, found, who, log.RUBRIC, why)
            changed = 0
            for row in rows_where(connection, gradings.c.assignment_id == assignment_id):
                given = graded_by(row, rubric, cut)
                if abs(given.points - row["points"]) > 1e-9:
                    changed += 1
                    self._log(
                        connection,
                        found,
                        who,
                        log.AGAIN,
                        why,
                        row=row,
                        before=row["points"],
                        after=given.points,
                    )
                connection.execute(
                    update(gradings).where(gradings.c.id == row["id"]).values(**grade_row(given))
                )
            return changed

    def graded_again(self, assignment_id: int, rubric: Rubric) -> tuple[tuple[Mark, Grade], ...]:
        """Each mark of an assignment beside the grade that another rubric would give; nothing is changed."""
        with reading(self.engine) as connection:
            found = find_assignment(connection, assignment_id)
            cut, now = cut_of(found), found.rubric
            query = mark_rows().where(gradings.c.assignment_id == assignment_id)
            marks = {row["id"]: mark_of(cast(Any, row), now) for row in connection.execute(query).mappings()}
            rows = rows_where(connection, gradings.c.assignment_id == assignment_id)
        return tuple((marks[row["id"]], graded_by(row, rubric, cut)) for row in rows)

    def overview(self, class_id: int) -> Overview:
        """All that the class page shows, in four queries however many trays there are."""
        with reading(self.engine) as connection:
            course = class_row(connection, class_id)
            who, what = find_members(connection, class_id), _assignments(connection, class_id)
            rubrics = {one.id: one.rubric for one in what}
            query = mark_rows().join(assignments, assignments.c.id == gradings.c.assignment_id)
            rows = connection.execute(query.where(assignments.c.class_id == class_id)).mappings()
            marks = [mark_of(cast(Any, row), rubrics[row["assignment_id"]]) for row in rows]
        return Overview(course, who, what, {(mark.student_id, mark.assignment_id): mark for mark in marks})

    def log(self, class_id: int | None = None) -> tuple[LogLine, ...]:
        """The log, oldest first, of one class or of all; also of classes and people that are gone."""
        with reading(self.engine) as connection:
            if class_id is None:
                return log.lines(connection)
            return log.lines(connection, grade_log.c.class_key == class_row(connection, class_id).key)

    def _log(
        self,
        connection: Connection,
        assignment: Assignment,
        who: str,
        what: str,
        why: str = "",
        *,
        row: Mapping[str, Any] | None = None,
        before: float | None = None,
        after: float | None = None,
        now: datetime | None = None,
    ) -> None:
        """Add a line about an assignment, or about one tray of it (``row``)."""
        student = None if row is None else find_student(connection, row["student_id"])
        keys = {
            "class_key": class_row(connection, assignment.class_id).key,
            "assignment_key": assignment.key,
            "student_key": student.key if student else None,
            "grading_key": None if row is None else row["key"],
        }
        log.write(
            connection,
            now or self.clock(),
            who,
            what,
            why,
            name=student.name if student else "",
            keys=keys,
            before=before,
            after=after,
        )


def _assignments(connection: Connection, class_id: int) -> tuple[Assignment, ...]:
    query = select(assignments).where(assignments.c.class_id == class_id)
    rows = connection.execute(query.order_by(assignments.c.day, assignments.c.id)).mappings()
    return tuple(assignment_of(dict(row)) for row in rows)


def _text_of(standard: str) -> str:
    path = Path(standard)
    if not path.is_file():
        raise CutcheckError("unknown-standard", standard=standard, known=", ".join(SHIPPED))
    return own_text(path, f"The standard '{path}'")
