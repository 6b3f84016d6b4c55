"""Print the card: the sheet to print, how to check it with a ruler, and what the ruler said."""

from __future__ import annotations

from typing import get_args

import streamlit as st

from cutcheck.card_numbers import parse_numbers
from cutcheck.card_sheet import PaperName, draw_cards
from cutcheck.errors import CutcheckError
from cutcheck.page import keys, panels
from cutcheck.page.print_check import print_check
from cutcheck.sheet_files import to_pdf

PAPER_NAMES: dict[PaperName, str] = {"a4": "A4", "letter": "US Letter"}


def show() -> None:
    """Draw the place."""
    st.title("Print the card")
    st.html(
        "<p class='cc-lead'>The card tells the camera how large things are. Print it once on matt paper, "
        "check it with a ruler, and keep it in a matt pouch.</p>"
    )
    paper, numbers, mat = _ask()
    _offer(paper, numbers, mat)
    _steps()
    print_check()
    st.html(panels.caution())


def _ask() -> tuple[PaperName, str, bool]:
    left, middle, right = st.columns([3, 4, 4], vertical_alignment="bottom")
    with left:
        paper = st.segmented_control(
            "Paper", get_args(PaperName), default="a4", format_func=PAPER_NAMES.__getitem__, key=keys.PAPER
        )
    with middle:
        numbers = st.text_input(
            "Card numbers",
            "0",
            help="One number for one person, such as 7, or 1-30 for a class. 0 is for who works alone.",
            key=keys.NUMBERS,
        )
    with right:
        mat = st.checkbox("Also a mat for a whole tray", key=keys.MAT)
    return paper or "a4", numbers, mat


def _offer(paper: PaperName, numbers: str, mat: bool) -> None:
    try:
        sheets = draw_cards(parse_numbers(numbers), paper=paper, mat=paper if mat else None)
    except CutcheckError as error:
        st.html(panels.fault_panel(error))
        return
    pages = "1 page" if len(sheets) == 1 else f"{len(sheets)} pages"
    st.download_button(
        f"Download the sheet (PDF, {pages})",
        lambda: to_pdf(sheets),
        file_name="cards.pdf",
        mime="application/pdf",
        type="primary",
        icon=":material/print:",
        on_click="ignore",
    )


def _steps() -> None:
    st.subheader("How to print it")
    st.markdown(
        "1. Print at **100 %** ('actual size'), never 'fit to page', on matt paper.\n"
        "2. Before you cut, measure the outer edges of the outermost black squares, across and down: "
        "198.0 and 214.0 mm on a full page, 93.0 and 66.0 mm on one card.\n"
        "3. Cut along the grey lines. Put the card into a matt pouch: gloss glares.\n"
        "4. In the kitchen, wipe and sanitise the pouch as you do the board."
    )
