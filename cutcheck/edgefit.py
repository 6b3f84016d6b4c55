"""Solids fitted to the edges that the photo shows: Gauss-Newton for many pieces at once.

Each visible edge of a predicted solid is looked for across its own line; what is found moves the solid. The
far edges of the top face, the inner edges between top and side, the foot and the uprights all take part,
each with its own uncertainty, so that what the photo can't tell stays uncertain.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cutcheck.camera import Camera, Floats
from cutcheck.edge_search import SAMPLE_PX, Local, find_edges
from cutcheck.parts import by_parts
from cutcheck.profiles import edge_normals
from cutcheck.silhouette import affine_at, facing
from cutcheck.solids import FOOT, TOP, UPRIGHT, Bools, Solid, View, fractions

PART = 128  # solids fitted at a time: their profiles are some megabytes
FIRST_PX = (2.5, 1.5)  # how far each round looks for an edge: to tell candidates apart
LAST_PX = (1.0, 1.0)  # and to settle the best one
TURN_FOLLOW_PX, TURN_ROUNDS = 3.0, 3  # the same where an edge's own slant is followed


@dataclass(frozen=True)
class EdgeFit:
    """Fitted solids (N, P), their covariance (N, P, P), the last round's ``view`` and the rms, px (N,)."""

    rows: Floats
    covariance: Floats
    view: View
    support: Floats
    clarity: Floats
    rms: Floats

    @classmethod
    def joined(cls, fits: list[EdgeFit]) -> EdgeFit:
        """The fits one after another."""
        view = View(
            np.concatenate([fit.view.visible for fit in fits]),
            np.concatenate([fit.view.inner for fit in fits]),
            np.concatenate([fit.view.gap_px for fit in fits]),
            fits[0].view.kind,
        )
        return cls(
            np.concatenate([fit.rows for fit in fits]),
            np.concatenate([fit.covariance for fit in fits]),
            view,
            np.concatenate([fit.support for fit in fits]),
            np.concatenate([fit.clarity for fit in fits]),
            np.concatenate([fit.rms for fit in fits]),
        )

    def take(self, index: NDArray[np.int_] | slice) -> EdgeFit:
        """The fits ``index`` alone."""
        view = View(self.view.visible[index], self.view.inner[index], self.view.gap_px[index], self.view.kind)
        return EdgeFit(
            self.rows[index],
            self.covariance[index],
            view,
            self.support[index],
            self.clarity[index],
            self.rms[index],
        )


def fit_edges(
    pixels: NDArray[np.uint8],
    camera: Camera,
    solid: Solid,
    start: Floats,
    outlines: Floats,
    seams: Floats,
    reach_px: tuple[float, ...] = FIRST_PX + LAST_PX,
    prior: Floats | None = None,
) -> EdgeFit:
    """Fit solids from ``start`` (N, P) to the edges in ``pixels`` (H, W, 3).

    ``outlines`` (N, K, 2) px are the pieces' outlines as found; they hold the outer edges to their places.
    ``seams`` (N, S, 2) are outward normals, px, of the sides that touch another piece, nan where none does.
    ``reach_px`` is how far each round looks for an edge; ``prior`` (N, P) what the start was before a first
    fit, where ``start`` comes from one.
    """
    known = start if prior is None else prior

    def some(part: slice) -> EdgeFit:
        return _fit(
            pixels, camera, solid.take(part), start[part], outlines[part], seams[part], reach_px, known[part]
        )

    return EdgeFit.joined(by_parts(some, len(start), PART))


def _fit(
    pixels: NDArray[np.uint8],
    camera: Camera,
    solid: Solid,
    start: Floats,
    outlines: Floats,
    seams: Floats,
    reach_px: tuple[float, ...],
    known: Floats,
) -> EdgeFit:
    """As ``fit_edges``, all at once; ``known`` is its ``prior``."""
    row = start.copy()
    n = len(row)
    h = solid.height
    covariance: Floats = np.zeros((n, solid.size, solid.size))
    touching = not np.isnan(seams).all()
    local = Local.of(outlines)
    for reach in reach_px:
        middle = 0.5 * row[:, h]
        affine = affine_at(camera, camera.project_at(row[:, :2], middle), middle)
        px_per_mm = np.sqrt(np.abs(np.linalg.det(affine.a)))
        view = solid.view(row, camera, px_per_mm, np.linalg.norm(affine.b, axis=-1))
        at_seam = np.zeros(view.visible.shape, bool)
        if touching:
            at_seam = _at_seams(camera.project(solid.points(row, np.zeros(view.visible.shape))), seams)
        view = _without_hidden(view, at_seam)
        merged = view.merged
        # A side too narrow to show two edges shows one: taken at half height, and less certain.
        level = np.where(merged & (view.kind == FOOT), 0.5, 0.0)
        usable = view.visible & ~(merged & (view.kind == TOP))
        points = camera.project(solid.points(row, level))
        found = find_edges(
            pixels,
            points,
            usable,
            view,
            at_seam,
            px_per_mm,
            local,
            reach,
            by_light=reach <= max(LAST_PX),
        )
        across = solid.across(row, affine, level, (found.row, found.edge), found.normal)
        weighted = (across * found.weight[..., None]).swapaxes(1, 2)
        normal = np.matmul(weighted, across)
        right = np.matmul(weighted, found.offset[..., None])[..., 0]
        whole = across.mean(axis=1)
        normal += whole[:, :, None] * whole[:, None, :] * found.hold[:, None, None]
        right += whole * (found.hold * found.held)[:, None]
        hessian, gradient = _sums(normal, found.row, n), _sums(right, found.row, n)
        target, weight = solid.prior(row, known)
        index = np.arange(solid.size)
        hessian[:, index, index] += weight
        gradient += weight * (target - row) * (weight > 1e-8)
        covariance = np.asarray(np.linalg.inv(hessian), float)
        step = np.matmul(covariance, gradient[..., None])[..., 0]
        bound = (3.0 * reach / px_per_mm)[:, None]
        row = row + np.clip(step, -bound, bound)
        for i in solid.lengths:
            row[:, i] = np.maximum(row[:, i], 0.15)
    support = np.zeros(view.visible.shape)
    support[found.row, found.edge] = found.strength
    clarity = np.zeros(view.visible.shape)
    clarity[found.row, found.edge] = found.clarity
    total = _sums((found.weight * found.offset**2).sum(-1), found.row, n)
    rms = np.sqrt(total / np.maximum(_sums(found.weight.sum(-1), found.row, n), 1e-9))
    return EdgeFit(row, covariance, view, support, clarity, rms)


def _sums(values: Floats, row: NDArray[np.int_], count: int) -> Floats:
    """The sums of ``values`` (F, ...) of each of ``count`` solids, (count, ...); ``row`` (F,) is in order."""
    out = np.zeros((count, *values.shape[1:]))
    if len(row):
        first = np.flatnonzero(np.diff(row, prepend=-1))
        out[row[first]] = np.add.reduceat(values, first, axis=0)
    return out


def edge_turns(
    pixels: NDArray[np.uint8], camera: Camera, solid: Solid, fit: EdgeFit, outlines: Floats, seams: Floats
) -> tuple[Floats, Floats]:
    """How each visible edge turns against its fitted solid's, (N, E) px, and the standard uncertainty.

    By how much more it lies outside at its end than at its beginning. Each round looks along the line as the
    round before has turned it. Where an edge was not found the uncertainty is infinite.
    """
    if not len(fit.rows):
        return np.zeros((0, len(fit.view.kind))), np.zeros((0, len(fit.view.kind)))

    def some(part: slice) -> tuple[Floats, Floats]:
        return _edge_turns(pixels, camera, solid.take(part), fit.take(part), outlines[part], seams[part])

    turns, turns_u = zip(*by_parts(some, len(fit.rows), PART), strict=True)
    return np.concatenate(turns), np.concatenate(turns_u)


def _edge_turns(
    pixels: NDArray[np.uint8], camera: Camera, solid: Solid, fit: EdgeFit, outlines: Floats, seams: Floats
) -> tuple[Floats, Floats]:
    """As ``edge_turns``, all at once."""
    affine = affine_at(camera, camera.project_at(fit.rows[:, :2], fit.rows[:, solid.height]))
    px_per_mm = np.sqrt(np.abs(np.linalg.det(affine.a)))
    view = fit.view
    straight = camera.project(solid.points(fit.rows, np.zeros(view.visible.shape)))
    at_seam = _at_seams(straight, seams)
    local = Local.of(outlines)
    usable = view.visible & ~view.merged & (view.kind != UPRIGHT)
    turn, turn_u = np.zeros(view.visible.shape), np.full(view.visible.shape, np.inf)
    t = fractions(straight.shape[2]) - 0.5
    normal = np.zeros((*view.visible.shape, 2))
    for _ in range(TURN_ROUNDS):
        points = straight + (turn[..., None] * t)[..., None] * normal[..., None, :]
        found = find_edges(
            pixels,
            points,
            usable,
            view,
            at_seam,
            px_per_mm,
            local,
            LAST_PX[-1],
            by_light=True,
            follow=TURN_FOLLOW_PX,
        )
        more, sure = _turns(found.offset, found.worth)
        normal[found.row, found.edge] = found.normal
        turn[found.row, found.edge] += more
        turn_u[found.row, found.edge] = sure
    return turn, turn_u


def _turns(offset: Floats, worth: Floats) -> tuple[Floats, Floats]:
    """The slope of offsets (F, M) px over a whole edge, and the standard uncertainty from its samples, px."""
    t = fractions(offset.shape[1])
    middle = (worth * t).sum(axis=1) / np.maximum(worth.sum(axis=1), 1e-9)
    away = t - middle[:, None]
    spread = np.maximum((worth * away**2).sum(axis=1), 1e-9)
    return (worth * away * offset).sum(axis=1) / spread, SAMPLE_PX / np.sqrt(spread)


def _at_seams(points: Floats, seams: Floats) -> Bools:
    """Which edges, by their points (N, E, M, 2) px, lie where a neighbour touches, (N, E)."""
    if np.isnan(seams).all():
        return np.zeros(points.shape[:2], bool)
    normal, _ = edge_normals(points)
    middle = points.mean(axis=(1, 2))[:, None]
    normal = normal * np.sign(((points.mean(axis=2) - middle) * normal).sum(-1))[..., None]
    return np.asarray(facing(normal, seams), bool)


def _without_hidden(view: View, at_seam: Bools) -> View:
    """What is left of a view where neighbours touch: no foot there, and the top's edge is the last."""
    visible = view.visible & ~(at_seam & (view.kind == FOOT))
    inner = view.inner & ~(at_seam & (view.kind == TOP))
    return View(visible, inner, np.where(at_seam, np.inf, view.gap_px), view.kind)
