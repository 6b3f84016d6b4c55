"""A folder of photos measured by all cores, each photo once: stopped or killed, the next run goes on.

What a photo gave is kept as soon as it is there (``run_store``), and results are made only from what is kept:
so a run that was killed ten times ends with the same results as one that was not.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from cutcheck import serialise
from cutcheck.accuracy import PHOTO_ENDINGS
from cutcheck.classroom.asked import Asked, changes
from cutcheck.classroom.look import Look
from cutcheck.classroom.measuring import PASSING
from cutcheck.classroom.run_store import RunStore
from cutcheck.classroom.workers import Question, cores, measure_all
from cutcheck.errors import CutcheckError
from cutcheck.pipeline import chosen_cut
from cutcheck.printable import file_name
from cutcheck.records import Result

ENDINGS = (*PHOTO_ENDINGS, ".heif")


@dataclass(frozen=True)
class Tray:
    """One photo of the folder: its ``result``, or its ``error``; of the same file under a second name only
    ``copy_of``, the first name."""

    photo: str
    sha256: str
    result: Result | None = None
    look: Look | None = None
    scale_u: float = 0.0
    error: dict[str, str] | None = None
    copy_of: str | None = None


@dataclass(frozen=True, slots=True)
class Start:
    """What a run begins with: photos to measure, photos measured before, and what has changed since for
    those that are measured again; files that are no photos."""

    to_do: int
    before: int
    again: int
    changed: tuple[str, ...]
    other_files: tuple[str, ...]


def photos_in(folder: str | Path) -> tuple[dict[str, Path], tuple[str, ...]]:
    """The photos of a folder by what they are called, and its other files; subfolders are not looked into.

    Raises ``class`` where it is no folder or holds no photo.
    """
    folder = Path(folder)
    try:
        files = sorted(path for path in folder.iterdir() if path.is_file() and path.name[:1] != ".")
    except FileNotFoundError:
        raise CutcheckError("no-file", file=folder) from None
    except OSError as error:
        raise _no_photos(f"'{folder}' can't be read as a folder ({error.strerror}).") from None
    photos: dict[str, Path] = {}
    for path in files:
        if path.suffix.lower() in ENDINGS:
            name = file_name(path)
            while name in photos:  # two names that differ only in what can't be shown
                name = f"again {name}"
            photos[name] = path
    if not photos:
        raise _no_photos(f"There is no photo in '{folder}'.")
    return photos, tuple(file_name(path) for path in files if path.suffix.lower() not in ENDINGS)


def run_folder(
    folder: str | Path,
    store: RunStore,
    asked: Asked,
    *,
    workers: int | None = None,
    on_start: Callable[[Start], None] = lambda start: None,
    on_done: Callable[[str], None] = lambda photo: None,
) -> tuple[Tray, ...]:
    """Measure the photos of a folder that the store does not have yet; all trays, by name of the photo.

    A photo that fails is a tray with its error, and the rest goes on. Raises ``class`` or ``no-file`` where
    the folders can't be used, and ``unknown-cut`` and the like before anything is measured.
    """
    chosen_cut(asked.cut, asked.standard, produce=asked.produce, default=asked.settings.standard)
    photos, others = photos_in(folder)
    trays = _hashed(photos)
    # of two names of one file the first
    first = {tray.sha256: tray for tray in reversed(trays) if tray.error is None}
    now = asked.fingerprint()
    to_do, again, changed = [], 0, set[str]()
    for tray in first.values():
        kept = store.get(tray.sha256)
        if kept is None or kept["asked"] != now:
            to_do.append(Question(photos[tray.photo], tray.photo, tray.sha256))
        if kept is not None and kept["asked"] != now:
            again += 1
            changed |= {*changes(kept["asked"], now)}
    to_do.sort(key=lambda question: question.name)
    on_start(Start(len(to_do), len(first) - len(to_do), again, tuple(sorted(changed)), others))
    passing: dict[str, dict[str, Any]] = {}
    for question, answer in measure_all(to_do, asked.to_json(), workers or cores()):
        if answer.get("error", {}).get("code") in PASSING:
            passing[question.sha256] = answer
        else:
            store.put(question.sha256, {"asked": now, **answer})
        on_done(question.name)
    return tuple(_told(tray, first, store, passing) for tray in trays)


def _hashed(photos: Mapping[str, Path]) -> list[Tray]:
    """The trays with nothing but the hash of their photo; ``sha256`` is empty where it can't be read."""
    trays = []
    for name, path in photos.items():
        try:
            with path.open("rb") as file:
                trays.append(Tray(name, hashlib.file_digest(file, "sha256").hexdigest()))
        except OSError as error:
            why = error.strerror or "it could not be read"
            fault = CutcheckError("not-a-photo", file=name, why=why).to_dict()["error"]
            trays.append(Tray(name, "", error=fault))
    return trays


def _told(tray: Tray, first: dict[str, Tray], store: RunStore, passing: dict[str, dict[str, Any]]) -> Tray:
    """A tray with what is kept of it."""
    if tray.error is not None:
        return tray
    if first[tray.sha256].photo != tray.photo:
        return replace(tray, copy_of=first[tray.sha256].photo)
    # None: the file in the store was deleted under us
    gone = CutcheckError("not-finished", file=tray.photo, why="its result is gone").to_dict()
    kept: dict[str, Any] = passing.get(tray.sha256) or store.get(tray.sha256) or gone
    if "error" in kept:
        return replace(tray, error=kept["error"])
    result = serialise.from_dict(kept["result"])
    named = replace(result, photo=replace(result.photo, file=tray.photo))
    return replace(tray, result=named, look=Look.from_json(kept["look"]), scale_u=kept["scale_u"])


def _no_photos(problem: str) -> CutcheckError:
    remedy = f"Name the folder that holds the class's photos ({', '.join(ENDINGS[:-1])})."
    return CutcheckError("class", problem=problem, remedy=remedy)
