"""The page's journal by Streamlit's test client: keeping a tray, and progress empty, short and long."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest
from terms import START, keep_term
from test_page import html_of, place, upload

from cutcheck.journal import Journal
from cutcheck.page import keys


def keep_button(page: AppTest) -> None:
    """Press 'Keep'."""
    next(button for button in page.button if button.label == "Keep").click().run()
    assert not page.exception


def test_a_tray_is_kept_with_one_press(own_journal: Path, tray_photo: Path) -> None:
    """A name and a press keep the tray that is shown; then its number is told, and the cut can be changed."""
    page = upload(place("check_tray"), "tray.jpg", tray_photo.read_bytes())
    page.selectbox(key=keys.CUT).set_value("medium-dice").run()
    assert not own_journal.exists()
    keep_button(page)
    assert "No name yet" in html_of(page)
    assert not own_journal.exists()
    Journal.open(own_journal).add_cook("Ada Example")
    page.run()
    page.selectbox(key=keys.KEEP_NAME).set_value("Ada Example#1")
    page.checkbox(key=keys.KEEP_PHOTO).check()
    page.number_input(key=f"{keys.KEEP_FORM}_raw_g").set_value(250.0)
    keep_button(page)
    assert page.success[0].value == r"Kept as check 1 of Ada Example\#1: Medium dice."
    kept = Journal.open(own_journal).check(1)
    assert kept.entry.extras.raw_g == 250.0
    assert kept.entry.has_photo
    assert len(kept.result.pieces) == 12
    page.selectbox(key=keys.CUT).set_value("large-dice").run()
    page.button(key=keys.KEEP_CUT).click().run()
    assert "Large dice" in page.success[0].value
    assert Journal.open(own_journal).entry(1).cut == "large-dice"


def test_progress_is_shown_for_one_tray_and_for_many(own_journal: Path) -> None:
    """One tray shows its mark and 'too few yet'; many show charts, what changed, and the details."""
    journal = Journal.open(own_journal)
    keep_term(journal, journal.add_cook("Ada Example"), np.linspace(0.9, 0.3, 10), minutes=4.0)
    keep_term(journal, journal.add_cook("Ben Example"), [0.5], seed=2, start=START)
    page = place("my_progress")
    assert "Steadier." in html_of(page)
    assert "Pace and waste" in html_of(page)
    assert "Speed comes after control" in html_of(page)
    assert len(page.get("arrow_vega_lite_chart") or page.get("vega_lite_chart")) == 3
    next(button for button in page.button if button.label == "Set this goal").click().run()
    assert "Small dice: 80 % on size in 3 sessions, a week apart. 0 of 3 done" in html_of(page)
    page.selectbox(key=keys.PROGRESS_COOK).set_value(2).run()
    assert not page.exception
    assert "Too few yet" in html_of(page)


def test_progress_without_any_tray_tells_how_to_begin(own_journal: Path) -> None:
    """An empty journal, and a cook without trays, are told what to do; a sample shows how it will look."""
    page = place("my_progress")
    assert "The journal is empty" in html_of(page)
    assert not own_journal.exists()
    page.toggle(key=keys.SAMPLE_TERM).set_value(True).run()
    assert not page.exception
    assert "Steadier." in html_of(page)
    Journal.open(own_journal).add_cook("Ada Example")
    assert "No marked tray" in html_of(place("my_progress"))


def test_a_journal_that_can_not_be_opened_is_a_sentence(
    own_journal: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A journal that is none is told with its remedy, on both places, and the rest of the page lives."""
    own_journal.parent.mkdir(parents=True, exist_ok=True)
    own_journal.write_text("no journal")
    page = place("my_progress")
    assert "is not a journal" in html_of(page)
    assert "food-safety" in html_of(page)
