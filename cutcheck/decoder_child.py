"""The process that decodes photos: asked through standard input, it answers through standard output.

A question is a line of JSON (``name``, ``max_megapixels``, ``bytes``) with the file's bytes behind it. The
answer is a line of JSON, either ``code`` and ``details`` of an error, or ``header``, ``shape`` and ``notes``
with the pixels behind it. It ends with its input. ``decoder`` is the side that asks.
"""

from __future__ import annotations

import json
import os
import re
import sys
import tempfile
from dataclasses import asdict
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from cutcheck.errors import CutcheckError
from cutcheck.photo_header import read_header
from cutcheck.photo_pixels import decode

_BYTES_PER_PIXEL = 10  # JPEG in progressive order holds 9 at once, transparency 8
_SOME_BYTES = 250_000_000  # and what any decoder needs besides
_FEW_BYTES = 64  # some cameras pad the picture before its end: common practice, no source
_DAMAGED = "Part of the picture is damaged: look at the marked picture before you trust the figures."


def main() -> None:
    """Answer questions until there are no more."""
    # What is meant for the parent goes through a copy: libraries may write to 1 and 2 as they like.
    answers = os.fdopen(os.dup(1), "wb")
    remarks = tempfile.TemporaryFile(buffering=0)  # noqa: SIM115 - as long as the process
    os.dup2(remarks.fileno(), 1)
    os.dup2(remarks.fileno(), 2)
    empty_memory = _memory_in_use()
    while line := sys.stdin.buffer.readline():
        question = json.loads(line)
        data = sys.stdin.buffer.read(question["bytes"])
        if len(data) < question["bytes"]:
            return
        _limit_memory(empty_memory, question["max_megapixels"], len(data))
        remarks.seek(0)
        remarks.truncate()
        _answer(answers, data, question["name"], question["max_megapixels"], remarks)


def _answer(answers: BinaryIO, data: bytes, name: str, max_megapixels: float, remarks: BinaryIO) -> None:
    pixels: NDArray[np.uint8] | None = None
    try:
        header = read_header(data, name, max_megapixels)
        pixels, notes = decode(data, header, name)
        if _is_damaged(remarks):
            notes = (*notes, _DAMAGED)
        reply = {"header": asdict(header), "shape": pixels.shape[:2], "notes": notes}
    except CutcheckError as error:
        reply = {"code": error.code, "details": error.details}
    except MemoryError:
        why = "it needs more memory than a photo may"
        reply = {"code": "not-a-photo", "details": {"file": name, "why": why}}
    answers.write(json.dumps(reply).encode() + b"\n")
    if pixels is not None:
        answers.write(np.ascontiguousarray(pixels).data.cast("B"))
    answers.flush()


def _is_damaged(remarks: BinaryIO) -> bool:
    """Whether libjpeg remarked on lost or wrong picture data: it decodes on and only tells standard error.

    Not all damage makes it remark; stray bytes before a header or a few before the end are harmless.
    """
    remarks.seek(0)
    for line in remarks.read(10_000).splitlines():
        stray = re.search(rb"(\d+) extraneous bytes before marker 0x(..)", line)
        if stray and (stray[2] != b"d9" or int(stray[1]) < _FEW_BYTES):
            continue
        if b"Corrupt JPEG data" in line:
            return True
    return False


def _memory_in_use() -> int:
    """Bytes of address space in use, 0 where the system does not tell."""
    try:
        with open("/proc/self/statm") as status:  # noqa: PTH123 - Linux only
            return int(status.read().split()[0]) * os.sysconf("SC_PAGE_SIZE")
    except OSError:
        return 0


def _limit_memory(empty: int, max_megapixels: float, file_bytes: int) -> None:
    if not empty:
        return
    import resource

    most = empty + _SOME_BYTES + 2 * file_bytes + int(_BYTES_PER_PIXEL * max_megapixels * 1e6)
    _, hard = resource.getrlimit(resource.RLIMIT_AS)
    soft = most if hard == resource.RLIM_INFINITY else min(most, hard)
    resource.setrlimit(resource.RLIMIT_AS, (soft, hard))
