"""The cuts as the sources have them: names, published figures with their standing, steps, usual mistakes.

Read from ``reference_dims/cuts/*.toml`` and ``reference_dims/sources.toml``. What a class is held to is not
here but in a standard (``cutcheck.standards``), which picks one of these figures for each size.
Nothing is averaged: where sources disagree they stand side by side.
"""

from __future__ import annotations

import tomllib
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from importlib.resources import files
from typing import Any, Literal, cast, get_args

from cutcheck.records import Shape, SideName
from cutcheck.reference import Field, fail
from cutcheck.units import MM_PER, PrintedUnit, read_size, show_fraction, to_mm

Family = Literal["dice", "stick", "slice", "ribbon", "turned"]
Square = Literal["cube", "section", "plan", ""]
Class = Literal["A", "B", "C", "D", "E"]
Form = Literal[
    "box",
    "disc",
    "lattice",
    "diamond",
    "half-disc",
    "ribbon",
    "crumbs",
    "barrel",
    "olive",
    "ball",
    "roll",
    "wedge",
]
Standing = Literal["published-read", "from-memory", "common-practice"]

FAMILIES: tuple[Family, ...] = ("dice", "stick", "slice", "ribbon", "turned")
CLASSES: dict[str, str] = {
    "A": "standard, regulation or government text",
    "B": "published book",
    "C": "curriculum or training document",
    "D": "encyclopaedia with an open licence",
    "E": "web, press or trade usage only",
}
STANDINGS: dict[str, str] = {
    "published-read": "published and read",
    "from-memory": "from memory, unverified",
    "common-practice": "common practice, no published source",
}

# A size has one name, and says which measured sides it holds for. Sides under one name are interchangeable:
# on the board nobody can tell which of a die's sides came from which cut.
SIZE_SIDES: dict[str, tuple[SideName, ...]] = {
    "edge": ("length", "width", "height"),
    "section": ("width", "height"),
    "plan": ("length", "width"),
    "diameter": ("length", "width"),
    "thickness": ("height",),
    "length": ("length",),
    "width": ("width",),
    "middle": ("width",),
}
SIZE_LABELS: dict[str, str] = {"thickness": "thickness", "diameter": "diameter", "middle": "middle"}

_ENTRY_FIELDS = (
    *("english", "french", "others", "family", "scored", "square", "shapes", "about", "faces"),
    *("figure", "step", "mistakes", "drawing"),
)

# What each step of the knife is called in advice.
ACTIONS: dict[str, str] = {
    "peel": "the peeling",
    "trim": "the trimming",
    "square-off": "squaring off",
    "length": "cutting to length",
    "slab": "the slabs (first cuts)",
    "stick": "the sticks (second cuts)",
    "cross-cut": "the cross-cuts (last cuts)",
    "slice": "the slicing",
    "stack": "stacking",
    "roll": "rolling",
    "shred": "the shredding",
    "turn": "the turning",
    "scoop": "the scooping",
    "scald": "scalding",
    "halve": "halving",
    "chop": "the chopping",
}


@dataclass(frozen=True, slots=True)
class Source:
    """Where a figure was read, or that it is only usage. ``grade`` is the class A to E of ``CLASSES``."""

    code: str
    title: str
    grade: Class
    address: str


@dataclass(frozen=True, slots=True)
class Printed:
    """One size as a source prints it: ``key`` of ``SIZE_SIDES``, low and high in the printed unit."""

    key: str
    low: Fraction
    high: Fraction
    unit: PrintedUnit

    @property
    def mm(self) -> tuple[float, float]:
        """(low, high) in mm, by the exact factor."""
        return to_mm(self.low, self.unit), to_mm(self.high, self.unit)

    @property
    def text(self) -> str:
        """``1/8 in``, ``2–3 mm``."""
        low, high = show_fraction(self.low), show_fraction(self.high)
        return f"{low} {self.unit}" if low == high else f"{low}–{high} {self.unit}"


@dataclass(frozen=True, slots=True)
class Figure:
    """What one source says of one cut. ``plus_minus_mm`` is a published tolerance, where there is one."""

    name: str
    source: Source
    standing: Standing
    printed: str
    sizes: tuple[Printed, ...]
    plus_minus_mm: float | None = None
    note: str = ""

    def to_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {
            "name": self.name,
            "source": self.source.code,
            "title": self.source.title,
            "class": self.source.grade,
            "address": self.source.address,
            "standing": self.standing,
            "printed": self.printed,
            "sizes": {s.key: {"printed": s.text, "mm": list(s.mm)} for s in self.sizes},
            "plus_minus_mm": self.plus_minus_mm,
            "note": self.note,
        }


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the knife. ``hits`` names the size it must hit (the first that a standard
    has, where there are several); ``say`` may hold ``{size}``."""

    action: str
    hits: tuple[str, ...]
    say: str

    def text(self, size: str) -> str:
        """The step in words; ``size`` is the text of the size it must hit, empty where none is known."""
        return " ".join(self.say.replace("{size}", size or "(your size)").split())


@dataclass(frozen=True, slots=True)
class Drawing:
    """How a cut is drawn: its form, and what to take for the sides that no standard sizes, mm."""

    form: Form
    length: float
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class Entry:
    """A cut as the reference has it, whatever standard is used.

    ``scored``: the sides that count; ``square``: which of them are meant to be equal; ``shapes``: how a piece
    of it may look on the board, the usual look first.
    """

    name: str
    english: str
    french: str
    others: tuple[str, ...]
    family: Family
    scored: tuple[SideName, ...]
    square: Square
    shapes: tuple[Shape, ...]
    about: str
    figures: tuple[Figure, ...]
    steps: tuple[Step, ...]
    mistakes: tuple[str, ...]
    drawing: Drawing
    faces: int | None = None

    @property
    def names(self) -> tuple[str, ...]:
        """Every name it goes by, the main one first."""
        return tuple(dict.fromkeys(n for n in (self.name, self.english, self.french, *self.others) if n))


def plain_name(text: str) -> str:
    """A name with accents, case and punctuation forgiven: ``Bâtonnet `` gives ``batonnet``."""
    bare = unicodedata.normalize("NFKD", text.replace("œ", "oe").replace("Œ", "oe"))
    kept = "".join(c if c.isalnum() else " " for c in bare if not unicodedata.combining(c))
    return "-".join(kept.casefold().split())


@lru_cache(maxsize=1)
def sources() -> Mapping[str, Source]:
    """Every source by its code."""
    file = "sources.toml"
    data = tomllib.loads(files("reference_dims").joinpath(file).read_text("utf-8"))
    return {code: _source(Field(file, "", (code,), row)) for code, row in data.items()}


@lru_cache(maxsize=1)
def entries() -> Mapping[str, Entry]:
    """Every cut by its name, in the order of ``FAMILIES`` and then of size."""
    found = []
    for path in files("reference_dims").joinpath("cuts").iterdir():
        if path.name.endswith(".toml"):
            found.append(read_entry(path.name, path.read_text("utf-8"), sources()))
    found.sort(key=lambda e: (FAMILIES.index(e.family), _smallest(e), e.name))
    return {entry.name: entry for entry in found}


def read_entry(file: str, text: str, known: Mapping[str, Source]) -> Entry:
    """A cut from the text of its TOML file; a fault names the file, the line and the field."""
    top = Field.parse(file, text)
    top.only(*_ENTRY_FIELDS)
    scored = top.texts("scored")
    for side in scored:
        if side not in ("length", "width", "height"):
            fail(top.at("scored"), f"'{side}' is not a side", "Sides are length, width and height.")
    for shape in top.texts("shapes"):
        if shape not in get_args(Shape):
            fail(top.at("shapes"), f"'{shape}' is not a shape", f"Shapes are {', '.join(get_args(Shape))}.")
    figures = [_figure(f, known) for f in top.rows("figure")]
    names = [f.name for f in figures]
    if len(set(names)) < len(names):
        fail(top.at("figure"), "two figures have one name", "Give the second one an `id`.")
    # Standards and handbooks first, then courseware, then the web; within a class what was read comes first.
    order = list(STANDINGS)
    figures.sort(key=lambda f: (f.source.grade, order.index(f.standing)))
    return Entry(
        name=file.removesuffix(".toml"),
        english=top.text("english"),
        french=top.text("french", ""),
        others=tuple(top.texts("others", ())),
        family=cast(Family, top.choice("family", FAMILIES)),
        scored=cast("tuple[SideName, ...]", tuple(scored)),
        square=cast(Square, top.choice("square", ("cube", "section", "plan", ""))),
        shapes=cast("tuple[Shape, ...]", tuple(top.texts("shapes"))),
        about=top.text("about"),
        figures=tuple(figures),
        steps=tuple(_step(s) for s in top.rows("step")),
        mistakes=tuple(top.texts("mistakes")),
        drawing=_drawing(top.at("drawing")),
        faces=top.data.get("faces"),
    )


def read_sizes(field: Field, keys: Sequence[str], unit: str) -> tuple[Printed, ...]:
    """The sizes in a table: each a number, a fraction as text, or a [low, high] of these."""
    return tuple(read_printed(field.at(key), key, unit) for key in keys if key in field.data)


def read_printed(field: Field, key: str, unit: str) -> Printed:
    """One size or range in ``unit``; a fault names the field."""
    pair = field.data if isinstance(field.data, list) else [field.data, field.data]
    try:
        if len(pair) != 2:
            raise ValueError("a range has two ends, [low, high]")
        low, high = (read_size(end) for end in pair)
    except ValueError as error:
        fail(field, str(error), 'Write a number, a fraction like "1/8", or [low, high].')
    if low > high:
        fail(field, "the range runs backwards", "Write the smaller end first.")
    return Printed(key, low, high, cast(PrintedUnit, unit))


def _source(field: Field) -> Source:
    field.only("title", "class", "address")
    grade = cast(Class, field.choice("class", tuple(CLASSES)))
    return Source(str(field.path[0]), field.text("title"), grade, field.text("address"))


def _figure(field: Field, known: Mapping[str, Source]) -> Figure:
    field.only("id", "source", "standing", "printed", "unit", "plus_minus", "note", *SIZE_SIDES)
    code = field.choice("source", tuple(known))
    unit = field.choice("unit", tuple(MM_PER), "mm")
    plus_minus = None
    if "plus_minus" in field.data:
        plus_minus = read_printed(field.at("plus_minus"), "plus_minus", unit).mm[0]
    return Figure(
        name=field.text("id", code),
        source=known[code],
        standing=cast(Standing, field.choice("standing", tuple(STANDINGS))),
        printed=field.text("printed"),
        sizes=read_sizes(field, tuple(SIZE_SIDES), unit),
        plus_minus_mm=plus_minus,
        note=field.text("note", ""),
    )


def _drawing(field: Field) -> Drawing:
    if field.data is None:
        fail(
            field, "the drawing is missing", "Write a [drawing] section with shape, length, width and height."
        )
    field.only("shape", "length", "width", "height")
    sides = (field.number(side) for side in ("length", "width", "height"))
    return Drawing(cast(Form, field.choice("shape", get_args(Form))), *sides)


def _step(field: Field) -> Step:
    field.only("action", "hits", "say")
    one = field.data.get("hits", [])
    hits = [one] if isinstance(one, str) else field.texts("hits", ())
    if unknown := [h for h in hits if h not in SIZE_SIDES]:
        fail(field.at("hits"), f"'{unknown[0]}' is not a size", f"Sizes are {', '.join(SIZE_SIDES)}.")
    return Step(field.choice("action", tuple(ACTIONS)), tuple(hits), field.text("say"))


def _smallest(entry: Entry) -> float:
    """For the order of a list: the smallest size that any source gives, mm."""
    return min((s.mm[0] for f in entry.figures for s in f.sizes), default=1e9)
