"""Where a piece's top face ends and its side begins: the inner edges, and so the height.

For each height that a piece might have, its outline fixes the rest of the box; the right height is the one
whose predicted inner edges are seen in the photo. Several candidates go on to the fit, which settles it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cutcheck.camera import Camera, Floats
from cutcheck.explain import LEAN_SHARE
from cutcheck.profiles import edge_normals, sample
from cutcheck.silhouette import Affine, FirstFit, boxes_at, boxes_of_heights, facing
from cutcheck.solids import (
    BOW,
    HEIGHT,
    LENGTH,
    THETA,
    WIDTH,
    box_edges,
    box_points,
    inner_edges,
    visible_sides,
)

HEIGHTS = 40
SHARES = (0.04, 1.35)  # heights that are tried, in parts of the outline's least extent
FLAT_SHARE = 0.12
SAMPLES = 12
ROW_SHARE = 0.5  # of the usual width
CLEAR_PX = 3.0  # an inner edge nearer than this to an outer one can't be told from it


def as_boxes(fit: FirstFit) -> Floats:
    """First fits (...) as boxes (..., 9)."""
    box = np.zeros((*fit.length.shape, 9))
    box[..., 0:2] = fit.xy
    box[..., THETA] = fit.theta
    box[..., LENGTH] = fit.length
    box[..., WIDTH] = fit.width
    box[..., HEIGHT] = fit.height
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
    fits = boxes_of_heights(affine, n, reach, theta, np.multiply.outer(share, breadth), seams)
    box = as_boxes(fits)
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
    normal, span = edge_normals(points)
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
    return box, evidence, fits.rms


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


def usual_candidates(
    affine: Affine, n: Floats, reach: Floats, theta: Floats, bow: Floats, seams: Floats, chosen: Floats
) -> Floats:
    """What the tray's other pieces suggest for each: boxes (3, N, 9), from the boxes ``chosen`` (N, 9).

    The usual height with what the outline then says; and the usual box, laid to the outline each way round.
    A start only: where the photo shows otherwise, the fit leaves it.
    """
    length, width, height = np.exp(np.median(np.log(chosen[:, [LENGTH, WIDTH, HEIGHT]]), axis=0))
    tall = np.full(len(theta), height)
    same_height = as_boxes(boxes_at(affine, n, reach, theta[:, None], tall, seams))
    made = [same_height]
    for one, two in ((length, width), (width, length)):
        box = same_height.copy()
        box[:, LENGTH], box[:, WIDTH] = one, two
        box[:, :2], beyond = _laid_to(affine, n, reach, box)
        # An outline that goes far beyond the usual box holds more than one piece.
        several = beyond > ROW_SHARE * width * np.sqrt(np.abs(np.linalg.det(affine.a)))
        made.append(np.where(several[:, None], same_height, box))
    out = np.stack(made)
    out[..., BOW] = bow
    return out


def _laid_to(affine: Affine, n: Floats, reach: Floats, box: Floats) -> tuple[Floats, Floats]:
    """Boxes of set size laid where most of the outline is theirs: their middles (N, 2) mm, and how far, px,
    the outline goes beyond them (N,)."""
    cos, sin = np.cos(box[:, THETA]), np.sin(box[:, THETA])
    na = np.einsum("kd,ndx->nkx", n, affine.a)
    along = np.abs(na[..., 0] * cos[:, None] + na[..., 1] * sin[:, None])
    across = np.abs(na[..., 1] * cos[:, None] - na[..., 0] * sin[:, None])
    rise = np.maximum(affine.b @ n.T, 0.0)
    own = 0.5 * (box[:, LENGTH, None] * along + box[:, WIDTH, None] * across) + box[:, HEIGHT, None] * rise
    off = reach - affine.p @ n.T - own
    weight = np.ones_like(off)
    middle: Floats = np.zeros((len(box), 2))
    for _ in range(8):
        normal = np.einsum("nkx,nk,nky->nxy", na, weight, na) + 1e-9 * np.eye(2)
        middle = np.linalg.solve(normal, np.einsum("nkx,nk,nk->nx", na, weight, off)[..., None])[..., 0]
        miss = np.abs(off - np.einsum("nkx,nx->nk", na, middle))
        weight = 1.0 / (1.0 + (miss / 1.5) ** 2)
    beyond = (off - np.einsum("nkx,nx->nk", na, middle)).max(axis=1)
    return np.asarray(affine.origin + middle), np.asarray(beyond)
