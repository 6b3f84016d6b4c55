"""Drawn scenes are exact: areas by the shoelace formula, the lens by OpenCV, edges by geometry."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from light.cover import coverage
from light.pieces import far_to_near
from light.solids import Floats, box
from light_scene import Truth, camera_of, same_tray_again, scene

from cutcheck.card import pocket_card
from cutcheck.photo import Photo
from cutcheck.pose import locate
from cutcheck.records import PhotoInfo

CLEAR = {"noise": 0.0, "sharpen": 0.0, "blur_px": 0.7, "wet": 0.0, "bevel_mm": 0.0, "size": (2000, 1500)}
DICE = ({"shape": "box", "mm": (12.0, 12.0, 12.0), "count": 14, "gap_mm": 8.0},)


def light_of(photo: np.ndarray) -> Floats:
    """Linear light of a photo's green, (H, W): sRGB decoded by IEC 61966-2-1."""
    code = photo[..., 1].astype(float) / 255
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)


@settings(max_examples=60, deadline=None)
@given(
    corners=st.lists(st.tuples(st.floats(0.3, 1.0), st.floats(0.05, 0.95)), min_size=3, max_size=9),
    at=st.tuples(st.floats(-3, 3), st.floats(-3, 3)),
)
def test_cover_adds_up_to_the_area(corners: list[tuple[float, float]], at: tuple[float, float]) -> None:
    """The cover of all pixels adds up to the polygon's area by the shoelace formula, and none exceeds 1."""
    turn = 2 * np.pi * (np.arange(len(corners)) + [c[1] for c in corners]) / len(corners)
    polygon = 20 * np.array([c[0] for c in corners])[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
    x, y = (polygon + at).T
    area = abs((x * np.roll(y, -1) - y * np.roll(x, -1)).sum()) / 2
    cover = coverage(np.column_stack([x, y]), -26, -26, 53, 53)
    assert cover.sum() == pytest.approx(area, rel=1e-4, abs=1e-3)
    if len(corners) > 3:  # the corners then go round the middle once: a plain polygon
        assert cover.max() <= 1.0 + 1e-5


def test_cover_of_a_pixel_is_exact() -> None:
    """A rectangle covers of a pixel what lies within half a pixel of the pixel's centre."""
    rectangle = np.array([[0.25, -0.5], [2.0, -0.5], [2.0, 0.0], [0.25, 0.0]])
    assert coverage(rectangle, 0, 0, 3, 1) == pytest.approx(np.array([[0.125, 0.5, 0.25]]))


def test_lens_is_that_of_opencv() -> None:
    """The truth's camera puts points where ``cv2.projectPoints`` does."""
    _, truth = scene(3, size=(800, 600), pieces=(), corner_distortion=-0.05)
    c = truth["camera"]
    points = np.random.default_rng(0).uniform([-80, -60, 0], [80, 60, 20], (40, 3))
    k = np.array([[c["f_px"], 0, c["cx"]], [0, c["f_px"], c["cy"]], [0, 0, 1.0]])
    right_handed = points * [1, 1, -1]
    rotation = cv2.Rodrigues(np.array(c["R"]))[0]
    lens = np.array([c["k1"], c["k2"], 0.0, 0.0])
    seen = cv2.projectPoints(right_handed, rotation, np.array(c["t"]), k, lens)[0][:, 0]
    assert np.abs(camera_of(truth).project(points) - seen).max() < 1e-6


def test_a_board_point_is_nearer_when_higher() -> None:
    """Height counts towards the camera: the top of a piece is seen larger than its foot."""
    _, truth = scene(3, size=(800, 600), tilt_deg=0.0, pieces=DICE)
    for piece in truth["pieces"]:
        top, foot = (np.array(piece[f"{end}_outline_px"], np.float32) for end in ("top", "bottom"))
        assert cv2.contourArea(top) > cv2.contourArea(foot)


@pytest.mark.parametrize(
    ("seed", "tilt", "distortion"), [(11, 0.0, 0.0), (12, 20.0, -0.05), (13, 38.0, 0.03)]
)
def test_painted_edges_lie_on_the_true_ones(seed: int, tilt: float, distortion: float) -> None:
    """The far edges of pieces' tops, found in the photo at half height, lie within 0.1 px of the truth."""
    photo, truth = scene(
        seed,
        tilt_deg=tilt,
        corner_distortion=distortion,
        board="slate",
        produce="turnip",
        pieces=DICE,
        **CLEAR,
    )
    light = light_of(photo)
    off = np.concatenate([_far_edges(light, piece) for piece in truth["pieces"] if not piece["cut_off"]])
    assert len(off) > 100
    assert abs(off.mean()) < 0.03
    assert np.percentile(np.abs(off), 95) < 0.1


def _far_edges(light: Floats, piece: Truth) -> Floats:
    """How far out, px, the painted edge is of the true one, along the edges with no side face in front."""
    top, foot = np.array(piece["top_outline_px"]), np.array(piece["bottom_outline_px"])
    out = []
    for i in range(4):
        a, b = top[i], top[(i + 1) % 4]
        along = (b - a) / np.linalg.norm(b - a)
        normal = np.array([along[1], -along[0]])  # outwards: corners go clockwise
        if (foot[[i, (i + 1) % 4]] - a) @ normal @ [0.5, 0.5] > -4.0:
            continue  # its side face is seen, or hardly hidden
        steps = np.arange(-3.0, 3.01, 0.25)
        for share in (0.3, 0.4, 0.5, 0.6, 0.7):
            line = (a + share * (b - a) + steps[:, None] * normal).astype(np.float32)
            values = cv2.remap(light.astype(np.float32), line[None], None, cv2.INTER_CUBIC)[0]
            middle = (values[:2].mean() + values[-2:].mean()) / 2
            k = int(np.nonzero(values > middle)[0][-1])
            out.append(steps[k] + 0.25 * (values[k] - middle) / (values[k] - values[k + 1]))
    return np.array(out)


@pytest.mark.parametrize("seed", [21, 22])
def test_the_card_is_found_where_it_was_drawn(seed: int) -> None:
    """The pose that is found puts all corners of the card's squares within 0.1 px of the truth."""
    photo, truth = scene(seed, size=(3000, 2250), pieces=(), tilt_deg=15.0, number=seed)
    high, wide = photo.shape[:2]
    found = locate(Photo(photo, PhotoInfo("drawn.jpg", "", wide, high), float(truth["exif_focal_35mm"])))
    corners = np.concatenate(list(pocket_card(seed).squares.values()))
    true = camera_of(truth).project_at(corners, truth["card_thickness_mm"])
    assert found.scale.numbers == (seed,)
    assert np.abs(found.camera.project_at(corners, 0.2) - true).max() < 0.1


def test_same_tray_from_elsewhere() -> None:
    """The same tray again has the same pieces to the last figure, and another camera."""
    _, first = scene(31, size=(1600, 1200), pieces=DICE)
    _, again = same_tray_again(first, 32)
    sides = ("length_mm", "width_mm", "height_mm", "shape")
    assert [[p[s] for s in sides] for p in again["pieces"]] == [
        [p[s] for s in sides] for p in first["pieces"]
    ]
    assert np.abs(np.array(again["camera"]["t"]) - first["camera"]["t"]).max() > 5.0
    assert again["camera"]["f_px"] == first["camera"]["f_px"]


def test_a_seed_gives_the_same_photo() -> None:
    """One seed gives one photo, another seed another."""
    one, _ = scene(5, size=(640, 480), pieces=DICE)
    two, _ = scene(5, size=(640, 480), pieces=DICE)
    other, _ = scene(6, size=(640, 480), pieces=DICE)
    assert np.array_equal(one, two)
    assert not np.array_equal(one, other)


@pytest.mark.parametrize("angle", [0, 70, 160, 250])
def test_what_hides_another_piece_is_painted_after_it(angle: float) -> None:
    """A tall piece between the camera and a low one beside it is painted last, whichever way they lie."""
    _, truth = scene(3, size=(800, 600), pieces=(), tilt_deg=0.0, roll_deg=0.0)
    camera = camera_of(truth)
    rng = np.random.default_rng(1)
    tall, low = box((8, 8, 12), rng), box((8, 8, 4), rng)
    a = np.radians(angle)
    under = camera.centre_mm[:2]
    near = tall.placed(*(under + 60 * np.array([np.cos(a), np.sin(a)])), 10)
    far = low.placed(*(under + 72 * np.array([np.cos(a), np.sin(a)])), 40)
    assert far_to_near([near, far], camera) == [1, 0]
    assert far_to_near([far, near], camera) == [0, 1]


def test_touching_pieces_touch_and_others_do_not() -> None:
    """Pieces in a row stand against each other; footprints of different groups never meet."""
    kind = {"shape": "box", "mm": (6.0, 6.0, 6.0), "count": 12, "gap_mm": 3.0, "row": (2, 4)}
    _, truth = scene(41, size=(1600, 1200), pieces=(kind,))
    solids = truth["drawn"]["solids"]
    feet = [cv2.convexHull(np.array(s["top"] + s["bottom"], np.float32)[:, :2].copy()) for s in solids]
    for i, piece in enumerate(truth["pieces"]):
        for j in range(len(solids)):
            gap = min(-cv2.pointPolygonTest(feet[j], (float(x), float(y)), True) for x, y in feet[i][:, 0])
            if j in piece["touches"]:
                assert gap < 0.8  # mm, from the nearest corner
            elif i != j and truth["pieces"][j]["group"] != piece["group"]:
                assert gap > 1.0


def test_an_unknown_option_is_named() -> None:
    """A misspelt option is refused by name."""
    with pytest.raises(ValueError, match="tilt_degrees"):
        scene(1, tilt_degrees=3)


def test_replaced_records_stay_immutable() -> None:
    """A placed piece is a new record; the first keeps its place."""
    piece = box((6, 6, 6), np.random.default_rng(0))
    assert not np.array_equal(piece.placed(5, 5, 30).top, piece.top)
    assert replace(piece, group=3).group == 3
