"""Pages for one student who asks how a mark came about: the picture, every piece, the doubt, how it adds up.

Black on white and nothing by colour alone, so that a grey printer loses nothing.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from statistics import median

import numpy as np
from numpy.typing import NDArray

from cutcheck import words
from cutcheck.classroom.grade import Grade
from cutcheck.classroom.gradebook_entries import Grading, LogLine
from cutcheck.classroom.gradebook_log import SET
from cutcheck.classroom.rubric_words import rubric_lines
from cutcheck.picture import draw, encode, without_cards
from cutcheck.records import SIDES, Measure, Piece, Result
from cutcheck.report_page import Page
from cutcheck.units import MM_PER, Unit, show_range

_PICTURE_PX = 1500
_CAUTION = (
    "A measured mark is help for a decision, and the instructor decides. Where a line here seems wrong, ask "
    "to look at the photo together."
)


def appeal_pdf(
    grading: Grading,
    pixels: NDArray[np.uint8] | None,
    *,
    unit: Unit = "mm",
    paper: str = "a4",
    font: str | None = None,
) -> bytes:
    """The pages as PDF. ``pixels`` is the upright photo, (H, W, 3) uint8 BGR; None where it was not kept.

    Cards are covered in the picture: the page may be passed on. Raises ``bad-option`` for a paper that there
    is none of, or letters that the type face lacks (give a TrueType file as ``font``).
    """
    assignment, given, result = grading.assignment, grading.grade, grading.result
    rubric = assignment.rubric
    who = f"{grading.student.name}, {assignment.day}"
    title = f"{assignment.name}: {words.cut_title(assignment.cut)}"
    notes = [
        *rubric_lines(rubric),
        *(part.note + part.name for part in given.parts),
        *given.excluded.values(),
    ]
    text = " ".join([title, who, *notes, *(line.text for line in grading.log), *result.warnings, "–±"])
    page = Page(paper, f"{title}, {grading.student.name}", text, font)
    page.heading(title, who)
    _result(page, grading)
    if pixels is not None:
        page.gap(4.0)
        page.picture(encode(draw(*_close_up(pixels, result, given), _PICTURE_PX), ".jpg"), 330.0)
    else:
        page.words("The photo was not kept.", 9.0, grey=True)
    _section(page, "How the mark adds up")
    _adds_up(page, given)
    _section(page, "What is not certain")
    for line in doubt_lines(grading):
        page.words(line, 9.0, bullet=True)
    _section(page, "The rubric of that day")
    for line in rubric_lines(rubric):
        page.words(line, 9.0, bullet=True)
    _section(page, f"Every piece, {unit}")
    _targets(page, result, unit)
    _pieces(page, result, given, unit)
    if result.warnings:
        _section(page, "Noted while measuring")
        for line in result.warnings:
            page.words(line, 9.0, bullet=True)
    _section(page, "What was done with this mark")
    for one in grading.log:
        page.words(one.text, 9.0, bullet=True)
    page.gap(6.0)
    page.words(_CAUTION, 8.0, grey=True)
    return page.finished()


def _close_up(pixels: NDArray[np.uint8], result: Result, given: Grade) -> tuple[NDArray[np.uint8], Result]:
    """The part of the photo where the pieces lie, cards covered, and the result as it is drawn there: without
    its mark, which is not yet that of the rubric; excluded pieces without a verdict."""
    covered = without_cards(pixels, result)
    points = [point for piece in result.pieces for point in piece.outline_px]
    if not points:
        return covered, result
    room = 0.03 * max(pixels.shape[:2])  # for the numbers beside the pieces
    low = np.maximum(np.floor(np.min(points, axis=0) - room), 0).astype(int)
    high = np.minimum(np.ceil(np.max(points, axis=0) + room), pixels.shape[1::-1]).astype(int)
    left, top = int(low[0]), int(low[1])
    pieces = tuple(
        replace(
            piece,
            outline_px=tuple((x - left, y - top) for x, y in piece.outline_px),
            verdict=None if piece.number in given.excluded else piece.verdict,
        )
        for piece in result.pieces
    )
    scale = replace(result.scale, regions_px=())
    part = np.ascontiguousarray(covered[top : high[1], left : high[0]])
    return part, replace(result, pieces=pieces, scale=scale, score=None)


def doubt_lines(grading: Grading) -> tuple[str, ...]:
    """Where the doubt of a mark comes from, in words, the largest part first."""
    given, rubric = grading.grade, grading.assignment.rubric
    lines = [
        f"Measuring leaves the mark between {given.low:.0f} and {given.high:.0f}: measured again, it would "
        "be there 95 times of 100.",
        "Another spoonful of the same work could have been better or worse: with that it is "
        f"{given.sample_low:.0f} to {given.sample_high:.0f}.",
        f"The work reaches the pass mark of {rubric.pass_mark:g} with a probability of "
        f"{words.chance(given.pass_probability)}."
        + (" It was listed for a second look by eye." if given.second_look else ""),
    ]
    shares = cause_shares(grading.result.pieces)
    usual = _usual(grading.result.pieces)
    if shares:
        told = ", ".join(
            f"{words.CAUSES.get(cause, cause)} ({words.percent(share)})" for cause, share in shares
        )
        lines.append(
            f"Half of all sides are known to {usual:.2f} mm, give or take, or better. What leaves "
            f"it open: {told}."
        )
    return tuple(lines)


def cause_shares(pieces: Iterable[Piece]) -> tuple[tuple[str, float], ...]:
    """The share that each cause has in the pieces' uncertainty (in variance, JCGM 100:2008), largest first;
    less than one in a hundred is left out."""
    variance: dict[str, float] = {}
    for piece in pieces:
        for line in piece.budget:
            variance[line.cause] = variance.get(line.cause, 0.0) + line.standard_mm**2
    total = sum(variance.values())
    if not total:
        return ()
    shares = ((cause, part / total) for cause, part in variance.items() if part / total >= 0.01)
    return tuple(sorted(shares, key=lambda pair: -pair[1]))


def _usual(pieces: Iterable[Piece]) -> float:
    known = [getattr(piece, side).u95 for piece in pieces for side in SIDES]
    return float(median([u95 for u95 in known if u95 is not None] or [0.0]))


def _result(page: Page, grading: Grading) -> None:
    given, rubric = grading.grade, grading.assignment.rubric
    now = current_points(grading.log, given.points)
    by_hand = now != given.points
    passed = "passed" if now >= rubric.pass_mark else "not passed"
    page.gap(4.0)
    page.heading(
        f"Mark {now:.1f} of 100: {rubric.scale.text(now, rubric.pass_mark)}",
        f"{passed}; the pass mark is {rubric.pass_mark:g}",
        17.0,
    )
    page.scale(given.points, given.sample_low, given.sample_high)
    if by_hand:
        page.words(f"Set by hand; the first mark, as measured, was {given.points:.1f}.", 9.5, bold=True)
    told = (
        f"Grey: {given.sample_low:.0f} to {given.sample_high:.0f}, what measuring and the sample leave open. "
    )
    told += f"{words.count(given.counted, 'piece')} counted."
    if given.excluded:
        told += f" {given.excluded_text}; with all pieces the mark is {given.points_all:.1f}."
    if given.not_marked:
        told += f" Not marked yet: {', '.join(given.not_marked)}."
    page.words(told, 9.5)


def current_points(log: Iterable[LogLine], first: float) -> float:
    """The mark that counts: the one last set by hand, else the first."""
    last = next((line for line in reversed(tuple(log)) if line.what == SET), None)
    return first if last is None or last.after is None else last.after


def _adds_up(page: Page, given: Grade) -> None:
    rows = [("part", "points", "of", "")]
    for part in given.parts:
        of = f"{part.of:.1f}".removesuffix(".0") if part.of else ""
        rows.append((part.name, f"{part.points:.1f}", of, part.note))
    total = sum(part.points for part in given.parts)
    held = "" if abs(total - given.points) < 0.05 else f"adds up to {total:.1f}, held to 0 to 100"
    rows.append(("together", f"{given.points:.1f}", "100", held))
    page.table(rows, (2.2, 1.0, 0.8, 6.0))


def _targets(page: Page, result: Result, unit: Unit) -> None:
    if result.score is None or result.cut is None:
        return
    sizes = [f"{side.label or side.side} {show_range(*side.target_mm, unit)}" for side in result.score.sides]
    told = f"On size for {words.cut_title(result.cut.name)} ({result.cut.standard}): {', '.join(sizes)}. "
    page.words(f"{told}How probable it is that all sides of a piece are, stands under 'sure'.", 9.0)


def _pieces(page: Page, result: Result, given: Grade, unit: Unit) -> None:
    """A row for each piece, on as many pages as it takes, each with its own head."""
    size = 8.0
    head = ("piece", *SIDES, "verdict", "sure", "remarks")
    rows = [_piece(piece, given, unit) for piece in result.pieces]
    while rows:
        fits = int((page.room - 8.0) / (1.5 * size)) - 1
        if fits < 3:
            page.turn()
            continue
        page.table([head, *rows[:fits]], (0.7, 1.7, 1.7, 1.7, 1.7, 0.8, 3.4), size)
        rows = rows[fits:]


def _piece(piece: Piece, given: Grade, unit: Unit) -> tuple[str, ...]:
    sides = (_size(getattr(piece, side), unit) for side in SIDES)
    out = given.excluded.get(piece.number)
    remarks = [f"excluded: {out}"] if out else []
    remarks += [words.flag(flag) for flag in piece.flags if flag != "excluded"]
    verdict = "excluded" if out else words.VERDICTS[piece.verdict].split(",")[0]
    sure = "" if out or piece.conformity is None else words.percent(piece.conformity)
    told = "; ".join(remarks)
    return (str(piece.number), *sides, verdict, sure, told if len(told) < 44 else told[:42] + "…")


def _size(measure: Measure, unit: Unit) -> str:
    if measure.mm is None:
        return "not seen"
    per, digits = float(MM_PER[unit]), 2 if unit == "mm" else 3
    off = "" if measure.u95 is None else f" ± {measure.u95 / per:.{digits}f}"
    return f"{measure.mm / per:.{digits}f}{off}"


def _section(page: Page, name: str) -> None:
    if page.room < 60.0:
        page.turn()
    page.gap(7.0)
    page.words(name, 11.0, bold=True)
