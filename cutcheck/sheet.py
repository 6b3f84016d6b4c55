"""A sheet of paper as plain geometry: filled boxes, lines and words at true size.

Millimetres, origin at the middle of the sheet, x right and y down. ``sheet_files`` writes it as PDF, SVG or
PNG; nothing here knows how.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

from cutcheck.card import Rectangle

Anchor = Literal["start", "middle", "end"]


class Fill(NamedTuple):
    """Rectangles filled in one grey (sRGB-coded, 0 to 255), all together: no seam shows where they meet."""

    areas: tuple[Rectangle, ...]
    grey: int


class Line(NamedTuple):
    """A straight line, mm."""

    x1: float
    y1: float
    x2: float
    y2: float
    thickness: float = 0.2
    grey: int = 0


class Words(NamedTuple):
    """One line of text; ``y`` is its baseline and ``size`` the height of the type, mm.

    Text wider than ``widest`` is set in smaller type.
    """

    x: float
    y: float
    text: str
    size: float
    anchor: Anchor = "start"
    bold: bool = False
    grey: int = 0
    widest: float | None = None


Mark = Fill | Line | Words


@dataclass(frozen=True)
class Sheet:
    """One page: its paper's size, mm, and what is printed on it, in the order of printing."""

    title: str
    size_mm: tuple[float, float]
    marks: tuple[Mark, ...]
    is_back: bool = False
