"""Where a command's pictures and pages go: the file that is named, or a folder, called there as the photo."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Sequence
from pathlib import Path

import click

from cutcheck.errors import CutcheckError
from cutcheck.printable import printable
from cutcheck.whole_file import write_whole

PICTURE_ENDINGS = (".png", ".jpg", ".jpeg", ".webp")
_MARKED, _PAGE = "-marked.jpg", ".pdf"  # how the files in a folder end


def check_places(
    photos: Sequence[str], *, picture: str | None, pdf: str | None, together: bool = False
) -> None:
    """What can't be written, or would be written over another, is told before anything is measured.

    ``together``: the photos are of one tray and give one picture and one page. Raises ``bad-option``.
    """
    several = len(photos) > 1 and not together
    for option, named, ending in (("--picture", picture, _MARKED), ("--pdf", pdf, _PAGE)):
        if named is None:
            continue
        if several and not Path(named).is_dir():
            raise _bad(
                f"'{named}' is not a folder, and there are several photos.",
                f"Make a folder and name it with {option}; one file for each photo goes there.",
            )
        if option == "--picture" and not Path(named).is_dir():
            _check_ending(named)
        made = photos if several else photos[:1]
        _check_files(option, [_place(named, photo, ending) for photo in made], photos)


def picture_place(named: str, photo: str) -> Path:
    """The file of a photo's marked picture; its ending is one of ``PICTURE_ENDINGS``."""
    return _place(named, photo, _MARKED)


def write_pdf(named: str, data: bytes, photo: str = "") -> None:
    """Write a page to print, into a folder as PHOTO.pdf; ``bad-option`` where that can't be done."""
    place = _place(named, photo, _PAGE)
    write_whole(place, data)
    click.echo(f"Written: {place}.", err=True)


def _place(named: str, photo: str, ending: str) -> Path:
    path = Path(named)
    return path / f"{Path(printable(photo)).stem or 'page'}{ending}" if path.is_dir() else path


def _check_ending(picture: str) -> None:
    if Path(picture).suffix.lower() not in PICTURE_ENDINGS:
        raise _bad(
            f"A picture can't be written as '{picture}'.",
            f"Let the name end in {', '.join(PICTURE_ENDINGS[:-1])} or {PICTURE_ENDINGS[-1]}.",
        )


def _check_files(option: str, files: Sequence[Path], photos: Sequence[str]) -> None:
    """No file may take the place of a photo that is measured, nor of another photo's file."""
    for file in files:
        for photo in photos:
            with contextlib.suppress(OSError):
                if file.samefile(photo):
                    raise _bad(
                        f"'{file}' is one of the photos, which would be lost.",
                        f"Name another file or folder with {option}.",
                    )
    taken: dict[str, str] = {}
    for file, photo in zip(files, photos, strict=False):  # photos of one tray have one file
        other = taken.setdefault(os.path.normcase(file), photo)
        if other != photo:
            raise _bad(
                f"What is made of '{other}' and of '{photo}' would both be called '{file}'.",
                "Rename one of the photos, or check them apart, each with a folder of its own.",
            )


def _bad(problem: str, remedy: str) -> CutcheckError:
    return CutcheckError("bad-option", problem=problem, remedy=remedy)
