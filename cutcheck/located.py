"""What a photo's reference gave: the camera over the board, and what to know beside it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cutcheck import records
from cutcheck.camera import Camera

Floats = NDArray[np.float64]

MOST_TILT_DEG = 55.0  # of the camera; from further to the side small pieces hide each other (house rule)


@dataclass(frozen=True)
class Grey:
    """A patch of known grey as photographed: linear light, 0 to 1; ``seen`` is (3,), B, G, R.

    ``what`` is ``grey``, ``white`` (paper, nominal 1) or ``black`` (ink, nominal 0).
    """

    what: str
    nominal: float
    seen: Floats
    centre_px: Floats


@dataclass(frozen=True)
class Located:
    """A photo with its camera.

    ``camera`` holds the covariance of its parameters. ``scale_u`` is the relative standard uncertainty of all
    lengths alike, from the print or the reference's own size; it is not in that covariance. ``regions_px``:
    what the reference covers, (N, 2) px polygons, to be masked; of a mat only its squares, for pieces lie
    between them. ``surface_px``: the outline of a sheet on which the pieces lie, else None. ``blur_px``: how
    wide a sharp edge is seen, from 10 to 90 % of the step.
    """

    camera: Camera
    scale: records.Scale
    warnings: tuple[str, ...]
    regions_px: tuple[Floats, ...]
    greys: tuple[Grey, ...]
    scale_u: float
    blur_px: float
    surface_px: Floats | None = None


def scale_record(
    camera: Camera,
    size_px: tuple[int, int],
    *,
    reference: records.Reference,
    numbers: tuple[int, ...] = (),
    residual_px: float,
    focal_from: records.FocalFrom,
) -> records.Scale:
    """The scale as it is told to the user; ``size_px`` is the photo's (width, height)."""
    middle = (np.array(size_px, float) - 1) / 2
    return records.Scale(
        reference=reference,
        numbers=numbers,
        mm_per_px=float(camera.mm_per_px(middle)),
        tilt_deg=camera.tilt_deg,
        residual_px=residual_px,
        focal_px=camera.f,
        focal_from=focal_from,
    )


def with_height_u(camera: Camera, covariance: Floats, height_u_mm: float) -> Camera:
    """The camera with its covariance (11, 11), to which an unsure height of the reference above the board is
    added: standard uncertainty ``height_u_mm``, along the board's normal."""
    normal = camera.rotation[:, 2]
    total = covariance.copy()
    total[8:11, 8:11] += height_u_mm**2 * np.outer(normal, normal)
    return Camera(
        *(camera.f, camera.cx, camera.cy, camera.k1, camera.k2),
        *(camera.rotation, camera.translation, total),
    )
