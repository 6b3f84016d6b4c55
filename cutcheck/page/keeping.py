"""Keeping the tray that is shown: one press, with the name of the cook."""

from __future__ import annotations

import hashlib

import streamlit as st

from cutcheck import words
from cutcheck.errors import CutcheckError
from cutcheck.journal import Cook, Entry, Extras, Journal, journal_path
from cutcheck.journal.keeping import keep_measured, taking_of
from cutcheck.page import keys, panels
from cutcheck.page.gate import is_here
from cutcheck.pipeline import Measured
from cutcheck.records import Result
from cutcheck.settings import load_settings


def keep_panel(measured: Measured, result: Result, *, reference: str, photo: bytes | None) -> None:
    """Ask whose tray it is and keep it; where it is kept already, say so. ``photo``: the file as it came."""
    if not is_here():
        st.html(panels.small_print(["Trays are kept at the computer that runs this page."]))
        return
    try:
        # Nothing is written, not even an empty journal, before something is to be kept.
        journal = Journal.open() if journal_path().exists() else None
        entry = None if journal is None else journal.with_photo(result.photo.sha256)
        if journal is not None and entry is not None:
            _kept(journal, entry, measured, result, reference)
        else:
            _ask(journal, measured, result, reference, photo)
    except CutcheckError as error:
        st.html(panels.fault_panel(error))


def _kept(journal: Journal, entry: Entry, measured: Measured, result: Result, reference: str) -> None:
    """Say where it is kept; offer to keep the cut that is chosen now instead of the one that was."""
    cut = words.cut_title(entry.cut) if entry.cut else "measured only"
    st.success(
        f"Kept as check {entry.number} of {entry.cook.label}: {cut}.", icon=":material/bookmark_added:"
    )
    chosen = None if result.cut is None else (result.cut.name, result.cut.standard)
    if chosen is None or chosen == (entry.cut, entry.standard):
        return
    if st.button(f"Keep it as {words.cut_title(chosen[0])} instead", key=keys.KEEP_CUT):
        journal.correct(entry.number, result=result, taking=taking_of(measured, load_settings(), reference))
        st.rerun()


def _ask(
    journal: Journal | None, measured: Measured, result: Result, reference: str, photo: bytes | None
) -> None:
    cooks = {cook.label: cook for cook in (journal.cooks() if journal else ())}
    with st.form(keys.KEEP_FORM):
        left, right = st.columns([4, 2], vertical_alignment="bottom")
        name = left.selectbox(
            "Keep this tray in the journal of",
            list(cooks),
            index=0 if len(cooks) == 1 else None,
            accept_new_options=True,
            placeholder="Choose, or type a new name",
            key=keys.KEEP_NAME,
        )
        pressed = right.form_submit_button("Keep", icon=":material/bookmark_add:", width="stretch")
        with st.expander("Weights, time, a note, the photo"):
            extras = _extras()
            with_photo = st.checkbox(
                "Keep a copy of the photo, too (without place and serial numbers)",
                key=keys.KEEP_PHOTO,
                disabled=photo is None,
            )
    if not pressed:
        return
    if not name:
        st.html(panels.fault_panel(CutcheckError("bad-option", problem="No name yet.", remedy="Type one.")))
        return
    journal = journal or Journal.open()
    keep_measured(
        journal,
        _cook(journal, cooks, name),
        measured,
        result,
        settings=load_settings(),
        reference=reference,
        extras=extras,
        photo_bytes=photo if with_photo else None,
    )
    st.rerun()


def _cook(journal: Journal, cooks: dict[str, Cook], name: str) -> Cook:
    return cooks.get(name) or journal.cook_called(name) or journal.add_cook(name)


def _extras() -> Extras:
    columns = st.columns(4)
    asked = (
        ("Raw (g)", "raw_g"),
        ("Finished (g)", "finished_g"),
        ("Waste (g)", "waste_g"),
        ("Minutes", "minutes"),
    )
    figures = {
        name: column.number_input(label, min_value=0.0, value=None, key=f"{keys.KEEP_FORM}_{name}")
        for column, (label, name) in zip(columns, asked, strict=True)
    }
    note = st.text_input("Note", key=f"{keys.KEEP_FORM}_note")
    # a time of nothing is one that was not given
    return Extras(**{**figures, "minutes": figures["minutes"] or None}, note=note)


def same_photo(photo: tuple[str, str, bytes] | None, measured: Measured) -> bytes | None:
    """The bytes of the photo that is shown, if it is still the one that was given last."""
    if photo is None or hashlib.sha256(photo[2]).hexdigest() != measured.photo.info.sha256:
        return None
    return photo[2]
