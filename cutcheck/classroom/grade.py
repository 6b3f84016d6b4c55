"""The grade of one tray by a rubric: points, what measuring and the sample leave open, and how it adds up.

    points = measured mark x its points / 100 + lines marked by hand - penalties, held to 0 to 100

Whether a mark that is in doubt passes is a question of conformity: its probability is that of a normal whose
mean is the mark and whose spread that of the interval (JCGM 106:2012, 7.2). A line not marked yet leaves its
points to the others.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from statistics import median

from cutcheck import words
from cutcheck.classroom.rubric import Rubric
from cutcheck.errors import CutcheckError
from cutcheck.journal.entries import Extras
from cutcheck.records import Result, Score
from cutcheck.standards import Cut, find_cut
from cutcheck.verdict import EXCLUDED, Rules, judge, leave_out

__all__ = ["Grade", "GradePart", "Weights", "grade", "pass_probability"]

Weights = Extras  # raw_g, finished_g, waste_g: the same weights that the journal keeps
COVERED = 1.96  # half a 95 % interval, in standard uncertainties


@dataclass(frozen=True, slots=True)
class GradePart:
    """One line of how the mark adds up. A penalty has negative points and ``of`` 0."""

    name: str
    points: float
    of: float
    note: str = ""


@dataclass(frozen=True, slots=True)
class Grade:
    """A grade. ``low`` to ``high`` is what measuring leaves open (95 of 100), ``sample_low`` to
    ``sample_high`` that and the drawing of the sample. ``points_all`` is the mark with no piece left out."""

    points: float
    low: float
    high: float
    sample_low: float
    sample_high: float
    scale_text: str
    passed: bool | None
    second_look: bool
    pass_probability: float
    parts: tuple[GradePart, ...]
    counted: int
    excluded: Mapping[int, str]
    points_all: float
    not_marked: tuple[str, ...] = ()

    @property
    def excluded_text(self) -> str:
        """``"3 of 40 excluded"``; nothing where none is."""
        if not self.excluded:
            return ""
        return f"{len(self.excluded)} of {self.counted + len(self.excluded)} excluded"


def grade(
    check: Result,
    rubric: Rubric,
    *,
    weights: Weights | None = None,
    minutes: float | None = None,
    hand_marks: Mapping[str, float] | None = None,
    excluded: Mapping[int, str] | None = None,
    cut: Cut | None = None,
    scale_u: float | None = None,
) -> Grade:
    """Grade a result that was compared with a cut.

    ``excluded``: number of a piece and the reason why the instructor leaves it out; what a student left out
    counts. ``cut`` is needed for a standard of the school's own; ``scale_u`` (relative standard uncertainty
    of the scale) is else taken from the pieces' budgets. Raises ``class`` where nothing can be marked or
    something given does not fit, ``unknown-cut`` and the like where the cut is not known.
    """
    if check.cut is None or check.score is None:
        raise _bad("This tray was compared with no cut, or nothing on it counts.", "Check it with a cut.")
    out = _good_reasons(check, excluded or {})
    by_hand = _good_marks(rubric, hand_marks or {})
    scale_u = scale_of(check) if scale_u is None else scale_u
    score_all = _score(check, rubric, {}, cut, scale_u)
    score = _score(check, rubric, out, cut, scale_u) if out else score_all
    parts, not_marked = _parts(score, rubric, weights, minutes, by_hand, score_all.counted)
    of_measured = rubric.measured_points / 100.0 * _blown_up(rubric, not_marked)
    others = sum(part.points for part in parts[1:])
    points = _held(score.mark * of_measured + others)
    low, high = (_held(end * of_measured + others) for end in (score.mark_low, score.mark_high))
    sampling = (score.sampling or 0.0) * of_measured
    sample_low = _held(points - math.hypot(points - low, sampling))
    sample_high = _held(points + math.hypot(high - points, sampling))
    all_parts, _ = _parts(score_all, rubric, weights, minutes, by_hand, score_all.counted)
    doubt = (low, high) if rubric.second_look == "measuring" else (sample_low, sample_high)
    return Grade(
        points=points,
        low=low,
        high=high,
        sample_low=sample_low,
        sample_high=sample_high,
        scale_text=rubric.scale.text(points, rubric.pass_mark),
        passed=points >= rubric.pass_mark,
        second_look=doubt[0] < rubric.pass_mark <= doubt[1],
        pass_probability=pass_probability(points, *doubt, rubric.pass_mark),
        parts=parts,
        counted=score.counted,
        excluded=out,
        points_all=_held(sum(part.points for part in all_parts)),
        not_marked=not_marked,
    )


def pass_probability(points: float, low: float, high: float, pass_mark: float) -> float:
    """How probable it is that the true mark reaches the pass mark: a normal's, in closed form.

    The spread is that of the interval's half towards the pass mark, so that the probability is between
    2.5 and 97.5 % just where the interval holds the pass mark (JCGM 106:2012, 7.2).
    """
    half = points - low if points >= pass_mark else high - points
    if half <= 0.0:
        return 1.0 if points >= pass_mark else 0.0
    z = (points - pass_mark) / (half / COVERED)
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def scale_of(check: Result) -> float:
    """The relative uncertainty of the scale as the pieces' budgets have it (their line ``print``), else 0."""
    shares = [
        line.standard_mm / mm
        for piece in check.pieces
        for line in piece.budget
        if line.cause == "print" and (mm := getattr(piece, line.side).mm)
    ]
    return float(median(shares)) if shares else 0.0


def _score(check: Result, rubric: Rubric, out: Mapping[int, str], cut: Cut | None, scale_u: float) -> Score:
    """The tray's score with the rubric's weights and without some pieces; the one it has where that is it."""
    rules = _rules(rubric)
    left_out = {piece.number for piece in check.pieces if EXCLUDED in piece.flags}
    assert check.score is not None
    assert check.cut is not None
    if rules == Rules() and left_out == set(out):
        return check.score
    cut = cut or _as_scored(find_cut(check.cut.name, check.cut.standard or None), check.score)
    pieces = leave_out(check.pieces, out)
    score = judge(pieces, cut, rules=rules, scale_u=scale_u).score
    if score is None:
        raise _bad("No piece is left to be marked.", "Take some of the excluded pieces back in.")
    return score


def _rules(rubric: Rubric) -> Rules:
    """The rules with the rubric's weights; the usual ones, to the last bit, where they are the same."""
    w, usual = rubric.weights, Rules()
    total = w.on_size + w.evenness + w.squareness
    rules = Rules(w.on_size / total, w.evenness / total, w.squareness / total)
    off = (abs(getattr(rules, n) - getattr(usual, n)) for n in ("on_size", "evenness", "squareness"))
    return usual if max(off) < 1e-9 else rules


def _as_scored(cut: Cut, score: Score) -> Cut:
    """The cut with the sides that counted: what was cut (an onion, in layers) may have left one out."""
    sides = {side.side for side in score.sides}
    return replace(cut, scored=tuple(side for side in cut.scored if side in sides))


def _parts(
    score: Score,
    rubric: Rubric,
    weights: Weights | None,
    minutes: float | None,
    by_hand: Mapping[str, float],
    cut_pieces: int,
) -> tuple[tuple[GradePart, ...], tuple[str, ...]]:
    not_marked = tuple(line.name for line in rubric.hand_lines if line.name not in by_hand)
    up = _blown_up(rubric, not_marked)
    of = rubric.measured_points * up
    shares = [f"on size {words.percent(score.on_size)}"]
    shares += [f"evenness {words.percent(score.evenness)}"] if score.evenness is not None else []
    shares += [f"squareness {words.percent(score.squareness)}"] if score.squareness is not None else []
    parts = [GradePart("measured", score.mark * of / 100.0, of, ", ".join(shares))]
    for line in rubric.hand_lines:
        if line.name in by_hand:
            parts.append(GradePart(line.name, by_hand[line.name] * up, line.points * up, "marked by hand"))
    # A piece that the instructor left out was cut all the same.
    if rubric.few is not None and (short := rubric.fewest_pieces - cut_pieces) > 0:
        note = f"{words.count(cut_pieces, 'piece')} found, {rubric.fewest_pieces} are asked for"
        parts.append(GradePart("too few pieces", -rubric.few.off(short), 0.0, note))
    waste = None if weights is None else weights.waste_share
    if rubric.waste is not None and waste is not None and 100.0 * waste > rubric.waste.limit:
        note = f"{100.0 * waste:.0f} % of the raw weight, {rubric.waste.limit:g} % are allowed"
        parts.append(GradePart("waste", -rubric.waste.off(100.0 * waste - rubric.waste.limit), 0.0, note))
    if rubric.time is not None and minutes is not None and minutes > rubric.time.limit:
        note = f"{minutes:g} minutes, {rubric.time.limit:g} are allowed"
        parts.append(GradePart("time", -rubric.time.off(minutes - rubric.time.limit), 0.0, note))
    return tuple(parts), not_marked


def _blown_up(rubric: Rubric, not_marked: tuple[str, ...]) -> float:
    """How much more the marked lines count while others are not marked yet."""
    missing = sum(line.points for line in rubric.hand_lines if line.name in not_marked)
    return 100.0 / (100.0 - missing)


def _good_reasons(check: Result, excluded: Mapping[int, str]) -> dict[int, str]:
    known = {piece.number for piece in check.pieces}
    for number, reason in excluded.items():
        if number not in known:
            raise _bad(f"There is no piece {number} on this tray.", "Look at the numbers in the picture.")
        if not reason.strip():
            raise _bad(f"Piece {number} is excluded without a reason.", "Say why in a few words.")
    return {number: " ".join(excluded[number].split()) for number in sorted(excluded)}


def _good_marks(rubric: Rubric, marks: Mapping[str, float]) -> dict[str, float]:
    lines = {line.name: line.points for line in rubric.hand_lines}
    for name, value in marks.items():
        if name not in lines:
            known = ", ".join(lines) or "none"
            raise _bad(f"'{name}' is no line that the rubric has marked by hand.", f"Its lines: {known}.")
        if not 0.0 <= value <= lines[name]:
            raise _bad(f"{name} can't be {value:g}.", f"Give 0 to {lines[name]:g} points.")
    return dict(marks)


def _held(points: float) -> float:
    return min(max(points, 0.0), 100.0)


def _bad(problem: str, remedy: str) -> CutcheckError:
    return CutcheckError("class", problem=problem, remedy=remedy)
