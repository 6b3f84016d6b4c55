"""From a photo to the camera: where it stood over the board, and what a pixel is in millimetres there."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cutcheck.card import SQUARE_MM, THICKNESS_MM, PrintCheck
from cutcheck.card_fit import CardFit, fit_cards
from cutcheck.errors import CutcheckError
from cutcheck.exposure import greys_on, judge_edges, why_nothing_found
from cutcheck.find_card import FoundCard, find_cards, through
from cutcheck.lens import LensPrior, lens_priors
from cutcheck.located import MOST_TILT_DEG, Grey, Located, scale_record, with_height_u
from cutcheck.photo import Photo
from cutcheck.rectangles import with_points_between

__all__ = ["Grey", "LensPrior", "Located", "locate"]

Floats = NDArray[np.float64]

MAT_EDGE_MM = 2.0  # of a mat's paper that is not searched for pieces: it curls and casts a shadow
MOST_BENT_MM = {"card": 1.0, "mat": 3.0}  # off the plane; more is no parabola any longer
BENT_WARN_MM = 0.15
ROUGH_MM = 0.2  # scatter of the edges about the bent card, beyond which it is folded or torn
# Standard uncertainties, common practice, no source: papers and pouches differ and nobody measures them. The
# print without a ruler's check is taken as good to 1 % (k = 2), with it to what a ruler reads over 200 mm.
THICKNESS_U_MM = 0.1
SCALE_U_UNCHECKED, SCALE_U_CHECKED = 0.005, 0.001


def locate(
    photo: Photo,
    *,
    reference: str = "card",
    printed: PrintCheck | None = None,
    thickness_mm: float | None = None,
    lens: LensPrior | None = None,
) -> Located:
    """The camera over the board, from the reference in the photo.

    ``reference``: ``card`` (a mat, too, whichever is there), ``id1``, ``sheet:WxH``, ``disc:MM``,
    ``disc:MM@X,Y``, ``square:DICT:ID:MM``. ``printed`` and ``thickness_mm`` are the card's.
    Raises CutcheckError: no-card, card-cut-off, card-bent, blurred, too-dark, too-bright, too-oblique.
    """
    if reference.strip().lower() not in ("card", "mat"):
        from cutcheck.other_references import locate_other

        return locate_other(photo, reference, lens=lens)
    found = find_cards(photo.pixels)
    whole = [card for card in found if card.complete]
    if not whole:
        raise _why_not(photo, found)
    frame = min(whole, key=lambda card: (card.layout.kind != "mat", card.layout.number or 0))
    cards = (frame, *(card for card in whole if card is not frame))
    lenses, focal_from = lens_priors(photo, lens)
    thickness = THICKNESS_MM["paper"] if thickness_mm is None else thickness_mm
    heights = tuple(0.0 if card.layout.kind == "mat" else thickness for card in cards)
    stretch = np.array(printed.scale() if printed else (1.0, 1.0))
    solved = fit_cards(photo.pixels, cards, heights, stretch, lenses)
    if solved is None:
        raise _too_unclear(photo, cards)
    if solved.fit.camera.tilt_deg > MOST_TILT_DEG:
        raise CutcheckError("too-oblique", tilt=solved.fit.camera.tilt_deg)
    centre = solved.to_px(0, np.array([[0.0, 0.0]]))[0]
    mm_per_px = float(solved.fit.camera.mm_per_px(centre, heights[0]))
    warnings = judge_edges(solved.points, 1.0 / mm_per_px)
    warnings += _judge_flatness(solved, mm_per_px)
    if printed is None:
        warnings.append(
            "The print has not been checked with a ruler: all sizes may be off by 1 %, and by 6 % where the "
            "page was fitted to other paper. Measure it once and give --printed."
        )
    lift, lift_u = _lift(solved)
    camera = solved.fit.camera.raised(lift)
    camera = with_height_u(
        camera, solved.fit.covariance[:11, :11], float(np.hypot(lift_u, _thickness_u(frame)))
    )
    high, wide = photo.pixels.shape[:2]
    return Located(
        camera=camera,
        scale=scale_record(
            camera,
            (wide, high),
            reference=frame.layout.kind,
            numbers=tuple(sorted(card.layout.number for card in cards if card.layout.number is not None)),
            residual_px=solved.fit.sigma,
            focal_from=focal_from,
        ),
        warnings=tuple(warnings),
        regions_px=(*_regions(solved), *(_outline(card) for card in found if not card.complete)),
        greys=tuple(
            grey
            for k, card in enumerate(cards)
            for grey in greys_on(photo.pixels, card.layout, lambda mm, k=k: solved.to_px(k, mm))  # type: ignore[misc]
        ),
        scale_u=SCALE_U_CHECKED if printed else SCALE_U_UNCHECKED,
        blur_px=float(np.nanmedian(np.concatenate([seen.width_px[seen.found] for seen in solved.points]))),
        surface_px=_mat_paper(solved),
    )


def _thickness_u(card: FoundCard) -> float:
    return 0.0 if card.layout.kind == "mat" else THICKNESS_U_MM


def _lift(solved: CardFit) -> tuple[float, float]:
    """By how much the frame's plane, through the card's middle, lies above what the card touches, mm, and
    its uncertainty: a bent card stands on its lowest part; of a mat the mean counts, for pieces lie on it."""
    lifts = solved.lifts(0)
    if solved.cards[0].layout.kind == "mat":
        return -float(lifts.mean()), float(lifts.std())
    lift = -float(lifts.min())
    return lift, 0.3 * float(lifts.max() - lifts.min())


def _judge_flatness(solved: CardFit, mm_per_px: float) -> list[str]:
    """Refuses a card that is too bent (card-bent), and returns a warning about one that is a little."""
    warnings = []
    for k, card in enumerate(solved.cards):
        off, u, kind = solved.off_plane_mm(k), solved.off_plane_u_mm(k), card.layout.kind
        if off > MOST_BENT_MM[kind] and off > 2 * u:
            raise CutcheckError("card-bent", off_mm=off)
        if off > BENT_WARN_MM and off > 3 * u:
            warnings.append(
                f"The {kind} is bent by {off:.1f} mm. That is allowed for, but the sizes are less sure: "
                "press it flat."
            )
    rough = solved.fit.sigma * mm_per_px
    if rough > ROUGH_MM and solved.fit.sigma > 1.0:
        raise CutcheckError("card-bent", off_mm=float(np.abs(solved.fit.residual).max()) * mm_per_px)
    return warnings


def _regions(solved: CardFit) -> list[Floats]:
    """What the cards cover, px: their outlines; of a mat each square with 2 mm round it."""
    regions = []
    for k, card in enumerate(solved.cards):
        if card.layout.kind == "mat":
            grown = [
                corners + 2.0 * np.sign(corners - corners.mean(axis=0))
                for corners in card.layout.squares.values()
            ]
        else:
            grown = [with_points_between(card.layout.outline)]
        regions += [solved.to_px(k, corners) for corners in grown]
    return regions


def _mat_paper(solved: CardFit) -> Floats | None:
    """The paper of a mat, on which the pieces lie, but for its edge; None where there is none."""
    layout = solved.cards[0].layout
    if layout.kind != "mat":
        return None
    return solved.to_px(0, with_points_between(layout.outline - MAT_EDGE_MM * np.sign(layout.outline)))


def _outline(card: FoundCard) -> Floats:
    """Roughly what a card covers of which only a part was found, px."""
    if np.isfinite(card.homography).all() and len(card.seen) * SQUARE_MM >= 48.0:
        return through(card.homography, card.layout.outline)
    quads = np.concatenate(list(card.seen.values()))
    return np.asarray(quads.mean(axis=0) + 1.2 * (quads - quads.mean(axis=0)))


def _why_not(photo: Photo, found: list[FoundCard]) -> CutcheckError:
    """Why no whole card was found: half a card, or nothing."""
    reason = why_nothing_found(photo.pixels)
    if not found or reason.code != "no-card":
        return reason
    best = max(found, key=lambda card: len(card.seen))
    return CutcheckError("card-cut-off", seen=len(best.seen), needed=len(best.layout.squares))


def _too_unclear(photo: Photo, cards: tuple[FoundCard, ...]) -> CutcheckError:
    """Why the squares were seen but not enough of their edges."""
    error = why_nothing_found(photo.pixels)
    if error.code != "no-card":
        return error
    side = np.mean([np.linalg.norm(quad[1] - quad[0]) for quad in cards[0].seen.values()])
    if side < 24:
        return CutcheckError("too-far", what="a square of the card", pixels=float(side), needed=24)
    return CutcheckError("blurred", blur_px=float(side) / 8)
