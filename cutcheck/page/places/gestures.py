"""Look up a gesture (éplucher, monder ...) or a vegetable: how, with what, what is kept, who says so."""

from __future__ import annotations

import streamlit as st

from cutcheck.cuts import STANDINGS
from cutcheck.page import keys, panels
from cutcheck.preparation import Gesture, gestures, gestures_for
from cutcheck.preparation_table import WHERE
from cutcheck.produce import Vegetable, vegetables
from cutcheck.weights import show_weight


def show() -> None:
    """Draw the place."""
    st.title("Gestures and vegetables")
    st.html(
        "<p class='cc-lead'>What comes before the knife: the gestures by their French names, and for each "
        "vegetable which of them apply, what is kept, and what the trimmings are good for.</p>"
    )
    left, right = st.columns(2, vertical_alignment="bottom")
    with left:
        gesture = st.selectbox(
            "Gesture",
            list(gestures()),
            index=None,
            placeholder="French or English name",
            format_func=lambda n: f"{gestures()[n].french} ({gestures()[n].english})",
            key=keys.GESTURE,
        )
    with right:
        produce = st.selectbox(
            "Vegetable",
            sorted(vegetables(), key=lambda n: vegetables()[n].english.casefold()),
            index=None,
            placeholder="English or French name",
            format_func=lambda n: f"{vegetables()[n].english} ({vegetables()[n].french})",
            key=keys.VEGETABLE,
        )
    if gesture is not None:
        _gesture(gestures()[gesture])
    if produce is not None:
        _vegetable(vegetables()[produce])
    if gesture is None and produce is None:
        _list(tuple(gestures().values()))
    st.html(panels.caution())


def _list(chosen: tuple[Gesture, ...]) -> None:
    st.html(
        panels.table(
            [
                {"gesture": g.french, "English": g.english, "what it is": g.about, "where": WHERE[g.where]}
                for g in chosen
            ]
        )
    )


def _gesture(gesture: Gesture) -> None:
    st.header(f"{gesture.french} ({gesture.english})")
    st.markdown(gesture.about)
    st.markdown(f"**Tool:** {gesture.tool}. **Where:** {WHERE[gesture.where]}.")
    st.markdown("\n".join(f"{n}. {step}" for n, step in enumerate(gesture.steps, 1)))
    names = [vegetables()[v].english for v in gesture.produce]
    st.markdown(f"**For:** {', '.join([*names, *gesture.other])}.")
    if gesture.caution:
        st.html(panels.list_panel("Mind", [gesture.caution]))
    said = [{"what it means": s.text, "where it stands": s.standing_in_full} for s in gesture.says]
    st.html(panels.table(said))
    if gesture.differ:
        st.html(panels.small_print([gesture.differ]))


def _vegetable(vegetable: Vegetable) -> None:
    st.header(f"{vegetable.english} ({vegetable.french})")
    if vegetable.allergen:
        text = f"{vegetable.allergen}: one of the fourteen allergens that the European Union lists. Label it."
        st.html(panels.list_panel("Allergen", [text]))
    st.subheader("What is kept")
    st.html(
        panels.table(
            [
                {
                    "state": y.to,
                    "kept": f"{100 * y.kept:.0f} %",
                    "as printed": y.printed,
                    "source": y.source.title,
                    "how known": STANDINGS[y.standing],
                }
                for y in vegetable.yields
            ]
        )
    )
    if vegetable.note:
        st.html(panels.small_print([vegetable.note]))
    if vegetable.sizes:
        st.subheader("One of them")
        sizes = [
            {"size": s.name, "edible": show_weight(s.grams), "as printed": s.printed} for s in vegetable.sizes
        ]
        st.html(panels.table(sizes))
    st.subheader("Trimmings")
    st.html(panels.table([{"part": t.part, "good for": t.use} for t in vegetable.trimmings]))
    st.subheader("Gestures")
    _list(gestures_for(vegetable))
