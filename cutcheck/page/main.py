"""The page's frame: its look and its places. Run by ``app.py``, or straight from an installed package."""

from __future__ import annotations

from importlib import resources

import streamlit as st

from cutcheck.page.gate import admit, invite, is_here
from cutcheck.page.look import dress
from cutcheck.page.navigation import navigate


def show() -> None:
    """Draw the place that the user is at."""
    icon = resources.files("cutcheck.page").joinpath("icon.svg").read_text("utf-8")
    st.set_page_config(page_title="cutcheck", page_icon=icon, layout="centered")
    dress()
    admit()
    draw = navigate(is_here())
    invite()
    draw()


if __name__ == "__main__":
    show()
