"""Trends against scipy, closed forms and simulation."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from cutcheck.trend import FEWEST, mann_kendall, theil_sen, trend


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 10_000), st.integers(6, 40))
def test_the_slope_and_its_interval_are_scipy_s(seed: int, count: int) -> None:
    """Theil-Sen slope and interval agree with ``scipy.stats.theilslopes`` where no two times are equal."""
    rng = np.random.default_rng(seed)
    t = np.sort(rng.uniform(0.0, 90.0, count))
    x = 0.02 * t + rng.normal(0.0, 1.0, count)
    want = stats.theilslopes(x, t, alpha=0.95)
    slope, low, high = theil_sen(t, x)
    assert slope == pytest.approx(want.slope, rel=1e-12)
    # its ends are order statistics, found by rounding: ours may be one place further out
    pairs = np.sort([(x[j] - x[i]) / (t[j] - t[i]) for i, j in itertools.combinations(range(count), 2)])
    place = np.searchsorted(pairs, [low, want.low_slope, high, want.high_slope])
    assert abs(place[0] - place[1]) <= 1
    assert abs(place[2] - place[3]) <= 1


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 10_000), st.integers(3, 30), st.booleans())
def test_the_test_is_kendall_s_tau_with_time(seed: int, count: int, ties: bool) -> None:
    """Without ties p is exactly scipy's of Kendall's tau; the score is that of all pairs."""
    rng = np.random.default_rng(seed)
    x = rng.normal(size=count)
    if ties:
        x = np.round(x)
    s, p = mann_kendall(x)
    assert s == sum(np.sign(b - a) for a, b in itertools.combinations(x, 2))
    if len(set(x)) == count:
        assert p == pytest.approx(stats.kendalltau(np.arange(count), x, method="exact").pvalue, abs=1e-12)
    elif len(set(x)) > 1 and count >= 10:
        # scipy's approximation leaves the continuity correction out, so ours says a little less
        want = stats.kendalltau(np.arange(count), x, method="asymptotic").pvalue
        assert want - 1e-9 <= p <= want + 0.2


def test_the_chance_of_few_values_is_counted() -> None:
    """Of all 720 orders of six values, p is the share with a score as large: counted, not approximated."""
    scores = [mann_kendall(order)[0] for order in itertools.permutations(range(6))]
    for order in ((0, 1, 2, 3, 4, 5), (0, 1, 2, 4, 3, 5), (5, 3, 4, 1, 0, 2)):
        s, p = mann_kendall(order)
        assert p == pytest.approx(sum(abs(other) >= abs(s) for other in scores) / 720)


def test_ties_make_the_test_a_little_less_sure() -> None:
    """With ties p goes by var(s) = [n (n-1)(2n+5) - sum t (t-1)(2t+5)] / 18: R. O. Gilbert, Statistical
    Methods for Environmental Pollution Monitoring (1987), sec. 16.4 (formula from memory)."""
    x = np.array([10, 22, 21, 30, 22, 30, 40, 40, 34, 45, 40, 50.0])
    s, p = mann_kendall(x)
    pairs = itertools.combinations(x, 2)
    assert s == sum(int(np.sign(b - a)) for a, b in pairs)
    ties = [2, 2, 3]
    variance = (12 * 11 * 29 - sum(t * (t - 1) * (2 * t + 5) for t in ties)) / 18
    assert p == pytest.approx(2 * stats.norm.sf((s - 1) / np.sqrt(variance)), rel=1e-12)


def test_chance_alone_is_called_sure_no_more_than_once_in_twenty() -> None:
    """Of 2,000 series of ten values without any trend, at most 5 in 100 are called sure."""
    rng = np.random.default_rng(5)
    t = np.arange(10.0)
    found = [trend(t, rng.normal(size=10)) for _ in range(2000)]
    assert np.mean([one is not None and one.sure for one in found]) <= 0.055


def test_the_interval_holds_the_true_slope() -> None:
    """The slope's interval holds a true slope of 0.3 at least 93 times in 100, at uneven times."""
    rng = np.random.default_rng(6)
    held = 0
    for _ in range(1500):
        t = np.sort(rng.uniform(0.0, 30.0, 14))
        found = trend(t, 0.3 * t + rng.standard_t(3, size=14))
        assert found is not None
        held += found.slope_low <= 0.3 <= found.slope_high
    assert held / 1500 >= 0.93


def test_too_few_or_all_at_once_is_no_trend() -> None:
    """Fewer than six values, or all of one moment, say nothing."""
    assert trend(np.arange(FEWEST - 1), np.arange(FEWEST - 1)) is None
    assert trend(np.zeros(9), np.arange(9)) is None
    assert trend(np.arange(FEWEST), np.arange(FEWEST)).sure  # type: ignore[union-attr]


def test_values_all_equal_have_no_trend() -> None:
    """A series that never moves has a slope of nothing and is not called sure."""
    found = trend(np.arange(8), np.full(8, 4.2))
    assert found is not None
    assert (found.slope, found.p, found.sure) == (0.0, 1.0, False)


def test_order_given_does_not_matter() -> None:
    """The same values given in another order are the same trend."""
    rng = np.random.default_rng(8)
    t, x = np.arange(9.0), rng.normal(size=9)
    mixed = rng.permutation(9)
    assert trend(t[mixed], x[mixed]) == trend(t, x)
