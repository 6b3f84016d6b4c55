"""The students of a class and their card numbers: the list, the cards to print, and changes."""

from __future__ import annotations

from datetime import date
from typing import get_args

import streamlit as st

from cutcheck.card_sheet import PaperName, draw_cards
from cutcheck.classroom.roster import read_roster
from cutcheck.errors import CutcheckError
from cutcheck.page import keys, panels
from cutcheck.page.classroom.desk import Desk, attempt
from cutcheck.page.classroom.first import ROSTER_HELP
from cutcheck.page.places.print_card import PAPER_NAMES
from cutcheck.sheet_files import to_pdf
from cutcheck.words import count


def show(desk: Desk) -> None:
    """Draw it."""
    people = desk.overview.members
    if people and not desk.overview.assignments:
        st.html(panels.small_print(["Next: print the cards, then make the first assignment 'At the bench'."]))
    if people:
        st.html(
            panels.table(
                [
                    {
                        "card": str(one.number),
                        "student": one.student.name,
                        "from": one.begins,
                        "to": one.ends,
                    }
                    for one in people
                ]
            )
        )
        _cards(desk)
    else:
        st.html(panels.list_panel("Nobody is in this class yet", ["Add the list of students below."]))
    _add_list(desk)
    _add_one(desk)
    if people:
        _leave(desk)
    _remove_class(desk)


def _cards(desk: Desk) -> None:
    """The numbered cards, front and back, as one PDF."""
    st.subheader("Print the cards")
    st.html(
        panels.small_print(
            ["Print at 100 %, on both sides, turned over the long edge: names are on the backs, where no "
             "photo sees them. Check the print with a ruler ('Prepare')."]
        )
    )  # fmt: skip
    names = {one.number: one.student.name for one in desk.overview.members}
    with st.container(horizontal=True, vertical_alignment="bottom"):
        paper = st.segmented_control(
            "Paper",
            get_args(PaperName),
            default="a4",
            format_func=PAPER_NAMES.__getitem__,
            key=f"{keys.CLASS_CARDS}_paper",
        )
        st.download_button(
            f"{count(len(names), 'card')} with names on the backs (PDF)",
            lambda: to_pdf(draw_cards(sorted(names), paper=paper or "a4", names=names)),
            file_name="cards.pdf",
            mime="application/pdf",
            icon=":material/print:",
            on_click="ignore",
        )


def _add_list(desk: Desk) -> None:
    with (
        st.expander("Add a list of students", expanded=not desk.overview.members),
        st.form(f"{keys.CLASS_PEOPLE}_list", border=False),
    ):
        file = st.file_uploader(
            "The list (CSV)", type=["csv", "txt", "tsv"], key=f"{keys.CLASS_PEOPLE}_file", help=ROSTER_HELP
        )
        pressed = st.form_submit_button("Add them")
    if pressed:

        def add() -> None:
            if file is None:
                raise CutcheckError("class", problem="No list yet.", remedy="Choose the CSV file.")
            roster = read_roster(file.getvalue(), name=file.name)
            desk.book.add_roster(desk.overview.school_class.id, roster)
            added = f"{count(len(roster.students), 'student')} added."
            st.session_state[keys.CLASS_SAID] = " ".join((added, *roster.notes))

        attempt(add)


def _add_one(desk: Desk) -> None:
    course = desk.overview.school_class
    with st.expander("Add one student, or give another card"):
        known = {f"{one.student.name} (card {one.number})": one.student for one in desk.overview.members}
        with st.form(f"{keys.CLASS_PEOPLE}_one", border=False):
            name = st.selectbox(
                "Student",
                list(known),
                index=None,
                accept_new_options=True,
                placeholder="Type a new name, or choose",
                key=f"{keys.CLASS_PEOPLE}_name",
            )
            left, middle, right = st.columns(3)
            number = left.number_input("Card", 1, 499, step=1, value=None, key=f"{keys.CLASS_PEOPLE}_number")
            begins = middle.date_input(
                "From", date.fromisoformat(course.begins), key=f"{keys.CLASS_PEOPLE}_begins"
            )
            ends = right.date_input("To", date.fromisoformat(course.ends), key=f"{keys.CLASS_PEOPLE}_ends")
            pressed = st.form_submit_button("Give this card")
    if pressed:

        def add() -> None:
            if not name or number is None:
                raise CutcheckError(
                    "class", problem="A name and a card number are needed.", remedy="Give both."
                )
            desk.book.add_student(
                course.id, name, int(number), begins=str(begins), ends=str(ends), student=known.get(name)
            )

        attempt(add, "Done: see the list.")


def _leave(desk: Desk) -> None:
    with st.expander("A lost card, or somebody who leaves"):
        by_id = {one.id: one for one in desk.overview.members}
        chosen = st.selectbox(
            "Whose card",
            list(by_id),
            format_func=lambda one: f"{by_id[one].number}: {by_id[one].student.name}",
            key=f"{keys.CLASS_PEOPLE}_whose",
        )
        member = by_id[chosen]
        with st.form(f"{keys.CLASS_PEOPLE}_end", border=False):
            last = st.date_input(
                "The card's last day",
                date.fromisoformat(member.ends),
                key=f"{keys.CLASS_PEOPLE}_last-{member.id}",
            )
            ended = st.form_submit_button("End this card")
        if ended:
            attempt(lambda: desk.book.end_number(member.id, str(last)), "Done: see the list.")
        st.html(
            panels.small_print(
                ["Removing somebody takes all their graded work away for good. The log keeps its lines, "
                 "without the name."]
            )
        )  # fmt: skip
        sure = st.checkbox(
            "Yes, remove this person and all graded work", key=f"{keys.CLASS_PEOPLE}_sure-{chosen}"
        )
        if st.button("Remove", disabled=not sure, key=f"{keys.CLASS_PEOPLE}_remove"):

            def remove() -> None:
                desk.book.remove_student(member.student.id, desk.who)
                st.session_state.pop(keys.CLASS_TIDY, None)  # what the bench knows of them goes, too

            attempt(remove, "Removed.")


def _remove_class(desk: Desk) -> None:
    with st.expander("Remove this class"):
        st.html(
            panels.small_print(["All its assignments and graded work go for good; the log's lines stay."])
        )
        sure = st.checkbox("Yes, remove the whole class", key=f"{keys.CLASS_PEOPLE}_class_sure")
        if st.button("Remove the class", disabled=not sure, key=f"{keys.CLASS_PEOPLE}_class"):

            def remove() -> None:
                desk.book.remove_class(desk.overview.school_class.id, desk.who)
                st.session_state[keys.CLASS_NEXT] = (None, None)
                st.session_state.pop(keys.CLASS_TIDY, None)

            attempt(remove, "The class is removed.")
