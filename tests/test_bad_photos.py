"""Photos that can't be measured: each has its code, a line on what is wrong and one on what to do.

The photos are drawn from geometry, or made from a good one as a kitchen would spoil it.
"""

from __future__ import annotations

import json
import struct
import zlib
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest
from drawing import Lying, camera_over, draw
from numpy.typing import NDArray

from cutcheck.card import pocket_card
from cutcheck.cli import run

Pixels = NDArray[np.uint8]
SIZE = (1600, 1200)


def board_with(*lying: Lying, tilt_deg: float = 12.0, above_mm: float = 340.0) -> Pixels:
    """A photo of cards on a bare board."""
    return draw(camera_over(SIZE, tilt_deg=tilt_deg, above_mm=above_mm), SIZE, list(lying), rays=2)


def card_corners(tray: Path) -> NDArray[np.float64]:
    """Where the card's paper is in the tray's photo, (4, 2) px, from its truth."""
    from light_scene import camera_of

    truth = json.loads(tray.with_suffix(".json").read_text())
    return np.asarray(camera_of(truth).project_at(pocket_card(0).outline, 0.2))


def no_card(tray: Path, good: Pixels) -> Pixels:
    """The card is taken away: what lay under it is board."""
    corners = card_corners(tray)
    centre = corners.mean(axis=0)
    cover = np.round(centre + (corners - centre) * 1.12).astype(np.int32)
    beside = good[int(corners[:, 1].min()) - 30, int(centre[0])]
    return cv2.fillPoly(good.copy(), [cover], beside.tolist())


def half_a_card(tray: Path, good: Pixels) -> Pixels:
    """The picture ends in the middle of the card."""
    middle = int(card_corners(tray)[:, 0].mean())
    return good[:, middle:] if middle < good.shape[1] / 2 else good[:, :middle]


def covered_card(tray: Path, good: Pixels) -> Pixels:
    """A cloth lies over one of the card's squares."""
    corners = card_corners(tray)
    centre = corners.mean(axis=0)
    cloth = np.array(
        [
            centre,
            (corners[0] + corners[1]) / 2,
            corners[1] * 1.3 - centre * 0.3,
            (corners[1] + corners[2]) / 2,
        ]
    )
    return cv2.fillPoly(good.copy(), [np.round(cloth).astype(np.int32)], (120, 60, 60))


def shaken(tray: Path, good: Pixels) -> Pixels:
    """The phone moved: everything is smeared over some 25 px."""
    return np.asarray(cv2.blur(cv2.GaussianBlur(good, (0, 0), 5), (25, 3)), np.uint8)


def dark(tray: Path, good: Pixels) -> Pixels:
    """Hardly any light: a fiftieth of the good photo's, with the noise that a phone then makes."""
    noise = np.random.default_rng(1).normal(0, 2.0, good.shape)
    return np.clip(good * 0.02 + noise, 0, 255).astype(np.uint8)


def glaring(tray: Path, good: Pixels) -> Pixels:
    """The lamp mirrors in a glossy pouch: half of the card is white."""
    corners = card_corners(tray)
    x, y = np.round((corners[0] + corners[1]) / 2).astype(int)
    spot = cv2.circle(np.zeros(good.shape[:2], np.float32), (int(x), int(y)), 200, 1.0, -1)
    light = cv2.GaussianBlur(spot, (0, 0), 20)
    return np.clip(good + 400.0 * light[..., None], 0, 255).astype(np.uint8)


def overexposed(tray: Path, good: Pixels) -> Pixels:
    """The phone exposed for a dark floor: all that is light is white."""
    return np.clip(good * 3.2, 0, 255).astype(np.uint8)


def from_the_side(tray: Path, good: Pixels) -> Pixels:
    """The camera looked 63 degrees from the side."""
    return board_with(Lying(pocket_card(0)), tilt_deg=63.0, above_mm=110.0)


def bent_card(tray: Path, good: Pixels) -> Pixels:
    """The card bows up by 9 mm."""
    return board_with(Lying(pocket_card(0), bow_mm=9.0, height=9.2))


def empty_board(tray: Path, good: Pixels) -> Pixels:
    """Card and board, nothing else."""
    return board_with(Lying(pocket_card(0), -20.0, 10.0))


@pytest.mark.parametrize(
    ("spoil", "codes"),
    [
        (no_card, {"no-card"}),
        (half_a_card, {"card-cut-off"}),
        (covered_card, {"card-cut-off"}),
        (shaken, {"blurred"}),
        (dark, {"too-dark"}),
        (glaring, {"too-bright"}),
        (overexposed, {"too-bright"}),
        (from_the_side, {"too-oblique"}),
        (bent_card, {"card-bent"}),
        (empty_board, {"no-pieces"}),
    ],
)
def test_a_spoilt_photo_has_its_code(
    spoil: Callable[[Path, Pixels], Pixels], codes: set[str], tray_photo: Path, tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    """Each way to spoil a photo is told by its own code, exit status 3, and what to do next."""
    path = tmp_path / "spoilt.png"
    cv2.imwrite(str(path), spoil(tray_photo, cv2.imread(str(tray_photo))))
    assert run(["check", str(path), "--cut", "medium-dice", "--json"]) == 3
    error = json.loads(capsys.readouterr().out)["error"]
    assert error["code"] in codes
    assert len(error["message"]) > 20
    assert len(error["remedy"]) > 20


def test_too_far_for_the_cut_is_told_and_for_a_larger_one_not(
    tray_photo: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """1.6 mm cubes would be some 6 px in this photo: too far; 12.7 mm dice are not."""
    assert run(["check", str(tray_photo), "--cut", "fine-brunoise", "--json"]) == 3
    error = json.loads(capsys.readouterr().out)["error"]
    assert error["code"] == "too-far"
    assert "10 are needed" in error["message"]
    assert run(["check", str(tray_photo), "--cut", "medium-dice"]) == 0


def truncated(tray: Path, path: Path) -> None:
    """The first third of a JPEG: a download that broke off."""
    data = tray.read_bytes()
    path.write_bytes(data[: len(data) // 3])


def bomb(tray: Path, path: Path) -> None:
    """A PNG of a few kB that claims 60,000 x 60,000 pixels."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", 60_000, 60_000, 8, 2, 0, 0, 0)
    body = zlib.compress(b"\0" * 1_000_000, 9)
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", body) + chunk(b"IEND", b""))


def text(tray: Path, path: Path) -> None:
    """A letter, named like a photo."""
    path.write_text("Dear cook, the photo follows.")


def nothing(tray: Path, path: Path) -> None:
    """An empty file."""
    path.write_bytes(b"")


@pytest.mark.parametrize(
    ("make", "code"),
    [(truncated, "not-a-photo"), (bomb, "too-large"), (text, "not-a-photo"), (nothing, "not-a-photo")],
)
def test_a_file_that_is_no_photo_has_its_code(
    make: Callable[[Path, Path], None], code: str, tray_photo: Path, tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    """Files that can't be decoded end in a code of their own, quickly and without a traceback."""
    path = tmp_path / "file.jpg"
    make(tray_photo, path)
    assert run(["check", str(path), "--json"]) == 3
    assert json.loads(capsys.readouterr().out)["error"]["code"] == code
