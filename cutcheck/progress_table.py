"""Progress in plain words and as plain text: what changed, how sure that is, and what can't be told yet."""

from __future__ import annotations

from typing import Any

import numpy as np

from cutcheck import table, words
from cutcheck.control_charts import SOURCES, Chart
from cutcheck.progress import (
    FEWEST_FOR_LIMITS,
    FEWEST_FOR_TREND,
    RECENT,
    CutProgress,
    Progress,
    SideProgress,
)
from cutcheck.trend import Trend
from cutcheck.units import Unit, show_length, show_range

# After the mark, at most so many things are said of a cut.
MOST = 3
PACE_CAUTION = "Speed comes after control: go faster only while the mark holds."


def whole(progress: Progress, unit: Unit = "mm", *, capability: bool = False) -> str:
    """The progress of a cook for a terminal."""
    if not progress.cuts:
        return (
            f"{progress.cook.label} has no marked check in the journal yet.\n"
            "Keep one with 'cutcheck check PHOTO --cut NAME --keep --cook NAME'."
        )
    parts = [
        f"{progress.cook.label}: {words.count(sum(len(c.entries) for c in progress.cuts), 'marked check')}"
    ]
    parts += [cut_text(cut, unit, capability=capability) for cut in progress.cuts]
    parts.append(f"Runs are told by the rules of {SOURCES['western-electric']}.")
    return "\n\n".join(parts)


def cut_text(cut: CutProgress, unit: Unit = "mm", *, capability: bool = False) -> str:
    """One cut: its title, what is to be said, a table of its sides."""
    lines = [title(cut), *(f"  {line}" for line in sayings(cut, unit))]
    rows = [["side", f"on size ({unit})", "mean lately", "spread lately", "trays"]]
    for side in cut.sides:
        spread = "-" if side.spread_mm is None else _figure(side.spread_mm, unit)
        mean = _figure(float(np.mean(side.means_mm[-RECENT:])), unit)
        band = f"{_figure(side.low_mm, unit)} to {_figure(side.high_mm, unit)}"
        rows.append([side.label, band, mean, spread, str(len(side.checks))])
    text = "\n".join(lines) + "\n" + table.columns(rows)
    if capability:
        text += "\n" + "\n".join(f"  {line}" for line in capability_lines(cut))
    return text


def title(cut: CutProgress) -> str:
    """The cut, its standard, how many trays from when to when."""
    first, last = cut.entries[0].practised[:10], cut.entries[-1].practised[:10]
    when = first if first == last else f"{first} to {last}"
    trays = words.count(len(cut.entries), "tray")
    return f"{words.cut_title(cut.cut)} ({cut.standard} standard), {trays}, {when}"


def sayings(cut: CutProgress, unit: Unit = "mm") -> list[str]:
    """What the trays say together, in sentences; at most a few, the mark first."""
    said = [mark_saying(cut)]
    if len(cut.entries) < FEWEST_FOR_TREND:
        return said
    # what is off first, then what changes, then what looks odd
    groups = [side_sayings(cut, side, unit) for side in cut.sides]
    told = [line for k in range(3) for group in groups for line in group[k]]
    if cut.mark_chart is not None and not _is_sure(cut.mark_trend):
        told += run_sayings("mark", cut.mark_chart, [entry.number for entry in cut.entries])
    return said + told[:MOST]


def mark_saying(cut: CutProgress) -> str:
    """The mark's trend in one sentence, or how many trays are wanting."""
    count = len(cut.entries)
    last = cut.entries[-1]
    now = f"The last mark is {last.mark:.0f}"
    if last.mark_low is not None and last.mark_high is not None:
        now += f" ({last.mark_low:.0f} to {last.mark_high:.0f})"
    if cut.mark_trend is None:
        return f"{now}. {too_few(count)}"
    return f"{now}. {trend_words('The mark', cut.mark_trend, cut.unit, _marks)}"


def too_few(count: int) -> str:
    """That nothing is said of a trend yet."""
    return (
        f"Too few yet to tell a trend from luck: {words.count(count, 'tray')}, {FEWEST_FOR_TREND} are needed."
    )


def side_sayings(cut: CutProgress, side: SideProgress, unit: Unit) -> tuple[list[str], list[str], list[str]]:
    """What is to be said of one side: what is off, what changes, and runs where no change explains them."""

    def length(value: float) -> str:
        return show_length(abs(value), unit) if abs(value) >= 0.05 else "less than 0.1 mm"

    off, changes, runs = [], [], []
    of = f"of the {side.label}"
    if side.spread_trend is not None and side.spread_trend.sure:
        steadier = side.spread_trend.slope < 0
        change = trend_words(f"The spread {of}", side.spread_trend, cut.unit, _spread(unit))
        changes.append(f"{change} {'Steadier.' if steadier else 'Less steady.'}")
    if side.mean_trend is not None and side.mean_trend.sure:
        changes.append(trend_words(f"The mean {of}", side.mean_trend, cut.unit, _spread(unit)))
    if abs(side.bias_mm) > 0.5 * side.plus_minus_mm:
        how = "over" if side.bias_mm > 0 else "under"
        meant = show_range(side.low_mm, side.high_mm, unit)
        off.append(
            f"Size: the mean {of} in the last trays is {length(side.bias_mm)} {how} the middle of {meant}."
        )
    if side.spread_mm is not None and side.spread_mm > 0.6 * side.plus_minus_mm:
        verb = "vary" if side.label == "sides" or " and " in side.label else "varies"
        off.append(
            f"Steadiness: the {side.label} {verb} by {length(2 * side.spread_mm)} either way within a tray, "
            f"and {length(side.plus_minus_mm)} is allowed."
        )
    if side.mean_chart is not None and not _is_sure(side.mean_trend):
        runs += run_sayings(f"mean {of}", side.mean_chart, side.checks)
    if side.spread_chart is not None and not _is_sure(side.spread_trend):
        seen = [n for n, s in zip(side.checks, side.spreads_mm, strict=True) if s is not None]
        runs += run_sayings(f"spread {of}", side.spread_chart, seen)
    return off, changes, runs


def trend_words(what: str, found: Trend, unit: str, amount: Any) -> str:
    """A trend in plain words: how big, between what, and how sure."""
    low, high = amount(found.slope_low), amount(found.slope_high)
    if not found.sure:
        return (
            f"{what} shows no clear change: anything from {low} to {high} a {unit} would fit. It may be luck."
        )
    way = "rises" if found.slope > 0 else "falls"
    chance = "less than 1 time in 100" if found.p < 0.01 else f"{100 * found.p:.0f} times in 100"
    between = f"{low} to {high}"
    if found.slope_low * found.slope_high > 0:
        ends = sorted((abs(found.slope_low), abs(found.slope_high)))
        between = " to ".join(amount(end).lstrip("+") for end in ends)
    return (
        f"{what} {way} by {amount(abs(found.slope)).lstrip('+')} a {unit} ({between}); "
        f"luck alone would look so {chance}."
    )


def _is_sure(found: Trend | None) -> bool:
    return found is not None and found.sure


def run_sayings(what: str, chart: Chart, checks: Any) -> list[str]:
    """The latest run of a chart, if it is among the last five trays; the older ones are history."""
    late = [signal for signal in chart.signals if signal.at >= len(chart.values) - 5]
    if not late:
        return []
    signal = late[-1]
    way = {True: "upwards", False: "downwards", None: ""}[signal.higher]
    return [
        f"Something changed in the {what} {way}".rstrip()
        + f", at check {checks[signal.at]}: {signal.words} ({signal.rule})."
    ]


def capability_lines(cut: CutProgress) -> list[str]:
    """Cp and Cpk for who asks."""
    lines = []
    for side in cut.sides:
        found = side.capability
        if found is None:
            lines.append(f"{side.label}: too few trays for Cp and Cpk ({FEWEST_FOR_LIMITS} are needed)")
            continue
        lines.append(
            f"{side.label}: Cp {found.cp:.2f} ({found.cp_low:.2f} to {found.cp_high:.2f}), "
            f"Cpk {found.cpk:.2f} ({found.cpk_low:.2f} to {found.cpk_high:.2f}), bounds at 95 %"
        )
    return lines


def tray_rows(cut: CutProgress) -> list[dict[str, str]]:
    """One row for each tray, the last first, for a table."""
    return [
        {
            "check": str(entry.number),
            "when": entry.practised[:10],
            "mark": "-" if entry.mark is None else f"{entry.mark:.0f}",
            "on size": words.percent(entry.on_size),
            "pieces": "-" if entry.counted is None else str(entry.counted),
            "note": entry.extras.note,
        }
        for entry in reversed(cut.entries)
    ]


def pace(cut: CutProgress) -> list[str]:
    """Pieces a minute of the trays that have minutes, with the caution; and waste where it was weighed."""
    lines = []
    timed = [(e.extras.minutes, e.counted) for e in cut.entries if e.extras.minutes and e.counted]
    if timed:
        minutes, count = timed[-1]
        pace_now = count / minutes
        lines.append(f"Pace: {pace_now:.1f} of the photographed pieces a minute on the last timed tray.")
        lines.append(PACE_CAUTION)
    wasted = [share for e in cut.entries if (share := e.extras.waste_share) is not None]
    if wasted:
        lines.append(f"Waste: {words.percent(wasted[-1])} of the raw weight on the last weighed tray.")
    return lines


def to_dict(progress: Progress) -> dict[str, Any]:
    """The progress for ``--json``."""
    return {
        "cook": {"number": progress.cook.number, "name": progress.cook.name},
        "unmarked": progress.unmarked,
        "cuts": [_cut_dict(cut) for cut in progress.cuts],
    }


def _cut_dict(cut: CutProgress) -> dict[str, Any]:
    names = ("number", "practised", "mark", "mark_low", "mark_high", "on_size", "counted")
    return {
        "cut": cut.cut,
        "standard": cut.standard,
        "unit": cut.unit,
        "trays": [{name: getattr(entry, name) for name in names} for entry in cut.entries],
        "mark_trend": _trend_dict(cut.mark_trend),
        "mark_chart": _chart_dict(cut.mark_chart),
        "sides": [
            {
                "side": side.side,
                "label": side.label,
                "target_mm": [side.low_mm, side.high_mm],
                "checks": list(side.checks),
                "means_mm": list(side.means_mm),
                "means_u95_mm": list(side.give_mm),
                "spreads_mm": list(side.spreads_mm),
                "mean_chart": _chart_dict(side.mean_chart),
                "spread_chart": _chart_dict(side.spread_chart),
                "mean_trend": _trend_dict(side.mean_trend),
                "spread_trend": _trend_dict(side.spread_trend),
                "capability": None
                if side.capability is None
                else {name: getattr(side.capability, name) for name in side.capability.__slots__},
            }
            for side in cut.sides
        ],
        "said": sayings(cut),
    }


def _trend_dict(found: Trend | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {**{name: getattr(found, name) for name in found.__slots__}, "sure": found.sure}


def _chart_dict(chart: Chart | None) -> dict[str, Any] | None:
    if chart is None:
        return None
    return {
        "limits": list(chart.limits),
        "range_limits": list(chart.range_limits),
        "signals": [{"at": s.at, "rule": s.rule, "higher": s.higher} for s in chart.signals],
    }


def _marks(value: float) -> str:
    return f"{value:+.1f}"


def _spread(unit: Unit) -> Any:
    def show(mm: float) -> str:
        return f"{mm:+.2f} mm" if unit == "mm" else f"{mm / 25.4:+.3f} in"

    return show


def _figure(mm: float, unit: Unit) -> str:
    return f"{mm:.2f}" if unit == "mm" else f"{mm / 25.4:.3f}"
