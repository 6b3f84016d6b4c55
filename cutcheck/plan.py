"""The prep plan: what to buy, what to weigh after each step, how many pieces, what is left and its use.

Backwards from what is needed: cut pieces come from squared blocks, these from peeled vegetables, these from
what is bought. The first two shares are geometry (``geometry_yield``), the last is a published yield: one is
used and all are told. Weights in grams.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from math import ceil
from pathlib import Path
from typing import Any

from cutcheck.cuts import plain_name
from cutcheck.cutting import Made, cut_vegetable, sizes_text
from cutcheck.errors import CutcheckError
from cutcheck.needs import UNCUT, Need, Problem
from cutcheck.preparation import Caution, OrderStep, cautions_for, defer_text, gestures_for, order_of_work
from cutcheck.produce import OFFCUTS, YIELD_SOURCES, UnitSize, Vegetable, Yield, find_vegetable
from cutcheck.standards import DEFAULT, Cut, find_cut, load_standard

__all__ = ["Item", "Plan", "Purchase", "Trim", "Weighing", "make_plan"]

# Sources that are this far apart (share kept) are worth a word. House rule.
WORTH_A_WORD = 0.05


@dataclass(frozen=True, slots=True)
class Weighing:
    """What the scale should show after a step (``buy``, ``prepared``, ``squared``, ``cut``), and the loss."""

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
    cut_title: str
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
        # "pont-neuf potatoes" holds the vegetable already
        twice = self.vegetable.english.lower() in self.cut_title.lower()
        cut = self.cut.replace("-", " ") if twice else self.cut_title.lower()
        return f"{self.vegetable.english}, {cut or self.state}"

    @property
    def sources_differ(self) -> bool:
        """Are the published yields so far apart that it is worth a word?"""
        kept = [y.kept for y in self.yields]
        return bool(kept) and max(kept) - min(kept) > WORTH_A_WORD

    @property
    def yield_text(self) -> str:
        """The yield that was used: what is kept, whose figure it is, how it is known."""
        if self.used is None:
            return f"{100 * (self.need.own_yield or 1):.0f} % kept, your own"
        memory = ", from memory" if self.used.standing == "from-memory" else ""
        return f"{100 * self.used.kept:.0f} % kept, {self.used.source.code} ({self.used.printed}{memory})"

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

    @property
    def trims(self) -> tuple[tuple[Vegetable, Trim], ...]:
        """What is left over all items: each part of each vegetable once, its weights added up."""
        found: dict[tuple[str, str], tuple[Vegetable, Trim]] = {}
        for item in self.items:
            for trim in item.trims:
                key = item.vegetable.name, trim.part
                before = found[key][1].grams if key in found else 0.0
                found[key] = item.vegetable, replace(trim, grams=before + trim.grams)
        return tuple(found.values())

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
    default: str | Path = DEFAULT,
    yields: str | None = None,
    pace: Mapping[str, float] | None = None,
    problems: Sequence[Problem] = (),
) -> Plan:
    """Plan every need that can be planned; the others join ``problems``.

    A ``standard`` that is named must have the cuts; what ``default`` lacks comes from another standard.
    ``yields`` names the source whose yields are preferred (AFRS, SR28, OWA, FBG); None takes the first of
    them that has the vegetable. ``pace`` is the cook's own, pieces a minute by cut; without it no time is
    given. Raises ``bad-option`` and ``unknown-standard`` for what holds for the whole plan.
    """
    chosen = load_standard(standard or default)
    if yields is not None and yields.upper() not in YIELD_SOURCES:
        raise CutcheckError(
            "bad-option",
            problem=f"'{yields}' is not a source of yields.",
            remedy=f"Take one of {', '.join(YIELD_SOURCES)}, or leave it out.",
        )
    items, failed = [], list(problems)
    for need in needs:
        try:
            items.append(_item(need, standard, default, yields.upper() if yields else None, pace or {}))
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


def _item(
    need: Need,
    standard: str | Path | None,
    default: str | Path,
    preferred: str | None,
    pace: Mapping[str, float],
) -> Item:
    vegetable, state = find_vegetable(need.produce)
    cut = None if plain_name(need.cut) in UNCUT else _cut(need.cut, standard, default, vegetable.name)
    size = _unit_size(need, vegetable)
    made = cut_vegetable(cut, vegetable, size, state) if cut else Made()
    notes, cutting, piece_g = list(made.notes), made.cutting, made.piece_g
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
    steps = [Weighing("buy", "as purchased", prepared / kept, 0.0)]
    steps.append(Weighing("prepared", state, prepared, steps[0].grams - prepared))
    if squared_share is not None and squared_share < 1:
        squared = prepared * squared_share
        steps.append(Weighing("squared", "squared off", squared, prepared - squared))
    if cut is not None:
        steps.append(Weighing("cut", "cut", finished, steps[-1].grams - finished))
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
        cut_title=cut.entry.english if cut else "",
        standard=cut.standard if cut else None,
        sizes=sizes_text(cut) if cut else "",
        steps=tuple(steps),
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
        notes=(*notes, *([vegetable.note] if vegetable.note and state == vegetable.prepared else [])),
    )


def _cut(name: str, standard: str | Path | None, default: str | Path, produce: str) -> Cut:
    """The cut by the standard that was named; else by the preferred one, its gaps filled from the others."""
    if standard is None and default != DEFAULT:
        cut = find_cut(name, default, produce, sized=False)
        if cut.sizes:
            return cut
    anywhere = find_cut(name, None, produce, sized=False)
    # a cut that no source gives a size, chopped say, can be planned by any standard
    return anywhere if standard is None else find_cut(name, standard, produce, sized=bool(anywhere.sizes))


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
    return used, told, used.kept


def _trims(vegetable: Vegetable, steps: Sequence[Weighing]) -> tuple[Trim, ...]:
    """What the steps leave: the parts of the preparation together, then the offcuts."""
    first = [t for t in vegetable.trimmings if t.part != OFFCUTS]
    found = []
    if steps[1].lost_grams > 0:
        parts = ", ".join(t.part for t in first) or "peel and ends"
        uses = [t.use if len(first) == 1 else f"{t.part}: {t.use}" for t in first]
        found.append(Trim(parts, steps[1].lost_grams, "; ".join(uses) or "waste"))
    offcuts = sum(s.lost_grams for s in steps[2:])
    if offcuts > 1e-6:
        use = next((t.use for t in vegetable.trimmings if t.part == OFFCUTS), "soup, stock")
        found.append(Trim(OFFCUTS, offcuts, use))
    return tuple(found)


def _shopping(items: Sequence[Item]) -> tuple[Purchase, ...]:
    found: dict[str, Purchase] = {}
    for item in items:
        old = found.get(item.vegetable.name, Purchase(item.vegetable, 0.0, 0))
        both = old.vegetables is not None and item.vegetables is not None
        count = (old.vegetables or 0) + (item.vegetables or 0) if both else None
        found[item.vegetable.name] = Purchase(item.vegetable, old.grams + item.buy, count)
    return tuple(found.values())
