"""Which pixels are pieces: regions that differ from the surface, each as far as its strongest edges reach."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from cutcheck.surface import Bytes, Floats32, Surface

SURE = 5.0  # standard deviations of the surface's texture at which a pixel may start a piece
MAYBE = 2.5  # at which it may belong to a faint one, whose contrast stays under STRONG
STRONG = 15.0
NEARLY, NEARLY_FAINT = 0.6, 0.8  # of the strongest edges that an outline could run along
SHARES = (0.25, 0.35, 0.45, 0.55, 0.7)  # of its best contrast, where a piece's outline may lie
CLEARER = 1.5  # times the 95 % quantile of the surface's own edges: what an outline must reach

Labels = NDArray[np.int32]


def disc(radius: float) -> Bytes:
    """A round structuring element, ``radius`` px."""
    size = 2 * max(1, round(radius)) + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size)), np.uint8)


def nonzero(mask: Bytes) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Rows and columns where ``mask`` (H, W) uint8 is not 0; several times faster than numpy's."""
    found = cv2.findNonZero(mask)
    if found is None:
        return np.zeros(0, np.intp), np.zeros(0, np.intp)
    places = found.reshape(-1, 2)
    return places[:, 1].astype(np.intp), places[:, 0].astype(np.intp)


def label_pieces(small: Bytes, surface: Surface, inside: Bytes, board: Bytes, least_px: float) -> Labels:
    """Labels (H, W) int32 of the regions that are piece (1, 2, ...; 0 none; -1 the line between).

    ``small`` (H, W, 3) uint8 working picture, ``inside`` where to look, ``board`` where the board is (both
    (H, W) uint8), ``least_px`` the smallest area.
    """
    soft = cv2.blur(surface.contrast, (3, 3)) * board
    # The largest step of a channel within 3 x 3 px, smoothed.
    steps = cv2.morphologyEx(small, cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8))
    largest = cv2.max(cv2.max(steps[..., 0], steps[..., 1]), steps[..., 2])
    edges = np.asarray(cv2.blur(largest, (3, 3)), np.uint8)
    near = cv2.dilate((soft > SURE).astype(np.uint8), np.ones((9, 9), np.uint8))
    free = (surface.own > 0) & (near == 0)
    texture = float(np.quantile(edges[free], 0.95)) if free.any() else 0.0
    rough, core, typical = _best_levels(soft, edges, least_px, CLEARER * texture)
    rest = _other_colours(soft, surface.light, edges, rough, 0.5 * typical, least_px)
    dark = _dark_ones(surface, edges, board & inside, rough, 0.5 * typical, CLEARER * texture, least_px)
    rough |= dark
    core |= dark
    around, beside = (np.asarray(cv2.dilate(mask, disc(2)), np.uint8) for mask in (rough, rest))
    joined = rough | rest | (around & beside)
    return _to_edges(small, joined, core | rest, inside)


def board_mask(surface: Surface, card: Bytes, k: float) -> Bytes:
    """1 where the board is: its own surface with the reference (``card`` is 1 there) and whatever else lies
    within it filled in: what it encloses, and near its edge what is up to 30 mm across."""
    step = max(1, round(k))
    own = cv2.resize(surface.own | card, None, fx=1 / step, fy=1 / step, interpolation=cv2.INTER_AREA)
    own = cv2.morphologyEx(own, cv2.MORPH_OPEN, disc(1.0))
    reach = round(16.0 * k / step)
    own = cv2.copyMakeBorder(own, reach, reach, reach, reach, cv2.BORDER_REPLICATE)
    whole = cv2.morphologyEx(own, cv2.MORPH_CLOSE, disc(reach))[reach:-reach, reach:-reach]
    whole = _filled(np.ascontiguousarray(whole))
    size = (surface.own.shape[1], surface.own.shape[0])
    return np.asarray(cv2.resize(whole, size, interpolation=cv2.INTER_NEAREST), np.uint8)


def _filled(mask: Bytes) -> Bytes:
    """The mask with its holes filled: a large piece lies in the board's midst."""
    count, label = cv2.connectedComponents(1 - mask, connectivity=4)
    rim = np.zeros(count, bool)
    for edge in (label[0], label[-1], label[:, 0], label[:, -1]):
        rim[edge] = True
    return np.where(rim[label] & (mask == 0), 0, 1).astype(np.uint8)


def _best_levels(soft: Floats32, edges: Bytes, least: float, enough: float) -> tuple[Bytes, Bytes, float]:
    """Each region at a share of its best contrast at which its outline runs along strong edges.

    The lowest such share is taken, so that a shaded side is not left out for the sake of the top's sharper
    edge. Regions whose edges are nowhere stronger than ``enough`` are grain. Gives the regions, their cores,
    and the typical strength of the edges round them.
    """
    base, faint = _candidates(soft, least)
    count, root, stats, _ = cv2.connectedComponentsWithStats(base, connectivity=8)
    rows, cols = nonzero(base)
    value, strength = soft[rows, cols], edges[rows, cols]
    at = np.asarray(root[rows, cols], np.int32)
    peak = _top(at, value, count)
    peak[stats[:, 4] < least] = 0.0
    lowest_level = np.where(peak < STRONG, MAYBE, SURE)
    level = np.where(peak > 0, np.maximum(lowest_level, np.multiply.outer(SHARES, peak)), np.inf)
    along = np.zeros(level.shape)
    mask = np.zeros_like(base)
    for i in range(len(SHARES)):
        keep = value > level[i][at]
        mask[rows, cols] = keep
        rim = keep & (cv2.erode(mask, disc(1))[rows, cols] == 0)
        n = np.bincount(at[rim], minlength=count)
        mean = np.bincount(at[rim], strength[rim], minlength=count) / np.maximum(n, 1)
        along[i] = np.where(np.bincount(at[keep], minlength=count) >= least, mean, 0.0)
    best = along.max(axis=0)
    level[:, best < enough] = np.inf
    lowest = np.argmax(along >= np.where(peak < STRONG, NEARLY_FAINT, NEARLY) * best, axis=0)
    mask[rows, cols] = value > level[lowest, np.arange(count)][at]
    core = np.zeros_like(base)
    core[rows, cols] = value > np.maximum(level[lowest, np.arange(count)], 0.8 * peak)[at]
    # Where contrast is weak, JPEG's blocks leave holes and gaps.
    mask |= np.asarray(cv2.morphologyEx(mask & faint, cv2.MORPH_CLOSE, disc(2)), np.uint8)
    fair = (peak > 0) & (best > enough)
    return mask, core, _middle(best[fair], stats[fair, 4]) if fair.any() else 0.0


def _middle(value: NDArray[np.float64], weight: NDArray[np.int32]) -> float:
    """The median of ``value``, each counting ``weight`` times: by area, so specks don't outvote pieces."""
    order = np.argsort(value)
    run = np.cumsum(weight[order])
    return float(value[order][np.searchsorted(run, 0.5 * run[-1])])


def _candidates(soft: Floats32, least: float) -> tuple[Bytes, Bytes]:
    """Where a piece may be: what is SURE, and round what is sure but faint all that is MAYBE; and which is
    faint."""
    maybe = cv2.threshold(soft, MAYBE, 1, cv2.THRESH_BINARY)[1].astype(np.uint8)
    sure = cv2.threshold(soft, SURE, 1, cv2.THRESH_BINARY)[1].astype(np.uint8)
    count, root, _, _ = cv2.connectedComponentsWithStats(maybe, connectivity=8)
    rows, cols = nonzero(maybe)
    at = np.asarray(root[rows, cols], np.int32)
    top = _top(at, soft[rows, cols], count)
    enough = np.bincount(at, sure[rows, cols], minlength=count) >= 0.5 * least
    weak = (top < STRONG) & enough
    faint = np.zeros_like(maybe)
    faint[rows, cols] = weak[at]
    return sure | faint, faint


def _top(label: Labels, value: Floats32, count: int) -> NDArray[np.float64]:
    """The 95 % quantile of ``value``, at least 0, in each label 0..count-1 (0 where there is none)."""
    # One key of label and value: numbers above 0 are in the order of their bits. Two keys take far longer.
    key = (label.astype(np.uint64) << np.uint64(32)) | np.asarray(value, np.float32).view(np.uint32)
    ordered = (np.sort(key) & np.uint64(0xFFFFFFFF)).astype(np.uint32).view(np.float32)
    size = np.bincount(label, minlength=count)
    at = np.cumsum(size) - 1 - (0.05 * size).astype(int)
    out = np.zeros(count)
    some = size > 0
    out[some] = ordered[at[some]]
    return out


def _other_colours(
    soft: Floats32, light: Floats32, edges: Bytes, rough: Bytes, enough: float, least: float
) -> Bytes:
    """Regions left over that are parts of pieces in another colour, or pieces of another colour.

    Light that pieces throw back fades out, and shade keeps the surface's colour; a part of a piece ends at an
    edge and, if it is dark, differs twice as much.
    """
    dark = light < -0.3
    away = cv2.dilate(rough, disc(1)) == 0
    left = ((soft > SURE) & (~dark | (soft > 2.0 * SURE)) & away).astype(np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(left, connectivity=8)
    rim = left & (1 - cv2.erode(left, disc(1))) & (1 - cv2.dilate(rough, disc(3)))
    rows, cols = nonzero(rim)
    at = labels[rows, cols]
    n = np.bincount(at, minlength=count)
    mean = np.bincount(at, edges[rows, cols], minlength=count) / np.maximum(n, 1)
    good = (mean > enough) & (stats[:, 4] >= least) & (n >= 3)
    good[0] = False
    return np.asarray(good[labels], np.uint8)


def _dark_ones(
    surface: Surface, edges: Bytes, where: Bytes, rough: Bytes, enough: float, least_edge: float, least: float
) -> Bytes:
    """Pieces of the surface's own colour but darker: regions that no piece beside them can have shaded, with
    sharp edges all round."""
    if enough <= 0.0:
        return np.zeros_like(rough)
    light = cv2.blur(surface.light, (3, 3))
    dark = (light < -max(0.15, 3.0 * surface.noise)).astype(np.uint8) & where
    count, labels, stats, _ = cv2.connectedComponentsWithStats(dark, connectivity=8)
    rim = dark & (1 - np.asarray(cv2.erode(dark, disc(1)), np.uint8))
    rows, cols = nonzero(rim)
    at = labels[rows, cols]
    n = np.maximum(np.bincount(at, minlength=count), 1)
    mean = np.bincount(at, edges[rows, cols], minlength=count) / n
    sharp = np.bincount(at, edges[rows, cols] > max(least_edge, 0.5 * enough), minlength=count) / n
    good = (mean > enough) & (sharp > 0.85) & (stats[:, 4] >= least)
    beside = np.unique(labels[cv2.dilate(rough, disc(2)) > 0])
    good[beside] = False
    good[0] = False
    return np.asarray(good[labels], np.uint8)


def _to_edges(small: Bytes, rough: Bytes, core: Bytes, inside: Bytes) -> Labels:
    """The regions with their outlines moved to the strongest edge within two pixels (a watershed)."""
    label = np.asarray(cv2.connectedComponents(rough, connectivity=4)[1], np.int32)
    deep, shallow = (np.asarray(cv2.erode(rough, disc(r)), np.uint8) for r in (2, 1))
    inner = deep | (core & shallow)
    lost = _without(label, inner)
    inner = np.asarray(inner | (lost & rough), np.uint8)
    markers = np.where(inner > 0, label + 1, 0).astype(np.int32)
    markers[cv2.dilate(rough, disc(2)) == 0] = 1
    markers[inside == 0] = 1
    cv2.watershed(small, markers)
    # A region may have come apart at a strong edge within it.
    apart = np.asarray(cv2.connectedComponents((markers > 1).astype(np.uint8), connectivity=4)[1], np.int32)
    apart[markers == -1] = -1
    return apart


def _without(label: Labels, inner: Bytes) -> Bytes:
    """1 over the labels that have no pixel of ``inner``: thin ones, that would be lost."""
    has = np.zeros(int(label.max()) + 1, bool)
    has[label[inner > 0]] = True
    has[0] = True
    return np.asarray(~has[label], np.uint8)
