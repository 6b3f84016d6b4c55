"""Which cuts have sizes like these? For who has a piece in hand, or a size in a recipe."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from cutcheck.errors import CutcheckError
from cutcheck.standards import Cut, Target, cuts
from cutcheck.units import read_size, to_mm


class Like(NamedTuple):
    """A cut and how far its farthest side is from the one asked for: 0.1 is 10 % too large or too small."""

    cut: Cut
    off: float


def cuts_like(
    sides_mm: Sequence[float], standard: str | Path | None = None, most: int = 8
) -> tuple[Like, ...]:
    """The cuts nearest to one to three sides, mm, nearest first; longest side first, as a piece is measured.

    Only cuts that give at least as many sides a size are compared, and within a size's range nothing is off.
    """
    sides = sorted(sides_mm, reverse=True)
    found = [Like(cut, _off(sides, cut.targets)) for cut in cuts(standard) if len(cut.targets) >= len(sides)]
    return tuple(sorted(found, key=lambda like: like.off)[:most])


def read_sides(text: str) -> tuple[float, ...]:
    """Sides, mm, from ``"3x3x50"`` or ``"1/8x1/8x2in"``; a ``bad-option`` error for another text."""
    words = text.strip().lower().replace("×", "x")
    match = re.fullmatch(r"(.+?)\s*(mm|cm|in)?", words)
    try:
        parts = match[1].split("x") if match else []
        if not 1 <= len(parts) <= 3:
            raise ValueError
        return tuple(to_mm(read_size(part), (match and match[2]) or "mm") for part in parts)
    except ValueError:
        raise CutcheckError(
            "bad-option",
            problem=f"'{text}' is not a size.",
            remedy="Give one to three sides, such as 3x3x50 (mm) or 1/8x1/8x2in.",
        ) from None


def _off(sides: Sequence[float], targets: Sequence[Target]) -> float:
    """The worst relative difference, both lists in falling order."""
    wanted = sorted((target.size_mm for target in targets), reverse=True)
    # With fewer sides than the cut has sizes, the longest is left out: it is the one that recipes omit.
    wanted = wanted[len(wanted) - len(sides) :]
    return max(_relative(side, *size) for side, size in zip(sides, wanted, strict=True))


def _relative(side: float, low: float, high: float) -> float:
    nearest = min(max(side, low), high)
    return math.exp(abs(math.log(side / nearest))) - 1.0
