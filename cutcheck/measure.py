"""From outlines to measured pieces: which solid each one is, its sides, and how sure they are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from cutcheck.blobs import Blob
from cutcheck.budget import CAUSES, ROUGHNESS_MM, camera_part, height_part
from cutcheck.camera import Camera, Floats
from cutcheck.classify import Outlined, classify
from cutcheck.edgefit import EdgeFit, fit_edges
from cutcheck.heights import candidates, choose, scan_heights
from cutcheck.outlines import feret, resample, sharpen, strip_sides
from cutcheck.records import BudgetLine, Measure, Piece, SideName
from cutcheck.seams import contacts, part
from cutcheck.silhouette import affine_at, first_discs
from cutcheck.solids import DIAMETER, DISC_HEIGHT, HEIGHT, LENGTH, WIDTH, Box, Disc, box_corners, box_points

KEEP = 3  # heights that go on to the fit
SEEN_SIDE_PX = 5.0  # a side face narrower than this shows no height
SEEN_SHARE = 0.5  # nor does one whose height is less sure than this
SIDES: tuple[SideName, ...] = ("length", "width", "height")


def measure(
    pixels: NDArray[np.uint8], camera: Camera, blobs: Sequence[Blob], *, scale_u: float = 0.0
) -> tuple[Piece, ...]:
    """Measure the pieces of a photo, (H, W, 3) BGR, seen by ``camera``.

    ``scale_u`` is the relative standard uncertainty of all lengths at once, from the card's print.
    """
    if not blobs:
        return ()
    shaped, source = _parted(pixels, camera, blobs)
    made: dict[int, Piece] = {}
    for kind, maker in (("box", _boxes), ("disc", _discs), ("ribbon", _strips), ("irregular", _rough)):
        index = np.nonzero(shaped.kind == kind)[0]
        if len(index):
            made.update(zip(index.tolist(), maker(pixels, camera, shaped, index, scale_u), strict=True))
    return tuple(_numbered(made[i], i + 1, blobs[source[i]], shaped.seams[i]) for i in range(len(source)))


def _parted(pixels: NDArray[np.uint8], camera: Camera, blobs: Sequence[Blob]) -> tuple[Outlined, list[int]]:
    """The blobs' outlines at full sharpness, those of touching pieces parted, and whose each part was."""
    outlines = sharpen(pixels, np.stack([resample(blob.outline_px) for blob in blobs]))
    shaped = classify(camera, outlines)
    affine = affine_at(camera, 0.5 * (outlines.min(axis=1) + outlines.max(axis=1)))
    e1, e2 = (
        np.einsum("nij,nj->ni", affine.a, np.stack(turned, axis=-1))
        for turned in (
            (np.cos(shaped.theta), np.sin(shaped.theta)),
            (-np.sin(shaped.theta), np.cos(shaped.theta)),
        )
    )
    e1, e2 = (e / np.linalg.norm(e, axis=-1, keepdims=True) for e in (e1, e2))
    found, source = part(pixels, list(outlines), e1, e2)
    if len(found) > len(blobs):
        outlines = np.stack([resample(outline) for outline in found])
    seams = contacts(outlines)
    if len(found) > len(blobs) or not np.isnan(seams).all():
        shaped = classify(camera, outlines, seams)
    return shaped, source


def _numbered(piece: Piece, number: int, blob: Blob, seams: Floats) -> Piece:
    flags = {*piece.flags, *blob.flags}
    if not np.isnan(seams).all():
        flags.add("touching")
    return replace(piece, number=number, flags=tuple(sorted(flags)))


# --- boxes --------------------------------------------------------------------------------------------------


def fit_boxes(
    pixels: NDArray[np.uint8], camera: Camera, shaped: Outlined, index: NDArray[np.int_]
) -> EdgeFit:
    """Boxes fitted to the outlines ``index`` (N,): of the likeliest heights, the one that explains most."""
    outlines, reach, n = shaped.outlines[index], shaped.reach[index], shaped.directions
    affine = affine_at(camera, 0.5 * (outlines.min(axis=1) + outlines.max(axis=1)))
    size = np.sqrt(np.abs(np.linalg.det(affine.a)))
    bow = np.nan_to_num(shaped.bow[index])
    scanned = scan_heights(
        pixels, camera, affine, n, reach, shaped.theta[index], shaped.breadth[index], bow, shaped.seams[index]
    )
    start = candidates(*scanned, size, KEEP)
    count = len(index)
    solid = Box(np.tile(np.isfinite(shaped.bow[index]), KEEP))
    fit = fit_edges(
        pixels,
        camera,
        solid,
        start.reshape(-1, 9),
        np.tile(outlines, (KEEP, 1, 1)),
        np.tile(shaped.seams[index], (KEEP, 1, 1)),
    )
    best = choose(pixels, camera, fit, KEEP, n, reach, size)
    return fit.take(best * count + np.arange(count))


def _boxes(
    pixels: NDArray[np.uint8], camera: Camera, shaped: Outlined, index: NDArray[np.int_], scale_u: float
) -> list[Piece]:
    fit = fit_boxes(pixels, camera, shaped, index)
    box = fit.rows
    count = len(box)
    mid = np.array([[-0.5, 0.5, 0.0, 0.0], [0.0, 0.0, -0.5, 0.5]])
    ends = camera.project(box_points(box[:, None], mid[0], mid[1], np.ones(4))).reshape(count, 2, 2, 2)
    tall = np.repeat(box[:, HEIGHT, None], 2, axis=1)
    foot = camera.project(box_points(box, np.zeros(count), np.zeros(count), np.zeros(count)))
    top = camera.project(box_points(box, np.zeros(count), np.zeros(count), np.ones(count)))
    value = box[:, [LENGTH, WIDTH, HEIGHT]]
    parts = np.zeros((count, 3, len(CAUSES)))
    _edges_and_height(fit.covariance, (LENGTH, WIDTH), HEIGHT, parts)
    parts[:, :2, 2] = camera_part(camera, ends, tall)
    parts[:, 2, 2] = height_part(camera, foot, top, box[:, HEIGHT])
    parts[:, :, 3] = scale_u * value
    parts[:, :, 4] = ROUGHNESS_MM
    side_px = np.where(np.isfinite(fit.view.gap_px), fit.view.gap_px, 0.0)[:, 4:8].max(axis=1)
    corners = camera.project(box_corners(box))
    return [
        _piece(
            "box", value[i], parts[i], top[i], shaped.outlines[index[i]], corners[i, :4], float(side_px[i])
        )
        for i in range(count)
    ]


def _edges_and_height(covariance: Floats, plan: tuple[int, ...], height: int, parts: Floats) -> None:
    """Split a fit's variance into what the edges and what the height leave open."""
    var_h = covariance[:, height, height]
    for i, k in enumerate(plan):
        from_h = covariance[:, k, height] ** 2 / np.maximum(var_h, 1e-12)
        parts[:, i, 1] = np.sqrt(from_h)
        parts[:, i, 0] = np.sqrt(np.maximum(covariance[:, k, k] - from_h, 0.0))
    parts[:, 2, 0] = np.sqrt(var_h)


# --- discs --------------------------------------------------------------------------------------------------


def _discs(
    pixels: NDArray[np.uint8], camera: Camera, shaped: Outlined, index: NDArray[np.int_], scale_u: float
) -> list[Piece]:
    outlines, reach, n = shaped.outlines[index], shaped.reach[index], shaped.directions
    affine = affine_at(camera, 0.5 * (outlines.min(axis=1) + outlines.max(axis=1)))
    first = first_discs(affine, n, reach)
    tries = []
    for share in (0.06, 0.12, 0.2, 0.35):
        row = np.zeros((len(index), Disc.size))
        row[:, 0:2] = first.xy
        row[:, DIAMETER] = first.length
        row[:, DISC_HEIGHT] = share * first.length
        tries.append(row)
    free = tries[0].copy()
    free[:, DISC_HEIGHT] = first.height
    tries.append(free)
    k, count = len(tries), len(index)
    fit = fit_edges(
        pixels,
        camera,
        Disc(),
        np.concatenate(tries),
        np.tile(outlines, (k, 1, 1)),
        np.tile(shaped.seams[index], (k, 1, 1)),
    )
    seen = fit.support * fit.view.visible
    # The right height has an edge wherever one is predicted.
    score = np.median(np.where(fit.view.visible, np.minimum(seen, 0.05), np.nan), axis=1)
    score = np.nan_to_num(np.nanmean(np.where(fit.view.visible, np.minimum(seen, 0.05), np.nan), axis=1))
    score = score / (score.max() + 1e-9) - 0.3 * fit.rms
    best = fit.take(np.argmax(score.reshape(k, count), axis=0) * count + np.arange(count))
    row = best.rows
    h = row[:, DISC_HEIGHT]
    half = 0.5 * row[:, DIAMETER, None] * np.ones(2)
    shift = np.stack([half, 0.0 * half], axis=-1)
    ends = camera.project_at(
        np.stack([row[:, None, :2] - shift, row[:, None, :2] + shift], axis=2)[:, :1], h[:, None, None]
    )
    top, foot = camera.project_at(row[:, :2], h), camera.project_at(row[:, :2], 0.0)
    value = row[:, [DIAMETER, DIAMETER, DISC_HEIGHT]]
    parts = np.zeros((count, 3, len(CAUSES)))
    _edges_and_height(best.covariance, (DIAMETER, DIAMETER), DISC_HEIGHT, parts)
    parts[:, :2, 2] = camera_part(camera, ends, h[:, None])
    parts[:, 2, 2] = height_part(camera, foot, top, h)
    parts[:, :, 3] = scale_u * value
    parts[:, :, 4] = ROUGHNESS_MM
    side_px = np.where(np.isfinite(best.view.gap_px), best.view.gap_px, 0.0)[
        :, len(best.view.kind) // 2 :
    ].max(axis=1)
    turn = np.linspace(0.0, 2.0 * np.pi, 48, endpoint=False)
    ring = row[:, None, :2] + 0.5 * row[:, DIAMETER, None, None] * np.stack(
        [np.cos(turn), np.sin(turn)], axis=-1
    )
    rim = camera.project_at(ring, h[:, None])
    return [
        _piece("disc", value[i], parts[i], top[i], outlines[i], rim[i], float(side_px[i]))
        for i in range(count)
    ]


# --- ribbons and rough chunks ------------------------------------------------------------------------------


def _strips(
    pixels: NDArray[np.uint8], camera: Camera, shaped: Outlined, index: NDArray[np.int_], scale_u: float
) -> list[Piece]:
    pieces = []
    for i in index:
        long, short = strip_sides(shaped.flat[i])
        pieces.append(_flat_piece("ribbon", long, short, 0.3 * short, camera, shaped.outlines[i], scale_u))
    return pieces


def _rough(
    pixels: NDArray[np.uint8], camera: Camera, shaped: Outlined, index: NDArray[np.int_], scale_u: float
) -> list[Piece]:
    pieces = []
    for i in index:
        _, short, _ = feret(shaped.flat[i])
        # The rim that is seen lies somewhere up the sides.
        level = 0.4 * short
        long, short, _ = feret(camera.to_height(shaped.outlines[i], level))
        pieces.append(_flat_piece("irregular", long, short, level, camera, shaped.outlines[i], scale_u))
    return pieces


def _flat_piece(
    kind: str, long: float, short: float, level: float, camera: Camera, outline: Floats, scale_u: float
) -> Piece:
    """A piece measured from its outline alone, whose rim lies ``level`` mm up, give or take as much."""
    centre = outline.mean(axis=0)
    mm_per_px = float(camera.mm_per_px(centre[None], level)[0])
    rise = level / max(float(camera.centre_mm[2]), 1.0)
    slant = float(
        np.linalg.norm(np.diff(camera.to_height(np.stack([centre, centre]), np.array([0.0, 1.0])), axis=0))
    )
    value = np.array([long, short, np.nan])
    parts = np.zeros((3, len(CAUSES)))
    parts[:2, 0] = 0.6 * mm_per_px
    parts[:2, 1] = 0.5 * rise * value[:2] + 0.3 * slant * level
    ends = np.stack([outline[np.argmin(outline[:, 0])], outline[np.argmax(outline[:, 0])]])
    share = camera_part(camera, ends[None, None], np.array([[level]]))[0, 0] / max(long, 1e-6)
    parts[:2, 2] = share * value[:2]
    parts[:2, 3] = scale_u * value[:2]
    parts[:2, 4] = ROUGHNESS_MM + 0.01 * value[:2]
    return _piece(kind, value, parts, centre, outline, outline, 0.0)


def _piece(
    kind: str, value: Floats, parts: Floats, top: Floats, outline: Floats, rim: Floats, side_px: float
) -> Piece:
    standard = np.sqrt((parts**2).sum(axis=1))
    seen = side_px >= SEEN_SIDE_PX and bool(2.0 * standard[2] < SEEN_SHARE * value[2])
    plan = [float(value[0]), float(value[1])]
    unc = [float(2.0 * standard[0]), float(2.0 * standard[1])]
    if plan[1] > plan[0]:
        plan.reverse()
        unc.reverse()
        parts = parts[[1, 0, 2]]
    budget = tuple(
        BudgetLine(side, cause, float(parts[s, c]))
        for s, side in enumerate(SIDES)
        for c, cause in enumerate(CAUSES)
        if parts[s, c] > 0.0 and (side != "height" or seen)
    )
    return Piece(
        number=0,
        centre_px=(float(top[0]), float(top[1])),
        outline_px=tuple((float(x), float(y)) for x, y in outline),
        shape=kind,  # type: ignore[arg-type]
        length=Measure(plan[0], unc[0]),
        width=Measure(plan[1], unc[1]),
        height=Measure(float(value[2]), float(2.0 * standard[2]))
        if seen
        else Measure(None, None, seen=False),
        budget=budget,
        top_px=tuple((float(x), float(y)) for x, y in rim),
    )
