"""Discs that lie on the board, seen by a camera: which way it leans so that their rims are round.

A disc is a low cylinder: from the side its wall shows, and the rim that is seen is that of the upper or of
the lower face, whichever reaches farther. A shadow moves the rim that is seen outward, never inward, so of
places that disagree the inner ones are believed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cutcheck.camera import Camera

Floats = NDArray[np.float64]

ROUND_SD = 0.005  # of the radius: how far a rim is from round, and where its edge is seen
TURNS = 8  # of the robust fit
# A shadow along one side of a rim makes the disc some 3 % longer one way (one standard deviation; common
# practice, no source), and lies alike on all discs of a photo: three tell as much as any number.
SHADOW_SD, TELLING_DISCS = 0.08, 3
MOST_OFF = 20.0  # standard deviations: more counts as this much
MOST_LEAN = 0.95  # rad


@dataclass(frozen=True)
class Circles:
    """Circles fitted to rims (K, N, 2) on the board: ``centre`` (K, 2) mm, ``radius`` (K,) mm; ``misfit``:
    how far from round they are, in squared standard deviations."""

    centre: Floats
    radius: Floats
    misfit: float


def circles_of(camera: Camera, rims: Floats, thick_mm: float) -> Circles:
    """The circles on the board whose discs, ``thick_mm`` high, are seen with these rims (K, N, 2) px, NaN for
    what was not seen."""
    known = np.isfinite(rims[..., 0])
    px = np.where(known[..., None], rims, 0.0)
    faces = np.stack([camera.to_height(px, 0.0), camera.to_height(px, thick_mm)])
    weight = known.astype(float)
    points = faces.mean(axis=0)
    centre, radius = _kasa(points, weight)
    for turn in range(TURNS):
        away = np.linalg.norm(faces - centre[None, :, None], axis=3)
        nearer = away.argmin(axis=0)
        points = np.take_along_axis(faces, nearer[None, ..., None], axis=0)[0]
        out = away.min(axis=0) - radius[:, None]
        sd = ROUND_SD * radius[:, None]
        # The farther the fit has come, the less is let in from outside.
        reach = sd * (8.0 if turn < 2 else 4.0)
        weight = (
            known * np.clip(1 - (np.maximum(out, 0.0) / reach) ** 2, 0.02 if turn < 2 else 0.0, None) ** 2
        )
        centre, radius = _kasa(points, weight)
    # A lean shows on both sides of a disc, a shadow on one: opposite rays, the nearer to the circle counts.
    off = np.where(known, out / sd, np.nan)
    half = off.shape[1] // 2
    pairs = np.fmin(np.abs(off[:, :half]), np.abs(off[:, half : 2 * half]))
    pairs = np.where(np.isfinite(pairs), np.minimum(pairs, MOST_OFF), 0.0)
    square = (pairs**2).sum(axis=1) / np.maximum(np.isfinite(off).sum(axis=1) / 2, 1)
    # A disc longer by SHADOW_SD one way is off its circle by SHADOW_SD / 2 * cos(2 t): mean square / 8.
    each = square * ROUND_SD**2 / (SHADOW_SD**2 / 8)
    return Circles(centre, radius, float(each.sum()) * min(1.0, TELLING_DISCS / len(each)))


def _kasa(points: Floats, weight: Floats) -> tuple[Floats, Floats]:
    """Circles near points (K, N, 2), by Kasa's linear least squares: centres (K, 2), radii (K,)."""
    total = np.maximum(weight.sum(axis=1), 1e-9)
    mean = (points * weight[..., None]).sum(axis=1) / total[:, None]
    local = points - mean[:, None]
    square = (local**2).sum(axis=2)
    matrix = np.einsum("kn,kni,knj->kij", weight, local, local)
    matrix += 1e-9 * np.trace(matrix, axis1=1, axis2=2)[:, None, None] * np.eye(2)
    side = 0.5 * np.einsum("kn,kn,kni->ki", weight, square, local)
    shift = np.linalg.solve(matrix, side[..., None])[..., 0]
    radius = np.sqrt((weight * square).sum(axis=1) / total + (shift**2).sum(axis=1))
    return mean + shift, radius
