"""Grading blind: who handed a tray in can't be told from what is shown of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from cutcheck.picture import draw, without_cards
from cutcheck.records import Result

Pixels = NDArray[np.uint8]


def blind_name(grading_key: str) -> str:
    """What a tray is called while its student is hidden: ``"Tray 7f3a"``."""
    return f"Tray {grading_key[:4]}"


def blind_result(result: Result, called: str = "tray") -> Result:
    """The result without what names somebody: the file's name, the time, the card's number."""
    photo = replace(result.photo, file=called, taken=None)
    return replace(result, photo=photo, scale=replace(result.scale, numbers=()))


def blind_picture(pixels: Pixels, result: Result, longest_px: int = 2400) -> Pixels:
    """The marked picture, (H, W, 3) uint8 BGR, with every card that was found covered, number and name.

    Only cards in ``result.scale.regions_px`` are covered: a name on a slip of paper beside them is not seen.
    """
    return draw(without_cards(pixels, result), blind_result(result), longest_px)
