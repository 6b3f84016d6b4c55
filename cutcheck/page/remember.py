"""Widgets that start from a value and stay as they were left when another place was open in between."""

from __future__ import annotations

import streamlit as st

from cutcheck.page import keys


def start(key: str, value: object) -> str:
    """The key of a widget, which starts from ``value`` the first time. To be given instead of a default: the
    framework wants either a default or a remembered value."""
    if key not in st.session_state:
        st.session_state[key] = value
    return key


def remember() -> None:
    """What was chosen in a place is forgotten by the framework while another one is drawn, unless it is set
    again."""
    for key in keys.REMEMBERED:
        if key in st.session_state:
            st.session_state[key] = st.session_state[key]
