"""Edges to sub-pixel: blurred steps drawn at known places, in the light that a sensor sees."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates
from scipy.special import erf

from cutcheck.light import LINEAR32
from cutcheck.profiles import STEP_PX, peak, profiles, sample, slopes

Floats = NDArray[np.float64]
SIDE = 64
HALF = 13
NEVER_TIMED = settings(deadline=None, derandomize=True, max_examples=60)


def encoded(linear: Floats) -> NDArray[np.uint8]:
    """Linear light as sRGB codes (IEC 61966-2-1), three equal channels."""
    code = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.repeat(np.round(255.0 * code).astype(np.uint8)[..., None], 3, axis=2)


def step_picture(
    angle: float, place: float, blur: float, low: float = 0.05, high: float = 0.6
) -> tuple[NDArray[np.uint8], Floats, Floats]:
    """A step from ``low`` to ``high`` across a straight edge: the picture, a point of the edge, its normal.

    A step blurred by a Gaussian is the error function.
    """
    normal = np.array([np.cos(angle), np.sin(angle)])
    point = np.full(2, (SIDE - 1) / 2) + place * normal
    y, x = np.mgrid[:SIDE, :SIDE]
    off = (x - point[0]) * normal[0] + (y - point[1]) * normal[1]
    return encoded(low + (high - low) * 0.5 * (1.0 + erf(off / (blur * np.sqrt(2.0))))), point, normal


@NEVER_TIMED
@given(st.floats(0.0, 2.0 * np.pi), st.floats(-1.0, 1.0), st.floats(0.9, 1.6), st.floats(-0.7, 0.7))
def test_a_blurred_step_is_found(angle: float, place: float, blur: float, start: float) -> None:
    """At any angle and place, a step is found within 0.1 px from twelve profiles along 16 px of it."""
    picture, point, normal = step_picture(angle, place, blur)
    tangent = np.array([-normal[1], normal[0]])
    along = np.linspace(-8.0, 8.0, 12)
    points = point + start * normal + along[:, None] * tangent
    found, _ = peak(slopes(profiles(picture, points, np.tile(normal, (12, 1)), HALF)).mean(axis=(0, 2))[None])
    assert abs(float(found[0]) + start) < 0.1


def test_steps_are_found_without_much_bias() -> None:
    """Over 200 edges at random angles and places the mean error is under 0.06 px, bright or dark inside.

    Codes are interpolated before they are decoded, which moves a strong edge by some 0.04 px to the light.
    """
    rng = np.random.default_rng(8)
    for low, high in ((0.05, 0.6), (0.6, 0.05)):
        errors = []
        for _ in range(100):
            picture, point, normal = step_picture(
                float(rng.uniform(0, 6.28)), float(rng.uniform(-1, 1)), 0.9, low, high
            )
            points = point + np.linspace(-8.0, 8.0, 12)[:, None] * [-normal[1], normal[0]]
            slope = slopes(profiles(picture, points, np.tile(normal, (12, 1)), HALF)).mean(axis=(0, 2))
            errors.append(float(peak(np.abs(slope)[None])[0][0]))
        assert abs(np.mean(errors)) < 0.06


@pytest.mark.parametrize("angle", [0.0, 0.5, 1.2, 2.6, 4.4])
def test_either_side_may_be_the_bright_one(angle: float) -> None:
    """A bright-to-dark edge lies where the dark-to-bright one does, and its slope has the other sign."""
    up, point, normal = step_picture(angle, 0.3, 1.1)
    down, _, _ = step_picture(angle, 0.3, 1.1, low=0.6, high=0.05)
    tangent = np.array([-normal[1], normal[0]])
    points = point + np.linspace(-6.0, 6.0, 12)[:, None] * tangent
    rise, fall = (
        slopes(profiles(p, points, np.tile(normal, (12, 1)), HALF)).mean(axis=(0, 2)) for p in (up, down)
    )
    assert rise[HALF] > 0.1 > -0.1 > fall[HALF]
    assert float(peak(rise[None])[0][0]) == pytest.approx(0.0, abs=0.05)
    assert float(peak(-fall[None])[0][0]) == pytest.approx(0.0, abs=0.05)


@NEVER_TIMED
@given(st.floats(-0.2, 0.2), st.floats(0.0, 1.0))
def test_slope_of_a_ramp_is_its_slope(rise: float, level: float) -> None:
    """The derivative of a straight ramp is its rise per pixel, sign and scale; of a flat it is none."""
    s = np.arange(-HALF, HALF + 1) * STEP_PX
    ramp = (level + rise * s)[:, None].astype(np.float32) * np.ones(3, np.float32)
    assert slopes(ramp)[3:-3] == pytest.approx(np.full((2 * HALF - 5, 3), rise), abs=2e-5)


@NEVER_TIMED
@given(st.integers(0, 2**31), st.floats(-0.49, 0.49))
def test_sample_is_bilinear(seed: int, shift: float) -> None:
    """Between pixels a sample is the bilinear value of the codes (SciPy's map_coordinates), decoded.

    OpenCV rounds places to 1/32 px and values to a code, hence the two codes allowed.
    """
    rng = np.random.default_rng(seed)
    picture = rng.integers(40, 220, (20, 30, 3), dtype=np.uint8)
    # Smooth, so that 1/64 px is less than a code.
    ramp = np.linspace(60, 180, 30)[None, :, None] + np.linspace(0, 30, 20)[:, None, None]
    picture = (0.1 * picture + 0.8 * ramp).astype(np.uint8)
    px = rng.uniform([1, 1], [28, 18], (40, 2)) + shift
    expected = np.stack(
        [map_coordinates(picture[..., c].astype(float), [px[:, 1], px[:, 0]], order=1) for c in range(3)],
        axis=-1,
    )
    got = sample(picture, px)
    low = LINEAR32[np.floor(expected - 1.5).astype(int)]
    high = LINEAR32[np.ceil(expected + 1.5).astype(int)]
    assert ((got >= low) & (got <= high)).all()


def test_sample_at_a_pixel_is_that_pixel() -> None:
    """Whole numbers are the centres of pixels, x before y."""
    picture = np.random.default_rng(3).integers(0, 256, (9, 14, 3), dtype=np.uint8)
    got = sample(picture, np.array([[13.0, 0.0], [0.0, 8.0], [5.0, 2.0]]))
    assert got.tolist() == LINEAR32[picture[[0, 8, 2], [13, 0, 5]]].tolist()


def test_any_number_of_places_may_be_sampled() -> None:
    """None, one and more than a whole row of remapping at once keep their order and their shape."""
    picture = np.random.default_rng(4).integers(0, 256, (50, 60, 3), dtype=np.uint8)
    assert sample(picture, np.zeros((0, 2))).shape == (0, 3)
    y, x = np.mgrid[:50, :60]
    px = np.stack([np.tile(x, (4, 1)), np.tile(y, (4, 1))], axis=-1).astype(float)
    assert np.array_equal(sample(picture, px), LINEAR32[np.tile(picture, (4, 1, 1))])


@NEVER_TIMED
@given(st.floats(-3.0, 3.0), st.floats(0.5, 5.0))
def test_peak_of_a_parabola_is_its_top(top: float, height: float) -> None:
    """Three points of a parabola give its top exactly."""
    s = np.arange(-HALF, HALF + 1) * STEP_PX
    at, _ = peak((height - (s - top) ** 2)[None])
    assert float(at[0]) == pytest.approx(top, abs=1e-9)
