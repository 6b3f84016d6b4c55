"""Where a piece's top face ends and its side begins: the inner edges, and so the height.

For each height that a piece might have, its outline fixes the rest of the box; the right height is the one
whose predicted inner edges are seen in the photo. Several candidates go on to the fit, which settles it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cutcheck.camera import Camera, Floats
from cutcheck.edgefit import EdgeFit
from cutcheck.profiles import sample
from cutcheck.silhouette import Affine, FirstFit, boxes_at, facing
from cutcheck.solids import (
    BOW,
    HEIGHT,
    LENGTH,
    WIDTH,
    box_corners,
    box_edges,
    box_points,
    inner_edges,
    visible_sides,
)

HEIGHTS = 40
SHARES = (0.04, 1.35)  # heights that are tried, in parts of the outline's least extent
FLAT_SHARE = 0.12
SAMPLES = 12
LEAN_SHARE = 0.04
CLEAR_PX = 3.0  # an inner edge nearer than this to an outer one can't be told from it


def as_boxes(fit: FirstFit) -> Floats:
    """First fits as boxes (N, 9)."""
    box = np.zeros((len(fit.length), 9))
    box[:, 0:2] = fit.xy
    box[:, 2] = fit.theta
    box[:, 3] = fit.length
    box[:, 4] = fit.width
    box[:, 5] = fit.height
    return box


def scan_heights(
    pixels: NDArray[np.uint8],
    camera: Camera,
    affine: Affine,
    n: Floats,
    reach: Floats,
    theta: Floats,
    breadth: Floats,
    bow: Floats,
    seams: Floats,
    *,
    steps: int = HEIGHTS,
) -> tuple[Floats, Floats, Floats]:
    """Boxes of ``steps`` heights for each of N pieces, the inner edges' evidence and the outline's misfit.

    ``theta`` (N,) rad is the turn; ``breadth`` (N,) mm the outline's least extent and
    ``bow`` (N,) mm that of a bent stick; ``seams`` (N, S, 2) its sides that touch. Returns boxes
    (S, N, 9), evidence (S, N) in photo contrast times length, and rms (S, N) px.
    """
    size = np.sqrt(np.abs(np.linalg.det(affine.a)))
    share = np.linspace(*SHARES, steps)
    boxes = []
    misfit = []
    for part in share:
        fit = boxes_at(affine, n, reach, theta[:, None], part * breadth, seams)
        boxes.append(as_boxes(fit))
        misfit.append(fit.rms)
    box = np.stack(boxes)
    box[..., BOW] = bow
    t = 0.1 + 0.8 * (np.arange(SAMPLES) + 0.5) / SAMPLES
    u, v, w = box_edges(t)
    chosen = np.r_[0:4, 8:12]
    u, v, w = u[chosen], v[chosen], w[chosen]
    sides = visible_sides(box, camera)
    _, inner = inner_edges(sides)
    side_px = np.maximum(sides, 0.0) * (box[..., HEIGHT] * size)[..., None]
    across = box[..., [WIDTH, LENGTH, WIDTH, LENGTH]] * size[:, None]
    room = np.clip((np.minimum(side_px, across) - CLEAR_PX) / 4.0, 0.0, 1.0)
    weight = np.concatenate([room, np.minimum(room, np.roll(room, 1, axis=-1))], axis=-1) * inner[..., chosen]
    points = camera.project(box_points(box[..., None, None, :], u, v, w))
    tangent = points[..., -1, :] - points[..., 0, :]
    span = np.linalg.norm(tangent, axis=-1)
    normal = np.stack([-tangent[..., 1], tangent[..., 0]], -1) / np.maximum(span, 1e-6)[..., None]
    middle = points.mean(axis=(-3, -2))[..., None, :]
    outward = normal * np.sign(((points.mean(axis=-2) - middle) * normal).sum(-1))[..., None]
    # Where a neighbour touches, the top face ends at the seam whatever the height.
    touching = np.moveaxis(facing(np.moveaxis(outward, 1, 0), seams), 0, 1)
    weight = np.where(touching, 0.0, weight)
    use = np.nonzero(weight > 0.05)
    across_px = normal[use][:, None]
    step = sample(pixels, points[use] + across_px) - sample(pixels, points[use] - across_px)
    mean = np.linalg.norm(step.mean(axis=1), axis=-1)
    # A straight edge has the same step all along; the produce's own pattern has not.
    steady = mean / (np.sqrt((step**2).sum(-1).mean(axis=1)) + 0.004)
    evidence = np.zeros(box.shape[:2])
    np.add.at(evidence, use[:2], mean * steady * weight[use] * span[use])
    return box, evidence, np.stack(misfit)


def candidates(box: Floats, evidence: Floats, misfit: Floats, size: Floats, keep: int = 3) -> Floats:
    """The likeliest heights of each piece: boxes (keep, N, 9), best first. ``size`` (N,) px per mm."""
    steps, count = evidence.shape
    top = evidence.max(axis=0)
    # A knife that leans shifts the foot, which no upright box explains.
    lean = LEAN_SHARE * box[..., HEIGHT] * size
    value = evidence / np.maximum(top, 1e-6)
    value = value - (misfit**2 - misfit.min(axis=0) ** 2) / (2.0 * (0.7**2 + lean**2))
    rows = np.arange(count)
    chosen = []
    for _ in range(keep - 1):
        k = np.argmax(value, axis=0)
        chosen.append(box[k, rows])
        near = np.abs(np.arange(steps)[:, None] - k) < max(3, steps // 12)
        value = np.where(near, -np.inf, value)
    # A flat piece shows no inner edge: that none is seen is a candidate, too.
    chosen.append(box[np.argmin(np.abs(np.linspace(*SHARES, steps) - FLAT_SHARE)), rows])
    return np.stack(chosen)


def choose(
    pixels: NDArray[np.uint8], camera: Camera, fit: EdgeFit, keep: int, n: Floats, reach: Floats, size: Floats
) -> NDArray[np.int_]:
    """Which of ``keep`` fitted candidates explains each of N pieces best: (N,) index.

    ``fit`` holds keep N boxes, candidate by candidate. What counts: even faces, the outline met, edges met,
    inner edges seen; and where that leaves two in doubt, the size that the tray's other pieces have.
    """
    count = len(fit.rows) // keep
    box = fit.rows.reshape(keep, count, -1)
    straight = box.copy()
    straight[..., BOW] = 0.0
    corners = camera.project(box_corners(straight))
    miss = np.sqrt(np.median(((corners @ n.T).max(axis=-2) - reach) ** 2, axis=-1))
    lean = LEAN_SHARE * box[..., HEIGHT] * size
    cost = face_spread(pixels, camera, box) + 0.05 * fit.rms.reshape(keep, count)
    cost = cost + 0.2 * np.minimum(miss, 6.0) / np.hypot(1.0, lean)
    top = slice(0, 4)
    gap = fit.view.gap_px[:, top]
    clear = fit.view.inner[:, top] & fit.view.visible[:, top] & np.isfinite(gap) & (gap > 4.0)
    plain = np.clip((fit.clarity[:, top] - 1.5) / 3.0, 0.0, 1.0)
    seen = np.where(clear, plain, 0.0).sum(axis=-1) / np.maximum(clear.sum(axis=-1), 1)
    cost = cost - 0.2 * seen.reshape(keep, count)
    first = np.argmin(cost, axis=0)
    for side, least in ((HEIGHT, 0.12), (WIDTH, 0.06)):
        size_log = np.log(box[..., side])
        typical = size_log[first, np.arange(count)]
        middle = np.median(typical)
        spread = max(1.48 * float(np.median(np.abs(typical - middle))), least)
        cost = cost + 0.03 * np.minimum(((size_log - middle) / spread) ** 2, 9.0)
    return np.asarray(np.argmin(cost, axis=0))


_T = (np.arange(6) + 0.5) / 6 * 0.84 + 0.08


def face_spread(pixels: NDArray[np.uint8], camera: Camera, boxes: Floats) -> Floats:
    """How uneven the faces of boxes (..., 9) are, as a share of the whole piece's unevenness: (...)."""
    g1, g2 = (a.ravel() for a in np.meshgrid(_T, _T))
    half = np.full_like(g1, 0.5)
    u = np.concatenate([g1 - 0.5, g1 - 0.5, half, g1 - 0.5, -half])
    v = np.concatenate([g2 - 0.5, -half, g1 - 0.5, half, g1 - 0.5])
    w = np.concatenate([np.ones_like(g1), g2, g2, g2, g2])
    colour = sample(pixels, camera.project(box_points(boxes[..., None, :], u, v, w)))
    colour = np.sqrt(colour).reshape(*boxes.shape[:-1], 5, len(g1), 3)
    sides = visible_sides(boxes, camera)
    # Faces count by the area that is seen of them.
    area = np.stack([boxes[..., WIDTH], boxes[..., LENGTH]] * 2, axis=-1)[..., [1, 0, 1, 0]]
    seen = np.maximum(sides, 0.0) * boxes[..., HEIGHT, None] * area
    weight = np.concatenate([(boxes[..., LENGTH] * boxes[..., WIDTH])[..., None], seen], axis=-1)
    weight = weight / weight.sum(axis=-1, keepdims=True)
    mean = colour.mean(axis=-2)
    within = colour.var(axis=-2).sum(axis=-1)
    overall = (mean * weight[..., None]).sum(axis=-2)
    between = ((mean - overall[..., None, :]) ** 2).sum(axis=-1)
    inside = (weight * within).sum(axis=-1)
    return np.asarray((inside + 1e-5) / ((weight * (within + between)).sum(axis=-1) + 1e-5))
