"""The rubric of an assignment, and another one: what it would change is shown before it is taken."""

from __future__ import annotations

import streamlit as st

from cutcheck.classroom.preview import Preview, preview
from cutcheck.classroom.rubric import Rubric, parse_rubric, rubric_text
from cutcheck.classroom.rubric_words import rubric_lines
from cutcheck.errors import CutcheckError
from cutcheck.page import keys, panels
from cutcheck.page.classroom.desk import Desk, attempt
from cutcheck.page.classroom.rubric_form import RubricFields, rubric_file


def show(desk: Desk) -> None:
    """Draw it."""
    assert desk.work is not None
    work, state = desk.work, st.session_state
    st.html(panels.list_panel("How it is marked", rubric_lines(work.rubric)))
    st.download_button(
        "This rubric (TOML)",
        work.rubric_text,
        file_name="rubric.toml",
        mime="text/plain",
        icon=":material/rule:",
        on_click="ignore",
    )
    st.subheader("Change it")
    st.html(
        panels.small_print(["Nothing changes before you have seen what it does to this class and taken it."])
    )
    own = f"{work.id}-{len(work.rubric_text)}"
    with st.form(f"{keys.RUBRIC_FORM}-{own}"):
        fields = RubricFields(work.rubric, own)
        pressed = st.form_submit_button("See what it changes")
    try:
        file = rubric_file(f"{keys.RUBRIC_FILE}-{own}")
        if pressed:
            state[keys.RUBRIC_NEXT] = (work.id, rubric_text(fields.read()))
        elif file is not None:
            state[keys.RUBRIC_NEXT] = (work.id, rubric_text(file))
    except CutcheckError as error:
        st.html(panels.fault_panel(error))
        return
    at, text = state.get(keys.RUBRIC_NEXT, (None, ""))
    if at == work.id and text != work.rubric_text:
        _ask(desk, parse_rubric(text))


def _ask(desk: Desk, rubric: Rubric) -> None:
    """What it would do, and the press that takes it."""
    assert desk.work is not None
    work = desk.work
    seen = preview(desk.book, work.id, rubric)
    st.subheader("What it would change")
    st.html(panels.list_panel(seen.text, _crossing(desk, seen)))
    st.html(panels.table(_rows(desk, seen)))
    with st.form(keys.RUBRIC_TAKE):
        why = st.text_input("The reason", key=f"{keys.RUBRIC_TAKE}_why")
        with st.container(horizontal=True):
            take = st.form_submit_button("Take this rubric", type="primary")
            leave = st.form_submit_button("Leave it as it is")
    if take:

        def change() -> None:
            desk.book.change_rubric(work.id, rubric, desk.who, why)
            st.session_state.pop(keys.RUBRIC_NEXT, None)

        attempt(change, "The rubric is taken, and each change is in the log.")
    if leave:
        st.session_state.pop(keys.RUBRIC_NEXT, None)
        st.rerun()


def _names(desk: Desk) -> dict[int, str]:
    return {mark.id: desk.called(mark) for mark in desk.marks}


def _crossing(desk: Desk, seen: Preview) -> list[str]:
    names = _names(desk)
    return [
        f"{names[one.grading_id]} would {'pass' if one.passed_after else 'no longer pass'}"
        for one in seen.crossing
    ]


def _rows(desk: Desk, seen: Preview) -> list[dict[str, str]]:
    names = _names(desk)
    return [
        {
            "tray": names[one.grading_id],
            "now": f"{one.before:.0f}: {one.before_text}",
            "then": f"{one.after:.0f}: {one.after_text}",
            "change": "set by hand, stays" if one.by_hand else f"{one.after - one.before:+.1f}",
        }
        for one in seen.changes
    ]
