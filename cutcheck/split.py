"""Cutting apart outlines that plainly hold several pieces: at necks, and at dark gaps from side to side."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from cutcheck.surface import Bytes, Floats32, log_colour

Floats = NDArray[np.float64]

NECK = 0.6  # a cut is at most this share of the narrower part's thickness
FULL = 0.95  # of its hull: an outline that fills so much has no neck
SLANT = np.array([0, 2, -2, 4, -4])
DARKER = 0.15  # a gap is at least so much darker than both sides, log units
DEEP = 0.10  # a notch at least this share of the outline's width


def split_outline(
    outline: Floats, pixels: Bytes, px_per_mm: float, least_px: float, depth: int = 4
) -> list[Floats]:
    """The outlines of the pieces that ``outline`` (N, 2) px, (x, y), plainly holds: itself if there is one.

    ``pixels`` (H, W, 3) uint8 is the photo that the outline lies in; ``least_px`` the smallest area.
    """
    if len(outline) < 12 or cv2.contourArea(outline.astype(np.float32)) < 2.0 * least_px:
        return [outline]
    low = np.maximum(np.floor(outline.min(axis=0)).astype(int) - 2, 0)
    high = np.ceil(outline.max(axis=0)).astype(int) + 3
    colour = log_colour(np.ascontiguousarray(pixels[low[1] : high[1], low[0] : high[0]]))
    return [part + low for part in _split(outline - low, colour, px_per_mm, least_px, depth)]


def _split(outline: Floats, colour: Floats32, px_per_mm: float, least_px: float, depth: int) -> list[Floats]:
    cut = None
    if depth > 0 and len(outline) >= 12:
        cut = (_neck(outline) if solidity(outline) < FULL else None) or _gap(outline, colour, px_per_mm)
    if cut is None:
        return [outline]
    i, j = sorted(cut)
    parts = [outline[i : j + 1], np.concatenate([outline[j:], outline[: i + 1]])]
    if min(cv2.contourArea(part.astype(np.float32)) for part in parts) < least_px:
        return [outline]
    return [piece for part in parts for piece in _split(part, colour, px_per_mm, least_px, depth - 1)]


def may_hold_several(outline: Floats, own: Bytes, grooves: Floats32) -> bool:
    """Whether a look with `split_outline` is worth while: a notch in the outline, or a dark line inside.

    ``own`` (h, w) uint8 is 1 inside, ``grooves`` (h, w) float32 how much darker than both sides a place is.
    """
    if solidity(outline) < FULL:
        return True
    within = cv2.erode(own, np.ones((7, 7), np.uint8), borderType=cv2.BORDER_CONSTANT, borderValue=0) > 0
    lines = np.count_nonzero(grooves[within] > 0.5 * DARKER)
    return bool(lines >= 0.3 * np.sqrt(np.count_nonzero(own)))


def solidity(outline: Floats) -> float:
    """Area over that of the convex hull."""
    points = outline.astype(np.float32)
    return cv2.contourArea(points) / max(cv2.contourArea(cv2.convexHull(points)), 1e-6)


def _width(outline: Floats) -> float:
    """The shorter side of the smallest rectangle round the outline, px."""
    return float(min(cv2.minAreaRect(outline.astype(np.float32))[1]))


def _thickness(outline: Floats) -> float:
    """The diameter of the largest disc inside the outline, px: a bent ribbon is as thick as it is wide."""
    low = outline.min(axis=0)
    scale = min(1.0, 64.0 / float(np.ptp(outline, axis=0).max()))
    grid = np.round((outline - low) * scale).astype(np.int32) + 1
    mask = np.zeros((int(grid[:, 1].max()) + 2, int(grid[:, 0].max()) + 2), np.uint8)
    cv2.fillPoly(mask, [grid], 1)
    return 2.0 * float(cv2.distanceTransform(mask, cv2.DIST_L2, 5).max()) / scale


def _neck(outline: Floats) -> tuple[int, int] | None:
    """The ends (indices) of the shortest cut from a notch to the other side, where that is a neck."""
    whole = np.round(outline * 16.0).astype(np.int32).reshape(-1, 1, 2)
    hull = cv2.convexHull(whole, returnPoints=False)
    if hull is None or len(hull) < 4:
        return None
    hull[::-1].sort(axis=0)
    try:
        defects = cv2.convexityDefects(whole, hull)
    except cv2.error:  # an outline that crosses itself has no order to walk along
        return None
    if defects is None:
        return None
    notches = defects.reshape(-1, 4)
    deepest = max(1.5, DEEP * _width(outline))
    notches = notches[notches[:, 3] / 256.0 / 16.0 > deepest][:, 2]
    n = len(outline)
    step = np.linalg.norm(np.diff(outline, axis=0, append=outline[:1]), axis=1)
    along = np.concatenate([[0.0], np.cumsum(step)])
    best: tuple[float, tuple[int, int]] | None = None
    for i in notches:
        away = np.linalg.norm(outline - outline[i], axis=1)
        run = np.abs(along[:n] - along[i])
        run = np.minimum(run, along[-1] - run)
        # The other end lies far along the outline but near across it.
        far = run > 2.0 * np.maximum(away, 2.0)
        if not far.any():
            continue
        j = int(np.flatnonzero(far)[np.argmin(away[far])])
        if abs(int(i) - j) < 5 or abs(int(i) - j) > n - 5:
            continue
        a, b = sorted((int(i), j))
        parts = outline[a : b + 1], np.concatenate([outline[b:], outline[: a + 1]])
        narrow = min(_thickness(part) for part in parts)
        ratio = float(away[j]) / max(narrow, 1e-6)
        fuller = min(solidity(part) for part in parts) > solidity(outline)
        if ratio < NECK and fuller and (best is None or ratio < best[0]):
            best = ratio, (a, b)
    return None if best is None else best[1]


def _gap(outline: Floats, colour: Floats32, px_per_mm: float) -> tuple[int, int] | None:
    """The ends (indices) of a straight dark line or band from side to side, light on both sides of it."""
    (cx, cy), (w, h), angle = cv2.minAreaRect(outline.astype(np.float32))
    if cv2.contourArea(outline.astype(np.float32)) < 0.75 * w * h:
        return None  # lines across the rectangle would run beside the pieces
    best: tuple[float, tuple[int, int]] | None = None
    for turn, length, across in ((0.0, w, h), (90.0, h, w)):
        if length < 2.0 * px_per_mm or across < 1.0 * px_per_mm or not 0.9 * across < length < 5.0 * across:
            continue
        rad = np.radians(angle + turn)
        along, side = np.array([np.cos(rad), np.sin(rad)]), np.array([-np.sin(rad), np.cos(rad)])
        t = np.arange(-length / 2, length / 2, 0.1 * px_per_mm)
        s = np.linspace(-0.40, 0.40, 15) * across
        place = (np.array([cx, cy]) + t[:, None, None] * along + s[None, :, None] * side).astype(np.float32)
        x, y = place[..., 0], place[..., 1]
        seen = cv2.remap(colour, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        found = _valley(np.asarray(seen, np.float32), round(0.25 * across / px_per_mm / 0.1))
        if found is None:
            continue
        strength, at = found
        away = (outline - [cx, cy]) @ along - t[at]
        which = (outline - [cx, cy]) @ side > 0
        if not which.any() or which.all():
            continue
        i = int(np.flatnonzero(which)[np.argmin(np.abs(away[which]))])
        j = int(np.flatnonzero(~which)[np.argmin(np.abs(away[~which]))])
        if best is None or strength > best[0]:
            best = strength, (i, j)
    return None if best is None else best[1]


def _valley(seen: Floats32, edge: int) -> tuple[float, int] | None:
    """The strongest dark line across ``seen`` (along, across, 3): how strong, and its index along.

    A step along is 0.1 mm; the line may run askew by up to SLANT steps from the middle to a side. Within
    ``edge`` steps of the ends no line is looked for: a piece is not much thinner. A line of another colour is
    a mark of the vegetable, not a gap.
    """
    light = cv2.GaussianBlur(seen[..., 0], (1, 5), 0)
    steps, wide = light.shape
    shear = np.round(np.multiply.outer(SLANT, np.linspace(-1.0, 1.0, wide))).astype(int)
    rows = np.clip(np.arange(steps)[:, None] + shear[:, None, :], 0, steps - 1)
    skew = light[rows, np.arange(wide)]  # (slants, along, across)
    best: tuple[float, int] | None = None
    for reach in (6, 12):  # the line, or the band that a shaded side makes, is up to so wide
        edge = max(edge, reach)
        if steps < 2 * edge + 3:
            break
        inner = steps - 2 * reach
        drop = np.minimum(skew[:, :inner], skew[:, 2 * reach :]) - skew[:, reach : reach + inner]
        drop = np.sort(drop[:, edge - reach : inner - (edge - reach)], axis=2)
        middle, least = drop[:, :, wide // 2], drop[:, :, wide // 5]  # it runs nearly all the way across
        clear = np.where(least > 0.3 * middle, middle, -1.0)
        which, at = np.unravel_index(int(np.argmax(clear)), clear.shape)
        dark = float(clear[which, at])
        if dark <= DARKER or (best is not None and dark <= best[0]):
            continue
        flat = drop[0].ravel()
        noise = 1.4826 * float(np.median(np.abs(flat - np.median(flat))))
        place = int(at) + edge
        line = np.clip(place + shear[which], reach, steps - 1 - reach)
        across = np.arange(wide)
        tone = seen[line - reach, across] + seen[line + reach, across] - 2.0 * seen[line, across]
        same = float(np.abs(np.median(tone[:, 1:], axis=0)).max()) / 2.0 < 0.75 * dark
        if dark > 4.0 * noise and same:
            best = dark, place
    return best
