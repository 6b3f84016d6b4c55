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
    return _at(pixels, px[..., 0], px[..., 1])


def edge_normals(points: Floats) -> tuple[Floats, Floats]:
    """Unit normals (..., 2) to the lines between the ends of edges (..., M, 2) px, and the lines' lengths."""
    tangent = points[..., -1, :] - points[..., 0, :]
    span = np.linalg.norm(tangent, axis=-1)
    normal = np.stack([-tangent[..., 1], tangent[..., 0]], axis=-1)
    return normal / np.maximum(span, 1e-6)[..., None], np.asarray(span, float)


def profiles(pixels: NDArray[np.uint8], points: Floats, normals: Floats, half: int) -> NDArray[np.float32]:
    """Profiles through ``points`` (..., 2) px along unit ``normals`` (..., 2): (..., 2 half + 1, 3).

    ``normals`` may be broadcast over the points.
    """
    s = np.arange(-half, half + 1) * STEP_PX
    # The two coordinates apart: one array of pairs would be written, and read again to take it apart.
    x, y = (points[..., None, i] + s * normals[..., None, i] for i in (0, 1))
    return _at(pixels, x, y)


def _at(pixels: NDArray[np.uint8], x: Floats, y: Floats) -> NDArray[np.float32]:
    """Linear-light colours at ``x`` and ``y`` px, both (...): (..., 3) float32."""
    if not x.size:
        return np.zeros((*x.shape, pixels.shape[2]), np.float32)
    rows = -(-x.size // _ROW)
    place = np.zeros((2, rows * _ROW), np.float32)
    place[0, : x.size], place[1, : x.size] = x.ravel(), y.ravel()
    px, py = place.reshape(2, rows, _ROW)
    seen = cv2.remap(pixels, px, py, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    values = np.asarray(cv2.LUT(seen, LINEAR32)).reshape(-1, pixels.shape[2])[: x.size]
    return np.asarray(values.reshape(*x.shape, pixels.shape[2]), np.float32)


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
    rows = signal.reshape(-1, size)
    k = np.clip(np.argmax(rows, axis=-1), 1, size - 2)
    at = k + np.arange(len(rows)) * size
    left, mid, right = (rows.ravel()[at + d] for d in (-1, 0, 1))
    curve = left - 2.0 * mid + right
    shift = np.where(curve < -1e-12, 0.5 * (left - right) / np.where(curve < -1e-12, curve, -1.0), 0.0)
    place = (k + np.clip(shift, -0.5, 0.5) - size // 2) * STEP_PX
    return place.reshape(signal.shape[:-1]), mid.reshape(signal.shape[:-1])
