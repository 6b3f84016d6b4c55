"""A trend: how fast something changes, and how sure that is. No assumption on how the values scatter.

Theil-Sen slope with its interval (P. K. Sen, Journal of the American Statistical Association 63 (1968),
1379-1389) and the Mann-Kendall test (H. B. Mann, Econometrica 13 (1945), 245-259; M. G. Kendall, Rank
Correlation Methods, 1975), exact for few values without ties.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import norm

__all__ = ["FEWEST", "Trend", "mann_kendall", "theil_sen", "trend"]

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


def theil_sen(times: ArrayLike, values: ArrayLike, level: float = 0.95) -> tuple[float, float, float]:
    """(slope, low, high): the median of the slopes of all pairs, and its interval by the variance of s."""
    t, x = np.asarray(times, float), np.asarray(values, float)
    i, j = np.triu_indices(len(t), 1)
    apart = t[j] != t[i]
    slopes = np.sort((x[j] - x[i])[apart] / (t[j] - t[i])[apart])
    if not len(slopes):
        raise ValueError("a slope needs two times")
    # Sen (1968), eq. 2.6 with ties of either taken into account
    reach = norm.ppf(0.5 + level / 2.0) * math.sqrt(_variance(x, t))
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
    variance = _variance(x, t)
    if variance <= 0.0 or s == 0:
        return s, 1.0
    return s, float(min(1.0, 2.0 * norm.sf((abs(s) - 1) / math.sqrt(variance))))


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
