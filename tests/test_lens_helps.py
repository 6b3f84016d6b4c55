"""By how much a calibrated lens helps: lengths all over the board, measured with and without it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import test_lens
from numpy.typing import NDArray

from cutcheck.calibrate import calibrate
from cutcheck.card import PrintCheck
from cutcheck.lens import LensPrior
from cutcheck.photo import Photo
from cutcheck.pose import locate

PLACES = ((0.5, 0.5), (0.2, 0.22), (0.8, 0.25), (0.22, 0.78), (0.78, 0.76))
TILTS = (5.0, 20.0, 30.0, 25.0, 15.0)
CORNERS = ((0.18, 0.22, 8.0), (0.8, 0.24, 15.0), (0.2, 0.75, 22.0), (0.78, 0.76, 28.0))


def length_errors(
    used: LensPrior | None, photos: list[tuple[Photo, NDArray[np.float64]]]
) -> NDArray[np.float64]:
    """Relative errors of the lengths between nine places in each photo, 6 mm above the board."""
    grid = [(u * test_lens.SIZE[0], v * test_lens.SIZE[1]) for u in (0.1, 0.5, 0.9) for v in (0.1, 0.5, 0.9)]
    first, second = np.triu_indices(9, 1)
    errors = []
    for photo, true in photos:
        camera = locate(photo, printed=PrintCheck(93, 66), lens=used).camera
        seen = camera.to_height(np.array(grid), 6.0)
        lengths = [np.linalg.norm(places[first] - places[second], axis=1) for places in (seen, true)]
        errors.append(np.abs(lengths[0] / lengths[1] - 1.0))
    return np.concatenate(errors)


def test_lengths_all_over_the_board_are_better(monkeypatch: pytest.MonkeyPatch) -> None:
    """Lenses that bend by -5, -2 and +3 %, four photos each, the card near a corner: a known lens brings
    lengths to 0.7 of the mean error that the photo's own focal length leaves, and to 0.4 without one."""
    errors: dict[str, list[NDArray[np.float64]]] = {"told": [], "untold": [], "known": []}
    for distortion in (-0.05, -0.02, 0.03):
        lens = {"f35": 26.4, "corner_distortion": distortion, "off_px": (6.0, -4.0)}
        monkeypatch.setattr(test_lens, "LENS", lens)
        pairs = zip(PLACES, TILTS, strict=True)
        taken = [test_lens.photo_from(place, tilt, 70.0 * k, k)[0] for k, (place, tilt) in enumerate(pairs)]
        known = calibrate(taken, printed=PrintCheck(93, 66)).lens
        told = [
            test_lens.photo_from((x, y), tilt, 60.0 * k, 50 + k) for k, (x, y, tilt) in enumerate(CORNERS)
        ]
        untold = [(replace(photo, focal_35mm=None), true) for photo, true in told]
        errors["told"].append(length_errors(None, told))
        errors["untold"].append(length_errors(None, untold))
        errors["known"].append(length_errors(known, untold))
    mean = {how: float(np.concatenate(each).mean()) for how, each in errors.items()}
    assert mean["known"] <= 0.7 * mean["told"]
    assert mean["known"] <= 0.4 * mean["untold"]
