"""The reference of cuts as plain text for a terminal: all of them, or one with its sources."""

from __future__ import annotations

from collections.abc import Sequence

from cutcheck.cuts import CLASSES, STANDINGS, Figure
from cutcheck.finding import Like
from cutcheck.standards import Cut, Size, figure_of
from cutcheck.table import columns, wrapped
from cutcheck.units import MM_PER, Unit, show_range

FAMILIES = {"dice": "Dice", "stick": "Sticks", "slice": "Slices", "ribbon": "Ribbons", "turned": "Turned"}
CAUTION = (
    "Knives: curl the fingertips of the guiding hand, keep the board from slipping, and do as your "
    "instructor and your local food-safety code say."
)
HOUSE_RULE = "How far off a piece may be is a house rule: no culinary source that was read gives a tolerance."
OWN_STANDARD = "'cutcheck standard new FILE' makes a standard of your own."


def listing(cuts: Sequence[Cut], unit: Unit | None = None) -> str:
    """All cuts by family: name, French name, sizes and the standard that they are from."""
    parts = []
    for family, title in FAMILIES.items():
        rows = [
            [cut.name, cut.entry.french or "-", sizes(cut, unit), cut.standard or "-"]
            for cut in cuts
            if cut.entry.family == family
        ]
        if rows:
            parts.append(f"{title}\n{columns([['cut', 'French', 'sizes', 'standard'], *rows])}")
    return "\n\n".join([*parts, "'cutcheck cuts NAME' shows one with its sources."])


def likes(found: Sequence[Like], unit: Unit | None = None) -> str:
    """The cuts that a size fits, or the nearest ones and how far off it is; in words where there are none."""
    if not found:
        return "No cut is near this size. 'cutcheck cuts' lists them all."
    rows = [
        [like.cut.name, sizes(like.cut, unit), like.cut.standard or "-", _off(like, unit)] for like in found
    ]
    listed = columns([["cut", "sizes", "standard", "this size"], *rows])
    return listed if found[0].fits else f"No cut has this size. The nearest:\n\n{listed}"


def _off(like: Like, unit: Unit | None) -> str:
    if like.fits:
        return "fits"
    shown = unit or like.cut.unit
    return f"off by {like.off_mm / float(MM_PER[shown]):.{2 if shown == 'mm' else 3}f} {shown}"


def sizes(cut: Cut, unit: Unit | None = None) -> str:
    """The sizes of a cut in one line: ``"section 2 mm, length 40–50 mm"``."""
    texts = [f"{size.key} {show_range(*size.printed.mm, unit or cut.unit)}" for size in cut.sizes]
    return ", ".join(texts) or "no fixed size"


def one(cut: Cut, unit: Unit | None = None) -> str:
    """One cut: what it is, its sizes in mm and inches, what the sources say, the steps, usual mistakes."""
    entry = cut.entry
    names = [name for name in (entry.french, *entry.others) if name and name.lower() != entry.english.lower()]
    parts = [
        entry.english + (f" ({', '.join(dict.fromkeys(names))})" if names else ""),
        wrapped(entry.about),
    ]
    if cut.sizes:
        asked = f"; the {cut.asked} standard has none" if cut.borrowed else ""
        parts.append(f"Sizes by the {cut.standard} standard{asked}\n{_size_table(cut)}")
        if cut.house_rule:
            parts.append(wrapped(f"{HOUSE_RULE} {OWN_STANDARD}"))
    else:
        parts.append("No standard gives it a size.")
    parts.append(f"Counted sides: {', '.join(cut.scored) or 'none'}.")
    parts.append(f"What the sources say\n{figure_list(cut)}")
    steps = [wrapped(f"{number}. {text}") for number, (_, text) in enumerate(cut.steps(unit), 1)]
    parts.append("\n".join(["How to cut it", *steps]))
    if entry.mistakes:
        parts.append("Usual mistakes\n" + "\n".join(wrapped(text) for text in entry.mistakes))
    parts.append(wrapped(CAUTION, indent=""))
    return "\n\n".join(parts)


def figure_list(cut: Cut) -> str:
    """Each published figure, and below it its source, the source's class and how it is known."""
    lines = []
    for figure in cut.entry.figures:
        lines.append(f"  {figure.printed}")
        lines.append(wrapped(f"{figure.source.title}; {standing(figure)}", "      "))
    used = sorted({figure.source.grade for figure in cut.entry.figures})
    legend = ", ".join(f"{grade} {CLASSES[grade]}" for grade in used)
    return "\n".join([*lines, wrapped(f"Classes: {legend}.")]) if lines else "  Nothing with a size."


def standing(figure: Figure) -> str:
    """How good a figure is: ``"class C, published and read"``."""
    return f"class {figure.source.grade}, {STANDINGS[figure.standing]}"


def sources_of(cut: Cut) -> list[str]:
    """Where the sizes of a cut come from: one line for each source, with the sizes that it gave."""
    taken: dict[str, list[str]] = {}
    for size in cut.sizes:
        taken.setdefault(_source(cut, size), []).append(size.key)
    return [f"{' and '.join(keys)}: {words}" for words, keys in taken.items()]


def _source(cut: Cut, size: Size) -> str:
    figure = figure_of(cut, size)
    if figure is None:
        return "own figure"
    return f"{figure.source.title}; {standing(figure)}"


def _size_table(cut: Cut) -> str:
    rows = [["size", "mm", "inches", "on size (mm)"]]
    for size in cut.sizes:
        in_mm, inches = show_range(*size.printed.mm, "mm"), show_range(*size.printed.mm, "in")
        rows.append([size.key, in_mm, inches, f"{size.low_mm:.2f} to {size.high_mm:.2f}"])
    return "\n".join([columns(rows), *map(wrapped, sources_of(cut))])
