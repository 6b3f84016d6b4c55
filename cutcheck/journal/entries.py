"""What the journal holds, as typed, immutable records."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from cutcheck.records import Result, SideName


@dataclass(frozen=True, slots=True)
class Cook:
    """One person. Two cooks of one name are two persons, told apart by their number."""

    number: int
    name: str
    added: str
    checks: int = 0
    last: str | None = None
    key: str = ""

    @property
    def label(self) -> str:
        """Name and number, as it can be typed: ``"Ada Example#3"``."""
        return f"{self.name}#{self.number}"


@dataclass(frozen=True, slots=True)
class Extras:
    """What only the cook knows of a tray: weights in g, minutes at the board, a note. All may be missing."""

    raw_g: float | None = None
    finished_g: float | None = None
    waste_g: float | None = None
    minutes: float | None = None
    note: str = ""

    @property
    def waste_share(self) -> float | None:
        """The share of the raw weight that was lost, where two of the weights tell it."""
        if self.raw_g and self.waste_g is not None:
            return self.waste_g / self.raw_g
        if self.raw_g and self.finished_g is not None:
            return 1.0 - self.finished_g / self.raw_g
        return None


@dataclass(frozen=True, slots=True)
class Taking:
    """How the photo was measured: what it takes to do it again. ``lens`` is the calibration used, if any."""

    reference: str = "card"
    printed: str | None = None
    thickness_mm: float | None = None
    focal_35mm: float | None = None
    camera_name: str | None = None
    maybe_cropped: bool = False
    scale_u: float = 0.0
    camera: tuple[float, ...] = ()
    lens: dict[str, Any] | None = None


@dataclass(frozen=True, slots=True)
class Entry:
    """A kept check without its pieces: a line of the list."""

    number: int
    cook: Cook
    practised: str
    cut: str | None
    standard: str | None
    mark: float | None
    mark_low: float | None
    mark_high: float | None
    on_size: float | None
    counted: int | None
    file: str
    sha256: str
    kept: str
    program_version: str
    cut_version: str | None
    produce: str | None
    has_photo: bool
    extras: Extras = field(default_factory=Extras)
    key: str = ""


@dataclass(frozen=True, slots=True)
class Kept:
    """A kept check with all that it gave."""

    entry: Entry
    result: Result
    taking: Taking


@dataclass(frozen=True, slots=True)
class SideEntry:
    """One side of one kept check, as progress needs it. Lengths mm; spreads with the noise taken out.

    ``mean_u_mm`` is the standard uncertainty that measuring leaves to the mean, ``noise_mm`` that of a piece.
    """

    check: int
    practised: str
    side: SideName
    label: str
    low_mm: float
    high_mm: float
    mean_mm: float | None
    mean_u_mm: float | None
    sd_mm: float | None
    noise_mm: float | None
    seen: int
    share_on_size: float | None
