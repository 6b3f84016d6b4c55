"""Progress: what a cook's kept checks say together, cut by cut and side by side.

The mark over time, each side's mean against its target and its spread, with charts whose limits come from the
differences between trays, and trends that say how big and how sure. Spreads have the measuring noise taken
out, so that a better phone is not mistaken for a better cook. Trays held against other sizes (another
standard, or a changed one) are never mixed: each has a series of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np

from cutcheck.control_charts import Capability, Chart, capability, individuals
from cutcheck.records import SideName
from cutcheck.trend import FEWEST as FEWEST_FOR_TREND
from cutcheck.trend import Trend, trend

if TYPE_CHECKING:
    from cutcheck.journal import Cook, Entry, Journal, SideEntry

__all__ = [
    "FEWEST_FOR_LIMITS",
    "FEWEST_FOR_TREND",
    "CutProgress",
    "Progress",
    "SideProgress",
    "make_progress",
    "progress_of",
]

# Limits from fewer trays would be guesses. A house rule.
FEWEST_FOR_LIMITS = 8
# Weeks are told from this many days on; within them, trays are counted instead.
WEEKS_FROM_DAYS = 14.0
RECENT = 3


@dataclass(frozen=True, slots=True)
class SideProgress:
    """One side over the trays that show it, in the order of practice. Lengths mm.

    ``give_mm`` is what measuring leaves of each mean (k = 2). Charts are None for too few trays. A spread is
    a standard deviation of the pieces of one tray; None where a tray has fewer than two.
    """

    side: SideName
    label: str
    low_mm: float
    high_mm: float
    checks: tuple[int, ...]
    times: tuple[float, ...]
    means_mm: tuple[float, ...]
    give_mm: tuple[float, ...]
    spreads_mm: tuple[float | None, ...]
    mean_chart: Chart | None
    spread_chart: Chart | None
    mean_trend: Trend | None
    spread_trend: Trend | None
    capability: Capability | None

    @property
    def plus_minus_mm(self) -> float:
        """Half of the interval that counts as on size."""
        return (self.high_mm - self.low_mm) / 2.0

    @property
    def bias_mm(self) -> float:
        """How far the recent trays' mean is off the middle of that interval."""
        return float(np.mean(self.means_mm[-RECENT:])) - (self.low_mm + self.high_mm) / 2.0

    @property
    def spread_mm(self) -> float | None:
        """The spread in the recent trays (the root of the mean variance)."""
        known = [s for s in self.spreads_mm if s is not None][-RECENT:]
        return float(np.sqrt(np.mean(np.square(known)))) if known else None


@dataclass(frozen=True, slots=True)
class CutProgress:
    """One cut, held against one set of sizes. ``times`` are in ``unit`` since the first tray."""

    cut: str
    standard: str
    entries: tuple[Entry, ...]
    times: tuple[float, ...]
    unit: str
    mark_trend: Trend | None
    mark_chart: Chart | None
    sides: tuple[SideProgress, ...]

    @property
    def on_size(self) -> float:
        """The share on size in the recent trays."""
        return float(np.mean([e.on_size for e in self.entries[-RECENT:] if e.on_size is not None]))

    @property
    def weakest(self) -> SideProgress | None:
        """The side that is furthest off or least steady, in parts of what is allowed."""
        return max(self.sides, key=_weakness, default=None)


@dataclass(frozen=True, slots=True)
class Progress:
    """All cuts of one cook, the one practised last first. ``unmarked`` checks were held against no cut."""

    cook: Cook
    cuts: tuple[CutProgress, ...]
    unmarked: int


def progress_of(journal: Journal, cook: Cook, cut: str | None = None) -> Progress:
    """The progress of a cook, of one cut if wanted."""
    return make_progress(cook, journal.entries(cook=cook.number, cut=cut), journal.sides(cook.number, cut))


def make_progress(cook: Cook, entries: Sequence[Entry], sides: Sequence[SideEntry]) -> Progress:
    """The progress that kept checks and their sides, both in the order of practice, show."""
    series: dict[tuple[str, str, str], list[Entry]] = {}
    for entry in entries:
        if entry.mark is not None and entry.cut is not None:
            key = (entry.cut, entry.standard or "", entry.cut_version or "")
            series.setdefault(key, []).append(entry)
    by_check: dict[int, list[SideEntry]] = {}
    for side in sides:
        by_check.setdefault(side.check, []).append(side)
    found = [_cut(name, standard, group, by_check) for (name, standard, _), group in series.items()]
    found.sort(key=lambda one: one.entries[-1].practised, reverse=True)
    return Progress(cook, tuple(found), sum(entry.mark is None for entry in entries))


def days_between(earlier: str, later: str) -> float:
    """Days from one time of the journal to another."""
    return (datetime.fromisoformat(later) - datetime.fromisoformat(earlier)).total_seconds() / 86_400.0


def _cut(
    name: str, standard: str, entries: Sequence[Entry], by_check: dict[int, list[SideEntry]]
) -> CutProgress:
    days = [days_between(entries[0].practised, entry.practised) for entry in entries]
    weeks = days[-1] >= WEEKS_FROM_DAYS
    times = {e.number: days[k] / 7.0 if weeks else float(k) for k, e in enumerate(entries)}
    marks = [entry.mark or 0.0 for entry in entries]
    groups: dict[SideName, list[SideEntry]] = {}
    for entry in entries:
        for side in _alike_together(by_check.get(entry.number, [])):
            groups.setdefault(side.side, []).append(side)
    order: tuple[SideName, ...] = ("length", "width", "height")
    return CutProgress(
        cut=name,
        standard=standard,
        entries=tuple(entries),
        times=tuple(times.values()),
        unit="week" if weeks else "tray",
        mark_trend=trend(list(times.values()), marks),
        mark_chart=individuals(marks) if len(marks) >= FEWEST_FOR_LIMITS else None,
        sides=tuple(_side(groups[side], times) for side in order if side in groups),
    )


def _alike_together(rows: Sequence[SideEntry]) -> list[SideEntry]:
    """The seen sides of one tray, those of one size as one.

    Of a die the longer side seen from above is called its length: that makes length and width differ on
    average even where all cuts are alike, the more so the less steady they are. It is no fault of size.
    """
    groups: dict[tuple[float, float], list[SideEntry]] = {}
    for row in rows:
        if row.mean_mm is not None and row.seen:
            groups.setdefault((row.low_mm, row.high_mm), []).append(row)
    return [group[0] if len(group) == 1 else _as_one(group) for group in groups.values()]


def _as_one(group: Sequence[SideEntry]) -> SideEntry:
    """Sides of one size: the mean of all of them, and the spread about it (within and between the sides)."""
    n = np.array([row.seen for row in group], float)
    means = np.array([row.mean_mm for row in group], float)
    mean = float((n * means).sum() / n.sum())
    spread = None
    if n.sum() > 1:
        within = np.array([(row.sd_mm or 0.0) ** 2 for row in group])
        squares = ((n - 1) * within + n * (means - mean) ** 2).sum()
        spread = float(np.sqrt(squares / (n.sum() - 1)))
    # what is unsure of one side's mean is mostly the scale, which the others share
    unsure = max(row.mean_u_mm or 0.0 for row in group)
    labels = " and ".join(dict.fromkeys(row.label for row in group)) if len(group) == 2 else "sides"
    return replace(group[0], label=labels, mean_mm=mean, mean_u_mm=unsure, sd_mm=spread, seen=int(n.sum()))


def _side(rows: Sequence[SideEntry], times: dict[int, float]) -> SideProgress:
    when = [times[row.check] for row in rows]
    means = [row.mean_mm for row in rows if row.mean_mm is not None]
    known = [(t, row.sd_mm) for t, row in zip(when, rows, strict=True) if row.sd_mm is not None]
    spreads = [sd for _, sd in known]
    last = rows[-1]
    return SideProgress(
        side=last.side,
        label=last.label,
        low_mm=last.low_mm,
        high_mm=last.high_mm,
        checks=tuple(row.check for row in rows),
        times=tuple(when),
        means_mm=tuple(means),
        give_mm=tuple(2.0 * (row.mean_u_mm or 0.0) for row in rows),
        spreads_mm=tuple(row.sd_mm for row in rows),
        mean_chart=individuals(means) if len(means) >= FEWEST_FOR_LIMITS else None,
        spread_chart=individuals(spreads, floor=0.0) if len(spreads) >= FEWEST_FOR_LIMITS else None,
        mean_trend=trend(when, means),
        spread_trend=trend([t for t, _ in known], spreads),
        capability=_capability(rows),
    )


def _capability(rows: Sequence[SideEntry]) -> Capability | None:
    """Cp and Cpk of all pieces of all trays; None for too few.

    Pieces of one tray share slabs, so they are not as many independent values as there are pieces. How many
    they amount to is read from how much the trays' own contributions to the variance differ.
    """
    known = [(r.mean_mm, r.sd_mm, r.seen) for r in rows if r.mean_mm is not None and r.sd_mm is not None]
    k = len(known)
    if k < FEWEST_FOR_LIMITS:
        return None
    means, spreads = np.array([m for m, _, _ in known]), np.array([s for _, s, _ in known])
    parts = spreads**2 + (means - means.mean()) ** 2 * k / (k - 1)
    variance, unsure2 = float(parts.mean()), float(parts.var(ddof=1)) / k
    if not variance > 0.0:
        return None
    most = float(sum(n for _, _, n in known))
    count = most if unsure2 <= 0.0 else min(most, 1.0 + 2.0 * variance**2 / unsure2)
    return capability(float(means.mean()), variance**0.5, rows[-1].low_mm, rows[-1].high_mm, count=count)


def _weakness(side: SideProgress) -> float:
    return max(abs(side.bias_mm), side.spread_mm or 0.0) / side.plus_minus_mm
