"""What a class's photos are measured for: all that the measuring depends on, and nothing else.

The rubric is not among it: marks are computed anew from what was measured.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass, field, fields
from pathlib import Path
from typing import Any

import cutcheck
from cutcheck.lens_store import lens_folder
from cutcheck.settings import Settings

# How a change is told; what is not here is told by its own name.
_WORDS = {
    "version": "the version of cutcheck",
    "standard": "the standard",
    "default": "the standard",
    "produce": "the produce",
    "reference": "what gives the scale",
    "printed": "the print check",
    "thickness_mm": "the card's thickness",
    "lenses": "the calibrated lenses",
    "max_megapixels": "the limits for photos",
    "max_megabytes": "the limits for photos",
    "cut": "the cut",
    "unit": "the unit",
}


@dataclass(frozen=True, slots=True)
class Asked:
    """The cut, the sizes that count, what gives the scale, and the user's settings."""

    cut: str
    standard: str | None = None
    produce: str | None = None
    reference: str = "card"
    settings: Settings = field(default_factory=Settings)

    def to_json(self) -> dict[str, Any]:
        """For a process that measures."""
        return asdict(self)

    @classmethod
    def from_json(cls, data: dict[str, Any]) -> Asked:
        """What ``to_json`` gave."""
        return cls(**{**data, "settings": Settings(**data["settings"])})

    def fingerprint(self) -> dict[str, str]:
        """All that a result depends on besides the photo, by name; files by their content."""
        own = {one.name: getattr(self.settings, one.name) for one in fields(Settings)}
        own["default"] = _content(str(own.pop("standard")))
        standard = None if self.standard is None else _content(self.standard)
        mine = {"cut": self.cut, "standard": standard, "produce": self.produce, "reference": self.reference}
        outside = {"version": cutcheck.__version__, "lenses": _lenses()}
        return {name: json.dumps(value) for name, value in {**own, **mine, **outside}.items()}


def changes(before: dict[str, str], now: dict[str, str]) -> tuple[str, ...]:
    """What differs between two fingerprints, in words."""
    differ = [name for name in sorted({*before, *now}) if before.get(name) != now.get(name)]
    return tuple(dict.fromkeys(_WORDS.get(name, name) for name in differ))


def _content(standard: str) -> str:
    path = Path(standard)
    return hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else standard


def _lenses() -> str:
    folder = lens_folder()
    files = sorted(folder.glob("*.json")) if folder.is_dir() else []
    return hashlib.sha256(b"\0".join(path.name.encode() + path.read_bytes() for path in files)).hexdigest()
