"""A tray of pieces as the measurement leaves it: what the true sides may be.

By JCGM 106:2012 conformity is the share of the posterior inside the tolerance. The prior is what the tray
itself shows, side by side: a normal with the tray's own mean, and its spread after the measuring noise is
taken out. Without that prior the noise would count twice (once in the measured spread, once in the
probability), and the share on size of a good tray would read too low. The cut's nominal size is never used
for it, nor does it move a measurement: a tray of 7 mm cubes is judged as 7 mm cubes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

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
    (2, n, sides)); ``mean`` and ``var`` are those of what the true side may be, also without the shared part.
    ``upright`` (sides,) tells heights, which the camera moves otherwise than the plan.
    """

    x: Floats
    noise: Floats
    shared: Floats
    mean: Floats
    var: Floats
    upright: Bools

    @classmethod
    def of(cls, x: Floats, u: Floats, shared: Floats, upright: Sequence[bool]) -> Tray:
        """From what ``side_arrays`` gives, and which sides are heights."""
        noise2 = np.maximum(u**2 - (shared**2).sum(axis=0), 0.0)
        mean, var = x.copy(), noise2.copy()
        for j in range(x.shape[1]):
            here = np.isfinite(x[:, j])
            n = int(here.sum())
            if n < PRIOR_FROM:
                continue
            centre = x[here, j].mean()
            typical = noise2[here, j].mean()
            # One standard error of the estimate is kept where the noise explains all of the spread: a few
            # pieces never prove that a tray is perfectly even.
            spread2 = max(x[here, j].var(ddof=1) - typical, typical * np.sqrt(2.0 / (n - 1)))
            keep = spread2 / np.maximum(spread2 + noise2[here, j], 1e-18)
            mean[here, j] = centre + keep * (x[here, j] - centre)
            var[here, j] = keep * noise2[here, j]
        return cls(x, np.sqrt(noise2), shared, mean, var, np.array(upright, bool))

    @property
    def seen(self) -> Bools:
        """(n, sides): was the side seen?"""
        return np.isfinite(self.x)

    def conformity(self, targets: Sequence[Target]) -> Floats:
        """How probably each side is within tolerance (JCGM 106:2012, 7): (n, sides); 1 where not seen."""
        low, high = limits(targets)
        sd = np.maximum(np.sqrt(self.var + (self.shared**2).sum(axis=0)), 1e-9)
        inside = ndtr((high - self.mean) / sd) - ndtr((low - self.mean) / sd)
        return np.where(self.seen, inside, 1.0)

    def true_sd(self, columns: Sequence[int]) -> float | None:
        """The spread of these sides with the measuring noise taken out, mm; None for fewer than two."""
        values = self.x[:, columns][self.seen[:, columns]]
        if values.size < 2:
            return None
        noise2 = (self.noise[:, columns][self.seen[:, columns]] ** 2).mean()
        return float(np.sqrt(max(values.var(ddof=1) - noise2, 0.0)))

    def draws(self, count: int, rng: np.random.Generator) -> tuple[Floats32, Floats32]:
        """True sides as they may be, and as they might be measured again, without the shared part (JCGM 101).

        Two (count, n, sides) float32, mm; NaN where not seen.
        """
        noise = rng.standard_normal((count, *self.x.shape), dtype=np.float32)
        scale, plan, height = rng.standard_normal((3, count, 1, 1), dtype=np.float32)
        true = noise * np.sqrt(self.var).astype(np.float32)
        true += self.mean.astype(np.float32)
        if self.shared.any():
            by_scale, by_camera = self.shared.astype(np.float32)
            true += scale * by_scale + np.where(self.upright, height, plan) * by_camera
        noise *= self.noise.astype(np.float32)
        noise += self.x.astype(np.float32)
        return true, noise


def limits(targets: Sequence[Target]) -> tuple[Floats, Floats]:
    """The lower and upper limits: two (sides,) float, mm."""
    return np.array([t.low_mm for t in targets]), np.array([t.high_mm for t in targets])
