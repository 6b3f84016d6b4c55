"""Names from strangers in a real browser: whatever is in them is shown as it is, and nothing of it is run.

The tricks are those of HTML, and of Markdown as the page's framework reads it: links, emphasis, formulas,
emoji, colours and bare addresses (CommonMark 0.31; GitHub Flavored Markdown, "Autolinks"; Streamlit's
documentation of ``st.markdown``).
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect
from served import served
from test_page_browser import DESK, SLOW_MS, browser, choose, give, kept_here, settled
from test_page_class_browser import view

from cutcheck.classroom.bench import Bench
from cutcheck.classroom.gradebook import Gradebook
from cutcheck.classroom.roster import Roster, Student
from cutcheck.classroom.rubric import HandLine, Rubric
from cutcheck.journal import Journal
from cutcheck.pipeline import check
from cutcheck.settings import Settings

__all__ = ["browser"]  # the fixture that opens the page

NAMES = (
    "<img src=x onerror=pwned=1>",
    "<script>pwned=1</script>",
    "**bold** _it_ ~~gone~~ `code`",
    "[go](javascript:pwned=1)",
    "![p](http://evil.example/p.png)",
    r"$\frac{1}{2}$ $x^2$",
    ":smile: :red[x] :material/home:",
    "http://evil.example www.evil.example me@evil.example",
    "&lt;b&gt; &amp; '\" \\",
    "# head",
    "../../etc/passwd",
)
# What would be on the page if one of the names were read as more than text.
MADE = """() => [
    ...document.querySelectorAll("img[src='x'], [onerror], a[href*='evil'], a[href^='javascript'], .katex"),
    ...document.querySelectorAll("img[src*='evil'], del, main h1 ~ h1"),
    ...[...document.querySelectorAll("script")].filter(one => one.textContent.includes("pwned")),
    ...[...document.querySelectorAll("strong, b, em, code, a")].filter(
        one => ["bold", "it", "code", "go"].includes(one.textContent.trim())),
    ...[...document.querySelectorAll("span")].filter(one => one.textContent === "x" && one.style.color),
    ...[...document.querySelectorAll("[translate=no]")].filter(one => one.textContent === "home"),
    ...(document.body.innerText.includes("\\u{1F604}") ? [document.body] : []),
    ...(window.pwned === undefined ? [] : [document.body]),
].map(one => one.outerHTML.slice(0, 200))"""


def seed(journal: Path, photo: Path) -> None:
    """A journal with a tray of each name, and a class in which everything that can have a name has one."""
    tray = check(photo, "medium-dice", standard="inch", settings=Settings())
    copies = [
        replace(tray, photo=replace(tray.photo, sha256=f"{k:064x}", file=f"{name}.jpg"))
        for k, name in enumerate(NAMES)
    ]
    book = Journal.open(journal)
    for name, copy in zip(NAMES, copies, strict=True):
        book.keep(copy, book.add_cook(name))
    lines = tuple(HandLine(name, 2.0, about=name) for name in NAMES)
    rubric = Rubric(name=NAMES[2], sample_note=NAMES[3], hand_lines=lines)
    with Gradebook.open(journal) as grades:
        course = grades.add_class(f"{NAMES[3]} {NAMES[0]}", "2026-09-01", "2026-12-18")
        roster = Roster(tuple(Student(name, k) for k, name in enumerate(NAMES, 1)))
        members = grades.add_roster(course.id, roster)
        work = grades.add_assignment(
            course.id, f"{NAMES[2]} {NAMES[5]}", cut="medium-dice", standard="inch", rubric=rubric,
            day="2026-10-05",
        )  # fmt: skip
        for member, copy, name in zip(members, copies, NAMES, strict=True):
            grades.keep(work.id, member.student.id, copy, who=name, excluded={1: name})
    bench = Bench(journal, work)
    for name in NAMES[:6]:
        bench.give(f"{name.replace('/', '|')}.jpg", b"no photo" + name.encode(), name)
    bench.wait()


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory, class_folder: Path) -> Iterator[str]:
    """The page, served to this computer with that journal; its address."""
    folder = tmp_path_factory.mktemp("names")
    seed(folder / "journal.sqlite", class_folder / "ada.jpg")
    with served(folder) as running:
        yield f"http://localhost:{running.port}"


@pytest.fixture
def page(browser: Browser, site: str) -> Iterator[Page]:
    """A page at desk size; what it asks of other computers fails the test."""
    context = browser.new_context(viewport={"width": DESK[0], "height": DESK[1]})
    outside = kept_here(context)
    page = context.new_page()
    yield page
    context.close()
    assert outside == []


def look_at(page: Page) -> str:
    """The page's text, once all of it is there and unfolded; nothing was made of the names."""
    settled(page)
    page.wait_for_timeout(300)
    page.evaluate("document.querySelectorAll('details:not([open]) > summary').forEach(one => one.click())")
    page.wait_for_timeout(300)
    assert page.evaluate(MADE) == []
    return page.locator("body").inner_text().replace("\u2060", "")  # which is not seen


def open_place(page: Page, site: str, path: str) -> None:
    """Open a place and wait until it is there."""
    page.goto(f"{site}/{path}")
    expect(page.locator(".cc-caution")).to_be_visible(timeout=SLOW_MS)
    settled(page)


def missing(text: str, names: tuple[str, ...] = NAMES) -> list[str]:
    """The names that do not stand in a text as they are."""
    return [name for name in names if name not in text]


def test_a_class_shows_names_as_they_are(page: Page, site: str) -> None:
    """Students, assignments, rubrics, lines, reasons, who did what, and photos at the bench."""
    open_place(page, site, "class")
    for name in ("Students", "Marks", "Take away"):
        view(page, name)
        assert missing(look_at(page)) == [], name
    view(page, "Rubric")
    assert missing(look_at(page), NAMES[2:4]) == []
    view(page, "At the bench")
    shown = look_at(page)
    assert missing(shown) == []
    view(page, "Marks")
    for name in NAMES:
        choose(page, "Whose tray", name)
        expect(page.locator("h3.cc-whose")).to_have_text(name, timeout=SLOW_MS)
        shown = look_at(page)
        assert f"Piece 1: {name}" in shown
        assert missing(shown) == []  # the lines that a person marks


def test_my_progress_shows_names_as_they_are(page: Page, site: str) -> None:
    """Each cook can be chosen, and reads as the name was typed."""
    open_place(page, site, "progress")
    for name in NAMES:
        choose(page, "Who?", name)
        settled(page)
        look_at(page)
        expect(page.get_by_role("combobox", name="Who?")).to_have_value(
            re.compile(f"{re.escape(name)}(#[0-9]+)? .1 tray.")
        )


def test_a_tray_shows_names_as_they_are(page: Page, site: str, class_folder: Path, tmp_path: Path) -> None:
    """The photo's file, the reason why a piece is left out, and the cook who keeps the tray."""
    for k, name in enumerate((NAMES[0], NAMES[3], r"**bold** $x^2$ :smile: :red[x] http://evil.example")):
        photo = tmp_path / f"{name.replace('/', '|')}.jpg"
        shutil.copy(class_folder / "ben.jpg", photo)
        with photo.open("ab") as file:
            file.write(bytes(k + 1))  # behind its end: another photo to the journal
        open_place(page, site, "")
        give(page, photo)
        expect(page.get_by_text("6 pieces").first).to_be_visible(timeout=SLOW_MS)
        settled(page)
        expect(page.get_by_role("combobox", name="Which cut")).to_have_count(1)
        choose(page, "Which cut", "Medium dice")
        settled(page)
        expect(page.locator(".cc-figure")).to_be_visible(timeout=SLOW_MS)
        page.get_by_text("Leave a piece out of the mark").click()
        page.get_by_role("combobox", name="Why").click()
        page.keyboard.type(name)
        page.keyboard.press("Enter")
        settled(page)
        page.get_by_role("button", name="Leave it out").click()
        expect(page.get_by_role("button", name="Take back")).to_be_visible(timeout=SLOW_MS)
        settled(page)
        page.get_by_role("combobox", name="Keep this tray").click()
        page.keyboard.type(name)
        page.get_by_role("option").first.click()
        page.get_by_role("button", name="Keep", exact=True).click()
        expect(page.get_by_text("Kept as check")).to_be_visible(timeout=SLOW_MS)
        shown = look_at(page)
        assert f"of {name}#" in shown or f"of {name}:" in shown, shown
        assert f"({name})" in shown
