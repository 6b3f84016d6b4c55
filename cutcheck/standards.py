"""The standards: which size counts for each cut, and how far off a piece may be.

A standard holds sizes and tolerances, nothing else. Two ship with the program (``reference_dims/metric.toml``
and ``inch.toml``), and a user's own file has the same form. Each size points to the published figure it was
taken from. No culinary source gives a tolerance, so the one here is a house rule and says so.
"""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import Any, cast

from cutcheck.cuts import (
    SIZE_LABELS,
    SIZE_SIDES,
    Entry,
    Figure,
    Printed,
    Step,
    entries,
    plain_name,
    read_printed,
)
from cutcheck.errors import CutcheckError
from cutcheck.records import CutName, SideName
from cutcheck.reference import Field, fail, own_text
from cutcheck.units import Unit, show_range

SHIPPED = ("metric", "inch")
DEFAULT = "metric"


@dataclass(frozen=True, slots=True)
class Band:
    """Sizes below ``under_mm`` (or up to and with ``to_mm``) may be off by ``plus_minus_mm``."""

    plus_minus_mm: float
    under_mm: float | None = None
    to_mm: float | None = None

    def holds(self, size_mm: float) -> bool:
        """Does this band hold for a size?"""
        # the slack keeps a size that stands for the limit itself (1/2 in of 12.7) on its side of it
        if self.under_mm is not None:
            return size_mm < self.under_mm - 1e-9
        return self.to_mm is None or size_mm <= self.to_mm + 1e-9


@dataclass(frozen=True, slots=True)
class Tolerance:
    """How far a size may be off. ``house_rule`` is True where no source stands behind it."""

    bands: tuple[Band, ...]
    length_percent: float
    house_rule: bool
    note: str

    def plus_minus(self, key: str, size_mm: float) -> float:
        """mm either way. The length of a stick or a turned piece goes by per cent, all else by bands."""
        if key == "length":
            return size_mm * self.length_percent / 100.0
        return next(band.plus_minus_mm for band in self.bands if band.holds(size_mm))


@dataclass(frozen=True, slots=True)
class Size:
    """One size of a cut in a standard, and the figure (by name) that it was taken from."""

    printed: Printed
    figure: str | None
    low_mm: float
    high_mm: float
    plus_minus_mm: tuple[float, float]
    house_rule: bool

    @property
    def key(self) -> str:
        """Which size: one of ``SIZE_SIDES``."""
        return self.printed.key


@dataclass(frozen=True, slots=True)
class Target:
    """A side that counts and what it must be. Sides with one ``key`` are interchangeable."""

    side: SideName
    label: str
    key: str
    size_mm: tuple[float, float]
    low_mm: float
    high_mm: float

    @property
    def plus_minus_mm(self) -> float:
        """How far a piece of the middle size may be off: what spread is held against, mm."""
        return (self.high_mm - self.low_mm - (self.size_mm[1] - self.size_mm[0])) / 2.0

    @property
    def middle_mm(self) -> float:
        """The middle of the size aimed at, mm."""
        return sum(self.size_mm) / 2.0


@dataclass(frozen=True, slots=True)
class Standard:
    """Sizes and tolerances by cut name."""

    name: str
    title: str
    unit: Unit
    tolerance: Tolerance
    sizes: tuple[tuple[str, tuple[Size, ...]], ...]
    file: str

    def sizes_of(self, cut: str) -> tuple[Size, ...]:
        """The sizes of a cut, none where this standard lacks it."""
        return dict(self.sizes).get(cut, ())


@dataclass(frozen=True, slots=True)
class Cut:
    """A cut with the sizes of one standard. ``standard`` is None where no standard has a size for it.

    ``asked`` is the standard that was asked for; where it lacks the cut, ``standard`` is the one that has it,
    and ``borrowed`` is True, which the output must say. ``named`` is
    the standard as the user named it (a name or a file), None where the default was taken.
    """

    entry: Entry
    standard: str | None
    unit: Unit
    sizes: tuple[Size, ...]
    asked: str
    house_rule: bool
    scored: tuple[SideName, ...]
    not_scored_because: str = ""
    named: str | None = None

    @property
    def name(self) -> str:
        """The name by which it is asked for."""
        return self.entry.name

    @property
    def borrowed(self) -> bool:
        """Are the sizes of another standard than the one asked for?"""
        return self.standard is not None and self.standard != self.asked

    @property
    def cut_name(self) -> CutName:
        """The cut as a result names it."""
        return CutName(self.name, self.standard or "")

    @property
    def targets(self) -> tuple[Target, ...]:
        """The sides that count and have a size, in the order length, width, height."""
        found = []
        for size in self.sizes:
            for side in SIZE_SIDES[size.key]:
                label = SIZE_LABELS.get(size.key, side)
                if side in self.scored:
                    found.append(Target(side, label, size.key, size.printed.mm, size.low_mm, size.high_mm))
        order: tuple[SideName, ...] = ("length", "width", "height")
        return tuple(sorted(found, key=lambda t: order.index(t.side)))

    def size(self, key: str) -> Size | None:
        """The size called ``key``, where the standard has it."""
        return next((s for s in self.sizes if s.key == key), None)

    def size_text(self, key: str, unit: Unit | None = None) -> str:
        """The size called ``key`` in words, nothing where the standard has none."""
        size = self.size(key)
        return show_range(*size.printed.mm, unit or self.unit) if size else ""

    def steps(self, unit: Unit | None = None) -> tuple[tuple[Step, str], ...]:
        """How to cut it: each step with its text, the size that it must hit filled in."""
        return tuple((s, s.text(self._hit(s, unit))) for s in self.entry.steps)

    def _hit(self, step: Step, unit: Unit | None) -> str:
        return next((text for key in step.hits if (text := self.size_text(key, unit))), "")

    def to_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        e = self.entry
        return {
            "name": e.name, "english": e.english, "french": e.french, "others": list(e.others),
            "family": e.family, "about": e.about, "scored": list(self.scored), "square": e.square,
            "not_scored_because": self.not_scored_because, "faces": e.faces,
            "standard": self.standard, "asked": self.asked, "borrowed": self.borrowed,
            "house_rule": self.house_rule,
            "sizes": [
                {
                    "size": s.key, "sides": list(SIZE_SIDES[s.key]), "printed": s.printed.text,
                    "mm": list(s.printed.mm), "target_mm": [s.low_mm, s.high_mm],
                    "plus_minus_mm": list(s.plus_minus_mm), "house_rule": s.house_rule, "figure": s.figure,
                }
                for s in self.sizes
            ],
            "figures": [f.to_dict() for f in e.figures],
            "steps": [{"action": s.action, "hits": list(s.hits), "text": text} for s, text in self.steps()],
            "mistakes": list(e.mistakes),
        }  # fmt: skip


def load_standard(name: str | Path = DEFAULT) -> Standard:
    """A standard by its name, or from a file of the user's own."""
    if str(name) in SHIPPED:
        return _shipped(str(name))
    path = Path(name)
    if not path.is_file():
        raise CutcheckError("unknown-standard", standard=str(name), known=", ".join(SHIPPED))
    return read_standard(str(path), own_text(path, f"The standard '{path}'"))


def read_standard(file: str, text: str) -> Standard:
    """A standard from the text of its file; a fault names the file, the line and the field."""
    top = Field.parse(file, text)
    top.only("name", "title", "unit", "tolerance", "sizes")
    unit = cast(Unit, top.choice("unit", ("mm", "in"), "mm"))
    if "tolerance" not in top.table():
        fail(top, "[tolerance] is missing", "Write a [tolerance] section; `cutcheck standard new` shows one.")
    tolerance = _tolerance(top.at("tolerance"))
    found = []
    for cut, _ in top.at("sizes").table().items() if "sizes" in top.table() else ():
        field = top.at("sizes").at(cut)
        entry = entries().get(cut)
        if entry is None:
            near = _did_you_mean(cut)
            fail(field, f"'{cut}' is not a cut of the reference", near or "`cutcheck cuts` lists the cuts.")
        field.only(*SIZE_SIDES)
        found.append((cut, tuple(_size(field.at(key), key, unit, tolerance, entry) for key in field.data)))
    name = top.text("name")
    return Standard(name, top.text("title", name), unit, tolerance, tuple(found), file)


def cuts(standard: str | Path | None = None) -> tuple[Cut, ...]:
    """All cuts with their sizes. None: the default standard, its gaps filled from the other and marked so;
    a standard named: only the cuts which that one has."""
    found = [_cut(entry, standard) for entry in entries().values()]
    return tuple(c for c in found if standard is None or c.sizes)


def find_cut(
    name: str, standard: str | Path | None = None, produce: str | None = None, *, sized: bool = True
) -> Cut:
    """The cut that goes by ``name``, accents and case forgiven; ``produce`` leaves out sides the knife did
    not make. Raises ``unknown-cut`` where there is none or, if ``sized``, no size for it."""
    wanted = plain_name(name)
    asked = load_standard(standard or DEFAULT)
    entry = _names().get(wanted) or _names().get(wanted.removesuffix("s"))
    if entry is None:
        remedy = _did_you_mean(name) or "`cutcheck cuts` lists the cuts with all their names."
        raise CutcheckError("unknown-cut", cut=name, standard=asked.name, remedy=remedy)
    cut = _cut(entry, standard, produce)
    if cut.sizes or not sized:
        return cut
    have = [s for s in SHIPPED if load_standard(s).sizes_of(entry.name)]
    if have:
        remedy = f"The {' and the '.join(have)} standard has it: add --standard {have[0]}."
    else:
        remedy = "No source gives it a size; give it one in a standard of your own (cutcheck standard new)."
    raise CutcheckError("unknown-cut", cut=entry.name, standard=asked.name, remedy=remedy)


def figure_of(cut: Cut, size: Size) -> Figure | None:
    """The published figure that a size was taken from."""
    return next((f for f in cut.entry.figures if f.name == size.figure), None)


@lru_cache(maxsize=1)
def layered() -> dict[str, str]:
    """Produce that comes in layers, by plain name, and why its height is not the knife's."""
    file = "layered.toml"
    top = Field.parse(file, files("reference_dims").joinpath(file).read_text("utf-8"))
    return {plain_name(n): row.text("because") for row in top.rows("layered") for n in row.texts("names")}


@lru_cache(maxsize=len(SHIPPED))
def _shipped(name: str) -> Standard:
    file = f"{name}.toml"
    return read_standard(file, files("reference_dims").joinpath(file).read_text("utf-8"))


@lru_cache(maxsize=1)
def _names() -> dict[str, Entry]:
    """Every name of every cut. A main name is never hidden by another cut's other name."""
    found: dict[str, Entry] = {}
    for entry in entries().values():
        for name in entry.names:
            found.setdefault(plain_name(name), entry)
    found.update(entries())
    return found


def _did_you_mean(name: str) -> str:
    near = difflib.get_close_matches(plain_name(name), _names(), n=3, cutoff=0.7)
    cuts_meant = list(dict.fromkeys(_names()[n].name for n in near))
    return f"Did you mean {' or '.join(cuts_meant)}?" if cuts_meant else ""


def _cut(entry: Entry, standard: str | Path | None, produce: str | None = None) -> Cut:
    asked = load_standard(standard or DEFAULT)
    order: Sequence[Standard] = [asked]
    if standard is None:
        order = [asked, *(_shipped(s) for s in SHIPPED if s != asked.name)]
    have = next((s for s in order if s.sizes_of(entry.name)), None)
    scored, why = entry.scored, ""
    # A layer is as thick as it grew: its thickness, which lies upright on the board, is not the cook's.
    if produce is not None and len(scored) == 3 and (why := layered().get(plain_name(produce), "")):
        scored = tuple(s for s in scored if s != "height")
    base = Cut(
        entry,
        None,
        asked.unit,
        (),
        asked.name,
        False,
        scored,
        why,
        None if standard is None else str(standard),
    )
    if have is None:
        return base
    sizes = have.sizes_of(entry.name)
    house = any(s.house_rule for s in sizes)
    return replace(base, standard=have.name, unit=have.unit, sizes=sizes, house_rule=house)


def _tolerance(field: Field) -> Tolerance:
    field.only("bands", "length_percent", "house_rule", "note")
    bands = []
    for row in field.rows("bands"):
        row.only("under", "to", "plus_minus")
        under = row.number("under") if "under" in row.data else None
        to = row.number("to") if "to" in row.data else None
        bands.append(Band(row.number("plus_minus"), under, to))
    if not bands or bands[-1].under_mm is not None or bands[-1].to_mm is not None:
        fail(field.at("bands"), "the last band must hold for all sizes left", "End with { plus_minus = 2 }.")
    house = field.table().get("house_rule", True)
    if not isinstance(house, bool):
        fail(field.at("house_rule"), "this is neither true nor false", "Write house_rule = true.")
    return Tolerance(tuple(bands), field.number("length_percent"), house, field.text("note", ""))


def _size(field: Field, key: str, unit: str, tolerance: Tolerance, entry: Entry) -> Size:
    bare = not isinstance(field.data, dict)
    data = {"size": field.data} if bare else field.data
    whole, field = field, replace(field, data=data)
    field.only("size", "unit", "from", "plus_minus")
    unit = field.choice("unit", ("mm", "cm", "in"), unit)
    if "size" not in data:
        fail(field, "'size' is missing", 'Write { size = 6.3 }, { size = "1/4" } or { size = [5, 10] }.')
    printed = read_printed(whole if bare else field.at("size"), key, unit)
    figure = field.text("from", "") or None
    if figure is not None and figure not in {f.name for f in entry.figures}:
        have = ", ".join(f.name for f in entry.figures)
        fail(field.at("from"), f"{entry.name} has no figure '{figure}'", f"It has: {have}.")
    low, high = printed.mm
    if "plus_minus" in data:
        off = read_printed(field.at("plus_minus"), key, unit).mm[0]
        ends, house = (off, off), False
    else:
        ends, house = (tolerance.plus_minus(key, low), tolerance.plus_minus(key, high)), tolerance.house_rule
    if low - ends[0] <= 0:
        fail(field, "the tolerance is larger than the size", "Take a smaller plus_minus.")
    return Size(printed, figure, low - ends[0], high + ends[1], ends, house)
