"""Dice, sticks, tiles, chunks and ribbons measured on small drawn photos; the truth is what was drawn.

The allowance of a plan side is the larger of 0.10 mm and 1 % of it, of a height 0.20 mm and 3 %.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Sequence
from functools import cache

import numpy as np
import pytest
from light.solids import feret
from numpy.typing import NDArray
from small_scene import Prism, arc_strip, blob, over, photo, placed, rectangle

from cutcheck.budget import CAUSES
from cutcheck.measure import measure
from cutcheck.records import Piece

Floats = NDArray[np.float64]
VIEWS = [(tilt, angle) for tilt in (12.0, 25.0, 38.0) for angle in (10.0, 70.0)]
CHUNK = np.array([[-9.0, -4.0], [-2.0, -8.0], [7.0, -6.0], [10.0, 2.0], [2.0, 8.0], [-7.0, 6.0]])


@cache
def alone(kind: str) -> list[Piece]:
    """A die, block, stick or tile photographed and measured from each of the ``VIEWS``."""
    ring, (_, _, height) = BOXES[kind]()
    return views(ring, height)


def views(
    ring: Floats, height: float, scale_u: float = 0.0, where: Sequence[tuple[float, float]] = VIEWS
) -> list[Piece]:
    """A prism photographed and measured from each of the ``VIEWS``, or from some places."""
    found = []
    for tilt, angle in where:
        camera, solid = over(tilt), Prism(placed(ring, 2.0, 1.0, angle), height)
        pixels = photo(camera, [solid], seed=int(tilt + angle))
        (piece,) = measure(pixels, camera, [blob(camera, [solid], off_px=0.3)], scale_u=scale_u)
        found.append(piece)
    return found


def errors(pieces: list[Piece], side: str, true: float) -> Floats:
    """(N, 2): the errors of one side where it was seen, mm, and their u95."""
    sides = [getattr(piece, side) for piece in pieces]
    return np.array([[s.mm - true, s.u95] for s in sides if s.mm is not None])


BOXES: dict[str, Callable[[], tuple[Floats, tuple[float, float, float]]]] = {
    "die": lambda: (rectangle(8.0, 8.0), (8.0, 8.0, 8.0)),
    "block": lambda: (rectangle(14.0, 10.0), (14.0, 10.0, 6.0)),
    "stick": lambda: (arc_strip(45.0, 5.0, 0.25), (45.0, 5.0, 5.0)),
    "tile": lambda: (rectangle(11.0, 11.0), (11.0, 11.0, 1.6)),
}


@pytest.mark.parametrize("kind", list(BOXES))
def test_plan_sides_of_boxes(kind: str) -> None:
    """Of six views of a die, block, bent stick or tile, the usual side is right to twice the allowance."""
    pieces, (_, (length, width, _)) = alone(kind), BOXES[kind]()
    assert {piece.shape for piece in pieces} == {"box"}
    for side, true in (("length", length), ("width", width)):
        error = np.abs(errors(pieces, side, true)[:, 0])
        assert np.median(error) <= 2.0 * max(0.10, 0.01 * true)


@pytest.mark.parametrize("kind", ["die", "block"])
def test_all_sides_of_dice_and_blocks(kind: str) -> None:
    """Five of six views at least give each side to twice the allowance and within its give or take."""
    pieces, (_, (length, width, height)) = alone(kind), BOXES[kind]()
    allowed = (max(0.1, 0.01 * length), max(0.1, 0.01 * width), max(0.2, 0.03 * height))
    for side, true, allowance in zip(
        ("length", "width", "height"), (length, width, height), allowed, strict=True
    ):
        error = errors(pieces, side, true)
        assert len(error) >= 5
        assert np.count_nonzero(np.abs(error[:, 0]) <= 2.0 * allowance) >= 5
        assert np.count_nonzero(np.abs(error[:, 0]) <= error[:, 1]) >= 5


def test_a_rough_chunk_is_measured_by_its_extents() -> None:
    """A chunk's usual sides are its Feret diameters (ISO 13322-1) to 6 %, mostly within give or take."""
    pieces = views(CHUNK, 9.0)
    long, short = feret(CHUNK)
    for side, true in (("length", long), ("width", short)):
        error = np.abs(errors(pieces, side, true))
        assert np.median(error[:, 0]) <= 0.06 * true
        assert np.count_nonzero(error[:, 0] <= error[:, 1]) >= 4


def test_a_ribbon_is_measured_along_its_axis() -> None:
    """A ribbon bent by 126 degrees has its axis' length to 1.5 %, its width within give or take."""
    pieces = views(arc_strip(60.0, 4.0, 2.2), 0.8)
    assert {piece.shape for piece in pieces} == {"ribbon"}
    assert np.abs(errors(pieces, "length", 60.0)[:, 0]).max() <= 0.015 * 60.0
    width = np.abs(errors(pieces, "width", 4.0))
    assert np.count_nonzero(width[:, 0] <= width[:, 1]) >= 5
    assert {piece.height.mm for piece in pieces} == {None}


@pytest.mark.parametrize("angle", [0.0, 50.0])
def test_a_row_of_three_dice_is_parted(angle: float) -> None:
    """Three dice with dark seams between them, found as one outline, are three pieces that touch."""
    camera, edge = over(20.0), 8.0
    at = np.array([-edge, 0.0, edge])
    dice = [Prism(placed(np.add(rectangle(edge, edge), [x, 0.0]), 0.0, 0.0, angle), edge) for x in at]
    lines = []
    for x in (-edge / 2, edge / 2):
        across = placed(np.array([[x, -edge / 2], [x, edge / 2]]), 0.0, 0.0, angle)
        lines.append((np.column_stack([across, [edge, edge]]), 1.5))
    pieces = measure(photo(camera, dice, lines=lines, seed=3), camera, [blob(camera, dice)])
    assert len(pieces) == 3
    assert all("touching" in piece.flags for piece in pieces)
    tops = camera.project_at(placed(np.column_stack([at, np.zeros(3)]), 0.0, 0.0, angle), edge)
    seen = np.array([piece.centre_px for piece in pieces])
    assert np.linalg.norm(seen[:, None] - tops[None], axis=-1).min(axis=0).max() < 6.0
    for piece in pieces:
        assert [piece.length.mm, piece.width.mm] == pytest.approx([edge, edge], abs=0.5)


def test_the_print_counts_in_proportion() -> None:
    """An unchecked print (1 %) adds a line of 1 % of each side to the budget, and moves no side."""
    ring = rectangle(14.0, 10.0)
    (exact,), (unsure,) = (views(ring, 6.0, u, [(25.0, 70.0)]) for u in (0.0, 0.01))
    lines = {line.side: line.standard_mm for line in unsure.budget if line.cause == "print"}
    for side in ("length", "width"):
        assert getattr(unsure, side).mm == getattr(exact, side).mm
        assert lines[side] == pytest.approx(0.01 * getattr(unsure, side).mm)  # type: ignore[index]
    assert not [line for line in exact.budget if line.cause == "print"]
    assert {line.cause for line in unsure.budget} <= set(CAUSES)


def test_measuring_knows_no_cut() -> None:
    """Nothing that is asked of a tray reaches its measuring: photo, camera, outlines and print are all."""
    assert list(inspect.signature(measure).parameters) == ["pixels", "camera", "blobs", "scale_u"]


def test_no_outlines_give_no_pieces() -> None:
    """Where nothing was found, nothing is measured."""
    assert measure(np.zeros((8, 8, 3), np.uint8), over(10.0), []) == ()
