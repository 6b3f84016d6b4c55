"""Control charts against published tables, certified values and worked examples."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from cutcheck.control_charts import (
    capability,
    constants,
    individuals,
    means_from_ranges,
    means_from_spreads,
    pooled_spread,
    signals,
)

DATA = Path(__file__).parent / "data"


def numbers(name: str) -> np.ndarray:
    """The numbers of a data file, its comments left out."""
    lines = (DATA / name).read_text().splitlines()
    return np.array([float(n) for line in lines if not line.startswith("#") for n in line.split()])


def certified(name: str) -> dict[str, float]:
    """The certified values in a data file's header."""
    line = next(
        line for line in (DATA / name).read_text().splitlines() if line.startswith("# certified:")
    ).split()[2:]
    return {key: float(value) for key, value in zip(line[::2], line[1::2], strict=True)}


def printed() -> list[dict[str, str]]:
    """The published table of constants."""
    lines = [line for line in (DATA / "chart_constants.txt").read_text().splitlines() if line[0] != "#"]
    return [dict(zip(lines[0].split(), line.split(), strict=True)) for line in lines[1:]]


@pytest.mark.parametrize("row", printed(), ids=lambda row: f"n={row['n']}")
def test_constants_are_those_of_the_published_table(row: dict[str, str]) -> None:
    """Each constant, computed from its definition, rounds to the printed figure (Pyzdek, appendix p. 401)."""
    n = constants(int(row["n"]))
    own = {"A2": n.a2, "A3": n.a3, "B3": n.b3, "B4": n.b4, "c4": n.c4, "d2": n.d2, "d3": n.d3}
    own |= {"D3": n.D3, "D4": n.D4, "E2": n.e2}
    for name, value in own.items():
        digits = len(row[name].partition(".")[2])
        # printed tables chain rounded figures: one unit of their last digit is theirs
        assert value == pytest.approx(float(row[name]), abs=1.01 * 10**-digits if digits else 1e-9), name


def test_two_values_have_closed_forms() -> None:
    """For two values d2 is 2/sqrt(pi), d3 sqrt(2 - 4/pi) and c4 sqrt(2/pi), exactly."""
    two = constants(2)
    assert two.d2 == pytest.approx(2 / math.sqrt(math.pi), abs=1e-9)
    assert two.d3 == pytest.approx(math.sqrt(2 - 4 / math.pi), abs=1e-5)
    assert two.c4 == pytest.approx(math.sqrt(2 / math.pi), rel=1e-12)
    with pytest.raises(ValueError, match="2 values or more, not 1"):
        constants(1)


@pytest.mark.parametrize(("name", "digits"), [("nist_mavro.txt", 12), ("nist_michelso.txt", 12)])
def test_certified_values_of_measured_sets(name: str, digits: int) -> None:
    """Mean, standard deviation and lag-1 autocorrelation of NIST's sets, to the digits that doubles allow."""
    offset, scale = (2.0, 1e5) if "mavro" in name else (299.0, 100.0)
    x = offset + numbers(name) / scale
    want = certified(name)
    assert len(x) == want["n"]
    chart = individuals(x)
    assert chart.limits.centre == pytest.approx(want["mean"], rel=10**-digits)
    # the spread of one group is what pooled_spread gives times its c4
    sd = pooled_spread(x[None, :]) * constants(len(x)).c4
    assert sd == pytest.approx(want["sd"], rel=1e-9)
    assert lag1(x) == pytest.approx(want["lag1"], rel=1e-9)


@pytest.mark.parametrize(
    ("values", "mean", "sd", "lag1_certified", "rel"),
    [
        # NIST StRD NumAcc1 to NumAcc4: made to show what an unstable formula loses.
        ([10000001.0, 10000003.0, 10000002.0], 10000002.0, 1.0, -0.5, 1e-15),
        ([1.2, *[1.1, 1.3] * 500], 1.2, 0.1, -0.999, 1e-12),
        ([1000000.2, *[1000000.1, 1000000.3] * 500], 1000000.2, 0.1, -0.999, 1e-8),
        # doubles hold 10000000.2 to 2e-9 only: the certified 0.1 reads 0.10000000055879
        ([10000000.2, *[10000000.1, 10000000.3] * 500], 10000000.2, 0.1, -0.999, 1e-7),
    ],
    ids=["NumAcc1", "NumAcc2", "NumAcc3", "NumAcc4"],
)
def test_certified_values_of_made_up_sets(
    values: list[float], mean: float, sd: float, lag1_certified: float, rel: float
) -> None:
    """Large numbers with small differences keep their spread (NIST StRD, certified)."""
    x = np.array(values)
    assert individuals(x).limits.centre == pytest.approx(mean, rel=1e-14)
    assert pooled_spread(x[None, :]) * constants(len(x)).c4 == pytest.approx(sd, rel=rel)
    assert lag1(x) == pytest.approx(lag1_certified, rel=max(rel, 1e-12))


def lag1(x: np.ndarray) -> float:
    """Lag-1 autocorrelation from the moving ranges of a chart: their squares tell it, save for the ends.

    sum d_i d_(i+1) = sum d_i^2 - (d_1^2 + d_n^2 + sum of squared moving ranges) / 2, d the deviations.
    """
    chart = individuals(x)
    d = x - chart.limits.centre
    square = float((d**2).sum())
    return (square - (d[0] ** 2 + d[-1] ** 2 + float((chart.ranges**2).sum())) / 2.0) / square


def test_piston_rings_by_every_estimator() -> None:
    """Montgomery's piston rings (25 x 5): limits by ranges, by deviations and pooled, as published.

    The pooled figures are those of R News 4/1 (June 2004), pp. 11-12; the others follow from the data.
    """
    x = 74.0 + numbers("piston_rings.txt").reshape(25, 5) / 1000.0
    by_range, ranges = means_from_ranges(x)
    assert by_range.centre == pytest.approx(74.001176, abs=5e-7)
    assert (by_range.low, by_range.high) == pytest.approx((73.98805, 74.01430), abs=6e-6)
    assert (ranges.centre, ranges.high) == pytest.approx(
        (0.022760, 0.04811), abs=2e-5
    )  # with D4 rounded to 2.114
    by_sd, spreads = means_from_spreads(x)
    assert (by_sd.low, by_sd.high) == pytest.approx((73.98799, 74.01436), abs=6e-6)
    assert (spreads.centre, spreads.high) == pytest.approx((0.009240, 0.01930), abs=6e-6)
    pooled = pooled_spread(x)
    assert pooled == pytest.approx(0.009887547, abs=5e-10)
    half = 3.0 * pooled / math.sqrt(5)
    assert (x.mean() - half, x.mean() + half) == pytest.approx((73.98791, 74.01444), abs=6e-6)


def test_capability_of_the_piston_rings() -> None:
    """Cp 1.686 with bounds 1.476 and 1.895, Cpk 1.646 (R News 4/1, p. 12; the pooled spread)."""
    x = 74.0 + numbers("piston_rings.txt").reshape(25, 5) / 1000.0
    found = capability(float(x.mean()), pooled_spread(x), 73.95, 74.05, count=x.size)
    assert (found.cp, found.cp_low, found.cp_high) == pytest.approx((1.686, 1.476, 1.895), abs=5e-4)
    assert found.cpk == pytest.approx(1.646, abs=5e-4)
    assert found.cpk_low < 1.646 < found.cpk_high


def test_bounds_of_capability_hold_what_they_say() -> None:
    """Of 2,000 samples of 30 with known Cp 1.2 and Cpk 0.9, some 95 in 100 bounds hold the true figures."""
    rng = np.random.default_rng(7)
    inside = np.zeros(2)
    for _ in range(2000):
        x = rng.normal(0.9, 1.0, 30)  # limits -3.6 and 3.6: Cp 1.2, Cpk 0.9
        found = capability(float(x.mean()), float(x.std(ddof=1)), -3.6, 3.6, count=30)
        inside += [found.cp_low <= 1.2 <= found.cp_high, found.cpk_low <= 0.9 <= found.cpk_high]
    assert inside[0] / 2000 == pytest.approx(0.95, abs=0.02)
    assert inside[1] / 2000 == pytest.approx(0.95, abs=0.03)


@pytest.mark.parametrize(
    ("values", "mean", "low", "high", "range_high", "places"),
    [
        # NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2: flow rate of ten batches
        ("49.6 47.6 49.9 51.3 47.8 51.2 52.6 52.4 53.6 52.1", 50.81, 45.8159, 55.8041, None, 5e-3),
        # T. Pyzdek, The Handbook for Quality Management, 2nd ed., table 9.4
        (
            "110 103 97 96 105 110 100 93 90 103 97 103 90 97 99 106 90 96 109 90 91 108 96 101 96",
            *(99.04, 77.32, 120.76, 26.68, 1e-2),
        ),
        # SAS/QC user's guide, data set JETS
        (
            "78.4 80.1 84.4 79.1 80.4 83.5 73.8 83.5 75.0 76.8 "
            "70.5 80.3 82.4 79.4 86.4 90.5 77.7 82.5 79.9 83.2",
            *(80.39, 66.229, 94.551, 17.40, 6e-3),
        ),
    ],
    ids=["flow rate", "Pyzdek", "JETS"],
)
def test_individuals_charts_of_worked_examples(
    values: str, mean: float, low: float, high: float, range_high: float | None, places: float
) -> None:
    """Centre and limits of published individuals charts come out as printed."""
    chart = individuals([float(v) for v in values.split()])
    assert chart.limits.centre == pytest.approx(mean, abs=1e-9)
    # printed with d2 as 1.128, E2 as 2.66: up to one part in 3,000
    assert (chart.limits.low, chart.limits.high) == pytest.approx((low, high), abs=places)
    if range_high is not None:
        assert chart.range_limits.high == pytest.approx(range_high, abs=6e-3)


def test_a_floor_holds_the_lower_limit() -> None:
    """A spread has no limit below nothing."""
    assert individuals([0.1, 0.9, 0.2, 0.8], floor=0.0).limits.low == 0.0


@pytest.mark.parametrize(
    ("z", "rules", "rule", "at", "higher"),
    [
        ([0, 0, 3.1, 0], "western-electric", "Western Electric rule 1", 2, True),
        ([0, -2.1, 0, -2.2], "western-electric", "Western Electric rule 2", 3, False),
        ([1.1, 1.2, 0, 1.3, 1.4], "western-electric", "Western Electric rule 3", 4, True),
        ([-0.1] * 8, "western-electric", "Western Electric rule 4", 7, False),
        ([0.1] * 9, "nelson", "Nelson test 2", 8, True),
        ([-0.5, -0.4, -0.1, 0.2, 0.3, 0.6], "nelson", "Nelson test 3", 5, True),
        ([0.5, -0.5] * 7, "nelson", "Nelson test 4", 13, None),
        ([0.5, -0.5, -0.6] * 5, "nelson", "Nelson test 7", 14, None),
        ([1.5, -1.5, -1.6, 1.2] * 2, "nelson", "Nelson test 8", 7, None),
    ],
)
def test_each_rule_is_told_where_it_is_complete(
    z: list[float], rules: str, rule: str, at: int, higher: bool | None
) -> None:
    """A run made for one rule is named after it, at the value that completes it, and by no other rule."""
    found = signals(z, 0.0, 1.0, rules=rules)  # type: ignore[arg-type]
    assert [(s.rule, s.at, s.higher) for s in found] == [(rule, at, higher)]


@pytest.mark.parametrize(
    "z", [[2.1, 0, 0, 2.1], [1.1, 1.1, 1.1, 0, 0, 1.1], [0.1] * 7, [2.1, -2.1], [3.0], [0.1] * 4 + [-0.1] * 4]
)
def test_one_short_of_a_run_is_none(z: list[float]) -> None:
    """A run one value short, or over both sides, is no signal by Western Electric."""
    assert signals(z, 0.0, 1.0) == ()


def test_chance_alone_rarely_signals() -> None:
    """Rule 1 speaks for 0.27 % of normal values; all four for about 1 in 92 (Champ and Woodall 1987)."""
    z = np.random.default_rng(3).normal(size=200_000)
    found = signals(z, 0.0, 1.0)
    alone = sum(s.rule.endswith("1") for s in found) / len(z)
    assert alone == pytest.approx(2 * stats.norm.sf(3.0), rel=0.15)
    # mean run length to the first signal from a fresh start: 91.75 (Technometrics 29, 393-399, table 1)
    starts = np.random.default_rng(4).normal(size=(3000, 800))
    first = [next((s.at + 1 for s in signals(row, 0.0, 1.0)), 800) for row in starts]
    assert np.mean(first) == pytest.approx(91.75, rel=0.06)


@given(st.lists(st.floats(-1e3, 1e3), min_size=2, max_size=40), st.floats(0.1, 10.0), st.floats(-1e3, 1e3))
def test_a_chart_does_not_depend_on_unit_or_origin(values: list[float], scale: float, shift: float) -> None:
    """Values in another unit, from another origin, give the same chart in that unit."""
    plain, other = individuals(values), individuals(np.array(values) * scale + shift)
    for one, two in zip(plain.limits, other.limits, strict=True):
        assert two == pytest.approx(one * scale + shift, rel=1e-6, abs=1e-6 * (1 + abs(shift) + 1e3 * scale))


def test_equal_values_make_a_chart_without_signals() -> None:
    """Trays all alike to the digit are no alarm."""
    assert individuals([5.0] * 12).signals == ()


@pytest.mark.parametrize("values", [[1.0], [1.0, float("nan")], [[1.0, 2.0], [3.0, 4.0]]])
def test_what_can_not_be_charted_is_refused(values: object) -> None:
    """One value, a value that is none, or a table makes no chart of individuals."""
    with pytest.raises(ValueError, match="2 values or more"):
        individuals(values)  # type: ignore[arg-type]
