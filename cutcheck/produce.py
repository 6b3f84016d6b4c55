"""The vegetables: what is kept of them, their weight and shape, and what the trimmings are good for.

Read from ``reference_dims/produce.toml``. Where sources disagree on a yield, all stand side by side; nothing
is averaged. Yields are shares of the weight as bought, 0 to 1.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from functools import lru_cache
from importlib.resources import files
from math import pi
from typing import Any, Literal, cast

from cutcheck.cuts import STANDINGS, Source, Standing, plain_name, sources
from cutcheck.errors import CutcheckError
from cutcheck.geometry_yield import Ellipsoid, Frustum, Solid
from cutcheck.reference import Field, fail, shown

__all__ = ["Trimming", "UnitSize", "Vegetable", "Yield", "find_vegetable", "vegetables"]

Board = Literal["mild", "strong", "staining"]
BOARDS: tuple[Board, ...] = ("mild", "strong", "staining")
OFFCUTS = "offcuts"  # the part of a vegetable that squaring off and cross-cutting leave
ALLERGENS = ("", "celery", "mustard")
# A kitchen's own purchase card first, then the food tables, then the book, then what is only remembered.
YIELD_SOURCES = ("AFRS", "SR28", "OWA", "FBG")
_KEYS = (
    *("english", "french", "others", "prepared", "board", "soil", "browns", "layered", "allergen"),
    *("density", "shape", "yields", "sizes", "trimmings", "note"),
)
_SHAPES = ("frustum", "cylinder", "ellipsoid", "ball")


@dataclass(frozen=True, slots=True)
class Yield:
    """What one source says is kept, ``kept`` 0 to 1 of what is bought; ``factor`` to buy per unit kept.

    ``to`` is the state it leads to (peeled, florets ...), ``means`` what the source throws away, ``record``
    the number under which it is found there.
    """

    source: Source
    standing: Standing
    to: str
    factor: float
    printed: str
    means: str = ""
    record: str = ""

    @property
    def kept(self) -> float:
        """Share of the weight as bought, 0 to 1."""
        return 1 / self.factor

    def to_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {
            "source": self.source.code, "title": self.source.title, "class": self.source.grade,
            "standing": self.standing, "to": self.to, "kept": self.kept, "factor": self.factor,
            "printed": self.printed, "means": self.means, "record": self.record,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class UnitSize:
    """One vegetable of a size: edible ``grams``, and its solid in mm where its shape is known."""

    name: str
    grams: float
    printed: str
    source: Source | None
    standing: Standing
    solid: Solid | None
    record: str = ""


@dataclass(frozen=True, slots=True)
class Trimming:
    """A part that is cut away, and what it is good for. ``common practice, no source``."""

    part: str
    use: str


@dataclass(frozen=True, slots=True)
class Vegetable:
    """One vegetable. ``density``, in g/cm3, is None where the shape is not known."""

    name: str
    english: str
    french: str
    others: tuple[str, ...]
    prepared: str
    board: Board
    soil: bool
    browns: bool
    layered: bool
    allergen: str
    density: float | None
    yields: tuple[Yield, ...]
    sizes: tuple[UnitSize, ...]
    trimmings: tuple[Trimming, ...]
    note: str

    @property
    def names(self) -> tuple[str, ...]:
        """Every name it goes by, the main one first."""
        return tuple(dict.fromkeys((self.name, self.english, self.french, *self.others)))

    @property
    def states(self) -> tuple[str, ...]:
        """The states that a yield leads to, the usual one first."""
        return tuple(dict.fromkeys((self.prepared, *(y.to for y in self.yields))))

    def yields_to(self, state: str) -> tuple[Yield, ...]:
        """What each source says is kept on the way to ``state``, in the order of ``YIELD_SOURCES``."""
        return tuple(y for y in self.yields if y.to == state)

    def size(self, name: str = "") -> UnitSize | None:
        """The size called so; where no name is given the medium one, or the only one."""
        wanted = name or ("medium" if len(self.sizes) != 1 else self.sizes[0].name)
        return next((s for s in self.sizes if s.name == wanted), None)

    def to_dict(self) -> dict[str, Any]:
        """For ``--json``: weights in grams, sizes of the solid in mm."""
        sizes = [
            {
                "name": s.name, "grams": s.grams, "printed": s.printed, "standing": s.standing,
                "source": s.source.code if s.source else None, "record": s.record,
                "solid": {"shape": type(s.solid).__name__.lower(), **asdict(s.solid)} if s.solid else None,
            }
            for s in self.sizes
        ]  # fmt: skip
        return {
            "name": self.name, "english": self.english, "french": self.french, "others": list(self.others),
            "prepared": self.prepared, "board": self.board, "soil": self.soil, "browns": self.browns,
            "layered": self.layered, "allergen": self.allergen or None, "density": self.density,
            "yields": [y.to_dict() for y in self.yields], "sizes": sizes,
            "trimmings": [asdict(t) for t in self.trimmings], "note": self.note,
        }  # fmt: skip


@lru_cache(maxsize=1)
def vegetables() -> Mapping[str, Vegetable]:
    """Every vegetable by its name."""
    file = "produce.toml"
    return read_vegetables(file, files("reference_dims").joinpath(file).read_text("utf-8"), sources())


def read_vegetables(file: str, text: str, known: Mapping[str, Source]) -> dict[str, Vegetable]:
    """The vegetables in the text of a TOML file; a fault names the file, the line and the field."""
    top = Field.parse(file, text)
    return {name: _vegetable(name, top.at(name), known) for name in top.table()}


def find_vegetable(text: str) -> tuple[Vegetable, str]:
    """The vegetable that goes by a name, and the state asked for: ``pepper, ends removed too`` or
    ``trimmed cauliflower`` name one, else it is the usual one. Accents, case and a plural are forgiven.

    Raises ``bad-option`` with the nearest names where there is none.
    """
    wanted = plain_name(text)
    if found := _lookup(wanted):
        return found, found.prepared
    for vegetable in vegetables().values():
        for state in vegetable.states:
            plain = plain_name(state)
            for rest in (wanted.removeprefix(f"{plain}-"), wanted.removesuffix(f"-{plain}")):
                if rest != wanted and _lookup(rest) is vegetable:
                    return vegetable, state
    near = difflib.get_close_matches(wanted, _names(), n=3, cutoff=0.7)
    meant = list(dict.fromkeys(_names()[n].english for n in near))
    raise CutcheckError(
        "bad-option",
        problem=f"'{text.strip()}' is not a vegetable of the reference.",
        remedy=f"Did you mean {' or '.join(meant)}?" if meant else "`cutcheck produce` lists them.",
    )


def _lookup(plain: str) -> Vegetable | None:
    for candidate in (plain, plain.removesuffix("s"), plain.removesuffix("es"), plain.removesuffix("x")):
        if found := _names().get(candidate):
            return found
    return None


@lru_cache(maxsize=1)
def _names() -> dict[str, Vegetable]:
    found = {plain_name(v.name): v for v in vegetables().values()}
    for vegetable in vegetables().values():
        for name in vegetable.names:
            found.setdefault(plain_name(name), vegetable)
    return found


def _vegetable(name: str, field: Field, known: Mapping[str, Source]) -> Vegetable:
    field.only(*_KEYS)
    density = field.number("density") if "density" in field.data else None
    prepared = field.text("prepared")
    yields = [_yield(row, prepared, known) for row in field.rows("yields")]
    if not any(y.to == prepared for y in yields):
        fail(field.at("yields"), f"no yield leads to '{prepared}'", "Leave `to` out of at least one.")
    yields.sort(key=lambda y: YIELD_SOURCES.index(y.source.code))
    if ("shape" in field.data) != (density is not None):
        fail(field, "a shape needs a density, and a density a shape", "Give both or neither.")
    trimmings = tuple(_trimming(row) for row in field.rows("trimmings"))
    if density is not None and not any(t.part == OFFCUTS for t in trimmings):
        fail(field.at("trimmings"), "what is squared off leaves offcuts", "Say what they are good for.")
    return Vegetable(
        name=name,
        english=field.text("english"),
        french=field.text("french"),
        others=tuple(field.texts("others", ())),
        prepared=prepared,
        board=cast(Board, field.choice("board", BOARDS)),
        soil=_flag(field, "soil"),
        browns=_flag(field, "browns"),
        layered=_flag(field, "layered"),
        allergen=field.choice("allergen", ALLERGENS, ""),
        density=density,
        yields=tuple(yields),
        sizes=tuple(_size(row, field, density, known) for row in field.rows("sizes")),
        trimmings=trimmings,
        note=field.text("note", ""),
    )


def _flag(field: Field, key: str) -> bool:
    value = field.table().get(key, False)
    if not isinstance(value, bool):
        problem = f"{shown(value)} is neither true nor false"
        fail(field.at(key), problem, f"Write {key} = true, or leave it out.")
    return value


def _yield(field: Field, prepared: str, known: Mapping[str, Source]) -> Yield:
    field.only("source", "record", "refuse", "factor", "kept", "to", "means", "standing")
    source = known[field.choice("source", tuple(c for c in YIELD_SOURCES if c in known))]
    given = [key for key in ("refuse", "factor", "kept") if key in field.data]
    if len(given) != 1:
        fail(field, "a yield is one of refuse, factor and kept", "Write exactly one of them.")
    value = field.number(given[0])
    if given[0] == "factor":
        factor, printed = value, f"factor {value:.2f}"
    elif given[0] == "kept":
        factor, printed = 100 / value if value else 0.0, f"{value:g} % kept"
    else:
        factor, printed = 100 / (100 - value) if value < 100 else 0.0, f"{value:g} % refuse"
    if factor < 1:
        fail(field.at(given[0]), "more is kept than was bought, or nothing", "Look at the source again.")
    return Yield(
        source=source,
        standing=cast(Standing, field.choice("standing", tuple(STANDINGS), "published-read")),
        to=field.text("to", prepared),
        factor=factor,
        printed=printed,
        means=field.text("means", ""),
        record=field.text("record", ""),
    )


def _size(field: Field, of: Field, density: float | None, known: Mapping[str, Source]) -> UnitSize:
    field.only("name", "grams", "length", "diameter", "record", "printed", "standing")
    name = field.choice("name", ("small", "medium", "large"))
    standing = cast(Standing, field.choice("standing", tuple(STANDINGS), "published-read"))
    if density is None:
        grams, record = field.number("grams"), field.text("record")
        return UnitSize(name, grams, field.text("printed"), known["SR25"], standing, None, record)
    solid = _solid(field, of.at("shape"), density)
    grams = field.number("grams") if "grams" in field.data else solid.volume() * density / 1000
    source = known["SR25"] if "record" in field.data else None
    record = field.text("record", "")
    return UnitSize(name, grams, field.text("printed"), source, standing, solid, record)


def _solid(field: Field, shape: Field, density: float) -> Solid:
    """The solid of one vegetable. Its diameter follows from its weight, unless it is what is given."""
    shape.only("kind", "taper", "ratio")
    kind = shape.choice("kind", _SHAPES)
    round_solid = kind in ("ellipsoid", "ball")
    taper = shape.number("taper") if kind == "frustum" else 1.0
    ratio = 1.0 if kind == "ball" else shape.number("ratio", 0)
    if "diameter" in field.data:
        if kind != "ball":
            fail(field.at("diameter"), "only a ball is given by its diameter", "Give grams, and length.")
        return Ellipsoid(*(3 * (field.number("diameter"),)))
    # volume = share of the box around it: pi/6 for an ellipsoid, pi/12 (1 + t + t^2) for a frustum
    share = pi / 6 if round_solid else pi / 12 * (1 + taper + taper**2)
    mm3 = field.number("grams") / density * 1000
    if "length" in field.data:
        length = field.number("length")
        diameter = (mm3 / share / length) ** 0.5
    elif ratio > 0:
        diameter = (mm3 / share / ratio) ** (1 / 3)
        length = diameter * ratio
    else:
        fail(field, "neither its length nor a ratio is known", "Give length here, or ratio in shape.")
    if round_solid:
        return Ellipsoid(length, diameter, diameter)
    return Frustum(diameter, diameter * taper, length)


def _trimming(field: Field) -> Trimming:
    field.only("part", "use")
    return Trimming(field.text("part"), field.text("use"))
