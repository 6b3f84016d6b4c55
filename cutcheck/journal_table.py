"""The journal as plain text for a terminal, and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from cutcheck import table, words
from cutcheck.journal.entries import Cook, Entry, Kept
from cutcheck.units import Unit


def entries(found: Sequence[Entry], path: Path) -> str:
    """One row for each check."""
    if not found:
        how = "'cutcheck check PHOTO --cut NAME --keep --cook \"Your name\"'"
        return f"No checks in {path}.\nKeep one with {how}."
    head = ["check", "cook", "when", "cut", "mark", "on size", "pieces", "photo", "note"]
    return table.columns([head, *[_row(entry) for entry in found]])


def line(entry: Entry) -> str:
    """One check in a line."""
    mark = "no mark" if entry.mark is None else f"mark {entry.mark:.0f}"
    cut = words.cut_title(entry.cut) if entry.cut else "no cut"
    note = f" ({entry.extras.note})" if entry.extras.note else ""
    return f"Check {entry.number}: {entry.cook.label}, {day(entry)}, {cut}, {mark}{note}"


def change(before: Entry, after: Entry) -> str:
    """What measuring again changed."""
    if before.mark is None or after.mark is None:
        return f"{line(after)}, measured again"
    return f"{line(after)}, was {before.mark:.0f} with version {before.program_version}"


def one(kept: Kept, unit: Unit) -> str:
    """A kept check: who and when, the weights and the time, then what the check itself said."""
    entry, extras = kept.entry, kept.entry.extras
    facts = [f"Check {entry.number} of {entry.cook.label}, {entry.practised.replace('T', ' ')}"]
    weights = [
        f"{name} {value:g} g"
        for name, value in (("raw", extras.raw_g), ("finished", extras.finished_g), ("waste", extras.waste_g))
        if value is not None
    ]
    if weights:
        share = extras.waste_share
        facts.append(", ".join(weights) + ("" if share is None else f": {words.percent(share)} lost"))
    if extras.minutes:
        pace = len(kept.result.pieces) / extras.minutes
        facts.append(f"{extras.minutes:g} minutes; {pace:.1f} of the pieces in the photo a minute")
    if extras.note:
        facts.append(f"Note: {extras.note}")
    facts.append(
        f"Measured with version {entry.program_version}; photo {'' if entry.has_photo else 'not '}kept"
    )
    return "\n".join(facts) + "\n\n" + table.tray(kept.result, unit)


def cooks(found: Sequence[Cook]) -> str:
    """One row for each cook."""
    if not found:
        return "No cooks yet."
    rows = [[cook.label, str(cook.checks), (cook.last or "-")[:10]] for cook in found]
    return table.columns([["cook", "checks", "last"], *rows])


def entry_dict(entry: Entry) -> dict[str, Any]:
    """One check of the list as JSON."""
    data = asdict(entry)
    data["cook"] = {"number": entry.cook.number, "name": entry.cook.name}
    return data


def cook_dict(cook: Cook) -> dict[str, Any]:
    """One cook as JSON."""
    return {"number": cook.number, "name": cook.name, "checks": cook.checks, "last": cook.last}


def day(entry: Entry) -> str:
    """The day of practice."""
    return entry.practised[:10]


def _row(entry: Entry) -> list[str]:
    note = entry.extras.note
    return [
        str(entry.number),
        entry.cook.label,
        day(entry),
        entry.cut or "-",
        "-" if entry.mark is None else f"{entry.mark:.0f}",
        words.percent(entry.on_size),
        "-" if entry.counted is None else str(entry.counted),
        "kept" if entry.has_photo else "-",
        note if len(note) <= 40 else f"{note[:37]}...",
    ]
