"""Calibrated lenses, kept in the user's data folder: one JSON file for each camera model and lens."""

from __future__ import annotations

import json
import os
import re
from dataclasses import asdict
from pathlib import Path

from platformdirs import user_data_path

from cutcheck.errors import CutcheckError
from cutcheck.lens import LensPrior
from cutcheck.photo import Photo
from cutcheck.whole_file import writing_whole


def lens_folder() -> Path:
    """Where calibrated lenses are kept: one JSON file each."""
    named = os.environ.get("CUTCHECK_LENSES")
    return Path(named) if named else user_data_path("cutcheck", appauthor=False) / "lenses"


def save_lens(lens: LensPrior) -> Path:
    """Keeps a lens, in the place of an earlier one of the same camera and lens; the file's path.

    ``bad-option`` where it can't be written.
    """
    path = lens_folder() / _file_name(lens.camera_name, lens.focal_35mm)
    with writing_whole(path, remedy="Make room on the disk, or see that you may write there.") as place:
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text(json.dumps(asdict(lens), indent=1), encoding="utf-8")
    return path


def lens_of(photo: Photo) -> LensPrior | None:
    """The kept lens that took a photo, or None: without EXIF nothing tells which it was."""
    if photo.camera_name is None or photo.maybe_cropped:
        return None
    path = lens_folder() / _file_name(photo.camera_name, photo.focal_35mm)
    if not path.is_file():
        return None
    try:
        kept = json.loads(path.read_text(encoding="utf-8"))
        kept["sd"], kept["correlation"] = tuple(kept["sd"]), tuple(kept["correlation"])
        return LensPrior(**kept)
    except (OSError, ValueError, TypeError, KeyError) as error:
        raise CutcheckError(
            "bad-option",
            problem=f"The kept lens '{path}' can't be read ({error}).",
            remedy="Delete that file, or calibrate the lens again with 'cutcheck lens'.",
        ) from None


def forget_lens(photo: Photo) -> Path | None:
    """Drops the kept lens that took a photo; the file's path, or None where there was none."""
    path = lens_folder() / _file_name(photo.camera_name or "", photo.focal_35mm)
    if not path.is_file():
        return None
    path.unlink()
    return path


def _file_name(camera_name: str, focal_35mm: float | None) -> str:
    plain = re.sub(r"[^a-z0-9]+", "-", camera_name.lower()).strip("-") or "camera"
    return f"{plain}-{focal_35mm:g}mm.json" if focal_35mm is not None else f"{plain}.json"
