"""What outlines say of a piece: polygons and strips whose figures geometry gives."""

from __future__ import annotations

import numpy as np
import pytest
from drawing import Phone, develop
from hypothesis import given, settings
from hypothesis import strategies as st
from light.solids import feret
from numpy.typing import NDArray

from cutcheck.outlines import (
    area_and_perimeter,
    resample,
    sharpen,
    straighten,
    strip_middle,
    strip_sides,
)
from cutcheck.split import solidity

Floats = NDArray[np.float64]
NEVER_TIMED = settings(deadline=None, derandomize=True, max_examples=60)


def turned(points: Floats, angle: float, shift: tuple[float, float] = (0.0, 0.0)) -> Floats:
    """Points (N, 2) turned by ``angle`` rad and moved."""
    c, s = np.cos(angle), np.sin(angle)
    return np.asarray(points @ np.array([[c, s], [-s, c]]) + shift)


def rectangle(length: float, width: float) -> Floats:
    """Its corners, (4, 2), about the origin."""
    return 0.5 * np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]) * [length, width]


def bent_strip(length: float, width: float, angle: float, steps: int = 200) -> Floats:
    """A strip whose axis, ``length`` long, is an arc of ``angle`` rad: its outline, (2 (steps + 1), 2).

    Its area is L W and its two long edges together are 2 L (theorem of Pappus): the ends add 2 W.
    """
    radius = length / angle
    t = np.linspace(-angle / 2, angle / 2, steps + 1)
    unit = np.stack([np.sin(t), np.cos(t)], axis=-1)
    outline = np.concatenate([(radius + width / 2) * unit, (radius - width / 2) * unit[::-1]])
    return np.asarray(outline - [0.0, radius])


@NEVER_TIMED
@given(st.floats(2.0, 80.0), st.floats(0.5, 1.0), st.floats(0.0, 6.3))
def test_area_and_perimeter_of_a_rectangle(length: float, share: float, angle: float) -> None:
    """Length times width, and twice their sum, turned or not."""
    corners = turned(rectangle(length, share * length), angle, (400.0, 300.0))
    area, perimeter = area_and_perimeter(corners)
    assert area == pytest.approx(share * length**2, rel=1e-6)
    assert perimeter == pytest.approx(2.0 * (1.0 + share) * length, rel=1e-9)


@NEVER_TIMED
@given(st.floats(20.0, 90.0), st.floats(1.0, 6.0), st.floats(0.01, 3.0), st.floats(0.0, 6.3))
def test_a_strip_is_measured_along_its_axis(length: float, width: float, bend: float, angle: float) -> None:
    """Straight or bent up to 170 degrees, a strip has its axis' length and its width to 0.1 %."""
    outline = turned(bent_strip(length, width, bend), angle, (50.0, -20.0))
    long, short = strip_sides(outline)
    assert long == pytest.approx(length, rel=1e-3)
    assert short == pytest.approx(width, rel=1e-3)


def test_a_square_is_the_least_slender_strip() -> None:
    """Where area and perimeter are those of a square, both sides are equal, and a disc gives no error."""
    assert strip_sides(rectangle(6.0, 6.0)) == pytest.approx((6.0, 6.0))
    t = np.linspace(0.0, 2.0 * np.pi, 400, endpoint=False)
    long, short = strip_sides(np.stack([np.cos(t), np.sin(t)], axis=-1))
    assert long == short == pytest.approx(np.pi / 2, rel=1e-3)


@NEVER_TIMED
@given(st.floats(30.0, 90.0), st.floats(1.0, 6.0), st.floats(0.01, 2.5), st.floats(0.0, 6.3))
def test_the_middle_of_a_strip_is_on_its_axis(length: float, width: float, bend: float, angle: float) -> None:
    """The middle lies half-way along the axis, to two of the 96 steps round the outline."""
    outline = resample(turned(bent_strip(length, width, bend), angle, (9.0, 7.0)))
    step = 2.0 * (length + width) / len(outline)
    assert np.linalg.norm(strip_middle(outline) - [9.0, 7.0]) < 2.0 * step


def test_solidity_of_known_figures() -> None:
    """Area over that of the convex hull: 1 for a square; for an L of three of four squares, 3 over 3.5."""
    assert solidity(rectangle(5.0, 5.0)) == pytest.approx(1.0)
    ell = np.array([[0, 0], [2, 0], [2, 1], [1, 1], [1, 2], [0, 2]], float)
    assert solidity(ell) == pytest.approx(3.0 / 3.5)


@NEVER_TIMED
@given(st.floats(25.0, 60.0), st.floats(0.01, 0.04), st.floats(0.0, 6.3), st.sampled_from([-1.0, 1.0]))
def test_an_arc_is_straightened(length: float, share: float, angle: float, side: float) -> None:
    """A bow of 1 to 4 % of the length is found to 4 % of it and 0.05 mm, and the stick comes out straight.

    An arc of angle a over an axis of length L has the sagitta L / a (1 - cos a/2).
    """
    bend = 8.0 * share
    strip = bent_strip(length, 4.0, bend) * [1.0, side]
    sagitta = side * length / bend * (1.0 - np.cos(bend / 2))
    outline = resample(turned(strip, angle, (70.0, 30.0)))
    straight, found, normal = straighten(outline)
    bulge = np.array([-np.sin(angle), np.cos(angle)])
    assert abs(found * float(normal @ bulge) - sagitta) < 0.04 * abs(sagitta) + 0.05
    across = straight @ normal
    assert np.ptp(across) < 4.0 + 0.15 * abs(sagitta) + 0.1
    assert feret(straight)[0] == pytest.approx(np.hypot(length, 4.0), rel=0.02)


def test_a_straight_stick_is_left_alone() -> None:
    """A straight stick has no sagitta."""
    outline = resample(turned(rectangle(50.0, 5.0), 0.4))
    straight, sagitta, _ = straighten(outline)
    assert abs(sagitta) < 0.02
    assert np.abs(straight - outline).max() < 0.02


@NEVER_TIMED
@given(st.floats(3.0, 40.0), st.floats(0.2, 1.0), st.floats(0.0, 6.3))
def test_resampled_points_are_even_and_on_the_outline(length: float, share: float, angle: float) -> None:
    """Resampled points lie on the outline, one even step apart along it, and keep area and perimeter."""
    outline = turned(rectangle(length, share * length), angle)
    points = resample(outline, 400)
    step = 2.0 * (1.0 + share) * length / 400
    gaps = np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1)
    assert gaps.max() <= step * (1.0 + 1e-9)
    assert np.count_nonzero(gaps < 0.999 * step) <= 4  # those that cut a corner
    assert area_and_perimeter(points)[0] == pytest.approx(share * length**2, rel=0.01)


@pytest.mark.parametrize("off", [-1.2, -0.5, 0.0, 0.6, 1.2])
def test_an_outline_is_brought_to_the_edge(off: float) -> None:
    """An outline a pixel too small or too large round a drawn disc goes over half the way to its rim at once.

    It is held to where it was; done again and again it comes to the rim, to 0.1 px.
    """
    radius, middle = 40.3, np.array([63.4, 59.8])
    y, x = np.mgrid[: 8 * 120, : 8 * 128]
    inside = np.hypot((x + 0.5) / 8 - 0.5 - middle[0], (y + 0.5) / 8 - 0.5 - middle[1]) < radius
    light = 0.1 + 0.4 * inside.reshape(120, 8, 128, 8).mean(axis=(1, 3))
    picture = develop(light.astype(np.float32), Phone(sharpen=0.0, falloff=0.0), seed=5)
    t = np.linspace(0.0, 2.0 * np.pi, 96, endpoint=False)
    outline = middle + (radius + off) * np.stack([np.cos(t), np.sin(t)], axis=-1)
    away = []
    for _ in range(5):
        outline = sharpen(picture, outline[None])[0]
        away.append(np.linalg.norm(outline - middle, axis=1) - radius)
    assert abs(away[0].mean()) < 0.5 * abs(off) + 0.05
    assert abs(away[-1].mean()) < 0.1
    assert np.abs(away[-1]).max() < 0.2
