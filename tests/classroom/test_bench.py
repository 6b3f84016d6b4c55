"""The bench: photos looked at, named, measured, graded and settled, and nothing lost when a program ends."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from cutcheck.access import guard_with
from cutcheck.classroom.bench import Bench, bench_folder, tidy_benches
from cutcheck.classroom.gradebook import Gradebook
from cutcheck.classroom.gradebook_entries import Assignment
from cutcheck.classroom.roster import read_roster
from cutcheck.classroom.rubric import usual_rubric
from cutcheck.errors import CutcheckError

WHO = "B. Example"


@pytest.fixture
def work(own_journal: Path, class_folder: Path) -> Assignment:
    """An assignment of the invented class, in a gradebook of its own."""
    with Gradebook.open() as book:
        course = book.add_class("Invented", "2026-09-01", "2026-12-18")
        book.add_roster(course.id, read_roster(class_folder.parent / "roster.csv"))
        return book.add_assignment(
            course.id, "Dice", cut="medium-dice", standard="inch", rubric=usual_rubric(), day="2026-10-05"
        )


def marks(work: Assignment) -> dict[str, float]:
    """The marks by name."""
    with Gradebook.open() as book:
        found = book.overview(work.class_id)
    names = {one.student.id: one.student.name for one in found.members}
    return {names[mark.student_id]: mark.given for mark in found.marks.values()}


def test_what_is_plain_is_graded_and_the_rest_is_settled_by_hand(
    own_journal: Path, work: Assignment, class_folder: Path
) -> None:
    """Two trays of one number and one of number 0 wait for a person; a file that is no photo is to be taken
    again; a tray moved to another student takes its mark along, and the log keeps both."""
    bench = Bench(own_journal, work)
    given = {}
    for name in ("ada.jpg", "ben.jpg", "ben-again.jpg", "who.jpg", "broken.jpg"):
        given[name], new = bench.give(name, (class_folder / name).read_bytes(), WHO)
        assert new
    assert not bench.give("again.jpg", (class_folder / "ada.jpg").read_bytes(), WHO)[1]
    assert [one.state for one in bench.photos()][-1] == "again"
    bench.wait()
    assert not bench.busy
    naming = bench.naming()
    assert [one.why for one in naming.unsettled] == ["taken", "taken", "nobodys"]
    assert [one.name for one in naming.missing] == ["Cy Example", "Dot Example"]
    first = set(marks(work))
    assert "=SUM(1;1)" in first
    assert "Dot Example" not in first
    bench.settle(given["ben.jpg"].sha256, None, WHO)
    bench.settle(given["who.jpg"].sha256, 4, WHO)
    assert set(marks(work)) == {"=SUM(1;1)", "Ben Example", "Dot Example"}
    was = marks(work)["Dot Example"]
    bench.settle(given["who.jpg"].sha256, 3, WHO)
    assert marks(work).get("Cy Example") == pytest.approx(was)
    assert "Dot Example" not in marks(work)
    bench.settle(given["ben-again.jpg"].sha256, None, WHO)
    bench.settle(given["ben.jpg"].sha256, 2, WHO)
    assert bench.naming().unsettled == ()
    with Gradebook.open() as book:
        told = [(line.what, line.student) for line in book.log(work.class_id)]
        mine = book.overview(work.class_id).marks.values()
        assert all(book.photo(mark.id) is not None for mark in mine)
    assert "graded tray taken back" in [what for what, _ in told]
    # graded photos lie in the gradebook only
    left = {path.stem for path in bench_folder(own_journal).rglob("*.photo")}
    assert left == {given["broken.jpg"].sha256, given["ben-again.jpg"].sha256}


def test_a_program_that_ended_goes_on_where_it_was(
    own_journal: Path, work: Assignment, class_folder: Path
) -> None:
    """A photo that waited when the program ended is measured by the next one, once."""
    before = Bench(own_journal, work, idle=True)
    before.go_on = lambda: None  # type: ignore[method-assign]
    before.give("ada.jpg", (class_folder / "ada.jpg").read_bytes(), WHO)
    assert marks(work) == {}
    after = Bench(own_journal, work)
    after.wait()
    assert list(marks(work)) == ["=SUM(1;1)"]
    again = Bench(own_journal, work)
    again.wait()
    with Gradebook.open() as book:
        assert [(line.what, line.why) for line in book.log(work.class_id)] == [("graded", "")]


def test_what_is_past_its_time_leaves_the_bench(
    own_journal: Path, work: Assignment, class_folder: Path
) -> None:
    """Photos older than graded work may be, those of a removed person, and benches of a removed class go."""
    bench = Bench(own_journal, work)
    bench.give("ada.jpg", (class_folder / "ada.jpg").read_bytes(), WHO)
    bench.give("broken.jpg", b"no photo", WHO)
    bench.wait()
    now = datetime.now(UTC)
    with Gradebook.open() as book:
        tidy_benches(book, own_journal, now, 30.0)
        assert len(Bench(own_journal, work).photos()) == 2
        book.remove_student(book.members(work.class_id)[0].student.id, WHO)
        tidy_benches(book, own_journal, now, 30.0)
        assert [one.name for one in Bench(own_journal, work).photos()] == ["broken.jpg"]
        tidy_benches(book, own_journal, now + timedelta(days=31), 30.0)
        assert Bench(own_journal, work).photos() == ()
        book.remove_class(work.class_id, WHO)
        tidy_benches(book, own_journal, now, 30.0)
    assert list(bench_folder(own_journal).iterdir()) == []


def test_a_visitor_from_the_network_reaches_no_bench_and_work_begun_here_is_ended(
    own_journal: Path, work: Assignment, class_folder: Path
) -> None:
    """Who is not at the computer opens no bench and gives no photo; what was begun there is still kept."""
    bench = Bench(own_journal, work, idle=True)
    bench.give("ada.jpg", (class_folder / "ada.jpg").read_bytes(), WHO)

    def refuse(what: str) -> None:
        raise CutcheckError("not-here", what=what)

    guard_with(refuse)
    try:
        with pytest.raises(CutcheckError, match="Journals and classes"):
            Bench(own_journal, work)
        with pytest.raises(CutcheckError, match="Journals and classes"):
            bench.give("cy.jpg", (class_folder / "cy.jpg").read_bytes(), WHO)
        bench.wait()
    finally:
        guard_with(None)
    assert list(marks(work)) == ["=SUM(1;1)"]
