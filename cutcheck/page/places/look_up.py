"""Look up a cut: its sizes, where each figure comes from, how to cut it."""

from __future__ import annotations

from functools import partial

import streamlit as st

from cutcheck import words
from cutcheck.cuts import CLASSES
from cutcheck.drawing_cut import draw_alone, draw_comparison, draw_cut
from cutcheck.drawing_pdf import drawing_pdf
from cutcheck.drawing_wall import draw_wall_chart
from cutcheck.errors import CutcheckError
from cutcheck.finding import like
from cutcheck.page import gallery, keys, panels
from cutcheck.page.remember import start
from cutcheck.reference_table import FAMILIES, HOUSE_RULE, sizes, sources_of, standing
from cutcheck.settings import load_settings
from cutcheck.standards import SHIPPED, Cut, cuts, find_cut
from cutcheck.units import show_range

TILE_SCALE = 2 / 3
PX_PER_MM = 96 / 25.4  # CSS: 96 px to the inch


def show() -> None:
    """Draw the place."""
    st.title("Look up a cut")
    st.html(
        "<p class='cc-lead'>Choose a cut for its sizes, how to cut it, and where each figure comes from.</p>"
    )
    preferred = load_settings().standard
    left, right = st.columns([3, 2], vertical_alignment="bottom")
    known = {cut.name: cut for cut in cuts(None)}
    with right:
        standard = st.segmented_control(
            "Standard",
            SHIPPED,
            format_func=str.capitalize,
            key=start(keys.LOOK_STANDARD, preferred if preferred in SHIPPED else SHIPPED[0]),
        )
    with left:
        name = st.selectbox(
            "Cut",
            list(known),
            index=None,
            placeholder="English or French name",
            format_func=lambda name: words.both_names(known[name].entry),
            key=keys.LOOKED_UP,
        )
    if name is None:
        _by_size(standard or SHIPPED[0])
        _all(tuple(known.values()))
        _wall_chart(standard or SHIPPED[0])
    else:
        _one(find_cut(name, standard or SHIPPED[0], sized=False), known[name])
    st.html(panels.caution())


def _by_size(standard: str) -> None:
    """The cuts that a size fits."""
    size = st.text_input("Or find the cuts of a size", placeholder="3x3x50, or 1/4 in", key=keys.LOOK_SIZE)
    if not size:
        return
    try:
        found = like(size, standard)
    except CutcheckError as error:
        st.html(panels.fault_panel(error))
        return
    fitting = [one for one in found if one.fits]
    if not fitting:
        st.markdown(f"No cut of the {standard} standard has this size. The nearest:")
    rows = [
        {
            "cut": words.both_names(one.cut.entry),
            "size": sizes(one.cut),
            "off by": "fits" if one.fits else f"{one.off_mm:.1f} mm",
        }
        for one in fitting or found
    ]
    st.html(panels.table(rows))


def _wall_chart(standard: str) -> None:
    """The chosen standard as one page for the wall."""
    st.download_button(
        f"The {standard} standard as one A4 page for the wall",
        _chart_pdf(standard),
        file_name=f"cuts-{standard}.pdf",
        mime="application/pdf",
        key=keys.WALL_CHART,
    )


@st.cache_data
def _chart_pdf(standard: str) -> bytes:
    return drawing_pdf(draw_wall_chart(standard))


def _all(every: tuple[Cut, ...]) -> None:
    """All cuts by family, each with a drawing at one scale."""
    for family, title in FAMILIES.items():
        members = [cut for cut in every if cut.entry.family == family]
        if members:
            st.subheader(title)
            tiles = "".join(
                gallery.tile(cut.name, _drawing(cut), words.both_names(cut.entry), sizes(cut))
                for cut in members
            )
            gallery.gallery(tiles, key=f"{keys.TILES}-{family}", on_press=partial(_choose, family))


def _drawing(cut: Cut) -> str:
    """The cut at the scale that all tiles share: two thirds of true size on most screens."""
    svg, wide, high = draw_alone(cut, TILE_SCALE)
    return panels.image(svg, "", "cc-solid", wide * PX_PER_MM, high * PX_PER_MM)


def _choose(family: str) -> None:
    """A tile was pressed: the cut's name goes into the list above."""
    st.session_state[keys.LOOKED_UP] = st.session_state[f"{keys.TILES}-{family}"]["pressed"]


def _one(cut: Cut, fallback: Cut) -> None:
    """One cut. Where the chosen standard has no size for it, another's is shown and named."""
    shown = cut if cut.sizes else fallback
    entry = shown.entry
    names = [name for name in (entry.french, *entry.others) if name and name.lower() != entry.english.lower()]
    st.header(entry.english)
    if names:
        st.html(panels.small_print([", ".join(dict.fromkeys(names))]))
    st.markdown(entry.about)
    if shown.sizes:
        if shown is fallback and shown.standard != cut.asked:
            st.markdown(
                f"The {cut.asked} standard has no size for it; these are the {shown.standard} standard's."
            )
        st.html(panels.image(draw_cut(shown), f"{entry.english}, drawn to scale", "cc-drawing"))
        st.html(panels.table(_sizes(shown)))
        notes = [*sources_of(shown), *([HOUSE_RULE] if shown.house_rule else [])]
        st.html(panels.small_print(notes))
    else:
        st.markdown("No standard gives it a fixed size.")
    both = [by for by in (find_cut(entry.name, one, sized=False) for one in SHIPPED) if by.sizes]
    if len(both) > 1:
        with st.expander("The standards side by side, to one scale"):
            st.html(panels.image(draw_comparison(both), f"{entry.english} by both standards", "cc-drawing"))
    with st.expander("How to cut it", expanded=True):
        st.markdown("\n".join(f"{n}. {text}" for n, (_, text) in enumerate(shown.steps(), 1)))
        if entry.mistakes:
            st.markdown("**Usual mistakes**\n\n" + "\n".join(f"- {text}" for text in entry.mistakes))
    with st.expander("What the sources say"):
        st.html(panels.table(_sources(shown)))
        st.html(
            panels.small_print(["Classes: " + ", ".join(f"{k} {text}" for k, text in CLASSES.items()) + "."])
        )


def _sizes(cut: Cut) -> list[dict[str, str]]:
    return [
        {
            "size": size.key,
            "mm": show_range(*size.printed.mm, "mm"),
            "inches": show_range(*size.printed.mm, "in"),
            "on size (mm)": f"{size.low_mm:.2f} to {size.high_mm:.2f}",
        }
        for size in cut.sizes
    ]


def _sources(cut: Cut) -> list[dict[str, str]]:
    return [
        {"as printed": figure.printed, "source": figure.source.title, "how known": standing(figure)}
        for figure in cut.entry.figures
    ]
