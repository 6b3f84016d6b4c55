"""The station: where everything stands, drawn for either hand; washing; the usual cautions."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from cutcheck import preparation
from cutcheck.page import keys, panels
from cutcheck.page.remember import start
from cutcheck.preparation import Statement
from cutcheck.preparation_table import VINEGAR
from cutcheck.station_drawing import station_svg

HANDS = ("Right-handed", "Left-handed")


def show() -> None:
    """Draw the place."""
    st.title("The station")
    shown = preparation.station()
    st.html(f"<p class='cc-lead'>{shown.about}</p>")
    hand = st.segmented_control("You are", HANDS, key=start(keys.HAND, HANDS[0])) or HANDS[0]
    left_handed = hand == HANDS[1]
    _drawing(left_handed)
    containers = shown.containers[::-1] if left_handed else shown.containers
    st.html(
        panels.table([{"left to right": c.label, "holds": c.holds, "why there": c.why} for c in containers])
    )
    st.subheader("Tools")
    st.html(_said([replace(p.statement, text=f"{p.label}: {p.statement.text}") for p in shown.places]))
    with st.expander("Washing, and what is said of vinegar"):
        st.html(_said(preparation.washing().advice))
        for kind, title in VINEGAR.items():
            st.markdown(f"**Vinegar. {title}**")
            st.html(_said([s for s in preparation.washing().vinegar if s.kind == kind]))
        st.caption(preparation.washing().defer)
    with st.expander("Cautions"):
        for caution in preparation.cautions():
            st.markdown(f"**{caution.topic.capitalize()}**")
            st.html(_said([caution.statement]))
    st.caption(shown.defer)
    st.html(panels.caution())


def _drawing(left_handed: bool) -> None:
    svg = station_svg(left_handed)
    hand = "left" if left_handed else "right"
    order = "finished, waste, raw" if left_handed else "raw, waste, finished"
    address = "data:image/svg+xml;base64," + b64encode(svg.encode()).decode()
    alt = f"The station of a {hand}-hander from above, left to right {order}, the board in front."
    st.html(f"<img src='{address}' alt='{alt}' style='width:100%;max-width:820px;border-radius:12px'>")
    st.download_button(
        "Download the drawing (SVG)",
        svg,
        file_name=f"station-{hand}-handed.svg",
        mime="image/svg+xml",
        icon=":material/download:",
        on_click="ignore",
    )


def _said(statements: Sequence[Statement]) -> str:
    """Statements as a table: what is said, and where it stands."""
    return panels.table([{"what": s.text, "where it stands": s.standing_in_full} for s in statements])
