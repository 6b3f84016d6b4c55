"""'Check a tray' by Streamlit's test client: several photos, a first look, pieces left out, what is kept."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import cv2
import light_scene
import numpy as np
import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest
from test_page import html_of, place, shown_tray, upload

from cutcheck import pipeline
from cutcheck.errors import FAULTS
from cutcheck.journal import Journal
from cutcheck.page import keys, viewer
from cutcheck.page.fault_drawings import CODES, drawing_of
from cutcheck.page.panels import mark_parts
from cutcheck.page.places.check_tray import TOGETHER
from cutcheck.page.tray.look import look
from cutcheck.page.tray.taken import Tray, take
from cutcheck.records import Score
from cutcheck.settings import Settings
from cutcheck.standards import find_cut
from cutcheck.verdict import Rules

DICE = ({"shape": "box", "mm": (12.7, 12.7, 12.7), "count": 8, "sd": 0.05, "gap_mm": 12.0},)


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Eight dice from straight above, and the same tray at a slant."""
    folder = tmp_path_factory.mktemp("pair")
    photo, truth = light_scene.scene(
        21, size=(1600, 1200), pieces=DICE, tilt_deg=3.0, above_mm=340.0, card_at=(0.4, 0.5)
    )
    light_scene.save(folder / "above.jpg", photo, truth)
    photo, truth = light_scene.same_tray_again(truth, 22, tilt_deg=28.0)
    light_scene.save(folder / "slant.jpg", photo, truth)
    return folder / "above.jpg", folder / "slant.jpg"


def give(page: AppTest, *photos: tuple[str, bytes]) -> AppTest:
    """Several photos at once."""
    page.file_uploader(key=keys.UPLOAD).set_value([(name, data, "image/jpeg") for name, data in photos])
    page.run()
    assert not page.exception
    return page


def test_several_photos_are_several_trays_or_one(pair: tuple[Path, Path]) -> None:
    """Two photos give a row each with its mark; told that they are of one tray, they give one result."""
    page = give(place("check_tray"), *((path.name, path.read_bytes()) for path in pair))
    page.selectbox(key=keys.CUT).set_value("medium-dice").run()
    rows = html_of(page)
    assert "1. above.jpg" in rows
    assert "2. slant.jpg" in rows
    assert shown_tray(page).name == "slant.jpg"
    page.segmented_control(key=keys.SAME_TRAY).set_value(TOGETHER).run()
    assert not page.exception
    assert "2. slant.jpg</th>" not in html_of(page)
    assert "cc-figure" in html_of(page)


def test_photos_of_two_trays_are_no_one_tray(pair: tuple[Path, Path], tray_photo: Path) -> None:
    """Photos of different trays taken as one are told in the page's words, and one of them is still shown."""
    photos = [(path.name, path.read_bytes()) for path in (pair[0], tray_photo)]
    page = give(place("check_tray"), *photos)
    page.segmented_control(key=keys.SAME_TRAY).set_value(TOGETHER).run()
    assert "show one tray" in html_of(page)
    assert "--" not in html_of(page)
    assert "12 pieces" in html_of(page)


def test_one_bad_photo_of_several_does_not_stop_the_others(tray_photo: Path) -> None:
    """The bad one is told by its name, the good one is measured."""
    page = give(place("check_tray"), ("letter.jpg", b"Dear cook"), ("tray.jpg", tray_photo.read_bytes()))
    shown = html_of(page)
    assert "letter.jpg" in shown
    assert "is not a photo" in shown
    assert "Below is what could be measured." in shown
    assert "12 pieces" in shown


def test_a_press_while_a_photo_is_measured_loses_no_photo(
    tray_photo: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What a press interrupts is measured in the run that the press starts, and only then is done with."""
    asked: list[str] = []

    def pressed_once(*given: object, **more: object) -> object:
        asked.append(str(given[1]))
        if len(asked) == 1:
            st.rerun()  # as the framework does when something is pressed meanwhile
        return take(*given, **more)  # type: ignore[arg-type]

    monkeypatch.setattr("cutcheck.page.places.check_tray.take", pressed_once)
    page = upload(place("check_tray"), "tray.jpg", tray_photo.read_bytes())
    assert asked == ["tray.jpg", "tray.jpg"]
    assert "12 pieces" in html_of(page)
    assert page.session_state[keys.GIVEN] == []


def test_a_piece_is_left_out_and_both_marks_are_shown(tray_photo: Path, own_journal: Path) -> None:
    """A piece left out with a reason changes the mark; the other one is shown, both ways back are there."""
    page = upload(place("check_tray"), "tray.jpg", tray_photo.read_bytes())
    page.selectbox(key=keys.CUT).set_value("medium-dice").run()
    whole = page.session_state[keys.TRAYS][page.session_state[keys.SHOWN]]
    page.selectbox(key=f"{keys.LEAVE_PIECE}-None").set_value(2)
    page.selectbox(key=keys.LEAVE_REASON).set_value("torn or crushed").run()
    page.button(key=keys.LEAVE_BUTTON).click().run()
    assert not page.exception
    shown = html_of(page)
    assert "With all 12 pieces" in shown
    assert "Left out of the mark: 2 (torn or crushed)." in shown
    cut = find_cut("medium-dice")
    without = pipeline.mark_without(whole.measured, {2}, cut).score
    assert without is not None
    assert f"Mark {without.mark:.0f} of 100" in shown
    Journal.open(own_journal).add_cook("Ada Example")
    page.run()
    page.selectbox(key=keys.KEEP_NAME).set_value("Ada Example#1")
    next(button for button in page.button if button.label == "Keep").click().run()
    kept = Journal.open(own_journal).check(1).result
    assert kept.score is not None
    assert kept.score.mark == pytest.approx(without.mark, abs=0.01)
    assert "excluded" in kept.pieces[1].flags
    page.button(key=f"{keys.TAKE_BACK}-2").click().run()
    assert "With all 12 pieces" not in html_of(page)
    assert "instead" in page.button(key=keys.KEEP_CUT).label
    assert not page.exception


def test_what_is_kept_with_its_photo_has_the_photo_whatever_its_format(
    tray_photo: Path, own_journal: Path
) -> None:
    """A PNG is kept as a picture with its pixels, though the page holds none between presses."""
    data = cv2.imencode(".png", cv2.imread(str(tray_photo)))[1].tobytes()
    Journal.open(own_journal).add_cook("Ada Example")
    page = upload(place("check_tray"), "tray.png", data)
    assert shown_tray(page).measured.photo.pixels.size == 0
    page.selectbox(key=keys.KEEP_NAME).set_value("Ada Example#1")
    page.checkbox(key=keys.KEEP_PHOTO).check()
    next(button for button in page.button if button.label == "Keep").click().run()
    assert not page.exception
    photo = Journal.open(own_journal).photo(1)
    assert photo is not None
    kept = cv2.imdecode(np.frombuffer(photo.data, np.uint8), cv2.IMREAD_COLOR)
    assert kept.shape == (1200, 1600, 3)


def test_a_photo_from_straight_above_is_told_with_a_drawing(pair: tuple[Path, Path]) -> None:
    """A first look finds what could be better, and shows how; at a slant there is nothing to mend."""
    page = give(place("check_tray"), (pair[0].name, pair[0].read_bytes()))
    labels = [expander.label for expander in page.expander]
    assert any("to do better" in label for label in labels)
    assert "straight down" in html_of(page)
    seen = {one.what: one for one in look(pipeline.look_at(pair[1]))}
    assert seen["Slant"].good
    assert seen["Whole"].good
    assert seen["Sharp"].good
    assert "28 degrees" in seen["Slant"].said


def test_each_error_of_a_photo_has_a_drawing_with_words() -> None:
    """Every code that a photo can be refused with is drawn, and each drawing says what it shows."""
    of_photos = {code for code, fault in FAULTS.items() if fault.exit_status == 3}
    told_elsewhere = {"not-finished", "busy"}  # about the program, not about the photo
    assert of_photos - told_elsewhere <= set(CODES)
    for code in CODES:
        drawn = drawing_of(code)
        assert drawn is not None
        assert drawn[0].startswith("<svg")
        assert len(drawn[1].split()) > 6
    assert drawing_of("unknown-cut") is None


@pytest.fixture(scope="module")
def taken(tray_photo: Path) -> Tray:
    """The tray of twelve dice, as a session holds it."""
    tray = take(
        "1", "tray.jpg", tray_photo.read_bytes(), reference="card", settings=Settings(), tell=lambda *_: None
    )
    assert isinstance(tray, Tray)
    return tray


def test_each_piece_s_panel_has_sides_give_or_take_and_verdict(taken: Tray) -> None:
    """What a press shows: the verdict, the sides in the unit chosen, and on an inch ruler to the 1/32."""
    result = pipeline.mark(taken.measured, find_cut("medium-dice"))
    pieces = viewer.data_of(taken.picture, result, "mm", 5)["pieces"]
    assert len(pieces) == 12
    assert all("give or take" in piece["panel"] and "on size" in piece["panel"] for piece in pieces)
    assert pieces[4]["panel"].startswith("<h3>Piece 5: ")
    inches = viewer.data_of(taken.picture, result, "in", None)["pieces"]
    for piece, shown in zip(result.pieces, inches, strict=True):
        assert piece.length.mm is not None
        assert f"on a ruler: {Fraction(round(piece.length.mm / 25.4 * 32), 32)} in" in shown["panel"]
    assert "mm, give" not in json.dumps(inches)


def test_a_session_holds_the_file_and_no_pixels(taken: Tray) -> None:
    """What a session keeps of a photo is about as large as its file: a class fits on one computer."""
    held = len(taken.data) + len(taken.picture) + taken.measured.photo.pixels.nbytes
    assert held < 3 * len(taken.data)


def test_the_parts_of_the_mark_add_up_to_it() -> None:
    """What each part brings sums up to the mark, with the README's weights, also without squareness."""
    score = Score(0.0, 0.0, 0.0, 0.9, 0.8, 0.5, 30, ())
    parts = [float(row["brings"].split(" of ")[0]) for row in mark_parts(score, Rules())]
    assert sum(parts) == pytest.approx(100 * (0.6 * 0.9 + 0.25 * 0.8 + 0.15 * 0.5), abs=0.2)
    rows = mark_parts(replace(score, squareness=None), Rules())
    assert rows[2]["brings"] == "not seen"
    parts = [float(row["brings"].split(" of ")[0]) for row in rows[:2]]
    assert sum(parts) == pytest.approx(100 * (0.6 * 0.9 + 0.25 * 0.8) / 0.85, abs=0.2)
