"""Printed edges to sub-pixel: where black turns to white along the straight sides of a card's print.

An edge is where the light is half-way between black and white, in linear light: there a symmetric blur moves
nothing. What sharpening, ink and glare add moves all edges the same way, white to black, and the least
squares have a term for it. Points along short stretches of a side are averaged before the crossing is found.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from cutcheck.card import CardLayout, Rectangle
from cutcheck.light import LINEAR32

Floats = NDArray[np.float64]
Projection = Callable[[Floats], Floats]

SAMPLE_PX = 0.5  # distance of the samples across an edge
MARGIN_MM = 1.2  # kept clear of the ends of a side, where other edges reach in
DEPTH_MM = 2.2  # black that lies behind every edge at least (a square's border is 3 mm)
STRETCH_MM = 4.0
FINEST = 32  # parts of a pixel to which OpenCV's remap interpolates (its INTER_BITS are 5)
LINES = 17  # across one stretch
HALF_WAY = (0.42, 0.46, 0.5, 0.54, 0.58)  # of the step from black to white
LEAST_STEP = 0.12  # from black to white, of white; less is no print in any light


@dataclass(frozen=True)
class Stretches:
    """Stretches of straight printed edges, of one layout: middle (N, 2) mm, direction (N, 2) unit vector,
    length (N,) mm. White lies to the left of the direction, seen as printed."""

    middle: Floats
    direction: Floats
    length: Floats


@dataclass(frozen=True)
class EdgePoints:
    """Edges as seen. ``px`` (N, 2): where; ``normal`` (N, 2): across the edge, towards white; ``found`` (N,)
    bool; ``width_px`` (N,): from 10 to 90 % of the step; ``black``, ``white`` (N,): linear light, 0 to 1."""

    px: Floats
    normal: Floats
    found: NDArray[np.bool_]
    width_px: Floats
    black: Floats
    white: Floats


def stretches_of(layout: CardLayout, *, small: bool = True) -> Stretches:
    """The straight sides of all that is black on a card, cut into stretches of about 4 mm.

    ``small=False`` leaves out the checkerboard, for a photo that hardly resolves it.
    """
    black = layout.black if small else layout.black[: len(layout.squares)]
    start = black.reshape(-1, 2)
    end = np.roll(black, -1, axis=1).reshape(-1, 2)
    middles, directions, lengths = [], [], []
    for a, b in zip(start, end, strict=True):
        side = float(np.hypot(*(b - a)))
        unit = (b - a) / side
        beyond = (a + b) / 2 + DEPTH_MM * np.array([unit[1], -unit[0]])
        if any(_within(patch.area, beyond) for patch in layout.greys):
            continue  # the grey patches lie too close to the checkerboard's lower side
        free = side - 2 * min(MARGIN_MM, 0.2 * side)
        count = max(1, round(free / STRETCH_MM))
        for k in range(count):
            middles.append((a + b) / 2 + unit * free * ((k + 0.5) / count - 0.5))
            directions.append(unit)
            lengths.append(free / count)
    return Stretches(np.array(middles), np.array(directions), np.array(lengths))


def _within(area: Rectangle, point: Floats) -> bool:
    return bool(area.left <= point[0] <= area.right and area.top <= point[1] <= area.bottom)


def edge_points(
    pixels: NDArray[np.uint8], stretches: Stretches, to_px: Projection, reach_px: float
) -> EdgePoints:
    """Looks for each stretch's edge within ``reach_px`` of where ``to_px`` (mm to px) expects it.

    ``pixels`` is the photo, (H, W, 3) uint8 BGR.
    """
    n = len(stretches.middle)
    at = to_px(stretches.middle)
    along = to_px(stretches.middle + stretches.direction * 0.05) - to_px(
        stretches.middle - stretches.direction * 0.05
    )
    px_per_mm = np.linalg.norm(along, axis=1) / 0.1
    along = along / np.maximum(np.linalg.norm(along, axis=1, keepdims=True), 1e-9)
    normal = np.column_stack([along[:, 1], -along[:, 0]])
    white = np.column_stack([stretches.direction[:, 1], -stretches.direction[:, 0]])
    depth = ((to_px(stretches.middle + white * DEPTH_MM) - at) * normal).sum(axis=1)
    reach = np.minimum(reach_px, depth)

    half = int(np.ceil(reach_px / SAMPLE_PX))
    across = np.arange(-half, half + 1) * SAMPLE_PX
    spread = (np.arange(LINES) / (LINES - 1) - 0.5)[None] * (stretches.length * px_per_mm)[:, None]
    x = (
        at[:, None, None, 0]
        + along[:, None, None, 0] * spread[:, :, None]
        + normal[:, None, None, 0] * across
    )
    y = (
        at[:, None, None, 1]
        + along[:, None, None, 1] * spread[:, :, None]
        + normal[:, None, None, 1] * across
    )
    # The interpolation knows places to 1/32 px: the profile is read there, and its own places are these.
    read_x, read_y = np.round(x * FINEST) / FINEST, np.round(y * FINEST) / FINEST
    moved = (read_x - x) * normal[:, None, None, 0] + (read_y - y) * normal[:, None, None, 1]
    moved = moved.mean(axis=1)
    profile, inside = _sample(pixels, read_x.reshape(n * LINES, -1), read_y.reshape(n * LINES, -1))
    profile = profile.reshape(n, LINES, -1).mean(axis=1)
    inside = np.asarray(inside.reshape(n, -1).all(axis=1))

    valid = np.abs(across)[None] <= reach[:, None] + 1e-9
    outer = valid & (across[None] > 0.7 * reach[:, None])
    inner = valid & (across[None] < -0.7 * reach[:, None])
    white = (profile * outer).sum(axis=1) / np.maximum(outer.sum(axis=1), 1)
    black = (profile * inner).sum(axis=1) / np.maximum(inner.sum(axis=1), 1)
    step = white - black
    level = (profile - black[:, None]) / np.where(step > 1e-4, step, 1.0)[:, None]
    # Between levels as far above half-way as below, so that no single code of the 255 decides.
    where = np.mean([_crossing(level, half_way, valid) for half_way in HALF_WAY], axis=0)
    low, high = _crossing(level, 0.1, valid), _crossing(level, 0.9, valid)
    found = inside & (step > 0.35 * np.median(step)) & (step > LEAST_STEP * white) & np.isfinite(where)
    found &= (reach >= 2.0) & (np.abs(where) < 0.6 * reach)
    offset = np.where(found, where, 0.0)
    nearest = np.clip(np.round(offset / SAMPLE_PX).astype(int) + half, 0, 2 * half)
    offset = offset + np.where(found, moved[np.arange(n), nearest], 0.0)
    return EdgePoints(at + normal * offset[:, None], normal, found, high - low, black, white)


def _crossing(level: Floats, threshold: float, valid: NDArray[np.bool_]) -> Floats:
    """Where rising profiles (N, S) pass a threshold closest to their middle: (N,) px, NaN where nowhere."""
    n, count = level.shape
    half = count // 2
    below, above = level[:, :-1] - threshold, level[:, 1:] - threshold
    rising = (below < 0) & (above >= 0) & valid[:, :-1] & valid[:, 1:]
    with np.errstate(divide="ignore", invalid="ignore"):
        place = (np.arange(count - 1) + below / (below - above) - half) * SAMPLE_PX
    place = np.where(rising, place, np.inf)
    best = place[np.arange(n), np.abs(place).argmin(axis=1)]
    return np.where(np.isfinite(best), best, np.nan)


def _sample(pixels: NDArray[np.uint8], x: Floats, y: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Linear light at (x, y) px, both (R, S), by cubic interpolation, and whether that is in the photo."""
    high, wide = pixels.shape[:2]
    inside = (x >= 1) & (y >= 1) & (x <= wide - 2) & (y <= high - 2)
    left, top = max(int(x.min()) - 2, 0), max(int(y.min()) - 2, 0)
    crop = pixels[top : int(y.max()) + 4, left : int(x.max()) + 4]
    if crop.size == 0:
        return np.zeros_like(x), np.zeros_like(inside)
    light = LINEAR32[cv2.cvtColor(np.ascontiguousarray(crop), cv2.COLOR_BGR2GRAY)]
    values = np.empty(x.shape, np.float64)
    for start in range(0, len(x), 30000):  # remap takes at most 32767 rows
        part = slice(start, start + 30000)
        mx, my = (x[part] - left).astype(np.float32), (y[part] - top).astype(np.float32)
        values[part] = cv2.remap(light, mx, my, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    return values, inside
