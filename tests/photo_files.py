"""Photo files for the tests, made on the spot: a drawn picture in every format, with any EXIF."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import pillow_heif
from numpy.typing import NDArray
from PIL import Image

PHONE = {0x010F: "Invented", 0x0110: "Phone 1"}
PHONE_INNER = {0xA405: 26, 0x9003: "2026:03:02 08:15:00", 0x9011: "+01:00", 0xA434: "wide 4 mm"}


def picture(width: int = 160, height: int = 120) -> NDArray[np.uint8]:
    """(H, W, 3) uint8, RGB: smooth, and no two of its eight orientations alike."""
    y, x = np.mgrid[0:height, 0:width]
    red = 40 + 180 * x / width
    green = 30 + 150 * y / height
    blue = np.where((x < width / 4) & (y < height / 3), 220, 60)
    return np.stack([red, green, blue], axis=-1).round().astype(np.uint8)


def exif(
    orientation: int | None = None, tags: dict[int, Any] | None = None, inner: dict[int, Any] | None = None
) -> bytes:
    """An EXIF block with the given tags of the first directory and of the Exif directory."""
    block = Image.Exif()
    for tag, value in (PHONE if tags is None else tags).items():
        block[tag] = value
    if orientation is not None:
        block[0x0112] = orientation
    block.get_ifd(0x8769).update(PHONE_INNER if inner is None else inner)
    return block.tobytes()


def encoded(rgb: NDArray[np.uint8] | Image.Image, kind: str, **options: Any) -> bytes:
    """The picture as the bytes of a file of ``kind``: JPEG, PNG, WEBP, TIFF or HEIF."""
    image = rgb if isinstance(rgb, Image.Image) else Image.fromarray(rgb)
    out = io.BytesIO()
    if kind == "HEIF":
        heif = pillow_heif.from_pillow(image)
        heif.save(out, quality=90, **options)
    else:
        defaults: dict[str, dict[str, Any]] = {
            "JPEG": {"quality": 95, "subsampling": 0},
            "WEBP": {"lossless": True},
        }
        image.save(out, kind, **{**defaults.get(kind, {}), **options})
    return out.getvalue()
