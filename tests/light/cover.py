"""Which share of each pixel a polygon covers, exactly, so that a painted edge lies where geometry puts it.

Pixel (x, y) covers x - 0.5 to x + 0.5 and y - 0.5 to y + 0.5.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Picture = NDArray[np.float32]


def coverage(polygon: Floats, left: int, top: int, wide: int, high: int) -> Picture:
    """The share of each pixel that a polygon (N, 2) px covers, (high, wide) float32, pixel (left, top) first.

    Each edge is split where it crosses from pixel to pixel; each bit adds the area to its right.
    """
    p = np.asarray(polygon, float) - [left - 0.5, top - 0.5]
    q = np.roll(p, -1, axis=0)
    xs, ys, dys = [], [], []
    for (ax, ay), (bx, by) in zip(p, q, strict=True):
        if ay == by:
            continue
        across = np.arange(np.ceil(min(ax, bx)), np.floor(max(ax, bx)) + 1)
        down = np.arange(np.ceil(min(ay, by)), np.floor(max(ay, by)) + 1)
        t = [np.array([0.0, 1.0]), (down - ay) / (by - ay)]
        if ax != bx:
            t.append((across - ax) / (bx - ax))
        t = np.sort(np.clip(np.concatenate(t), 0.0, 1.0))
        mid = (t[1:] + t[:-1]) / 2
        xs.append(ax + mid * (bx - ax))
        ys.append(ay + mid * (by - ay))
        dys.append(np.diff(t) * (by - ay))
    if not xs:
        return np.zeros((high, wide), np.float32)
    x, y, dy = np.concatenate(xs), np.concatenate(ys), np.concatenate(dys)
    column, row = np.floor(x), np.floor(y)
    part = dy * (x - column)
    index = (row * (wide + 2) + column).astype(np.int64)
    size = high * (wide + 2)
    area = np.bincount(index, dy - part, size + 1)[:size] + np.bincount(index + 1, part, size + 1)[:size]
    return np.abs(np.cumsum(area.reshape(high, wide + 2), axis=1))[:, :wide].astype(np.float32)


def window(points: Floats, margin: int = 1) -> tuple[int, int, int, int]:
    """left, top, wide, high of the pixels that hold points (N, 2) px."""
    low = np.floor(points.min(axis=0)).astype(int) - margin
    high = np.ceil(points.max(axis=0)).astype(int) + margin + 1
    return int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1])


def blend(canvas: Picture, left: int, top: int, cover: Picture, colour: Picture) -> None:
    """Lay ``colour`` (already times its cover) over the canvas, where the window is within it."""
    high, wide = cover.shape
    y0, x0 = max(top, 0), max(left, 0)
    y1, x1 = min(top + high, canvas.shape[0]), min(left + wide, canvas.shape[1])
    if y1 <= y0 or x1 <= x0:
        return
    part = (slice(y0 - top, y1 - top), slice(x0 - left, x1 - left))
    canvas[y0:y1, x0:x1] = canvas[y0:y1, x0:x1] * (1.0 - cover[part][..., None]) + colour[part]


def cover_within(polygon: Floats, left: int, top: int, wide: int, high: int) -> Picture:
    """``coverage`` of a polygon that may reach out of the window."""
    x0, y0, w, h = window(polygon)
    x1, y1 = max(x0 + w, left + wide), max(y0 + h, top + high)
    x0, y0 = min(x0, left), min(y0, top)
    whole = coverage(polygon, x0, y0, x1 - x0, y1 - y0)
    return whole[top - y0 : top - y0 + high, left - x0 : left - x0 + wide]
