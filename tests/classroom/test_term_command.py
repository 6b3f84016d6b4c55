"""``cutcheck term``: a gradebook's class on the screen and on paper."""

from __future__ import annotations

import json
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
import terms

from cutcheck.classroom.class_term import overview_called, term_of
from cutcheck.classroom.gradebook import Gradebook
from cutcheck.classroom.rubric import usual_rubric
from cutcheck.cli import run


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    """An invented class of three with four assignments, the last one still graded blind."""
    random = np.random.default_rng(6)
    path = tmp_path / "journal.db"
    with Gradebook.open(path) as book:
        course = book.add_class("Cuts, autumn", "2026-09-01", "2026-12-18")
        people = [book.add_student(course.id, f"Invented {name}", k) for k, name in enumerate("ABC", 1)]
        for week in range(4):
            day = (date(2026, 9, 7) + timedelta(weeks=week)).isoformat()
            given = book.add_assignment(
                course.id,
                f"Dice {week}",
                cut="small-dice",
                rubric=usual_rubric(),
                day=day,
                blind=week == 3,
            )
            for one in people:
                tray = terms.tray_of_dice(random, 0.3 + 0.1 * week)
                book.keep(given.id, one.student.id, tray, who="Invented Instructor")
    return path


def test_the_term_is_the_gradebooks(journal: Path) -> None:
    """Marks are those that count, also where one was set by hand; blind ones are left out."""
    with Gradebook.open(journal) as book:
        before = overview_called(book, "cuts, AUTUMN")
        mark = before.marks[before.members[0].student.id, before.assignments[0].id]
        book.override(mark.id, 77.0, who="Invented Instructor", why="seen by eye")
        found = term_of(overview_called(book, "Cuts, autumn"))
    assert [len(one.marks) for one in found.students] == [3, 3, 3]
    first = found.students[0].marks[0]
    assert (first.low, first.mark, first.high) == (77.0, 77.0, 77.0)
    assert found.students[1].marks[0].low < found.students[1].marks[0].high
    assert found.hidden == ("Dice 3",)
    assert [one.cut for one in found.cuts] == ["small-dice"]


def test_the_command(journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Words, JSON and a PDF; two or three trays give no verdict on anybody."""
    out = tmp_path / "class.pdf"
    assert run(["term", "Cuts, autumn", "--journal", str(journal), "--pdf", str(out)]) == 0
    text = capsys.readouterr().out
    assert "Too few yet: of 3 students" in text
    assert "Improving" not in text
    assert "still graded blind: Dice 3" in text
    assert len(pypdfium2.PdfDocument(out.read_bytes())) == 4
    assert run(["term", "Cuts, autumn", "--journal", str(journal), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert [one["trays"] for one in found["students"]] == [3, 3, 3]


def test_an_unknown_class_is_told(journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A name that is no class: which there are."""
    assert run(["term", "Soups", "--journal", str(journal)]) == 2
    said = capsys.readouterr().err
    assert "no class 'Soups'" in said
    assert "'Cuts, autumn'" in said
