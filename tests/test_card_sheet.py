"""The printed card: every square and corner in its place on the page, in every format and paper.

The truth is the card's published description, version 1, written down here a second time: squares of 24 mm
with centres at (+-34.5, +-21), a checkerboard of 6 mm fields from (-18, -24) to (18, 24), four greys.
"""

from __future__ import annotations

import io
import re
import xml.etree.ElementTree as ET
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pypdfium2
import pytest
import reportlab
from numpy.typing import NDArray
from PIL import Image

from cutcheck.card_sheet import draw_cards
from cutcheck.errors import CutcheckError
from cutcheck.sheet_files import save_sheets, to_pdf, to_png, to_svg

Floats = NDArray[np.float64]
PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}  # ISO 216; 8 1/2 x 11 in
DPI = 300
SIX = tuple(range(7, 13))
FORMATS = ("pdf", "svg", "png")

SQUARE = np.array([[-12, -12], [12, -12], [12, 12], [-12, 12]], float)
POCKET = [(-34.5, -21), (34.5, -21), (34.5, 21), (-34.5, 21)]
PLACES = [(x, y) for y in (-74.0, 0.0, 74.0) for x in (-52.5, 52.5)]  # 105 x 74, two across, three down
CHECKER = np.array([(x, y) for y in range(-18, 19, 6) for x in range(-12, 13, 6)], float)
GREYS = {(-13.5, 29.5): 40, (-4.5, 29.5): 100, (4.5, 29.5): 160, (13.5, 29.5): 220}
MATS = {
    "a4": [
        *((-87, -130.5), (0, -130.5), (87, -130.5), (87, -43.5), (87, 43.5)),
        *((87, 130.5), (0, 130.5), (-87, 130.5), (-87, 43.5), (-87, -43.5)),
    ],
    "letter": [
        *((-90, -121.7), (0, -121.7), (90, -121.7), (90, -40.6), (90, 40.6)),
        *((90, 121.7), (0, 121.7), (-90, 121.7), (-90, 40.6), (-90, -40.6)),
    ],
}


@dataclass(frozen=True)
class Raster:
    """A sheet as a grey picture, ``per_mm`` px across and down, by way of a file format."""

    grey: NDArray[np.uint8]
    paper: str
    per_mm: Floats

    def to_mm(self, px: Floats) -> Floats:
        """Pixels (centre of the first at (0, 0)) as mm from the middle of the page: (N, 2)."""
        return (px + 0.5) / self.per_mm - np.array(PAPERS[self.paper]) / 2

    def to_px(self, x: float, y: float) -> Floats:
        """The inverse of ``to_mm`` for one point: (2,)."""
        return (np.array([x, y]) + np.array(PAPERS[self.paper]) / 2) * self.per_mm - 0.5

    def cut_out(self, x1: float, y1: float, x2: float, y2: float) -> tuple[NDArray[np.uint8], Floats]:
        """The part between two corners, mm, and the pixel where it starts."""
        start, end = (self.to_px(*corner).round().astype(int) for corner in ((x1, y1), (x2, y2)))
        return np.ascontiguousarray(self.grey[start[1] : end[1] + 1, start[0] : end[0] + 1]), start.astype(
            float
        )


@cache
def raster(kind: str, paper: str, numbers: tuple[int, ...] = SIX, mat: str | None = None) -> Raster:
    """The first sheet with these cards as a picture of some ``DPI``, by way of the file format ``kind``."""
    sheet = draw_cards(numbers, paper=paper, mat=mat)[0]
    if kind == "png":
        grey = np.asarray(Image.open(io.BytesIO(to_png(sheet, dpi=DPI))))
        return Raster(grey, paper, np.full(2, DPI / 25.4))
    if kind == "pdf":
        page = pypdfium2.PdfDocument(to_pdf([sheet]))[0]
        grey = np.asarray(page.render(scale=DPI / 72).to_pil().convert("L"))
    else:
        grey = raster_of_svg(to_svg(sheet))
    # Both fill whole pixels with the page, which stretches it by up to a pixel.
    return Raster(grey, paper, np.array(grey.shape[::-1]) / PAPERS[paper])


def raster_of_svg(text: str) -> NDArray[np.uint8]:
    """An SVG's filled paths, drawn twice as fine from their coordinates alone and shrunk."""
    root = ET.fromstring(text)
    left, top, width, height = (float(v) for v in root.attrib["viewBox"].split())
    assert root.attrib["width"] == f"{width:g}mm"
    assert root.attrib["height"] == f"{height:g}mm"
    size = (round(width * DPI / 25.4), round(height * DPI / 25.4))
    fine = 2 * np.array(size) / (width, height)
    canvas = np.full((2 * size[1], 2 * size[0]), 255, np.uint8)
    for path in root.iter("{http://www.w3.org/2000/svg}path"):
        grey = int(path.attrib["fill"][4:-1].split(",")[0])
        for x1, y1, x2, y2, x3 in re.findall(r"M(\S+) (\S+)H(\S+)V(\S+)H(\S+)Z", path.attrib["d"]):
            assert x1 == x3
            xs = [round((float(x) - left) * fine[0]) for x in (x1, x2)]
            ys = [round((float(y) - top) * fine[1]) for y in (y1, y2)]
            canvas[ys[0] : ys[1], xs[0] : xs[1]] = grey
    return np.asarray(cv2.resize(canvas, size, interpolation=cv2.INTER_AREA))


def refined(grey: NDArray[np.uint8], px: Floats) -> Floats:
    """Corners to sub-pixel by OpenCV, which knows nothing of where we meant them to be."""
    start = np.ascontiguousarray(px, np.float32).reshape(-1, 1, 2)
    end = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 100, 1e-4)
    return np.asarray(cv2.cornerSubPix(grey, start, (8, 8), (-1, -1), end)).reshape(-1, 2).astype(float)


def found_squares(page: Raster) -> dict[int, Floats]:
    """The tags that OpenCV's own detector finds: (4, 2) mm from the middle of the page, by id."""
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11))
    corners, ids, _ = detector.detectMarkers(page.grey)
    return {
        int(tag): page.to_mm(refined(page.grey, corner.reshape(4, 2)))
        for tag, corner in zip(np.ravel(ids), corners, strict=True)
    }


@pytest.mark.parametrize("kind", FORMATS)
@pytest.mark.parametrize("paper", PAPERS)
def test_every_square_of_six_cards_is_within_a_tenth_of_a_millimetre(paper: str, kind: str) -> None:
    """All 24 tags on the page carry the right ids and stand within 0.1 mm of their place, on both papers."""
    found = found_squares(raster(kind, paper))
    expected = {
        4 * (7 + k) + j: np.array(centre) + place + SQUARE
        for k, place in enumerate(np.array(PLACES))
        for j, centre in enumerate(POCKET)
    }
    assert found.keys() == expected.keys()
    off = {tag: np.linalg.norm(found[tag] - corners, axis=1).max() for tag, corners in expected.items()}
    assert max(off.values()) < 0.1, off


@pytest.mark.parametrize("kind", FORMATS)
@pytest.mark.parametrize("paper", PAPERS)
def test_every_checkerboard_corner_is_within_a_tenth_of_a_millimetre(paper: str, kind: str) -> None:
    """OpenCV finds 5 x 7 inner corners on each card, within 0.1 mm; the top-left field is black."""
    page = raster(kind, paper)
    for x, y in PLACES:
        crop, start = page.cut_out(x - 21, y - 26, x + 21, y + 26)
        done, corners = cv2.findChessboardCorners(crop, (5, 7))
        assert done
        corners = page.to_mm(refined(crop, corners.reshape(-1, 2)) + start) - (x, y)
        corners = corners[np.lexsort((corners[:, 0].round(), corners[:, 1].round()))]
        assert np.linalg.norm(corners - CHECKER, axis=1).max() < 0.1
        assert page.cut_out(x - 17, y - 23, x - 13, y - 19)[0].max() < 10


@pytest.mark.parametrize("kind", FORMATS)
@pytest.mark.parametrize("paper", PAPERS)
def test_every_square_of_a_mat_is_within_a_tenth_of_a_millimetre(paper: str, kind: str) -> None:
    """A mat's ten tags, from id 500 (A4) or 520 (Letter), stand within 0.1 mm of their place."""
    found = found_squares(raster(kind, paper, (), paper))
    first = {"a4": 500, "letter": 520}[paper]
    assert found.keys() == set(range(first, first + 10))
    for k, centre in enumerate(MATS[paper]):
        assert np.linalg.norm(found[first + k] - (np.array(centre) + SQUARE), axis=1).max() < 0.1


@pytest.mark.parametrize("paper", PAPERS)
def test_the_middle_of_a_mat_is_free(paper: str) -> None:
    """Nothing is printed where the pieces lie: 144 x 231 mm on A4, 150 x 213.4 mm on Letter."""
    x, y = {"a4": (72, 115.5), "letter": (75, 106.7)}[paper]
    assert raster("pdf", paper, (), paper).cut_out(-x, -y, x, y)[0].min() == 255


@pytest.mark.parametrize("kind", FORMATS)
def test_the_grey_patches_have_their_levels(kind: str) -> None:
    """The four patches are sRGB 40, 100, 160 and 220, evenly, give or take one level."""
    page = raster(kind, "a4")
    for x, y in PLACES:
        for (dx, dy), level in GREYS.items():
            patch, _ = page.cut_out(x + dx - 4.3, y + dy - 3.3, x + dx + 4.3, y + dy + 3.3)
            assert np.abs(patch.astype(int) - level).max() <= 1


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("mat", [False, True])
def test_a_square_keeps_three_millimetres_of_white_around_it(paper: str, mat: bool) -> None:
    """No number, ruler, word or line comes nearer than 3 mm to a square."""
    page = raster("pdf", paper, (), paper) if mat else raster("pdf", paper)
    for corners in found_squares(page).values():
        (x1, y1), _, (x2, y2), _ = corners
        around, start = page.cut_out(x1 - 2.95, y1 - 2.95, x2 + 2.95, y2 + 2.95)
        white = around.copy()
        (left, top), (right, bottom) = page.to_px(x1, y1) - start, page.to_px(x2, y2) - start
        white[int(top) - 1 : int(bottom) + 3, int(left) - 1 : int(right) + 3] = 255
        assert white.min() == 255


@pytest.mark.parametrize(
    ("numbers", "mat", "check"),
    [
        (SIX, None, (198.0, 214.0)),
        ((), "a4", (198.0, 285.0)),
        ((), "letter", (204.0, 267.4)),
    ],
)
def test_the_print_check_on_the_page_is_true(
    numbers: tuple[int, ...], mat: str | None, check: tuple[float, float]
) -> None:
    """What the page tells the user to measure is written on it, and is so when measured."""
    corners = np.concatenate(list(found_squares(raster("pdf", mat or "a4", numbers, mat)).values()))
    assert np.ptp(corners, axis=0) == pytest.approx(check, abs=0.05)
    text = text_of(to_pdf(draw_cards(numbers, mat=mat)))
    assert f"{check[0]:.1f}" in text
    assert f"{check[1]:.1f}" in text


def test_one_number_alone_fills_the_sheet() -> None:
    """Card 7 alone is drawn six times, so that the print check spans the sheet, and the page says so."""
    (sheet,) = draw_cards([7])
    text = text_of(to_pdf([sheet]))
    assert text.count("card 7") == 6
    assert "six copies" in text
    assert "198.0 mm across, 214.0 mm down" in text


def test_a_sheet_with_gaps_gives_the_check_of_one_card() -> None:
    """Where not all six places are taken, the page tells to measure one card: 93.0 and 66.0 mm."""
    sheets = draw_cards(range(8))
    text = text_of(to_pdf(sheets), 1)
    assert "93.0 mm across, 66.0 mm down" in text
    assert "198.0" not in text


def text_of(pdf: bytes, page: int = 0) -> str:
    """The words on a page of a PDF."""
    return pypdfium2.PdfDocument(pdf)[page].get_textpage().get_text_range()


def test_the_page_says_how_to_print_check_and_keep_the_cards() -> None:
    """Print at 100 %, matt, wipe and sanitise, serve nothing from bare paper: all in words on the page."""
    for sheets in (draw_cards(range(6)), draw_cards([], mat="letter")):
        text = " ".join(text_of(to_pdf(sheets)).split())
        for words in ("100 %", "fit to page", "--printed", "matt", "sanitise", "bare paper", "food-safety"):
            assert words in text


@pytest.mark.parametrize("paper", PAPERS)
def test_the_pdf_page_has_the_papers_size_and_asks_not_to_be_scaled(paper: str) -> None:
    """The page is A4 or Letter to 0.01 mm, and PrintScaling None (ISO 32000-1, table 150) is set."""
    pdf = to_pdf(draw_cards([3], paper=paper))
    size = np.array(pypdfium2.PdfDocument(pdf)[0].get_size()) * 25.4 / 72
    assert size == pytest.approx(PAPERS[paper], abs=0.01)
    assert b"/PrintScaling /None" in pdf


def test_the_png_carries_its_resolution() -> None:
    """A PNG of 600 dpi says so and is the paper's size in pixels."""
    image = Image.open(io.BytesIO(to_png(draw_cards([3], paper="letter")[0])))
    assert image.info["dpi"] == pytest.approx((600, 600), abs=0.02)
    assert image.size == (5100, 6600)


def test_the_same_cards_are_the_same_bytes() -> None:
    """Drawing twice gives the same file, so that a printed card can be compared with its source."""
    assert to_pdf(draw_cards([3])) == to_pdf(draw_cards([3]))


# ---- names on the backs -----------------------------------------------------------------------------

CLASS = {1: "Ada Invented", 2: "Łukasz Šimić", 6: "W" * 60}


def test_names_stand_on_the_backs_mirrored_in_place() -> None:
    """Turned about its long edge, the back's name lies behind its own card; no name is on a front."""
    front, back = draw_cards(range(1, 7), names=CLASS)
    assert back.is_back
    assert not front.is_back
    pdf = to_pdf([front, back])
    assert "Invented" not in text_of(pdf, 0)
    page = pypdfium2.PdfDocument(pdf)[1].get_textpage()
    for number, name in CLASS.items():
        finder = page.search(name, match_case=True)
        start, count = finder.get_next()
        boxes = np.array([page.get_charbox(k) for k in range(start, start + count)]) * 25.4 / 72
        left, right = boxes[:, 0].min() - 105, boxes[:, 2].max() - 105
        card_x, card_y = PLACES[number - 1]
        assert (left + right) / 2 == pytest.approx(-card_x, abs=1.0)
        assert right - left < 95
        assert 148.5 - boxes[:, 1].min() == pytest.approx(card_y, abs=3)
    assert b"/Duplex /DuplexFlipLongEdge" in pdf


def test_backs_follow_only_the_sheets_that_have_names() -> None:
    """Of two sheets only the one with a named card gets a back."""
    sheets = draw_cards(range(1, 13), names={9: "Ada"})
    assert [sheet.is_back for sheet in sheets] == [False, False, True]


def test_letters_that_the_font_lacks_are_refused_not_drawn_as_boxes() -> None:
    """A name in letters without glyphs is an error that names them; a font file that lacks them is too."""
    sheets = draw_cards([1], names={1: "李雷"})
    vera = Path(reportlab.__file__).parent / "fonts" / "Vera.ttf"
    for font in (None, vera):
        with pytest.raises(CutcheckError, match="李"):
            to_pdf(sheets, font=font)
    with pytest.raises(CutcheckError, match="TrueType"):
        to_pdf(sheets, font=__file__)
    assert "李雷" in to_svg(sheets[1])


def test_a_name_is_text_in_the_svg_never_markup() -> None:
    """A name with markup in it stays a name."""
    name = "<script>&\"'"
    _, back = draw_cards([1], names={1: name})
    texts = [element.text for element in ET.fromstring(to_svg(back)).iter("{http://www.w3.org/2000/svg}text")]
    assert texts.count(name) == 6


# ---- files ------------------------------------------------------------------------------------------


def test_the_files_ending_chooses_the_format(tmp_path: Path) -> None:
    """PDF holds all sheets in one file, SVG and PNG one each, numbered."""
    sheets = draw_cards(range(8))
    assert save_sheets(sheets, tmp_path / "cards.pdf") == [tmp_path / "cards.pdf"]
    assert len(pypdfium2.PdfDocument(tmp_path / "cards.pdf")) == 2
    assert save_sheets(sheets[:1], tmp_path / "one.SVG") == [tmp_path / "one.SVG"]
    assert [p.name for p in save_sheets(sheets, tmp_path / "cards.svg")] == ["cards-1.svg", "cards-2.svg"]
    assert all(b"<svg" in (tmp_path / name).read_bytes() for name in ("one.SVG", "cards-2.svg"))


def test_what_cannot_be_drawn_or_written_is_a_coded_error(tmp_path: Path) -> None:
    """Another ending, a missing folder, an unknown paper, mat or number: each says what to do."""
    sheets = draw_cards([0])
    for path in (tmp_path / "cards.docx", tmp_path / "no" / "cards.pdf", tmp_path):
        with pytest.raises(CutcheckError) as caught:
            save_sheets(sheets, path)
        assert caught.value.code == "bad-option"
    for options in (
        {"numbers": [1], "paper": "a3"},
        {"numbers": [1], "mat": "a3"},
        {"numbers": [125]},
        {"numbers": [-1]},
        {"numbers": []},
    ):
        with pytest.raises(CutcheckError) as caught:
            draw_cards(**options)  # type: ignore[arg-type]
        assert caught.value.code == "bad-option"
