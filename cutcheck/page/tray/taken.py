"""From the bytes of a photo to a measured tray that a session can hold: everything but the pixels.

A photo of 12 megapixels takes 36 MB as pixels and some 4 MB as a file. Sessions keep the file, and read it
again when a picture is to be drawn, so that a whole class fits on one computer.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cutcheck import pipeline
from cutcheck.errors import CutcheckError
from cutcheck.located import Located
from cutcheck.page.tray.look import Seen, look
from cutcheck.page.viewer import preview
from cutcheck.photo import Limits, read_photo
from cutcheck.pipeline import Measured
from cutcheck.settings import Settings

LOG = logging.getLogger(__name__)
Tell = Callable[[str, tuple[Seen, ...]], None]


@dataclass(frozen=True)
class Tray:
    """A photo that was measured. ``measured`` has no pixels; ``picture`` is a data address of a small copy;
    ``seen`` is what the first look at the photo said."""

    id: str
    name: str
    data: bytes
    reference: str
    measured: Measured
    picture: str
    seen: tuple[Seen, ...]


def take(
    photo_id: str, name: str, data: bytes, *, reference: str, settings: Settings, tell: Tell
) -> Tray | CutcheckError:
    """Measure a photo; ``tell`` hears each step and what the first look saw. An error is returned, not
    raised: one bad photo must not stop the others, and whatever it was, the user reads a sentence."""
    seen: tuple[Seen, ...] = ()

    def step(said: str) -> None:
        tell(said, seen)

    try:
        looked = pipeline.look_at(data, name=name, reference=reference, settings=settings, on_step=step)
        seen = look(looked)
        with ThreadPoolExecutor(1) as beside:  # the small copy is made while the pieces are measured
            picture = beside.submit(preview, looked.photo.pixels, to_cover(looked.located))
            measured = pipeline.measure_looked(looked, on_step=step)
    except CutcheckError as error:
        return error
    except Exception as error:
        LOG.exception("measuring %s", name)
        return CutcheckError("internal", what=type(error).__name__)
    light = replace(measured, photo=replace(looked.photo, pixels=np.empty((0, 0, 3), np.uint8)))
    return Tray(photo_id, name, data, reference, light, picture.result(), seen)


def to_cover(located: Located) -> tuple[NDArray[np.float64], ...]:
    """What is painted over in every picture, (N, 2) float, px: a bank-size card, nobody's business."""
    return located.regions_px if located.scale.reference == "id1" else ()


def pixels_of(tray: Tray, settings: Settings) -> NDArray[np.uint8]:
    """The upright photo, (H, W, 3) uint8 BGR, read anew from its file."""
    limits = Limits(settings.max_megapixels, settings.max_megabytes)
    return read_photo(tray.data, name=tray.name, limits=limits).pixels
