"""What a camera, an editor or a phone wrote beside the picture is gone from what is kept, in every format.

Photos are kept only on request and go with their owner.
"""

from __future__ import annotations

import io
import struct
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pillow_heif
import pytest
from PIL import Image, PngImagePlugin
from PIL.TiffImagePlugin import IFDRational

from cutcheck.journal import Journal
from cutcheck.journal.keeping import keep_measured
from cutcheck.photo import read_photo
from cutcheck.photo_copy import copy_photo
from cutcheck.pipeline import mark, measure_photo
from cutcheck.settings import Settings

# Tags of EXIF 3.0 (CIPA DC-008-2023) that tell of a person, a place or one camera among its like.
OWNER, BODY, LENS, MAKER, UNIQUE, COMMENT = 0xA430, 0xA431, 0xA435, 0x927C, 0xA420, 0x9286
ARTIST, COPYRIGHT, HOST = 0x013B, 0x8298, 0x013C
# What may stay (photo_copy.py): make, model, orientation; taken, its zone, 35 mm focal length, size, lens
# model; 0x8769 is where the second group lies.
MAY_STAY = {0x010F, 0x0110, 0x0112, 0x8769, 0x9003, 0x9011, 0xA405, 0xA002, 0xA003, 0xA434}
LATITUDE = (48_123_457, 1_000_003)  # a fraction that no other number in the file is likely to be
XMP = (
    b"<x:xmpmeta xmlns:x='adobe:ns:meta/'><rdf:RDF xmlns:rdf='http://www.w3.org/1999/02/22-rdf-syntax-ns#'>"
    b"<rdf:Description xmlns:exif='http://ns.adobe.com/exif/1.0/' exif:GPSLatitude='SECRET-xmp-place' "
    b"xmlns:aux='http://ns.adobe.com/exif/1.0/aux/' aux:SerialNumber='SECRET-xmp-serial'/>"
    b"</rdf:RDF></x:xmpmeta>"
)
# IPTC-IIM 4.2: record 2, data sets 80 (by-line) and 90 (city)
IPTC = b"".join(
    b"\x1c\x02" + bytes([number]) + struct.pack(">H", len(text)) + text
    for number, text in ((80, b"SECRET-iptc-name"), (90, b"SECRET-iptc-city"))
)


def exif() -> Image.Exif:
    """EXIF as a phone writes it, with a secret in every field that could hold one."""
    tags = Image.Exif()
    tags[0x010F], tags[0x0110] = "Invented", "Phone One"
    tags[ARTIST], tags[COPYRIGHT], tags[HOST] = "SECRET-artist", "SECRET-copyright", "SECRET-computer"
    tags[0x8769] = {
        0x9003: "2026:03:04 10:20:30", 0xA405: 26, OWNER: "SECRET-owner", BODY: "SECRET-body",
        LENS: "SECRET-lens", UNIQUE: "SECRET-unique", MAKER: b"SECRET-maker",
        COMMENT: b"ASCII\0\0\0SECRET-user",
    }  # fmt: skip
    tags[0x8825] = {1: "N", 2: (IFDRational(*LATITUDE), 7.0, 9.0), 27: b"SECRET-method", 29: "2026:03:04"}
    return tags


def picture() -> Image.Image:
    """A smooth picture, which every codec keeps well."""
    grain = np.random.default_rng(5).integers(0, 255, (15, 20, 3), dtype=np.uint8)
    return Image.fromarray(grain).resize((160, 120), Image.Resampling.BICUBIC)


def jpeg() -> bytes:
    """A JPEG with EXIF, XMP, IPTC (in Photoshop's segment), a comment, a preview behind its end."""
    out = io.BytesIO()
    picture().save(out, "JPEG", quality=92, exif=exif(), xmp=XMP, comment=b"SECRET-comment")
    resource = b"Photoshop 3.0\0" + b"8BIM\x04\x04\0\0" + struct.pack(">I", len(IPTC)) + IPTC
    segment = b"\xff\xed" + struct.pack(">H", len(resource) + 2) + resource
    data = out.getvalue()
    return data[:2] + segment + data[2:] + data + b"SECRET-trailer"


def png() -> bytes:
    """A PNG with EXIF, XMP and text of both kinds."""
    text = PngImagePlugin.PngInfo()
    text.add_itxt("XML:com.adobe.xmp", XMP.decode())
    text.add_text("Author", "SECRET-text")
    out = io.BytesIO()
    picture().save(out, "PNG", exif=exif(), pnginfo=text)
    return out.getvalue()


def webp() -> bytes:
    """A WebP with EXIF and XMP."""
    out = io.BytesIO()
    picture().save(out, "WEBP", quality=95, exif=exif(), xmp=XMP)
    return out.getvalue()


def tiff() -> bytes:
    """A TIFF with EXIF, XMP (tag 700) and IPTC (tag 33723)."""
    tags = Image.Exif()
    tags.load(exif().tobytes())
    tags[700], tags[33723] = XMP, IPTC
    out = io.BytesIO()
    picture().save(out, "TIFF", exif=tags)
    return out.getvalue()


def heic() -> bytes:
    """A HEIC with EXIF and XMP."""
    out = io.BytesIO()
    pillow_heif.from_pillow(picture()).save(out, exif=exif().tobytes(), xmp=XMP, quality=95)
    return out.getvalue()


def place_numbers(data: bytes) -> bool:
    """Whether the latitude's fraction is anywhere in the bytes, in either order (TIFF 6.0, section 2)."""
    return any(struct.pack(order, *LATITUDE) in data for order in ("<II", ">II"))


@pytest.mark.parametrize("make", [jpeg, png, webp, tiff, heic], ids=lambda make: make.__name__)
def test_nothing_private_is_in_a_kept_photo(make: Callable[[], bytes]) -> None:
    """No owner, place, serial number, maker's note, XMP, IPTC, comment or preview is left, whatever held it;
    what measuring needs is."""
    data = make()
    assert b"SECRET" in data
    assert place_numbers(data)
    copied = copy_photo(data, read_photo(data)).data
    assert b"SECRET" not in copied
    assert not place_numbers(copied)
    with Image.open(io.BytesIO(copied)) as image:
        tags = image.getexif()
        assert set(tags) | set(tags.get_ifd(0x8769)) <= MAY_STAY
        assert not tags.get_ifd(0x8825)
        assert not {"xmp", "photoshop", "comment"} & set(image.info)
        assert not [name for name, _ in image.applist if name not in ("APP0", "APP1")]
        assert getattr(image, "n_frames", 1) == 1
    kept = read_photo(copied)
    assert (kept.focal_35mm, kept.camera_name) == (26.0, "Invented Phone One")
    assert kept.info.taken == read_photo(data).info.taken


def test_a_photo_is_kept_on_request_and_goes_with_its_owner(
    tray_photo: Path, own_journal: Path, own_settings: Path
) -> None:
    """Without being asked no photo is kept; a kept one leaves no byte once its cook is removed."""
    data = tray_photo.read_bytes()
    with Journal.open(own_journal) as journal:
        measured = measure_photo(data, name="tray.jpg")
        result = mark(measured)
        ada, ben = journal.add_cook("Ada Example"), journal.add_cook("Ben Example")
        first = keep_measured(journal, ada, measured, result, settings=Settings()).entry
        assert journal.photo(first.number) is None
        part = copy_photo(data, measured.photo).data[-4000:-2000]
        assert part not in own_journal.read_bytes()
        journal.remove([first.number])
        kept = keep_measured(journal, ben, measured, result, settings=Settings(), photo_bytes=data).entry
        photo = journal.photo(kept.number)
        assert photo is not None
        assert part[:500] in photo.data
        assert any(part[at : at + 200] in own_journal.read_bytes() for at in range(0, 1800, 200))
        journal.remove_cook(ben.number)
        left = own_journal.read_bytes()
        assert not any(part[at : at + 100] in left for at in range(0, 1900, 100))
        assert journal.photo(kept.number) is None
    beside = {path.name for path in own_journal.parent.iterdir()}
    assert beside == {own_journal.name}  # no second copy in a file beside it
