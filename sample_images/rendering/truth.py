"""What is known exactly about each rendered photo, as JSON beside it."""

from __future__ import annotations

import numpy as np

from .camera import Camera
from .solids import Piece


def side_height_px(piece: Piece, camera: Camera) -> float:
    """How many px high the best-seen side face appears (0 where no side faces the camera)."""
    top, bottom = camera.project(piece.top), camera.project(piece.bottom)
    top2, bottom2 = np.roll(top, -1, 0), np.roll(bottom, -1, 0)
    d1, d2 = bottom2 - top, bottom - top2
    area = 0.5 * (d1[:, 1] * d2[:, 0] - d1[:, 0] * d2[:, 1])  # positive where the face is turned to us
    base = 0.5 * (np.linalg.norm(top2 - top, axis=1) + np.linalg.norm(bottom2 - bottom, axis=1))
    return float(max(0.0, (area / np.maximum(base, 1e-9)).max()))


def of_piece(piece: Piece, camera: Camera) -> dict:
    """One piece's entry: mm in the board frame, px of the upright photo."""
    top, bottom = camera.project(piece.top), camera.project(piece.bottom)
    both = np.concatenate([top, bottom])
    inside = ((both > -0.5) & (both < [camera.width - 0.5, camera.height - 0.5])).all()
    return {
        "shape": piece.shape, "length_mm": round(piece.length, 4), "width_mm": round(piece.width, 4),
        "height_mm": round(piece.height, 4), "centre_px": _round(camera.project(piece.centre[None])[0], 2),
        "centre_mm": _round(piece.centre[:2], 3), "angle_deg": round(piece.angle_deg, 2),
        "bow_mm": round(piece.bow, 3), "top_outline_px": _round(top, 2),
        "bottom_outline_px": _round(bottom, 2),
        "height_px": round(side_height_px(piece, camera), 2), "cut_off": not bool(inside),
        "touches": piece.touches, "group": piece.group,
    }


def of_camera(camera: Camera) -> dict:
    return {"f_px": camera.f, "cx": camera.cx, "cy": camera.cy, "k1": camera.k1, "k2": camera.k2,
            "R": camera.R.tolist(), "t": camera.t.tolist()}


def _round(values: np.ndarray, digits: int) -> list:
    return np.round(np.asarray(values, float), digits).tolist()
