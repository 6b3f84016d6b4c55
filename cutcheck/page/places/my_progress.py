"""My progress: what the kept trays of a cook say together, week by week."""

from __future__ import annotations

import streamlit as st

from cutcheck import practice_table, progress_table, words
from cutcheck.control_charts import SOURCES
from cutcheck.errors import CutcheckError
from cutcheck.journal import Cook, Journal, journal_path
from cutcheck.journal.goals import goals_of, set_goal
from cutcheck.page import keys, panels
from cutcheck.page.progress_charts import mark_chart, mean_chart, spread_chart
from cutcheck.page.sample_term import sample_term
from cutcheck.page.spread import INK
from cutcheck.practice import propose, standing
from cutcheck.progress import CutProgress, Progress, progress_of
from cutcheck.settings import load_settings
from cutcheck.units import Unit

LEAD = (
    "<p class='cc-lead'>One tray tells how today went. Steadiness shows only over weeks: keep your trays, "
    "and see what gets better and what is only luck.</p>"
)
FIRST = "Check a tray, choose the cut, and press 'Keep' below the mark."


def show() -> None:
    """Draw the place."""
    st.title("My progress")
    st.html(LEAD)
    try:
        # Nothing is written, not even an empty journal, before something is to be kept.
        journal = Journal.open() if journal_path().exists() else None
        if journal is None or not journal.cooks():
            _show_sample()
        else:
            _show(journal)
    except CutcheckError as error:
        st.html(panels.fault_panel(error))
    st.html(panels.caution())


def _show(journal: Journal) -> None:
    unit = load_settings().unit
    cook = _ask_for_cook(journal)
    if cook is None:
        return
    found = progress_of(journal, cook)
    if not found.cuts:
        st.html(panels.list_panel("No marked tray of this cook is kept yet", [FIRST]))
        return
    names = [progress_table.title(cut) for cut in found.cuts]
    chosen = st.selectbox(
        "Which cut?", range(len(names)), format_func=names.__getitem__, key=keys.PROGRESS_CUT
    )
    _cut(found.cuts[min(chosen or 0, len(names) - 1)], unit)
    _take(found, unit)
    _next(journal, found)


def _show_sample() -> None:
    """What to do first, and how it looks once there are some trays."""
    st.html(panels.list_panel("The journal is empty", [FIRST]))
    if st.toggle("Show the term of an invented cook", key=keys.SAMPLE_TERM):
        _cut(sample_term().cuts[0], load_settings().unit)


def _take(found: Progress, unit: Unit) -> None:
    """The term on paper, drawn only when it is asked for."""

    def pdf() -> bytes:
        from cutcheck.term_sheet import term_pdf  # here: it brings reportlab

        return term_pdf(found, unit=unit)

    st.download_button(
        "All cuts on paper (PDF)",
        pdf,
        file_name="progress.pdf",
        mime="application/pdf",
        icon=":material/print:",
        on_click="ignore",
    )


def _next(journal: Journal, found: Progress) -> None:
    """The next session, and where the goals stand."""
    proposal = propose(found)
    title = f"Next: {practice_table.headline(proposal)}"
    st.html(panels.list_panel(title, [proposal.why, *proposal.watch, practice_table.SAFE]))
    entries = journal.entries(cook=found.cook.number)
    goals = [standing(goal, entries) for goal in goals_of(journal, found.cook)]
    if goals:
        st.html(panels.list_panel("Goals", [practice_table.goal_words(goal) for goal in goals]))
    with st.expander("Set a goal"), st.form(keys.GOAL_FORM, border=False):
        columns = st.columns([3, 2, 2, 2], vertical_alignment="bottom")
        names = list(dict.fromkeys(cut.cut for cut in found.cuts))
        cut = columns[0].selectbox("Cut", names, format_func=words.cut_title, key=keys.GOAL_CUT)
        share = columns[1].number_input("% on size", 1, 100, 80, key=keys.GOAL_SHARE)
        sessions = columns[2].number_input("Sessions", 1, 50, 3, key=keys.GOAL_SESSIONS)
        apart = columns[3].number_input("Days apart", 0, 365, 7, key=keys.GOAL_APART)
        if st.form_submit_button("Set this goal"):
            set_goal(journal, found.cook, cut, share / 100.0, sessions, apart)
            st.rerun()
    st.html(panels.small_print([practice_table.ADVICE]))


def _ask_for_cook(journal: Journal) -> Cook | None:
    cooks = {cook.number: cook for cook in journal.cooks()}
    number = st.selectbox(
        "Who?",
        list(cooks),
        format_func=lambda n: f"{cooks[n].label} ({words.count(cooks[n].checks, 'tray')})",
        placeholder="Nobody yet",
        key=keys.PROGRESS_COOK,
    )
    return cooks.get(number) if number is not None else None


def _cut(cut: CutProgress, unit: Unit) -> None:
    ink = INK["dark" if st.context.theme.type == "dark" else "light"]
    st.html(panels.list_panel("What the trays say", progress_table.sayings(cut, unit)))
    st.subheader("The mark")
    st.html(panels.small_print(["Each dot is a tray; the bar is what measuring leaves open."]))
    st.altair_chart(mark_chart(cut, ink), width="stretch", key="mark-chart")
    for side in cut.sides:
        st.subheader(side.label.capitalize())
        st.html(
            panels.small_print(
                [
                    "First the mean of each tray, over the shaded band that counts as on size; then how far "
                    "the pieces of one tray differ, with the measuring noise taken out. Between the dashed "
                    "lines is what is usual for you."
                ]
            )
        )
        left, right = st.columns(2)
        with left:
            st.altair_chart(
                mean_chart(side, cut.entries, unit, ink), width="stretch", key=f"mean-{side.side}"
            )
        spread = spread_chart(side, cut.entries, unit, ink)
        if spread is not None:
            with right:
                st.altair_chart(spread, width="stretch", key=f"spread-of-{side.side}")
    if lines := progress_table.pace(cut):
        st.html(panels.list_panel("Pace and waste", lines))
    with st.expander("Details"):
        st.markdown(
            "The dashed limits lie three standard deviations either side of the centre; they come from the "
            "differences between one tray and the next (individuals and moving range), since the pieces of "
            f"one tray share slabs. A diamond marks a run by the rules of {SOURCES['western-electric']}. "
            "Trends: Theil-Sen slope with its interval at 95 %, Mann-Kendall test."
        )
        st.markdown("\n".join(f"- {line}" for line in progress_table.capability_lines(cut)))
        st.html(panels.table(progress_table.tray_rows(cut)))
