"""A piece whose outline is spoilt, among dice of one size: the die is found, what is no such die is left."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from small_scene import Prism, blob, over, photo, placed, rectangle

from cutcheck.measure import measure
from cutcheck.records import Piece

Floats = NDArray[np.float64]
CAMERA = over(20.0)
PLACES = [(x, y) for y in (-22.0, 0.0, 22.0) for x in (-22.0, 0.0, 22.0)]
ODD = 4  # the one in the middle
EDGE = 8.0


def tray(first: Prism) -> list[Prism]:
    """Nine pieces: ``first`` in the middle of eight dice, each turned its own way."""
    dice = [Prism(placed(rectangle(EDGE, EDGE), x, y, 11.0 * i), EDGE) for i, (x, y) in enumerate(PLACES)]
    return [first if i == ODD else die for i, die in enumerate(dice)]


def measured(solids: list[Prism], spoilt: Floats | None = None) -> Piece:
    """The middle piece of a drawn tray; ``spoilt`` (2,) px is how far a shadow pulls its outline along."""
    pixels = photo(CAMERA, solids, seed=5)
    blobs = [blob(CAMERA, [solid], off_px=0.3) for solid in solids]
    if spoilt is not None:
        outline = blobs[ODD].outline_px
        both = np.concatenate([outline, outline + spoilt]).astype(np.float32)
        blobs[ODD] = replace(blobs[ODD], outline_px=cv2.convexHull(both)[:, 0].astype(float))
    at = CAMERA.project(np.array([[*PLACES[ODD], EDGE]]))[0]
    found = measure(pixels, CAMERA, blobs)
    return min(found, key=lambda piece: float(np.linalg.norm(np.array(piece.centre_px) - at)))


@pytest.mark.parametrize("way", range(0, 360, 45))
def test_a_die_is_found_under_an_outline_that_a_shadow_spoils(way: int) -> None:
    """An outline pulled out by nearly half, whichever way, still gives the die: to 5 % of its side."""
    solids = tray(Prism(placed(rectangle(EDGE, EDGE), *PLACES[ODD], 44.0), EDGE))
    size = float(np.ptp(blob(CAMERA, [solids[ODD]]).outline_px[:, 0]))
    far = 0.3 * size * np.array([np.cos(np.radians(way)), np.sin(np.radians(way))])
    piece = measured(solids, far)
    assert piece.shape == "box"
    for side in (piece.length, piece.width):
        assert side.mm == pytest.approx(EDGE, abs=0.05 * EDGE)


@pytest.mark.parametrize(("length", "width", "height"), [(14.0, 10.0, 6.0), (8.0, 6.0, 8.0), (5.0, 5.0, 5.0)])
def test_a_piece_of_another_size_is_not_taken_for_a_die(length: float, width: float, height: float) -> None:
    """Among dice a block, a narrow or a small piece keeps its own sides: the usual size is only a start."""
    solids = tray(Prism(placed(rectangle(length, width), *PLACES[ODD], 44.0), height))
    piece = measured(solids)
    assert piece.length.mm == pytest.approx(length, abs=0.03 * length)
    assert piece.width.mm == pytest.approx(width, abs=0.03 * length)
