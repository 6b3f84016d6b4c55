"""Rounds measured on small drawn photos; the truth is the disc that was drawn."""

from __future__ import annotations

import numpy as np
import pytest
from small_scene import Prism, blob, circle, over, photo, placed

from cutcheck.measure import measure


@pytest.mark.parametrize("tilt", [5.0, 20.0, 38.0])
@pytest.mark.parametrize(("diameter", "height"), [(22.0, 5.0), (30.0, 3.0)])
def test_a_round_is_measured(tilt: float, diameter: float, height: float) -> None:
    """The diameter is right to twice the larger of 0.10 mm and 1 %, and within its give or take."""
    camera, disc = over(tilt), Prism(placed(circle(diameter), 3.0, -2.0, 0.0), height)
    (piece,) = measure(photo(camera, [disc], seed=21), camera, [blob(camera, [disc], off_px=0.3)])
    assert piece.shape == "disc"
    assert piece.length.mm == piece.width.mm
    assert piece.length.mm == pytest.approx(diameter, abs=2.0 * max(0.1, 0.01 * diameter))
    assert piece.length.mm == pytest.approx(diameter, abs=piece.length.u95 or 0.0)
    if piece.height.mm is not None:
        assert piece.height.mm == pytest.approx(height, abs=piece.height.u95 or 0.0)


def test_the_thickness_of_a_round_is_seen_from_aslant() -> None:
    """At 38 degrees, a round 5 mm thick has its thickness to twice 0.2 mm."""
    camera, disc = over(38.0), Prism(circle(22.0), 5.0)
    (piece,) = measure(photo(camera, [disc], seed=22), camera, [blob(camera, [disc])])
    assert piece.height.seen
    assert piece.height.mm == pytest.approx(5.0, abs=0.4)


@pytest.mark.parametrize("tilt", [4.0, 25.0])
def test_a_shadow_beside_a_round_is_not_taken_for_its_rim(tilt: float) -> None:
    """A hard shadow beside a thin disc, half as bright as the board and within its outline, adds nothing."""
    camera, disc = over(tilt), Prism(circle(22.0), 2.0)
    shadow = Prism(placed(circle(22.0), -1.6, -0.8, 0.0), 0.01, (0.31, 0.32, 0.33))
    found = blob(camera, [shadow, disc], off_px=0.3)
    (piece,) = measure(photo(camera, [shadow, disc], seed=23), camera, [found])
    assert piece.shape == "disc"
    assert piece.length.mm == pytest.approx(22.0, rel=0.02)


def test_rounds_that_touch_are_parted() -> None:
    """Three rounds of different size that touch, found as one outline, beside one that lies alone."""
    camera = over(12.0)
    places = [(-16.0, -8.0, 20.0), (6.0, -8.0, 24.0), (-7.0, 10.97, 22.0), (28.0, 16.0, 21.0)]
    discs = [Prism(placed(circle(d), x, y, 0.0), 2.5) for x, y, d in places]
    blobs = [blob(camera, discs[:3], off_px=0.3), blob(camera, discs[3:], off_px=0.3)]
    pieces = measure(photo(camera, discs, seed=24), camera, blobs)
    assert [piece.shape for piece in pieces] == ["disc"] * 4
    found = sorted(piece.length.mm or 0.0 for piece in pieces)
    assert found == pytest.approx(sorted(d for _, _, d in places), rel=0.015)
    assert sum("touching" in piece.flags for piece in pieces) == 3


def test_an_uneven_chunk_is_no_round() -> None:
    """A chunk of six corners, as broad as long, is not called a disc."""
    camera = over(20.0)
    turn = np.radians([0.0, 50.0, 130.0, 180.0, 250.0, 305.0])
    ring = np.stack([np.cos(turn), np.sin(turn)], axis=-1) * np.array([11, 13, 10, 12, 11.5, 12.5])[:, None]
    (piece,) = measure(
        photo(camera, [Prism(ring, 8.0)], seed=25), camera, [blob(camera, [Prism(ring, 8.0)], off_px=0.3)]
    )
    assert piece.shape != "disc"
