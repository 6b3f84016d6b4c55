"""Which of several fitted boxes explains a piece: what each leaves unexplained, weighed into probabilities.

A box that is right has even faces, covers the outline and no more, and its edges are seen where it says.
None of these settles it alone: produce has patterns, shadows join outlines, edges are faint. So they are
weighed, and what stays in doubt is told: the candidates' probabilities widen the uncertainty.
"""

from __future__ import annotations

from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from cutcheck.camera import Camera, Floats
from cutcheck.edgefit import EdgeFit
from cutcheck.profiles import sample
from cutcheck.short_rows import squares
from cutcheck.solids import BOW, HEIGHT, LENGTH, WIDTH, box_corners, visible_sides

LEAN_SHARE = 0.04
MARGIN = 0.12  # of an outline's extent: how far round it the photo is looked at
GRID = (10, 18)  # places looked at along each side of that area, fewest and most
STANDS_OUT = 2.5  # clarity of an edge that stands out
USUAL = ((HEIGHT, 0.12), (WIDTH, 0.06), (LENGTH, 0.06))  # sides, and the least spread of a tray's, log units
MOST = 9.0  # an odd size counts no more than this many squared spreads

# Weights of the evidence below, then of how unusual height, width and length are: a multinomial logistic
# model fitted to 116 rendered photos with truth, so that the expected error of the chosen box is least
# (tests/nightly/weigh_evidence.py).
WEIGHTS = np.array([-2.8, -1.1, 4.4, 8.0, -2.3, -2.5, -0.1, -0.85, -0.7])
WITHOUT_OUTLINE = WEIGHTS * np.array([1, 0, 1, 1, 1, 1, 1, 1, 1])  # where the outline itself is doubted


class Evidence(NamedTuple):
    """What speaks for K candidates of N pieces, (K, N, F), and the boxes (K, N, 9) that it is about."""

    value: Floats
    boxes: Floats


def weigh(evidence: Evidence, weights: Floats = WEIGHTS, tray: Floats | None = None) -> Floats:
    """The candidates' probabilities, (K, N): from what each explains and what size the tray's others have.

    ``tray`` (M, 9) are boxes that say what size is usual; without it those chosen here do.
    """
    own = weights[: evidence.value.shape[-1]]
    score = evidence.value @ own
    for _ in range(2):
        first = np.argmax(score, axis=0)
        usual = evidence.boxes[first, np.arange(len(first))] if tray is None else tray
        score = evidence.value @ own + unusual(evidence.boxes, usual) @ weights[len(own) :]
    score = score - score.max(axis=0)
    chance = np.exp(score)
    return np.asarray(chance / chance.sum(axis=0))


def rivals(chance: Floats, boxes: Floats, chosen: Floats) -> Floats:
    """What the candidates' probabilities (K, N) leave open of the ``chosen`` boxes (N, 9): (N, 3) mm.

    The standard uncertainty of length, width and height; longer before shorter, whatever a box calls them.
    """
    sides = _sides(boxes)
    return np.asarray(np.sqrt((chance[..., None] * (sides - _sides(chosen)) ** 2).sum(axis=0)))


def _sides(boxes: Floats) -> Floats:
    plan = np.sort(boxes[..., [LENGTH, WIDTH]], axis=-1)[..., ::-1]
    return np.concatenate([plan, boxes[..., [HEIGHT]]], axis=-1)


def unusual(boxes: Floats, tray: Floats) -> Floats:
    """How far sides of boxes (..., 9) are from those of a ``tray`` (M, 9), in squared spreads: (..., 3)."""
    out = []
    for side, least in USUAL:
        size, typical = (np.log(np.maximum(each[..., side], 0.05)) for each in (boxes, tray))
        middle = np.median(typical)
        spread = max(1.48 * float(np.median(np.abs(typical - middle))), least)
        out.append(np.minimum(((size - middle) / spread) ** 2, MOST))
    return np.stack(out, axis=-1)


def evidence(
    pixels: NDArray[np.uint8],
    camera: Camera,
    fit: EdgeFit,
    keep: int,
    n: Floats,
    reach: Floats,
    size: Floats,
    outlines: Floats,
) -> Evidence:
    """The evidence for ``keep`` candidates of each of N pieces; ``fit`` holds them candidate by candidate.

    ``n`` (D, 2) and ``reach`` (N, D) px are the outlines' support function, ``size`` (N,) px per mm,
    ``outlines`` (N, P, 2) px.
    """
    count = len(fit.rows) // keep
    box = fit.rows.reshape(keep, count, -1)
    straight = box.copy()
    straight[..., BOW] = 0.0
    corners = camera.project(box_corners(straight))
    miss = np.sqrt(np.median(((corners @ n.T).max(axis=-2) - reach) ** 2, axis=-1))
    lean = LEAN_SHARE * box[..., HEIGHT] * size
    gap = fit.view.gap_px[:, :4]
    clear = fit.view.inner[:, :4] & fit.view.visible[:, :4] & np.isfinite(gap) & (gap > 4.0)
    plain = np.clip((fit.clarity[:, :4] - 1.5) / 3.0, 0.0, 1.0)
    seen = np.where(clear, plain, 0.0).sum(axis=-1) / np.maximum(clear.sum(axis=-1), 1)
    uneven, rest = _regions(pixels, camera, box, outlines)
    value = np.stack(
        [
            fit.rms.reshape(keep, count),
            np.minimum(miss, 6.0) / np.hypot(1.0, lean),
            seen.reshape(keep, count),
            shown(fit).reshape(keep, count),
            uneven,
            rest,
        ],
        axis=-1,
    )
    return Evidence(value, box)


def shown(fit: EdgeFit) -> Floats:
    """The share of the edges looked for that stand out in the photo, (N,)."""
    looked_for = fit.view.visible & (fit.clarity > 0.0)
    stands_out = looked_for & (fit.clarity > STANDS_OUT)
    return np.asarray(stands_out.sum(axis=1) / np.maximum(looked_for.sum(axis=1), 1))


_FACES = np.array([[0, 1, 2, 3], [0, 1, 5, 4], [1, 2, 6, 5], [2, 3, 7, 6], [3, 0, 4, 7]])


def _regions(
    pixels: NDArray[np.uint8], camera: Camera, boxes: Floats, outlines: Floats
) -> tuple[Floats, Floats]:
    """How the photo falls into the faces of boxes (K, N, 9) and what is round them, each (K, N).

    Within each face colour may slope, no more. What is left, as logarithms: of the faces, in parts of the
    outline's area, and of faces and surroundings together.
    """
    keep, count = boxes.shape[:2]
    low, high = outlines.min(axis=1), outlines.max(axis=1)
    margin = MARGIN * (high - low).max(axis=1, keepdims=True) + 2.0
    low, high = low - margin, high + margin
    grid = int(np.clip(0.5 * np.median((high - low).max(axis=1)), *GRID))
    t = (np.arange(grid) + 0.5) / grid
    x = low[:, None, 0] + t * (high - low)[:, None, 0]
    y = low[:, None, 1] + t * (high - low)[:, None, 1]
    place = np.stack(
        [np.repeat(x[:, None], grid, axis=1), np.repeat(y[:, :, None], grid, axis=2)], axis=-1
    ).reshape(count, -1, 2)
    colour = np.sqrt(sample(pixels, place)).astype(float)
    within = _inside_outlines(outlines, low, high, grid)
    # The top face and the two side faces that are seen most, whose pictures may not overlap.
    sides = visible_sides(boxes, camera)
    order = np.argsort(-sides, axis=-1)[..., :2]
    faces = np.concatenate([np.zeros((keep, count, 1), int), 1 + order], axis=-1)
    seen = np.take_along_axis(sides, order, -1) > 0.0
    corners = camera.project(box_corners(boxes))
    quads = np.take_along_axis(corners[:, :, None], _FACES[faces][..., None], axis=3)
    middle = 0.5 * (low + high)
    face = _inside_quads(place - middle[:, None], quads - middle[:, None, None])
    # Each place is in one face at most: the top face, then the side that is seen more.
    face[:, :, 1:] &= seen[..., None] & ~face[:, :, :1]
    face[:, :, 2] &= ~face[:, :, 1]
    share = face.astype(float)
    slope = np.concatenate(
        [np.ones((count, grid * grid, 1)), (place - middle[:, None]) / margin[..., None]], axis=-1
    )
    outside = 1.0 - share.sum(axis=2)
    part = np.concatenate([share, outside[:, :, None]], axis=2)
    basis = np.concatenate(
        [
            np.einsum("nga,ngb->ngab", slope, slope).reshape(count, -1, 9),
            np.einsum("nga,ngc->ngac", slope, colour).reshape(count, -1, 9),
            squares(colour)[..., None],
        ],
        axis=-1,
    )
    sums = np.matmul(part.transpose(1, 0, 2, 3).reshape(count, -1, grid * grid), basis)
    sums = sums.reshape(count, keep, 4, 19).transpose(1, 0, 2, 3)
    normal = sums[..., :9].reshape(keep, count, 4, 3, 3) + 1e-3 * np.eye(3)
    right = sums[..., 9:18].reshape(keep, count, 4, 3, 3)
    best = np.linalg.solve(normal, right)
    left = np.maximum(sums[..., 18] - (best * right).sum(axis=(-1, -2)), 0.0)
    area = np.maximum(within.sum(axis=1), 1)
    uneven = np.log(left[..., :3].sum(axis=-1) / area + 2e-4)
    rest = np.log(left.sum(axis=-1) / (grid * grid) + 3e-4)
    return uneven, rest


def _inside_outlines(outlines: Floats, low: Floats, high: Floats, grid: int) -> NDArray[np.bool_]:
    """Which of the grid's places lie inside each outline, (N, grid * grid)."""
    cell = (high - low) / grid
    scaled = np.round(((outlines - low[:, None]) / cell[:, None] - 0.5) * 256.0).astype(np.int32)
    mask = np.zeros((len(outlines), grid, grid), np.uint8)
    for one, outline in zip(mask, scaled, strict=True):
        cv2.fillPoly(one, [outline], 1, shift=8)
    return mask.reshape(len(outlines), -1) > 0


def _inside_quads(place: Floats, quads: Floats) -> NDArray[np.bool_]:
    """Which places (N, G, 2) lie inside convex quads (K, N, F, 4, 2), (K, N, F, G).

    Both from the middles of their pieces: 32 bits are then exact enough.
    """
    place, quads = place.astype(np.float32), quads.astype(np.float32)
    ahead = np.roll(quads, -1, axis=-2) - quads
    # The cross product with an edge is linear in the place: a x + b y + c.
    a, b = -ahead[..., 1], ahead[..., 0]
    c = -(a * quads[..., 0] + b * quads[..., 1])
    x, y = place[..., 0], place[..., 1]
    shape = (*quads.shape[:3], place.shape[1])
    above, below = np.ones(shape, bool), np.ones(shape, bool)
    for i in range(4):
        value = a[..., i, None] * x[:, None] + b[..., i, None] * y[:, None] + c[..., i, None]
        above &= value >= 0.0
        below &= value <= 0.0
    return above | below
