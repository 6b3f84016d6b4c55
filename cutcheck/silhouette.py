"""A first solid for each outline, in closed form, from the outline's support function.

Near one piece the camera is all but affine: a board point (x, y) at height h is seen at p + A (x, y) + h b.
The support function of a convex body (how far it reaches in direction n) is then, for a box turned by theta,

    n.c + L/2 |n.A e1| + W/2 |n.A e2| + H max(n.b, 0),

and for an upright disc n.c + D/2 |A'n| + H max(n.b, 0): linear in everything but theta. So a scan over theta
with one small least-squares problem each finds the best box, and says how well the outline tells its height.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cutcheck.camera import Camera, Floats
from cutcheck.parts import by_parts
from cutcheck.short_rows import lengths, medians

DIRECTIONS = 48
TURNS = 45
PART = 32  # pieces whose turns are tried at a time: some megabytes


@dataclass(frozen=True)
class Affine:
    """The camera near N pieces: ``p`` (N, 2) px, ``a`` (N, 2, 2) px per mm, ``b`` (N, 2) px per mm height.

    ``origin`` (N, 2) mm is the board point seen at ``p``.
    """

    origin: Floats
    p: Floats
    a: Floats
    b: Floats

    def take(self, part: slice) -> Affine:
        """The camera near some of the pieces."""
        return Affine(self.origin[part], self.p[part], self.a[part], self.b[part])


def affine_at(camera: Camera, px: Floats, h: float | Floats = 0.0) -> Affine:
    """The affine camera at the points of height ``h`` seen at ``px`` (N, 2)."""
    origin = camera.to_height(px, h)
    height = np.broadcast_to(np.asarray(h, float), origin.shape[:1])
    step = 0.5

    def difference(dx: float, dy: float, dh: float) -> Floats:
        move = np.array([dx, dy])
        ahead = camera.project_at(origin + move, height + dh)
        behind = camera.project_at(origin - move, height - dh)
        return np.asarray(ahead - behind)

    a = np.stack([difference(step, 0, 0), difference(0, step, 0)], axis=-1)
    return Affine(origin, camera.project_at(origin, height), a, difference(0, 0, step))


def support(outlines: list[Floats]) -> tuple[Floats, Floats]:
    """The support functions of outlines: directions (K, 2) and reach (N, K) px.

    Reach is measured from the photo's origin; the K directions are evenly spread, the same for all.
    """
    phi = np.arange(DIRECTIONS) * (2.0 * np.pi / DIRECTIONS)
    n = np.stack([np.cos(phi), np.sin(phi)], axis=-1)
    return n, np.stack([(outline @ n.T).max(axis=0) for outline in outlines])


@dataclass(frozen=True)
class FirstFit:
    """First solids for N outlines; ``xy`` is the top face's centre dropped on the board, mm.

    ``rms`` px is what the outline leaves unexplained. ``theta`` is the angle of the length, rad.
    """

    xy: Floats
    theta: Floats
    length: Floats
    width: Floats
    height: Floats
    rms: Floats

    @classmethod
    def joined(cls, fits: list[FirstFit]) -> FirstFit:
        """The fits one after another."""
        return cls(
            np.concatenate([fit.xy for fit in fits]),
            np.concatenate([fit.theta for fit in fits]),
            np.concatenate([fit.length for fit in fits]),
            np.concatenate([fit.width for fit in fits]),
            np.concatenate([fit.height for fit in fits]),
            np.concatenate([fit.rms for fit in fits]),
        )


ROUNDS = 3  # of least squares, each with the weights that the one before gives


def _solve(design: Floats, target: Floats, prior: Floats, prior_weight: Floats) -> tuple[Floats, Floats]:
    """Least squares for designs (..., P, K) with a diagonal prior, robustly reweighted; also the rms."""
    weight = np.ones_like(target)
    across = np.swapaxes(design, -1, -2)
    index = np.arange(design.shape[-2])
    for _ in range(ROUNDS):
        weighted = design * weight[..., None, :]
        normal = np.matmul(weighted, across)
        normal[..., index, index] += prior_weight
        right = np.matmul(weighted, target[..., None])[..., 0] + prior_weight * prior
        solution = np.linalg.solve(normal, right[..., None])[..., 0]
        residual = target - np.matmul(solution[..., None, :], design)[..., 0, :]
        weight = _weights(residual)
    return solution, np.sqrt((weight * residual**2).mean(axis=-1))


def _weights(residual: Floats) -> Floats:
    """What each place of a support function counts, by what is left of it (..., K) px."""
    spread = 1.5 * medians(np.abs(residual)) + 0.3
    return np.asarray(1.0 / (1.0 + (residual / (2.0 * spread[..., None])) ** 2))


def facing(n: Floats, seams: Floats) -> NDArray[np.bool_]:
    """Which of the directions (..., 2) look at a seam, where a neighbour hides the side: (N, ...).

    ``seams`` (N, S, 2) are outward unit normals, nan where there is none.
    """
    if np.isnan(seams).all():
        return np.zeros((len(seams), len(n)) if n.ndim == 2 else n.shape[:-1], bool)
    dot = np.einsum("...i,nsi->n...s", n, seams) if n.ndim == 2 else np.einsum("n...i,nsi->n...s", n, seams)
    return np.asarray((np.nan_to_num(dot, nan=-1.0) > np.cos(np.radians(40.0))).any(axis=-1))


def first_boxes(affine: Affine, n: Floats, reach: Floats, seams: Floats) -> FirstFit:
    """The best box for each outline; ``seams`` (N, S, 2) are its sides that touch another piece."""
    turn = np.arange(TURNS) * (0.5 * np.pi / TURNS)

    def some(part: slice) -> FirstFit:
        turns = np.broadcast_to(turn, (len(reach[part]), TURNS))
        return boxes_at(affine.take(part), n, reach[part], turns, None, seams[part])

    return FirstFit.joined(by_parts(some, len(reach), PART))


def boxes_at(
    affine: Affine, n: Floats, reach: Floats, theta: Floats, height: Floats | None, seams: Floats
) -> FirstFit:
    """As ``first_boxes``, with the turns to try, ``theta`` (N, T) rad, and the height if it is known."""
    local = reach - affine.p @ n.T
    na, along, across, rise = _parts(affine, n, theta, seams)
    up = np.broadcast_to(rise[:, None], along.shape)
    nx, ny = (np.broadcast_to(na[:, None, :, i], along.shape) for i in (0, 1))
    target = np.broadcast_to(local[:, None], along.shape)
    if height is None:
        # A weak pull (worth 2 px) towards a height like the width keeps the unseen height finite.
        size = np.sqrt(np.abs(np.linalg.det(affine.a)))
        guess = 0.5 * (local + np.roll(local, DIRECTIONS // 2, axis=1)).min(axis=1) * 2.0 / size
        prior = np.zeros((*theta.shape, 5))
        prior[..., 4] = np.maximum(0.8 * guess, 0.5)[:, None]
        weight = np.zeros_like(prior)
        weight[..., 4] = (0.5 / np.maximum(prior[..., 4], 0.5)) ** 2
        design = np.stack([nx, ny, along, across, up], axis=-2)
    else:
        target = target - height[:, None, None] * up
        design = np.stack([nx, ny, along, across], axis=-2)
        prior = np.zeros((*theta.shape, 4))
        weight = np.full_like(prior, 1e-9)
    solution, rms = _solve(design, target, prior, weight)
    best = np.argmin(rms, axis=1)
    rows = np.arange(len(best))
    x = solution[rows, best]
    turned = theta[rows, best]
    tall = np.maximum(x[:, 4], 0.05) if height is None else height
    return _ordered(affine.origin + x[:, :2], turned, x[:, 2], x[:, 3], tall, rms[rows, best])


def _parts(affine: Affine, n: Floats, theta: Floats, seams: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """What the support function gains for each mm: of x and y (N, K, 2), of the length and of the width at
    turns ``theta`` (N, T), (N, T, K) each, and of the height (N, K)."""
    e1 = np.stack([np.cos(theta), np.sin(theta)], axis=-1)
    e2 = np.stack([-np.sin(theta), np.cos(theta)], axis=-1)
    na = np.matmul(n, affine.a)
    along, across = (0.5 * np.abs(np.matmul(e, np.swapaxes(na, 1, 2))) for e in (e1, e2))
    rise = np.where(facing(n, seams), 0.0, np.maximum(affine.b @ n.T, 0.0))
    return na, along, across, rise


def boxes_of_heights(
    affine: Affine, n: Floats, reach: Floats, theta: Floats, height: Floats, seams: Floats
) -> FirstFit:
    """The best boxes of S heights, ``height`` (S, N) mm, at turns ``theta`` (N,) rad; figures are (S, N)."""
    na, along, across, rise = _parts(affine, n, theta[:, None], seams)
    design = np.concatenate([np.swapaxes(na, 1, 2), along, across], axis=1)
    # A piece's heights share their design, so that all its normal equations are one product.
    products = (design[:, :, None] * design[:, None]).reshape(len(theta), 16, -1).swapaxes(1, 2)
    target = (reach - affine.p @ n.T)[:, None] - height.T[..., None] * rise[:, None]
    weight = np.ones_like(target)
    for _ in range(ROUNDS):
        normal = np.matmul(weight, products).reshape(*weight.shape[:2], 4, 4) + 1e-9 * np.eye(4)
        right = np.matmul(weight * target, design.swapaxes(1, 2))
        solution = np.linalg.solve(normal, right[..., None])[..., 0]
        residual = target - np.matmul(solution, design)
        weight = _weights(residual)
    rms = np.sqrt((weight * residual**2).mean(axis=-1)).T
    x = solution.transpose(2, 1, 0)
    xy = affine.origin + np.stack([x[0], x[1]], axis=-1)
    return _ordered(xy, np.broadcast_to(theta, rms.shape), x[2], x[3], height, rms)


def _ordered(xy: Floats, theta: Floats, one: Floats, two: Floats, height: Floats, rms: Floats) -> FirstFit:
    """Length before width."""
    swap = two > one
    length = np.maximum(np.where(swap, two, one), 0.2)
    width = np.maximum(np.where(swap, one, two), 0.2)
    return FirstFit(xy, theta + np.where(swap, 0.5 * np.pi, 0.0), length, width, height, rms)


def first_discs(affine: Affine, n: Floats, reach: Floats) -> FirstFit:
    """The best upright disc for each outline."""
    local = reach - affine.p @ n.T
    na = np.matmul(n, affine.a)
    up = np.maximum(affine.b @ n.T, 0.0)
    design = np.stack([na[..., 0], na[..., 1], 0.5 * lengths(na), up], axis=-2)
    size = np.sqrt(np.abs(np.linalg.det(affine.a)))
    guess = 0.5 * (local + np.roll(local, DIRECTIONS // 2, axis=1)).min(axis=1) * 2.0 / size
    prior = np.zeros((len(reach), 4))
    prior[:, 3] = np.maximum(0.2 * guess, 0.5)
    weight = np.zeros_like(prior)
    weight[:, 3] = (0.5 / prior[:, 3]) ** 2
    x, rms = _solve(design, local, prior, weight)
    zero = np.zeros(len(reach))
    tall = np.maximum(x[:, 3], 0.05)
    return FirstFit(affine.origin + x[:, :2], zero, x[:, 2], x[:, 2], tall, rms)
