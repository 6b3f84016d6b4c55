"""A result as JSON, schema 1, and back again.

The fields of schema 1 are fixed; others may be added. Numbers are rounded to what they can mean
(0.1 micrometre, 0.01 pixel), so that reading a file back and writing it again gives the same file.
"""

from __future__ import annotations

import json
import math
from dataclasses import fields
from typing import Any

from cutcheck.records import (
    BudgetLine,
    CutName,
    Measure,
    PhotoInfo,
    Piece,
    Point,
    Result,
    Scale,
    Score,
    ShapeFigure,
    SideScore,
    Suggestion,
)

SCHEMA = 1
MM, PX, SHARE = 4, 2, 4  # decimals

Json = dict[str, Any]


def to_json(result: Result, *, with_budget: bool = False) -> str:
    """One result on one line, as JSON Lines wants it."""
    return json.dumps(to_dict(result, with_budget=with_budget), ensure_ascii=False, allow_nan=False)


def from_json(text: str) -> Result:
    """The result that ``to_json`` wrote; ValueError if it is none."""
    try:
        data = json.loads(text)
    except json.JSONDecodeError as error:
        raise ValueError(f"not JSON: {error}") from None
    return from_dict(data)


def to_dict(result: Result, *, with_budget: bool = False) -> Json:
    """A result as plain dicts and lists. Budgets are long and are written only when asked for."""
    photo, scale = result.photo, result.scale
    return {
        "schema": result.schema,
        "photo": {
            "file": photo.file,
            "sha256": photo.sha256,
            "width_px": photo.width_px,
            "height_px": photo.height_px,
            "taken": photo.taken,
        },
        "scale": {
            "reference": scale.reference,
            "numbers": list(scale.numbers),
            "mm_per_px": _rounded(scale.mm_per_px, 6),
            "tilt_deg": _rounded(scale.tilt_deg, 2),
            "residual_px": _rounded(scale.residual_px, 4),
            "focal_px": _rounded(scale.focal_px, PX),
            "focal_from": scale.focal_from,
            "regions_px": [[_point(point) for point in region] for region in scale.regions_px],
        },
        "pieces": [_piece_to_dict(piece, with_budget) for piece in result.pieces],
        "cut": None if result.cut is None else {"name": result.cut.name, "standard": result.cut.standard},
        "suggested": None
        if result.suggested is None
        else {
            "name": result.suggested.name,
            "probability": _rounded(result.suggested.probability, SHARE),
        },
        "score": None if result.score is None else _score_to_dict(result.score),
        "advice": list(result.advice),
        "warnings": list(result.warnings),
    }


def from_dict(data: Json) -> Result:
    """The result in such a dict; ValueError says what is missing."""
    schema = data.get("schema") if isinstance(data, dict) else None
    if schema != SCHEMA:
        raise ValueError(f"schema {schema!r}: this version reads schema {SCHEMA}")
    try:
        cut, suggested, score = data["cut"], data["suggested"], data["score"]
        return Result(
            photo=PhotoInfo(**_known(PhotoInfo, data["photo"])),
            scale=_scale_from_dict(data["scale"]),
            pieces=tuple(_piece_from_dict(piece) for piece in data["pieces"]),
            cut=None if cut is None else CutName(**_known(CutName, cut)),
            suggested=None if suggested is None else Suggestion(**_known(Suggestion, suggested)),
            score=None if score is None else _score_from_dict(score),
            advice=tuple(data["advice"]),
            warnings=tuple(data["warnings"]),
        )
    except (KeyError, TypeError) as error:
        raise ValueError(f"not a result of schema {SCHEMA}: {error}") from None


def _piece_to_dict(piece: Piece, with_budget: bool) -> Json:
    height = {**_measure_to_dict(piece.height), "seen": piece.height.seen}
    data: Json = {
        "number": piece.number,
        "centre_px": _point(piece.centre_px),
        "outline_px": [_point(point) for point in piece.outline_px],
        "shape": piece.shape,
        "length": _measure_to_dict(piece.length),
        "width": _measure_to_dict(piece.width),
        "height": height,
        "verdict": piece.verdict,
        "conformity": _rounded(piece.conformity, SHARE),
        "flags": list(piece.flags),
        "top_px": [_point(point) for point in piece.top_px],
        "figures": [
            {"name": f.name, "value": _rounded(f.value, MM), "unit": f.unit, "u95": _rounded(f.u95, MM)}
            for f in piece.figures
        ],
    }
    if with_budget:
        data["budget"] = [
            {"side": line.side, "cause": line.cause, "standard_mm": _rounded(line.standard_mm, 5)}
            for line in piece.budget
        ]
    return data


def _piece_from_dict(data: Json) -> Piece:
    return Piece(
        number=data["number"],
        centre_px=_pair(data["centre_px"]),
        outline_px=tuple(_pair(point) for point in data["outline_px"]),
        shape=data["shape"],
        length=_measure_from_dict(data["length"]),
        width=_measure_from_dict(data["width"]),
        height=_measure_from_dict(data["height"]),
        verdict=data["verdict"],
        conformity=data["conformity"],
        flags=tuple(data["flags"]),
        figures=tuple(ShapeFigure(**_known(ShapeFigure, figure)) for figure in data.get("figures", ())),
        budget=tuple(BudgetLine(**_known(BudgetLine, line)) for line in data.get("budget", ())),
        top_px=tuple(_pair(point) for point in data.get("top_px", ())),
    )


def _measure_to_dict(measure: Measure) -> Json:
    return {"mm": _rounded(measure.mm, MM), "u95": _rounded(measure.u95, MM)}


def _measure_from_dict(data: Json) -> Measure:
    return Measure(data["mm"], data["u95"], data.get("seen", data["mm"] is not None))


def _score_to_dict(score: Score) -> Json:
    return {
        "mark": _rounded(score.mark, 2),
        "mark_low": _rounded(score.mark_low, 2),
        "mark_high": _rounded(score.mark_high, 2),
        "on_size": _rounded(score.on_size, SHARE),
        "evenness": _rounded(score.evenness, SHARE),
        "squareness": _rounded(score.squareness, SHARE),
        "counted": score.counted,
        "sampling": _rounded(score.sampling, SHARE),
        "sides": [
            {
                "side": side.side,
                "target_mm": [_rounded(side.target_mm[0], MM), _rounded(side.target_mm[1], MM)],
                "mean_mm": _rounded(side.mean_mm, MM),
                "sd_mm": _rounded(side.sd_mm, MM),
                "seen": side.seen,
                "share_on_size": _rounded(side.share_on_size, SHARE),
                "label": side.label,
            }
            for side in score.sides
        ],
    }


def _score_from_dict(data: Json) -> Score:
    return Score(**{**_known(Score, data), "sides": tuple(_side_from_dict(side) for side in data["sides"])})


def _side_from_dict(data: Json) -> SideScore:
    return SideScore(**{**_known(SideScore, data), "target_mm": _pair(data["target_mm"])})


def _scale_from_dict(data: Json) -> Scale:
    regions = tuple(tuple(_pair(point) for point in region) for region in data.get("regions_px", ()))
    return Scale(**{**_known(Scale, data), "numbers": tuple(data["numbers"]), "regions_px": regions})


def _known(record: type, data: Json) -> Json:
    """The fields that this version knows: a later one may have added some."""
    names = {field.name for field in fields(record)}
    return {name: value for name, value in data.items() if name in names}


def _rounded(value: float | None, digits: int) -> float | None:
    # JSON has no NaN: what can't be measured is null.
    return None if value is None or not math.isfinite(value) else round(float(value), digits)


def _point(point: Point) -> list[float | None]:
    return [_rounded(point[0], PX), _rounded(point[1], PX)]


def _pair(values: list[float]) -> Point:
    x, y = values
    return (x, y)
