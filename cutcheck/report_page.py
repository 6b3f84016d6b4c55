"""A page of paper to write a report on, from the top down: words, tables, pictures, and charts in black.

Nothing is told by colour alone, so that a grey printer loses nothing. Lengths on the page are points
(1/72 in); the origin is the lower left corner, as PDF has it.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from reportlab.lib.utils import ImageReader, simpleSplit
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from cutcheck.card import paper_mm
from cutcheck.sheet_files import pdf_fonts

__all__ = ["Box", "Dot", "Page", "Plot"]

_MM = 72 / 25.4
_MARGIN = 14.0 * _MM
_BAND, _PALE, _GREY = 0.86, 0.93, 0.35


class Box(NamedTuple):
    """A place on the page, points."""

    x: float
    y: float
    width: float
    height: float


class Dot(NamedTuple):
    """One value in a plot. ``kind`` is its shape: ``circle``, ``square``, ``diamond`` or ``cross``."""

    x: float
    y: float
    kind: str = "circle"
    low: float | None = None
    high: float | None = None


class Plot(NamedTuple):
    """A plot: dots over a grey band, with a line at each of ``limits`` (dashed) and at ``centre``.

    ``x_names`` are written at both ends below; None leaves a scale of numbers there instead.
    """

    title: str
    dots: Sequence[Dot]
    band: tuple[float, float] | None = None
    centre: float | None = None
    limits: Sequence[float] = ()
    y_range: tuple[float, float] | None = None
    x_names: tuple[str, str] | None = None
    joined: bool = False
    upright: bool = True  # values run upwards; else to the right, and y only stacks the dots


class Page:
    """A page that is filled from the top; ``text`` is all that will be written, to choose a type face."""

    def __init__(self, paper: str, title: str, text: str, font: str | None = None) -> None:
        width, height = (side * _MM for side in paper_mm(paper))
        self.plain, self.bold = pdf_fonts(font, "".join(c for c in text if c.isprintable()))
        self.size = (width, height)
        self._out = io.BytesIO()
        self._canvas = Canvas(self._out, pagesize=self.size, invariant=1)
        self._canvas.setTitle(title)
        self._canvas.setCreator("cutcheck")
        self.left, self.width = _MARGIN, self.size[0] - 2 * _MARGIN
        self.top = self.size[1] - _MARGIN

    @property
    def room(self) -> float:
        """How much height is left."""
        return self.top - _MARGIN

    def finished(self) -> bytes:
        """The PDF."""
        self._canvas.save()
        return self._out.getvalue()

    def turn(self) -> None:
        """Go on on a fresh page."""
        self._canvas.showPage()
        self.top = self.size[1] - _MARGIN

    def gap(self, points: float) -> None:
        """Leave some height empty."""
        self.top -= points

    def heading(self, left: str, right: str = "", size: float = 18.0) -> None:
        """A large line, with a smaller one at its right end."""
        self.top -= size
        self._write(left, self.left, self.top, size, bold=True)
        if right:
            width = stringWidth(right, self.plain, 9.5)
            self._write(right, self.left + self.width - width, self.top, 9.5)
        self.top -= 0.35 * size

    def words(
        self, text: str, size: float = 9.5, *, bold: bool = False, grey: bool = False, bullet: bool = False
    ) -> None:
        """A paragraph over the width."""
        indent = size if bullet else 0.0
        lines = simpleSplit(text, self.bold if bold else self.plain, size, self.width - indent)
        for k, line in enumerate(lines):
            if self.room < 1.3 * size:
                self.turn()
            self.top -= 1.3 * size
            if bullet and k == 0:
                self._canvas.circle(self.left + 0.3 * size, self.top + 0.3 * size, 0.13 * size, fill=1)
            self._write(line, self.left + indent, self.top, size, bold=bold, grey=grey)

    def height_of(self, text: str, size: float = 9.5, bullet: bool = False) -> float:
        """How much height ``words`` would take."""
        width = self.width - (size if bullet else 0.0)
        return 1.3 * size * len(simpleSplit(text, self.plain, size, width))

    def table(self, rows: Sequence[Sequence[str]], shares: Sequence[float], size: float = 9.0) -> None:
        """Rows under a head; ``shares`` are the columns' parts of the width."""
        edges = self.left + self.width * np.concatenate(([0.0], np.cumsum(shares) / sum(shares)))
        for k, row in enumerate(rows):
            self.top -= 1.5 * size
            for x, cell in zip(edges, row, strict=False):
                self._write(cell, float(x), self.top, size, bold=k == 0)
            self._line(self.left, self.top - 0.4 * size, self.left + self.width, self.top - 0.4 * size, 0.4)
        self.top -= 0.6 * size

    def picture(self, jpeg: bytes, most_height: float) -> None:
        """A picture over the width, or as high as may be, in the middle."""
        image = ImageReader(io.BytesIO(jpeg))
        wide, high = image.getSize()
        scale = min(self.width / wide, most_height / high)
        x = self.left + (self.width - wide * scale) / 2
        self.top -= high * scale
        self._canvas.drawImage(image, x, self.top, wide * scale, high * scale)
        self.top -= 6.0

    def scale(self, value: float, low: float, high: float) -> None:
        """A value with its interval on a line from 0 to 100."""
        self.top -= 16.0
        y, across = self.top, self.width / 100.0
        self._line(self.left, y, self.left + self.width, y, 0.6)
        self._canvas.setFillGray(0.6)
        wide = max((high - low) * across, 1.5)
        self._canvas.rect(self.left + low * across, y - 4, wide, 8, fill=1, stroke=0)
        self._canvas.setFillGray(0.0)
        self._canvas.rect(self.left + value * across - 1.2, y - 8, 2.4, 16, fill=1, stroke=0)
        for at in (0, 50, 100):
            width = stringWidth(str(at), self.plain, 8)
            self._write(str(at), self.left + at * across - width * at / 100, y - 17, 8, grey=True)
        self.top -= 22.0

    def plot(self, plot: Plot, box: Box) -> None:
        """A plot in a place, with its title above and its scale beside or below."""
        self._write(plot.title, box.x, box.y + box.height - 8, 8.5, bold=True)
        inner = Box(box.x, box.y + 12, box.width, box.height - 26)
        if plot.upright:
            inner = Box(box.x + 26, inner.y, box.width - 26, inner.height)
        values = [
            v for d in plot.dots for v in (d.y if plot.upright else d.x, d.low, d.high) if v is not None
        ]
        values += [*(plot.band or ()), *plot.limits]
        low, high = plot.y_range or _roomy(values)
        _Drawing(self, plot, inner, low, high).draw()

    def _write(
        self, text: str, x: float, y: float, size: float, *, bold: bool = False, grey: bool = False
    ) -> None:
        self._canvas.setFont(self.bold if bold else self.plain, size)
        self._canvas.setFillGray(_GREY if grey else 0.0)
        self._canvas.drawString(x, y, text)
        self._canvas.setFillGray(0.0)

    def _line(self, x1: float, y1: float, x2: float, y2: float, width: float, dashed: bool = False) -> None:
        self._canvas.setLineWidth(width)
        self._canvas.setDash([4, 3] if dashed else [])
        self._canvas.line(x1, y1, x2, y2)
        self._canvas.setDash([])


class _Drawing:
    """One plot being drawn: ``low`` to ``high`` is the range of its values."""

    def __init__(self, page: Page, plot: Plot, inner: Box, low: float, high: float) -> None:
        self.page, self.plot, self.inner = page, plot, inner
        self.canvas = page._canvas
        self.low, self.high = low, high
        other = [d.x if plot.upright else d.y for d in plot.dots] or [0.0]
        self.other_low, self.other_high = min(other), max(other)

    def draw(self) -> None:
        """Band, scale, lines, dots."""
        if self.plot.band is not None:
            self.canvas.setFillGray(_BAND)
            self.canvas.rect(*self._across(*self.plot.band), fill=1, stroke=0)
            self.canvas.setFillGray(0.0)
        self._ticks()
        for at in self.plot.limits:
            self._rule(at, dashed=True)
        if self.plot.centre is not None:
            self._rule(self.plot.centre, dashed=False)
        places = [self._place(dot) for dot in self.plot.dots]
        if self.plot.joined:
            for (x1, y1), (x2, y2) in pairwise(places):
                self.page._line(x1, y1, x2, y2, 0.4)
        for dot, (x, y) in zip(self.plot.dots, places, strict=True):
            if dot.low is not None and dot.high is not None:
                self.page._line(x, self._at(dot.low), x, self._at(dot.high), 1.2)
            self._shape(dot.kind, x, y)

    def _at(self, value: float) -> float:
        """Where a value lies, along the plot's own direction."""
        share = (value - self.low) / ((self.high - self.low) or 1.0)
        start, length = (
            (self.inner.y, self.inner.height) if self.plot.upright else (self.inner.x, self.inner.width)
        )
        return start + length * share

    def _place(self, dot: Dot) -> tuple[float, float]:
        if not self.plot.upright:
            return self._at(dot.x), self.inner.y + 5 + min(
                7.0, self.inner.height / (self.other_high + 2)
            ) * dot.y
        reach = self.other_high - self.other_low
        share = (dot.x - self.other_low) / reach if reach else 0.5
        return self.inner.x + 6 + (self.inner.width - 12) * share, self._at(dot.y)

    def _across(self, low: float, high: float) -> tuple[float, float, float, float]:
        a, b = self._at(low), self._at(high)
        if self.plot.upright:
            return self.inner.x, a, self.inner.width, b - a
        return a, self.inner.y, b - a, self.inner.height

    def _rule(self, at: float, dashed: bool) -> None:
        place, inner = self._at(at), self.inner
        if self.plot.upright:
            self.page._line(inner.x, place, inner.x + inner.width, place, 0.7, dashed)
        else:
            self.page._line(place, inner.y, place, inner.y + inner.height, 0.7, dashed)

    def _ticks(self) -> None:
        inner, page = self.inner, self.page
        for at, text in _ticks(self.low, self.high):
            place = self._at(at)
            width = stringWidth(text, page.plain, 7)
            if self.plot.upright:
                page._write(text, inner.x - 5 - width, place - 2.5, 7, grey=True)
                page._line(inner.x - 3, place, inner.x, place, 0.4)
            else:
                page._write(text, place - width / 2, inner.y - 9, 7, grey=True)
                page._line(place, inner.y - 2, place, inner.y, 0.4)
        page._line(inner.x, inner.y, inner.x + inner.width, inner.y, 0.4)
        if self.plot.upright:
            page._line(inner.x, inner.y, inner.x, inner.y + inner.height, 0.4)
        if self.plot.x_names is not None:
            first, last = self.plot.x_names
            page._write(first, inner.x, inner.y - 9, 7, grey=True)
            width = stringWidth(last, page.plain, 7)
            page._write(last, inner.x + inner.width - width, inner.y - 9, 7, grey=True)

    def _shape(self, kind: str, x: float, y: float, r: float = 2.6) -> None:
        self.canvas.setLineWidth(0.8)
        self.canvas.setFillGray(1.0)
        if kind == "circle":
            self.canvas.circle(x, y, r, fill=1)
        elif kind == "cross":
            self.page._line(x - r, y - r, x + r, y + r, 0.8)
            self.page._line(x - r, y + r, x + r, y - r, 0.8)
        else:
            points = [(-r, -r), (r, -r), (r, r), (-r, r)]
            if kind == "diamond":
                points = [(0, -1.4 * r), (1.4 * r, 0), (0, 1.4 * r), (-1.4 * r, 0)]
            self.canvas.setFillGray(0.0 if kind == "square" else 0.6)
            path = self.canvas.beginPath()
            path.moveTo(x + points[0][0], y + points[0][1])
            for dx, dy in points[1:]:
                path.lineTo(x + dx, y + dy)
            path.close()
            self.canvas.drawPath(path, fill=1)
        self.canvas.setFillGray(0.0)


def _roomy(values: Sequence[float]) -> tuple[float, float]:
    low, high = min(values), max(values)
    room = 0.06 * (high - low) or 0.5
    return low - room, high + room


def _ticks(low: float, high: float, most: int = 5) -> list[tuple[float, str]]:
    """At most so many round values between two, with their text."""
    rough = (high - low) / most
    power = 10.0 ** np.floor(np.log10(rough))
    step = next(float(power * m) for m in (1.0, 2.0, 5.0, 10.0) if power * m >= rough * (1 - 1e-9))
    digits = max(0, int(-np.floor(np.log10(step) + 1e-9)))
    first = np.ceil(low / step - 1e-9)
    places = (float((first + k) * step) for k in range(most + 1))
    return [(at, f"{at + 0.0:.{digits}f}") for at in places if at <= high + 1e-9 * step]
