"""What a photo file says of itself, read without decoding a pixel.

Sizes are checked against the limits here, so that a picture bomb is refused before it costs any memory.
Tag numbers and meanings: CIPA DC-008-2024 (Exif 3.0), section 4.6.
"""

from __future__ import annotations

import io
import re
import warnings
from dataclasses import dataclass, field
from typing import Any

# Named one by one, so that Pillow has these five readers and no need to load its forty others.
from PIL import Image, JpegImagePlugin, MpoImagePlugin, PngImagePlugin, TiffImagePlugin, WebPImagePlugin

from cutcheck.errors import CutcheckError

_READERS = (JpegImagePlugin, MpoImagePlugin, PngImagePlugin, WebPImagePlugin, TiffImagePlugin)
FORMATS = ("JPEG", "PNG", "WEBP", "TIFF")  # to Pillow; it knows MPO as a kind of JPEG
SMALLEST_SIDE_PX = 64  # a card's 8 x 8 square alone needs more than this leaves it

# Brands of ISO/IEC 23008-12 (HEIF) whose pictures are coded in HEVC, and its general ones.
_HEIF_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1", b"mif2"}
_SHORTEST_FOCAL_MM, _LONGEST_FOCAL_MM = 5.0, 2000.0  # of any lens for 35 mm film; else the tag is nonsense

# What people send by mistake, by the first bytes: a better answer than 'unknown'.
_OURS = (b"\xff\xd8", b"\x89PNG", b"RIFF", b"II*\0", b"MM\0*")
_OTHERS = (
    (b"%PDF", "it is a PDF"),
    (b"GIF8", "it is a GIF"),
    (b"BM", "it is a BMP"),
    (b"PK\x03\x04", "it is a zip archive or an office document"),
    (b"<svg", "it is an SVG drawing"),
)


@dataclass(frozen=True)
class Exif:
    """What the camera wrote. ``focal_35mm`` is mm for 35 mm film; ``stated_px`` the size it wrote, px."""

    make: str | None = None
    model: str | None = None
    lens: str | None = None
    focal_35mm: float | None = None
    taken: str | None = None
    stated_px: tuple[int, int] | None = None

    @property
    def by_camera(self) -> bool:
        """Whether anything here shows that the file is still as a camera wrote it."""
        return any((self.make, self.model, self.lens, self.focal_35mm, self.taken))


@dataclass(frozen=True)
class Header:
    """A photo file's own account of itself. Sizes are px, as stored; ``orientation`` is 1 to 8."""

    format: str
    mode: str
    width_px: int
    height_px: int
    orientation: int = 1
    several: bool = False
    transparent: bool = False
    colour_profile: str | None = None
    exif: Exif = field(default_factory=Exif)


def read_header(data: bytes, name: str, max_megapixels: float) -> Header:
    """What the file says, or ``not-a-photo`` or ``too-large``. Nothing is decoded."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # Pillow's remarks on odd files are not for the user
            header = _heif_header(data) if is_heif(data) else _pillow_header(data)
    except Image.DecompressionBombError:
        raise CutcheckError(
            "too-large", got="far more pixels than a camera has", limit=f"{max_megapixels:g} megapixels"
        ) from None
    except CutcheckError:
        raise
    except Exception:  # hostile headers raise anything: struct.error, ValueError, OverflowError, SyntaxError
        raise CutcheckError("not-a-photo", file=name, why=_what_else(data)) from None
    megapixels = header.width_px * header.height_px / 1e6
    if megapixels > max_megapixels:
        raise CutcheckError(
            "too-large",
            got=f"{header.width_px} x {header.height_px} pixels ({megapixels:.0f} megapixels)",
            limit=f"{max_megapixels:g} megapixels",
        )
    if min(header.width_px, header.height_px) < SMALLEST_SIDE_PX:
        why = f"it is only {header.width_px} x {header.height_px} pixels"
        raise CutcheckError("not-a-photo", file=name, why=why)
    if header.format == "raw":
        raise CutcheckError("not-a-photo", file=name, why="it is a camera's raw file")
    return header


def is_heif(data: bytes) -> bool:
    """Whether the file's first box names HEIF with HEVC among its brands."""
    if data[4:8] != b"ftyp":
        return False
    size = min(int.from_bytes(data[:4], "big"), 256)
    brands = {data[8:12]} | {data[i : i + 4] for i in range(16, size - 3, 4)}
    return bool(brands & _HEIF_BRANDS) and data[8:12] not in (b"avif", b"avis")


def _pillow_header(data: bytes) -> Header:
    image = Image.open(io.BytesIO(data), formats=FORMATS)
    is_tiff = isinstance(image, TiffImagePlugin.TiffImageFile)
    # Only what stands before the pixels: image.getexif() would decode a whole PNG to look behind them.
    tags = image.getexif() if is_tiff else _parsed(image.info.get("exif"))
    # Pillow turns a TIFF itself while decoding.
    orientation = 1 if is_tiff else _whole(tags.get(0x0112))
    image_format = "JPEG" if image.format == "MPO" else str(image.format)
    if is_tiff and (0xC612 in tags or _whole(tags.get(0x00FE)) == 1):
        image_format = "raw"  # DNGVersion, or a first picture that is a thumbnail: raw files are TIFFs
    return Header(
        format=image_format,
        mode=image.mode,
        width_px=image.width,
        height_px=image.height,
        orientation=orientation if orientation and 1 <= orientation <= 8 else 1,
        # A phone's MPO holds a preview or a depth map beside the photo; that is no news to anyone.
        several=image_format != "JPEG" and _has_second(image),
        transparent="A" in image.getbands() or "transparency" in image.info,
        colour_profile=profile_name(image.info.get("icc_profile")),
        exif=_exif_facts(tags),
    )


def _heif_header(data: bytes) -> Header:
    import pillow_heif

    heif = pillow_heif.open_heif(io.BytesIO(data), convert_hdr_to_8bit=True)
    # The container's own turns (irot, imir) are carried out while decoding; EXIF only repeats them.
    return Header(
        format="HEIF",
        mode=heif.mode,
        width_px=heif.size[0],
        height_px=heif.size[1],
        transparent="A" in heif.mode,
        colour_profile=profile_name(heif.info.get("icc_profile")),
        exif=_exif_facts(_parsed(heif.info.get("exif"))),
    )


def _has_second(image: Image.Image) -> bool:
    if image.format != "TIFF":
        return bool(getattr(image, "is_animated", False))
    try:
        image.seek(1)  # asking for the count would walk a chain of any length
    except EOFError:
        return False
    return True


def _parsed(raw: object) -> Image.Exif:
    tags = Image.Exif()
    if isinstance(raw, bytes):
        try:
            tags.load(raw)
        except Exception:  # damaged EXIF is no reason to refuse a good picture
            return Image.Exif()
    return tags


def _exif_facts(tags: Image.Exif) -> Exif:
    try:
        inner = tags.get_ifd(0x8769)
    except Exception:  # as in _parsed
        inner = {}
    focal = _number(inner.get(0xA405))
    if focal is not None and not _SHORTEST_FOCAL_MM <= focal <= _LONGEST_FOCAL_MM:
        focal = None  # 0 means unknown (Exif 3.0, FocalLengthIn35mmFilm)
    stated = _whole(inner.get(0xA002)), _whole(inner.get(0xA003))
    return Exif(
        make=_words(tags.get(0x010F)),
        model=_words(tags.get(0x0110)),
        lens=_words(inner.get(0xA434)),
        focal_35mm=focal,
        taken=_iso_time(inner.get(0x9003), inner.get(0x9011)),
        stated_px=(stated[0], stated[1]) if stated[0] and stated[1] else None,
    )


def _number(value: Any) -> float | None:
    if isinstance(value, tuple) and value:
        value = value[0]
    try:
        return float(value)
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        return None


def _whole(value: Any) -> int | None:
    number = _number(value)
    return int(number) if number is not None and number == number and abs(number) < 1e9 else None


def _words(value: Any) -> str | None:
    if isinstance(value, bytes):
        value = value.decode("utf-8", "replace")
    if not isinstance(value, str):
        return None
    return " ".join("".join(c if c.isprintable() else " " for c in value).split())[:80] or None


def _iso_time(when: Any, offset: Any) -> str | None:
    """'2026:06:11 16:00:49' (and '+02:00') as ISO 8601, or None where it is no time."""
    from datetime import datetime

    text = _words(when) or ""
    try:
        moment = datetime.strptime(text, "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None
    zone = _words(offset) or ""
    return moment.isoformat() + (zone if re.fullmatch(r"[+-]\d\d:\d\d", zone) else "")


def profile_name(icc: object) -> str | None:
    """The name an ICC profile gives itself (ICC.1:2022, profileDescriptionTag), e.g. 'Display P3'."""
    if not isinstance(icc, bytes) or len(icc) < 132:
        return None
    for k in range(min(int.from_bytes(icc[128:132], "big"), 100)):
        entry = icc[132 + 12 * k : 144 + 12 * k]
        if entry[:4] == b"desc":
            start = int.from_bytes(entry[4:8], "big")
            tag = icc[start : start + min(int.from_bytes(entry[8:12], "big"), 2000)]
            if tag[:4] == b"mluc":  # version 4: UTF-16, length and place in the first record
                length, place = int.from_bytes(tag[20:24], "big"), int.from_bytes(tag[24:28], "big")
                return _words(tag[place : place + length].decode("utf-16-be", "replace"))
            return _words(tag[12:].split(b"\0")[0])  # version 2: ASCII
    return None


def _what_else(data: bytes) -> str:
    start = data[:512].lstrip()
    for magic, what in _OTHERS:
        if start.startswith(magic):
            return what
    if data[4:8] == b"ftyp":
        avif = data[8:12] in (b"avif", b"avis")
        return "it is an AVIF picture" if avif else "it is a video or a damaged HEIC"
    if any(data.startswith(magic) for magic in _OURS):
        return "its beginning is damaged"
    text = not re.search(rb"[\x00-\x08\x0e-\x1a\x1c-\x1f]", data[:500])  # no text has these
    return "it holds text, not a picture" if text else "it is of another kind"
