"""A new assignment: what is handed in, by whose sizes, and how it is marked."""

from __future__ import annotations

from datetime import date

import streamlit as st

from cutcheck import words
from cutcheck.classroom.rubric import Rubric, usual_rubric
from cutcheck.classroom.rubric_words import rubric_lines
from cutcheck.errors import CutcheckError
from cutcheck.page import keys, panels
from cutcheck.page.classroom.desk import Desk, attempt
from cutcheck.page.classroom.rubric_form import RubricFields, rubric_file
from cutcheck.pipeline import chosen_cut
from cutcheck.settings import load_settings
from cutcheck.standards import SHIPPED, cuts

USUAL, FORM, FILE = "The usual one", "Fill in a form", "A file (TOML)"


def new_assignment(desk: Desk) -> None:
    """The form; made, it is the one that is open."""
    st.subheader("A new assignment")
    known = {cut.name: cut for cut in cuts(None) if cut.targets}
    name = st.text_input("What is it called?", placeholder="Dice, week 3", key=f"{keys.WORK_FORM}_name")
    left, middle, right = st.columns([4, 3, 3], vertical_alignment="bottom")
    cut = left.selectbox(
        "Which cut",
        list(known),
        format_func=lambda one: words.both_names(known[one].entry),
        key=f"{keys.WORK_FORM}_cut",
    )
    settings = load_settings()
    standard = middle.segmented_control(
        "Standard",
        SHIPPED,
        default=settings.standard if settings.standard in SHIPPED else SHIPPED[0],
        format_func=str.capitalize,
        key=f"{keys.WORK_FORM}_standard",
    )
    day = right.date_input("Day", _day_of(desk), key=f"{keys.WORK_FORM}_day")
    blind = st.toggle(
        "Grade blind: names and card numbers are hidden until you show them", key=f"{keys.WORK_FORM}_blind"
    )
    how = st.segmented_control("Rubric", (USUAL, FORM, FILE), default=USUAL, key=f"{keys.WORK_FORM}_how")
    try:
        rubric: Rubric | None = usual_rubric()
        if how == FILE:
            rubric = rubric_file(f"{keys.RUBRIC_FILE}_new")
        fields = None
        if how == FORM:
            with st.container(border=True):
                fields = RubricFields(usual_rubric(), "new")
        elif rubric is not None:
            st.html(panels.list_panel("How it is marked", rubric_lines(rubric)))
    except CutcheckError as error:
        st.html(panels.fault_panel(error))
        return
    if st.button("Make the assignment", type="primary", key=f"{keys.WORK_FORM}_make"):

        def make() -> None:
            chosen = fields.read() if fields is not None else rubric
            if chosen is None:
                raise CutcheckError(
                    "class", problem="No rubric yet.", remedy="Choose the file, or the usual one."
                )
            if not name.strip():
                raise CutcheckError("class", problem="The assignment has no name yet.", remedy="Write one.")
            sizes = chosen_cut(cut, default=standard or settings.standard)
            work = desk.book.add_assignment(
                desk.overview.school_class.id,
                name,
                cut=cut,
                rubric=chosen,
                day=str(day),
                # named, so that a change of the settings changes no mark later
                standard=sizes.standard if sizes.standard in SHIPPED else settings.standard,
                blind=blind,
            )
            st.session_state[keys.CLASS_NEXT] = (work.class_id, work.id)

        attempt(make, "The assignment is made. Take the photos.")


def _day_of(desk: Desk) -> date:
    """Today, held to the days of the class."""
    course = desk.overview.school_class
    return date.fromisoformat(min(max(date.today().isoformat(), course.begins), course.ends))
