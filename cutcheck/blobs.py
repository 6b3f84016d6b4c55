"""Finding the pieces on the board: outlines in the photo, not yet measured.

The photo is worked on small, at a few pixels to the millimetre. What differs from the surface in colour, or
is lighter, is piece; what is only darker is shade. Outlines follow the strongest edges, are cut apart where
pieces plainly touch, and what is too small, too large or too weak beside the others is left out.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from cutcheck.camera import Camera, Floats
from cutcheck.errors import CutcheckError
from cutcheck.foreground import SURE, Labels, board_mask, disc, label_pieces, nonzero
from cutcheck.light import LINEAR
from cutcheck.photo import Photo
from cutcheck.side_by_side import split_lengthwise
from cutcheck.split import NECK, jagged, may_hold_several, split_outline
from cutcheck.surface import Bytes, Floats32, Surface, learn_surface, log_colour

PX_PER_MM = 2.5  # of the working picture: a die of 2 mm is 5 px across
FAINT = 10.0  # standard deviations of the surface's texture
DARK_PAPER = 0.03  # linear level of white paper: five stops under, a photo is too dark (house rule)
GLARE, GLARE_BOARD = 0.5, 0.9  # shares of the pieces and of the board that may be burnt out (house rule)
HANDLE_MM = 80.0  # so long and far wider than the pieces: a knife's handle (common practice, no source)
FINER_PX_PER_MM = 5.0  # of the picture in which small pieces are outlined
SMALL_MM = 7.0  # usual length (side faces included) under which they are small
LEAST_PX = 100  # of the working picture: with less there is nothing to search
FINE = 4  # outlines are traced on a grid so many times finer than the working picture


@dataclass(frozen=True)
class Blob:
    """One candidate piece.

    ``outline_px`` (N, 2) float, (x, y), closed, px of the upright photo. ``area_mm2`` and ``extent_mm``, the
    sides (long, short) of the smallest rectangle round it, are as if it lay flat on the board. ``colour``:
    mean linear BGR, 0 to 1. ``contrast``: median distance from the surface, in standard deviations of its
    texture.
    ``flags``: "cut-off" (runs out of the picture), "cluster" (probably several pieces), "touching" (cut from
    its neighbour), "faint".
    """

    outline_px: Floats
    area_mm2: float
    extent_mm: tuple[float, float]
    colour: tuple[float, float, float]
    contrast: float
    flags: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Found:
    """The blobs, and what was seen on the way: ``scale``, working px over photo px; ``foreground`` (H, W)
    float32 at working size, the probability of being piece; ``noise``, the spread of the surface's light
    (log units)."""

    blobs: list[Blob]
    scale: float
    foreground: Floats32
    noise: float
    warnings: tuple[str, ...] = ()


def find_blobs(
    photo: Photo,
    camera: Camera,
    regions_px: Sequence[Floats],
    greys: object = None,
    *,
    smallest_mm: float = 1.2,
    largest_mm: float = 130.0,
    area_px: Floats | None = None,
) -> Found:
    """The candidate pieces in ``photo``.

    ``regions_px``: outlines (N, 2) px of what is not to be searched (the reference cards). ``area_px``: the
    outline of the only place to look in (a sheet, the middle of a mat). ``greys`` is not needed: the surface
    itself is the reference for colour. Raises CutcheckError: ``too-dark``, ``too-bright``, ``no-pieces``.
    """
    high, wide = photo.pixels.shape[:2]
    mm_per_px = float(camera.mm_per_px(np.array([(wide - 1) / 2, (high - 1) / 2])))
    scale = min(1.0, PX_PER_MM * mm_per_px)
    small = shrink(photo.pixels, scale)
    k = scale / mm_per_px  # working px per mm
    card, inside, start = _places(small, regions_px, area_px, scale, k)
    _check_dark(small, card)
    if np.count_nonzero(inside) < LEAST_PX:
        raise CutcheckError("no-pieces")

    features = log_colour(small)
    surface = learn_surface(small, features, inside, start, k)
    board = board_mask(surface, card, k)
    labels = label_pieces(small, surface, inside, board, (smallest_mm * k) ** 2)
    traced = _trace_all(labels, small, surface, camera, scale)
    traced = _screen(traced, _strangers(labels, traced, board, surface, features, k), smallest_mm)
    finer = min(1.0, FINER_PX_PER_MM * mm_per_px)
    if traced and finer > scale and np.median([one.blob.extent_mm[0] for one in traced]) < SMALL_MM:
        traced = _finer(traced, labels, shrink(photo.pixels, finer), camera, finer)
    blobs = _cut_apart(traced, photo.pixels, 1.0 / mm_per_px, smallest_mm, camera)
    blobs = [blob for blob in blobs if blob.extent_mm[0] <= largest_mm]
    _check_glare(small, labels, [one.number for one in traced], board)
    if not blobs:
        raise CutcheckError("no-pieces")
    chance = np.asarray(1.0 - np.exp(-0.5 * np.square(surface.contrast / 3.0)), np.float32)
    return Found(blobs, scale, chance, surface.noise, _warnings(blobs))


def shrink(pixels: Bytes, scale: float) -> Bytes:
    """``pixels`` at ``scale`` (at most 1): halved by means while possible, the rest by interpolation."""
    size = (round(pixels.shape[1] * scale), round(pixels.shape[0] * scale))
    while pixels.shape[1] >= 2 * size[0]:
        half = (pixels.shape[1] // 2, pixels.shape[0] // 2)
        pixels = np.asarray(cv2.resize(pixels, half, interpolation=cv2.INTER_AREA), np.uint8)
    if pixels.shape[1] == size[0]:
        return pixels
    return np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_LINEAR), np.uint8)


def _places(
    small: Bytes, regions_px: Sequence[Floats], area_px: Floats | None, scale: float, k: float
) -> tuple[Bytes, Bytes, Bytes]:
    """(H, W) uint8 each: the reference cards, where to look, and where surface is sure to be."""

    def grid(outline: Floats, share: float = 1.0) -> NDArray[np.int32]:
        return np.round(((np.asarray(outline) + 0.5) * scale * share) - 0.5).astype(np.int32)

    high, wide = small.shape[:2]
    card = np.zeros((high, wide), np.uint8)
    near = np.zeros((high // 8 + 1, wide // 8 + 1), np.uint8)  # coarse: its reach is wide
    for region in regions_px:
        cv2.fillPoly(card, [grid(region)], 1)
        cv2.fillPoly(near, [grid(region, 0.125)], 1)
    inside = np.asarray(1 - cv2.dilate(card, disc(1.0 * k)), np.uint8)
    if area_px is not None:
        area = np.zeros_like(card)
        cv2.fillPoly(area, [grid(area_px)], 1)
        inside &= area
    elif near.any():
        size = (8 * near.shape[1], 8 * near.shape[0])
        ring = cv2.resize(cv2.dilate(near, disc(20.0 * k / 8)), size, interpolation=cv2.INTER_NEAREST)
        return card, inside, np.asarray(ring[:high, :wide], np.uint8)
    return card, inside, inside


def _check_dark(small: Bytes, card: Bytes) -> None:
    seen = small[::3, ::3][card[::3, ::3] > 0] if card.any() else small[::4, ::4]
    if float(np.quantile(LINEAR[seen[..., 1]], 0.9)) < DARK_PAPER:
        raise CutcheckError("too-dark")


def _check_glare(small: Bytes, labels: Labels, pieces: list[int], board: Bytes) -> None:
    burnt = cv2.inRange(small, (253, 253, 253), (255, 255, 255)) > 0
    is_piece = np.zeros(int(labels.max()) + 2, bool)  # the last stands for -1, the lines between
    is_piece[pieces] = True
    for what, where, most in (("pieces", is_piece[labels], GLARE), ("board", board > 0, GLARE_BOARD)):
        share = float(burnt[where].mean()) if where.any() else 0.0
        if share > most:
            raise CutcheckError("too-bright", share=share, what=what)


def _boxes(labels: Labels) -> Iterator[tuple[int, tuple[int, int, int, int]]]:
    """Each label with the box (x0, y0, x1, y1) round it, two pixels wider where there is room."""
    rows, cols = nonzero((labels > 0).astype(np.uint8))
    at = labels[rows, cols]
    count = int(labels.max()) + 1
    low, high = np.full((count, 2), 1 << 30), np.full((count, 2), -1)
    for i, values in enumerate((cols, rows)):
        np.minimum.at(low[:, i], at, values)
        np.maximum.at(high[:, i], at, values)
    limit = np.array([labels.shape[1], labels.shape[0]])
    low, high = np.maximum(low - 2, 0), np.minimum(high + 3, limit)
    for number in np.unique(at):
        (x0, y0), (x1, y1) = low[number], high[number]
        yield int(number), (int(x0), int(y0), int(x1), int(y1))


@dataclass(frozen=True)
class _Traced:
    """A blob, where its label is in the working picture, and whether it may hold several pieces."""

    blob: Blob
    number: int
    box: tuple[int, int, int, int]
    several: bool


def _trace_all(labels: Labels, small: Bytes, surface: Surface, camera: Camera, scale: float) -> list[_Traced]:
    """Every label of at least a few pixels as a blob."""
    high, wide = labels.shape
    kept, outlines = [], []
    for number, (x0, y0, x1, y1) in _boxes(labels):
        part = labels[y0:y1, x0:x1]
        own = (part == number).astype(np.uint8)
        outline = _outline(part, own)
        if outline is None:
            continue
        inside = own > 0
        contrast = float(np.median(surface.contrast[y0:y1, x0:x1][inside]))
        blue, green, red = LINEAR[small[y0:y1, x0:x1][inside]].mean(axis=0).tolist()
        out = x0 == 0 or y0 == 0 or x1 == wide or y1 == high
        several = may_hold_several(outline)
        kept.append((number, (x0, y0, x1, y1), contrast, (blue, green, red), out, several))
        outlines.append((outline + np.array([x0, y0]) + 0.5) / scale - 0.5)
    blobs = _measured(outlines, camera)
    traced = []
    for blob, (number, box, contrast, colour, out, several) in zip(blobs, kept, strict=True):
        flags = frozenset(["cut-off"] if out else [])
        full = replace(blob, contrast=contrast, colour=colour, flags=flags)
        traced.append(_Traced(full, number, box, several))
    return traced


def _finer(
    traced: list[_Traced], labels: Labels, picture: Bytes, camera: Camera, scale: float
) -> list[_Traced]:
    """The same blobs with their outlines moved to the edges of a larger ``picture``, at ``scale``."""
    kept = np.zeros(int(labels.max()) + 2, bool)  # the last stands for -1, the lines between
    kept[[one.number for one in traced]] = True
    own = kept[labels].astype(np.uint8)
    inner = cv2.erode(own, disc(1))
    size = (picture.shape[1], picture.shape[0])
    large, core, near = (
        np.asarray(cv2.resize(mask, size, interpolation=cv2.INTER_NEAREST))
        for mask in (labels, inner, cv2.dilate(own, disc(2)))
    )
    markers = np.where(core > 0, large + 1, 0).astype(np.int32)
    markers[near == 0] = 1
    cv2.watershed(picture, markers)
    ratio = np.array([picture.shape[1] / labels.shape[1], picture.shape[0] / labels.shape[0]])
    outlines = []
    for one in traced:
        x0, y0 = np.maximum(np.floor((np.array(one.box[:2]) - 2) * ratio).astype(int), 0)
        x1, y1 = np.ceil((np.array(one.box[2:]) + 2) * ratio).astype(int)
        part = np.where(markers[y0:y1, x0:x1] == -1, -1, markers[y0:y1, x0:x1] - 1).astype(np.int32)
        outline = _outline(part, (part == one.number).astype(np.uint8))
        found = None if outline is None else (outline + np.array([x0, y0]) + 0.5) / scale - 0.5
        outlines.append(one.blob.outline_px if found is None else found)
    done = []
    for one, new in zip(traced, _measured(outlines, camera), strict=True):
        old = one.blob
        blob = replace(new, colour=old.colour, contrast=old.contrast, flags=old.flags)
        done.append(replace(one, blob=blob))
    return done


def _outline(part: Labels, own: Bytes) -> Floats | None:
    """The outline (N, 2) px of ``own`` (h, w), along the middle of the line of -1 round it in ``part``."""
    level = own * np.uint8(255)
    level[(part == -1) & (cv2.dilate(own, disc(1)) > 0)] = 128
    soft = cv2.GaussianBlur(cv2.copyMakeBorder(level, 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0), (0, 0), 0.6)
    fine = cv2.resize(soft, None, fx=FINE, fy=FINE, interpolation=cv2.INTER_LINEAR)
    above = cv2.threshold(fine, 127, 1, cv2.THRESH_BINARY)[1]
    contours, _ = cv2.findContours(above, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    trace = max(contours, key=len).reshape(-1, 2) if contours else np.zeros((0, 2))
    return (trace + 0.5) / FINE - 1.5 if len(trace) >= 3 * FINE else None


def _measured(outlines: list[Floats], camera: Camera) -> list[Blob]:
    """Blobs of these outlines (px), with their area and extent on the board; the rest is still empty."""
    if not outlines:
        return []
    mm = camera.to_height(np.concatenate(outlines), 0.0).astype(np.float32)
    done = []
    ends = np.cumsum([len(outline) for outline in outlines])[:-1]
    for outline, place in zip(outlines, np.split(mm, ends), strict=True):
        short, long = (float(side) for side in sorted(cv2.minAreaRect(place)[1]))
        done.append(Blob(outline, float(cv2.contourArea(place)), (long, short), (0.0, 0.0, 0.0), 0.0))
    return done


def _strangers(
    labels: Labels, traced: list[_Traced], board: Bytes, surface: Surface, features: Floats32, k: float
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """For each blob: does it lie along the board's edge, and is it the end of something larger beyond it?"""
    reach = round(4.0 * k)
    edge = cv2.erode(
        board,
        np.ones((2 * reach + 1, 2 * reach + 1), np.uint8),
        borderType=cv2.BORDER_CONSTANT,
        borderValue=1,
    )
    rim, end = np.zeros(len(traced), bool), np.zeros(len(traced), bool)
    for i, one in enumerate(traced):
        x0, y0, x1, y1 = one.box
        own = labels[y0:y1, x0:x1] == one.number
        rim[i] = not (edge[y0:y1, x0:x1] > 0)[own].any()
        if board[y0:y1, x0:x1].all():
            continue
        m = 3 * reach
        wide = (slice(max(y0 - m, 0), y1 + m), slice(max(x0 - m, 0), x1 + m))
        near = cv2.dilate((labels[wide] == one.number).astype(np.uint8), disc(m / 2))
        beyond = (near > 0) & (board[wide] == 0) & (surface.contrast[wide] > SURE)
        if beyond.sum() < 20:
            continue
        its = np.median(features[y0:y1, x0:x1][own], axis=0)
        away = np.abs(np.median(features[wide][beyond], axis=0) - its)
        end[i] = bool(away[0] < 0.35 and away[1:].max() < 0.12)
    return rim, end


def _screen(
    traced: list[_Traced], strangers: tuple[NDArray[np.bool_], NDArray[np.bool_]], smallest_mm: float
) -> list[_Traced]:
    """Those without grain, crumbs, the board's own edge and large things beside it, judged against the clear
    ones among them."""
    blobs = [one.blob for one in traced]
    if not traced:
        return []
    rim, end = strangers
    contrast = np.array([blob.contrast for blob in blobs])
    area = np.array([blob.area_mm2 for blob in blobs])
    length, width = np.array([blob.extent_mm for blob in blobs]).T
    cut_off = np.array(["cut-off" in blob.flags for blob in blobs])
    crumb = (width < 0.8 * smallest_mm) | (area < 1.25 * smallest_mm**2)
    clear = ~end & ~crumb
    if clear.any():
        clear &= contrast >= 0.5 * np.quantile(contrast[clear], 0.9)
    if not clear.any():
        return []
    clear &= area > 0.15 * np.quantile(area[clear], 0.75)  # larger crumbs may outnumber the pieces
    usual_area, usual_width = np.median(area[clear]), np.median(width[clear])
    usual = np.median(contrast[clear])
    narrow = width < 0.5 * usual_width
    odd = (area < 0.3 * usual_area) | (area > 4.0 * usual_area) | narrow
    drop = end | crumb
    drop |= (contrast < 0.35 * usual) & odd
    drop |= (contrast < 0.6 * usual) & (area < 0.15 * usual_area)
    drop |= (width < 1.35 * smallest_mm) & (area < 0.2 * usual_area)
    drop |= rim & narrow
    drop |= (length > HANDLE_MM) & (width > 3.0 * usual_width)
    drop |= cut_off & (width > 2.2 * usual_width) & (area > 4.0 * usual_area)
    return [one for one, gone in zip(traced, drop, strict=True) if not gone]


def _cut_apart(
    traced: list[_Traced], pixels: Bytes, per_mm: float, smallest_mm: float, camera: Camera
) -> list[Blob]:
    """The blobs, those that plainly hold several pieces cut, those that probably do flagged.

    ``per_mm``: px of the photo to the mm.
    """
    done: list[Blob] = []
    for blob, several in ((one.blob, one.several) for one in traced):
        if blob.contrast < FAINT:
            blob = replace(blob, flags=blob.flags | {"faint"})
        # A faint outline is uneven: only a narrow neck in it means two pieces.
        neck = 0.5 * NECK if "faint" in blob.flags else NECK
        outline = blob.outline_px
        parts = split_outline(outline, (smallest_mm * per_mm) ** 2, neck=neck) if several else [outline]
        parts = [stick for part in parts for stick in split_lengthwise(pixels, part)]
        if len(parts) < 2:
            done.append(blob)
            continue
        flags = blob.flags | {"touching"}
        done += [
            replace(part, colour=blob.colour, contrast=blob.contrast, flags=flags)
            for part in _measured(parts, camera)
        ]
    single = np.median([blob.area_mm2 for blob in done]) if len(done) >= 5 else np.inf
    return [
        replace(blob, flags=blob.flags | {"cluster"})
        if jagged(blob.outline_px) or blob.area_mm2 > 1.7 * single
        else blob
        for blob in done
    ]


def _warnings(blobs: list[Blob]) -> tuple[str, ...]:
    faint = sum("faint" in blob.flags for blob in blobs)
    if faint > 0.2 * len(blobs):
        return (
            f"{faint} of {len(blobs)} pieces hardly stand out from the board: "
            "a board of another colour measures better.",
        )
    return ()
