"""Learning the surface: what is only shaded stays surface, what has another colour does not."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from cutcheck.surface import DEEP, distance2, learn_surface, log_colour, robust_spread

SIDE = 300  # px; 3 px to the mm, so 100 mm


def srgb(linear: NDArray[np.floating]) -> NDArray[np.uint8]:
    """8-bit sRGB of linear light, 0 to 1: IEC 61966-2-1."""
    light = np.clip(linear, 0, 1)
    coded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055)
    return np.round(coded * 255).astype(np.uint8)


def board(colour: tuple[float, float, float], seed: int = 0, noise: float = 0.01) -> NDArray[np.float64]:
    """A plain board, linear BGR, lit from one side (a third less light at the other), with noise."""
    rng = np.random.default_rng(seed)
    slope = np.linspace(1.0, 0.67, SIDE)[None, :, None]
    return np.asarray(np.array(colour) * slope * (1 + noise * rng.standard_normal((SIDE, SIDE, 3))))


def learned(picture: NDArray[np.floating]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Contrast and light of every pixel, the surface learned from the left rim."""
    bgr = srgb(picture)
    start = np.zeros((SIDE, SIDE), np.uint8)
    start[:, :40] = 1
    surface = learn_surface(bgr, log_colour(bgr), np.ones((SIDE, SIDE), np.uint8), start, 3.0)
    return surface.contrast, surface.light


COLOURS = [(0.75, 0.8, 0.8), (0.06, 0.25, 0.05), (0.3, 0.1, 0.03), (0.05, 0.05, 0.05)]


@pytest.mark.parametrize("colour", COLOURS)
def test_an_uneven_light_is_no_contrast(colour: tuple[float, float, float]) -> None:
    """A plain board under light that falls off by a third is surface all over."""
    contrast, _ = learned(board(colour))
    assert np.mean(contrast > 5.0) < 1e-3


@pytest.mark.parametrize("share", [0.7, 0.45, 0.25])
def test_shade_is_no_contrast_but_less_light(share: float) -> None:
    """A part of the board with a share of the light stays surface, and the log of that share is found."""
    picture = board((0.6, 0.7, 0.65))
    picture[100:140, 120:170] *= share
    contrast, light = learned(picture)
    assert np.median(contrast[105:135, 125:165]) < 3.0
    assert np.median(light[105:135, 125:165]) == pytest.approx(np.log(share), abs=0.05)


def test_shade_of_another_colour_is_still_shade() -> None:
    """In a room whose light is bluer than the lamp, shade is bluer than the board, and no piece for that."""
    picture = board((0.6, 0.7, 0.65))
    for row in range(20, 280, 40):
        picture[row : row + 15, 120:260] *= np.array([0.33, 0.30, 0.285])  # 15 % between blue and red
    contrast, _ = learned(picture)
    assert np.median(contrast[25:30, 130:250]) < 3.0


@settings(max_examples=25, deadline=None)
@given(
    colour=st.tuples(*[st.floats(0.05, 0.8)] * 3),
    tint=st.sampled_from([(1.0, 1.0, 1.25), (0.8, 1.0, 1.0), (1.0, 0.8, 1.0), (0.3, 0.8, 1.2)]),
    light=st.floats(0.6, 1.2),
)
def test_another_colour_stands_out(
    colour: tuple[float, float, float], tint: tuple[float, float, float], light: float
) -> None:
    """A patch whose channels differ by 20 % from the board's stands out, in more light or less.

    Only what is darker on a deeply coloured board may be shade, which deepens such a colour.
    """
    blue, green, red = np.log(colour)
    darker = np.log(np.multiply(tint, light)).mean() < -0.2
    assume(not darker or np.hypot(red - green, blue - green) < DEEP)
    picture = board(colour)
    picture[100:140, 120:170] *= np.array(tint) * light
    contrast, _ = learned(picture)
    assert np.median(contrast[105:135, 125:165]) > 5.0


def test_grain_is_part_of_the_surface() -> None:
    """Lines of wood, darker and redder, are within the surface's own texture."""
    rng = np.random.default_rng(1)
    grain = cv2.GaussianBlur(rng.standard_normal((SIDE, SIDE)), (0, 0), sigmaX=40.0, sigmaY=1.5)
    grain = grain / grain.std()
    picture = board((0.3, 0.45, 0.6)) * np.exp(0.1 * grain[..., None] * np.array([1.3, 1.0, 0.8]))
    contrast, _ = learned(picture)
    assert np.mean(contrast > 5.0) < 0.01


def test_distances_are_chi_square() -> None:
    """Squared distances of normal residuals have the mean of chi-square with three degrees of freedom: 3."""
    rng = np.random.default_rng(2)
    mix = np.array([[1.0, 0.0, 0.0], [0.5, 0.3, 0.0], [-0.2, 0.1, 0.7]])
    values = (rng.standard_normal((20000, 3)) @ mix.T).astype(np.float32)
    assert distance2(values, mix @ mix.T).mean() == pytest.approx(3.0, rel=0.03)


def test_spread_is_not_moved_by_strangers() -> None:
    """One value in five from elsewhere leaves the middle and the spread of the others as they are."""
    rng = np.random.default_rng(3)
    values = rng.normal(0.0, [0.1, 0.02, 0.03], (2000, 3))
    values[::5] += [2.0, 1.0, -1.0]
    middle, spread = robust_spread(values.astype(np.float32))
    assert np.abs(middle).max() < 0.05
    assert np.sqrt(np.diag(spread)) == pytest.approx([0.1, 0.02, 0.03], rel=0.35)
