"""A trend: how fast something changes, and how sure that is. No assumption on how the values scatter.

Theil-Sen slope with its interval (P. K. Sen, Journal of the American Statistical Association 63 (1968),
1379-1389) and the Mann-Kendall test (H. B. Mann, Econometrica 13 (1945), 245-259; M. G. Kendall, Rank
Correlation Methods, 1975), exact for few values without ties. Values of several kinds, each with a level of
its own, are compared within their kind only (R. M. Hirsch, J. R. Slack and R. A. Smith, Water Resources
Research 18 (1982), 107-121, whose kinds are the months).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import norm

__all__ = ["FEWEST", "Trend", "mann_kendall", "theil_sen", "trend", "trend_within"]

Floats = NDArray[np.float64]

# With fewer nothing is said at all: that 5 values all rise or all fall is chance 1 time in 60, with 6 values
# 1 time in 360. A house rule.
FEWEST = 6
SURE = 0.05
_EXACT_TO = 30


@dataclass(frozen=True, slots=True)
class Trend:
    """``slope`` per unit of time with its interval at 95 %; ``p`` of chance alone (two-sided, Mann-Kendall).

    ``s`` is Kendall's score: pairs that rise less pairs that fall.
    """

    count: int
    slope: float
    slope_low: float
    slope_high: float
    s: int
    p: float

    @property
    def sure(self) -> bool:
        """Would chance alone look so less than once in twenty times?"""
        return self.p < SURE and self.slope != 0.0


def trend(times: ArrayLike, values: ArrayLike) -> Trend | None:
    """The trend of values over times, (k,) float each; None for fewer than ``FEWEST`` or all at one time."""
    t, x = np.asarray(times, float), np.asarray(values, float)
    if len(t) < FEWEST or float(np.ptp(t)) == 0.0:
        return None
    slope, low, high = theil_sen(t, x)
    order = np.argsort(t, kind="stable")
    s, p = mann_kendall(x[order], t[order])
    return Trend(len(t), slope, low, high, s, p)


def trend_within(times: ArrayLike, values: ArrayLike, kinds: Sequence[object]) -> Trend | None:
    """The common trend of values of several kinds, (k,) each, whose levels may differ.

    Only values of one kind are compared. None where fewer than ``FEWEST`` have another of their kind at
    another time. The slope is the median over all such pairs, its interval by the variance of s.
    """
    t, x = np.asarray(times, float), np.asarray(values, float)
    names = list(dict.fromkeys(kinds))
    groups = [np.flatnonzero([kind == name for kind in kinds]) for name in names]
    groups = [group for group in groups if len(group) > 1 and float(np.ptp(t[group])) > 0.0]
    count = sum(len(group) for group in groups)
    if count < FEWEST:
        return None
    slopes, s, variance, exact, chance = [], 0, 0.0, True, np.ones(1)
    for group in groups:
        group = group[np.argsort(t[group], kind="stable")]
        i, j = (group[side] for side in np.triu_indices(len(group), 1))
        apart = t[j] != t[i]
        slopes.append((x[j] - x[i])[apart] / (t[j] - t[i])[apart])
        s += mann_kendall(x[group], t[group])[0]
        variance += _variance(x[group], t[group])
        n = len(group)
        exact = exact and len(np.unique(x[group])) == n == len(np.unique(t[group])) and n <= _EXACT_TO
        if exact:
            chance = np.convolve(chance, _scores(n))
    middle, low, high = _middle(np.sort(np.concatenate(slopes)), math.sqrt(variance), 0.95)
    if exact:
        falling = (len(chance) - 1 - abs(s)) // 2
        p = min(1.0, 2.0 * float(chance[: falling + 1].sum()))
    else:
        p = _normal_p(s, variance)
    return Trend(count, middle, low, high, s, p)


def theil_sen(times: ArrayLike, values: ArrayLike, level: float = 0.95) -> tuple[float, float, float]:
    """(slope, low, high): the median of the slopes of all pairs, and its interval by the variance of s."""
    t, x = np.asarray(times, float), np.asarray(values, float)
    i, j = np.triu_indices(len(t), 1)
    apart = t[j] != t[i]
    slopes = np.sort((x[j] - x[i])[apart] / (t[j] - t[i])[apart])
    if not len(slopes):
        raise ValueError("a slope needs two times")
    return _middle(slopes, math.sqrt(_variance(x, t)), level)


def _middle(slopes: Floats, sd: float, level: float) -> tuple[float, float, float]:
    """The median of sorted slopes with its interval: Sen (1968), eq. 2.6, with ties taken into account."""
    reach = norm.ppf(0.5 + level / 2.0) * sd
    low = min(max(round((len(slopes) - reach) / 2.0) - 1, 0), len(slopes) - 1)
    high = min(max(round((len(slopes) + reach) / 2.0), 0), len(slopes) - 1)
    return float(np.median(slopes)), float(slopes[low]), float(slopes[high])


def mann_kendall(values: ArrayLike, times: ArrayLike | None = None) -> tuple[int, float]:
    """(s, p): Kendall's score of values in their order and the two-sided probability by chance alone.

    Exact up to 30 values without ties, else by the normal approximation with its correction for ties and for
    continuity. ``times`` tells pairs taken at one moment, which count for nothing.
    """
    x = np.asarray(values, float)
    t = np.arange(len(x), dtype=float) if times is None else np.asarray(times, float)
    i, j = np.triu_indices(len(x), 1)
    s = int((np.sign(x[j] - x[i]) * np.sign(t[j] - t[i])).sum())
    if len(np.unique(x)) == len(x) == len(np.unique(t)) and len(x) <= _EXACT_TO:
        return s, _exact_p(len(x), abs(s))
    return s, _normal_p(s, _variance(x, t))


def _normal_p(s: int, variance: float) -> float:
    if variance <= 0.0 or s == 0:
        return 1.0
    return float(min(1.0, 2.0 * norm.sf((abs(s) - 1) / math.sqrt(variance))))


def _variance(x: Floats, t: Floats) -> float:
    """The variance of s by chance alone, with ties in either (Kendall 1975, eq. 4.3 and 5.2)."""
    n = len(x)
    v1, v2 = (np.unique(a, return_counts=True)[1].astype(float) for a in (x, t))

    def cubic(c: Floats) -> float:
        return float((c * (c - 1) * (2 * c + 5)).sum())

    def pairs(c: Floats) -> float:
        return float((c * (c - 1)).sum())

    def triples(c: Floats) -> float:
        return float((c * (c - 1) * (c - 2)).sum())

    total = (n * (n - 1) * (2 * n + 5) - cubic(v1) - cubic(v2)) / 18.0
    if n > 2:
        total += triples(v1) * triples(v2) / (9.0 * n * (n - 1) * (n - 2))
    return total + pairs(v1) * pairs(v2) / (2.0 * n * (n - 1))


@lru_cache(maxsize=64)
def _scores(n: int) -> tuple[float, ...]:
    """How probable each score is by chance: index d, the number of falling pairs, from 0 to n (n - 1) / 2."""
    chance = np.ones(1)
    for k in range(2, n + 1):
        chance = np.convolve(chance, np.full(k, 1.0 / k))
    return tuple(chance.tolist())


def _exact_p(n: int, s: int) -> float:
    most = n * (n - 1) // 2
    falling = (most - s) // 2
    return min(1.0, 2.0 * sum(_scores(n)[: falling + 1]))
