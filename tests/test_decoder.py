"""Decoding apart: a codec that crashes, hangs or swallows memory takes nothing else with it."""

from __future__ import annotations

import io
import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pytest
from photo_files import encoded, exif, picture

from cutcheck import decoder
from cutcheck.errors import CutcheckError
from cutcheck.photo import Limits, read_photo
from cutcheck.photo_header import read_header
from cutcheck.photo_pixels import decode as decode_here

GOOD = encoded(picture(), "JPEG", exif=exif(6))


def test_apart_and_here_give_the_same() -> None:
    """Header, pixels and notes cross the pipe unchanged."""
    for kind in ("JPEG", "PNG", "WEBP", "TIFF", "HEIF"):
        data = encoded(picture(), kind, exif=exif(6))
        header, pixels, notes = decoder.decode(data, "photo", 60)
        expected = read_header(data, "photo", 60)
        assert header == expected
        there, remarks = decode_here(data, expected, "photo")
        assert np.array_equal(pixels, there)
        assert notes == remarks


def test_errors_cross_the_pipe_with_their_words() -> None:
    """A refusal says the same whether the child or this process said it."""
    for data in (b"text", GOOD[:-30], encoded(np.zeros((1, 20000, 3), np.uint8), "PNG")):
        with pytest.raises(CutcheckError) as apart:
            decoder.decode(data, "Möhren.jpg", 60)
        with pytest.raises(CutcheckError) as here:
            decode_here(data, read_header(data, "Möhren.jpg", 60), "Möhren.jpg")
        assert apart.value.to_dict() == here.value.to_dict()


def test_a_crash_is_a_coded_error_and_the_next_photo_is_read() -> None:
    """Killed while it works, the child is replaced and only that photo is lost."""
    child = decoder._decoder.start()
    child.send_signal(signal.SIGSTOP)
    killer = threading.Timer(0.3, child.kill)
    killer.start()
    with pytest.raises(CutcheckError) as caught:
        read_photo(GOOD)
    assert caught.value.code == "not-a-photo"
    assert "reading it failed" in caught.value.message
    assert read_photo(GOOD).pixels.shape == (160, 120, 3)


def test_a_child_that_died_while_idle_costs_no_photo() -> None:
    """A child that was ended between two photos is replaced before the next."""
    child = decoder._decoder.start()
    child.kill()
    child.wait()
    assert read_photo(GOOD).pixels.shape == (160, 120, 3)


def test_a_hang_ends_when_its_time_is_up() -> None:
    """A child that does not answer is ended after the stated seconds, with a coded error."""
    child = decoder._decoder.start()
    child.send_signal(signal.SIGSTOP)
    started = time.monotonic()
    with pytest.raises(CutcheckError, match="takes too long"):
        decoder.decode(GOOD, "photo", 60, seconds=0.5)
    assert time.monotonic() - started < 5
    assert child.poll() is not None
    assert read_photo(GOOD).pixels.shape == (160, 120, 3)


def test_memory_is_limited_by_the_megapixels() -> None:
    """The child may not use more memory than photos of the allowed size need."""
    code = (
        "import cutcheck.decoder_child as child\n"
        "child._limit_memory(child._memory_in_use(), 10, 1000)\n"
        "try:\n    held = bytearray(2_000_000_000)\n"
        "except MemoryError:\n    print('refused')\n"
        "held = bytearray(250_000_000)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert (done.stdout.strip(), done.returncode) == ("refused", 0), done.stderr


def test_a_picture_of_the_largest_size_fits_into_the_memory() -> None:
    """At the limit of megapixels the costliest way, transparency, still has enough memory."""
    from PIL import Image

    data = encoded(Image.new("RGBA", (4000, 2500), (10, 20, 30, 100)), "PNG", compress_level=1)
    photo = read_photo(data, limits=Limits(megapixels=10))
    assert photo.pixels.shape == (2500, 4000, 3)


@pytest.mark.parametrize(
    "reply",
    [
        b"",
        b"nonsense\n",
        b"[]\n",
        b'{"code": "no-such-code", "details": {}}\n',
        b'{"header": {}, "shape": [1000000, 1000000], "notes": []}\n',
        b'{"header": {}, "shape": [0, 5], "notes": []}\n',
        b'{"header": {}, "shape": [10, 10], "notes": []}\nshort',
        b"x" * 100_000,
    ],
)
def test_a_child_that_talks_nonsense_is_not_believed(reply: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    """An answer that is no answer, or promises more pixels than allowed, ends in a coded error."""
    code = f"import sys; sys.stdin.buffer.readline(); sys.stdout.buffer.write({reply!r})"

    def liar() -> subprocess.Popen[bytes]:
        pipe = subprocess.PIPE
        return subprocess.Popen([sys.executable, "-c", code], stdin=pipe, stdout=pipe)

    monkeypatch.setattr(decoder, "_start", liar)
    monkeypatch.setattr(decoder, "_decoder", decoder._Decoder())
    with pytest.raises(CutcheckError) as caught:
        read_photo(GOOD)
    assert caught.value.code == "not-a-photo"
    decoder._decoder.stop()


def test_without_a_child_the_photo_is_read_here(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where no process can be started, reading still works."""
    monkeypatch.setattr(decoder, "_decoder", decoder._Decoder())
    monkeypatch.setattr(sys, "executable", "/no/such/python")
    assert read_photo(GOOD).pixels.shape == (160, 120, 3)


def test_many_threads_share_one_child() -> None:
    """Photos read at the same time from several threads do not get each other's pixels."""
    files = [encoded(np.full((80, 100, 3), 20 * k, np.uint8), "PNG") for k in range(8)]
    seen: dict[int, int] = {}

    def read(k: int) -> None:
        seen[k] = int(read_photo(files[k]).pixels.mean())

    threads = [threading.Thread(target=read, args=(k,)) for k in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert seen == {k: 20 * k for k in range(8)}


def test_a_fork_starts_its_own_child() -> None:
    """A process forked off does not write into its parent's pipe."""
    before = decoder._decoder.start().pid
    forked = os.fork()
    if forked == 0:
        ok = read_photo(GOOD).pixels.shape == (160, 120, 3) and decoder._decoder.start().pid != before
        decoder._decoder.stop()
        os._exit(0 if ok else 1)
    assert os.waitpid(forked, 0)[1] == 0
    assert decoder._decoder.start().pid == before
    assert read_photo(GOOD).pixels.shape == (160, 120, 3)


@pytest.mark.parametrize("lost", [1, 30_000])
def test_damage_in_the_middle_of_a_jpeg_is_said(lost: int) -> None:
    """A JPEG that decodes to its end over lost or shifted data carries a warning; the next photo does not."""
    rng = np.random.default_rng(5)
    data = bytearray(encoded(rng.integers(0, 255, (300, 400, 3)).astype(np.uint8), "JPEG", exif=exif()))
    middle = len(data) // 2
    del data[middle : middle + lost]
    photo = read_photo(bytes(data))
    assert any("damaged" in text for text in photo.warnings)
    assert read_photo(GOOD).warnings == ()


def test_codecs_write_nothing_to_the_terminal(tmp_path: Path) -> None:
    """Whatever decoders remark on a bad file, the user's terminal stays clean, and no process is left."""
    bad = io.BytesIO(encoded(picture(), "PNG")[:-300]).getvalue()
    (tmp_path / "bad.png").write_bytes(bad)
    code = (
        "from cutcheck import decoder; from cutcheck.photo import read_photo\n"
        "from cutcheck.errors import CutcheckError\n"
        "try: read_photo('bad.png')\nexcept CutcheckError as error: print(error.code)\n"
        "print(decoder._decoder.start().pid)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, timeout=60
    )
    answer, child = done.stdout.split()
    assert answer == "not-a-photo"
    assert done.stderr == ""
    assert not Path(f"/proc/{child}").exists()


def test_the_child_imports_nothing_from_the_current_folder(tmp_path: Path) -> None:
    """A file named numpy.py in the folder of the photos is not run."""
    (tmp_path / "numpy.py").write_text("open('ran', 'w').close()")
    (tmp_path / "tray.jpg").write_bytes(GOOD)
    code = "from cutcheck.photo import read_photo; print(read_photo('tray.jpg').info.width_px)"
    done = subprocess.run(
        [sys.executable, "-P", "-c", code], cwd=tmp_path, capture_output=True, text=True, timeout=60
    )
    assert done.stdout.strip() == "120", done.stderr
    assert not (tmp_path / "ran").exists()
