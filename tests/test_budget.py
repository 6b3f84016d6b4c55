"""The uncertainty budget, against drawing cameras at random (the Monte Carlo method of JCGM 101:2008)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from drawing import camera_over
from numpy.typing import NDArray

from cutcheck.budget import CAUSES, camera_part, height_part
from cutcheck.camera import Camera
from cutcheck.piece import edges_and_height, make_piece

Floats = NDArray[np.float64]
SIZE = (4000, 3000)
DRAWS = 3000  # a standard deviation is then known to 1.3 % (its relative standard error is 1 / sqrt(2 N))


def uncertain_camera(tilt_deg: float) -> Camera:
    """A camera with the covariance that 51 corners of a card, each known to 0.1 px, and a prior leave it."""
    camera = camera_over(SIZE, tilt_deg=tilt_deg, lean_deg=60.0, target_mm=(40.0, 20.0))
    x, y = np.meshgrid(np.linspace(-46.0, 46.0, 9), np.linspace(-33.0, 33.0, 6))
    card = np.stack([x.ravel(), y.ravel()], axis=-1)[:51]
    vector = camera.vector()
    columns = []
    for k in range(11):
        step = np.zeros(11)
        step[k] = 1e-5 * max(abs(vector[k]), 0.1)
        ahead, behind = Camera.from_vector(vector + step), Camera.from_vector(vector - step)
        columns.append((ahead.project_at(card, 0.0) - behind.project_at(card, 0.0)).ravel() / (2.0 * step[k]))
    by = np.stack(columns, axis=1) / 0.1
    prior = np.array([0.02 * camera.f, 10.0, 10.0, 0.02, 0.01, *[1e3] * 6])
    return replace(camera, covariance=np.linalg.inv(by.T @ by + np.diag(prior**-2.0)))


def drawn_cameras(camera: Camera, seed: int) -> list[Camera]:
    """Cameras drawn from the covariance."""
    rng = np.random.default_rng(seed)
    assert camera.covariance is not None
    vectors = rng.multivariate_normal(camera.vector(), camera.covariance, DRAWS)
    return [Camera.from_vector(vector) for vector in vectors]


@pytest.mark.parametrize("tilt", [4.0, 20.0, 38.0])
def test_camera_part_of_lengths_is_that_of_monte_carlo(tilt: float) -> None:
    """Lengths between fixed pixels, measured with cameras drawn at random, scatter as said, to 10 %."""
    camera = uncertain_camera(tilt)
    xy = np.array([[[0.0, 0.0], [6.0, 2.0]], [[70.0, 40.0], [70.0, 52.0]], [[90.0, 10.0], [140.0, 10.0]]])
    h = np.array([[6.0], [12.0], [3.0]])
    ends = camera.project_at(xy, h)[:, None]
    flat = np.stack([drawn.to_height(ends[:, 0], h) for drawn in drawn_cameras(camera, 11)])
    scatter = np.linalg.norm(flat[:, :, 1] - flat[:, :, 0], axis=-1).std(axis=0, ddof=1)
    assert camera_part(camera, ends, h)[:, 0] == pytest.approx(scatter, rel=0.1)


def height_over(camera: Camera, foot: Floats, top: Floats) -> Floats:
    """The height of the point of the upright over ``foot`` that is nearest to the ray through ``top``."""
    base, eye = camera.to_height(foot), camera.centre_mm
    out = np.column_stack([camera.to_height(top), np.zeros(len(top))]) - eye
    out = out / np.linalg.norm(out, axis=1, keepdims=True)
    # Two lines are nearest where their link is square to both.
    link = np.column_stack([base, np.zeros(len(base))]) - eye
    slant = out[:, 2]
    return np.asarray(((link * out).sum(axis=1) * slant - link[:, 2]) / (1.0 - slant**2))


@pytest.mark.parametrize("tilt", [12.0, 25.0, 38.0])
def test_camera_part_of_heights_is_that_of_monte_carlo(tilt: float) -> None:
    """Heights between a fixed foot and top, with cameras drawn at random, scatter as said, to 10 %."""
    camera = uncertain_camera(tilt)
    xy = np.array([[10.0, 5.0], [70.0, 40.0], [120.0, -20.0]])
    height = np.array([6.0, 12.0, 3.0])
    foot, top = camera.project_at(xy, 0.0), camera.project_at(xy, height)
    assert height_over(camera, foot, top) == pytest.approx(height, abs=1e-6)
    scatter = np.stack([height_over(drawn, foot, top) for drawn in drawn_cameras(camera, 12)])
    assert height_part(camera, foot, top, height) == pytest.approx(scatter.std(axis=0, ddof=1), rel=0.1)


def test_a_camera_known_exactly_adds_nothing() -> None:
    """Without a covariance the camera's part is nought, for lengths and for heights."""
    camera = camera_over(SIZE)
    px = np.array([[[[100.0, 200.0], [300.0, 200.0]]]])
    assert camera_part(camera, px, np.zeros((1, 1))).tolist() == [[0.0]]
    assert height_part(camera, px[0, 0, :1], px[0, 0, 1:], np.ones(1)).tolist() == [0.0]


def test_camera_part_grows_with_the_standard_uncertainty() -> None:
    """Four times the covariance is twice the standard uncertainty (JCGM 100:2008, 5.1.2)."""
    camera = uncertain_camera(20.0)
    assert camera.covariance is not None
    ends = camera.project_at(np.array([[[[0.0, 0.0], [50.0, 0.0]]]]), 5.0)
    h = np.full((1, 1), 5.0)
    wider = replace(camera, covariance=4.0 * camera.covariance)
    assert camera_part(wider, ends, h) == pytest.approx(2.0 * camera_part(camera, ends, h), rel=0.02)


def test_edges_and_height_share_out_the_variance() -> None:
    """What the height leaves open and what the edges do add up to the fit's variance, in squares.

    A length that moves with the height (correlation 0.6) owes the height 0.6 of its standard deviation.
    """
    covariance = np.array([[[0.04, 0.6 * 0.2 * 0.5], [0.6 * 0.2 * 0.5, 0.25]]])
    parts = np.zeros((1, 3, len(CAUSES)))
    edges_and_height(covariance, (0, 0), 1, parts)
    edges, height = CAUSES.index("edges"), CAUSES.index("height")
    assert parts[0, 0, [edges, height]] == pytest.approx([0.8 * 0.2, 0.6 * 0.2])
    assert parts[0, 2, edges] == pytest.approx(0.5)


def test_the_budget_of_a_piece_adds_up() -> None:
    """``u95`` is twice the root of the summed squares of a side's lines (JCGM 100:2008, 5.1.2 and 6.2)."""
    parts = np.array(
        [
            [0.01, 0.02, 0.03, 0.04, 0.05, 0.02],
            [0.02, 0.0, 0.01, 0.06, 0.03, 0.0],
            [0.3, 0, 0.1, 0.0, 0.03, 0.1],
        ]
    )
    outline = np.zeros((4, 2))
    # Given as width before length: the lines change places with the sides.
    piece = make_piece("box", np.array([6.0, 9.0, 5.0]), parts, outline[0], outline, outline, 20.0)
    assert (piece.length.mm, piece.width.mm, piece.height.mm) == (9.0, 6.0, 5.0)
    for side in ("length", "width", "height"):
        lines = [line.standard_mm for line in piece.budget if line.side == side]
        assert getattr(piece, side).u95 == pytest.approx(2.0 * np.sqrt(np.sum(np.square(lines))))
    assert [line.cause for line in piece.budget if line.side == "width"] == list(CAUSES)
    assert [line.standard_mm for line in piece.budget if line.side == "length"] == [0.02, 0.01, 0.06, 0.03]


@pytest.mark.parametrize(("side_px", "u"), [(4.0, 0.1), (20.0, 2.0)])
def test_a_height_that_is_not_seen_is_not_given(side_px: float, u: float) -> None:
    """Where the side face is too narrow, or the height too unsure, there is no height and no line for it."""
    parts = np.full((3, len(CAUSES)), 0.01)
    parts[2] = u
    outline = np.zeros((4, 2))
    piece = make_piece("box", np.array([6.0, 6.0, 5.0]), parts, outline[0], outline, outline, side_px)
    assert (piece.height.mm, piece.height.u95, piece.height.seen) == (None, None, False)
    assert {line.side for line in piece.budget} == {"length", "width"}
