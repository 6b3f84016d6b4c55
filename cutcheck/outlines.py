"""Outlines brought to the edge at full resolution, and what they say of a piece of no set shape."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cutcheck.camera import Floats
from cutcheck.profiles import STEP_PX, peak, profiles, slopes

POINTS = 96


def resample(outline: Floats, count: int = POINTS) -> Floats:
    """A closed outline (N, 2) px as ``count`` points evenly spaced along it."""
    closed = np.concatenate([outline, outline[:1]])
    run = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))])
    at = np.linspace(0.0, run[-1], count, endpoint=False)
    return np.stack([np.interp(at, run, closed[:, i]) for i in (0, 1)], axis=-1)


def sharpen(pixels: NDArray[np.uint8], outlines: Floats, reach_px: float = 1.5) -> Floats:
    """Outlines (N, K, 2) px moved across themselves to the steepest place within ``reach_px``."""
    k = outlines.shape[1]
    if not len(outlines):
        return outlines
    ahead, behind = np.roll(outlines, -2, axis=1), np.roll(outlines, 2, axis=1)
    tangent = ahead - behind
    span = np.linalg.norm(tangent, axis=-1, keepdims=True)
    normal = np.stack([tangent[..., 1], -tangent[..., 0]], -1) / np.maximum(span, 1e-6)
    half = round(2.0 * reach_px / STEP_PX) + 2
    slope = slopes(profiles(pixels, outlines, normal, half))
    # A few neighbours together, so that grain does not pull single points.
    slope = slope + np.roll(slope, 1, axis=1) + np.roll(slope, -1, axis=1)
    s = np.arange(-half, half + 1) * STEP_PX
    strength = np.linalg.norm(slope, axis=-1) * np.exp(-0.5 * (s / reach_px) ** 2)
    offset, _ = peak(strength)
    offset = np.median(np.stack([np.roll(offset, d, axis=1) for d in (-2, -1, 0, 1, 2)]), axis=0)
    assert offset.shape == (len(outlines), k)
    return np.asarray(outlines + offset[..., None] * normal)


def area_and_perimeter(outline: Floats) -> tuple[float, float]:
    """Area and perimeter of a closed polygon (N, 2)."""
    x, y = outline[:, 0], outline[:, 1]
    area = 0.5 * abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))))
    return area, float(np.linalg.norm(np.roll(outline, -1, axis=0) - outline, axis=1).sum())


def strip_sides(outline: Floats) -> tuple[float, float]:
    """Length along the axis and width across of a strip of even width with this outline (N, 2).

    A strip has area L W and perimeter 2 (L + W), bent or not.
    """
    area, perimeter = area_and_perimeter(outline)
    half = 0.5 * perimeter
    root = np.sqrt(max(half * half / 4.0 - area, 0.0))
    return float(half / 2.0 + root), float(half / 2.0 - root)


def strip_middle(outline: Floats) -> Floats:
    """The middle (2,) of the axis of a strip with this outline (N, 2), evenly sampled.

    Points half the perimeter apart face each other only half-way along.
    """
    opposite = np.roll(outline, len(outline) // 2, axis=0)
    k = int(np.argmin(((outline - opposite) ** 2).sum(axis=-1)))
    return np.asarray(0.5 * (outline[k] + opposite[k]))


def straighten(outline: Floats) -> tuple[Floats, float, Floats]:
    """A slender outline (N, 2) bent straight: the outline, its sagitta and the unit normal (2,) of its axis.

    The sagitta is how far the middle of the axis lies, along the normal, off the line between its ends.
    """
    middle = outline.mean(axis=0)
    _, _, turned = np.linalg.svd(outline - middle, full_matrices=False)
    axis = turned[0]
    normal = np.array([-axis[1], axis[0]])
    x, y = (outline - middle) @ axis, (outline - middle) @ normal
    low, high = x.min(), x.max()
    inner = np.linspace(low, high, 13)
    cell = np.clip(np.digitize(x, inner) - 1, 0, 11)
    slices = [
        (inner[k] + inner[k + 1], y[cell == k].max() + y[cell == k].min())
        for k in range(1, 11)
        if np.count_nonzero(cell == k) >= 2
    ]
    if len(slices) < 6:
        return outline, 0.0, normal
    centre_x, centre_y = 0.5 * np.array(slices).T
    bend = np.polynomial.polynomial.polyfit(centre_x, centre_y, 2)[2]
    length = high - low
    off = bend * (x**2 - length**2 / 12.0)
    return outline - off[:, None] * normal, float(-bend * length**2 / 4.0), normal
