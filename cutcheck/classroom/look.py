"""How a tray looks, in a few hundred numbers: enough to know it again when it is handed in twice."""

from __future__ import annotations

import base64
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from cutcheck.pipeline import Measured
from cutcheck.same_tray import places_mm, sizes_mm

Floats = NDArray[np.float64]

SIDE = 96  # of the small picture; a photo saved again, smaller and coarser, gives nearly the same one


@dataclass(frozen=True)
class Look:
    """``small``: the photo in grey, (SIDE, SIDE) uint8, its shape given up; ``places`` where the pieces lie
    on the board, (N, 2) mm; ``sizes`` their length and width, (N, 2) mm, 0 where unknown."""

    small: NDArray[np.uint8]
    places: Floats
    sizes: Floats

    def to_json(self) -> dict[str, Any]:
        """For keeping; places to 0.01 mm, sizes to 0.001 mm."""
        return {
            "small": base64.b64encode(self.small.tobytes()).decode(),
            "places": np.round(self.places, 2).tolist(),
            "sizes": np.round(self.sizes, 3).tolist(),
        }

    @classmethod
    def from_json(cls, data: dict[str, Any]) -> Look:
        """What ``to_json`` gave."""
        small = np.frombuffer(base64.b64decode(data["small"]), np.uint8).reshape(SIDE, SIDE)
        return cls(small, *(np.array(data[name], float).reshape(-1, 2) for name in ("places", "sizes")))


def look_of(measured: Measured) -> Look:
    """The look of a photo that was measured."""
    heights = [piece.height.mm for piece in measured.pieces if piece.height.mm is not None]
    usual = float(np.median(heights)) if heights else 0.0
    return Look(small_grey(measured.photo.pixels), places_mm(measured, usual), sizes_mm(measured.pieces))


def small_grey(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """A picture (H, W, 3) BGR as (SIDE, SIDE) grey levels."""
    small = cv2.resize(pixels, (SIDE, SIDE), interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.cvtColor(small, cv2.COLOR_BGR2GRAY), np.uint8)
