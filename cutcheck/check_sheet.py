"""One page of a check to print or send: the picture, the mark, the spread of each side, what to do."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cutcheck import words
from cutcheck.picture import draw, encode
from cutcheck.records import SIDES, Piece, Result, SideName, SideScore
from cutcheck.report_page import Box, Dot, Page, Plot
from cutcheck.table import headline
from cutcheck.units import MM_PER, Unit, show_range

_PICTURE_PX = 1500
_KINDS = {"in": "circle", "out": "square", "unsure": "diamond", "offcut": "cross", None: "circle"}
_CAUTION = (
    "Advice, not a rule. Knives cut and boards carry germs: your instructor and your local food-safety code "
    "come first. Pieces that lay beside a bare paper card are not served."
)


def check_pdf(
    result: Result,
    pixels: NDArray[np.uint8] | None,
    *,
    unit: Unit = "mm",
    who: str = "",
    paper: str = "a4",
    font: str | None = None,
) -> bytes:
    """The page as PDF. ``pixels`` is the upright photo, (H, W, 3) uint8 BGR; None leaves the picture out.

    ``who`` stands at the top right: name and day. Raises ``bad-option`` for a paper that there is none of, or
    letters that the type face lacks (give a TrueType file as ``font``).
    """
    title = words.cut_title(result.cut.name) if result.cut else "A tray, measured"
    below = [*result.advice, *result.warnings, _CAUTION]
    text = " ".join([title, who, headline(result), *below])
    page = Page(paper, title, text, font)
    page.heading(title, who)
    page.words(headline(result), 9.0, grey=True)
    _mark(page, result)
    notes = [("What to do", result.advice), ("Good to know", result.warnings)]
    needed = sum(page.height_of(line, 9.0, True) for _, lines in notes for line in lines) + 78.0
    scored = {side.side: side for side in result.score.sides} if result.score else {}
    shown = tuple(scored) or tuple(
        s for s in SIDES if any(getattr(p, s).mm is not None for p in result.pieces)
    )
    strip = 74.0
    if pixels is not None:
        room = max(page.room - needed - strip * len(shown) - 14.0, 120.0)
        page.picture(encode(draw(pixels, result, _PICTURE_PX), ".jpg"), room)
    for side in shown:
        if page.room < strip + 40.0:
            page.turn()
        page.top -= strip
        _spread(page, result.pieces, side, scored.get(side), unit, strip)
    page.words(
        "Circle: on size. Square: off size. Diamond: too close to call. Cross: offcut. Line: the mean.",
        7.5,
        grey=True,
    )
    for name, lines in notes:
        if lines:
            page.gap(5.0)
            page.words(name, 10.0, bold=True)
            for line in lines:
                page.words(line, 9.0, bullet=True)
    page.gap(4.0)
    page.words(_CAUTION, 7.5, grey=True)
    return page.finished()


def _mark(page: Page, result: Result) -> None:
    score = result.score
    if score is None:
        page.gap(8.0)
        return
    parts = [f"on size {words.percent(score.on_size)}"]
    if score.evenness is not None:
        parts.append(f"evenness {words.percent(score.evenness)}")
    if score.squareness is not None:
        parts.append(f"squareness {words.percent(score.squareness)}")
    parts.append(f"{words.count(score.counted, 'piece')} counted")
    page.gap(5.0)
    measured = f"measuring leaves {score.mark_low:.0f} to {score.mark_high:.0f}"
    page.heading(f"Mark {score.mark:.0f} of 100", measured, 22.0)
    page.scale(score.mark, score.mark_low, score.mark_high)
    page.words(", ".join(parts), 9.5)
    page.gap(8.0)


def _spread(
    page: Page,
    pieces: tuple[Piece, ...],
    side: SideName,
    score: SideScore | None,
    unit: Unit,
    height: float,
) -> None:
    """A row of dots, one for each piece, over the band of what is on size."""
    per = float(MM_PER[unit])
    seen = sorted(
        ((mm / per, piece) for piece in pieces if (mm := getattr(piece, side).mm) is not None),
        key=lambda pair: pair[0],
    )
    if not seen:
        return
    band = None if score is None else (score.target_mm[0] / per, score.target_mm[1] / per)
    title = f"{(score.label if score else '') or side}, {unit}"
    if score is not None:
        title += f": on size {show_range(*score.target_mm, unit)}, {words.percent(score.share_on_size)} are"
    low, high = min(seen[0][0], *(band or (1e9,))), max(seen[-1][0], *(band or (-1e9,)))
    apart = (high - low) / page.width * 6.5
    ends: list[float] = []
    dots = []
    for value, piece in seen:
        row = next((k for k, end in enumerate(ends) if value - end >= apart), len(ends))
        ends[row : row + 1] = [value]
        dots.append(Dot(value, float(row), _KINDS[piece.verdict]))
    mean = float(np.mean([value for value, _ in seen]))
    plot = Plot(title, dots, band, centre=mean, upright=False)
    page.plot(plot, Box(page.left, page.top, page.width, height - 6.0))
