"""From a photo to the camera: drawn photos whose camera is known exactly."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from drawing import Lying, Phone, as_photo, camera_over, draw
from first_order import variance
from numpy.typing import NDArray

from cutcheck import adjust
from cutcheck.camera import Camera
from cutcheck.card import PrintCheck, mat, pocket_card
from cutcheck.errors import CutcheckError
from cutcheck.located import Located
from cutcheck.pose import locate

Floats = NDArray[np.float64]
SIZE = (1600, 1200)
EXACT = PrintCheck(93.0, 66.0)


def in_frame_of(camera: Camera, card: Lying) -> Camera:
    """The drawn camera in the frame whose origin is the card's centre."""
    angle = np.radians(card.angle_deg)
    cos, sin = np.cos(angle), np.sin(angle)
    turn = np.array([[cos, -sin, 0.0], [sin, cos, 0.0], [0.0, 0.0, 1.0]])
    shift = camera.rotation @ np.array([card.x, card.y, 0.0]) + camera.translation
    return replace(camera, rotation=camera.rotation @ turn, translation=shift)


def log_lengths(camera: Camera, height: float = 6.0) -> Floats:
    """Logarithms of short lengths at ``height`` all over the picture, across and down: what pieces need."""
    spots = np.array([[x * SIZE[0], y * SIZE[1]] for x in (0.1, 0.35, 0.65, 0.9) for y in (0.1, 0.5, 0.9)])
    here = camera.to_height(spots, height)
    right = np.linalg.norm(camera.to_height(spots + np.array([8.0, 0.0]), height) - here, axis=1)
    down = np.linalg.norm(camera.to_height(spots + np.array([0.0, 8.0]), height) - here, axis=1)
    return np.log(np.concatenate([right, down]))


def length_errors(located: Located, truth: Camera) -> tuple[Floats, Floats]:
    """Relative errors of those lengths, and the standard uncertainties that the covariance gives them."""
    off = log_lengths(located.camera) - log_lengths(truth)
    return off, np.sqrt(variance(located.camera, log_lengths))


def random_scene(seed: int) -> tuple[Camera, Lying, float, Phone]:
    """A camera, a card wholly in its picture, the focal length for EXIF, and the phone."""
    rng = np.random.default_rng(seed)
    f35 = float(rng.uniform(23.7, 28.3))
    camera = camera_over(
        SIZE,
        f35=f35,
        above_mm=float(rng.uniform(260, 380)),
        tilt_deg=float(rng.uniform(3, 40)),
        lean_deg=float(rng.uniform(0, 360)),
        corner_distortion=float(rng.uniform(-0.05, 0.03)),
        off_px=(float(rng.uniform(-4, 4)), float(rng.uniform(-4, 4))),
    )
    while True:
        x, y = camera.to_height(rng.uniform(0.12, 0.88, 2) * SIZE)
        card = Lying(pocket_card(int(rng.integers(125))), float(x), float(y), float(rng.uniform(-180, 180)))
        seen = camera.project(card.to_board(card.layout.outline))
        if ((seen > 5) & (seen < np.array(SIZE) - 6)).all():
            break
    phone = Phone(
        float(rng.uniform(0.6, 0.95)), float(rng.uniform(0.004, 0.008)), float(rng.uniform(0.2, 0.6))
    )
    return camera, card, float(round(f35)), phone


def test_the_camera_model_is_opencvs() -> None:
    """Projection with k1 and k2 agrees with cv2.projectPoints to 1e-6 px, and to_height undoes it."""
    camera = replace(camera_over(SIZE, tilt_deg=35.0, corner_distortion=-0.05, off_px=(7.0, -3.0)), k2=0.02)
    points = np.random.default_rng(1).uniform([-150, -100, 0], [150, 100, 20], (50, 3))
    matrix = np.array([[camera.f, 0, camera.cx], [0, camera.f, camera.cy], [0, 0, 1.0]])
    vector = cv2.Rodrigues(camera.rotation)[0]
    expected, _ = cv2.projectPoints(
        points * [1, 1, -1], vector, camera.translation, matrix, np.array([camera.k1, camera.k2, 0.0, 0.0])
    )
    seen = camera.project(points)
    assert seen == pytest.approx(np.asarray(expected).reshape(-1, 2), abs=1e-6)
    assert camera.to_height(seen, points[:, 2]) == pytest.approx(points[:, :2], abs=1e-6)


def test_derivatives_are_those_of_the_model() -> None:
    """Every column of the derivative matrix agrees with finite differences, two bent cards and all."""
    rng = np.random.default_rng(0)
    camera = replace(camera_over(SIZE, tilt_deg=20.0, corner_distortion=-0.03), k2=0.01)
    mm, card = rng.uniform(-50, 50, (60, 2)), rng.integers(0, 2, 60)
    normal = rng.normal(size=(60, 2))
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    px = rng.uniform(0, 1600, (60, 2))
    edges = adjust.Edges(mm, adjust.bends_at(mm, 52.5), px, normal, card, np.full(60, 0.2))
    placements = np.array([[0.0, 0.0, 0.0], [80.0, 30.0, 0.5]])
    state = adjust._State(camera, placements, rng.normal(0, 0.2, (2, 3)), 0.05)
    _, jacobian = adjust._residuals(edges, state)
    for k in range(jacobian.shape[1]):
        step = np.zeros(jacobian.shape[1])
        step[k] = 1e-3 if k == 0 else 1e-5
        change = (
            adjust._residuals(edges, state.moved(step))[0] - adjust._residuals(edges, state.moved(-step))[0]
        )
        assert -change / (2 * step[k]) == pytest.approx(
            jacobian[:, k], abs=1e-5 * np.abs(jacobian[:, k]).max()
        )


@pytest.mark.parametrize("with_exif", [True, False], ids=["exif", "no exif"])
def test_lengths_all_over_the_picture_are_right_and_their_uncertainty_true(with_exif: bool) -> None:
    """Over random cameras, tilts, distortions, places of the card: errors small and as foretold.

    The normalised errors of one scene hang together, so the bound on their mean square is wide; nearly all
    lie within two standard uncertainties (JCGM 100: 95 % for k = 2).
    """
    errors, uncertainties = [], []
    for seed in range(10):
        camera, card, f35, phone = random_scene(seed)
        photo = draw(camera, SIZE, [card], phone=phone, seed=seed, rays=3)
        located = locate(as_photo(photo, f35 if with_exif else None), printed=EXACT)
        assert located.scale.numbers == (card.layout.number,)
        assert located.scale.focal_from == ("exif" if with_exif else "solved")
        error, u = length_errors(located, in_frame_of(camera, card))
        errors.append(error)
        uncertainties.append(u)
    error, u = np.array(errors), np.array(uncertainties)
    scenes = np.sqrt((error**2).mean(axis=1))
    assert np.median(scenes) < 0.002
    assert scenes.max() < 0.015
    assert 0.02 < ((error / u) ** 2).mean() < 1.6
    assert (np.abs(error) < 2 * u).mean() > 0.9
    assert np.median(u) < 0.005


def test_heights_and_places_are_those_of_the_board() -> None:
    """A point 250 mm away and 20 mm up is placed within 0.5 mm; h = 0 lies a card's thickness below."""
    card = Lying(pocket_card(5), -120.0, -60.0, 15.0, height=0.5)
    camera = camera_over(SIZE, tilt_deg=25.0, target_mm=(-20.0, 0.0), corner_distortion=-0.02)
    photo = as_photo(draw(camera, SIZE, [card], rays=3), 26.0)
    located = locate(photo, printed=EXACT, thickness_mm=0.5)
    truth = in_frame_of(camera, card)
    far = np.array([[220.0, 110.0]])
    assert located.camera.to_height(truth.project_at(far, 20.0), 20.0) == pytest.approx(far, abs=0.5)
    assert located.camera.centre_mm == pytest.approx(truth.centre_mm, abs=6.0)
    assert located.scale.tilt_deg == pytest.approx(truth.tilt_deg, abs=0.5)


def test_the_print_check_gives_true_sizes_each_way() -> None:
    """A card printed 3 % narrow and 1 % short is put right by what the ruler says of its page."""
    card = Lying(pocket_card(8), printed=(0.97, 0.99))
    camera = camera_over(SIZE, tilt_deg=15.0)
    photo = as_photo(draw(camera, SIZE, [card], rays=3), 26.0)
    right = locate(photo, printed=PrintCheck.parse(f"{198 * 0.97:.2f}x{214 * 0.99:.2f}"))
    error, _ = length_errors(right, in_frame_of(camera, card))
    assert np.abs(error).max() < 0.003
    assert not any("ruler" in warning for warning in right.warnings)
    small = replace(card, printed=(0.97, 0.97))
    unchecked = locate(as_photo(draw(camera, SIZE, [small], rays=3), 26.0))
    assert any("ruler" in warning and "1 %" in warning for warning in unchecked.warnings)
    assert unchecked.scale_u > right.scale_u
    too_long = length_errors(unchecked, in_frame_of(camera, card))[0]
    assert too_long == pytest.approx(np.full(24, -np.log(0.97)), abs=0.006)


def test_a_slightly_bent_card_is_allowed_for() -> None:
    """A card whose ends bend down by 0.7 mm gives sizes within their uncertainty, and a warning."""
    card = Lying(pocket_card(3), 60.0, 30.0, 20.0, height=0.9, bow_mm=0.7, bow_axis_deg=10.0)
    camera = camera_over(SIZE, tilt_deg=22.0)
    located = locate(as_photo(draw(camera, SIZE, [card]), 26.0), printed=EXACT)
    error, u = length_errors(located, in_frame_of(camera, replace(card, bow_mm=0.0)))
    assert any("bent" in warning for warning in located.warnings)
    assert (np.abs(error) < 2.5 * u).all()
    assert np.abs(error).max() < 0.02


def test_a_second_card_bears_on_the_first() -> None:
    """Two cards are solved together: both are named, and lengths between them are surer than from one."""
    near, far = Lying(pocket_card(2), -110.0, -50.0, 10.0), Lying(pocket_card(77), 110.0, 60.0, -140.0)
    camera = camera_over(SIZE, tilt_deg=18.0, corner_distortion=-0.03)
    both = locate(as_photo(draw(camera, SIZE, [far, near], rays=3), 26.0), printed=EXACT)
    one = locate(as_photo(draw(camera, SIZE, [near], rays=3), 26.0), printed=EXACT)
    assert both.scale.numbers == (2, 77)
    assert len(both.regions_px) == 2
    error, u = length_errors(both, in_frame_of(camera, near))
    assert np.median(u) < 0.6 * np.median(length_errors(one, in_frame_of(camera, near))[1])
    assert (np.abs(error) < 2.5 * u).all()


def test_two_cards_of_one_number_stay_two() -> None:
    """Cards that share their number are not mixed up: each square goes with its neighbours."""
    cards = [Lying(pocket_card(0), -90.0, -40.0, 5.0), Lying(pocket_card(0), 90.0, 60.0, 185.0)]
    camera = camera_over(SIZE, tilt_deg=12.0)
    located = locate(as_photo(draw(camera, SIZE, cards, rays=2), 26.0), printed=EXACT)
    assert located.scale.numbers == (0, 0)
    assert located.scale.residual_px < 0.2


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_a_mat_gives_the_camera_and_its_paper_is_the_board(paper: str) -> None:
    """Ten squares round the tray: lengths within 0.1 %, a region for each square, the paper as surface."""
    lying = Lying(mat(paper), 0.0, 0.0, 90.0, height=0.0)
    camera = camera_over(SIZE, tilt_deg=14.0, above_mm=330.0, corner_distortion=0.02)
    located = locate(as_photo(draw(camera, SIZE, [lying], rays=3), 26.0), printed=PrintCheck(198, 285))
    error, _ = length_errors(located, in_frame_of(camera, lying))
    assert np.abs(error).max() < 0.001
    assert located.scale.reference == "mat"
    assert len(located.regions_px) == 10
    assert located.surface_px is not None


def test_a_card_on_a_mat_names_the_tray() -> None:
    """A pocket card on the mat, over one of its squares even, gives the number; the mat the frame."""
    on = [Lying(mat("a4"), 0.0, 0.0, 90.0, height=0.0), Lying(pocket_card(42), 120.0, 10.0, 30.0)]
    camera = camera_over(SIZE, tilt_deg=10.0, above_mm=330.0)
    located = locate(as_photo(draw(camera, SIZE, on, rays=2), 26.0), printed=PrintCheck(198, 285))
    assert located.scale.reference == "mat"
    assert located.scale.numbers == (42,)
    assert located.camera.to_height(camera.project(np.zeros((1, 3))))[0] == pytest.approx([0.0, 0.0], abs=0.2)


def test_part_of_another_card_does_no_harm() -> None:
    """A neighbour's card, half in the picture, is passed over, but covered up."""
    cards = [Lying(pocket_card(6), 0.0, 0.0), Lying(pocket_card(9), 0.0, 152.0)]
    camera = camera_over(SIZE, tilt_deg=8.0)
    located = locate(as_photo(draw(camera, SIZE, cards, rays=2), 26.0), printed=EXACT)
    assert located.scale.numbers == (6,)
    assert len(located.regions_px) == 2


def test_a_mirrored_card_and_a_lone_square_are_no_card() -> None:
    """A mirrored print has no squares of ours; one square of the right kind is a card cut off."""
    camera = camera_over(SIZE, tilt_deg=5.0)
    photo = draw(camera, SIZE, [Lying(pocket_card(4))], rays=2)
    with pytest.raises(CutcheckError) as caught:
        locate(as_photo(np.ascontiguousarray(photo[:, ::-1]), 26.0))
    assert caught.value.code == "no-card"
    others = np.concatenate(list(pocket_card(4).squares.values())[1:])
    for quad in others.reshape(3, 4, 2):
        cv2.fillPoly(photo, [np.round(camera.project_at(quad, 0.2)).astype(np.int32)], (150, 150, 150))
    with pytest.raises(CutcheckError, match="1 of 4 squares") as caught:
        locate(as_photo(photo, 26.0))
    assert caught.value.code == "card-cut-off"


def test_squares_in_other_places_are_no_card() -> None:
    """Four squares with a card's numbers, but twice as far apart as on the card, don't make one."""
    camera = camera_over(SIZE, tilt_deg=5.0)
    whole = pocket_card(4)
    apart = {tag: quad + quad.mean(axis=0) * 0.8 for tag, quad in whole.squares.items()}
    photo = np.full((SIZE[1], SIZE[0], 3), 220, np.uint8)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    for tag, quad in apart.items():
        corners = camera.project_at(quad, 0.2).astype(np.float32)
        picture = cv2.aruco.generateImageMarker(dictionary, tag, 200)
        frame = np.array([[-0.5, -0.5], [199.5, -0.5], [199.5, 199.5], [-0.5, 199.5]], np.float32)
        warp = cv2.getPerspectiveTransform(frame, corners)
        cv2.warpPerspective(
            np.repeat(picture[..., None], 3, 2), warp, SIZE, photo, borderMode=cv2.BORDER_TRANSPARENT
        )
    with pytest.raises(CutcheckError) as caught:
        locate(as_photo(photo, 26.0))
    assert caught.value.code == "card-cut-off"


def test_a_cropped_photo_finds_its_optical_centre() -> None:
    """Cropped on two sides, without EXIF: lengths within their uncertainty, though the centre is far off."""
    card = Lying(pocket_card(1), 40.0, 30.0, 25.0)
    camera = camera_over(SIZE, tilt_deg=30.0, corner_distortion=-0.01)
    photo = np.ascontiguousarray(draw(camera, SIZE, [card], rays=3)[150:, 300:])
    located = locate(as_photo(photo, None, maybe_cropped=True), printed=EXACT)
    truth = in_frame_of(replace(camera, cx=camera.cx - 300, cy=camera.cy - 150), card)
    error, u = length_errors(located, truth)
    assert located.scale.focal_from == "solved"
    assert (np.abs(error) < 3 * u + 0.002).all()
    assert np.abs(error[:12]).mean() < 0.02


def test_greys_of_the_card_are_measured() -> None:
    """Grey patches, paper and ink come back with the light that was drawn, in the ratio of their greys."""
    camera = camera_over(SIZE, tilt_deg=10.0)
    phone = Phone(noise=0.002, sharpen=0.0, falloff=0.0)
    located = locate(as_photo(draw(camera, SIZE, [Lying(pocket_card(0))], phone=phone, rays=2), 26.0))
    white = np.mean([grey.seen for grey in located.greys if grey.what == "white"], axis=0)
    assert white == pytest.approx(np.full(3, 0.85 * phone.exposure), rel=0.03)
    patches = [grey for grey in located.greys if grey.what == "grey"]
    assert len(patches) == 4
    for grey in patches:
        assert grey.seen / white == pytest.approx(np.full(3, grey.nominal), abs=0.02)


def test_a_card_far_away_and_a_card_in_dim_light_are_found() -> None:
    """Squares of some 30 px, and paper at a twentieth of full light with noise, still give the camera."""
    far = camera_over(SIZE, tilt_deg=10.0, above_mm=800.0)
    located = locate(as_photo(draw(far, SIZE, [Lying(pocket_card(11), 60.0, 40.0)], rays=3), 26.0))
    assert located.scale.numbers == (11,)
    camera = camera_over(SIZE, tilt_deg=10.0)
    dim = Phone(exposure=0.06, noise=0.004, sharpen=0.0)
    photo = draw(camera, SIZE, [Lying(pocket_card(12))], board=0.2, phone=dim, rays=2)
    located = locate(as_photo(photo, 26.0), printed=EXACT)
    error, _ = length_errors(located, in_frame_of(camera, Lying(pocket_card(12))))
    assert np.abs(error).max() < 0.02
