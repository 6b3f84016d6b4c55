"""At the bench: is this photo usable, or is it to be taken again, and how? Before its pieces are measured.

It goes the first steps of measuring: the photo read, the card found, light, sharpness and size judged, the
pieces told from the board. How sure each size is, only the full measuring says.
"""

from __future__ import annotations

from dataclasses import dataclass

from cutcheck.blobs import find_blobs
from cutcheck.errors import CutcheckError
from cutcheck.exposure import is_soft
from cutcheck.lens import LensPrior
from cutcheck.pipeline import Looked, Source, look_at, too_far
from cutcheck.settings import Settings
from cutcheck.standards import Cut


@dataclass(frozen=True, slots=True)
class QuickLook:
    """``numbers`` are those of the cards in sight, ``pieces`` how many things lie on the board (pieces that
    touch may be one). Where it is not ``usable``, ``why`` and what to do (``remedy``), with the ``code`` of
    the fault; ``notes`` say what could be better."""

    usable: bool
    numbers: tuple[int, ...] = ()
    why: str = ""
    remedy: str = ""
    code: str = ""
    notes: tuple[str, ...] = ()
    pieces: int = 0


def quick_look(
    photo: Source,
    *,
    name: str | None = None,
    cut: Cut | None = None,
    reference: str = "card",
    lens: LensPrior | None = None,
    settings: Settings | None = None,
) -> QuickLook:
    """Look at a photo (a file, its bytes, or a stream) as long as the tray is still there.

    ``cut`` tells how small its sides may be. Never raises for a photo: what is wrong is told.
    """
    try:
        looked = look_at(photo, name=name, reference=reference, lens=lens, settings=settings)
    except CutcheckError as error:
        return QuickLook(False, (), error.message, error.remedy, error.code)
    located, numbers = looked.located, looked.located.scale.numbers
    notes = (*looked.photo.warnings, *located.warnings)
    fault, pieces = (None if cut is None else too_far(looked.located, cut)) or _soft(looked), 0
    try:
        found = find_blobs(looked.photo, located.camera, located.regions_px, area_px=located.surface_px)
        notes, pieces = (*notes, *found.warnings), len(found.blobs)
    except CutcheckError as error:
        fault = fault or error
    if fault is not None:
        return QuickLook(False, numbers, fault.message, fault.remedy, fault.code, notes, pieces)
    return QuickLook(True, numbers, notes=notes, pieces=pieces)


def _soft(looked: Looked) -> CutcheckError | None:
    """Softer than is good: measuring would only warn, but the tray is still there to be taken again."""
    soft = is_soft(looked.located.blur_px, looked.located.scale.mm_per_px)
    return CutcheckError("blurred", blur_px=looked.located.blur_px) if soft else None
