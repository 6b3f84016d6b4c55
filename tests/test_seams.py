"""Pieces that touch: where their outlines meet, and where a row of them is cut apart."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from small_scene import Prism, over, photo, placed, rectangle

from cutcheck.outlines import resample
from cutcheck.seams import COLUMNS, contacts, rows_of_pieces

Floats = NDArray[np.float64]
CAMERA = over(15.0)


@settings(deadline=None, derandomize=True, max_examples=40)
@given(st.floats(0.0, 360.0), st.floats(0.0, 1.0), st.booleans())
def test_neighbours_look_at_each_other(angle: float, gap: float, mirrored: bool) -> None:
    """Two squares side by side touch along opposite outward normals, whichever way round they are counted."""
    left = resample(rectangle(40.0, 40.0))
    pair = [placed(np.add(left, [x, 0.0]), 300.0, 200.0, angle) for x in (0.0, 40.0 + gap)]
    if mirrored:
        pair[1] = pair[1][::-1]
    normals = contacts(np.stack(pair))
    c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
    assert normals[0, 0] @ [c, s] > 0.98
    assert normals[1, 0] @ [-c, -s] > 0.98
    assert np.isnan(normals[:, 1]).all()


def test_pieces_apart_or_corner_to_corner_do_not_touch() -> None:
    """Five pixels apart, or meeting at a corner only, is no contact."""
    square = resample(rectangle(40.0, 40.0))
    assert np.isnan(contacts(np.stack([square, np.add(square, [45.0, 0.0])]))).all()
    assert np.isnan(contacts(np.stack([square, np.add(square, [40.5, 40.5])]))).all()


def test_the_middle_of_a_row_has_two_contacts() -> None:
    """Of three in a row the middle one touches on both hands, along opposite normals."""
    square = resample(rectangle(40.0, 40.0))
    normals = contacts(np.stack([square, np.add(square, [40.5, 0.0]), np.add(square, [81.0, 0.0])]))
    assert normals[1, 0] @ normals[1, 1] < -0.95
    assert np.isnan(normals[[0, 2], 1]).all()


def row_of_dice(count: int, edge: float, angle: float, dark: bool) -> tuple[NDArray[np.uint8], Floats]:
    """A drawn row of touching dice, with or without dark seams, and the row as one box (1, 9)."""
    at = (np.arange(count) - (count - 1) / 2) * edge
    solids = [Prism(placed(np.add(rectangle(edge, edge), [x, 0.0]), 0.0, 0.0, angle), edge) for x in at]
    lines = []
    for x in at[:-1] + edge / 2 if dark else []:
        across = placed(np.array([[x, -edge / 2], [x, edge / 2]]), 0.0, 0.0, angle)
        lines.append((np.column_stack([across, [edge, edge]]), 1.5))
    box = np.array([[0.0, 0.0, np.radians(angle), count * edge, edge, edge, 0.0, 0.0, 0.0]])
    return photo(CAMERA, solids, lines=lines, seed=count), box


@pytest.mark.parametrize(("count", "edge"), [(2, 8.0), (3, 6.35), (4, 10.0), (5, 6.35)])
@pytest.mark.parametrize("angle", [0.0, 33.0, 120.0])
def test_a_row_is_cut_at_its_dark_seams(count: int, edge: float, angle: float) -> None:
    """A row of dice with dark seams falls into that many, each of its size and place, to a column."""
    pixels, box = row_of_dice(count, edge, angle, dark=True)
    (parts,) = rows_of_pieces(pixels, CAMERA, box)
    assert len(parts) == count
    assert parts[:, 3] == pytest.approx(np.full(count, edge), abs=1.5 * count * edge / COLUMNS)
    along = placed(
        np.column_stack([(np.arange(count) - (count - 1) / 2) * edge, np.zeros(count)]), 0, 0, angle
    )
    assert parts[:, :2] == pytest.approx(along, abs=0.2)


@pytest.mark.parametrize("angle", [0.0, 33.0, 120.0])
def test_a_plain_stick_is_not_cut(angle: float) -> None:
    """A stick without seams stays one piece, though it is as long as a row."""
    pixels, box = row_of_dice(4, 8.0, angle, dark=False)
    (parts,) = rows_of_pieces(pixels, CAMERA, box)
    assert np.array_equal(parts, box)
