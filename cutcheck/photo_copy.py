"""A copy of a photo to keep: the picture, without the place, serial numbers or names that a camera adds.

A JPEG keeps its coded picture bit by bit, so that it measures the same again; of all that stands beside it
only the colour profile is kept, and of EXIF only what measuring needs. Other formats are coded anew as JPEG.
A bank-size card is painted over.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from PIL import Image

from cutcheck.photo import Photo
from cutcheck.records import Point, Scale

QUALITY = 95
# Of EXIF (CIPA DC-008-2024, 4.6): make, model, orientation; taken, its time zone, 35 mm focal length, lens.
# No serial number, place, owner, maker's note or preview is among them.
_MAIN, _INNER = (0x010F, 0x0110, 0x0112), (0x9003, 0x9011, 0xA405, 0xA002, 0xA003, 0xA434)
_EXIF_IFD = 0x8769
_SOI, _EOI, _SOS, _APP0, _APP1, _APP2, _APP14 = 0xD8, 0xD9, 0xDA, 0xE0, 0xE1, 0xE2, 0xEE
_ALONE = {0x01, *range(0xD0, 0xD8)}  # markers without a length (ITU-T T.81, B.1.1.3)


@dataclass(frozen=True, slots=True)
class PhotoCopy:
    """A photo's copy: ``kind`` is its media type."""

    kind: str
    data: bytes


def copy_photo(data: bytes, photo: Photo, scale: Scale | None = None) -> PhotoCopy:
    """The copy of a photo file. ``scale`` tells what lies in it: a bank-size card is painted over."""
    masked: Sequence[Sequence[Point]] = ()
    if scale is not None and scale.reference == "id1":
        masked = scale.regions_px
    if data[:2] == b"\xff\xd8" and not masked:
        try:
            return PhotoCopy("image/jpeg", _bare_jpeg(data))
        except ValueError:
            pass  # an odd JPEG that a decoder forgives: code it anew
    exif = _exif_of(data, upright=True)
    return PhotoCopy("image/jpeg", _coded_anew(photo, masked, exif))


def _coded_anew(photo: Photo, masked: Sequence[Sequence[Point]], exif: bytes) -> bytes:
    pixels = photo.pixels
    if masked:
        pixels = pixels.copy()
        for region in masked:
            # a little beyond its edge: rounded corners and embossed figures reach over it
            hull = cv2.convexHull(np.array(region, np.float32)).reshape(-1, 2)
            grown = (hull - hull.mean(axis=0)) * 1.06 + hull.mean(axis=0)
            cv2.fillPoly(pixels, [np.round(grown).astype(np.int32)], (128, 128, 128))
    out = io.BytesIO()
    # 4:4:4: halved colour would move the edges of coloured pieces
    Image.fromarray(pixels[:, :, ::-1]).save(out, "JPEG", quality=QUALITY, subsampling=0, exif=exif)
    return out.getvalue()


def _bare_jpeg(data: bytes) -> bytes:
    """The same coded picture with a plain header; ValueError if the file is not built as it should be."""
    exif = _exif_of(data, upright=False)
    out = [b"\xff\xd8"]
    if exif:
        body = exif if exif.startswith(b"Exif\0\0") else b"Exif\0\0" + exif
        out.append(b"\xff\xe1" + (len(body) + 2).to_bytes(2, "big") + body)
    ended = False
    for marker, part in _segments(data):
        profile = marker == _APP2 and part[4:].startswith(b"ICC_PROFILE\0")
        colour = marker in (_APP0, _APP14) and part[4:9] in (b"JFIF\0", b"Adobe")
        beside = 0xE0 <= marker <= 0xEF or marker == 0xFE
        if not beside or profile or colour:
            out.append(part)
        ended = marker == _EOI
    if not ended:
        raise ValueError("no end of image")
    return b"".join(out)


def _segments(data: bytes) -> Iterator[tuple[int, bytes]]:
    """(marker, bytes) of each segment of the first picture in a JPEG; coded data goes with its SOS. What
    follows the picture (previews, depth maps, a maker's trailer) is not among them."""
    at = 2
    while at + 2 <= len(data):
        if data[at] != 0xFF:
            raise ValueError("no marker where one should be")
        marker = data[at + 1]
        if marker == 0xFF:  # fill byte
            at += 1
            continue
        if marker == _EOI:
            yield marker, data[at : at + 2]
            return
        if marker in _ALONE:
            end = at + 2
        else:
            length = int.from_bytes(data[at + 2 : at + 4], "big")
            end = at + 2 + length
            if length < 2 or end > len(data):
                raise ValueError("a segment runs over the end")
        if marker == _SOS:
            end = _end_of_scan(data, end)
        yield marker, data[at:end]
        at = end
    raise ValueError("no end of image")


def _end_of_scan(data: bytes, at: int) -> int:
    """Where the coded data that starts at ``at`` ends: at the next marker that is no stuffing or restart."""
    while True:
        at = data.find(b"\xff", at)
        if at < 0 or at + 1 >= len(data):
            raise ValueError("no end of image")
        following = data[at + 1]
        if following == 0x00 or 0xD0 <= following <= 0xD7:
            at += 2
        elif following == 0xFF:
            at += 1
        else:
            return at


def _exif_of(data: bytes, *, upright: bool) -> bytes:
    """EXIF with only the tags that measuring needs; ``upright`` pixels need no orientation."""
    try:
        with Image.open(io.BytesIO(data)) as image:
            before = image.getexif()
            inner = before.get_ifd(_EXIF_IFD)
    except Exception:  # an unreadable header (HEIC is read by another library) leaves a copy without EXIF
        return _exif_of_heif(data)
    return _chosen(before, inner, upright)


def _exif_of_heif(data: bytes) -> bytes:
    import pillow_heif

    try:
        raw = pillow_heif.open_heif(io.BytesIO(data)).info.get("exif")
        tags = Image.Exif()
        tags.load(raw or b"")
        return _chosen(tags, tags.get_ifd(_EXIF_IFD), upright=True)
    except Exception:  # as in _exif_of
        return b""


def _chosen(main: Image.Exif, inner: dict[int, object], upright: bool) -> bytes:
    kept = Image.Exif()
    for tag in _MAIN:
        if tag in main and not (upright and tag == 0x0112):
            kept[tag] = main[tag]
    kept_inner = {tag: inner[tag] for tag in _INNER if tag in inner}
    if kept_inner:
        kept[_EXIF_IFD] = kept_inner
    return kept.tobytes() if len(kept) else b""
