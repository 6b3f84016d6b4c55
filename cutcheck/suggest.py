"""Which cut do these pieces look most like? By likelihood, from what was measured and nothing else.

A tray is summed up by the medians of its sides. For each cut of the standard the likelihood of these medians
follows from its sizes: even over a range, and normal beyond it, most of it within the tolerance.
Sides that no size holds (a round's diameter, a ribbon's length) may be anything in a wide range; what is
meant to be square must be so, roughly. How often a cut is met is taken from how many sources have it.
'None of these' stands for any size at all, and wins where nothing fits.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from statistics import median

from cutcheck.records import Piece, Suggestion
from cutcheck.standards import Cut, Target, cuts

# Anything from 0.5 to 250 mm, each size as likely as its double: the density over the logarithm of a side.
ANYTHING = 1.0 / math.log(250.0 / 0.5)
NONE_OF_THESE = 0.25
# Share of pieces whose shape was taken for one that the cut does not have.
ODD_SHAPE = 0.01
# How far (as a ratio) two sides are apart where they are meant to be equal, and where they just happen to be.
EQUAL, ALIKE = 0.12, 0.35


def suggest(pieces: Sequence[Piece], standard: Cut | str | Path | None = None) -> Suggestion | None:
    """The likeliest cut and its probability, or None where none of them fits.

    ``standard`` is a name or a file, None for the default one with its gaps filled, or a cut that was looked
    up: then its standard is meant. What the cut itself is plays no part.
    """
    named = standard.named if isinstance(standard, Cut) else standard
    tray = Medians.of(pieces)
    if tray is None:
        return None
    likely: dict[str, float] = {}
    for cut in cuts(named):
        if cut.targets:
            likely[cut.name] = max(len(cut.entry.figures), 1) * tray.likelihood(cut)
    common = sum(len(cut.entry.figures) for cut in cuts(named) if cut.targets)
    nothing = NONE_OF_THESE * common * ANYTHING ** (3 if tray.height else 2) / 4.0
    best = max(likely, key=lambda name: likely[name], default=None)
    if best is None or likely[best] <= nothing:
        return None
    return Suggestion(best, likely[best] / (sum(likely.values()) + nothing))


class Medians:
    """The medians of a tray, mm, and the share of each shape. ``height`` is None where it was not seen."""

    def __init__(
        self, length: float, width: float, height: float | None, shapes: Mapping[str, float]
    ) -> None:
        self.length, self.width, self.height, self.shapes = length, width, height, shapes

    @classmethod
    def of(cls, pieces: Sequence[Piece]) -> Medians | None:
        """None where no piece is whole."""
        whole = [p for p in pieces if "cut-off" not in p.flags and p.length.mm and p.width.mm]
        if not whole:
            return None
        heights = [p.height.mm for p in whole if p.height.seen and p.height.mm]
        counts = Counter(p.shape for p in whole)
        return cls(
            median(p.length.mm for p in whole if p.length.mm),
            median(p.width.mm for p in whole if p.width.mm),
            # A few heights seen by chance are no median of the tray's.
            median(heights) if 4 * len(heights) >= len(whole) else None,
            {shape: n / len(whole) for shape, n in counts.items()},
        )

    def likelihood(self, cut: Cut) -> float:
        """The density of these medians, over the logarithms of the sides, if it is this cut."""
        target = {t.side: t for t in cut.targets}
        width_and_length = self._plan(cut, target.get("length"), target.get("width"))
        return width_and_length * self._upright(cut, target.get("height")) * self._shape(cut)

    def _plan(self, cut: Cut, length: Target | None, width: Target | None) -> float:
        apart = math.log(self.length / self.width)
        if length is not None and width is not None and length.key == width.key:
            # One size for both: their middle is compared with it, and their ratio with being square.
            loose = EQUAL if cut.entry.square else ALIKE
            return _density(math.sqrt(self.length * self.width), length) * _half_normal(apart, loose)
        if cut.entry.family == "slice" and length is None and width is None:
            return ANYTHING * _half_normal(apart, EQUAL if cut.entry.shapes[0] == "disc" else ALIKE)
        if cut.entry.family == "ribbon" or (cut.entry.family == "stick" and length is None):
            free = ANYTHING if self.length > 4.0 * self.width else 0.0
            return free * (_density(self.width, width) if width else ANYTHING)
        if cut.entry.family == "turned" and length is not None and width is None:
            slim = self.width / self.length
            return _density(self.length, length) * (1.5 if 0.25 < slim < 0.85 else 0.0)
        if length is not None and width is None:
            return _density(self.length, length) * _half_normal(apart, ALIKE)
        along = _density(self.length, length) if length else ANYTHING
        return along * (_density(self.width, width) if width else ANYTHING)

    def _upright(self, cut: Cut, height: Target | None) -> float:
        if self.height is None:
            return 1.0
        if height is not None:
            return _density(self.height, height)
        ratio = self.height / self.width
        if cut.entry.family == "turned":  # as thick as wide
            return _half_normal(abs(math.log(ratio)), ALIKE) / 2.0
        if cut.entry.family in ("slice", "ribbon"):  # flat
            return 2.0 * ANYTHING if ratio < 0.6 else 0.001
        return ANYTHING

    def _shape(self, cut: Cut) -> float:
        """The share of pieces that look like this cut, the usual look counting most."""
        usual, *others = cut.entry.shapes
        share = self.shapes.get(usual, 0.0)
        # a stick is seldom so bent that it passes for a ribbon
        share += sum(self.shapes.get(s, 0.0) * (0.02 if s == "ribbon" else 0.5) for s in others)
        return ODD_SHAPE + (1.0 - ODD_SHAPE) * share


def _density(mm: float, target: Target) -> float:
    """The density of a median at ``mm``, over the logarithm: even over the size, normal beyond its ends."""
    low, high = target.size_mm
    sigma = target.plus_minus_mm / 1.8
    if high - low < 1e-6 * high:
        per_mm = math.exp(-0.5 * ((mm - low) / sigma) ** 2) / (sigma * math.sqrt(2.0 * math.pi))
    else:
        per_mm = (_phi((mm - low) / sigma) - _phi((mm - high) / sigma)) / (high - low)
    return mm * per_mm


def _half_normal(value: float, sigma: float) -> float:
    return 2.0 * math.exp(-0.5 * (value / sigma) ** 2) / (sigma * math.sqrt(2.0 * math.pi))


def _phi(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2.0))
