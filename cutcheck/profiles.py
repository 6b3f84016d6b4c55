"""Edges to sub-pixel: brightness profiles across predicted edges of the full-resolution photo.

Profiles are read in linear light, where the blur of lens and sensor is symmetric, so that the steepest
place of a blurred step is the step. In sRGB code values it would lie up to 0.3 px to the dark side.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from cutcheck.camera import Floats
from cutcheck.light import LINEAR32

STEP_PX = 0.5
_ROW = 4096


def sample(pixels: NDArray[np.uint8], px: Floats) -> NDArray[np.float32]:
    """Linear-light colours at ``px`` (..., 2): (..., 3) float32 in [0, 1]."""
    flat = px.reshape(-1, 2)
    if not len(flat):
        return np.zeros((*px.shape[:-1], pixels.shape[2]), np.float32)
    rows = -(-len(flat) // _ROW)
    x, y = np.zeros((2, rows, _ROW), np.float32)
    x.ravel()[: len(flat)], y.ravel()[: len(flat)] = flat[:, 0], flat[:, 1]
    seen = cv2.remap(pixels, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    values = np.asarray(cv2.LUT(seen, LINEAR32)).reshape(-1, pixels.shape[2])[: len(flat)]
    return np.asarray(values.reshape(*px.shape[:-1], pixels.shape[2]), np.float32)


def profiles(pixels: NDArray[np.uint8], points: Floats, normals: Floats, half: int) -> NDArray[np.float32]:
    """Profiles through ``points`` (..., 2) px along unit ``normals`` (..., 2): (..., 2 half + 1, 3)."""
    s = np.arange(-half, half + 1) * STEP_PX
    return sample(pixels, points[..., None, :] + s[:, None] * normals[..., None, :])


_KERNEL = np.array([-1.0, -2.0, -2.0, 0.0, 2.0, 2.0, 1.0], np.float32)
_KERNEL /= np.abs(_KERNEL * np.arange(-3, 4)).sum() * STEP_PX


def slopes(profile: NDArray[np.float32]) -> NDArray[np.float32]:
    """The derivative along the second-last axis, per px, smoothed over about a pixel; same shape.

    The last axis holds the colours, at most four.
    """
    rows = profile.reshape(-1, *profile.shape[-2:])
    if not rows.size:
        return profile
    out = cv2.filter2D(rows, cv2.CV_32F, _KERNEL[None], borderType=cv2.BORDER_REPLICATE)
    return np.asarray(out, np.float32).reshape(profile.shape)


def peak(signal: Floats) -> tuple[Floats, Floats]:
    """The highest place of each row of ``signal`` (..., S), by a parabola: px from the middle, height."""
    size = signal.shape[-1]
    k = np.clip(np.argmax(signal, axis=-1), 1, size - 2)
    left, mid, right = (np.take_along_axis(signal, (k + d)[..., None], -1)[..., 0] for d in (-1, 0, 1))
    curve = left - 2.0 * mid + right
    shift = np.where(curve < -1e-12, 0.5 * (left - right) / np.where(curve < -1e-12, curve, -1.0), 0.0)
    return (k + np.clip(shift, -0.5, 0.5) - size // 2) * STEP_PX, mid
