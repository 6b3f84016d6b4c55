"""The next session: which cut, how many pieces, what to watch; and where a goal stands.

Proposed is what is least steady and longest ago. The weights are house rules; they order the cook's own cuts
and say nothing of how one cook compares with another.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from cutcheck.cuts import ACTIONS
from cutcheck.journal import Entry
from cutcheck.journal.goals import Goal
from cutcheck.progress import CutProgress, Progress, SideProgress
from cutcheck.standards import Cut, find_cut

__all__ = ["Proposal", "Standing", "pieces_needed", "propose", "standing"]

# After so many days a cut is as due as one of which half the pieces are off.
STALE_DAYS = 28.0
FIRST_CUTS = ("batonnet", "small-dice")  # where most courses begin: common practice, no source
# A session of fewer pieces says too little to count towards a goal.
FEWEST_PIECES = 10


@dataclass(frozen=True, slots=True)
class Proposal:
    """What to practise next. ``watch`` are sentences, at most two."""

    cut: str
    standard: str | None
    pieces: int
    why: str
    watch: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a goal stands: the sessions that count, when it was reached (if it was), when the next counts."""

    goal: Goal
    done: tuple[str, ...]
    reached: str | None
    next_from: str | None
    last_on_size: float | None


def propose(progress: Progress, today: date | None = None) -> Proposal:
    """The next session of a cook; the first one of a course where nothing was marked yet."""
    if not progress.cuts:
        return _first(FIRST_CUTS[0], "Nothing is marked yet, and sticks come before dice.")
    today = today or date.today()
    latest: dict[str, CutProgress] = {}
    for one in progress.cuts:  # the one practised last comes first
        latest.setdefault(one.cut, one)
    if set(latest) == {FIRST_CUTS[0]} and next(iter(latest.values())).on_size > 0.8:
        return _first(FIRST_CUTS[1], "The sticks are right; dice are sticks cut across.")
    chosen = max(latest.values(), key=lambda one: _due(one, today))
    days = _days_since(chosen, today)
    ago = "today" if days < 1 else "yesterday" if days < 2 else f"{days:.0f} days ago"
    why = f"{100 * chosen.on_size:.0f} % on size lately, last practised {ago}."
    return Proposal(chosen.cut, chosen.standard, pieces_needed(chosen.on_size), why, _watch(chosen))


def pieces_needed(share: float, half: float = 0.15) -> int:
    """How many pieces tell a share to ``half`` either way, 95 times in 100 (Agresti and Coull 1998).

    Rounded up to a ten; 20 at least, since evenness needs them, and 60 at most.
    """
    p = (share * 30 + 2.0) / 34.0  # of a perfect tray one must not ask for none
    count = 1.96**2 * p * (1.0 - p) / half**2 - 4.0
    return int(min(max(math.ceil(count / 10.0) * 10, 20), 60))


def standing(goal: Goal, entries: Sequence[Entry]) -> Standing:
    """Where a goal stands, from a cook's checks in the order of practice.

    A session counts that lies on or after the day the goal was set, has the share and enough pieces, and lies
    the days after the one before. One below the share starts the count anew: a goal is to be met again and
    again, not now and then.
    """
    done: list[str] = []
    reached = None
    last = None
    for entry in entries:
        if entry.cut != goal.cut or entry.on_size is None or (entry.counted or 0) < FEWEST_PIECES:
            continue
        last = entry.on_size
        if reached is not None or entry.practised[:10] < goal.set_on:
            continue
        if entry.on_size < goal.on_size - 1e-9:
            done = []
        elif not done or _days(done[-1], entry.practised) >= goal.days_apart:
            done.append(entry.practised[:10])
            if len(done) == goal.sessions:
                reached = done[-1]
    following = None
    if reached is None and done:
        following = date.fromordinal(date.fromisoformat(done[-1]).toordinal() + goal.days_apart).isoformat()
    return Standing(goal, tuple(done), reached, following, last)


def _first(name: str, why: str) -> Proposal:
    cut = find_cut(name)
    return Proposal(name, cut.standard, 30, why, _steps_of(cut, None)[:2])


def _due(one: CutProgress, today: date) -> float:
    """0 for a cut that is right and fresh; half a tray off and four weeks ago weigh alike."""
    side = one.weakest
    unsteady = 0.0
    if side is not None and side.spread_mm is not None:
        unsteady = side.spread_mm**2 / (side.spread_mm**2 + side.plus_minus_mm**2)
    return max(1.0 - one.on_size, unsteady) + 0.5 * min(_days_since(one, today) / STALE_DAYS, 1.0)


def _watch(one: CutProgress) -> tuple[str, ...]:
    """What to watch: the side that is furthest off or least steady, and the step that makes it."""
    side = one.weakest
    cut = find_cut(one.cut, one.standard or None)
    if side is None:
        return _steps_of(cut, None)[:2]
    size, spread = abs(side.bias_mm), side.spread_mm or 0.0
    if size >= spread:
        how = "over" if side.bias_mm > 0 else "under"
        what = (
            f"Size: the {side.label} ran {size:.1f} mm {how} the middle; hold the first piece against a rule."
        )
    else:
        what = (
            f"Steadiness: the {side.label} differ by {2 * spread:.1f} mm either way; move the guide hand "
            "back by the same step each time."
        )
    return (what, *_steps_of(cut, side)[:1])


def _steps_of(cut: Cut, side: SideProgress | None) -> tuple[str, ...]:
    """The steps of the knife that make a side, with the size to hit; all that hit a size for None."""
    keys = {t.key for t in cut.targets if side is None or t.side == side.side}
    return tuple(f"In {ACTIONS[step.action]}: {text}" for step, text in cut.steps() if keys & set(step.hits))


def _days_since(one: CutProgress, today: date) -> float:
    return max(float((today - datetime.fromisoformat(one.entries[-1].practised).date()).days), 0.0)


def _days(earlier: str, later: str) -> int:
    return (date.fromisoformat(later[:10]) - date.fromisoformat(earlier[:10])).days
