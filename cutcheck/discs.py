"""Rounds: upright discs fitted to outlines and edges."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cutcheck.boxes import Made
from cutcheck.budget import CAUSES, camera_part, height_part
from cutcheck.camera import Camera
from cutcheck.classify import Outlined
from cutcheck.edgefit import FIRST_PX, LAST_PX, fit_edges
from cutcheck.piece import edges_and_height, make_piece
from cutcheck.silhouette import affine_at, first_discs
from cutcheck.solids import DIAMETER, DISC_HEIGHT, Disc

ROUND_MM = 0.11  # how far a cut round is from a circle, and its rim from a sharp one
THICKNESS_SHARES = (0.06, 0.12, 0.2, 0.35)  # of the diameter: where the fit starts


def measure_discs(
    pixels: NDArray[np.uint8], camera: Camera, shaped: Outlined, index: NDArray[np.int_], scale_u: float
) -> Made:
    """The outlines ``index`` measured as discs: pieces, each with the outline it came from."""
    outlines, reach, n = shaped.outlines[index], shaped.reach[index], shaped.directions
    affine = affine_at(camera, 0.5 * (outlines.min(axis=1) + outlines.max(axis=1)))
    first = first_discs(affine, n, reach)
    tries = []
    for share in THICKNESS_SHARES:
        row = np.zeros((len(index), Disc.size))
        row[:, 0:2] = first.xy
        row[:, DIAMETER] = first.length
        row[:, DISC_HEIGHT] = share * first.length
        tries.append(row)
    free = tries[0].copy()
    free[:, DISC_HEIGHT] = first.height
    tries.append(free)
    k, count = len(tries), len(index)
    start = np.concatenate(tries)
    fit = fit_edges(
        pixels,
        camera,
        Disc(),
        start,
        np.tile(outlines, (k, 1, 1)),
        np.tile(shaped.seams[index], (k, 1, 1)),
        FIRST_PX,
    )
    seen = fit.support * fit.view.visible
    # The right height has an edge wherever one is predicted.
    score = np.nan_to_num(np.nanmean(np.where(fit.view.visible, np.minimum(seen, 0.05), np.nan), axis=1))
    score = score / (score.max() + 1e-9) - 0.3 * fit.rms
    picked = np.argmax(score.reshape(k, count), axis=0) * count + np.arange(count)
    best = fit_edges(
        pixels, camera, Disc(), fit.rows[picked], outlines, shaped.seams[index], LAST_PX, prior=start[picked]
    )
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
    edges_and_height(best.covariance, (DIAMETER, DIAMETER), DISC_HEIGHT, parts)
    parts[:, :2, 2] = camera_part(camera, ends, h[:, None])
    parts[:, 2, 2] = height_part(camera, foot, top, h)
    parts[:, :, 3] = scale_u * value
    parts[:, :, 4] = ROUND_MM
    side_px = np.where(np.isfinite(best.view.gap_px), best.view.gap_px, 0.0)[
        :, len(best.view.kind) // 2 :
    ].max(axis=1)
    turn = np.linspace(0.0, 2.0 * np.pi, 48, endpoint=False)
    ring = row[:, None, :2] + 0.5 * row[:, DIAMETER, None, None] * np.stack(
        [np.cos(turn), np.sin(turn)], axis=-1
    )
    rim = camera.project_at(ring, h[:, None])
    return [
        (
            int(index[i]),
            make_piece("disc", value[i], parts[i], top[i], outlines[i], rim[i], float(side_px[i])),
        )
        for i in range(count)
    ]
