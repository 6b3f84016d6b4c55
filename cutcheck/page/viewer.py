"""The picture that can be zoomed and pressed: a small component of our own (``viewer.js``, ``.css``)."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Callable
from importlib import resources
from typing import Any

import cv2
import numpy as np
import streamlit as st
from numpy.typing import NDArray

from cutcheck import words
from cutcheck.picture import title
from cutcheck.records import Piece, Result
from cutcheck.table import side_words
from cutcheck.units import Unit

PREVIEW_PX = 2000  # enough to zoom in on a 2 mm side, and some 400 kB to send


def _file(name: str) -> str:
    return resources.files("cutcheck.page").joinpath(name).read_text("utf-8")


_component = st.components.v2.component(
    "cutcheck.viewer", html=_file("viewer.html"), css=_file("viewer.css"), js=_file("viewer.js")
)


def preview(pixels: NDArray[np.uint8]) -> str:
    """A photo as the page shows it, a JPEG data address: at most ``PREVIEW_PX`` wide or high."""
    longest, shown = max(pixels.shape[:2]), pixels
    if longest > PREVIEW_PX:
        factor = PREVIEW_PX / longest
        size = (round(pixels.shape[1] * factor), round(pixels.shape[0] * factor))
        shown = np.asarray(cv2.resize(shown, size, interpolation=cv2.INTER_AREA), np.uint8)
    _, data = cv2.imencode(".jpg", shown, [cv2.IMWRITE_JPEG_QUALITY, 82])
    return "data:image/jpeg;base64," + b64encode(bytes(data)).decode()


def view(
    picture: str, result: Result, *, unit: Unit, chosen: int | None, key: str, on_press: Callable[[], None]
) -> Any:
    """Show the picture with every piece outlined. ``result_of_call.piece`` is the number that was pressed."""
    data = {
        "picture": picture,
        "width": result.photo.width_px,
        "height": result.photo.height_px,
        "alt": f"Photo of the tray: {title(result)}",
        "pieces": [_piece(piece, unit) for piece in result.pieces],
        "chosen": chosen,
    }
    return _component(key=key, data=data, default={"piece": None}, on_piece_change=on_press)


def pick(picture: str, size: tuple[int, int], what: str, *, key: str, on_press: Callable[[], None]) -> None:
    """Show a photo, (width, height) px, and let the user press on a thing in it.

    During ``on_press``, ``st.session_state[key]["point"]`` is the place pressed, [x, y] photo px.
    """
    data = {"picture": picture, "width": size[0], "height": size[1], "alt": what, "pieces": [], "pick": what}
    _component(key=key, data=data, default={"point": None}, on_point_change=on_press)


def _piece(piece: Piece, unit: Unit) -> dict[str, Any]:
    said = ", ".join(
        f"{side} {side_words(getattr(piece, side), unit)}" for side in ("length", "width", "height")
    )
    return {
        "n": piece.number,
        "verdict": piece.verdict or "none",
        # Half a pixel is nothing here, and a third of the bytes.
        "outline": [[round(x), round(y)] for x, y in piece.outline_px],
        "label": f"Piece {piece.number}, {words.VERDICTS[piece.verdict]}: {said}",
    }
