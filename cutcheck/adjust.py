"""Bundle adjustment: the camera that explains best where printed edges are seen, and how sure that is.

Each measurement is one number, the distance of a seen edge from where the camera puts it, across the edge.
Unknown are the camera (``camera.PARAMETERS``), by how much white has grown into black or black into white,
how each card is bent, and where on the board each further card lies. Priors are measurements, too: of the
lens, of that growth, of flatness. Gauss-Newton with Levenberg's damping; Tukey's weights take out what is no
edge of ours (Huber & Ronchetti, Robust Statistics, 2009); the covariance is that of least squares, JCGM 102.

A card's bend matters: a tenth of a millimetre moves what is seen as much as two per cent of lens distortion
in the picture's corner do.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from cutcheck.camera import Camera
from cutcheck.lens import KnownLens

Floats = NDArray[np.float64]
GROWN = 11  # places in the vector of unknowns: after the camera the growth,
LEAST_DAMPING = 1e-10
STILL = 0.03  # standard deviations: a smaller step ends the search
BENT = 12  # then three for each card's bend, then three for each further card's place


@dataclass(frozen=True)
class Edges:
    """Measured edges of all cards. ``mm`` (N, 2): where on its card; ``bends`` (N, 3): height there, mm, for
    each bend of 1 mm; ``px`` (N, 2): where seen; ``normal`` (N, 2): across, towards white; ``card`` (N,):
    which card, 0 carries the frame; ``height`` (N,) mm, of the card above the board when flat."""

    mm: Floats
    bends: Floats
    px: Floats
    normal: Floats
    card: NDArray[np.int64]
    height: Floats


def bends_at(mm: Floats, half_mm: float) -> Floats:
    """Height at (N, 2) mm for each of a card's three bends of 1 mm, (N, 3): bowl, saddle, twist.

    A sheet that can't stretch bends to a cylinder: there the bowl is the root sum of squares of the others.
    """
    x, y = mm[..., 0] / half_mm, mm[..., 1] / half_mm
    return np.stack([x * x + y * y, x * x - y * y, 2 * x * y], axis=-1)


@dataclass(frozen=True)
class Prior:
    """``lens``; of the bends mean and standard deviation, (2, cards, 3) mm; and how much white may have
    grown into black, px."""

    lens: KnownLens
    bend: Floats
    grown_sd_px: float = 0.5

    def with_bend(self, mean: Floats, sd: Floats) -> Prior:
        return replace(self, bend=np.stack([mean, sd]))


@dataclass(frozen=True)
class Fit:
    """A solved photo. ``covariance`` is of all unknowns, the rotation as a vector; ``residual`` (N,) px;
    ``weight`` (N,), 0 for what was left out; ``sigma`` px, the scatter of one edge; ``cost``: sum of squares
    of edges and priors, in standard deviations; ``evidence``: logarithm of how likely the edges are under the
    priors (Laplace's approximation), to compare priors at the same ``sigma``."""

    camera: Camera
    placements: Floats  # (cards, 3): x, y mm, angle rad
    bends: Floats  # (cards, 3) mm
    grown_px: float
    covariance: Floats
    residual: Floats
    weight: Floats
    sigma: float
    cost: float
    evidence: float


def solve(
    edges: Edges,
    camera: Camera,
    placements: Floats,
    prior: Prior,
    *,
    bends: Floats | None = None,
    sigma_floor_px: float = 0.01,
    sigma_px: float | None = None,
    rounds: int = 4,
    steps: int = 40,
) -> Fit:
    """The most likely camera, from a start that is good to a few pixels.

    ``placements`` is (cards, 3), the first row zero. The scatter of the edges is found, but for
    ``sigma_floor_px``, or given as ``sigma_px``.
    """
    start = np.zeros((len(placements), 3)) if bends is None else bends
    state = _State(camera, np.array(placements, float), np.array(start, float), 0.0)
    residual, jacobian = _residuals(edges, state)
    sigma = sigma_px or max(_spread(residual), sigma_floor_px)
    for turn in range(rounds):
        weight = _tukey(residual, (4.685 if turn else 10.0) * max(sigma, _spread(residual)))
        damping = LEAST_DAMPING
        for _ in range(steps):
            state, residual, jacobian, moved, damping = _step(
                *(edges, state, residual, jacobian, prior, weight, sigma, damping)
            )
            if moved < STILL:
                break
        if sigma_px is not None:
            continue
        kept = weight > 0
        freedom = kept.sum() / max(kept.sum() - jacobian.shape[1], 1)
        before, sigma = sigma, max(_spread(residual[kept]) * float(np.sqrt(freedom)), sigma_floor_px)
        if turn and abs(sigma - before) < 0.02 * before:
            break
    weight = _tukey(residual, 4.685 * sigma)
    scatter = float(np.sqrt((weight * residual**2).sum() / max(weight.sum() - jacobian.shape[1], 1.0)))
    sigma = sigma_px or max(scatter, sigma_floor_px)
    rows, misfit = _prior_rows(state, prior)
    information = (jacobian * (weight / sigma**2)[:, None]).T @ jacobian + rows.T @ rows
    covariance = _to_rotation_vector(
        np.asarray(np.linalg.inv(information), np.float64), state.camera.rotation
    )
    cost = float((weight * residual**2).sum() / sigma**2 + misfit @ misfit)
    # What was left out costs as much as an edge just too far off: else a bad fit could buy itself off.
    cost += float((weight == 0).sum()) * 4.685**2 / 3
    known = np.linalg.slogdet(rows @ rows.T)[1]  # of what the priors tell
    evidence = -0.5 * (cost + float(np.linalg.slogdet(information)[1]) - float(known))
    return Fit(
        *(state.camera, state.placements, state.bends, state.grown, covariance),
        *(residual, weight, sigma, cost, evidence),
    )


def mixed(best: Fit, other: Fit, odds: float) -> Fit:
    """The better of two solutions of the same edges, its covariance widened by how far off, and how likely,
    the other is; ``odds``: how likely against the better, 0 to 1."""
    share = odds / (1.0 + odds)
    apart = _vector(other) - _vector(best)
    covariance = (1 - share) * best.covariance + share * (other.covariance + np.outer(apart, apart))
    return replace(best, covariance=covariance)


def _vector(fit: Fit) -> Floats:
    return np.concatenate(
        [fit.camera.vector(), [fit.grown_px], fit.bends.ravel(), fit.placements[1:].ravel()]
    )


@dataclass(frozen=True)
class _State:
    camera: Camera
    placements: Floats
    bends: Floats
    grown: float

    def moved(self, step: Floats) -> _State:
        # Focal length and distance change by factors, the rest of the translation by the ray that it lies on,
        # the distortion in pixels, k1 / f^2: of these the picture depends more nearly linearly.
        c = self.camera
        longer = float(np.exp(np.clip(step[0] / c.f, -0.5, 0.5)))
        turn = np.asarray(cv2.Rodrigues(step[5:8])[0])
        x, y, z = c.translation
        far = float(np.exp(np.clip(step[10] / z, -0.5, 0.5))) * z
        ray = np.array([x + step[8] - x / z * step[10], y + step[9] - y / z * step[10], z]) / z
        camera = Camera(
            c.f * longer,
            c.cx + float(step[1]),
            c.cy + float(step[2]),
            (c.k1 + float(step[3] - 2 * c.k1 * step[0] / c.f)) * longer**2,
            (c.k2 + float(step[4] - 4 * c.k2 * step[0] / c.f)) * longer**4,
            turn @ c.rotation,
            ray * far,
        )
        placed = BENT + 3 * len(self.placements)
        placements = self.placements.copy()
        placements[1:] += step[placed:].reshape(-1, 3)
        bends = self.bends + step[BENT:placed].reshape(-1, 3)
        return _State(camera, placements, bends, self.grown + float(step[GROWN]))


def _residuals(edges: Edges, state: _State) -> tuple[Floats, Floats]:
    """How far, px, each edge is seen from its place, towards white; and that place by each unknown."""
    camera, cards = state.camera, len(state.placements)
    angle = state.placements[edges.card, 2]
    cos, sin = np.cos(angle), np.sin(angle)
    x, y = edges.mm[:, 0], edges.mm[:, 1]
    turned = np.column_stack([cos * x - sin * y, sin * x + cos * y])
    height = edges.height + (edges.bends * state.bends[edges.card]).sum(axis=1)
    board = np.column_stack([turned + state.placements[edges.card, :2], -height])
    rotated = board @ camera.rotation.T
    cam = rotated + camera.translation
    inverse = 1.0 / cam[:, 2]
    a, b = cam[:, 0] * inverse, cam[:, 1] * inverse
    r2 = a * a + b * b
    d = 1.0 + r2 * (camera.k1 + camera.k2 * r2)
    slope = camera.k1 + 2.0 * camera.k2 * r2  # of d by r2
    nx, ny = edges.normal[:, 0], edges.normal[:, 1]
    across = nx * a + ny * b
    residual = nx * (edges.px[:, 0] - camera.cx) + ny * (edges.px[:, 1] - camera.cy)
    residual = residual - camera.f * d * across - state.grown

    by_a = camera.f * (d * nx + 2.0 * a * slope * across)
    by_b = camera.f * (d * ny + 2.0 * b * slope * across)
    by_cam = np.column_stack([by_a * inverse, by_b * inverse, -(by_a * a + by_b * b) * inverse])
    by_board = by_cam @ camera.rotation
    jacobian = np.zeros((len(edges.mm), BENT + 6 * cards - 3))
    jacobian[:, 0] = d * across
    jacobian[:, 1], jacobian[:, 2] = nx, ny
    jacobian[:, 3], jacobian[:, 4] = camera.f * r2 * across, camera.f * r2 * r2 * across
    for k, (i, j) in enumerate(((1, 2), (2, 0), (0, 1))):  # rotated x by_cam
        jacobian[:, 5 + k] = rotated[:, i] * by_cam[:, j] - rotated[:, j] * by_cam[:, i]
    jacobian[:, 8:11] = by_cam
    jacobian[:, GROWN] = 1.0
    for card in range(cards):
        on = edges.card == card
        bend = BENT + 3 * card
        jacobian[on, bend : bend + 3] = -by_board[on, 2:] * edges.bends[on]
        if card:
            place = BENT + 3 * (cards + card - 1)
            jacobian[on, place : place + 2] = by_board[on, :2]
            jacobian[on, place + 2] = by_board[on, 1] * turned[on, 0] - by_board[on, 0] * turned[on, 1]
    return residual, jacobian


def _prior_rows(state: _State, prior: Prior) -> tuple[Floats, Floats]:
    """The priors as measurements in their own standard deviations: derivative (P, unknowns), misfit (P,)."""
    c, cards = state.camera, len(state.placements)
    mean = np.concatenate([prior.lens.mean, [0.0], prior.bend[0].ravel()])
    value = np.concatenate([[c.f, c.cx, c.cy, c.k1, c.k2, state.grown], state.bends.ravel()])
    root = np.diag(1.0 / np.concatenate([np.ones(5), [prior.grown_sd_px], prior.bend[1].ravel()]))
    root[:5, :5] = np.linalg.inv(np.linalg.cholesky(prior.lens.covariance))
    off = mean - value
    by_value = np.eye(len(mean))
    # The focal length is known as a ratio: its prior is of the logarithm.
    off[0] = mean[0] * np.log(mean[0] / c.f)
    by_value[0, 0] = mean[0] / c.f
    rows = np.zeros((len(mean), BENT + 6 * cards - 3))
    rows[:, np.concatenate([np.arange(5), np.arange(GROWN, BENT + 3 * cards)])] = root @ by_value
    return rows, root @ off


def _step(
    edges: Edges,
    state: _State,
    residual: Floats,
    jacobian: Floats,
    prior: Prior,
    weight: Floats,
    sigma: float,
    damping: float,
) -> tuple[_State, Floats, Floats, float, float]:
    """One damped step, how far it moved, in standard deviations, and the damping for the next."""
    rows, misfit = _prior_rows(state, prior)
    before = (weight * residual**2).sum() / sigma**2 + misfit @ misfit
    weighted = jacobian * (weight / sigma**2)[:, None]
    normal = weighted.T @ jacobian + rows.T @ rows
    gradient = weighted.T @ residual + rows.T @ misfit
    scale = 1.0 / np.sqrt(np.diag(normal))
    scaled = normal * scale[:, None] * scale
    for _ in range(12):
        step = scale * np.linalg.solve(scaled + damping * np.eye(len(scale)), scale * gradient)
        tried = state.moved(step)
        new_residual, new_jacobian = _residuals(edges, tried)
        _, new_misfit = _prior_rows(tried, prior)
        after = (weight * new_residual**2).sum() / sigma**2 + new_misfit @ new_misfit
        if after <= before * (1 + 1e-12) and tried.camera.translation[2] > 0:
            moved = float(np.sqrt(max(float(step @ gradient), 0.0)))
            return tried, new_residual, new_jacobian, moved, max(damping / 10, LEAST_DAMPING)
        damping *= 10
    return state, residual, jacobian, 0.0, damping


def _tukey(residual: Floats, cut: float) -> Floats:
    """Tukey's biweight: (N,), 1 for what fits, 0 from ``cut`` on."""
    return np.asarray(np.clip(1.0 - (residual / cut) ** 2, 0.0, None) ** 2)


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
