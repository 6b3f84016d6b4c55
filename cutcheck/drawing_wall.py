"""A standard on one A4 page for the wall: each cut in space, its names, sizes and what is on size."""

from __future__ import annotations

from pathlib import Path

from cutcheck.cuts import FAMILIES
from cutcheck.drawing_cut import document, draw_space, drawn_sides, scale_words, size_words, text
from cutcheck.drawing_forms import solid
from cutcheck.standards import DEFAULT, Cut, cuts, load_standard
from cutcheck.units import Unit, show_length

PAGE_WIDE, PAGE_HIGH, EDGE, HEAD, FOOT = 210.0, 297.0, 9.0, 21.0, 13.0
COLUMNS = 5


def draw_wall_chart(standard: str | Path = DEFAULT, unit: Unit | None = None) -> str:
    """The page as SVG, 210 x 297 mm. It says where a tolerance is a house rule."""
    name = load_standard(standard)
    shown = sorted(cuts(standard), key=lambda c: FAMILIES.index(c.entry.family))
    rows = -(-len(shown) // COLUMNS)
    wide = (PAGE_WIDE - 2 * EDGE) / COLUMNS
    high = (PAGE_HIGH - HEAD - FOOT) / max(rows, 1)
    parts = [
        text(EDGE, 12.0, f"Cuts by the {name.name} standard", 6.0, bold=True),
        text(EDGE, 17.5, name.title, 3.2),
    ]
    for k, cut in enumerate(shown):
        parts += _cell(cut, EDGE + wide * (k % COLUMNS), HEAD + high * (k // COLUMNS), wide, high, unit)
    foot = PAGE_HIGH - FOOT + 5.0
    if name.tolerance.house_rule:
        parts.append(text(EDGE, foot, name.tolerance.note or "The tolerances are a house rule.", 2.6))
    parts.append(
        text(EDGE, foot + 4.0, "Claw grip, a sharp knife, a board that can't slip. Ask your instructor.", 2.6)
    )
    return document(f"Cuts by the {name.name} standard", name.title, parts, PAGE_HIGH, PAGE_WIDE)


def _cell(cut: Cut, left: float, top: float, wide: float, high: float, unit: Unit | None) -> list[str]:
    sides = drawn_sides(cut)
    form = solid(cut.entry.drawing.form, sides.length, sides.width, sides.height, cut.entry.faces)
    lines = [*size_words(cut, unit or cut.unit), f"on size: {_allowed(cut, unit or cut.unit)}"]
    words = 4.2 + 3.0 * len(lines)
    room = high - words - 3.0
    parts, scale = draw_space(form, wide - 8.0, room, (left + wide / 2, top + room / 2 + 1.0))
    parts.append(text(left, top + room + 5.0, cut.entry.english, 3.1, bold=True))
    parts.append(
        text(
            left + wide - 2.0,
            top + 2.2,
            scale_words(scale).removesuffix(" along the edges"),
            2.0,
            anchor="end",
        )
    )
    for row, line in enumerate(lines):
        parts.append(text(left, top + room + 8.6 + 3.0 * row, line, 2.4))
    return parts


def _allowed(cut: Cut, unit: Unit) -> str:
    """± of each size, or the limits where its ends have different ones."""
    found = []
    for size in cut.sizes:
        low, high = size.plus_minus_mm
        words = (
            show_length(low, unit)
            if low == high
            else f"{show_length(low, unit)} to {show_length(high, unit)}"
        )
        found.append(f"±{words}")
    return ", ".join(found)
