"""What a user set once and need not say again: kept in one small TOML file in the user's own folder.

Where that is: ``settings_path()``; the variable ``CUTCHECK_SETTINGS`` names another file. A missing file
means the defaults.
"""

from __future__ import annotations

import json
import os
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import Any, get_args

from platformdirs import user_config_path

from cutcheck.access import must_be_here
from cutcheck.errors import CutcheckError
from cutcheck.reference import parse_toml, shown
from cutcheck.units import Unit
from cutcheck.whole_file import writing_whole


@dataclass(frozen=True, slots=True)
class Settings:
    """The settings and their defaults.

    ``printed`` is the print check, ``"197.4x213.2"`` mm, or None where the ruler has not been used;
    ``thickness_mm`` that of the card (0.2 paper, 0.5 laminated); the limits guard the reading of photos;
    ``journal`` is its file, None for the usual place; ``keep_photo`` whether a tray is kept with its photo;
    ``graded_days`` how long graded work is kept.
    """

    printed: str | None = None
    thickness_mm: float = 0.2
    standard: str = "metric"
    unit: Unit = "mm"
    max_megapixels: float = 60.0
    max_megabytes: float = 40.0
    journal: str | None = None
    keep_photo: bool = False
    graded_days: float = 365.0


NAMES = tuple(field.name for field in fields(Settings))
_NUMBERS = {
    "thickness_mm": (0.0, 5.0),
    "max_megapixels": (1.0, 400.0),
    "max_megabytes": (1.0, 1000.0),
    "graded_days": (1.0, 36500.0),
}


def settings_path() -> Path:
    """The file that holds the settings."""
    named = os.environ.get("CUTCHECK_SETTINGS")
    return Path(named) if named else user_config_path("cutcheck", appauthor=False) / "settings.toml"


def load_settings() -> Settings:
    """The settings of this user; a ``bad-option`` error if the file can't be understood."""
    path = settings_path()
    try:
        values = parse_toml(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return Settings()
    except (OSError, ValueError) as error:
        raise CutcheckError(
            "bad-option",
            problem=f"The settings file '{path}' can't be read ({error}).",
            remedy="Mend it, or delete it to start from the defaults.",
        ) from None
    settings = Settings()
    for name, value in values.items():
        settings = changed(settings, name, value)
    return settings


def changed(settings: Settings, name: str, value: Any) -> Settings:
    """The settings with one changed; ``bad-option`` if there is no such setting or the value can't be."""
    if name not in NAMES:
        raise _bad(f"{shown(name)} is not a setting.", f"The settings are: {', '.join(NAMES)}.")
    if name in _NUMBERS:
        value = _number(name, value)
    elif name == "unit" and value not in get_args(Unit):
        raise _bad(f"{shown(value)} is not a unit that lengths are shown in.", "Take mm or in.")
    elif name == "printed":
        value = None if value in (None, "", "forget") else parse_printed(str(value))
    elif name == "journal":
        value = None if value in (None, "", "forget") else str(Path(str(value)).expanduser())
    elif name == "keep_photo":
        value = _yes_or_no(name, value)
    return replace(settings, **{name: value})


def save_settings(settings: Settings) -> Path:
    """Write the settings; returns where. Values equal to the default are left out."""
    must_be_here("Settings")
    path = settings_path()
    lines = ["# cutcheck's settings; a line deleted is back at its default."]
    defaults = asdict(Settings())
    lines += [f"{name} = {_toml(v)}" for name, v in asdict(settings).items() if v != defaults[name]]
    remedy = "Make room on the disk, or name another file in the variable CUTCHECK_SETTINGS."
    with writing_whole(path, remedy=remedy) as place:
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def parse_printed(text: str) -> str:
    """A print check in one spelling, mm: ``"197.4x213.2"``. Inches are taken too (``7.77x8.39in``)."""
    from cutcheck.card import PrintCheck  # here: it brings numpy

    words = text.strip().lower().replace(" ", "").removesuffix("mm")
    try:
        if words.endswith("in"):
            across, _, down = words.removesuffix("in").replace("×", "x").partition("x")
            words = f"{float(across) * 25.4:.2f}x{float(down) * 25.4:.2f}"
        check = PrintCheck.parse(words)
    except ValueError as error:
        raise _bad(
            f"{str(error)[:1].upper()}{str(error)[1:]}.",
            "Measure the outer edges of the outermost black squares, across and down, and give both.",
        ) from None
    return f"{check.across_mm:g}x{check.down_mm:g}"


def _number(name: str, value: Any) -> float:
    low, high = _NUMBERS[name]
    try:
        number = float(value)
    except (TypeError, ValueError):
        number = float("nan")
    if not low <= number <= high:
        raise _bad(f"{name} can't be {shown(value)}.", f"Give a number from {low:g} to {high:g}.")
    return number


def _yes_or_no(name: str, value: Any) -> bool:
    said = str(value).strip().lower()
    if said not in ("yes", "true", "no", "false"):
        raise _bad(f"{name} can't be {shown(value)}.", "Give yes or no.")
    return said in ("yes", "true")


def _toml(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return repr(value)
    # JSON escapes what a TOML string needs escaped, but for DEL.
    return json.dumps(str(value), ensure_ascii=False).replace("\x7f", "\\u007f")


def _bad(problem: str, remedy: str) -> CutcheckError:
    return CutcheckError("bad-option", problem=problem, remedy=remedy)
