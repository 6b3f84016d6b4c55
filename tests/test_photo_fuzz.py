"""Hostile photo files: whatever the bytes, reading ends in a photo or in a coded error."""

from __future__ import annotations

import subprocess
from collections.abc import Iterator
from functools import cache
from random import Random

import numpy as np
import pytest
from fuzzing import asked, worker
from hostile_photos import NAMES, mutated
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from photo_files import encoded, exif, picture

from cutcheck.errors import CutcheckError
from cutcheck.photo import Limits, Photo, read_photo

KINDS = ("JPEG", "PROGRESSIVE", "PNG", "WEBP", "TIFF", "HEIF")
SMALL = Limits(megapixels=2, megabytes=1)

FUZZ = settings(
    max_examples=120,
    deadline=None,
    derandomize=True,  # the same inputs everywhere, so that a failure is everyone's
    suppress_health_check=[HealthCheck.too_slow],
)


@cache
def seed(kind: str) -> bytes:
    """A good file of a kind, to be broken."""
    if kind == "PROGRESSIVE":
        return encoded(picture(), "JPEG", progressive=True, exif=exif(6))
    return encoded(picture(), kind, exif=exif(6))


@st.composite
def broken_files(draw: st.DrawFn) -> bytes:
    """A good file with bytes changed, cut out, doubled or cut off; half of the changes hit the header."""
    return mutated(seed(draw(st.sampled_from(KINDS))), Random(draw(st.integers(0, 2**32))))


def check(data: bytes) -> str:
    """Read ``data`` and return how it ended: 'photo' or an error's code."""
    try:
        photo = read_photo(data, limits=SMALL)
    except CutcheckError as error:
        return error.code
    assert isinstance(photo, Photo)
    assert photo.pixels.dtype == np.uint8
    assert photo.pixels.shape == (photo.info.height_px, photo.info.width_px, 3)
    assert photo.pixels.shape[0] * photo.pixels.shape[1] <= SMALL.megapixels * 1e6
    assert photo.focal_35mm is None or photo.focal_35mm > 0
    return "photo"


@FUZZ
@given(broken_files())
def test_a_broken_file_ends_in_a_photo_or_a_coded_error(data: bytes) -> None:
    """Changed, cut and lying files of every format never raise anything but a coded error."""
    assert check(data) in ("photo", "not-a-photo", "too-large")


@settings(FUZZ, max_examples=40)
@given(
    st.sampled_from((b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"RIFF", b"II*\0", b"MM\0*", b"")),
    st.binary(max_size=300),
)
def test_noise_behind_a_good_beginning_is_refused(magic: bytes, noise: bytes) -> None:
    """A format's first bytes with noise behind them are never a photo."""
    assert check(magic + noise) in ("not-a-photo", "too-large")


@settings(FUZZ, max_examples=40)
@given(st.binary(max_size=200))
def test_any_exif_leaves_the_picture_readable(noise: bytes) -> None:
    """EXIF of every kind, good or noise, never stops a good picture from being read."""
    assert check(encoded(picture(), "JPEG", exif=b"Exif\0\0II*\0" + noise)) == "photo"


@pytest.fixture(scope="module")
def checking() -> Iterator[subprocess.Popen[str]]:
    """A process that checks photos, as the nightly command's does."""
    with worker() as process:
        yield process
        process.kill()


@pytest.mark.parametrize("kind", range(len(NAMES)), ids=NAMES)
def test_a_check_of_a_hostile_photo_ends_in_a_result_or_a_coded_error(
    kind: int, checking: subprocess.Popen[str]
) -> None:
    """Six inputs of each kind are checked to the end: no other error, 10 s of work and 1 GB at the most."""
    for turn in range(6):  # 114 inputs; tests/nightly/fuzz_photos.py checks thousands
        number = kind + turn * len(NAMES)
        ended = asked(checking, number)
        assert ended.good, (number, ended)
