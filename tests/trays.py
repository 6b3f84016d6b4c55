"""Trays for tests: results made from known solids, and a plain drawing of what the camera would have seen.

Here the truth is given, not measured, so that what shows results (JSON, table, picture, page) is tested on
its own. The sizes are invented.
"""

from __future__ import annotations

import cv2
import numpy as np

from cutcheck.camera import Camera
from cutcheck.records import (
    BudgetLine,
    CutName,
    Measure,
    PhotoInfo,
    Piece,
    Result,
    Scale,
    Score,
    SideScore,
    Suggestion,
    Verdict,
)

WIDTH, HEIGHT = 1600, 1200


def camera(tilt_deg: float = 15.0) -> Camera:
    """A phone's camera 360 mm above the board."""
    t = np.radians(tilt_deg)
    rotation = np.array([[1, 0, 0], [0, np.cos(t), -np.sin(t)], [0, np.sin(t), np.cos(t)]])
    return Camera(1250.0, (WIDTH - 1) / 2, (HEIGHT - 1) / 2, 0.0, 0.0, rotation, np.array([0.0, 0.0, 360.0]))


def piece(
    number: int,
    x: float,
    y: float,
    turn: float,
    mm: tuple[float, float, float],
    verdict: Verdict | None,
    *,
    height_seen: bool = True,
    flags: tuple[str, ...] = (),
    seen_by: Camera | None = None,
) -> Piece:
    """A box at (x, y) mm, turned by ``turn`` rad, as a measured piece; its outline is that of the solid."""
    cam = seen_by or camera()
    length, width, height = mm
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [length / 2, width / 2]
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    plan = corners @ spin.T + [x, y]
    top, foot = cam.project_at(plan, height), cam.project_at(plan, 0.0)
    hull = cv2.convexHull(np.vstack([top, foot]).astype(np.float32)).reshape(-1, 2)
    conformity = {"in": 0.98, "out": 0.02, "unsure": 0.5, "offcut": None, None: None}[verdict]
    return Piece(
        number=number,
        centre_px=pair(cam.project_at(np.array([[x, y]]), height)[0]),
        outline_px=tuple(pair(point) for point in hull),
        shape="box",
        length=Measure(length, 0.12),
        width=Measure(width, 0.11),
        height=Measure(height, 0.2) if height_seen else Measure(None, None, seen=False),
        verdict=verdict,
        conformity=conformity,
        flags=flags,
        budget=(BudgetLine("length", "edge", 0.04), BudgetLine("length", "scale", 0.03)),
        top_px=tuple(pair(point) for point in top),
    )


def pair(point: np.ndarray) -> tuple[float, float]:
    """An array of two as a point."""
    return float(point[0]), float(point[1])


def tray(count: int = 12, seed: int = 3) -> Result:
    """A tray of small dice with some too large, some in doubt and one offcut."""
    rng = np.random.default_rng(seed)
    columns = int(np.ceil(np.sqrt(count * 1.4)))
    pitch = 230.0 / columns
    pieces = []
    for k in range(count):
        x, y = -95 + pitch * (k % columns), -70 + pitch * (k // columns)
        scale = min(1.0, pitch / 16)
        mm = tuple(sorted(rng.normal(6.35, 0.3, 2) * scale, reverse=True))
        verdict: Verdict = ("in", "in", "out", "in", "unsure", "in", "offcut")[k % 7]  # type: ignore[assignment]
        size = (float(mm[0]), float(mm[1]), float(rng.normal(6.35, 0.3) * scale))
        pieces.append(piece(k + 1, x, y, rng.uniform(0, np.pi), size, verdict))
    side = SideScore("length", (5.35, 7.35), 6.52, 0.31, count, 0.75, "length")
    return Result(
        photo=PhotoInfo("tray.jpg", "0" * 64, WIDTH, HEIGHT, "2026-03-04T10:20:30"),
        scale=Scale("card", (3,), 0.288, 15.0, 0.11, 1250.0, "exif", (((10.0, 900.0), (400.0, 900.0),
              (400.0, 1150.0), (10.0, 1150.0)),)),
        pieces=tuple(pieces),
        cut=CutName("small-dice", "inch"),
        suggested=Suggestion("small-dice", 0.93),
        score=Score(72.4, 68.1, 76.9, 0.66, 0.81, 0.9, count - 1,
                    (side, SideScore("width", (5.35, 7.35), 6.2, 0.28, count, 0.8, "width"))),
        advice=("The pieces are right on average but uneven.",),
        warnings=("The print was not checked with a ruler.",),
    )  # fmt: skip


def photo(result: Result, board: tuple[int, int, int] = (236, 238, 240)) -> np.ndarray:
    """A plain drawing of the tray's photo, (H, W, 3) uint8 BGR: flat orange pieces on a light board."""
    pixels = np.full((result.photo.height_px, result.photo.width_px, 3), board, np.uint8)
    for one in result.pieces:
        for outline, colour in ((one.outline_px, (20, 90, 200)), (one.top_px, (40, 130, 245))):
            points = np.round(np.array(outline) * 16).astype(np.int32)
            cv2.fillPoly(pixels, [points], colour, lineType=cv2.LINE_AA, shift=4)
    return pixels
