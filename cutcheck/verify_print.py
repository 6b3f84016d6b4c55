"""Whether the card was printed at true size, told by one photo of it beside an ID-1 card.

The printed card gives the camera, the ID-1 card, 85.60 x 53.98 mm (ISO/IEC 7810), is measured with it: what
comes out too large was printed too small. A print that is stretched one way makes the camera lean wrongly,
and so the ID-1 card no longer a rectangle of its shape: of several stretches the one counts with which it is.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from cutcheck.camera import Camera
from cutcheck.card import PAGE_CHECK_MM, PrintCheck
from cutcheck.errors import CutcheckError
from cutcheck.lens import KnownLens, LensPrior
from cutcheck.located import Located
from cutcheck.other_references import Known, id1
from cutcheck.photo import Photo
from cutcheck.pose import locate
from cutcheck.rectangles import along_sides, find_rectangle
from cutcheck.steps import steps

Floats = NDArray[np.float64]

ASPECTS, MOST_ASPECT = (
    (0.0, -0.007, 0.007, -0.014, 0.014, -0.021, 0.021),
    0.03,
)  # across over down, less 1: the stretches tried
LEAST_SEEN = 3  # stretches: a parabola needs so many
ASPECT_SD = 0.02  # how differently printers draw across and down; common practice, no source
CORNER_U = 0.12  # mm, standard: where a corner of the ID-1 card is seen
SIZE_U = 0.0012  # relative, standard: the ID-1 card's own size
POINTS = 24  # along each side


@dataclass(frozen=True)
class PrintFound:
    """Printed size over drawn size, ``across`` and ``down`` the card, and the relative standard uncertainty
    of each."""

    across: float
    down: float
    across_u: float
    down_u: float

    @property
    def printed(self) -> str:
        """What a ruler would say of a page of six cards: the text for ``--printed``."""
        return f"{PAGE_CHECK_MM[0] * self.across:.1f}x{PAGE_CHECK_MM[1] * self.down:.1f}"

    @property
    def true_size(self) -> bool:
        """Whether the print is as drawn, as far as the photo can tell."""
        return abs(self.across - 1) < 2 * self.across_u and abs(self.down - 1) < 2 * self.down_u


def verify_print(
    photo: Photo, *, thickness_mm: float | None = None, lens: LensPrior | None = None
) -> PrintFound:
    """The print's scale, from a photo of the printed card beside an ID-1 card.

    Raises CutcheckError as ``locate`` does, and no-card where no ID-1 card is seen.
    """
    known = id1()
    seen = _cameras(photo, thickness_mm, lens)
    drawn = seen[0][1]
    px = _corners(photo, drawn, known)
    sized, misfits = [], []
    for _, located in seen:
        scale, misfit = _against(located.camera.to_height(px, known.top_mm), known.size_mm)
        sized.append(scale)
        misfits.append(misfit)
    # The misfit is a parabola in the aspect near its least; a prior keeps to what printers do.
    tried, scales = np.array([aspect for aspect, _ in seen]), np.array(sized)
    square = np.array(misfits) / CORNER_U**2 + (tried / ASPECT_SD) ** 2
    near = np.argsort(np.abs(tried - tried[square.argmin()]), kind="stable")[:LEAST_SEEN]
    tried, scales = tried[near], scales[near]
    bend, slope, _ = np.polyfit(tried, square[near], 2)
    aspect = float(np.clip(-slope / (2 * max(bend, 1e-9)), -MOST_ASPECT, MOST_ASPECT))
    aspect_u = float(1.0 / np.sqrt(max(bend, 1e-9)))
    both = float(np.polyval(np.polyfit(tried, scales, 1), aspect))
    by_aspect = float(np.polyfit(tried, scales, 1)[0])
    common = np.hypot(SIZE_U, _pose_u(drawn.camera, px.mean(axis=0), known.top_mm))
    common = float(np.hypot(common, CORNER_U / np.hypot(*known.size_mm)))
    ways = [
        (both * (1 + way * aspect / 2), float(np.hypot(common, (by_aspect + way / 2) * aspect_u)))
        for way in (1, -1)
    ]
    return PrintFound(ways[0][0], ways[1][0], ways[0][1], ways[1][1])


def _cameras(photo: Photo, thickness_mm: float | None, lens: LensPrior | None) -> list[tuple[float, Located]]:
    """The stretches of the print with which its card is flat, and the camera with each, the least first."""
    seen, bent = [], None
    for aspect in ASPECTS:
        as_printed = PrintCheck(PAGE_CHECK_MM[0] * (1 + aspect / 2), PAGE_CHECK_MM[1] * (1 - aspect / 2))
        try:
            seen.append((aspect, locate(photo, printed=as_printed, thickness_mm=thickness_mm, lens=lens)))
        except CutcheckError as error:
            if error.code != "card-bent":
                raise
            bent = error
    if bent is not None and len(seen) < LEAST_SEEN:
        raise bent
    return seen


def _corners(photo: Photo, located: Located, known: Known) -> Floats:
    """The ID-1 card's corners, (4, 2) px, as its straight sides meet."""
    camera = located.camera
    assert camera.covariance is not None
    mean = np.array([camera.f, camera.cx, camera.cy, camera.k1, camera.k2])
    found = find_rectangle(
        _without(photo.pixels, located.regions_px),
        *(known.size_mm, known.top_mm, KnownLens(mean, camera.covariance[:5, :5])),
        share=known.share,
    )
    if found is None:
        raise CutcheckError("no-card", what=known.what, remedy=known.remedy)
    px = found.corners
    for reach in (0.02, 0.008):
        at, normal, side = along_sides(px, POINTS, known.margin)
        diagonal = float(np.linalg.norm(px[2] - px[0]))
        stretch = 0.7 * float(np.linalg.norm(at[1] - at[0]))
        seen = steps(photo.pixels, at, normal, side, max(4.0, reach * diagonal), along_px=stretch)
        lines = []
        for k in range(4):
            mine = seen.px[(side == k) & seen.found]
            if len(mine) < POINTS // 3:
                raise CutcheckError("no-card", what=f"{known.what} with clear edges", remedy=known.remedy)
            edge = camera.to_height(mine, known.top_mm).astype(np.float32)
            lines.append(cv2.fitLine(edge, cv2.DIST_HUBER, 0, 0.01, 0.01).ravel().astype(float))
        mm = []
        for (ax, ay, apx, apy), (bx, by, bpx, bpy) in zip(np.roll(lines, 1, axis=0), lines, strict=True):
            t = np.linalg.solve(np.array([[ax, -bx], [ay, -by]]), np.array([bpx - apx, bpy - apy]))[0]
            mm.append([apx + t * ax, apy + t * ay])
        px = camera.project_at(np.array(mm), known.top_mm)
    return px


def _against(corners: Floats, size_mm: tuple[float, float]) -> tuple[float, float]:
    """A rectangle of true size laid on corners (4, 2) mm (Umeyama 1991): true over measured size, and what
    is left, summed squares, mm2."""
    wide, high = np.array(size_mm) / 2
    true = np.array([[-wide, -high], [wide, -high], [wide, high], [-wide, high]])
    if np.linalg.norm(corners[1] - corners[0]) < np.linalg.norm(corners[2] - corners[1]):
        corners = np.roll(corners, -1, axis=0)
    here = corners - corners.mean(axis=0)
    dot, cross = (here * true).sum(), (true[:, 0] * here[:, 1] - true[:, 1] * here[:, 0]).sum()
    square = (here**2).sum()
    scale = float(np.hypot(dot, cross) / square)
    return scale, float((true**2).sum() - scale * np.hypot(dot, cross))


def _without(pixels: NDArray[np.uint8], regions: tuple[Floats, ...]) -> NDArray[np.uint8]:
    """The photo with the printed cards painted over: they are rectangles, too."""
    painted = pixels.copy()
    surface = np.median(pixels[::40, ::40].reshape(-1, 3), axis=0).tolist()
    for region in regions:
        grown = region.mean(axis=0) + 1.06 * (region - region.mean(axis=0))
        cv2.fillPoly(painted, [np.round(grown).astype(np.int32)], surface)
    return painted


def _pose_u(camera: Camera, px: Floats, height: float) -> float:
    """The relative standard uncertainty of lengths at ``px`` that the pose leaves."""
    assert camera.covariance is not None
    vector, columns = camera.vector(), []
    for k in range(11):
        step = np.zeros(11)
        step[k] = 1e-4 * max(abs(vector[k]), 0.01)
        ahead, behind = (Camera.from_vector(vector + sign * step) for sign in (1.0, -1.0))
        columns.append(np.log(ahead.mm_per_px(px, height) / behind.mm_per_px(px, height)) / (2 * step[k]))
    by = np.array(columns)
    return float(np.sqrt(by @ camera.covariance @ by))
