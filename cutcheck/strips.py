"""Ribbons and rough chunks: pieces of no set shape, measured from their outline alone."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cutcheck.boxes import Made
from cutcheck.budget import CAUSES, ROUGHNESS_MM, camera_part
from cutcheck.camera import Camera, Floats
from cutcheck.classify import Outlined
from cutcheck.outlines import strip_middle, strip_sides
from cutcheck.piece import make_piece
from cutcheck.records import Piece, Shape


def measure_strips(
    pixels: NDArray[np.uint8], camera: Camera, shaped: Outlined, index: NDArray[np.int_], scale_u: float
) -> Made:
    """The outlines ``index`` measured along and across their axis: pieces, each with its outline."""
    pieces = []
    for i in index:
        long, short = strip_sides(shaped.flat[i])
        pieces.append(
            (int(i), _flat_piece("ribbon", long, short, 0.3 * short, camera, shaped.outlines[i], scale_u))
        )
    return pieces


def _flat_piece(
    kind: Shape, long: float, short: float, level: float, camera: Camera, outline: Floats, scale_u: float
) -> Piece:
    """A piece measured from its outline alone, whose rim lies ``level`` mm up, give or take as much."""
    centre = strip_middle(outline) if kind == "ribbon" else outline.mean(axis=0)
    mm_per_px = float(camera.mm_per_px(centre[None], level)[0])
    rise = level / max(float(camera.centre_mm[2]), 1.0)
    slant = float(
        np.linalg.norm(np.diff(camera.to_height(np.stack([centre, centre]), np.array([0.0, 1.0])), axis=0))
    )
    value = np.array([long, short, np.nan])
    parts = np.zeros((3, len(CAUSES)))
    parts[:2, 0] = 0.6 * mm_per_px
    parts[:2, 1] = 0.5 * rise * value[:2] + 0.6 * slant * level
    ends = np.stack([outline[np.argmin(outline[:, 0])], outline[np.argmax(outline[:, 0])]])
    share = camera_part(camera, ends[None, None], np.array([[level]]))[0, 0] / max(long, 1e-6)
    parts[:2, 2] = share * value[:2]
    parts[:2, 3] = scale_u * value[:2]
    parts[:2, 4] = ROUGHNESS_MM + 0.01 * value[:2]
    return make_piece(kind, value, parts, centre, outline, outline, 0.0)
