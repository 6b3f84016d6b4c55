"""Copies of photos to keep: the same picture, and nothing of place, person or serial number."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from cutcheck.photo import read_photo
from cutcheck.photo_copy import copy_photo
from cutcheck.records import Scale

SECRETS = (b"SN-12345", b"Invented Owner", b"48.2", b"thumbnail", b"trailer", b"a comment", b"xmp place")


def camera_photo(orientation: int = 6, **options: object) -> bytes:
    """A JPEG as a phone writes it, with a place, a serial number, an owner, XMP, a comment and a trailer."""
    rng = np.random.default_rng(5)
    grain = rng.integers(0, 255, (120, 160, 3), dtype=np.uint8)
    exif = Image.Exif()
    exif[0x010F], exif[0x0110], exif[0x0112] = "Invented", "Phone One", orientation
    exif[0x013B] = "Invented Owner"
    exif[0x8769] = {
        0x9003: "2026:03:04 10:20:30",
        0xA405: 26,
        0xA431: "SN-12345",
        0xA430: "Invented Owner",
        0x927C: b"thumbnail",
    }
    exif[0x8825] = {1: "N", 2: (48.2, 0.0, 0.0), 29: "2026:03:04"}
    out = io.BytesIO()
    Image.fromarray(grain).save(
        out, "JPEG", quality=90, exif=exif, comment=b"a comment", xmp=b"<x>xmp place</x>", **options
    )
    return out.getvalue() + b"trailer with a second picture"


@pytest.mark.parametrize("options", [{}, {"progressive": True}, {"restart_marker_rows": 1}])
def test_a_jpeg_keeps_its_picture_bit_by_bit(options: dict[str, object]) -> None:
    """The copy decodes to the very same pixels, upright as before, and holds none of the private data."""
    data = camera_photo(**options)
    photo = read_photo(data)
    copied = copy_photo(data, photo).data
    again = read_photo(copied)
    assert np.array_equal(again.pixels, photo.pixels)
    assert (again.focal_35mm, again.camera_name, again.info.taken) == (
        photo.focal_35mm,
        photo.camera_name,
        photo.info.taken,
    )
    assert not [secret for secret in SECRETS if secret in copied]
    with Image.open(io.BytesIO(copied)) as image:
        assert not image.getexif().get_ifd(0x8825)
        assert not {0xA430, 0xA431, 0x927C} & set(image.getexif().get_ifd(0x8769))
    assert [secret for secret in SECRETS if secret in data]  # the photo did hold them


def test_a_colour_profile_is_kept() -> None:
    """The profile that says how colours are coded goes with the copy."""
    from PIL import ImageCms

    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    data = camera_photo(icc_profile=profile)
    with Image.open(io.BytesIO(copy_photo(data, read_photo(data)).data)) as image:
        assert image.info["icc_profile"] == profile


@pytest.mark.parametrize("kind", ["PNG", "WEBP", "TIFF"])
def test_other_formats_become_a_bare_jpeg(kind: str) -> None:
    """A PNG, WebP or TIFF is kept as a JPEG that looks the same, without its private data."""
    with Image.open(io.BytesIO(camera_photo(orientation=1))) as image:
        image.load()
        smooth = image.resize((20, 15)).resize((160, 120), Image.Resampling.BICUBIC)
        out = io.BytesIO()
        smooth.save(out, kind, exif=image.getexif())
    photo = read_photo(out.getvalue())
    copied = copy_photo(out.getvalue(), photo)
    again = read_photo(copied.data)
    assert copied.kind == "image/jpeg"
    assert np.abs(again.pixels.astype(int) - photo.pixels).mean() < 2.0
    assert again.focal_35mm == photo.focal_35mm
    assert not [secret for secret in SECRETS if secret in copied.data]


def test_a_heic_becomes_a_bare_jpeg() -> None:
    """An iPhone's HEIC is kept as an upright JPEG with its focal length, without its private data."""
    import pillow_heif

    with Image.open(io.BytesIO(camera_photo(orientation=1))) as image:
        smooth = image.resize((20, 15)).resize((160, 120), Image.Resampling.BICUBIC)
        out = io.BytesIO()
        pillow_heif.from_pillow(smooth).save(out, exif=image.getexif().tobytes(), quality=95)
    photo = read_photo(out.getvalue())
    copied = copy_photo(out.getvalue(), photo).data
    again = read_photo(copied)
    assert np.abs(again.pixels.astype(int) - photo.pixels).mean() < 2.0
    assert photo.focal_35mm == again.focal_35mm == 26.0
    assert not [secret for secret in SECRETS if secret in copied]


def test_a_bank_size_card_is_painted_over() -> None:
    """Where a bank-size card gave the scale, the copy shows a grey field in its place."""
    data = camera_photo(orientation=1)
    photo = read_photo(data)
    card = ((20.0, 30.0), (90.0, 30.0), (90.0, 75.0), (20.0, 75.0))
    scale = Scale("id1", (), 0.3, 10.0, 0.1, 1000.0, "exif", (card,))
    again = read_photo(copy_photo(data, photo, scale).data)
    assert again.pixels[30:75, 20:90].std() < 3.0
    assert again.pixels[90:, 100:].std() > 20.0
    kept = read_photo(copy_photo(data, photo, replace(scale, reference="sheet")).data)
    assert np.array_equal(kept.pixels, photo.pixels)


def test_a_damaged_jpeg_is_coded_anew() -> None:
    """A JPEG with a wrong segment length that still decodes is kept, without its private data."""
    data = camera_photo(orientation=1).partition(b"trailer")[0]
    photo = read_photo(data)
    copied = copy_photo(data[:-2] + b"\xff", photo).data  # no end of image
    assert read_photo(copied).pixels.shape == photo.pixels.shape
    assert not [secret for secret in SECRETS if secret in copied]


def test_the_copy_of_a_tray_measures_the_same(tray_photo: Path) -> None:
    """A kept copy gives the same pixels to measure as the photo as it came."""
    data = tray_photo.read_bytes()
    photo = read_photo(data)
    assert np.array_equal(read_photo(copy_photo(data, photo).data).pixels, photo.pixels)
