"""A cut made from a vegetable: what is left of it when squared off and cut, and how heavy a piece is.

Joins the sizes of a standard with the vegetable's solid. What geometry can't tell is None, with a note why.
"""

from __future__ import annotations

from dataclasses import dataclass

from cutcheck.errors import CutcheckError
from cutcheck.geometry_yield import LONGEST_SECTION_MM, Cutting, cut_boxes, cut_rounds, largest_edge
from cutcheck.produce import UnitSize, Vegetable
from cutcheck.standards import Cut
from cutcheck.units import show_length, show_range

__all__ = ["MIDDLE", "Made", "cut_vegetable", "sizes_text"]

# A size of vegetable that keeps so many times more is worth a word. House rule, no source.
BETTER = 1.25
MIDDLE = "Reckoned with the middle of the sizes."
_WHY_LAYERED = "it is cut along its layers"
_WEIGH = "Weigh what you keep of the first kilogram."


@dataclass(frozen=True, slots=True)
class Made:
    """``cutting`` of one vegetable and the weight of a piece in grams, where they can be told; and notes."""

    cutting: Cutting | None = None
    piece_g: float | None = None
    notes: tuple[str, ...] = ()


def cut_vegetable(cut: Cut, vegetable: Vegetable, size: UnitSize | None, state: str) -> Made:
    """Cut one vegetable of a size, prepared to ``state``. Raises ``bad-option`` where it is too small."""
    if cut.entry.family == "ribbon":
        return Made(notes=("Shredded: all of the trimmed leaf is used.",))
    notes: list[str] = []
    sides = _piece_sides(cut, notes)
    piece_g = (
        sides[0] * sides[1] * sides[2] * vegetable.density / 1000 if sides and vegetable.density else None
    )
    if sides is not None and cut.entry.square == "":
        return Made(None, piece_g, (*notes, "A rough cut: nothing is squared off, all of it is used."))
    # what is seeded is hollow, and no longer the solid that it was
    seeded = "seeded" in state
    if size is None or size.solid is None or seeded:
        why = "it is hollow" if seeded else _WHY_LAYERED if vegetable.layered else "its shape is not known"
        return Made(notes=(f"Loss from cutting is not counted: {why}. {_WEIGH}",))
    solid = size.solid
    if sides is not None:
        cutting = cut_boxes(solid, *sides)
        if not cutting.pieces:
            raise _too_small(cut, vegetable, size, sides)
        return Made(cutting, piece_g, (*notes, *_better_size(vegetable, size, cutting, sides)))
    thickness = cut.size("thickness")
    if cut.entry.family == "slice" and thickness is not None:
        cutting = cut_rounds(solid, sum(thickness.printed.mm) / 2)
        if not cutting.pieces:
            raise _too_small(cut, vegetable, size, None)
        return Made(cutting, cutting.kept * size.grams / cutting.pieces)
    return Made(notes=(f"Loss from cutting is not counted: none is published for this cut. {_WEIGH}",))


def sizes_text(cut: Cut) -> str:
    """The sizes of a cut in one line: ``section 2 mm, length 40–50 mm``; empty where it has none."""
    return ", ".join(f"{s.key} {show_range(*s.printed.mm, cut.unit)}" for s in cut.sizes)


def _piece_sides(cut: Cut, notes: list[str]) -> tuple[float, float, float] | None:
    """A piece as (along the vegetable, across, up), mm, at the middle of its range; None for no box."""
    middle = {s.key: sum(s.printed.mm) / 2 for s in cut.sizes}
    if "edge" in middle:
        sides = middle["edge"], middle["edge"], middle["edge"]
    elif "section" in middle:
        if "length" not in middle:
            notes.append(f"No length is given: reckoned with {show_length(LONGEST_SECTION_MM)}.")
        sides = middle.get("length", LONGEST_SECTION_MM), middle["section"], middle["section"]
    elif "plan" in middle and "thickness" in middle:
        # tiles are sliced from a block of their own section
        sides = middle["thickness"], middle["plan"], middle["plan"]
    else:
        return None
    if any(s.printed.low < s.printed.high for s in cut.sizes):
        notes.append(MIDDLE)
    return sides


def _better_size(
    vegetable: Vegetable, size: UnitSize, cutting: Cutting, sides: tuple[float, float, float]
) -> list[str]:
    """A word where another size of the vegetable keeps clearly more."""
    others = [(cut_boxes(s.solid, *sides).kept, s.name) for s in vegetable.sizes if s.solid and s is not size]
    most, name = max(others, default=(0.0, ""))
    if most < BETTER * cutting.kept:
        return []
    return [f"Of a {name} one {100 * most:.0f} % is kept, of a {size.name} one {100 * cutting.kept:.0f} %."]


def _too_small(
    cut: Cut, vegetable: Vegetable, size: UnitSize, sides: tuple[float, float, float] | None
) -> CutcheckError:
    remedy = "Take a smaller cut."
    for other in vegetable.sizes:
        if sides and other.solid and other.grams > size.grams and cut_boxes(other.solid, *sides).pieces:
            remedy = f"A {other.name} one does: give its size, or take a smaller cut."
            break
    edge = largest_edge(size.solid) if size.solid else 0.0
    return CutcheckError(
        "bad-option",
        problem=f"A {size.name} {vegetable.english} is too small for {cut.name}, {sizes_text(cut)}: "
        f"the largest cube it holds has an edge of {show_length(edge)}.",
        remedy=remedy,
    )
