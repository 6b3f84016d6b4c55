"""How right whole photos are measured: drawn trays with exact truth, none of which was used to tune anything.

The bars: pieces found (F1), the errors of plan sides in allowances of the larger of 0.10 mm and 1 % of the
side, and the share of true values that ``u95`` holds. Twenty pairs of photos of one tray are compared by
``tests/nightly/repeatability.py``; two are here.
"""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from light_scene import save, scene
from light_trays import CUTS, draw, draw_pair, tray

from cutcheck.accuracy import Figures, Scene, assess, f1

FIRST_SEED = 41_000


@pytest.fixture(scope="module")
def trays(tmp_path_factory: pytest.TempPathFactory) -> list[Scene]:
    """One tray of each cut, its pieces well apart, measured."""
    folder = tmp_path_factory.mktemp("trays")
    for k, kind in enumerate(CUTS):
        draw(folder, FIRST_SEED + k, kind)
    return assess(folder)


def together(scenes: list[Scene], side: str) -> Figures:
    """The errors of all sides of one kind."""
    figures = Figures.of([s for one in scenes for s in one.sides if s.side == side])
    assert figures is not None
    return figures


def test_no_photo_is_refused(trays: list[Scene]) -> None:
    """Every tray is measured."""
    assert [(s.name, s.refused) for s in trays if s.refused] == []


def test_pieces_are_found(trays: list[Scene]) -> None:
    """Of pieces that lie apart F1 is at least 0.95 in each scene, and 0.99 over all."""
    assert {s.name: s.f1 for s in trays if s.f1 < 0.95} == {}
    assert f1(trays) >= 0.99


def test_plan_sides_of_each_tray(trays: list[Scene]) -> None:
    """In each scene plan sides of separate dice and sticks are off by two allowances at most, on average."""
    plan = {s.name: s.figures("plan") for s in trays}
    assert {name: p and round(p.mean, 2) for name, p in plan.items() if p is None or p.mean > 2.0} == {}


def test_plan_sides_over_all_trays(trays: list[Scene]) -> None:
    """Over all scenes the plan sides are off by one allowance at most, on average."""
    assert together(trays, "plan").mean <= 1.0


def test_give_or_take_holds_the_true_sides(trays: list[Scene]) -> None:
    """``u95`` holds 85 % of the true plan sides or more (the aim is 90 to 99), and is of use."""
    plan = together(trays, "plan")
    assert plan.count >= 200
    assert 0.85 <= plan.covered <= 0.99
    assert plan.u95 <= 2.0


def test_heights_are_given_where_a_side_face_is_seen(trays: list[Scene]) -> None:
    """Of pieces whose side face is at least 8 px high at least 80 % have a height."""
    due = sum(s.heights_due for s in trays)
    assert due > 50
    assert sum(s.heights_given for s in trays) >= 0.8 * due


def test_the_cut_is_suggested(trays: list[Scene]) -> None:
    """Each tray's cut, or one of the same size, is suggested from what was measured alone."""
    assert {s.name: s.suggested for s in trays if not s.suggested_right} == {}


def test_the_share_on_size_is_the_true_one(trays: list[Scene]) -> None:
    """The reported share on size is within 5 points or two pieces of the true one."""
    off = {s.name: abs((s.share or 0) - (s.true_share or 0)) - max(0.05, 2 / s.true) for s in trays}
    assert {name: round(by, 3) for name, by in off.items() if by > 0} == {}


def test_touching_dice_are_told_apart(tmp_path: Path) -> None:
    """Dice in rows of two to five are found one by one: F1 at least 0.95."""
    rows = {"shape": "box", "mm": (6.35, 6.35, 6.35), "count": 20, "gap_mm": 4.0, "row": (2, 5)}
    options = {**tray(FIRST_SEED + 50, "small-dice"), "board": "blue", "produce": "carrot", "pieces": (rows,)}
    photo, truth = scene(FIRST_SEED + 50, **options, name="rows")
    save(tmp_path / "rows.jpg", photo, truth)
    assert assess(tmp_path)[0].f1 >= 0.95


@pytest.mark.parametrize("kind", ["small-dice", "brunoise"])
def test_the_same_tray_again_gets_the_same_mark(tmp_path: Path, kind: str) -> None:
    """Two photos of one tray from two places: the marks differ by less than their half intervals together."""
    draw_pair(tmp_path, FIRST_SEED + 60, kind)
    first, again = assess(tmp_path)
    assert first.mark is not None
    assert again.mark is not None
    half = math.hypot(*((high - low) / 2 for _, low, high in (first.mark, again.mark)))
    assert abs(first.mark[0] - again.mark[0]) <= half
