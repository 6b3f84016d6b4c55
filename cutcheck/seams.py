"""Seams between pieces that touch: where one outline holds several pieces, and where they part.

Two cut faces that meet leave a line that is darker than both sides, straight, and right across the piece.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from cutcheck.camera import Floats
from cutcheck.outlines import area_and_perimeter

TILTS = np.tan(np.radians(np.array([-6.0, -4.0, -2.0, 0.0, 2.0, 4.0, 6.0])))
HALF_VALLEY_PX = 2.5
WORTH_A_LOOK = 0.15
FAINT = 0.6  # a step or valley this clear, where a seam is expected, is one
DEEP = 0.9  # a valley this many ripples deep right across is a seam
SHALLOW = 0.3  # enough beside a seam already found, at about its distance
TOO_LARGE = 1.6  # times the tray's typical area: several pieces
CONTACT_PX = 3.0
CONTACT_SHARE = 0.1  # of an outline's points, at least, run along a neighbour
LEAST_SHARE = 0.35  # no piece of a row is narrower than this share of its neighbours


@dataclass(frozen=True)
class Seam:
    """A straight line through ``point`` (2,) px along ``direction`` (2,) unit; how deep, in spreads."""

    point: Floats
    direction: Floats
    depth: float
    offset: float


def valleys(
    pixels: NDArray[np.uint8], outline: Floats, across: Floats, along: Floats, faint: bool = False
) -> list[Seam]:
    """Candidate seams of one outline (N, 2) px that run ``along`` (2,), at offsets ``across`` (2,), unit vectors.

    Deepest first. ``faint``: a straight step from one face to the next counts, too.
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
    if not faint and _depth(light, mask, quick=True).max() < WORTH_A_LOOK:
        return []
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
        depth = _depth(turned, inside, faint=faint)
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


def _depth(
    light: NDArray[np.float32], inside: NDArray[np.uint8], quick: bool = False, faint: bool = False
) -> Floats:
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
    if quick:
        # The mean of three columns at once finds what could be a seam, at any small tilt.
        total = np.where(whole, dip, 0.0).sum(axis=0)
        out[good] = total[good] / count[good] / ripple
    elif good.any():
        out[good] = np.nanpercentile(value[:, good], 30, axis=0) / ripple
        if faint:
            step_up = np.where(whole, right - left, np.nan)[:, good]
            rise, fall = np.nanpercentile(step_up, [30, 70], axis=0)
            out[good] = np.maximum(out[good], 0.7 * np.maximum(rise, -fall) / ripple)
    return out


def part(
    pixels: NDArray[np.uint8], outlines: list[Floats], e1: Floats, e2: Floats
) -> tuple[list[Floats], list[int]]:
    """Part outlines (N_i, 2) px at their seams; the parts and whose each was.

    ``e1`` and ``e2`` (N, 2) are unit vectors along the outlines' sides. A part that is still several times
    as large as the others is looked at again, with less asked of a seam.
    """
    found: list[Floats] = []
    source: list[int] = []
    directions: list[tuple[Floats, Floats]] = []
    for i, outline in enumerate(outlines):
        made = _part_one(pixels, outline, e1[i], e2[i], DEEP)
        found.extend(made)
        source.extend([i] * len(made))
        directions.extend([(e1[i], e2[i])] * len(made))
    typical = float(np.median([area_and_perimeter(outline)[0] for outline in found]))
    again: list[Floats] = []
    whose: list[int] = []
    for k, outline in enumerate(found):
        count = round(min(area_and_perimeter(outline)[0] / typical, 6.0))
        large = area_and_perimeter(outline)[0] > TOO_LARGE * typical
        made = _part_into(pixels, outline, *directions[k], max(count, 2)) if large else [outline]
        again.extend(made)
        whose.extend([source[k]] * len(made))
    return again, whose


def _part_one(
    pixels: NDArray[np.uint8], outline: Floats, e1: Floats, e2: Floats, least: float
) -> list[Floats]:
    rows = [
        (e1, chosen(valleys(pixels, outline, e1, e2), least)),
        (e2, chosen(valleys(pixels, outline, e2, e1), least)),
    ]
    return _cut(outline, *max(rows, key=lambda row: sum(seam.depth for seam in row[1])))


def _part_into(
    pixels: NDArray[np.uint8], outline: Floats, e1: Floats, e2: Floats, count: int
) -> list[Floats]:
    """Part an outline that is ``count`` times the usual size, along its length, where seams may be faint."""
    across, along = max(((e1, e2), (e2, e1)), key=lambda pair: float(np.ptp(outline @ pair[0])))
    faint = valleys(pixels, outline, across, along, faint=True)
    if not faint:
        return [outline]
    reach = outline @ across
    pitch = float(np.ptp(reach)) / count
    seams = []
    for j in range(1, count):
        expected = float(reach.min()) + j * pitch
        nearness = [np.exp(-0.5 * ((float(s.point @ across) - expected) / (0.2 * pitch)) ** 2) for s in faint]
        worth = [seam.depth * near for seam, near in zip(faint, nearness, strict=True)]
        best = int(np.argmax(worth))
        if worth[best] > FAINT and all(faint[best] is not seam for seam in seams):
            seams.append(faint[best])
    return _cut(outline, across, seams)


def _cut(outline: Floats, across: Floats, seams: list[Seam]) -> list[Floats]:
    rest, made = outline, []
    for seam in sorted(seams, key=lambda seam: seam.offset):
        normal = np.array([-seam.direction[1], seam.direction[0]])
        normal = normal if normal @ across > 0 else -normal
        made.append(clip(rest, seam.point, normal))
        rest = clip(rest, seam.point, -normal)
    made.append(rest)
    return made if all(len(piece) >= 4 for piece in made) else [outline]


def chosen(valley: list[Seam], least: float) -> list[Seam]:
    """The seams among the valleys of one direction: those at least ``least`` deep, and what fits their pitch."""
    seams = [seam for seam in valley if seam.depth > least]
    if len(seams) > 1:
        pitch = float(np.median(np.diff(np.sort([seam.offset for seam in seams]))))
        seams = [
            seam
            for seam in seams
            if not any(
                abs(seam.offset - other.offset) < LEAST_SHARE * pitch and seam.depth < other.depth
                for other in seams
            )
        ]
        for seam in valley:
            nearest = min(abs(seam.offset - other.offset) for other in seams)
            if SHALLOW < seam.depth <= least and 0.75 * pitch < nearest < 1.33 * pitch:
                seams.append(seam)
    return seams


def contacts(outlines: Floats) -> Floats:
    """Where outlines (N, K, 2) px run along one another: outward unit normals (N, 2, 2), nan where none does.

    The two longest contacts of each outline count.
    """
    n, k = outlines.shape[:2]
    normals = np.full((n, 2, 2), np.nan)
    points = outlines.reshape(-1, 2)
    owner = np.repeat(np.arange(n), k)
    ahead = np.roll(outlines, -1, axis=1) - np.roll(outlines, 1, axis=1)
    turned = np.stack([ahead[..., 1], -ahead[..., 0]], axis=-1)
    inward = ((outlines.mean(axis=1, keepdims=True) - outlines) * turned).sum(axis=(1, 2)) > 0
    turned = np.where(inward[:, None, None], -turned, turned).reshape(-1, 2)
    near: dict[tuple[int, int], set[int]] = {}
    for a, b in cKDTree(points).query_pairs(CONTACT_PX):
        i, j = int(owner[a]), int(owner[b])
        if i != j:
            near.setdefault((i, j), set()).add(a)
            near.setdefault((j, i), set()).add(b)
    longest: dict[int, list[tuple[int, Floats]]] = {}
    for (i, _), members in near.items():
        if len(members) >= CONTACT_SHARE * k:
            normal = turned[sorted(members)].sum(axis=0)
            longest.setdefault(i, []).append(
                (len(members), normal / max(float(np.linalg.norm(normal)), 1e-9))
            )
    for i, sides in longest.items():
        for slot, (_, normal) in enumerate(sorted(sides, key=lambda side: -side[0])[:2]):
            normals[i, slot] = normal
    return normals


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
