"""Sticks that lie side by side and touch: one outline, cut along the dark lines between them.

Between two cut faces that meet hardly any light comes back: a line a few pixels wide, straight, darker than
what lies on either hand, that runs nearly from end to end well inside the outline. The edge between a stick's
own top and side is a step, not such a line.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from cutcheck.camera import Floats
from cutcheck.profiles import sample

TILTS = np.radians(np.arange(-6.0, 6.1, 1.5))  # against the outline's own long side
HALVES_PX = (2.5, 5.0)  # from the dark line's middle to what lies on either hand: sticks may gape at one end
SLENDER = (1.5, 9.0)  # length over breadth of an outline that may hold sticks side by side
LEAST_PX = 16.0  # breadth of such an outline
DEEP = 1.2  # a line so many ripples of the surface deep nearly all along is a seam
INSIDE = 0.2  # of the outline's breadth: a seam is no nearer to its sides
COVERED = 0.55  # of the length: a seam is no shorter
PLACES = 100  # along the length at which a line is looked at
DEPTH = 3  # times an outline is cut in two: up to eight sticks


def split_lengthwise(pixels: NDArray[np.uint8], outline: Floats, depth: int = DEPTH) -> list[Floats]:
    """The outlines of the sticks that ``outline`` (N, 2) px, (x, y), holds side by side: itself if it is one.

    ``pixels`` (H, W, 3) is the photo itself: the lines are a few of its pixels wide.
    """
    seam = _seam(pixels, outline) if depth > 0 else None
    if seam is None:
        return [outline]
    parts = [_beyond(outline, *seam), _beyond(outline, seam[0], -seam[1])]
    if min(len(part) for part in parts) < 3:
        return [outline]
    return [piece for part in parts for piece in split_lengthwise(pixels, part, depth - 1)]


def _seam(pixels: NDArray[np.uint8], outline: Floats) -> tuple[Floats, Floats] | None:
    """The clearest seam: a point on it (2,) px and its unit normal (2,); None where there is none."""
    corners = cv2.boxPoints(cv2.minAreaRect(outline.astype(np.float32))).astype(float)
    sides = corners[1:3] - corners[0:2]
    size = np.linalg.norm(sides, axis=1)
    long = int(np.argmax(size))
    length, breadth = float(size[long]), float(size[1 - long])
    if breadth < LEAST_PX or not SLENDER[0] < length / breadth < SLENDER[1]:
        return None
    middle, axis = corners.mean(axis=0), sides[long] / length
    room = (0.5 - INSIDE) * breadth
    off = np.arange(-room, room + 0.5)
    along = (np.arange(PLACES) + 0.5) / PLACES * length - 0.5 * length
    best: tuple[float, Floats, Floats] | None = None
    for tilt in TILTS:
        cos, sin = np.cos(tilt), np.sin(tilt)
        way = np.array([axis[0] * cos - axis[1] * sin, axis[0] * sin + axis[1] * cos])
        normal = np.array([-way[1], way[0]])
        place = middle + off[:, None, None] * normal + along[:, None] * way
        valley = np.max([_valley(pixels, outline, place, half * normal) for half in HALVES_PX], axis=0)
        k = int(np.argmax(valley))
        if valley[k] > (DEEP if best is None else best[0]):
            best = float(valley[k]), middle + off[k] * normal, normal
    return None if best is None else best[1:]


def _valley(pixels: NDArray[np.uint8], outline: Floats, place: Floats, across: Floats) -> Floats:
    """How clearly each line of places (S, M, 2) is a dark one, (S,), in ripples of the surface.

    ``across`` (2,) px leads from the line to what lies on one hand of it, and back to the other.
    """
    left, here, right = (np.sqrt(sample(pixels, place + k * across)).mean(axis=-1) for k in (-1, 0, 1))
    dip = np.minimum(left, right) - here
    inside = _inside(outline, place)
    if not inside.any():
        return np.full(len(place), -np.inf)
    ripple = 1.48 * float(np.median(np.abs(dip[inside]))) + 0.004
    enough = inside.mean(axis=1) > COVERED
    low = np.full(len(place), -np.inf)
    if enough.any():
        low[enough] = np.nanpercentile(np.where(inside, dip, np.nan)[enough], 30, axis=1)
    return np.asarray(low / ripple, float)


def _inside(outline: Floats, place: Floats) -> NDArray[np.bool_]:
    """Which of the places (S, M, 2) px lie inside the outline, (S, M)."""
    low = np.floor(np.minimum(outline.min(axis=0), place.min(axis=(0, 1)))).astype(int)
    high = np.ceil(np.maximum(outline.max(axis=0), place.max(axis=(0, 1)))).astype(int)
    mask = np.zeros((high - low + 1)[::-1], np.uint8)
    cv2.fillPoly(mask, [np.round(outline - low).astype(np.int32)], 1)
    cell = np.round(place - low).astype(int)
    return np.asarray(mask[cell[..., 1], cell[..., 0]] > 0, bool)


def _beyond(outline: Floats, point: Floats, normal: Floats) -> Floats:
    """The part of an outline (N, 2) on the side of a line to which ``normal`` points."""
    side = (outline - point) @ normal
    ahead, beside = np.roll(outline, -1, axis=0), np.roll(side, -1)
    share = np.divide(side, side - beside, out=np.zeros_like(side), where=side != beside)
    crossing = outline + share[:, None] * (ahead - outline)
    both = np.stack([outline, crossing], axis=1).reshape(-1, 2)
    keep = np.stack([side >= 0.0, (side >= 0.0) != (beside >= 0.0)], axis=1).ravel()
    return np.asarray(both[keep], float)
