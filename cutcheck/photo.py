"""Reading a photo: the pixels, upright, and what the camera wrote beside them."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from cutcheck.decoder import decode
from cutcheck.errors import CutcheckError
from cutcheck.photo_header import Header
from cutcheck.printable import printable
from cutcheck.records import PhotoInfo

# Phone cameras have written at least 5 megapixels (2592 x 1944) since about 2010, messengers send less:
# common practice, no source.
SMALL_LONG_SIDE_PX = 2592
# Long side to short side as cameras write them: 1:1, 5:4, 4:3, 3:2, 16:9 ...
_CAMERA_RATIOS = (1.0, 5 / 4, 4 / 3, 3 / 2, 16 / 9)
# ... and the phones' full-screen modes, which without EXIF would rather be a screenshot.
_PHONE_RATIOS = (2.0, 18.5 / 9, 19 / 9, 19.5 / 9, 20 / 9, 21 / 9)
_RATIO_TOLERANCE = 0.015

_NO_CAMERA_DATA = (
    "The photo carries no camera data and is {how}, as messengers and editors leave it: the sizes are less "
    "sure. Send the camera's own file, for example as a document or by e-mail."
)
_CUT_TO_SIZE = (
    "The photo seems to have been cropped after it was taken: the sizes are less sure. "
    "Use the photo as the camera took it."
)


@dataclass(frozen=True)
class Limits:
    """The most that a photo may be, checked before decoding. Megapixels are 1e6 px, megabytes 1e6 bytes."""

    megapixels: float = 60.0
    megabytes: float = 40.0


DEFAULT_LIMITS = Limits()


@dataclass(frozen=True)
class Photo:
    """A photo, upright. ``pixels`` is (H, W, 3) uint8, BGR, coded as sRGB or as ``colour_profile`` names.

    Profiles are named, not converted: that would cost more than decoding. Phones' 'Display P3' shares
    sRGB's white and tone curve, so greys are the same and only strong colours look a little duller.
    ``focal_35mm`` is the focal length for 35 mm film, mm. ``maybe_cropped`` says that the optical centre
    need not be the picture's, nor the focal length the one that belongs to this picture's size.
    """

    pixels: NDArray[np.uint8]
    info: PhotoInfo
    focal_35mm: float | None = None
    camera_name: str | None = None
    maybe_cropped: bool = False
    warnings: tuple[str, ...] = ()
    colour_profile: str | None = None


def read_photo(
    source: str | Path | bytes | BinaryIO, *, name: str | None = None, limits: Limits = DEFAULT_LIMITS
) -> Photo:
    """The photo in a file, in memory or in an open binary file: JPEG, PNG, WebP, TIFF or HEIC.

    ``name`` is what messages and ``info.file`` call it. Raises ``CutcheckError``: ``no-file``,
    ``not-a-photo`` or ``too-large``, and nothing else, whatever the bytes.
    """
    name = printable(name or name_of(source))
    data = read_bytes(source, name, limits)
    header, pixels, notes = decode(data, name, limits.megapixels)
    height, width = pixels.shape[:2]
    cropped = _crop_warning(header)
    return Photo(
        pixels=pixels,
        info=PhotoInfo(
            file=name,
            sha256=hashlib.sha256(data).hexdigest(),
            width_px=width,
            height_px=height,
            taken=header.exif.taken,
        ),
        focal_35mm=header.exif.focal_35mm,
        camera_name=_camera_name(header),
        maybe_cropped=cropped is not None,
        warnings=(*notes, *([cropped] if cropped else [])),
        colour_profile=header.colour_profile,
    )


def name_of(source: str | Path | bytes | BinaryIO) -> str:
    """What to call a source: its path as given, an open file's own name, else 'photo'."""
    if isinstance(source, str | Path):
        return str(source)
    own = getattr(source, "name", None)
    return own if isinstance(own, str) else "photo"


def read_bytes(source: str | Path | bytes | BinaryIO, name: str, limits: Limits) -> bytes:
    """The file's bytes: ``no-file``, ``not-a-photo`` (a folder, empty, unreadable) or ``too-large``."""
    most = int(limits.megabytes * 1e6)
    try:
        if isinstance(source, str | Path):
            with Path(source).open("rb") as file:
                data = file.read(most + 1)
        elif isinstance(source, bytes):
            data = source
        else:
            data = source.read(most + 1)
    except FileNotFoundError:
        raise CutcheckError("no-file", file=name) from None
    except IsADirectoryError:
        raise CutcheckError("not-a-photo", file=name, why="it is a folder") from None
    except PermissionError:
        raise CutcheckError("not-a-photo", file=name, why="you have no permission to read it") from None
    except (OSError, ValueError) as error:
        # ValueError: a NUL in the name, or a closed file
        if isinstance(source, str | Path) and not _may_exist(source):
            raise CutcheckError("no-file", file=name) from None
        why = getattr(error, "strerror", None) or "it could not be read"
        raise CutcheckError("not-a-photo", file=name, why=why) from None
    if len(data) > most:
        got = f"{len(data) / 1e6:.1f} MB" if isinstance(source, bytes) else "the file is larger"
        raise CutcheckError("too-large", got=got, limit=f"{limits.megabytes:g} MB")
    if not data:
        raise CutcheckError("not-a-photo", file=name, why="the file is empty")
    return bytes(data)


def _may_exist(source: str | Path) -> bool:
    try:
        return Path(source).exists()
    except (OSError, ValueError):
        return False


def _camera_name(header: Header) -> str | None:
    """Maker, model and lens in one line: photos with the same line were taken with the same optics."""
    exif = header.exif
    camera = exif.model or exif.make
    if exif.make and exif.model and not exif.model.lower().startswith(exif.make.lower()):
        camera = f"{exif.make} {exif.model}"
    return ", ".join(part for part in (camera, exif.lens) if part) or None


def _crop_warning(header: Header) -> str | None:
    """Why the optical centre may not be the picture's, or None."""
    long, short = sorted((header.width_px, header.height_px), reverse=True)
    stated = header.exif.stated_px
    if not header.exif.by_camera:
        if long < SMALL_LONG_SIDE_PX:
            return _NO_CAMERA_DATA.format(how="small")
        return None if _close(long / short, _CAMERA_RATIOS) else _NO_CAMERA_DATA.format(how="of an odd shape")
    if stated and not _close(long / short, (max(stated) / min(stated),)):
        return _CUT_TO_SIZE
    return None if _close(long / short, _CAMERA_RATIOS + _PHONE_RATIOS) else _CUT_TO_SIZE


def _close(ratio: float, known: tuple[float, ...]) -> bool:
    return any(abs(ratio / one - 1.0) <= _RATIO_TOLERANCE for one in known)
