"""Which photos show which tray, and who took them: from folders, file names, or a list."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from cutcheck.accuracy import PHOTO_ENDINGS
from cutcheck.classroom.messy_table import Columns, read_table, tell_faults
from cutcheck.errors import CutcheckError

By = Literal["folder", "name", "one"]
ONE = "one person"
PLAN = Columns(
    {
        "photo": ("photo", "file", "picture", "image"),
        "tray": ("tray", "card", "number", "part"),
        "by": ("by", "person", "who", "phone", "appraiser"),
    },
    (("photo",), ("tray", "by")),
    "The plan",
    "Save it as CSV with the first line photo,tray,by and one photo a line; an empty tray is told by the "
    "card's number.",
)


@dataclass(frozen=True, slots=True)
class Shot:
    """A photo to be measured: what it is called, who took it, and its tray (None: the card's number says)."""

    photo: str
    path: Path
    by: str
    tray: str | None = None


def shots(
    given: Sequence[str | Path], by: By | None = None, plan: str | Path | None = None
) -> tuple[Shot, ...]:
    """The photos of files and folders (with what lies in these), each once.

    ``by`` says who took one: its folder, or the word that its name begins with; without it the folder where
    there are several. A ``plan`` goes before both, and photos that it leaves out are left out. Raises
    ``no-file``, ``bad-option`` or ``roster`` (the plan).
    """
    paths = _photos(given)
    top = _common(paths)
    names = {path: path.relative_to(top).as_posix() for path in paths}
    if plan is not None:
        return _planned(plan, names)
    if by is None:
        by = "folder" if len({path.parent for path in paths}) > 1 else "one"
    return tuple(Shot(name, path, _who(path, by)) for path, name in names.items())


def _photos(given: Sequence[str | Path]) -> list[Path]:
    found: dict[Path, None] = {}
    for one in map(Path, given):
        if one.is_dir():
            inside = sorted(path for path in one.rglob("*") if path.suffix.lower() in PHOTO_ENDINGS)
            found |= dict.fromkeys(path.resolve() for path in inside if path.is_file())
        elif one.is_file():
            found[one.resolve()] = None
        else:
            raise CutcheckError("no-file", file=one)
    if not found:
        raise CutcheckError(
            "bad-option",
            problem="There is no photo in what was named.",
            remedy=f"Name photos, or folders that hold some ({', '.join(PHOTO_ENDINGS)}).",
        )
    return list(found)


def _common(paths: Sequence[Path]) -> Path:
    """The deepest folder that holds them all."""
    return next(top for top in paths[0].parents if all(path.is_relative_to(top) for path in paths))


def _who(path: Path, by: By) -> str:
    if by == "folder":
        return path.parent.name
    if by == "one":
        return ONE
    word = re.match(r"[^\W\d_]+", path.stem)
    if word is None:
        raise CutcheckError(
            "bad-option",
            problem=f"The name of '{path.name}' does not begin with a word that says who took it.",
            remedy="Call photos like 'ada-3.jpg', or give --by folder, or --plan with photo, tray and by.",
        )
    return word.group().casefold()


def _planned(plan: str | Path, names: dict[Path, str]) -> tuple[Shot, ...]:
    table = read_table(plan, PLAN)
    found: dict[Path, Shot] = {}
    faults: list[tuple[int, str]] = []
    for row in table.rows:
        said = row.cells["photo"].replace("\\", "/")
        fits = [path for path, name in names.items() if name == said or f"/{name}".endswith(f"/{said}")]
        if not said or not fits:
            faults.append((row.line, f"there is no photo '{said}' among those that were named"))
        elif len(fits) > 1:
            faults.append((row.line, f"there are {len(fits)} photos '{said}': write their folder before it"))
        elif fits[0] in found:
            faults.append((row.line, f"'{said}' is in the plan already"))
        else:
            tray, by = row.cells.get("tray", ""), row.cells.get("by", "")
            found[fits[0]] = Shot(names[fits[0]], fits[0], by or ONE, tray or None)
    tell_faults(PLAN, str(plan), faults)
    return tuple(found[path] for path in names if path in found)
