"""Finding the pieces on the board: outlines in the photo, not yet measured.

The photo is worked on small, at a few pixels to the millimetre. What differs from the surface in colour, or
is lighter, is piece; what is only darker is shadow unless a piece's own colour says otherwise.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from cutcheck.camera import Camera, Floats
from cutcheck.errors import CutcheckError
from cutcheck.foreground import board_mask, disc, label_pieces
from cutcheck.photo import Photo
from cutcheck.split import split_outline
from cutcheck.surface import Bytes, Floats32, learn_surface, log_colour

PX_PER_MM = 3.0

@dataclass(frozen=True)
class Blob:
    """One candidate. ``outline_px`` (N, 2) float, closed, full-size photo px; ``extent_mm`` (long, short) of
    the smallest rectangle round it on the board's plane; ``colour`` mean linear BGR, 0 to 1; ``contrast``
    median distance from the surface in standard deviations of its texture. ``flags`` are of "cut-off",
    "cluster", "faint"."""

    outline_px: Floats
    area_mm2: float
    extent_mm: tuple[float, float]
    colour: tuple[float, float, float]
    contrast: float
    flags: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Found:
    """The blobs and what was seen on the way. ``scale`` is the working size over the photo's; ``foreground``
    (H, W) float32 at working size, 0 to 1; ``noise`` the spread of the surface in light (log units)."""

    blobs: list[Blob]
    scale: float
    foreground: Floats32
    noise: float
    warnings: tuple[str, ...] = field(default=())


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
    outline of the only place to look in (a sheet, the middle of a mat). Raises CutcheckError: ``too-dark``,
    ``too-bright``, ``no-pieces``.
    """
    high, wide = photo.pixels.shape[:2]
    mm_per_px = float(camera.mm_per_px(np.array([(wide - 1) / 2, (high - 1) / 2])))
    scale = min(1.0, PX_PER_MM * mm_per_px)
    small = shrink(photo.pixels, scale)
    k = scale / mm_per_px  # working px per mm
    inside, start = _places(small.shape[:2], regions_px, area_px, scale, k)
    features = log_colour(small)
    surface = learn_surface(small, features, inside, start, k)
    board = board_mask(surface, k)
    labels, edges = label_pieces(small, surface, inside, board, (smallest_mm * k) ** 2)
    middle = cv2.erode(board, disc(4.0 * k), borderType=cv2.BORDER_CONSTANT, borderValue=1)
    blobs = _outlines(labels, surface.contrast, photo.pixels, camera, scale, k, smallest_mm, largest_mm, middle)
    if not blobs:
        raise CutcheckError("no-pieces")
    return Found(blobs, scale, surface.contrast, surface.noise)


def shrink(pixels: Bytes, scale: float) -> Bytes:
    """``pixels`` at ``scale`` (at most 1): halved by means while possible, the rest by interpolation."""
    size = (round(pixels.shape[1] * scale), round(pixels.shape[0] * scale))
    while pixels.shape[1] >= 2 * size[0]:
        half = (pixels.shape[1] // 2, pixels.shape[0] // 2)
        pixels = np.asarray(cv2.resize(pixels, half, interpolation=cv2.INTER_AREA), np.uint8)
    if pixels.shape[1] == size[0]:
        return pixels
    return np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_LINEAR), np.uint8)


def _places(shape, regions_px, area_px, scale, k):
    inside = np.ones(shape, np.uint8)
    def grid(outline: Floats) -> NDArray[np.int32]:
        return np.round((outline + 0.5) * scale - 0.5).astype(np.int32)
    if area_px is not None:
        inside[:] = 0
        cv2.fillPoly(inside, [grid(area_px)], 1)
    card = np.zeros(shape, np.uint8)
    for region in regions_px:
        cv2.fillPoly(card, [grid(np.asarray(region))], 1)
    near = cv2.dilate(card, disc(1.0 * k))
    inside &= 1 - near
    start = inside.copy()
    if card.any() and area_px is None:
        start &= cv2.dilate(card, disc(20.0 * k))
    return inside, start


def _measure(outline, camera, contrast, flags):
    mm = camera.to_height(outline, 0.0).astype(np.float32)
    a, b = cv2.minAreaRect(mm)[1]
    return Blob(outline, float(cv2.contourArea(mm)), (float(max(a, b)), float(min(a, b))), (0., 0., 0.), contrast, frozenset(flags))


def _outlines(labels, contrast, pixels, camera, scale, k, smallest_mm, largest_mm, middle):
    h, w = labels.shape
    blobs = []
    rim = []
    for i, (x, y, bw, bh) in _boxes(labels):
        x0, y0, x1, y1 = max(x - 2, 0), max(y - 2, 0), min(x + bw + 2, w), min(y + bh + 2, h)
        part = labels[y0:y1, x0:x1]
        own = (part == i).astype(np.uint8)
        line = (part == -1) & (cv2.dilate(own, disc(1)) > 0)
        m = own * np.uint8(255)
        m[line] = 128
        m = cv2.copyMakeBorder(m, 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0)
        big = cv2.resize(cv2.GaussianBlur(m, (0, 0), 0.6), None, fx=4, fy=4, interpolation=cv2.INTER_LINEAR)
        cs, _ = cv2.findContours((big > 127).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        if not cs:
            continue
        cc = max(cs, key=cv2.contourArea).reshape(-1, 2).astype(float)
        cc = (cc + 0.5) / 4 - 0.5 + np.array([x0 - 1, y0 - 1])
        full = (cc + 0.5) / scale - 0.5
        flags = set()
        if x <= 1 or y <= 1 or x + bw >= w-1 or y + bh >= h-1:
            flags.add("cut-off")
        strength = float(np.median(contrast[y0:y1, x0:x1][own > 0]))
        blobs.append(_measure(full, camera, strength, flags))
        rim.append(not (middle[y0:y1, x0:x1] & own).any())
    blobs = _screen(blobs, rim, smallest_mm)
    out = []
    for blob in blobs:
        parts = split_outline(blob.outline_px, pixels, k / scale, (smallest_mm * k / scale) ** 2)
        out += [blob] if len(parts) == 1 else [_measure(part, camera, blob.contrast, blob.flags) for part in parts]
    return [b for b in out if b.extent_mm[0] <= largest_mm]


def _screen(blobs, rim, smallest_mm):
    """The blobs without grain, crumbs, and the board's own edge, judged against the clear ones among them."""
    if not blobs:
        return []
    contrast = np.array([b.contrast for b in blobs])
    area = np.array([b.area_mm2 for b in blobs])
    width = np.array([b.extent_mm[1] for b in blobs])
    clear = contrast >= 0.5 * np.quantile(contrast, 0.9)
    typical_area, typical_width = np.median(area[clear]), np.median(width[clear])
    typical = np.median(contrast[clear])
    weak = contrast < 0.35 * typical
    small = (area < 0.15 * typical_area)
    odd = (area < 0.3 * typical_area) | (area > 4 * typical_area) | (width < 0.5 * typical_width)
    drop = (weak & odd) | (small & (contrast < 0.6 * typical)) | (np.array(rim) & (width < 0.5 * typical_width))
    drop |= (width < 0.7*smallest_mm) | (area < 0.6*smallest_mm**2)
    return [b for b, d in zip(blobs, drop, strict=True) if not d]


def _boxes(labels):
    count = int(labels.max()) + 1
    rows, cols = np.nonzero(labels > 0)
    at = labels[rows, cols]
    order = np.argsort(at, kind="stable")
    at, rows, cols = at[order], rows[order], cols[order]
    first = np.flatnonzero(np.r_[True, at[1:] != at[:-1]]) if len(at) else np.zeros(0, int)
    for i, a, b, c, d in zip(at[first], np.minimum.reduceat(cols, first), np.minimum.reduceat(rows, first),
                             np.maximum.reduceat(cols, first), np.maximum.reduceat(rows, first)) if len(at) else ():
        yield int(i), (int(a), int(b), int(c - a + 1), int(d - b + 1))
