"""Dice, sticks and tiles: boxes fitted to outlines and edges, and rows of them parted."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from cutcheck.budget import (
    CAUSES,
    ROUGHNESS_MM,
    TURN_SHARE,
    UNEVEN_SHARE,
    camera_part,
    height_part,
)
from cutcheck.camera import Camera, Floats
from cutcheck.classify import Outlined
from cutcheck.edgefit import EdgeFit, edge_turns, fit_edges
from cutcheck.explain import Evidence, rivals, shown, unusual, weigh
from cutcheck.heights import HEIGHTS, candidates, scan_heights, usual_candidates
from cutcheck.piece import edges_and_height, make_piece
from cutcheck.records import Piece
from cutcheck.seams import rows_of_pieces
from cutcheck.second_look import look_again
from cutcheck.shape_figures import shape_figures
from cutcheck.silhouette import affine_at
from cutcheck.solids import (
    BOW,
    HEIGHT,
    LENGTH,
    MERGED_PX,
    WIDTH,
    Bools,
    Box,
    box_corners,
    box_points,
)
from cutcheck.tries import middles, settled, tried

INNER_CLEAR, FOOT_CLEAR = 2.0, 1.2  # how clear the edges of a side face must be to show the height
MISS_PX, MISS_SHARE = 2.0, 0.04  # how far a box may miss its outline, px and in parts of its breadth
USUAL_SPREADS, USUAL_LEAST = 3.0, 0.4  # what is a box though its outline is none: its size, the edges shown
ROUGH_TRAY, NEARLY = 0.45, 0.4  # share of pieces that are no boxes; how like one the rest must then be
SHOWN = 0.6  # the share of a box's edges that usually stands out
USUAL_RMS_PX, USUAL_SHOWN = 0.35, 0.75  # edges scatter no more and stand out no less on a good piece
PARTED_PX = (1.5, 1.0, 1.0)  # how far each round looks for an edge of a piece of a row
SEAM_SHARE = 0.05  # how well seams place the ends of a piece, in parts of its width
NARROW_PX = 2.0 * MERGED_PX  # a side face seen so narrow
NARROW_SHARE = 0.2  # leaves open so much, in parts of it
STRAIGHT = 1e-6  # variance, mm2, of the bow of a box that is held straight
KEEP = 4  # heights that go on to the fit

Made = list[tuple[int, Piece]]


def measure_boxes(
    pixels: NDArray[np.uint8], camera: Camera, shaped: Outlined, index: NDArray[np.int_], scale_u: float
) -> Made:
    """The outlines ``index`` measured as boxes: pieces, each with the outline it came from.

    An outline that no box explains gives none, unless it turns out to be a row of boxes.
    """
    fitted = fit_boxes(pixels, camera, shaped, index)
    unlike = _unlike(camera, fitted[0], shaped, index)
    # Among rough chunks, what is nearly a box is more likely one more chunk.
    rough_tray = bool(np.mean(unlike > 1.0) > ROUGH_TRAY)
    folded = np.isfinite(shaped.bow[index]) & (shaped.kind[index] != "box")
    rows = rows_of_pieces(pixels, camera, fitted[0].rows, folded=folded, only_large=rough_tray)
    single = np.array([len(row) == 1 for row in rows])
    tray = np.concatenate(rows)
    if not rough_tray:
        usual = _one_more(fitted[0], tray)
        fitted = look_again(pixels, camera, shaped, index, fitted, single & ~usual, single & usual)
        unlike = _unlike(camera, fitted[0], shaped, index)
    fit, rival = fitted
    explained = unlike < NEARLY if rough_tray else (unlike < 1.0) | _one_more(fit, tray)
    plain = single & explained
    alone = fit.take(np.nonzero(plain)[0])
    outlines = shaped.outlines[index[plain]]
    turns = edge_turns(pixels, camera, Box(), alone, outlines, shaped.seams[index[plain]])
    made = _pieces(camera, alone, turns, rival[plain], index[plain], outlines, scale_u)
    if not single.all():
        source = np.concatenate([np.full(len(row), i) for i, row in enumerate(rows) if len(row) > 1])
        start = np.concatenate([row for row in rows if len(row) > 1])
        outlines = shaped.outlines[index[source]]
        seams = _row_seams(camera, start, source)
        # Where pieces touch, edges are many and close: what the seams say of the sides holds them.
        parted = fit_edges(pixels, camera, Box(known=SEAM_SHARE), start, outlines, seams, PARTED_PX)
        turns = edge_turns(pixels, camera, Box(), parted, outlines, seams)
        hulls = [_hull(corners) for corners in camera.project(box_corners(parted.rows))]
        made += _pieces(camera, parted, turns, rival[source], index[source], hulls, scale_u, touching=True)
    return made


def _unlike(camera: Camera, fit: EdgeFit, shaped: Outlined, index: NDArray[np.int_]) -> Floats:
    """How little the pieces are like the boxes fitted to them, (N,): above 1, they are none.

    A box meets its outline nearly all round, and its edges are in the photo.
    """
    straight = fit.rows.copy()
    straight[:, BOW] = 0.0
    reach, n = shaped.reach[index], shaped.directions
    miss = np.abs((camera.project(box_corners(straight)) @ n.T).max(axis=1) - reach)
    breadth_px = (reach + np.roll(reach, reach.shape[1] // 2, axis=1)).min(axis=1)
    # Shadows and reflections lie at the foot: there an outline that goes too far says little.
    up = affine_at(camera, camera.project_at(fit.rows[:, :2], fit.rows[:, HEIGHT]), fit.rows[:, HEIGHT]).b
    miss = np.where(up @ n.T >= -0.3 * np.linalg.norm(up, axis=1, keepdims=True), miss, np.nan)
    most = np.nanpercentile(miss, 80, axis=1) / (MISS_PX + MISS_SHARE * breadth_px)
    edges = shown(fit)
    slender = np.isfinite(shaped.bow[index]) & (shaped.kind[index] == "box")
    return np.asarray(np.where(slender, 0.0, most / (1.0 + (edges - SHOWN))))


def _one_more(fit: EdgeFit, tray: Floats) -> Bools:
    """Which fits are boxes like the ``tray``'s (M, 9), with edges that stand out, (N,).

    Shadows, reflections and neighbours join outlines; they make no box of the usual size with its edges.
    """
    spreads = unusual(fit.rows, tray)
    return np.asarray((spreads < USUAL_SPREADS**2).all(axis=1) & (shown(fit) > USUAL_LEAST), bool)


def _doubt(fit: EdgeFit, touching: bool) -> Floats:
    """By how much a fit is less sure than its edges say: they scatter, or few stand out, (N,)."""
    scatter = np.maximum(1.0, fit.rms / USUAL_RMS_PX)
    return np.asarray(scatter * (1.0 + 2.0 * np.maximum(0.0, USUAL_SHOWN - shown(fit))) * (1.0 + touching))


def _slivers(camera: Camera, fit: EdgeFit) -> Floats:
    """What narrow side faces leave open of length and width, (N, 2) mm.

    Where two edges lie a few pixels apart, either may have been taken for the other.
    """
    gap = fit.view.gap_px[:, :4]
    narrow = fit.view.inner[:, :4] & (gap < NARROW_PX)
    return NARROW_SHARE * _of_both_ends(camera, fit, np.where(narrow, gap, 0.0))


def _out_of_parallel(camera: Camera, fit: EdgeFit, turns: tuple[Floats, Floats]) -> Floats:
    """By how much the ends of the length and of the width turn against the fitted box, (N, 2) mm."""
    return _of_both_ends(camera, fit, np.where(np.isfinite(turns[1]), turns[0], 0.0)[:, :4])


def _of_both_ends(camera: Camera, fit: EdgeFit, px: Floats) -> Floats:
    """Figures (N, 4) px of the top's edges, of both ends of length and width together: (N, 2) mm."""
    height = fit.rows[:, HEIGHT]
    a = affine_at(camera, camera.project_at(fit.rows[:, :2], height), height).a
    mm = px / np.sqrt(np.abs(np.linalg.det(a)))[:, None]
    # Sides 1 and 3 end the length, 0 and 2 the width.
    return np.asarray(np.hypot(mm[:, [1, 0]], mm[:, [3, 2]]), float)


def fit_boxes(
    pixels: NDArray[np.uint8], camera: Camera, shaped: Outlined, index: NDArray[np.int_]
) -> tuple[EdgeFit, Floats]:
    """Boxes fitted to the outlines ``index`` (N,): of several, the one that explains most.

    With it what the others leave open: standard uncertainties (N, 3) mm of length, width and height.
    """
    outlines, reach, n = shaped.outlines[index], shaped.reach[index], shaped.directions
    affine = affine_at(camera, middles(outlines))
    size = np.sqrt(np.abs(np.linalg.det(affine.a)))
    bow = np.nan_to_num(shaped.bow[index])
    breadth = shaped.breadth[index]
    # Heights close enough that the inner edge moves by about a pixel from one to the next.
    steps = int(np.clip(0.6 * np.median(breadth * size), 16, HEIGHTS))
    scanned = scan_heights(
        pixels,
        camera,
        affine,
        n,
        reach,
        shaped.theta[index],
        breadth,
        bow,
        shaped.seams[index],
        steps=steps,
    )
    start = candidates(*scanned, size, KEEP)

    rows = np.arange(len(index))
    first = tried(pixels, camera, shaped, index, start)
    chosen = first.boxes[np.argmax(weigh(first), axis=0), rows]
    more = usual_candidates(affine, n, reach, shaped.theta[index], bow, shaped.seams[index], chosen)
    second = tried(pixels, camera, shaped, index, more)
    both = Evidence(*(np.concatenate(pair) for pair in zip(first, second, strict=True)))
    chance = weigh(both)
    best = np.argmax(chance, axis=0)
    chosen = both.boxes[best, rows]
    fit = settled(pixels, camera, shaped, index, chosen, np.concatenate([start, more])[best, rows])
    return fit, rivals(chance, both.boxes, chosen)


def _row_seams(camera: Camera, boxes: Floats, source: NDArray[np.int_]) -> Floats:
    """Outward unit normals (N, 2, 2) px of the ends where the boxes of a row touch, nan at its outer ends."""
    seams = np.full((len(boxes), 2, 2), np.nan)
    place = camera.project_at(boxes[:, :2], boxes[:, HEIGHT])
    for i in range(len(boxes) - 1):
        if source[i] == source[i + 1]:
            along = (place[i + 1] - place[i]) / max(float(np.linalg.norm(place[i + 1] - place[i])), 1e-9)
            seams[i, 1], seams[i + 1, 0] = along, -along
    return seams


def _hull(points: Floats) -> Floats:
    return np.asarray(cv2.convexHull(points.astype(np.float32))[:, 0], float)


def _pieces(
    camera: Camera,
    fit: EdgeFit,
    turns: tuple[Floats, Floats],
    rival: Floats,
    source: NDArray[np.int_],
    outlines: Floats | list[Floats],
    scale_u: float,
    *,
    touching: bool = False,
) -> Made:
    """Fitted boxes (N, 9) as pieces with their uncertainty budgets."""
    box = fit.rows
    count = len(box)
    if not count:
        return []
    mid = np.array([[-0.5, 0.5, 0.0, 0.0], [0.0, 0.0, -0.5, 0.5]])
    ends = camera.project(box_points(box[:, None], mid[0], mid[1], np.ones(4))).reshape(count, 2, 2, 2)
    zero, one = np.zeros(count), np.ones(count)
    foot = camera.project(box_points(box, zero, zero, zero))
    top = camera.project(box_points(box, zero, zero, one))
    value = box[:, [LENGTH, WIDTH, HEIGHT]]
    parts = np.zeros((count, 3, len(CAUSES)))
    edges_and_height(fit.covariance, (LENGTH, WIDTH), HEIGHT, parts)
    parts[:, :2, :2] *= _doubt(fit, touching)[:, None, None]
    parts[:, :2, 2] = camera_part(camera, ends, np.repeat(box[:, HEIGHT, None], 2, axis=1))
    parts[:, 2, 2] = height_part(camera, foot, top, box[:, HEIGHT])
    parts[:, :, 3] = scale_u * value
    parts[:, :, 4] = np.hypot(ROUGHNESS_MM, UNEVEN_SHARE * value)
    parts[:, :2, 4] = np.hypot(parts[:, :2, 4], TURN_SHARE * _out_of_parallel(camera, fit, turns))
    parts[:, :, 5] = 0.0 if touching else rival
    parts[:, :2, 5] = np.hypot(parts[:, :2, 5], _slivers(camera, fit))
    # A height is seen where both edges of a side face stand out.
    inner, foot = fit.clarity[:, 0:4], fit.clarity[:, 4:8]
    shown = fit.view.inner[:, 0:4] & fit.view.visible[:, 4:8] & (inner > INNER_CLEAR) & (foot > FOOT_CLEAR)
    side_px = np.where(shown & np.isfinite(fit.view.gap_px[:, 4:8]), fit.view.gap_px[:, 4:8], 0.0).max(axis=1)
    rims = camera.project(box_points(box[:, None], *_rim()))
    figures = shape_figures(camera, fit, turns, fit.covariance[:, BOW, BOW] > STRAIGHT)
    made = []
    for i in range(count):
        piece = make_piece(
            "box", value[i], parts[i], top[i], outlines[i], rims[i], float(side_px[i]), touching=touching
        )
        made.append((int(source[i]), replace(piece, figures=figures[i])))
    return made


def _rim() -> tuple[Floats, Floats, Floats]:
    """Body coordinates once round a box's top face, close enough to follow a bow."""
    run = np.linspace(-0.5, 0.5, 9)
    u = np.concatenate([run, run[::-1]])
    v = np.repeat([-0.5, 0.5], 9)
    return u, v, np.ones_like(u)
