"""What the ruler said on the print: asked with the card and among the settings, kept for every photo."""

from __future__ import annotations

import streamlit as st

from cutcheck.errors import CutcheckError
from cutcheck.page import keys, panels
from cutcheck.page.gate import is_here
from cutcheck.settings import changed, load_settings, save_settings


def print_check() -> None:
    """Say what is kept; ask for both figures, where the visitor may change settings."""
    st.subheader("What the ruler said")
    settings = load_settings()
    if settings.printed is None:
        st.markdown("Not measured yet. Until it is, every size may be 1 % off.")
    else:
        st.markdown(f"Kept: **{settings.printed.replace('x', ' x ')} mm**. It counts for every photo.")
    if not is_here():
        return
    with st.form(keys.RULER_FORM, border=False):
        left, right, last = st.columns([3, 3, 4], vertical_alignment="bottom")
        across = left.text_input("Across (mm)", placeholder="198.0", key=keys.RULER_ACROSS)
        down = right.text_input("Down (mm)", placeholder="214.0", key=keys.RULER_DOWN)
        kept = last.form_submit_button("Keep these figures")
    if kept:
        try:
            save_settings(changed(settings, "printed", f"{across}x{down}"))
        except CutcheckError as error:
            st.html(panels.fault_panel(error))
        else:
            st.rerun()
    if settings.printed is not None and st.button("Forget them", key=keys.RULER_FORGET):
        save_settings(changed(settings, "printed", "forget"))
        st.rerun()
