"""Which solid an outline is taken for: by how well each explains it, never by the cut that was asked for."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cutcheck.camera import Camera, Floats
from cutcheck.outlines import straighten, strip_sides
from cutcheck.silhouette import affine_at, boxes_at, first_boxes, first_discs, support
from cutcheck.split import solidity

TURN_STEPS = np.radians([1.0, 0.5, 0.25])
AXIS_TURNS = np.radians(np.linspace(-4.0, 4.0, 17))
ROUGH_PX, ROUGH_SHARE = (
    0.6,
    0.012,
)  # misfit of an outline, px and in parts of its breadth, that a true solid has
SLENDER = 3.0  # length over width from which a bent outline is a bent stick, not a rough chunk


@dataclass(frozen=True)
class Outlined:
    """N outlines (N, K, 2) px and what the support function says of them.

    ``kind`` (N,) str; ``theta`` (N,) rad, ``breadth`` (N,) mm and ``bow`` (N,) mm for a box, nan where it
    can't bend; ``straight`` (N, K, 2) px is the outline without its bow, ``flat`` (N, K, 2) mm the outline
    on the board; ``seams`` (N, 2, 2) outward normals of sides that touch a neighbour, or nan. ``reach`` is
    the support function of ``straight``.
    """

    outlines: Floats
    directions: Floats
    reach: Floats
    kind: NDArray[np.str_]
    theta: Floats
    breadth: Floats
    bow: Floats
    straight: Floats
    flat: Floats
    seams: Floats


def classify(camera: Camera, outlines: Floats, seams: Floats | None = None) -> Outlined:
    """Name the solid for each of the ``outlines`` (N, K, 2) px; ``seams`` (N, 2, 2) where pieces touch."""
    if seams is None:
        seams = np.full((len(outlines), 2, 2), np.nan)
    flat = camera.to_height(outlines, 0.0)
    strips = [strip_sides(outline) for outline in flat]
    slender = np.array([long / max(short, 1e-6) for long, short in strips]) > SLENDER
    straight = outlines.copy()
    sagitta = np.zeros(len(outlines))
    normal = np.zeros((len(outlines), 2))
    for i in np.flatnonzero(slender).tolist():
        straight[i], sagitta[i], normal[i] = straighten(outlines[i])
    n, reach = support(list(straight))
    affine = affine_at(camera, 0.5 * (outlines.min(axis=1) + outlines.max(axis=1)))
    size = np.sqrt(np.abs(np.linalg.det(affine.a)))
    box = first_boxes(affine, n, reach, seams)
    if slender.any():
        # A slender outline's own axis tells the turn better than a scan does.
        axis = np.stack([normal[:, 1], -normal[:, 0]], axis=-1)
        flat_axis = np.linalg.solve(affine.a, axis[..., None])[..., 0]
        turns = np.arctan2(flat_axis[:, 1], flat_axis[:, 0])[:, None] + AXIS_TURNS
        box = boxes_at(affine, n, reach, np.where(slender[:, None], turns, box.theta[:, None]), None, seams)
    for step in TURN_STEPS:
        turns = box.theta[:, None] + step * np.array([-1.0, 0.0, 1.0])
        box = boxes_at(affine, n, reach, turns, None, seams)
    disc = first_discs(affine, n, reach)
    extent = (reach + np.roll(reach, reach.shape[1] // 2, axis=1)) / size[:, None]
    breadth = extent.min(axis=1)
    side = np.stack([-np.sin(box.theta), np.cos(box.theta)], axis=-1)
    same = np.sign(np.einsum("nij,nj,ni->n", affine.a, side, normal))
    bow = np.where(slender, same * sagitta / size, np.nan)
    kind = np.full(len(outlines), "box", dtype="<U9")
    for i in range(len(outlines)):
        solid = solidity(straight[i])
        rough_px = ROUGH_PX + ROUGH_SHARE * breadth[i] * size[i]
        if slender[i]:
            # What a single gentle bend does not straighten is a ribbon; in between, the edges have to say.
            if solid < 0.7 or abs(bow[i]) > 0.15 * strips[i][0]:
                kind[i] = "ribbon"
            elif solid < 0.9:
                kind[i] = "irregular"
        elif disc.rms[i] < 0.75 * box.rms[i] and disc.rms[i] < rough_px:
            kind[i] = "disc"
        elif min(box.rms[i], disc.rms[i]) > rough_px or solid < 0.88:
            kind[i] = "irregular"
    return Outlined(outlines, n, reach, kind, box.theta, breadth, bow, straight, flat, seams)
