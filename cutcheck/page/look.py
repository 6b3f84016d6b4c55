"""The page's look beyond the theme in ``config.toml``: its own fonts and styles, all local."""

from __future__ import annotations

from base64 import b64encode
from functools import lru_cache
from importlib import resources

import streamlit as st

FONTS = {
    "Atkinson Hyperlegible Next": "atkinson-hyperlegible-next-variable.woff2",
    "Fraunces": "fraunces-variable.woff2",
}


def dress() -> None:
    """Put the fonts and styles on the page."""
    st.html(f"<style>{_styles()}</style>")


@lru_cache(maxsize=1)
def _styles() -> str:
    faces = []
    for family, file in FONTS.items():
        # Inside the page, so that no font is asked of the network and no folder need be served.
        data = b64encode(resources.files("cutcheck.fonts").joinpath(file).read_bytes()).decode()
        faces.append(
            f"@font-face{{font-family:'{family}';font-weight:200 900;font-display:swap;"
            f"src:url(data:font/woff2;base64,{data}) format('woff2')}}"
        )
    return "".join(faces) + resources.files("cutcheck.page").joinpath("page.css").read_text("utf-8")
