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
from cutcheck.page.gate import visitor
from cutcheck.page.keeping import keep_panel, same_photo
from cutcheck.page.references import ask_for_reference
from cutcheck.page.spread import INK, spread_chart
from cutcheck.page.turns import turns
from cutcheck.page.viewer import pick, preview, view
from cutcheck.photo import read_photo
from cutcheck.picture import masked
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
            reference = _ask_for_photo()
    else:
        st.html(LEAD)
        reference = _ask_for_photo()
    _measure_if_new(reference)
    if state.get(keys.FAULT) is not None:
        _tell_fault(state[keys.FAULT], reference)
    cut, unit = _ask_for_cut()
    if keys.TRAY in state:
        _show_tray(state[keys.TRAY], cut, unit)
    st.html(panels.caution())


def _ask_for_photo() -> str:
    """Ask for a photo, which is then in the state, and for what gives the scale, which is returned."""
    state = st.session_state
    file = st.file_uploader(
        "Take or choose a photo of the tray", type=PHOTO_TYPES, key=keys.UPLOAD, on_change=_forget_photo
    )
    if file is not None and keys.PHOTO not in state:
        state[keys.PHOTO] = (file.file_id, file.name, file.getvalue())
    st.button("Try it with a sample photo", icon=":material/image:", on_click=_take_sample)
    with st.expander("No printed card?"):
        photo, (pressed_on, spot) = state.get(keys.PHOTO), state.get(keys.SPOT, (None, None))
        return ask_for_reference(spot if photo and photo[0] == pressed_on else None)


def _forget_photo() -> None:
    """The upload changed: what was given before it no longer counts."""
    st.session_state.pop(keys.PHOTO, None)


def _take_sample() -> None:
    """The sample was pressed: it is the photo now, with its cut and the card that lies in it."""
    data = resources.files("cutcheck.page").joinpath("sample", SAMPLE).read_bytes()
    st.session_state[keys.PHOTO] = (SAMPLE, SAMPLE, data)
    st.session_state[keys.CUT] = SAMPLE_CUT
    st.session_state[keys.REFERENCE] = "card"


def _measure_if_new(reference: str) -> None:
    """Measure the photo, showing the steps. What was shown before stays if it fails."""
    state = st.session_state
    if keys.PHOTO not in state or state.get(keys.HANDLED) == (state[keys.PHOTO][0], reference):
        return
    photo_id, name, data = state[keys.PHOTO]
    state[keys.HANDLED], state[keys.FAULT] = (photo_id, reference), None
    steps = st.empty()
    with steps.status("Measuring", expanded=True):
        try:
            with turns.turn(visitor(), st.write):
                measured = pipeline.measure_photo(
                    data, name=name, reference=reference, settings=load_settings(), on_step=st.write
                )
        except CutcheckError as error:
            state[keys.FAULT] = error
        except Exception as error:
            # Whatever it was, the user reads a sentence and keeps the tray before it.
            LOG.exception("measuring %s", name)
            state[keys.FAULT] = CutcheckError("internal", what=type(error).__name__)
        else:
            state[keys.TRAY], state[keys.PIECE] = measured, None
    steps.empty()  # at once: were it left to the next run, what is drawn then would jump up
    st.rerun()


def _tell_fault(error: CutcheckError, reference: str) -> None:
    """What was wrong with the last photo; where it is only which disc is meant, let the user press on it."""
    state = st.session_state
    if reference.startswith("disc:") and error.code == "bad-option":
        _, name, data = state[keys.PHOTO]
        st.html(panels.list_panel("Which is the disc?", [error.message, "Press on it in the photo."]))
        pixels = read_photo(data, name=name).pixels
        size = (pixels.shape[1], pixels.shape[0])
        pick(preview(pixels), size, "Press on the disc", key=keys.PICKER, on_press=_spot_pressed)
    else:
        st.html(panels.fault_panel(error))
    if keys.TRAY in state:
        st.html(
            panels.small_print([f"Below is still the tray before it: {state[keys.TRAY].photo.info.file}."])
        )


def _spot_pressed() -> None:
    """The disc was pressed: the photo is measured again with that."""
    state = st.session_state
    x, y = state[keys.PICKER]["point"]
    state[keys.SPOT] = (state[keys.PHOTO][0], (float(x), float(y)))


def _ask_for_cut() -> tuple[Cut | None, Unit]:
    """The cut to compare with, None for none, and the unit to show."""
    settings = load_settings()
    known = {cut.name: cut for cut in cuts(None) if cut.targets}
    left, right = st.columns([4, 3], vertical_alignment="bottom")
    name = left.selectbox(
        "Which cut is it meant to be?",
        ["", *known],
        format_func=lambda name: words.both_names(known[name].entry) if name else "None: only measure",
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


def _show_tray(measured: Measured, cut: Cut | None, unit: Unit) -> None:
    try:
        result = pipeline.mark(measured, cut, unit=unit)
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
    photo = same_photo(st.session_state.get(keys.PHOTO), measured)
    reference = st.session_state[keys.HANDLED][1] if photo is not None else "card"
    keep_panel(measured, result, reference=reference, photo=photo)
    _picture_and_piece(measured, result, unit)
    if result.warnings:
        st.html(panels.list_panel("Good to know", result.warnings))
    _spreads(result, unit)
    offer(measured, result, unit)


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
        state[keys.PREVIEW] = (sha, preview(masked(measured.photo.pixels, result)))
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
