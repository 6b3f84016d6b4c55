"""Photos of a small size, as a messenger sends them: few pixels to the millimetre, colour smeared by JPEG."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from light_scene import save, scene

import cutcheck


@pytest.mark.parametrize("seed", [44, 48])
def test_dice_in_a_small_photo_are_dice(tmp_path: Path, seed: int) -> None:
    """At 1000 x 750 px the colour round carrot dice on white is not taken for part of them."""
    dice = ({"shape": "box", "mm": (12.7, 12.7, 12.7), "count": 6, "sd": 0.05},)
    view = {"tilt_deg": 20.0, "above_mm": 270.0, "lean_deg": -90.0, "roll_deg": 0.0, "card_at": (0.27, 0.5)}
    photo, truth = scene(seed, size=(1000, 750), pieces=dice, number=seed, **view)
    save(tmp_path / "small.jpg", photo, truth)
    pieces = cutcheck.check(tmp_path / "small.jpg").pieces
    assert [piece.shape for piece in pieces] == ["box"] * 6
    measured = np.mean([piece.length.mm or 0.0 for piece in pieces])
    assert measured == pytest.approx(np.mean([one["length_mm"] for one in truth["pieces"]]), abs=1.0)
