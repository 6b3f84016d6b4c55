"""Printed edges to sub-pixel, against edges whose place geometry gives exactly."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from drawing import Phone, develop
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.special import ndtr

from cutcheck.card import pocket_card
from cutcheck.edges import Stretches, edge_points, stretches_of

SCALE = 8.0  # px per mm, as a phone's photo has


def black_square(left: float, top: float, side: float, phone: Phone) -> NDArray[np.uint8]:
    """A black square on paper, 120 x 120 px, by a lens that blurs before the pixels gather the light.

    A step blurred by a Gaussian is the normal distribution; a pixel holds its mean over x - 0.5 to x + 0.5.
    """
    blur = phone.blur_px
    x = np.arange(120.0)

    def up_to(place: NDArray[np.float64]) -> NDArray[np.float64]:  # the normal distribution's integral
        z = place / blur
        return place * ndtr(z) + blur * np.exp(-0.5 * z**2) / np.sqrt(2 * np.pi)

    def covered(start: float) -> NDArray[np.float64]:
        steps = [up_to(x + 0.5 - edge) - up_to(x - 0.5 - edge) for edge in (start, start + side)]
        return np.asarray(steps[0] - steps[1])

    light = 0.85 - 0.81 * covered(top)[:, None] * covered(left)[None]
    return develop(light.astype(np.float32), replace(phone, blur_px=0.0))


def seen_sides(photo: NDArray[np.uint8], left: float, top: float, side: float) -> NDArray[np.float64]:
    """Where the square's sides are seen: left, top, right, bottom, px, from a start that is 0.8 px off."""
    quad = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]]) * side / SCALE
    start, end = quad, np.roll(quad, -1, axis=0)
    length = np.linalg.norm(end - start, axis=1)
    sides = Stretches((start + end) / 2, (end - start) / length[:, None], 0.6 * length)
    seen = edge_points(photo, sides, lambda mm: mm * SCALE + np.array([left + 0.8, top - 0.8]), 10.0)
    assert seen.found.all()
    return np.array([seen.px[3, 0], seen.px[0, 1], seen.px[1, 0], seen.px[2, 1]])


def test_the_centre_of_the_first_pixel_is_zero() -> None:
    """A square that covers pixels 30 to 69 has its edges at 29.5 and 69.5: no half pixel amiss."""
    photo = np.full((120, 120, 3), 240, np.uint8)
    photo[30:70, 30:70] = 20
    assert seen_sides(photo, 29.5, 29.5, 40.0) == pytest.approx([29.5, 29.5, 69.5, 69.5], abs=0.005)


@settings(max_examples=40, deadline=None)
@given(left=st.floats(35, 45), top=st.floats(35, 45), side=st.floats(36, 48), blur=st.floats(0.5, 2.2))
def test_edges_are_found_wherever_they_lie_between_pixels(
    left: float, top: float, side: float, blur: float
) -> None:
    """Blur in linear light moves no edge: within 0.04 px of the drawn place, at any sub-pixel position."""
    photo = black_square(left, top, side, Phone(blur_px=blur, noise=0.0, sharpen=0.0, falloff=0.0))
    truth = [left, top, left + side, top + side]
    assert seen_sides(photo, left, top, side) == pytest.approx(truth, abs=0.04)


@settings(max_examples=20, deadline=None)
@given(left=st.floats(35, 45), sharpen=st.floats(0.2, 0.8))
def test_sharpening_moves_opposite_edges_by_the_same(left: float, sharpen: float) -> None:
    """A phone's sharpening makes black smaller or larger, all round alike: the middle stays in place."""
    photo = black_square(left, 40.0, 40.0, Phone(noise=0.0, sharpen=sharpen, falloff=0.0))
    seen = seen_sides(photo, left, 40.0, 40.0)
    assert (seen[0] + seen[2]) / 2 == pytest.approx(left + 20.0, abs=0.03)
    growth = np.array([left - seen[0], 40.0 - seen[1], seen[2] - left - 40.0, seen[3] - 80.0])
    assert np.ptp(growth) < 0.06
    assert np.abs(growth).max() < 0.3


def test_the_blur_is_told() -> None:
    """A Gaussian step rises from 10 to 90 % over 2.563 standard deviations (table of the normal)."""
    for blur in (1.0, 1.5, 2.0):
        photo = black_square(40.0, 40.0, 40.0, Phone(blur_px=blur, noise=0.0, sharpen=0.0, falloff=0.0))
        quad = np.array([[0.0, 0.0], [5.0, 0.0]])
        side = Stretches(quad.mean(axis=0)[None], np.array([[1.0, 0.0]]), np.array([3.0]))
        seen = edge_points(photo, side, lambda mm: mm * SCALE + 40.0, 10.0)
        pixel = 1 / np.sqrt(12)  # a pixel is a box of its own
        assert seen.width_px[0] == pytest.approx(2.563 * np.hypot(blur, pixel), rel=0.05)


def test_no_edge_is_found_where_there_is_none() -> None:
    """On bare paper with noise nothing is found, and outside the photo neither."""
    noise = np.random.default_rng(3).normal(200, 2, (120, 120, 3))
    card = stretches_of(pocket_card(0))
    assert not edge_points(noise.astype(np.uint8), card, lambda mm: mm + 60.0, 10.0).found.any()
    assert not edge_points(noise.astype(np.uint8), card, lambda mm: mm + 900.0, 10.0).found.any()


def test_white_lies_to_the_left_of_every_stretch() -> None:
    """Half a millimetre to the left of each stretch is paper, to the right black, as OpenCV draws tags."""
    card = pocket_card(9)
    per_mm = 20
    picture = np.full((74 * per_mm, 105 * per_mm), 255, np.uint8)
    origin = np.array(card.size_mm) / 2
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    for tag, corners in card.squares.items():
        x, y = np.round((corners[0] + origin) * per_mm).astype(int)
        picture[y : y + 480, x : x + 480] = cv2.aruco.generateImageMarker(dictionary, tag, 480)
    for area in card.fields:
        left, top, right, bottom = (
            np.round((np.array(area).reshape(2, 2) + origin) * per_mm).astype(int).ravel()
        )
        picture[top:bottom, left:right] = 0
    stretches = stretches_of(card)
    left = np.column_stack([stretches.direction[:, 1], -stretches.direction[:, 0]])
    for sign, level in ((0.5, 255), (-0.5, 0)):
        x, y = np.floor((stretches.middle + sign * left + origin) * per_mm).astype(int).T
        assert (picture[y, x] == level).all()
