"""The verdict: how likely each piece is to be on size, and the mark of the tray.

The mark, 0 to 100, in three lines (the weights are those of ``Rules`` and may be changed):

    mark = 100 x (0.60 on size + 0.25 evenness + 0.15 squareness); what can't be seen leaves its weight
    on size = mean over the pieces of the probability that all sides that count are within tolerance
    evenness, squareness = T²/(T² + s²): T the tolerance, s the spread of all pieces, and within each

Spreads are standard deviations with the measuring noise taken out. How probabilities are had: ``tray``.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from cutcheck.errors import CutcheckError
from cutcheck.records import Piece, Score, SideName, SideScore, Verdict
from cutcheck.standards import Cut, Target
from cutcheck.tray import Bools, Floats, Floats32, Tray, limits, side_arrays

# How well a standard uncertainty is itself known, relative: as from some 25 readings (JCGM 100:2008, E.4.3).
U_KNOWN_TO = 0.15
EXCLUDED = "excluded"  # the flag of a piece that somebody left out of the mark, whatever its size
SLANT = "photograph it again at a slant, some 25 to 35 degrees, so that side faces are seen"


@dataclass(frozen=True, slots=True)
class Rules:
    """What the mark is made of. All figures are house rules; give others to ``judge`` to change them.

    A piece is an offcut (told, and left out of the mark) when two of its sides are below ``offcut_below``
    times the lower limit, or two above ``offcut_above`` times the upper: it is plainly no try at this cut.
    Where that would hold for most of the tray it is the wrong cut instead, and all pieces count.
    """

    on_size: float = 0.60
    evenness: float = 0.25
    squareness: float = 0.15
    in_from: float = 0.95
    out_to: float = 0.05
    offcut_below: float = 0.5
    offcut_above: float = 2.0
    seed: int = 20_106


class Judged(NamedTuple):
    """Pieces with verdict and conformity, the score (None if nothing could be marked), what to tell."""

    pieces: tuple[Piece, ...]
    score: Score | None
    notes: tuple[str, ...]


def leave_out(pieces: Sequence[Piece], numbers: Collection[int]) -> tuple[Piece, ...]:
    """The pieces, those with these ``numbers`` flagged as left out of the mark, all without verdict."""

    def flagged(piece: Piece) -> Piece:
        flags = (*(f for f in piece.flags if f != EXCLUDED), *([EXCLUDED] if piece.number in numbers else []))
        return replace(piece, flags=flags, verdict=None, conformity=None)

    return tuple(flagged(piece) for piece in pieces)


def judge(pieces: Sequence[Piece], cut: Cut, *, rules: Rules | None = None, scale_u: float = 0.0) -> Judged:
    """Compare pieces with a cut and mark the tray.

    ``scale_u`` is the relative standard uncertainty of the scale: an error that all sides share. It is part
    of each side's ``u95``, and is taken out again wherever sides are compared with each other. Raises
    ``unknown-cut`` where the cut has no sizes.
    """
    rules = rules or Rules()
    targets = cut.targets
    if not targets:
        raise CutcheckError(
            "unknown-cut",
            cut=cut.name,
            standard=cut.asked,
            remedy="It has no size to be held against; give it one in a standard of your own.",
        )
    notes = list(_about_the_standard(cut))
    x, u, shared = side_arrays(pieces, [t.side for t in targets], scale_u)
    seen = np.isfinite(x)
    left_in = np.array([not {"cut-off", EXCLUDED} & set(p.flags) for p in pieces], bool)
    whole = left_in & seen.any(axis=1)
    offcut, wrong_cut = _offcuts(x, targets, whole, rules)
    counted = whole & ~offcut
    notes += _about_the_pieces(x, targets, whole, offcut, wrong_cut, pieces)
    if not counted.any():
        return Judged(_with_verdicts(pieces, np.full(len(pieces), np.nan), offcut, rules), None, tuple(notes))
    tray = Tray.of(x[counted], u[counted], shared[:, counted], targets)
    probability = np.full(len(pieces), np.nan)
    probability[counted] = tray.conformity(targets).prod(axis=1)
    score = _score(tray, cut, targets, rules)
    return Judged(_with_verdicts(pieces, probability, offcut, rules), score, tuple(notes))


def _score(tray: Tray, cut: Cut, targets: Sequence[Target], rules: Rules) -> Score:
    n = len(tray.x)
    pairs = _pairs(cut, targets)
    p = tray.conformity(targets)
    on_size = float(p.prod(axis=1).mean())
    even = _evenness(tray, targets) if n > 1 else None
    evenness = None if even is None else float(even[0])
    within2 = tray.within2(pairs)
    squareness = None
    if within2 is not None:
        squareness = float(_closeness(max(within2[0], 0.0), targets[pairs[0][0]].plus_minus_mm))
    mark = float(_mark(on_size, evenness, squareness, rules))
    low, high = _interval(tray, targets, pairs, (evenness is not None, squareness is not None), rules)
    sides = []
    for j, target in enumerate(targets):
        here = tray.seen[:, j]
        sides.append(
            SideScore(
                side=target.side,
                target_mm=(target.low_mm, target.high_mm),
                mean_mm=float(tray.x[here, j].mean()) if here.any() else None,
                sd_mm=tray.true_sd([j]),
                seen=int(here.sum()),
                share_on_size=float(p[here, j].mean()) if here.any() else None,
                label=target.label,
            )
        )
    return Score(
        mark=mark,
        mark_low=min(low, mark),
        mark_high=max(high, mark),
        on_size=on_size,
        evenness=evenness,
        squareness=squareness,
        counted=n,
        sides=tuple(sides),
        sampling=_sampling(tray, targets, on_size, evenness, squareness, rules),
    )


def _evenness(
    tray: Tray, targets: Sequence[Target], again: Floats32 | None = None, times: Floats | float = 1.0
) -> Floats | None:
    """The mean over the sizes of how close their sides are, (1,), or (count,) of other readings."""
    spreads = [(tray.spread2(g, again, times), targets[g[0]].plus_minus_mm) for g in tray.groups]
    parts = [_closeness(np.maximum(s2, 0.0), t) for s2, t in spreads if s2 is not None]
    return np.asarray(np.mean(parts, axis=0)) if parts else None


def _closeness(spread2: float | Floats, tolerance: float) -> Floats:
    """1 for no spread, one half where the spread (a standard deviation) is as large as the tolerance."""
    return np.asarray(tolerance**2 / (tolerance**2 + np.asarray(spread2, float)))


def _mark(
    on_size: float | Floats, evenness: float | Floats | None, squareness: float | Floats | None, rules: Rules
) -> Floats:
    total, weight = np.asarray(rules.on_size * on_size), rules.on_size
    if evenness is not None:
        total, weight = total + rules.evenness * evenness, weight + rules.evenness
    if squareness is not None:
        total, weight = total + rules.squareness * squareness, weight + rules.squareness
    return 100.0 * total / weight


def _interval(
    tray: Tray,
    targets: Sequence[Target],
    pairs: Sequence[tuple[int, int]],
    scored: tuple[bool, bool],
    rules: Rules,
) -> tuple[float, float]:
    """What measuring leaves of the mark for these pieces: 95 of 100, from draws with a fixed seed (JCGM 101).

    ``scored`` tells whether evenness and squareness are. A side that can't be seen but has seen ones of its
    own size beside it (a die's height) also counts: draws where it is cut like those are taken in as well.
    """
    n = len(tray.x)
    count = int(np.clip(40_000 // (n * len(targets)), 64, 400))
    rng = np.random.default_rng(rules.seed)
    true, again = tray.draws(count, rng)
    low, high = (limit.astype(np.float32) for limit in limits(targets))
    unseen = ~tray.seen
    with np.errstate(invalid="ignore"):
        inside = ((true >= low) & (true <= high)) | unseen
    on_size = inside.all(axis=2).mean(axis=1)
    # Measuring again adds the noise once more, so it is taken out twice; and it is itself known to some 15 %.
    times = 1.0 + np.square(1.0 + U_KNOWN_TO * rng.standard_normal(count))
    even = square = None
    if scored[0]:
        even = _evenness(tray, targets, again, times)
    if scored[1] and (within2 := tray.within2(pairs, again, times)) is not None:
        square = _closeness(np.maximum(within2, 0.0), targets[pairs[0][0]].plus_minus_mm)
    marks = [_mark(on_size, even, square, rules)]
    if (like := _seen_alike(tray, unseen)) is not None:
        mean, sd, where = like
        guess = mean + sd * rng.standard_normal(true.shape, dtype=np.float32)
        full = np.where(where, (guess >= low) & (guess <= high), inside).all(axis=2).mean(axis=1)
        marks.append(_mark(full, even, square, rules))
    half = [1.96 * m.std(ddof=1) for m in marks]
    bottom = min(m.mean() - h for m, h in zip(marks, half, strict=True))
    top = max(m.mean() + h for m, h in zip(marks, half, strict=True))
    return float(np.clip(bottom, 0.0, 100.0)), float(np.clip(top, 0.0, 100.0))


def _seen_alike(tray: Tray, unseen: Bools) -> tuple[Floats32, Floats32, Bools] | None:
    """Mean and spread (1, 1, sides) to guess unseen sides by, and where (n, sides); None if nowhere."""
    sides = tray.x.shape[1]
    mean, sd = np.zeros((1, 1, sides), np.float32), np.zeros((1, 1, sides), np.float32)
    where = np.zeros_like(unseen)
    for group in tray.groups:
        columns, spread = list(group), tray.true_sd(group)
        if spread is None or not unseen[:, columns].any():
            continue
        mean[..., columns] = np.nanmean(tray.x[:, columns])
        sd[..., columns] = spread
        where[:, columns] = unseen[:, columns]
    return (mean, sd, where) if where.any() else None


def _sampling(
    tray: Tray,
    targets: Sequence[Target],
    on_size: float,
    evenness: float | None,
    squareness: float | None,
    rules: Rules,
) -> float:
    """How far (half of a 95 % interval) the mark of a larger heap may be from that of n pieces drawn from it.

    The share's part is that of Agresti and Coull (1998), the spread's follows from var(s²) = 2 s⁴/(n-1).
    """
    n = len(tray.x)
    share = (on_size * n + 2.0) / (n + 4.0)
    variance = (rules.on_size**2) * share * (1.0 - share) / (n + 4.0)
    for columns in tray.groups:
        sd, tolerance = tray.true_sd(columns), targets[columns[0]].plus_minus_mm
        if sd is not None and n > 1 and evenness is not None:
            slope = tolerance**2 / (tolerance**2 + sd**2) ** 2
            variance += (rules.evenness * slope / len(tray.groups)) ** 2 * 2.0 * sd**4 / (n - 1)
    weight = rules.on_size + (evenness is not None) * rules.evenness
    weight += (squareness is not None) * rules.squareness
    return float(100.0 * 1.96 * np.sqrt(variance) / weight)


def _pairs(cut: Cut, targets: Sequence[Target]) -> list[tuple[int, int]]:
    """The pairs of columns that are meant to be equal in one piece."""
    sides: dict[str, tuple[SideName, ...]] = {
        "cube": ("length", "width", "height"),
        "section": ("width", "height"),
        "plan": ("length", "width"),
        "": (),
    }
    columns = [j for j, t in enumerate(targets) if t.side in sides[cut.entry.square]]
    return [
        (a, b) for i, a in enumerate(columns) for b in columns[i + 1 :] if targets[a].key == targets[b].key
    ]


def _offcuts(x: Floats, targets: Sequence[Target], whole: Bools, rules: Rules) -> tuple[Bools, bool]:
    low, high = limits(targets)
    with np.errstate(invalid="ignore"):
        small = (x < rules.offcut_below * low).sum(axis=1) >= 2
        large = (x > rules.offcut_above * high).sum(axis=1) >= 2
    found = (small | large) & whole
    if 2 * found.sum() > whole.sum():
        return np.zeros_like(found), True
    return found, False


def _with_verdicts(pieces: Sequence[Piece], p: Floats, offcut: Bools, rules: Rules) -> tuple[Piece, ...]:
    found = []
    for piece, probability, off in zip(pieces, p.tolist(), offcut.tolist(), strict=True):
        verdict: Verdict | None = None
        if off:
            verdict = "offcut"
        elif probability == probability:  # not NaN
            verdict = (
                "in" if probability >= rules.in_from else "out" if probability <= rules.out_to else "unsure"
            )
        known = None if verdict in (None, "offcut") else min(max(probability, 0.0), 1.0)
        found.append(replace(piece, verdict=verdict, conformity=known))
    return tuple(found)


def _about_the_standard(cut: Cut) -> list[str]:
    notes = []
    if cut.borrowed:
        notes.append(
            f"The {cut.asked} standard has no {cut.name}: the {cut.standard} standard's sizes are used."
        )
    if cut.not_scored_because:
        notes.append(f"The height is not marked: {cut.not_scored_because}.")
    return notes


def _about_the_pieces(
    x: Floats,
    targets: Sequence[Target],
    whole: Bools,
    offcut: Bools,
    wrong_cut: bool,
    pieces: Sequence[Piece],
) -> list[str]:
    notes = []
    if wrong_cut:
        notes.append("Most pieces are far from this cut's size: is it the cut you meant?")
    if offcut.any():
        numbers = ", ".join(str(p.number) for p, off in zip(pieces, offcut, strict=True) if off)
        notes.append(f"Left out as offcuts, far from the size of this cut: {numbers}.")
    counted = whole & ~offcut
    for j, target in enumerate(targets):
        missing = int((~np.isfinite(x[counted, j])).sum())
        if missing and missing == counted.sum():
            notes.append(f"No {target.label} could be seen, so it has no mark; {SLANT}.")
        elif missing:
            notes.append(
                f"The {target.label} of {missing} of {int(counted.sum())} pieces could not be seen; {SLANT}."
            )
    if not counted.any() and not any("could be seen" in n for n in notes):
        lacking = " and ".join(dict.fromkeys(t.label for t in targets))
        notes.append(f"Nothing could be marked: no piece shows its {lacking}; {SLANT}.")
    return notes
