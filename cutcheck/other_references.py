"""References for who has no printer: an ID-1 card, a sheet of paper, one square tag, a coin.

Each is known less well than the printed card, and says so: in the camera's covariance what the edges leave
open, in ``scale_u`` how well the thing's own size is known.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from cutcheck import adjust, records
from cutcheck.camera import Camera
from cutcheck.card import Rectangle, corners_of
from cutcheck.card_fit import camera_from_plane, likeliest
from cutcheck.errors import CutcheckError
from cutcheck.lens import KnownLens, LensPrior, lens_priors
from cutcheck.located import MOST_TILT_DEG, Located, scale_record, with_height_u
from cutcheck.photo import Photo
from cutcheck.rectangles import along_sides, find_rectangle, with_points_between
from cutcheck.steps import steps

Floats = NDArray[np.float64]

ID1_MM, ID1_THICK_MM = (85.60, 53.98), 0.76  # ISO/IEC 7810; corner radius 3.18
KINDS = "card, id1, sheet:WxH, disc:MM, disc:MM@X,Y or square:DICT:ID:MM"
STRETCHES = 24  # along each side


@dataclass(frozen=True)
class Known:
    """What is known of a flat reference. ``top_mm``: its upper side above the board; ``top_u``, ``edge_u``:
    standard uncertainties, mm, of that and of where its edge is seen; ``size_u``: relative, of its size;
    ``flat_mm``: how far it may be from flat; ``margin``: the share of a side that is not straight."""

    kind: records.Reference
    what: str
    remedy: str
    size_mm: tuple[float, float]
    top_mm: float
    top_u: float
    edge_u: float
    size_u: float
    flat_mm: float
    margin: float
    share: tuple[float, float] = (0.0, 1.0)


def id1() -> Known:
    """An ID-1 card. ISO/IEC 7810: unused 85.47 to 85.72 by 53.92 to 54.03 mm, in use up to 85.90 by 54.18."""
    return Known(
        kind="id1",
        what="card of the ID-1 size",
        remedy="Lay a blank or library card (85.6 x 54 mm) flat on a board of another colour, in sight.",
        size_mm=ID1_MM,
        top_mm=ID1_THICK_MM,
        top_u=0.1,
        edge_u=0.06,
        size_u=0.0012,
        flat_mm=0.1,
        margin=0.09,
        share=(0.003, 0.5),
    )


def sheet(size_mm: tuple[float, float]) -> Known:
    """A sheet on which the pieces lie. ISO 216 allows trimming to be off by 1.5 mm (up to 150 mm), 2 mm (up
    to 600 mm); office paper keeps to about half of that (common practice, no source)."""
    wide, high = size_mm
    return Known(
        kind="sheet",
        what=f"sheet of {wide:g} x {high:g} mm",
        remedy="Lay the sheet flat on a darker surface, all four corners in sight, with the pieces on it.",
        size_mm=size_mm,
        top_mm=0.0,
        top_u=0.0,
        edge_u=0.15,
        size_u=0.5 / float(np.sqrt(wide * high)),
        flat_mm=1.0,
        margin=0.04,
        share=(0.06, 0.98),
    )


def locate_other(photo: Photo, reference: str, *, lens: LensPrior | None = None) -> Located:
    """The camera over the board, from a reference that is none of our cards.

    ``reference``: ``id1``, ``sheet:210x297``, ``square:DICT:ID:MM``, ``disc:23.25`` or
    ``disc:23.25@812,1044`` (a pixel on it). Raises CutcheckError: bad-option, no-card, too-oblique.
    """
    kind, _, rest = reference.strip().partition(":")
    kind = kind.lower()
    if kind == "id1" and not rest:
        return _by_rectangle(photo, id1(), lens)
    if kind == "sheet":
        size = re.fullmatch(r"\s*([\d.]+)\s*[x×]\s*([\d.]+)\s*", rest.lower())
        if not size:
            raise _unknown(reference, "a sheet's size, as sheet:210x297")
        return _by_rectangle(photo, sheet((_mm(size[1], reference), _mm(size[2], reference))), lens)
    if kind == "square":
        parts = rest.split(":")
        if len(parts) != 3 or not parts[1].strip().isdigit():
            raise _unknown(reference, "dictionary, number and side, as square:4x4_50:7:40")
        return _by_square(photo, parts[0], int(parts[1]), _mm(parts[2], reference), lens)
    if kind == "disc":
        from cutcheck.disc_reference import by_disc

        size_text, _, place = rest.partition("@")
        spot = None
        if place:
            numbers = re.fullmatch(r"\s*([\d.]+)\s*,\s*([\d.]+)\s*", place)
            if not numbers:
                raise _unknown(reference, "a pixel on the disc, as disc:23.25@812,1044")
            spot = (float(numbers[1]), float(numbers[2]))
        return by_disc(photo, _mm(size_text, reference), spot, lens)
    raise _unknown(reference, f"one of {KINDS}")


def _mm(text: str, reference: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not 1.0 <= value <= 2000.0:
        raise _unknown(reference, "a size from 1 to 2000 mm")
    return value


def _unknown(reference: str, wanted: str) -> CutcheckError:
    return CutcheckError(
        "bad-option",
        problem=f"'{reference}' is not a reference that can be looked for.",
        remedy=f"Give {wanted}.",
    )


def _by_rectangle(photo: Photo, known: Known, lens: LensPrior | None) -> Located:
    lenses, focal_from = lens_priors(photo, lens)
    found = find_rectangle(photo.pixels, known.size_mm, known.top_mm, lenses[-1], share=known.share)
    if found is None:
        raise CutcheckError("no-card", what=known.what, remedy=known.remedy)
    return _solved(photo, known, found.mm, found.corners, found.camera, lenses, focal_from)


def _by_square(photo: Photo, dictionary: str, tag: int, side_mm: float, lens: LensPrior | None) -> Located:
    """One printed square tag: its outer black side is ``side_mm``."""
    name = "DICT_" + dictionary.strip().upper().replace("DICT_", "").replace(
        "APRILTAG36H11", "APRILTAG_36h11"
    )
    names = {known.upper(): known for known in dir(cv2.aruco) if known.startswith("DICT_")}
    if name.upper() not in names:
        some = ", ".join(sorted(n[5:].lower() for n in names))
        raise _unknown(f"square:{dictionary}", f"a dictionary of these: {some}")
    known_tags = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, names[name.upper()]))
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    detector = cv2.aruco.ArucoDetector(known_tags, parameters)
    corners, ids, _ = detector.detectMarkers(cv2.cvtColor(photo.pixels, cv2.COLOR_BGR2GRAY))
    quads = [] if ids is None else [q for q, i in zip(corners, np.ravel(ids), strict=True) if int(i) == tag]
    known = Known(
        kind="square",
        what=f"square {tag} of {dictionary}",
        remedy="Print it with a white margin, lay it flat and wholly in sight, and take the photo again.",
        size_mm=(side_mm, side_mm),
        top_mm=0.2,
        top_u=0.1,
        edge_u=0.05,
        size_u=0.005,
        flat_mm=0.1,
        margin=0.05,
    )
    if not quads:
        raise CutcheckError("no-card", what=known.what, remedy=known.remedy)
    quad = max((np.asarray(q, float).reshape(4, 2) for q in quads), key=lambda q: np.ptp(q))
    mm = corners_of(Rectangle(-side_mm / 2, -side_mm / 2, side_mm / 2, side_mm / 2))
    lenses, focal_from = lens_priors(photo, lens)
    camera = camera_from_plane(mm, quad, known.top_mm, lenses[-1])
    return _solved(photo, known, mm, quad, camera, lenses, focal_from)


def _solved(
    photo: Photo,
    known: Known,
    mm: Floats,
    corners: Floats,
    camera: Camera,
    lenses: tuple[KnownLens, ...],
    focal_from: records.FocalFrom,
) -> Located:
    """The camera from a rectangle's four sides; ``mm`` and ``corners`` (px) are (4, 2), in the same order."""
    fit, scatter = _fit_sides(photo.pixels, known, mm, corners, camera, lenses)
    if fit is None:
        raise CutcheckError("no-card", what=known.what, remedy=known.remedy)
    if fit.camera.tilt_deg > MOST_TILT_DEG:
        raise CutcheckError("too-oblique", tilt=fit.camera.tilt_deg)
    solved = with_height_u(fit.camera, fit.covariance[:11, :11], known.top_u)
    high, wide = photo.pixels.shape[:2]
    around = with_points_between(mm)
    outline = solved.project_at(around, known.top_mm)
    return Located(
        camera=solved,
        scale=scale_record(
            solved, (wide, high), reference=known.kind, residual_px=scatter, focal_from=focal_from
        ),
        warnings=(f"The {known.what} gives the sizes: they are less sure than with the printed card.",),
        regions_px=() if known.kind == "sheet" else (outline,),
        greys=(),
        scale_u=known.size_u,
        blur_px=float("nan"),
        surface_px=outline if known.kind == "sheet" else None,
    )


def _fit_sides(
    pixels: NDArray[np.uint8],
    known: Known,
    mm: Floats,
    corners: Floats,
    camera: Camera,
    lenses: tuple[KnownLens, ...],
) -> tuple[adjust.Fit | None, float]:
    """Edges along the sides, solved, and once more from there; and their scatter, px."""
    half = max(known.size_mm) / 2
    at_mm, out_mm, side = along_sides(mm, STRETCHES, known.margin)
    bends = adjust.bends_at(at_mm, half)
    flat = np.array([[[0.0] * 3], [[known.flat_mm / 3, known.flat_mm, known.flat_mm]]])
    px, normal, _ = along_sides(corners, STRETCHES, known.margin)
    reach = max(6.0, 0.015 * float(np.linalg.norm(corners[2] - corners[0])))
    fit = None
    for _ in range(3):
        stretch = 0.7 * float(np.linalg.norm(px[1] - px[0]))
        seen = steps(pixels, px, normal, side, reach, width_px=1.0, along_px=stretch)
        if any(seen.found[side == k].sum() < STRETCHES // 4 for k in range(4)):
            return None, float("nan")
        ok = seen.found
        edges = adjust.Edges(
            at_mm[ok],
            bends[ok],
            seen.px[ok],
            normal[ok],
            np.zeros(ok.sum(), int),
            np.full(ok.sum(), known.top_mm),
        )
        mm_per_px = float(camera.mm_per_px(px.mean(axis=0), known.top_mm))
        floor = 2 * known.edge_u / mm_per_px
        grown = float(np.hypot(0.25, known.edge_u / mm_per_px))
        prior = adjust.Prior(lenses[-1], flat, grown)
        fit = adjust.solve(edges, camera, np.zeros((1, 3)), prior, sigma_floor_px=floor)
        fit = likeliest(edges, fit, prior, lenses, sigma_floor_px=floor)
        camera = fit.camera
        height = known.top_mm + bends @ fit.bends[0]
        px = camera.project_at(at_mm, height)
        ahead = camera.project_at(at_mm + 0.05 * np.column_stack([-out_mm[:, 1], out_mm[:, 0]]), height)
        along = (ahead - px) / np.linalg.norm(ahead - px, axis=1, keepdims=True)
        normal = np.column_stack([along[:, 1], -along[:, 0]])
        reach = max(4.0, 0.5 * reach)
    return fit, fit.sigma if fit is not None else float("nan")
