"""Leaving a piece out of the mark, with a reason, and taking it back: in practice the cook may say so.

Both marks are shown, and what was left out goes into the journal with the tray.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import streamlit as st

from cutcheck import words
from cutcheck.page import keys, panels
from cutcheck.records import Score

REASONS = ("torn or crushed", "it was moved or turned over", "its outline is wrong", "not part of this cut")


def ask_what_to_leave_out(
    numbers: Sequence[int], chosen: int | None, leave: Callable[[int, str], None]
) -> None:
    """A piece, a reason, a button. ``chosen`` is the piece that was pressed; ``leave`` is told both."""
    with st.expander("Leave a piece out of the mark"), st.container(key=keys.LEAVE_FORM):
        left, right = st.columns([2, 5], vertical_alignment="bottom")
        at = list(numbers).index(chosen) if chosen in set(numbers) and chosen is not None else 0
        number = left.selectbox("Which piece", list(numbers), index=at, key=f"{keys.LEAVE_PIECE}-{chosen}")
        reason = right.selectbox(
            "Why", REASONS, accept_new_options=True, key=keys.LEAVE_REASON, help="Choose, or type your own."
        )
        st.html(
            "<p class='cc-small'>Only for what says nothing of the cutting: the mark is of all that was cut."
            "</p>"
        )
        if st.button("Leave it out", key=keys.LEAVE_BUTTON, disabled=number is None):
            leave(int(number or 0), str(reason or REASONS[0]))
            st.rerun()


def both_marks(left_out: Mapping[int, str], whole: Score | None, take_back: Callable[[int], None]) -> None:
    """The mark with all pieces, which pieces were left out and why, each with a way back."""
    if whole is not None:
        low, high = f"{whole.mark_low:.0f}", f"{whole.mark_high:.0f}"
        st.html(
            f"<p class='cc-both'>With all {whole.counted} pieces: <b>{whole.mark:.0f}</b> of 100 "
            f"({low} to {high}). Left out of the mark above: {words.count(len(left_out), 'piece')}.</p>"
        )
    with st.container(horizontal=True, key=keys.TAKE_BACK):
        for number, reason in sorted(left_out.items()):
            st.button(
                f"Take back {number} ({panels.plain_label(reason)})",
                key=f"{keys.TAKE_BACK}-{number}",
                on_click=take_back,
                args=(number,),
            )
