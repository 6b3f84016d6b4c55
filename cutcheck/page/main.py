"""The page's frame: its look and its places. Run by ``app.py``, or straight from an installed package."""

from __future__ import annotations

from importlib import resources

import streamlit as st

from cutcheck.page.gate import admit, invite, is_here
from cutcheck.page.look import dress
from cutcheck.page.places import check_tray, gestures, look_up, my_progress, plan, print_card, station

ONLY_HERE = ("progress", "class", "settings")  # url paths that visitors from the network do not see


def show() -> None:
    """Draw the place that the user is at."""
    icon = resources.files("cutcheck.page").joinpath("icon.svg").read_text("utf-8")
    st.set_page_config(page_title="cutcheck", page_icon=icon, layout="centered")
    dress()
    admit()
    places = [
        st.Page(check_tray.show, title="Check a tray", url_path="check", default=True),
        st.Page(my_progress.show, title="My progress", url_path="progress"),
        st.Page(look_up.show, title="Look up a cut", url_path="cuts"),
        st.Page(gestures.show, title="Gestures and vegetables", url_path="gestures"),
        st.Page(plan.show, title="Prep plan", url_path="plan"),
        st.Page(station.show, title="The station", url_path="station"),
        st.Page(print_card.show, title="Print the card", url_path="card"),
    ]
    if not is_here():
        places = [place for place in places if place.url_path not in ONLY_HERE]
    here = st.navigation(places, position="hidden")
    # The framework's own bar hides the places behind an arrow on a phone.
    with st.container(horizontal=True, key="places"):
        for place in places:
            st.page_link(place)
    invite()
    here.run()


if __name__ == "__main__":
    show()
