"""What squaring off costs: a vegetable as a solid, the blocks that it holds, and the whole pieces in them.

A peeled, trimmed vegetable is a frustum (carrot; a cylinder where both ends are alike, courgette) or an
ellipsoid (potato; a ball where it is round, turnip), lying along x. It is cut across into sections; each
section is squared off to the largest upright block, and the block is cut into whole pieces. All in mm.

Closed forms: a frustum holds pi L (D^2 + D d + d^2) / 12; an ellipsoid pi L W H / 6; the largest square block
in a cylinder keeps 2/pi of it, the largest block in an ellipsoid 2/(pi sqrt 3). (Solid geometry.)
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import floor, hypot, pi, sqrt

__all__ = ["Cutting", "Ellipsoid", "Frustum", "Section", "Solid", "cut_boxes", "cut_rounds", "largest_edge"]

# A block longer than this can't be held and cut well; about the length of a julienne. House rule, no source.
LONGEST_SECTION_MM = 50.0
# A round less than half as wide as the widest is an end, not a slice. House rule, no source.
NARROWEST_ROUND = 0.5
# Sizes that fit exactly must not be lost to the last binary digit (3 pieces of 6.35 in 19.05).
_SLACK = 1e-9


@dataclass(frozen=True, slots=True)
class Frustum:
    """A cone without its tip, thick end at x = 0; a cylinder where the two diameters are alike. mm."""

    top_mm: float
    tip_mm: float
    length_mm: float

    def half_axes(self, x: float) -> tuple[float, float]:
        """Half the width across and half the height up of the cross-section at ``x``, mm."""
        radius = (self.top_mm + (self.tip_mm - self.top_mm) * x / self.length_mm) / 2
        return radius, radius

    def volume(self, start: float = 0.0, end: float | None = None) -> float:
        """The volume between two places along x, mm3; all of it where none are given."""
        end = self.length_mm if end is None else end
        a, b = self.half_axes(start)[0], self.half_axes(end)[0]
        return pi * (end - start) * (a * a + a * b + b * b) / 3


@dataclass(frozen=True, slots=True)
class Ellipsoid:
    """An ellipsoid given by its full axes, lying from x = 0 to ``length_mm``; a ball where they are alike."""

    length_mm: float
    width_mm: float
    height_mm: float

    def half_axes(self, x: float) -> tuple[float, float]:
        """Half the width across and half the height up of the cross-section at ``x``, mm."""
        along = 2 * x / self.length_mm - 1
        shrink = sqrt(max(0.0, 1 - along * along))
        return self.width_mm / 2 * shrink, self.height_mm / 2 * shrink

    def volume(self, start: float = 0.0, end: float | None = None) -> float:
        """The volume between two places along x, mm3; all of it where none are given."""
        half = self.length_mm / 2
        u, v = start / half - 1, (self.length_mm if end is None else end) / half - 1
        return pi * self.width_mm * self.height_mm / 4 * half * ((v - v**3 / 3) - (u - u**3 / 3))


Solid = Frustum | Ellipsoid


@dataclass(frozen=True, slots=True)
class Section:
    """One squared block: from ``start`` to ``end`` along x, ``across`` by ``up``; and its whole pieces."""

    start: float
    end: float
    across: float
    up: float
    pieces: int

    @property
    def volume(self) -> float:
        """mm3."""
        return (self.end - self.start) * self.across * self.up


@dataclass(frozen=True, slots=True)
class Cutting:
    """What one vegetable gives. ``squared`` and ``kept`` are shares of its volume, 0 to 1."""

    pieces: int
    squared: float
    kept: float
    sections: tuple[Section, ...] = ()


@lru_cache(maxsize=256)
def cut_boxes(
    solid: Solid,
    length_mm: float,
    width_mm: float,
    height_mm: float,
    longest_mm: float = LONGEST_SECTION_MM,
) -> Cutting:
    """Squared off and cut into boxes, ``length_mm`` along the vegetable, ``width_mm`` by ``height_mm`` up.

    As many pieces along the vegetable are taken as give most whole pieces: from the thick end of a frustum,
    from the middle of an ellipsoid. They are shared out over sections of at most ``longest_mm`` (or one
    piece, where a piece is longer). Pieces along the vegetable fill their block; across it the rest is lost.
    """
    if min(length_mm, width_mm, height_mm, longest_mm) <= 0:
        raise ValueError("the sides of a piece must be above zero")
    per_section = max(1, floor(longest_mm / length_mm + _SLACK))
    best: tuple[Section, ...] = ()
    most = 0
    for along in range(1, floor(solid.length_mm / length_mm + _SLACK) + 1):
        sections = _sections(solid, along, per_section, length_mm, width_mm, height_mm)
        if (pieces := sum(s.pieces for s in sections)) > most:
            best, most = sections, pieces
    whole = solid.volume()
    return Cutting(
        pieces=most,
        squared=sum(s.volume for s in best) / whole,
        kept=most * length_mm * width_mm * height_mm / whole,
        sections=best,
    )


def cut_rounds(solid: Solid, thickness_mm: float) -> Cutting:
    """Cut across into rounds of one thickness, no squaring off; what is under half the widest is an end."""
    if thickness_mm <= 0:
        raise ValueError("the thickness of a round must be above zero")
    start, end = _wide_part(solid)
    rounds = floor((end - start) / thickness_mm + _SLACK)
    if isinstance(solid, Ellipsoid):
        start = (solid.length_mm - rounds * thickness_mm) / 2
    kept = solid.volume(start, start + rounds * thickness_mm) / solid.volume() if rounds else 0.0
    return Cutting(pieces=rounds, squared=1.0, kept=kept)


def largest_edge(solid: Solid) -> float:
    """The edge of the largest cube that the vegetable holds, mm: by halving, to a hundredth."""
    low, high = 0.0, solid.length_mm
    while high - low > 0.01:
        edge = (low + high) / 2
        low, high = (edge, high) if _holds(solid, edge) else (low, edge)
    return low


def _holds(solid: Solid, edge: float) -> bool:
    start = (solid.length_mm - edge) / 2 if isinstance(solid, Ellipsoid) else 0.0
    return _columns_rows(*_narrow_end(solid, start, start + edge), edge, edge) != (0, 0)


def _sections(
    solid: Solid, along: int, per_section: int, length: float, width: float, height: float
) -> tuple[Section, ...]:
    """``along`` pieces shared out over as few sections as hold them, each squared off at its narrower end."""
    count = -(-along // per_section)
    share, more = divmod(along, count)
    # The middle of an ellipsoid is its widest part, the start of a frustum; nothing is gained elsewhere.
    start = (solid.length_mm - along * length) / 2 if isinstance(solid, Ellipsoid) else 0.0
    found = []
    for number in range(count):
        here = share + (number < more)
        end = min(start + here * length, solid.length_mm)
        a, b = _narrow_end(solid, max(start, 0.0), end)
        columns, rows = _columns_rows(a, b, width, height)
        if columns:
            across, up = _block(a, b, columns, rows, width, height)
            found.append(Section(start, end, across, up, columns * rows * here))
        start = end
    return tuple(found)


def _narrow_end(solid: Solid, start: float, end: float) -> tuple[float, float]:
    """Half axes of the smaller end: both solids bulge outwards, so no place between is narrower."""
    return min(solid.half_axes(start), solid.half_axes(end))


def _columns_rows(a: float, b: float, width: float, height: float) -> tuple[int, int]:
    """How many pieces stand across and up in the ellipse of half axes ``a`` and ``b``.

    The square block first, because that is what is taught; a flatter one only where it holds more pieces.
    """
    if a <= 0 or b <= 0:
        return 0, 0
    best = floor(sqrt(2) * a / width + _SLACK), floor(sqrt(2) * b / height + _SLACK)
    most = best[0] * best[1]
    for columns in range(1, floor(2 * a / width + _SLACK) + 1):
        room = 1 - (columns * width / (2 * a)) ** 2
        rows = floor(2 * b * sqrt(max(0.0, room)) / height + _SLACK)
        if columns * rows > most:
            best, most = (columns, rows), columns * rows
    return best if most else (0, 0)


def _block(a: float, b: float, columns: int, rows: int, width: float, height: float) -> tuple[float, float]:
    """The block that is squared off: the square one where it holds the pieces, else theirs, let out."""
    across, up = sqrt(2) * a, sqrt(2) * b
    if columns * width <= across * (1 + _SLACK) and rows * height <= up * (1 + _SLACK):
        return across, up
    grow = 1 / hypot(columns * width / (2 * a), rows * height / (2 * b))
    return columns * width * grow, rows * height * grow


def _wide_part(solid: Solid) -> tuple[float, float]:
    """Where it is at least ``NARROWEST_ROUND`` as wide as at its widest, from and to along x, mm."""
    if isinstance(solid, Ellipsoid):
        end = sqrt(1 - NARROWEST_ROUND**2) * solid.length_mm / 2
        return solid.length_mm / 2 - end, solid.length_mm / 2 + end
    narrowest = solid.top_mm * NARROWEST_ROUND
    if solid.tip_mm >= narrowest:
        return 0.0, solid.length_mm
    return 0.0, solid.length_mm * (solid.top_mm - narrowest) / (solid.top_mm - solid.tip_mm)
