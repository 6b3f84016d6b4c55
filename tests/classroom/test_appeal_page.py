"""The pages for one student: all that made the mark is on them, also in black and white."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
import trays

from cutcheck.classroom.appeal_page import appeal_pdf, cause_shares, current_points, doubt_lines
from cutcheck.classroom.grade import Weights
from cutcheck.classroom.gradebook import Gradebook
from cutcheck.classroom.gradebook_entries import Grading
from cutcheck.classroom.rubric import HandLine, Penalty, usual_rubric
from cutcheck.records import BudgetLine, Result
from cutcheck.units import Unit

RUBRIC = replace(
    usual_rubric(),
    hand_lines=(HandLine("hygiene", 10.0, "board, knife, hands"),),
    waste=Penalty(15.0, 0.5, 10.0),
)


def graded(path: Path, result: Result) -> Grading:
    """A tray of an invented student with a hand mark, a penalty, an excluded piece and a mark set by hand."""
    with Gradebook.open(path / "book.sqlite") as book:
        course = book.add_class("Cuts", "2026-01-12", "2026-06-26")
        ada = book.add_student(course.id, "Ada Example", 3)
        dice = book.add_assignment(course.id, "Week 6", cut="small-dice", rubric=RUBRIC, day="2026-03-04")
        weights = Weights(raw_g=200.0, waste_g=40.0)
        kept = book.keep(
            dice.id, ada.student.id, result, who="B. Sample", weights=weights, hand_marks={"hygiene": 8.0}
        )
        out = {3: "crushed by the lid"}
        book.grade_again(kept.id, who="B. Sample", why="looked at it", excluded=out)
        book.override(kept.id, 61.0, who="B. Sample", why="a shadow over the lower third")
        return book.grading(kept.id)


def text_of(pdf: bytes) -> tuple[str, int]:
    """All words of a PDF, and its number of pages."""
    document = pypdfium2.PdfDocument(pdf)
    return " ".join(" ".join(p.get_textpage().get_text_range().split()) for p in document), len(document)


@pytest.mark.parametrize("count", [4, 12, 40, 60])
def test_every_piece_and_all_that_made_the_mark_is_on_the_pages(tmp_path: Path, count: int) -> None:
    """Each piece with its sides, the parts, the rubric, the doubt, both marks and the log."""
    result = trays.tray(count)
    grading = graded(tmp_path, result)
    text, pages = text_of(appeal_pdf(grading, trays.photo(result)))
    for piece in grading.result.pieces:
        assert piece.length.mm is not None
        assert piece.height.mm is not None
        assert f"{piece.length.mm:.2f} ± 0.12" in text
        assert f"{piece.height.mm:.2f} ± 0.20" in text
    for part in (
        "Ada Example, 2026-03-04",
        "Mark 61.0 of 100: 61 %",
        f"Set by hand; the first mark, as measured, was {grading.grade.points:.1f}.",
        "hygiene 8.0 10 marked by hand",
        "20 % of the raw weight, 15 % are allowed",
        "excluded: crushed by the lid",
        f"with all pieces the mark is {grading.grade.points_all:.1f}",
        "B. Sample: mark set by hand, Ada Example",
        "a shadow over the lower third",
        "Rubric: Usual",
        "The print was not checked with a ruler.",
    ):
        assert part in text, part
    assert pages <= 4


@pytest.mark.parametrize(("unit", "paper"), [("in", "letter"), ("mm", "a4")])
def test_units_and_papers(tmp_path: Path, unit: Unit, paper: str) -> None:
    """Sizes are in the unit asked for; without a photo the page says so."""
    text, _ = text_of(appeal_pdf(graded(tmp_path, trays.tray(12)), None, unit=unit, paper=paper))
    assert f"Every piece, {unit}" in text
    assert "The photo was not kept." in text


def test_a_grey_print_loses_nothing(tmp_path: Path) -> None:
    """Words are black: printed in grey, the darkest and the lightest are as far apart as before."""
    pdf = appeal_pdf(graded(tmp_path, trays.tray(40)), None)
    page = pypdfium2.PdfDocument(pdf)[0]
    colour = np.asarray(page.render(scale=1.0).to_numpy(), int)[..., :3]
    assert np.ptp(colour, axis=2).max() <= 2  # without a picture there is no colour at all
    assert (colour.min(), colour.max()) == (0, 255)


def test_the_card_is_not_on_the_page(tmp_path: Path) -> None:
    """Where the card lay the picture is plain grey, or was cut away."""
    result = trays.tray(40)
    photo = trays.photo(result)
    photo[900:1151, 10:401] = (0, 0, 255)  # a card in a colour of its own
    pdf = appeal_pdf(graded(tmp_path, result), photo)
    shown = np.asarray(pypdfium2.PdfDocument(pdf)[0].render(scale=2.0).to_numpy(), int)
    assert not ((shown[..., 2] > 220) & (shown[..., 0] < 60) & (shown[..., 1] < 40)).any()


def test_the_doubt_is_told_by_its_causes(tmp_path: Path) -> None:
    """Shares are of the variance (JCGM 100:2008, 5.1.2: variances add), the largest first, in plain words."""
    lines = (BudgetLine("length", "edges", 0.3), BudgetLine("width", "print", 0.4))
    pieces = tuple(replace(piece, budget=lines) for piece in trays.tray(12).pieces)
    shares = [(cause, round(share, 9)) for cause, share in cause_shares(pieces)]
    assert shares == [("print", 0.64), ("edges", 0.36)]
    told = " ".join(doubt_lines(graded(tmp_path, replace(trays.tray(12), pieces=pieces))))
    assert "the print of the card (64 %), how sharply its edges are seen (36 %)" in told
    assert cause_shares(()) == ()


def test_the_mark_that_counts_is_the_last_set_by_hand(tmp_path: Path) -> None:
    """Another later one replaces it; taken back, the measured one counts."""
    grading = graded(tmp_path, trays.tray(12))
    assert current_points(grading.log, grading.grade.points) == 61.0
    back = (*grading.log, replace(grading.log[-1], after=None))
    assert current_points(back, grading.grade.points) == grading.grade.points
