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

TILT = np.radians(6.0)  # at most, against the outline's own long side
DRIFT_PX = 4.0  # of a line's ends from one tilt to the next that is tried
HALVES_PX = (3, 5)  # from the dark line's middle to what lies on either hand: sticks may gape at one end
SLENDER = (1.5, 9.0)  # length over breadth of an outline that may hold sticks side by side
LEAST_PX = 16.0  # breadth of such an outline
DEEP = 1.2  # a line so many ripples of the surface deep nearly all along is a seam
INSIDE = 0.2  # of the outline's breadth: a seam is no nearer to its sides
COVERED = 0.55  # of the length: a seam is no shorter
PLACES = (12, 48)  # along the length at which a line is looked at, at least and at most
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
    off = np.arange(-room - max(HALVES_PX), room + max(HALVES_PX) + 0.5)  # a pixel apart
    count = int(np.clip(0.5 * length, *PLACES))
    along = (np.arange(count) + 0.5) / count * length - 0.5 * length
    tilts = np.linspace(-TILT, TILT, 2 * int(np.ceil(TILT * length / (2.0 * DRIFT_PX))) + 1)
    drawn = _drawn(outline)
    best: tuple[float, Floats, Floats] | None = None
    for tilt in tilts:
        cos, sin = np.cos(tilt), np.sin(tilt)
        way = np.array([axis[0] * cos - axis[1] * sin, axis[0] * sin + axis[1] * cos])
        normal = np.array([-way[1], way[0]])
        place = middle + off[:, None, None] * normal + along[:, None] * way
        valley = _valley(pixels, drawn, place)
        k = int(np.argmax(valley))
        if valley[k] > (DEEP if best is None else best[0]):
            best = float(valley[k]), middle + off[k + max(HALVES_PX)] * normal, normal
    return None if best is None else best[1:]


def _valley(
    pixels: NDArray[np.uint8], drawn: tuple[NDArray[np.uint8], NDArray[np.int_]], place: Floats
) -> Floats:
    """How clearly each line of places is a dark one, in ripples of the surface.

    ``drawn`` is the outline as ``_drawn``. ``place`` (S + 2 m, M, 2) px are lines a pixel apart, of which the
    outer m = max(HALVES_PX) on either hand are there to be compared with: (S,).
    """
    most = max(HALVES_PX)
    light = np.sqrt(sample(pixels, place)).mean(axis=-1)
    inside = _inside(drawn, place[most:-most])
    enough = inside.mean(axis=1) > COVERED
    best = np.full(len(inside), -np.inf)
    if not enough.any():
        return best
    here = light[most : len(light) - most]
    for half in HALVES_PX:
        left, right = (
            light[most - half : len(here) + most - half],
            light[most + half : len(here) + most + half],
        )
        dip = np.minimum(left, right) - here
        ripple = 1.48 * float(np.median(np.abs(dip[inside]))) + 0.004
        # The third lowest of ten, of the places inside.
        ordered = np.sort(np.where(inside, dip, np.inf)[enough], axis=1)
        rank = np.floor(0.3 * (inside[enough].sum(axis=1) - 1)).astype(int)
        low = np.take_along_axis(ordered, rank[:, None], axis=1)[:, 0]
        best[enough] = np.maximum(best[enough], low / ripple)
    return best


def _drawn(outline: Floats) -> tuple[NDArray[np.uint8], NDArray[np.int_]]:
    """The outline filled, (H, W), with an empty rim, and the photo's pixel that its first one is."""
    low = np.floor(outline.min(axis=0)).astype(int) - 1
    high = np.ceil(outline.max(axis=0)).astype(int) + 1
    mask = np.zeros((high - low + 1)[::-1], np.uint8)
    cv2.fillPoly(mask, [np.round(outline - low).astype(np.int32)], 1)
    return mask, low


def _inside(drawn: tuple[NDArray[np.uint8], NDArray[np.int_]], place: Floats) -> NDArray[np.bool_]:
    """Which of the places (S, M, 2) px lie inside an outline as ``_drawn``, (S, M)."""
    mask, low = drawn
    cell = np.clip(np.round(place - low).astype(int), 0, np.array(mask.shape[::-1]) - 1)
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
