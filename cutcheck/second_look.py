"""A second look at pieces whose outline misled the fit: is the tray's usual box near it after all?

Shadows, mirror images and boards of the piece's own colour spoil an outline, and with it every start that
comes from it. Where most of a tray are boxes of one size, such a box is laid over the few odd outlines in
many places and turns. It is a start only: the edges in the photo move it, and what was there before stays
unless the photo speaks for the new one.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cutcheck.camera import Camera, Floats
from cutcheck.classify import Outlined
from cutcheck.edgefit import EdgeFit
from cutcheck.explain import WITHOUT_OUTLINE, rivals, weigh
from cutcheck.outlines import area_and_perimeter
from cutcheck.profiles import edge_normals, sample
from cutcheck.solids import (
    HEIGHT,
    LENGTH,
    THETA,
    WIDTH,
    Bools,
    Box,
    X,
    Y,
    inner_edges,
    visible_sides,
)
from cutcheck.tries import FIRST_SAMPLES, middles, settled, tried

FEW, MOST = 5, 12  # boxes that make a tray; odd ones that are looked at again
ROOM = 1.6  # times the usual outline's area: a larger one holds more than one piece
REACH, PLACES = 0.4, 7  # how far from the outline's middle, in parts of the width, and how many steps
TURN_STEP = np.radians(6.0)
ACROSS_PX = 3.0  # to either hand of an edge: what lies there is compared
KEEP = 8  # starts that go on to the fit
SQUARE = 1.2  # length over width of what need not be laid both ways


def look_again(
    pixels: NDArray[np.uint8],
    camera: Camera,
    shaped: Outlined,
    index: NDArray[np.int_],
    fitted: tuple[EdgeFit, Floats],
    odd: Bools,
    usual: Bools,
) -> tuple[EdgeFit, Floats]:
    """``fitted`` boxes and what rivals leave open, as ``fit_boxes`` gives them, the ``odd`` (N,) anew.

    ``usual`` (N,) are those of the tray's usual size.
    """
    fit, rival = fitted
    if not odd.any() or np.count_nonzero(usual) < FEW:
        return fitted
    tray = fit.rows[usual]
    area = np.array([area_and_perimeter(outline)[0] for outline in shaped.outlines[index]])
    # Where pieces touch, the neighbour is as good a box.
    alone = np.isnan(shaped.bow[index]) & np.isnan(shaped.seams[index]).all(axis=(1, 2))
    odd = odd & alone & (area < ROOM * np.median(area[usual]))
    which = np.nonzero(odd)[0][:MOST]
    if not len(which):
        return fitted
    # The outline is what is doubted: it has no say in which box it is.
    laid = _laid(camera, shaped, index[which], tray)
    start = np.concatenate([_seen_best(pixels, camera, laid), fit.rows[which][None]])
    found = tried(pixels, camera, shaped, index[which], start)
    chance = weigh(found, WITHOUT_OUTLINE, tray)
    best = np.argmax(chance, axis=0)
    new = np.nonzero(best < len(start) - 1)[0]
    if not len(new):
        return fitted
    chosen = found.boxes[best, np.arange(len(which))]
    better = settled(pixels, camera, shaped, index[which[new]], chosen[new], start[best[new], new])
    order = np.arange(len(fit.rows))
    order[which[new]] = len(fit.rows) + np.arange(len(new))
    rival = rival.copy()
    rival[which[new]] = rivals(chance, found.boxes, chosen)[new]
    return EdgeFit.joined([fit, better]).take(order), rival


def _laid(camera: Camera, shaped: Outlined, index: NDArray[np.int_], tray: Floats) -> Floats:
    """The usual box of the ``tray`` (M, 9) laid over each of the outlines ``index`` (N,): (K, N, 9)."""
    plan = np.sort(tray[:, [LENGTH, WIDTH]], axis=1)
    width, length = np.median(plan, axis=0)
    height = float(np.median(tray[:, HEIGHT]))
    centre = camera.to_height(middles(shaped.outlines[index]), 0.5 * height)
    all_round = 0.5 * np.pi if length < SQUARE * width else np.pi
    turns = np.arange(0.0, all_round - 0.5 * TURN_STEP, TURN_STEP)
    steps = np.linspace(-REACH, REACH, PLACES) * width
    turn, dx, dy = (grid.ravel() for grid in np.meshgrid(turns, steps, steps, indexing="ij"))
    laid = np.zeros((len(turn), len(index), 9))
    laid[..., X], laid[..., Y] = centre[:, 0] + dx[:, None], centre[:, 1] + dy[:, None]
    laid[..., THETA] = turn[:, None]
    laid[..., LENGTH], laid[..., WIDTH], laid[..., HEIGHT] = length, width, height
    return laid


def _seen_best(pixels: NDArray[np.uint8], camera: Camera, laid: Floats) -> Floats:
    """Of boxes (S, N, 9) the ones whose edges the photo shows best: (KEEP, N, 9)."""
    box, rows = Box(samples=FIRST_SAMPLES), laid.reshape(-1, 9)
    points = camera.project(box.points(rows, np.zeros((len(rows), 12))))
    normal, _ = edge_normals(points)
    aside = ACROSS_PX * normal[..., None, :]
    step = np.sqrt(sample(pixels, points + aside)) - np.sqrt(sample(pixels, points - aside))
    # A straight edge has the same step all along.
    clear = np.linalg.norm(step.mean(axis=-2), axis=-1)
    visible, _ = inner_edges(visible_sides(rows, camera))
    seen = (np.where(visible, clear, 0.0).sum(axis=-1) / visible.sum(axis=-1)).reshape(laid.shape[:2])
    best = np.argsort(-seen, axis=0)[:KEEP]
    return np.asarray(np.take_along_axis(laid, best[..., None], axis=0))
