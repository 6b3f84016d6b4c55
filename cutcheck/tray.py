"""A tray of pieces as the measurement leaves it: what the true sides may be.

By JCGM 106:2012 conformity is the share of the posterior inside the tolerance. The prior is what the tray
itself shows, side by side: a normal with the tray's own mean, and its spread after the measuring noise is
taken out. Without that prior the noise would count twice (once in the measured spread, once in the
probability), and the share on size of a good tray would read too low. The cut's nominal size is never used
for it, nor does it move a measurement: a tray of 7 mm cubes is judged as 7 mm cubes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from cutcheck.records import Measure, Piece, SideName
from cutcheck.standards import Target

Floats = NDArray[np.float64]
Floats32 = NDArray[np.float32]
Bools = NDArray[np.bool_]

# With fewer pieces than this the tray says too little of its own spread to serve as a prior.
PRIOR_FROM = 6
# How much the steadiness of one step of the knife differs from that of the next: variance of the ratio.
SIDES_DIFFER = 0.5
# What moves all pieces of a photo together, as budgets name it: the scale, and where the camera was. It
# changes sizes, but neither evenness nor squareness.
SHARED = ("print", "camera")


def side_arrays(
    pieces: Sequence[Piece], sides: Sequence[SideName], scale_u: float = 0.0
) -> tuple[Floats, Floats, Floats]:
    """Measured sides, standard uncertainties, and the parts of these that all pieces share.

    Two (pieces, sides) and one (2, pieces, sides) float, mm; NaN where not seen. Shared are the causes of
    ``SHARED`` in a piece's budget; of the first, the scale, at least ``scale_u`` (relative).
    """
    x = np.full((len(pieces), len(sides)), np.nan)
    u, shared2 = np.zeros_like(x), np.zeros((2, *x.shape))
    for i, piece in enumerate(pieces):
        for j, side in enumerate(sides):
            measure: Measure = getattr(piece, side)
            if measure.seen and measure.mm is not None:
                x[i, j] = measure.mm
                u[i, j] = (measure.u95 or 0.0) / 2.0
        for line in piece.budget:
            if line.cause in SHARED and line.side in sides:
                shared2[SHARED.index(line.cause), i, sides.index(line.side)] += line.standard_mm**2
    shared2[0] = np.maximum(shared2[0], (scale_u * np.nan_to_num(x)) ** 2)
    # A part is never more than the whole.
    shared2 *= np.minimum(1.0, u**2 / np.maximum(shared2.sum(axis=0), 1e-18))
    return x, u, np.sqrt(shared2)


@dataclass(frozen=True, slots=True)
class Tray:
    """Pieces as the measurement leaves them: (n, sides) float, mm; NaN where not seen.

    ``noise`` is each side's own standard uncertainty, without what all pieces share (``shared``, by cause,
    (2, n, sides)); ``mean`` and ``var`` are those of what the true side may be, also without the shared part;
    ``drift`` is what the tray's own mean leaves open, mm, for all pieces of a side together.
    ``groups`` are the columns that share a size; ``upright`` (sides,) tells heights, which the camera moves
    otherwise than the plan.
    """

    x: Floats
    noise: Floats
    shared: Floats
    mean: Floats
    var: Floats
    drift: Floats
    groups: tuple[tuple[int, ...], ...]
    upright: Bools

    @classmethod
    def of(cls, x: Floats, u: Floats, shared: Floats, targets: Sequence[Target]) -> Tray:
        """From what ``side_arrays`` gives for the sides of these targets."""
        noise2 = np.maximum(u**2 - (shared**2).sum(axis=0), 0.0)
        keys = list(dict.fromkeys(t.key for t in targets))
        groups = tuple(tuple(j for j, t in enumerate(targets) if t.key == key) for key in keys)
        upright = np.array([t.side == "height" for t in targets], bool)
        plain = cls(x, np.sqrt(noise2), shared, x, noise2, np.zeros_like(x), groups, upright)
        mean, var, drift = x.copy(), noise2.copy(), np.zeros_like(x)
        for columns in groups:
            for j, (centre, doubt2, spread2) in plain._prior(columns).items():
                here = np.isfinite(x[:, j])
                keep = spread2 / np.maximum(spread2 + noise2[here, j], 1e-18)
                mean[here, j] = centre + keep * (x[here, j] - centre)
                var[here, j] = keep * noise2[here, j]
                drift[here, j] = (1.0 - keep) * np.sqrt(doubt2)
        return replace(plain, mean=mean, var=var, drift=drift)

    @property
    def seen(self) -> Bools:
        """(n, sides): was the side seen?"""
        return np.isfinite(self.x)

    def conformity(self, targets: Sequence[Target]) -> Floats:
        """How probably each side is within tolerance (JCGM 106:2012, 7): (n, sides); 1 where not seen."""
        low, high = limits(targets)
        sd = np.maximum(np.sqrt(self.var + self.drift**2 + (self.shared**2).sum(axis=0)), 1e-9)
        inside = ndtr((high - self.mean) / sd) - ndtr((low - self.mean) / sd)
        return np.where(self.seen, inside, 1.0)

    def spread2(
        self, columns: Sequence[int], values: Floats | Floats32 | None = None, times: Floats | float = 1.0
    ) -> Floats | None:
        """The variance of sides that share a size, measuring noise taken out, mm²; None for fewer than 2.

        Without noise it is the plain variance of them all. A side that is measured less well than its fellows
        counts less in it. ``values`` (count, n, sides) are other readings of the same pieces, whose noise is
        ``times`` (count,) that of this tray; then one variance each, else (1,). It may be below zero.
        """
        values = self.x[None] if values is None else values
        sides = [_Side.of(values[..., j], self.noise[:, j], times) for j in columns]
        sides = [s for s in sides if s.count]
        total = sum(s.count for s in sides)
        if total < 2:
            return None
        within, freedom = _within(sides), sum(s.count - 1 for s in sides)
        grand = sum(s.count * s.mean for s in sides) / total
        between = sum(s.count * (s.mean - grand) ** 2 for s in sides)
        noise2 = sum(s.noise2 * (1.0 - s.count / total) for s in sides)
        return np.asarray((within * freedom + between - times * noise2) / (total - 1))

    def within2(
        self,
        pairs: Sequence[tuple[int, int]],
        values: Floats | Floats32 | None = None,
        times: Floats | float = 1.0,
    ) -> Floats | None:
        """The variance within a piece over pairs of sides that should be equal, noise taken out, mm².

        As ``spread2`` has it: pairs with a poorly measured side count less. None where no pair is seen.
        """
        values = self.x[None] if values is None else values
        # half the squared difference of two sides is their variance, so a pair is like a side of that
        found = []
        for a, b in pairs:
            both = self.seen[:, a] & self.seen[:, b]
            if both.any():
                noise2 = float((self.noise[both, a] ** 2 + self.noise[both, b] ** 2).mean()) / 2.0
                half = ((values[:, both, a] - values[:, both, b]) ** 2).mean(axis=1, dtype=float) / 2.0
                found.append(_Side(int(both.sum()) + 1, half, np.asarray(half - times * noise2), noise2))
        return _within(found) if found else None

    def true_sd(self, columns: Sequence[int]) -> float | None:
        """The spread of these sides with the measuring noise taken out, mm; None for fewer than two."""
        spread2 = self.spread2(columns)
        return None if spread2 is None else float(np.sqrt(max(spread2[0], 0.0)))

    def draws(self, count: int, rng: np.random.Generator) -> tuple[Floats32, Floats32]:
        """True sides as they may be, and as they might be measured again, without the shared part (JCGM 101).

        Two (count, n, sides) float32, mm; NaN where not seen.
        """
        noise = rng.standard_normal((count, *self.x.shape), dtype=np.float32)
        scale, plan, height = rng.standard_normal((3, count, 1, 1), dtype=np.float32)
        true = noise * np.sqrt(self.var).astype(np.float32)
        true += self.mean.astype(np.float32)
        drift = rng.standard_normal((count, 1, self.x.shape[1]), dtype=np.float32)
        true += drift * self.drift.astype(np.float32)
        if self.shared.any():
            by_scale, by_camera = self.shared.astype(np.float32)
            true += scale * by_scale + np.where(self.upright, height, plan) * by_camera
        noise *= self.noise.astype(np.float32)
        noise += self.x.astype(np.float32)
        return true, noise

    def _prior(self, columns: Sequence[int]) -> dict[int, tuple[float, float, float]]:
        """What the tray says of each side of one size: its mean, how well that is known (variance), and the
        variance of the pieces, mm and mm²; only where it has enough of them.

        Sides of one size inform each other: where a height is measured poorly, the plan tells how steady the
        hand was. How much, follows from how well each is known (an empirical Bayes estimate).
        """
        sides = {j: _Side.of(self.x[None, :, j], self.noise[:, j], 1.0) for j in columns}
        sides = {j: s for j, s in sides.items() if s.count >= PRIOR_FROM}
        if not sides:
            return {}
        common = max(float(_within(list(sides.values()))[0]), 0.0)
        found = {}
        for j, side in sides.items():
            # One standard error of the estimate is kept where the noise explains all of the spread: a few
            # pieces never prove that a tray is perfectly even.
            own = max(float(side.spread2[0]), side.noise2 * np.sqrt(2.0 / (side.count - 1)))
            doubt = 2.0 * (1.0 + side.noise2 / max(common, own, 1e-12)) ** 2 / side.count
            trust = SIDES_DIFFER / (SIDES_DIFFER + doubt) if len(sides) > 1 else 1.0
            spread2 = trust * own + (1.0 - trust) * common
            found[j] = (float(side.mean[0]), spread2, (spread2 + side.noise2) / side.count)
        return {j: (*_borrowed(j, found, common), spread2) for j, (_, spread2, _) in found.items()}


@dataclass(frozen=True, slots=True)
class _Side:
    """One side over the tray: how many are seen, their mean and variance less noise (count,), the noise."""

    count: int
    mean: Floats
    spread2: Floats
    noise2: float

    @classmethod
    def of(cls, values: Floats | Floats32, noise: Floats, times: Floats | float) -> _Side:
        """From readings (count, n) mm, NaN where not seen, and their noise (n,)."""
        here = np.isfinite(values[0])
        some, n = values[:, here], int(here.sum())
        noise2 = float((noise[here] ** 2).mean()) if n else 0.0
        mean = some.mean(axis=1, dtype=float) if n else np.zeros(len(values))
        spread2 = some.var(axis=1, ddof=1, dtype=float) - times * noise2 if n > 1 else np.zeros(len(values))
        return cls(n, mean, np.asarray(spread2), noise2)


def _within(sides: Sequence[_Side]) -> Floats:
    """The variance within the sides, (count,), each weighing by how well its own is known."""
    many = [s for s in sides if s.count > 1]
    if not many:
        return np.zeros_like(sides[0].spread2)
    best = min(many, key=lambda s: s.noise2)
    scale = max(float(best.spread2.mean()), best.noise2, 1e-12)
    weights = [(s.count - 1) / (1.0 + s.noise2 / scale) ** 2 for s in many]
    # without noise all weigh by their number alone, and this is the plain pooled variance
    return np.asarray(sum(w * s.spread2 for w, s in zip(weights, many, strict=True)) / sum(weights))


def _borrowed(j: int, sides: Mapping[int, tuple[float, float, float]], common: float) -> tuple[float, float]:
    """The mean of side j and its variance, drawn towards its fellows by how little is known of it: steps of
    the knife are taken to differ among each other as single pieces do."""
    mean, _, own = sides[j]
    others = [(m, max(v, 1e-12)) for k, (m, _, v) in sides.items() if k != j]
    if not others:
        return mean, own
    weight = sum(1.0 / v for _, v in others)
    their = sum(m / v for m, v in others) / weight
    loose = 1.0 / weight + common
    total = max(loose + own, 1e-12)
    return (mean * loose + their * own) / total, loose * own / total


def limits(targets: Sequence[Target]) -> tuple[Floats, Floats]:
    """The lower and upper limits: two (sides,) float, mm."""
    return np.array([t.low_mm for t in targets]), np.array([t.high_mm for t in targets])
