"""From a photo to the camera: where it stood over the board, and what a pixel is in millimetres there."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from cutcheck import adjust, records
from cutcheck.camera import Camera
from cutcheck.card import THICKNESS_MM, CardLayout, PrintCheck
from cutcheck.edges import LINEAR, EdgePoints, edge_points, stretches_of
from cutcheck.errors import CutcheckError
from cutcheck.find_card import FoundCard, find_cards, homography_between
from cutcheck.photo import Photo

Floats = NDArray[np.float64]

FULL_FRAME_DIAGONAL_MM = 43.267  # of 36 x 24 mm; CIPA DCG-001: the 35 mm equivalent goes by the diagonal
MOST_TILT_DEG = 55.0
THICKNESS_U_MM = 0.1  # standard uncertainty: nobody measures it, paper and pouches differ
SCALE_U_UNCHECKED, SCALE_U_CHECKED = 0.005, 0.001  # standard, of the print; 1 % at k = 2 without a check


@dataclass(frozen=True)
class Grey:
    """A patch of known grey as photographed: linear light 0 to 1, ``seen`` is (3,) BGR."""

    what: str
    nominal: float
    seen: Floats


@dataclass(frozen=True)
class Located:
    """A photo with its camera. ``regions_px``: what the reference covers, (N, 2) px polygons, to be masked.

    ``scale_u`` is the relative standard uncertainty of all lengths at once, from the print; it is not in the
    camera's covariance. ``blur_px``: how wide a sharp edge is seen, 10 to 90 %. ``surface_px``: where the
    reference is the surface, too, its outline.
    """

    camera: Camera
    scale: records.Scale
    warnings: tuple[str, ...]
    regions_px: tuple[Floats, ...]
    greys: tuple[Grey, ...]
    scale_u: float
    blur_px: float
    surface_px: Floats | None = None


@dataclass(frozen=True)
class LensPrior:
    """A lens that is known: all in parts of the picture's diagonal (f, cx and cy from the middle of a picture
    held across) or without unit (k1, k2); ``sd`` (5,) are their standard uncertainties."""

    f: float
    cx: float
    cy: float
    k1: float
    k2: float
    sd: tuple[float, float, float, float, float]
    camera_name: str = ""


def lens_prior(photo: Photo, lens: LensPrior | None) -> tuple[adjust.Prior, str]:
    """What is known of the lens before anything is measured, and from where: lens, exif or solved."""
    high, wide = photo.pixels.shape[:2]
    diagonal = float(np.hypot(wide, high))
    middle = np.array([(wide - 1) / 2, (high - 1) / 2])
    if lens is not None and not photo.maybe_cropped:
        across = wide >= high
        off = np.array([lens.cx, lens.cy]) if across else np.zeros(2)
        more = 0.0 if across else float(np.hypot(lens.cx, lens.cy))
        mean = np.array([lens.f * diagonal, *(middle + off * diagonal), lens.k1, lens.k2])
        sd = np.array([lens.sd[0], np.hypot(lens.sd[1], more), np.hypot(lens.sd[2], more), *lens.sd[3:]])
        return adjust.Prior(mean, sd * np.array([diagonal, diagonal, diagonal, 1.0, 1.0])), "lens"
    known = photo.focal_35mm is not None
    f35, relative = (float(photo.focal_35mm or 0), 0.025) if known else (28.0, 0.45)
    if photo.maybe_cropped:
        relative = max(relative, 0.3)
    f = f35 / FULL_FRAME_DIAGONAL_MM * diagonal
    centre_sd = (0.08 if photo.maybe_cropped else 0.004) * diagonal
    corner = (diagonal / 2 / f) ** 2  # r2 at the corner of the frame
    mean = np.array([f, *middle, 0.0, 0.0])
    sd = np.array([relative * f, centre_sd, centre_sd, 0.025 / corner, 0.008 / corner**2])
    return adjust.Prior(mean, sd), "exif" if known and not photo.maybe_cropped else "solved"


def locate(
    photo: Photo,
    *,
    reference: str = "card",
    printed: PrintCheck | None = None,
    thickness_mm: float | None = None,
    lens: LensPrior | None = None,
) -> Located:
    """The camera over the board, from the reference in the photo.

    Raises CutcheckError: no-card, card-cut-off, card-bent, blurred, too-dark, too-bright, too-oblique.
    """
    cards = find_cards(photo.pixels)
    whole = [card for card in cards if card.complete]
    if not whole:
        raise _why_not(photo, cards)
    mats = [card for card in whole if card.layout.kind == "mat"]
    first = mats[0] if mats else min(whole, key=lambda card: card.layout.number or 0)
    whole = [first, *(card for card in whole if card is not first)]
    prior, focal_from = lens_prior(photo, lens)
    thickness = THICKNESS_MM["paper"] if thickness_mm is None else thickness_mm
    stretch = np.array(printed.scale() if printed else (1.0, 1.0))
    heights = [0.0 if card.layout.kind == "mat" else thickness for card in whole]

    fit, points = _fit(photo.pixels, whole, heights, stretch, prior)
    camera = fit.camera
    if camera.tilt_deg > MOST_TILT_DEG:
        raise CutcheckError("too-oblique", tilt=camera.tilt_deg)
    camera = _with_thickness(camera, fit.covariance[:11, :11], THICKNESS_U_MM if heights[0] > 0 else 0.0)
    high, wide = photo.pixels.shape[:2]
    scale = records.Scale(
        reference=first.layout.kind,
        numbers=tuple(sorted(card.layout.number for card in whole if card.layout.number is not None)),
        mm_per_px=float(camera.mm_per_px(np.array([(wide - 1) / 2, (high - 1) / 2]))),
        tilt_deg=camera.tilt_deg,
        residual_px=fit.sigma,
        focal_px=camera.f,
        focal_from=focal_from,  # type: ignore[arg-type]
    )
    warnings = []
    if printed is None:
        warnings.append(
            "The print has not been checked with a ruler (--printed): all sizes may be off by 1 %, and by 6 % "
            "where the page was fitted to other paper."
        )
    return Located(
        camera=camera,
        scale=scale,
        warnings=tuple(warnings),
        regions_px=tuple(_regions(card) for card in whole),
        greys=(),
        scale_u=SCALE_U_CHECKED if printed else SCALE_U_UNCHECKED,
        blur_px=float(np.nanmedian(points.width_px)),
    )


def _fit(
    pixels: NDArray[np.uint8],
    cards: list[FoundCard],
    heights: list[float],
    stretch: Floats,
    prior: adjust.Prior,
) -> tuple[adjust.Fit, EdgePoints]:
    """Edges looked for where the squares put them, solved, and looked for again where the camera puts them."""
    camera = _start(cards[0], heights[0], stretch, prior)
    placements = np.array(
        [_placement(card, camera, height, stretch) for card, height in zip(cards, heights, strict=True)]
    )
    placements[0] = 0.0
    fit = None
    for turn in range(2):
        parts, seen = [], []
        for k, card in enumerate(cards):
            black = card.layout.black[: None if card.layout.checker is not None else len(card.layout.squares)]
            stretches = stretches_of(black)
            if fit is None:
                to_px = card.to_px
            else:

                def to_px(mm: Floats, k: int = k, fit: adjust.Fit = fit) -> Floats:
                    return fit.camera.project_at(on_board(mm * stretch, fit.placements[k]), heights[k])

            points = edge_points(pixels, stretches, to_px, 10.0)
            ok = points.found
            n = int(ok.sum())
            parts.append(
                (
                    stretches.middle[ok] * stretch,
                    points.px[ok],
                    points.normal[ok],
                    np.full(n, k),
                    np.full(n, heights[k]),
                    np.ones(n),
                )
            )
            seen.append(points)
        edges = adjust.Edges(*(np.concatenate(column) for column in zip(*parts, strict=True)))
        start = (camera, placements) if fit is None else (fit.camera, fit.placements)
        fit = adjust.solve(edges, *start, prior)
    return fit, seen[0]


def on_board(mm: Floats, placement: Floats) -> Floats:
    """Points (N, 2) mm of a card that lies at ``placement`` (x, y, angle) in the board's frame."""
    cos, sin = np.cos(placement[2]), np.sin(placement[2])
    return np.asarray(mm @ np.array([[cos, sin], [-sin, cos]]) + placement[:2])


def _start(card: FoundCard, height: float, stretch: Floats, prior: adjust.Prior) -> Camera:
    """A first camera, without distortion, from the squares' corners."""
    mm = np.concatenate([card.layout.squares[tag] for tag in card.seen]) * stretch
    px = np.concatenate(list(card.seen.values()))
    world = np.column_stack([mm, np.zeros(len(mm))])
    wide = prior.sd[0] > 0.1 * prior.mean[0]
    best: tuple[float, Camera] | None = None
    for factor in (0.5, 0.7, 1.0, 1.4, 2.0, 2.8) if wide else (1.0,):
        f = prior.mean[0] * factor
        matrix = np.array([[f, 0, prior.mean[1]], [0, f, prior.mean[2]], [0, 0, 1.0]])
        count, turns, shifts, errors = cv2.solvePnPGeneric(world, px, matrix, None, flags=cv2.SOLVEPNP_IPPE)
        for k in range(count):
            rotation = np.asarray(cv2.Rodrigues(turns[k])[0])
            shift = np.ravel(shifts[k])
            error = float(np.ravel(errors)[k])
            if best is None or error < best[0]:
                # The card's plane is the board's, raised by `height` towards the camera.
                camera = Camera(f, *prior.mean[1:3], 0.0, 0.0, rotation, shift + rotation[:, 2] * height)
                best = (error, camera)
    assert best is not None
    return best[1]


def _placement(card: FoundCard, camera: Camera, height: float, stretch: Floats) -> Floats:
    """Where a further card lies: (x, y, angle), from its squares as the first camera sees them."""
    mm = np.concatenate([card.layout.squares[tag] for tag in card.seen]) * stretch
    board = camera.to_height(np.concatenate(list(card.seen.values())), height)
    a, b = mm - mm.mean(axis=0), board - board.mean(axis=0)
    angle = np.arctan2((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum(), (a * b).sum())
    turned = on_board(mm.mean(axis=0)[None], np.array([0.0, 0.0, angle]))[0]
    return np.array([*(board.mean(axis=0) - turned), angle])


def _with_thickness(camera: Camera, covariance: Floats, thickness_u: float) -> Camera:
    covariance = covariance.copy()
    normal = camera.rotation[:, 2]
    covariance[8:11, 8:11] += thickness_u**2 * np.outer(normal, normal)
    return Camera(*camera.vector()[:5], camera.rotation, camera.translation, covariance)


def _regions(card: FoundCard) -> Floats:
    return card.to_px(card.layout.outline)


def _why_not(photo: Photo, cards: list[FoundCard]) -> CutcheckError:
    if cards:
        return CutcheckError("card-cut-off", seen=len(cards[0].seen), needed=len(cards[0].layout.squares))
    return CutcheckError("no-card")
