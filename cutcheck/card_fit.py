"""The camera from the cards in a photo: their printed edges measured, and all solved together."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from cutcheck import adjust
from cutcheck.camera import Camera
from cutcheck.edges import EdgePoints, edge_points, stretches_of
from cutcheck.find_card import FoundCard
from cutcheck.lens import KnownLens

Floats = NDArray[np.float64]

# How far from flat a card may be: standard deviation, mm, 52 mm from its middle (of a mat 149 mm).
# Common practice, no source: thin paper that bends like a bowl must stretch, so that it does so hardly.
BEND_SD_MM = {"card": 1.0, "mat": 2.0}
BOWL_SD_MM = {"card": 0.02, "mat": 0.1}
SHEET_SD = 0.2  # how far a bent sheet's curve departs from the parabola, of its bend
REACH_PX = 10.0  # how far from where it is expected an edge is looked for
LEAST_ODDS = 0.5  # of the unlikelier lens: that likelihood rests on priors of ours
FIELD_PX = 9.0  # a checkerboard field of fewer pixels is not used


@dataclass(frozen=True)
class CardFit:
    """The solved photo. ``heights`` (cards,) mm: of each card above the board, had it been flat;
    ``stretch`` (2,): printed size over drawn size; ``points``: the edges seen on each card."""

    cards: tuple[FoundCard, ...]
    heights: tuple[float, ...]
    stretch: Floats
    fit: adjust.Fit
    points: tuple[EdgePoints, ...]

    def to_px(self, card: int, mm: Floats) -> Floats:
        """Where points (N, 2) mm of a card's layout are seen: (N, 2) px."""
        flat = mm * self.stretch
        lift = adjust.bends_at(flat, self._half(card)) @ self.fit.bends[card]
        return self.fit.camera.project_at(
            on_board(flat, self.fit.placements[card]), self.heights[card] + lift
        )

    def lifts(self, card: int) -> Floats:
        """How high a card's bend lifts it, mm, on a grid over the card: (N,)."""
        x, y = np.meshgrid(np.linspace(-1, 1, 9), np.linspace(-1, 1, 9))
        mm = np.column_stack([x.ravel(), y.ravel()]) * np.array(self.cards[card].layout.size_mm) / 2
        return np.asarray(adjust.bends_at(mm, self._half(card)) @ self.fit.bends[card])

    def off_plane_mm(self, card: int) -> float:
        """How far a card is from the plane that fits it best, at most, mm."""
        lifts = self.lifts(card)
        return float(np.abs(lifts - (lifts.max() + lifts.min()) / 2).max())

    def off_plane_u_mm(self, card: int) -> float:
        """The standard uncertainty of the card's bend, mm."""
        place = adjust.BENT + 3 * card
        return float(np.sqrt(np.diag(self.fit.covariance)[place : place + 3].max()))

    def _half(self, card: int) -> float:
        return max(self.cards[card].layout.size_mm) / 2


def fit_cards(
    pixels: NDArray[np.uint8],
    cards: tuple[FoundCard, ...],
    heights: tuple[float, ...],
    stretch: Floats,
    lenses: tuple[KnownLens, ...],
) -> CardFit | None:
    """The camera over the first card's board, or None where too few edges are seen.

    Edges are looked for where the squares put them, solved, and looked for again where the camera puts them.
    ``lenses``: what may be true of the lens (``lens.lens_priors``); the photo decides between them.
    """
    lens = lenses[-1]  # the widest
    kinds = [card.layout.kind for card in cards]
    loose = np.array([[BOWL_SD_MM[kind], BEND_SD_MM[kind], BEND_SD_MM[kind]] for kind in kinds])
    prior = adjust.Prior(lens, np.stack([np.zeros_like(loose), loose]))

    first, points = _measure(pixels, cards, heights, stretch, lambda k, mm: cards[k].to_px(mm), REACH_PX)
    if not _enough(first, points):
        return None
    fit = _first_fit(first, cards, heights, stretch, prior)
    coarse = CardFit(cards, heights, stretch, fit, points)
    blur = max(float(np.nanmedian(seen.width_px[seen.found])) for seen in points)
    edges, points = _measure(pixels, cards, heights, stretch, coarse.to_px, max(REACH_PX, 2.5 * blur))
    if not _enough(edges, points):
        return None
    fit = adjust.solve(edges, fit.camera, fit.placements, prior, bends=fit.bends)
    fit = likeliest(edges, fit, prior, lenses, flat_mm=loose[:, 0])
    return CardFit(cards, heights, stretch, fit, points)


def _first_fit(
    edges: adjust.Edges,
    cards: tuple[FoundCard, ...],
    heights: tuple[float, ...],
    stretch: Floats,
    prior: adjust.Prior,
) -> adjust.Fit:
    """Solved from the squares' corners; where the focal length is open, from several, and the best taken."""
    mm = np.concatenate([cards[0].layout.squares[tag] for tag in cards[0].seen]) * stretch
    px = np.concatenate(list(cards[0].seen.values()))
    fits: list[adjust.Fit] = []
    for camera in cameras_from_plane(mm, px, heights[0], prior.lens):
        places = [
            _placement(card, camera, height, stretch) for card, height in zip(cards, heights, strict=True)
        ]
        placements = np.array([np.zeros(3), *places[1:]])
        sigma = max(fits[0].sigma, 0.05) if fits else None
        fits.append(
            adjust.solve(
                *(edges, camera, placements, prior), rounds=2, steps=15, sigma_px=sigma, sigma_floor_px=0.05
            )
        )
    return min(fits, key=lambda fit: fit.cost)


def likeliest(
    edges: adjust.Edges,
    fit: adjust.Fit,
    prior: adjust.Prior,
    lenses: tuple[KnownLens, ...],
    *,
    flat_mm: Floats | None = None,
    sigma_floor_px: float = 0.01,
) -> adjust.Fit:
    """The solution for the lens under which the edges are likeliest, less sure by what the other would give.

    ``fit`` was solved with the last of ``lenses``. ``flat_mm``: the cards are sheets (``_as_sheets``).
    """
    tries = []
    for lens in lenses:
        with_lens = replace(prior, lens=lens)
        tried = fit
        if len(lenses) > 1:
            start = (edges, fit.camera, fit.placements, with_lens)
            tried = adjust.solve(*start, bends=fit.bends, sigma_px=max(fit.sigma, sigma_floor_px))
        if flat_mm is not None:
            tried = _as_sheets(edges, tried, flat_mm, with_lens)
        tries.append(tried)
    best, *others = sorted(tries, key=lambda each: -each.evidence)
    for other in others:
        odds = float(np.exp(max(other.evidence - best.evidence, -50.0)))
        best = adjust.mixed(best, other, max(odds, LEAST_ODDS))
    return best


def _enough(edges: adjust.Edges, points: tuple[EdgePoints, ...]) -> bool:
    wanted = sum(len(seen.found) for seen in points)
    return len(edges.mm) >= max(40, 0.4 * wanted) and all(seen.found.sum() >= 12 for seen in points)


def _as_sheets(edges: adjust.Edges, fit: adjust.Fit, flat: Floats, prior: adjust.Prior) -> adjust.Fit:
    """Solved again knowing that paper is flat or bends to a cylinder, up or down: what the photo barely tells
    from lens distortion, the bowl, follows from the bends that it shows. ``flat`` (cards,) mm is how far from
    flat a flat card may be."""
    variance = (
        np.diag(fit.covariance)[adjust.BENT : adjust.BENT + fit.bends.size].reshape(-1, 3)[:, 1:].sum(axis=1)
    )
    bent = np.sqrt(np.clip((fit.bends[:, 1:] ** 2).sum(axis=1) - variance, 0.0, None))
    unseen = flat**2 + 0.25 * variance  # a bend that the photo would not show
    sd = np.sqrt(np.stack([unseen + (SHEET_SD * bent) ** 2, unseen + bent**2, unseen + bent**2], axis=1))
    tries = []
    for sign in (1.0, -1.0) if bent.any() else (0.0,):
        mean = np.zeros_like(sd)
        mean[:, 0] = sign * bent
        sheets = prior.with_bend(mean, sd)
        tries.append(adjust.solve(edges, fit.camera, fit.placements, sheets, bends=fit.bends, rounds=2))
    tries.sort(key=lambda tried: tried.cost)
    odds = float(np.exp(-0.5 * np.clip(tries[-1].cost - tries[0].cost, 0.0, 100.0)))
    return adjust.mixed(tries[0], tries[-1], odds)


def _measure(
    pixels: NDArray[np.uint8],
    cards: tuple[FoundCard, ...],
    heights: tuple[float, ...],
    stretch: Floats,
    to_px: Callable[[int, Floats], Floats],
    reach_px: float,
) -> tuple[adjust.Edges, tuple[EdgePoints, ...]]:
    """The edges of all cards near where ``to_px(card, mm)`` expects them."""
    parts, points = [], []
    for k, card in enumerate(cards):
        side = np.array([[0.0, 0.0], [6.0, 0.0], [0.0, 6.0]])
        field = np.linalg.norm(np.diff(to_px(k, side), axis=0), axis=1).min()
        stretches = stretches_of(card.layout, small=bool(field >= FIELD_PX))
        seen = edge_points(pixels, stretches, lambda mm, k=k: to_px(k, mm), reach_px)  # type: ignore[misc]
        mm = stretches.middle[seen.found] * stretch
        n = len(mm)
        bends = adjust.bends_at(mm, max(card.layout.size_mm) / 2)
        px, normal = seen.px[seen.found], seen.normal[seen.found]
        parts.append((mm, bends, px, normal, np.full(n, k), np.full(n, heights[k])))
        points.append(seen)
    return adjust.Edges(*(np.concatenate(column) for column in zip(*parts, strict=True))), tuple(points)


def on_board(mm: Floats, placement: Floats) -> Floats:
    """Points (N, 2) mm of a card that lies at ``placement`` (x, y, angle) in the board's frame."""
    cos, sin = np.cos(placement[2]), np.sin(placement[2])
    return np.asarray(mm @ np.array([[cos, sin], [-sin, cos]]) + placement[:2])


def cameras_from_plane(mm: Floats, px: Floats, height: float, lens: KnownLens) -> list[Camera]:
    """Cameras without distortion that see points (N, 2) mm of the plane at ``height`` at (N, 2) px: one, or
    several, with focal lengths all over, where that is hardly known; the best first."""
    world = np.column_stack([mm, np.zeros(len(mm))])
    cameras: list[tuple[float, Camera]] = []
    for factor in (0.5, 0.7, 1.0, 1.4, 2.0, 2.8) if lens.focal_open else (1.0,):
        f = float(lens.mean[0]) * factor
        matrix = np.array([[f, 0, lens.mean[1]], [0, f, lens.mean[2]], [0, 0, 1.0]])
        _, turns, shifts, errors = cv2.solvePnPGeneric(world, px, matrix, None, flags=cv2.SOLVEPNP_IPPE)
        rotation = np.asarray(cv2.Rodrigues(turns[0])[0], np.float64)  # the first is the better one
        # OpenCV's plane is the card's; the board's lies `height` below it.
        shift = np.ravel(shifts[0]) + rotation[:, 2] * height
        camera = Camera(f, float(lens.mean[1]), float(lens.mean[2]), 0.0, 0.0, rotation, shift)
        cameras.append((float(np.ravel(errors)[0]), camera))
    return [camera for _, camera in sorted(cameras, key=lambda each: each[0])]


def camera_from_plane(mm: Floats, px: Floats, height: float, lens: KnownLens) -> Camera:
    """The best of ``cameras_from_plane``."""
    return cameras_from_plane(mm, px, height, lens)[0]


def _placement(card: FoundCard, camera: Camera, height: float, stretch: Floats) -> Floats:
    """Where a further card lies: (x, y, angle), from its squares as the first camera sees them."""
    mm = np.concatenate([card.layout.squares[tag] for tag in card.seen]) * stretch
    board = camera.to_height(np.concatenate(list(card.seen.values())), height)
    a, b = mm - mm.mean(axis=0), board - board.mean(axis=0)
    angle = np.arctan2((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum(), (a * b).sum())
    turned = on_board(mm.mean(axis=0)[None], np.array([0.0, 0.0, angle]))[0]
    return np.array([*(board.mean(axis=0) - turned), angle])
