"""Tiles that can be pressed, such as the cuts with their drawings: a small component of our own."""

from __future__ import annotations

from collections.abc import Callable
from html import escape

import streamlit as st

_JS = """
export default function (component) {
  const { data, parentElement, setTriggerValue } = component;
  const home = parentElement.querySelector(".cc-gallery");
  if (home.dataset.shown !== data) {
    home.innerHTML = data;
    home.dataset.shown = data;
  }
  home.onclick = (event) => {
    const tile = event.target.closest("[data-press]");
    if (tile) setTriggerValue("pressed", tile.dataset.press);
  };
}
"""

_component = st.components.v2.component(
    "cutcheck.gallery", html="<div class='cc-gallery'></div>", js=_JS, isolate_styles=False
)


def tile(name: str, drawing: str, title: str, text: str) -> str:
    """One tile; ``name`` is what a press on it tells. ``drawing`` is HTML, the rest plain text."""
    return (
        f"<button type='button' data-press='{escape(name)}'>{drawing}<b>{escape(title)}</b>"
        f"<span class='cc-small'>{escape(text)}</span></button>"
    )


def gallery(tiles: str, *, key: str, on_press: Callable[[], None]) -> None:
    """Show tiles. During ``on_press``, ``st.session_state[key]["pressed"]`` is the pressed tile's name."""
    _component(key=key, data=tiles, on_pressed_change=on_press)
