"""The camera model, against OpenCV's and against itself."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from drawing import camera_over
from hypothesis import given, settings
from hypothesis import strategies as st

from cutcheck.camera import Camera

SIZE = (4000, 3000)
NEVER_TIMED = settings(deadline=None, derandomize=True, max_examples=40)


@st.composite
def cameras(draw: st.DrawFn) -> Camera:
    """Phones 150 to 600 mm over a board, up to 45 degrees aslant, bending by -5 to +5 % at the corner."""
    camera = camera_over(
        SIZE,
        f35=draw(st.floats(14.0, 50.0)),
        above_mm=draw(st.floats(150.0, 600.0)),
        tilt_deg=draw(st.floats(0.5, 45.0)),
        lean_deg=draw(st.floats(0.0, 360.0)),
        roll_deg=draw(st.floats(-180.0, 180.0)),
        corner_distortion=draw(st.floats(-0.05, 0.05)),
        off_px=(draw(st.floats(-40.0, 40.0)), draw(st.floats(-40.0, 40.0))),
    )
    # k2 moves the corner by no more than 2 %, whatever the focal length.
    corner = 0.25 * (SIZE[0] ** 2 + SIZE[1] ** 2) / camera.f**2
    return replace(camera, k2=draw(st.floats(-0.02, 0.02)) / corner**2)


def grid_px(count: int = 5) -> np.ndarray:
    """Places all over the picture, (count * count, 2) px."""
    x, y = np.meshgrid(np.linspace(0, SIZE[0] - 1, count), np.linspace(0, SIZE[1] - 1, count))
    return np.stack([x.ravel(), y.ravel()], axis=-1)


@NEVER_TIMED
@given(cameras(), st.floats(-5.0, 40.0))
def test_a_place_in_the_photo_comes_back(camera: Camera, h: float) -> None:
    """A pixel taken down to a plane at any height is seen at that pixel again, to a thousandth of a pixel."""
    px = grid_px()
    assert np.abs(camera.project_at(camera.to_height(px, h), h) - px).max() < 1e-3


@NEVER_TIMED
@given(cameras(), st.floats(0.0, 30.0))
def test_projection_is_opencvs(camera: Camera, h: float) -> None:
    """``project`` is cv2.projectPoints (OpenCV, calib3d) with k1 and k2 and the height counted upwards."""
    xy = camera.to_height(grid_px(), h)
    points = np.column_stack([xy, np.full(len(xy), -h)])
    matrix = np.array([[camera.f, 0.0, camera.cx], [0.0, camera.f, camera.cy], [0.0, 0.0, 1.0]])
    bend = np.array([camera.k1, camera.k2, 0.0, 0.0])
    expected = cv2.projectPoints(points, camera.rotation, camera.translation, matrix, bend)[0]
    assert np.abs(camera.project_at(xy, h) - expected.reshape(-1, 2)).max() < 1e-6


@NEVER_TIMED
@given(cameras())
def test_a_camera_is_its_parameters(camera: Camera) -> None:
    """A camera made from its own vector sees everything where it did."""
    again = Camera.from_vector(camera.vector())
    xy = camera.to_height(grid_px())
    assert np.abs(again.project_at(xy, 3.0) - camera.project_at(xy, 3.0)).max() < 1e-6


@pytest.mark.parametrize("factor", [0.25, 0.5, 2.0])
def test_a_resized_photo_keeps_its_places(factor: float) -> None:
    """A point drawn in a photo is where ``scaled`` says after cv2.resize by area, to 0.02 px.

    cv2.resize keeps the corners of the picture, so that the centres of pixels move by half a pixel.
    """
    size = (400, 300)
    camera = camera_over(size, tilt_deg=20.0, corner_distortion=-0.03)
    point = np.array([[21.0, -13.0, 4.0]])
    at = camera.project(point)[0]
    y, x = np.mgrid[: size[1], : size[0]]
    spot = np.exp(-0.5 * ((x - at[0]) ** 2 + (y - at[1]) ** 2) / 6.0**2)
    flag = cv2.INTER_AREA if factor < 1 else cv2.INTER_LINEAR
    small = cv2.resize(spot, None, fx=factor, fy=factor, interpolation=flag)
    ys, xs = np.mgrid[: small.shape[0], : small.shape[1]]
    middle = np.array([(small * xs).sum(), (small * ys).sum()]) / small.sum()
    assert np.abs(camera.scaled(factor).project(point)[0] - middle).max() < 0.02


@NEVER_TIMED
@given(cameras(), st.floats(0.0, 20.0))
def test_mm_per_px_is_the_area_of_a_pixel(camera: Camera, h: float) -> None:
    """A square of 9 px in the photo covers the board by ``mm_per_px`` squared for each pixel (shoelace)."""
    px = np.array([[1300.0, 900.0]])
    square = px + 4.5 * np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    x, y = camera.to_height(square, h).T
    area = 0.5 * abs(float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum()))
    assert float(camera.mm_per_px(px, h)[0]) == pytest.approx(np.sqrt(area / 81.0), rel=1e-3)


def test_straight_above_the_scale_is_distance_over_focal_length() -> None:
    """From straight above, a pixel is (distance - height) / f mm: the intercept theorem."""
    camera = camera_over(SIZE, above_mm=300.0, tilt_deg=0.0)
    px = np.array([[camera.cx, camera.cy]])
    for h in (0.0, 6.35, 20.0):
        assert float(camera.mm_per_px(px, h)[0]) == pytest.approx((300.0 - h) / camera.f, rel=1e-9)


@pytest.mark.parametrize(("tilt", "above"), [(0.0, 340.0), (12.0, 200.0), (40.0, 500.0)])
def test_where_the_camera_stood(tilt: float, above: float) -> None:
    """Tilt and place are those that the camera was set up with."""
    camera = camera_over(SIZE, tilt_deg=tilt, above_mm=above, lean_deg=77.0, roll_deg=-30.0)
    assert camera.tilt_deg == pytest.approx(tilt, abs=1e-5)
    assert camera.centre_mm[2] == pytest.approx(above)


def test_a_raised_camera_sees_the_old_board_higher_up() -> None:
    """After ``raised(d)`` what was at height h is at height h + d, and seen where it was."""
    camera = camera_over(SIZE, tilt_deg=25.0, corner_distortion=0.02)
    xy = camera.to_height(grid_px())
    moved = camera.raised(0.5)
    assert np.abs(moved.project_at(xy, 3.5) - camera.project_at(xy, 3.0)).max() < 1e-6
