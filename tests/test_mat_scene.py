"""A tray on the A4 mat, drawn from geometry: pieces lie on the paper and nowhere else."""

from __future__ import annotations

from pathlib import Path

import light_scene
import numpy as np

from cutcheck.pipeline import Measured, measure_photo


def on_the_mat(folder: Path) -> tuple[Measured, light_scene.Truth]:
    """Dice of 12.7 mm on an A4 mat on a green board, measured, and their truth."""
    dice = ({"shape": "box", "mm": (12.7, 12.7, 12.7), "count": 14},)
    photo, truth = light_scene.scene(
        5, size=(2400, 1800), card="a4", card_at=(0.5, 0.5), above_mm=420.0, board="green", pieces=dice,
        produce="carrot", tilt_deg=10.0, roll_deg=90.0,
    )  # fmt: skip
    light_scene.save(folder / "mat.jpg", photo, truth)
    return measure_photo(folder / "mat.jpg"), truth


def test_on_a_mat_the_pieces_and_nothing_else_are_found(tmp_path: Path) -> None:
    """Each drawn die is found once; neither the mat's squares nor its edge is a piece, and all lie on it."""
    measured, truth = on_the_mat(tmp_path)
    assert measured.located.scale.reference == "mat"
    true = np.array([piece["centre_px"] for piece in truth["pieces"] if not piece["cut_off"]])
    seen = np.array([piece.centre_px for piece in measured.pieces])
    away = np.linalg.norm(true[:, None] - seen[None], axis=-1)
    assert len(seen) == len(true)
    assert sorted(away.argmin(axis=1)) == list(range(len(seen)))
    assert away.min(axis=1).max() < 6.0
    outside = np.abs(measured.located.camera.to_height(seen)) > np.array([105.0, 148.5])
    assert not outside.any()
