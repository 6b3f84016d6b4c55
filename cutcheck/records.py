"""The results of a check: typed, immutable records.

Lengths are millimetres, photo coordinates pixels of the upright photo: x right, y down, the centre of the
top-left pixel at (0, 0). ``u95`` is an expanded uncertainty (k = 2, JCGM 100:2008).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

Shape = Literal["box", "disc", "ribbon", "irregular"]
Verdict = Literal["in", "out", "unsure", "offcut"]
Reference = Literal["card", "mat", "id1", "sheet", "disc", "square"]
SideName = Literal["length", "width", "height"]
SIDES: tuple[SideName, ...] = ("length", "width", "height")
FocalFrom = Literal["exif", "solved", "lens"]
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Measure:
    """One side of a piece: the best estimate and how far off it may be. ``mm`` is None where not seen."""

    mm: float | None
    u95: float | None
    seen: bool = True


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One line of an uncertainty budget: a standard uncertainty of one side from one cause, mm."""

    side: SideName
    cause: str
    standard_mm: float


@dataclass(frozen=True, slots=True)
class ShapeFigure:
    """A shape fault as an instructor sees it: plain name, figure, unit (``mm`` or ``deg``)."""

    name: str
    value: float
    unit: str
    u95: float


@dataclass(frozen=True, slots=True)
class Piece:
    """One piece on the board, measured as a solid."""

    number: int
    centre_px: Point
    outline_px: tuple[Point, ...]
    shape: Shape
    length: Measure
    width: Measure
    height: Measure
    verdict: Verdict | None = None
    conformity: float | None = None
    flags: tuple[str, ...] = ()
    figures: tuple[ShapeFigure, ...] = ()
    budget: tuple[BudgetLine, ...] = ()
    top_px: tuple[Point, ...] = ()


@dataclass(frozen=True, slots=True)
class PhotoInfo:
    """The photo as it was read."""

    file: str
    sha256: str
    width_px: int
    height_px: int
    taken: str | None = None


@dataclass(frozen=True, slots=True)
class Scale:
    """How the photo got its millimetres. ``mm_per_px`` holds on the board at the picture's centre.

    ``regions_px`` outlines each card (or other reference) in the photo.
    """

    reference: Reference
    numbers: tuple[int, ...]
    mm_per_px: float
    tilt_deg: float
    residual_px: float
    focal_px: float
    focal_from: FocalFrom
    regions_px: tuple[tuple[Point, ...], ...] = ()


@dataclass(frozen=True, slots=True)
class SideScore:
    """One scored side over the tray. ``target_mm`` is the tolerance interval [low, high]."""

    side: SideName
    target_mm: tuple[float, float]
    mean_mm: float | None
    sd_mm: float | None
    seen: int
    share_on_size: float | None = None
    label: str = ""


@dataclass(frozen=True, slots=True)
class Score:
    """The mark (0 to 100) with the interval that measuring leaves, and what it is made of."""

    mark: float
    mark_low: float
    mark_high: float
    on_size: float
    evenness: float | None
    squareness: float | None
    counted: int
    sides: tuple[SideScore, ...]
    sampling: float | None = None


@dataclass(frozen=True, slots=True)
class CutName:
    """The cut a tray was compared with, and whose sizes those are."""

    name: str
    standard: str


@dataclass(frozen=True, slots=True)
class Suggestion:
    """The cut that the pieces look most like."""

    name: str
    probability: float


@dataclass(frozen=True, slots=True)
class Result:
    """All that one photo gave."""

    photo: PhotoInfo
    scale: Scale
    pieces: tuple[Piece, ...]
    cut: CutName | None = None
    suggested: Suggestion | None = None
    score: Score | None = None
    advice: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    schema: int = field(default=1)
