"""The picture that can be zoomed and pressed: a small component of our own (``viewer.js``, ``.css``)."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Callable, Iterable, Sequence
from importlib import resources
from typing import Any

import cv2
import numpy as np
import streamlit as st
from numpy.typing import ArrayLike, NDArray

from cutcheck.page import keys
from cutcheck.page.panels import piece_panel, said_of
from cutcheck.picture import covered, title
from cutcheck.records import SIDES, Piece, Result, SideScore
from cutcheck.table import side_words
from cutcheck.units import Unit
from cutcheck.verdict import EXCLUDED

HINT = (
    "<h3>Press a piece</h3><p>Its sides appear here, with how far off each may be. Pinch or press + to zoom; "
    "the arrow keys go from piece to piece.</p>"
)
PREVIEW_PX = 2000  # enough to zoom in on a 2 mm side, and some 400 kB to send


def _file(name: str) -> str:
    return resources.files("cutcheck.page").joinpath(name).read_text("utf-8")


_component = st.components.v2.component(
    "cutcheck.viewer", html=_file("viewer.html"), css=_file("viewer.css"), js=_file("viewer.js")
)


def preview(pixels: NDArray[np.uint8], cover: Iterable[ArrayLike] = ()) -> str:
    """A photo as the page shows it, a JPEG data address: at most ``PREVIEW_PX`` wide or high; ``cover``:
    areas of the photo to paint over, (N, 2) px each."""
    factor, shown = min(1.0, PREVIEW_PX / max(pixels.shape[:2])), pixels
    if factor < 1.0:
        size = (round(pixels.shape[1] * factor), round(pixels.shape[0] * factor))
        shown = np.asarray(cv2.resize(shown, size, interpolation=cv2.INTER_AREA), np.uint8)
    shown = covered(shown, cover, factor)
    _, data = cv2.imencode(".jpg", shown, [cv2.IMWRITE_JPEG_QUALITY, 82])
    return "data:image/jpeg;base64," + b64encode(bytes(data)).decode()


def warm_viewer() -> None:
    """Before there is a photo: let the browser load what the picture takes, unseen."""
    with st.container(key=keys.WARM):
        _component(key=f"{keys.WARM}_viewer", data={"warm": True})


def view(
    picture: str, result: Result, *, unit: Unit, chosen: int | None, key: str, on_press: Callable[[], None]
) -> Any:
    """Show the picture with every piece outlined, and beside it the one that is pressed.

    The panels of all pieces are sent along, so that a press is answered in the browser at once, however busy
    this computer is. ``result_of_call.piece`` is the number that was pressed.
    """
    data = data_of(picture, result, unit, chosen)
    return _component(key=key, data=data, default={"piece": None}, on_piece_change=on_press)


def data_of(picture: str, result: Result, unit: Unit, chosen: int | None) -> dict[str, Any]:
    """What the component is given: the picture, and each piece with its outline, its name and its panel."""
    sides = result.score.sides if result.score else ()
    return {
        "picture": picture,
        "width": result.photo.width_px,
        "height": result.photo.height_px,
        "alt": f"Photo of the tray: {title(result)}",
        "pieces": [_piece(piece, sides, unit) for piece in result.pieces],
        "chosen": chosen,
        "hint": HINT,
    }


def pick(picture: str, size: tuple[int, int], what: str, *, key: str, on_press: Callable[[], None]) -> None:
    """Show a photo, (width, height) px, and let the user press on a thing in it.

    During ``on_press``, ``st.session_state[key]["point"]`` is the place pressed, [x, y] photo px.
    """
    data = {"picture": picture, "width": size[0], "height": size[1], "alt": what, "pieces": [], "pick": what}
    _component(key=key, data=data, default={"point": None}, on_point_change=on_press)


def _piece(piece: Piece, sides: Sequence[SideScore], unit: Unit) -> dict[str, Any]:
    left_out = EXCLUDED in piece.flags
    said = ", ".join(
        f"{side} {side_words(getattr(piece, side), unit)}" for side in SIDES
    )
    return {
        "n": piece.number,
        "verdict": "left" if left_out else piece.verdict or "none",
        # Half a pixel is nothing here, and a third of the bytes.
        "outline": [[round(x), round(y)] for x, y in piece.outline_px],
        "name": f"Piece {piece.number}, {said_of(piece)}",
        "panel": piece_panel(piece, sides, unit),
        "label": f"Piece {piece.number}, {said_of(piece)}: {said}",
    }
