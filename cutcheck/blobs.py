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
from cutcheck.photo import Photo
from cutcheck.surface import FLOOR, LOG_LINEAR, Bytes, Floats32, Surface, learn_surface, log_colour

PX_PER_MM = 3.0
SURE = 5.0  # standard deviations of the surface's texture at which a pixel may start a piece
MAYBE = 3.0  # and at which it may belong to one
SMALLEST_MM = 1.2
HALF = 0.4
LEVELS = 1.0  # spread of a pixel's colour from JPEG and rounding, in 8-bit levels
_STEP2 = np.square(np.gradient(LOG_LINEAR)).astype(np.float32)


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
    small = photo.pixels
    if scale < 1.0:
        small = cv2.resize(photo.pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    k = scale / mm_per_px  # working px per mm
    inside, start = _places(small.shape[:2], regions_px, area_px, scale, k)
    surface = learn_surface(log_colour(small), inside, start, k)
    contrast = _contrast(surface, small)
    mask = _pieces(contrast, surface, inside, small, k)
    blobs = _outlines(mask, contrast, small, camera, scale, k, smallest_mm, largest_mm)
    if not blobs:
        raise CutcheckError("no-pieces")
    return Found(blobs, scale, contrast, float(np.sqrt(surface.covariance[0, 0])))


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
    near = cv2.dilate(card, _disc(1.0 * k))
    inside &= 1 - near
    start = inside.copy()
    if card.any() and area_px is None:
        start &= cv2.dilate(card, _disc(20.0 * k))
    return inside, start


def _disc(radius: float) -> Bytes:
    size = 2 * max(1, round(radius)) + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size)), np.uint8)


def _contrast(surface: Surface, small: Bytes) -> Floats32:
    """How far each pixel is from the surface, lit or in shade, in standard deviations of the texture.

    Two squares of colour, and one of light where there is more of it than the surface's colour explains: less
    light is only shade.
    """
    order = [1, 2, 0]  # colour first, then what light says beyond colour
    covariance = (surface.covariance + FLOOR)[np.ix_(order, order)]
    whiten = np.linalg.inv(np.linalg.cholesky(covariance))[:, [2, 0, 1]]
    white = cv2.transform(surface.residual, whiten.astype(np.float32))
    colour = white[..., 0] ** 2 + white[..., 1] ** 2
    step2 = cv2.transform(cv2.LUT(small, _STEP2), np.array([[1.0, 2.0, 1.0]], np.float32))
    colour /= 1.0 + step2 * np.float32(LEVELS**2 / (covariance[0, 0] + covariance[1, 1]))
    light = np.maximum(white[..., 2], 0.0)
    return np.sqrt(colour + light * light) / surface.grain * (surface.known > 0)


def _board(surface: Surface, k: float) -> Bytes:
    """1 where the board is: its own surface with what lies within it, up to 30 mm across, filled in."""
    step = max(1, round(k))
    own = cv2.resize(surface.own, None, fx=1 / step, fy=1 / step, interpolation=cv2.INTER_AREA)
    own = cv2.morphologyEx(own, cv2.MORPH_OPEN, _disc(1.0))
    reach = round(16.0 * k / step)
    own = cv2.copyMakeBorder(own, reach, reach, reach, reach, cv2.BORDER_REPLICATE)
    whole = cv2.morphologyEx(own, cv2.MORPH_CLOSE, _disc(reach))[reach:-reach, reach:-reach]
    size = (surface.own.shape[1], surface.own.shape[0])
    return np.asarray(cv2.resize(whole, size, interpolation=cv2.INTER_NEAREST), np.uint8)


def _pieces(contrast, surface, inside, small, k):
    soft = cv2.blur(contrast, (3, 3)) * _board(surface, k)
    least = max(4.0, (SMALLEST_MM * k) ** 2)
    base = (soft > SURE).astype(np.uint8)
    rough, peak = _above_half(base, soft, least)
    # What is left is light thrown back by the pieces, which fades out, or a part of another colour, which ends.
    rest = base & (1 - cv2.dilate(rough, _disc(2)))
    apart = soft * (1 - cv2.dilate(rough, _disc(1)))
    more, _ = _above_half(rest, apart, least)
    rough |= _sharp(more, apart, cv2.dilate(rough, _disc(4)))
    inner = cv2.erode(rough, _disc(1))
    outer = 1 - cv2.dilate(rough, _disc(2))
    markers = np.zeros(small.shape[:2], np.int32)
    markers[outer > 0] = 1
    markers[inner > 0] = 2
    markers[inside == 0] = 1
    work = cv2.watershed(small, markers)
    mask = (work == 2).astype(np.uint8)
    line = (work == -1) & (cv2.dilate(mask, _disc(1)) > 0) & (rough > 0)
    mask[line] = 1
    return mask


def _above_half(base, soft, least):
    """The parts of each component of ``base`` that stand out at least HALF as much as its best part does."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(base, connectivity=4)
    rows, cols = np.nonzero(labels)
    label, value = labels[rows, cols], soft[rows, cols]
    peak = _top(label, value, count)
    peak[stats[:, 4] < least] = np.inf
    keep = value > np.maximum(SURE, HALF * peak)[label]
    out = np.zeros_like(base)
    out[rows[keep], cols[keep]] = 1
    return out, peak


def _sharp(mask, soft, near):
    """The components of ``mask`` that end sharply: most of their edge falls by half within two pixels."""
    count, labels = cv2.connectedComponents(mask, connectivity=4)
    rim = mask & (1 - cv2.erode(mask, _disc(1))) & (1 - near)
    rows, cols = np.nonzero(rim)
    box = np.ones((5, 5), np.uint8)
    falls = cv2.erode(soft, box)[rows, cols] < 0.5 * cv2.dilate(soft, box)[rows, cols]
    n = np.bincount(labels[rows, cols], minlength=count)
    share = np.bincount(labels[rows, cols], falls, minlength=count) / np.maximum(n, 1)
    share[0] = 0.0
    return (share > 0.6)[labels].astype(np.uint8)


def _top(label, value, count):
    """The 95 % quantile of ``value`` in each label 0..count-1 (0 where there is none)."""
    order = np.lexsort((value, label))
    last = np.cumsum(np.bincount(label, minlength=count))
    size = np.diff(np.concatenate([[0], last]))
    at = np.maximum(last - 1 - (0.05 * size).astype(int), 0)
    out = value[order][np.minimum(at, len(order) - 1)] if len(order) else np.zeros(count)
    return np.where(size > 0, out, 0.0)


def _outlines(mask, contrast, small, camera, scale, k, smallest_mm, largest_mm):
    h, w = mask.shape
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    blobs = []
    for c in contours:
        if len(c) < 5:
            continue
        px = c.reshape(-1, 2).astype(float)
        x0, y0 = px.min(0); x1, y1 = px.max(0)
        m = np.zeros((int(y1-y0)+3, int(x1-x0)+3), np.uint8)
        off = np.array([x0-1, y0-1])
        cv2.fillPoly(m, [(px-off).astype(np.int32)], 255)
        big = cv2.resize(cv2.GaussianBlur(m, (0, 0), 0.6), None, fx=4, fy=4, interpolation=cv2.INTER_LINEAR)
        cs, _ = cv2.findContours((big > 127).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        if not cs:
            continue
        cc = max(cs, key=cv2.contourArea).reshape(-1, 2).astype(float)
        cc = (cc + 0.5) / 4 - 0.5 + off
        full = (cc + 0.5) / scale - 0.5
        mm = camera.to_height(full, 0.0).astype(np.float32)
        area = cv2.contourArea(mm)
        _, (a, b), _ = cv2.minAreaRect(mm)
        a, b = max(a, b), min(a, b)
        if b < 0.7*smallest_mm or a > largest_mm or area < 0.6*smallest_mm**2:
            continue
        flags = set()
        if x0 <= 0 or y0 <= 0 or x1 >= w-1 or y1 >= h-1:
            flags.add("cut-off")
        ys, xs = np.nonzero(m[1:-1, 1:-1])
        strength = float(np.median(contrast[ys + int(y0), xs + int(x0)]))
        blobs.append(Blob(full, float(area), (float(a), float(b)), (0., 0., 0.), strength, frozenset(flags)))
    return blobs
