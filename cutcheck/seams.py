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
ALIKE, MOSTLY = 0.15, 0.25  # how like the usual size, log units; how many pieces must be for it to be usual
OFF_WHOLE = 0.4  # of a piece: how far from a whole number of them a row may be
NARROWEST = 0.45  # of the usual width or height: the slimmest piece of a row
PASSES = 3  # over what is still too large
SQUARE = 1.3  # length over width of what is square
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
    least = NARROWEST * float(np.median(firm[:, [WIDTH, HEIGHT]].min(axis=1)))
    made = [
        box[None] if out else _split(pixels, camera, box[None], round(many), least)
        for box, many, out in zip(boxes, ratio, left, strict=True)
    ]
    # With the rows apart, the usual size is known better; what is still too large is looked at again.
    apart, source = np.concatenate(made), np.repeat(np.arange(len(boxes)), [len(part) for part in made])
    parted = len(apart) > len(boxes)
    for _ in range(PASSES):
        ratio = _area(apart) / np.median(_area(apart))
        large = (ratio > TOO_LARGE) & ~folded[source] & parted
        whole = np.zeros((len(apart), 2), int) if only_large else _whole_rows(apart)
        finer = []
        for box, many, (count, along), again in zip(apart, ratio, whole, large, strict=True):
            if count > 1:
                row = box[None] if along == LENGTH else _turned(box[None])
                finer.append(_cut(row, _evenly(pixels, camera, row, count)))
            else:
                finer.append(_split(pixels, camera, box[None], round(many), least) if again else box[None])
        source = np.repeat(source, [len(part) for part in finer])
        if len(source) == len(apart):
            break
        apart = np.concatenate(finer)
    return [apart[source == i] for i in range(len(boxes))]


def _area(boxes: Floats) -> Floats:
    return np.asarray(boxes[:, LENGTH] * boxes[:, WIDTH], float)


def _whole_rows(boxes: Floats) -> NDArray[np.int_]:
    """How many of the tray's usual pieces each of the boxes (N, 9) would be, and along which side: (N, 2).

    What is as wide and high as one and a whole number of times as long is taken for pieces that touch, even
    where no line between them shows. One, where a box is no such row.
    """
    plan, height = boxes[:, [LENGTH, WIDTH]], boxes[:, HEIGHT]
    # Where enough are square, those are the pieces, and what is longer are rows of them.
    square = plan.max(axis=1) < SQUARE * plan.min(axis=1)
    rows = np.tile([1, LENGTH], (len(boxes), 1))
    if np.count_nonzero(square) >= max(MOSTLY * len(boxes), 3):
        sizes = [np.full(2, np.median(plan[square]))]
    else:
        square = np.ones(len(boxes), bool)
        usual = np.median(np.sort(plan, axis=1), axis=0)
        sizes = [usual, usual[::-1]]
    near = [np.abs(np.log(plan[square] / size)).max(axis=1) < ALIKE for size in sizes]
    if np.any(near, axis=0).mean() < MOSTLY:
        return rows
    alike = np.abs(np.log(height / np.median(height[square]))) < 2.0 * ALIKE
    for size in sizes:
        for i, side in enumerate((LENGTH, WIDTH)):
            times = plan[:, i] / size[i]
            count = np.round(times).astype(int)
            off = np.minimum(ALIKE * count, OFF_WHOLE)
            row = alike & (count > 1) & (times < SLIM) & (np.abs(times - count) < off) & (rows[:, 0] == 1)
            row &= np.abs(np.log(plan[:, 1 - i] / size[1 - i])) < ALIKE
            rows[row] = np.stack([count[row], np.full(np.count_nonzero(row), side)], axis=1)
    return rows


def _split(
    pixels: NDArray[np.uint8], camera: Camera, box: Floats, count: int, narrowest: float
) -> Floats:
    """One box (1, 9) cut at its seams, along its length or else across it: (k, 9).

    No piece of a row is narrower than ``narrowest``, mm.
    """
    slender = float(box[0, LENGTH] / box[0, WIDTH])
    along = LONG < slender < SLIM or count > 1
    if not along:
        return box
    made = []
    # Across the length, or between sticks that lie side by side: where the seams are deeper.
    for row, least in ((box, 0.0), (_turned(box), 0.0 if count > 1 else BESIDE * DEEP)):
        cuts, depth = _cuts(pixels, camera, row, count)
        cuts = _without_slivers(cuts)
        parts = _cut(row, cuts)
        if len(cuts) and depth > least and parts[:, LENGTH].min() > narrowest:
            made.append((depth, parts))
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
    pixels: NDArray[np.uint8], camera: Camera, box: Floats, count: int
) -> tuple[Floats, float]:
    """Where along u a box (1, 9) has seams, and how deep they are."""
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
        k, clear = _where_expected(worth, u, j / count - 0.5, 0.2 / count)
        if clear > FAINT and all(abs(k - other) > apart for other in chosen):
            chosen.append(k)
    places = sorted({*chosen, *deep})
    return np.asarray(u[np.array(places, int)]), float(worth[places].mean()) if places else 0.0


def _where_expected(worth: Floats, u: Floats, middle: float, spread: float) -> tuple[int, float]:
    """The column that shows a seam best where one is expected, and how clearly."""
    shown = np.maximum(worth, 1e-6) * np.exp(-0.5 * ((u - middle) / spread) ** 2)
    return int(np.argmax(shown)), float(shown.max())


def _evenly(pixels: NDArray[np.uint8], camera: Camera, box: Floats, count: int) -> Floats:
    """Where along u a box (1, 9) that is ``count`` pieces is best cut, whether or not seams show."""
    valley, step, _ = _unrolled(pixels, camera, box)
    u = (np.arange(COLUMNS) + 0.5) / COLUMNS - 0.5
    worth = np.maximum(valley, 0.7 * step)
    at = [_where_expected(worth, u, j / count - 0.5, 0.15 / count)[0] for j in range(1, count)]
    return np.asarray(u[at])


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
    low, high = outlines.min(axis=1), outlines.max(axis=1) + CONTACT_PX
    beside = ((low[:, None] <= high) & (low <= high[:, None])).all(axis=2)
    near_any = np.nonzero(beside.sum(axis=1) > 1)[0]
    if not len(near_any):
        return normals
    points = outlines[near_any].reshape(-1, 2)
    owner = np.repeat(near_any, k)
    ahead = np.roll(outlines, -1, axis=1) - np.roll(outlines, 1, axis=1)
    turned = np.stack([ahead[..., 1], -ahead[..., 0]], axis=-1)
    inward = ((outlines.mean(axis=1, keepdims=True) - outlines) * turned).sum(axis=(1, 2)) > 0
    turned = np.where(inward[:, None, None], -turned, turned)[near_any].reshape(-1, 2)
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
