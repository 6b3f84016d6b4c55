"""What can be taken away: tables, a page for one student, and the class over its term."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable

import streamlit as st

from cutcheck import words
from cutcheck.classroom import class_words
from cutcheck.classroom.class_term import term_of
from cutcheck.classroom.gradebook_tables import assignment_marks, assignment_pieces, class_marks
from cutcheck.classroom.result_files import csv_file, workbook
from cutcheck.page import keys, panels
from cutcheck.page.classroom.desk import Desk
from cutcheck.photo import read_photo
from cutcheck.settings import load_settings

_PDF = "application/pdf"
_XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def show(desk: Desk) -> None:
    """Draw it."""
    if desk.work is None or not desk.marks:
        st.html(panels.list_panel("No marks yet", ["Tables and pages are here once trays are marked."]))
    elif desk.work.blind:
        told = ["Show the names under 'Marks' first: tables and pages have names on them."]
        st.html(panels.list_panel("Still graded blind", told))
    else:
        _tables(desk)
        _appeal(desk)
    _term(desk)


def _tables(desk: Desk) -> None:
    assert desk.work is not None
    work, overview = desk.work, desk.overview
    st.subheader("Tables of this assignment")
    numbers = {one.student.id: one.number for one in desk.members}

    def pieces() -> bytes:
        gradings = [desk.book.grading(mark.id) for mark in desk.marks]
        return workbook([assignment_marks(overview, work), assignment_pieces(gradings, numbers)])

    def marks() -> bytes:
        return csv_file(assignment_marks(overview, work))

    def all_marks() -> bytes:
        return workbook([class_marks(overview)])

    with st.container(horizontal=True):
        _button(desk, "Marks (CSV)", marks, f"{_file(work.name)}.csv", "text/csv")
        _button(desk, "Marks and pieces (XLSX)", pieces, f"{_file(work.name)}.xlsx", _XLSX)
        name = f"{_file(overview.school_class.name)}.xlsx"
        _button(desk, "All assignments (XLSX)", all_marks, name, _XLSX)


def _appeal(desk: Desk) -> None:
    """Pages for one student who asks how the mark came about."""
    st.subheader("For a student who asks")
    st.html(
        panels.small_print(
            ["The picture, every piece, where the doubt comes from, the rubric of that day and how the mark "
             "adds up. Cards are covered in the picture."]
        )
    )  # fmt: skip
    ids = {mark.id: mark for mark in desk.marks}
    with st.container(horizontal=True, vertical_alignment="bottom"):
        chosen = st.selectbox(
            "Whose page",
            list(ids),
            format_func=lambda one: desk.called(ids[one]),
            key=f"{keys.TAKE_AWAY}_whose",
        )
        # The button says whose page it gives: pressed too soon after a choice, it can't be mistaken.
        called = desk.called(ids[chosen])
        _button(desk, f"Page for {called} (PDF)", lambda: _page(desk, chosen), f"{_file(called)}.pdf", _PDF)


def _page(desk: Desk, grading_id: int) -> bytes:
    from cutcheck.classroom.appeal_page import appeal_pdf  # here: it brings reportlab

    copy = desk.book.photo(grading_id)
    pixels = None if copy is None else read_photo(copy.data).pixels
    return appeal_pdf(desk.book.grading(grading_id), pixels, unit=load_settings().unit)


def _term(desk: Desk) -> None:
    term = term_of(desk.overview)
    st.subheader("The class over the term")
    st.html(panels.list_panel(class_words.title(term), class_words.sayings(term)))
    for rows in (class_words.cut_rows(term.cuts), class_words.student_rows(term.students)):
        head, *body = rows
        if body:
            st.html(panels.table([dict(zip(head, row, strict=True)) for row in body]))
    st.html(panels.small_print([class_words.CAUTION]))
    if not any(one.marks for one in term.students):
        return

    def pages() -> bytes:
        from cutcheck.classroom.class_sheet import class_pdf  # here: it brings reportlab

        return class_pdf(term)

    name = _file(desk.overview.school_class.name)
    with st.container(horizontal=True, vertical_alignment="bottom"):
        marked = words.count(sum(bool(one.marks) for one in term.students), "page")
        label = f"The class and {marked} for students (PDF)"
        _button(desk, label, pages, f"{name}.pdf", _PDF)


def _button(desk: Desk, label: str, make: Callable[[], bytes], name: str, kind: str) -> None:
    """A button that gives a file: of what is shown now, made before it can be pressed."""
    state = hashlib.sha256(repr((desk.overview, len(desk.book.log()), load_settings())).encode()).hexdigest()
    data = _made(label, state, make)
    shown = panels.plain_label(label)
    st.download_button(shown, data, file_name=name, mime=kind, icon=":material/download:", on_click="ignore")


@st.cache_data(max_entries=20, ttl=600, show_spinner="Making the pages ...")
def _made(label: str, state: str, _make: Callable[[], bytes]) -> bytes:
    """A file, kept while nothing in the class changes: its pictures take a second to draw."""
    return _make()


def _file(name: str) -> str:
    """A class's or an assignment's name as a file's."""
    return re.sub(r"[^\w-]+", "-", name).strip("-").lower() or "class"
