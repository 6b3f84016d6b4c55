"""'My class' in a real browser: from a list of students and six photos to marks, tables and a page."""

from __future__ import annotations

import io
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import openpyxl
import pytest
from playwright.sync_api import Browser, Page, expect
from pypdfium2 import PdfDocument
from test_page_axe import serious
from test_page_browser import DESK, LOCAL, PHONE, SLOW_MS, address, browser, choose, settled

__all__ = ["address", "browser"]  # the fixtures that serve and open the page

GIVEN = ("ada.jpg", "ben.jpg", "ben-again.jpg", "cy.jpg", "who.jpg", "broken.jpg")
FAULT = "=SUM(1;1)"


@pytest.fixture
def desk(browser: Browser, address: str) -> Iterator[Page]:
    """A page at desk size that asks nothing of other computers."""
    context = browser.new_context(viewport={"width": DESK[0], "height": DESK[1]}, accept_downloads=True)
    context.set_default_timeout(SLOW_MS)
    context.route(lambda url: not LOCAL.match(url), lambda route: route.abort())
    page = context.new_page()
    yield page
    context.close()


def view(page: Page, name: str) -> None:
    """Turn to one of the things that are done with a class."""
    page.locator("[data-testid=stButtonGroup] button", has_text=name).first.click()
    page.wait_for_timeout(400)
    settled(page)
    expect(page.locator("[data-stale=true]")).to_have_count(0)
    settled(page)


def taken(page: Page, button: str) -> bytes:
    """The file that a button gives."""
    with page.expect_download(timeout=SLOW_MS) as waiting:
        page.get_by_role("button", name=button).click()
    return Path(waiting.value.path()).read_bytes()


def make_class(page: Page, roster: Path) -> None:
    """A class of four from its list."""
    page.get_by_label("What is the class called?").fill("Cuts, invented")
    page.locator("input[type=file]").first.set_input_files(roster)
    expect(page.get_by_text("roster.csv").first).to_be_visible()
    page.get_by_label("Your name", exact=True).fill("B. Example")
    page.get_by_role("button", name="Make the class").click()
    expect(page.get_by_text("with 4 students")).to_be_visible(timeout=SLOW_MS)
    settled(page)


def make_assignment(page: Page) -> None:
    """Medium dice, by the usual rubric."""
    view(page, "At the bench")
    page.get_by_label("What is it called?").fill("Dice")
    page.keyboard.press("Enter")
    page.wait_for_timeout(300)
    settled(page)
    choose(page, "Which cut", "Medium dice")
    settled(page)
    page.get_by_role("button", name="Make the assignment").click()
    expect(page.get_by_text("Take the photos.")).to_be_visible(timeout=SLOW_MS)
    settled(page)


def settle(page: Page, photo: str, whom: str) -> None:
    """Say whose tray a photo shows."""
    boxes = page.locator("[class*=st-key-bench_settle-]").filter(has=page.locator("img"))
    box = boxes.filter(has=page.locator("b", has_text=f"({photo})"))
    box.get_by_role("combobox").click()
    page.keyboard.type(whom)
    page.get_by_role("option").first.click()
    settled(page)
    box.get_by_role("button", name="That is so").click()
    settled(page)


def test_a_class_from_its_list_to_marks_and_pages(
    desk: Page, address: str, class_folder: Path, tmp_path: Path
) -> None:
    """Six photos, two of one number, one of nobody's and one that is none: settled by hand, marked, one mark
    set with a reason, and taken away as a workbook and a page, each read by another program."""
    page = desk
    page.goto(f"{address}/class")
    expect(page.locator(".cc-caution")).to_be_visible(timeout=SLOW_MS)
    settled(page)
    make_class(page, class_folder.parent / "roster.csv")
    make_assignment(page)
    photos = [Path(shutil.copy(class_folder / name, tmp_path / name)) for name in GIVEN]
    page.locator("input[type=file]").first.set_input_files(photos)
    expect(page.locator(".cc-bench .cc-good")).to_have_count(5, timeout=SLOW_MS)
    expect(page.locator(".cc-bench")).to_contain_text("Take it again")
    expect(page.get_by_text("All 6 photos")).to_be_visible(timeout=SLOW_MS)
    expect(page.get_by_role("heading", name="To settle: 3 photos")).to_be_visible()
    expect(page.locator(".cc-roll .cc-missing")).to_have_text("4 Dot Example, missing")
    assert serious(page) == []
    # A closed browser loses nothing: what was given is still there when the page is opened again.
    page.goto(f"{address}/class")
    expect(page.get_by_text("All 6 photos")).to_be_visible(timeout=SLOW_MS)
    settle(page, "ben-again.jpg", "It shall not count")
    expect(page.get_by_role("heading", name="To settle: 1 photo")).to_be_visible(timeout=SLOW_MS)
    settle(page, "who.jpg", "4: Dot")
    expect(page.get_by_role("heading", name="To settle")).to_have_count(0, timeout=SLOW_MS)
    expect(page.get_by_text("all done")).to_be_visible(timeout=SLOW_MS)
    expect(page.locator(".cc-tally")).to_have_text("4 of 4 handed in, 0 missing")
    view(page, "Marks")
    expect(page.locator(".cc-table td").first).to_be_visible(timeout=SLOW_MS)
    table = page.locator(".cc-table").first
    for name in (FAULT, "Ben Example", "Cy Example", "Dot Example"):
        expect(table).to_contain_text(name)
    choose(page, "Whose tray", "Cy Example")
    expect(page.locator("h3.cc-whose")).to_have_text("Cy Example", timeout=SLOW_MS)
    settled(page)
    expect(page.locator("[data-stale=true]")).to_have_count(0)
    page.get_by_text("Set another mark by hand").click()
    page.get_by_label("Mark, of 100", exact=True).fill("33")
    page.get_by_role("button", name="Set this mark").click()
    expect(page.get_by_text("The reason is missing.")).to_be_visible(timeout=SLOW_MS)
    page.get_by_label("The reason", exact=True).fill("looked at by eye")
    page.get_by_role("button", name="Set this mark").click()
    expect(page.get_by_text("The mark is set.")).to_be_visible(timeout=SLOW_MS)
    expect(page.locator(".cc-figure")).to_contain_text("33")
    expect(page.locator(".cc-parts")).to_contain_text("first mark")
    settled(page)
    assert serious(page) == []
    view(page, "Take away")
    book = openpyxl.load_workbook(io.BytesIO(taken(page, "Marks and pieces (XLSX)")))
    head, *rows = book["marks"].iter_rows(values_only=True)
    marks = {row[1]: dict(zip(head, row, strict=True)) for row in rows}
    assert set(marks) == {FAULT, "Ben Example", "Cy Example", "Dot Example"}
    assert marks["Cy Example"]["mark"] == 33
    assert marks["Cy Example"]["first mark"] > 33
    assert book["pieces"].max_row == 1 + 4 * 6
    choose(page, "Whose page", "Cy Example")
    settled(page)
    pdf = PdfDocument(taken(page, "Page for Cy Example (PDF)"))
    text = "\n".join(sheet.get_textpage().get_text_range() for sheet in pdf)
    assert "Cy Example" in text
    assert "looked at by eye" in text
    assert "Ben Example" not in text


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_the_sample_class_has_no_serious_fault(browser: Browser, address: str, size: tuple[int, int]) -> None:
    """All that is done with a class, in both colour schemes and sizes: axe-core finds nothing serious, and
    nothing reaches over the page's side."""
    context = browser.new_context(viewport={"width": size[0], "height": size[1]}, color_scheme="light")
    context.set_default_timeout(SLOW_MS)
    page = context.new_page()
    page.goto(f"{address}/class")
    expect(page.locator(".cc-caution")).to_be_visible(timeout=SLOW_MS)
    settled(page)
    faults = {"before": serious(page)}
    if page.get_by_role("button", name="Open a sample class").count() == 0:
        choose(page, "Class", "A new class")
        settled(page)
    page.get_by_role("button", name="Open a sample class").click()
    expect(page.get_by_text("An invented class")).to_be_visible(timeout=SLOW_MS)
    seen = set()
    for name in ("Marks", "Rubric", "Take away", "Students", "At the bench"):
        view(page, name)
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
            page.wait_for_timeout(300)
            ground = "getComputedStyle(document.querySelector('[data-testid=stApp]')).backgroundColor"
            seen.add((scheme, page.evaluate(ground)))
            faults[f"{name}, {scheme}"] = serious(page)
        wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        faults[name] = [f"{wide} px too wide"] if wide > 0 else []
    if size is DESK:  # class, assignment and name stand in a row
        names = re.compile("^(Class|Assignment|Your name)")
        row = page.locator("[data-testid=stWidgetLabel]", has_text=names)
        tops = row.evaluate_all("(all) => all.map((one) => one.getBoundingClientRect().top)")
        faults["row"] = [] if len(tops) == 3 and max(tops) - min(tops) < 2 else [str(tops)]
    context.close()
    assert len({ground for _, ground in seen}) == len(seen) == 2  # it was dark, and light
    assert {name: found for name, found in faults.items() if found} == {}
