"""Charts of progress: the mark over time, and each side's mean and spread with their limits."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import altair as alt

from cutcheck.control_charts import Chart
from cutcheck.journal import Entry
from cutcheck.page.spread import BAND, INK, ON_DARK
from cutcheck.progress import CutProgress, SideProgress
from cutcheck.units import MM_PER, Unit

DOT, ODD = "#0072b2", "#d55e00"
HEIGHT_PX = 220


def mark_chart(cut: CutProgress, ink: str = INK["light"]) -> alt.LayerChart | alt.FacetChart:
    """The mark of each tray with what measuring leaves open, from 0 to 100."""
    rows: list[dict[str, Any]] = [
        {"when": e.practised, "value": e.mark, "low": e.mark_low, "high": e.mark_high, "check": e.number}
        for e in cut.entries
    ]
    scale = alt.Scale(domain=[0, 100])
    return _layers(rows, scale, _axis("mark", ink), cut.mark_chart, ink, "mark", ".0f", limits=False)


def mean_chart(
    side: SideProgress, entries: Sequence[Entry], unit: Unit, ink: str = INK["light"]
) -> alt.LayerChart | alt.FacetChart:
    """The mean of one side in each tray over the band that counts as on size, with the chart's limits."""
    when, per = {e.number: e.practised for e in entries}, float(MM_PER[unit])
    rows: list[dict[str, Any]] = [
        {"when": when[n], "value": m / per, "low": (m - g) / per, "high": (m + g) / per, "check": n}
        for n, m, g in zip(side.checks, side.means_mm, side.give_mm, strict=True)
    ]
    low, high = side.low_mm / per, side.high_mm / per
    every = [low, high, *(r["low"] for r in rows), *(r["high"] for r in rows)]
    scale = _scale(every)
    band = (
        alt.Chart({"values": [{"low": low, "high": high}]})
        .mark_rect(color=BAND, opacity=0.18, stroke=BAND, strokeOpacity=0.9)
        .encode(y=alt.Y("low:Q", scale=scale), y2="high:Q")
    )
    axis = _axis(f"mean, {unit}", ink)
    return _layers(rows, scale, axis, side.mean_chart, ink, "mean", ".2f", per=per, below=[band])


def spread_chart(
    side: SideProgress, entries: Sequence[Entry], unit: Unit, ink: str = INK["light"]
) -> alt.LayerChart | alt.FacetChart | None:
    """The spread of one side within each tray; None where no tray has two pieces."""
    when, per = {e.number: e.practised for e in entries}, float(MM_PER[unit])
    rows: list[dict[str, Any]] = [
        {"when": when[n], "value": s / per, "check": n}
        for n, s in zip(side.checks, side.spreads_mm, strict=True)
        if s is not None
    ]
    if not rows:
        return None
    limit = side.spread_chart.limits.high / per if side.spread_chart else 0.0
    top = 1.1 * max(limit, side.plus_minus_mm / per * 0.6, *(r["value"] for r in rows))
    scale = alt.Scale(domain=[0, top], nice=True)
    return _layers(
        rows, scale, _axis(f"spread, {unit}", ink), side.spread_chart, ink, "spread", ".2f", per=per
    )


def _layers(
    rows: list[dict[str, Any]],
    scale: alt.Scale,
    y_axis: alt.Axis,
    chart: Chart | None,
    ink: str,
    what: str,
    digits: str,
    *,
    per: float = 1.0,
    limits: bool = True,
    below: Sequence[Any] = (),
) -> alt.LayerChart | alt.FacetChart:
    """Dots joined in the order of practice, their give or take, the chart's lines; odd ones are diamonds."""
    odd = {signal.at: signal for signal in chart.signals} if chart and limits else {}
    for k, row in enumerate(rows):
        row["odd"] = "odd" if k in odd else "usual"
        row["why"] = f"{odd[k].words} ({odd[k].rule})" if k in odd else "as usual"
    axis = alt.Axis(title=None, labelColor=ink, labelFontSize=13, tickCount=5, grid=False, format="%d %b")
    x = alt.X("when:T", axis=axis, scale=alt.Scale(padding=14))
    y = alt.Y("value:Q", scale=scale, axis=y_axis)
    base = alt.Chart({"values": rows})
    dark = ink == INK["dark"]
    dot, odd_dot = (ON_DARK["in"], ON_DARK["out"]) if dark else (DOT, ODD)
    layers: list[Any] = list(below)
    if chart is not None and limits:
        lines = [
            {"at": chart.limits.low / per, "kind": "limit"},
            {"at": chart.limits.centre / per, "kind": "centre"},
            {"at": chart.limits.high / per, "kind": "limit"},
        ]
        layers.append(
            alt.Chart({"values": lines})
            .mark_rule(color=ink, strokeWidth=1.5)
            .encode(
                y=alt.Y("at:Q", scale=scale),
                strokeDash=alt.StrokeDash(
                    "kind:N",
                    scale=alt.Scale(domain=["centre", "limit"], range=[[1, 0], [6, 4]]),
                    legend=None,
                ),
            )
        )
    if "low" in rows[0]:
        layers.append(
            base.mark_rule(color=dot, strokeWidth=3, opacity=0.45).encode(x=x, y="low:Q", y2="high:Q")
        )
    layers.append(base.mark_line(color=dot, strokeWidth=1, opacity=0.5).encode(x=x, y=y))
    layers.append(
        base.mark_point(filled=True, size=90, opacity=1, stroke="#222", strokeWidth=0.5).encode(
            x=x,
            y=y,
            shape=alt.Shape(
                "odd:N", scale=alt.Scale(domain=["usual", "odd"], range=["circle", "diamond"]), legend=None
            ),
            color=alt.Color(
                "odd:N", scale=alt.Scale(domain=["usual", "odd"], range=[dot, odd_dot]), legend=None
            ),
            tooltip=[
                alt.Tooltip("check:N", title="check"),
                alt.Tooltip("when:T", title="when", format="%d %b %Y"),
                alt.Tooltip("value:Q", title=what, format=digits),
                alt.Tooltip("why:N", title="run"),
            ],
        )
    )
    return alt.layer(*layers).properties(height=HEIGHT_PX, width="container")


def _axis(title: str, ink: str) -> alt.Axis:
    return alt.Axis(
        title=title, titleColor=ink, titleFontSize=13, labelColor=ink, labelFontSize=13, tickCount=5,
        gridOpacity=0.4,
    )  # fmt: skip


def _scale(values: Sequence[float]) -> alt.Scale:
    low, high = min(values), max(values)
    room = 0.08 * (high - low) or 0.5
    return alt.Scale(domain=[low - room, high + room], nice=False, zero=False)
