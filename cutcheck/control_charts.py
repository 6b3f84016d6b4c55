"""Control charts: is a figure steady over time, or has something changed?

Constants come from their definitions for normal values (ISO 7870-2:2013 has them as a table). Rules of
runs are named after where they were published; none says why something changed, only that chance alone would
rarely look so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.integrate import trapezoid
from scipy.special import ndtr
from scipy.stats import chi2, norm

__all__ = [
    "Capability",
    "Chart",
    "Constants",
    "Limits",
    "Signal",
    "capability",
    "constants",
    "individuals",
    "means_from_ranges",
    "means_from_spreads",
    "pooled_spread",
    "signals",
]

Floats = NDArray[np.float64]
Rules = Literal["western-electric", "nelson"]

# Where each set of rules was published.
SOURCES: dict[Rules, str] = {
    "western-electric": "Western Electric, Statistical Quality Control Handbook (1956)",
    "nelson": "L. S. Nelson, Journal of Quality Technology 16 (1984), 237-239",
}


class Constants(NamedTuple):
    """The constants for groups of n values."""

    c4: float
    d2: float
    d3: float
    a2: float
    a3: float
    b3: float
    b4: float
    D3: float
    D4: float
    e2: float


class Limits(NamedTuple):
    """The centre line, and the limits three standard deviations either side of it."""

    low: float
    centre: float
    high: float

    @property
    def sigma(self) -> float:
        """One standard deviation of what is charted."""
        return (self.high - self.centre) / 3.0


class Signal(NamedTuple):
    """A run that chance would rarely make: it ends at ``at`` (from 0). ``rule`` names it with its source."""

    at: int
    rule: str
    words: str
    higher: bool | None


@dataclass(frozen=True, slots=True)
class Chart:
    """A chart of individual values. ``values`` (k,), ``ranges`` (k-1,) the moving ranges of two."""

    values: Floats
    limits: Limits
    ranges: Floats
    range_limits: Limits
    signals: tuple[Signal, ...]


@dataclass(frozen=True, slots=True)
class Capability:
    """How well what is made fits between two limits, with two-sided bounds at ``level``."""

    cp: float
    cp_low: float
    cp_high: float
    cpk: float
    cpk_low: float
    cpk_high: float
    level: float


@lru_cache(maxsize=64)
def constants(n: int) -> Constants:
    """The constants for groups of ``n`` values, 2 or more."""
    if n < 2:
        raise ValueError(f"a group needs 2 values or more, not {n}")
    c4 = math.sqrt(2.0 / (n - 1)) * math.exp(math.lgamma(n / 2) - math.lgamma((n - 1) / 2))
    d2, d3 = _range_moments(n)
    spread = 3.0 * math.sqrt(1.0 - c4**2) / c4
    return Constants(
        c4=c4,
        d2=d2,
        d3=d3,
        a2=3.0 / (d2 * math.sqrt(n)),
        a3=3.0 / (c4 * math.sqrt(n)),
        b3=max(1.0 - spread, 0.0),
        b4=1.0 + spread,
        D3=max(1.0 - 3.0 * d3 / d2, 0.0),
        D4=1.0 + 3.0 * d3 / d2,
        e2=3.0 / d2,
    )


def individuals(values: ArrayLike, *, rules: Rules = "western-electric", floor: float | None = None) -> Chart:
    """A chart of single values, one for each tray, with limits from the differences between neighbours.

    That is the chart for trays: the pieces of one share slabs, so that their own spread says little of how
    trays differ. ``values`` (k,) float, 2 or more; ``floor`` is a value below which nothing can be.
    """
    x = np.asarray(values, float)
    if x.ndim != 1 or len(x) < 2 or not np.isfinite(x).all():
        raise ValueError("a chart needs 2 values or more, all finite")
    ranges = np.abs(np.diff(x))
    two, mean_range, centre = constants(2), float(ranges.mean()), float(x.mean())
    low, high = centre - two.e2 * mean_range, centre + two.e2 * mean_range
    limits = Limits(low if floor is None else max(low, floor), centre, high)
    return Chart(
        values=x,
        limits=limits,
        ranges=ranges,
        range_limits=Limits(two.D3 * mean_range, mean_range, two.D4 * mean_range),
        signals=signals(x, centre, mean_range / two.d2, rules=rules),
    )


def means_from_spreads(groups: ArrayLike) -> tuple[Limits, Limits]:
    """Limits of the means and of the standard deviations of equal groups, from their mean (A3, B3, B4).

    ``groups`` (k, n) float. Right where the values of a group are independent, as trays' pieces are not.
    """
    x = np.asarray(groups, float)
    n = constants(x.shape[1])
    spread, mean = float(x.std(axis=1, ddof=1).mean()), float(x.mean())
    return (
        Limits(mean - n.a3 * spread, mean, mean + n.a3 * spread),
        Limits(n.b3 * spread, spread, n.b4 * spread),
    )


def means_from_ranges(groups: ArrayLike) -> tuple[Limits, Limits]:
    """Limits of the means and of the ranges of equal groups, by the mean range (A2, D3, D4): (k, n) float."""
    x = np.asarray(groups, float)
    n = constants(x.shape[1])
    reach, mean = float(np.ptp(x, axis=1).mean()), float(x.mean())
    return Limits(mean - n.a2 * reach, mean, mean + n.a2 * reach), Limits(n.D3 * reach, reach, n.D4 * reach)


def pooled_spread(groups: ArrayLike) -> float:
    """The standard deviation within equal groups, (k, n) float: the root of the mean variance over c4, which
    frees it of the bias that a root has. The c4 is that of all degrees of freedom, k (n - 1)."""
    x = np.asarray(groups, float)
    freedom = x.shape[0] * (x.shape[1] - 1)
    return float(np.sqrt(x.var(axis=1, ddof=1).mean()) / constants(freedom + 1).c4)


def capability(
    mean: float, sd: float, low: float, high: float, *, count: float, level: float = 0.95
) -> Capability:
    """Cp and Cpk of a mean and standard deviation against two limits, all in one unit.

    ``count`` is how many independent values stand behind ``sd`` (its degrees of freedom, plus 1). The bounds
    of Cp are exact for normal values (chi squared), those of Cpk Bissell's approximation (A. F. Bissell,
    Applied Statistics 39 (1990), 331-340).
    """
    if not sd > 0.0 or not high > low or not count > 1.0:
        raise ValueError("capability needs a spread, an interval and more than one value")
    cp = (high - low) / (6.0 * sd)
    cpk = min(high - mean, mean - low) / (3.0 * sd)
    rest, freedom = 1.0 - level, count - 1.0
    cp_low, cp_high = (cp * math.sqrt(chi2.ppf(q, freedom) / freedom) for q in (rest / 2, 1.0 - rest / 2))
    half = norm.ppf(1.0 - rest / 2) * math.sqrt(1.0 / (9.0 * count) + cpk**2 / (2.0 * freedom))
    return Capability(cp, cp_low, cp_high, cpk, cpk - half, cpk + half, level)


def signals(
    values: ArrayLike, centre: float, sigma: float, *, rules: Rules = "western-electric"
) -> tuple[Signal, ...]:
    """The runs that a set of rules names, in order. ``values`` (k,) float; ``sigma`` of a single value.

    Each run is told where it is complete; one that goes on is not told again.
    """
    x = np.asarray(values, float)
    if not sigma > 0.0:
        return ()
    z = (x - centre) / sigma
    found: list[Signal] = []
    for rule in _RULES[rules]:
        for higher, hits in rule.hits(z):
            ends = np.flatnonzero(hits & ~np.concatenate(([False], hits[:-1])))
            found += [Signal(int(at), rule.name, rule.words, higher) for at in ends]
    return tuple(sorted(found, key=lambda signal: signal.at))


class _Rule(NamedTuple):
    """A rule: ``need`` of the last ``of`` values for which ``kind`` holds beyond ``level`` sigma."""

    name: str
    words: str
    kind: Literal["beyond", "trend", "alternate", "within", "outside"]
    need: int
    of: int
    level: float = 0.0

    def hits(self, z: Floats) -> list[tuple[bool | None, NDArray[np.bool_]]]:
        """For each way it can go (higher, lower or neither): where it is fulfilled, (k,) bool."""
        if self.kind == "beyond":
            return [(True, self._runs(z > self.level)), (False, self._runs(z < -self.level))]
        if self.kind == "within":
            return [(None, self._runs(np.abs(z) < self.level))]
        if self.kind == "outside":
            return [(None, self._runs(np.abs(z) > self.level))]
        steps = np.sign(np.diff(z))
        if self.kind == "trend":  # n values rise in n - 1 steps
            return [(way > 0, self._steps(steps == way)) for way in (1.0, -1.0)]
        turns = np.concatenate(([False], steps[1:] * steps[:-1] < 0))
        return [(None, self._steps(turns, 2))]

    def _runs(self, holds: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Where ``need`` of the last ``of`` hold, the last among them."""
        total = np.concatenate(([0], np.cumsum(holds)))
        before = np.maximum(np.arange(1, len(holds) + 1) - self.of, 0)
        enough = np.arange(len(holds)) >= self.need - 1
        return np.asarray(holds & enough & (total[1:] - total[before] >= self.need))

    def _steps(self, holds: NDArray[np.bool_], less: int = 1) -> NDArray[np.bool_]:
        """The same for what holds of steps: ``need`` values make ``need - less`` of them."""
        of_steps = self._replace(need=self.need - less, of=self.need - less)
        return np.concatenate(([False], of_steps._runs(holds)))


def _we(number: int, words: str, need: int, of: int, level: float) -> _Rule:
    return _Rule(f"Western Electric rule {number}", words, "beyond", need, of, level)


_RULES: dict[Rules, tuple[_Rule, ...]] = {
    "western-electric": (
        _we(1, "one beyond the limits", 1, 1, 3.0),
        _we(2, "two of three beyond two thirds of the way to a limit", 2, 3, 2.0),
        _we(3, "four of five beyond one third of the way to a limit", 4, 5, 1.0),
        _we(4, "eight in a row on one side of the centre", 8, 8, 0.0),
    ),
    "nelson": (
        _Rule("Nelson test 1", "one beyond the limits", "beyond", 1, 1, 3.0),
        _Rule("Nelson test 2", "nine in a row on one side of the centre", "beyond", 9, 9),
        _Rule("Nelson test 3", "six in a row rising or falling", "trend", 6, 6),
        _Rule("Nelson test 4", "fourteen in a row going up and down by turns", "alternate", 14, 14),
        _Rule("Nelson test 5", "two of three beyond two thirds of the way", "beyond", 2, 3, 2.0),
        _Rule("Nelson test 6", "four of five beyond one third of the way", "beyond", 4, 5, 1.0),
        _Rule("Nelson test 7", "fifteen in a row within one third of the way", "within", 15, 15, 1.0),
        _Rule("Nelson test 8", "eight in a row beyond one third, on either side", "outside", 8, 8, 1.0),
    ),
}


def _range_moments(n: int) -> tuple[float, float]:
    """Mean and standard deviation of the range of n standard normal values (Tippett, Biometrika 17 (1925)).

    The mean is the integral of 1 - F^n - (1 - F)^n; the mean square twice that, over y > x, of
    1 - F(y)^n - (1 - F(x))^n + (F(y) - F(x))^n.
    """
    x = np.linspace(-8.5, 8.5, 1701)
    f = ndtr(x)
    mean = float(trapezoid(1.0 - f**n - (1.0 - f) ** n, x))
    fx, fy = f[:, None], f[None, :]
    inside = 1.0 - fy**n - (1.0 - fx) ** n + np.where(fy > fx, fy - fx, 0.0) ** n
    # the triangle y > x; its edge, where the integrand is smooth from within, counts half
    weights = np.triu(np.ones_like(inside), 1) + 0.5 * np.eye(len(x))
    step = float(x[1] - x[0])
    square = 2.0 * float((inside * weights).sum()) * step**2
    return mean, math.sqrt(square - mean**2)
