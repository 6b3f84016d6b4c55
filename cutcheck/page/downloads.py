"""What can be taken away: the marked picture, the figures as a table, the result as data."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from pathlib import PurePath
from typing import NamedTuple

import numpy as np
import streamlit as st
from numpy.typing import NDArray

from cutcheck import picture, serialise, words
from cutcheck.records import SIDES, Result
from cutcheck.units import Unit


class Files(NamedTuple):
    """What is offered, as text: a table, and the result as data."""

    csv: str
    json: str

    @classmethod
    def of(cls, result: Result) -> Files:
        """Of a result."""
        return cls(figures_csv(result), serialise.to_json(result, with_budget=True))


def offer(
    result: Result, files: Files, pixels: Callable[[], NDArray[np.uint8]], unit: Unit = "mm"
) -> None:
    """Four buttons. The picture is drawn, from the photo's ``pixels``, only when it is asked for."""
    stem = PurePath(result.photo.file).stem or "tray"
    st.subheader("Print or save it")
    with st.container(horizontal=True):
        st.download_button(
            "Marked picture",
            lambda: picture.encode(picture.draw(pixels(), result), ".jpg"),
            file_name=f"{stem}-marked.jpg",
            mime="image/jpeg",
            icon=":material/image:",
            on_click="ignore",
        )
        st.download_button(
            "One page (PDF)",
            lambda: _page(pixels(), result, unit),
            file_name=f"{stem}.pdf",
            mime="application/pdf",
            icon=":material/print:",
            on_click="ignore",
        )
        st.download_button(
            "Figures (CSV)",
            files.csv,
            file_name=f"{stem}-figures.csv",
            mime="text/csv",
            icon=":material/table:",
            on_click="ignore",
        )
        st.download_button(
            "Everything (JSON)",
            files.json,
            file_name=f"{stem}.json",
            mime="application/json",
            icon=":material/data_object:",
            on_click="ignore",
        )
    with st.expander("All figures as a table"):
        st.dataframe(_rows(result), hide_index=True, width="stretch")


def _page(pixels: NDArray[np.uint8], result: Result, unit: Unit) -> bytes:
    from cutcheck.check_sheet import check_pdf  # here: it brings reportlab

    return check_pdf(result, pixels, unit=unit)


def figures_csv(result: Result) -> str:
    """One row for each piece, mm, as a spreadsheet reads it (RFC 4180)."""
    out = io.StringIO()
    rows = _rows(result)
    writer = csv.DictWriter(out, list(rows[0]) if rows else ["piece"])
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def _rows(result: Result) -> list[dict[str, object]]:
    rows: list[dict[str, object]] = []
    for piece in result.pieces:
        row: dict[str, object] = {"piece": piece.number}
        for side in SIDES:
            measure = getattr(piece, side)
            row[f"{side} mm"] = None if measure.mm is None else round(measure.mm, 2)
            row[f"{side} give or take"] = None if measure.u95 is None else round(measure.u95, 2)
        row["verdict"] = words.VERDICTS[piece.verdict]
        row["likely on size"] = None if piece.conformity is None else round(piece.conformity, 3)
        row["notes"] = "; ".join(words.flag(flag) for flag in piece.flags)
        rows.append(row)
    return rows
