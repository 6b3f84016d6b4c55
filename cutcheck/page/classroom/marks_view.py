"""The marks of an assignment: the table, what asks for a second look, trays handed in twice, the log."""

from __future__ import annotations

from html import escape

import streamlit as st

from cutcheck import words
from cutcheck.classroom.gradebook_entries import Mark
from cutcheck.page import keys, panels
from cutcheck.page.classroom import tray_view
from cutcheck.page.classroom.bench_view import bench_at
from cutcheck.page.classroom.desk import Desk, attempt

_LAST_LINES = 200


def show(desk: Desk) -> None:
    """Draw it."""
    assert desk.work is not None
    marks = desk.marks
    if not marks:
        st.html(
            panels.list_panel(
                "No marks yet", ["Take the photos at the bench; marks appear as they are measured."]
            )
        )
        return
    if desk.work.blind:
        _blind(desk)
    _second_looks(desk, marks)
    _twice(desk)
    st.html(panels.table([_row(desk, mark) for mark in marks] + _without(desk)))
    told = (
        "'Leaves open' is what measuring leaves open, 'with the sample' that and the drawing of the sample."
    )
    st.html(panels.small_print([told]))
    st.subheader("One tray")
    ids = {mark.id: mark for mark in marks}
    if st.session_state.get(keys.MARK_SHOWN) not in ids:
        st.session_state[keys.MARK_SHOWN] = (*_close(marks), *marks)[0].id
    chosen = st.selectbox(
        "Whose tray" if not desk.work.blind else "Which tray",
        list(ids),
        format_func=lambda one: f"{desk.called(ids[one])}, mark {ids[one].given:.0f}",
        key=keys.MARK_SHOWN,
        on_change=_forget_piece,
    )
    tray_view.show(desk, ids[chosen])
    _log(desk)


def _forget_piece() -> None:
    st.session_state[keys.MARK_PIECE] = None


def _blind(desk: Desk) -> None:
    assert desk.work is not None
    work = desk.work
    st.html(
        panels.list_panel(
            "You grade blind",
            ["Names and card numbers are hidden here and in every picture; the trays are in no order.",
             "Tables and pages with names can be taken away once names are shown; the log says since when."],
        )
    )  # fmt: skip
    if st.button("Show the names", key=f"{keys.MARK_SET}_reveal"):
        attempt(lambda: desk.book.reveal(work.id, desk.who), "The names are shown from now on.")


def _row(desk: Desk, mark: Mark) -> dict[str, str]:
    notes = ["set by hand"] if mark.set_by_hand else []
    if mark.set_by_hand:
        notes.append(f"first mark {mark.points:.0f}")
    if mark.excluded:
        of = mark.counted + mark.excluded
        notes.append(f"{mark.excluded} of {of} excluded, with all {mark.points_all:.0f}")
    if mark.not_marked:
        notes.append(f"not marked by hand yet: {', '.join(mark.not_marked)}")
    second = mark.second_look and not mark.set_by_hand
    return {
        "student" if desk.work and not desk.work.blind else "tray": desk.called(mark),
        "mark": f"{mark.given:.0f}",
        "leaves open": f"{mark.low:.0f} to {mark.high:.0f}",
        "with the sample": f"{mark.sample_low:.0f} to {mark.sample_high:.0f}",
        "school": mark.scale_text,
        "result": "second look" if second else "passed" if mark.passed else "not passed",
        "notes": "; ".join(notes),
    }


def _without(desk: Desk) -> list[dict[str, str]]:
    """Rows of who has no mark; while grading blind they are only counted."""
    has = {mark.student_id for mark in desk.marks}
    missing = [one.student.name for one in desk.members if one.student.id not in has]
    if desk.work and desk.work.blind:
        missing = [f"{words.count(len(missing), 'student')} without a mark"] if missing else []
    names = ("leaves open", "with the sample", "school", "result", "notes")
    first = "tray" if desk.work and desk.work.blind else "student"
    return [{first: name, "mark": "-", **dict.fromkeys(names, "")} for name in missing]


def _second_looks(desk: Desk, marks: tuple[Mark, ...]) -> None:
    """The marks too close to the pass mark to leave to a measurement, with a way to each."""
    close = _close(marks)
    if not close:
        return
    assert desk.work is not None
    st.subheader(f"For a second look by eye: {len(close)}")
    st.html(
        panels.small_print(
            [f"The pass mark is {desk.work.rubric.pass_mark:g}, and what is open reaches over it. Look at "
             "the picture; set the mark by hand if you see it otherwise."]
        )
    )  # fmt: skip
    for mark in close:
        left, right = st.columns([4, 1], vertical_alignment="center")
        left.html(
            f"<p class='cc-close'><b>{escape(desk.called(mark))}</b>: {mark.given:.0f} "
            f"({mark.sample_low:.0f} to {mark.sample_high:.0f}), reaches the pass mark with a chance of "
            f"{words.chance(mark.pass_probability)}</p>"
        )
        right.button(
            "Look", key=f"{keys.MARK_SHOWN}_{mark.id}", on_click=_look_at, args=(mark.id,), width="stretch"
        )


def _close(marks: tuple[Mark, ...]) -> list[Mark]:
    """The marks for a second look, the most doubtful first."""
    close = [mark for mark in marks if mark.second_look and not mark.set_by_hand]
    return sorted(close, key=lambda mark: abs(mark.pass_probability - 0.5))


def _look_at(grading: int) -> None:
    st.session_state[keys.MARK_SHOWN] = grading
    _forget_piece()


def _twice(desk: Desk) -> None:
    """Trays that look as if they were handed in twice. It changes no mark."""
    bench = bench_at(desk)
    repeats = bench.repeats()
    if not repeats:
        return
    by_grading = {mark.id: desk.called(mark) for mark in desk.marks}
    who = {p.called: by_grading.get(p.kept[0], "-") if p.kept else "not graded" for p in bench.photos()}
    what = {"photo": "the same photo, saved again", "pieces": "the same pieces"}
    lines = [
        f"{one.first} of {who[one.first]} and {one.second} of {who[one.second]}: {what[one.kind]}"
        for one in repeats
    ]
    told = "It changes no mark: look at both. Pieces that were laid out anew are not known again."
    st.html(panels.list_panel("Handed in twice?", [*lines, told]))


def _log(desk: Desk) -> None:
    with st.expander("The log of this class"):
        lines = desk.book.log(desk.overview.school_class.id)
        st.html(panels.small_print(["It can only grow. The newest line comes first."]))
        items = "".join(f"<li>{escape(desk.said(line))}</li>" for line in reversed(lines[-_LAST_LINES:]))
        st.html(f"<ul class='cc-log'>{items}</ul>")
