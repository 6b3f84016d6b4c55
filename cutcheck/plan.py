"""The prep plan: what to buy, what to weigh after each step, how many pieces, what is left and its use.

Backwards from what is needed: cut pieces come from squared blocks, these from peeled vegetables, these from
what is bought. The first two shares are geometry (``geometry_yield``), the last is a published yield, of which
one is used and all are told. Weights in grams.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from math import ceil
from pathlib import Path
from typing import Any

from cutcheck.cuts import plain_name
from cutcheck.errors import CutcheckError
from cutcheck.geometry_yield import LONGEST_SECTION_MM, Cutting, cut_boxes, cut_rounds, largest_edge
from cutcheck.needs import UNCUT, Need, Problem
from cutcheck.preparation import Caution, OrderStep, cautions_for, defer_text, gestures_for, order_of_work
from cutcheck.produce import OFFCUTS, YIELD_SOURCES, UnitSize, Vegetable, Yield, find_vegetable
from cutcheck.standards import Cut, find_cut, load_standard
from cutcheck.units import show_length, show_range

__all__ = ["Item", "Plan", "Purchase", "Trim", "Weighing", "make_plan"]

# Sources that are this far apart (share kept) are worth a word. House rule.
WORTH_A_WORD = 0.05
# A size of vegetable that keeps so many times more is worth a word too. House rule.
BETTER = 1.25


@dataclass(frozen=True, slots=True)
class Weighing:
    """What the scale should show after a step: ``buy``, ``prepared``, ``squared`` or ``cut``; and what was lost."""

    step: str
    label: str
    grams: float
    lost_grams: float


@dataclass(frozen=True, slots=True)
class Trim:
    """What is cut away at a step, and what it is good for."""

    part: str
    grams: float
    use: str


@dataclass(frozen=True, slots=True)
class Item:
    """One need, planned. ``buy_low`` and ``buy_high`` are what the other sources' yields would have you buy.

    ``vegetables`` (to buy), ``pieces``, ``pieces_each`` and ``minutes`` are None where they are not known.
    """

    need: Need
    vegetable: Vegetable
    state: str
    cut: str
    standard: str | None
    sizes: str
    steps: tuple[Weighing, ...]
    used: Yield | None
    yields: tuple[Yield, ...]
    buy_low: float
    buy_high: float
    unit_size: UnitSize | None
    vegetables: int | None
    pieces: int | None
    pieces_each: int | None
    squared_share: float | None
    kept_share: float | None
    minutes: float | None
    trims: tuple[Trim, ...]
    gestures: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def buy(self) -> float:
        """As purchased, grams."""
        return self.steps[0].grams

    @property
    def title(self) -> str:
        """``carrot, brunoise``."""
        return (
            f"{self.vegetable.english}, {self.cut.replace('-', ' ')}" if self.cut else self.vegetable.english
        )

    @property
    def yield_text(self) -> str:
        """The yield that was used: what is kept, whose figure it is, how it is known."""
        if self.used is None:
            return f"{100 * (self.need.own_yield or 1):.0f} % kept, your own"
        return f"{100 * self.used.kept:.0f} % kept, {self.used.source.code} ({self.used.printed})"

    def to_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {
            "line": self.need.line, "text": self.need.text, "produce": self.vegetable.name,
            "english": self.vegetable.english, "french": self.vegetable.french, "state": self.state,
            "cut": self.cut or None, "standard": self.standard, "sizes": self.sizes,
            "steps": [asdict(s) for s in self.steps],
            "yield": self.used.to_dict() if self.used else {"source": "own", "kept": self.need.own_yield},
            "yields": [y.to_dict() for y in self.yields],
            "buy_g": [self.buy_low, self.buy_high],
            "size": self.unit_size.name if self.unit_size else None,
            "vegetables": self.vegetables, "pieces": self.pieces, "pieces_each": self.pieces_each,
            "squared_share": self.squared_share, "kept_share": self.kept_share, "minutes": self.minutes,
            "trimmings": [asdict(t) for t in self.trims], "gestures": list(self.gestures),
            "allergen": self.vegetable.allergen or None, "notes": list(self.notes),
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Purchase:
    """One line of the shopping list: a vegetable over all items. ``vegetables`` is None where not known."""

    vegetable: Vegetable
    grams: float
    vegetables: int | None


@dataclass(frozen=True, slots=True)
class Plan:
    """All items, what could not be planned, the order of work and the cautions."""

    standard: str
    items: tuple[Item, ...]
    problems: tuple[Problem, ...]
    shopping: tuple[Purchase, ...]
    order: tuple[OrderStep, ...]
    cautions: tuple[Caution, ...]
    minutes: float | None
    defer: str = field(default_factory=defer_text)

    def to_dict(self) -> dict[str, Any]:
        """For ``--json``: weights in grams, sizes in mm."""
        return {
            "standard": self.standard,
            "items": [i.to_dict() for i in self.items],
            "problems": [p.to_dict() for p in self.problems],
            "shopping": [
                {"produce": p.vegetable.name, "grams": p.grams, "vegetables": p.vegetables}
                for p in self.shopping
            ],
            "order": [s.to_dict() for s in self.order],
            "cautions": [c.to_dict() for c in self.cautions],
            "minutes": self.minutes,
            "defer": self.defer,
        }


def make_plan(
    needs: Sequence[Need],
    standard: str | Path | None = None,
    *,
    yields: str | None = None,
    pace: Mapping[str, float] | None = None,
    problems: Sequence[Problem] = (),
) -> Plan:
    """Plan every need that can be planned; the others join ``problems``.

    ``yields`` names the source whose yields are preferred (AFRS, SR28, OWA, FBG); None takes the first of them
    that has the vegetable. ``pace`` is the cook's own, pieces a minute by cut; without it no time is given.
    Raises ``bad-option`` and ``unknown-standard`` for what holds for the whole plan.
    """
    chosen = load_standard(standard or "metric")
    if yields is not None and yields.upper() not in YIELD_SOURCES:
        raise CutcheckError(
            "bad-option",
            problem=f"'{yields}' is not a source of yields.",
            remedy=f"Take one of {', '.join(YIELD_SOURCES)}, or leave it out.",
        )
    items, failed = [], list(problems)
    for need in needs:
        try:
            items.append(_item(need, standard, yields.upper() if yields else None, pace or {}))
        except CutcheckError as error:
            failed.append(Problem(need.line, need.text, error.message, error.remedy))
    cooked = [i.vegetable for i in items]
    times = [i.minutes for i in items]
    return Plan(
        standard=chosen.name,
        items=tuple(items),
        problems=tuple(sorted(failed, key=lambda p: p.line)),
        shopping=_shopping(items),
        order=order_of_work(cooked) if items else (),
        cautions=cautions_for(cooked),
        minutes=sum(t for t in times if t is not None) if items and None not in times else None,
    )


def _item(need: Need, standard: str | Path | None, preferred: str | None, pace: Mapping[str, float]) -> Item:
    vegetable, state = find_vegetable(need.produce)
    notes: list[str] = []
    cut = None if plain_name(need.cut) in UNCUT else find_cut(need.cut, standard, vegetable.name, sized=False)
    size = _unit_size(need, vegetable)
    cutting, piece_g = _cutting(cut, vegetable, size, notes)
    if need.amount.pieces is not None and piece_g is None:
        raise CutcheckError(
            "bad-option",
            problem=f"How heavy a piece of {vegetable.english} is can't be told for this cut.",
            remedy="Give a weight instead of a number of pieces.",
        )
    finished = (
        need.amount.grams if need.amount.grams is not None else (need.amount.pieces or 0) * (piece_g or 0)
    )
    squared_share = cutting.squared if cutting else None
    kept_share = cutting.kept if cutting else None
    prepared = finished / (kept_share or 1)
    used, told, kept = _yield(need, vegetable, state, preferred, notes)
    buys = [prepared / y.kept for y in told] or [prepared / kept]
    steps = _steps(vegetable, state, cut, cutting, prepared / kept, prepared, finished)
    pieces = need.amount.pieces
    if pieces is None and piece_g is not None:
        pieces = round(finished / piece_g)
    minutes = None
    if cut is not None and pieces is not None and pace.get(cut.name, 0) > 0:
        minutes = pieces / pace[cut.name]
    if cut is not None and cut.borrowed:
        notes.append(f"Sizes by the {cut.standard} standard: the {cut.asked} standard has none.")
    return Item(
        need=need,
        vegetable=vegetable,
        state=state,
        cut=cut.name if cut else "",
        standard=cut.standard if cut else None,
        sizes=_sizes_text(cut),
        steps=steps,
        used=used,
        yields=told,
        buy_low=min(buys),
        buy_high=max(buys),
        unit_size=size,
        # a hair less, so that a binary rounding does not ask for one more
        vegetables=ceil(prepared / size.grams - 1e-9) if size else None,
        pieces=pieces,
        pieces_each=cutting.pieces if cutting else None,
        squared_share=squared_share,
        kept_share=kept_share,
        minutes=minutes,
        trims=_trims(vegetable, steps),
        gestures=tuple(g.french for g in gestures_for(vegetable) if g.where != "board"),
        notes=(*notes, *([vegetable.note] if vegetable.note else [])),
    )


def _unit_size(need: Need, vegetable: Vegetable) -> UnitSize | None:
    size = vegetable.size(need.size)
    if size is None and need.size:
        have = ", ".join(s.name for s in vegetable.sizes) or "none"
        raise CutcheckError(
            "bad-option",
            problem=f"No weight is known of a {need.size} {vegetable.english}.",
            remedy=f"Sizes known of it: {have}. Leave the size out.",
        )
    return size


def _cutting(
    cut: Cut | None, vegetable: Vegetable, size: UnitSize | None, notes: list[str]
) -> tuple[Cutting | None, float | None]:
    """What one vegetable gives by geometry, and the weight of a piece, g; None where it can't be told."""
    if cut is None:
        return None, None
    if cut.entry.family == "ribbon":
        notes.append("Shredded: all of the trimmed leaf is used.")
        return None, None
    solid = size.solid if size else None
    thickness = cut.size("thickness")
    if solid is None or vegetable.density is None or size is None:
        why = "it is cut along its layers" if vegetable.layered else "its shape is not known"
        notes.append(f"Loss from cutting is not counted: {why}. Weigh what you keep of the first kilogram.")
        return None, None
    sides = _piece_sides(cut, notes)
    if sides is not None:
        piece_g = sides[0] * sides[1] * sides[2] * vegetable.density / 1000
        if cut.entry.square == "":
            notes.append("A rough cut: nothing is squared off, all of it is used.")
            return None, piece_g
        cutting = cut_boxes(solid, *sides)
        if not cutting.pieces:
            raise _too_small(cut, vegetable, size, sides)
        notes += _better_size(vegetable, size, cutting, sides)
        return cutting, piece_g
    if cut.entry.family == "slice" and thickness is not None and cut.size("plan") is None:
        cutting = cut_rounds(solid, sum(thickness.printed.mm) / 2)
        if not cutting.pieces:
            raise _too_small(cut, vegetable, size, (0, 0, 0))
        return cutting, cutting.kept * size.grams / cutting.pieces
    notes.append("Loss from cutting is not counted: none is published for this cut. Weigh what you keep.")
    return None, None


def _piece_sides(cut: Cut, notes: list[str]) -> tuple[float, float, float] | None:
    """A piece as (along the vegetable, across, up), mm, at the middle of the standard's range; None for no box."""
    middle = {s.key: sum(s.printed.mm) / 2 for s in cut.sizes}
    if any(
        low < high
        for low, high in (s.printed.mm for s in cut.sizes if s.key in ("edge", "section", "length"))
    ):
        notes.append("Reckoned with the middle of the sizes.")
    if "edge" in middle:
        return middle["edge"], middle["edge"], middle["edge"]
    if "section" in middle:
        if "length" not in middle:
            notes.append(f"No length is given: reckoned with {show_length(LONGEST_SECTION_MM)}.")
        return middle.get("length", LONGEST_SECTION_MM), middle["section"], middle["section"]
    if "plan" in middle and "thickness" in middle:
        # tiles are sliced from a block of their own section
        return middle["thickness"], middle["plan"], middle["plan"]
    return None


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
    cut: Cut, vegetable: Vegetable, size: UnitSize, sides: tuple[float, float, float]
) -> CutcheckError:
    remedy = "Take a smaller cut."
    for other in vegetable.sizes:
        if other.solid and other.grams > size.grams and cut_boxes(other.solid, *sides).pieces:
            remedy = f"A {other.name} one does: give its size, or take a smaller cut."
            break
    edge = largest_edge(size.solid) if size.solid else 0.0
    return CutcheckError(
        "bad-option",
        problem=f"A {size.name} {vegetable.english} is too small for {cut.name}, {_sizes_text(cut)}: the largest "
        f"cube it holds has an edge of {show_length(edge)}.",
        remedy=remedy,
    )


def _yield(
    need: Need, vegetable: Vegetable, state: str, preferred: str | None, notes: list[str]
) -> tuple[Yield | None, tuple[Yield, ...], float]:
    """The yield that is used (None: the cook's own), all that are told for this state, and the share kept."""
    told = vegetable.yields_to(state)
    if need.own_yield is not None:
        return None, told, need.own_yield
    used = next((y for y in told if y.source.code == preferred), told[0])
    if preferred and used.source.code != preferred:
        notes.append(f"{preferred} has no yield for it: {used.source.code} is used.")
    if max(y.kept for y in told) - min(y.kept for y in told) > WORTH_A_WORD:
        texts = (f"{100 * y.kept:.0f} % {y.source.code}" for y in told)
        notes.append(f"Sources differ on what is kept: {', '.join(texts)}. Weigh yours once.")
    return used, told, used.kept


def _steps(
    vegetable: Vegetable,
    state: str,
    cut: Cut | None,
    cutting: Cutting | None,
    buy: float,
    prepared: float,
    cut_g: float,
) -> tuple[Weighing, ...]:
    label = "peeled" if state.startswith("peeled,") else state
    steps = [Weighing("buy", "as purchased", buy, 0.0), Weighing("prepared", label, prepared, buy - prepared)]
    if cutting is not None and cutting.sections:
        squared = prepared * cutting.squared
        steps.append(Weighing("squared", "squared off", squared, prepared - squared))
    if cut is not None:
        steps.append(Weighing("cut", "cut", cut_g, steps[-1].grams - cut_g))
    return tuple(steps)


def _trims(vegetable: Vegetable, steps: Sequence[Weighing]) -> tuple[Trim, ...]:
    """What the steps leave: the parts of the preparation together, then the offcuts of squaring and cutting."""
    first = [t for t in vegetable.trimmings if t.part != OFFCUTS]
    found = []
    if steps[1].lost_grams > 0:
        parts = ", ".join(t.part for t in first) or "peel and ends"
        found.append(Trim(parts, steps[1].lost_grams, "; ".join(t.use for t in first) or "waste"))
    offcuts = sum(s.lost_grams for s in steps[2:])
    if offcuts > 1e-6:
        use = next((t.use for t in vegetable.trimmings if t.part == OFFCUTS), "soup, stock")
        found.append(Trim(OFFCUTS, offcuts, use))
    return tuple(found)


def _sizes_text(cut: Cut | None) -> str:
    if cut is None or not cut.sizes:
        return ""
    return ", ".join(f"{s.key} {show_range(*s.printed.mm, cut.unit)}" for s in cut.sizes)


def _shopping(items: Sequence[Item]) -> tuple[Purchase, ...]:
    found: dict[str, Purchase] = {}
    for item in items:
        old = found.get(item.vegetable.name, Purchase(item.vegetable, 0.0, 0))
        both = old.vegetables is not None and item.vegetables is not None
        count = (old.vegetables or 0) + (item.vegetables or 0) if both else None
        found[item.vegetable.name] = Purchase(item.vegetable, old.grams + item.buy, count)
    return tuple(found.values())
