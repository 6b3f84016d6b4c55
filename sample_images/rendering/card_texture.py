"""The reference card and mats, drawn as grey pictures at true size."""

from __future__ import annotations

import cv2
import numpy as np

PX_PER_MM = 20
TAG_MM = 24.0
CARD_MM = (105.0, 74.0)
CARD_TAGS = [(-34.5, -21.0), (34.5, -21.0), (34.5, 21.0), (-34.5, 21.0)]
GREYS = (40, 100, 160, 220)
A4_MM, LETTER_MM = (210.0, 297.0), (215.9, 279.4)
MATS: dict[str, tuple[tuple[float, float], int, list[tuple[float, float]]]] = {
    "a4": (A4_MM, 500, [(-87, -130.5), (0, -130.5), (87, -130.5), (87, -43.5), (87, 43.5), (87, 130.5),
                        (0, 130.5), (-87, 130.5), (-87, 43.5), (-87, -43.5)]),
    "letter": (LETTER_MM, 520, [(-90, -121.7), (0, -121.7), (90, -121.7), (90, -40.6), (90, 40.6),
                                (90, 121.7), (0, 121.7), (-90, 121.7), (-90, 40.6), (-90, -40.6)]),
}


def _sheet(size_mm: tuple[float, float]) -> np.ndarray:
    return np.full((round(size_mm[1] * PX_PER_MM), round(size_mm[0] * PX_PER_MM)), 255, np.uint8)


def _put_tag(sheet: np.ndarray, size_mm: tuple[float, float], tag: int, centre: tuple[float, float]) -> None:
    side = round(TAG_MM * PX_PER_MM)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    x = round((centre[0] + size_mm[0] / 2 - TAG_MM / 2) * PX_PER_MM)
    y = round((centre[1] + size_mm[1] / 2 - TAG_MM / 2) * PX_PER_MM)
    sheet[y:y + side, x:x + side] = cv2.aruco.generateImageMarker(dictionary, tag, side)


def _fill(sheet: np.ndarray, size_mm: tuple[float, float], x0: float, y0: float, x1: float, y1: float,
          grey: int) -> None:
    x, y = size_mm[0] / 2, size_mm[1] / 2
    sheet[round((y0 + y) * PX_PER_MM):round((y1 + y) * PX_PER_MM),
          round((x0 + x) * PX_PER_MM):round((x1 + x) * PX_PER_MM)] = grey


def pocket_card(number: int) -> np.ndarray:
    """(1480, 2100) uint8, card `number` (0 to 124) at 20 px to the mm."""
    if not 0 <= number <= 124:
        raise ValueError(f"card number {number}: give one from 0 to 124")
    sheet = _sheet(CARD_MM)
    for k, centre in enumerate(CARD_TAGS):
        _put_tag(sheet, CARD_MM, 4 * number + k, centre)
    for row in range(8):
        for column in range(6):
            if (row + column) % 2 == 0:
                x, y = -18 + 6 * column, -24 + 6 * row
                _fill(sheet, CARD_MM, x, y, x + 6, y + 6, 0)
    for k, grey in enumerate(GREYS):
        _fill(sheet, CARD_MM, -18 + 9 * k, 26, -9 + 9 * k, 33, grey)
    cv2.putText(sheet, f"card {number}", (round((52.5 - 6) * PX_PER_MM), round((37 - 27.5) * PX_PER_MM)),
                cv2.FONT_HERSHEY_SIMPLEX, 2.2, 0, 4, cv2.LINE_AA)
    return sheet


def mat(paper: str) -> np.ndarray:
    """uint8 picture of the A4 or Letter mat at 20 px to the mm."""
    size, first, centres = MATS[paper]
    sheet = _sheet(size)
    for k, centre in enumerate(centres):
        _put_tag(sheet, size, first + k, centre)
    return sheet


def soften(sheet: np.ndarray, sigma_mm: float = 0.06) -> np.ndarray:
    """The print as ink leaves it, a little soft at its edges; blurred in linear light, back to sRGB uint8."""
    coded = sheet.astype(np.float32) / 255
    linear = np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)
    linear = cv2.GaussianBlur(linear, (0, 0), sigma_mm * PX_PER_MM)
    coded = np.where(linear <= 0.0031308, 12.92 * linear,
                     1.055 * np.maximum(linear, 1e-6) ** (1 / 2.4) - 0.055)
    return np.round(coded * 255).astype(np.uint8)


def tag_corners(centre: tuple[float, float]) -> np.ndarray:
    """(4, 2) mm, outer corners of the tag at `centre`, in the order in which OpenCV reports them."""
    h = TAG_MM / 2
    return np.array(centre) + np.array([[-h, -h], [h, -h], [h, h], [-h, h]])
