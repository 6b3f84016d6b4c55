"""Gradings as rows of the gradebook's tables, and back again."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any, cast

from sqlalchemy import Connection, Select, and_, func, select

from cutcheck import serialise
from cutcheck.classroom.grade import Grade, GradePart, grade
from cutcheck.classroom.gradebook_entries import Assignment, Mark, Pupil
from cutcheck.classroom.gradebook_log import SET
from cutcheck.classroom.rubric import Rubric
from cutcheck.errors import CutcheckError
from cutcheck.journal.entries import Extras
from cutcheck.journal.schema import assignments, grade_log, gradings, students
from cutcheck.pipeline import chosen_cut
from cutcheck.records import Result
from cutcheck.standards import Cut

Row = dict[str, Any]
_FIGURES = ("points", "low", "high", "sample_low", "sample_high", "scale_text", "passed", "second_look")
_MORE = ("pass_probability", "counted", "points_all")


def grade_row(given: Grade) -> Row:
    """The columns of a grade."""
    return {
        **{name: getattr(given, name) for name in (*_FIGURES, *_MORE)},
        "excluded": {str(number): reason for number, reason in given.excluded.items()},
        "parts": [asdict(part) for part in given.parts],
        "not_marked": list(given.not_marked),
    }


def grade_of(row: Mapping[str, Any]) -> Grade:
    """The grade in a row of ``gradings``."""
    return Grade(
        **{name: row[name] for name in (*_FIGURES, *_MORE)},
        excluded={int(number): reason for number, reason in row["excluded"].items()},
        parts=tuple(GradePart(**part) for part in row["parts"]),
        not_marked=tuple(row["not_marked"]),
    )


def result_of(row: Mapping[str, Any]) -> Result:
    """The result in a row of ``gradings``."""
    return serialise.from_dict(row["result"])


def mark_of(row: Mapping[str, Any], rubric: Rubric) -> Mark:
    """A line of the class page, from a row of ``mark_rows``."""
    given = row["points"] if row["given"] is None else row["given"]
    names = (*_FIGURES[:5], "second_look", *_MORE, "id", "key", "assignment_id", "student_id", "kept")
    return Mark(
        **{name: row[name] for name in names},
        given=given,
        set_by_hand=row["given"] is not None,
        excluded=len(row["excluded"]),
        scale_text=rubric.scale.text(given, rubric.pass_mark),
        passed=given >= rubric.pass_mark,
        not_marked=tuple(row["not_marked"]),
    )


def mark_rows() -> Select[Any]:
    """The query of all gradings without their pieces, each with the mark that was last set by hand."""
    last = (
        select(grade_log.c.grading_key, func.max(grade_log.c.id).label("last"))
        .where(grade_log.c.what == SET)
        .group_by(grade_log.c.grading_key)
        .subquery()
    )
    heavy = {"result", "parts", "extras", "hand_marks"}
    return (
        select(*(c for c in gradings.c if c.name not in heavy), grade_log.c.after.label("given"))
        .outerjoin(last, last.c.grading_key == gradings.c.key)
        .outerjoin(grade_log, and_(grade_log.c.id == last.c.last))
    )


def assignment_of(row: Mapping[str, Any]) -> Assignment:
    """An assignment from its row."""
    return Assignment(**{("rubric_text" if name == "rubric" else name): value for name, value in row.items()})


def find_assignment(connection: Connection, number: int) -> Assignment:
    """An assignment by its id; ``class`` where there is none."""
    row = connection.execute(select(assignments).where(assignments.c.id == number)).mappings().first()
    if row is None:
        raise CutcheckError(
            "class", problem="That assignment is not in the gradebook.", remedy="It may have been removed."
        )
    return assignment_of(dict(row))


def find_student(connection: Connection, number: int) -> Pupil:
    """A person by id; ``class`` where there is none."""
    query = select(students.c.id, students.c.key, students.c.name).where(students.c.id == number)
    row = connection.execute(query).first()
    if row is None:
        raise CutcheckError(
            "class", problem="That student is not in the gradebook.", remedy="Add the student first."
        )
    return Pupil(*row)


def cut_of(assignment: Assignment) -> Cut:
    """The cut with the sizes of the assignment's day."""
    if assignment.standard_text is None:
        return chosen_cut(assignment.cut, assignment.standard, produce=assignment.produce)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "standard.toml"
        file.write_text(assignment.standard_text, encoding="utf-8")
        return chosen_cut(assignment.cut, file, produce=assignment.produce)


def graded_by(row: Mapping[str, Any], rubric: Rubric, cut: Cut) -> Grade:
    """The grade that a kept tray has by a rubric, which may be another than its own."""
    extras = Extras(**row["extras"])
    return grade(
        result_of(row),
        rubric,
        weights=extras,
        minutes=extras.minutes,
        hand_marks=fitting(row["hand_marks"], rubric),
        excluded={int(number): reason for number, reason in row["excluded"].items()},
        cut=cut,
        scale_u=row["scale_u"],
    )


def fitting(marks: Mapping[str, float], rubric: Rubric) -> dict[str, float]:
    """The hand marks that a rubric has lines for. What is kept stays whole: the rubric may change back."""
    points = {line.name: line.points for line in rubric.hand_lines}
    return {name: min(value, points[name]) for name, value in marks.items() if name in points}


def rows_where(connection: Connection, condition: Any) -> list[Mapping[str, Any]]:
    """Whole rows of ``gradings``, in the order of keeping."""
    query = select(gradings).where(condition).order_by(gradings.c.id)
    return [cast(Any, row) for row in connection.execute(query).mappings()]
