"""Rounds that touch, or that the search for pieces has cut up: found again by the arcs of their outlines.

An outline that is no disc by itself may hold two rounds or a part of one. Through three points of an arc of
it goes a circle; where a rim is seen nearly all round that circle in the photo, there lies a round.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from cutcheck.camera import Camera, Floats
from cutcheck.rims import Rims, find_rims

SIZES = (0.5, 2.0)  # times the tray's usual radius
ARCS = 400  # tried on each outline
SPANS = (6, 20)  # points between the three of an arc, of the outline's 96
SECTORS, LEAST_SECTORS = 36, 8  # of a circle: so many must have the outline in them
NEAR_SHARE = 0.03  # of the radius: how far off a point of the outline may be
OVERLAP = 0.12  # of the radius: how far two rounds seem to reach into one another at most
SEEN, EVEN = 0.8, 0.02  # share of the rim that must be seen; the most scatter about it, of the radius
COVERED = 0.6  # of an outline: then it is explained by the rounds that lie on it
MASK_PX = 400  # longer side of the picture in which that is counted


def find_among(pixels: NDArray[np.uint8], camera: Camera, outlines: Floats, rounds: Rims) -> Rims:
    """Rims of rounds that the outlines (N, K, 2) px hold, beside the ``rounds`` already found."""
    usual = float(np.median(rounds.radius))
    points = camera.to_height(outlines, 0.0)
    seeds = np.concatenate([_arcs(one, points.reshape(-1, 2), usual) for one in points])
    seeds = _apart(seeds, rounds)
    rims = find_rims(pixels, camera, seeds[:, :2], seeds[:, 2])
    sure = (rims.support >= SEEN) & (rims.scatter < EVEN * rims.radius)
    order = np.argsort(-rims.support)
    kept: list[int] = []
    for k in order[sure[order]]:
        others = [(rims.centre[m], rims.radius[m]) for m in kept]
        others += list(zip(rounds.centre, rounds.radius, strict=True))
        if all(_beside(rims.centre[k], rims.radius[k], c, r) for c, r in others):
            kept.append(int(k))
    return rims.take(np.array(kept, int))


def _beside(centre: Floats, radius: float, other: Floats, other_radius: float) -> bool:
    apart = float(np.linalg.norm(centre - other))
    return apart > radius + other_radius - OVERLAP * min(radius, other_radius)


def _arcs(outline: Floats, points: Floats, usual: float) -> Floats:
    """Circles (K, 4) through arcs of an outline (M, 2) mm: x, y, radius, and how many sectors have a point
    of ``points`` (P, 2) mm in them; the likeliest of those alike."""
    rng = np.random.default_rng(0)  # the same photo gives the same result
    count = len(outline)
    first = rng.integers(0, count, ARCS)
    span = rng.integers(SPANS[0], SPANS[1] + 1, ARCS)
    a, b, c = (outline[(first + k * span) % count] for k in range(3))
    with np.errstate(all="ignore"):
        p, q = b - a, c - a
        cross = 2.0 * (p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0])
        pp, qq = (p**2).sum(axis=1), (q**2).sum(axis=1)
        shift = np.column_stack([q[:, 1] * pp - p[:, 1] * qq, p[:, 0] * qq - q[:, 0] * pp]) / cross[:, None]
        radius = np.linalg.norm(shift, axis=1)
        good = (radius > SIZES[0] * usual) & (radius < SIZES[1] * usual)
    centre, radius = (a + shift)[good], radius[good]
    off = points[None] - centre[:, None]
    away = np.linalg.norm(off, axis=2)
    on = np.abs(away - radius[:, None]) < NEAR_SHARE * radius[:, None]
    sector = (np.arctan2(off[..., 1], off[..., 0]) / (2.0 * np.pi) * SECTORS).astype(int) % SECTORS
    hit = np.zeros((len(centre), SECTORS), bool)
    rows, cols = np.nonzero(on)
    hit[rows, sector[rows, cols]] = True
    circles = np.column_stack([centre, radius, hit.sum(axis=1)])
    return circles[circles[:, 3] >= LEAST_SECTORS]


def _apart(seeds: Floats, rounds: Rims) -> Floats:
    """The likeliest of circles (K, 4) that are nearly the same, less those that lie on known rounds."""
    left = seeds[np.argsort(-seeds[:, 3], kind="stable")]
    for centre, radius in zip(rounds.centre, rounds.radius, strict=True):
        left = left[np.linalg.norm(left[:, :2] - centre, axis=1) > 0.6 * radius]
    kept = []
    while len(left):
        best = left[0]
        kept.append(best)
        left = left[np.linalg.norm(left[:, :2] - best[:2], axis=1) > 0.3 * best[2]]
    return np.array(kept).reshape(-1, 4)


def covered_by(outlines: Floats, shown: Floats, size: tuple[int, int]) -> Floats:
    """The share of each outline (N, K, 2) px that each of the silhouettes ``shown`` (M, L, 2) px covers,
    (N, M), in a picture of ``size`` (width, height)."""
    scale = min(1.0, MASK_PX / max(size))
    share = np.zeros((len(outlines), len(shown)))
    for i, outline in enumerate(outlines):
        low = outline.min(axis=0)
        grid = np.round((outline - low) * scale).astype(np.int32)
        mask = np.zeros((int(grid[:, 1].max()) + 1, int(grid[:, 0].max()) + 1), np.uint8)
        cv2.fillPoly(mask, [grid], 1)
        for m, other in enumerate(shown):
            on = np.zeros_like(mask)
            cv2.fillPoly(on, [np.round((other - low) * scale).astype(np.int32)], 1)
            share[i, m] = (mask & on).sum() / max(int(mask.sum()), 1)
    return share
