"""A sheet, an ID-1 card, one square or a coin as the reference: drawn things of known size and camera."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import cv2
import numpy as np
import pytest
from drawing import Phone, as_photo, camera_over, develop
from first_order import variance
from numpy.typing import NDArray

from cutcheck.camera import Camera
from cutcheck.errors import CutcheckError
from cutcheck.located import Located
from cutcheck.pose import locate

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
SIZE = (1200, 900)
RAYS = 2

# A thing to draw: which points of the plane at a height (mm) it covers, that height, its light as B, G, R.
Layer = tuple[Callable[[Floats], Bools], float, tuple[float, float, float]]


def picture(
    camera: Camera, layers: Sequence[Layer], board: tuple[float, float, float], seed: int = 0
) -> NDArray[np.uint8]:
    """A photo of flat things, later ones on top, on an even board."""
    wide, high = SIZE
    light = np.empty((high, wide, 3), np.float32)
    fine = (np.arange(RAYS) + 0.5) / RAYS - 0.5
    xs = (np.arange(wide)[:, None] + fine).ravel()
    for top in range(0, high, 75):
        ys = (np.arange(top, top + 75)[:, None] + fine).ravel()
        px = np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2)
        colours = np.tile(np.array(board, np.float32), (len(px), 1))
        planes: dict[float, Floats] = {}
        for covers, height, colour in layers:
            if height not in planes:
                planes[height] = camera.to_height(px, height)
            colours[covers(planes[height])] = colour
        light[top : top + 75] = colours.reshape(75, RAYS, wide, RAYS, 3).mean(axis=(1, 3))
    return develop(light, Phone(noise=0.004), seed)


def rectangle(
    x: float, y: float, size: tuple[float, float], angle_deg: float, corner: float = 0.0
) -> Callable[[Floats], Bools]:
    """The points within a rectangle with rounded corners, about (x, y)."""
    angle = np.radians(angle_deg)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])

    def covers(mm: Floats) -> Bools:
        beyond = np.abs((mm - [x, y]) @ turn) - np.array(size) / 2 + corner
        return np.asarray(np.hypot(*np.maximum(beyond, 0.0).T) <= corner)

    return covers


def coin(x: float, y: float, diameter: float, thick: float = 2.0) -> list[Layer]:
    """A coin: its wall, slice by slice, and its face."""

    def covers(mm: Floats) -> Bools:
        return np.asarray(np.hypot(mm[:, 0] - x, mm[:, 1] - y) <= diameter / 2)

    slices: list[Layer] = [(covers, float(h), (0.10, 0.16, 0.20)) for h in np.linspace(0, thick, 4)]
    return [*slices, (covers, thick, (0.12, 0.28, 0.36))]


def lengths(camera: Camera, spots: Floats) -> Floats:
    """The local scale at ``spots`` (N, 2) px, 6 mm up: logarithm, (N,)."""
    return np.log(camera.mm_per_px(spots, 6.0))


def errors_and_u(located: Located, truth: Camera, spots: Floats) -> tuple[Floats, Floats]:
    """Relative errors of the local scale and their standard uncertainties, the thing's own size included."""
    carried = variance(located.camera, lambda camera: lengths(camera, spots)) + located.scale_u**2
    return lengths(located.camera, spots) - lengths(truth, spots), np.sqrt(carried)


SPOTS = np.array([[u * SIZE[0], v * SIZE[1]] for u in (0.15, 0.5, 0.85) for v in (0.15, 0.5, 0.85)])
WOOD, PAPER, BLUE = (0.10, 0.22, 0.35), (0.75, 0.78, 0.80), (0.45, 0.18, 0.08)


@pytest.mark.parametrize(("tilt", "roll"), [(3.0, 2.0), (20.0, -7.0), (35.0, 93.0)])
def test_a_sheet_of_known_size_gives_the_camera_and_is_the_surface(tilt: float, roll: float) -> None:
    """A4 on a table: sizes on it within 0.6 %, honestly unsure, and its outline is where pieces lie."""
    camera = camera_over(SIZE, tilt_deg=tilt, above_mm=430.0, roll_deg=roll, corner_distortion=-0.01)
    photo = picture(camera, [(rectangle(0, 0, (297.0, 210.0), 0.0), 0.0, PAPER)], WOOD)
    located = locate(as_photo(photo, 26.0), reference="sheet:210x297")
    on_it = np.array([[x, y] for x in (-110.0, 0.0, 110.0) for y in (-70.0, 0.0, 70.0)])
    error, u = errors_and_u(located, camera, camera.project_at(on_it, 0.0))
    assert np.abs(error).max() < 0.006
    assert (np.abs(error) < 2 * u).all()
    assert 0.0015 < np.median(u) < 0.02
    assert located.scale.reference == "sheet"
    assert located.regions_px == ()
    assert located.surface_px is not None
    expected = camera.project_at(
        np.array([[148.5, 105.0], [-148.5, 105.0], [-148.5, -105.0], [148.5, -105.0]]), 0.0
    )
    for corner in expected:
        assert np.linalg.norm(located.surface_px - corner, axis=1).min() < 3.0


@pytest.mark.parametrize(("tilt", "angle"), [(5.0, 10.0), (22.0, 115.0)])
def test_an_id1_card_gives_the_camera(tilt: float, angle: float) -> None:
    """A blank card (ISO/IEC 7810: 85.60 x 53.98, corners of 3.18, 0.76 thick): within its uncertainty."""
    camera = camera_over(SIZE, tilt_deg=tilt, above_mm=300.0)
    outline = rectangle(-60.0, 30.0, (85.60, 53.98), angle, 3.18)
    wall: list[Layer] = [(outline, float(h), (0.3, 0.3, 0.3)) for h in (0.0, 0.38)]
    photo = picture(camera, [*wall, (outline, 0.76, PAPER)], BLUE)
    located = locate(as_photo(photo, 26.0), reference="id1")
    error, u = errors_and_u(located, camera, SPOTS)
    assert (np.abs(error) < 2 * u).all()
    assert np.abs(error).max() < 0.03
    assert np.median(u) < 0.03
    assert located.scale.reference == "id1"
    assert cv2.contourArea(located.regions_px[0].astype(np.float32)) > 0


def test_one_square_of_another_dictionary_gives_the_camera() -> None:
    """``square:4x4_50:7:40``: a tag of OpenCV's own drawing, 40 mm wide, in a far corner."""
    camera = camera_over(SIZE, tilt_deg=15.0)
    tag = cv2.aruco.generateImageMarker(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50), 7, 240)

    def black(mm: Floats) -> Bools:
        index = np.floor((mm - [-80.0, -50.0] + 20.0) * 6.0).astype(int)
        on = ((index >= 0) & (index < 240)).all(axis=1)
        index = np.clip(index, 0, 239)
        return np.asarray(on & (tag[index[:, 1], index[:, 0]] < 128))

    layers: list[Layer] = [
        (rectangle(-80.0, -50.0, (56.0, 56.0), 0.0), 0.2, PAPER),
        (black, 0.2, (0.03, 0.03, 0.03)),
    ]
    photo = picture(camera, layers, WOOD)
    located = locate(as_photo(photo, 26.0), reference="square:4x4_50:7:40")
    error, u = errors_and_u(located, camera, SPOTS)
    assert (np.abs(error) < 2 * u).all()
    assert np.abs(error[0]) < 0.005
    assert located.camera.project_at(np.zeros((1, 2)), 0.2)[0] == pytest.approx(
        camera.project_at(np.array([[-80.0, -50.0]]), 0.2)[0], abs=0.5
    )


@pytest.mark.parametrize("tilt", [0.0, 8.0, 30.0])
def test_a_coin_gives_the_scale_where_it_lies_and_says_how_unsure_it_is_elsewhere(tilt: float) -> None:
    """23.25 mm (a euro, Council Regulation (EU) No 729/2014) among others, told by a pixel on it.

    Within 2 % beside the coin, and within the uncertainty all over the picture, wider far away.
    """
    camera = camera_over(SIZE, tilt_deg=tilt, above_mm=330.0, lean_deg=70.0)
    layers = [*coin(-40.0, -20.0, 23.25), *coin(40.0, 35.0, 25.75), *coin(70.0, -40.0, 16.25)]
    photo = picture(camera, layers, PAPER)
    x, y = camera.project_at(np.array([[-38.0, -22.0]]), 2.0)[0]
    located = locate(as_photo(photo, 26.0), reference=f"disc:23.25@{x:.0f},{y:.0f}")
    beside = camera.project_at(np.array([[-55.0, -20.0], [-40.0, -5.0]]), 6.0)
    error, u = errors_and_u(located, camera, np.concatenate([beside, SPOTS]))
    assert np.abs(error[:2]).max() < 0.02
    assert (np.abs(error) < 2.5 * u).all()
    assert u[2:].max() > 1.5 * u[:2].max()
    assert len(located.regions_px) == 1
    assert cv2.pointPolygonTest(located.regions_px[0].astype(np.float32), (float(x), float(y)), False) > 0


def test_several_discs_need_a_pixel_on_one_and_a_lone_one_does_not() -> None:
    """``disc:MM`` alone will do where one thing is round; else it says how many are and how to choose."""
    camera = camera_over(SIZE, tilt_deg=5.0)
    alone = picture(camera, coin(10.0, 10.0, 23.25), PAPER)
    assert locate(as_photo(alone, 26.0), reference="disc:23.25").scale.reference == "disc"
    two = picture(camera, [*coin(-30.0, 0.0, 23.25), *coin(30.0, 0.0, 23.25)], PAPER)
    with pytest.raises(CutcheckError, match="2 round things") as caught:
        locate(as_photo(two, 26.0), reference="disc:23.25")
    assert caught.value.code == "bad-option"
    assert "disc:23.25@X,Y" in caught.value.remedy
    with pytest.raises(CutcheckError, match=r"disc of 23.25 mm at 20,20") as caught:
        locate(as_photo(two, 26.0), reference="disc:23.25@20,20")
    assert caught.value.code == "no-card"


@pytest.mark.parametrize("reference", ["id1", "sheet:210x297", "square:4x4_50:7:40", "disc:23.25"])
def test_a_missing_reference_is_told(reference: str) -> None:
    """On a bare board each is told by its name, with what to do."""
    photo = np.random.default_rng(0).normal(120, 3, (SIZE[1], SIZE[0], 3)).astype(np.uint8)
    with pytest.raises(CutcheckError) as caught:
        locate(as_photo(photo, 26.0), reference=reference)
    assert caught.value.code == "no-card"
    assert len(caught.value.remedy) > 20


@pytest.mark.parametrize(
    ("reference", "wanted"),
    [
        ("banana", "card, id1, sheet"),
        ("sheet:A4", "sheet:210x297"),
        ("sheet:210", "sheet:210x297"),
        ("disc:", "1 to 2000"),
        ("disc:23.25@left", "disc:23.25@812,1044"),
        ("square:4x4_50:7", "square:4x4_50:7:40"),
        ("square:nonsense:7:40", "4x4_50"),
        ("sheet:0x297", "1 to 2000"),
    ],
)
def test_a_reference_that_cannot_be_read_is_explained(reference: str, wanted: str) -> None:
    """A slip in ``--reference`` is a wrong command, and the remedy shows the right form."""
    photo = as_photo(np.full((300, 400, 3), 128, np.uint8), 26.0)
    with pytest.raises(CutcheckError) as caught:
        locate(photo, reference=reference)
    assert caught.value.code == "bad-option"
    assert reference.split(":")[0] in caught.value.message
    assert wanted in caught.value.remedy


def test_scale_follows_the_stated_size() -> None:
    """The same photo read with a sheet said to be twice as large gives lengths twice as large."""
    camera = camera_over(SIZE, tilt_deg=12.0, above_mm=430.0)
    photo = as_photo(picture(camera, [(rectangle(0, 0, (297.0, 210.0), 0.0), 0.0, PAPER)], WOOD), 26.0)
    once, twice = (locate(replace(photo), reference=size) for size in ("sheet:297x210", "sheet:594x420"))
    assert twice.scale.mm_per_px / once.scale.mm_per_px == pytest.approx(2.0, rel=0.002)
