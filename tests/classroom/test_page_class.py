"""'My class' by Streamlit's test client: empty, with the sample, and with a class of one's own."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest
from test_page import html_of, place

from cutcheck.access import guard_with
from cutcheck.classroom.bench import Bench
from cutcheck.classroom.blind import blind_name
from cutcheck.classroom.gradebook import Gradebook
from cutcheck.classroom.gradebook_entries import Mark, Overview
from cutcheck.classroom.roster import Roster, Student
from cutcheck.classroom.rubric import usual_rubric
from cutcheck.errors import CutcheckError
from cutcheck.page import keys
from cutcheck.page.classroom import bench_view
from cutcheck.pipeline import check
from cutcheck.settings import Settings

HOSTILE = "<img src=x onerror=alert(1)> **Bo**"


@pytest.fixture(autouse=True)
def cold(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is looked at beforehand: the tests have no use for it."""
    monkeypatch.setattr(bench_view, "warm", lambda: None)


def press(page: AppTest, label: str) -> AppTest:
    """Press a button by what is on it."""
    next(button for button in page.button if button.label == label).click().run()
    assert not page.exception
    return page


def view(page: AppTest, name: str) -> AppTest:
    """Turn to one of the things that are done with a class."""
    page.segmented_control(key=keys.CLASS_VIEW).set_value(name).run()
    assert not page.exception
    return page


def sample() -> AppTest:
    """The place with the sample class open."""
    return press(place("my_class"), "Open a sample class")


def of_sample(page: AppTest) -> tuple[Overview, list[Mark]]:
    """The sample's class, and the marks of the assignment that is open."""
    with Gradebook.open(page.session_state[keys.CLASS_SAMPLE].journal) as book:
        found = book.overview(book.classes()[0].id)
    work = page.session_state[keys.CLASS_WORK]
    return found, [mark for mark in found.marks.values() if mark.assignment_id == work]


def own_class(*names: str, blind: bool = False) -> int:
    """A class of one's own with an assignment; its id."""
    with Gradebook.open() as book:
        course = book.add_class("Cuts, invented", "2026-09-01", "2026-12-18")
        book.add_roster(course.id, Roster(tuple(Student(name, k) for k, name in enumerate(names, 1))))
        book.add_assignment(
            course.id, "Dice", cut="medium-dice", standard="inch", rubric=usual_rubric(), day="2026-10-05",
            blind=blind,
        )  # fmt: skip
        return course.id


def test_an_empty_place_tells_what_a_class_is_for_and_keeps_nothing(own_journal: Path) -> None:
    """The first visit offers a sample and a form; neither looking nor the sample writes into the journal."""
    page = place("my_class")
    assert "numbered card" in html_of(page)
    press(page, "Make the class")
    assert "The class has no name yet." in html_of(page)
    press(page, "Open a sample class")
    assert "invented" in html_of(page)
    assert "Ada Example" in html_of(page)
    press(page, "Close the sample")
    assert "Ada Example" not in html_of(page)
    assert not own_journal.exists()


def test_a_class_is_made_from_a_list_whole_or_not_at_all(own_journal: Path) -> None:
    """A list with a wrong line makes no class and names the line; mended, it makes one with its students."""
    page = place("my_class")
    page.text_input(key=f"{keys.CLASS_FORM}_name").set_value("Cuts, invented")
    page.text_input(key=f"{keys.CLASS_FORM}_who").set_value("B. Example")
    page.file_uploader(key=keys.CLASS_ROSTER).set_value(
        ("list.csv", b"name,number\nAda,1\nBen,1\n", "text/csv")
    )
    press(page, "Make the class")
    assert "line 3" in html_of(page)
    assert not own_journal.exists() or not Gradebook.open().classes()
    page.file_uploader(key=keys.CLASS_ROSTER).set_value(
        ("list.csv", b"name;number\nAda;1\nBen;2\n", "text/csv")
    )
    press(page, "Make the class")
    assert "with 2 students" in html_of(page)
    assert "Ben" in html_of(page)
    view(page, "At the bench")
    page.text_input(key=f"{keys.WORK_FORM}_name").set_value("Dice")
    page.selectbox(key=f"{keys.WORK_FORM}_cut").set_value("small-dice")
    press(page, "Make the assignment")
    assert "2 missing" in html_of(page)
    book = Gradebook.open()
    made = book.assignments(book.classes()[0].id)[0]
    assert (made.cut, made.standard) == ("small-dice", "inch")


def test_a_mark_set_by_hand_needs_a_reason_and_keeps_the_first() -> None:
    """Without a reason nothing is set; with one, both marks are shown and the log has who and why."""
    page = sample()
    mark = page.session_state[keys.MARK_SHOWN]
    page.number_input(key=f"{keys.MARK_SET}_points-{mark}").set_value(72.0)
    press(page, "Set this mark")
    assert "The reason is missing." in html_of(page)
    page.text_input(key=f"{keys.MARK_SET}_why-{mark}").set_value("measured through a shadow")
    press(page, "Set this mark")
    shown = html_of(page)
    assert "first mark" in shown
    assert "B. Example: mark set by hand" in shown
    assert "measured through a shadow" in shown
    now = next(one for one in of_sample(page)[1] if one.id == mark)
    assert (now.given, now.set_by_hand) == (72.0, True)


def test_a_piece_is_excluded_with_a_reason_and_both_marks_are_shown() -> None:
    """The exclusion is counted, the mark with all pieces stands beside it, and it can be taken back."""
    page = sample()
    mark = page.session_state[keys.MARK_SHOWN]
    press(page, "Exclude it")
    assert "No reason yet." in html_of(page)
    page.selectbox(key=f"{keys.MARK_MORE}_reason-{mark}").set_value("torn or crushed").run()
    press(page, "Exclude it")
    assert "1 of 30 excluded" in html_of(page)
    assert "mark with all" in html_of(page)
    press(page, "Take back")
    assert "1 of 30 excluded" not in html_of(page)


def test_lines_marked_by_hand_count() -> None:
    """A line that waits for a person is said to; marked, the points change and nothing waits."""
    page = sample()
    mark = next(one for one in of_sample(page)[1] if one.not_marked)
    page.selectbox(key=keys.MARK_SHOWN).set_value(mark.id).run()
    page.number_input(key=f"{keys.MARK_MORE}-{mark.id}-hand-hygiene").set_value(4.0)
    press(page, "Take these")
    now = next(one for one in of_sample(page)[1] if one.id == mark.id)
    assert now.not_marked == ()
    assert now.given == pytest.approx(0.9 * mark.given + 4.0, abs=0.01)


def test_another_rubric_is_shown_before_it_is_taken() -> None:
    """The preview changes nothing and names who would fail; taken with a reason, it is as was shown."""
    page = view(sample(), "Rubric")
    before = {one.id: one.scale_text for one in of_sample(page)[1]}
    own = next(box.key for box in page.number_input if box.label == "Pass mark, of 100")
    page.number_input(key=own).set_value(95.0)
    press(page, "See what it changes")
    assert "no longer pass" in html_of(page)
    assert {one.id: one.scale_text for one in of_sample(page)[1]} == before
    assert {one.passed for one in of_sample(page)[1] if one.given > 60} == {True}
    press(page, "Take this rubric")
    assert "The reason is missing." in html_of(page)
    page.text_input(key=f"{keys.RUBRIC_TAKE}_why").set_value("agreed with the class")
    press(page, "Take this rubric")
    assert all(one.passed == (one.given >= 95.0) for one in of_sample(page)[1])
    text = next(box for box in page.text_area if "by hand" in box.label)
    text.set_value("hygiene")
    press(page, "See what it changes")
    assert "is no line to mark by hand" in html_of(page)


def test_while_grading_blind_no_name_is_shown(own_journal: Path, class_folder: Path) -> None:
    """Marks, pictures' labels and the log show trays without names, and nothing with names can be taken away,
    until the names are shown; the log says who showed them."""
    course = own_class("Ada Example", "Ben Example", "Cy Example", blind=True)
    with Gradebook.open() as book:
        work = book.assignments(course)[0]
    bench = Bench(own_journal, work)
    bench.give("ada.jpg", (class_folder / "ada.jpg").read_bytes(), "B. Example")
    bench.wait()
    page = place("my_class")
    view(page, "Marks")
    (mark,) = Gradebook.open().overview(course).marks.values()
    shown = html_of(page) + "".join(str(box.options) for box in page.selectbox)
    assert blind_name(mark.key) in shown
    assert "Ada" not in shown
    assert "Ben" not in shown
    view(page, "Take away")
    assert "Still graded blind" in html_of(page)
    view(page, "Marks")
    press(page, "Show the names")
    assert "Ada Example" in html_of(page)
    assert "B. Example: names shown" in html_of(page)


def test_names_with_markup_are_only_text(own_journal: Path, class_folder: Path) -> None:
    """A name that looks like HTML or Markdown is shown as it is, and nothing of it is run."""
    course = own_class(HOSTILE)
    with Gradebook.open() as book:
        work = book.assignments(course)[0]
    bench = Bench(own_journal, work)
    bench.give("<b>x</b>.jpg", (class_folder / "ada.jpg").read_bytes(), "<i>B</i>")
    bench.wait()
    page = place("my_class")
    for name in ("At the bench", "Marks", "Take away", "Students"):
        shown = html_of(view(page, name))
        assert "<img src=x" not in shown
        assert "<i>B" not in shown
        assert "<b>x" not in shown
        labels = [one.label for kind in (page.button, page.checkbox, page.number_input) for one in kind]
        assert not any("Bo" in label for label in labels)
    assert "&lt;img src=x onerror=alert(1)&gt; **Bo**" in html_of(view(page, "Marks"))


def test_work_past_its_time_goes_when_a_class_is_opened(
    own_journal: Path, own_settings: Path, class_folder: Path
) -> None:
    """Graded work older than the setting is removed when the class is opened, and that is said."""
    course = own_class("Ada Example")
    with Gradebook.open() as book:
        work = book.assignments(course)[0]
        old = Gradebook(book.engine, lambda: datetime(2020, 1, 1, tzinfo=UTC))
        tray = check(class_folder / "ada.jpg", "medium-dice", standard="inch", settings=Settings())
        old.keep(work.id, book.members(course)[0].student.id, tray, who="B. Example")
    page = place("my_class")
    assert "1 graded tray went past the time" in html_of(page)
    assert Gradebook.open().overview(course).marks == {}


def test_a_visitor_from_the_network_sees_no_class(own_journal: Path) -> None:
    """Who is not at the computer is told so, and sees no name."""
    own_class("Ada Example")

    def refuse(what: str) -> None:
        raise CutcheckError("not-here", what=what)

    guard_with(refuse)
    try:
        page = place("my_class")
        assert "Ada" not in html_of(page)
        assert "cc-fault" in html_of(page)
        assert not page.selectbox
    finally:
        guard_with(None)
