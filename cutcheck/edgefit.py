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
from cutcheck.profiles import STEP_PX, peak, profiles, slopes
from cutcheck.silhouette import affine_at, facing
from cutcheck.solids import FOOT, SAMPLES, TOP, UPRIGHT, Bools, Solid, View, fractions

HALF = 13
FIRST_PX = (2.5, 1.5)  # how far each round looks for an edge: to tell candidates apart
LAST_PX = (1.0, 1.0)  # and to settle the best one
FOLLOW_PX, STRAY = (
    1.2,
    0.67,
)  # how far samples may leave their edge; in parts of that, how soon they count less
TURN_FOLLOW_PX, TURN_ROUNDS = 3.0, 3  # the same where an edge's own slant is followed
SAMPLE_PX = 0.35  # one sample of an edge: noise and grain
TOP_MM = 0.048  # how far a top edge of real produce lies off its line
FOOT_MM = 0.10  # the same at the foot, where shadow and bleeding add
OUTLINE_PX = 1.0  # how well the outline as found places an outer edge
CHROMA = 0.35  # colour counts for less than light: cameras and JPEG blur it, and produce glows onto the board
APART = 0.12  # sine of the angle between two colours that can be told apart
MERGED_PX = 2.5  # a side face seen narrower than this shows one edge, not two


# Blue, green, red of linear light (IEC 61966-2-1), drawn towards their luminance.
_LUMINANCE = np.array([[0.0722], [0.7152], [0.2126]])
_LIGHT_FIRST = (CHROMA * np.eye(3) + (1.0 - CHROMA) * _LUMINANCE).astype(np.float32)


@dataclass(frozen=True)
class EdgeFit:
    """Fitted solids (N, P), their covariance (N, P, P), the last round's ``view`` and the rms, px (N,)."""

    rows: Floats
    covariance: Floats
    view: View
    support: Floats
    clarity: Floats
    rms: Floats

    def take(self, index: NDArray[np.int_]) -> EdgeFit:
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


@dataclass(frozen=True)
class _Found:
    """Edges found in one round: piece, edge, offsets (F, M) px along normals (F, 2), weights, strength.

    ``worth`` (F, M), 0 to 1, is how well each sample shows its edge.
    """

    row: NDArray[np.int_]
    edge: NDArray[np.int_]
    normal: Floats
    offset: Floats
    weight: Floats
    worth: Floats
    held: Floats
    hold: Floats
    strength: Floats
    clarity: Floats


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
    row = start.copy()
    n = len(row)
    h = solid.height
    covariance: Floats = np.zeros((n, solid.size, solid.size))
    known = start if prior is None else prior
    for reach in reach_px:
        middle = 0.5 * row[:, h]
        affine = affine_at(camera, camera.project_at(row[:, :2], middle), middle)
        px_per_mm = np.sqrt(np.abs(np.linalg.det(affine.a)))
        view = solid.view(row, camera, px_per_mm, np.linalg.norm(affine.b, axis=-1))
        at_seam = _at_seams(camera.project(solid.points(row, np.zeros(view.visible.shape))), seams)
        view = _without_hidden(view, at_seam)
        merged = view.visible & (view.gap_px < MERGED_PX)
        # A side too narrow to show two edges shows one: taken at half height, and less certain.
        level = np.where(merged & (view.kind == FOOT), 0.5, 0.0)
        usable = view.visible & ~(merged & (view.kind == TOP))
        points = camera.project(solid.points(row, level))
        found = _find_edges(pixels, points, usable, view, at_seam, px_per_mm, outlines, reach)
        slope = solid.slopes(row, affine, level)[found.row, found.edge]
        across = np.einsum("emip,ei->emp", slope, found.normal)
        weighted = across * found.weight[..., None]
        normal = np.matmul(weighted.swapaxes(1, 2), across)
        right = np.matmul(weighted.swapaxes(1, 2), found.offset[..., None])[..., 0]
        whole = across.mean(axis=1)
        normal += whole[:, :, None] * whole[:, None, :] * found.hold[:, None, None]
        right += whole * (found.hold * found.held)[:, None]
        hessian = np.zeros((n, solid.size, solid.size))
        gradient = np.zeros((n, solid.size))
        np.add.at(hessian, found.row, normal)
        np.add.at(gradient, found.row, right)
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
    total, count = np.zeros(n), np.zeros(n)
    np.add.at(total, found.row, (found.weight * found.offset**2).sum(-1))
    np.add.at(count, found.row, found.weight.sum(-1))
    rms = np.sqrt(total / np.maximum(count, 1e-9))
    return EdgeFit(row, covariance, view, support, clarity, rms)


def edge_turns(
    pixels: NDArray[np.uint8], camera: Camera, solid: Solid, fit: EdgeFit, outlines: Floats, seams: Floats
) -> tuple[Floats, Floats]:
    """How each visible edge turns against its fitted solid's, (N, E) px, and the standard uncertainty.

    By how much more it lies outside at its end than at its beginning. Each round looks along the line as the
    round before has turned it. Where an edge was not found the uncertainty is infinite.
    """
    if not len(fit.rows):
        return np.zeros((0, len(fit.view.kind))), np.zeros((0, len(fit.view.kind)))
    affine = affine_at(camera, camera.project_at(fit.rows[:, :2], fit.rows[:, solid.height]))
    px_per_mm = np.sqrt(np.abs(np.linalg.det(affine.a)))
    view = fit.view
    straight = camera.project(solid.points(fit.rows, np.zeros(view.visible.shape)))
    at_seam = _at_seams(straight, seams)
    usable = view.visible & (view.gap_px >= MERGED_PX) & (view.kind != UPRIGHT)
    turn, turn_u = np.zeros(view.visible.shape), np.full(view.visible.shape, np.inf)
    t = fractions(straight.shape[2]) - 0.5
    normal = np.zeros((*view.visible.shape, 2))
    for _ in range(TURN_ROUNDS):
        points = straight + (turn[..., None] * t)[..., None] * normal[..., None, :]
        found = _find_edges(
            pixels, points, usable, view, at_seam, px_per_mm, outlines, LAST_PX[-1], follow=TURN_FOLLOW_PX
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
    tangent = points[..., -1, :] - points[..., 0, :]
    normal = np.stack([-tangent[..., 1], tangent[..., 0]], -1)
    normal = normal / np.maximum(np.linalg.norm(normal, axis=-1, keepdims=True), 1e-9)
    middle = points.mean(axis=(1, 2))[:, None]
    normal = normal * np.sign(((points.mean(axis=2) - middle) * normal).sum(-1))[..., None]
    return np.asarray(facing(normal, seams), bool)


def _without_hidden(view: View, at_seam: Bools) -> View:
    """What is left of a view where neighbours touch: no foot there, and the top's edge is the last."""
    visible = view.visible & ~(at_seam & (view.kind == FOOT))
    inner = view.inner & ~(at_seam & (view.kind == TOP))
    return View(visible, inner, np.where(at_seam, np.inf, view.gap_px), view.kind)


def _find_edges(
    pixels: NDArray[np.uint8],
    points: Floats,
    usable: Bools,
    view: View,
    at_seam: Bools,
    px_per_mm: Floats,
    outlines: Floats,
    reach: float,
    follow: float = FOLLOW_PX,
) -> _Found:
    """Look across each predicted edge for the edge in the photo."""
    s = (np.arange(-HALF, HALF + 1) * STEP_PX).astype(np.float32)
    tangent = points[..., -1, :] - points[..., 0, :]
    span = np.linalg.norm(tangent, axis=-1)
    row, edge = np.nonzero(usable & (span > 2.0))
    place = points[row, edge]
    normal = np.stack([-tangent[..., 1], tangent[..., 0]], -1)[row, edge] / span[row, edge][:, None]
    centre = points.mean(axis=(1, 2))
    flip = np.where(((place.mean(axis=1) - centre[row]) * normal).sum(-1) < 0.0, -1.0, 1.0)
    normal = normal * flip[:, None]  # outwards
    profile = profiles(pixels, place, np.repeat(normal[:, None], place.shape[1], axis=1), HALF)
    # Colour tells edges apart; where the right one lies exactly, light says best.
    if reach <= max(LAST_PX):
        profile = profile @ _LIGHT_FIRST
    slope = slopes(profile)
    # An outer edge is looked for where the outline has it.
    outer = ~view.inner[row, edge]
    held, met = _held(outlines[row], place, normal, reach)
    held = np.where(outer, held, 0.0)
    trust = np.where(outer & met, 1.0 / (1.0 + (held / (2.0 * reach)) ** 2), 0.0)
    middle = np.clip(held, -reach, reach)[:, None].astype(np.float32)
    # An edge may be looked for no further than half-way to its neighbour.
    merged = view.visible & (view.gap_px < MERGED_PX)
    gap = np.where(merged, np.inf, view.gap_px)[row, edge]
    limit = np.clip(0.5 * gap, 1.0, 2.0 * reach + 1.0)[:, None].astype(np.float32)
    window = np.exp(-0.5 * ((s - middle) / reach) ** 2) * (np.abs(s - middle) <= limit)
    mean_slope = slope.mean(axis=1)
    change = np.sqrt((mean_slope**2).sum(axis=-1))
    foot = np.nonzero(view.kind[edge] == FOOT)[0]
    leave, enter = _unmix(profile[foot].mean(axis=1), s, middle[foot])
    apart = np.linalg.norm(leave, axis=-1) > 0.0
    foot, leave, enter = foot[apart], leave[apart], enter[apart]
    seen = change.copy()
    seen[foot] = _both(mean_slope[foot], leave, enter)
    # Beyond a seam lies a dark gap, then the neighbour: the piece's own edge is where the light falls.
    seam = np.nonzero(at_seam[row, edge] & (view.kind[edge] == TOP))[0]
    seen[seam] = _falling(mean_slope[seam])
    at, _ = peak(seen * window)
    k = np.clip(np.round(at / STEP_PX).astype(int) + HALF, 0, 2 * HALF)
    colour = mean_slope[np.arange(len(k)), k]
    strength = np.sqrt((colour**2).sum(axis=-1))
    colour = colour / np.maximum(strength, 1e-9)[:, None]
    clarity = strength / (np.median(change, axis=-1) + 1e-3)
    signal = np.matmul(slope, colour[:, None, :, None])[..., 0]
    signal[foot] = _both(slope[foot], leave[:, None], enter[:, None])
    signal[seam] = _falling(slope[seam])
    near = np.exp(-0.5 * ((s - at[:, None].astype(np.float32)) / follow) ** 2)[:, None]
    offset, height = peak(np.maximum(signal, 0.0) * near)
    # How clearly each sample stands out of the grain around it.
    grain = 0.5 * np.median(np.sqrt((slope[:, ::3, ::2] ** 2).sum(axis=-1)), axis=(1, 2)) + 1e-3
    clear = height / (height + grain[:, None])
    kind = view.kind[edge]
    line = np.where(kind == TOP, TOP_MM, FOOT_MM) * px_per_mm[row]
    narrow = merged[row, edge] & (kind == FOOT)
    line = np.hypot(line, np.where(narrow, 0.3 * view.gap_px[row, edge], 0.0))
    stray = offset - np.median(offset, axis=1, keepdims=True)
    sure = np.clip((clarity - 1.0) / 2.0, 0.03, 1.0)[:, None]
    worth = sure * np.maximum(clear, 0.05) ** 2 / (1.0 + (stray / (STRAY * follow)) ** 2)
    weight = worth / (SAMPLE_PX**2 * place.shape[1] / SAMPLES + place.shape[1] * line**2)[:, None]
    hold = trust / (OUTLINE_PX**2 + line**2)
    return _Found(row, edge, normal, offset, weight, worth, held, hold, strength, clarity)


def _falling(slope: Floats | NDArray[np.float32]) -> Floats:
    """How steeply the light falls, of slopes (..., 3): (...)."""
    return np.asarray(np.maximum(-(slope @ _LUMINANCE)[..., 0], 0.0), float)


def _held(outlines: Floats, place: Floats, normal: Floats, reach: float) -> tuple[Floats, Bools]:
    """How far out the outlines (F, K, 2) run past straight edges (F, M, 2), px, and whether they do at all.

    The middle one of the outline's points beside the edge counts, so that a corner or a speck does not.
    """
    first, last = place[:, 0], place[:, -1]
    along = last - first
    share = np.matmul(outlines - first[:, None], along[..., None])[..., 0] / (along**2).sum(-1)[:, None]
    # A bent edge leaves its chord by as much as its middle does.
    line = first[:, None] + np.clip(share, 0.0, 1.0)[..., None] * along[:, None]
    middle = place[:, place.shape[1] // 2]
    sag = ((middle - 0.5 * (first + last)) * normal).sum(-1)[:, None] * 4.0 * share * (1.0 - share)
    off = ((outlines - line) * normal[:, None]).sum(-1) - sag
    beside = (share > 0.0) & (share < 1.0) & (np.abs(off) < 2.0 * reach + 3.0)
    count = beside.sum(axis=1)
    ordered = np.sort(np.where(beside, off, np.inf), axis=1)
    value = np.take_along_axis(ordered, np.maximum(count // 2, 0)[:, None], 1)[:, 0]
    return np.where(count > 1, value, 0.0), count > 1


def _unmix(
    profile: NDArray[np.float32], s: NDArray[np.float32], middle: NDArray[np.float32]
) -> tuple[Floats, Floats]:
    """Colour directions (F, 3) along which the piece's own light and the board's alone are told apart.

    A shade on the piece only scales the piece's colour, a shadow on the board only the board's; where both
    change at once, there is the edge. ``profile`` (F, S, 3) runs outwards over ``s`` (S,) px. Zero where
    the two colours are too alike.
    """
    d = s - middle
    inside = (d < -1.4) & (d > -4.6)
    outside = (d > 1.4) & (d < 4.6)
    own = np.einsum("fs,fsc->fc", inside / inside.sum(axis=1, keepdims=True), profile)
    board = np.einsum("fs,fsc->fc", outside / outside.sum(axis=1, keepdims=True), profile)
    oo, bb, ob = (own * own).sum(-1), (board * board).sum(-1), (own * board).sum(-1)
    size = np.maximum(oo * bb, 1e-12)
    sine2 = 1.0 - ob * ob / size
    apart = (sine2 > APART**2) & (np.minimum(oo, bb) > 1e-4)
    scale = np.where(apart, 1.0 / np.maximum(sine2 * size, 1e-12), 0.0)[:, None]
    leave = -(own * bb[:, None] - board * ob[:, None]) * scale
    enter = (board * oo[:, None] - own * ob[:, None]) * scale
    return leave.astype(np.float32), enter.astype(np.float32)


def _both(slope: Floats, leave: Floats, enter: Floats) -> Floats:
    """How strongly the piece's light goes and the board's comes at once."""
    goes = np.matmul(slope, leave[..., None])[..., 0]
    comes = np.matmul(slope, enter[..., None])[..., 0]
    return np.asarray(np.sqrt(np.maximum(goes, 0.0) * np.maximum(comes, 0.0)))
