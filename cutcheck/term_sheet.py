"""A term on paper: for each cut of a cook the mark, the mean and the spread over time, and what they say."""

from __future__ import annotations

import numpy as np

from cutcheck import progress_table
from cutcheck.control_charts import SOURCES, Chart
from cutcheck.progress import CutProgress, Progress, SideProgress
from cutcheck.report_page import Box, Dot, Page, Plot
from cutcheck.units import MM_PER, Unit

_PLOT = 118.0
_FOOT = (
    "Dots joined in the order of practice, bars: what measuring leaves open. Grey band: on size. Dashed: "
    "limits from the differences between trays; a diamond marks a run by the rules of {rules}. Spreads have "
    "the measuring noise taken out. Advice, not a rule: your instructor and your local food-safety code come "
    "first."
)


def term_pdf(progress: Progress, *, unit: Unit = "mm", paper: str = "a4", font: str | None = None) -> bytes:
    """The report as PDF: three or four cuts to a page, the one practised last first."""
    said = [progress_table.sayings(cut, unit) for cut in progress.cuts]
    titles = [progress_table.title(cut) for cut in progress.cuts]
    empty = progress_table.whole(progress, unit) if not progress.cuts else ""
    foot = _FOOT.format(rules=SOURCES["western-electric"])
    text = " ".join([progress.cook.label, empty, foot, *titles, *(line for lines in said for line in lines)])
    page = Page(paper, f"Progress of {progress.cook.label}", text, font)
    page.heading("Progress", progress.cook.label)
    if empty:
        page.words(empty)
    for cut, title, lines in zip(progress.cuts, titles, said, strict=True):
        needed = _PLOT + 26.0 + sum(page.height_of(line, 8.5, True) for line in lines)
        if page.room < needed + 36.0:
            page.turn()
        page.gap(6.0)
        page.words(title, 11.0, bold=True)
        for line in lines:
            page.words(line, 8.5, bullet=True)
        page.gap(6.0)
        _plots(page, cut, unit)
    page.gap(4.0)
    page.words(foot, 7.5, grey=True)
    return page.finished()


def _plots(page: Page, cut: CutProgress, unit: Unit) -> None:
    """Three plots side by side: the mark, and mean and spread of the weakest side."""
    page.top -= _PLOT
    third = page.width / 3.0
    boxes = [Box(page.left + k * third, page.top, third - 10.0, _PLOT) for k in range(3)]
    ends = (cut.entries[0].practised[:10], cut.entries[-1].practised[:10])
    marks = [
        Dot(time, e.mark or 0.0, "circle", e.mark_low, e.mark_high)
        for time, e in zip(cut.times, cut.entries, strict=True)
    ]
    page.plot(Plot("mark", marks, y_range=(0.0, 100.0), x_names=ends, joined=True), boxes[0])
    side = cut.weakest
    if side is None:
        return
    per = float(MM_PER[unit])
    means = [m / per for m in side.means_mm]
    gives = [g / per for g in side.give_mm]
    kinds = _kinds(side.mean_chart, len(means))
    dots = [
        Dot(t, m, kind, m - g, m + g) for t, m, g, kind in zip(side.times, means, gives, kinds, strict=True)
    ]
    band = (side.low_mm / per, side.high_mm / per)
    centre, limits = _lines(side.mean_chart, per)
    name = f"mean of the {side.label}, {unit}"
    page.plot(Plot(name, dots, band, centre, limits, x_names=ends, joined=True), boxes[1])
    _spread_plot(page, side, unit, ends, boxes[2])


def _spread_plot(page: Page, side: SideProgress, unit: Unit, ends: tuple[str, str], box: Box) -> None:
    per = float(MM_PER[unit])
    known = [(t, s / per) for t, s in zip(side.times, side.spreads_mm, strict=True) if s is not None]
    if not known:
        return
    kinds = _kinds(side.spread_chart, len(known))
    dots = [Dot(t, s, kind) for (t, s), kind in zip(known, kinds, strict=True)]
    centre, limits = _lines(side.spread_chart, per)
    top = 1.1 * float(np.max([*limits, *(s for _, s in known), 1e-3]))
    plot = Plot(
        f"spread of the {side.label}, {unit}",
        dots,
        centre=centre,
        limits=limits,
        y_range=(0.0, top),
        x_names=ends,
        joined=True,
    )
    page.plot(plot, box)


def _kinds(chart: Chart | None, count: int) -> list[str]:
    odd = {signal.at for signal in chart.signals} if chart else set()
    return ["diamond" if k in odd else "circle" for k in range(count)]


def _lines(chart: Chart | None, per: float) -> tuple[float | None, tuple[float, ...]]:
    if chart is None:
        return None, ()
    return chart.limits.centre / per, (chart.limits.low / per, chart.limits.high / per)
