"""A class over a term: what is said of students and cuts, and that luck alone is rarely named."""

from __future__ import annotations

import itertools
from datetime import date, timedelta

import numpy as np
import pytest
from scipy.stats import kendalltau

from cutcheck.classroom.class_term import ClassTerm, TermMark, class_term
from cutcheck.trend import mann_kendall, theil_sen, trend_within

CUTS = ("small-dice", "julienne", "batonnet")


def invented(
    seed: int = 1,
    students: int = 30,
    assignments: int = 18,
    *,
    rise: float = 0.0,
    low: float = 0.0,
    weak: float = 0.0,
) -> ClassTerm:
    """A class of invented students, three cuts by turns; the first student rises by ``rise`` an assignment,
    the second lies ``low`` below the others, and the second cut ``weak`` below the other two."""
    random = np.random.default_rng(seed)
    marks = []
    for s in range(students):
        own = random.normal(0, 4)
        for a in range(assignments):
            mark = 65 + own + random.normal(0, 5) - (weak if a % 3 == 1 else 0.0)
            mark += rise * (a - assignments / 2) if s == 0 else -low if s == 1 else 0.0
            day = (date(2026, 9, 1) + timedelta(days=4 * a)).isoformat()
            mark = float(np.clip(mark, 0, 100))
            marks.append(TermMark(f"s{s}", f"a{a:02d}", day, CUTS[a % 3], mark, mark - 3, mark + 3))
    return class_term("Cuts, invented", marks, {f"s{s}": f"Student {s}" for s in range(students)})


def test_one_kind_is_the_plain_trend() -> None:
    """With one kind the slope is Theil and Sen's, and the chance that of scipy's exact Kendall test."""
    random = np.random.default_rng(4)
    t, x = np.arange(9.0), random.normal(size=9)
    found = trend_within(t, x, ["a"] * 9)
    assert found is not None
    assert (found.slope, found.slope_low, found.slope_high) == theil_sen(t, x)
    assert (found.s, found.p) == pytest.approx(mann_kendall(x, t))
    assert found.p == pytest.approx(kendalltau(t, x, method="exact").pvalue)


def test_several_kinds_are_compared_within_themselves() -> None:
    """The chance is that of all orders within the kinds, counted out; levels of the kinds mean nothing."""
    kinds = ["a", "b", "a", "b", "a", "b", "a"]
    t, x = np.arange(7.0), np.array([10.0, 50.0, 12.0, 49.0, 15.0, 60.0, 14.0])
    found = trend_within(t, x, kinds)
    assert found is not None

    def score(a: tuple[float, ...], b: tuple[float, ...]) -> int:
        pairs = [*itertools.combinations(a, 2), *itertools.combinations(b, 2)]
        return int(sum(np.sign(later - earlier) for earlier, later in pairs))

    a, b = tuple(x[::2]), tuple(x[1::2])
    scores = [score(p, q) for p in itertools.permutations(a) for q in itertools.permutations(b)]
    assert found.s == score(a, b)
    assert found.p == pytest.approx(np.mean(np.abs(scores) >= abs(found.s)))
    lifted = x + np.where(np.array(kinds) == "b", -300.0, 0.0)
    assert trend_within(t, lifted, kinds) == found


def test_too_few_of_a_kind_give_no_trend() -> None:
    """Six trays of six cuts can't be compared; with ties the chance is by the normal approximation."""
    assert trend_within(range(6), range(6), list("abcdef")) is None
    tied = trend_within(range(6), [1, 1, 2, 3, 4, 4], ["a"] * 6)
    assert tied is not None
    assert tied.p == mann_kendall([1, 1, 2, 3, 4, 4])[1]


def test_luck_is_rarely_named() -> None:
    """In classes where nobody changes and nobody is behind by more than the students' own spread, a rise or
    fall is named in few classes of a hundred: the share of false alarms holds for the class, not for each."""
    classes = [invented(seed, students=20, assignments=12) for seed in range(60)]
    alarmed = sum(any(one.improves or one.falls for one in found.students) for found in classes)
    single = sum(one.trend is not None and one.trend.p < 0.05 for c in classes for one in c.students)
    assert alarmed / len(classes) <= 0.12
    assert single > 30, "one at a time, luck would have been named that often"


def test_who_improves_is_found() -> None:
    """A clear rise is named, and a clear fall is a reason for a look."""
    rises = invented(2, rise=2.5)
    assert [one.name for one in rises.improving] == ["Student 0"]
    falls = invented(2, rise=-2.5)
    assert [one.name for one in falls.students if one.falls] == ["Student 0"]
    assert "Student 0" in [one.name for one in falls.to_look_at]


def test_who_is_behind_is_found() -> None:
    """Marks well below the middle of the class, assignment after assignment, are a reason for a look."""
    found = invented(3, low=22.0)
    student = next(one for one in found.students if one.name == "Student 1")
    assert student.behind
    assert not student.falls
    below = [float(np.mean(one.against)) for one in found.students if not one.behind]
    assert min(below) < -4.0, "a few marks below the middle are no reason"
    assert all(np.mean(one.against) <= -10.0 for one in found.students if one.behind)


def test_the_weakest_cut_is_named_only_where_it_is() -> None:
    """A cut that the class does worse at is named; where all are alike none is."""
    assert invented(5, weak=8.0).weakest is not None
    assert invented(5, weak=8.0).weakest.cut == "julienne"  # type: ignore[union-attr]
    named = sum(invented(seed, students=12, assignments=9).weakest is not None for seed in range(40))
    assert named <= 5


def test_few_trays_say_nothing() -> None:
    """With two assignments nobody improves, falls or is behind, and no cut is weakest."""
    found = invented(1, assignments=2, low=40.0, rise=30.0)
    assert len(found.too_few) == 30
    assert not found.improving
    assert not found.to_look_at
    assert found.weakest is None


def test_who_hands_in_nothing_needs_a_look() -> None:
    """Three assignments in a row without a tray, up to the last one; also somebody with none at all."""
    marks = [
        TermMark(who, f"a{a}", f"2026-09-0{a + 1}", "small-dice", 60.0, 55.0, 65.0)
        for a in range(4)
        for who in ("x", "y")
        if who == "x" or a == 0
    ]
    found = class_term("C", marks, {"x": "Ann", "y": "Bea", "z": "Cid"})
    assert [(one.name, one.missed, one.needs_a_look) for one in found.students] == [
        ("Ann", 0, False),
        ("Bea", 3, True),
        ("Cid", 4, True),
    ]
    assert found.middles == {}, "the middle of two marks would tell the other one's"


def test_an_empty_term() -> None:
    """A class without marks is a term without figures."""
    found = class_term("C", [], {"x": "Ann"})
    assert found.days is None
    assert found.students[0].lately is None
    assert not found.to_look_at
