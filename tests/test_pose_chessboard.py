"""Edges, pose and lens on photographs that a camera took: OpenCV's chessboard, against OpenCV's calibration.

Debian's opencv-doc ships left01.jpg to left14.jpg: one camera, a chessboard of 9 x 6 inner corners, equal
fields. The reference is cv2.calibrateCamera on corners by cv2.cornerSubPix (Zhang, 2000).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest
from drawing import as_photo
from numpy.typing import NDArray

from cutcheck.calibrate import board_edges, calibrate, checker_corners
from cutcheck.errors import CutcheckError
from cutcheck.photo import Photo

Floats = NDArray[np.float64]
FOLDER = Path("/usr/share/doc/opencv-doc/examples/data")
BOARD = (9, 6)


@dataclass(frozen=True)
class Reference:
    """OpenCV's answer: f, cx, cy, k1, k2 with standard deviations (5,), and each photo's pose and corners."""

    lens: Floats
    sd: Floats
    turns: list[Floats]
    shifts: list[Floats]
    corners: list[Floats]


@cache
def photos() -> tuple[Photo, ...]:
    """The chessboard photos, in order; there are thirteen (left10 was never shipped)."""
    files = sorted(FOLDER.glob("left[0-9][0-9].jpg"))
    assert len(files) == 13, f"install the package opencv-doc: {FOLDER}"
    return tuple(as_photo(np.asarray(cv2.imread(str(file)), np.uint8), None) for file in files)


@cache
def opencv() -> Reference:
    """OpenCV's own calibration: one focal length, two radial terms, no tangential ones, as our model has."""
    mm = np.column_stack([checker_corners(BOARD), np.zeros(54)]).astype(np.float32)
    corners = []
    for photo in photos():
        grey = cv2.cvtColor(photo.pixels, cv2.COLOR_BGR2GRAY)
        found, rough = cv2.findChessboardCorners(grey, BOARD)
        assert found
        corners.append(cv2.cornerSubPix(grey, rough, (5, 5), (-1, -1), (3, 60, 1e-4)))
    flags = cv2.CALIB_FIX_ASPECT_RATIO | cv2.CALIB_ZERO_TANGENT_DIST | cv2.CALIB_FIX_K3
    _, matrix, bend, turns, shifts, sd, _, _ = cv2.calibrateCameraExtended(
        [mm] * len(corners), corners, (640, 480), np.eye(3), np.zeros(5), flags=flags
    )
    bend, sd = np.ravel(bend), np.ravel(sd)
    lens = np.array([matrix[0, 0], matrix[0, 2], matrix[1, 2], bend[0], bend[1]])
    return Reference(
        *(lens, np.array([*sd[1:4], *sd[4:6]])),
        *([np.asarray(turn) for turn in turns], [np.ravel(shift) for shift in shifts]),
        [np.asarray(each, float).reshape(-1, 2) for each in corners],
    )


def test_edges_agree_with_opencvs_corners() -> None:
    """The edges between inner corners lie on OpenCV's corners: within 0.15 px on average over each photo."""
    for photo, corners in zip(photos(), opencv().corners, strict=True):
        edges = board_edges(photo, BOARD)
        mm = checker_corners(BOARD)
        nearest = np.argsort(np.linalg.norm(edges.mm[:, None] - mm[None], axis=2), axis=1)[:, :2]
        a, b = corners[nearest[:, 0]], corners[nearest[:, 1]]
        off = ((edges.px - (a + b) / 2) * edges.normal).sum(axis=1)
        # Ink and exposure grow black or white by the same on all edges, and they alternate.
        assert len(off) > 60
        assert np.abs(off - np.median(off)).mean() < 0.15


def test_the_lens_is_that_of_opencvs_calibration() -> None:
    """Focal length within 0.5 %, distortion at the picture's corner within 0.5 % of its distance."""
    found = calibrate(photos(), board=BOARD)
    lens = found.lens.in_pixels(640, 480)
    assert lens.mean[0] == pytest.approx(opencv().lens[0], rel=0.005)
    assert lens.mean[1:3] == pytest.approx(opencv().lens[1:3], abs=5.0)
    r2 = 0.25 * (640**2 + 480**2) / opencv().lens[0] ** 2
    ours, theirs = (v[3] * r2 + v[4] * r2**2 for v in (lens.mean, opencv().lens))
    assert ours == pytest.approx(theirs, abs=0.005)
    both = np.hypot(lens.sd, opencv().sd)
    assert (np.abs(lens.mean - opencv().lens) < 4 * both).all()
    assert max(found.residuals_px) < 0.3


def test_the_pose_is_that_of_opencvs_calibration() -> None:
    """With the lens known, each distance agrees within 0.5 % and each direction within half a degree."""
    from cutcheck.calibrate import board_fit

    lens = calibrate(photos(), board=BOARD).lens.in_pixels(640, 480)
    for photo, turn, shift in zip(photos(), opencv().turns, opencv().shifts, strict=True):
        camera = board_fit(photo, BOARD, lens).camera
        theirs = np.asarray(cv2.Rodrigues(turn)[0])
        # The board may be taken the other way round; its normal and its middle can't.
        angle = np.degrees(np.arccos(np.clip(camera.rotation[:, 2] @ theirs[:, 2], -1, 1)))
        assert angle < 0.5
        assert np.linalg.norm(camera.translation) == pytest.approx(np.linalg.norm(shift), rel=0.006)


def test_a_photo_without_the_board_is_named() -> None:
    """What has no checkerboard is refused by its name, with what to do."""
    blank = as_photo(np.full((480, 640, 3), 128, np.uint8), None)
    with pytest.raises(CutcheckError, match=r"checkerboard of 9 x 6 inner corners \('drawn.png'\)") as caught:
        calibrate([*photos()[:3], blank], board=BOARD)
    assert caught.value.code == "no-card"


def test_too_few_photos_are_refused() -> None:
    """Two photos don't tell lens from pose: three are the fewest."""
    with pytest.raises(CutcheckError, match="2 photos are too few"):
        calibrate(photos()[:2], board=BOARD)
