"""My class: from the list of students to marks that can be defended."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

import streamlit as st

from cutcheck.access import must_be_here
from cutcheck.classroom.bench import tidy_benches
from cutcheck.classroom.gradebook import Gradebook
from cutcheck.classroom.gradebook_entries import Assignment, Overview
from cutcheck.errors import CutcheckError
from cutcheck.journal import journal_path
from cutcheck.journal.database import WHAT
from cutcheck.page import keys, panels
from cutcheck.page.classroom import bench_view, first, marks_view, rubric_view, students, take_away
from cutcheck.page.classroom.assignment import new_assignment
from cutcheck.page.classroom.desk import Desk, SampleClass, tell_what_was_done
from cutcheck.settings import load_settings
from cutcheck.words import count

BENCH, MARKS, RUBRIC, AWAY, STUDENTS = "At the bench", "Marks", "Rubric", "Take away", "Students"
_SHOWN = {
    BENCH: bench_view.show,
    MARKS: marks_view.show,
    RUBRIC: rubric_view.show,
    AWAY: take_away.show,
    STUDENTS: students.show,
}


def show() -> None:
    """Draw the place."""
    st.title("My class")
    try:
        must_be_here(WHAT)
        bench_view.warm()
        _open()
    except CutcheckError as error:
        st.html(panels.fault_panel(error))
    st.html(panels.caution())


def _open() -> None:
    state = st.session_state
    sample: SampleClass | None = state.get(keys.CLASS_SAMPLE)
    if keys.CLASS_NEXT in state:
        state[keys.CLASS_ID], state[keys.CLASS_WORK] = state.pop(keys.CLASS_NEXT)
        state.pop(keys.CLASS_VIEW, None)
        _forget_tray()
    tell_what_was_done()
    journal = sample.journal if sample else journal_path()
    # Nothing is written, not even an empty gradebook, before there is a class.
    if not journal.exists():
        first.first_visit()
        first.new_class()
        return
    with Gradebook.open(journal) as book:
        classes = {one.id: one.name for one in book.classes()}
        if not classes:
            first.first_visit()
            first.new_class()
            return
        if sample:
            _sample_note()
        left, middle, right = st.columns(3, vertical_alignment="bottom")
        with left:
            chosen = _which_class(classes, sample is not None)
        if not chosen:
            first.first_visit()
            first.new_class()
            return
        overview = _tidied(book, journal, chosen)
        with middle:
            work = _which_assignment(overview)
        with right:
            who = _who(book, overview)
        _at(Desk(book, journal, overview, work, who))


def _sample_note() -> None:
    with st.container(horizontal=True, vertical_alignment="center"):
        st.html(
            "<p class='cc-done-note'>An invented class: try what you like. Nothing of it is kept, and none "
            "of its people or trays are real.</p>"
        )
        st.button("Close the sample", on_click=first.close_sample)


def _which_class(classes: dict[int, str], sample: bool) -> int:
    """The class that is open; 0 for a new one."""
    state = st.session_state
    ids = list(classes) if sample else [*classes, 0]
    if state.get(keys.CLASS_ID) not in ids:
        state[keys.CLASS_ID] = ids[0]
    return st.selectbox(
        "Class",
        ids,
        format_func=lambda one: classes.get(one, "A new class"),
        key=keys.CLASS_ID,
        on_change=_forget,
    )


def _which_assignment(overview: Overview) -> Assignment | None:
    """The assignment that is open, the latest at first; None for a new one."""
    state = st.session_state
    known = {one.id: one for one in overview.assignments}
    ids = [*reversed(known), 0]
    if state.get(keys.CLASS_WORK) not in ids:
        state[keys.CLASS_WORK] = ids[0]
    chosen = st.selectbox(
        "Assignment",
        ids,
        format_func=lambda one: f"{known[one].name}, {known[one].day}" if one else "A new assignment",
        key=keys.CLASS_WORK,
        on_change=_forget_tray,
    )
    return known.get(chosen)


def _who(book: Gradebook, overview: Overview) -> str:
    """Who is grading: as typed, at first whoever wrote the log's last line."""
    state = st.session_state
    if not state.get(keys.CLASS_WHO):
        lines = [one.who for one in book.log(overview.school_class.id) if one.who != "cutcheck"]
        state[keys.CLASS_WHO] = lines[-1] if lines else ""
    said = st.text_input(
        "Your name", key=keys.CLASS_WHO, help="It stands in the log beside each thing that you decide."
    )
    return (said or "").strip()


def _at(desk: Desk) -> None:
    """One of the things that are done with a class, the one that is chosen."""
    state = st.session_state
    if not desk.overview.assignments:  # first who is in it, and their cards
        state.setdefault(keys.CLASS_VIEW, STUDENTS)
    if state.get(keys.CLASS_VIEW) not in _SHOWN:
        today = desk.work is not None and desk.work.day == date.today().isoformat()
        state[keys.CLASS_VIEW] = MARKS if desk.marks and not today else BENCH
    chosen = st.segmented_control(
        "What to do", list(_SHOWN), key=keys.CLASS_VIEW, label_visibility="collapsed", required=True
    )
    if desk.work is None and chosen in (BENCH, MARKS, RUBRIC):
        new_assignment(desk)
    else:
        _SHOWN[chosen or BENCH](desk)


def _tidied(book: Gradebook, journal: Path, class_id: int) -> Overview:
    """The class, once what is past its time is gone: looked at when a class is opened."""
    if st.session_state.get(keys.CLASS_TIDY) != (str(journal), class_id):
        st.session_state[keys.CLASS_TIDY] = (str(journal), class_id)
        now, days = datetime.now(UTC), load_settings().graded_days
        gone = book.forget_old(now, days)
        tidy_benches(book, journal, now, days)
        if gone.gradings:
            told = f"{count(gone.gradings, 'graded tray')} went past the time that graded work is kept."
            st.html(panels.small_print([told]))
    return book.overview(class_id)


def _forget() -> None:
    st.session_state.pop(keys.CLASS_WORK, None)
    st.session_state.pop(keys.CLASS_VIEW, None)
    _forget_tray()


def _forget_tray() -> None:
    for key in (keys.MARK_SHOWN, keys.MARK_PIECE, keys.RUBRIC_NEXT, keys.BENCH_LAST):
        st.session_state.pop(key, None)
