"""The page in a real browser (Chromium), at phone and desk size: as a cook presses it."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

import cv2
import numpy as np
import pytest
from drawing import Phone, camera_over, develop
from PIL import Image
from playwright.sync_api import Browser, BrowserContext, Page, Route, expect, sync_playwright
from pypdfium2 import PdfDocument
from test_bad_photos import dark, empty_board, half_a_card, no_card, overexposed, shaken

from cutcheck.page.navigation import PLACES
from cutcheck.serialise import from_json

ROOT = Path(__file__).parents[1]
CHROMIUM = "/usr/bin/chromium"
PHONE, DESK = (390, 844), (1280, 800)
SLOW_MS = 60_000  # a busy machine


LOCAL = re.compile(r"(https?|wss?)://localhost[:/]|data:|blob:")


class Visit(NamedTuple):
    """A page in the browser, what it asked of other computers and what the browser complained of."""

    page: Page
    outside: list[str]
    complaints: list[str]


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The page, served from this computer for this module."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    folder = tmp_path_factory.mktemp("server")
    log = (folder / "log.txt").open("w")
    server = subprocess.Popen(
        [sys.executable, "-m", "streamlit", "run", "app.py", "--server.port", str(port)],
        cwd=ROOT,
        env={
            **os.environ,
            "CUTCHECK_SETTINGS": str(folder / "settings.toml"),
            "CUTCHECK_JOURNAL": str(folder / "journal.sqlite"),
        },
        stdout=log,
        stderr=subprocess.STDOUT,
    )
    url = f"http://localhost:{port}"
    try:
        for _ in range(300):
            assert server.poll() is None, (folder / "log.txt").read_text()
            try:
                urllib.request.urlopen(f"{url}/_stcore/health", timeout=2).read()
                break
            except OSError:
                time.sleep(0.2)
        yield url
    finally:
        server.terminate()
        server.wait(20)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Chromium, without a window."""
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield chromium
        chromium.close()


def kept_here(context: BrowserContext) -> list[str]:
    """A fresh browser's waits set; what is meant for another computer fails, and is told in the list."""
    context.set_default_timeout(SLOW_MS)
    outside: list[str] = []

    def refuse(route: Route) -> None:
        outside.append(route.request.url)
        route.abort()

    context.route(lambda url: not LOCAL.match(url), refuse)
    return outside


@contextmanager
def opened(browser: Browser, address: str, size: tuple[int, int]) -> Iterator[Visit]:
    """The page opened afresh; what is meant for another computer fails, and is told at the end."""
    width, height = size
    context = browser.new_context(
        viewport={"width": width, "height": height}, has_touch=size is PHONE, accept_downloads=True
    )
    outside = kept_here(context)
    page = context.new_page()
    complaints: list[str] = []
    page.on("console", lambda said: complaints.append(said.text) if said.type == "error" else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(address)
    # The cautions come last: once they are there, the whole place is.
    expect(page.locator(".cc-caution")).to_be_visible(timeout=SLOW_MS)
    yield Visit(page, outside, complaints)
    context.close()
    assert outside == []
    assert complaints == []


@pytest.fixture(params=[PHONE, DESK], ids=["phone", "desk"])
def visit(request: pytest.FixtureRequest, browser: Browser, address: str) -> Iterator[Visit]:
    """The page opened afresh, at phone and at desk size."""
    with opened(browser, address, request.param) as fresh:
        yield fresh


@pytest.fixture(scope="module", params=[PHONE, DESK], ids=["phone", "desk"])
def shown(request: pytest.FixtureRequest, browser: Browser, address: str, tray_photo: Path) -> Iterator[Page]:
    """The page with a tray of medium dice marked, at phone and at desk size, for all tests that only look."""
    # Another file for each size, or the second would find the first one kept.
    photo = tray_photo.with_name(f"tray-{request.param[0]}.jpg")
    photo.write_bytes(tray_photo.read_bytes() + bytes(request.param[0] % 251))
    with opened(browser, address, request.param) as fresh:
        check_tray(fresh.page, photo)
        yield fresh.page


def settled(page: Page) -> None:
    """Wait until the server has drawn all of the place: what is typed before that may be drawn over."""
    page.locator("[data-testid=stApp][data-test-script-state=notRunning]").wait_for(timeout=SLOW_MS)


def tour(page: Page) -> Iterator[str]:
    """Go from place to place by the links, and to each part of those that have several; gives their names."""
    for place in PLACES:
        for part in place.parts:
            page.get_by_role("link", name=place.title, exact=True).click()
            if len(place.parts) > 1:
                page.get_by_role("link", name=part.title, exact=True).click()
                expect(page.locator(".st-key-parts a")).to_have_count(len(place.parts))
            heading = {"Cuts": "Look up a cut"}.get(part.title, part.title)
            expect(page.get_by_role("heading", name=heading, level=1)).to_be_visible(timeout=SLOW_MS)
            # The cautions come last, and are new once nothing of the place before is left.
            expect(page.locator(".cc-caution")).to_have_count(1)
            expect(page.locator("[data-stale=true]")).to_have_count(0)
            settled(page)
            yield part.title


def give(page: Page, path: Path) -> None:
    """Give a photo to the page, as the phone's camera does."""
    page.locator("input[type=file]").first.set_input_files(path)


def choose(page: Page, field: str, words: str) -> None:
    """Choose from a list by typing the beginning of what is meant."""
    page.get_by_role("combobox", name=field).click()
    page.keyboard.type(words)
    page.get_by_role("option", name=words).first.click()


def check_tray(page: Page, path: Path) -> None:
    """Measure and mark a tray of medium dice."""
    give(page, path)
    expect(page.get_by_text("12 pieces").first).to_be_visible(timeout=SLOW_MS)
    choose(page, "Which cut", "Medium dice")
    expect(page.locator(".cc-figure")).to_be_visible(timeout=SLOW_MS)


def test_from_photo_to_mark_to_piece(shown: Page) -> None:
    """Upload, choose the cut, read the mark, press a piece: its sides appear; nothing leaves the computer."""
    page = shown
    assert 0 <= int(page.locator(".cc-figure").inner_text().split("\n")[0].split("of")[0]) <= 100
    page.locator("g.piece[data-n='4'] .hit").click(force=True)
    panel = page.locator(".panel")
    expect(panel).to_contain_text("Piece 4:", timeout=SLOW_MS)
    expect(panel).to_contain_text("give or take")
    expect(page.locator("g.piece[data-n='4']")).to_have_attribute("aria-pressed", "true")
    page.get_by_role("button", name="Next piece").click()
    expect(panel).to_contain_text("Piece 5:")


def test_the_picture_zooms_and_takes_keys(shown: Page) -> None:
    """Zoom buttons narrow what is seen and give it back; arrow keys step from piece to piece."""
    page = shown
    scene = page.locator("svg.scene")
    whole = scene.get_attribute("viewBox")
    page.get_by_role("button", name="Zoom in").click()
    assert float(str(scene.get_attribute("viewBox")).split()[2]) < float(str(whole).split()[2]) / 1.5
    page.get_by_role("button", name="Whole picture").click()
    assert scene.get_attribute("viewBox") == whole
    first = page.locator("g.piece[tabindex='0']")
    number = int(str(first.get_attribute("data-n")))
    first.focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    expect(page.locator("g.piece.chosen")).to_have_attribute("data-n", str((number + 1) % 12 + 1))


def test_a_piece_chosen_by_number_shows_in_the_picture(shown: Page) -> None:
    """The list of numbers and the picture always show the same piece."""
    page = shown
    page.locator("select.which").select_option("7")
    expect(page.locator("g.piece.chosen")).to_have_attribute("data-n", "7")
    expect(page.locator(".panel")).to_contain_text("Piece 7:")


def test_what_is_downloaded_can_be_read(shown: Page) -> None:
    """Picture, page, table and data are files that other programs open, with all twelve pieces."""
    page = shown

    def download(button: str) -> bytes:
        with page.expect_download(timeout=SLOW_MS) as caught:
            page.get_by_role("button", name=button).click()
        return Path(caught.value.path()).read_bytes()

    with Image.open(io.BytesIO(download("Marked picture"))) as picture:
        assert picture.format == "JPEG"
        assert picture.width == 1600
    sheet = PdfDocument(download("One page (PDF)"))
    assert "Medium dice" in sheet[0].get_textpage().get_text_range()
    rows = list(csv.DictReader(io.StringIO(download("Figures (CSV)").decode("utf-8-sig"))))
    assert len(rows) == 12
    assert float(rows[0]["length mm"]) > 5
    result = from_json(download("Everything (JSON)").decode())
    assert len(result.pieces) == 12
    assert result.score is not None


def test_a_bad_photo_leaves_the_tray_before_it(shown: Page, tmp_path: Path) -> None:
    """A file that is no photo is told in plain words, and the tray that was shown stays."""
    page = shown
    bad = tmp_path / "letter.jpg"
    bad.write_text("Dear cook")
    page.get_by_text("Check another photo").click()
    give(page, bad)
    fault = page.locator(".cc-fault")
    expect(fault).to_contain_text("is not a photo", timeout=SLOW_MS)
    expect(page.locator(".cc-figure")).to_be_visible()
    expect(page.get_by_text("Traceback")).to_have_count(0)


def six_discs(path: Path) -> tuple[float, float]:
    """A photo of six grey discs of 25.75 mm and four sticks on a pale board, without a card; the fifth disc's
    middle, px."""
    size = (1600, 1200)
    camera = camera_over(size, tilt_deg=12.0, above_mm=330.0)
    light = np.full((1200, 1600, 3), 0.55, np.float32)
    turn = np.linspace(0, 2 * np.pi, 180, endpoint=False)
    for x, y in ((-90, -50), (-30, -55), (40, -40), (-70, 20), (0, 30), (80, 35)):
        for radius, grey in ((12.875, 0.10), (11.6, 0.16)):
            edge = np.column_stack([x + radius * np.cos(turn), y + radius * np.sin(turn)])
            seen = np.round(camera.project_at(edge, 2.0) * 16).astype(np.int32)
            cv2.fillPoly(light, [seen], (grey, 1.1 * grey, 1.3 * grey), lineType=cv2.LINE_AA, shift=4)
    for x, y in ((-40, 55), (35, -5), (-30, -10), (50, 62)):
        corners = np.array(
            [[x - 15.0, y - 4.0], [x + 15.0, y - 4.0], [x + 15.0, y + 4.0], [x - 15.0, y + 4.0]]
        )
        for height, colour in ((0.0, (0.02, 0.10, 0.30)), (8.0, (0.03, 0.17, 0.50))):
            seen = np.round(camera.project_at(corners, height) * 16).astype(np.int32)
            cv2.fillPoly(light, [seen], colour, lineType=cv2.LINE_AA, shift=4)
    cv2.imwrite(str(path), develop(light, Phone()))
    x, y = camera.project_at(np.array([0.0, 30.0]), 2.0)
    return float(x), float(y)


def test_a_coin_among_others_is_chosen_by_pressing_on_it(visit: Visit, tmp_path: Path) -> None:
    """Without a card a coin gives the scale: where several things are round, a press says which."""
    page = visit.page
    x, y = six_discs(tmp_path / "discs.png")
    page.get_by_text("No printed card, or no phone?").click()
    expect(page.get_by_role("combobox", name="What gives the scale?")).to_be_visible()
    page.wait_for_timeout(700)  # a list that is opened while the box still unfolds is closed by that
    choose(page, "What gives the scale?", "A coin")
    expect(page.get_by_label("Its diameter, mm")).to_have_value("25.75", timeout=SLOW_MS)
    give(page, tmp_path / "discs.png")
    expect(page.get_by_text("6 round things")).to_be_visible(timeout=SLOW_MS)
    scene = page.locator("svg.scene")
    scene.scroll_into_view_if_needed()
    place = scene.bounding_box()
    assert place is not None
    scale = place["width"] / 1600
    page.mouse.click(place["x"] + x * scale, place["y"] + y * scale)
    expect(page.get_by_text("scale from the disc")).to_be_visible(timeout=SLOW_MS)
    expect(page.locator("g.piece")).to_have_count(9)  # the other five and the sticks


def test_the_sample_is_two_presses_away(visit: Visit) -> None:
    """From opening to a marked tray with its pieces outlined: two presses at most, by the browser's count."""
    page = visit.page
    page.evaluate("window.presses = 0; addEventListener('click', () => window.presses++, true)")
    page.get_by_role("button", name="Try it with a sample photo").click()
    expect(page.locator(".cc-figure")).to_be_visible(timeout=SLOW_MS)
    expect(page.locator("g.piece").first).to_be_attached()
    assert 1 <= page.evaluate("window.presses") <= 2


def test_a_piece_is_left_out_kept_and_found_in_the_progress(shown: Page) -> None:
    """Press a piece, leave it out, read both marks, keep the tray, and see it in 'My progress'."""
    page = shown
    page.locator("g.piece[data-n='4'] .hit").click(force=True)
    page.get_by_text("Leave a piece out of the mark").click()
    expect(page.get_by_role("combobox", name="Which piece")).to_have_value("4", timeout=SLOW_MS)
    page.get_by_role("button", name="Leave it out").click()
    expect(page.get_by_text("With all 12 pieces")).to_be_visible(timeout=SLOW_MS)
    expect(page.get_by_role("button", name="Take back 4")).to_be_visible()
    expect(page.locator("g.piece.left")).to_have_attribute("data-n", "4")
    settled(page)
    name = f"Dora Example {page.evaluate('innerWidth')}"
    page.get_by_role("combobox", name="Keep this tray").click()
    page.keyboard.type(name)
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Keep", exact=True).click()
    expect(page.get_by_text(f"of {name}#")).to_be_visible(timeout=SLOW_MS)
    page.get_by_role("link", name="My progress").click()
    expect(page.get_by_role("heading", name="My progress")).to_be_visible(timeout=SLOW_MS)
    choose(page, "Who?", name)
    expect(page.get_by_text("Too few yet").first).to_be_visible(timeout=SLOW_MS)


def test_each_bad_photo_is_told_with_a_drawing(visit: Visit, tray_photo: Path, tmp_path: Path) -> None:
    """Several bad photos at once: each is told by its name, with what to do and a drawing that has words."""
    page = visit.page
    good = cv2.imread(str(tray_photo))
    kinds = {
        "No reference card": no_card(tray_photo, good),
        "Only part of the card": half_a_card(tray_photo, good),
        "is blurred": shaken(tray_photo, good),
        "too dark": dark(tray_photo, good),
        "too bright": overexposed(tray_photo, good),
        "No pieces": empty_board(tray_photo, good),
    }
    files = []
    for said, pixels in kinds.items():
        files.append(tmp_path / f"{said.replace(' ', '-')}.png")
        cv2.imwrite(str(files[-1]), pixels)
    files.append(tmp_path / "letter.jpg")
    files[-1].write_text("Dear cook")
    page.locator("input[type=file]").first.set_input_files(files)
    faults = page.locator(".cc-fault")
    expect(faults).to_have_count(len(files), timeout=SLOW_MS)
    for fault, said, file in zip(faults.all(), [*kinds, "is not a photo"], files, strict=True):
        expect(fault).to_contain_text(said)
        expect(fault).to_contain_text(file.name)
        assert len(str(fault.locator("img").get_attribute("alt"))) > 30
    expect(page.get_by_text("Traceback")).to_have_count(0)


def test_what_was_chosen_is_there_after_another_place(shown: Page) -> None:
    """The tray and its cut stay while something is looked up."""
    page = shown
    page.get_by_role("link", name="Check a tray").click()
    mark = page.locator(".cc-figure").inner_text()
    page.get_by_role("link", name="Look up").click()
    expect(page.get_by_role("heading", name="Look up a cut")).to_be_visible(timeout=SLOW_MS)
    page.get_by_role("link", name="Check a tray").click()
    expect(page.locator(".cc-figure")).to_have_text(mark, use_inner_text=True, timeout=SLOW_MS)


def test_a_cut_is_looked_up_by_pressing_its_drawing(visit: Visit) -> None:
    """A press on a drawing shows that cut with its sizes and its sources."""
    page = visit.page
    page.get_by_role("link", name="Look up").click()
    page.get_by_role("button", name="Julienne").first.click()
    expect(page.get_by_role("heading", name="Julienne")).to_be_visible(timeout=SLOW_MS)
    page.get_by_text("What the sources say").click()
    expect(page.get_by_text("class C").first).to_be_visible()


def test_the_card_is_downloaded_as_pdf(visit: Visit) -> None:
    """The sheet is a PDF of A4 size (ISO 216: 210 x 297 mm)."""
    page = visit.page
    page.get_by_role("link", name="Prepare").click()
    with page.expect_download(timeout=SLOW_MS) as caught:
        page.get_by_role("button", name="Download the sheet").click()
    sheet = PdfDocument(Path(caught.value.path()).read_bytes())[0]
    width, height = (points / 72 * 25.4 for points in sheet.get_size())
    assert (round(width), round(height)) == (210, 297)


def test_nothing_is_too_wide_or_too_small_to_press(visit: Visit) -> None:
    """No place scrolls sideways, and what is pressed is at least 44 px high (WCAG 2.2, 2.5.5)."""
    page = visit.page
    for place in tour(page):
        wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert wide <= 0, place
        small = page.evaluate(
            """() => [...document.querySelectorAll('[data-testid=stMain] :is(button, summary, a, label)')]
            .filter((b) => b.tagName !== 'LABEL' || b.querySelector('input[type=checkbox]'))
            .map((b) => [b.innerText || b.ariaLabel, b.getBoundingClientRect().height])
            .filter(([name, height]) => name && height > 0 && height < 43.5)"""
        )
        assert json.dumps(small) == "[]", place
