"""Seams between pieces that touch: where what looks like one long box is several pieces in a row.

Two cut faces that meet leave a line that is darker than both sides, straight, and right across the piece:
over the top face, and down the side. So each fitted box is unrolled and its columns are looked at.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from cutcheck.camera import Camera, Floats
from cutcheck.profiles import sample
from cutcheck.solids import BOW, HEIGHT, LENGTH, SKEW_U, SKEW_V, THETA, WIDTH, Bools, X, Y, box_points

COLUMNS = 160
ROWS = 10
TILTS = np.tan(np.radians(np.array([-8.0, -4.0, 0.0, 4.0, 8.0])))
HALF_VALLEY_PX = 2.5
DEEP = 0.9  # a valley this many ripples deep right across is a seam
SHALLOW = 0.3  # enough beside a seam already found, at about its distance
FAINT = 0.5  # a step or valley this clear, where a seam is expected, is one
LONG, SLIM = 1.45, 7.0  # length over width between which a box may be a row: slimmer ones are sticks
TOO_LARGE = 1.7  # times the tray's typical area: several pieces
BESIDE = 1.5  # times as deep must the seam between two sticks side by side be, where nothing else tells
LEAST_SHARE = 0.35  # no piece of a row is narrower than this share of its neighbours
ALIKE, MOSTLY = 0.12, 0.4  # how like the usual size, log units; how many pieces must be for it to be usual
CONTACT_PX = 3.0
CONTACT_SHARE = 0.1  # of an outline's points, at least, run along a neighbour


def rows_of_pieces(
    pixels: NDArray[np.uint8],
    camera: Camera,
    boxes: Floats,
    *,
    folded: Bools | None = None,
    only_large: bool = False,
) -> list[Floats]:
    """For each of the boxes (N, 9), the boxes (k, 9) that it falls into: itself, or the pieces of a row.

    ``folded`` (N,) may be ribbons, whose folds are no seams: only a whole row of the tray's usual pieces is
    parted. ``only_large``: only what is as large as several, as among rough chunks, which have lines of their
    own.
    """
    folded = np.zeros(len(boxes), bool) if folded is None else folded
    firm = boxes[~folded] if not folded.all() else boxes
    ratio = np.minimum(_area(boxes) / np.median(_area(firm)), 6.0)
    left = folded | (only_large & (ratio < TOO_LARGE))
    made = [
        box[None] if out else _split(pixels, camera, box[None], round(many))
        for box, many, out in zip(boxes, ratio, left, strict=True)
    ]
    # With the rows apart, the usual size is known better; what is still too large is looked at once more.
    again, source = np.concatenate(made), np.repeat(np.arange(len(boxes)), [len(part) for part in made])
    ratio = _area(again) / np.median(_area(again))
    whole = np.zeros(len(again), int) if only_large else _whole_rows(again)
    large = (ratio > TOO_LARGE) & ~folded[source] & (len(again) > len(boxes))
    count = np.where(whole > 1, whole, np.where(large, np.round(ratio).astype(int), 1))
    finer = [
        _split(pixels, camera, box[None], int(many), sure=bool(sure)) if many > 1 else box[None]
        for box, many, sure in zip(again, count, whole > 1, strict=True)
    ]
    return [np.concatenate([finer[k] for k in np.nonzero(source == i)[0]]) for i in range(len(boxes))]


def _area(boxes: Floats) -> Floats:
    return np.asarray(boxes[:, LENGTH] * boxes[:, WIDTH], float)


def _whole_rows(boxes: Floats) -> NDArray[np.int_]:
    """How many pieces of the tray's usual size, end to end, each of the boxes (N, 9) would be: (N,), else 0.

    As wide and high as one and a whole number of times as long, they are taken for pieces that touch even
    where no line between them shows.
    """
    plan = np.sort(boxes[:, [LENGTH, WIDTH]], axis=1)
    usual, height = np.median(plan, axis=0), np.median(boxes[:, HEIGHT])
    counts = np.zeros(len(boxes), int)
    if (np.abs(np.log(plan / usual)) < ALIKE).all(axis=1).mean() < MOSTLY:
        return counts
    alike = np.abs(np.log(boxes[:, HEIGHT] / height)) < 2.0 * ALIKE
    # Ends that touch; sides that touch, few or so many that across has become the longer way.
    for along, ours, across, theirs in ((1, 1, 0, 0), (0, 0, 1, 1), (1, 0, 0, 1)):
        times = plan[:, along] / usual[ours]
        many = np.round(times)
        row = alike & (many > 1) & (np.abs(times - many) < ALIKE * many)
        row &= np.abs(np.log(plan[:, across] / usual[theirs])) < ALIKE
        counts = np.where(row & (counts == 0), many.astype(int), counts)
    return counts


def _split(
    pixels: NDArray[np.uint8], camera: Camera, box: Floats, count: int, *, sure: bool = False
) -> Floats:
    """One box (1, 9) cut at its seams, along its length or else across it: (k, 9).

    ``sure``: it is ``count`` pieces, whether or not a seam shows.
    """
    slender = float(box[0, LENGTH] / box[0, WIDTH])
    along = LONG < slender < SLIM or count > 1
    if not along:
        return box
    made = []
    # Across the length, or between sticks that lie side by side: where the seams are deeper.
    for row, least in ((box, 0.0), (_turned(box), 0.0 if count > 1 else BESIDE * DEEP)):
        cuts, depth = _cuts(pixels, camera, row, count, FAINT if not sure else 0.0)
        cuts = _without_slivers(cuts)
        if len(cuts) and depth > least:
            made.append((depth, _cut(row, cuts)))
    return max(made, key=lambda item: item[0])[1] if made else box


def _without_slivers(cuts: Floats) -> Floats:
    """Seams at u = ``cuts`` less those that would leave a part much narrower than the others."""
    cuts = np.sort(cuts)
    while len(cuts):
        share = np.diff(np.concatenate([[-0.5], cuts, [0.5]]))
        k = int(np.argmin(share))
        if share[k] >= LEAST_SHARE * float(np.median(share)):
            break
        # The sliver joins its narrower neighbour.
        left = share[k - 1] if k > 0 else np.inf
        right = share[k + 1] if k + 1 < len(share) else np.inf
        cuts = np.delete(cuts, k - 1 if left < right else k)
    return cuts


def _turned(box: Floats) -> Floats:
    """The same boxes with length and width changing places."""
    out = box.copy()
    out[:, THETA] += 0.5 * np.pi
    out[:, LENGTH], out[:, WIDTH] = box[:, WIDTH], box[:, LENGTH]
    out[:, SKEW_U], out[:, SKEW_V] = box[:, SKEW_V], -box[:, SKEW_U]
    out[:, BOW] = 0.0
    return out


def _cut(box: Floats, cuts: Floats) -> Floats:
    """A box (1, 9) cut across its length at u = ``cuts``."""
    ends = np.concatenate([[-0.5], np.sort(cuts), [0.5]])
    middle, share = 0.5 * (ends[1:] + ends[:-1]), np.diff(ends)
    out = np.repeat(box, len(middle), axis=0)
    place = box_points(box, middle, np.zeros(len(middle)), np.ones(len(middle)))
    out[:, X], out[:, Y] = place[..., 0].ravel(), place[..., 1].ravel()
    out[:, LENGTH] = share * box[0, LENGTH]
    out[:, BOW] = 0.0
    return out


def _cuts(
    pixels: NDArray[np.uint8], camera: Camera, box: Floats, count: int, least: float
) -> tuple[Floats, float]:
    """Where along u a box (1, 9) has seams, and how deep they are: those expected, ``least`` at least."""
    valley, step, px = _unrolled(pixels, camera, box)
    u = (np.arange(COLUMNS) + 0.5) / COLUMNS - 0.5
    apart = max(3, round(8.0 / px))
    deep = _maxima(valley, DEEP, apart)
    if len(deep) > 1:
        pitch = float(np.median(np.diff(np.sort(deep))))
        strong = [
            k
            for k in deep
            if not any(abs(k - m) < LEAST_SHARE * pitch and valley[k] < valley[m] for m in deep)
        ]
        for k in _maxima(valley, SHALLOW, apart):
            near = min(abs(k - m) for m in strong)
            if k not in deep and 0.75 * pitch < near < 1.33 * pitch:
                strong.append(k)
        return np.asarray(u[np.array(strong)]), float(np.mean(valley[strong]))
    if count < 2:
        return np.asarray(u[np.array(deep, int)]), float(valley[deep].mean()) if deep else 0.0
    worth = np.maximum(valley, 0.7 * step)
    chosen: list[int] = []
    for j in range(1, count):
        expected = np.exp(-0.5 * ((u - (j / count - 0.5)) / (0.2 / count)) ** 2)
        k = int(np.argmax(worth * expected))
        if worth[k] * expected[k] > least and all(abs(k - other) > apart for other in chosen):
            chosen.append(k)
    places = sorted({*chosen, *deep})
    return np.asarray(u[np.array(places, int)]), float(worth[places].mean()) if places else 0.0


def _maxima(value: Floats, least: float, apart: int) -> list[int]:
    """Local maxima above ``least``, the highest first, no two nearer than ``apart``."""
    found: list[int] = []
    for k in np.argsort(-value):
        if value[k] <= least:
            break
        if apart // 2 < k < len(value) - apart // 2 and all(abs(k - other) > apart for other in found):
            found.append(int(k))
    return found


def _unrolled(pixels: NDArray[np.uint8], camera: Camera, box: Floats) -> tuple[Floats, Floats, float]:
    """Along the length of a box (1, 9): how clear a dark line and a step run across its top; px per column.

    Both (COLUMNS,), in spreads of the surface's own ripple.
    """
    u = (np.arange(COLUMNS) + 0.5) / COLUMNS - 0.5
    v = 0.9 * ((np.arange(ROWS) + 0.5) / ROWS - 0.5)
    ends = camera.project(box_points(box, np.array([-0.5, 0.5]), np.zeros(2), np.ones(2)))
    px = float(np.linalg.norm(ends[1] - ends[0])) / COLUMNS
    reach = HALF_VALLEY_PX / (px * COLUMNS)
    slant = box[0, WIDTH] / box[0, LENGTH]
    valley, step = np.full(COLUMNS, -np.inf), np.full(COLUMNS, -np.inf)
    for tilt in TILTS:
        at = u[:, None] + tilt * slant * v
        places = np.stack([at - reach, at, at + reach])
        colour = sample(pixels, camera.project(box_points(box, places, v, np.ones_like(places))))
        left, here, right = np.sqrt(colour).mean(axis=-1)
        dip = np.minimum(left, right) - here
        ripple = 1.48 * float(np.median(np.abs(dip))) + 0.004
        valley = np.maximum(valley, np.percentile(dip, 30, axis=1) / ripple)
        rise, fall = np.percentile(right - left, [30, 70], axis=1)
        step = np.maximum(step, np.maximum(rise, -fall) / ripple)
    return valley, step, px


def contacts(outlines: Floats) -> Floats:
    """Where outlines (N, K, 2) px run along one another: outward unit normals (N, 2, 2), nan where none does.

    The two longest contacts of each outline count.
    """
    n, k = outlines.shape[:2]
    normals = np.full((n, 2, 2), np.nan)
    points = outlines.reshape(-1, 2)
    owner = np.repeat(np.arange(n), k)
    ahead = np.roll(outlines, -1, axis=1) - np.roll(outlines, 1, axis=1)
    turned = np.stack([ahead[..., 1], -ahead[..., 0]], axis=-1)
    inward = ((outlines.mean(axis=1, keepdims=True) - outlines) * turned).sum(axis=(1, 2)) > 0
    turned = np.where(inward[:, None, None], -turned, turned).reshape(-1, 2)
    near: dict[tuple[int, int], set[int]] = {}
    for a, b in cKDTree(points).query_pairs(CONTACT_PX):
        i, j = int(owner[a]), int(owner[b])
        if i != j:
            near.setdefault((i, j), set()).add(a)
            near.setdefault((j, i), set()).add(b)
    longest: dict[int, list[tuple[int, Floats]]] = {}
    for (i, _), members in near.items():
        if len(members) >= CONTACT_SHARE * k:
            normal = turned[sorted(members)].sum(axis=0)
            longest.setdefault(i, []).append(
                (len(members), normal / max(float(np.linalg.norm(normal)), 1e-9))
            )
    for i, sides in longest.items():
        for slot, (_, normal) in enumerate(sorted(sides, key=lambda side: -side[0])[:2]):
            normals[i, slot] = normal
    return normals
