"""Keeping the tray that is shown: one press, with the name of the cook."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from cutcheck import words
from cutcheck.errors import CutcheckError
from cutcheck.journal import Cook, Entry, Extras, Journal, journal_path
from cutcheck.journal.keeping import keep_measured, taking_of
from cutcheck.page import keys, panels
from cutcheck.page.amounts import ask_amounts
from cutcheck.page.gate import is_here
from cutcheck.page.tray.taken import Tray, pixels_of
from cutcheck.records import Result
from cutcheck.settings import load_settings

NO_NAME = CutcheckError("bad-option", problem="No name yet.", remedy="Choose one, or type a new one.")
SAME_MARK = 0.05  # marks nearer than this are one mark, rounded


def keep_panel(tray: Tray, result: Result) -> None:
    """Ask whose tray it is and keep it; where it is kept already, say so."""
    if not is_here():
        st.html(panels.small_print(["Trays are kept at the computer that runs this page."]))
        return
    try:
        # Nothing is written, not even an empty journal, before something is to be kept.
        journal = Journal.open() if journal_path().exists() else None
        entry = None if journal is None else journal.with_photo(result.photo.sha256)
        if journal is not None and entry is not None:
            _kept(journal, entry, tray, result)
        else:
            _ask(journal, tray, result)
    except CutcheckError as error:
        st.html(panels.fault_panel(error))


def _kept(journal: Journal, entry: Entry, tray: Tray, result: Result) -> None:
    """Say where it is kept; offer to keep what is shown now, a cut or a mark, instead of what was."""
    cut = words.cut_title(entry.cut) if entry.cut else "measured only"
    st.success(
        f"Kept as check {entry.number} of {panels.plain_label(entry.cook.label)}: {cut}.",
        icon=":material/bookmark_added:",
    )
    if result.cut is None or result.score is None:
        return
    if (result.cut.name, result.cut.standard) != (entry.cut, entry.standard):
        instead = f"Keep it as {words.cut_title(result.cut.name)} instead"
    elif entry.mark is None or abs(result.score.mark - entry.mark) > SAME_MARK:
        instead = f"Keep the mark of now, {result.score.mark:.0f}, instead"
    else:
        return
    if st.button(instead, key=keys.KEEP_CUT):
        taking = taking_of(tray.measured, load_settings(), tray.reference)
        journal.correct(entry.number, result=result, taking=taking)
        st.rerun()


def _ask(journal: Journal | None, tray: Tray, result: Result) -> None:
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
                value=load_settings().keep_photo,
                key=keys.KEEP_PHOTO,
            )
    if not pressed:
        return
    if not name:
        st.html(panels.fault_panel(NO_NAME))
        return
    journal = journal or Journal.open()
    keep_measured(
        journal,
        _cook(journal, cooks, name),
        replace(tray.measured, photo=replace(tray.measured.photo, pixels=pixels_of(tray, load_settings())))
        if with_photo
        else tray.measured,
        result,
        settings=load_settings(),
        reference=tray.reference,
        extras=extras,
        photo_bytes=tray.data if with_photo else None,
    )
    st.rerun()


def _cook(journal: Journal, cooks: dict[str, Cook], name: str) -> Cook:
    return cooks.get(name) or journal.cook_called(name) or journal.add_cook(name)


def _extras() -> Extras:
    given = ask_amounts(keys.KEEP_FORM, Extras())
    return replace(given, note=st.text_input("Note", key=f"{keys.KEEP_FORM}_note"))
