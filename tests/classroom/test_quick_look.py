"""At the bench: usable, or to be taken again and why; and pictures that name nobody."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import light_scene
import numpy as np
import pytest
import trays

from cutcheck.classroom.blind import blind_name, blind_picture, blind_result
from cutcheck.classroom.quick_look import quick_look
from cutcheck.find_card import find_cards
from cutcheck.pipeline import check
from cutcheck.serialise import to_json
from cutcheck.standards import find_cut


def test_a_good_photo_is_usable_and_says_whose_it_is(tray_photo: Path) -> None:
    """The card's number and that pieces lie there, from a file and from its bytes."""
    for photo in (tray_photo, tray_photo.read_bytes()):
        seen = quick_look(photo, cut=find_cut("medium-dice", "inch"))
        assert (seen.usable, seen.numbers, seen.why, seen.pieces) == (True, (3,), "", 12)


def test_an_empty_board_is_to_be_taken_again() -> None:
    """A card alone is found, and told that no pieces are there."""
    photo, _ = light_scene.scene(3, size=(1600, 1200), pieces=(), number=5)
    seen = quick_look(cv2.imencode(".png", photo)[1].tobytes())
    assert (seen.usable, seen.code, seen.numbers) == (False, "no-pieces", (5,))
    assert seen.remedy.startswith("Lay the pieces apart")


@pytest.mark.parametrize("sigma", [8.0, 20.0])
def test_a_blurred_photo_is_to_be_taken_again(tray_photo: Path, sigma: float) -> None:
    """Also one that measuring would take with a warning: the tray is still there."""
    soft = cv2.GaussianBlur(cv2.imread(str(tray_photo)), (0, 0), sigma)
    seen = quick_look(cv2.imencode(".png", soft)[1].tobytes())
    assert not seen.usable
    assert seen.code in ("blurred", "no-card")
    assert seen.remedy


def test_a_photo_without_a_card_and_no_photo_are_told(tmp_path: Path) -> None:
    """Each has a reason and what to do; nothing is raised."""
    blank = np.full((900, 1200, 3), 200, np.uint8)
    seen = quick_look(cv2.imencode(".png", blank)[1].tobytes())
    assert (seen.usable, seen.code) == (False, "no-card")
    assert quick_look(b"no photo at all").code == "not-a-photo"
    assert quick_look(tmp_path / "none.jpg").code == "no-file"


def test_too_far_for_the_cut_is_told_before_it_is_measured(tray_photo: Path) -> None:
    """A cut whose sides have too few pixels is not waited for."""
    photo, _ = light_scene.scene(4, size=(1600, 1200), above_mm=700.0, number=5)
    data = cv2.imencode(".png", photo)[1].tobytes()
    assert quick_look(data, cut=find_cut("brunoise")).code == "too-far"
    assert quick_look(data).code != "too-far"


def test_no_card_can_be_read_in_a_blind_picture(tray_photo: Path) -> None:
    """The card is found in the photo and not in the picture that is shown; the board is as it was."""
    pixels = cv2.imread(str(tray_photo))
    result = check(tray_photo, "medium-dice")
    assert find_cards(np.asarray(pixels, np.uint8))[0].complete
    shown = blind_picture(np.asarray(pixels, np.uint8), result)
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11))
    assert detector.detectMarkers(cv2.cvtColor(shown, cv2.COLOR_BGR2GRAY))[1] is None
    x, y = np.mean(result.scale.regions_px[0], axis=0)
    assert np.ptp(shown[int(y) - 40 : int(y) + 40, int(x) - 40 : int(x) + 40]) == 0


def test_a_blind_result_names_nobody() -> None:
    """File, time and card number are gone, pieces and mark are not; a tray is called by its key."""
    result = replace(trays.tray(), photo=replace(trays.tray().photo, file="ada-example.jpg"))
    hidden = blind_result(result, blind_name("7f3a99"))
    assert "ada" not in to_json(hidden)
    assert (hidden.photo.file, hidden.photo.taken, hidden.scale.numbers) == ("Tray 7f3a", None, ())
    assert (hidden.pieces, hidden.score) == (result.pieces, result.score)
