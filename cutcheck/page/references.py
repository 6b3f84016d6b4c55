"""What gives the scale, for who has no printed card: asked in words, told to the engine in its own."""

from __future__ import annotations

import streamlit as st

from cutcheck.page import keys
from cutcheck.page.remember import start

KINDS = {
    "card": "The printed card or mat",
    "id1": "A blank card of bank-card size (85.6 x 54 mm)",
    "sheet": "A sheet of paper",
    "disc": "A coin or another disc",
}
SHEETS = {"A4": "210x297", "A5": "148x210", "US Letter": "215.9x279.4"}  # ISO 216; ANSI/ASME Y14.1
TWO_EURO_MM = 25.75  # Council Regulation (EU) 729/2014, annex I


def ask_for_reference(spot: tuple[float, float] | None) -> str:
    """Ask what lies beside the pieces; the ``reference`` of ``measure_photo``.

    ``spot`` is where the user pressed the disc, photo px, if they did.
    """
    kind = st.selectbox(
        "What gives the scale?", list(KINDS), format_func=KINDS.__getitem__, key=keys.REFERENCE
    )
    if kind == "sheet":
        sheet = st.segmented_control("Sheet", list(SHEETS), key=start(keys.SHEET, "A4"))
        return f"sheet:{SHEETS[sheet or 'A4']}"
    if kind == "disc":
        mm = st.number_input(
            "Its diameter, mm", 5.0, 300.0, step=0.05, format="%.2f", key=start(keys.DISC, TWO_EURO_MM)
        )
        return f"disc:{mm:g}" + (f"@{spot[0]:.0f},{spot[1]:.0f}" if spot else "")
    if kind == "id1":
        st.html(
            "<p class='cc-small'>Never a payment or identity card: take a blank one or a library card. It is "
            "covered in every picture.</p>"
        )
    return kind
