"""Bundle adjustment: the camera that explains best where printed edges are seen, and how sure that is.

Each measurement is one number, the distance of a seen edge from where the camera puts it, across the edge.
Unknown are the camera (``camera.PARAMETERS``), by how much white has grown into black (or black into white),
and, for each further card, where it lies on the board. Priors are measurements, too: of the focal length, the
optical centre, the distortion. Gauss-Newton with Levenberg's damping; Tukey's weights take out what is no edge
of ours (Huber & Ronchetti, Robust Statistics, 2009); the covariance is that of JCGM 102 for a fitted model.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from cutcheck.camera import Camera

Floats = NDArray[np.float64]
CAMERA = 11
GROWN = CAMERA  # the place of the edge shift in the vector of unknowns
CARDS = CAMERA + 1  # three more for each further card: x, y, angle


@dataclass(frozen=True)
class Edges:
    """Measured edges of all cards. ``mm`` (N, 2): where on its card; ``px`` (N, 2): where seen; ``normal``
    (N, 2): across, towards white; ``card`` (N,): 0 for the card that carries the frame; ``height`` (N,) mm.
    ``grown`` (N,): 1 where the shared edge shift applies."""

    mm: Floats
    px: Floats
    normal: Floats
    card: NDArray[np.int64]
    height: Floats
    grown: Floats


@dataclass(frozen=True)
class Prior:
    """What is known of a lens before the photo: mean and standard deviation of f, cx, cy, k1, k2."""

    mean: Floats
    sd: Floats


@dataclass(frozen=True)
class Fit:
    """A solved photo: ``unknowns`` with their ``covariance``; ``residual`` (N,) px; ``weight`` (N,), 0 for
    what was left out; ``sigma`` px, the scatter of one edge; ``cost``, the sum of squares in sigmas."""

    camera: Camera
    placements: Floats  # (cards, 3): x, y mm, angle rad
    grown_px: float
    covariance: Floats
    residual: Floats
    weight: Floats
    sigma: float
    cost: float


def solve(
    edges: Edges,
    camera: Camera,
    placements: Floats,
    prior: Prior,
    *,
    grown_sd_px: float = 0.5,
    sigma_floor_px: float = 0.01,
    rounds: int = 4,
) -> Fit:
    """The most likely camera, from a start that is good to a few pixels.

    ``placements`` is (cards, 3), the first row zero.
    """
    state = _State(camera, np.array(placements, float), 0.0)
    residual, jacobian = _residuals(edges, state)
    sigma = max(_spread(residual), sigma_floor_px)
    weight = np.ones(len(residual))
    for turn in range(rounds):
        cut = 4.685 if turn else 10.0
        weight = np.clip(1.0 - (residual / (cut * sigma)) ** 2, 0.0, None) ** 2
        for _ in range(12):
            state, residual, jacobian, moved = _step(edges, state, prior, weight, sigma, grown_sd_px)
            if moved < 1e-3:
                break
        kept = weight > 0
        freedom = kept.sum() / max(kept.sum() - jacobian.shape[1], 1)
        sigma = max(_spread(residual[kept]) * np.sqrt(freedom), sigma_floor_px)
    weight = np.clip(1.0 - (residual / (4.685 * sigma)) ** 2, 0.0, None) ** 2
    used = weight > 0
    scatter = float(np.sqrt((weight * residual**2).sum() / max(weight.sum() - jacobian.shape[1], 1.0)))
    sigma = max(scatter, sigma_floor_px)
    rows, _ = _prior_rows(state, prior, grown_sd_px)
    information = (jacobian * (weight / sigma**2)[:, None]).T @ jacobian + rows.T @ rows
    covariance = _to_rotation_vector(np.linalg.inv(information), state.camera.rotation)
    cost = float(((residual[used] / sigma) ** 2).sum())
    return Fit(state.camera, state.placements, state.grown, covariance, residual, weight, sigma, cost)


@dataclass(frozen=True)
class _State:
    camera: Camera
    placements: Floats
    grown: float

    def moved(self, step: Floats) -> _State:
        c = self.camera
        turn = np.asarray(cv2.Rodrigues(step[5:8])[0])
        camera = Camera(
            c.f * float(np.exp(np.clip(step[0] / c.f, -0.5, 0.5))),
            c.cx + float(step[1]),
            c.cy + float(step[2]),
            c.k1 + float(step[3]),
            c.k2 + float(step[4]),
            turn @ c.rotation,
            c.translation + step[8:11],
        )
        placements = self.placements.copy()
        placements[1:] += step[CARDS:].reshape(-1, 3)
        return _State(camera, placements, self.grown + float(step[GROWN]))


def _residuals(edges: Edges, state: _State) -> tuple[Floats, Floats]:
    """Distance of each seen edge from its place, px, towards white, and its derivative by the unknowns."""
    camera, n = state.camera, len(edges.mm)
    angle = state.placements[edges.card, 2]
    cos, sin = np.cos(angle), np.sin(angle)
    x, y = edges.mm[:, 0], edges.mm[:, 1]
    turned = np.column_stack([cos * x - sin * y, sin * x + cos * y])
    board = np.column_stack([turned + state.placements[edges.card, :2], -edges.height])
    rotated = board @ camera.rotation.T
    cam = rotated + camera.translation
    inverse = 1.0 / cam[:, 2]
    a, b = cam[:, 0] * inverse, cam[:, 1] * inverse
    r2 = a * a + b * b
    d = 1.0 + r2 * (camera.k1 + camera.k2 * r2)
    slope = camera.k1 + 2.0 * camera.k2 * r2  # of d by r2
    nx, ny = edges.normal[:, 0], edges.normal[:, 1]
    across = nx * a + ny * b
    seen = camera.f * d * across
    residual = nx * (edges.px[:, 0] - camera.cx) + ny * (edges.px[:, 1] - camera.cy) - seen
    residual = residual - state.grown * edges.grown

    # All derivatives below are of the expected place across the edge; the residual's are their negatives.
    by_a = camera.f * (d * nx + 2.0 * a * slope * across)
    by_b = camera.f * (d * ny + 2.0 * b * slope * across)
    by_cam = np.column_stack([by_a * inverse, by_b * inverse, -(by_a * a + by_b * b) * inverse])
    jacobian = np.zeros((n, CARDS + 3 * (len(state.placements) - 1)))
    jacobian[:, 0] = d * across
    jacobian[:, 1], jacobian[:, 2] = nx, ny
    jacobian[:, 3], jacobian[:, 4] = camera.f * r2 * across, camera.f * r2 * r2 * across
    jacobian[:, 5:8] = np.cross(rotated, by_cam)
    jacobian[:, 8:11] = by_cam
    jacobian[:, GROWN] = edges.grown
    by_board = by_cam @ camera.rotation
    for card in range(1, len(state.placements)):
        on = edges.card == card
        place = CARDS + 3 * (card - 1)
        jacobian[on, place], jacobian[on, place + 1] = by_board[on, 0], by_board[on, 1]
        jacobian[on, place + 2] = by_board[on, 1] * turned[on, 0] - by_board[on, 0] * turned[on, 1]
    return residual, jacobian


def _prior_rows(state: _State, prior: Prior, grown_sd_px: float) -> tuple[Floats, Floats]:
    """The priors as measurements in their own standard deviations: derivative (6, unknowns), misfit (6,)."""
    c = state.camera
    rows = np.zeros((6, CARDS + 3 * (len(state.placements) - 1)))
    rows[:5, :5] = np.diag(1.0 / prior.sd)
    rows[5, GROWN] = 1.0 / grown_sd_px
    misfit = np.append(
        (prior.mean - np.array([c.f, c.cx, c.cy, c.k1, c.k2])) / prior.sd, -state.grown / grown_sd_px
    )
    # The focal length is known as a ratio: its prior is of the logarithm.
    relative = prior.sd[0] / prior.mean[0]
    rows[0, 0] = 1.0 / (relative * c.f)
    misfit[0] = np.log(prior.mean[0] / c.f) / relative
    return rows, misfit


def _step(
    edges: Edges, state: _State, prior: Prior, weight: Floats, sigma: float, grown_sd_px: float
) -> tuple[_State, Floats, Floats, float]:
    """One damped step, and how far it moved, in standard deviations."""

    def cost(residual: Floats, misfit: Floats) -> float:
        return float((weight * residual**2).sum() / sigma**2 + (misfit**2).sum())

    residual, jacobian = _residuals(edges, state)
    rows, misfit = _prior_rows(state, prior, grown_sd_px)
    before = cost(residual, misfit)
    weighted = jacobian * (weight / sigma**2)[:, None]
    normal = weighted.T @ jacobian + rows.T @ rows
    gradient = weighted.T @ residual + rows.T @ misfit
    scale = 1.0 / np.sqrt(np.diag(normal))
    scaled = normal * scale[:, None] * scale
    damping = 0.0
    for _ in range(8):
        step = scale * np.linalg.solve(scaled + damping * np.eye(len(scale)), scale * gradient)
        tried = state.moved(step)
        new_residual, new_jacobian = _residuals(edges, tried)
        _, new_misfit = _prior_rows(tried, prior, grown_sd_px)
        after = cost(new_residual, new_misfit)
        if np.isfinite(after) and after <= before * (1 + 1e-12) and (tried.camera.translation[2] > 0):
            return tried, new_residual, new_jacobian, float(np.sqrt(max(step @ gradient, 0.0)))
        damping = max(10 * damping, 1e-4)
    return state, residual, jacobian, 0.0


def _spread(residual: Floats) -> float:
    """The standard deviation of the good ones, from the median distance."""
    return float(1.4826 * np.median(np.abs(residual))) if len(residual) else 0.0


def _to_rotation_vector(covariance: Floats, rotation: Floats) -> Floats:
    """From a turn on top of the rotation to a change of its rotation vector."""
    vector = cv2.Rodrigues(rotation)[0].ravel()
    by_turn = np.empty((3, 3))
    for k in range(3):
        small = np.zeros(3)
        small[k] = 1e-6
        ahead = cv2.Rodrigues(np.asarray(cv2.Rodrigues(small)[0]) @ rotation)[0].ravel()
        by_turn[:, k] = (ahead - vector) / 1e-6
    change = np.eye(len(covariance))
    change[5:8, 5:8] = by_turn
    return np.asarray(change @ covariance @ change.T)
