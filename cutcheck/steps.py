"""Edges of plain things to sub-pixel: where the colour changes most, across a line that is roughly known."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from cutcheck.light import LINEAR32

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SAMPLE_PX = 0.5


@dataclass(frozen=True)
class Steps:
    """Edges as seen: ``px`` (N, 2); ``found`` (N,) bool; ``height`` (N,) of the step, linear light."""

    px: Floats
    found: NDArray[np.bool_]
    height: Floats


def steps(
    pixels: NDArray[np.uint8],
    at: Floats,
    normal: Floats,
    groups: Ints,
    reach_px: float,
    *,
    width_px: float = 1.0,
    along_px: float = 0.0,
) -> Steps:
    """The strongest step within ``reach_px`` of each place ``at`` (N, 2) px along ``normal`` (N, 2), outward.

    Places of one group (N,) share the colour that tells inside from outside. ``width_px`` is by how much the
    profiles are smoothed, ``along_px`` the length of the stretch over which each is averaged.
    """
    n = len(at)
    half = int(np.ceil(reach_px / SAMPLE_PX))
    across = np.arange(-half, half + 1) * SAMPLE_PX
    along = np.column_stack([-normal[:, 1], normal[:, 0]])
    lines = 7 if along_px > 0 else 1
    spread = (np.arange(lines) - (lines - 1) / 2) / max(lines - 1, 1) * along_px
    place = (
        at[:, None, None]
        + normal[:, None, None] * across[:, None]
        + along[:, None, None] * spread[:, None, None]
    )
    light = sample(pixels, place.reshape(n * lines, -1, 2)).reshape(n, lines, len(across), 3).mean(axis=1)
    high, wide = pixels.shape[:2]
    inside = ((at > 2) & (at < np.array([wide, high]) - 3)).all(axis=1)

    third = len(across) // 3
    step = light[:, :third].mean(axis=1) - light[:, -third:].mean(axis=1)
    colour = np.zeros((n, 3))
    for group in np.unique(groups):
        mean = np.median(step[groups == group], axis=0)
        colour[groups == group] = mean / max(float(np.linalg.norm(mean)), 1e-6)
    profile = (light * colour[:, None]).sum(axis=2)
    sigma = width_px / SAMPLE_PX
    smooth = cv2.GaussianBlur(profile, (0, 0), sigmaX=sigma, sigmaY=0.01, borderType=cv2.BORDER_REPLICATE)
    slope = -np.gradient(smooth, SAMPLE_PX, axis=1)
    edge = min(3, half - 1)
    slope[:, :edge] = slope[:, -edge:] = 0.0
    peak = slope.argmax(axis=1)
    rows = np.arange(n)
    left, middle, right = (
        slope[rows, peak - 1],
        slope[rows, peak],
        slope[rows, np.minimum(peak + 1, len(across) - 1)],
    )
    curve = left - 2 * middle + right
    fine = np.where(curve < 0, 0.5 * (left - right) / np.where(curve < 0, curve, -1.0), 0.0)
    offset = (peak + np.clip(fine, -0.5, 0.5) - half) * SAMPLE_PX
    height = np.asarray(middle * 2.5 * np.hypot(width_px, 0.8))  # of a Gaussian step with that slope
    found = inside & (height > 0.02) & (height > 0.25 * np.median(height))
    return Steps(at + normal * offset[:, None], found, height)


def sample(pixels: NDArray[np.uint8], place: Floats) -> Floats:
    """Linear light, (R, S, 3), at places (R, S, 2) px."""
    out = np.empty((*place.shape[:2], 3), np.float64)
    for start in range(0, len(place), 30000):  # remap takes at most 32767 rows
        part = place[start : start + 30000].astype(np.float32)
        seen = cv2.remap(
            pixels, part[..., 0], part[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        out[start : start + 30000] = LINEAR32[seen]
    return out
