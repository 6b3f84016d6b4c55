"""A lens calibrated once from photos of the card helps from then on, and is kept by camera and lens."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from drawing import Lying, as_photo, camera_over, draw
from numpy.typing import NDArray

from cutcheck.calibrate import calibrate
from cutcheck.card import PrintCheck, pocket_card
from cutcheck.errors import CutcheckError
from cutcheck.lens import FULL_FRAME_DIAGONAL_MM, LensPrior, lens_priors
from cutcheck.lens_store import forget_lens, lens_of, save_lens
from cutcheck.photo import Photo
from cutcheck.pose import locate

SIZE = (1600, 1200)
LENS = {"f35": 26.4, "corner_distortion": -0.025, "off_px": (6.0, -4.0)}


def photo_from(
    place: tuple[float, float], tilt_deg: float, lean_deg: float, seed: int, above_mm: float = 330.0
) -> tuple[Photo, NDArray[np.float64]]:
    """A photo by the one phone, the card at ``place`` (shares of the picture); and where things far from the
    card are in its frame: the picture's middle, (2,) mm, 6 mm up."""
    camera = camera_over(SIZE, tilt_deg=tilt_deg, lean_deg=lean_deg, above_mm=above_mm, **LENS)  # type: ignore[arg-type]
    x, y = camera.to_height(np.array(place) * SIZE)
    pixels = draw(camera, SIZE, [Lying(pocket_card(1), float(x), float(y), 10.0)], seed=seed, rays=3)
    angle = np.radians(10.0)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    grid = np.array([[u * SIZE[0], v * SIZE[1]] for u in (0.1, 0.5, 0.9) for v in (0.1, 0.5, 0.9)])
    photo = replace(as_photo(pixels, 26.0), camera_name="Invented Phone 1")
    return photo, (camera.to_height(grid, 6.0) - [x, y]) @ turn


@pytest.fixture(scope="module")
def lens() -> LensPrior:
    """The lens, calibrated from five photos of the card as the help text tells to take them."""
    places = [(0.5, 0.5), (0.2, 0.22), (0.8, 0.25), (0.22, 0.78), (0.78, 0.76)]
    tilts = [5.0, 20.0, 30.0, 25.0, 15.0]
    photos = [
        photo_from(place, tilt, 70.0 * k, k)[0]
        for k, (place, tilt) in enumerate(zip(places, tilts, strict=True))
    ]
    return calibrate(photos, printed=PrintCheck(93, 66)).lens


def test_the_lens_that_took_the_photos_is_found(lens: LensPrior) -> None:
    """Focal length, centre and distortion come back within what their uncertainties say."""
    known = lens.in_pixels(*SIZE)
    camera = camera_over(SIZE, **LENS)  # type: ignore[arg-type]
    truth = np.array([camera.f, camera.cx, camera.cy, camera.k1, camera.k2])
    assert (np.abs(known.mean - truth) < 3 * known.sd).all()
    assert lens.f * FULL_FRAME_DIAGONAL_MM == pytest.approx(26.4, rel=0.01)
    assert known.sd[0] / known.mean[0] < 0.008


def test_a_known_lens_makes_places_far_from_the_card_surer(lens: LensPrior) -> None:
    """With the lens known, what is unsure far from a card in the corner is less than half, and still true."""
    photo, truth = photo_from((0.16, 0.2), 28.0, 200.0, 77)
    grid = np.array([[u * SIZE[0], v * SIZE[1]] for u in (0.1, 0.5, 0.9) for v in (0.1, 0.5, 0.9)])
    spread, off = [], []
    for used in (None, lens):
        located = locate(photo, printed=PrintCheck(93, 66), lens=used)
        assert located.scale.focal_from == ("exif" if used is None else "lens")
        camera, covariance = located.camera, located.camera.covariance
        assert covariance is not None
        vector = camera.vector()
        moved = []
        for k in range(11):
            step = np.zeros(11)
            step[k] = 1e-4 * max(abs(vector[k]), 0.01)
            ahead = type(camera).from_vector(vector + step).to_height(grid, 6.0)
            behind = type(camera).from_vector(vector - step).to_height(grid, 6.0)
            moved.append((ahead - behind).ravel() / (2 * step[k]))
        by = np.stack(moved, axis=1)
        spread.append(np.sqrt(np.einsum("ni,ij,nj->n", by, covariance, by)))
        off.append(np.abs((camera.to_height(grid, 6.0) - truth).ravel()))
    assert np.mean(spread[1]) < 0.5 * np.mean(spread[0])
    assert (off[1] < 3 * spread[1] + 0.02).all()


def test_a_lens_is_kept_by_camera_and_focal_length(
    lens: LensPrior, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Saved, found again for photos of that camera and lens alone, and forgotten on demand."""
    monkeypatch.setenv("CUTCHECK_LENSES", str(tmp_path / "lenses"))
    photo, _ = photo_from((0.5, 0.5), 5.0, 0.0, 1)
    assert lens_of(photo) is None
    path = save_lens(lens)
    kept = lens_of(photo)
    assert kept == lens
    assert lens_of(replace(photo, focal_35mm=13.0)) is None
    assert lens_of(replace(photo, camera_name="Invented Phone 2")) is None
    assert lens_of(replace(photo, camera_name=None)) is None
    assert lens_of(replace(photo, maybe_cropped=True)) is None
    assert forget_lens(photo) == path
    assert lens_of(photo) is None
    assert forget_lens(photo) is None


def test_a_spoilt_lens_file_is_named(
    lens: LensPrior, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file that is no lens any more is an error that says which file, and what to do."""
    monkeypatch.setenv("CUTCHECK_LENSES", str(tmp_path))
    path = save_lens(lens)
    path.write_text('{"f": 1}')
    photo, _ = photo_from((0.5, 0.5), 5.0, 0.0, 1)
    with pytest.raises(CutcheckError, match="can't be read") as caught:
        lens_of(photo)
    assert str(path) in caught.value.message
    assert "cutcheck lens" in caught.value.remedy


def test_an_upright_photo_uses_the_lens_without_its_centre(lens: LensPrior) -> None:
    """Held upright, the sensor may be either way round: the picture's middle, and less sure of it."""
    across, upright = lens.in_pixels(1600, 1200), lens.in_pixels(1200, 1600)
    assert upright.mean[0] == pytest.approx(across.mean[0])
    assert upright.mean[1:3] == pytest.approx([599.5, 799.5])
    assert (upright.sd[1:3] > across.sd[1:3]).all()
    assert np.linalg.eigvalsh(upright.covariance).min() > 0


def test_without_a_lens_exif_decides_what_is_assumed() -> None:
    """CIPA DCG-001: the 35 mm equivalent goes by the diagonal, 43.27 mm; without EXIF all phones' lenses."""
    pixels = np.zeros((1200, 1600, 3), np.uint8)
    (known,), source = lens_priors(as_photo(pixels, 26.0))
    assert source == "exif"
    assert known.mean[0] == pytest.approx(26.0 / 43.267 * 2000.0)
    (unknown,), source = lens_priors(as_photo(pixels, None))
    assert source == "solved"
    low, high = unknown.mean[0] * np.exp(np.array([-2, 2]) * unknown.sd[0] / unknown.mean[0])
    assert low < 14 / 43.267 * 2000
    assert high > 60 / 43.267 * 2000
    cropped, source = lens_priors(as_photo(pixels, 26.0, maybe_cropped=True))
    assert source == "solved"
    assert len(cropped) == 2
    assert cropped[1].sd[1] > 5 * cropped[0].sd[1]


def test_photos_of_two_cameras_are_refused() -> None:
    """Mixed photos don't give one lens."""
    photos = [photo_from((0.5, 0.5), 5.0, 0.0, 1)[0]] * 3
    with pytest.raises(CutcheckError, match="differ in size, camera or lens"):
        calibrate([*photos[:2], replace(photos[2], camera_name="Invented Phone 2")])


def test_the_command_calibrates_keeps_and_forgets(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """``cutcheck lens``: photos in, the lens in plain words out, kept where the next check finds it."""
    from PIL import Image

    from cutcheck.commands.lens import lens as command

    monkeypatch.setenv("CUTCHECK_LENSES", str(tmp_path / "lenses"))
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Invented Phones", "Invented Phone 1"
    exif.get_ifd(0x8769)[0xA405] = 26
    files = []
    for k, place in enumerate([(0.5, 0.5), (0.25, 0.25), (0.75, 0.75)]):
        photo, _ = photo_from(place, 10.0 + 8 * k, 90.0 * k, k)
        files.append(str(tmp_path / f"{k}.jpg"))
        Image.fromarray(np.ascontiguousarray(photo.pixels[..., ::-1])).save(files[-1], quality=95, exif=exif)
    run = CliRunner().invoke(command, files)
    assert run.exit_code == 0, run.output
    assert "Invented Phone 1" in run.output
    assert "Focal length: 26." in run.output
    assert len(list((tmp_path / "lenses").iterdir())) == 1
    run = CliRunner().invoke(command, ["--forget", *files])
    assert "Forgotten" in run.output
    assert list((tmp_path / "lenses").iterdir()) == []
