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
class KnownLens:
    """What is known of a lens: mean (5,) of f, cx, cy (px), k1, k2, and their covariance (5, 5)."""

    mean: Floats
    covariance: Floats

    @property
    def sd(self) -> Floats:
        """The standard deviations, (5,)."""
        return np.asarray(np.sqrt(np.diag(self.covariance)))

    @property
    def focal_open(self) -> bool:
        """Whether the focal length is known so little that it has to be searched for."""
        return bool(self.sd[0] > 0.1 * self.mean[0])


@dataclass(frozen=True)
class LensPrior:
    """A lens that was calibrated: f, and cx and cy from the middle of a picture held across, in parts of the
    picture's diagonal; k1 and k2 without unit. ``sd`` (5,): their standard uncertainties; ``correlation``:
    (25,), row by row, or empty where they are taken as independent. ``focal_35mm`` tells a phone's lenses
    apart."""

    f: float
    cx: float
    cy: float
    k1: float
    k2: float
    sd: tuple[float, float, float, float, float]
    camera_name: str = ""
    focal_35mm: float | None = None
    correlation: tuple[float, ...] = ()

    def in_pixels(self, wide: int, high: int) -> KnownLens:
        """The lens for a picture of this size."""
        diagonal = float(np.hypot(wide, high))
        middle = np.array([(wide - 1) / 2, (high - 1) / 2])
        sd, off = np.array(self.sd, float), np.array([self.cx, self.cy])
        correlation = np.array(self.correlation).reshape(5, 5) if len(self.correlation) else np.eye(5)
        if high > wide:  # held upright: which way round the sensor was is not kept
            sd[1:3] = np.hypot(sd[1:3], np.hypot(*off))
            off = np.zeros(2)
            correlation[1:3], correlation[:, 1:3] = np.eye(5)[1:3], np.eye(5)[:, 1:3]
        unit = np.array([diagonal, diagonal, diagonal, 1.0, 1.0])
        mean = np.array([self.f, *(middle / diagonal + off), self.k1, self.k2]) * unit
        return KnownLens(mean, correlation * np.outer(sd * unit, sd * unit))

    def in_words(self) -> tuple[str, ...]:
        """What was found, line by line, for the user."""
        corner = (0.5 / self.f) ** 2
        moved = 100 * (self.k1 * corner + self.k2 * corner**2)
        give = 100 * self.sd[3] * corner
        return (
            f"Camera: {self.camera_name or 'unknown'}",
            f"Focal length: {self.f * FULL_FRAME_DIAGONAL_MM:.2f} mm (as of 35 mm film), give or take "
            f"{2 * self.sd[0] * FULL_FRAME_DIAGONAL_MM:.2f}",
            f"Distortion: {moved:+.2f} % in the picture's corners, give or take {2 * give:.2f}",
        )


def lens_priors(photo: Photo, lens: LensPrior | None = None) -> tuple[tuple[KnownLens, ...], FocalFrom]:
    """What may be true of the lens, the likeliest first, and where the focal length is from.

    A photo that may have been cropped has two: as if it had not been, and as if its optical centre were
    anywhere near the middle.
    """
    high, wide = photo.pixels.shape[:2]
    diagonal = float(np.hypot(wide, high))
    middle = np.array([(wide - 1) / 2, (high - 1) / 2])

    def known(focal: float, focal_sd: float, centre_sd: float) -> KnownLens:
        f = focal / FULL_FRAME_DIAGONAL_MM * diagonal
        corner = (diagonal / 2 / f) ** 2  # r2 at the corner of the frame
        centre = centre_sd * diagonal
        sd = np.array([focal_sd * f, centre, centre, CORNER_SD / corner, CORNER_SD_2 / corner**2])
        return KnownLens(np.array([f, *middle, 0.0, 0.0]), np.diag(sd**2))

    focal, focal_sd = photo.focal_35mm or NO_EXIF_FOCAL_MM, FOCAL_SD
    if photo.focal_35mm is None:
        focal_sd = NO_EXIF_FOCAL_SD
    whole = known(focal, focal_sd, CENTRE_SD)
    if photo.maybe_cropped:
        cropped = known(focal * CROPPED_FOCAL, max(focal_sd, CROPPED_FOCAL_SD), CROPPED_CENTRE_SD)
        return (whole, cropped), "solved"
    if lens is None:
        return (whole,), "solved" if photo.focal_35mm is None else "exif"
    return (lens.in_pixels(wide, high),), "lens"
