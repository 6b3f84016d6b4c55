"""Gestures, washing, station, cautions and vegetables as plain text for a terminal, sources beside each."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from cutcheck.cuts import STANDINGS
from cutcheck.preparation import Caution, Gesture, Statement, Station, Washing, gestures_for
from cutcheck.produce import UnitSize, Vegetable
from cutcheck.table import columns, wrapped
from cutcheck.weights import WeightUnit, show_weight

__all__ = [
    "caution_list",
    "gesture_list",
    "one_gesture",
    "one_vegetable",
    "station_text",
    "vegetable_list",
    "washing_text",
]

WHERE = {
    "sink": "at the sink",
    "waste": "over the waste container",
    "finished": "into the finished container",
    "stove": "at the stove",
    "board": "on the board",
}
VINEGAR = {
    "advised": "What is advised",
    "against": "Tests that speak against it",
    "for": "Tests that speak for it",
    "claimed": "What its makers claim",
    "sum": "Taken together",
}


def gesture_list(gestures: Iterable[Gesture]) -> str:
    """All gestures: French name, English, where it is done and the tool."""
    rows = [["gesture", "English", "where", "tool"]]
    rows += [[g.french, g.english, WHERE[g.where], g.tool] for g in gestures]
    return f"{columns(rows)}\n\n'cutcheck gestures NAME' shows one with its steps and sources."


def one_gesture(gesture: Gesture, produce: Sequence[str]) -> str:
    """One gesture; ``produce`` are the vegetables in words."""
    others = f", also {', '.join(gesture.others)}" if gesture.others else ""
    parts = [
        f"{gesture.french} ({gesture.english}){others}",
        wrapped(gesture.about),
        wrapped(f"Tool: {gesture.tool}. Where: {WHERE[gesture.where]}."),
        "How\n" + "\n".join(wrapped(f"{n}. {step}") for n, step in enumerate(gesture.steps, 1)),
        wrapped(f"For: {', '.join([*produce, *gesture.other])}."),
        "What the sources say\n" + "\n".join(_said(s) for s in gesture.says),
        wrapped(f"They differ: {gesture.differ}") if gesture.differ else "",
        wrapped(f"Mind: {gesture.caution}") if gesture.caution else "",
    ]
    return "\n\n".join(part for part in parts if part)


def washing_text(washing: Washing) -> str:
    """Washing, then vinegar, then who comes first."""
    parts = ["Washing\n" + "\n".join(_said(s) for s in washing.advice)]
    moot = sorted({s.differs for s in washing.advice if s.differs})
    parts.append(wrapped(f"Advice differs on: {'; '.join(moot)}. All of it is above."))
    for kind, title in VINEGAR.items():
        lines = [s for s in washing.vinegar if s.kind == kind]
        if lines:
            parts.append(f"Vinegar. {title}\n" + "\n".join(_said(s, quiet=kind == "sum") for s in lines))
    return "\n\n".join([*parts, wrapped(washing.defer, "")])


def caution_list(cautions: Sequence[Caution], defer: str) -> str:
    """Every caution with its source."""
    lines = [f"  {c.topic}\n{_said(c.statement, indent='    ')}" for c in cautions]
    return "\n".join(lines) + f"\n\n{wrapped(defer, '')}"


def station_text(station: Station, left_handed: bool) -> str:
    """The containers as the cook sees them, left to right, the tools, and the order of work."""
    containers = station.containers[::-1] if left_handed else station.containers
    parts = [
        f"The station of a {'left' if left_handed else 'right'}-hander, left to right",
        wrapped(station.about),
        "\n".join(
            f"{wrapped(f'{n}. {c.label}: {c.holds}.')}\n{wrapped(c.why, '     ')}"
            for n, c in enumerate(containers, 1)
        ),
        "Tools\n" + "\n".join(_said(p.statement, lead=p.label) for p in station.places),
        wrapped(station.defer, ""),
    ]
    return "\n\n".join(parts)


def vegetable_list(vegetables: Iterable[Vegetable]) -> str:
    """All vegetables: names, and what each source says is kept."""
    rows = [["vegetable", "French", "prepared", "kept, by source"]]
    for v in vegetables:
        kept = ", ".join(f"{100 * y.kept:.0f} % {y.source.code}" for y in v.yields_to(v.prepared))
        rows.append([v.english, v.french, v.prepared, kept])
    return f"{columns(rows)}\n\n'cutcheck produce NAME' shows one with its weights, shape and trimmings."


def one_vegetable(vegetable: Vegetable, unit: WeightUnit = "auto") -> str:
    """One vegetable: every yield with its source and standing, weights, trimmings, gestures, allergen."""
    parts = [f"{vegetable.english} ({vegetable.french})"]
    for state in vegetable.states:
        lines = [
            f"  {100 * y.kept:.0f} % kept ({y.printed}), {y.source.code}, {STANDINGS[y.standing]}"
            + (f": {y.means}" if y.means else "")
            for y in vegetable.yields_to(state)
        ]
        parts.append(f"Kept, {state}\n" + "\n".join(lines))
    if vegetable.sizes:
        parts.append("One of them\n" + "\n".join(f"  {_size(s, unit)}" for s in vegetable.sizes))
    trimmings = [wrapped(f"{t.part}: {t.use}") for t in vegetable.trimmings]
    parts.append("Trimmings\n" + "\n".join(trimmings))
    names = ", ".join(g.french for g in gestures_for(vegetable))
    parts.append(wrapped(f"Gestures: {names}." if names else ""))
    if vegetable.allergen:
        parts.append(
            wrapped(f"Allergen: {vegetable.allergen}, one of the fourteen that the European Union lists.")
        )
    parts.append(wrapped(vegetable.note))
    codes = {y.source.code: y.source.title for y in vegetable.yields}
    parts.append(wrapped("; ".join(f"{code}: {title}" for code, title in codes.items()) + ".", ""))
    return "\n\n".join(part for part in parts if part.strip())


def _size(size: UnitSize, unit: WeightUnit) -> str:
    source = f", {size.source.code}" if size.source else ""
    return f"{size.name}: {show_weight(size.grams, unit)} ({size.printed}{source})"


def _said(statement: Statement, lead: str = "", indent: str = "  ", quiet: bool = False) -> str:
    text = f"{lead}: {statement.text}" if lead else statement.text
    source = "" if quiet else f"\n{wrapped(f'[{statement.standing_text}]', indent + '  ')}"
    return wrapped(text, indent) + source
