"""Rough chunks: prisms of any outline, measured by their Feret extents (ISO 13322-1).

A prism of height h and base B is seen as B and B moved by h b, the picture of the upright. So its support
function is that of B plus h max(n.b, 0), and the inner edge between top and sides is the foot's outline moved
by h b: the height at which that line shows in the photo is the right one.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cutcheck.boxes import Made
from cutcheck.budget import CAUSES, ROUGHNESS_MM, camera_part, height_part
from cutcheck.camera import Camera, Floats
from cutcheck.classify import Outlined
from cutcheck.piece import make_piece
from cutcheck.profiles import sample
from cutcheck.records import Piece
from cutcheck.silhouette import affine_at

STEPS = 48
NEIGHBOURS = 7
INSIDE_PX = 2.5
CLEAR = 1.6  # how far the best height's line must stand out of the others'
EDGE_PX = 1.0
FORM_SHARE = 0.07  # how far a rough chunk is from a prism, in parts of its extent


def measure_rough(
    pixels: NDArray[np.uint8], camera: Camera, shaped: Outlined, index: NDArray[np.int_], scale_u: float
) -> Made:
    """The outlines ``index`` measured by their Feret extents: pieces, each with the outline it came from."""
    return [(int(i), _one(pixels, camera, shaped, int(i), scale_u)) for i in index]


def _one(pixels: NDArray[np.uint8], camera: Camera, shaped: Outlined, i: int, scale_u: float) -> Piece:
    outline = shaped.outlines[i]
    middle = outline.mean(axis=0)
    affine = affine_at(camera, middle[None], 0.0)
    a, b = affine.a[0], affine.b[0]
    breadth = float(shaped.breadth[i])
    height, seen = _height(pixels, outline, b, breadth)
    level = height if seen else 0.7 * breadth
    # Half of the silhouette is the top's, half the foot's: the scale is taken between them.
    a = affine_at(camera, middle[None], 0.5 * level).a[0]
    phi = np.arange(360) * (np.pi / 180.0)
    n = np.stack([np.cos(phi), np.sin(phi)], axis=-1)
    base = (outline @ n.T).max(axis=0) - level * np.maximum(n @ b, 0.0)
    across = (base + np.roll(base, 180))[:180]
    stretch = np.linalg.norm(n[:180] @ a, axis=-1)
    extents = across / stretch
    order = (int(np.argmax(extents)), int(np.argmin(extents)))
    rise = float(np.linalg.norm(b))
    height_u = EDGE_PX / max(rise, 1e-6) + 0.15 * level if seen else 0.35 * breadth
    value = np.array([extents[order[0]], extents[order[1]], height if seen else np.nan])
    parts = np.zeros((3, len(CAUSES)))
    for side, k in enumerate(order):
        parts[side, 0] = EDGE_PX / stretch[k]
        slope = abs(float(n[k] @ b)) / stretch[k] - extents[k] / max(float(camera.centre_mm[2]), 1.0)
        parts[side, 1] = abs(slope) * height_u
    parts[2, 0] = height_u
    top = middle + 0.5 * level * b
    ends = np.stack([outline[np.argmin(outline[:, 0])], outline[np.argmax(outline[:, 0])]])
    share = camera_part(camera, ends[None, None], np.array([[level]]))[0, 0] / max(float(value[0]), 1e-6)
    parts[:2, 2] = share * value[:2]
    if seen:
        parts[2, 2] = height_part(camera, (top - level * b)[None], top[None], np.array([height]))[0]
        parts[2, 3] = scale_u * height
    parts[:2, 3] = scale_u * value[:2]
    parts[:2, 4] = ROUGHNESS_MM + FORM_SHARE * value[:2]
    parts[2, 4] = ROUGHNESS_MM
    return make_piece("irregular", value, parts, top, outline, outline, rise * height if seen else 0.0)


def _height(pixels: NDArray[np.uint8], outline: Floats, b: Floats, breadth: float) -> tuple[float, bool]:
    """The height, mm, whose inner edge shows best in the photo, and whether it does."""
    ahead = np.roll(outline, -2, axis=0) - np.roll(outline, 2, axis=0)
    normal = np.stack([ahead[:, 1], -ahead[:, 0]], axis=-1)
    normal = normal / np.maximum(np.linalg.norm(normal, axis=-1, keepdims=True), 1e-9)
    if ((outline - outline.mean(axis=0)) * normal).sum() < 0.0:
        normal = -normal
    rise = float(np.linalg.norm(b))
    foot = normal @ b < -0.3 * rise
    if rise * breadth < 8.0 or np.count_nonzero(foot) < NEIGHBOURS:
        return np.nan, False
    heights = np.linspace(0.08, 1.3, STEPS) * breadth
    place = outline[foot][None] + heights[:, None, None] * b
    across = 1.2 * normal[foot]
    step = sample(pixels, place + across) - sample(pixels, place - across)
    kernel = np.ones(NEIGHBOURS) / NEIGHBOURS
    smooth = np.apply_along_axis(lambda row: np.convolve(row, kernel, mode="same"), 1, step)
    shown = np.linalg.norm(smooth, axis=-1)
    phi = np.arange(48) * (2.0 * np.pi / 48)
    n = np.stack([np.cos(phi), np.sin(phi)])
    depth = ((outline @ n).max(axis=0) - place @ n).min(axis=-1)
    from_foot = heights[:, None] * -(normal[foot] @ b)
    inside = (depth > INSIDE_PX) & (from_foot > INSIDE_PX)
    count = inside.sum(axis=1)
    value = np.where(inside, shown, 0.0).sum(axis=1) / np.maximum(count, 1)
    value = np.where(count > 0.4 * np.count_nonzero(foot), value, 0.0)
    k = int(np.argmax(value))
    usual = float(np.median(value[value > 0.0])) if np.any(value > 0.0) else 0.0
    if not 0 < k < STEPS - 1 or value[k] < CLEAR * usual:
        return np.nan, False
    left, peak, right = value[k - 1 : k + 2]
    curve = left - 2.0 * peak + right
    shift = 0.5 * (left - right) / curve if curve < 0.0 else 0.0
    return float(heights[k] + np.clip(shift, -0.5, 0.5) * (heights[1] - heights[0])), True
