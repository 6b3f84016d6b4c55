"""The fields for what only the cook knows of a tray: grams raw, finished and waste, and minutes."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from cutcheck.journal.entries import Extras

_ASKED = (
    ("Raw (g)", "raw_g"),
    ("Finished (g)", "finished_g"),
    ("Waste (g)", "waste_g"),
    ("Minutes", "minutes"),
)


def ask_amounts(key: str, given: Extras) -> Extras:
    """Draw the fields with what was ``given`` before, and return it with what they say now."""
    figures = {
        name: column.number_input(
            label, 0.0, None, getattr(given, name), 1.0, format="%g", key=f"{key}_{name}"
        )
        for column, (label, name) in zip(st.columns(len(_ASKED)), _ASKED, strict=True)
    }
    # a time of nothing is one that was not given
    return replace(given, **{**figures, "minutes": figures["minutes"] or None})
