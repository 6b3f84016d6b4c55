"""Before there is a class: what it is for, a sample to open, and the form that makes one."""

from __future__ import annotations

from datetime import date, timedelta

import streamlit as st

from cutcheck.classroom.gradebook import Gradebook
from cutcheck.classroom.roster import Roster, read_roster
from cutcheck.errors import CutcheckError
from cutcheck.page import keys, panels
from cutcheck.page.classroom.desk import SampleClass, attempt
from cutcheck.words import count

LEAD = (
    "<p class='cc-lead'>Thirty trays, five minutes, and every mark can be defended: each student has a "
    "numbered card, its number in the photo says whose tray it is, and the marking is yours.</p>"
)
STEPS = (
    "<ol class='cc-ways'><li><b>Once:</b> make the class from a list, print its numbered cards.</li>"
    "<li><b>At the bench:</b> one photo a tray. Within seconds you know whether it can be used, and who is "
    "missing.</li><li><b>Then:</b> marks with their give or take, a second look where it is close, tables, "
    "and a page for who asks.</li></ol>"
)
ROSTER_HELP = (
    "A CSV file from any spreadsheet with a line that says name and number. Semicolons, tabs, French or "
    "German headings and two columns for the name are understood."
)
EXAMPLE = "name,number\nAda Example,1\nBen Example,2\n"
_DAYS = 120


def first_visit() -> None:
    """What a class is for, with a sample that opens at one press."""
    st.html(LEAD + STEPS)
    st.button("Open a sample class", icon=":material/school:", on_click=open_sample)
    st.html(panels.small_print(["The sample is invented: its people, its trays and its pictures."]))


def open_sample() -> None:
    """The sample was asked for."""
    state = st.session_state
    state[keys.CLASS_SAMPLE] = SampleClass()
    for key in (keys.CLASS_ID, keys.CLASS_WORK, keys.CLASS_VIEW, keys.CLASS_WHO):
        state.pop(key, None)


def close_sample() -> None:
    """Back to one's own classes."""
    state = st.session_state
    for key in (keys.CLASS_SAMPLE, keys.CLASS_ID, keys.CLASS_WORK, keys.CLASS_VIEW, keys.CLASS_WHO):
        state.pop(key, None)


def new_class() -> None:
    """The form for a new class; its list of students may also come later."""
    st.subheader("Make a class")
    with st.form(keys.CLASS_FORM):
        name = st.text_input("What is the class called?", key=f"{keys.CLASS_FORM}_name")
        left, right = st.columns(2, vertical_alignment="bottom")
        begins = left.date_input("First day", date.today(), key=f"{keys.CLASS_FORM}_begins")
        ends = right.date_input(
            "Last day",
            date.today() + timedelta(days=_DAYS),
            key=f"{keys.CLASS_FORM}_ends",
            help="Card numbers belong to their students on these days only, and may come back next term.",
        )
        file = st.file_uploader(
            "The list of students (CSV)", type=["csv", "txt", "tsv"], key=keys.CLASS_ROSTER, help=ROSTER_HELP
        )
        who = st.text_input(
            "Your name",
            key=f"{keys.CLASS_FORM}_who",
            help="It stands in the log beside each thing that you decide.",
        )
        pressed = st.form_submit_button("Make the class", type="primary")
    st.download_button(
        "An example of a list (CSV)",
        EXAMPLE,
        file_name="roster.csv",
        mime="text/csv",
        icon=":material/table:",
        on_click="ignore",
    )
    if pressed:
        data = None if file is None else (file.name, file.getvalue())
        attempt(lambda: _make(name, str(begins), str(ends), data, who))


def _make(name: str, begins: str, ends: str, file: tuple[str, bytes] | None, who: str) -> None:
    if not name.strip():
        raise CutcheckError("class", problem="The class has no name yet.", remedy="Write one.")
    # Read before anything is written: a wrong list makes no class.
    roster = Roster(()) if file is None else read_roster(file[1], name=file[0])
    with Gradebook.open() as book:
        course = book.add_class(name, begins, ends)
        try:
            book.add_roster(course.id, roster)
        except CutcheckError:
            book.remove_class(course.id, who or "cutcheck")
            raise
    state = st.session_state
    state[keys.CLASS_NEXT], state[keys.CLASS_WHO] = (course.id, 0), who.strip()
    notes = " ".join(("", *roster.notes))
    state[keys.CLASS_SAID] = f"{course.name} is made, with {count(len(roster.students), 'student')}.{notes}"
