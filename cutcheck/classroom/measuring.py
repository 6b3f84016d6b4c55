"""The process that measures a class's photos: asked on standard input, it answers on standard output.

A question is a line of JSON (``path``, ``name``, ``sha256``, ``asked``), the answer another: what is kept of
the photo. One photo at a time and with the libraries at one thread: the processes beside it have the other
cores. It ends with its input. ``workers`` is the side that asks.
"""

from __future__ import annotations

import hashlib
import json
import os
import sys
from pathlib import Path
from typing import Any

# Of failures these may have come from the moment and not from the photo: the next run tries again.
PASSING = ("not-a-photo", "no-file", "not-finished", "internal")


def main() -> None:
    """Answer questions until there are no more."""
    # What is meant for the parent goes through a copy: libraries may write to 1 as they like.
    answers = os.fdopen(os.dup(1), "wb")
    with open(os.devnull, "wb") as nowhere:  # noqa: PTH123 - a file descriptor is what is wanted
        os.dup2(nowhere.fileno(), 1)
    import cv2

    cv2.setNumThreads(1)
    for line in sys.stdin.buffer:
        question = json.loads(line)
        kept = measured(Path(question["path"]), question["name"], question["sha256"], question["asked"])
        answers.write(json.dumps(kept, allow_nan=False).encode() + b"\n")
        answers.flush()


def measured(path: Path, name: str, sha256: str, asked_json: dict[str, Any]) -> dict[str, Any]:
    """What is kept of one photo: ``result`` (schema 1, with budgets), ``scale_u``, ``look``; or ``error``."""
    from cutcheck import serialise
    from cutcheck.classroom.asked import Asked
    from cutcheck.classroom.look import look_of
    from cutcheck.errors import CutcheckError
    from cutcheck.photo import Limits, read_bytes
    from cutcheck.pipeline import chosen_cut, mark, measure_photo

    asked = Asked.from_json(asked_json)
    settings = asked.settings
    try:
        data = read_bytes(path, name, Limits(settings.max_megapixels, settings.max_megabytes))
        if hashlib.sha256(data).hexdigest() != sha256:
            raise CutcheckError("not-finished", file=name, why="the photo was changed meanwhile")
        cut = chosen_cut(asked.cut, asked.standard, produce=asked.produce, default=settings.standard)
        found = measure_photo(data, name=name, reference=asked.reference, settings=settings)
        result = mark(found, cut, standard=asked.standard, unit=settings.unit)
        return {
            "result": serialise.to_dict(result, with_budget=True),
            "scale_u": found.located.scale_u,
            "look": look_of(found).to_json(),
        }
    except CutcheckError as error:
        return error.to_dict()
    except Exception as error:  # a fault of the program's own costs this photo, not the class
        return CutcheckError("internal", what=f"{type(error).__name__}: {error}").to_dict()
