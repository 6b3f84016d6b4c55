"""Decoding in a process of its own, kept warm: a codec that crashes, hangs or swallows memory takes only it.

Photos come from strangers' phones, and decoders in C and C++ have had many flaws. The other side of the pipe
is ``decoder_child``. What comes back is checked here as if it came from a stranger too. This confines
crashes, hangs and memory, it is no wall against a file that takes the process over.
"""

from __future__ import annotations

import atexit
import contextlib
import json
import os
import subprocess
import sys
import threading
from typing import TYPE_CHECKING, Any, BinaryIO, cast

from cutcheck.child import start_child
from cutcheck.errors import FAULTS, CutcheckError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from cutcheck.photo_header import Header

MOST_SECONDS = 10.0
_LONGEST_REPLY = 1 << 16
_PIPE_BYTES = 1 << 20  # a twelve-megapixel picture then crosses in some 36 turns instead of 550


def decode(
    data: bytes, name: str, max_megapixels: float, *, seconds: float = MOST_SECONDS
) -> tuple[Header, NDArray[np.uint8], tuple[str, ...]]:
    """A photo file's header, its pixels (H, W, 3) uint8 BGR, upright, and notes in plain words.

    Raises ``not-a-photo`` or ``too-large``, also where decoding crashed or took more than ``seconds``.
    """
    try:
        return _decoder.decode(data, name, max_megapixels, seconds)
    except _NoChild:
        # Where no process may be started there is still the decoder itself, with its own checks.
        from cutcheck.photo_header import read_header
        from cutcheck.photo_pixels import decode as decode_here

        header = read_header(data, name, max_megapixels)
        return header, *decode_here(data, header, name)


class _NoChild(Exception):
    """No process could be started."""


class _Decoder:
    """The child process and the one conversation that it can hold at a time."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._child: subprocess.Popen[bytes] | None = None
        self._owner = 0

    def start(self) -> subprocess.Popen[bytes]:
        """The running child; a new one after a crash, or in a process that was forked off."""
        with self._lock:
            return self._running()

    def decode(
        self, data: bytes, name: str, max_megapixels: float, seconds: float
    ) -> tuple[Header, NDArray[np.uint8], tuple[str, ...]]:
        with self._lock:
            child = self._running()
            timed_out = threading.Event()

            def give_up() -> None:
                timed_out.set()
                child.kill()

            timer = threading.Timer(seconds, give_up)
            timer.start()
            try:
                reply = _ask(child, data, name, max_megapixels)
                if "code" in reply:
                    raise _error(reply)
                return _picture(child, reply, max_megapixels)
            except CutcheckError:
                raise
            except Exception:
                # Broken pipe, half a reply, nonsense: the child is gone or no longer to be trusted.
                self._stop()
                why = (
                    "it takes too long to read"
                    if timed_out.is_set()
                    else "it is damaged so badly that reading it failed"
                )
                raise CutcheckError("not-a-photo", file=name, why=why) from None
            except BaseException:
                self._stop()  # Ctrl-C in the middle of a reply: the next one must not begin with its rest
                raise
            finally:
                timer.cancel()

    def stop(self) -> None:
        """End the child; the next photo starts another."""
        with self._lock:
            self._stop()

    def _running(self) -> subprocess.Popen[bytes]:
        if self._owner != os.getpid():
            self._child, self._owner = None, os.getpid()  # a fork must not share its parent's pipe
        if self._child is None or self._child.poll() is not None:
            self._child = _start()
        return self._child

    def _stop(self) -> None:
        child, self._child = self._child, None
        if child is None or self._owner != os.getpid():
            return
        child.kill()
        child.wait()
        for pipe in (child.stdin, child.stdout):
            with contextlib.suppress(OSError):
                cast(BinaryIO, pipe).close()


def _start() -> subprocess.Popen[bytes]:
    try:
        child = start_child("cutcheck.decoder_child")
    except (OSError, ValueError):
        raise _NoChild from None
    if sys.platform == "linux":
        import fcntl

        with contextlib.suppress(OSError):
            fcntl.fcntl(cast(BinaryIO, child.stdout), fcntl.F_SETPIPE_SZ, _PIPE_BYTES)
    return child


def _ask(child: subprocess.Popen[bytes], data: bytes, name: str, max_megapixels: float) -> dict[str, Any]:
    question = {"name": name, "max_megapixels": max_megapixels, "bytes": len(data)}
    to_child, from_child = cast(BinaryIO, child.stdin), cast(BinaryIO, child.stdout)
    to_child.write(json.dumps(question).encode() + b"\n")
    to_child.write(data)
    to_child.flush()
    reply = json.loads(from_child.readline(_LONGEST_REPLY))
    if not isinstance(reply, dict):
        raise ValueError(reply)
    return reply


def _error(reply: dict[str, Any]) -> CutcheckError:
    if reply["code"] not in FAULTS:
        raise ValueError(reply)
    return CutcheckError(reply["code"], **{str(key): str(value) for key, value in reply["details"].items()})


def _picture(
    child: subprocess.Popen[bytes], reply: dict[str, Any], max_megapixels: float
) -> tuple[Header, NDArray[np.uint8], tuple[str, ...]]:
    import numpy as np

    from cutcheck.photo_header import Exif, Header

    height, width = (int(side) for side in reply["shape"])
    if min(height, width) < 1 or height * width > max_megapixels * 1e6:
        raise ValueError(reply["shape"])
    pixels = np.empty((height, width, 3), np.uint8)
    view, source = pixels.data.cast("B"), cast(Any, child.stdout)
    done = 0
    while done < len(view):
        got = source.readinto(view[done:])
        if not got:
            raise EOFError
        done += got
    facts = dict(reply["header"])
    exif = Exif(**facts.pop("exif"))
    return Header(exif=exif, **facts), pixels, tuple(str(note) for note in reply["notes"])


_decoder = _Decoder()
atexit.register(_decoder.stop)
