"""The plan as a page to pin up: one page, true to the plan, printed text read back from the PDF."""

from __future__ import annotations

from pathlib import Path

import pypdfium2 as pdfium
import pytest

from cutcheck.errors import CutcheckError
from cutcheck.needs import read_needs
from cutcheck.plan import Plan, make_plan
from cutcheck.plan_sheet import plan_pdf, save_plan

SIX = (
    "brunoise carrot 500 g",
    "brunoise onion 300 g",
    "rondelle courgette 500 g",
    "mirepoix celery 1 lb",
    "macédoine beetroot 400 g",
    "julienne leek 200 g",
)


def plan_of(*texts: str) -> Plan:
    """A plan of needs in words."""
    needs, problems = read_needs(texts)
    return make_plan(needs, problems=problems)


def read(pdf: bytes) -> list[str]:
    """The text of each page, spaces and line ends made one."""
    document = pdfium.PdfDocument(pdf)
    return [" ".join(page.get_textpage().get_text_bounded().split()) for page in document]


@pytest.mark.parametrize(("paper", "size"), [("a4", (595.3, 841.9)), ("letter", (612.0, 792.0))])
def test_a_lesson_fits_on_one_page(paper: str, size: tuple[float, float]) -> None:
    """Six vegetables are one page of A4 (210 x 297 mm) or Letter (8 1/2 x 11 in)."""
    document = pdfium.PdfDocument(plan_pdf(plan_of(*SIX), paper=paper))
    assert len(document) == 1
    assert document[0].get_size() == pytest.approx(size, abs=0.1)


def test_the_page_says_what_the_plan_says() -> None:
    """Weights, French names, the order of work, the allergen, the sources and who comes first are printed."""
    (text,) = read(plan_pdf(plan_of(*SIX), heading="Tuesday lesson"))
    for words in (
        "Tuesday lesson",
        "Carrot, brunoise",
        "1.27 kg",
        "500 g",
        "céleri branche",
        "82 % kept, AFRS (factor 1.22)",
        "Order of work",
        "Then what stains: beetroot",
        "Celery (stalk and root) and mustard",
        "AFRS: US Armed Forces Recipe Service",
        "instructor",
    ):
        assert words in text, words


def test_units_and_markup_are_as_asked() -> None:
    """Pounds and ounces where asked; signs of markup in a heading are printed as they are."""
    (text,) = read(plan_pdf(plan_of(*SIX), unit="lb", heading="<b>A & B</b>"))
    assert "<b>A & B</b>" in text
    assert "lb" in text
    assert " kg" not in text.replace("1 kg", "")


def test_a_very_long_list_goes_on_to_further_pages() -> None:
    """Forty-eight lines are not squeezed: they go on, the head of the table is repeated, nothing is lost."""
    pages = read(plan_pdf(plan_of(*SIX * 8)))
    assert len(pages) > 1
    assert all("Squared off" in page for page in pages[:2])
    assert sum(page.count("Carrot, brunoise") for page in pages) == 8
    assert "page 2" in pages[1]


def test_the_same_plan_gives_the_same_file() -> None:
    """No date or chance is in the file: two runs are alike byte for byte."""
    assert plan_pdf(plan_of(*SIX)) == plan_pdf(plan_of(*SIX))


def test_what_can_not_be_printed_is_told(tmp_path: Path) -> None:
    """An unknown paper, an empty plan and a place that can't be written are coded errors with a remedy."""
    with pytest.raises(CutcheckError, match="There is no paper 'a3'"):
        plan_pdf(plan_of(*SIX), paper="a3")
    with pytest.raises(CutcheckError, match="nothing to print"):
        plan_pdf(plan_of("brunoise unicorn 1 kg"))
    with pytest.raises(CutcheckError, match="can't be written"):
        save_plan(plan_of(*SIX), tmp_path / "none" / "plan.pdf")
