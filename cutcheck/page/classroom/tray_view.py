"""One graded tray: its picture, how its mark adds up, and what the instructor may change, with a reason."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from html import escape
from typing import Any

import streamlit as st

from cutcheck.classroom.appeal_page import doubt_lines
from cutcheck.classroom.blind import blind_result
from cutcheck.classroom.grade import Weights
from cutcheck.classroom.gradebook_entries import Grading, Mark
from cutcheck.errors import CutcheckError
from cutcheck.page import keys, panels
from cutcheck.page.amounts import ask_amounts
from cutcheck.page.classroom.desk import Desk, attempt
from cutcheck.page.tray.leaving_out import REASONS
from cutcheck.page.viewer import preview, view
from cutcheck.photo import read_photo
from cutcheck.picture import without_cards
from cutcheck.records import Result
from cutcheck.settings import load_settings
from cutcheck.verdict import EXCLUDED


def show(desk: Desk, mark: Mark) -> None:
    """Draw it."""
    grading = desk.book.grading(mark.id)
    st.html(_mark(desk, mark, grading))
    _picture(desk, grading, mark)
    with st.expander("How the mark adds up, and what is not certain"):
        st.html(panels.table(_parts(grading)))
        st.html(panels.list_panel("What is not certain", doubt_lines(grading)))
    _set_by_hand(desk, mark)
    _exclude(desk, grading)
    _hand_lines(desk, grading)
    with st.expander("What was done with this mark"):
        items = "".join(f"<li>{escape(desk.said(line))}</li>" for line in reversed(grading.log))
        st.html(f"<ul class='cc-log'>{items}</ul>")


def _mark(desk: Desk, mark: Mark, grading: Grading) -> str:
    """The mark in large type with what is open about it, and what was done to it."""
    low, high = mark.sample_low, mark.sample_high
    said = f"Mark {mark.given:.0f} of 100; measuring and the sample leave {low:.0f} to {high:.0f}"
    line = (
        f"<div class='cc-line' role='img' aria-label='{said}'>"
        f"<i style='left:{low:.1f}%;width:{max(high - low, 0.5):.1f}%'></i>"
        f"<b style='left:{mark.given:.1f}%'></b></div>"
        "<div class='cc-ends cc-small' aria-hidden='true'><span>0</span><span>50</span><span>100</span></div>"
    )
    passed = "passed" if mark.passed else "not passed"
    cells = [("school writes", mark.scale_text), ("result", passed), ("pieces counted", str(mark.counted))]
    if mark.set_by_hand:
        cells.append(("first mark", f"{mark.points:.0f}"))
    if mark.excluded:
        cells += [("left out", grading.grade.excluded_text), ("mark with all", f"{mark.points_all:.0f}")]
    parts = "".join(f"<div><dt>{name}</dt><dd>{escape(value)}</dd></div>" for name, value in cells)
    open_ = (
        f"<div class='cc-small'>Measuring leaves {mark.low:.0f} to {mark.high:.0f}, with the sample "
        f"{low:.0f} to {high:.0f}.</div>"
    )
    return (
        f"<h3 class='cc-whose'>{escape(desk.called(mark))}</h3><div class='cc-mark'><div class='cc-figure'>"
        f"{mark.given:.0f}<span>of 100{', by hand' if mark.set_by_hand else ''}</span></div>"
        f"<div class='cc-range'>{line}{open_}</div><dl class='cc-parts'>{parts}</dl></div>"
    )


def _picture(desk: Desk, grading: Grading, mark: Mark) -> None:
    copy = desk.book.photo(grading.id)
    if copy is None:
        st.html(panels.small_print(["The photo was not kept."]))
        return
    assert desk.work is not None
    blind = desk.work.blind
    result = _as_graded(grading)
    try:
        picture = _shown(str(desk.journal), grading.key, grading.sha256, blind, copy.data, grading.result)
    except CutcheckError as error:
        st.html(panels.fault_panel(error))
        return
    _viewer(picture, blind_result(result) if blind else result, mark.id)


@st.fragment
def _viewer(picture: str, result: Result, number: int) -> None:
    st.html(panels.key(result))
    chosen = st.session_state.get(keys.MARK_PIECE)
    unit = load_settings().unit
    view(
        picture,
        result,
        unit=unit,
        chosen=chosen,
        key=f"{keys.MARK_VIEWER}-{number}",
        on_press=_pressed(number),
    )


def _pressed(number: int) -> Any:
    def pressed() -> None:
        told: Any = st.session_state[f"{keys.MARK_VIEWER}-{number}"]
        st.session_state[keys.MARK_PIECE] = told["piece"]

    return pressed


def _as_graded(grading: Grading) -> Result:
    """The result as it is shown: excluded pieces have no verdict, the mark is the rubric's."""
    given, result = grading.grade, grading.result
    pieces = tuple(
        replace(piece, verdict=None, conformity=None, flags=(*piece.flags, EXCLUDED))
        if piece.number in given.excluded
        else piece
        for piece in result.pieces
    )
    score = result.score
    if score is not None:
        score = replace(score, mark=given.points, mark_low=given.low, mark_high=given.high)
    return replace(result, pieces=pieces, score=score)


@st.cache_data(max_entries=8, show_spinner=False)
def _shown(journal: str, key: str, sha256: str, blind: bool, _data: bytes, _result: Result) -> str:
    """The photo as a data address; while grading blind with the cards covered."""
    pixels = read_photo(_data).pixels
    return preview(without_cards(pixels, _result) if blind else pixels)


def _parts(grading: Grading) -> list[dict[str, str]]:
    rows = [
        {
            "part": part.name,
            "points": f"{part.points:.1f}",
            "of": f"{part.of:g}" if part.of else "",
            "": part.note,
        }
        for part in grading.grade.parts
    ]
    return [*rows, {"part": "together", "points": f"{grading.grade.points:.1f}", "of": "100", "": ""}]


# ---- what the instructor may change


def _set_by_hand(desk: Desk, mark: Mark) -> None:
    with st.expander("Set another mark by hand"):
        st.html(panels.small_print(["The first mark stays beside it, and the log says who, when and why."]))
        with st.form(f"{keys.MARK_SET}-{mark.id}", border=False):
            left, right = st.columns([1, 3])
            points = left.number_input(
                "Mark, of 100",
                0.0,
                100.0,
                float(round(mark.given)),
                1.0,
                "%g",
                key=f"{keys.MARK_SET}_points-{mark.id}",
            )
            why = right.text_input("The reason", key=f"{keys.MARK_SET}_why-{mark.id}")
            with st.container(horizontal=True):
                pressed = st.form_submit_button("Set this mark")
                back = st.form_submit_button("Back to the first mark", disabled=not mark.set_by_hand)
        if pressed:
            attempt(lambda: desk.book.override(mark.id, points, who=desk.who, why=why), "The mark is set.")
        if back:
            attempt(
                lambda: desk.book.override(mark.id, None, who=desk.who, why=why), "The first mark counts."
            )


def _exclude(desk: Desk, grading: Grading) -> None:
    out = dict(grading.grade.excluded)
    with st.expander("Exclude a piece" + (f": {grading.grade.excluded_text}" if out else "")):
        for at_piece, because in sorted(out.items()):
            left, right = st.columns([4, 1], vertical_alignment="center")
            left.html(f"<p>Piece {at_piece}: {escape(because)}</p>")
            if right.button(
                "Take back", key=f"{keys.MARK_MORE}_back-{grading.id}-{at_piece}", width="stretch"
            ):
                attempt(partial(_count_again, desk, grading, at_piece))
        numbers = [piece.number for piece in grading.result.pieces if piece.number not in out]
        pressed_on = st.session_state.get(keys.MARK_PIECE)
        at = numbers.index(pressed_on) if pressed_on in numbers else 0
        left, right = st.columns([2, 5], vertical_alignment="bottom")
        chosen = left.selectbox(
            "Which piece", numbers, index=at, key=f"{keys.MARK_MORE}_piece-{grading.id}-{pressed_on}"
        )
        reason = right.selectbox(
            "Why",
            REASONS,
            index=None,
            accept_new_options=True,
            placeholder="Choose, or type",
            key=f"{keys.MARK_MORE}_reason-{grading.id}",
        )
        st.html(panels.small_print(["Only for what says nothing of the cutting. Both marks are shown."]))
        if st.button("Exclude it", key=f"{keys.MARK_MORE}_exclude-{grading.id}"):
            attempt(lambda: _leave_out(desk, grading, out, chosen, reason), "The piece is excluded.")


def _count_again(desk: Desk, grading: Grading, number: int) -> None:
    rest = {n: why for n, why in grading.grade.excluded.items() if n != number}
    desk.book.grade_again(grading.id, who=desk.who, why=f"piece {number} counts again", excluded=rest)


def _leave_out(
    desk: Desk, grading: Grading, out: dict[int, str], number: int | None, why: str | None
) -> None:
    if number is None or not why:
        raise CutcheckError(
            "class", problem="No reason yet.", remedy="Choose a piece and a reason, or type your own."
        )
    told = f"piece {number} excluded: {why}"
    desk.book.grade_again(grading.id, who=desk.who, why=told, excluded={**out, number: why})


def _hand_lines(desk: Desk, grading: Grading) -> None:
    rubric, extras, own = grading.assignment.rubric, grading.extras, f"{keys.MARK_MORE}-{grading.id}"
    title = "Marked by hand, weights, minutes" if rubric.hand_lines else "Weights and minutes"
    with st.expander(title, expanded=bool(grading.grade.not_marked)):
        with st.form(f"{own}-form", border=False):
            given = {
                line.name: st.number_input(
                    f"{panels.plain_label(line.name)}, of {line.points:g}",
                    0.0,
                    line.points,
                    _held(grading.hand_marks.get(line.name), line.points),
                    0.5,
                    "%g",
                    help=panels.plain_label(line.about) or None,
                    key=f"{own}-hand-{line.name}",
                )
                for line in rubric.hand_lines
            }
            weights = ask_amounts(own, extras)
            pressed = st.form_submit_button("Take these")
        if pressed:
            marks = {
                **grading.hand_marks,
                **{name: value for name, value in given.items() if value is not None},
            }
            marks = {name: value for name, value in marks.items() if given.get(name, value) is not None}
            attempt(lambda: _mark_again(desk, grading, marks, weights), "Taken.")


def _mark_again(desk: Desk, grading: Grading, marks: dict[str, float], weights: Weights) -> None:
    told = ", ".join(f"{name} {value:g}" for name, value in marks.items()) or "weights and minutes"
    desk.book.grade_again(grading.id, who=desk.who, why=told, hand_marks=marks, weights=weights)


def _held(value: float | None, most: float) -> float | None:
    return None if value is None else min(float(value), most)
