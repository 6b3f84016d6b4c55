"""Whether a photo's light and sharpness will do, told by the card, or by the photo where no card is found."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

from cutcheck.card import SQUARE_MM, CardLayout
from cutcheck.edges import EdgePoints
from cutcheck.errors import CutcheckError
from cutcheck.light import LINEAR32
from cutcheck.located import Grey

Floats = NDArray[np.float64]

# Where measuring ends; rough limits of ours, common practice, no source.
BLUR_MM, BLUR_WARN_MM = 1.6, 0.6  # an edge's width on the board, from 10 to 90 % of the step
BLUR_WARN_PX = 3.5  # less is no softer than a phone's picture is
DARK_WHITE = 0.012  # linear light of white paper: code 28 of 255
WASHED_BLACK = 0.2  # linear light of printed black beside clipped white: two stops and more too much
BURNT_SHARE = 0.05  # of the photo in one patch, where no card is found
CLIPPED = 0.985  # linear light at which a code of 253 or more is near its end
_ROWS = 512  # looked at together
LAY_THE_CARD = (
    "Lay the printed card flat beside the pieces, all four squares in sight, and take the photo again."
)
DARK_PHOTO, BRIGHT_PHOTO = 40, 250  # codes


def judge_edges(points: tuple[EdgePoints, ...], px_per_mm: float) -> list[str]:
    """Refuses what can't be measured (blurred, too-dark, too-bright) and returns warnings about the rest."""
    found = np.concatenate([seen.found for seen in points])
    white = np.concatenate([seen.white for seen in points])
    black = np.concatenate([seen.black for seen in points])
    width = np.concatenate([seen.width_px for seen in points])
    if np.median(white) < DARK_WHITE:
        raise CutcheckError("too-dark")
    washed = (white > CLIPPED) & (black > WASHED_BLACK)
    if washed.mean() > 0.3:
        raise CutcheckError("too-bright", share=float(washed.mean()), what="card")
    blur_px = float(np.nanmedian(width[found])) if found.any() else float("nan")
    if blur_px / px_per_mm > BLUR_MM:
        raise CutcheckError("blurred", blur_px=blur_px)
    warnings = []
    if is_soft(blur_px, 1.0 / px_per_mm):
        warnings.append(
            f"The photo is soft: edges are {blur_px:.0f} pixels wide. "
            "Tap on the pieces to focus and hold still."
        )
    if (white[found] > CLIPPED).mean() > 0.5:
        warnings.append("The card's white is overexposed. Tap on the card so that the phone exposes for it.")
    if found.mean() < 0.8:
        warnings.append(
            "Parts of the card can't be used: something lies on it, or light glares on it. "
            "Keep the card clear."
        )
    return warnings


def is_soft(blur_px: float, mm_per_px: float) -> bool:
    """Whether edges so wide (NaN, of a coin, is not known) are softer than is good."""
    return blur_px * mm_per_px > BLUR_WARN_MM and blur_px > BLUR_WARN_PX


def why_nothing_found(pixels: NDArray[np.uint8]) -> CutcheckError:
    """The likeliest reason why no square was found in a photo."""
    step = max(1, max(pixels.shape[:2]) // 1200)
    grey = cv2.cvtColor(np.ascontiguousarray(pixels[::step, ::step]), cv2.COLOR_BGR2GRAY)
    low, high = np.percentile(grey, [0.5, 99.5])
    if high < DARK_PHOTO:
        return CutcheckError("too-dark")
    burnt = cv2.connectedComponentsWithStats((grey >= BRIGHT_PHOTO).astype(np.uint8))[2][1:, cv2.CC_STAT_AREA]
    share = float(burnt.max()) / grey.size if len(burnt) else 0.0
    if share > BURNT_SHARE:
        return CutcheckError("too-bright", share=share, what="photo")
    width = _edge_width(pixels, float(high - low))
    if high - low > 60 and width > max(12.0, max(pixels.shape[:2]) / 160):
        return CutcheckError("blurred", blur_px=width)
    return CutcheckError("no-card", what="reference card", remedy=LAY_THE_CARD)


def _edge_width(pixels: NDArray[np.uint8], contrast: float) -> float:
    """How wide the sharpest edges of a photo are, px: its contrast over its steepest slopes."""
    smooth = cv2.GaussianBlur(cv2.cvtColor(pixels, cv2.COLOR_BGR2GRAY), (0, 0), 2.0)  # noise is no edge
    counts = np.zeros(20_000, np.int64)  # of slopes in hundredths of a code; the steepest is 128 times root 2
    for top in range(0, len(smooth) - 2, _ROWS):  # the slopes of a whole large photo take a gigabyte
        band = smooth[top : top + _ROWS + 2].astype(np.float32)
        slope = np.hypot(band[1:-1, 2:] - band[1:-1, :-2], band[2:, 1:-1] - band[:-2, 1:-1]) / 2
        counts += np.bincount((100 * slope).astype(np.int32).ravel(), minlength=len(counts))
    steep = int(np.searchsorted(np.cumsum(counts), 0.999 * counts.sum())) / 100
    return contrast / max(steep, 0.1)


def greys_on(
    pixels: NDArray[np.uint8], layout: CardLayout, to_px: Callable[[Floats], Floats]
) -> tuple[Grey, ...]:
    """The greys of one card or mat as photographed; ``to_px`` maps the layout's mm to px.

    Grey patches by their sRGB level, paper as white, a square's border as black.
    """
    spots: list[tuple[str, float, float, float, float]] = []  # what, nominal, x, y, half side of the spot
    for patch in layout.greys:
        x, y = (patch.area.left + patch.area.right) / 2, (patch.area.top + patch.area.bottom) / 2
        spots.append(("grey", float(LINEAR32[patch.srgb]), x, y, 2.0))
    for corners in layout.squares.values():
        x, y = corners.mean(axis=0)
        inward = -1.0 if y > 0 else 1.0
        spots.append(("white", 1.0, x, y + inward * (SQUARE_MM / 2 + 2.0), 0.9))
        spots.append(("black", 0.0, x, y + inward * (SQUARE_MM / 2 - 1.5), 0.7))
    fine = np.linspace(-1, 1, 7)
    grid = np.stack(np.meshgrid(fine, fine), axis=-1).reshape(-1, 2)
    mm = np.array([[x, y] + half * grid for _, _, x, y, half in spots])
    px = to_px(mm.reshape(-1, 2)).astype(np.float32)
    colours = cv2.remap(pixels, px[:, 0], px[:, 1], cv2.INTER_NEAREST, borderMode=cv2.BORDER_REPLICATE)
    light = LINEAR32[colours].reshape(len(spots), len(grid), 3)
    middles = px.reshape(len(spots), -1, 2).mean(axis=1).astype(np.float64)
    seen = np.median(light, axis=1).astype(np.float64)
    return tuple(Grey(what, nominal, seen[k], middles[k]) for k, (what, nominal, *_) in enumerate(spots))
