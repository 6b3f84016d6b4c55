"""First solids from outlines alone: the truth is the hull of exactly projected corners."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import pytest
from drawing import camera_over
from hypothesis import given, settings
from hypothesis import strategies as st

from cutcheck.camera import Camera, Floats
from cutcheck.silhouette import (
    Affine,
    FirstFit,
    affine_at,
    boxes_at,
    facing,
    first_boxes,
    first_discs,
    support,
)

SIZE = (4000, 3000)
ABOVE_MM = 340.0
NEVER_TIMED = settings(deadline=None, derandomize=True, max_examples=60)
NO_SEAMS = np.full((1, 2, 2), np.nan)


@dataclass(frozen=True)
class Standing:
    """A box or an upright disc on the board, mm and rad."""

    x: float
    y: float
    turn: float
    length: float
    width: float
    height: float

    @property
    def foot(self) -> Floats:
        """Corners of a box, (4, 2) mm."""
        c, s = np.cos(self.turn), np.sin(self.turn)
        ring = 0.5 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [self.length, self.width]
        return np.asarray(ring @ np.array([[c, s], [-s, c]]) + [self.x, self.y])

    @property
    def rim(self) -> Floats:
        """The rim of a disc, (720, 2) mm."""
        t = np.linspace(0.0, 2.0 * np.pi, 720, endpoint=False)
        return np.asarray(0.5 * self.length * np.stack([np.cos(t), np.sin(t)], axis=-1) + [self.x, self.y])


def outline_of(camera: Camera, foot: Floats, height: float) -> Floats:
    """The silhouette of an upright prism, (K, 2) px."""
    both = np.concatenate([camera.project_at(foot, 0.0), camera.project_at(foot, height)])
    return np.asarray(cv2.convexHull(both.astype(np.float32))[:, 0], float)


def seen(camera: Camera, foot: Floats, height: float) -> tuple[Affine, Floats, Floats]:
    """The affine camera at an outline's middle, the directions and the outline's reach."""
    outline = outline_of(camera, foot, height)
    n, reach = support([outline])
    return affine_at(camera, 0.5 * (outline.min(axis=0) + outline.max(axis=0))[None]), n, reach


@st.composite
def standing(draw: st.DrawFn) -> Standing:
    """Boxes from brunoise to large dice and short sticks, anywhere on the board."""
    width = draw(st.floats(3.0, 15.0))
    return Standing(
        draw(st.floats(-60.0, 60.0)),
        draw(st.floats(-45.0, 45.0)),
        draw(st.floats(0.0, np.pi / 2)),
        width * draw(st.floats(1.2, 4.0)),
        width,
        width * draw(st.floats(0.3, 1.0)),
    )


@st.composite
def cameras(draw: st.DrawFn) -> Camera:
    """A phone over the board, 3 to 40 degrees aslant."""
    return camera_over(
        SIZE,
        above_mm=ABOVE_MM,
        tilt_deg=draw(st.floats(3.0, 40.0)),
        lean_deg=draw(st.floats(0.0, 360.0)),
        corner_distortion=draw(st.floats(-0.05, 0.03)),
    )


def perspective(camera: Camera, piece: Standing) -> float:
    """The share by which an affine camera may be wrong: how far the piece reaches, over its distance."""
    away = np.linalg.norm(camera.centre_mm - [piece.x, piece.y, 0.0])
    return float((piece.height + piece.length * np.sin(np.radians(camera.tilt_deg))) / away)


@NEVER_TIMED
@given(cameras(), standing())
def test_affine_camera_is_the_derivative_of_the_true_one(camera: Camera, piece: Standing) -> None:
    """Points a tenth of a millimetre away are seen where the affine camera says, to 0.01 px."""
    px = camera.project(np.array([[piece.x, piece.y, piece.height]]))
    affine = affine_at(camera, px, piece.height)
    move = np.array([0.06, -0.05, 0.06])
    expected = affine.p[0] + affine.a[0] @ move[:2] + affine.b[0] * move[2]
    there = camera.project(np.array([piece.x, piece.y, piece.height]) + move)
    assert affine.origin[0] == pytest.approx([piece.x, piece.y], abs=1e-6)
    assert np.abs(there - expected).max() < 0.01


@NEVER_TIMED
@given(cameras(), standing())
def test_a_box_of_known_height_is_recovered(camera: Camera, piece: Standing) -> None:
    """Given turn and height, length and width come back to within what perspective bends a small piece."""
    affine, n, reach = seen(camera, piece.foot, piece.height)
    fit = boxes_at(affine, n, reach, np.array([[piece.turn]]), np.array([piece.height]), NO_SEAMS)
    slack = perspective(camera, piece) + 0.003
    assert abs(fit.length[0] / piece.length - 1.0) < slack
    assert abs(fit.width[0] / piece.width - 1.0) < slack
    assert np.hypot(fit.xy[0, 0] - piece.x, fit.xy[0, 1] - piece.y) < slack * (piece.length + piece.height)


def affine_reach(affine: Affine, n: Floats, piece: Standing, foot: Floats) -> Floats:
    """How far an upright prism reaches under the affine camera itself, (1, K) px: no perspective."""
    ground = (foot - affine.origin[0]) @ affine.a[0].T + affine.p[0]
    both = np.concatenate([ground, ground + piece.height * affine.b[0]])
    return np.asarray((both @ n.T).max(axis=0)[None])


def flat(camera: Camera, piece: Standing, foot: Floats) -> tuple[Affine, Floats, Floats]:
    """The affine camera beside a piece, the directions, and the piece's reach under that camera."""
    affine = affine_at(camera, camera.project_at(np.array([[piece.x + 1.0, piece.y - 2.0]]), 0.0))
    n, _ = support([foot])
    return affine, n, affine_reach(affine, n, piece, foot)


@NEVER_TIMED
@given(cameras(), standing())
def test_without_perspective_a_box_of_known_height_is_exact(camera: Camera, piece: Standing) -> None:
    """Under an affine camera the closed form is exact: sides and place to a thousandth of a millimetre."""
    affine, n, reach = flat(camera, piece, piece.foot)
    fit = boxes_at(affine, n, reach, np.array([[piece.turn]]), np.array([piece.height]), NO_SEAMS)
    got = [fit.length[0], fit.width[0], *fit.xy[0]]
    assert got == pytest.approx([piece.length, piece.width, piece.x, piece.y], abs=1e-3)
    assert fit.rms[0] < 1e-3


def lean_mm(affine: Affine, piece: Standing) -> Floats:
    """How far the top is seen moved along and across the box, mm on the board."""
    c, s = np.cos(piece.turn), np.sin(piece.turn)
    moved = np.linalg.solve(affine.a[0], affine.b[0]) * piece.height
    return np.abs(np.array([[c, s], [-s, c]]) @ moved)


def test_two_side_faces_tell_the_height() -> None:
    """Where both seen side faces are 12 px or wider, the outline alone gives all three sides to 2 %."""
    rng = np.random.default_rng(7)
    tried = 0
    while tried < 60:
        camera = camera_over(SIZE, tilt_deg=float(rng.uniform(20, 40)), lean_deg=float(rng.uniform(0, 360)))
        width = float(rng.uniform(5, 15))
        piece = Standing(
            *map(float, rng.uniform(-40, 40, 2)), float(rng.uniform(0, 1.57)), 1.6 * width, width, 0.8 * width
        )
        affine, n, reach = flat(camera, piece, piece.foot)
        if lean_mm(affine, piece).min() * np.sqrt(abs(np.linalg.det(affine.a[0]))) < 12.0:
            continue
        tried += 1
        fit = boxes_at(affine, n, reach, np.array([[piece.turn]]), None, NO_SEAMS)
        got = np.array([fit.length[0], fit.width[0], fit.height[0]])
        assert got == pytest.approx([piece.length, piece.width, piece.height], rel=0.02)


@NEVER_TIMED
@given(cameras(), standing())
def test_the_scan_finds_the_turn(camera: Camera, piece: Standing) -> None:
    """The best turn of the scan explains the outline as well as the true one does, to a tenth of a pixel."""
    affine, n, reach = seen(camera, piece.foot, piece.height)
    best = first_boxes(affine, n, reach, NO_SEAMS)
    turns = best.theta[:, None] + np.radians(np.linspace(-1.0, 1.0, 9))
    fine = boxes_at(affine, n, reach, turns, None, NO_SEAMS)
    true = boxes_at(affine, n, reach, np.array([[piece.turn]]), None, NO_SEAMS)
    assert fine.rms[0] < true.rms[0] + 0.1


@NEVER_TIMED
@given(cameras(), standing())
def test_length_is_never_less_than_width(camera: Camera, piece: Standing) -> None:
    """Whatever the turn, the longer side is the length, and ``theta`` is its direction."""
    affine, n, reach = flat(camera, piece, piece.foot)
    height = np.array([piece.height])
    fits: list[FirstFit] = [
        boxes_at(affine, n, reach, np.array([[piece.turn + k * np.pi / 2]]), height, NO_SEAMS)
        for k in range(4)
    ]
    for fit in fits:
        assert fit.length[0] >= fit.width[0]
        assert abs(np.sin(fit.theta[0] - piece.turn)) < 1e-6


@NEVER_TIMED
@given(cameras(), standing())
def test_a_disc_is_recovered(camera: Camera, piece: Standing) -> None:
    """The outline of an upright disc 5 mm high gives its diameter to what perspective and its height leave.

    Straight above the weak guess at the height counts, but then it moves the diameter least.
    """
    disc = Standing(piece.x, piece.y, 0.0, 4.0 * piece.width, 4.0 * piece.width, 5.0)
    affine, n, reach = seen(camera, disc.rim, disc.height)
    fit = first_discs(affine, n, reach)
    assert abs(fit.length[0] / disc.length - 1.0) < perspective(camera, disc) + 0.005
    assert fit.length[0] == fit.width[0]


def test_a_disc_seen_aslant_tells_its_height() -> None:
    """Under an affine camera, 30 degrees aslant, a round's diameter and height come back to 2 %."""
    for lean in range(0, 360, 30):
        camera = camera_over(SIZE, tilt_deg=30.0, lean_deg=float(lean))
        disc = Standing(3.0, -4.0, 0.0, 24.0, 24.0, 8.0)
        affine, n, reach = flat(camera, disc, disc.rim)
        fit = first_discs(affine, n, reach)
        assert [fit.length[0], fit.height[0]] == pytest.approx([24.0, 8.0], rel=0.02)


def test_support_of_a_unit_circle_is_one() -> None:
    """The support function of a circle is its radius plus the way to its centre (convex geometry)."""
    t = np.linspace(0.0, 2.0 * np.pi, 4800, endpoint=False)
    circle = 7.0 * np.stack([np.cos(t), np.sin(t)], axis=-1) + [3.0, -2.0]
    n, reach = support([circle])
    assert reach[0] == pytest.approx(7.0 + n @ [3.0, -2.0], abs=1e-5)


def test_facing_is_within_forty_degrees_of_the_seam() -> None:
    """A direction looks at a seam up to 40 degrees from its normal; where there is no seam none does."""
    angles = np.radians([0.0, 39.0, 41.0, 180.0])
    n = np.stack([np.cos(angles), np.sin(angles)], axis=-1)
    seams = np.full((2, 2, 2), np.nan)
    seams[0, 0] = [1.0, 0.0]
    assert facing(n, seams).tolist() == [[True, True, False, False], [False] * 4]
