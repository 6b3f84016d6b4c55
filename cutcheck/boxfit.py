"""Boxes fitted to the edges that the photo shows: Gauss-Newton for many pieces at once.

Each visible edge of a predicted box is looked for across its own line; what is found moves the box. The
far edges of the top face, the inner edges between top and side, the foot and the uprights all take part,
each with its own uncertainty, so that what the photo can't tell stays uncertain.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cutcheck.camera import Camera, Floats
from cutcheck.profiles import STEP_PX, peak, profiles, slopes
from cutcheck.silhouette import Affine, affine_at
from cutcheck.solids import (
    BOW,
    EDGES,
    HEIGHT,
    LENGTH,
    SKEW_U,
    SKEW_V,
    THETA,
    WIDTH,
    X,
    Y,
    box_points,
    edge_body,
    visible_edges,
    visible_sides,
)

SAMPLES = 12
HALF = 14
SAMPLE_PX = 0.35  # one sample of an edge, noise and grain
TOP_MM = 0.06  # how far a top edge of real produce lies off a straight line
FOOT_MM = 0.12  # the same at the foot, where shadow and bleeding add
SKEW_SHARE = 0.05  # how far a knife leans, as a share of the height
MERGED_PX = 2.5  # a side face seen narrower than this shows one edge, not two


@dataclass(frozen=True)
class EdgeFit:
    """Fitted boxes (N, 9), their covariance (N, 9, 9), the support of each edge (N, 12) and the rms px (N,)."""

    boxes: Floats
    covariance: Floats
    support: Floats
    visible: NDArray[np.bool_]
    inner: NDArray[np.bool_]
    rms: Floats
    side_px: Floats


def _jacobian(box: Floats, affine: Affine, u: Floats, v: Floats, w: Floats) -> Floats:
    """d px / d box for points (N, E, M): (N, E, M, 2, 9), with the camera taken as affine at the piece."""
    cos, sin = (f(box[:, THETA])[:, None, None] for f in (np.cos, np.sin))
    e1 = np.stack([cos, sin], axis=-1)
    e2 = np.stack([-sin, cos], axis=-1)
    length, width = box[:, LENGTH, None, None], box[:, WIDTH, None, None]
    down = 1.0 - w
    arch = 2.0 / 3.0 - 4.0 * u * u
    along = u * length + down * box[:, SKEW_U, None, None]
    across = v * width + down * box[:, SKEW_V, None, None] + box[:, BOW, None, None] * arch
    shape = along.shape
    plan = np.zeros((*shape, 2, 9))
    plan[..., 0, X] = 1.0
    plan[..., 1, Y] = 1.0
    plan[..., THETA] = along[..., None] * e2 - across[..., None] * e1
    plan[..., LENGTH] = u[..., None] * e1
    plan[..., WIDTH] = v[..., None] * e2
    plan[..., SKEW_U] = down[..., None] * e1
    plan[..., SKEW_V] = down[..., None] * e2
    plan[..., BOW] = arch[..., None] * e2
    out = np.einsum("nij,nemjp->nemip", affine.a, plan, optimize=True)
    out[..., HEIGHT] += w[..., None] * affine.b[:, None, None, :]
    return np.asarray(out)


def fit_edges(
    pixels: NDArray[np.uint8],
    camera: Camera,
    boxes: Floats,
    *,
    bowed: NDArray[np.bool_] | None = None,
    reach_px: tuple[float, ...] = (2.5, 1.5, 1.0, 1.0),
) -> EdgeFit:
    """Fit ``boxes`` (N, 9) to the edges in ``pixels``; ``reach_px`` is how far each round trusts its start."""
    box = boxes.copy()
    n = len(box)
    bent = np.zeros(n, bool) if bowed is None else bowed
    t = (np.arange(SAMPLES) + 0.5) / SAMPLES
    t = 0.08 + 0.84 * t
    bu, bv, bw = edge_body(t)
    u0, v0 = (np.broadcast_to(x, (n, EDGES, SAMPLES)) for x in (bu, bv))
    s = np.arange(-HALF, HALF + 1) * STEP_PX
    start_h = boxes[:, HEIGHT].copy()
    for reach in reach_px:
        affine = affine_at(camera, camera.project_at(box[:, :2], 0.5 * box[:, HEIGHT]), 0.5 * box[:, HEIGHT])
        size = np.sqrt(np.abs(np.linalg.det(affine.a)))  # px per mm
        sides = visible_sides(box, camera)
        visible, inner = visible_edges(sides)
        side_px = np.maximum(sides, 0.0) * (box[:, HEIGHT] * size)[:, None]
        merged = (side_px < MERGED_PX) & (sides > 0)
        # A face too narrow to show two edges: one edge, taken at half height, and less certain.
        w = np.broadcast_to(bw, (n, EDGES, SAMPLES)).copy()
        w[:, 4:8][merged] = 0.5
        use = visible.copy()
        use[:, 0:4] &= ~merged
        upright_px = np.linalg.norm(affine.b, axis=-1)[:, None] * box[:, HEIGHT, None]
        use[:, 8:12] &= upright_px > 4.0
        points = camera.project(box_points(box[:, None, None], u0, v0, w))
        tangent = points[..., -1, :] - points[..., 0, :]
        span = np.linalg.norm(tangent, axis=-1)
        normal = np.stack([-tangent[..., 1], tangent[..., 0]], -1) / np.maximum(span, 1e-6)[..., None]
        use &= span > 2.0
        row, edge = np.nonzero(use)
        profile = profiles(pixels, points[row, edge], np.repeat(normal[row, edge][:, None], SAMPLES, 1), HALF)
        slope = slopes(profile)
        # How far an edge may be looked for before its neighbour's is nearer.
        gap = np.full((n, EDGES), 1e3)
        gap[:, 0:4] = np.where(sides > 0, side_px, 1e3)
        gap[:, 4:8] = np.where(merged, 1e3, side_px)
        limit = np.clip(0.5 * gap[row, edge], 1.0, 2.0 * reach + 1.0)
        window = np.exp(-0.5 * (s / reach) ** 2) * (np.abs(s) <= limit[:, None])
        mean_slope = slope.mean(axis=1)
        strength = np.linalg.norm(mean_slope, axis=-1)
        at, _ = peak(strength * window)
        k = np.clip(np.round(at / STEP_PX).astype(int) + HALF, 0, 2 * HALF)
        colour = mean_slope[np.arange(len(k)), k]
        best = np.linalg.norm(colour, axis=-1)
        colour = colour / np.maximum(best, 1e-9)[:, None]
        signal = np.einsum("emsc,ec->ems", slope, colour)
        near = np.exp(-0.5 * ((s - at[:, None]) / 1.2) ** 2)[:, None]
        offset, height_of = peak(np.maximum(signal, 0.0) * near)
        grain = np.median(np.linalg.norm(slope, axis=-1), axis=(1, 2)) * 0.5 + 1e-3
        clear = height_of / (height_of + grain[:, None])
        scatter = offset - np.median(offset, axis=1, keepdims=True)
        line_px = np.where(edge < 4, TOP_MM, FOOT_MM) * size[row]
        line_px = np.where((edge >= 4) & (edge < 8) & merged[row, edge % 4], side_px[row, edge % 4] * 0.3 + line_px, line_px)
        sigma = np.sqrt(SAMPLE_PX**2 + SAMPLES * line_px**2)[:, None] / np.maximum(clear, 0.05)
        weight = 1.0 / (1.0 + (scatter / 0.8) ** 2) / sigma**2
        jac = _jacobian(box, affine, u0, v0, w)[row, edge]
        jn = np.einsum("emip,ei->emp", jac, normal[row, edge])
        hess = np.einsum("emp,em,emq->epq", jn, weight, jn, optimize=True)
        grad = np.einsum("emp,em,em->ep", jn, weight, offset, optimize=True)
        h = np.zeros((n, 9, 9))
        g = np.zeros((n, 9))
        np.add.at(h, row, hess)
        np.add.at(g, row, grad)
        prior = np.zeros((n, 9))
        skew = SKEW_SHARE * box[:, HEIGHT] + 0.03
        prior[:, SKEW_U] = prior[:, SKEW_V] = 1.0 / skew**2
        prior[:, BOW] = np.where(bent, 1.0 / (0.1 * box[:, LENGTH]) ** 2, 1e8)
        prior[:, HEIGHT] = 1.0 / (0.5 * start_h + 0.2) ** 2
        index = np.arange(9)
        h[:, index, index] += prior + 1e-9
        g[:, SKEW_U] -= prior[:, SKEW_U] * box[:, SKEW_U]
        g[:, SKEW_V] -= prior[:, SKEW_V] * box[:, SKEW_V]
        g[:, BOW] -= prior[:, BOW] * box[:, BOW]
        g[:, HEIGHT] -= prior[:, HEIGHT] * (box[:, HEIGHT] - start_h)
        covariance = np.linalg.inv(h)
        step = np.einsum("npq,nq->np", covariance, g)
        bound = 3.0 * reach / size
        step[:, THETA] = np.clip(step[:, THETA], -0.2, 0.2)
        for i in (X, Y, LENGTH, WIDTH, HEIGHT):
            step[:, i] = np.clip(step[:, i], -bound, bound)
        box = box + step
        for i in (LENGTH, WIDTH, HEIGHT):
            box[:, i] = np.maximum(box[:, i], 0.2)
    support = np.zeros((n, EDGES))
    support[row, edge] = best
    residual = np.zeros(n)
    count = np.zeros(n)
    np.add.at(residual, row, (weight * offset**2).sum(-1))
    np.add.at(count, row, weight.sum(-1))
    return EdgeFit(box, covariance, support, use, inner & use, np.sqrt(residual / np.maximum(count, 1e-9)), side_px)
