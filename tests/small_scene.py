"""Small drawn photos of upright solids seen by a known camera: what the measuring rooms are given.

Faces are filled at eight times the size and averaged, so that an edge lies within a tenth of a
pixel; then comes what a phone adds. The truth is the solid that was drawn. Colours are linear light, BGR.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from drawing import Phone, camera_over, develop
from numpy.typing import NDArray

from cutcheck.blobs import Blob
from cutcheck.camera import Camera

Floats = NDArray[np.float64]
SIZE = (720, 560)
FINE = 8
CARROT = (0.03, 0.17, 0.50)
WHITE = (0.62, 0.64, 0.66)


@dataclass(frozen=True)
class Prism:
    """An upright prism: ``ring`` (N, 2) mm, counted either way round; its height, mm, or one each (N,)."""

    ring: Floats
    height: float | Floats
    colour: tuple[float, float, float] = CARROT


def over(tilt_deg: float, lean_deg: float = 40.0) -> Camera:
    """A camera 340 mm above the board, at about 8 px to the millimetre; the origin is in the middle."""
    return camera_over(SIZE, f35=128.0, above_mm=340.0, tilt_deg=tilt_deg, lean_deg=lean_deg)


def placed(ring: Floats, x: float, y: float, angle_deg: float) -> Floats:
    """A ring (N, 2) mm turned, then moved."""
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    return np.asarray(ring @ np.array([[c, s], [-s, c]]) + [x, y])


def rectangle(length: float, width: float) -> Floats:
    """The corners of a rectangle about the origin, (4, 2) mm."""
    return 0.5 * np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]) * [length, width]


def circle(diameter: float) -> Floats:
    """A circle about the origin, (240, 2) mm."""
    t = np.linspace(0.0, 2.0 * np.pi, 240, endpoint=False)
    return 0.5 * diameter * np.stack([np.cos(t), np.sin(t)], axis=-1)


def arc_strip(length: float, width: float, bend: float) -> Floats:
    """A strip whose axis, ``length`` mm long, is an arc of ``bend`` rad; its middle at the origin."""
    radius = length / bend
    t = np.linspace(-bend / 2, bend / 2, 41)
    unit = np.stack([np.sin(t), np.cos(t)], axis=-1)
    outline = np.concatenate([(radius + width / 2) * unit, (radius - width / 2) * unit[::-1]])
    return np.asarray(outline - [0.0, radius])


def photo(
    camera: Camera, solids: list[Prism], *, lines: list[tuple[Floats, float]] | None = None, seed: int = 0
) -> NDArray[np.uint8]:
    """The photo (H, W, 3) uint8 BGR; ``lines`` are dark strokes: points (K, 3) mm and their width, px."""
    canvas = np.empty((SIZE[1] * FINE, SIZE[0] * FINE, 3), np.float32)
    canvas[:] = WHITE
    eye = camera.centre_mm
    for solid in sorted(solids, key=lambda s: -float(np.linalg.norm(s.ring.mean(axis=0) - eye[:2]))):
        x, y = solid.ring.T
        turn = np.sign((x * np.roll(y, -1) - y * np.roll(x, -1)).sum())
        tall = np.broadcast_to(solid.height, len(solid.ring))
        after = np.roll(solid.ring, -1, axis=0), np.roll(tall, -1)
        for a, h, b, k in zip(solid.ring, tall, *after, strict=True):
            out = turn * np.array([(b - a)[1], -(b - a)[0]])
            if out @ (eye[:2] - a) > 0.0:
                face = np.column_stack([[a, b, b, a], [0.0, 0.0, k, h]])
                shade = 0.62 + 0.12 * out[0] / np.linalg.norm(out)
                _fill(canvas, camera.project(face), shade * np.array(solid.colour))
        _fill(canvas, camera.project_at(solid.ring, solid.height), np.array(solid.colour))
    for points, width in lines or []:
        ends = np.round(_fine(camera.project(points)) * 16).astype(np.int32)
        cv2.polylines(canvas, [ends], False, (0.01, 0.05, 0.16), round(width * FINE), cv2.LINE_8, 4)
    small = cv2.resize(canvas, SIZE, interpolation=cv2.INTER_AREA)
    return develop(small, Phone(blur_px=0.8, noise=0.004, sharpen=0.3, falloff=0.1), seed)


def blob(camera: Camera, solids: list[Prism], *, off_px: float = 0.0) -> Blob:
    """The outline of solids together, as finding would give it: ``off_px`` or less from the truth."""
    mask = np.zeros((SIZE[1] * 4, SIZE[0] * 4), np.uint8)
    for solid in solids:
        low, high = camera.project_at(solid.ring, 0.0), camera.project_at(solid.ring, solid.height)
        for k in range(len(low)):
            m = (k + 1) % len(low)
            _fill_mask(mask, np.stack([low[k], low[m], high[m], high[k]]))
        _fill_mask(mask, low)
        _fill_mask(mask, high)
    contour = max(cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0], key=cv2.contourArea)
    outline = (contour[:, 0].astype(float) + 0.5) / 4 - 0.5
    t = np.arange(len(outline)) * (2.0 * np.pi / len(outline))
    wave = np.stack([np.sin(5.0 * t + 1.0), np.cos(4.0 * t)], axis=-1) / np.sqrt(2.0)
    return Blob(outline + off_px * wave, 0.0, (0.0, 0.0), CARROT, 50.0)


def _fine(px: Floats) -> Floats:
    return np.asarray((px + 0.5) * FINE - 0.5)


def _fill(canvas: NDArray[np.float32], px: Floats, colour: Floats) -> None:
    corners = np.round(_fine(px) * 16).astype(np.int32)
    cv2.fillPoly(canvas, [corners], [float(c) for c in colour], cv2.LINE_8, 4)


def _fill_mask(mask: NDArray[np.uint8], px: Floats) -> None:
    cv2.fillPoly(mask, [np.round(((px + 0.5) * 4 - 0.5) * 16).astype(np.int32)], 255, cv2.LINE_8, 4)
