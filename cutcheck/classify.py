"""Which solid an outline is taken for: by how well each explains it, never by the cut that was asked for."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cutcheck.camera import Camera, Floats
from cutcheck.outlines import feret, solidity, strip_sides
from cutcheck.silhouette import affine_at, boxes_at, first_boxes, first_discs, support

TURN_STEPS = np.radians([1.0, 0.5, 0.25])
SLENDER = 3.0  # length over width from which a bent outline is a bent stick, not a rough chunk


@dataclass(frozen=True)
class Outlined:
    """N outlines (N, K, 2) px and what the support function says of them.

    ``kind`` (N,) str; ``theta`` (N,) rad and ``breadth`` (N,) mm for a box; ``bowed`` (N,) bool;
    ``flat`` (N, K, 2) mm is the outline on the board.
    """

    outlines: Floats
    directions: Floats
    reach: Floats
    kind: NDArray[np.str_]
    theta: Floats
    breadth: Floats
    bowed: NDArray[np.bool_]
    flat: Floats


def classify(camera: Camera, outlines: Floats) -> Outlined:
    """Name the solid for each of the ``outlines`` (N, K, 2) px."""
    n, reach = support(list(outlines))
    affine = affine_at(camera, 0.5 * (outlines.min(axis=1) + outlines.max(axis=1)))
    size = np.sqrt(np.abs(np.linalg.det(affine.a)))
    box = first_boxes(affine, n, reach)
    for step in TURN_STEPS:
        turns = box.theta[:, None] + step * np.array([-1.0, 0.0, 1.0])
        box = boxes_at(affine, n, reach, turns, None)
    disc = first_discs(affine, n, reach)
    extent = (reach + np.roll(reach, reach.shape[1] // 2, axis=1)) / size[:, None]
    breadth = extent.min(axis=1)
    flat = camera.to_height(outlines, 0.0)
    kind = np.full(len(outlines), "box", dtype="<U9")
    bowed = np.zeros(len(outlines), bool)
    for i, outline in enumerate(flat):
        solid = solidity(outline)
        long, short, _ = feret(outline)
        axis, across = strip_sides(outline)
        slender = axis / max(across, 1e-6)
        rough_px = max(1.2, 0.035 * breadth[i] * size[i])
        if slender > SLENDER and solid < 0.9:
            # Bent: a stick if it bends gently, a ribbon if its axis is clearly longer than its reach.
            kind[i] = "ribbon" if axis > 1.06 * long or solid < 0.75 else "box"
            bowed[i] = kind[i] == "box"
        elif slender > SLENDER:
            bowed[i] = True
        elif disc.rms[i] < 0.75 * box.rms[i] and disc.rms[i] < rough_px:
            kind[i] = "disc"
        elif min(box.rms[i], disc.rms[i]) > rough_px or solid < 0.88:
            kind[i] = "irregular"
    return Outlined(outlines, n, reach, kind, box.theta, breadth, bowed, flat)
