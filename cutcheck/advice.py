"""What a good instructor would say of a tray: at most two things, each with its figure.

Is it size (all pieces off the same way) or steadiness (the pieces differ)? And which side, so which step of
the knife? These are pointers for practice, not rules: the limits below are house rules, set so that an even
tray hears nothing and a fault of 1 mm and twice the spread is named.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from cutcheck.cuts import ACTIONS
from cutcheck.oddside import OddSide, odd_side
from cutcheck.printable import listed
from cutcheck.records import Piece, Score
from cutcheck.standards import Cut, Target
from cutcheck.tray import Floats, Tray, side_arrays
from cutcheck.units import Unit, show_length, show_range

Kind = Literal["size", "one-cut", "steadiness", "shape", "unseen"]

MOST = 2
FEWEST = 5
# Told as a size fault: this share of the tolerance, or a whole mm where it is twice the spread; and four
# standard errors, so that it is the cook and not chance or the camera.
SIZE_SHARE, SIZE_MM, SURE = 0.5, 1.0, 4.0
# Twice the log likelihood that an odd side must gain; how far off it must be, in spreads, and at least
# this share of the tolerance or so many mm. Five even trays in 100 reach it by chance (30 dice, spread half
# a mm).
ODD_GAIN, ODD_SPREADS, ODD_SHARE, ODD_MM = 5.0, 1.4, 0.6, 0.6
# Told as unsteady: a spread beyond this share of the tolerance, chance aside. At 0.6 one side in ten is out.
SPREAD_SHARE = 0.6
# What a figure of the pieces' shape usually comes from, by the figure's name.
SHAPES = {
    "taper": "the blade leaned, or the block turned a little, along the cut",
    "wedge": "the blade leaned while it went down; look along it from above",
    "skew": "the block was not square to the blade: line its face up with the board's edge",
    "bow": "the stick bent, or the knife followed the grain: take shorter strokes",
}


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing to say. ``weight`` is its size in tolerances, by which the worst comes first; ``steps`` are
    the actions of the cut that it points to; ``off_mm`` the figure in it (negative: thin or short), mm."""

    kind: Kind
    sides: tuple[str, ...]
    steps: tuple[str, ...]
    off_mm: float
    weight: float
    text: str


def advise(pieces: Sequence[Piece], score: Score | None, cut: Cut, unit: Unit = "mm") -> tuple[str, ...]:
    """The advice of a check in plain lines, the most important first; none where nothing stands out."""
    return tuple(f.text for f in findings(pieces, score, cut, unit))


def findings(
    pieces: Sequence[Piece], score: Score | None, cut: Cut, unit: Unit = "mm"
) -> tuple[Finding, ...]:
    """At most two findings, the worst first, and where fewer than two what can't be told."""
    counted = [p for p in pieces if p.conformity is not None]
    targets = cut.targets
    if score is None or len(counted) < FEWEST or not targets:
        return ()
    found: list[Finding] = []
    x, u, shared = side_arrays(counted, [t.side for t in targets])
    tray = Tray.of(x, u, shared, targets)
    for group in tray.groups:
        columns = list(group)
        found += _of_one_size(tray, [targets[j] for j in columns], columns, cut, unit)
    found += _of_shape(counted, targets, unit)
    found.sort(key=lambda f: -f.weight)
    told = found[:MOST]
    if len(told) < MOST and (unseen := _unseen(tray, targets, cut)) is not None:
        told.append(unseen)
    return tuple(told)


def _of_one_size(
    tray: Tray, targets: Sequence[Target], columns: Sequence[int], cut: Cut, unit: Unit
) -> list[Finding]:
    """What is to be said of the sides that share one size."""
    found: list[Finding] = []
    seen = tray.seen[:, columns]
    values, spread = tray.x[:, columns][seen], tray.true_sd(columns)
    if values.size < FEWEST or spread is None:
        return found
    middle, noise2 = float(values.mean()), float((tray.noise[:, columns][seen] ** 2).mean())
    odd = _odd(tray, targets, columns)
    if odd is not None:
        found.append(_one_cut(odd, targets, cut, unit))
        middle, spread = odd.others_mm, float(np.sqrt(max(odd.sd_mm**2 - noise2, 0.0)))
    pieces = int(seen.any(axis=1).sum())
    common = float(np.sqrt((tray.shared[..., columns][:, seen] ** 2).sum(axis=0).mean()))
    unsure = float(np.hypot(np.sqrt((spread**2 + noise2) / pieces), common))
    if (size := _size(middle, spread, unsure, targets[0], cut, unit)) is not None:
        found.append(size)
    # The lower end of the spread's 95 % interval; sides of one piece may share a slab, so pieces count.
    at_least = spread * (1.0 - 1.64 / np.sqrt(2.0 * max(pieces - 1, 1)))
    if at_least > SPREAD_SHARE * targets[0].plus_minus_mm:
        found.append(_steadiness(spread, targets, cut, unit))
    return found


def _odd(tray: Tray, targets: Sequence[Target], columns: Sequence[int]) -> OddSide | None:
    """One of several equal cuts that is off, where the tray shows it."""
    whole = tray.seen[:, columns].all(axis=1)
    if len(columns) < 2:
        return None
    sides: Floats = tray.x[whole][:, columns]
    heights = [i for i, j in enumerate(columns) if tray.upright[j]]
    fit = odd_side(sides, heights[0] if heights else None)
    if fit is None or fit.gain < ODD_GAIN:
        return None
    enough = min(ODD_SHARE * targets[0].plus_minus_mm, ODD_MM)
    if abs(fit.off_mm) < max(ODD_SPREADS * fit.sd_mm, enough):
        return None
    if len(columns) == 2:
        # Of two, either may be called the odd one: it is the one that is further from its size.
        other = fit.others_mm + fit.off_mm
        if _beyond(other, targets[0]) < _beyond(fit.others_mm, targets[0]):
            return OddSide(-fit.off_mm, other, fit.sd_mm, fit.gain, 1.0 - fit.upright)
    return fit


def _one_cut(odd: OddSide, targets: Sequence[Target], cut: Cut, unit: Unit) -> Finding:
    steps = _steps(cut, targets[0].key)
    count = {2: "two", 3: "three"}[len(targets)]
    how = "thin" if odd.off_mm < 0 else "thick"
    text = (
        f"Size: one of your {count} cuts{_in_brackets(steps)} runs {how}, "
        f"by {show_length(abs(odd.off_mm), unit)}; the others are near {show_length(odd.others_mm, unit)}. "
        "Hold the first piece of each step against a rule."
    )
    sides = tuple(t.label for t in targets)
    return Finding("one-cut", sides, steps, odd.off_mm, abs(odd.off_mm) / targets[0].plus_minus_mm, text)


def _size(
    middle: float, spread: float, unsure: float, target: Target, cut: Cut, unit: Unit
) -> Finding | None:
    off = middle - float(np.clip(middle, *target.size_mm))
    large = SIZE_SHARE * target.plus_minus_mm
    if abs(off) < min(large, max(SIZE_MM, 2.0 * spread)) or abs(off) < SURE * unsure:
        return None
    steps, what = _steps(cut, target.key), _what(target)
    wanted = show_range(*target.size_mm, unit)
    more, less = ("long", "short") if target.key == "length" else ("large", "small")
    if target.key in ("thickness", "section"):
        more, less = "thick", "thin"
    how = more if off > 0 else less
    text = (
        f"Size: {what} {how}, {show_length(middle, unit)} on average where {wanted} is meant "
        f"({show_length(abs(off), unit)} off){_look_at(steps)}."
    )
    return Finding("size", (target.label,), steps, off, abs(off) / target.plus_minus_mm, text)


def _steadiness(spread: float, targets: Sequence[Target], cut: Cut, unit: Unit) -> Finding:
    steps = _steps(cut, targets[0].key)
    name = targets[0].label if len(targets) == 1 else "sides"
    verb = "varies" if len(targets) == 1 else "vary"
    text = (
        f"Steadiness: the {name} {verb} by {show_length(2.0 * spread, unit)} either way, and "
        f"{show_length(targets[0].plus_minus_mm, unit)} is allowed{_look_at(steps)}: "
        "move the guide hand back by the same step each time."
    )
    sides = tuple(t.label for t in targets)
    return Finding("steadiness", sides, steps, spread, spread / targets[0].plus_minus_mm, text)


def _of_shape(pieces: Sequence[Piece], targets: Sequence[Target], unit: Unit) -> list[Finding]:
    """Taper, wedge and their like, where they are plainly more than the measuring noise and matter."""
    found = []
    tolerance = min(t.plus_minus_mm for t in targets)
    for name, cause in SHAPES.items():
        figures = [f for p in pieces for f in p.figures if f.name == name and f.unit == "mm"]
        if len(figures) < max(FEWEST, len(pieces) // 2):
            continue
        value = float(np.median([f.value for f in figures]))
        noise = float(np.median([f.u95 for f in figures]))
        if value > SIZE_SHARE * tolerance and value > noise:
            size = show_length(value, unit)
            text = f"Shape: half of the pieces have a {name} of {size} or more. Usually {cause}."
            found.append(Finding("shape", (name,), (), value, value / tolerance, text))
    return found


def _unseen(tray: Tray, targets: Sequence[Target], cut: Cut) -> Finding | None:
    for j, target in enumerate(targets):
        if 2 * tray.seen[:, j].sum() >= len(tray.x):
            continue
        alike = [t for t in targets if t.key == target.key]
        steps = _steps(cut, target.key)
        if len(alike) > 1:
            what = f"whether one of your cuts{_in_brackets(steps)} runs thin or thick"
        else:
            what = f"anything of the {target.label}"
        text = (
            f"Most pieces hide their {target.label}: this photo can't tell {what}. Take it more at a slant."
        )
        return Finding("unseen", (target.label,), steps, 0.0, 0.0, text)
    return None


def _steps(cut: Cut, key: str) -> tuple[str, ...]:
    """The actions of the knife that set this size."""
    return tuple(dict.fromkeys(step.action for step in cut.entry.steps if key in step.hits))


def _what(target: Target) -> str:
    if target.key in ("edge", "plan", "diameter"):
        return "the pieces are too"
    if target.key == "section":
        return "the sticks are too"
    return f"the {target.label} is too"


def _look_at(steps: Sequence[str]) -> str:
    return f"; look at {listed([ACTIONS[s] for s in steps])}" if steps else ""


def _in_brackets(steps: Sequence[str]) -> str:
    return f" ({listed(steps, 'or')})" if steps else ""


def _beyond(mm: float, target: Target) -> float:
    return abs(mm - float(np.clip(mm, *target.size_mm)))
