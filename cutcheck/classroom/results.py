"""A class's results: trays with their students and grades, and the tables that are made of them.

Tables hold nothing of the moment (no times, no order of finishing): the same photos give the same tables.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from cutcheck import words
from cutcheck.classroom.folder_run import Tray
from cutcheck.classroom.grade import Grade
from cutcheck.classroom.naming import LEFT_OUT, Naming, name_trays
from cutcheck.classroom.repeats import Repeat, find_repeats
from cutcheck.classroom.roster import Roster, Student
from cutcheck.records import SIDES

Cell = str | float | int | None


class Table(NamedTuple):
    """A table: its name, the heads of its columns, its rows. None is an empty cell."""

    name: str
    head: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]


@dataclass(frozen=True)
class ClassResults:
    """All of a class: ``trays`` by photo, whose they are, ``grades`` by photo, and who may have handed in
    one tray twice."""

    roster: Roster
    trays: Mapping[str, Tray]
    naming: Naming
    grades: Mapping[str, Grade]
    repeats: tuple[Repeat, ...]

    @property
    def failed(self) -> tuple[Tray, ...]:
        """The photos that could not be measured."""
        return tuple(tray for tray in self.trays.values() if tray.error is not None)

    @property
    def copies(self) -> tuple[Tray, ...]:
        """The photos that are the same file as another, and are not counted again."""
        return tuple(tray for tray in self.trays.values() if tray.copy_of is not None)


def class_results(
    trays: Sequence[Tray],
    roster: Roster,
    grade_of: Callable[[Tray, Student | None], Grade],
    settled: Mapping[str, int | None] | None = None,
) -> ClassResults:
    """Name, grade and compare the trays of a class.

    ``grade_of`` grades a tray that has a score, given whose it is (None where that is to be settled).
    ``settled``: see ``naming``. Of a file that is there twice the second counts only where a person gave
    it a number.
    """
    settled = settled or {}
    first = {tray.photo: tray for tray in trays}
    whole = {
        tray.photo: replace(first[tray.copy_of], photo=tray.photo)
        if tray.copy_of is not None and settled.get(tray.photo)
        else tray
        for tray in trays
    }
    numbers = {
        photo: None if tray.result is None else tray.result.scale.numbers for photo, tray in whole.items()
    }
    naming = name_trays(numbers, roster, settled)
    whose = {one.photo: one.student for one in naming.named}
    grades = {
        photo: grade_of(tray, whose.get(photo))
        for photo, tray in whole.items()
        if tray.result is not None and tray.result.score is not None
    }
    looks = {photo: tray.look for photo, tray in whole.items() if tray.look is not None}
    return ClassResults(roster, whole, naming, grades, find_repeats(looks))


def marks_table(results: ClassResults) -> Table:
    """One row a student, in the order of the roster."""
    named = {one.student: one for one in results.naming.named}
    head = (
        *("number", "name", "photo", "mark", "low", "high", "low of the heap", "high of the heap"),
        *("school's mark", "passed", "second look", "on size %", "evenness %", "squareness %"),
        *("counted", "pieces", "remarks", "good to know"),
    )
    rows = []
    for student in results.roster.students:
        one = named.get(student)
        tray = None if one is None else results.trays[one.photo]
        result = None if tray is None else tray.result
        score = None if result is None else result.score
        given = None if one is None else results.grades.get(one.photo)
        marks = (None,) * 8 if given is None else _marks(given)
        shares = (
            (None,) * 3
            if score is None
            else tuple(_round(_percent(v), 1) for v in (score.on_size, score.evenness, score.squareness))
        )
        counts = (None if given is None else given.counted, None if result is None else len(result.pieces))
        remarks = "; ".join(_remarks(results, student))
        told = "" if result is None else " ".join(result.warnings)
        photo = None if one is None else one.photo
        rows.append((student.number, student.name, photo, *marks, *shares, *counts, remarks, told))
    return Table("marks", head, tuple(rows))


def pieces_table(results: ClassResults) -> Table:
    """One row a piece of every tray that was measured; of trays without a student the first columns are
    empty."""
    whose = {one.photo: one.student for one in results.naming.named}
    sides = [part for side in SIDES for part in (f"{side} mm", f"{side} give or take")]
    head = ("number", "name", "photo", "piece", *sides, "verdict", "on size %", "remarks")
    rows: list[tuple[Cell, ...]] = []
    for photo, tray in results.trays.items():
        if tray.result is None or photo in results.naming.left_out:
            continue
        student = whose.get(photo)
        who = (None, None) if student is None else (student.number, student.name)
        for piece in tray.result.pieces:
            measures = [getattr(piece, side) for side in SIDES]
            mm = [_round(value, 3) for one in measures for value in (one.mm, one.u95)]
            verdict = words.VERDICTS[piece.verdict]
            flags = ", ".join(words.flag(code) for code in piece.flags)
            share = _round(_percent(piece.conformity), 1)
            rows.append((*who, photo, piece.number, *mm, verdict, share, flags))
    return Table("pieces", head, tuple(rows))


def settle_table(results: ClassResults) -> Table | None:
    """What a person must settle, with an empty number to fill in, and what was settled; None if nothing."""
    naming = results.naming
    seen = {photo: _numbers(tray) for photo, tray in results.trays.items()}
    rows: dict[str, tuple[Cell, ...]] = {}
    for open_one in naming.unsettled:
        told = "; ".join([open_one.told, *_twice(results, open_one.photo)])
        rows[open_one.photo] = (open_one.photo, None, seen[open_one.photo], told)
    for one in naming.named:
        if one.by_hand:
            rows[one.photo] = (one.photo, one.student.number, seen[one.photo], "settled by hand")
    for photo in naming.left_out:
        rows[photo] = (photo, LEFT_OUT, seen[photo], "settled by hand")
    order = [photo for photo in results.trays if photo in rows]
    head = ("photo", "number", "cards in the photo", "why")
    return Table("to-settle", head, tuple(rows[photo] for photo in order)) if rows else None


def failed_table(results: ClassResults) -> Table | None:
    """The photos that could not be measured, each with its code, what is wrong and what to do."""
    rows = tuple(
        (tray.photo, tray.error["code"], tray.error["message"], tray.error["remedy"])
        for tray in results.failed
        if tray.error is not None
    )
    return Table("failed", ("photo", "code", "what is wrong", "what to do"), rows) if rows else None


def _marks(given: Grade) -> tuple[Cell, ...]:
    passed = None if given.passed is None else "yes" if given.passed else "no"
    ends = (given.points, given.low, given.high, given.sample_low, given.sample_high)
    second = "yes" if given.second_look else ""
    return (*(_round(end, 1) for end in ends), school_mark(given.scale_text), passed, second)


def school_mark(text: str) -> str:
    """The school's mark for a table: a spreadsheet that opens the CSV takes '12/20' for a day in December."""
    return re.sub(r"^([\d.]+)/([\d.]+)$", r"\1 of \2", text)


def _remarks(results: ClassResults, student: Student) -> Iterable[str]:
    naming = results.naming
    if student in naming.missing:
        failed = len(results.failed)
        yield "no tray" + (f" (or among the {words.count(failed, 'photo')} that failed)" if failed else "")
    for open_one in naming.unsettled:
        if student.number in open_one.numbers:
            yield f"to settle: '{open_one.photo}', {open_one.told}"
    for one in naming.named:
        if one.student == student:
            tray = results.trays[one.photo]
            if one.by_hand:
                yield "named by hand"
            if tray.error is not None:
                yield f"the photo can't be measured: {tray.error['message']}"
            elif one.photo not in results.grades:
                yield "nothing could be marked"
            else:
                yield from _of_the_grade(results.grades[one.photo])
            yield from _twice(results, one.photo)


def _of_the_grade(given: Grade) -> Iterable[str]:
    """What took points off, and what a person has not marked yet."""
    for part in given.parts:
        if part.points < 0.0:
            yield f"{part.name}: {part.points:.1f} ({part.note})"
    if given.not_marked:
        yield f"not marked by hand yet: {', '.join(given.not_marked)}"


def _twice(results: ClassResults, photo: str) -> Iterable[str]:
    """What points to a tray that was handed in twice."""
    whose = {one.photo: one.student for one in results.naming.named}
    what = {"photo": "the same photo saved again", "pieces": "the same pieces"}
    for repeat in results.repeats:
        if photo in (repeat.first, repeat.second):
            other = repeat.second if photo == repeat.first else repeat.first
            student = whose.get(other)
            of = "" if student is None else f" of {student.name} ({student.number})"
            yield f"handed in twice? {what[repeat.kind]} as in '{other}'{of}"
    for copy in results.copies:
        if copy.copy_of == photo:
            yield f"'{copy.photo}' is the same file and not counted again"


def _numbers(tray: Tray) -> str:
    return "" if tray.result is None else " ".join(map(str, tray.result.scale.numbers))


def _percent(share: float | None) -> float | None:
    return None if share is None else 100.0 * share


def _round(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)
