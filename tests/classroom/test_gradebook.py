"""The gradebook: whose card is whose, graded trays, the log that only grows, and how long work is kept."""

from __future__ import annotations

import sqlite3
import tempfile
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
import trays
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import event
from sqlalchemy.exc import DatabaseError, IntegrityError
from terms import tray_of_dice

from cutcheck import serialise
from cutcheck.classroom.grade import Weights, grade
from cutcheck.classroom.gradebook import Gradebook
from cutcheck.classroom.gradebook_entries import Assignment, Forgotten, Grading, Member
from cutcheck.classroom.gradebook_log import pseudonyms, without_name
from cutcheck.classroom.preview import preview
from cutcheck.classroom.roster import Roster, Student
from cutcheck.classroom.rubric import HandLine, Penalty, Rubric, usual_rubric
from cutcheck.classroom.scales import SchoolScale
from cutcheck.errors import CutcheckError
from cutcheck.journal import Journal
from cutcheck.journal.database import reading, writing
from cutcheck.photo_copy import PhotoCopy
from cutcheck.records import Result
from cutcheck.settings import Settings, changed, save_settings
from cutcheck.standard_file import new_standard

TEACHER = "B. Example"


class Clock:
    """A clock that is set by hand."""

    def __init__(self) -> None:
        self.now = datetime(2026, 3, 4, 10, 20, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now


class Course:
    """An invented class of two with one assignment."""

    def __init__(self, path: Path, rubric: Rubric | None = None) -> None:
        self.clock = Clock()
        self.path = path
        self.book = Gradebook.open(path, self.clock)
        self.id = self.book.add_class("Cuts, spring", "2026-01-12", "2026-06-26").id
        self.ada: Member = self.book.add_student(self.id, "Ada Example", 7)
        self.ben: Member = self.book.add_student(self.id, "Ben Sample", 8)
        self.dice: Assignment = self.book.add_assignment(
            self.id, "Dice", cut="small-dice", rubric=rubric or usual_rubric(), day="2026-03-04"
        )

    def keep(self, who: Member, result: Result, **more: object) -> Grading:
        """Grade and keep a tray."""
        return self.book.keep(self.dice.id, who.student.id, result, who=TEACHER, **more)  # type: ignore[arg-type]


@pytest.fixture
def course(tmp_path: Path) -> Course:
    """A fresh gradebook."""
    return Course(tmp_path / "journal.sqlite")


def dice(seed: int = 1, sd: float = 0.5, count: int = 30) -> Result:
    """A marked tray of invented dice."""
    return tray_of_dice(np.random.default_rng(seed), sd, count=count)


def test_a_graded_tray_comes_back_whole(course: Course) -> None:
    """Result with budgets, grade, hand marks, exclusions, weights and photo come back the same."""
    result = trays.tray(30)
    weights = Weights(500.0, 430.0, 60.0, 12.5, "")
    kept = course.keep(course.ada, result, weights=weights, photo=PhotoCopy("image/jpeg", b"not a real one"))
    again = Gradebook.open(course.path).grading(kept.id)
    assert serialise.to_dict(again.result, with_budget=True) == serialise.to_dict(result, with_budget=True)
    assert again.grade == grade(again.result, usual_rubric(), weights=weights, minutes=12.5)
    assert again.grade.points == pytest.approx(grade(result, usual_rubric()).points, abs=0.01)
    assert (again.extras, again.has_photo, again.student.name) == (weights, True, "Ada Example")
    assert course.book.photo(kept.id) == PhotoCopy("image/jpeg", b"not a real one")


def test_a_whole_roster_is_taken_or_none_of_it(course: Course) -> None:
    """Where one number of a roster is another's already, nobody of it is added."""
    new = Roster((Student("Cara Instance", 9), Student("Dan Specimen", 8)), ())
    with pytest.raises(CutcheckError, match="Card 8 is Ben Sample's"):
        course.book.add_roster(course.id, new)
    assert [one.number for one in course.book.members(course.id)] == [7, 8]
    course.book.add_roster(course.id, Roster((Student("Cara Instance", 9), Student("Dan Specimen", 10)), ()))
    assert [one.number for one in course.book.members(course.id)] == [7, 8, 9, 10]


def test_a_number_is_one_persons_on_a_day_and_comes_back_later(course: Course) -> None:
    """Overlapping days are refused by name; the day after the last one the card is free again."""
    with pytest.raises(CutcheckError, match="Card 7 is Ada Example's from 2026-01-12 to 2026-06-26"):
        course.book.add_student(course.id, "Cara Instance", 7, begins="2026-06-26")
    course.book.end_number(course.ada.id, "2026-03-10")
    cara = course.book.add_student(course.id, "Cara Instance", 7, begins="2026-03-11")
    for day, member in (("2026-03-10", course.ada), ("2026-03-11", cara)):
        found = course.book.whose(course.id, 7, day)
        assert found is not None
        assert found.student == member.student
    next_term = course.book.add_class("Cuts, autumn", "2026-09-01", "2026-12-18").id
    back = course.book.add_student(next_term, "", 7, student=course.ben.student)
    assert back.student == course.ben.student
    assert course.book.whose(next_term, 7, "2026-03-04") is None
    assert [one.name for one in course.book.roster(course.id, "2026-03-11").students] == [
        "Cara Instance",
        "Ben Sample",
    ]


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.integers(1, 2), st.integers(0, 27), st.integers(0, 12)), min_size=1, max_size=8))
def test_no_two_have_a_number_on_one_day(bindings: list[tuple[int, int, int]]) -> None:
    """Whatever is asked for, each number is one person's at most on every day; refusals change nothing."""
    with tempfile.TemporaryDirectory() as folder, Gradebook.open(Path(folder) / "j.sqlite") as book:
        course = book.add_class("Any", "2026-01-01", "2026-02-15").id
        taken: set[tuple[int, int]] = set()
        for k, (number, first, length) in enumerate(bindings):
            days = {(number, day) for day in range(first, first + length + 1)}
            begins, ends = (
                f"{datetime(2026, 1, 1) + timedelta(days=d):%Y-%m-%d}" for d in (first, first + length)
            )
            try:
                book.add_student(course, f"Student {k}", number, begins=begins, ends=ends)
                assert not taken & days
                taken |= days
            except CutcheckError:
                assert taken & days


@pytest.mark.parametrize("number", [0, -1, 125])
def test_a_card_that_no_student_can_have_is_refused(course: Course, number: int) -> None:
    """Card 0 is nobody's and the last card is 124."""
    with pytest.raises(CutcheckError, match="Give 1 to 124"):
        course.book.add_student(course.id, "Cara Instance", number)


def test_another_mark_needs_a_reason_and_keeps_the_first(course: Course) -> None:
    """The first mark stays beside the one set by hand; taken back, the first one counts again."""
    kept = course.keep(course.ada, dice())
    with pytest.raises(CutcheckError, match="The reason is missing"):
        course.book.override(kept.id, 90.0, who=TEACHER, why="  ")
    mark = course.book.override(kept.id, 90.0, who=TEACHER, why="a shadow over half the tray")
    assert (mark.points, mark.given, mark.set_by_hand) == (kept.grade.points, 90.0, True)
    assert mark.scale_text == "90 %"
    line = course.book.log(course.id)[-1]
    assert (line.who, line.what, line.before, line.after) == (
        TEACHER,
        "mark set by hand",
        kept.grade.points,
        90.0,
    )
    assert line.why == "a shadow over half the tray"
    assert line.written.startswith("2026-03-04T10:20")
    back = course.book.override(kept.id, None, who=TEACHER, why="looked again")
    assert (back.given, back.set_by_hand) == (kept.grade.points, False)


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE grade_log SET why = 'nothing happened'",
        "DELETE FROM grade_log",
        "INSERT OR REPLACE INTO grade_log (id, written, who, what, why) VALUES (1, '', '', '', '')",
    ],
)
def test_the_log_only_grows(course: Course, statement: str) -> None:
    """The database itself refuses to change, remove or replace a line, whoever asks, and loses nothing."""
    course.keep(course.ada, dice())
    before = course.book.log()
    with pytest.raises((DatabaseError, IntegrityError), match="only grows"), writing(course.book.engine) as c:
        c.exec_driver_sql(statement)
    with sqlite3.connect(course.path) as connection, pytest.raises(sqlite3.Error, match="only grows"):
        connection.execute(statement)
    assert course.book.log() == before


def test_who_is_removed_stays_in_the_log_as_a_pseudonym(course: Course, tmp_path: Path) -> None:
    """Not a trace of the name is left in the file, not even in the reasons; the lines are all there."""
    kept = course.keep(course.ada, dice(), photo=PhotoCopy("image/jpeg", b"a picture of her tray"))
    course.book.override(kept.id, 70.0, who=TEACHER, why="Ada had cut herself; ADA EXAMPLE may do it again")
    before = len(course.book.log())
    course.book.remove_student(course.ada.student.id, TEACHER)
    called = f"Student {course.ada.student.key[:4]}"
    about = [line for line in course.book.log() if line.student]
    assert {line.student for line in about} == {called}
    assert len(course.book.log()) == before + 1
    assert about[1].why == f"{called} had cut herself; {called} may do it again"
    data = course.path.read_bytes()
    assert b"Ada" not in data
    assert b"ADA" not in data
    assert b"a picture of her tray" not in data
    assert b"Ben Sample" in data
    assert course.book.overview(course.id).marks == {}


def test_pseudonyms_tell_people_apart() -> None:
    """Two keys that begin alike get more letters, so that no two persons are called the same."""
    assert pseudonyms(["7f3a11", "7f3a12", "0000ff"]) == {
        "7f3a11": "Student 7f3a11",
        "7f3a12": "Student 7f3a12",
        "0000ff": "Student 0000ff",
    }
    assert pseudonyms(["7f3a11"]) == {"7f3a11": "Student 7f3a"}
    assert without_name("the mark of Mark Q.", "Mark Q", "X") == "the mark of X."


def test_graded_work_goes_after_its_time_and_the_log_stays(course: Course) -> None:
    """A day before nothing goes; a day after gradings and photos are gone, the log has a pseudonym."""
    old = course.keep(course.ada, dice(1), photo=PhotoCopy("image/jpeg", b"old photo"))
    course.clock.now += timedelta(days=100)
    new = course.keep(course.ben, dice(2), photo=PhotoCopy("image/jpeg", b"new photo"))
    begun = datetime(2026, 3, 4, 10, 20, tzinfo=UTC)
    assert course.book.forget_old(begun + timedelta(days=364)).gradings == 0
    course.clock.now = begun + timedelta(days=366)
    assert course.book.forget_old() == Forgotten(gradings=1, photos=1)
    lines = course.book.log(course.id)
    with pytest.raises(CutcheckError, match="not in the gradebook"):
        course.book.grading(old.id)
    assert course.book.photo(old.id) is None
    assert course.book.photo(new.id) is not None
    about = [line for line in lines if line.grading_key == old.key]
    assert {line.student for line in about} == {f"Student {course.ada.student.key[:4]}"}
    assert about[-1].what == "work past its time removed"
    assert b"old photo" not in course.path.read_bytes()


def test_how_long_graded_work_is_kept_is_a_setting(course: Course) -> None:
    """With 30 days it goes after 31; what can't be a number of days is refused."""
    save_settings(changed(Settings(), "graded_days", "30"))
    course.keep(course.ada, dice(1))
    course.clock.now += timedelta(days=29)
    assert course.book.forget_old().gradings == 0
    course.clock.now += timedelta(days=2)
    assert course.book.forget_old().gradings == 1
    with pytest.raises(CutcheckError, match="Give a number from 1 to 36500"):
        changed(Settings(), "graded_days", "0")


def test_a_clock_that_jumps_back_removes_nothing_too_early(course: Course) -> None:
    """Work graded while the clock stood in 2001 is as old as the work before it, not 25 years old."""
    course.keep(course.ada, dice(1))
    right, course.clock.now = course.clock.now, datetime(2001, 1, 1, tzinfo=UTC)
    course.keep(course.ben, dice(2))
    assert course.book.forget_old().gradings == 0
    course.clock.now = right + timedelta(days=30)
    assert course.book.forget_old().gradings == 0
    assert len(course.book.overview(course.id).marks) == 2
    written = [line.written for line in course.book.log()]
    assert written == sorted(written)
    assert course.book.forget_old(right + timedelta(days=366)).gradings == 2


def test_a_second_tray_needs_a_reason_and_the_log_keeps_the_first_mark(course: Course) -> None:
    """Without a reason nothing changes; with one the new tray counts and the first mark is in the log."""
    first = course.keep(course.ada, dice(1))
    with pytest.raises(CutcheckError, match="Ada Example has a mark for this already"):
        course.keep(course.ada, dice(2))
    second = course.keep(course.ada, dice(2), why="the first tray fell")
    assert second.id == first.id
    assert second.sha256 != first.sha256
    line = second.log[-1]
    assert (line.before, line.after) == (first.grade.points, second.grade.points)


def test_one_photo_is_not_two_students_tray(course: Course) -> None:
    """The same photo for another student is refused and nothing kept."""
    course.keep(course.ada, dice(1))
    with pytest.raises(CutcheckError, match="another student's tray"):
        course.keep(course.ben, dice(1))
    assert len(course.book.overview(course.id).marks) == 1


def test_pieces_are_excluded_with_a_reason_and_both_marks_are_kept(course: Course) -> None:
    """Leaving out pieces changes the mark, keeps the one with all of them, and is logged."""
    kept = course.keep(course.ada, dice(1, sd=0.9))
    worst = sorted(kept.result.pieces, key=lambda piece: piece.conformity or 0.0)[:3]
    out = {piece.number: "crushed by the lid" for piece in worst}
    with pytest.raises(CutcheckError, match="without a reason"):
        course.book.grade_again(kept.id, who=TEACHER, why="lid", excluded=dict.fromkeys(out, ""))
    again = course.book.grade_again(kept.id, who=TEACHER, why="the lid fell on it", excluded=out)
    assert again.grade.points > kept.grade.points
    assert again.grade.points_all == kept.grade.points
    assert again.grade.excluded_text == "3 of 30 excluded"
    mark = course.book.overview(course.id).marks[course.ada.student.id, course.dice.id]
    assert (mark.excluded, mark.points_all) == (3, kept.grade.points)
    assert [line.what for line in again.log] == ["graded", "graded again"]


def test_a_preview_is_what_the_change_then_does(course: Course) -> None:
    """The preview changes nothing, and tells the very marks that taking the rubric gives; set marks stay."""
    kept = course.keep(course.ada, dice(1, sd=1.1))
    other = course.keep(course.ben, dice(2, sd=0.3))
    course.book.override(other.id, 55.0, who=TEACHER, why="late")
    strict = Rubric(
        name="Strict",
        fewest_pieces=40,
        few=Penalty(40, 1, 20),
        pass_mark=kept.grade.points - 5.0,
        scale=SchoolScale("points"),
    )
    course.book.change_rubric(
        course.dice.id, replace(usual_rubric(), pass_mark=kept.grade.points - 5.0), TEACHER, "first"
    )
    before = course.book.overview(course.id)
    told = preview(course.book, course.dice.id, strict)
    assert course.book.overview(course.id) == before
    assert course.book.change_rubric(course.dice.id, strict, TEACHER, "agreed in the meeting") == 2
    after = course.book.overview(course.id).marks
    for change in told.changes:
        mark = after[change.student_id, course.dice.id]
        assert (mark.given, mark.scale_text, mark.passed) == (
            change.after,
            change.after_text,
            change.passed_after,
        )
    assert after[course.ben.student.id, course.dice.id].given == 55.0
    assert course.ada.student.id in {change.student_id for change in told.crossing}
    assert told.text == "1 of 2 marks change, by -10.0 to -10.0; 1 no longer passes."


def test_a_hand_mark_comes_back_with_its_line(course: Course) -> None:
    """A rubric without the line leaves its mark out of the sum, and does not lose it."""
    with_line = replace(usual_rubric(), hand_lines=(HandLine("hygiene", 10.0),))
    course.book.change_rubric(course.dice.id, with_line, TEACHER, "new")
    kept = course.keep(course.ada, dice(), hand_marks={"hygiene": 4.0})
    course.book.change_rubric(course.dice.id, usual_rubric(), TEACHER, "without")
    assert course.book.grading(kept.id).grade.points != kept.grade.points
    course.book.change_rubric(course.dice.id, with_line, TEACHER, "with again")
    assert course.book.grading(kept.id).grade == kept.grade


def test_a_standard_of_the_schools_own_is_kept_as_it_was(course: Course, tmp_path: Path) -> None:
    """Trays are marked by the sizes of the day even when the file is changed or gone."""
    file = tmp_path / "ours.toml"
    file.write_text(new_standard("ours", "inch"), encoding="utf-8")
    own = course.book.add_assignment(
        course.id,
        "Own",
        cut="small-dice",
        standard=str(file),
        rubric=replace(usual_rubric(), few=Penalty(0, 1, 5)),
        day="2026-03-05",
    )
    kept = course.book.keep(own.id, course.ada.student.id, dice(), who=TEACHER)
    file.unlink()
    out = {1: "no dice"}
    assert course.book.grade_again(kept.id, who=TEACHER, why="1", excluded=out).grade.counted == 29


def test_grading_does_not_touch_practice(course: Course) -> None:
    """A graded tray is in no cook's journal, and a practised one in no gradebook."""
    course.keep(course.ada, dice(1))
    journal = Journal.open(course.path)
    assert journal.entries() == ()
    assert journal.cooks() == ()
    journal.keep(dice(3), journal.add_cook("Ada Example"))
    assert len(course.book.overview(course.id).marks) == 1


def test_an_overview_takes_few_queries_however_many_trays(course: Course) -> None:
    """Four queries for one tray and for many."""

    def queries() -> int:
        seen: list[str] = []
        hear = lambda *args: seen.append(args[2])  # noqa: E731
        event.listen(course.book.engine, "before_cursor_execute", hear)
        course.book.overview(course.id)
        event.remove(course.book.engine, "before_cursor_execute", hear)
        return sum(text.lstrip().upper().startswith("SELECT") for text in seen)

    course.keep(course.ada, dice(1))
    one = queries()
    course.keep(course.ben, dice(2))
    assert one == queries() == 4


def test_blind_grading_ends_once_and_the_log_says_when(course: Course) -> None:
    """Names are shown from then on; asking twice writes one line."""
    blind = course.book.add_assignment(
        course.id, "Sticks", cut="batonnet", rubric=usual_rubric(), day="2026-03-05", blind=True
    )
    assert blind.blind
    course.book.reveal(blind.id, TEACHER)
    course.book.reveal(blind.id, TEACHER)
    assert not course.book.assignments(course.id)[-1].blind
    assert [line.what for line in course.book.log(course.id)] == ["names shown"]


def test_the_most_doubtful_marks_are_looked_at_first(course: Course) -> None:
    """Second looks are those whose interval holds the pass mark; one that was set by hand is done."""
    kept = course.keep(course.ada, dice(1, sd=0.9))
    far = course.keep(course.ben, dice(2, sd=0.1))
    course.book.change_rubric(
        course.dice.id, replace(usual_rubric(), pass_mark=kept.grade.points - 1.0), TEACHER, "borderline"
    )
    looks = course.book.overview(course.id).second_looks
    assert [mark.id for mark in looks] == [kept.id]
    assert far.id not in [mark.id for mark in looks]
    course.book.override(kept.id, 80.0, who=TEACHER, why="looked at it")
    assert course.book.overview(course.id).second_looks == ()


def test_the_logs_guards_are_in_the_file(course: Course) -> None:
    """All three are there after the tables were made, for whatever program opens the file."""
    with reading(course.book.engine) as connection:
        names = set(
            connection.exec_driver_sql("SELECT name FROM sqlite_master WHERE type = 'trigger'").scalars()
        )
    assert names == {"grade_log_not_changed", "grade_log_not_removed", "grade_log_not_replaced"}
