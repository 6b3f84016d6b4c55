"""Finding the cuts that fit a size: ``like("3x3x50")``."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from cutcheck.cuts import FAMILIES, Family
from cutcheck.errors import CutcheckError
from cutcheck.standards import Cut, cuts
from cutcheck.suggest import Medians
from cutcheck.units import MM_PER, read_size, to_mm

NEAREST = 5
UNLIKE = 0.005
_UNIT = re.compile(r"\s*(mm|cm|in|inch|inches|\"|″)\s*$")


@dataclass(frozen=True, slots=True)
class Like:
    """A cut and how far a size is from it: ``off_mm`` is 0 where all sides that count fit."""

    cut: Cut
    off_mm: float

    @property
    def fits(self) -> bool:
        """Is the size within tolerance?"""
        return self.off_mm == 0.0

    def to_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        name = self.cut.name
        return {"name": name, "standard": self.cut.standard, "fits": self.fits, "off_mm": self.off_mm}


def read_like(text: str) -> tuple[float, ...]:
    """One to three sizes in mm, the largest first, from ``3x3x50``, ``1/8 x 1/8 x 2 in`` or ``6``."""
    unit = "mm"
    bare = text.strip().casefold()
    if match := _UNIT.search(bare):
        unit = match[1] if match[1] in MM_PER else "in"
        bare = bare[: match.start()]
    try:
        sizes = [to_mm(read_size(part), unit) for part in re.split(r"\s*[x×*]\s*", bare)]
        if len(sizes) > 3:
            raise ValueError("a piece has three sides")
    except ValueError as error:
        raise CutcheckError(
            "bad-option",
            problem=f"'{text}' is no size: {error}.",
            remedy="Write one to three sides as 3x3x50 (mm), or 1/8x1/8x2in.",
        ) from error
    return tuple(sorted(sizes, reverse=True))


def like(size: str, standard: str | Path | None = None) -> tuple[Like, ...]:
    """The cuts that a size fits, the likeliest first; where none does, the nearest few and how far off.

    One side is taken for a die's edge, or for the one side that counts; two for a section and a length, or
    for a slice's width and thickness.
    """
    sizes = read_like(size)
    fitting: list[tuple[float, Cut]] = []
    near: list[tuple[float, float, Cut]] = []
    for cut in cuts(standard):
        sides = _sides(cut, sizes)
        if sides is None:
            continue
        off, tolerances = _off(cut, sides)
        likely = Medians(sides["length"], sides["width"], sides["height"], {}).likelihood(cut)
        if off > 0.0:
            if cut.entry.family in _families(sizes):
                near.append((tolerances, off, cut))
        elif likely > 1e-5:
            fitting.append((likely, cut))
    fitting.sort(key=lambda f: -f[0])
    # A stick 3 mm thick is no round slice of 3 mm, though its thickness alone would fit.
    if shaped := [cut for likely, cut in fitting if likely > UNLIKE * fitting[0][0]]:
        return tuple(Like(cut, 0.0) for cut in shaped)
    near.sort(key=lambda n: n[:2])
    return tuple(Like(cut, round(off, 3)) for _, off, cut in near[:NEAREST])


def _families(sizes: tuple[float, ...]) -> tuple[Family, ...]:
    """Which kinds of cut a piece of these sides may be at all."""
    if len(sizes) < 3:
        return FAMILIES
    length, width, height = sizes
    if length > 2.5 * width:
        return ("stick", "turned") if height > 0.4 * width else ("ribbon", "stick")
    return ("dice", "turned") if height > 0.5 * width else ("slice",)


def _off(cut: Cut, sides: dict[str, float]) -> tuple[float, float]:
    """How far the worst side that counts is beyond its limits: in mm and in tolerances."""
    beyond = [
        (max(t.low_mm - sides[t.side], sides[t.side] - t.high_mm, 0.0), t.plus_minus_mm) for t in cut.targets
    ]
    return max(b for b, _ in beyond), max(b / t for b, t in beyond)


def _sides(cut: Cut, sizes: tuple[float, ...]) -> dict[str, float] | None:
    """The sizes as sides of this cut, or None where they can't be. What was not given is made up to suit."""
    keys = {t.key for t in cut.targets}
    if not keys:
        return None
    if len(sizes) == 3:
        length, width, height = sizes
    elif len(sizes) == 1:
        (only,) = sizes
        if keys == {"thickness"}:
            length, width, height = 8.0 * only, 8.0 * only, only
        elif keys == {"width"}:
            length, width, height = 12.0 * only, only, 0.2 * only
        elif keys in ({"edge"}, {"diameter"}):
            length = width = height = only
        else:
            return None
    elif cut.entry.family in ("stick", "turned"):
        length, width = sizes
        height = width
    elif cut.entry.family == "slice":
        length, height = sizes
        width = length
    else:
        return None
    return {"length": length, "width": width, "height": height}
