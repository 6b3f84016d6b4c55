"""Check a tray: photos in, the marked tray out."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import Any, get_args

import streamlit as st

from cutcheck import pipeline, words
from cutcheck.errors import CutcheckError
from cutcheck.page import keys, panels
from cutcheck.page.downloads import Files, offer
from cutcheck.page.gate import visitor
from cutcheck.page.keeping import keep_panel
from cutcheck.page.references import ask_for_reference
from cutcheck.page.remember import start
from cutcheck.page.spread import INK, Chart, spread_chart
from cutcheck.page.tray.leaving_out import ask_what_to_leave_out, both_marks
from cutcheck.page.tray.look import Seen
from cutcheck.page.tray.photos import (
    MOST_PHOTOS,
    SAMPLE_CUT,
    Given,
    ask_for_photos,
    ask_the_camera,
    given,
    sample,
)
from cutcheck.page.tray.steps import look_panel, steps_panel
from cutcheck.page.tray.taken import Tray, pixels_of, take
from cutcheck.page.turns import turns
from cutcheck.page.viewer import pick, preview, view, warm_viewer
from cutcheck.photo import read_photo
from cutcheck.records import SIDES, Result, Score, SideName
from cutcheck.reference_table import HOUSE_RULE, sources_of
from cutcheck.same_tray import together
from cutcheck.settings import load_settings
from cutcheck.standards import SHIPPED, Cut, cuts
from cutcheck.table import headline
from cutcheck.units import Unit
from cutcheck.verdict import EXCLUDED, Rules

LEAD = (
    "<p class='cc-lead'>Lay the pieces beside the printed card, take a photo from above at a slight slant, "
    "and see how close the cut is. No card yet? 'Prepare' prints one; the sample shows how it goes.</p>"
)
APART, TOGETHER = "Each a tray of its own", "One tray"


def show() -> None:
    """Draw the place."""
    state = st.session_state
    st.title("Check a tray")
    _take_new()
    # Folded as soon as a photo is there: what is told of it then stands in sight, and stays where it is.
    folded = bool(state.get(keys.TRAYS) or state.get(keys.GIVEN))
    label = "Check another photo" if folded else "Give a photo"
    with st.expander(label, expanded=not folded or bool(state.get(keys.FAULTS))):
        st.html(LEAD)
        reference = _ask_for_photos()
    with st.container():
        _tell_faults(reference)
    cut, unit = _ask_for_cut()
    several, mark = st.container(), st.empty()
    if _measure_new(reference, mark) and (state[keys.FAULTS] or not folded):
        mark.empty()  # at once: were it left to the next run, what is drawn then would jump up
        st.rerun()
    with several:
        tray = _tray_to_show(cut)
    if tray is not None:
        _show_tray(tray, cut, unit, mark)
    elif keys.LAST not in state:
        warm_viewer()
    st.html(panels.caution())


# --- photos in ----------------------------------------------------------------------------------------------


def _take_new() -> None:
    """Line up the photos that were just given, before anything is drawn."""
    state = st.session_state
    known: set[str] = state.setdefault(keys.HANDLED, set())
    new = [one for one in given(state.get(keys.UPLOAD), state.get(keys.CAMERA)) if one.id not in known]
    known.update(one.id for one in new)
    _line_up(new)


def _line_up(new: list[Given]) -> None:
    """These photos are measured next, after those that still wait."""
    state = st.session_state
    if new:
        state[keys.GIVEN] = [*state.get(keys.GIVEN, []), *new]
        state[keys.ROUND], state[keys.FAULTS], state[keys.ALL_FAILED] = len(state[keys.GIVEN]), [], True


def _ask_for_photos() -> str:
    """Ask for photos, which are then in the state. Returns what gives the scale."""
    state = st.session_state
    ask_for_photos()
    st.button("Try it with a sample photo", icon=":material/image:", on_click=_take_sample)
    with st.expander("No printed card, or no phone?"):
        last: Given | None = state.get(keys.LAST)
        pressed_on, spot = state.get(keys.SPOT, (None, None))
        reference = ask_for_reference(spot if last is not None and last.id == pressed_on else None)
        ask_the_camera()
    return reference


def _take_sample() -> None:
    """The sample was pressed: it is measured next, with its cut and the card that lies in it."""
    state = st.session_state
    _line_up([sample()])
    state[keys.CUT], state[keys.REFERENCE] = SAMPLE_CUT, "card"


def _measure_new(reference: str, place: Any) -> bool:
    """Measure what is new, showing the steps in ``place``; whether there was anything. What was shown before
    stays if it fails; what a press interrupts is still in line, and is measured in the run that it starts."""
    state = st.session_state
    last: Given | None = state.get(keys.LAST)
    if not state.get(keys.GIVEN) and last is not None and state.get(keys.LAST_REFERENCE) != reference:
        _line_up([last])  # the same photo, with another thing to give the scale
    line: list[Given] = state.get(keys.GIVEN, [])
    if not line:
        return False
    state[keys.LAST], state[keys.LAST_REFERENCE] = line[-1], reference
    while line:
        photo, number, of = line[0], state[keys.ROUND] - len(line) + 1, state[keys.ROUND]
        title = photo.name if of == 1 else f"Photo {number} of {of}: {photo.name}"
        outcome = _measure(photo, reference, title, place)
        line.pop(0)
        if isinstance(outcome, CutcheckError):
            state[keys.FAULTS].append((photo.name, outcome))
        else:
            trays: dict[str, Tray] = {**state.get(keys.TRAYS, {}), photo.id: outcome}
            state[keys.TRAYS] = dict(list(trays.items())[-MOST_PHOTOS:])
            state[keys.SHOWN], state[keys.PIECE], state[keys.ALL_FAILED] = photo.id, None, False
    return True


def _measure(photo: Given, reference: str, title: str, place: Any) -> Tray | CutcheckError:
    """One photo, when it is its turn."""

    def tell(step: str, seen: tuple[Seen, ...] = ()) -> None:
        place.html(steps_panel(title, step, seen))

    try:
        with turns.turn(visitor(), tell):
            return take(*photo, reference=reference, settings=load_settings(), tell=tell)
    except CutcheckError as error:  # too many wait
        return error


def _tell_faults(reference: str) -> None:
    """What was wrong with the last photos; where it is only which disc is meant, let the user press on it."""
    state = st.session_state
    faults: list[tuple[str, CutcheckError]] = state.get(keys.FAULTS, [])
    for name, error in faults:
        if reference.startswith("disc:") and error.code == "bad-option":
            _, name, data = state[keys.LAST]
            st.html(panels.list_panel("Which is the disc?", [error.message, "Press on it in the photo."]))
            pixels = read_photo(data, name=name).pixels
            size = (pixels.shape[1], pixels.shape[0])
            pick(preview(pixels), size, "Press on the disc", key=keys.PICKER, on_press=_spot_pressed)
        else:
            st.html(panels.fault_panel(error, name))
    if faults and state.get(keys.TRAYS):
        shown = state[keys.TRAYS][state[keys.SHOWN]].name
        said = f"Below is still the tray before it: {shown}."
        st.html(panels.small_print([said if state[keys.ALL_FAILED] else "Below is what could be measured."]))


def _spot_pressed() -> None:
    """The disc was pressed: the photo is measured again with that."""
    state = st.session_state
    x, y = state[keys.PICKER]["point"]
    state[keys.SPOT] = (state[keys.LAST].id, (float(x), float(y)))


# --- which cut, which tray ----------------------------------------------------------------------------------


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
            key=start(keys.STANDARD, settings.standard if settings.standard in SHIPPED else SHIPPED[0]),
            format_func=str.capitalize,
        )
        unit = st.segmented_control("Shown in", get_args(Unit), key=start(keys.UNIT, settings.unit))
    if not name:
        return None, unit or settings.unit
    return pipeline.chosen_cut(name, default=standard or settings.standard), unit or settings.unit


def _tray_to_show(cut: Cut | None) -> Tray | None:
    """The tray that is shown; of several photos, the one that is chosen, or all of them as one."""
    state = st.session_state
    trays: dict[str, Tray] = state.get(keys.TRAYS, {})
    if len(trays) < 2:
        return next(iter(trays.values()), None)
    left, right = st.columns([3, 4], vertical_alignment="bottom")
    how = left.segmented_control(
        f"The {len(trays)} photos are", (APART, TOGETHER), key=start(keys.SAME_TRAY, APART)
    )
    if how == TOGETHER:
        try:
            return _as_one(list(trays.values()))
        except CutcheckError as error:
            st.html(panels.fault_panel(error))
    if state.get(keys.SHOWN) not in trays:
        state[keys.SHOWN] = next(reversed(trays))
    names = {photo_id: f"{n}. {tray.name}" for n, (photo_id, tray) in enumerate(trays.items(), 1)}
    right.selectbox(
        "Shown", list(trays), format_func=names.__getitem__, key=keys.SHOWN, on_change=_forget_piece
    )
    if how != TOGETHER:
        st.html(panels.table([_row(names[photo_id], tray, cut) for photo_id, tray in trays.items()]))
    return trays[state[keys.SHOWN]]


def _forget_piece() -> None:
    st.session_state[keys.PIECE] = None


def _row(name: str, tray: Tray, cut: Cut | None) -> dict[str, str]:
    """One photo of several, in a line."""
    try:
        result = pipeline.mark(tray.measured, cut)
    except CutcheckError as error:
        return {"photo": name, "pieces": "-", "mark": error.message}
    mark = "-" if result.score is None else f"{result.score.mark:.0f}"
    return {"photo": name, "pieces": str(len(result.pieces)), "mark": mark}


def _as_one(trays: list[Tray]) -> Tray:
    """Several photos of one tray: the first with what the others add."""
    first = trays[0]
    pieces = together([tray.measured for tray in trays])
    return replace(
        first, id="+".join(tray.id for tray in trays), measured=replace(first.measured, pieces=pieces)
    )


# --- the marked tray out ------------------------------------------------------------------------------------


def _show_tray(tray: Tray, cut: Cut | None, unit: Unit, place: Any) -> None:
    """All of a tray; its mark stands in ``place``, where the steps of measuring it were."""
    left_out: dict[int, str] = st.session_state.setdefault(keys.LEFT_OUT, {}).get(tray.id, {})
    told = ""
    try:
        whole = result = pipeline.mark(tray.measured, cut, unit=unit)
        if left_out and cut is not None:
            result = pipeline.mark_without(tray.measured, left_out, cut, unit=unit)
    except CutcheckError as error:
        told = panels.fault_panel(error)
        whole = result = pipeline.mark(tray.measured)
    told += panels.small_print([headline(result)])
    if result.score is not None:
        told += panels.mark_panel(result.score)
    elif result.suggested is not None:
        likely = words.cut_title(result.suggested.name)
        told += (
            f"<p class='cc-lead'>It looks most like <b>{likely}</b> "
            f"({words.percent(result.suggested.probability)} likely). Choose a cut to get a mark.</p>"
        )
    place.html(f"<div class='cc-result'>{told}</div>")
    if left_out and cut is not None:
        both_marks(left_out, whole.score, partial(_take_back, tray.id))
    _picture(tray, result, unit)
    # Worked out now, while the browser draws the picture, and drawn after it: the mark is seen sooner.
    charts, files = _spread_charts(result, unit), Files.of(result)
    if result.advice:
        st.html(panels.list_panel("What to do", result.advice))
    _good_to_know(tray, result)
    _spreads(charts, result, unit)
    if result.score is not None and cut is not None:
        _where_from(result.score, cut)
    st.subheader("Keep it")
    keep_panel(tray, result)
    offer(result, files, lambda: pixels_of(tray, load_settings()), unit)


@st.fragment
def _picture(tray: Tray, result: Result, unit: Unit) -> None:
    """The picture with the piece that is pressed. A fragment, so that a press runs only this again."""
    state = st.session_state
    st.html(panels.key(result))
    chosen = state.get(keys.PIECE) or _least_likely(result)
    view(tray.picture, result, unit=unit, chosen=chosen, key=keys.VIEWER, on_press=_pressed)
    if result.cut is not None:
        out = state[keys.LEFT_OUT].get(tray.id, {})
        numbers = [piece.number for piece in result.pieces if piece.number not in out]
        ask_what_to_leave_out(numbers, state.get(keys.PIECE), partial(_leave, tray.id))


def _least_likely(result: Result) -> int | None:
    """The piece to show before one is pressed: the one that is furthest from being on size."""
    marked = [piece for piece in result.pieces if piece.conformity is not None]
    return min(marked, key=lambda piece: piece.conformity or 0.0).number if marked else None


def _pressed() -> None:
    """A piece was pressed in the picture."""
    pressed: Any = st.session_state[keys.VIEWER]
    st.session_state[keys.PIECE] = pressed["piece"]


def _leave(tray_id: str, number: int, reason: str) -> None:
    st.session_state[keys.LEFT_OUT].setdefault(tray_id, {})[number] = reason


def _take_back(tray_id: str, number: int) -> None:
    st.session_state[keys.LEFT_OUT][tray_id].pop(number, None)


def _good_to_know(tray: Tray, result: Result) -> None:
    """What the photo and the cut leave unsure; what a first look saw, with a drawing of how to do better."""
    if result.warnings:
        st.html(panels.list_panel("Good to know", result.warnings))
    poor = [one for one in tray.seen if not one.good]
    with st.expander(
        "How the photo is" + (f": {words.count(len(poor), 'thing')} to do better" if poor else ": good")
    ):
        st.html(look_panel(tray.seen) + "".join(panels.instead(one.code) for one in poor))


def _spread_charts(result: Result, unit: Unit) -> dict[SideName, Chart]:
    """A chart of each side that counts, or of each there is where nothing is marked; none of one not seen."""
    scored = {side.side: side for side in result.score.sides} if result.score else {}
    counted = [piece for piece in result.pieces if EXCLUDED not in piece.flags]
    ink = INK["dark" if st.context.theme.type == "dark" else "light"]
    sides: tuple[SideName, ...] = tuple(scored) or SIDES
    charts = {side: spread_chart(counted, side, scored.get(side), unit, ink) for side in sides}
    return {side: chart for side, chart in charts.items() if chart is not None}


def _spreads(charts: dict[SideName, Chart], result: Result, unit: Unit) -> None:
    st.subheader("How even the sides are")
    band = "The shaded band is what counts as on size; the" if result.score else "The"
    st.html(panels.small_print([f"Each dot is a piece, in {unit}. {band} dashed line is the mean."]))
    scored = {side.side: side for side in result.score.sides} if result.score else {}
    for side, chart in charts.items():
        st.html(panels.spread_title(side, scored.get(side), unit))
        st.altair_chart(chart, width="stretch", key=f"spread-{side}")


def _where_from(score: Score, cut: Cut) -> None:
    """What the mark is made of, whose sizes these are, and what a sample says of a larger heap."""
    with st.expander("Where the mark comes from"):
        st.html(panels.table(panels.mark_parts(score, Rules())))
        notes = [*sources_of(cut), *([HOUSE_RULE] if cut.house_rule else [])]
        if score.sampling is not None:
            notes.append(
                f"The mark is of the {words.count(score.counted, 'piece')} in the photo. Of a larger heap "
                f"from which they were drawn it may be {score.sampling:.0f} off either way."
            )
        st.html(panels.small_print(notes))
