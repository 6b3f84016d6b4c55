"""Several photos of one tray: pieces matched, hidden heights found, sides combined."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import light_scene
import measured as made
import numpy as np
import pytest

from cutcheck.cli import run
from cutcheck.errors import CutcheckError
from cutcheck.pipeline import Measured, measure_photo
from cutcheck.records import BudgetLine, Measure, Piece
from cutcheck.same_tray import _merged, together


@pytest.fixture(scope="module")
def photos(
    tmp_path_factory: pytest.TempPathFactory,
) -> tuple[Path, Path, light_scene.Truth, light_scene.Truth]:
    """12 dice of 12.7 mm from nearly straight above, and again at a slant; with their truths."""
    return pair(tmp_path_factory.mktemp("pair"), 21)


def pair(folder: Path, seed: int) -> tuple[Path, Path, light_scene.Truth, light_scene.Truth]:
    """Two photos of one tray, drawn into a folder, and their truths."""
    folder.mkdir(exist_ok=True)
    dice = ({"shape": "box", "mm": (12.7, 12.7, 12.7), "count": 12, "sd": 0.05, "gap_mm": 12.0},)
    photo, above = light_scene.scene(
        seed, size=(2400, 1800), pieces=dice, tilt_deg=3.0, above_mm=400.0, card_at=(0.4, 0.5)
    )
    light_scene.save(folder / "above.jpg", photo, above)
    photo, slant = light_scene.same_tray_again(above, seed + 1, tilt_deg=28.0)
    light_scene.save(folder / "slant.jpg", photo, slant)
    return folder / "above.jpg", folder / "slant.jpg", above, slant


def errors(pieces: tuple[Piece, ...], truth: light_scene.Truth, sides: tuple[str, ...]) -> list[float]:
    """How far off the sides are, mm; each true piece is paired with the nearest one seen."""
    off = []
    for true in truth["pieces"]:
        piece = min(pieces, key=lambda p: np.hypot(*np.subtract(p.centre_px, true["centre_px"])))
        mm = [*sorted([true["length_mm"], true["width_mm"]], reverse=True), true["height_mm"]]
        known = dict(zip(("length", "width", "height"), mm, strict=True))
        seen = {side: getattr(piece, side).mm for side in sides}
        off += [abs(value - known[side]) for side, value in seen.items() if value is not None]
    return off


def test_hidden_heights_come_from_the_other_photo(
    photos: tuple[Path, Path, light_scene.Truth, light_scene.Truth],
) -> None:
    """Every height that either photo shows is there, and none is less sure."""
    a, b = measure_photo(photos[0]), measure_photo(photos[1])
    both = together([a, b])
    assert len(both) == len(photos[2]["pieces"])
    hidden = Measure(None, None, seen=False)
    flat = replace(a, pieces=tuple(replace(p, height=hidden) for p in a.pieces))
    found = together([flat, b])
    assert sorted(p.height.mm or 0.0 for p in found) == sorted(p.height.mm or 0.0 for p in b.pieces)
    assert max(p.height.u95 or 0.0 for p in both) <= max(p.height.u95 or 0.0 for p in b.pieces)


def test_the_plan_from_both_photos_is_better_than_from_either(
    photos: tuple[Path, Path, light_scene.Truth, light_scene.Truth], tmp_path: Path
) -> None:
    """Over three trays length and width are off by less than in the better photos alone."""
    off: list[list[float]] = [[], [], []]
    for one in (photos, *(pair(tmp_path / str(seed), seed) for seed in (31, 41))):
        a, b = measure_photo(one[0]), measure_photo(one[1])
        seen = ((a.pieces, one[2]), (b.pieces, one[3]), (together([a, b]), one[2]))
        for sides, (pieces, truth) in zip(off, seen, strict=True):
            sides += errors(pieces, truth, ("length", "width"))
    assert np.mean(off[2]) <= min(np.mean(off[0]), np.mean(off[1]))


@pytest.mark.parametrize("degrees", [0.0, 35.0, 180.0])
def test_the_card_may_be_moved_between_photos(
    photos: tuple[Path, Path, light_scene.Truth, light_scene.Truth], degrees: float
) -> None:
    """With the second card's frame turned and shifted, the pieces get the same sides."""
    a, b = measure_photo(photos[0]), measure_photo(photos[1])
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    turn, shift = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]]), np.array([40.0, -25.0, 0.0])
    camera = b.located.camera
    moved = replace(
        camera, rotation=camera.rotation @ turn, translation=camera.translation + camera.rotation @ shift
    )
    other: Measured = replace(b, located=replace(b.located, camera=moved))
    expected, got = together([a, b]), together([a, other])
    assert [p.length.mm for p in got] == pytest.approx([p.length.mm for p in expected], abs=1e-6)
    assert [p.height.seen for p in got] == [p.height.seen for p in expected]


def test_what_is_common_does_not_average_out() -> None:
    """Two equal readings: edges fall by the root of two, the print's part stays (JCGM 100, 5.2.2)."""
    budget = (BudgetLine("length", "edges", 0.04), BudgetLine("length", "print", 0.03))
    one = replace(made.piece(1, (10.0, 5.0, 4.0), 0.1), budget=budget)
    two = replace(made.piece(7, (10.02, 5.0, None), 0.1), budget=budget, flags=("touching",))
    both = _merged(one, two)
    assert both.length.mm == pytest.approx(10.01)
    assert both.length.u95 == pytest.approx(2 * np.hypot(0.04 / np.sqrt(2), 0.03))
    assert both.width.u95 == pytest.approx(0.1 / np.sqrt(2))
    assert both.height == one.height
    assert (both.number, both.flags) == (1, ("touching",))


def test_readings_that_differ_are_flagged() -> None:
    """Beyond three standard uncertainties of the difference (0.07 mm here) the piece says so."""
    one = made.piece(1, (10.0, 5.0, 4.0), 0.1)
    assert _merged(one, made.piece(1, (10.2, 5.0, 4.0), 0.1)).flags == ()
    differ = _merged(one, made.piece(1, (10.3, 5.0, 4.0), 0.1))
    assert differ.flags == ("photos-differ",)
    assert differ.length.u95 == pytest.approx(2 * np.hypot(0.05 / np.sqrt(2), 0.15))
    clump = made.piece(1, (24.0, 9.0, 4.0), 0.1, flags=("cluster",))
    assert _merged(clump, one).length == one.length
    assert _merged(one, clump).flags == ()


def test_two_different_trays_are_told(
    photos: tuple[Path, Path, light_scene.Truth, light_scene.Truth],
) -> None:
    """Pieces that lie elsewhere are no second photo of the tray."""
    a = measure_photo(photos[0])
    rng = np.random.default_rng(1)
    elsewhere = tuple(
        replace(piece, centre_px=(float(x), float(y)))
        for piece, x, y in zip(a.pieces, *rng.uniform(0, 1200, (2, len(a.pieces))), strict=True)
    )
    with pytest.raises(CutcheckError, match="don't show one tray"):
        together([a, replace(a, pieces=elsewhere)])


def test_the_command_prints_one_result(
    photos: tuple[Path, Path, light_scene.Truth, light_scene.Truth], capsys: pytest.CaptureFixture[str]
) -> None:
    """``--same-tray`` gives one line with one mark, of the first photo; alone it is a wrong command."""
    above, slant = map(str, photos[:2])
    assert run(["check", above, slant, "--same-tray", "--cut", "medium-dice", "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert result["photo"]["file"].endswith("above.jpg")
    assert result["score"]["counted"] == len(photos[2]["pieces"])
    assert run(["check", above, "--same-tray"]) == 2
