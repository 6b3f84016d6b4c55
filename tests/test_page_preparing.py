"""The page's places of preparing: opened, filled and pressed, without a browser."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest
from test_page import html_of

from cutcheck.page import keys


@pytest.fixture(autouse=True)
def own_settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No settings of the machine's user enter."""
    monkeypatch.setenv("CUTCHECK_SETTINGS", str(tmp_path / "settings.toml"))


def opened(place: str) -> AppTest:
    """A place of the page, drawn once."""
    return AppTest.from_string(
        f"from cutcheck.page.places import {place}\n{place}.show()", default_timeout=60
    ).run()


def words(page: AppTest) -> str:
    """All that is written on the page."""
    written = [e.value for e in [*page.title, *page.subheader, *page.header, *page.markdown, *page.caption]]
    return "\n".join([*written, html_of(page)])


@pytest.mark.parametrize("place", ["plan", "station", "gestures"])
def test_each_place_opens_with_something_useful(place: str) -> None:
    """Opened for the first time there is no error, and more than a heading."""
    page = opened(place)
    assert not page.exception
    assert "<table>" in words(page)
    assert "instructor" in words(page)


def test_the_sample_is_planned_and_what_is_typed_replaces_it() -> None:
    """The sample shows carrots; typed needs are planned, in the unit chosen."""
    page = opened("plan")
    assert "1.27 kg" in words(page)
    page.text_area(key=keys.NEEDS).set_value("peeled carrot 10 kg")
    page.selectbox(key=keys.YIELDS).set_value("SR28")
    page.selectbox(key=keys.WEIGHT_UNIT).set_value("kg")
    page.run()
    assert not page.exception
    # SR28: 11 % refuse
    assert f"{10 / 0.89:.2f} kg" in words(page)
    assert "celery" not in words(page).split("Order of work")[0]


def test_a_wrong_line_is_told_and_the_rest_is_planned() -> None:
    """The problem stands on the page with its remedy, beside the plan of the good line."""
    page = opened("plan")
    page.text_area(key=keys.NEEDS).set_value("brunoise carot 1 kg\nbrunoise onion 300 g").run()
    assert not page.exception
    assert "Did you mean carrot?" in words(page)
    assert "333 g" in words(page)


def test_a_list_is_taken_from_a_file_and_a_bad_file_is_told() -> None:
    """A CSV is planned in place of the words; one without a header gets a panel, not a traceback."""
    page = opened("plan")
    data = b"cut,produce,amount\nrondelle,courgette,2 kg\n"
    page.file_uploader(key=keys.NEEDS_FILE).set_value(("list.csv", data, "text/csv")).run()
    assert not page.exception
    assert "courgette, rondelle" in words(page)
    page.file_uploader(key=keys.NEEDS_FILE).set_value(("list.csv", b"1,2,3\n", "text/csv")).run()
    assert not page.exception
    assert "the first line must name the columns" in words(page)


def test_nothing_typed_is_no_error() -> None:
    """An emptied field leaves the page standing."""
    page = opened("plan")
    page.text_area(key=keys.NEEDS).set_value("").run()
    assert not page.exception


def test_the_station_turns_round_for_a_left_hander() -> None:
    """A press on left-handed mirrors drawing and table."""
    page = opened("station")
    assert "left to right raw, waste, finished" in words(page)
    page.segmented_control(key=keys.HAND).set_value("Left-handed").run()
    assert not page.exception
    assert "left to right finished, waste, raw" in words(page)


def test_a_gesture_and_a_vegetable_are_looked_up() -> None:
    """The gesture shows its sources, the vegetable its yields, its allergen and its gestures."""
    page = opened("gestures")
    page.selectbox(key=keys.GESTURE).set_value("effiler")
    page.selectbox(key=keys.VEGETABLE).set_value("celery")
    page.run()
    assert not page.exception
    text = words(page)
    assert "Gastronomiac, French culinary dictionary, entry Éplucher; published and read" in text
    assert "US Armed Forces Recipe Service" in text
    assert "fourteen allergens" in text
