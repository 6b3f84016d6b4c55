"""Does one of two or three cuts that should be equal run thin or thick? From sides that can't be told apart.

On the board nobody can tell which side of a die came from which step of the knife. If all steps are even,
a piece's sorted sides lie where the order statistics of one distribution put them; if one step is off by d,
each piece has one odd side. The two are compared by likelihood: in the second, each piece's odd side is any
of its sides, the height being so with a probability of its own (pieces may all lie the same way). Fitted by
expectation and maximisation (Dempster, Laird and Rubin 1977).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cutcheck.tray import Floats

FEWEST = 12
STEPS = 40


@dataclass(frozen=True, slots=True)
class OddSide:
    """``off_mm`` is how far one side of each piece is from the others: thin below zero. ``others_mm`` is the
    mean of the others, ``sd_mm`` the spread that is left, ``gain`` twice the gain in log likelihood, and
    ``upright`` the share of pieces whose odd side is the height."""

    off_mm: float
    others_mm: float
    sd_mm: float
    gain: float
    upright: float


def odd_side(sides: Floats, height: int | None) -> OddSide | None:
    """The best fit to sides (n, 2 or 3) mm, all seen; ``height`` is the column that stands upright, or None.

    None for fewer than ``FEWEST`` pieces.
    """
    n, k = sides.shape
    if n < FEWEST or k < 2:
        return None
    mean, variance = float(sides.mean()), max(float(sides.var()), 1e-6)
    even = -0.5 * n * k * (np.log(2.0 * np.pi * variance) + 1.0)
    fits = [_fit(sides, height, mean, variance, sign * 1.5 * np.sqrt(variance)) for sign in (-1.0, 1.0)]
    off, others, sd, likelihood, upright = max(fits, key=lambda fit: fit[3])
    return OddSide(off, others, sd, 2.0 * (likelihood - even), upright)


def _fit(
    x: Floats, height: int | None, mean: float, variance: float, off: float
) -> tuple[float, float, float, float, float]:
    n, k = x.shape
    share = np.full(k, 1.0 / k)
    floor = 0.05 * variance
    likelihood = 0.0
    for _ in range(STEPS):
        # log of the odds that each side is the odd one, against none being so
        odds = np.log(share) + off * (x - mean - 0.5 * off) / variance
        top = odds.max(axis=1, keepdims=True)
        weight = np.exp(odds - top)
        total = weight.sum(axis=1, keepdims=True)
        base = -0.5 * (k * np.log(2.0 * np.pi * variance) + ((x - mean) ** 2).sum(axis=1) / variance)
        likelihood = float((base + top[:, 0] + np.log(total[:, 0])).sum())
        weight /= total
        odd = float((weight * x).sum()) / n
        mean = float(((1.0 - weight) * x).sum()) / (n * (k - 1))
        off = odd - mean
        variance = float(((1.0 - weight) * (x - mean) ** 2 + weight * (x - mean - off) ** 2).mean())
        variance = max(variance, floor, 1e-9)
        if height is not None:
            upright = float(np.clip(weight[:, height].mean(), 0.02, 0.98))
            share = np.full(k, (1.0 - upright) / (k - 1))
            share[height] = upright
    return (
        off,
        mean,
        float(np.sqrt(variance)),
        likelihood,
        float(share[height]) if height is not None else 0.0,
    )
