"""Advice: known faults are named, even trays hear nothing."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from measured import Floats, measured, piece, pieces
from scipy import integrate, stats

from cutcheck.advice import Finding, advise, findings
from cutcheck.oddside import odd_side
from cutcheck.records import Piece, ShapeFigure
from cutcheck.standards import find_cut
from cutcheck.verdict import judge

TRIES = 100
Maker = Callable[[np.random.Generator], Floats]


def told(name: str, sides: Floats, u95: Floats | float = 0.1, *, heights: bool = True) -> tuple[Finding, ...]:
    """What is said of a tray."""
    cut = find_cut(name)
    after, score, _ = judge(pieces(sides, u95, heights=heights), cut)
    return findings(after, score, cut)


def named(name: str, make: Maker, kind: str, sign: int) -> int:
    """How many of ``TRIES`` trays have this fault named first, with its direction."""
    rng = np.random.default_rng(21)
    count = 0
    for _ in range(TRIES):
        seen, u95 = measured(rng, make(rng), 0.04, 0.08)
        found = told(name, seen, u95)
        count += bool(found) and found[0].kind == kind and (sign == 0 or found[0].off_mm * sign > 0)
    return count


def dice(rng: np.random.Generator, mean: float, sd: float, off: float = 0.0, n: int = 30) -> Floats:
    """Dice thrown on the board anyhow: one cut of each is off, and may lie any way."""
    sides = rng.normal(mean, sd, (n, 3))
    sides[:, 0] += off
    return np.take_along_axis(sides, np.argsort(rng.random((n, 3)), axis=1), axis=1)


def sticks(
    rng: np.random.Generator, off: float = 0.0, long: float = 0.0, sd: float = 0.3, n: int = 30
) -> Floats:
    """Bâtonnets: 6.35 x 6.35 x 57, the slab off by ``off``, the length by ``long``."""
    section = rng.normal(6.35, sd, (n, 2))
    section[:, 0] += off
    turned = np.take_along_axis(section, np.argsort(rng.random((n, 2)), axis=1), axis=1)
    return np.column_stack([rng.normal(57 + long, 1.2, n), turned])


def ribbons(rng: np.random.Generator, sd: float) -> Floats:
    """Chiffonade 2.5 mm wide."""
    return np.column_stack([rng.normal(90, 10, 40), rng.normal(2.5, sd, 40), np.full(40, 0.4)])


@pytest.mark.parametrize(
    ("name", "make"),
    [
        ("small-dice", lambda rng: dice(rng, 6.35, 0.3)),
        ("small-dice", lambda rng: dice(rng, 6.35, 0.5)),
        ("large-dice", lambda rng: dice(rng, 19.0, 0.5, n=40)),
        ("brunoise", lambda rng: dice(rng, 2.5, 0.25, n=60)),
        ("batonnet", lambda rng: sticks(rng)),
        ("julienne", lambda rng: np.column_stack([rng.normal(45, 2, 40), rng.normal(2.0, 0.2, (40, 2))])),
        ("paysanne", lambda rng: np.column_stack([rng.normal(10, 0.4, (40, 2)), rng.normal(1.5, 0.2, 40)])),
        ("chiffonade", lambda rng: ribbons(rng, 0.2)),
    ],
)  # fmt: skip
def test_an_even_tray_hears_nothing(name: str, make: Maker) -> None:
    """No fault is named on even trays at least 9 times in 10."""
    rng = np.random.default_rng(20)
    silent = 0
    for _ in range(TRIES):
        seen, u95 = measured(rng, make(rng), 0.04, 0.08)
        silent += told(name, seen, u95) == ()
    assert silent >= 0.9 * TRIES


@pytest.mark.parametrize(
    ("name", "make", "kind", "sign"),
    [
        # one cut of three off by 1 mm and twice the spread, or more, pieces lying anyhow
        ("small-dice", lambda rng: dice(rng, 6.35, 0.5, -1.0), "one-cut", -1),
        ("small-dice", lambda rng: dice(rng, 6.35, 0.5, 1.0, n=40), "one-cut", 1),
        ("small-dice", lambda rng: dice(rng, 6.35, 0.3, -1.1), "one-cut", -1),
        ("medium-dice", lambda rng: dice(rng, 12.7, 0.6, -1.5), "one-cut", -1),
        # all cuts off
        ("small-dice", lambda rng: dice(rng, 7.45, 0.4), "size", 1),
        ("brunoise", lambda rng: dice(rng, 4.1, 0.3), "size", 1),
        ("batonnet", lambda rng: sticks(rng, long=-12.0), "size", -1),
        ("rondelle", lambda rng: rng.normal([25, 25, 4.1], 0.4, (30, 3)), "size", 1),
        # the slab of a stick off: which of two is told by its size
        ("batonnet", lambda rng: sticks(rng, off=-1.2, sd=0.4, n=40), "one-cut", -1),
        ("batonnet", lambda rng: sticks(rng, off=1.2, sd=0.4, n=40), "one-cut", 1),
        # no bias, but each piece another size
        ("small-dice", lambda rng: dice(rng, 6.35, 0.9), "steadiness", 0),
        ("chiffonade", lambda rng: ribbons(rng, 0.55), "steadiness", 0),
    ],
)  # fmt: skip
def test_a_known_fault_is_named(name: str, make: Maker, kind: str, sign: int) -> None:
    """A fault of at least 1 mm and twice the spread, with 30 or more pieces, is named 9 times in 10."""
    assert named(name, make, kind, sign) >= 0.9 * TRIES


def test_the_odd_cut_is_found_where_all_pieces_lie_the_same_way() -> None:
    """Dice whose slab is thin, all lying on its face: the heights alone are odd, and the figure is right."""
    rng = np.random.default_rng(3)
    sides = rng.normal(6.35, 0.3, (40, 3)) - [0, 0, 1.1]
    fit = odd_side(sides, 2)
    assert fit is not None
    assert fit.off_mm == pytest.approx(-1.1, abs=0.25)
    assert fit.others_mm == pytest.approx(6.35, abs=0.15)
    assert fit.upright > 0.9


def test_without_a_fault_sorted_sides_lie_where_order_statistics_put_them() -> None:
    """The mean of the sorted three is mean - 0.846 s, mean, mean + 0.846 s, as scipy integrates them; a tray
    built so gains next to nothing from an odd side, one that is not gains much."""

    def of_the_largest(z: float) -> float:
        return float(z * 3.0 * stats.norm.cdf(z) ** 2 * stats.norm.pdf(z))

    largest = integrate.quad(of_the_largest, -8, 8)[0]
    assert largest == pytest.approx(3 / (2 * np.sqrt(np.pi)))  # 0.846, closed form
    even = np.sort(np.random.default_rng(1).normal(6.35, 0.4, (4000, 3)), axis=1).mean(axis=0)
    assert even == pytest.approx(6.35 + 0.4 * largest * np.array([-1, 0, 1]), abs=0.02)
    gains = [
        odd_side(dice(np.random.default_rng(k), 6.35, 0.4, off, n=60), 2) for k, off in ((2, 0.0), (2, -1.2))
    ]
    assert gains[0] is not None
    assert gains[1] is not None
    assert gains[0].gain < 4.5 < 20 < gains[1].gain


def test_too_few_pieces_hear_nothing_of_an_odd_cut() -> None:
    """Ten dice are too few to tell an odd cut from chance."""
    assert odd_side(dice(np.random.default_rng(0), 6.35, 0.3, -1.5, n=10), 2) is None


def test_advice_names_the_figure_and_the_step() -> None:
    """A thin cut is told with how much, and with the steps of this cut that it may be."""
    found = told("small-dice", dice(np.random.default_rng(5), 6.35, 0.3, -1.1, n=40))
    assert found[0].steps == ("slab", "stick", "cross-cut")
    assert found[0].text.startswith(
        "Size: one of your three cuts (slab, stick or cross-cut) runs thin, by 1."
    )
    short = told("batonnet", sticks(np.random.default_rng(6), long=-14.0))
    assert short[0].steps == ("length",)
    assert "too short" in short[0].text
    assert "cutting to length" in short[0].text


def test_lengths_are_told_in_the_unit_that_is_asked_for() -> None:
    """In inches the advice has inches."""
    cut = find_cut("small-dice")
    after, score, _ = judge(pieces(np.random.default_rng(7).normal(7.6, 0.3, (30, 3)), 0.1), cut)
    (line,) = advise(after, score, cut, "in")
    assert "1/4 in is meant" in line
    assert "mm" not in line


def test_where_heights_are_not_seen_it_says_what_it_cannot_tell() -> None:
    """From above nobody can tell whether one of three cuts is off: it says so and how to see it."""
    found = told("small-dice", dice(np.random.default_rng(8), 6.35, 0.3), heights=False)
    assert [f.kind for f in found] == ["unseen"]
    assert "can't tell whether one of your cuts" in found[0].text
    assert "at a slant" in found[0].text


def test_at_most_two_things_are_said() -> None:
    """A tray with many faults hears the two largest, the worst first."""
    rng = np.random.default_rng(9)
    bad = np.column_stack([rng.normal(80, 9, 40), rng.normal(9, 1.5, (40, 2))])
    found = told("batonnet", bad)
    assert len(found) == 2
    assert found[0].weight >= found[1].weight


def test_a_handful_of_pieces_hears_nothing() -> None:
    """With fewer than five pieces there is no advice, and with no score neither."""
    cut = find_cut("small-dice")
    after, score, _ = judge([piece(i, (8.0, 8.0, 8.0), 0.1) for i in range(4)], cut)
    assert advise(after, score, cut) == ()
    assert advise(after, None, cut) == ()


def test_taper_is_told_with_what_it_usually_comes_from() -> None:
    """Where most pieces taper by more than half the tolerance, it is told; where it is noise, not."""
    cut = find_cut("small-dice")
    sides = np.random.default_rng(4).normal(6.35, 0.3, (30, 3))

    def with_taper(mm: float, u95: float) -> list[Piece]:
        plain = pieces(sides, 0.1)
        return [
            Piece(p.number, p.centre_px, (), p.shape, p.length, p.width, p.height,
                  figures=(ShapeFigure("taper", mm, "mm", u95),)) for p in plain
        ]  # fmt: skip

    after, score, _ = judge(with_taper(0.8, 0.2), cut)
    assert any("taper of 0.8 mm" in line and "Usually" in line for line in advise(after, score, cut))
    after, score, _ = judge(with_taper(0.8, 1.0), cut)
    assert advise(after, score, cut) == ()
