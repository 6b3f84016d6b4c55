"""What is on the instructor's desk: which gradebook, class and assignment are open, and who is grading."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from html import escape
from pathlib import Path

import streamlit as st

from cutcheck.classroom.blind import blind_name
from cutcheck.classroom.gradebook import Gradebook
from cutcheck.classroom.gradebook_entries import Assignment, LogLine, Mark, Member, Overview
from cutcheck.classroom.sample_class import make_sample
from cutcheck.errors import CutcheckError
from cutcheck.page import keys, panels


@dataclass(frozen=True)
class Desk:
    """An open class. ``work`` is the assignment, None where there is none yet; ``who`` may be empty."""

    book: Gradebook
    journal: Path
    overview: Overview
    work: Assignment | None
    who: str

    @property
    def members(self) -> tuple[Member, ...]:
        """Who had a card number on the assignment's day."""
        day = self.work.day if self.work else self.overview.school_class.begins
        return tuple(one for one in self.overview.members if one.begins <= day <= one.ends)

    @property
    def marks(self) -> tuple[Mark, ...]:
        """The assignment's marks, by card number; while grading blind in an order that tells nothing."""
        if self.work is None:
            return ()
        mine = [one for one in self.overview.marks.values() if one.assignment_id == self.work.id]
        if self.work.blind:
            return tuple(sorted(mine, key=lambda one: one.key))
        at = {member.student.id: k for k, member in enumerate(self.overview.members)}
        return tuple(sorted(mine, key=lambda one: at.get(one.student_id, -1)))

    def called(self, mark: Mark) -> str:
        """The student's name, or the tray's while grading blind."""
        if self.work is not None and self.work.blind:
            return blind_name(mark.key)
        return next((m.student.name for m in self.overview.members if m.student.id == mark.student_id), "?")

    def said(self, line: LogLine) -> str:
        """A line of the log without a name where its tray is graded blind."""
        if not line.student or not any(one.blind for one in self.overview.assignments):
            return line.text
        shown = {
            mark.key
            for mark in self.overview.marks.values()
            if not next(one for one in self.overview.assignments if one.id == mark.assignment_id).blind
        }
        if line.grading_key is None or line.grading_key in shown:
            return line.text
        return line.text.replace(line.student, blind_name(line.grading_key))


class SampleClass:
    """The sample class's gradebook, in a folder that goes with it."""

    def __init__(self) -> None:
        self._folder = tempfile.TemporaryDirectory(prefix="cutcheck-sample-")
        self.journal = Path(self._folder.name) / "sample.sqlite"
        self.journal.write_bytes(_sample())


@st.cache_data(max_entries=1, show_spinner=False)
def _sample() -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sample.sqlite"
        make_sample(path)
        return path.read_bytes()


def attempt(what: Callable[[], object], said: str = "") -> None:
    """Do what was pressed, then draw anew with what was ``said``; an error is told where the button is."""
    try:
        what()
    except CutcheckError as error:
        st.html(panels.fault_panel(error))
        return
    if said:
        st.session_state[keys.CLASS_SAID] = said
    st.rerun()


def tell_what_was_done() -> None:
    """What the last press did, once."""
    said, place = (
        st.session_state.pop(keys.CLASS_SAID, ""),
        st.empty(),
    )  # a place of its own: what follows stays
    if said:
        place.html(f"<p class='cc-done-note' role='status'>{escape(said)}</p>")
