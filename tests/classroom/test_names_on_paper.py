"""Names with markup on every page that is printed: as they were written, in text and in outline."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
import trays
from pypdfium2 import PdfDocument
from pypdfium2 import raw as pdfium
from terms import keep_term

from cutcheck.card_sheet import draw_cards
from cutcheck.check_sheet import check_pdf
from cutcheck.classroom.appeal_page import appeal_pdf
from cutcheck.classroom.class_sheet import class_pdf
from cutcheck.classroom.class_term import TermMark, class_term
from cutcheck.classroom.gradebook import Gradebook
from cutcheck.classroom.rubric import HandLine, usual_rubric
from cutcheck.journal import Journal
from cutcheck.needs import read_needs
from cutcheck.plan import make_plan
from cutcheck.plan_sheet import plan_pdf
from cutcheck.progress import progress_of
from cutcheck.sheet_files import to_pdf
from cutcheck.term_sheet import term_pdf

# Tags, entities and signs that mean something to ReportLab's paragraphs, to PDF's strings (ISO 32000-1,
# 7.3.4) and to formats of text.
NAMES = (
    "<b>Bo</b> & <font color='red'>x</font>",
    "<script>alert(1)</script>",
    "&lt;i&gt; &amp;",
    "**Ada** [x](javascript:1) $y$",
    "(a) \\(b\\) ) >> endobj",
    "%s {name} {0} %(x)d",
    "<a href='http://evil.example'>x</a>",
)


def text_of(pdf: bytes) -> str:
    """All words of a PDF without its spaces, since lines break anywhere; it has no link and no script."""
    document = PdfDocument(pdf)
    try:
        assert pdfium.FPDFDoc_GetJavaScriptActionCount(document) == 0
        assert all(pdfium.FPDFPage_GetAnnotCount(page) == 0 for page in document)
        return "".join("".join(page.get_textpage().get_text_range().split()) for page in document)
    finally:
        document.close()


@pytest.mark.parametrize("name", NAMES)
def test_a_check_and_a_term_print_the_name_as_it_is(name: str, tmp_path: Path) -> None:
    """The cook, the photo's file, the advice and the warnings of a check; the cook of a term."""
    wanted = "".join(name.split())
    result = trays.tray(4)
    result = replace(
        result, photo=replace(result.photo, file=f"{name}.jpg"), warnings=(f"W {name}",), advice=(name,)
    )
    text = text_of(check_pdf(result, trays.photo(result), who=name))
    assert text.count(wanted) >= 3
    journal = Journal.open(tmp_path / "j.sqlite")
    cook = journal.add_cook(name)
    keep_term(journal, cook, [0.3] * 7)
    assert wanted in text_of(term_pdf(progress_of(journal, cook)))


@pytest.mark.parametrize("name", NAMES)
def test_a_class_prints_names_as_they_are(name: str, tmp_path: Path) -> None:
    """The class over its term, and a student's page with its rubric, reasons and log."""
    wanted = "".join(name.split())
    marks = [TermMark("k", "a", "2026-09-01", "small-dice", 50.0, 45.0, 55.0)]
    assert text_of(class_pdf(class_term(name, marks, {"k": name}))).count(wanted) >= 2
    rubric = replace(usual_rubric(), name=name, sample_note=name, hand_lines=(HandLine(name, 5.0, name),))
    with Gradebook.open(tmp_path / "book.sqlite") as book:
        course = book.add_class(name, "2026-01-12", "2026-06-26")
        ada = book.add_student(course.id, name, 3)
        dice = book.add_assignment(course.id, name, cut="small-dice", rubric=rubric, day="2026-03-04")
        kept = book.keep(dice.id, ada.student.id, trays.tray(4), who=name, excluded={1: name})
        book.override(kept.id, 61.0, who=name, why=name)
        pdf = appeal_pdf(book.grading(kept.id), trays.photo(trays.tray(4)))
    assert text_of(pdf).count(wanted) >= 6


@pytest.mark.parametrize("name", NAMES)
def test_cards_and_plans_print_names_as_they_are(name: str) -> None:
    """The backs of the cards, and the heading of a plan."""
    wanted = "".join(name.split())
    assert wanted in text_of(to_pdf(draw_cards([3], names={3: name})))
    needs, _ = read_needs(["brunoise carrot 500 g"])
    assert wanted in text_of(plan_pdf(make_plan(needs), heading=name))
