"""Rounds: upright discs measured by the upper rims that the photo shows, and by their feet."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cutcheck.boxes import Made
from cutcheck.budget import CAUSES, camera_part, height_part
from cutcheck.camera import Camera, Floats
from cutcheck.classify import Outlined
from cutcheck.edgefit import FIRST_PX, LAST_PX, EdgeFit, fit_edges
from cutcheck.piece import make_piece
from cutcheck.rims import Rims, find_rims
from cutcheck.silhouette import affine_at, first_discs
from cutcheck.solids import DIAMETER, DISC_HEIGHT, Disc
from cutcheck.touching_rounds import COVERED, covered_by, find_among

RIM_PX = 0.25  # where a rim that is rounded or has a skin is seen, all round alike
ROUND_MM = 0.11  # how far a cut round is from a circle, and its rim from a sharp one
THICKNESS_SHARES = (0.06, 0.12, 0.2, 0.35)  # of the diameter: where the fit starts
OUTLINE_POINTS = 96
ALIKE, ALIKE_LOG = 0.03, 0.15  # how much a tray's usual height over diameter counts, and its spread
OFF = 0.03  # of the diameter: a fit so far from the rim that was seen has lost it
LEAST_SUPPORT, SURE_SUPPORT = 0.5, 0.8  # share of a rim that must be seen: with a round outline, and without
# Touching rounds are looked for where this share of a tray is plainly round, among so many others at most.
FEW, MANY = 0.15, 60
MISS_PX, MISS_SHARE = 2.0, 0.03  # how far a disc may miss its outline, px and in parts of its diameter


def measure_rounds(
    pixels: NDArray[np.uint8], camera: Camera, shaped: Outlined, scale_u: float
) -> tuple[Made, set[int]]:
    """All rounds of a tray, those that touch, too: pieces, and the outlines that they explain."""
    made, rims = _single(pixels, camera, shaped, np.nonzero(shaped.kind == "disc")[0], scale_u)
    done = {source for source, _ in made}
    rest = np.array([i for i in range(len(shaped.kind)) if i not in done], int)
    if len(made) < FEW * len(shaped.kind) or not 0 < len(rest) <= MANY:
        return made, done
    more = find_among(pixels, camera, shaped.outlines[rest], rims)
    if not len(more.radius):
        return made, done
    none = np.full((len(more.radius), 2, 2), np.nan)
    usual = float(
        np.median(
            [p.height.mm for _, p in made if p.height.mm is not None] or [0.12 * 2.0 * m for m in more.radius]
        )
    )
    likely = np.full(len(more.radius), usual)
    shown = _silhouettes(camera, _disc(camera, more, likely))
    share = covered_by(shaped.outlines[rest], shown, (pixels.shape[1], pixels.shape[0]))
    explained = share.sum(axis=1) > COVERED
    # A rim that was seen where nothing was found to lie is a pattern of the board.
    of = np.nonzero((share[explained] > 0.0).any(axis=0))[0]
    if not len(of):
        return made, done
    fit = fit_heights(pixels, camera, more.take(of), likely[of], shown[of], none[of])
    source = rest[share[:, of].argmax(axis=0)]
    made += _pieces(camera, more.take(of), fit, source, shown[of], scale_u, touching=True)
    return made, done | {int(i) for i in rest[explained]}


def _single(
    pixels: NDArray[np.uint8], camera: Camera, shaped: Outlined, index: NDArray[np.int_], scale_u: float
) -> tuple[Made, Rims]:
    """The outlines ``index`` measured as one disc each, and their rims.

    An outline that no disc explains, and round which no rim is seen, gives none.
    """
    outlines, reach, n = shaped.outlines[index], shaped.reach[index], shaped.directions
    affine = affine_at(camera, 0.5 * (outlines.min(axis=1) + outlines.max(axis=1)))
    first = first_discs(affine, n, reach)
    away = camera.centre_mm[2]
    flat = camera.to_height(camera.project_at(first.xy, first.height), 0.0)
    rims = find_rims(pixels, camera, flat, 0.5 * first.length * away / (away - first.height))
    rows = fit_heights(pixels, camera, rims, first.height, outlines, shaped.seams[index])
    row = rows.rows
    miss = np.abs(_reach(camera, row, n) - reach)
    most = np.percentile(miss, 80, axis=1)
    px = row[:, DIAMETER] / camera.mm_per_px(camera.project_at(row[:, :2], row[:, DISC_HEIGHT]))
    round_outline = most < MISS_PX + MISS_SHARE * px
    good = np.nonzero(rims.support > np.where(round_outline, LEAST_SUPPORT, SURE_SUPPORT))[0]
    rims = rims.take(good)
    return _pieces(camera, rims, rows.take(good), index[good], outlines[good], scale_u), rims


def fit_heights(
    pixels: NDArray[np.uint8], camera: Camera, rims: Rims, likely: Floats, outlines: Floats, seams: Floats
) -> EdgeFit:
    """Discs with these rims, of the height whose edges show best, fitted to the edges.

    ``likely`` (N,) mm is a height to try beside the usual ones, ``outlines`` (N, K, 2) px as found.
    """
    tries = [2.0 * rims.radius * share for share in THICKNESS_SHARES]
    starts = np.stack([_disc(camera, rims, height) for height in [*tries, likely]])
    k, count = len(starts), len(rims.radius)
    start = starts.reshape(k * count, -1)
    many = np.tile(outlines, (k, 1, 1))
    fit = fit_edges(pixels, camera, Disc(), start, many, np.tile(seams, (k, 1, 1)), FIRST_PX)
    seen = fit.support * fit.view.visible
    # The right height has an edge wherever one is predicted, and its rim is the one that was seen.
    score = np.nan_to_num(np.nanmean(np.where(fit.view.visible, np.minimum(seen, 0.05), np.nan), axis=1))
    again = _disc(camera, rims.take(np.tile(np.arange(count), k)), fit.rows[:, DISC_HEIGHT])
    off = np.abs(fit.rows[:, DIAMETER] / again[:, DIAMETER] - 1.0)
    score = score / (score.max() + 1e-9) - 0.3 * fit.rms - np.minimum(off / OFF, 1.0)
    score = score.reshape(k, count)
    # Where that leaves two in doubt, the tray's other pieces tell.
    share = np.log(fit.rows[:, DISC_HEIGHT] / fit.rows[:, DIAMETER]).reshape(k, count)
    usual = np.median(share[np.argmax(score, axis=0), np.arange(count)])
    score = score - ALIKE * np.minimum(((share - usual) / ALIKE_LOG) ** 2, 9.0)
    picked = np.argmax(score, axis=0) * count + np.arange(count)
    return fit_edges(pixels, camera, Disc(), fit.rows[picked], outlines, seams, LAST_PX, prior=start[picked])


def _disc(camera: Camera, rims: Rims, height: Floats) -> Floats:
    """Discs (N, 7) of heights (N,) mm whose upper rims are seen as these."""
    eye = camera.centre_mm
    share = ((eye[2] - height) / eye[2])[:, None]
    row = np.zeros((len(height), Disc.size))
    row[:, 0:2] = eye[:2] + share * (rims.centre - eye[:2])
    row[:, DIAMETER] = 2.0 * share[:, 0] * rims.radius
    row[:, DISC_HEIGHT] = height
    return row


def _rings(camera: Camera, row: Floats, count: int) -> tuple[Floats, Floats]:
    """The upper and the lower rims of discs (N, 7), each (N, count, 2) px."""
    turn = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False)
    ring = row[:, None, :2] + 0.5 * row[:, DIAMETER, None, None] * np.stack(
        [np.cos(turn), np.sin(turn)], axis=-1
    )
    return camera.project_at(ring, row[:, None, DISC_HEIGHT]), camera.project_at(ring, 0.0)


def _reach(camera: Camera, row: Floats, n: Floats) -> Floats:
    """How far discs (N, 7) reach in directions (K, 2), (N, K) px."""
    both = np.concatenate(_rings(camera, row, OUTLINE_POINTS), axis=1)
    return np.asarray((both @ n.T).max(axis=1))


def _silhouettes(camera: Camera, row: Floats) -> Floats:
    """The outlines of discs (N, 7), (N, OUTLINE_POINTS, 2) px."""
    turn = np.linspace(0.0, 2.0 * np.pi, OUTLINE_POINTS, endpoint=False)
    both = np.concatenate(_rings(camera, row, OUTLINE_POINTS), axis=1)
    farthest = (both @ np.stack([np.cos(turn), np.sin(turn)])).argmax(axis=1)
    return np.asarray(np.take_along_axis(both, farthest[..., None], axis=1))


def _pieces(
    camera: Camera,
    rims: Rims,
    fit: EdgeFit,
    index: NDArray[np.int_],
    outlines: Floats,
    scale_u: float,
    *,
    touching: bool = False,
) -> Made:
    """Fitted discs as pieces: the height from the fit, the diameter from the rim seen at that height."""
    count = len(index)
    if not count:
        return []
    h = fit.rows[:, DISC_HEIGHT]
    row = _disc(camera, rims, h)
    half = 0.5 * row[:, DIAMETER, None] * np.ones(2)
    shift = np.stack([half, 0.0 * half], axis=-1)
    ends = camera.project_at(
        np.stack([row[:, None, :2] - shift, row[:, None, :2] + shift], axis=2)[:, :1], h[:, None, None]
    )
    top, foot = camera.project_at(row[:, :2], h), camera.project_at(row[:, :2], 0.0)
    value = row[:, [DIAMETER, DIAMETER, DISC_HEIGHT]]
    parts = np.zeros((count, 3, len(CAUSES)))
    height_u = np.sqrt(fit.covariance[:, DISC_HEIGHT, DISC_HEIGHT])
    seen_px = RIM_PX * camera.mm_per_px(top, h)
    parts[:, :2, 0] = 2.0 * np.sqrt(seen_px**2 + (0.5 * rims.scatter) ** 2 + rims.doubt**2)[:, None]
    parts[:, :2, 1] = (row[:, DIAMETER] * height_u / camera.centre_mm[2])[:, None]
    parts[:, 2, 0] = height_u
    parts[:, :2, 2] = camera_part(camera, ends, h[:, None])
    parts[:, 2, 2] = height_part(camera, foot, top, h)
    parts[:, :, 3] = scale_u * value
    parts[:, :, 4] = ROUND_MM
    gap = np.where(np.isfinite(fit.view.gap_px), fit.view.gap_px, 0.0)
    side_px = gap[:, len(fit.view.kind) // 2 :].max(axis=1)
    rim = _rings(camera, row, 48)[0]
    return [
        (
            int(index[i]),
            make_piece(
                "disc", value[i], parts[i], top[i], outlines[i], rim[i], float(side_px[i]), touching=touching
            ),
        )
        for i in range(count)
    ]
