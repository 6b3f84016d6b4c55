"""What a visitor may do inside the page: at the computer everything, over the network check and look up.

``door`` has let in only who has a key. Here the page asks what that key is good for, and the journal and the
settings ask too, when they are reached: a place that forgot to ask still opens neither.
"""

from __future__ import annotations

import io
from dataclasses import dataclass

import segno
import streamlit as st

from cutcheck.access import Access, guard_with
from cutcheck.errors import CutcheckError
from cutcheck.page import panels

HERE_NAMES = ("localhost", "127.0.0.1", "::1")


@dataclass(frozen=True, slots=True)
class Opening:
    """The page opened to the network: who may do what, the address without and with the key, the cookie."""

    access: Access
    address: str
    scanned: str
    cookie: str


_opening: Opening | None = None


def open_to_network(opening: Opening | None) -> None:
    """Say, before the page starts, that it is reached from the network; None: only from this computer."""
    global _opening
    _opening = opening


def is_here() -> bool:
    """Whether this visitor sits at the computer itself. Who can't be told is on the network."""
    if _opening is None:
        return st.get_option("server.address") in HERE_NAMES
    # The address at the other end, as the socket has it: None where it is this computer, or no longer there;
    # a visitor who is gone has no cookies either.
    peer = st.context.ip_address
    peer = "127.0.0.1" if peer is None else peer
    key = st.context.cookies.to_dict().get(_opening.cookie)
    return _opening.access.standing(key, peer) == "here"


def visitor() -> str | None:
    """The address of a visitor from the network, None at the computer itself."""
    return None if is_here() else st.context.ip_address or "unknown"


def admit() -> None:
    """Stop the page where it was opened to the network without a code; watch over journal and settings."""
    guard_with(_only_here)
    if _opening is None and not is_here():
        title = "This page is open to the whole network, without a code."
        st.html(panels.list_panel(title, ["Stop it, and start it with: cutcheck serve --on-network"]))
        st.stop()


def invite() -> None:
    """At the computer: the address, the code and the squares that let a phone in."""
    if _opening is None or not is_here():
        return
    with st.expander("Let a phone in"):
        left, right = st.columns([2, 3], vertical_alignment="center")
        svg = io.BytesIO()
        squares = segno.make(_opening.scanned, error="m")
        squares.save(svg, kind="svg", border=4, light="#ffffff", xmldecl=False)
        said = "A code of squares that opens this page on a phone in the same network."
        left.html(panels.image(svg.getvalue().decode(), said, "cc-squares"))
        code = _opening.access.keys.code_in_groups
        right.markdown(f"Scan the squares, or open **{_opening.address}** and give the code **{code}**.")
        right.markdown(MEANING)


MEANING = (
    "Who is in the same network and has the code can check photos and look things up here. Journals, classes "
    "and settings stay with this computer. What is sent can be read by others in that network: use your own, "
    "not a public one. It ends when you stop the program; the next start has another code."
)


def _only_here(what: str) -> None:
    if not is_here():
        raise CutcheckError("not-here", what=what)
