"""A result as rows of the journal, and back again. ``serialise`` decides what each value is written as."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import Any

import numpy as np

from cutcheck import serialise
from cutcheck.journal.entries import Cook, Entry, Extras, Taking
from cutcheck.records import SIDES, Result, SideScore
from cutcheck.tray import side_arrays

Row = dict[str, Any]
_SCORE = ("mark", "mark_low", "mark_high", "on_size", "evenness", "squareness", "counted", "sampling")
_EXTRAS = ("raw_g", "finished_g", "waste_g", "minutes", "note")


def check_row(result: Result, taking: Taking, extras: Extras) -> Row:
    """The row of ``checks``, without what the journal itself adds (key, cook, times)."""
    data = serialise.to_dict(result)
    cut, score = data["cut"] or {}, data["score"] or {}
    return {
        **{name: data["photo"][name] for name in ("file", "sha256", "width_px", "height_px", "taken")},
        "cut": cut.get("name"),
        "standard": cut.get("standard"),
        "cut_version": cut_version(result),
        **{name: score.get(name) for name in _SCORE},
        **asdict(extras),
        "scale": data["scale"],
        "suggested": data["suggested"],
        "taking": asdict(taking),
        "advice": data["advice"],
        "warnings": data["warnings"],
    }


def side_rows(result: Result, scale_u: float) -> list[Row]:
    """The rows of ``sides``, with what measuring leaves open of each mean."""
    if result.score is None:
        return []
    counted = [piece for piece in result.pieces if piece.conformity is not None]
    names = [side.side for side in result.score.sides]
    x, u, shared = side_arrays(counted, names, scale_u)
    rows = []
    for j, side in enumerate(result.score.sides):
        seen = np.isfinite(x[:, j])
        noise = mean_u = None
        if seen.any():
            own2 = np.maximum(u[seen, j] ** 2 - (shared[:, seen, j] ** 2).sum(axis=0), 0.0)
            noise = float(np.sqrt(own2.mean()))
            # What all pieces share does not average out.
            common2 = float((shared[:, seen, j].mean(axis=1) ** 2).sum())
            mean_u = math.sqrt(common2 + float(own2.sum()) / int(seen.sum()) ** 2)
        rows.append(
            {
                "side": side.side,
                "label": side.label or side.side,
                "low_mm": round(side.target_mm[0], serialise.MM),
                "high_mm": round(side.target_mm[1], serialise.MM),
                "mean_mm": _rounded(side.mean_mm),
                "mean_u_mm": _rounded(mean_u),
                "sd_mm": _rounded(side.sd_mm),
                "noise_mm": _rounded(noise),
                "share_on_size": _rounded(side.share_on_size),
                "seen": side.seen,
            }
        )
    return rows


def piece_rows(result: Result) -> list[Row]:
    """The rows of ``pieces``."""
    rows = []
    for data in serialise.to_dict(result, with_budget=True)["pieces"]:
        row = {name: data.pop(name) for name in ("number", "shape", "verdict", "conformity", "flags")}
        for side in SIDES:
            measure = data.pop(side)
            row |= {f"{side}_mm": measure["mm"], f"{side}_u95": measure["u95"]}
        rows.append({**row, "rest": data})
    return rows


def result_of(check: Mapping[str, Any], sides: Iterable[Mapping[str, Any]], pieces: Iterable[Any]) -> Result:
    """The result that these rows were made of."""
    score = None
    if check["mark"] is not None:
        score = {name: check[name] for name in _SCORE}
        score["sides"] = [
            {
                **{
                    name: side[name]
                    for name in ("side", "label", "mean_mm", "sd_mm", "seen", "share_on_size")
                },
                "target_mm": [side["low_mm"], side["high_mm"]],
            }
            for side in sorted(sides, key=lambda side: SIDES.index(side["side"]))
        ]
    return serialise.from_dict(
        {
            "schema": serialise.SCHEMA,
            "photo": {n: check[n] for n in ("file", "sha256", "width_px", "height_px", "taken")},
            "scale": check["scale"],
            "pieces": [_piece(row) for row in pieces],
            "cut": None if check["cut"] is None else {"name": check["cut"], "standard": check["standard"]},
            "suggested": check["suggested"],
            "score": score,
            "advice": check["advice"],
            "warnings": check["warnings"],
        }
    )


def entry_of(row: Mapping[str, Any]) -> Entry:
    """A line of the list, from a row of ``checks`` joined with its cook."""
    plain = ("practised", "cut", "standard", "mark", "mark_low", "mark_high", "on_size", "counted", "file")
    more = ("sha256", "kept", "program_version", "cut_version", "produce", "key")
    return Entry(
        number=row["id"],
        cook=Cook(row["cook_id"], row["cook_name"], row["cook_added"], key=row["cook_key"]),
        has_photo=bool(row["has_photo"]),
        extras=Extras(**{name: row[name] for name in _EXTRAS}),
        **{name: row[name] for name in plain + more},
    )


def taking_of(data: Mapping[str, Any]) -> Taking:
    """How the photo was measured, from its JSON; what a later version added is left out."""
    known = {name: value for name, value in data.items() if name in Taking.__dataclass_fields__}
    return Taking(**{**known, "camera": tuple(known.get("camera", ()))})


def cut_version(result: Result) -> str | None:
    """A fingerprint of the sizes that a tray was held against: it changes when a standard's figures do."""
    if result.score is None or result.cut is None:
        return None
    return _fingerprint(result.score.sides)


def _fingerprint(sides: Iterable[SideScore]) -> str:
    limits = [[s.side, round(s.target_mm[0], 3), round(s.target_mm[1], 3)] for s in sides]
    return hashlib.sha256(json.dumps(limits).encode()).hexdigest()[:12]


def _piece(row: Mapping[str, Any]) -> Row:
    sides: Row = {side: {"mm": row[f"{side}_mm"], "u95": row[f"{side}_u95"]} for side in SIDES}
    rest = row["rest"]
    return {**{n: row[n] for n in ("number", "shape", "verdict", "conformity", "flags")}, **sides, **rest}


def _rounded(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(float(value), serialise.MM)
