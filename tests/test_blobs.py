"""Finding the pieces on drawn trays whose truth is known exactly."""

from __future__ import annotations

from typing import Any

import cv2
import light_scene
import numpy as np
import pytest
from numpy.typing import NDArray

from cutcheck.blobs import Found, find_blobs, shrink
from cutcheck.card import pocket_card
from cutcheck.errors import CutcheckError
from cutcheck.photo import Photo
from cutcheck.records import PhotoInfo

Truth = dict[str, Any]
Floats = NDArray[np.float64]

SIZE = (2400, 1800)


def photo_of(pixels: NDArray[np.uint8]) -> Photo:
    """A photo record of drawn pixels."""
    return Photo(pixels, PhotoInfo("drawn.jpg", "", pixels.shape[1], pixels.shape[0]))


def card_px(truth: Truth) -> list[Floats]:
    """The outline of the card at the origin as it is seen; 105 x 74 mm (ISO 216, A7)."""
    camera = light_scene.camera_of(truth)
    corners = np.array([[-52.5, -37.0], [52.5, -37.0], [52.5, 37.0], [-52.5, 37.0]])
    return [camera.project_at(corners, 0.2)]


def found_in(seed: int, **options: Any) -> tuple[Found, Truth]:
    """The blobs of a drawn tray, and its truth."""
    pixels, truth = light_scene.scene(seed, **{"size": SIZE, "above_mm": 260.0, **options})
    return find_blobs(photo_of(pixels), light_scene.camera_of(truth), card_px(truth)), truth


def silhouette(piece: Truth) -> NDArray[np.float32]:
    """The outline of a convex piece as it is seen, side faces included."""
    corners = np.array(piece["top_outline_px"] + piece["bottom_outline_px"], np.float32)
    return np.asarray(cv2.convexHull(corners)[:, 0], np.float32)


def score(found: Found, truth: Truth) -> tuple[float, float]:
    """F1 of the pieces found (one blob round each true top), and the median overlap (IoU) of the outlines."""
    free = list(range(len(found.blobs)))
    overlaps = []
    for piece in truth["pieces"]:
        x, y = piece["centre_px"]
        for i in free:
            outline = found.blobs[i].outline_px.astype(np.float32)
            if cv2.pointPolygonTest(outline, (x, y), False) >= 0:
                overlaps.append(overlap(outline, silhouette(piece)))
                free.remove(i)
                break
    missed = len(truth["pieces"]) - len(overlaps)
    return 2 * len(overlaps) / (2 * len(overlaps) + missed + len(free)), float(np.median(overlaps or [0.0]))


def overlap(a: NDArray[np.float32], b: NDArray[np.float32]) -> float:
    """Intersection over union of two outlines (N, 2) px, counted on a grid of half pixels."""
    low = np.minimum(a.min(axis=0), b.min(axis=0)) - 1
    wide, high = (2 * (np.maximum(a.max(axis=0), b.max(axis=0)) - low)).astype(int) + 3
    masks = []
    for outline in (a, b):
        mask = np.zeros((high, wide), np.uint8)
        cv2.fillPoly(mask, [np.round(2 * (outline - low)).astype(np.int32)], 1)
        masks.append(mask > 0)
    return float((masks[0] & masks[1]).sum() / (masks[0] | masks[1]).sum())


DICE = ({"shape": "box", "mm": (8.0, 8.0, 8.0), "count": 20, "gap_mm": 3.0},)


@pytest.mark.parametrize(
    ("seed", "board", "produce", "light"),
    [
        (1, "white", "carrot", "window"),
        (2, "green", "celery", "soft"),
        (3, "blue", "onion", "hard"),
        (4, "red", "potato", "window"),
        (5, "yellow", "courgette", "soft"),
        (6, "brown", "turnip", "hard"),
        (7, "slate", "beet", "dim"),
        (8, "light-wood", "herb", "window"),
        (9, "dark-wood", "carrot", "hard"),
        (10, "steel", "beet", "soft"),
    ],
)
def test_dice_are_found_on_every_board(seed: int, board: str, produce: str, light: str) -> None:
    """Every die is found, nothing else is, and the outline is that of the die without its shade."""
    f1, iou = score(*found_in(seed, board=board, produce=produce, light=light, pieces=DICE))
    assert f1 == 1.0
    assert iou > 0.88


def test_white_on_white_is_found_and_told() -> None:
    """Turnip on a white board, where light alone would not do: found by its colour, and a warning given."""
    found, truth = found_in(21, board="white", produce="turnip", light="window", pieces=DICE)
    f1, iou = score(found, truth)
    assert f1 >= 0.95
    assert iou > 0.7


@pytest.mark.parametrize(
    "kind",
    [
        {"shape": "box", "mm": (2.0, 2.0, 2.0), "count": 60, "gap_mm": 1.5},
        {"shape": "box", "mm": (50.0, 3.0, 3.0), "count": 14, "gap_mm": 3.0, "bow_mm": (0.0, 3.0)},
        {"shape": "box", "mm": (11.0, 11.0, 1.6), "count": 20, "gap_mm": 3.0},
        {"shape": "disc", "mm": (24.0, 4.0), "count": 12, "gap_mm": 3.0},
        {"shape": "chunk", "mm": (22.0, 15.0), "count": 10, "gap_mm": 3.0},
        {"shape": "ribbon", "mm": (35.0, 2.5, 0.6), "count": 12, "gap_mm": 3.0},
    ],
    ids=["fine brunoise", "bowed julienne", "tiles", "rounds", "chunks", "ribbons"],
)
def test_pieces_of_every_shape_are_found(kind: Truth) -> None:
    """From dice of 2 mm to bent ribbons, one blob a piece."""
    f1, _ = score(*found_in(31, board="blue", produce="carrot", pieces=(kind,)))
    assert f1 >= 0.98


def test_knife_and_crumbs_are_no_pieces() -> None:
    """Beside the dice lie a knife and crumbs under 1 mm."""
    f1, _ = score(*found_in(42, board="green", pieces=DICE, distractors=("knife", "crumbs")))
    assert f1 == 1.0


def test_area_and_extent_are_those_of_flat_pieces() -> None:
    """Of a tile lying on the board they are its sides, but for the perspective of its small height."""
    tile = ({"shape": "box", "mm": (20.0, 12.0, 0.5), "count": 6, "sd": 0.0, "gap_mm": 5.0},)
    found, _ = found_in(51, board="white", produce="carrot", pieces=tile, tilt_deg=5.0)
    assert len(found.blobs) == 6
    for blob in found.blobs:
        assert blob.extent_mm == pytest.approx((20.0, 12.0), rel=0.08)
        assert blob.area_mm2 == pytest.approx(240.0, rel=0.1)
        assert blob.colour[2] > blob.colour[0]  # carrot: more red than blue


def test_a_piece_that_runs_out_of_the_picture_is_flagged() -> None:
    """The photo is cropped through the middle of a piece: what it cuts, and nothing else, is cut off."""
    pixels, truth = light_scene.scene(61, size=SIZE, above_mm=260.0, pieces=DICE, card_at=(0.3, 0.5))
    rightmost = max(truth["pieces"], key=lambda piece: piece["centre_px"][0])
    wide = round(rightmost["centre_px"][0])
    cropped = photo_of(np.ascontiguousarray(pixels[:, :wide]))
    found = find_blobs(cropped, light_scene.camera_of(truth), card_px(truth))
    crossing = [silhouette(p) for p in truth["pieces"]]
    crossing = [s for s in crossing if s[:, 0].min() < wide - 3 and s[:, 0].max() > wide]
    flagged = [blob.outline_px for blob in found.blobs if "cut-off" in blob.flags]
    assert sorted(o[:, 1].max() for o in flagged) == pytest.approx(
        sorted(s[:, 1].max() for s in crossing), abs=8
    )


def test_only_the_area_is_searched() -> None:
    """With an area given, what lies beside it is not reported."""
    pixels, truth = light_scene.scene(62, size=SIZE, above_mm=260.0, pieces=DICE)
    half = np.array([[1200.0, 0.0], [2399.0, 0.0], [2399.0, 1799.0], [1200.0, 1799.0]])
    found = find_blobs(photo_of(pixels), light_scene.camera_of(truth), card_px(truth), area_px=half)
    inside = [p for p in truth["pieces"] if silhouette(p)[:, 0].min() > 1215]
    assert len(inside) <= len(found.blobs) < len(truth["pieces"])
    assert min(blob.outline_px[:, 0].min() for blob in found.blobs) > 1190


def test_an_empty_board_has_no_pieces() -> None:
    """A board with a card alone is an error that says what to do."""
    pixels, truth = light_scene.scene(63, size=SIZE, pieces=())
    with pytest.raises(CutcheckError) as caught:
        find_blobs(photo_of(pixels), light_scene.camera_of(truth), card_px(truth))
    assert caught.value.code == "no-pieces"


def test_a_photo_in_the_dark_is_refused() -> None:
    """The same tray with a hundredth of the light is too dark."""
    pixels, truth = light_scene.scene(64, size=SIZE, pieces=DICE)
    dark = (pixels // 12).astype(np.uint8)  # 255 to 21, in linear light to 0.7 %: IEC 61966-2-1
    with pytest.raises(CutcheckError) as caught:
        find_blobs(photo_of(dark), light_scene.camera_of(truth), card_px(truth))
    assert caught.value.code == "too-dark"


def test_burnt_out_pieces_are_refused() -> None:
    """Where most of the pieces has lost its detail, the photo is too bright."""
    pixels, truth = light_scene.scene(65, size=SIZE, pieces=DICE, board="blue", produce="turnip")
    for piece in truth["pieces"]:
        cv2.fillPoly(pixels, [np.round(silhouette(piece)).astype(np.int32)], (255, 255, 255))
    with pytest.raises(CutcheckError) as caught:
        find_blobs(photo_of(pixels), light_scene.camera_of(truth), card_px(truth))
    assert caught.value.code == "too-bright"
    assert "pieces" in caught.value.message


@pytest.mark.parametrize("scale", [1.0, 0.7, 0.5, 0.33, 0.2])
def test_a_shrunk_picture_keeps_its_places(scale: float) -> None:
    """An edge stays where it was: pixel centres keep their meaning."""
    picture = np.zeros((600, 800, 3), np.uint8)
    picture[:, 320:] = 200
    small = shrink(picture, scale)
    row = small[small.shape[0] // 2, :, 0].astype(float)
    at = float(np.interp(100.0, row, np.arange(len(row))))
    assert (at + 0.5) / scale - 0.5 == pytest.approx(319.5, abs=0.3 / scale)


def test_the_card_given_is_the_pocket_card() -> None:
    """The outline used in these tests is that of the card that the project prints."""
    assert pocket_card(0).size_mm == (105.0, 74.0)


def test_nothing_to_search_is_told_like_an_empty_board() -> None:
    """An area that lies beside the photo leaves nothing to search: no pieces, and no other error."""
    pixels, truth = light_scene.scene(66, size=(800, 600), pieces=DICE)
    beside = np.array([[5000.0, 0.0], [6000.0, 0.0], [6000.0, 900.0]])
    with pytest.raises(CutcheckError) as caught:
        find_blobs(photo_of(pixels), light_scene.camera_of(truth), card_px(truth), area_px=beside)
    assert caught.value.code == "no-pieces"


def test_outlines_of_small_dice_are_near_the_true_ones() -> None:
    """Dice of 3 mm, some 26 px wide, are outlined on a finer picture: nine tenths of the area in common."""
    dice = ({"shape": "box", "mm": (3.0, 3.0, 3.0), "count": 40, "gap_mm": 2.0},)
    f1, iou = score(*found_in(71, board="blue", produce="carrot", pieces=dice))
    assert f1 >= 0.98
    assert iou > 0.88
