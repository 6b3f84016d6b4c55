"""The page by Streamlit's own test client: each place empty, loaded and pressed."""

from __future__ import annotations

from pathlib import Path

import cv2
import pytest
from streamlit.testing.v1 import AppTest

from cutcheck.page import keys
from cutcheck.page.tray.taken import Tray
from cutcheck.settings import load_settings

APP = str(Path(__file__).parents[1] / "app.py")
PLACES = sorted(Path(__file__).parents[1].joinpath("cutcheck/page/places").glob("[!_]*.py"))


def open_page() -> AppTest:
    """The page as a first visitor opens it."""
    page = AppTest.from_file(APP, default_timeout=60)
    page.run()
    assert not page.exception
    return page


def place(name: str) -> AppTest:
    """One place of the page on its own."""
    script = f"from cutcheck.page.places import {name}\n{name}.show()\n"
    page = AppTest.from_string(script, default_timeout=60)
    page.run()
    assert not page.exception
    return page


def html_of(page: AppTest) -> str:
    """All HTML panels of the page; a space that does not break is a space."""
    return "\n".join(element.proto.body for element in page.get("html")).replace("\N{NO-BREAK SPACE}", " ")


def upload(page: AppTest, name: str, data: bytes) -> AppTest:
    """Give a photo to the page and let it be measured."""
    page.file_uploader(key=keys.UPLOAD).set_value([(name, data, "image/jpeg")])
    page.run()
    assert not page.exception
    return page


def shown_tray(page: AppTest) -> Tray:
    """The tray that is shown."""
    return page.session_state[keys.TRAYS][page.session_state[keys.SHOWN]]


@pytest.mark.parametrize("path", PLACES, ids=lambda path: path.stem)
def test_every_place_opens_with_nothing_in_it(path: Path) -> None:
    """A first visit to any place draws its title, something to do and the cautions."""
    page = place(path.stem)
    assert len(page.title) == 1
    kinds = ("selectbox", "button", "text_input", "text_area", "segmented_control", "toggle", "button_group")
    assert any(page.get(kind) for kind in kinds)
    assert "food-safety" in html_of(page)


def test_the_page_opens_at_the_check() -> None:
    """``app.py`` opens where a tray is checked, with a place for the photo and a sample."""
    page = open_page()
    assert page.title[0].value == "Check a tray"
    assert page.file_uploader(key=keys.UPLOAD).label == "Take or choose photos of a tray"


def test_the_sample_is_marked_after_one_press() -> None:
    """One press on the sample shows a mark, the picture and the spread of its sides."""
    page = open_page()
    next(button for button in page.button if "sample" in button.label).click().run()
    assert not page.exception
    assert "cc-figure" in html_of(page)
    assert "How even the sides are" in [heading.value for heading in page.subheader]
    assert page.selectbox(key=keys.CUT).value


def test_a_photo_is_measured_then_marked_as_the_cut_is_chosen(tray_photo: Path) -> None:
    """An uploaded photo is measured; a cut marks it, another one marks it anew, and none unmarks it."""
    page = upload(place("check_tray"), "tray.jpg", tray_photo.read_bytes())
    assert "cc-figure" not in html_of(page)
    assert "12 pieces" in html_of(page)
    tray = shown_tray(page)
    page.selectbox(key=keys.CUT).set_value("medium-dice").run()
    good = html_of(page)
    assert "cc-figure" in good
    page.selectbox(key=keys.CUT).set_value("large-dice").run()
    assert "cc-figure" in html_of(page)
    assert html_of(page) != good
    page.selectbox(key=keys.CUT).set_value("").run()
    assert "cc-figure" not in html_of(page)
    assert shown_tray(page) is tray
    assert not page.exception


@pytest.mark.parametrize("kind", ["text", "cut in half", "folderless name", "card missing"])
def test_a_bad_photo_is_told_and_loses_nothing(kind: str, tray_photo: Path) -> None:
    """After a bad photo the page says what is wrong and what to do, and the tray before it is still there."""
    data = tray_photo.read_bytes()
    page = upload(place("check_tray"), "good.jpg", data)
    page.selectbox(key=keys.CUT).set_value("medium-dice").run()
    half = cv2.imread(str(tray_photo))[:, :300]
    bad = {
        "text": b"no photo at all",
        "cut in half": data[: len(data) // 2],
        "folderless name": b"\x00" * 64,
        "card missing": cv2.imencode(".jpg", half)[1].tobytes(),
    }[kind]
    upload(page, "bad.jpg", bad)
    shown = html_of(page)
    assert "cc-fault" in shown
    assert "role='alert'" in shown
    assert "Below is still the tray before it: good.jpg" in shown
    assert "cc-figure" in shown
    assert shown_tray(page).name == "good.jpg"


def test_a_fault_inside_is_a_sentence_not_a_traceback(
    tray_photo: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """If measuring itself breaks, the page says so in a sentence and lives on."""
    page = place("check_tray")

    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("a wheel came off")

    monkeypatch.setattr("cutcheck.pipeline.measure_looked", broken)
    upload(page, "tray.jpg", tray_photo.read_bytes())
    assert "Something went wrong inside cutcheck" in html_of(page)
    monkeypatch.undo()
    upload(page, "again.jpg", tray_photo.read_bytes() + b" ")
    assert "cc-fault" not in html_of(page)


def test_a_cut_that_is_too_small_for_the_photo_is_told(tray_photo: Path) -> None:
    """Where the photo is too far away for the chosen cut, that is told and the sizes are still shown."""
    page = upload(place("check_tray"), "tray.jpg", tray_photo.read_bytes())
    page.selectbox(key=keys.CUT).set_value("fine-brunoise").run()
    assert "too far" in html_of(page)
    assert "cc-figure" not in html_of(page)
    assert not page.exception


def test_a_file_name_can_not_smuggle_in_html(tray_photo: Path) -> None:
    """A photo's name is shown as text, whatever is in it."""
    page = upload(place("check_tray"), "<img src=x onerror=alert(1)>.jpg", tray_photo.read_bytes())
    assert "<img src=x" not in html_of(page)
    assert "&lt;img src=x" in html_of(page)


def test_looking_up_a_cut_shows_sizes_and_sources() -> None:
    """A cut has its sizes in mm and inches, its steps, and each source with its class."""
    page = place("look_up")
    page.selectbox(key=keys.LOOKED_UP).set_value("julienne").run()
    assert not page.exception
    shown = html_of(page)
    assert page.header[0].value == "Julienne"
    assert "40–50 mm" in shown
    assert "class C" in shown
    page.segmented_control(key=keys.LOOK_STANDARD).set_value("inch").run()
    assert "1/8 in" in html_of(page)


def test_two_standards_of_one_cut_stand_side_by_side() -> None:
    """A cut that both standards have is drawn by both at one scale; one that a single one has is not."""
    page = place("look_up")
    page.selectbox(key=keys.LOOKED_UP).set_value("julienne").run()
    assert "Julienne by both standards" in html_of(page)
    page.selectbox(key=keys.LOOKED_UP).set_value("small-dice").run()
    assert "by both standards" not in html_of(page)


def test_a_size_finds_its_cuts_and_nonsense_is_told() -> None:
    """3 x 3 x 50 mm is an allumette of the metric standard; words are no size, and say so."""
    page = place("look_up")
    page.text_input(key=keys.LOOK_SIZE).set_value("3x3x50").run()
    assert not page.exception
    assert "Allumette" in html_of(page)
    page.text_input(key=keys.LOOK_SIZE).set_value("about so big").run()
    assert "is no size" in html_of(page)


def test_the_standard_is_offered_as_a_page_for_the_wall() -> None:
    """The wall chart is a PDF of one A4 page (ISO 216: 210 x 297 mm)."""
    import pypdfium2

    from cutcheck.page.places.look_up import _chart_pdf

    document = pypdfium2.PdfDocument(_chart_pdf("metric"))
    assert len(document) == 1
    width, height = document[0].get_size()
    assert {round(width / 72 * 25.4), round(height / 72 * 25.4)} == {210, 297}
    assert place("look_up").get("download_button")


def test_every_cut_can_be_looked_up() -> None:
    """No cut of the reference breaks the page, in either standard."""
    page = place("look_up")
    for standard in ("inch", "metric"):
        page.segmented_control(key=keys.LOOK_STANDARD).set_value(standard).run()
        for name in page.selectbox(key=keys.LOOKED_UP).options:
            page.selectbox(key=keys.LOOKED_UP).select(name).run()
            assert not page.exception, name


def test_the_ruler_s_figures_are_kept_and_forgotten() -> None:
    """What the ruler said is kept for the next photo; impossible figures are told and change nothing."""
    page = place("print_card")
    assert "Not measured yet" in page.markdown[1].value
    page.text_input(key=keys.RULER_ACROSS).set_value("197.4")
    page.text_input(key=keys.RULER_DOWN).set_value("213.2")
    keep = next(button for button in page.button if "Keep" in button.label)
    keep.click().run()
    assert load_settings().printed == "197.4x213.2"
    page.text_input(key=keys.RULER_ACROSS).set_value("12")
    next(button for button in page.button if "Keep" in button.label).click().run()
    assert "none of the distances" in html_of(page)
    assert load_settings().printed == "197.4x213.2"
    page.button(key=keys.RULER_FORGET).click().run()
    assert load_settings().printed is None


def test_wrong_card_numbers_are_told() -> None:
    """A card number that there is not is told, and nothing is offered for download."""
    page = place("print_card")
    page.text_input(key=keys.NUMBERS).set_value("7-500").run()
    assert "There is no card 500" in html_of(page)
    assert not page.exception
