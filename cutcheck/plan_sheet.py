"""The prep plan as a page to pin up: what to buy and weigh, the order of work, the use of trimmings.

One page, A4 or Letter, in black on white; type shrinks to fit, and a very long list goes on to further pages.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib.colors import Color
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, Frame, PageTemplate, Paragraph, Spacer, Table, TableStyle
from reportlab.platypus.doctemplate import BaseDocTemplate

from cutcheck.card import paper_mm
from cutcheck.cutting import MIDDLE
from cutcheck.errors import CutcheckError
from cutcheck.plan import Item, Plan
from cutcheck.plan_table import duration, sources, yields
from cutcheck.weights import WeightUnit, show_weight
from cutcheck.whole_file import write_whole

__all__ = ["plan_pdf", "save_plan"]

_POINTS_PER_MM = 72 / 25.4
_MARGIN_MM = 11.0
# Type sizes in points, largest first, and whether reasons are told: read at arm's length, down to what is
# still legible. Reasons go before the type gets small.
_TYPE = (
    *((10.5, True), (9.8, True), (9.1, True), (8.5, True)),
    *((8.5, False), (7.9, False), (7.3, False), (6.8, False)),
)
_LONG_TYPE = 8.5  # where one page won't do anyway
# Less than this is not worth a line, g.
_CRUMBS_G = 5.0
_GREY, _PALE = Color(0.35, 0.35, 0.35), Color(0.93, 0.93, 0.92)
_HEAD = ("", "Buy", "Peeled, trimmed", "Squared off", "Cut", "Pieces", "Weighed")


def save_plan(
    plan: Plan, path: str | Path, unit: WeightUnit = "auto", paper: str = "a4", heading: str = ""
) -> Path:
    """Write the page; returns where. ``bad-option`` for an unknown paper or a place that can't be written."""
    write_whole(path, plan_pdf(plan, unit, paper, heading))
    return Path(path)


def plan_pdf(plan: Plan, unit: WeightUnit = "auto", paper: str = "a4", heading: str = "") -> bytes:
    """The page as PDF. ``heading`` is a line beside the title, a date or a class."""
    page = tuple(side * _POINTS_PER_MM for side in paper_mm(paper))
    if not plan.items:
        raise CutcheckError(
            "bad-option",
            problem="There is nothing to print: no line could be planned.",
            remedy="Mend the list.",
        )
    inner = tuple(side - 2 * _MARGIN_MM * _POINTS_PER_MM for side in page)
    for size, reasons in _TYPE:
        story = _Story(plan, unit, heading, size, inner[0], reasons, two_columns=True).flowables()
        if _height(story, inner[0]) <= inner[1]:
            break
    else:  # too long for one page: two columns can't be broken over pages, so they stand one below the other
        story = _Story(plan, unit, heading, _LONG_TYPE, inner[0], False, two_columns=False).flowables()
    out = io.BytesIO()
    margin = _MARGIN_MM * _POINTS_PER_MM
    document = BaseDocTemplate(out, pagesize=page, title="Prep plan", creator="cutcheck", invariant=1)
    frame = Frame(margin, margin, *inner, leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0)
    document.addPageTemplates(PageTemplate(frames=[frame], onPage=_page_number))
    document.build(story)
    return out.getvalue()


def _height(story: Sequence[Flowable], width: float) -> float:
    """Height of the story in points, with the space before and after each part."""
    tall = 0.0
    for part in story:
        tall += (
            float(part.wrap(width, 10_000)[1]) + float(part.getSpaceBefore()) + float(part.getSpaceAfter())
        )
    return tall


def _page_number(canvas: Canvas, document: Any) -> None:
    if document.page > 1:
        canvas.setFont("Helvetica", 7)
        canvas.drawRightString(document.pagesize[0] - 30, 18, f"page {document.page}")


@dataclass(frozen=True, slots=True)
class _Story:
    """The parts of the page at one size of type, in points."""

    plan: Plan
    unit: WeightUnit
    heading: str
    size: float
    width: float
    reasons: bool
    two_columns: bool

    def flowables(self) -> list[Flowable]:
        title = Table(
            [
                [
                    self._text("Prep plan", 2.2, bold=True),
                    self._text(self._under(), 0.95, grey=True, right=True),
                ]
            ],
            colWidths=[self.width * 0.36, self.width * 0.64],
            style=TableStyle([("VALIGN", (0, 0), (-1, -1), "BOTTOM"), *_no_padding()]),
        )
        below = [*self._order(), *self._cautions()], [*self._trimmings(), *self._time()]
        parts: list[Flowable] = [title, Spacer(0, self.size * 0.6), self._weighing(), Spacer(0, self.size)]
        if self.two_columns:
            style = [("VALIGN", (0, 0), (-1, -1), "TOP"), *_no_padding(), ("LEFTPADDING", (1, 0), (1, 0), 14)]
            columns = Table([list(below)], colWidths=[self.width / 2] * 2, style=TableStyle(style))
            parts.append(columns)
        else:
            parts += [*below[0], *below[1]]
        last = f"{self.plan.defer} Yields: {sources(self.plan)}"
        parts += [Spacer(0, self.size * 0.7), self._text(last, 0.76, grey=True)]
        return parts

    def _under(self) -> str:
        words = [
            self.heading,
            f"{self.plan.standard} standard",
            "weigh as you go, and write down what you get",
        ]
        return " · ".join(w for w in words if w)

    def _weighing(self) -> Table:
        """Two rows for each item: what to weigh, and in small over the whole width where it comes from."""
        rows: list[list[Any]] = [
            [self._text(h, 0.9, bold=True, right=0 < k < 6) for k, h in enumerate(_HEAD)]
        ]
        style: list[tuple[Any, ...]] = [
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LEADING", (0, 0), (-1, -1), 1),  # empty cells must not make a row taller than its words
            ("BACKGROUND", (0, 0), (-1, 0), _PALE),
            ("LINEBELOW", (0, 0), (-1, 0), 0.5, _GREY),
            ("LEFTPADDING", (0, 0), (-1, -1), 3),
            ("RIGHTPADDING", (0, 0), (-1, -1), 3),
            ("TOPPADDING", (0, 0), (-1, -1), 2),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 1),
        ]
        for item in self.plan.items:
            at = {step.step: show_weight(step.grams, self.unit) for step in item.steps}
            figures = [at.get(step, "") for step in ("buy", "prepared", "squared", "cut")]
            pieces = "" if item.pieces is None else f"{item.pieces:,}"
            cells = [self._text(f, 1.1, bold=k == 0, right=True) for k, f in enumerate(figures)]
            name = self._text(item.title[:1].upper() + item.title[1:], 1.15, bold=True)
            first, second = len(rows), len(rows) + 1
            rows += [[name, *cells, self._text(pieces, 1.1, right=True), ""], [self._small(item), *[""] * 6]]
            style += [
                ("SPAN", (0, second), (5, second)),
                ("SPAN", (6, first), (6, second)),
                ("BOX", (6, first), (6, second), 0.5, _GREY),
                ("LINEBELOW", (0, second), (-1, second), 0.5, _GREY),
                ("BOTTOMPADDING", (0, second), (-1, second), self.size * 0.35),
                ("NOSPLIT", (0, first), (-1, second)),
            ]
        widths = [self.width * share for share in (0.35, 0.105, 0.12, 0.105, 0.1, 0.1, 0.12)]
        return Table(rows, colWidths=widths, style=TableStyle(style), repeatRows=1)

    def _small(self, item: Item) -> list[Flowable]:
        """What an item is in French, how many, its sizes, where its figures come from, and what to know."""
        count = f"about {item.vegetables} {item.unit_size.name}" if item.vegetables and item.unit_size else ""
        known = [item.vegetable.french, count, item.sizes, item.yield_text]
        more = [yields(item, self.unit)] if item.sources_differ else []
        if item.kept_share is not None and item.squared_share is not None and item.squared_share < 1:
            more.append(f"Whole pieces are {100 * item.kept_share:.0f} % of what is {item.state}.")
        more += [note for note in item.notes if note != MIDDLE]
        first, rest = "; ".join(k for k in known if k) + ".", " ".join(more)
        if not self.reasons:  # a long list: all in one paragraph
            return [self._text(f"{first} {rest}", 0.82)]
        return [self._text(first, 0.85), *([self._text(rest, 0.8, grey=True)] if rest else [])]

    def _order(self) -> list[Flowable]:
        found = [self._heading("Order of work")]
        for number, step in enumerate(self.plan.order, 1):
            found.append(self._text(f"{number}. {step.statement.text}", 1.0, indent=1.5))
            if self.reasons:
                found.append(self._text(step.why, 0.8, grey=True, indent=1.5, hanging=False))
        return found

    def _trimmings(self) -> list[Flowable]:
        found = [self._heading("Trimmings")]
        for vegetable, trim in self.plan.trims:
            if trim.grams >= _CRUMBS_G:
                lead = f"{vegetable.english}, {trim.part}, {show_weight(trim.grams, self.unit)}"
                found.append(self._text(f"{trim.use}.", 0.95, indent=1, lead=lead))
        return found

    def _time(self) -> list[Flowable]:
        timed = [i for i in self.plan.items if i.minutes is not None]
        if not timed:
            return []
        texts = [f"{i.title}: {duration(i.minutes or 0)}" for i in timed]
        return [
            self._heading("Cutting time, at your own pace"),
            *(self._text(t, 0.95, indent=1) for t in texts),
        ]

    def _cautions(self) -> list[Flowable]:
        usual = ("claw grip", "board that can't slip", "falling knife", "sink", "raw meat apart")
        chosen = [c for c in self.plan.cautions if c.produce or c.allergens or c.topic in usual]
        found = [self._heading("Mind")]
        return [*found, *(self._text(c.statement.text, 0.9, indent=1, lead=c.topic) for c in chosen)]

    def _heading(self, words: str) -> Paragraph:
        return self._text(words, 1.25, bold=True, before=0.5)

    def _text(
        self,
        words: str,
        scale: float,
        *,
        bold: bool = False,
        grey: bool = False,
        right: bool = False,
        indent: float = 0.0,
        hanging: bool = True,
        before: float = 0.0,
        lead: str = "",
    ) -> Paragraph:
        points = self.size * scale
        style = ParagraphStyle(
            "plan",
            fontName="Helvetica-Bold" if bold else "Helvetica",
            fontSize=points,
            leading=points * 1.22,
            textColor=_GREY if grey else Color(0, 0, 0),
            alignment=2 if right else 0,
            leftIndent=indent * self.size,
            firstLineIndent=-indent * self.size if hanging else 0,
            spaceBefore=before * self.size,
            spaceAfter=0.18 * self.size,
        )
        first = f"<b>{escape(lead)}:</b> " if lead else ""
        return Paragraph(first + escape(words), style)


def _no_padding() -> list[tuple[Any, ...]]:
    return [(f"{side}PADDING", (0, 0), (-1, -1), 0) for side in ("LEFT", "RIGHT", "TOP", "BOTTOM")]
