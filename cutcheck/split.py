"""Cutting apart outlines that plainly hold several pieces, at their necks.

Rows of boxes that touch along whole faces have no neck; the fitted boxes are parted at their seams later.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

NECK = 0.6  # a cut is at most this share of the narrower part's thickness
BOTH_SIDES = 1.3  # times as wide a cut where it runs from notch to notch
FULL = 0.95  # of its hull: an outline that fills so much has no neck
DEEP = 0.10  # a notch at least this share of the outline's width


def split_outline(outline: Floats, least_px: float, depth: int = 4, neck: float = NECK) -> list[Floats]:
    """The outlines of the pieces that ``outline`` (N, 2) px, (x, y), plainly holds: itself if there is one.

    ``least_px`` is the smallest area, ``neck`` the longest cut as a share of the narrower part's thickness.
    """
    if len(outline) < 12 or cv2.contourArea(outline.astype(np.float32)) < 2.0 * least_px:
        return [outline]
    return _split(outline, least_px, depth, neck)


def _split(outline: Floats, least_px: float, depth: int, neck: float) -> list[Floats]:
    cut = None
    if depth > 0 and len(outline) >= 12:
        cut = _neck(outline, neck) if solidity(outline) < FULL else None
    if cut is None:
        return [outline]
    i, j = sorted(cut)
    parts = [outline[i : j + 1], np.concatenate([outline[j:], outline[: i + 1]])]
    if min(cv2.contourArea(part.astype(np.float32)) for part in parts) < least_px:
        return [outline]
    return [piece for part in parts for piece in _split(part, least_px, depth - 1, neck)]


def may_hold_several(outline: Floats) -> bool:
    """Whether a look with `split_outline` is worth while: a notch in the outline."""
    return solidity(outline) < FULL


def solidity(outline: Floats) -> float:
    """Area of an outline (N, 2) over that of its convex hull, 0 to 1."""
    points = outline.astype(np.float32)
    return cv2.contourArea(points) / max(cv2.contourArea(cv2.convexHull(points)), 1e-6)


def jagged(outline: Floats) -> bool:
    """Whether the outline is far from its hull though it is no bent strip (as thick as its mean width)."""
    if solidity(outline) >= 0.85:
        return False
    points = outline.astype(np.float32)
    mean_width = 2.0 * cv2.contourArea(points) / max(cv2.arcLength(points, True), 1e-6)
    return _thickness(outline) > 1.5 * mean_width


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


def _among(point: Floats, points: Floats, reach: float) -> bool:
    """Whether one of ``points`` (N, 2) is within ``reach`` of ``point`` (2,)."""
    return bool((np.linalg.norm(points - point, axis=1) < reach).any())


def _neck(outline: Floats, most: float) -> tuple[int, int] | None:
    """The ends (indices) of the shortest cut from a notch to the other side, where that is a neck.

    ``most``: the longest cut as a share of the narrower part's thickness.
    """
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
    deep = notches[:, 3] / 256.0 / 16.0
    deeper = outline[notches[deep > 0.25 * _thickness(outline), 2]]
    notches = notches[deep > deepest, 2]
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
        if all(_among(outline[end], deeper, 0.25 * narrow) for end in (i, j)):
            ratio /= BOTH_SIDES
        fuller = min(solidity(part) for part in parts) > solidity(outline)
        if ratio < most and fuller and (best is None or ratio < best[0]):
            best = ratio, (a, b)
    return None if best is None else best[1]
