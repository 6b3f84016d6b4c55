"""Reading a photo: the pixels, upright, and what the camera wrote beside them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cutcheck.records import PhotoInfo


@dataclass(frozen=True)
class Photo:
    """A photo, upright. ``pixels`` is (H, W, 3) uint8, BGR, sRGB-coded."""

    pixels: NDArray[np.uint8]
    info: PhotoInfo
    focal_35mm: float | None = None
    camera_name: str | None = None
    maybe_cropped: bool = False
    warnings: tuple[str, ...] = ()
