"""A class over a term: who improves, who needs a look, which cut the class is weakest at.

Thirty students looked at together will show a rise or a fall in some by luck alone. So what is said of single
students is held to a share of false alarms: of all those named for one reason at most 1 in 20 on average (Y.
Benjamini and Y. Hochberg, Journal of the Royal Statistical Society B 57 (1995), 289-300). With few trays
nothing is said but that.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from statistics import fmean, median
from typing import TYPE_CHECKING

from scipy.stats import false_discovery_control, wilcoxon

from cutcheck.errors import CutcheckError
from cutcheck.trend import FEWEST, Trend, trend_within

if TYPE_CHECKING:
    from cutcheck.classroom.gradebook import Gradebook
    from cutcheck.classroom.gradebook_entries import Overview

__all__ = [
    "FEWEST",
    "ClassTerm",
    "CutTerm",
    "StudentTerm",
    "TermMark",
    "class_term",
    "overview_called",
    "term_of",
]

FALSE_ALARMS = 0.05
RECENT = 3
# Who handed in nothing for so many assignments in a row, up to the last, is named. A house rule.
MISSED = 3
# Half of a class is below its middle: only so many marks below are a reason to look. A house rule.
BEHIND = 10.0
# The middle of fewer marks would tell one student another's mark. A house rule.
FEWEST_FOR_MIDDLE = 5


@dataclass(frozen=True, slots=True)
class TermMark:
    """One student's mark, 0 to 100, for one assignment; ``low`` to ``high`` is what measuring leaves open.

    ``student`` and ``assignment`` are keys, alike for namesakes never; ``day`` is an ISO date.
    """

    student: str
    assignment: str
    day: str
    cut: str
    mark: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class StudentTerm:
    """One student. ``against`` are the marks less the middle mark of the same assignment, in order.

    ``trend`` is in marks a week, within each cut; None for too few. The three flags have been held to the
    share of false alarms.
    """

    key: str
    name: str
    marks: tuple[TermMark, ...]
    against: tuple[float, ...]
    trend: Trend | None
    missed: int
    improves: bool = False
    falls: bool = False
    behind: bool = False

    @property
    def lately(self) -> float | None:
        """The mean of the last marks."""
        return fmean(one.mark for one in self.marks[-RECENT:]) if self.marks else None

    @property
    def needs_a_look(self) -> bool:
        """Falling, behind the others, or not handing in."""
        return self.falls or self.behind or self.missed >= MISSED


@dataclass(frozen=True, slots=True)
class CutTerm:
    """One cut over the class: ``level`` is the mean of the students' own means."""

    cut: str
    marks: tuple[TermMark, ...]
    students: int
    level: float


@dataclass(frozen=True, slots=True)
class ClassTerm:
    """The term. ``cuts`` from the weakest up; ``weakest`` is None where luck may have made it so.

    ``middles`` are the middle marks by assignment, of those that enough handed in; ``hidden`` the names of
    assignments still graded blind, which are left out.
    """

    name: str
    students: tuple[StudentTerm, ...]
    cuts: tuple[CutTerm, ...]
    weakest: CutTerm | None
    weakest_testable: bool
    middles: dict[str, float]
    assignment_names: dict[str, str]
    days: tuple[str, str] | None
    hidden: tuple[str, ...] = ()

    @property
    def improving(self) -> tuple[StudentTerm, ...]:
        """Who improves."""
        return tuple(one for one in self.students if one.improves)

    @property
    def to_look_at(self) -> tuple[StudentTerm, ...]:
        """Who needs a look."""
        return tuple(one for one in self.students if one.needs_a_look)

    @property
    def too_few(self) -> tuple[StudentTerm, ...]:
        """Of whom no trend can be told yet."""
        return tuple(one for one in self.students if one.trend is None)


def class_term(
    name: str,
    marks: Sequence[TermMark],
    students: dict[str, str],
    assignments: dict[str, str] | None = None,
    hidden: Sequence[str] = (),
) -> ClassTerm:
    """The term of a class; ``students`` are names by key, ``assignments`` too, in the order they were set."""
    ordered = sorted(marks, key=lambda one: (one.day, one.assignment))
    if assignments is None:
        assignments = {one.assignment: one.assignment for one in ordered}
    handed_in: dict[str, list[float]] = {}
    for one in ordered:
        handed_in.setdefault(one.assignment, []).append(one.mark)
    middles = {key: median(found) for key, found in handed_in.items() if len(found) >= FEWEST_FOR_MIDDLE}
    given = [key for key in assignments if key in handed_in]
    found = [
        _student(key, who, [one for one in ordered if one.student == key], middles, given)
        for key, who in students.items()
    ]
    cuts = sorted(_cuts(ordered), key=lambda one: one.level)
    weakest, testable = _weakest(cuts)
    return ClassTerm(
        name,
        _flagged(found),
        tuple(cuts),
        weakest,
        testable,
        middles,
        dict(assignments),
        (ordered[0].day, ordered[-1].day) if ordered else None,
        tuple(hidden),
    )


def term_of(overview: Overview) -> ClassTerm:
    """The term that a gradebook's class shows; assignments still graded blind are left out."""
    # whoever had a number for some weeks only is still one person
    students = {str(one.student.id): one.student.name for one in overview.members}
    seen = [one for one in overview.assignments if not one.blind]
    by_id = {one.id: one for one in seen}
    marks = [
        TermMark(
            str(mark.student_id),
            str(mark.assignment_id),
            by_id[mark.assignment_id].day,
            by_id[mark.assignment_id].cut,
            mark.given,
            # a mark set by hand is what the instructor saw, and no measurement
            mark.given if mark.set_by_hand else mark.low,
            mark.given if mark.set_by_hand else mark.high,
        )
        for mark in overview.marks.values()
        if mark.assignment_id in by_id
    ]
    hidden = [one.name for one in overview.assignments if one.blind]
    names = {str(one.id): one.name for one in sorted(seen, key=lambda one: (one.day, one.id))}
    return class_term(overview.school_class.name, marks, students, names, hidden)


def overview_called(book: Gradebook, name: str) -> Overview:
    """The class of this name; of several the one that began last. Raises ``class`` where there is none."""
    classes = book.classes()
    found = [one for one in classes if one.name.casefold() == name.strip().casefold()]
    if not found:
        known = ", ".join(f"'{one.name}'" for one in classes)
        raise CutcheckError(
            "class",
            problem=f"There is no class '{name}' in the gradebook.",
            remedy=f"There is {known}." if known else "It holds no class yet: add one to it first.",
        )
    return book.overview(max(found, key=lambda one: (one.begins, one.id)).id)


def _student(
    key: str, name: str, marks: Sequence[TermMark], middles: dict[str, float], given: Sequence[str]
) -> StudentTerm:
    first = date.fromisoformat(marks[0].day) if marks else date.min
    weeks = [(date.fromisoformat(one.day) - first).days / 7.0 for one in marks]
    has = {one.assignment for one in marks}
    missed = next((k for k, one in enumerate(reversed(given)) if one in has), len(given))
    return StudentTerm(
        key,
        name,
        tuple(marks),
        tuple(one.mark - middles[one.assignment] for one in marks if one.assignment in middles),
        trend_within(weeks, [one.mark for one in marks], [one.cut for one in marks]) if marks else None,
        missed,
    )


def _flagged(students: Sequence[StudentTerm]) -> tuple[StudentTerm, ...]:
    """The students with what holds when all are looked at together."""
    trends = [None if one.trend is None else one.trend.p for one in students]
    changed = _held(trends)
    lower = _held([_p_behind(one.against) for one in students])
    flagged = []
    for k, one in enumerate(students):
        slope = one.trend.slope if one.trend is not None else 0.0
        rises, falls = changed[k] and slope > 0.0, changed[k] and slope < 0.0
        behind = lower[k] and fmean(one.against) <= -BEHIND
        flagged.append(replace(one, improves=rises, falls=falls, behind=behind))
    return tuple(flagged)


def _held(chances: Sequence[float | None]) -> list[bool]:
    """Which probabilities hold among all that were looked at; None was not."""
    known = [p for p in chances if p is not None]
    if not known:
        return [False] * len(chances)
    told = iter(false_discovery_control(known).tolist())
    return [p is not None and next(told) <= FALSE_ALARMS for p in chances]


def _p_behind(against: Sequence[float]) -> float | None:
    """The chance of marks so far below the middle by luck (signed ranks, one-sided); None for too few."""
    if len(against) < FEWEST:
        return None
    if not any(against):
        return 1.0
    return float(wilcoxon(against, alternative="less").pvalue)


def _cuts(marks: Sequence[TermMark]) -> list[CutTerm]:
    groups: dict[str, list[TermMark]] = {}
    for one in marks:
        groups.setdefault(one.cut, []).append(one)
    found = []
    for cut, rows in groups.items():
        means = _means(rows)
        found.append(CutTerm(cut, tuple(rows), len(means), fmean(means.values())))
    return found


def _means(rows: Sequence[TermMark]) -> dict[str, float]:
    own: dict[str, list[float]] = {}
    for row in rows:
        own.setdefault(row.student, []).append(row.mark)
    return {key: fmean(marks) for key, marks in own.items()}


def _weakest(cuts: Sequence[CutTerm]) -> tuple[CutTerm | None, bool]:
    """The lowest cut, if the same students do worse at it than at each other one; and whether it can be told.

    It was picked for being lowest, out of so many: hence the number of cuts as a factor (Bonferroni).
    """
    if len(cuts) < 2:
        return None, False
    mine = _means(cuts[0].marks)
    most = 0.0
    for other in cuts[1:]:
        theirs = _means(other.marks)
        less = [mine[key] - theirs[key] for key in mine if key in theirs]
        if len(less) < FEWEST:
            return None, False
        most = max(most, float(wilcoxon(less, alternative="less").pvalue) if any(less) else 1.0)
    return (cuts[0] if len(cuts) * most <= FALSE_ALARMS else None), True
