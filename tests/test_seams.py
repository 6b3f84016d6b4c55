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


def among_dice(box: Floats, edge: float) -> Floats:
    """The box (1, 9) with eight single dice of that edge after it, where the photo shows none: (9, 9)."""
    dice = np.tile([0.0, 0.0, 0.3, edge, 0.97 * edge, edge, 0.0, 0.0, 0.0], (8, 1))
    dice[:, 0], dice[:, 1] = np.linspace(-40.0, 40.0, 8), 30.0
    return np.concatenate([box, dice])


@pytest.mark.parametrize("count", [2, 3, 5])
@pytest.mark.parametrize("angle", [0.0, 33.0, 120.0])
def test_what_is_a_whole_row_of_the_others_is_parted_though_no_seam_shows(count: int, angle: float) -> None:
    """Among dice, what is as wide and high as they and whole times as long counts as that many."""
    pixels, box = row_of_dice(count, 8.0, angle, dark=False)
    parts = rows_of_pieces(pixels, CAMERA, among_dice(box, 8.0))
    assert [len(part) for part in parts] == [count] + [1] * 8
    assert parts[0][:, 3] == pytest.approx(np.full(count, 8.0), rel=0.25)
    assert parts[0][:, 3].sum() == pytest.approx(count * 8.0)


@pytest.mark.parametrize("times", [1.0, 1.4, 2.5, 3.5, 8.0])
def test_what_is_no_whole_row_of_the_others_stays_one(times: float) -> None:
    """Among dice, a plain piece not whole times as long, or as long as a stick, is one of its own length."""
    pixels, box = row_of_dice(int(np.ceil(times)), 8.0, 20.0, dark=False)
    box[0, 3] = times * 8.0
    parts = rows_of_pieces(pixels, CAMERA, among_dice(box, 8.0))
    assert np.array_equal(parts[0], box)


@pytest.mark.parametrize("angle", [0.0, 33.0, 120.0])
def test_a_plain_stick_is_not_cut(angle: float) -> None:
    """A stick without seams stays one piece, though it is as long as a row."""
    pixels, box = row_of_dice(4, 8.0, angle, dark=False)
    (parts,) = rows_of_pieces(pixels, CAMERA, box)
    assert np.array_equal(parts, box)
