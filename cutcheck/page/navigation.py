"""The places in the order of a cook's day, and the two rows of links that lead to them.

A new place is one line in ``PLACES``. The framework's own bar hides the places behind an arrow on a phone, so
the links are ours: one for each place, and below them one for each part of the place that has several.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import streamlit as st
from streamlit.navigation.page import StreamlitPage

from cutcheck.page.places import (
    check_tray,
    gestures,
    look_up,
    my_class,
    my_progress,
    plan,
    print_card,
    settings,
    station,
)
from cutcheck.page.remember import remember


@dataclass(frozen=True, slots=True)
class Part:
    """One page: its name, its address and what draws it."""

    title: str
    path: str
    show: Callable[[], None]


@dataclass(frozen=True, slots=True)
class Place:
    """A place of one or several parts. ``only_here``: visitors from the network do not see it."""

    title: str
    parts: tuple[Part, ...]
    only_here: bool = False


PLACES = (
    Place(
        "Prepare",
        (
            Part("Print the card", "card", print_card.show),
            Part("The station", "station", station.show),
            Part("Prep plan", "plan", plan.show),
        ),
    ),
    Place(
        "Look up",
        (
            Part("Cuts", "cuts", look_up.show),
            Part("Gestures and vegetables", "gestures", gestures.show),
        ),
    ),
    Place("Check a tray", (Part("Check a tray", "check", check_tray.show),)),
    Place("My progress", (Part("My progress", "progress", my_progress.show),), only_here=True),
    Place("My class", (Part("My class", "class", my_class.show),), only_here=True),
    Place("Settings", (Part("Settings", "settings", settings.show),), only_here=True),
)
FIRST = "check"  # where the page opens: what most come for, with a sample to press


def navigate(here: bool) -> Callable[[], None]:
    """Draw the links, and give what draws the place that is open. ``here``: at the computer itself."""
    remember()
    places = [place for place in PLACES if here or not place.only_here]
    pages = {
        part.path: st.Page(part.show, title=part.title, url_path=part.path, default=part.path == FIRST)
        for place in places
        for part in place.parts
    }
    chosen = st.navigation(list(pages.values()), position="hidden")
    at = next(path for path, page in pages.items() if page.title == chosen.title)
    with st.container(horizontal=True, key="places"):
        for place in places:
            paths = [part.path for part in place.parts]
            # The link of the place that is open leads to the part that is open, and so is shown as open.
            st.page_link(pages[at if at in paths else paths[0]], label=place.title)
    parts = next(place.parts for place in places if at in [part.path for part in place.parts])
    if len(parts) > 1:
        _parts(parts, pages)
    return chosen.run


def _parts(parts: tuple[Part, ...], pages: dict[str, StreamlitPage]) -> None:
    with st.container(horizontal=True, key="parts"):
        for part in parts:
            st.page_link(pages[part.path], label=part.title)
