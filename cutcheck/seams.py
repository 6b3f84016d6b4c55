"""Seams between pieces that touch: where one outline holds several pieces, and where they part.

Two cut faces that meet leave a line that is darker than both sides, straight, and right across the piece.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from cutcheck.camera import Floats

TILTS = np.tan(np.radians(np.array([-6.0, -4.0, -2.0, 0.0, 2.0, 4.0, 6.0])))
HALF_VALLEY_PX = 2.5


@dataclass(frozen=True)
class Seam:
    """A straight line through ``point`` (2,) px along ``direction`` (2,) unit; how deep, in spreads."""

    point: Floats
    direction: Floats
    depth: float
    offset: float


def valleys(pixels: NDArray[np.uint8], outline: Floats, across: Floats, along: Floats) -> list[Seam]:
    """Candidate seams of one outline (N, 2) px that run ``along`` (2,), at offsets ``across`` (2,), unit vectors.

    Deepest first.
    """
    frame = np.stack([across, along])
    local = outline @ np.linalg.inv(np.stack([across, along], axis=1)).T
    low, high = local.min(axis=0), local.max(axis=0)
    size = np.ceil(high - low).astype(int) + 7
    if min(size) < 8 or max(size) > 1500:
        return []
    grid_t, grid_s = np.meshgrid(np.arange(size[0]) - 3 + low[0], np.arange(size[1]) - 3 + low[1])
    place = (grid_t[..., None] * frame[0] + grid_s[..., None] * frame[1]).astype(np.float32)
    patch = cv2.remap(pixels, place, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    light = np.sqrt(patch.astype(np.float32) / 255.0)
    mask = np.zeros(light.shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.round(local - low + 3).astype(np.int32)], 1)
    best = np.full(size[0], -np.inf)
    tilt_of = np.zeros(size[0])
    middle = 0.5 * (size[1] - 1)
    for tilt in TILTS:
        shear = np.array([[1.0, tilt, -tilt * middle], [0.0, 1.0, 0.0]], np.float32)
        turned = cv2.warpAffine(
            light, shear, (int(size[0]), int(size[1])), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        )
        inside = cv2.warpAffine(
            mask, shear, (int(size[0]), int(size[1])), flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
        )
        depth = _depth(turned, inside)
        better = depth > best
        best = np.where(better, depth, best)
        tilt_of = np.where(better, tilt, tilt_of)
    found = []
    order = np.argsort(-best)
    for k in order[: size[0] // 2]:
        if not np.isfinite(best[k]) or best[k] <= 0:
            break
        if all(abs(k - other.offset) > 5 for other in found):
            point = (k - 3 + low[0]) * frame[0] + (middle - 3 + low[1]) * frame[1]
            direction = tilt_of[k] * frame[0] + frame[1]
            found.append(Seam(point, direction / np.linalg.norm(direction), float(best[k]), float(k)))
        if len(found) >= 12:
            break
    return found


def _depth(light: NDArray[np.float32], inside: NDArray[np.uint8]) -> Floats:
    """How clearly each column is a dark line: the lower quartile of its valley over the picture's own ripple."""
    step = round(HALF_VALLEY_PX)
    grey = light.mean(axis=-1)
    left, right = np.roll(grey, step, axis=1), np.roll(grey, -step, axis=1)
    dip = np.minimum(left, right) - grey
    whole = (inside > 0) & (np.roll(inside, 2 * step, 1) > 0) & (np.roll(inside, -2 * step, 1) > 0)
    count = whole.sum(axis=0)
    full = max(int(count.max()), 1)
    ripple = 1.48 * np.median(np.abs(dip[whole])) + 0.004 if whole.any() else 1.0
    value = np.where(whole, dip, np.nan)
    out = np.full(grey.shape[1], -np.inf)
    good = count > max(4, 0.6 * full)
    if good.any():
        out[good] = np.nanpercentile(value[:, good], 30, axis=0) / ripple
    return out


DEEP = 0.9  # a valley this many ripples deep right across is a seam
SHALLOW = 0.3  # enough beside a seam already found, at about its distance
LEAST_SHARE = 0.35  # no piece of a row is narrower than this share of its neighbours


def parts(pixels: NDArray[np.uint8], outline: Floats, e1: Floats, e2: Floats) -> list[tuple[Floats, Floats]]:
    """The pieces of one outline (N, 2) px, parted at their seams.

    ``e1`` and ``e2`` (2,) are unit vectors along the outline's sides. Each part is its outline and the
    outward normals (2, 2) of its seams, nan where it has none. One part where there is no seam.
    """
    whole = [(outline, np.full((2, 2), np.nan))]
    rows = [(e1, chosen(valleys(pixels, outline, e1, e2))), (e2, chosen(valleys(pixels, outline, e2, e1)))]
    across, seams = max(rows, key=lambda row: sum(seam.depth for seam in row[1]))
    if not seams:
        return whole
    seams = sorted(seams, key=lambda seam: seam.offset)
    normals = []
    for seam in seams:
        normal = np.array([-seam.direction[1], seam.direction[0]])
        normals.append(normal if normal @ across > 0 else -normal)
    found = []
    for i in range(len(seams) + 1):
        part = outline
        sides = np.full((2, 2), np.nan)
        if i > 0:
            part = clip(part, seams[i - 1].point, -normals[i - 1])
            sides[0] = -normals[i - 1]
        if i < len(seams):
            part = clip(part, seams[i].point, normals[i])
            sides[1] = normals[i]
        if len(part) >= 4:
            found.append((part, sides))
    return found if len(found) > 1 else whole


def chosen(valley: list[Seam]) -> list[Seam]:
    """The seams among the valleys of one direction."""
    deep = [seam for seam in valley if seam.depth > DEEP]
    if not deep:
        return []
    seams: list[Seam] = []
    for seam in deep:
        if all(abs(seam.offset - other.offset) > 8 for other in seams):
            seams.append(seam)
    if len(seams) > 1:
        at = np.sort([seam.offset for seam in seams])
        pitch = float(np.median(np.diff(at)))
        keep = [
            seam
            for seam in seams
            if all(
                abs(seam.offset - other.offset) > LEAST_SHARE * pitch or seam.depth >= other.depth
                for other in seams
            )
        ]
        seams = keep
        for seam in valley:
            if SHALLOW < seam.depth <= DEEP:
                nearest = min(abs(seam.offset - other.offset) for other in seams)
                if 0.75 * pitch < nearest < 1.33 * pitch:
                    seams.append(seam)
    return seams


def clip(polygon: Floats, point: Floats, normal: Floats) -> Floats:
    """The part of a polygon (N, 2) on the inner side of a line through ``point`` with outward ``normal``."""
    side = (polygon - point) @ normal
    out = []
    for i in range(len(polygon)):
        j = (i + 1) % len(polygon)
        if side[i] <= 0.0:
            out.append(polygon[i])
        if (side[i] <= 0.0) != (side[j] <= 0.0):
            share = side[i] / (side[i] - side[j])
            out.append(polygon[i] + share * (polygon[j] - polygon[i]))
    return np.array(out).reshape(-1, 2)
