"""Before the knife: the gestures, washing, the station, the order of work, the cautions.

Read from ``gestures.toml``, ``washing.toml``, ``station.toml`` and ``cautions.toml`` in ``reference_dims``.
Each statement has its source and standing, or is ``common practice, no published source``. Local food-safety
codes and the instructor come first, and each part says so (``defer``).
"""

from __future__ import annotations

import difflib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict, dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any, Literal, cast

from cutcheck.cuts import STANDINGS, Source, Standing, plain_name, sources
from cutcheck.errors import CutcheckError
from cutcheck.produce import ALLERGENS, Vegetable, vegetables
from cutcheck.reference import Field, fail

__all__ = [
    "Caution",
    "Gesture",
    "Statement",
    "Station",
    "Washing",
    "cautions",
    "cautions_for",
    "find_gesture",
    "gestures",
    "gestures_for",
    "order_of_work",
    "station",
    "washing",
]

WHERE = ("sink", "waste", "finished", "stove", "board")
Vinegar = Literal["advised", "against", "for", "claimed", "sum"]
_GESTURE_KEYS = (
    *("french", "english", "others", "about", "tool", "where"),
    *("steps", "produce", "other", "says", "differ", "caution"),
)
VINEGAR: tuple[Vinegar, ...] = ("advised", "against", "for", "claimed", "sum")
WHEN = ("always", "peeled", "browns", "mild", "strong", "staining", "allergen")


@dataclass(frozen=True, slots=True)
class Statement:
    """A sentence and its standing; ``source`` is None for common practice. ``differs`` names a moot point."""

    text: str
    source: Source | None
    standing: Standing
    differs: str = ""
    kind: str = ""

    @property
    def standing_text(self) -> str:
        """``FDA-7, published and read``, or that no source was found."""
        words = STANDINGS[self.standing]
        return f"{self.source.code}, {words}" if self.source else words

    @property
    def standing_in_full(self) -> str:
        """The same with the source's title in place of its code."""
        words = STANDINGS[self.standing]
        return f"{self.source.title}; {words}" if self.source else words

    def to_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {
            "text": self.text, "source": self.source.code if self.source else None,
            "title": self.source.title if self.source else None, "standing": self.standing,
            "differs": self.differs, "kind": self.kind,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Gesture:
    """One gesture. ``produce`` are names of vegetables, ``other`` what else it is used for."""

    name: str
    french: str
    english: str
    others: tuple[str, ...]
    about: str
    tool: str
    where: str
    steps: tuple[str, ...]
    produce: tuple[str, ...]
    other: tuple[str, ...]
    says: tuple[Statement, ...]
    differ: str
    caution: str

    @property
    def names(self) -> tuple[str, ...]:
        """Every name it goes by, the main one first."""
        return tuple(dict.fromkeys((self.name, self.french, self.english, *self.others)))

    def to_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        plain = {k: v for k, v in asdict(self).items() if k != "says"}
        return {**plain, "says": [s.to_dict() for s in self.says]}


@dataclass(frozen=True, slots=True)
class Washing:
    """What is advised, and what is said for and against vinegar."""

    advice: tuple[Statement, ...]
    vinegar: tuple[Statement, ...]
    defer: str

    def to_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {
            "advice": [s.to_dict() for s in self.advice],
            "vinegar": [s.to_dict() for s in self.vinegar],
            "defer": self.defer,
        }


@dataclass(frozen=True, slots=True)
class Container:
    """One of the three containers: what it holds and why it stands there."""

    name: str
    label: str
    holds: str
    why: str


@dataclass(frozen=True, slots=True)
class Place:
    """Where a tool lies at the station."""

    name: str
    label: str
    statement: Statement


@dataclass(frozen=True, slots=True)
class OrderStep:
    """One step of the order of work, and why. ``when`` is one of ``WHEN``."""

    when: str
    statement: Statement
    why: str

    def to_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {"when": self.when, "why": self.why, **self.statement.to_dict()}


@dataclass(frozen=True, slots=True)
class Station:
    """The three containers in the order of a right-hander, left to right, and the places of the tools."""

    about: str
    containers: tuple[Container, ...]
    places: tuple[Place, ...]
    order: tuple[OrderStep, ...]
    defer: str

    def to_dict(self, left_handed: bool = False) -> dict[str, Any]:
        """For ``--json``; ``left_to_right`` is as the cook sees it."""
        names = [c.name for c in self.containers]
        return {
            "about": self.about,
            "left_handed": left_handed,
            "left_to_right": names[::-1] if left_handed else names,
            "containers": [asdict(c) for c in self.containers],
            "places": [{"name": p.name, "label": p.label, **p.statement.to_dict()} for p in self.places],
            "order": [s.to_dict() for s in self.order],
            "defer": self.defer,
        }


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution; where ``produce`` or ``allergens`` are named it is for these alone."""

    topic: str
    statement: Statement
    produce: tuple[str, ...]
    allergens: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        named = {"produce": list(self.produce), "allergens": list(self.allergens)}
        return {"topic": self.topic, **named, **self.statement.to_dict()}


@lru_cache(maxsize=1)
def gestures() -> Mapping[str, Gesture]:
    """Every gesture by its name."""
    return read_gestures("gestures.toml", _text("gestures.toml"))


@lru_cache(maxsize=1)
def washing() -> Washing:
    """Washing, and vinegar."""
    return read_washing("washing.toml", _text("washing.toml"))


@lru_cache(maxsize=1)
def station() -> Station:
    """The station and the order of work."""
    return read_station("station.toml", _text("station.toml"))


@lru_cache(maxsize=1)
def cautions() -> tuple[Caution, ...]:
    """All cautions."""
    return read_cautions("cautions.toml", _text("cautions.toml"))


def defer_text() -> str:
    """Who comes before this program in matters of safety."""
    return str(Field.parse("cautions.toml", _text("cautions.toml")).text("defer"))


def find_gesture(name: str) -> Gesture:
    """The gesture that goes by ``name``, accents and case forgiven; ``bad-option`` where there is none."""
    known = {plain_name(n): g for g in gestures().values() for n in reversed(g.names)}
    if found := known.get(plain_name(name)):
        return found
    near = difflib.get_close_matches(plain_name(name), known, n=3, cutoff=0.6)
    meant = list(dict.fromkeys(known[n].french for n in near))
    raise CutcheckError(
        "bad-option",
        problem=f"'{name}' is not a gesture of the reference.",
        remedy=f"Did you mean {' or '.join(meant)}?" if meant else "`cutcheck gestures` lists them.",
    )


def gestures_for(vegetable: Vegetable) -> tuple[Gesture, ...]:
    """The gestures that apply to a vegetable."""
    return tuple(g for g in gestures().values() if vegetable.name in g.produce)


def cautions_for(chosen: Collection[Vegetable]) -> tuple[Caution, ...]:
    """The cautions that a piece of work needs: those for all, and those for its vegetables and allergens."""
    names = {v.name for v in chosen}
    present = {v.allergen for v in chosen if v.allergen}
    return tuple(
        c
        for c in cautions()
        if (not c.produce or names & set(c.produce)) and (not c.allergens or present & set(c.allergens))
    )


def order_of_work(chosen: Sequence[Vegetable]) -> tuple[OrderStep, ...]:
    """The order that keeps the board clean, for these vegetables: each step names those it is about.

    An allergen goes last whatever else the vegetable is; steps that are about none of them are left out.
    """
    each = tuple({v.name: v for v in chosen}.values())
    groups: dict[str, list[Vegetable]] = {
        "washing": sorted(each, key=lambda v: v.soil),
        "peeling": sorted((v for v in each if v.prepared.startswith("peeled")), key=lambda v: v.soil),
        "browning": [v for v in each if v.browns],
        "allergen": [v for v in each if v.allergen],
    }
    for board in ("mild", "strong", "staining"):
        groups[board] = [v for v in each if v.board == board and not v.allergen]
    found = []
    for step in station().order:
        about = {"peeled": "peeling", "browns": "browning"}.get(step.when, step.when)
        if step.when != "always" and not groups[about]:
            continue
        words = {key: ", ".join(v.english for v in group) for key, group in groups.items()}
        text = step.statement.text.format(**words)
        statement = Statement(text, step.statement.source, step.statement.standing)
        found.append(OrderStep(step.when, statement, step.why))
    return tuple(found)


def read_gestures(file: str, text: str) -> dict[str, Gesture]:
    """The gestures in a TOML text; a fault names the file, the line and the field."""
    top = Field.parse(file, text)
    return {name: _gesture(name, top.at(name)) for name in top.table()}


def read_washing(file: str, text: str) -> Washing:
    """Washing in a TOML text; a fault names the file, the line and the field."""
    top = Field.parse(file, text)
    top.only("defer", "advice", "vinegar")
    for row in top.rows("vinegar"):
        row.choice("kind", VINEGAR)
    return Washing(
        advice=tuple(_statement(row, "differs") for row in top.rows("advice")),
        vinegar=tuple(_statement(row, "kind") for row in top.rows("vinegar")),
        defer=top.text("defer"),
    )


def read_station(file: str, text: str) -> Station:
    """The station in a TOML text; a fault names the file, the line and the field."""
    top = Field.parse(file, text)
    top.only("defer", "about", "container", "place", "order")
    containers = []
    rows = top.rows("container")
    for row in rows:
        row.only("name", "label", "holds", "why")
        containers.append(Container(row.text("name"), row.text("label"), row.text("holds"), row.text("why")))
    if [c.name for c in containers] != ["raw", "waste", "finished"]:
        where = rows[0] if rows else top
        fail(where, "the containers are raw, waste, finished", "Write the three in that order.")
    places = [
        Place(row.text("name"), row.text("label"), _statement(row, "name", "label"))
        for row in top.rows("place")
    ]
    order = [
        OrderStep(row.choice("when", WHEN), _statement(row, "when", "why"), row.text("why"))
        for row in top.rows("order")
    ]
    return Station(top.text("about"), tuple(containers), tuple(places), tuple(order), top.text("defer"))


def read_cautions(file: str, text: str) -> tuple[Caution, ...]:
    """The cautions in a TOML text; a fault names the file, the line and the field."""
    top = Field.parse(file, text)
    top.only("defer", "caution")
    found = []
    for row in top.rows("caution"):
        allergens = row.texts("allergens", ())
        if unknown := set(allergens) - set(ALLERGENS):
            fail(row.at("allergens"), f"{sorted(unknown)[0]!r} is not known", "Known are: celery, mustard.")
        statement = _statement(row, "topic", "produce", "allergens")
        found.append(Caution(row.text("topic"), statement, _produce(row), tuple(allergens)))
    return tuple(found)


def _text(file: str) -> str:
    return files("reference_dims").joinpath(file).read_text("utf-8")


def _gesture(name: str, field: Field) -> Gesture:
    field.only(*_GESTURE_KEYS)
    says = tuple(_statement(row) for row in field.rows("says"))
    if not says:
        fail(field, "no source says what it is", "Add a line to says, with a source and its standing.")
    produce, other = _produce(field), tuple(field.texts("other", ()))
    if not produce and not other:
        fail(field, "it applies to nothing", "Name a vegetable in produce, or something else in other.")
    return Gesture(
        name=name,
        french=field.text("french"),
        english=field.text("english"),
        others=tuple(field.texts("others", ())),
        about=field.text("about"),
        tool=field.text("tool"),
        where=field.choice("where", WHERE),
        steps=tuple(field.texts("steps")),
        produce=produce,
        other=other,
        says=says,
        differ=field.text("differ", ""),
        caution=field.text("caution", ""),
    )


def _produce(field: Field) -> tuple[str, ...]:
    names = field.texts("produce", ())
    for name in names:
        if name not in vegetables():
            fail(field.at("produce"), f"'{name}' is not in produce.toml", "Correct it, or use `other`.")
    return tuple(names)


def _statement(field: Field, *more: str) -> Statement:
    """A text with its source and standing. Without a source it must be common practice, and the reverse."""
    field.only("text", "source", "standing", *more)
    code = field.choice("source", ("", *sources()), "")
    summing_up = field.data.get("kind") == "sum"
    standing = field.choice("standing", tuple(STANDINGS), "common-practice" if summing_up else "")
    if not code and standing != "common-practice":
        fail(field, "there is no source for it", 'Name the source, or write standing = "common-practice".')
    return Statement(
        text=field.text("text"),
        source=sources()[code] if code else None,
        standing=cast(Standing, standing),
        differs=field.text("differs", ""),
        kind=field.text("kind", ""),
    )
