"""A phone's lens, calibrated once from a few photos of the card or of a checkerboard.

Each photo is solved with what the ones before it told of the lens; after the last, all is known that they
tell together. ``lens_store`` keeps it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from cutcheck import adjust
from cutcheck.card import PrintCheck
from cutcheck.card_fit import camera_from_plane, fit_cards
from cutcheck.edges import MARGIN_MM, Stretches, edge_points
from cutcheck.errors import CutcheckError
from cutcheck.find_card import find_cards, homography_between, through
from cutcheck.lens import KnownLens, LensPrior, lens_priors
from cutcheck.photo import Photo

Floats = NDArray[np.float64]

FEWEST_PHOTOS = 3
FIELD_MM = 25.0  # of a checkerboard; its true size does not matter to the lens
BOARD_FLAT_MM = 0.3
OPEN = np.array([1.0, 3.0, 3.0, 4.0, 4.0])  # several photos may say more than one: f, cx, cy, k1, k2
# Common practice, no source: focusing near or far changes the focal length a little, stabilisers move the
# optical centre, and the phone straightens differently by distance. Parts of the focal length, of the
# diagonal, and of the picture's corner.
FOCUS_SD, CENTRE_SD, CORNER_SD = 0.004, 0.001, 0.002


@dataclass(frozen=True)
class Calibration:
    """A calibrated lens, and how well each photo agreed: scatter of the edges, px."""

    lens: LensPrior
    residuals_px: tuple[float, ...]


def calibrate(
    photos: Sequence[Photo], *, board: tuple[int, int] | None = None, printed: PrintCheck | None = None
) -> Calibration:
    """The lens that took these photos, of the card, or of a checkerboard with ``board`` inner corners
    (across, down) where that is given. All photos from one camera, held the same way, from different sides.

    Raises CutcheckError: bad-option (too few photos, different sizes or cameras), no-card.
    """
    if len(photos) < FEWEST_PHOTOS:
        raise _refused(
            f"{len(photos)} photos are too few to calibrate a lens.",
            f"Take {FEWEST_PHOTOS} or more, the card here and there in the picture, from different sides.",
        )
    sizes = {photo.pixels.shape[:2] for photo in photos}
    makes = {(photo.camera_name, photo.focal_35mm) for photo in photos}
    if len(sizes) > 1 or len(makes) > 1:
        raise _refused(
            "The photos differ in size, camera or lens.",
            "Take all with the same lens of one phone, held the same way, without zoom.",
        )
    (guess, *_), _ = lens_priors(photos[0])
    known = KnownLens(guess.mean, guess.covariance * np.outer(OPEN, OPEN))
    residuals = []
    for photo in photos:
        fit = board_fit(photo, board, known) if board else _card_fit(photo, printed, known)
        camera = fit.camera
        mean = np.array([camera.f, camera.cx, camera.cy, camera.k1, camera.k2])
        known = KnownLens(mean, fit.covariance[:5, :5])
        residuals.append(fit.sigma)
    return Calibration(_normalised(known, photos[0]), tuple(residuals))


def _card_fit(photo: Photo, printed: PrintCheck | None, known: KnownLens) -> adjust.Fit:
    cards = [card for card in find_cards(photo.pixels) if card.complete]
    if not cards:
        raise _nothing(photo, "reference card")
    heights = tuple(0.0 for _ in cards)
    stretch = np.array(printed.scale() if printed else (1.0, 1.0))
    solved = fit_cards(photo.pixels, tuple(cards), heights, stretch, (known,))
    if solved is None:
        raise _nothing(photo, "reference card in sharp print")
    return solved.fit


def board_fit(photo: Photo, board: tuple[int, int], known: KnownLens) -> adjust.Fit:
    """The camera over a checkerboard, solved with what is known of the lens; the frame is that of
    ``checker_corners``. Raises CutcheckError: no-card."""
    edges = board_edges(photo, board)
    flat = np.array([[[0.0] * 3], [[BOARD_FLAT_MM / 3, BOARD_FLAT_MM, BOARD_FLAT_MM]]])
    camera = camera_from_plane(edges.mm, edges.px, 0.0, known)
    return adjust.solve(edges, camera, np.zeros((1, 3)), adjust.Prior(known, flat))


def board_edges(photo: Photo, board: tuple[int, int]) -> adjust.Edges:
    """The edges between a checkerboard's inner corners. Raises CutcheckError: no-card."""
    grey = cv2.cvtColor(photo.pixels, cv2.COLOR_BGR2GRAY)
    seen, corners = cv2.findChessboardCorners(grey, board)
    if not seen:
        raise _nothing(photo, f"checkerboard of {board[0]} x {board[1]} inner corners")
    px = np.asarray(corners, float).reshape(-1, 2)
    mm = checker_corners(board)
    homography = homography_between(mm, px)
    off = px - through(homography, mm)

    def to_px(points: Floats) -> Floats:
        # Lenses bend the board's lines: what the homography misses is taken from the corners near by.
        away = ((points[:, None] - mm[None]) ** 2).sum(axis=2)
        weight = np.exp(-0.5 * away / (0.6 * FIELD_MM) ** 2)
        return np.asarray(through(homography, points) + (weight @ off) / weight.sum(axis=1, keepdims=True))

    both = [_board_stretches(board, parity) for parity in (0, 1)]
    found = [edge_points(photo.pixels, stretches, to_px, 8.0) for stretches in both]
    stretches, points = max(zip(both, found, strict=True), key=lambda pair: int(pair[1].found.sum()))
    ok = points.found
    n = int(ok.sum())
    if n < 20:
        raise _nothing(photo, "checkerboard in sharp print")
    middle = stretches.middle[ok]
    bends = adjust.bends_at(middle, FIELD_MM * max(board) / 2)
    return adjust.Edges(middle, bends, points.px[ok], points.normal[ok], np.zeros(n, int), np.zeros(n))


def checker_corners(board: tuple[int, int]) -> Floats:
    """The inner corners of a checkerboard, row by row, about its middle: (across * down, 2) mm."""
    x, y = np.meshgrid(np.arange(board[0]), np.arange(board[1]))
    corners = np.column_stack([x.ravel(), y.ravel()]) * FIELD_MM
    return np.asarray(corners - corners.mean(axis=0))


def _board_stretches(board: tuple[int, int], parity: int) -> Stretches:
    """The edges between neighbouring inner corners, white to the left; ``parity`` says which fields are."""
    corners = checker_corners(board).reshape(board[1], board[0], 2)
    ends = []
    for row in range(board[1]):
        for column in range(board[0]):
            here = corners[row, column]
            flip = (row + column + parity) % 2 == 0
            for there in (
                *([corners[row, column + 1]] if column + 1 < board[0] else []),
                *([corners[row + 1, column]] if row + 1 < board[1] else []),
            ):
                across = there[1] == here[1]
                ends.append((here, there) if flip == across else (there, here))
    a, b = np.array([pair[0] for pair in ends]), np.array([pair[1] for pair in ends])
    length = np.linalg.norm(b - a, axis=1)
    free = length - 2 * np.maximum(MARGIN_MM, 0.2 * length)
    return Stretches((a + b) / 2, (b - a) / length[:, None], free)


def _normalised(known: KnownLens, photo: Photo) -> LensPrior:
    """The lens in parts of the diagonal, with what changes from photo to photo added."""
    high, wide = photo.pixels.shape[:2]
    diagonal = float(np.hypot(wide, high))
    f, cx, cy, k1, k2 = (float(v) for v in known.mean)
    corner = (diagonal / 2 / f) ** 2
    unit = np.array([1 / diagonal, 1 / diagonal, 1 / diagonal, 1.0, 1.0])
    covariance = known.covariance * np.outer(unit, unit)
    covariance[np.arange(5), np.arange(5)] += (
        np.array([FOCUS_SD * f / diagonal, CENTRE_SD, CENTRE_SD, CORNER_SD / corner, 0.0]) ** 2
    )
    off = np.array([cx - (wide - 1) / 2, cy - (high - 1) / 2]) / diagonal
    sd = np.sqrt(np.diag(covariance))
    if high > wide:  # which way round the sensor was is not known: its centre is not kept
        sd[1:3] = np.hypot(sd[1:3], np.hypot(*off))
        covariance[1:3], covariance[:, 1:3] = 0.0, 0.0
        covariance[[1, 2], [1, 2]] = sd[1:3] ** 2
        off = np.zeros(2)
    correlation = covariance / np.outer(sd, sd)
    return LensPrior(
        *(f / diagonal, float(off[0]), float(off[1]), k1, k2),
        sd=tuple(float(s) for s in sd),  # type: ignore[arg-type]
        camera_name=photo.camera_name or "",
        focal_35mm=photo.focal_35mm,
        correlation=tuple(float(c) for c in correlation.ravel()),
    )


def _refused(problem: str, remedy: str) -> CutcheckError:
    return CutcheckError("bad-option", problem=problem, remedy=remedy)


def _nothing(photo: Photo, what: str) -> CutcheckError:
    return CutcheckError(
        "no-card",
        what=f"{what} ('{photo.info.file}')",
        remedy="Take the photo again, all of it in sight and sharp, or leave this one out.",
    )
