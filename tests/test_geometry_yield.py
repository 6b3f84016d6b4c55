"""Squaring off: the closed forms of solid geometry, and a Monte Carlo that knows none of them."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cutcheck.geometry_yield import Ellipsoid, Frustum, Solid, cut_boxes, cut_rounds, largest_edge

sizes = st.floats(20, 250)
shares = st.floats(0.2, 1.0)
frustums = st.builds(lambda d, taper, length: Frustum(d, d * taper, length), st.floats(15, 90), shares, sizes)
ellipsoids = st.builds(Ellipsoid, sizes, st.floats(15, 120), st.floats(15, 120))
solids = st.one_of(frustums, ellipsoids)
pieces = st.tuples(st.floats(1.5, 40), st.floats(1.5, 20), st.floats(1.5, 20))


def inside(solid: Solid, x: np.ndarray, y: np.ndarray, z: np.ndarray) -> np.ndarray:
    """Which of the points (N,) lie in the solid: its definition, written out anew."""
    if isinstance(solid, Ellipsoid):
        half = solid.length_mm / 2
        return ((x - half) / half) ** 2 + (2 * y / solid.width_mm) ** 2 + (2 * z / solid.height_mm) ** 2 <= 1
    radius = (solid.top_mm * (1 - x / solid.length_mm) + solid.tip_mm * x / solid.length_mm) / 2
    return (x >= 0) & (x <= solid.length_mm) & (y**2 + z**2 <= radius**2)


def thrown(solid: Solid, count: int, seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """``count`` points spread evenly over the box around a solid, mm."""
    rng = np.random.default_rng(seed)
    across, up = (
        (solid.width_mm, solid.height_mm) if isinstance(solid, Ellipsoid) else (solid.top_mm, solid.top_mm)
    )
    return (
        rng.uniform(0, solid.length_mm, count),
        rng.uniform(-across / 2, across / 2, count),
        rng.uniform(-up / 2, up / 2, count),
    )


@given(st.floats(5, 200), st.floats(5, 200), st.floats(5, 400))
def test_a_frustum_has_the_volume_of_the_textbook(top: float, tip: float, length: float) -> None:
    """A frustum of diameters D and d holds pi L (D^2 + D d + d^2) / 12 (solid geometry)."""
    wide, thin = max(top, tip), min(top, tip)
    expected = math.pi * length * (wide**2 + wide * thin + thin**2) / 12
    assert Frustum(wide, thin, length).volume() == pytest.approx(expected, rel=1e-12)


@given(st.floats(5, 300), st.floats(5, 300), st.floats(5, 300))
def test_an_ellipsoid_has_the_volume_of_the_textbook(length: float, width: float, height: float) -> None:
    """An ellipsoid of full axes L, W, H holds pi L W H / 6 (solid geometry)."""
    expected = math.pi * length * width * height / 6
    assert Ellipsoid(length, width, height).volume() == pytest.approx(expected, rel=1e-12)


@given(solids, st.lists(st.floats(0, 1), min_size=1, max_size=5))
def test_the_parts_of_a_solid_add_up_to_the_whole(solid: Solid, cuts: list[float]) -> None:
    """Cut across anywhere, the slices together hold what the whole does."""
    places = [0.0, *sorted(c * solid.length_mm for c in cuts), solid.length_mm]
    parts = sum(solid.volume(a, b) for a, b in pairwise(places))
    assert parts == pytest.approx(solid.volume(), rel=1e-9)


@given(st.floats(10, 80), st.floats(30, 200), st.integers(1, 12))
def test_the_largest_square_block_in_a_cylinder_keeps_two_over_pi(
    diameter: float, length: float, across: int
) -> None:
    """A courgette squared off in one section keeps 2/pi, 63.7 %, of its volume (solid geometry)."""
    side = diameter / math.sqrt(2) / across
    cut = cut_boxes(Frustum(diameter, diameter, length), length, side, side, longest_mm=length)
    assert cut.squared == pytest.approx(2 / math.pi, rel=1e-6)
    assert cut.kept == pytest.approx(2 / math.pi, rel=1e-6)
    assert cut.pieces == across**2


def test_squaring_off_a_round_carrot_loses_at_least_36_per_cent() -> None:
    """No cut of a round root keeps more than 2/pi: a cylinder is the best case."""
    assert 1 - 2 / math.pi == pytest.approx(0.363, abs=0.0005)
    for edge in (1.0, 2.0, 3.175, 6.35):
        assert cut_boxes(Frustum(30, 15, 180), edge, edge, edge).squared < 2 / math.pi


@given(st.floats(30, 200), st.floats(20, 120), st.floats(20, 120))
def test_the_largest_block_in_an_ellipsoid_keeps_two_over_pi_root_three(
    length: float, width: float, height: float
) -> None:
    """The block of L/sqrt 3 by W/sqrt 3 by H/sqrt 3 fits and keeps 2/(pi sqrt 3), 36.8 % (solid geometry)."""
    third = math.sqrt(3)
    cut = cut_boxes(Ellipsoid(length, width, height), length / third, width / third, height / third, length)
    assert cut.pieces == 1
    assert cut.kept == pytest.approx(2 / (math.pi * third), rel=1e-6)


@pytest.mark.parametrize(
    ("solid", "edge"),
    [
        (Ellipsoid(60, 60, 60), 60 / math.sqrt(3)),  # a ball of diameter d holds a cube of d / sqrt 3
        (Ellipsoid(76, 61, 61), 1 / math.sqrt(1 / 76**2 + 2 / 61**2)),  # its corner lies on the ellipsoid
        (Frustum(30, 30, 200), 30 / math.sqrt(2)),  # a cylinder of diameter d one of d / sqrt 2
        (Frustum(30, 30, 12), 12.0),  # unless it is too short
    ],
)
def test_the_largest_cube_in_a_solid_is_the_closed_form(solid: Solid, edge: float) -> None:
    """The largest cube that a vegetable holds, which tells a cook why a cut is too large."""
    assert largest_edge(solid) == pytest.approx(edge, abs=0.02)


@settings(max_examples=40, deadline=None)
@given(solids, pieces)
def test_every_block_lies_inside_the_vegetable(solid: Solid, piece: tuple[float, float, float]) -> None:
    """All eight corners of every squared block are in the vegetable, and blocks do not overlap."""
    cut = cut_boxes(solid, *piece)
    for section in cut.sections:
        x = np.repeat([section.start + 1e-6, section.end - 1e-6], 4)
        y = np.tile([-1, -1, 1, 1], 2) * (section.across / 2 - 1e-6)
        z = np.tile([-1, 1, -1, 1], 2) * (section.up / 2 - 1e-6)
        assert inside(solid, x, y, z).all()
    for first, second in pairwise(cut.sections):
        assert first.end <= second.start + 1e-9


@settings(max_examples=40, deadline=None)
@given(solids, pieces)
def test_pieces_fit_into_their_blocks(solid: Solid, piece: tuple[float, float, float]) -> None:
    """Of a vegetable a part is squared off, of that a part is whole pieces, and none is invented."""
    cut = cut_boxes(solid, *piece)
    length, width, height = piece
    assert 0 <= cut.kept <= cut.squared + 1e-9 <= 1 + 1e-9
    assert cut.pieces == sum(s.pieces for s in cut.sections)
    assert cut.kept * solid.volume() == pytest.approx(cut.pieces * length * width * height, rel=1e-9)
    for section in cut.sections:
        along = math.floor((section.end - section.start) / length + 1e-6)
        fit = along * math.floor(section.across / width + 1e-6) * math.floor(section.up / height + 1e-6)
        assert section.pieces <= fit
        assert section.end - section.start <= max(50.0, length) + 1e-6


@pytest.mark.parametrize(
    ("solid", "edge", "seed"),
    [
        (Frustum(27.6, 13.8, 170), 2.0, 1),
        (Frustum(27.6, 13.8, 170), 6.35, 2),
        (Frustum(38.8, 38.8, 174), 5.0, 3),
        (Ellipsoid(75, 63, 63), 5.0, 4),
        (Ellipsoid(75, 63, 63), 12.7, 5),
    ],
)
def test_a_monte_carlo_finds_the_same_share_squared_off(solid: Solid, edge: float, seed: int) -> None:
    """Of 400,000 points thrown into a vegetable, the share that hits its blocks is the share squared off."""
    cut = cut_boxes(solid, edge, edge, edge)
    x, y, z = thrown(solid, 400_000, seed)
    hit = inside(solid, x, y, z)
    x, y, z = x[hit], y[hit], z[hit]
    blocks = np.zeros(len(x), bool)
    for s in cut.sections:
        blocks |= (s.start <= x) & (x < s.end) & (abs(y) < s.across / 2) & (abs(z) < s.up / 2)
    spread = math.sqrt(cut.squared * (1 - cut.squared) / len(x))
    assert blocks.mean() == pytest.approx(cut.squared, abs=4 * spread)


@settings(max_examples=60, deadline=None)
@given(st.floats(10, 60), st.floats(2, 25), st.floats(2, 25))
def test_no_block_of_other_proportions_holds_more_pieces(
    diameter: float, width: float, height: float
) -> None:
    """In a round section every count of columns and rows is tried; none beats what is found."""
    cut = cut_boxes(Frustum(diameter, diameter, 20), 20, width, height)
    best = 0
    for columns in range(1, 40):
        for rows in range(1, 40):
            if math.hypot(columns * width, rows * height) <= diameter * (1 - 1e-7):
                best = max(best, columns * rows)
    assert cut.pieces >= best
    assert cut.pieces <= max(best, math.floor(math.pi * diameter**2 / 4 / (width * height)))


def test_pieces_in_a_block_are_counted_as_whole_ones() -> None:
    """A cylinder whose square block is 30 by 30 by 45 holds 6 x 6 x 9 dice of 5 mm, not one more."""
    diameter = 30 * math.sqrt(2)
    assert cut_boxes(Frustum(diameter, diameter, 45), 5, 5, 5).pieces == 6 * 6 * 9


@given(solids)
def test_a_piece_larger_than_the_vegetable_gives_none(solid: Solid) -> None:
    """What does not fit gives no pieces and keeps nothing, rather than a fraction of one."""
    edge = largest_edge(solid) * 1.01 + 0.05
    cut = cut_boxes(solid, edge, edge, edge)
    assert (cut.pieces, cut.kept, cut.squared, cut.sections) == (0, 0.0, 0.0, ())


@given(st.floats(20, 60), st.floats(50, 200), st.floats(1, 20))
def test_rounds_of_a_cylinder_lose_only_the_last_bit(
    diameter: float, length: float, thickness: float
) -> None:
    """Rounds of an even root: as many as go into its length, and their share is their length over it."""
    cut = cut_rounds(Frustum(diameter, diameter, length), thickness)
    assert cut.pieces == math.floor(length / thickness + 1e-9)
    assert cut.kept == pytest.approx(cut.pieces * thickness / length, rel=1e-9)


def test_rounds_of_a_ball_stop_where_it_is_half_as_wide() -> None:
    """Between the places where a ball of radius 1 is half as wide, u = sqrt(3)/2, lie (3u - u^3)/2 of it."""
    thin = 0.001
    cut = cut_rounds(Ellipsoid(50, 50, 50), thin)
    u = math.sqrt(3) / 2
    assert cut.kept == pytest.approx((3 * u - u**3) / 2, abs=1e-3)
    assert cut.pieces == pytest.approx(50 * u / thin, rel=1e-3)


@pytest.mark.parametrize("side", [0.0, -1.0])
def test_a_piece_without_size_is_refused(side: float) -> None:
    """A side of nothing or less is an error, not an endless number of pieces."""
    with pytest.raises(ValueError, match="above zero"):
        cut_boxes(Frustum(30, 30, 100), side, 5, 5)
    with pytest.raises(ValueError, match="above zero"):
        cut_rounds(Frustum(30, 30, 100), side)
