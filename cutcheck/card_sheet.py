"""Drawing the reference cards and mats on sheets of paper, ready to print at true size.

What is on a card is ``card.py``'s; here it gets its number, its ruler and its place on the sheet, and round
the cards stands how to print, check and cut them. Nothing is drawn nearer than 3 mm to a square.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Literal

import cv2
import numpy as np

from cutcheck.card import (
    CARD_MM,
    PAGE_CHECK_MM,
    PAGE_GRID,
    PAPERS,
    SQUARE_CELLS,
    VERSION,
    CardLayout,
    Floats,
    Rectangle,
    paper_mm,
    pocket_card,
)
from cutcheck.card import mat as mat_layout
from cutcheck.errors import CutcheckError
from cutcheck.sheet import Fill, Line, Mark, Sheet, Words

PaperName = Literal["a4", "letter"]

_CUT_GREY = 190  # pale: it must not look like the edge of anything
_SMALL = 3.0  # mm, type round the cards
_PER_PAGE = PAGE_GRID[0] * PAGE_GRID[1]

_PRINT = "Print at 100 % (actual size), no 'fit to page', on matt paper."
_PRINTED = "If your ruler says otherwise, tell cutcheck once, for example --printed {0:.1f}x{1:.1f}"
_COPIES = " These are six copies: use one at a time."
_CARE = (
    "Use matt paper or a matt pouch: gloss glares. Cut along the grey lines.{copies}",
    "In the kitchen the card stays in its pouch: wipe and sanitise it as you do the board.",
    "Do not serve pieces that touched bare paper.",
    "Your local food-safety code and your instructor come first.",
)


def draw_cards(
    numbers: Sequence[int],
    *,
    paper: str = "a4",
    mat: str | None = None,
    names: Mapping[int, str] | None = None,
) -> tuple[Sheet, ...]:
    """Sheets with the cards of these numbers, six to a sheet, and a mat where one is named.

    One number alone is drawn six times over: spares, and the print check then spans the sheet. With
    ``names`` each sheet is followed by its back, mirrored in place, for printing on both sides (flip on the
    long edge). Raises ``bad-option`` for an unknown paper or number.
    """
    size = paper_mm(paper)
    wanted = list(numbers) * (_PER_PAGE if len(numbers) == 1 else 1)
    sheets: list[Sheet] = []
    try:
        for start in range(0, len(wanted), _PER_PAGE):
            page = wanted[start : start + _PER_PAGE]
            sheets.append(_front(page, size))
            if names and any(names.get(number) for number in page):
                sheets.append(_back(page, size, names))
        if mat is not None:
            sheets.append(_mat(mat_layout(mat)))
    except ValueError as error:
        known = f"Cards run from 0 to 124, mats are {' and '.join(PAPERS)}."
        raise CutcheckError("bad-option", problem=f"No such card: {error}.", remedy=known) from None
    if not sheets:
        raise CutcheckError("bad-option", problem="There is nothing to draw.", remedy="Name a card or a mat.")
    return tuple(sheets)


def place_on_page(position: int) -> tuple[float, float]:
    """The centre of the card at ``position`` (0 to 5, row by row) on the sheet, mm."""
    columns, rows = PAGE_GRID
    row, column = divmod(position, columns)
    return (column - (columns - 1) / 2) * CARD_MM[0], (row - (rows - 1) / 2) * CARD_MM[1]


def square_cells(tag_id: int, corners: Floats) -> tuple[Rectangle, ...]:
    """The black parts of a square as rectangles, mm, from its tag id and its outer corners, (4, 2) mm."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    black = cv2.aruco.generateImageMarker(dictionary, tag_id, SQUARE_CELLS, borderBits=1) == 0
    left, top = corners[0]
    cell = (corners[2] - corners[0]) / SQUARE_CELLS
    areas: list[Rectangle] = []
    for row, line in enumerate(black):
        edges = np.flatnonzero(np.diff(np.concatenate(([0], line.astype(np.int8), [0]))))
        for first, end in zip(edges[::2], edges[1::2], strict=True):
            x1, x2 = left + cell[0] * first, left + cell[0] * end
            areas.append(
                Rectangle(float(x1), float(top + cell[1] * row), float(x2), float(top + cell[1] * (row + 1)))
            )
    return tuple(areas)


def _front(numbers: Sequence[int], size: tuple[float, float]) -> Sheet:
    marks: list[Mark] = list(_cutting_lines(size))
    for position, number in enumerate(numbers):
        layout = pocket_card(number)
        marks += _moved([*_printed(layout), *_small_print(layout)], place_on_page(position))
    full = len(numbers) == _PER_PAGE
    check = PAGE_CHECK_MM if full else pocket_card(numbers[0]).print_check_mm
    marks += _instructions(check, full, copies=full and len(set(numbers)) == 1)
    listed = f"{min(numbers)} to {max(numbers)}" if len(set(numbers)) > 1 else f"{numbers[0]}"
    return Sheet(f"cutcheck reference card {listed}", size, tuple(marks))


def _back(numbers: Sequence[int], size: tuple[float, float], names: Mapping[int, str]) -> Sheet:
    marks: list[Mark] = []
    for position, number in enumerate(numbers):
        x, y = place_on_page(position)
        if names.get(number):  # turned about the long edge, left and right change places
            marks.append(Words(-x, y, names[number], 9.0, "middle", bold=True, widest=CARD_MM[0] - 12))
            marks.append(Words(-x, y + 12, f"card {number}", 4.0, "middle"))
    top = -PAGE_GRID[1] * CARD_MM[1] / 2
    marks.append(
        Words(0, top - 8, "The backs. Print on both sides, flip on the long edge.", _SMALL, "middle")
    )
    return Sheet("cutcheck reference cards, backs", size, tuple(marks), is_back=True)


def _mat(layout: CardLayout) -> Sheet:
    """A mat: its words stand between the squares of the first and last row, outside the free middle."""
    across, down = layout.print_check_mm
    blocks = (
        (
            f"cutcheck {layout.name}",
            f"version {VERSION}",
            "Print at 100 % (actual size),",
            "no 'fit to page', on matt paper.",
        ),
        (
            "Measure the outermost squares",
            f"edge to edge: {across:.1f} mm across,",
            f"{down:.1f} mm down. If it is otherwise:",
            f"--printed {across - 0.6:.1f}x{down - 0.8:.1f}, for example",
        ),
        ("Use a matt pouch: gloss glares.", "Wipe and sanitise it as you do", "the board."),
        (
            "Do not serve pieces that touched",
            "bare paper. Your local food-safety",
            "code and your instructor come first.",
        ),
    )
    first, second, *_ = (layout.squares[tag_id] for tag_id in sorted(layout.squares))
    rows = (first[0][1] + 5.0, -first[2][1] + 5.0)  # 5 mm under the upper edge of a row of squares
    places = [(corners[1][0] + 3.0, y) for y in rows for corners in (first, second)]
    marks: list[Mark] = list(_printed(layout))
    for (x, y), lines in zip(places, blocks, strict=True):
        for k, text in enumerate(lines):
            marks.append(Words(float(x), float(y) + 4.2 * k, text, 2.8, bold=lines is blocks[0] and k == 0))
    return Sheet(f"cutcheck {layout.name}", layout.size_mm, tuple(marks))


def _printed(layout: CardLayout) -> Iterator[Mark]:
    """What the camera looks for: squares, checkerboard and greys."""
    for tag_id, corners in layout.squares.items():
        yield Fill(square_cells(tag_id, corners), 0)
    if layout.fields:
        yield Fill(layout.fields, 0)
    for patch in layout.greys:
        yield Fill((patch.area,), patch.srgb)


def _small_print(layout: CardLayout) -> Iterator[Mark]:
    """For the eye: the number above the checkerboard, the check at the left, a ruler at the right."""
    yield Words(0, -28.5, layout.name, 4.0, "middle")
    across, down = layout.print_check_mm
    yield Words(-34.5, -2.0, "print check", 2.4, "middle")
    yield Words(-34.5, 2.0, f"{across:.1f} × {down:.1f} mm", 2.4, "middle")
    start, length = 24.5, 20
    yield Line(start, -1.0, start + length, -1.0, 0.15)
    for mm in range(length + 1):
        tick = 2.6 if mm % 10 == 0 else 1.9 if mm % 5 == 0 else 1.2
        yield Line(start + mm, -1.0 - tick, start + mm, -1.0, 0.12)
    for mm in (0, 10, 20):
        yield Words(start + mm, 2.2, f"{mm}", 2.4, "middle")
    yield Words(start + length / 2, 5.4, "millimetres", 2.0, "middle")


def _moved(marks: Sequence[Mark], place: tuple[float, float]) -> Iterator[Mark]:
    dx, dy = place
    for mark in marks:
        if isinstance(mark, Fill):
            moved = (Rectangle(a.left + dx, a.top + dy, a.right + dx, a.bottom + dy) for a in mark.areas)
            yield mark._replace(areas=tuple(moved))
        elif isinstance(mark, Line):
            yield mark._replace(x1=mark.x1 + dx, y1=mark.y1 + dy, x2=mark.x2 + dx, y2=mark.y2 + dy)
        else:
            yield mark._replace(x=mark.x + dx, y=mark.y + dy)


def _cutting_lines(paper: tuple[float, float]) -> Iterator[Mark]:
    columns, rows = PAGE_GRID
    right, bottom = columns * CARD_MM[0] / 2, rows * CARD_MM[1] / 2
    for k in range(columns + 1):
        x = k * CARD_MM[0] - right
        if abs(x) < paper[0] / 2:  # on A4 the outer ones are the paper's own edges
            yield Line(x, -bottom - 3, x, bottom + 3, 0.1, _CUT_GREY)
    for k in range(rows + 1):
        y = k * CARD_MM[1] - bottom
        yield Line(-right, y, right, y, 0.1, _CUT_GREY)


def _instructions(check: tuple[float, float], full: bool, copies: bool) -> Iterator[Mark]:
    """How to print, check, cut and keep the cards: above and below them, never on them."""
    edge = PAGE_GRID[1] * CARD_MM[1] / 2
    across, down = check
    where = (
        "edge to edge of the outermost black squares" if full else "edge to edge of one card's black squares"
    )
    left = -PAGE_CHECK_MM[0] / 2
    above = (
        f"cutcheck reference cards, version {VERSION}. {_PRINT}",
        f"Then measure, {where}: {across:.1f} mm across, {down:.1f} mm down.",
        _PRINTED.format(across - 0.6, down - 0.8),
    )
    for k, text in enumerate(above):
        yield Words(left, -edge - 18.5 + 4.6 * k, text, _SMALL + (0.2 if k == 0 else 0), bold=k == 0)
    if full:
        yield from _dimension(left, -left, -edge - 5.0, f"{across:.1f} mm")
    for k, text in enumerate(_CARE):
        line = text.format(copies=_COPIES if copies else "")
        yield Words(left, edge + 7.0 + 4.6 * k, line, _SMALL)
    yield from _sketch(-left - 20, edge + 4, check, full)


def _dimension(x1: float, x2: float, y: float, text: str) -> Iterator[Mark]:
    """A horizontal dimension line from ``x1`` to ``x2`` with its figure in a gap in the middle."""
    gap = 11.0
    for x in (x1, x2):
        yield Line(x, y - 1.5, x, y + 1.5, 0.15)
    yield Line(x1, y, -gap, y, 0.15)
    yield Line(gap, y, x2, y, 0.15)
    yield Words(0, y + 1.0, text, _SMALL, "middle")


def _sketch(x: float, y: float, check: tuple[float, float], full: bool) -> Iterator[Mark]:
    """A small sketch of what to measure: the cards' outer squares in outline, and two arrows."""
    columns, rows = PAGE_GRID if full else (1, 1)
    width, height = (16.0, 13.2) if full else (16.0, 11.3)
    side = 1.5 if full else 3.6
    for column in range(columns):
        for row in range(rows):
            left, top = x + column * width / columns, y + row * height / rows
            for dx in (0.6, width / columns - 0.6 - side):
                for dy in (0.4, height / rows - 0.4 - side):
                    yield from _outline(left + dx, top + dy, side)
    x1, x2, y1, y2 = x + 0.6, x + width - 0.6, y + 0.4, y + height - 0.4
    below, beside = y2 + 1.6, x2 + 1.6
    yield Line(x1, below, x2, below, 0.12)
    yield Line(beside, y1, beside, y2, 0.12)
    for end in (x1, x2):
        yield Line(end, below - 0.8, end, below + 0.8, 0.12)
    for end in (y1, y2):
        yield Line(beside - 0.8, end, beside + 0.8, end, 0.12)
    yield Words((x1 + x2) / 2, below + 3.0, f"{check[0]:.1f}", 2.2, "middle")
    yield Words(x1 - 1.5, (y1 + y2) / 2 + 0.8, f"{check[1]:.1f}", 2.2, "end")


def _outline(x: float, y: float, side: float) -> Iterator[Mark]:
    for dx1, dy1, dx2, dy2 in ((0, 0, 1, 0), (1, 0, 1, 1), (1, 1, 0, 1), (0, 1, 0, 0)):
        yield Line(x + side * dx1, y + side * dy1, x + side * dx2, y + side * dy2, 0.12)
