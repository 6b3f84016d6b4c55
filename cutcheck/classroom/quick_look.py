"""At the bench: is this photo usable, or is it to be taken again, and how? Before its pieces are measured.

It goes the first steps of measuring: the photo read, the card found, light, sharpness and size judged. That
something lies on the board is looked at in a small copy; the full measuring may still say more.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from cutcheck.errors import CutcheckError
from cutcheck.exposure import BLUR_WARN_MM, BLUR_WARN_PX
from cutcheck.lens import LensPrior
from cutcheck.pipeline import FEWEST_PIXELS, Looked, Source, look_at
from cutcheck.settings import Settings
from cutcheck.standards import Cut

SMALL_PX = 900  # longest side of the copy in which something is looked for
FEWEST_MM2 = 60.0  # that stand out from the board: two small dice, a few sticks
STANDS_OUT = 24.0  # codes of Lab from the board's own colour; rough, common practice, no source


@dataclass(frozen=True, slots=True)
class QuickLook:
    """``numbers`` are those of the cards in sight. Where it is not ``usable``, ``why`` and what to do
    (``remedy``), with the ``code`` of the fault; else ``notes`` say what could be better."""

    usable: bool
    numbers: tuple[int, ...] = ()
    why: str = ""
    remedy: str = ""
    code: str = ""
    notes: tuple[str, ...] = ()


def quick_look(
    photo: Source,
    *,
    cut: Cut | None = None,
    reference: str = "card",
    lens: LensPrior | None = None,
    settings: Settings | None = None,
) -> QuickLook:
    """Look at a photo (a file, its bytes, or a stream) as long as the tray is still there.

    ``cut`` tells how small its sides may be. Never raises for a photo: what is wrong is told.
    """
    try:
        looked = look_at(photo, reference=reference, lens=lens, settings=settings)
    except CutcheckError as error:
        return QuickLook(False, (), error.message, error.remedy, error.code)
    located, numbers = looked.located, looked.located.scale.numbers
    notes = (*looked.photo.warnings, *located.warnings)
    fault = _too_far(looked, cut) or _soft(looked) or _empty(looked)
    if fault is not None:
        return QuickLook(False, numbers, fault.message, fault.remedy, fault.code, notes)
    return QuickLook(True, numbers, notes=notes)


def _too_far(looked: Looked, cut: Cut | None) -> CutcheckError | None:
    plan = [] if cut is None else [t.size_mm[0] for t in cut.targets if t.side != "height"]
    pixels = min(plan, default=float("inf")) / looked.located.scale.mm_per_px
    if pixels >= FEWEST_PIXELS:
        return None
    return CutcheckError("too-far", what="the cut's smallest side", pixels=pixels, needed=int(FEWEST_PIXELS))


def _soft(looked: Looked) -> CutcheckError | None:
    """Softer than is good: measuring would only warn, but the tray is still there to be taken again."""
    blur_px = looked.located.blur_px
    soft = blur_px * looked.located.scale.mm_per_px > BLUR_WARN_MM and blur_px > BLUR_WARN_PX
    return CutcheckError("blurred", blur_px=blur_px) if soft else None


def _empty(looked: Looked) -> CutcheckError | None:
    """``no-pieces`` where next to nothing stands out from the board beside the card."""
    pixels = looked.photo.pixels
    factor = min(1.0, SMALL_PX / max(pixels.shape[:2]))
    small = cv2.resize(pixels, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    lab = cv2.cvtColor(cv2.GaussianBlur(small, (0, 0), 1.5), cv2.COLOR_BGR2LAB).astype(np.float32)
    mask = np.ones(small.shape[:2], np.uint8)
    for region in looked.located.regions_px:
        corners = np.round((np.asarray(region) + 0.5) * factor - 0.5).astype(np.int32)
        cv2.fillPoly(mask, [corners], 0)
    mask = cv2.erode(mask, np.ones((9, 9), np.uint8))
    if looked.located.surface_px is not None:
        inside = np.zeros_like(mask)
        corners = np.round((np.asarray(looked.located.surface_px) + 0.5) * factor - 0.5).astype(np.int32)
        cv2.fillPoly(inside, [corners], 1)
        mask = mask * inside
    # The board's colour, place by place: light falls off over a board, and that is no piece.
    wide = cv2.medianBlur(small, 5)
    board = cv2.GaussianBlur(wide, (0, 0), SMALL_PX / 12)
    off = np.abs(lab - cv2.cvtColor(board, cv2.COLOR_BGR2LAB).astype(np.float32))
    apart = np.hypot(off[..., 0] * 0.5, np.hypot(off[..., 1], off[..., 2])) > STANDS_OUT
    mm_per_px = looked.located.scale.mm_per_px / factor
    area = float((apart & (mask > 0)).sum()) * mm_per_px**2
    return CutcheckError("no-pieces") if area < FEWEST_MM2 else None
