"""Check a tray: a photo in, the marked tray out."""

from __future__ import annotations

import logging
from importlib import resources
from typing import Any, get_args

import streamlit as st

from cutcheck import pipeline, words
from cutcheck.errors import CutcheckError
from cutcheck.page import keys, panels
from cutcheck.page.downloads import offer
from cutcheck.page.spread import INK, spread_chart
from cutcheck.page.viewer import preview, view
from cutcheck.pipeline import Measured
from cutcheck.records import Result, SideName
from cutcheck.settings import load_settings
from cutcheck.standards import SHIPPED, Cut, cuts
from cutcheck.table import SIDES, headline
from cutcheck.units import Unit

LOG = logging.getLogger(__name__)
PHOTO_TYPES = ["jpg", "jpeg", "png", "webp", "tif", "tiff", "heic", "heif"]
SAMPLE = "sample-tray.jpg"
SAMPLE_CUT = "macedoine"
LEAD = (
    "<p class='cc-lead'>Lay the pieces beside the printed card, take a photo from above at a slight slant, "
    "and see how close the cut is.</p>"
)


def show() -> None:
    """Draw the place."""
    state = st.session_state
    st.title("Check a tray")
    if keys.TRAY in state:
        with st.expander("Check another photo", expanded=state.get(keys.FAULT) is not None):
            new = _ask_for_photo()
    else:
        st.html(LEAD)
        new = _ask_for_photo()
    if new is not None:
        _measure(*new)
    if state.get(keys.FAULT) is not None:
        st.html(panels.fault_panel(state[keys.FAULT]))
        if keys.TRAY in state:
            st.html(
                panels.small_print(
                    [f"Below is still the tray before it: {state[keys.TRAY].photo.info.file}."]
                )
            )
    cut, unit = _ask_for_cut()
    if keys.TRAY in state:
        _show_tray(state[keys.TRAY], cut, unit)
    st.html(panels.caution())


def _ask_for_photo() -> tuple[str, bytes] | None:
    """The photo to measure now: one that was just given, or the sample."""
    state = st.session_state
    file = st.file_uploader("Take or choose a photo of the tray", type=PHOTO_TYPES, key=keys.UPLOAD)
    if st.button("Try it with a sample photo", icon=":material/image:"):
        state[keys.CUT] = SAMPLE_CUT
        return SAMPLE, resources.files("cutcheck.page").joinpath("sample", SAMPLE).read_bytes()
    if file is not None and file.file_id != state.get(keys.HANDLED):
        state[keys.HANDLED] = file.file_id
        return file.name, file.getvalue()
    return None


def _measure(name: str, data: bytes) -> None:
    """Measure a photo, showing the steps. What was shown before stays if it fails."""
    state = st.session_state
    state[keys.FAULT] = None
    with st.status("Measuring", expanded=True):
        try:
            measured = pipeline.measure_photo(data, name=name, settings=load_settings(), on_step=st.write)
        except CutcheckError as error:
            state[keys.FAULT] = error
        except Exception as error:
            # Whatever it was, the user reads a sentence and keeps the tray before it.
            LOG.exception("measuring %s", name)
            state[keys.FAULT] = CutcheckError("internal", what=type(error).__name__)
        else:
            state[keys.TRAY] = measured
            state[keys.PIECE] = None
    st.rerun()


def _ask_for_cut() -> tuple[Cut | None, Unit]:
    """The cut to compare with, None for none, and the unit to show."""
    settings = load_settings()
    known = {cut.name: cut for cut in cuts(None) if cut.targets}
    left, right = st.columns([4, 3], vertical_alignment="bottom")
    name = left.selectbox(
        "Which cut is it meant to be?",
        ["", *known],
        format_func=lambda name: _cut_label(known.get(name)),
        key=keys.CUT,
    )
    with right, st.container(horizontal=True):
        standard = st.segmented_control(
            "Standard",
            SHIPPED,
            default=_default(settings.standard),
            key=keys.STANDARD,
            format_func=str.capitalize,
        )
        unit = st.segmented_control("Shown in", get_args(Unit), default=settings.unit, key=keys.UNIT)
    if not name:
        return None, unit or settings.unit
    return pipeline.chosen_cut(name, default=standard or settings.standard), unit or settings.unit


def _default(standard: str) -> str:
    return standard if standard in SHIPPED else SHIPPED[0]


def _cut_label(cut: Cut | None) -> str:
    if cut is None:
        return "None: only measure"
    french = cut.entry.french
    same = not french or french.lower() == cut.entry.english.lower()
    return cut.entry.english if same else f"{cut.entry.english} ({french})"


def _show_tray(measured: Measured, cut: Cut | None, unit: Unit) -> None:
    try:
        result = pipeline.mark(measured, cut)
    except CutcheckError as error:
        st.html(panels.fault_panel(error))
        result = pipeline.mark(measured)
    st.html(panels.small_print([headline(result)]))
    if result.score is not None:
        st.html(panels.mark_panel(result.score))
    elif result.suggested is not None:
        likely = words.cut_title(result.suggested.name)
        st.html(
            f"<p class='cc-lead'>It looks most like <b>{likely}</b> "
            f"({words.percent(result.suggested.probability)} likely). Choose a cut to get a mark.</p>"
        )
    _picture_and_piece(measured, result, unit)
    if result.warnings:
        st.html(panels.list_panel("Good to know", result.warnings))
    _spreads(result, unit)
    offer(measured, result)


@st.fragment
def _picture_and_piece(measured: Measured, result: Result, unit: Unit) -> None:
    """The picture and, beside it, the chosen piece. A fragment, so that a press redraws only this."""
    state = st.session_state
    numbers = [piece.number for piece in result.pieces]
    left, right = st.columns([3, 2], gap="medium")
    with left:
        st.html(panels.key(result))
        view(
            _preview(measured, result),
            result,
            unit=unit,
            chosen=state.get(keys.PIECE),
            key=keys.VIEWER,
            on_press=_pressed,
        )
    with right:
        st.selectbox(
            "Piece", numbers, index=None, placeholder="Press one, or choose its number", key=keys.PIECE
        )
        chosen = state.get(keys.PIECE)
        sides = result.score.sides if result.score else ()
        if chosen in numbers:
            st.html(panels.piece_panel(result.pieces[numbers.index(chosen)], sides, unit))
        if result.advice:
            st.html(panels.list_panel("What to do", result.advice))


def _pressed() -> None:
    """A piece was pressed in the picture: the list shows the same one."""
    pressed: Any = st.session_state[keys.VIEWER]
    st.session_state[keys.PIECE] = pressed["piece"]


def _preview(measured: Measured, result: Result) -> str:
    """The photo for the picture, made once for each photo."""
    state, sha = st.session_state, measured.photo.info.sha256
    if state.get(keys.PREVIEW, ("", ""))[0] != sha:
        state[keys.PREVIEW] = (sha, preview(measured.photo.pixels, result))
    return str(state[keys.PREVIEW][1])


def _spreads(result: Result, unit: Unit) -> None:
    st.subheader("How even the sides are")
    band = "The green band is what counts as on size; the" if result.score else "The"
    st.html(panels.small_print([f"Each dot is a piece, in {unit}. {band} dashed line is the mean."]))
    scored = {side.side: side for side in result.score.sides} if result.score else {}
    shown: tuple[SideName, ...] = tuple(scored) or SIDES
    ink = INK["dark" if st.context.theme.type == "dark" else "light"]
    for side in shown:
        chart = spread_chart(result.pieces, side, scored.get(side), unit, ink)
        if chart is not None:
            st.html(panels.spread_title(side, scored.get(side), unit))
            st.altair_chart(chart, width="stretch", key=f"spread-{side}")
