"""One photo of the printed card beside an ID-1 card tells whether the print has its true size."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from click.testing import CliRunner
from drawing import Lying, as_photo, camera_over, draw
from numpy.typing import NDArray

from cutcheck.camera import Camera
from cutcheck.card import PrintCheck, pocket_card
from cutcheck.commands.card import card as command
from cutcheck.errors import CutcheckError
from cutcheck.light import LINEAR32
from cutcheck.verify_print import verify_print

SIZE = (1600, 1200)


def with_id1(
    photo: NDArray[np.uint8], camera: Camera, x: float, y: float, angle_deg: float
) -> NDArray[np.uint8]:
    """The photo with a white ID-1 card at (x, y) (ISO/IEC 7810: 85.60 x 53.98, corners 3.18, 0.76 thick)."""
    t = np.linspace(0, np.pi / 2, 9)
    corner = 3.18 * np.column_stack([np.cos(t), np.sin(t)])
    inner = np.array([85.60, 53.98]) / 2 - 3.18
    quarters = [corner, corner[::-1] * [-1, 1], -corner, corner[::-1] * [1, -1]]
    signs = [(1, 1), (-1, 1), (-1, -1), (1, -1)]
    outline = np.concatenate([q + inner * sign for q, sign in zip(quarters, signs, strict=True)])
    angle = np.radians(angle_deg)
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    px = camera.project_at(outline @ turn + [x, y], 0.76)
    mask = np.zeros((SIZE[1] * 4, SIZE[0] * 4), np.uint8)
    cv2.fillPoly(mask, [np.round(((px + 0.5) * 4 - 0.5) * 256).astype(np.int32)], 255, cv2.LINE_8, 8)
    share = (
        cv2.GaussianBlur(cv2.resize(mask, SIZE, interpolation=cv2.INTER_AREA), (0, 0), 0.8)[..., None] / 255
    )
    light = LINEAR32[photo] * (1 - share) + 0.8 * share
    codes = np.interp(light, LINEAR32, np.arange(256))
    return np.round(codes).astype(np.uint8)


def scene(printed: tuple[float, float], angle_deg: float, tilt_deg: float = 8.0) -> NDArray[np.uint8]:
    """The card, printed at this scale, and an ID-1 card beside it, turned by ``angle_deg``."""
    camera = camera_over(SIZE, tilt_deg=tilt_deg)
    photo = draw(camera, SIZE, [Lying(pocket_card(2), -70.0, 0.0, printed=printed)], board=0.15, rays=3)
    return with_id1(photo, camera, 60.0, 5.0, angle_deg)


@pytest.mark.parametrize("angle", [0.0, 40.0, 95.0])
@pytest.mark.parametrize("printed", [(1.0, 1.0), (0.94, 0.94), (0.97, 0.98), (1.03, 1.02)])
def test_the_scale_of_a_print_is_told_each_way(printed: tuple[float, float], angle: float) -> None:
    """True size, fitted to the wrong paper, stretched one way: within twice a small uncertainty."""
    found = verify_print(as_photo(scene(printed, angle), 26.0))
    assert found.across == pytest.approx(printed[0], abs=2 * found.across_u)
    assert found.down == pytest.approx(printed[1], abs=2 * found.down_u)
    assert max(found.across_u, found.down_u) < 0.008
    assert found.true_size == (printed == (1.0, 1.0))
    assert PrintCheck.parse(found.printed).scale() == pytest.approx((found.across, found.down), abs=0.001)


def test_without_an_id1_card_it_says_so() -> None:
    """The printed card alone, though a rectangle itself, is not taken for the other."""
    camera = camera_over(SIZE, tilt_deg=8.0)
    photo = draw(camera, SIZE, [Lying(pocket_card(2), -70.0, 0.0)], board=0.15, rays=2)
    with pytest.raises(CutcheckError, match="No card of the ID-1 size"):
        verify_print(as_photo(photo, 26.0))


def test_the_command_says_what_to_do(tmp_path: Path) -> None:
    """``cutcheck card --verify PHOTO``: the scale in per cent, and the figures for ``--printed``."""
    file = str(tmp_path / "print.png")
    cv2.imwrite(file, scene((0.94, 0.94), 5.0))
    run = CliRunner().invoke(command, ["--verify", file])
    assert run.exit_code == 0, run.output
    assert "small across (give or take" in run.output
    assert "--printed 18" in run.output
    run = CliRunner().invoke(command, [])
    assert run.exit_code == 2
    assert "--out" in run.output
