"""An assignment of the gradebook as tables to take away: marks and pieces. See ``result_files`` for files."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from cutcheck import words
from cutcheck.classroom.gradebook_entries import Assignment, Grading, Mark, Overview
from cutcheck.classroom.results import Cell, Table, school_mark
from cutcheck.records import SIDES

MARKS_HEAD = (
    *("number", "name", "mark", "low", "high", "low of the heap", "high of the heap"),
    *(
        "school's mark",
        "passed",
        "second look",
        "first mark",
        "counted",
        "excluded",
        "mark with all pieces",
        "remarks",
    ),
)


def assignment_marks(overview: Overview, assignment: Assignment) -> Table:
    """One row for each student who had a number on the assignment's day, by number; who has no mark, too."""
    rows: list[tuple[Cell, ...]] = []
    for member in overview.members:
        if not member.begins <= assignment.day <= member.ends:
            continue
        mark = overview.marks.get((member.student.id, assignment.id))
        cells = (None,) * 12 + ("no tray",) if mark is None else _cells(mark)
        rows.append((member.number, member.student.name, *cells))
    return Table("marks", MARKS_HEAD, tuple(rows))


def assignment_pieces(gradings: Iterable[Grading], numbers: dict[int, int]) -> Table:
    """One row for each piece; ``numbers`` are the card numbers by student id."""
    sides = [part for side in SIDES for part in (f"{side} mm", f"{side} give or take")]
    head = ("number", "name", "piece", *sides, "verdict", "on size %", "excluded because", "remarks")
    rows: list[tuple[Cell, ...]] = []
    for one in gradings:
        for piece in one.result.pieces:
            measures = [getattr(piece, side) for side in SIDES]
            mm = [None if v is None else round(v, 3) for m in measures for v in (m.mm, m.u95)]
            share = None if piece.conformity is None else round(100.0 * piece.conformity, 1)
            why = one.grade.excluded.get(piece.number, "")
            flags = ", ".join(words.flag(code) for code in piece.flags)
            who = (numbers.get(one.student.id), one.student.name)
            rows.append((*who, piece.number, *mm, words.VERDICTS[piece.verdict], share, why, flags))
    return Table("pieces", head, tuple(rows))


def class_marks(overview: Overview) -> Table:
    """The marks of all assignments side by side, those still graded blind left out."""
    seen = [one for one in overview.assignments if not one.blind]
    people = {member.student.id: member for member in overview.members}
    rows = []
    for member in people.values():
        marks = [overview.marks.get((member.student.id, one.id)) for one in seen]
        rows.append((member.number, member.student.name, *_rounded(marks)))
    return Table("class", ("number", "name", *(f"{one.name} ({one.day})" for one in seen)), tuple(rows))


def _rounded(marks: Sequence[Mark | None]) -> tuple[Cell, ...]:
    return tuple(None if mark is None else round(mark.given, 1) for mark in marks)


def _cells(mark: Mark) -> tuple[Cell, ...]:
    remarks = ["set by hand"] if mark.set_by_hand else []
    remarks += [f"not marked by hand yet: {', '.join(mark.not_marked)}"] if mark.not_marked else []
    return (
        *(round(v, 1) for v in (mark.given, mark.low, mark.high, mark.sample_low, mark.sample_high)),
        school_mark(mark.scale_text),
        "yes" if mark.passed else "no",
        "yes" if mark.second_look and not mark.set_by_hand else "",
        round(mark.points, 1),
        mark.counted,
        mark.excluded,
        round(mark.points_all, 1) if mark.excluded else None,
        "; ".join(remarks),
    )
