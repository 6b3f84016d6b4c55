"""Reading photos: every format upright with its facts, and every bad file answered with a code."""

from __future__ import annotations

import hashlib
import io
import struct
import zlib
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from photo_files import PHONE_INNER, encoded, exif, picture
from PIL import Image, ImageCms

from cutcheck.errors import CutcheckError
from cutcheck.photo import Limits, read_photo

FORMATS = ("JPEG", "PNG", "WEBP", "TIFF", "HEIF")

# What each Orientation does to the stored picture to show it upright: CIPA DC-008 (Exif), tag 0x0112,
# 'the 0th row is at the visual ..., the 0th column at the visual ...', written with plain array steps.
UPRIGHT = {
    1: lambda a: a,
    2: lambda a: a[:, ::-1],
    3: lambda a: a[::-1, ::-1],
    4: lambda a: a[::-1],
    5: lambda a: a.transpose(1, 0, 2),
    6: lambda a: a.transpose(1, 0, 2)[:, ::-1],
    7: lambda a: a.transpose(1, 0, 2)[::-1, ::-1],
    8: lambda a: a.transpose(1, 0, 2)[::-1],
}


def refused(code: str, source: Any, **options: Any) -> CutcheckError:
    """The error that reading ``source`` ends in, which has the code ``code``."""
    with pytest.raises(CutcheckError) as caught:
        read_photo(source, **options)
    assert caught.value.code == code, caught.value
    return caught.value


@pytest.mark.parametrize("kind", FORMATS)
def test_each_format_gives_the_drawn_colours_as_bgr(kind: str) -> None:
    """Whatever the format, the pixels are the drawn ones in the order blue, green, red."""
    drawn = picture()
    photo = read_photo(encoded(drawn, kind, exif=exif()))
    assert photo.pixels.shape == (120, 160, 3)
    assert photo.pixels.dtype == np.uint8
    difference = np.abs(photo.pixels[..., ::-1].astype(int) - drawn)
    assert difference.mean() < (2.5 if kind in ("JPEG", "HEIF") else 0.01)
    assert photo.warnings == ()
    assert not photo.maybe_cropped


@pytest.mark.parametrize("orientation", UPRIGHT)
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF"])
def test_every_orientation_is_turned_upright(kind: str, orientation: int) -> None:
    """All eight EXIF orientations are shown as the Exif standard defines them."""
    stored = picture()
    photo = read_photo(encoded(stored, kind, exif=exif(orientation)))
    expected = UPRIGHT[orientation](stored)
    assert photo.pixels.shape == expected.shape
    assert np.abs(photo.pixels[..., ::-1].astype(int) - expected).mean() < 2.5
    assert (photo.info.width_px, photo.info.height_px) == (expected.shape[1], expected.shape[0])


@pytest.mark.parametrize("orientation", [3, 6, 8])
def test_heic_is_turned_once_by_its_container(orientation: int) -> None:
    """A HEIC whose container turns the picture is not turned a second time by its EXIF."""
    stored = picture()
    photo = read_photo(encoded(stored, "HEIF", exif=exif(orientation)))
    expected = UPRIGHT[orientation](stored)
    assert photo.pixels.shape == expected.shape
    assert np.abs(photo.pixels[..., ::-1].astype(int) - expected).mean() < 2.5


@pytest.mark.parametrize("orientation", [0, 9, 255, 65535])
def test_an_absurd_orientation_is_taken_as_upright(orientation: int) -> None:
    """An orientation outside 1 to 8 leaves the picture as it is stored."""
    photo = read_photo(encoded(picture(), "JPEG", exif=exif(orientation)))
    assert photo.pixels.shape == (120, 160, 3)


@pytest.mark.parametrize("kind", FORMATS)
def test_camera_facts_are_read_from_exif(kind: str) -> None:
    """Focal length, camera with lens and the time taken, as ISO 8601 with its offset, come from EXIF."""
    data = encoded(picture(), kind, exif=exif())
    photo = read_photo(data, name="tray.jpg")
    assert photo.focal_35mm == 26.0
    assert photo.camera_name == "Invented Phone 1, wide 4 mm"
    assert photo.info.taken == "2026-03-02T08:15:00+01:00"
    assert photo.info.file == "tray.jpg"
    assert photo.info.sha256 == hashlib.sha256(data).hexdigest()


@pytest.mark.parametrize(
    ("inner", "focal", "taken"),
    [
        ({0xA405: 0}, None, None),
        ({0xA405: 3}, None, None),
        ({0xA405: 28, 0x9003: "0000:00:00 00:00:00"}, 28.0, None),
        ({0xA405: 28, 0x9003: "2026:13:45 99:00:00"}, 28.0, None),
        ({0x9003: "2026:03:02 08:15:00", 0x9011: "hello"}, None, "2026-03-02T08:15:00"),
        ({0x9003: "not a time\x00\x07"}, None, None),
    ],
)
def test_nonsense_in_exif_counts_as_absent(
    inner: dict[int, Any], focal: float | None, taken: str | None
) -> None:
    """A focal length of 0 or of no lens, and a time that is none, are left out and never guessed."""
    photo = read_photo(encoded(picture(), "JPEG", exif=exif(inner=inner)))
    assert photo.focal_35mm == focal
    assert photo.info.taken == taken


def test_control_characters_in_exif_never_reach_a_result() -> None:
    """A camera name with line feeds and escape sequences becomes one printable line."""
    name = "Phone\n\x1b[31mred\x00 1" + "x" * 500
    photo = read_photo(encoded(picture(), "JPEG", exif=exif(tags={0x0110: name})))
    assert photo.camera_name is not None
    assert photo.camera_name.isprintable()
    assert len(photo.camera_name) < 200


def test_damaged_exif_does_not_refuse_a_good_picture() -> None:
    """A picture whose EXIF is garbage is read without it."""
    photo = read_photo(encoded(picture(), "JPEG", exif=b"Exif\0\0" + bytes(range(200))))
    assert photo.pixels.shape == (120, 160, 3)
    assert photo.focal_35mm is None


def test_path_bytes_and_open_file_give_the_same(tmp_path: Path) -> None:
    """A path, its text, the bytes and an open file are four ways to the same photo."""
    data = encoded(picture(), "JPEG", exif=exif())
    path = tmp_path / "tray.jpg"
    path.write_bytes(data)
    with path.open("rb") as file:
        photos = [read_photo(source) for source in (path, str(path), data, file, io.BytesIO(data))]
    assert len({photo.info.sha256 for photo in photos}) == 1
    assert [photo.info.file for photo in photos] == [str(path), str(path), "photo", str(path), "photo"]


# ---- messengers and editors -------------------------------------------------------------------------


@pytest.mark.parametrize("size", [(1600, 1200), (1200, 1600), (1280, 960)])
def test_a_messenger_photo_is_noticed_and_said(size: tuple[int, int]) -> None:
    """A small photo without camera data may be cropped, and the warning says what to send instead."""
    photo = read_photo(encoded(np.full((*size[::-1], 3), 128, np.uint8), "JPEG"))
    assert photo.maybe_cropped
    assert "Send the camera's own file" in photo.warnings[0]


def test_a_large_photo_of_odd_shape_without_camera_data_is_noticed() -> None:
    """A screenshot's or a crop's shape gives it away however large it is."""
    photo = read_photo(encoded(np.full((1200, 2700, 3), 128, np.uint8), "JPEG"))
    assert photo.maybe_cropped
    assert "odd shape" in photo.warnings[0]


def test_a_full_size_photo_without_exif_is_not_called_cropped() -> None:
    """A 12-megapixel 4:3 photo that only lost its EXIF keeps its optical centre."""
    photo = read_photo(encoded(np.full((3000, 4000, 3), 128, np.uint8), "JPEG"))
    assert not photo.maybe_cropped
    assert photo.warnings == ()


@pytest.mark.parametrize(
    ("size", "stated", "cropped"),
    [
        ((640, 480), (4000, 3000), False),  # only shrunk
        ((640, 360), (4000, 3000), True),  # cut to 16:9
        ((480, 640), (4000, 3000), False),  # turned
        ((640, 250), (640, 250), True),  # no camera writes this shape
        ((1280, 640), (4000, 2000), False),  # a phone's full-screen mode
    ],
)
def test_a_crop_shows_in_the_size_that_the_camera_wrote(
    size: tuple[int, int], stated: tuple[int, int], cropped: bool
) -> None:
    """A photo whose shape differs from the one in its EXIF was cropped; one merely shrunk was not."""
    inner = {**PHONE_INNER, 0xA002: stated[0], 0xA003: stated[1]}
    photo = read_photo(encoded(picture(*size), "JPEG", exif=exif(inner=inner)))
    assert photo.maybe_cropped == cropped
    assert any("cropped" in text for text in photo.warnings) == cropped


# ---- unusual but good -------------------------------------------------------------------------------


def test_progressive_and_grey_jpeg() -> None:
    """A progressive JPEG reads like a plain one, a grey one as equal blue, green and red."""
    plain = read_photo(encoded(picture(), "JPEG"))
    progressive = read_photo(encoded(picture(), "JPEG", progressive=True))
    assert np.array_equal(plain.pixels, progressive.pixels)
    grey = read_photo(encoded(Image.fromarray(picture()).convert("L"), "JPEG")).pixels
    assert np.array_equal(grey[..., 0], grey[..., 2])


def test_cmyk_jpeg_is_read_with_a_word_about_its_colours() -> None:
    """Print colours are converted roughly: a red square is red, and a warning says so."""
    red = Image.new("RGB", (160, 120), (200, 30, 30)).convert("CMYK")
    photo = read_photo(encoded(red, "JPEG"))
    blue, green, strong = photo.pixels[60, 80].astype(int)
    assert abs(strong - 200) < 12
    assert max(blue, green) < 60
    assert any("print colours" in text for text in photo.warnings)


@pytest.mark.parametrize("kind", ["PNG", "TIFF"])
def test_sixteen_bit_grey_keeps_its_upper_eight(kind: str) -> None:
    """A 16-bit grey picture is shown by its upper byte."""
    values = np.tile(np.linspace(0, 65535, 160), (120, 1)).astype(np.uint16)
    photo = read_photo(encoded(Image.fromarray(values), kind))
    assert np.abs(photo.pixels[..., 1].astype(int) - (values >> 8)).max() <= 1


def test_sixteen_bit_colour_png() -> None:
    """A 16-bit colour PNG, written by OpenCV, is shown by its upper bytes."""
    wide = picture()[..., ::-1].astype(np.uint16) * 257
    done, data = cv2.imencode(".png", wide)
    assert done
    photo = read_photo(data.tobytes())
    assert np.abs(photo.pixels.astype(int) - (wide >> 8)).max() <= 1


def test_palette_and_transparency() -> None:
    """A palette picture shows its colours; see-through parts are white, with a warning."""
    palette = read_photo(encoded(Image.fromarray(picture()).quantize(64), "PNG"))
    assert np.abs(palette.pixels[..., ::-1].astype(int) - picture()).mean() < 12
    for kind in ("PNG", "WEBP", "TIFF", "HEIF"):
        clear = Image.fromarray(picture()).convert("RGBA")
        clear.paste((0, 0, 0, 0), (0, 0, 80, 120))
        photo = read_photo(encoded(clear, kind))
        assert photo.pixels[60, 20].min() > 250, kind
        assert abs(int(photo.pixels[60, 150, 2]) - int(picture()[60, 150, 0])) < 8
        assert any("see-through" in text for text in photo.warnings)


def test_an_opaque_alpha_channel_needs_no_warning() -> None:
    """Screenshots carry an alpha channel that hides nothing: not a word about it."""
    photo = read_photo(encoded(Image.fromarray(picture()).convert("RGBA"), "PNG", exif=exif()))
    assert photo.warnings == ()


@pytest.mark.parametrize("kind", ["PNG", "WEBP", "TIFF"])
def test_of_several_pictures_the_first_counts(kind: str) -> None:
    """An animation or a scan of several pages gives its first picture and says so."""
    second = Image.new("RGB", (160, 120), "black")
    photo = read_photo(encoded(picture(), kind, save_all=True, append_images=[second], exif=exif()))
    assert np.abs(photo.pixels[..., ::-1].astype(int) - picture()).mean() < 3
    assert photo.warnings == ("The file holds several pictures; the first was used.",)


def test_a_phones_multi_picture_jpeg_is_an_ordinary_photo() -> None:
    """MPO, a JPEG with a preview behind it (CIPA DC-007), gives the photo without any remark."""
    preview = Image.new("RGB", (80, 60), "black")
    mpo = encoded(picture(), "MPO", save_all=True, append_images=[preview], exif=exif())
    photo = read_photo(mpo)
    assert photo.pixels.shape == (120, 160, 3)
    assert photo.focal_35mm == 26.0
    assert photo.warnings == ()


def test_a_video_behind_the_photo_is_ignored() -> None:
    """Phones append a short video to the JPEG; what stands behind the picture does not matter."""
    data = encoded(picture(), "JPEG", exif=exif())
    trailed = read_photo(data + b"\0\0\0\x18ftypmp42" + bytes(5000))
    assert np.array_equal(trailed.pixels, read_photo(data).pixels)


def test_the_colour_profile_is_named() -> None:
    """An ICC profile's own name is kept beside the pixels, and the pixels are left as they are."""
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB"))
    photo = read_photo(encoded(picture(), "JPEG", icc_profile=profile.tobytes()))
    assert photo.colour_profile == ImageCms.getProfileDescription(profile).strip()
    assert read_photo(encoded(picture(), "JPEG")).colour_profile is None
    assert read_photo(encoded(picture(), "PNG", icc_profile=b"\xff" * 300)).colour_profile is None


# ---- limits -----------------------------------------------------------------------------------------


def png_claiming(width: int, height: int) -> bytes:
    """A PNG of a few bytes whose header claims any size (W3C PNG, 11.2.1)."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"")) + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize("size", [(30000, 30000), (8000, 8000), (2**31 - 1, 2**31 - 1), (10**6, 100)])
def test_a_picture_bomb_is_refused_by_its_header(size: tuple[int, int]) -> None:
    """A file that claims more than 60 megapixels is too large, whatever stands behind the claim."""
    error = refused("too-large", png_claiming(*size))
    assert "60 megapixels" in error.message


def test_the_megapixel_limit_is_a_setting() -> None:
    """The same photo passes or fails as the limit says."""
    data = encoded(picture(1000, 800), "JPEG")
    assert read_photo(data, limits=Limits(megapixels=0.8)).info.width_px == 1000
    assert "1000 x 800" in refused("too-large", data, limits=Limits(megapixels=0.79)).message


def test_the_megabyte_limit_holds_for_path_bytes_and_stream(tmp_path: Path) -> None:
    """A file over the limit in megabytes is refused before anything looks inside."""
    data = encoded(picture(), "JPEG") + bytes(2_000_000)
    path = tmp_path / "long.jpg"
    path.write_bytes(data)
    for source in (path, data, io.BytesIO(data)):
        assert "1 MB" in refused("too-large", source, limits=Limits(megabytes=1)).message


@pytest.mark.parametrize("size", [(1, 20000), (20000, 1), (63, 500), (1, 1)])
def test_a_strip_too_thin_to_hold_a_card_is_no_photo(size: tuple[int, int]) -> None:
    """A picture with a side under 64 pixels is refused, with its size."""
    error = refused("not-a-photo", encoded(np.zeros((*size[::-1], 3), np.uint8), "PNG"))
    assert f"{size[0]} x {size[1]} pixels" in error.message


# ---- files that are no photos -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"", "the file is empty"),
        (b"Dear chef, the photo is attached.\n", "it holds text"),
        ("Liebe Köchin, die Möhren sind geschnitten.".encode("latin-1"), "it holds text"),
        (b"%PDF-1.7\n%\xe2\xe3\xcf\xd3", "it is a PDF"),
        (b"GIF89a" + bytes(30), "it is a GIF"),
        (b"PK\x03\x04" + bytes(30), "zip archive"),
        (b"\0\0\0\x18ftypmp42" + bytes(40), "it is a video"),
        (b"\0\0\0\x1cftypavif\0\0\0\0avifmif1miaf" + bytes(40), "AVIF"),
        (b"\xff\xd8\xff\xe0" + bytes(20), "its beginning is damaged"),
        (bytes(range(256)), "it is of another kind"),
    ],
)
def test_what_is_no_photo_is_named_for_what_it_is(tmp_path: Path, data: bytes, why: str) -> None:
    """A file that is no photo, whatever its name ends in, is refused with what it seems to be."""
    path = tmp_path / "tray.jpg"
    path.write_bytes(data)
    error = refused("not-a-photo", path)
    assert why in error.message
    assert "tray.jpg" in error.message


def test_missing_file_folder_and_odd_names(tmp_path: Path) -> None:
    """A missing file is ``no-file``, a folder is told as such; names that no system has are missing."""
    assert "tray.jpg" in refused("no-file", tmp_path / "tray.jpg").message
    assert "it is a folder" in refused("not-a-photo", tmp_path).message
    refused("no-file", "tray\0.jpg")
    refused("no-file", "x" * 5000)


def test_a_closed_or_failing_stream_is_no_photo() -> None:
    """A stream that fails while read ends in a coded error."""

    class Failing(io.BytesIO):
        def read(self, size: int | None = -1) -> bytes:
            raise OSError(5, "Input/output error")

    assert "Input/output error" in refused("not-a-photo", Failing()).message
    closed = io.BytesIO(b"x")
    closed.close()
    refused("not-a-photo", closed)


@pytest.mark.parametrize("kind", FORMATS)
@pytest.mark.parametrize("tenths", range(1, 10))
def test_a_truncated_file_is_refused_or_whole(kind: str, tenths: int) -> None:
    """Cut at any tenth, a file is refused, or it gives the same pixels as the whole file."""
    data = encoded(picture(), kind, exif=exif())
    part = data[: len(data) * tenths // 10]
    try:
        photo = read_photo(part)
    except CutcheckError:
        refused("not-a-photo", part)
    else:
        assert np.array_equal(photo.pixels, read_photo(data).pixels)


@pytest.mark.parametrize("lost", [1, 2, 50, 1000])
def test_a_jpeg_without_its_end_is_refused(lost: int) -> None:
    """A JPEG that lost its last bytes on the way is refused instead of shown with a grey foot."""
    rng = np.random.default_rng(7)
    data = encoded(rng.integers(0, 255, (300, 400, 3)).astype(np.uint8), "JPEG")
    assert "ends too early" in refused("not-a-photo", data[:-lost]).message


def test_raw_files_of_the_sensor_are_refused() -> None:
    """A DNG (a TIFF with the tag DNGVersion, 0xC612) would only give its thumbnail, so it is refused."""
    data = encoded(picture(), "TIFF", tiffinfo={0xC612: b"\x01\x04\x00\x00"})
    assert "raw file" in refused("not-a-photo", data).message


@pytest.mark.parametrize("mode", ["F", "I"])
def test_pixels_that_no_camera_writes_are_refused(mode: str) -> None:
    """Floating-point and 32-bit pixels have no agreed white, so nothing is guessed."""
    refused("not-a-photo", encoded(Image.new(mode, (100, 100)), "TIFF"))
