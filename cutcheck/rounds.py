"""Round things in a photo, seen as ellipses: found on an even surface, their rims to sub-pixel."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from cutcheck.steps import sample

Floats = NDArray[np.float64]
Bytes = NDArray[np.uint8]

WORK_PX = 800  # longer side of the reduced photo
RAYS, RIM_RAYS = 72, 144
SAMPLE_PX = 0.5
RIM_LEVEL = 0.35  # of the step from the surface to the thing; half-way would be lost on a bright rim
LEAST_RIM, LEAST_SMOOTH = 0.5, 0.4  # share of the rim that must be seen, and lie on one ellipse
ROUGH = 0.01  # scatter of the rim about the ellipse, of its radius
FLATTEST = 0.5  # short over long axis: a disc at 60 degrees


@dataclass(frozen=True)
class Round:
    """An ellipse in the photo: ``centre`` (2,) px, ``axes`` (2,) half axes px, long first; ``angle`` of the
    long one, rad."""

    centre: Floats
    axes: Floats
    angle: float

    def holds(self, px: Floats) -> bool:
        """Whether a pixel lies on it."""
        return bool(np.hypot(*(_turned(px - self.centre, -self.angle) / self.axes)) < 1.0)


def find_rounds(pixels: Bytes) -> list[Round]:
    """All round things of a photo (H, W, 3) that stand out from an even surface, large ones first."""
    scale = min(1.0, WORK_PX / max(pixels.shape[:2]))
    size = (round(pixels.shape[1] * scale), round(pixels.shape[0] * scale))
    small = np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), np.uint8)
    depth = np.asarray(cv2.distanceTransform(stands_out(small), cv2.DIST_L2, 5), np.float32)
    factor = pixels.shape[1] / size[0]
    found: list[Round] = []
    for x, y, radius in _peaks(depth):
        start = (np.array([x, y]) + 0.5) * factor - 0.5
        if any(other.holds(start) for other in found):
            continue
        seen = round_at(pixels, start, radius * factor)
        if seen is not None and not any(other.holds(seen.centre) for other in found):
            found.append(seen)
    return sorted(found, key=lambda seen: -float(seen.axes.prod()))


def stands_out(small: Bytes) -> Bytes:
    """(H, W) 0 or 255: what differs from a surface whose colour changes slowly."""
    lab = cv2.cvtColor(cv2.GaussianBlur(small, (0, 0), 1.2), cv2.COLOR_BGR2LAB).astype(np.float64)
    high, wide = lab.shape[:2]
    y, x = np.mgrid[-1 : 1 : high * 1j, -1 : 1 : wide * 1j]
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)
    few = (slice(None, None, 5), slice(None, None, 5))
    basis, colours = terms[few].reshape(-1, 6), lab[few].reshape(-1, 3)
    weight = np.ones(len(basis))
    for _ in range(12):
        fit, *_ = np.linalg.lstsq(basis * weight[:, None], colours * weight[:, None], rcond=None)
        off = np.linalg.norm(colours - basis @ fit, axis=1)
        spread = max(1.4826 * float(np.median(off)), 2.0)
        weight = 1.0 / (1.0 + (off / (1.5 * spread)) ** 2)
    off = np.linalg.norm(lab - terms @ fit, axis=2)
    coded = np.clip(off * 2.0, 0, 255).astype(np.uint8)
    least, _ = cv2.threshold(coded, 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
    _, mask = cv2.threshold(coded, min(least, 6 * spread), 255, cv2.THRESH_BINARY)
    mask = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (5, 5)))
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    filled = np.zeros_like(mask)
    for contour in contours:  # fills what glints within a thing, but not the gaps between things that touch
        alone = np.zeros_like(mask)
        cv2.drawContours(alone, [contour], -1, 255, cv2.FILLED)
        holes, _ = cv2.findContours(cv2.bitwise_and(alone, cv2.bitwise_not(mask)), cv2.RETR_EXTERNAL, 1)
        filled = np.maximum(filled, cv2.bitwise_and(alone, mask))
        around = cv2.contourArea(contour)
        cv2.drawContours(
            filled, [h for h in holes if cv2.contourArea(h) < 0.02 * around], -1, 255, cv2.FILLED
        )
    return np.asarray(filled, np.uint8)


def _peaks(depth: NDArray[np.float32]) -> list[tuple[int, int, float]]:
    """The middles of what is thick, (x, y, radius) in its px, thick ones first."""
    left = depth.copy()
    peaks = []
    for _ in range(150):
        _, radius, _, (x, y) = cv2.minMaxLoc(left)
        if radius < 6:
            break
        peaks.append((int(x), int(y), float(radius)))
        cv2.circle(left, (int(x), int(y)), int(np.ceil(0.8 * radius)), 0, cv2.FILLED)
    return peaks


def round_at(pixels: Bytes, centre: Floats, radius: float) -> Round | None:
    """The ellipse near a circle (px) that stands out from the surface round it, or None.

    The rim is where the surface ends, seen from outside: a bright rim or a pattern further in has edges, too.
    Where a shadow lies outside it, the rim seen is the shadow's; the ellipse is that of the other places.
    """
    ellipse = (centre, np.array([radius, radius]), 0.0)
    for reach in (0.25, 0.2, 0.15):
        at, normal = _around(*ellipse)
        mean = float(np.sqrt(np.prod(ellipse[1])))
        rim = _outer_rim(pixels, at, normal, max(reach * mean, 4.0))
        rim = rim[np.isfinite(rim[:, 0])]
        if len(rim) < LEAST_RIM * RAYS:
            return None
        fitted, good = _fit_ellipse(rim, ROUGH * mean)
        if fitted is None or good.sum() < LEAST_SMOOTH * RAYS:
            return None
        ellipse = fitted
    high, wide = pixels.shape[:2]
    box = float(ellipse[1].max())
    if not (box < ellipse[0][0] < wide - 1 - box and box < ellipse[0][1] < high - 1 - box):
        return None
    if ellipse[1].min() < FLATTEST * ellipse[1].max():
        return None
    return Round(*ellipse)


def _outer_rim(pixels: Bytes, at: Floats, normal: Floats, reach_px: float) -> Floats:
    """Where the surface ends along lines through ``at`` (N, 2) px, seen from outside: (N, 2) px, or NaN."""
    half = int(np.ceil(reach_px / SAMPLE_PX))
    across = np.arange(-half, half + 1) * SAMPLE_PX
    light = sample(pixels, at[:, None] + normal[:, None] * across[:, None])
    outer, inner = light[:, -half // 2 :], light[:, : half // 2]
    surface = np.median(outer.reshape(-1, 3), axis=0)
    off = np.linalg.norm(light - surface, axis=2)
    step = float(np.median(np.linalg.norm(inner - surface, axis=2)))
    # Of what lies outside, the darkest tells most about a neighbour that touches.
    clear = np.quantile(off[:, -half // 4 :], 0.8, axis=1) < RIM_LEVEL * step
    beyond = off[:, ::-1] > RIM_LEVEL * step
    beyond[:, :-2] &= beyond[:, 1:-1] & beyond[:, 2:]  # a speck is no rim
    first = beyond.argmax(axis=1)
    rows = np.arange(len(at))
    clear &= beyond.any(axis=1) & (first > 1)
    place = len(across) - 1 - first
    # The level is low, and so met outside a blurred edge: the edge is where it rises most, close by.
    slope = -np.gradient(off, axis=1)
    window = np.clip(place[:, None] + np.arange(-4, 3), 1, len(across) - 2)
    peak = window[rows, slope[rows[:, None], window].argmax(axis=1)]
    left, middle, right = slope[rows, peak - 1], slope[rows, peak], slope[rows, peak + 1]
    curve = np.minimum(left - 2 * middle + right, -1e-9)
    offset = (peak + np.clip(0.5 * (left - right) / curve, -0.5, 0.5) - half) * SAMPLE_PX
    return np.where(clear[:, None], at + normal * offset[:, None], np.nan)


def rim_points(pixels: Bytes, near: Round) -> Floats:
    """Where the surface ends round a thing, seen from outside, in RIM_RAYS directions: (RIM_RAYS, 2) px, NaN
    where something else is in the way."""
    at, normal = _around(near.centre, 0.98 * near.axes, near.angle, RIM_RAYS)
    return _outer_rim(pixels, at, normal, 0.2 * float(np.sqrt(near.axes.prod())))


def _around(centre: Floats, axes: Floats, angle: float, rays: int = RAYS) -> tuple[Floats, Floats]:
    """Places round an ellipse, (rays, 2) px, and outward normals."""
    t = np.arange(rays) * (2 * np.pi / rays)
    at = _turned(np.column_stack([axes[0] * np.cos(t), axes[1] * np.sin(t)]), angle) + centre
    normal = _turned(np.column_stack([np.cos(t) / axes[0], np.sin(t) / axes[1]]), angle)
    return at, normal / np.linalg.norm(normal, axis=1, keepdims=True)


def _turned(points: Floats, angle: float) -> Floats:
    cos, sin = np.cos(angle), np.sin(angle)
    return np.asarray(points @ np.array([[cos, sin], [-sin, cos]]))


def _distance(points: Floats, centre: Floats, axes: Floats, angle: float) -> Floats:
    """About how far points are outside an ellipse, px (first order)."""
    local = _turned(points - centre, -angle)
    level = np.hypot(local[:, 0] / axes[0], local[:, 1] / axes[1])
    slope = np.hypot(local[:, 0] / axes[0] ** 2, local[:, 1] / axes[1] ** 2) / np.maximum(level, 1e-9)
    return np.asarray((level - 1) / np.maximum(slope, 1e-9))


def _fit_ellipse(
    rim: Floats, tolerance: float
) -> tuple[tuple[Floats, Floats, float] | None, NDArray[np.bool_]]:
    """The ellipse that most of a rim's points (N, 2) agree on, and which do."""
    rng = np.random.default_rng(0)
    best = np.zeros(len(rim), bool)
    for attempt in range(80):
        some = np.arange(len(rim)) if attempt == 0 else rng.choice(len(rim), 7, replace=False)
        fitted = ellipse_of(rim[some])
        if fitted is None:
            continue
        good = np.abs(_distance(rim, *fitted)) < 2 * tolerance
        if good.sum() > best.sum():
            best = good
        if attempt == 0 and good.mean() > 0.97:
            break
    fitted = None
    for _ in range(3):
        if best.sum() < 8:
            return None, best
        fitted = ellipse_of(rim[best])
        if fitted is None:
            return None, best
        best = np.abs(_distance(rim, *fitted)) < 2 * tolerance
    return fitted, best


def ellipse_of(points: Floats) -> tuple[Floats, Floats, float] | None:
    """An ellipse by direct least squares (Fitzgibbon, Pilu & Fisher, 1999): centre, half axes, angle."""
    (x, y), (a, b), degrees = cv2.fitEllipseDirect(points.astype(np.float32))
    if not (np.isfinite([x, y, a, b]).all() and min(a, b) > 1.0):
        return None
    angle = np.radians(degrees)
    if a < b:
        a, b, angle = b, a, angle + np.pi / 2
    return np.array([x, y]), np.array([a / 2, b / 2]), float(angle)
