"""What is known of a lens before anything is measured in the photo."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cutcheck.photo import Photo
from cutcheck.records import FocalFrom

Floats = NDArray[np.float64]

FULL_FRAME_DIAGONAL_MM = 43.267  # of 36 x 24 mm; CIPA DCG-001: the 35 mm equivalent goes by the diagonal

# Standard deviations, common practice, no source: EXIF's focal length is a whole number, some phones reckon
# it by the width (4 % less for 4:3), and focusing near lengthens it. Sensors sit off the lens's centre, the
# more so with stabilisers. Phones straighten their pictures, but not all do, nor ultra-wide ones fully.
FOCAL_SD = 0.025
CENTRE_SD = 0.004  # of the diagonal
CORNER_SD, CORNER_SD_2 = 0.025, 0.008  # shift of the picture's corner by k1 and by k2, of its distance
NO_EXIF_FOCAL_MM, NO_EXIF_FOCAL_SD = 28.0, 0.45  # 14 to 80 mm hold all phones' lenses
CROPPED_FOCAL, CROPPED_FOCAL_SD, CROPPED_CENTRE_SD = 1.25, 0.25, 0.08  # a part looks like a longer lens


@dataclass(frozen=True)
class LensPrior:
    """A lens that was calibrated: f, and cx and cy from the middle of a picture held across, in parts of the
    picture's diagonal; k1 and k2 without unit. ``sd`` (5,): their standard uncertainties."""

    f: float
    cx: float
    cy: float
    k1: float
    k2: float
    sd: tuple[float, float, float, float, float]
    camera_name: str = ""


def lens_priors(photo: Photo, lens: LensPrior | None = None) -> tuple[tuple[Floats, ...], FocalFrom]:
    """What may be true of the lens, the likeliest first, and where the focal length is from.

    Each is mean and standard deviation of f, cx, cy (px), k1, k2: (2, 5). A photo that may have been cropped
    has two: as if it had not been, and as if its optical centre were anywhere near the middle.
    """
    high, wide = photo.pixels.shape[:2]
    diagonal = float(np.hypot(wide, high))
    middle = np.array([(wide - 1) / 2, (high - 1) / 2])

    def prior(focal: float, focal_sd: float, centre_sd: float) -> Floats:
        f = focal / FULL_FRAME_DIAGONAL_MM * diagonal
        corner = (diagonal / 2 / f) ** 2  # r2 at the corner of the frame
        centre = centre_sd * diagonal
        sd = np.array([focal_sd * f, centre, centre, CORNER_SD / corner, CORNER_SD_2 / corner**2])
        return np.stack([np.array([f, *middle, 0.0, 0.0]), sd])

    focal, focal_sd = photo.focal_35mm or NO_EXIF_FOCAL_MM, FOCAL_SD
    if photo.focal_35mm is None:
        focal_sd = NO_EXIF_FOCAL_SD
    solved = photo.focal_35mm is None or photo.maybe_cropped
    whole = prior(focal, focal_sd, CENTRE_SD)
    if photo.maybe_cropped:
        cropped = prior(focal * CROPPED_FOCAL, max(focal_sd, CROPPED_FOCAL_SD), CROPPED_CENTRE_SD)
        return (whole, cropped), "solved"
    if lens is None:
        return (whole,), "solved" if solved else "exif"
    sd = np.array(lens.sd)
    off = np.array([lens.cx, lens.cy])
    if high > wide:  # held upright: which way round the sensor was is not kept
        sd[1:3] = np.hypot(sd[1:3], np.hypot(*off))
        off = np.zeros(2)
    unit = np.array([diagonal, diagonal, diagonal, 1.0, 1.0])
    mean = np.array([lens.f, *(middle / diagonal + off), lens.k1, lens.k2])
    return (np.stack([mean * unit, sd * unit]),), "lens"
