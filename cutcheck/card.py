"""The reference cards and mats, version 1: what is printed where, as plain geometry.

Millimetres, origin at the card's centre, x right and y down. Everything that draws a card and everything that
looks for one takes its figures from here. People print cards and keep them: version 1 never changes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import ClassVar, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from cutcheck.errors import CutcheckError

Floats = NDArray[np.float64]

VERSION = 1
SQUARE_MM = 24.0  # outer side of a square's black border
SQUARE_CELLS = 8  # cells along that side: 6 of code and the black border
CARD_MM = (105.0, 74.0)  # A7 landscape, ISO 216
A4_MM = (210.0, 297.0)  # ISO 216
LETTER_MM = (215.9, 279.4)  # 8 1/2 x 11 in, ANSI/ASME Y14.1
PAPERS = {"a4": A4_MM, "letter": LETTER_MM}
FIELD_MM = 6.0
FIELD_COLUMNS, FIELD_ROWS = 6, 8
LAST_NUMBER = 124  # 4 x 125 ids; those from 500 on are the mats'
PAGE_GRID = (2, 3)  # cards across and down on a page
PAGE_CHECK_MM = (198.0, 214.0)  # print check of such a page: outer edges of the outermost squares
THICKNESS_MM = {"paper": 0.2, "laminated": 0.5}


def paper_mm(name: str) -> tuple[float, float]:
    """Width and height of a paper, mm, upright. Raises ``bad-option`` for an unknown one."""
    if name.lower() not in PAPERS:
        remedy = f"Take {' or '.join(PAPERS)}."
        raise CutcheckError("bad-option", problem=f"There is no paper '{name}'.", remedy=remedy)
    return PAPERS[name.lower()]


class Rectangle(NamedTuple):
    """A rectangle printed on a card, mm."""

    left: float
    top: float
    right: float
    bottom: float


class GreyPatch(NamedTuple):
    """A patch of one grey; ``srgb`` is its sRGB-coded level, 0 to 255."""

    area: Rectangle
    srgb: int


@dataclass(frozen=True)
class CardLayout:
    """All that is printed on one card or mat.

    ``squares`` gives the outer corners of each square by its tag id: (4, 2) mm, clockwise from the top-left
    as printed, the order in which ``cv2.aruco`` reports them. ``checker`` are the inner corners of the
    checkerboard, (35, 2) mm, row by row, ``fields`` its black fields. ``print_check_mm`` is the distance of
    the outer edges of the outermost squares, across and down. ``free_mm`` is where pieces may lie on a mat.
    """

    name: str
    kind: Literal["card", "mat"]
    number: int | None
    size_mm: tuple[float, float]
    squares: Mapping[int, Floats]
    print_check_mm: tuple[float, float]
    checker: Floats | None = None
    fields: tuple[Rectangle, ...] = ()
    greys: tuple[GreyPatch, ...] = ()
    free_mm: Rectangle | None = None

    @property
    def black(self) -> Floats:
        """The corners of everything black with a straight edge, squares first: (N, 4, 2) mm, clockwise."""
        return np.array([*self.squares.values(), *(corners_of(area) for area in self.fields)])

    @property
    def outline(self) -> Floats:
        """The corners of the paper, (4, 2) mm."""
        width, height = self.size_mm
        return corners_of(Rectangle(-width / 2, -height / 2, width / 2, height / 2))


def corners_of(area: Rectangle) -> Floats:
    """The corners of a rectangle, (4, 2) mm, clockwise from the top-left."""
    left, top, right, bottom = area
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom]], float)


def _square(x: float, y: float) -> Floats:
    half = SQUARE_MM / 2
    return corners_of(Rectangle(x - half, y - half, x + half, y + half))


def pocket_card(number: int = 0) -> CardLayout:
    """The pocket card with this number, 0 to 124; it carries the tag ids 4n to 4n + 3."""
    if not 0 <= number <= LAST_NUMBER:
        raise ValueError(f"card number {number}: give one from 0 to {LAST_NUMBER}")
    centres = ((-34.5, -21.0), (34.5, -21.0), (34.5, 21.0), (-34.5, 21.0))
    left, top = -FIELD_COLUMNS * FIELD_MM / 2, -FIELD_ROWS * FIELD_MM / 2
    black = tuple(
        Rectangle(x, y, x + FIELD_MM, y + FIELD_MM)
        for row in range(FIELD_ROWS)
        for column in range(FIELD_COLUMNS)
        if (row + column) % 2 == 0
        for x, y in [(left + FIELD_MM * column, top + FIELD_MM * row)]
    )
    inner = [
        (left + FIELD_MM * column, top + FIELD_MM * row)
        for row in range(1, FIELD_ROWS)
        for column in range(1, FIELD_COLUMNS)
    ]
    greys = tuple(
        GreyPatch(Rectangle(-18.0 + 9 * k, 26.0, -9.0 + 9 * k, 33.0), level)
        for k, level in enumerate((40, 100, 160, 220))
    )
    return CardLayout(
        name=f"card {number}",
        kind="card",
        number=number,
        size_mm=CARD_MM,
        squares=MappingProxyType({4 * number + k: _square(*centre) for k, centre in enumerate(centres)}),
        print_check_mm=(93.0, 66.0),
        checker=np.array(inner, float),
        fields=black,
        greys=greys,
    )


# Paper: size, first tag id, half the distance of the outer columns, the rows' distances from the middle,
# print check, free middle.
_MATS = {
    "a4": (A4_MM, 500, 87.0, (130.5, 43.5), (198.0, 285.0), (144.0, 231.0)),
    "letter": (LETTER_MM, 520, 90.0, (121.7, 40.6), (204.0, 267.4), (150.0, 213.4)),
}


def mat(paper: str) -> CardLayout:
    """The mat for a whole tray, ``"a4"`` or ``"letter"``: ten squares round a free middle, portrait."""
    if paper.lower() not in _MATS:
        raise ValueError(f"no mat for paper '{paper}': take one of {', '.join(_MATS)}")
    size, first, x, (far, near), check, (free_width, free_height) = _MATS[paper.lower()]
    centres = (
        *((-x, -far), (0.0, -far), (x, -far), (x, -near), (x, near)),
        *((x, far), (0.0, far), (-x, far), (-x, near), (-x, -near)),
    )
    return CardLayout(
        name=f"{'A4' if paper.lower() == 'a4' else 'Letter'} mat",
        kind="mat",
        number=None,
        size_mm=size,
        squares=MappingProxyType({first + k: _square(*centre) for k, centre in enumerate(centres)}),
        print_check_mm=check,
        free_mm=Rectangle(-free_width / 2, -free_height / 2, free_width / 2, free_height / 2),
    )


def layout_of(tag_id: int) -> CardLayout | None:
    """The card or mat that carries the tag with this id, or None where no card of ours does."""
    if 0 <= tag_id <= 4 * LAST_NUMBER + 3:
        return pocket_card(tag_id // 4)
    for paper, (_, first, *_rest) in _MATS.items():
        if first <= tag_id < first + 10:
            return mat(paper)
    return None


@dataclass(frozen=True, slots=True)
class PrintCheck:
    """What the ruler said on the print: across and down, mm. Only the ratio to the drawing counts."""

    across_mm: float
    down_mm: float

    NOMINALS: ClassVar[tuple[tuple[float, float], ...]] = (
        PAGE_CHECK_MM,
        (93.0, 66.0),
        (198.0, 285.0),
        (204.0, 267.4),
    )

    @classmethod
    def parse(cls, text: str) -> PrintCheck:
        """A print check from ``"197.4x213.2"``; ValueError says what is wrong with another text."""
        across, _, down = text.lower().replace("×", "x").replace(",", ".").partition("x")
        try:
            check = cls(float(across), float(down))
        except ValueError:
            problem = f"'{text}' is not a print check: give width x height in mm, as 197.4x213.2"
            raise ValueError(problem) from None
        check.scale()
        return check

    def scale(self) -> tuple[float, float]:
        """Printed size over drawn size, across and down; ValueError if no nominal pair is within 15 %."""
        pairs = [(self.across_mm / across, self.down_mm / down) for across, down in self.NOMINALS]
        best = min(pairs, key=lambda pair: max(abs(pair[0] - 1), abs(pair[1] - 1)))
        if not max(abs(best[0] - 1), abs(best[1] - 1)) < 0.15:
            known = ", ".join(f"{across:g}x{down:g}" for across, down in self.NOMINALS)
            raise ValueError(
                f"{self.across_mm:g}x{self.down_mm:g} is none of the distances of a print check ({known} mm)"
            )
        return best
