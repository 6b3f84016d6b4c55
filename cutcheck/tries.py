"""Several boxes tried on each outline: fitted to the edges from their starts, and what speaks for each."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cutcheck.camera import Camera, Floats
from cutcheck.classify import Outlined
from cutcheck.edgefit import FIRST_PX, LAST_PX, EdgeFit, fit_edges
from cutcheck.explain import Evidence, evidence
from cutcheck.silhouette import affine_at
from cutcheck.solids import Box

FIRST_SAMPLES = 6  # places along an edge that tell candidates apart


def middles(outlines: Floats) -> Floats:
    """The middles of the outlines' (N, K, 2) px bounding boxes, (N, 2)."""
    return np.asarray(0.5 * (outlines.min(axis=1) + outlines.max(axis=1)))


def tried(
    pixels: NDArray[np.uint8], camera: Camera, shaped: Outlined, index: NDArray[np.int_], boxes: Floats
) -> Evidence:
    """The evidence for boxes (K, N, 9), K to each of the outlines ``index`` (N,), once coarsely fitted."""
    keep = len(boxes)
    outlines = shaped.outlines[index]
    affine = affine_at(camera, middles(outlines))
    fit = fit_edges(
        pixels,
        camera,
        Box(np.tile(np.isfinite(shaped.bow[index]), keep), samples=FIRST_SAMPLES),
        boxes.reshape(-1, 9),
        np.tile(outlines, (keep, 1, 1)),
        np.tile(shaped.seams[index], (keep, 1, 1)),
        FIRST_PX,
    )
    size = np.sqrt(np.abs(np.linalg.det(affine.a)))
    return evidence(pixels, camera, fit, keep, shaped.directions, shaped.reach[index], size, outlines)


def settled(
    pixels: NDArray[np.uint8],
    camera: Camera,
    shaped: Outlined,
    index: NDArray[np.int_],
    chosen: Floats,
    start: Floats,
) -> EdgeFit:
    """The ``chosen`` boxes (N, 9), one to each outline of ``index``, fitted finely; ``start`` as tried."""
    return fit_edges(
        pixels,
        camera,
        Box(np.isfinite(shaped.bow[index])),
        chosen,
        shaped.outlines[index],
        shaped.seams[index],
        LAST_PX,
        prior=start,
    )
