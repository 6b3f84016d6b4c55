"""Settings: what is said once and holds for every photo, and what the words mean."""

from __future__ import annotations

from typing import Any, get_args

import streamlit as st

from cutcheck import __version__
from cutcheck.errors import CutcheckError
from cutcheck.journal import journal_path
from cutcheck.page import keys, panels
from cutcheck.page.gate import is_here
from cutcheck.page.print_check import print_check
from cutcheck.settings import Settings, changed, load_settings, save_settings, settings_path
from cutcheck.standards import SHIPPED
from cutcheck.terms import TERMS
from cutcheck.units import Unit

CARDS = {0.2: "Paper", 0.5: "Laminated"}
UNITS = {"mm": "Millimetres", "in": "Inches"}


def show() -> None:
    """Draw the place."""
    st.title("Settings")
    st.html("<p class='cc-lead'>Said once, they hold for every photo and on the command line, too.</p>")
    try:
        settings = load_settings()
    except CutcheckError as error:
        st.html(panels.fault_panel(error))
        st.html(panels.caution())
        return
    print_check()
    if is_here():
        _sizes(settings)
        _journal(settings)
    _words()
    st.html(panels.small_print([f"cutcheck {__version__}. The settings lie in {settings_path()}."]))
    st.html(panels.caution())


def _sizes(settings: Settings) -> None:
    st.subheader("Sizes")
    with st.container(horizontal=True, gap="medium", vertical_alignment="bottom"):
        unit = st.segmented_control(
            "Lengths in",
            get_args(Unit),
            default=settings.unit,
            format_func=UNITS.__getitem__,
            key=keys.SET_UNIT,
        )
        standard = st.segmented_control(
            "Standard",
            SHIPPED,
            default=settings.standard if settings.standard in SHIPPED else None,
            format_func=str.capitalize,
            key=keys.SET_STANDARD,
            help="Whose sizes count where both have a cut. One of your own is chosen on the command line.",
        )
        card = st.segmented_control(
            "The card is",
            list(CARDS),
            default=settings.thickness_mm if settings.thickness_mm in CARDS else None,
            format_func=CARDS.__getitem__,
            key=keys.SET_THICKNESS,
            help="A laminated card is thicker, and lies a little nearer to the camera.",
        )
    _keep(settings, unit=unit, standard=standard, thickness_mm=card)


def _journal(settings: Settings) -> None:
    st.subheader("The journal")
    try:
        place = journal_path()
        state = "" if place.exists() else " It is made when the first tray is kept."
        st.html(panels.small_print([f"Trays are kept in {place}.{state}"]))
    except CutcheckError as error:
        st.html(panels.fault_panel(error))
    days = st.number_input(
        "Graded work is kept for, days",
        1.0,
        36500.0,
        settings.graded_days,
        1.0,
        format="%.0f",
        key=keys.SET_GRADED_DAYS,
        help="Then it is removed when a class is opened.",
    )
    photo = st.toggle("Keep a copy of the photo with each tray", settings.keep_photo, key=keys.SET_KEEP_PHOTO)
    with st.form(f"{keys.SET_JOURNAL}_form", border=False):
        left, right = st.columns([4, 2], vertical_alignment="bottom")
        named = left.text_input(
            "Another file for the journal",
            settings.journal or "",
            placeholder="The usual place",
            key=keys.SET_JOURNAL,
            help="Say where, such as /home/me/journal.sqlite. What was kept stays in the file it is in.",
        )
        pressed = right.form_submit_button("Use this file", width="stretch")
    _keep(settings, keep_photo=photo, graded_days=days)
    if pressed:
        _keep(load_settings(), journal=named or "forget")


def _keep(settings: Settings, **values: Any) -> None:
    """Write what differs from what is kept; None is no choice. Then draw the place anew."""
    before = settings
    try:
        for name, value in values.items():
            if value is not None:
                settings = changed(settings, name, value)
        if settings != before:
            save_settings(settings)
            st.rerun()
    except CutcheckError as error:
        st.html(panels.fault_panel(error))


def _words() -> None:
    with st.expander("What the words mean"):
        st.html(panels.table([{"word": term.word, "what it means": term.means} for term in TERMS]))
