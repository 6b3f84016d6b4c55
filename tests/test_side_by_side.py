"""Sticks side by side: cut along the dark lines between them, and nowhere else."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from small_scene import placed, rectangle

from cutcheck.side_by_side import split_lengthwise

Floats = NDArray[np.float64]
LONG, WIDE = 300.0, 36.0  # of one stick, px
SIZE = 640


def sticks(
    count: int, angle: float, gap: float, shift: float, seed: int, shaded: float = 0.0
) -> tuple[NDArray[np.uint8], Floats]:
    """A drawn row of sticks side by side, each ``shift`` px further along, and its outline (N, 2).

    Between them lies ``gap`` px of dark; the lower ``shaded`` part of the last one is a darker side face.
    """
    rng = np.random.default_rng(seed)
    fine = 4
    light = np.full((SIZE * fine, SIZE * fine), 60.0, np.float32)
    mask = np.zeros((SIZE, SIZE), np.uint8)

    def corners(y0: float, y1: float, x: float) -> Floats:
        band = np.array([[x, y0], [x + LONG, y0], [x + LONG, y1], [x, y1]]) - [LONG / 2, 0.0]
        return placed(band, SIZE / 2, SIZE / 2, angle)

    def fill(y0: float, y1: float, x: float, tone: float) -> None:
        cv2.fillPoly(
            light, [np.round((corners(y0, y1, x) + 0.5) * fine * 16).astype(np.int32)], tone, shift=4
        )
        cv2.fillPoly(mask, [np.round(corners(y0, y1, x)).astype(np.int32)], 1)

    top = -count * WIDE / 2
    for k in range(count):
        fill(top + k * WIDE, top + (k + 1) * WIDE, k * shift, 190.0 + 5.0 * (k % 2))
    if shaded:
        low = top + count * WIDE
        fill(low - shaded * WIDE, low, (count - 1) * shift, 110.0)
    for k in range(1, count):
        middle = top + k * WIDE
        fill(middle - gap / 2, middle + gap / 2, max(k - 1, 0) * shift + shift / 2, 70.0)
    seen = cv2.GaussianBlur(cv2.resize(light, (SIZE, SIZE), interpolation=cv2.INTER_AREA), (0, 0), 0.8)
    pixels = np.repeat((seen + rng.normal(0.0, 1.5, seen.shape))[..., None], 3, axis=2)
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return pixels.round().clip(0, 255).astype(np.uint8), max(contours, key=len).reshape(-1, 2).astype(float)


@settings(deadline=None, derandomize=True, max_examples=25)
@given(
    st.integers(2, 4), st.floats(0.0, 180.0), st.floats(2.0, 3.5), st.floats(-20.0, 20.0), st.integers(0, 99)
)
def test_sticks_come_apart_along_their_gaps(
    count: int, angle: float, gap: float, shift: float, seed: int
) -> None:
    """Two to four sticks that touch, even or pushed along one another, become outlines of one stick each."""
    parts = split_lengthwise(*sticks(count, angle, gap, shift, seed))
    assert len(parts) == count
    areas = [cv2.contourArea(part.astype(np.float32)) for part in parts]
    assert areas == pytest.approx([LONG * WIDE] * count, rel=0.12)


@settings(deadline=None, derandomize=True, max_examples=25)
@given(st.floats(0.0, 180.0), st.floats(0.25, 0.5), st.integers(0, 99))
def test_one_stick_with_a_dark_side_stays_one(angle: float, shaded: float, seed: int) -> None:
    """The step from a stick's light top to its dark side is no gap between two."""
    pixels, outline = sticks(1, angle, 0.0, 0.0, seed, shaded=shaded)
    (part,) = split_lengthwise(pixels, outline)
    assert part is outline


def test_a_line_across_or_half_way_is_no_gap() -> None:
    """A dark line across a stick, or one that runs less than half its length, parts nothing."""
    pixels, outline = sticks(1, 0.0, 0.0, 0.0, 3)
    middle = SIZE // 2
    pixels[middle - 20 : middle + 20, middle - 1 : middle + 2] = 60
    pixels[middle - 1 : middle + 2, middle - 140 : middle - 10] = 60
    assert len(split_lengthwise(pixels, outline)) == 1


def test_parts_of_an_outline_are_the_whole() -> None:
    """What is cut apart has together the area of the outline: nothing is lost and nothing twice."""
    pixels, outline = sticks(3, 25.0, 3.0, 10.0, 5)
    parts = split_lengthwise(pixels, outline)
    total = sum(cv2.contourArea(part.astype(np.float32)) for part in parts)
    assert total == pytest.approx(cv2.contourArea(outline.astype(np.float32)), rel=0.01)


def test_a_small_or_square_outline_is_left_alone() -> None:
    """What is too small to hold a line, or no longer than wide, comes back as it is."""
    pixels = np.full((SIZE, SIZE, 3), 128, np.uint8)
    for sides in ((40.0, 10.0), (60.0, 60.0), (400.0, 20.0)):
        outline = placed(rectangle(*sides), 320.0, 320.0, 10.0)
        assert split_lengthwise(pixels, outline)[0] is outline
