"""The shape of a cut: taper, slanting ends, wedge and bow, on small drawn photos of known faults."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from small_scene import Prism, arc_strip, blob, over, photo, placed, rectangle

from cutcheck.measure import measure
from cutcheck.records import Piece, ShapeFigure

Floats = NDArray[np.float64]
VIEWS = [(tilt, angle) for tilt in (18.0, 30.0) for angle in (15.0, 60.0, 130.0)]


def seen(ring: Floats, height: float | Floats) -> list[Piece]:
    """A prism photographed and measured from each of the ``VIEWS``."""
    found = []
    for tilt, angle in VIEWS:
        camera, solid = over(tilt), Prism(placed(ring, 2.0, 1.0, angle), height)
        pixels = photo(camera, [solid], seed=int(tilt + angle))
        found += measure(pixels, camera, [blob(camera, [solid], off_px=0.3)])
    return found


def figures(pieces: list[Piece], name: str) -> list[ShapeFigure]:
    """The figures of one name."""
    return [figure for piece in pieces for figure in piece.figures if figure.name == name]


def leaning(length: float, width: float, taper: float, lean: float) -> Floats:
    """A rectangle (4, 2) mm that is ``taper`` wider at one end, and whose ends lean by ``lean`` across it."""
    ring = rectangle(length, width)
    ring[:, 1] += np.sign(ring[:, 1]) * 0.25 * taper * np.sign(ring[:, 0])
    ring[:, 0] += 0.5 * lean * np.sign(ring[:, 1])
    return ring


@pytest.mark.parametrize(("taper", "lean"), [(1.0, 0.0), (0.0, 1.0), (0.8, -1.2)])
def test_taper_and_slanting_ends_are_measured(taper: float, lean: float) -> None:
    """A block whose one end is wider, and one whose ends lean, show it to within their give or take."""
    pieces = seen(leaning(20.0, 10.0, taper, lean), 7.0)
    for name, true in (("taper", abs(taper)), ("skew", abs(lean))):
        found = figures(pieces, name)
        assert len(found) >= len(VIEWS) - 1
        off = np.array([figure.value - true for figure in found])
        assert abs(np.median(off)) < 0.2
        assert np.mean(np.abs(off) <= [figure.u95 for figure in found]) >= 0.8


def test_wedge_is_measured() -> None:
    """A block that is a millimetre and a half higher at one end shows it where a long side face is seen."""
    ring = rectangle(20.0, 10.0)
    pieces = seen(ring, 8.0 + 0.75 * np.sign(ring[:, 0]))
    found = figures(pieces, "wedge")
    assert len(found) >= 3
    assert abs(np.median([figure.value for figure in found]) - 1.5) < 0.4


def test_an_even_block_shows_no_fault() -> None:
    """On a straight, square, even block most figures stay below their own give or take, and it has no bow."""
    pieces = seen(rectangle(20.0, 10.0), 7.0)
    found = [figure for piece in pieces for figure in piece.figures]
    assert len(found) >= 2 * len(VIEWS)
    assert np.mean([figure.value < figure.u95 for figure in found]) >= 0.9
    assert not figures(pieces, "bow")


def test_the_bow_of_a_stick_is_its_sagitta() -> None:
    """A bent stick's bow is how far its middle lies off the line between its ends: r (1 - cos(angle / 2))."""
    pieces = seen(arc_strip(50.0, 5.0, 0.3), 5.0)
    sagitta = 50.0 / 0.3 * (1.0 - np.cos(0.15))
    found = figures(pieces, "bow")
    assert len(found) >= len(VIEWS) - 1
    assert np.abs(np.median([figure.value for figure in found]) - sagitta) < 0.25
