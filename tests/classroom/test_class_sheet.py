"""The pages of a class's term: what is on them, told from the PDF as another library reads it."""

from __future__ import annotations

import numpy as np
import pypdfium2
import pytest
from test_class_term import invented

from cutcheck.classroom import class_words
from cutcheck.classroom.class_sheet import class_pdf
from cutcheck.classroom.class_term import ClassTerm, TermMark, class_term


def pages(pdf: bytes) -> list[str]:
    return [page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(pdf)]


@pytest.fixture(scope="module")
def term() -> ClassTerm:
    """An invented class: one rises, one is behind, one cut is weak."""
    return invented(2, rise=2.5, low=22.0, weak=8.0)


def test_a_page_for_the_class_and_one_for_each_student(term: ClassTerm) -> None:
    """31 pages: the overview names all, a student's page nobody else."""
    found = pages(class_pdf(term))
    assert len(found) == 31
    assert all(f"Student {k}" in found[0] for k in range(30))
    assert "Improving: Student 0." in found[0]
    assert "Look at: Student 1 (" in found[0]
    assert "Weakest cut: Julienne" in found[0]
    for k, text in enumerate(found[1:]):
        named = [j for j in range(30) if f"Student {j}\r" in text or f"Student {j} " in text]
        assert named == [k]
        assert "Circles: the marks" in text


def test_only_some_students(term: ClassTerm) -> None:
    """Pages can be made for single students."""
    assert len(pages(class_pdf(term, students=["s3"], paper="letter"))) == 2


def test_nothing_is_told_by_colour_and_all_lies_on_the_paper(term: ClassTerm) -> None:
    """Every page has no colour, and white margins."""
    document = pypdfium2.PdfDocument(class_pdf(term, students=["s0", "s1"]))
    for page in document:
        picture = np.asarray(page.render(scale=1.0).to_pil().convert("RGB")).astype(int)
        assert np.ptp(picture, axis=2).max() <= 2
        assert picture.min() < 60
        for edge in (picture[:20], picture[-20:], picture[:, :20], picture[:, -20:]):
            assert edge.min() > 250


def test_a_long_class_goes_on_on_the_next_page() -> None:
    """Of 90 students, and long names, none is lost."""
    long = [f"Invented Person With A Rather Long Name Number {k}" for k in range(90)]
    marks = [TermMark(f"k{k}", "a", "2026-09-01", "small-dice", 50.0, 45.0, 55.0) for k in range(90)]
    found = pages(class_pdf(class_term("C", marks, {f"k{k}": name for k, name in enumerate(long)})))
    text = " ".join(found[: len(found) - 90])
    assert text.count("Invented Person With A Rather") == 90
    assert "too few yet" in text


def test_an_empty_class_has_a_page() -> None:
    """Without marks the overview says so and no student has a page."""
    found = pages(class_pdf(class_term("C", [], {"x": "Ann"})))
    assert len(found) == 1
    assert "No tray was graded yet" in found[0]


def test_words_for_the_terminal(term: ClassTerm) -> None:
    """The same sayings, the tables and the caution; and what can't be told is said."""
    text = class_words.whole(term)
    assert "Improving: Student 0." in text
    assert "by luck" in text
    few = class_words.whole(invented(1, assignments=2))
    assert "Too few yet: of 30 students" in few
    assert "Improving" not in few
    assert "Weakest cut: none for sure" in few or "too few yet" in few
    assert len(class_words.to_dict(term)["students"]) == 30
