"""The spread of one side over the tray: a dot for each piece over the band of what counts as on size."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import altair as alt

from cutcheck import words
from cutcheck.records import Piece, SideName, SideScore
from cutcheck.units import MM_PER, Unit

SHAPES = {"in": "circle", "out": "square", "unsure": "diamond", "offcut": "cross", "none": "circle"}
COLOURS = {"in": "#0072b2", "out": "#d55e00", "unsure": "#d8b800", "offcut": "#808080", "none": "#808080"}
# On a dark page the lighter ones of the same palette (Okabe and Ito).
ON_DARK = {"in": "#56b4e9", "out": "#f08a3c", "unsure": "#f0e442", "offcut": "#b0b0b0", "none": "#b0b0b0"}
BAND = "#2f8f6b"
INK = {"light": "#3c4a44", "dark": "#d5d8d0"}  # of axis and mean line, on the page's two backgrounds
Chart = alt.LayerChart | alt.FacetChart
ROW_PX, DOT_PX, FEWEST_ROWS = 14, 12, 4


def spread_chart(
    pieces: Sequence[Piece], side: SideName, score: SideScore | None, unit: Unit, ink: str = INK["light"]
) -> Chart | None:
    """The chart of one side, None where no piece shows it; dots that would hide each other are stacked."""
    rows = spread_rows(pieces, side, unit)
    if not rows:
        return None
    values = [row["value"] for row in rows]
    band = None if score is None else [_in_unit(mm, unit) for mm in score.target_mm]
    low, high = min(values + (band or [])), max(values + (band or []))
    room = 0.06 * (high - low) or 0.5
    scale = alt.Scale(domain=[low - room, high + room], nice=False, zero=False)
    axis = alt.Axis(title=None, tickCount=6, labelFontSize=14, labelColor=ink, gridOpacity=0.5)
    x = alt.X("value:Q", scale=scale, axis=axis)
    layers: list[Any] = []
    if band is not None:
        layers.append(
            _chart([{"low": band[0], "high": band[1]}])
            .mark_rect(color=BAND, opacity=0.22, stroke=BAND, strokeWidth=1.5, strokeOpacity=0.9)
            .encode(x=alt.X("low:Q", scale=scale), x2="high:Q")
        )
    mean = sum(values) / len(values)
    layers.append(
        _chart([{"value": mean}])
        .mark_rule(color=ink, strokeWidth=2, strokeDash=[5, 3])
        .encode(x=x, tooltip=[alt.Tooltip("value:Q", title="mean", format=".2f")])
    )
    codes = list(SHAPES)
    colours = ON_DARK if ink == INK["dark"] else COLOURS
    most = max(*(row["row"] for row in rows), FEWEST_ROWS)
    layers.append(
        _chart(rows)
        .mark_point(filled=True, size=DOT_PX**2, opacity=0.95, stroke="#222", strokeWidth=0.6)
        .encode(
            x=x,
            y=alt.Y("row:Q", axis=None, scale=alt.Scale(domain=[-0.9, most + 0.5])),
            shape=alt.Shape(
                "code:N", scale=alt.Scale(domain=codes, range=list(SHAPES.values())), legend=None
            ),
            color=alt.Color(
                "code:N", scale=alt.Scale(domain=codes, range=list(colours.values())), legend=None
            ),
            tooltip=[
                alt.Tooltip("piece:N", title="piece"),
                alt.Tooltip("said:N", title=side),
                alt.Tooltip("verdict:N", title="verdict"),
            ],
        )
    )
    return alt.layer(*layers).properties(height=24 + ROW_PX * (most + 1), width="container")


def spread_rows(
    pieces: Sequence[Piece], side: SideName, unit: Unit, across: int = 30
) -> list[dict[str, Any]]:
    """The dots: value, and the row in which each is stacked; ``across`` dots fit in a row."""
    seen = sorted(
        ((piece, mm) for piece in pieces if (mm := getattr(piece, side).mm) is not None),
        key=lambda pair: pair[1],
    )
    if not seen:
        return []
    step = (seen[-1][1] - seen[0][1]) / across or 1.0
    ends: list[float] = []  # of each row: the last value in it
    rows = []
    for piece, mm in seen:
        row = next((k for k, end in enumerate(ends) if mm - end >= step), len(ends))
        ends[row : row + 1] = [mm]
        rows.append(
            {
                "piece": piece.number,
                "value": _in_unit(mm, unit),
                "said": f"{_in_unit(mm, unit):.{2 if unit == 'mm' else 3}f} {unit}",
                "row": row,
                "code": piece.verdict or "none",
                "verdict": words.VERDICTS[piece.verdict],
            }
        )
    return rows


def _in_unit(mm: float, unit: Unit) -> float:
    return mm / float(MM_PER[unit])


def _chart(rows: list[dict[str, Any]]) -> alt.Chart:
    return alt.Chart({"values": rows})
