"""The shape of a cut as an instructor sees it: taper, slanting ends, wedge and bow, each with its figure.

A fitted box has the mean of each pair of edges. What the edges themselves do beside it is its shape: how the
two long edges of the top face run together (taper), how its ends lean (skew), and how the side face is higher
at one end than at the other (wedge). A bent stick has its bow from the fit.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cutcheck.camera import Camera, Floats
from cutcheck.edgefit import EdgeFit
from cutcheck.records import ShapeFigure
from cutcheck.solids import BOW, HEIGHT, LENGTH, WIDTH, box_points

NAMES = ("taper", "skew", "wedge", "bow")
ROUGH_TURN_MM = 0.08  # how much an even cut's edge turns by its own bumps (common practice, no source)
SEEN_SHARE = 0.5  # a figure less sure than this part of the side it spoils is not told

_OUT = np.array([[0.0, -1.0], [1.0, 0.0], [0.0, 1.0], [-1.0, 0.0]])  # of the four sides, along and across


def shape_figures(
    camera: Camera, fit: EdgeFit, turns: tuple[Floats, Floats], bowed: NDArray[np.bool_]
) -> list[tuple[ShapeFigure, ...]]:
    """The shape figures, mm, of N fitted boxes.

    ``turns`` are their edges' (``edge_turns``), ``bowed`` (N,) says which boxes may be bent.

    taper: how much wider one end of the top face is than the other. skew: how far, across the width, its ends
    lean from square, both the same way. wedge: how much higher one end is. bow: how far the middle lies off
    the line between the ends. A figure is left out where the photo does not show it.
    """
    across, up = _px_per_mm(camera, fit.rows)
    turn, turn_u = turns
    top = turn[:, :4] / across, np.hypot(turn_u[:, :4] / across, ROUGH_TURN_MM)
    with np.errstate(invalid="ignore", over="ignore"):
        # Edges 0 and 2 run along the length, in opposite directions; 1 and 3 are the ends.
        taper = top[0][:, 0] - top[0][:, 2], np.hypot(top[1][:, 0], top[1][:, 2])
        # How far the ends lean, less how far the long edges do: a fit turns between the two.
        part = fit.rows[:, WIDTH] / fit.rows[:, LENGTH]
        lean = top[0][:, 1] + top[0][:, 3] - part * (top[0][:, 0] + top[0][:, 2])
        lean_u = np.hypot(np.hypot(top[1][:, 1], top[1][:, 3]), part * taper[1])
        skew = 0.5 * lean, 0.5 * lean_u
        wedge = _wedge(fit, turns, up)
    bow = fit.rows[:, BOW], np.sqrt(fit.covariance[:, BOW, BOW])
    most = SEEN_SHARE * fit.rows[:, [WIDTH, WIDTH, HEIGHT, WIDTH]]
    out = []
    for i in range(len(fit.rows)):
        figures = []
        for k, (name, (value, u)) in enumerate(zip(NAMES, (taper, skew, wedge, bow), strict=True)):
            if name == "bow" and not bowed[i]:
                continue
            if np.isfinite(u[i]) and 2.0 * u[i] < most[i, k]:
                figures.append(ShapeFigure(name, abs(float(value[i])), "mm", 2.0 * float(u[i])))
        out.append(tuple(figures))
    return out


def _wedge(fit: EdgeFit, turns: tuple[Floats, Floats], up: Floats) -> tuple[Floats, Floats]:
    """From the long side face that is seen: how its upper edge turns against its foot, (N,) mm each."""
    shown = fit.view.inner[:, [0, 2]] & fit.view.visible[:, [4, 6]]
    turn = (turns[0][:, [0, 2]] - turns[0][:, [4, 6]]) / up[:, [0, 2]]
    turn_u = np.hypot(turns[1][:, [0, 2]], turns[1][:, [4, 6]]) / np.abs(up[:, [0, 2]])
    turn_u = np.where(shown, np.hypot(turn_u, ROUGH_TURN_MM), np.inf)
    best = np.argmin(turn_u, axis=1)[:, None]
    return np.take_along_axis(turn, best, 1)[:, 0], np.take_along_axis(turn_u, best, 1)[:, 0]


def _px_per_mm(camera: Camera, box: Floats) -> tuple[Floats, Floats]:
    """How far, px across itself, each top edge (N, 4) moves for a millimetre outwards, and upwards."""
    u = np.array([[-0.5, 0.5], [0.5, 0.5], [0.5, -0.5], [-0.5, -0.5]])
    v = np.array([[-0.5, -0.5], [-0.5, 0.5], [0.5, 0.5], [0.5, -0.5]])

    def seen(du: Floats, dv: Floats, w: Floats) -> Floats:
        return camera.project(box_points(box[:, None, None], u + du, v + dv, w))

    one, zero = np.ones((len(box), 4, 2)), np.zeros((len(box), 4, 2))
    edge = seen(zero, zero, one)
    out_u = (_OUT[:, 0, None] / box[:, None, None, LENGTH].reshape(-1, 1, 1)) * np.ones((1, 1, 2))
    out_v = (_OUT[:, 1, None] / box[:, None, None, WIDTH].reshape(-1, 1, 1)) * np.ones((1, 1, 2))
    outward = (seen(out_u, out_v, one) - edge).mean(axis=2)
    upward = (seen(zero, zero, one + 1.0 / box[:, None, None, HEIGHT].reshape(-1, 1, 1)) - edge).mean(axis=2)
    along = edge[:, :, 1] - edge[:, :, 0]
    normal = np.stack([-along[..., 1], along[..., 0]], axis=-1)
    normal = normal / np.maximum(np.linalg.norm(normal, axis=-1, keepdims=True), 1e-9)
    normal = normal * np.sign((normal * outward).sum(axis=-1))[..., None]
    return (outward * normal).sum(axis=-1), (upward * normal).sum(axis=-1)
