"""From the bytes of a photo file to its pixels, upright, 8 bits, BGR.

OpenCV decodes what cameras write (it is twice as fast); Pillow the rest: transparency, print colours,
TIFF. Each is asked to refuse a file that ends too early, never to fill in the missing part.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Callable
from typing import cast

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from cutcheck.errors import CutcheckError
from cutcheck.photo_header import FORMATS, Header

Pixels = NDArray[np.uint8]

_BAND_PX = 1 << 20  # pixels converted at a time

_FIRST_OF_SEVERAL = "The file holds several pictures; the first was used."
_ON_WHITE = "The picture has see-through parts; they were taken as white."
_PRINT_COLOURS = (
    "The picture is in print colours (CMYK): its colours are only roughly right, its sizes fully."
)

_TURNS = {
    3: cv2.ROTATE_180,
    7: cv2.ROTATE_180,
    6: cv2.ROTATE_90_CLOCKWISE,
    8: cv2.ROTATE_90_COUNTERCLOCKWISE,
}


def decode(data: bytes, header: Header, name: str) -> tuple[Pixels, tuple[str, ...]]:
    """The pixels as (H, W, 3) uint8, upright, and what was done to get them, in plain words."""
    notes: list[str] = []
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            if header.format == "HEIF":
                pixels = _from_heif(data, notes)
            elif _for_opencv(header):
                pixels = _from_opencv(data)
            else:
                pixels = _from_pillow(data, header, notes)
    except MemoryError:
        raise CutcheckError("not-a-photo", file=name, why="it needs more memory than there is") from None
    except _Damaged as fault:
        raise CutcheckError("not-a-photo", file=name, why=str(fault)) from None
    except Exception:  # decoders raise OSError, ValueError, SyntaxError, cv2.error ... on damaged files
        raise CutcheckError("not-a-photo", file=name, why=str(_Damaged())) from None
    stored, stated = pixels.shape[:2], (header.height_px, header.width_px)
    if stored not in (stated, stated[::-1]):
        raise CutcheckError("not-a-photo", file=name, why="its header and its picture differ in size")
    return upright(pixels, header.orientation), tuple(notes)


def upright(pixels: Pixels, orientation: int) -> Pixels:
    """The picture turned as Exif's Orientation (0x0112; 1 to 8) asks; (H, W, 3) or (H, W)."""
    turned = pixels
    if orientation in (5, 7):  # mirrored about a diagonal: 5 the main one, 7 the other
        turned = cast(Pixels, cv2.transpose(turned))
    if orientation in _TURNS:
        turned = cast(Pixels, cv2.rotate(turned, _TURNS[orientation]))
    if orientation in (2, 4):
        turned = cast(Pixels, cv2.flip(turned, 1 if orientation == 2 else 0))
    return turned


class _Damaged(Exception):
    def __init__(self, why: str = "it is damaged or ends too early") -> None:
        super().__init__(why)


def _for_opencv(header: Header) -> bool:
    return (
        header.format in ("JPEG", "PNG", "WEBP")
        and header.mode != "CMYK"
        and not header.transparent
        and not header.several
    )


def _from_opencv(data: bytes) -> Pixels:
    # Orientation is ours: OpenCV would read it for some formats and not for others.
    flags = cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION
    pixels = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    if pixels is None:  # also where the end is missing: OpenCV's reader of memory never makes up the rest
        raise _Damaged
    return cast(Pixels, pixels)


def _from_pillow(data: bytes, header: Header, notes: list[str]) -> Pixels:
    image: Image.Image = Image.open(io.BytesIO(data), formats=FORMATS)
    if header.several:
        notes.append(_FIRST_OF_SEVERAL)
    image.load()
    if header.transparent:
        return _bgr_on_white(image, notes)
    if image.mode.startswith("I;16"):
        high = (np.asarray(image).astype(np.uint16) >> 8).astype(np.uint8)
        return cast(Pixels, cv2.cvtColor(high, cv2.COLOR_GRAY2BGR))
    if image.mode in ("I", "F", "LAB", "HSV"):
        raise _Damaged(f"its pixels are of a kind that no camera writes ({image.mode})")
    if image.mode == "CMYK":
        notes.append(_PRINT_COLOURS)
    return _bgr(image)


def _from_heif(data: bytes, notes: list[str]) -> Pixels:
    import pillow_heif

    heif = pillow_heif.open_heif(io.BytesIO(data), convert_hdr_to_8bit=True, bgr_mode=True)
    if len(heif.mode) == 3:
        return np.ascontiguousarray(np.asarray(heif), dtype=np.uint8)
    heif = pillow_heif.open_heif(io.BytesIO(data), convert_hdr_to_8bit=True)
    image = heif.to_pillow()
    return _bgr_on_white(image, notes) if "A" in image.mode else _bgr(image)


def _bgr_on_white(image: Image.Image, notes: list[str]) -> Pixels:
    least = 255

    def on_white(band: Image.Image) -> Image.Image:
        nonlocal least
        band = band.convert("RGBA")
        alpha = band.getchannel("A")
        least = min(least, cast(int, alpha.getextrema()[0]))
        white = Image.new("RGB", band.size, "white")
        white.paste(band.convert("RGB"), mask=alpha)
        return white

    pixels = _by_bands(image, on_white)
    if least < 255:
        notes.append(_ON_WHITE)
    return pixels


def _bgr(image: Image.Image) -> Pixels:
    return _by_bands(image, lambda band: band.convert("RGB"))


def _by_bands(image: Image.Image, to_rgb: Callable[[Image.Image], Image.Image]) -> Pixels:
    """The picture as BGR, a band at a time: whole copies would hold it five times over."""
    width, height = image.size
    pixels = np.empty((height, width, 3), np.uint8)
    rows = max(1, _BAND_PX // width)
    for top in range(0, height, rows):
        bottom = min(top + rows, height)
        band = to_rgb(image.crop((0, top, width, bottom)))
        pixels[top:bottom] = np.asarray(band)[..., ::-1]
    return pixels
