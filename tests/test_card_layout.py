"""The printed cards and mats as geometry: what version 1 fixes, for people print it and keep it."""

from __future__ import annotations

import itertools

import cv2
import numpy as np
import pytest
from drawing import Lying, Phone, camera_over, draw

from cutcheck.card import A4_MM, CARD_MM, LETTER_MM, PrintCheck, layout_of, mat, pocket_card
from cutcheck.find_card import detect_tags

LAYOUTS = [pocket_card(0), pocket_card(124), mat("a4"), mat("letter")]


def test_sizes_are_those_of_the_paper_standards() -> None:
    """A7 is 74 x 105 mm and A4 210 x 297 mm (ISO 216); Letter is 8 1/2 x 11 in (ANSI/ASME Y14.1)."""
    assert sorted(CARD_MM) == [74.0, 105.0]
    assert A4_MM == (210.0, 297.0)
    assert pytest.approx((8.5 * 25.4, 11 * 25.4)) == LETTER_MM


def test_every_tag_belongs_to_one_card() -> None:
    """Cards 0 to 124 carry ids 0 to 499, four each, the mats 500 to 509 and 520 to 529."""
    ids = [tag for number in range(125) for tag in pocket_card(number).squares]
    assert ids == list(range(500))
    assert sorted(mat("a4").squares) == list(range(500, 510))
    assert sorted(mat("letter").squares) == list(range(520, 530))
    for tag in (0, 3, 4, 499, 500, 509, 520, 529):
        layout = layout_of(tag)
        assert layout is not None
        assert tag in layout.squares
    assert layout_of(510) is layout_of(530) is layout_of(586) is None


@pytest.mark.parametrize("layout", LAYOUTS, ids=lambda layout: layout.name)
def test_the_print_check_is_the_distance_of_the_outermost_black_edges(layout) -> None:  # type: ignore[no-untyped-def]
    """What the user measures with a ruler follows from the squares' own corners."""
    corners = np.concatenate(list(layout.squares.values()))
    assert np.ptp(corners, axis=0) == pytest.approx(layout.print_check_mm)


def test_the_print_check_of_a_page_follows_from_two_cards_by_three() -> None:
    """Six cards of 105 x 74, edge to edge: one card's squares and one or two cards more."""
    (across, down), (wide, high) = pocket_card(0).print_check_mm, CARD_MM
    assert PrintCheck.NOMINALS[0] == (across + wide, down + 2 * high)


@pytest.mark.parametrize("layout", LAYOUTS, ids=lambda layout: layout.name)
def test_nothing_printed_overlaps_or_leaves_the_paper(layout) -> None:  # type: ignore[no-untyped-def]
    """Squares, fields, greys and the free middle of a mat keep apart, and stay 4 mm within the paper."""
    boxes = [(*quad.min(axis=0), *quad.max(axis=0)) for quad in layout.squares.values()]
    boxes += [tuple(area) for area in layout.fields] + [tuple(patch.area) for patch in layout.greys]
    if layout.free_mm is not None:
        boxes.append(tuple(layout.free_mm))
    for a, b in itertools.combinations(boxes, 2):
        overlap = min(a[2], b[2]) - max(a[0], b[0]), min(a[3], b[3]) - max(a[1], b[1])
        assert min(overlap) <= 1e-9
    half = np.array(layout.size_mm) / 2
    assert (np.abs(np.array(boxes).reshape(-1, 2, 2)) <= half - 3.99).all()


def test_the_checkerboard_has_35_inner_corners_six_millimetres_apart() -> None:
    """6 x 8 fields of 6 mm have 5 x 7 inner corners; the top-left field is black."""
    card = pocket_card(7)
    assert card.checker is not None
    grid = card.checker.reshape(7, 5, 2)
    assert np.diff(grid, axis=1)[..., 0] == pytest.approx(np.full((7, 4), 6.0))
    assert np.diff(grid, axis=0)[..., 1] == pytest.approx(np.full((6, 5), 6.0))
    assert tuple(grid[0, 0]) == (-12.0, -18.0)
    assert card.fields[0] == (-18.0, -24.0, -12.0, -18.0)


def test_squares_lie_in_the_order_in_which_opencv_reports_corners() -> None:
    """OpenCV's detector, with its own dictionary, finds each square of a drawn card where it should be."""
    card, size = pocket_card(31), (1500, 1100)
    camera = camera_over(size, tilt_deg=0.0, above_mm=130.0)
    photo = draw(camera, size, [Lying(card, height=0.0)], phone=Phone(sharpen=0.0))
    found = {tag.id: tag.corners for tag in detect_tags(cv2.cvtColor(photo, cv2.COLOR_BGR2GRAY))}
    assert sorted(found) == sorted(card.squares)
    for tag, corners in card.squares.items():
        assert found[tag] == pytest.approx(camera.project_at(corners, 0.0), abs=1.0)


@pytest.mark.parametrize("number", [-1, 125])
def test_a_card_number_out_of_range_is_refused(number: int) -> None:
    """There are cards 0 to 124, and the message says so."""
    with pytest.raises(ValueError, match=rf"{number}: give one from 0 to 124"):
        pocket_card(number)


@pytest.mark.parametrize(
    ("text", "scale"),
    [
        ("198x214", (1.0, 1.0)),
        ("197.4x213.2", (197.4 / 198, 213.2 / 214)),
        ("92.5 x 66", (92.5 / 93, 1.0)),
        ("186,1×267.9", (186.1 / 198, 267.9 / 285)),  # an A4 mat fitted to Letter
        ("204X267.4", (1.0, 1.0)),
    ],
)
def test_a_print_check_is_read_against_the_nearest_nominal_pair(
    text: str, scale: tuple[float, float]
) -> None:
    """One ratio each way, whichever of the four was measured; comma or point, x or multiplication sign."""
    assert PrintCheck.parse(text).scale() == pytest.approx(scale)


@pytest.mark.parametrize("text", ["", "198", "198x", "a4", "19.8x21.4", "nanx214", "500x500", "-198x214"])
def test_what_is_no_print_check_is_refused(text: str) -> None:
    """Centimetres, words and other distances are named as what they are: no print check."""
    with pytest.raises(ValueError, match="print check"):
        PrintCheck.parse(text)
