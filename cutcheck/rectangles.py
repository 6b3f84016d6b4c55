"""Rectangles of known size in a photo, by their straight sides: a sheet of paper, an ID-1 card.

Candidates come from a reduced photo, by lightness, by colour and by edges; of each it is asked how well a
camera of that lens could see such a rectangle so, and how much of its outline is an edge.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from cutcheck.camera import Camera
from cutcheck.card import Rectangle, corners_of
from cutcheck.card_fit import camera_from_plane
from cutcheck.lens import KnownLens
from cutcheck.steps import steps

Floats = NDArray[np.float64]
Bytes = NDArray[np.uint8]

WORK_PX = 800  # longer side of the reduced photo
MISFIT = 0.03  # of the diagonal: how far off a candidate's corners may be from those of any such rectangle


@dataclass(frozen=True)
class FoundRectangle:
    """``corners`` (4, 2) px in the order of ``mm`` (4, 2); ``camera``: a first one; ``score``: how good."""

    corners: Floats
    mm: Floats
    camera: Camera
    score: float


def find_rectangle(
    pixels: Bytes,
    size_mm: tuple[float, float],
    height_mm: float,
    lens: KnownLens,
    *,
    share: tuple[float, float],
) -> FoundRectangle | None:
    """The best rectangle of this size, whose area is within ``share`` of the photo's, or None.

    The frame's x axis runs along the first of ``size_mm``, and as far to the right as that allows.
    """
    wide, high = size_mm
    mm = corners_of(Rectangle(-wide / 2, -high / 2, wide / 2, high / 2))
    best: FoundRectangle | None = None
    for quad in _quads(pixels, share):
        for turn in range(4):
            corners = np.roll(quad, -turn, axis=0)
            x_axis = corners[1] + corners[2] - corners[0] - corners[3]
            if turn >= 2 or x_axis[0] == 0:  # the two others are the same rectangle upside down
                continue
            if x_axis[0] < 0:
                corners = np.roll(corners, 2, axis=0)
            camera = camera_from_plane(mm, corners, height_mm, lens)
            off = camera.project_at(mm, height_mm) - corners
            diagonal = float(np.linalg.norm(corners[2] - corners[0]))
            misfit = float(np.sqrt((off**2).sum(axis=1).mean())) / diagonal
            if misfit > MISFIT or camera.tilt_deg > 60:
                continue
            seen = _outline_seen(pixels, corners)
            area = cv2.contourArea(corners.astype(np.float32)) / (pixels.shape[0] * pixels.shape[1])
            score = seen * (1 - (misfit / MISFIT) ** 2) * area**0.25
            if seen > 0.6 and (best is None or score > best.score):
                best = FoundRectangle(corners, mm, camera, score)
    return best


def _outline_seen(pixels: Bytes, corners: Floats) -> float:
    """How much of a rectangle's outline is an edge, of its weakest side: 0 to 1."""
    at, normal, side = along_sides(corners, 16, 0.12)
    reach = max(3.0, 0.02 * float(np.linalg.norm(corners[2] - corners[0])))
    seen = steps(pixels, at, normal, side, reach, width_px=max(1.0, reach / 6))
    return float(min(seen.found[side == k].mean() for k in range(4)))


def along_sides(corners: Floats, count: int, margin: float) -> tuple[Floats, Floats, NDArray[np.int64]]:
    """Points along a quadrilateral's sides, (N, 2), with outward normals (N, 2) and the side's number (N,).

    ``margin`` is the share of each side that is left out at both ends. Corners run clockwise as seen.
    """
    share = (np.arange(count) + 0.5) / count * (1 - 2 * margin) + margin
    ends = np.roll(corners, -1, axis=0)
    at = np.concatenate([a + (b - a) * share[:, None] for a, b in zip(corners, ends, strict=True)])
    unit = (ends - corners) / np.linalg.norm(ends - corners, axis=1, keepdims=True)
    normal = np.repeat(np.column_stack([unit[:, 1], -unit[:, 0]]), count, axis=0)
    return at, normal, np.repeat(np.arange(4), count)


def with_points_between(corners: Floats, pieces: int = 6) -> Floats:
    """A polygon (N, 2) with more points along its sides, for lenses bend them: (N * pieces, 2)."""
    share = np.arange(pieces)[:, None] / pieces
    ends = np.roll(corners, -1, axis=0)
    return np.concatenate([a + (b - a) * share for a, b in zip(corners, ends, strict=True)])


def _quads(pixels: Bytes, share: tuple[float, float]) -> list[Floats]:
    """Convex quadrilaterals (4, 2) px, clockwise as seen, whose area is within ``share`` of the photo's."""
    scale = min(1.0, WORK_PX / max(pixels.shape[:2]))
    size = (round(pixels.shape[1] * scale), round(pixels.shape[0] * scale))
    small = np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), np.uint8)
    total = size[0] * size[1]
    quads: list[Floats] = []
    for mask in _masks(small):
        contours, _ = cv2.findContours(mask, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
        for contour in contours:
            hull = np.asarray(cv2.convexHull(contour), np.int32)
            area = cv2.contourArea(hull)
            if not share[0] * total < area < share[1] * total:
                continue
            quad = _four_sides(contour[:, 0].astype(float), hull, area)
            if quad is None:
                continue
            quad = (quad + 0.5) * np.array([pixels.shape[1] / size[0], pixels.shape[0] / size[1]]) - 0.5
            if not any(np.abs(quad - other).max() < 0.01 * max(pixels.shape) for other in quads):
                quads.append(quad)
    return quads


def _masks(small: Bytes) -> list[Bytes]:
    lab = np.asarray(cv2.cvtColor(cv2.GaussianBlur(small, (0, 0), 1.0), cv2.COLOR_BGR2LAB), np.uint8)
    masks = []
    for channel in cv2.split(lab):
        _, mask = cv2.threshold(channel, 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
        masks += [mask, cv2.bitwise_not(mask)]
    colour = np.hypot(lab[..., 1].astype(np.float32) - 128, lab[..., 2].astype(np.float32) - 128)
    lightness = np.clip(lab[..., 0].astype(np.float32) - 2.0 * colour, 0, 255).astype(np.uint8)
    _, paper = cv2.threshold(lightness, 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
    masks.append(np.asarray(paper, np.uint8))
    strength = np.max(
        [cv2.Canny(np.ascontiguousarray(channel), 20, 60) for channel in cv2.split(lab)], axis=0
    )
    masks.append(cv2.bitwise_not(cv2.dilate(strength, np.ones((3, 3), np.uint8))))
    return [np.asarray(mask, np.uint8) for mask in masks]


def _four_sides(contour: Floats, hull: NDArray[np.int32], area: float) -> Floats | None:
    """The quadrilateral of straight sides that a contour (N, 2) follows, or None if it follows none."""
    around = cv2.arcLength(hull, True)
    for tolerance in (0.01, 0.02, 0.03, 0.05):
        rough = cv2.approxPolyDP(hull, tolerance * around, True)[:, 0].astype(float)
        if len(rough) <= 4:
            break
    if len(rough) != 4 or cv2.contourArea(rough.astype(np.float32)) < 0.85 * area:
        return None
    if cv2.contourArea(rough.astype(np.float32), True) < 0:
        rough = rough[::-1]
    ends = np.roll(rough, -1, axis=0)
    lines = []
    for a, b in zip(rough, ends, strict=True):
        side = float(np.linalg.norm(b - a))
        unit = (b - a) / max(side, 1e-9)
        along = (contour - a) @ unit
        off = np.abs((contour - a) @ np.array([-unit[1], unit[0]]))
        near = contour[(along > 0.12 * side) & (along < 0.88 * side) & (off < 0.04 * side + 2)]
        if len(near) < 0.3 * side:
            return None
        line = cv2.fitLine(near.astype(np.float32), cv2.DIST_HUBER, 0, 0.01, 0.01).ravel()
        lines.append(line)
    corners = []
    for (ax, ay, apx, apy), (bx, by, bpx, bpy) in zip(np.roll(lines, 1, axis=0), lines, strict=True):
        matrix = np.array([[ax, -bx], [ay, -by]])
        if abs(np.linalg.det(matrix)) < 1e-3:
            return None
        t = np.linalg.solve(matrix, np.array([bpx - apx, bpy - apy]))[0]
        corners.append([apx + t * ax, apy + t * ay])
    quad = np.array(corners)
    return quad if np.abs(quad - rough).max() < 0.2 * around / 4 else None
