"""A crossed gauge study: how much of the spread is the measuring, and how much is in the things measured.

Parts (here trays) by appraisers (people or phones) with repeats (photos): two-way analysis of variance with
both ways at random. Sums of squares are by fitting (C. R. Henderson, Biometrics 9 (1953), 226-252, method
3), which is the classical analysis where every cell has the same number of values, and needs no values made
up where some are missing. Bounds: chi squared for the repeatability, else modified large-sample (N. Ting et
al., Journal of Statistical Computation and Simulation 35 (1990), 135-143; F. A. Graybill and C.-M. Wang,
Journal of the American Statistical Association 75 (1980), 869-873), formulas from memory.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import chi2
from scipy.stats import f as fisher

__all__ = ["POOL_ABOVE", "Component", "GaugeStudy", "Interaction", "TooLittle", "Variation", "gauge_study"]

Floats = NDArray[np.float64]
Interaction = Literal["by-p", "kept", "pooled"]

# The interaction is taken as noise where chance alone would look so more often than this (the usual choice).
POOL_ABOVE = 0.05
# Distinct categories: 1.41 times part over gauge, cut to a whole number (AIAG, Measurement Systems Analysis,
# 4th ed. 2010, from memory); 1.41 is the root of 2.
_CATEGORIES = 1.41
_STUDY = 6.0  # a component's share of a tolerance: six standard deviations, as the same manual has it


class TooLittle(ValueError):
    """The data can't answer; the message says what is needed."""


@dataclass(frozen=True, slots=True)
class Variation:
    """A line of the analysis of variance. ``f`` and ``p`` are None where no exact test exists."""

    name: str
    freedom: int
    squares: float
    f: float | None = None
    p: float | None = None

    @property
    def mean_square(self) -> float:
        """Squares for each degree of freedom."""
        return self.squares / self.freedom


@dataclass(frozen=True, slots=True)
class Component:
    """One cause of spread. ``estimate`` is its variance as estimated, ``variance`` that with nothing below 0.

    ``low`` and ``high`` bound the standard deviation at the study's level; None where no bound is worked out.
    Shares are of 1; ``of_tolerance`` is None without a tolerance, all shares where nothing varies at all.
    """

    name: str
    estimate: float
    variance: float
    of_variance: float | None
    of_spread: float | None
    of_tolerance: float | None
    low: float | None = None
    high: float | None = None

    @property
    def sd(self) -> float:
        """The standard deviation."""
        return math.sqrt(self.variance)

    @property
    def below_zero(self) -> bool:
        """Was the estimate negative, and set to 0?"""
        return self.estimate < 0.0


@dataclass(frozen=True, slots=True)
class GaugeStudy:
    """The result. Without a second appraiser ``appraiser``, ``interaction`` and ``reproducibility`` are None.

    ``gauge`` is repeatability and reproducibility together; ``interaction`` is None too where it is pooled.
    ``categories`` is None where the gauge shows no spread.
    """

    parts: tuple[str, ...]
    appraisers: tuple[str, ...]
    count: int
    balanced: bool
    pooled: bool
    table: tuple[Variation, ...]
    repeatability: Component
    reproducibility: Component | None
    appraiser: Component | None
    interaction: Component | None
    gauge: Component
    part: Component
    total: Component
    categories: int | None
    level: float


def gauge_study(
    values: ArrayLike,
    parts: Sequence[object],
    appraisers: Sequence[object] | None = None,
    *,
    interaction: Interaction = "by-p",
    pool_above: float = POOL_ABOVE,
    tolerance: float | None = None,
    level: float = 0.95,
) -> GaugeStudy:
    """The gauge study of values, (k,) float, with the part and the appraiser of each.

    ``interaction`` between parts and appraisers: kept, pooled with the repeatability, or ("by-p") pooled
    where its p is above ``pool_above``. ``tolerance`` is the whole width allowed, in the unit of the values.
    Raises ``TooLittle`` for fewer than two parts, no repeats, or appraisers who share too few parts.
    """
    y = np.asarray(values, float)
    p_names, p = _coded(parts)
    a_names, a = _coded(["all"] * len(y) if appraisers is None else appraisers)
    if y.ndim != 1 or len(y) != len(p) or len(y) != len(a) or not np.isfinite(y).all():
        raise ValueError("values, parts and appraisers must be alike in number, and the values finite")
    if len(p_names) < 2:
        raise TooLittle("two different trays or more are needed")
    cells = np.bincount(p * len(a_names) + a, minlength=len(p_names) * len(a_names))
    forms = _Forms(p, a, len(p_names), len(a_names))
    squares = forms.squares(y)
    chance = _f_test(squares, forms, "interaction")[1]
    pooled = forms.has("interaction") and (
        interaction == "pooled"
        or (interaction == "by-p" and forms.freedom["repeatability"] > 0 and not chance <= pool_above)
    )
    if pooled:
        forms = forms.pooled()
        squares = forms.squares(y)
    if forms.freedom["repeatability"] < 1:
        raise TooLittle("two photos or more of a tray by the same person are needed")
    balanced = bool((cells == cells[0]).all())
    estimates = forms.components(squares)
    bounds = _Bounds(forms, squares, level) if balanced else None
    return _study(
        p_names, a_names, forms, squares, estimates, bounds, pooled, balanced, tolerance, level, len(y)
    )


class _Forms:
    """The projections behind each sum of squares, and what each is expected to be.

    ``spaces[name]`` is an orthonormal basis, (k, freedom); ``weights`` the matrix that turns the variances of
    the causes into expected mean squares, both in the order of ``names``.
    """

    def __init__(self, p: NDArray[np.int_], a: NDArray[np.int_], n_p: int, n_a: int) -> None:
        count = len(p)
        one = np.ones((count, 1))
        by_part, by_person = np.eye(n_p)[p], np.eye(n_a)[a]
        cell = np.unique(p * n_a + a, return_inverse=True)[1]
        by_cell = np.eye(int(cell.max()) + 1)[cell]
        both = _basis(np.hstack([one, by_part, by_person]))
        if both.shape[1] < n_p + n_a - 1:
            raise TooLittle("every person must have photographed trays that others photographed too")
        within = _basis(by_cell)
        self.incidence = {"part": by_part, "repeatability": np.eye(count)}
        self.spaces = {"part": _beyond(both, _basis(np.hstack([one, by_person])))}
        if n_a > 1:
            self.spaces["appraiser"] = _beyond(both, _basis(np.hstack([one, by_part])))
            self.incidence["appraiser"] = by_person
            rest = _beyond(within, both)
            if rest.shape[1]:
                self.spaces["interaction"] = rest
                self.incidence["interaction"] = by_cell
        self.spaces["repeatability"] = _beyond(np.eye(count), within)

    @property
    def names(self) -> tuple[str, ...]:
        """The causes in the order of the table."""
        return tuple(self.spaces)

    @property
    def freedom(self) -> dict[str, int]:
        """Degrees of freedom of each."""
        return {name: space.shape[1] for name, space in self.spaces.items()}

    def has(self, name: str) -> bool:
        """Is this cause among them?"""
        return name in self.spaces

    def pooled(self) -> _Forms:
        """The same with the interaction taken as repeatability."""
        other = object.__new__(_Forms)
        other.incidence = {k: v for k, v in self.incidence.items() if k != "interaction"}
        other.spaces = {k: v for k, v in self.spaces.items() if k != "interaction"}
        both = np.hstack([self.spaces["interaction"], self.spaces["repeatability"]])
        other.spaces["repeatability"] = both
        return other

    def squares(self, y: Floats) -> dict[str, float]:
        """The sums of squares of values, (k,)."""
        centred = y - y.mean()  # the same squares, with less lost to rounding
        found = {name: float(((space.T @ centred) ** 2).sum()) for name, space in self.spaces.items()}
        # what rounding alone leaves of squares is none
        least = 1e-24 * float((y**2).sum())
        found = {name: value if value > least else 0.0 for name, value in found.items()}
        found["total"] = float((centred**2).sum())
        return found

    def weights(self) -> Floats:
        """(n, n): row a mean square, column a cause's variance."""
        return np.array(
            [
                [((space.T @ self.incidence[cause]) ** 2).sum() / space.shape[1] for cause in self.names]
                for space in self.spaces.values()
            ]
        )

    def inverse(self) -> Floats:
        """(n, n): row a cause, column how a mean square goes into its variance."""
        return np.asarray(np.linalg.inv(self.weights()), float)

    def components(self, squares: dict[str, float]) -> dict[str, float]:
        """The variance of each cause, as estimated: it may be negative."""
        means = np.array([squares[name] / freedom for name, freedom in self.freedom.items()])
        return dict(zip(self.names, (self.inverse() @ means).tolist(), strict=True))


class _Bounds:
    """Bounds for sums of components of a balanced study."""

    def __init__(self, forms: _Forms, squares: dict[str, float], level: float) -> None:
        self.names, self.inverse, self.tail = forms.names, forms.inverse(), (1.0 - level) / 2.0
        self.freedom = np.array([forms.freedom[name] for name in self.names], float)
        self.means = np.array([squares[name] for name in self.names]) / self.freedom

    def of(self, causes: Sequence[str]) -> tuple[float | None, float | None]:
        """(low, high) of the standard deviation of some causes together."""
        c = self.inverse[[self.names.index(name) for name in causes]].sum(axis=0)
        c[np.abs(c) < 1e-9 * np.abs(c).max()] = 0.0
        plus, minus = np.flatnonzero(c > 0), np.flatnonzero(c < 0)
        if len(minus) > 1 or (len(minus) == 1 and len(plus) > 1):
            return None, None  # bounds for such sums are known, and not worth their length here
        amounts = np.abs(c) * self.means
        near = 1.0 - self.freedom / chi2.ppf(1.0 - self.tail, self.freedom)
        far = self.freedom / chi2.ppf(self.tail, self.freedom) - 1.0
        below = float(((near * amounts)[plus] ** 2).sum() + ((far * amounts)[minus] ** 2).sum())
        above = float(((far * amounts)[plus] ** 2).sum() + ((near * amounts)[minus] ** 2).sum())
        if len(minus):
            q, r = int(plus[0]), int(minus[0])
            cross = float(amounts[q] * amounts[r])
            up, down = (
                float(fisher.ppf(t, self.freedom[q], self.freedom[r])) for t in (1 - self.tail, self.tail)
            )
            below += ((up - 1) ** 2 - (near[q] * up) ** 2 - far[r] ** 2) / up * cross
            above += ((1 - down) ** 2 - (far[q] * down) ** 2 - near[r] ** 2) / down * cross
        middle = float(c @ self.means)
        ends = middle - math.sqrt(max(below, 0.0)), middle + math.sqrt(max(above, 0.0))
        return math.sqrt(max(ends[0], 0.0)), math.sqrt(max(ends[1], 0.0))


def _study(
    p_names: tuple[str, ...],
    a_names: tuple[str, ...],
    forms: _Forms,
    squares: dict[str, float],
    estimates: dict[str, float],
    bounds: _Bounds | None,
    pooled: bool,
    balanced: bool,
    tolerance: float | None,
    level: float,
    count: int,
) -> GaugeStudy:
    kept = {name: max(value, 0.0) for name, value in estimates.items()}
    people = [name for name in ("appraiser", "interaction") if name in kept]
    gauge = ["repeatability", *people]
    whole = sum(kept.values())

    def component(name: str, causes: Sequence[str]) -> Component:
        variance = sum(kept[cause] for cause in causes)
        low, high = (None, None) if bounds is None else bounds.of(causes)
        if causes == ["repeatability"]:  # exact whatever the balance
            freedom, tail = forms.freedom["repeatability"], (1.0 - level) / 2.0
            low, high = (math.sqrt(variance * freedom / chi2.ppf(q, freedom)) for q in (1 - tail, tail))
        # an estimate below 0 that was set to 0 may lift a sum over its bound: the bound gives way
        sd = math.sqrt(variance)
        low, high = (None if low is None else min(low, sd)), (None if high is None else max(high, sd))
        share = min(variance / whole, 1.0) if whole > 0.0 else None
        return Component(
            name,
            estimate=sum(estimates[cause] for cause in causes) if len(causes) == 1 else variance,
            variance=variance,
            of_variance=share,
            of_spread=None if share is None else math.sqrt(share),
            of_tolerance=None if tolerance is None else _STUDY * math.sqrt(variance) / tolerance,
            low=low,
            high=high,
        )

    both = component("gauge", gauge)
    part = component("part", ["part"])
    return GaugeStudy(
        parts=p_names,
        appraisers=a_names,
        count=count,
        balanced=balanced,
        pooled=pooled,
        table=_table(forms, squares, balanced, count),
        repeatability=component("repeatability", ["repeatability"]),
        reproducibility=component("reproducibility", people) if people else None,
        appraiser=component("appraiser", ["appraiser"]) if people else None,
        interaction=component("interaction", ["interaction"]) if "interaction" in kept else None,
        gauge=both,
        part=part,
        total=component("total", list(kept)),
        categories=max(1, math.floor(_CATEGORIES * part.sd / both.sd)) if both.variance > 0.0 else None,
        level=level,
    )


def _table(forms: _Forms, squares: dict[str, float], balanced: bool, count: int) -> tuple[Variation, ...]:
    lines = []
    for name, freedom in forms.freedom.items():
        tested = balanced or name == "interaction"
        f, p = _f_test(squares, forms, name) if tested and name != "repeatability" else (math.nan, math.nan)
        known = math.isfinite(f)
        lines.append(Variation(name, freedom, squares[name], f if known else None, p if known else None))
    return (*lines, Variation("total", count - 1, squares["total"]))


def _f_test(squares: dict[str, float], forms: _Forms, name: str) -> tuple[float, float]:
    """(F, p) of a cause against what it is held against; NaN where there is nothing to compare."""
    freedom = forms.freedom
    if name not in freedom:
        return math.nan, math.nan
    against = "interaction" if "interaction" in freedom and name != "interaction" else "repeatability"
    if freedom[against] < 1 or squares[against] <= 0.0:
        return (math.inf, 0.0) if freedom[against] and squares[name] > 0.0 else (math.nan, math.nan)
    found = (squares[name] / freedom[name]) / (squares[against] / freedom[against])
    return found, float(fisher.sf(found, freedom[name], freedom[against]))


def _coded(labels: Sequence[object]) -> tuple[tuple[str, ...], NDArray[np.int_]]:
    names = list(dict.fromkeys(str(label) for label in labels))
    place = {name: k for k, name in enumerate(names)}
    return tuple(names), np.array([place[str(label)] for label in labels], int)


def _basis(columns: Floats) -> Floats:
    """An orthonormal basis of what columns span."""
    u, s, _ = np.linalg.svd(columns, full_matrices=False)
    return np.asarray(u[:, s > 1e-9 * s[0]], float)


def _beyond(space: Floats, base: Floats) -> Floats:
    """An orthonormal basis of what a space has beyond one that it holds."""
    rest = space - base @ (base.T @ space)
    u, s, _ = np.linalg.svd(rest, full_matrices=False)
    return np.asarray(u[:, s > 0.5], float)  # the singular values of such a rest are 1 or 0
