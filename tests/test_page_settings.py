"""The place 'Settings' by Streamlit's test client: what is changed is kept, and holds at once."""

from __future__ import annotations

from html import unescape
from pathlib import Path

from test_page import html_of, place

from cutcheck.page import keys
from cutcheck.settings import load_settings, settings_path


def test_each_setting_is_kept_as_it_is_pressed(own_settings: Path) -> None:
    """Unit, standard, the card's thickness and keeping the photo are in the file after a press each."""
    page = place("settings")
    assert not own_settings.exists()
    page.segmented_control(key=keys.SET_UNIT).set_value("in").run()
    page.segmented_control(key=keys.SET_STANDARD).set_value("inch").run()
    page.segmented_control(key=keys.SET_THICKNESS).set_value(0.5).run()
    page.toggle(key=keys.SET_KEEP_PHOTO).set_value(True).run()
    assert not page.exception
    kept = load_settings()
    assert (kept.unit, kept.standard, kept.thickness_mm, kept.keep_photo) == ("in", "inch", 0.5, True)


def test_the_settings_hold_in_the_other_places(own_settings: Path) -> None:
    """Inches chosen here are chosen where a tray is checked."""
    place("settings").segmented_control(key=keys.SET_UNIT).set_value("in").run()
    assert place("check_tray").segmented_control(key=keys.UNIT).value == "in"


def test_the_journal_s_place_is_told_and_can_be_changed(tmp_path: Path, own_settings: Path) -> None:
    """Another file is kept as the journal's place, and an empty field goes back to the usual one."""
    page = place("settings")
    assert "Trays are kept in" in html_of(page)
    page.text_input(key=keys.SET_JOURNAL).set_value(str(tmp_path / "ours.sqlite"))
    next(button for button in page.button if button.label == "Use this file").click().run()
    assert not page.exception
    assert load_settings().journal == str(tmp_path / "ours.sqlite")
    page.text_input(key=keys.SET_JOURNAL).set_value("")
    next(button for button in page.button if button.label == "Use this file").click().run()
    assert load_settings().journal is None


def test_the_ruler_s_figures_are_asked_here_too(own_settings: Path) -> None:
    """What the ruler said is kept from this place as from that of the card."""
    page = place("settings")
    page.text_input(key=keys.RULER_ACROSS).set_value("197.4")
    page.text_input(key=keys.RULER_DOWN).set_value("213.2")
    next(button for button in page.button if "Keep these" in button.label).click().run()
    assert load_settings().printed == "197.4x213.2"


def test_a_settings_file_that_can_not_be_read_is_a_sentence(own_settings: Path) -> None:
    """A broken file is told with its remedy, and the place lives."""
    own_settings.parent.mkdir(parents=True, exist_ok=True)
    own_settings.write_text("unit = [")
    page = place("settings")
    assert "can't be read" in unescape(html_of(page))
    assert settings_path() == own_settings
    assert not page.exception


def test_the_words_are_told() -> None:
    """The list of words stands on the page with what each means."""
    assert "what a ruler said on the printed card" in html_of(place("settings"))
