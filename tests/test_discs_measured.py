"""Rounds measured on small drawn photos; the truth is the disc that was drawn."""

from __future__ import annotations

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
