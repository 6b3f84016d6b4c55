"""Pages to print: what stands on them, that they are one page, and that a grey printer loses nothing."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import trays
from pypdfium2 import PdfDocument
from terms import keep_term

from cutcheck.check_sheet import check_pdf
from cutcheck.cli import run
from cutcheck.errors import CutcheckError
from cutcheck.journal import Journal
from cutcheck.progress import progress_of
from cutcheck.report_page import Box, Dot, Page, Plot
from cutcheck.term_sheet import term_pdf

# ISO 216; 8 1/2 x 11 in: points
PAPERS = {"a4": (210.0 * 72 / 25.4, 297.0 * 72 / 25.4), "letter": (8.5 * 72, 11.0 * 72)}


def text_of(pdf: bytes) -> str:
    """All words of a PDF, line breaks as spaces."""
    document = PdfDocument(pdf)
    try:
        pages = [page.get_textpage().get_text_range() for page in document]
    finally:
        document.close()
    return " ".join(" ".join(pages).split())


def pages_of(pdf: bytes) -> list[tuple[float, float]]:
    """The sizes of a PDF's pages, points."""
    document = PdfDocument(pdf)
    try:
        return [page.get_size() for page in document]
    finally:
        document.close()


def grey(pdf: bytes, scale: float = 2.0) -> np.ndarray:
    """The first page as a grey printer gives it, (H, W) uint8."""
    document = PdfDocument(pdf)
    try:
        return np.asarray(document[0].render(scale=scale).to_pil().convert("L"))
    finally:
        document.close()


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("count", [1, 12, 60])
def test_a_check_is_one_page_with_everything_on_it(paper: str, count: int) -> None:
    """Picture, mark with its interval, a spread for each side, advice and warnings, on one page."""
    result = trays.tray(count)
    pdf = check_pdf(result, trays.photo(result), who="Ada Example, 2026-03-04", paper=paper)
    assert pages_of(pdf) == [pytest.approx(PAPERS[paper], abs=0.1)]
    text = text_of(pdf)
    for wanted in (
        *("Small dice", "Ada Example, 2026-03-04", "Mark 72 of 100", "measuring leaves 68 to 77"),
        *("length, mm: on size 5.4–7.4 mm, 75 % are", "width, mm", result.advice[0], result.warnings[0]),
        "food-safety code",
    ):
        assert wanted in text


def test_many_notes_take_a_second_page_and_lose_no_word() -> None:
    """A tray with far too much to say goes on overleaf; nothing is cut off at the foot."""
    result = replace(
        trays.tray(20), warnings=tuple(f"Warning number {k}, " + "word " * 40 for k in range(24))
    )
    pdf = check_pdf(result, trays.photo(result))
    assert len(pages_of(pdf)) == 2
    text = text_of(pdf)
    assert all(f"Warning number {k}," in text for k in range(24))


def test_a_tray_without_mark_or_picture_still_has_a_page() -> None:
    """A tray that was only measured, its photo not kept, shows its sides; in inches if wanted."""
    result = replace(trays.tray(12), cut=None, score=None, advice=())
    text = text_of(check_pdf(result, None, unit="in"))
    assert "A tray, measured" in text
    assert "height, in" in text
    assert "Mark" not in text


def test_dots_lie_where_their_values_say() -> None:
    """A dot's place on the paper is its value on the scale: found again in the rendered page."""
    page = Page("a4", "test", "", None)
    box = Box(100.0, 300.0, 400.0, 200.0)
    page.plot(Plot("", [Dot(0.0, 25.0, "square"), Dot(1.0, 75.0, "square")], y_range=(0.0, 100.0)), box)
    image = grey(page.finished(), 4.0)
    inner_x, inner_width = box.x + 26, box.width - 26
    inner_y, inner_height = box.y + 12, box.height - 26
    for x, y in ((inner_x + 6, 0.25), (inner_x + inner_width - 6, 0.75)):
        row = round((PAPERS["a4"][1] - (inner_y + inner_height * y)) * 4)
        column = round(x * 4)
        spot = image[row - 18 : row + 19, column - 18 : column + 19] < 100
        down, across = np.nonzero(spot)
        assert (down.mean(), across.mean()) == (pytest.approx(18, abs=1.5), pytest.approx(18, abs=1.5))


def test_verdicts_are_told_apart_in_grey() -> None:
    """The four shapes differ in form and grey: hollow, filled, half-tone and crossed."""
    shares = []
    for kind in ("circle", "square", "diamond", "cross"):
        page = Page("a4", "test", "", None)
        page.plot(Plot("", [Dot(0.0, 50.0, kind)], y_range=(0.0, 100.0)), Box(100, 300, 400, 200))
        image = grey(page.finished(), 6.0)
        row, column = round((PAPERS["a4"][1] - (312 + 87)) * 6), round((126 + 374 / 2) * 6)
        spot = image[row - 24 : row + 25, column - 24 : column + 25]
        shares.append((float((spot < 80).mean()), float(((spot > 120) & (spot < 200)).mean())))
    dark = [share for share, _ in shares]
    assert dark[1] == max(dark)
    assert shares[2][1] == max(middle for _, middle in shares)
    assert len({(round(a, 2), round(b, 2)) for a, b in shares}) == 4


def test_a_term_has_a_block_for_each_cut(tmp_path: Path) -> None:
    """Each cut has its title, what its trays say and three plots; many cuts go on overleaf."""
    journal = Journal.open(tmp_path / "j.sqlite")
    ada = journal.add_cook("Ada Example")
    keep_term(journal, ada, np.linspace(0.9, 0.3, 10))
    keep_term(journal, ada, [0.4], seed=2, mean=12.7, cut="medium-dice")
    pdf = term_pdf(progress_of(journal, ada))
    assert len(pages_of(pdf)) == 1
    text = text_of(pdf)
    for wanted in ("Small dice", "Steadier.", "Medium dice", "Too few yet", "spread of the sides, mm"):
        assert wanted in text
    found = progress_of(journal, ada)
    assert len(pages_of(term_pdf(replace(found, cuts=found.cuts * 4)))) > 1


def test_letters_that_the_type_lacks_are_told() -> None:
    """A name that would come out as empty boxes is refused with what to do, not printed wrong."""
    with pytest.raises(CutcheckError, match="The font has no"):
        check_pdf(trays.tray(3), None, who="見本")


def test_pages_on_the_command_line(
    own_journal: Path, tmp_path: Path, tray_photo: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """``check --pdf``, ``journal pdf`` and ``progress --pdf`` write; several photos need a folder."""
    words = ["check", str(tray_photo), "--cut", "medium-dice", "--pdf", str(tmp_path / "check.pdf")]
    assert run([*words, "--keep", "--cook", "Ada Example", "--keep-photo"]) == 0
    assert run(["journal", "pdf", "1", str(tmp_path / "kept.pdf")]) == 0
    assert run(["progress", "Ada Example", "--pdf", str(tmp_path / "term.pdf")]) == 0
    one, kept = ((tmp_path / name).read_bytes() for name in ("check.pdf", "kept.pdf"))
    assert "Medium dice" in text_of(one)
    assert "Ada Example, " in text_of(kept)
    # the picture of the kept photo is the picture of the photo
    assert abs(len(kept) - len(one)) < 0.05 * len(one)
    assert "Too few yet" in text_of((tmp_path / "term.pdf").read_bytes())
    assert run(["check", "a.jpg", "b.jpg", "--pdf", str(tmp_path / "check.pdf")]) == 2
    assert "several photos" in capsys.readouterr().err
    assert run(["journal", "pdf", "1", str(tmp_path / "no" / "folder.pdf")]) == 2
