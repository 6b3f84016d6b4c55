"""How accuracy is counted: results made from a known truth, each off by what the test says."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner
from light_scene import Truth, save, scene

from cutcheck import accuracy_table
from cutcheck.accuracy import Scene, SideError, assess, compare, f1, pair
from cutcheck.cli import group
from cutcheck.errors import CutcheckError
from cutcheck.pipeline import chosen_cut
from cutcheck.records import Measure, PhotoInfo, Piece, Result, Scale, Suggestion
from cutcheck.verdict import judge

DICE = {"shape": "box", "mm": (6.35, 6.35, 6.35), "count": 20, "gap_mm": 4.0}


@pytest.fixture(scope="module")
def truth() -> Truth:
    """Twenty dice, one of them cut off by the picture's edge."""
    _, known = scene(7, size=(1600, 1200), tilt_deg=25.0, pieces=(DICE,), cut="small-dice", standard="inch")
    known["pieces"][4]["cut_off"] = True
    return known


def measured(
    truth: Truth, change: Callable[[int, Piece], Piece | None] = lambda i, piece: piece, u95: float = 0.1
) -> Result:
    """A result that says the truth but for what ``change`` makes of each piece; None leaves it out."""
    pieces = []
    for i, real in enumerate(truth["pieces"]):
        piece = Piece(
            number=i + 1,
            centre_px=tuple(real["centre_px"]),
            outline_px=tuple(tuple(point) for point in real["top_outline_px"]),
            shape=real["shape"],
            length=Measure(real["length_mm"], u95),
            width=Measure(real["width_mm"], u95),
            height=Measure(real["height_mm"], u95),
        )
        changed = change(i, piece)
        if changed is not None:
            pieces.append(changed)
    photo = PhotoInfo("tray.jpg", "", truth["width_px"], truth["height_px"])
    scale = Scale("card", (0,), 0.1, 25.0, 0.1, 3000.0, "exif")
    return Result(photo, scale, tuple(pieces))


def longer(by: float) -> Callable[[int, Piece], Piece]:
    """Each length and width is told ``by`` mm too long."""

    def change(i: int, piece: Piece) -> Piece:
        length, width = (Measure(side.mm + by, side.u95) for side in (piece.length, piece.width))
        return replace(piece, length=length, width=width)

    return change


def test_the_truth_itself_is_without_fault(truth: Truth) -> None:
    """A result that says the truth finds all pieces and has no error."""
    told = compare(measured(truth), truth)
    assert (told.true, told.found, told.paired, told.f1) == (19, 19, 19, 1.0)
    plan, height = told.figures("plan"), told.figures("height")
    assert plan is not None
    assert height is not None
    assert (plan.count, plan.mean, plan.covered) == (38, 0.0, 1.0)
    assert (height.count, height.mean) == (19, 0.0)


def test_an_error_is_told_in_allowances(truth: Truth) -> None:
    """A side of 6 mm may be off by 0.10 mm: 0.15 mm too much is an error of 1.5, all of it bias."""
    plan = compare(measured(truth, longer(0.15)), truth).figures("plan")
    assert plan is not None
    assert (plan.mean, plan.median, plan.p95, plan.bias) == pytest.approx((1.5,) * 4)
    assert plan.covered == 0.0  # give or take 0.1 does not hold it
    assert plan.u95 == pytest.approx(1.0)


def test_the_allowance_of_a_long_side_is_a_share() -> None:
    """Of a side of 60 mm 1 % is allowed, of a height of 20 mm 3 %."""
    real = {"shape": "box", "length_mm": 60.0, "width_mm": 6.0, "height_mm": 20.0}
    from cutcheck.accuracy import side_errors

    piece = Piece(1, (0.0, 0.0), (), "box", Measure(60.3, 1), Measure(6.0, 1), Measure(20.3, 1))
    assert [side.allowance_mm for side in side_errors(piece, real)] == pytest.approx([0.6, 0.1, 0.6])


def test_a_piece_missed_and_one_made_up_cost_f1(truth: Truth) -> None:
    """One piece missed and one where there is none: 18 pairs of 19 and 19."""

    def change(i: int, piece: Piece) -> Piece | None:
        if i == 0:
            return replace(piece, centre_px=(5.0, 5.0))
        return piece

    told = compare(measured(truth, change), truth)
    assert (told.true, told.found, told.paired) == (19, 19, 18)
    assert told.f1 == pytest.approx(36 / 38)


def test_pieces_at_the_edge_count_neither_way(truth: Truth) -> None:
    """A piece that the picture's edge cuts off is neither missed nor made up, wherever it was seen."""
    without = compare(measured(truth, lambda i, piece: None if i == 4 else piece), truth)
    assert (without.true, without.found, without.f1) == (19, 19, 1.0)
    corner = tuple(truth["pieces"][4]["top_outline_px"][0])
    middle = tuple(truth["pieces"][4]["centre_px"])
    near = tuple(0.8 * c + 0.2 * m for c, m in zip(corner, middle, strict=True))
    moved = compare(measured(truth, lambda i, p: replace(p, centre_px=near) if i == 4 else p), truth)
    assert (moved.true, moved.found, moved.f1) == (19, 19, 1.0)


def test_pairing_is_one_to_one(truth: Truth) -> None:
    """Of two found pieces on one true piece one has no pair."""
    twice = measured(truth)
    twice = replace(twice, pieces=(*twice.pieces, replace(twice.pieces[2], number=99)))
    pairs = pair(twice.pieces, truth)
    assert len(pairs) == 20
    assert len({i for i, _ in pairs}) == len({k for _, k in pairs}) == 20
    assert compare(twice, truth).found == 20


def test_heights_are_due_where_a_side_face_is_seen(truth: Truth) -> None:
    """Only pieces whose side face is at least 8 px high should give a height."""
    due = sum(p["height_px"] >= 8 and not p["cut_off"] for p in truth["pieces"])
    hidden = Measure(None, None, seen=False)
    told = compare(measured(truth, lambda i, piece: replace(piece, height=hidden)), truth)
    assert due > 10
    assert (told.heights_due, told.heights_given, told.figures("height")) == (due, 0, None)


def test_share_on_size_is_of_the_sides_that_were_seen(truth: Truth) -> None:
    """The true share counts pieces whose seen sides are within the cut's limits."""
    cut = chosen_cut("small-dice", "inch")
    result = measured(truth, u95=0.01)
    pieces, score, _ = judge(result.pieces, cut)
    told = compare(replace(result, pieces=pieces, score=score), truth, cut)
    right = [
        all(5.35 <= p[f"{side}_mm"] <= 7.35 for side in ("length", "width", "height"))  # 1/4 in and 1 mm
        for p in truth["pieces"]
        if not p["cut_off"]
    ]
    assert told.true_share == pytest.approx(sum(right) / len(right))
    assert told.share == pytest.approx(told.true_share, abs=0.06)


def test_a_cut_of_the_same_size_is_right_too(truth: Truth) -> None:
    """Small dice and salpicon are both 1/4 in: either name is right, large dice is not."""
    cut = chosen_cut("small-dice", "inch")
    right = {"small-dice": True, "salpicon": True, "large-dice": False}
    for name, expected in right.items():
        result = replace(measured(truth), suggested=Suggestion(name, 0.9))
        assert compare(result, truth, cut).suggested_right is expected
    assert compare(measured(truth), truth, cut).suggested_right is False  # no suggestion is none


def test_a_refused_photo_counts_as_nothing_found() -> None:
    """A photo that can't be measured lowers F1 over all scenes; it is never left out."""
    good = Scene("a", 1.0, true=10, found=10, paired=10)
    refused = Scene("b", 1.0, true=10, refused="no-card")
    assert f1([good, refused]) == pytest.approx(20 / 30)
    table = accuracy_table.text([good, refused])
    assert "no-card" in table
    assert "20" not in table.splitlines()[0]


def test_a_figure_beyond_its_bar_is_marked() -> None:
    """What is beyond the bar has a '!' behind it, what is within has none."""
    sides = tuple(SideError("plan", "box", error, 0.3, 0.1) for error in (0.2, -0.2))
    row = accuracy_table.text([Scene("tray", 1.0, 1, 1, 1, sides)]).splitlines()[2]
    assert "2.00!" in row  # the mean error
    assert "0.00" in row
    assert "0.00!" not in row  # the bias


def test_folder_without_photos_is_refused(tmp_path: Path) -> None:
    """A folder that is none, and one without truth, say what to do."""
    with pytest.raises(CutcheckError, match="not a folder"):
        assess(tmp_path / "nowhere")
    (tmp_path / "photo.jpg").write_bytes(b"")
    with pytest.raises(CutcheckError, match="no photo with its truth"):
        assess(tmp_path)
    (tmp_path / "photo.json").write_text("[]")
    with pytest.raises(CutcheckError, match="does not hold the truth"):
        assess(tmp_path)


def test_the_command_prints_a_table_and_json(tmp_path: Path) -> None:
    """``cutcheck accuracy FOLDER`` prints a row for each photo, and the same as JSON."""
    photo, known = scene(8, size=(2000, 1500), pieces=({**DICE, "count": 8},), name="tray", board="blue")
    save(tmp_path / "tray.jpg", photo, known)
    table = CliRunner().invoke(group, ["accuracy", str(tmp_path)])
    assert table.exit_code == 0
    assert any(line.startswith("tray ") for line in table.output.splitlines())
    data = json.loads(
        CliRunner().invoke(group, ["accuracy", str(tmp_path), "--json", "--workers", "2"]).stdout
    )
    assert data["scenes"][0]["name"] == "tray"
    assert data["scenes"][0]["true"] == 8
    assert set(data["all"]) >= {"f1", "plan", "height"}
