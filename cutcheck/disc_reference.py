"""A disc of known diameter, a coin, as the reference.

One disc gives the scale where it lies. Which way the camera leaned shows in how round the discs are, of the
other round things, too, but a shadow at a rim looks much like a lean: so that is told only roughly, and what
is unsure of it is in the covariance. Coins are taken as 2 mm thick, give or take 0.5 (a standard deviation).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from cutcheck.camera import Camera
from cutcheck.discs_seen import MOST_LEAN, circles_of
from cutcheck.errors import CutcheckError
from cutcheck.lens import KnownLens, LensPrior, lens_priors
from cutcheck.located import MOST_TILT_DEG, Located, scale_record, with_height_u
from cutcheck.photo import Photo
from cutcheck.rims import find_rims
from cutcheck.rounds import Round, find_rounds, rim_points

Floats = NDArray[np.float64]

THICK_MM, THICK_U_MM = 2.0, 0.5
# How phones are held over a table, common practice, no source: level to some 6 degrees by who means to, or at
# any slant; so a Cauchy distribution, cut off at LEAN_SD in what is said to be unsure. Rad.
LEVEL, LEAN_SD = 0.1, 0.2
LEAST_LEAN_U = 0.03  # rad, each way, however many discs
RIM_U = 0.005  # of the diameter: where the rim is seen
# Of its rim; of the diameter: else another rim may have been taken.
LEAST_OWN_SUPPORT, MOST_OWN_CHANGE, MOST_OWN_DOUBT = 0.8, 0.02, 0.002
MOST_HELPERS = 14


def by_disc(
    photo: Photo, diameter_mm: float, spot: tuple[float, float] | None, lens: LensPrior | None
) -> Located:
    """The camera from the disc on which the pixel ``spot`` lies, or from the only one.

    Raises CutcheckError: no-card, bad-option (several discs and no spot), too-oblique.
    """
    rounds = find_rounds(photo.pixels)
    reference = _chosen(rounds, diameter_mm, spot)
    lenses, focal_from = lens_priors(photo, lens)
    known = lenses[0]  # a few discs cannot tell where the optical centre is
    helpers = [seen for seen in rounds if seen is not reference][:MOST_HELPERS]
    rims = np.array([rim_points(photo.pixels, seen) for seen in (reference, *helpers)])
    lean, lean_covariance = _lean(rims, known.mean, reference, diameter_mm)
    camera = _camera(lean, known.mean, rims[:1], reference, diameter_mm)
    camera = _by_its_own_rim(photo, camera, diameter_mm)
    if camera.tilt_deg > MOST_TILT_DEG:
        raise CutcheckError("too-oblique", tilt=camera.tilt_deg)
    camera = with_height_u(
        camera, _covariance(lean, lean_covariance, known, rims[:1], reference, diameter_mm), 0.0
    )
    high, wide = photo.pixels.shape[:2]
    return Located(
        camera=camera,
        scale=scale_record(
            camera,
            (wide, high),
            reference="disc",
            residual_px=RIM_U * float(reference.axes.mean()),
            focal_from=focal_from,
        ),
        warnings=(
            f"One disc of {diameter_mm:g} mm gives the sizes: they are less sure than with the printed card, "
            "the more so far from it. Hold the phone level over the board.",
        ),
        regions_px=(_outline(camera, diameter_mm),),
        greys=(),
        scale_u=RIM_U,
        blur_px=float("nan"),
    )


def _chosen(rounds: Sequence[Round], diameter_mm: float, spot: tuple[float, float] | None) -> Round:
    if spot is None:
        if len(rounds) == 1:
            return rounds[0]
        if rounds:
            raise CutcheckError(
                "bad-option",
                problem=f"There are {len(rounds)} round things in the photo.",
                remedy=f"Say which is the disc, by a pixel on it: disc:{diameter_mm:g}@X,Y",
            )
        raise _not_found(diameter_mm)
    on = [seen for seen in rounds if seen.holds(np.array(spot))]
    if not on:
        raise _not_found(diameter_mm, f" at {spot[0]:g},{spot[1]:g}")
    return on[-1]


def _not_found(diameter_mm: float, where: str = "") -> CutcheckError:
    return CutcheckError(
        "no-card",
        what=f"disc of {diameter_mm:g} mm{where}",
        remedy="Lay the coin flat and apart on an even board of another colour, in sight, in soft light.",
    )


def _leaning(lean: Floats, lens: Floats, centre_px: Floats, distance: float) -> Camera:
    """The camera of this lens that leans so (rad about its x and y axes), ``distance`` from what it sees at
    ``centre_px``: that is the frame's origin; x runs to the right in the photo, but for the lean."""
    a, b = float(lean[0]), float(lean[1])
    about_x = np.array([[1, 0, 0], [0, np.cos(a), -np.sin(a)], [0, np.sin(a), np.cos(a)]])
    about_y = np.array([[np.cos(b), 0, np.sin(b)], [0, 1, 0], [-np.sin(b), 0, np.cos(b)]])
    f, cx, cy, k1, k2 = (float(v) for v in lens)
    still = Camera(f, cx, cy, k1, k2, np.eye(3), np.array([0.0, 0.0, 1.0]))
    ray = np.array([*still.to_height(centre_px), 1.0])
    return Camera(f, cx, cy, k1, k2, about_x @ about_y, ray * distance)


def _camera(lean: Floats, lens: Floats, rim: Floats, reference: Round, diameter_mm: float) -> Camera:
    """That camera at the distance from which the disc, with its rim (1, N, 2) px, has its diameter.

    The frame's origin is the middle of the disc's foot.
    """
    camera = _leaning(lean, lens, reference.centre, 1.0)
    seen = float(np.sqrt(reference.axes.prod()))
    distance = diameter_mm / 2 / (seen * float(camera.mm_per_px(reference.centre)))
    for _ in range(3):
        camera = _leaning(lean, lens, reference.centre, distance)
        circle = circles_of(camera, rim, THICK_MM)
        distance *= diameter_mm / 2 / float(circle.radius[0])
    middle = np.array([*circle.centre[0], 0.0])
    return replace(camera, translation=camera.translation + camera.rotation @ middle)


def _by_its_own_rim(photo: Photo, camera: Camera, diameter_mm: float) -> Camera:
    """That camera at the distance from which the disc, measured as pieces are, has its diameter: a rim that
    is rounded is then taken for the same place on it and on them."""
    rim = find_rims(photo.pixels, camera, np.zeros((1, 2)), np.array([diameter_mm / 2]))
    away = float(camera.centre_mm[2])
    measured = 2 * float(rim.radius[0]) * (away - THICK_MM) / away
    unsure = rim.support[0] < LEAST_OWN_SUPPORT or rim.doubt[0] > MOST_OWN_DOUBT * diameter_mm
    if unsure or abs(measured / diameter_mm - 1) > MOST_OWN_CHANGE:
        return camera
    return replace(camera, translation=camera.translation * (diameter_mm / measured))


def _lean(rims: Floats, lens: Floats, reference: Round, diameter_mm: float) -> tuple[Floats, Floats]:
    """How the camera leaned: (2,) rad, and its covariance (2, 2), from all rims (K, N, 2) px."""
    from scipy.optimize import minimize

    seen = float(np.sqrt(reference.axes.prod()))

    def cost(lean: Floats) -> float:
        if np.hypot(*lean) > MOST_LEAN:
            return 1e6 * float(np.hypot(*lean))
        camera = _leaning(lean, lens, reference.centre, 1.0)
        distance = diameter_mm / 2 / (seen * float(camera.mm_per_px(reference.centre)))
        camera = _leaning(lean, lens, reference.centre, distance)
        unusual = 2 * float(np.log1p((lean**2).sum() / LEVEL**2))
        return circles_of(camera, rims, THICK_MM).misfit + unusual

    ring = [
        np.array([r * np.cos(t), r * np.sin(t)]) for r in (0.2, 0.5, 0.75) for t in np.arange(8) * np.pi / 4
    ]
    starts = sorted([np.zeros(2), *ring], key=cost)[:3]
    options = {"xatol": 2e-3, "fatol": 0.02, "maxfev": 60}
    found = []
    for start in starts:
        simplex = start + np.array([[0.0, 0.0], [0.06, 0.0], [0.0, 0.06]])
        found.append(
            minimize(cost, start, method="Nelder-Mead", options={**options, "initial_simplex": simplex})
        )
    found.sort(key=lambda each: float(each.fun))
    best = np.asarray(found[0].x)
    covariance = _curvature(cost, best)
    # A lean to another side that looks almost the same counts by how likely it is.
    total, weight = covariance.copy(), 1.0
    for other in found[1:]:
        apart = np.asarray(other.x) - best
        if np.linalg.norm(apart) > 0.05:
            odds = float(np.exp(-0.5 * (other.fun - found[0].fun)))
            total, weight = total + odds * (covariance + np.outer(apart, apart)), weight + odds
    return best, total / weight


def _curvature(cost: object, at: Floats) -> Floats:
    """The covariance (2, 2) that the curvature of a cost, in squared standard deviations, stands for."""
    assert callable(cost)
    h = 0.05
    across, down = np.array([h, 0.0]), np.array([0.0, h])
    middle = cost(at)
    xx = cost(at + across) + cost(at - across) - 2 * middle
    yy = cost(at + down) + cost(at - down) - 2 * middle
    xy = (
        cost(at + across + down)
        + cost(at - across - down)
        - cost(at + across - down)
        - cost(at - across + down)
    ) / 4
    values, vectors = np.linalg.eigh(np.array([[xx, xy], [xy, yy]]) / (2 * h**2))
    variance = np.clip(1.0 / np.maximum(values, 1e-6), LEAST_LEAN_U**2, LEAN_SD**2)
    return np.asarray(vectors @ np.diag(variance) @ vectors.T)


def _covariance(
    lean: Floats, lean_covariance: Floats, known: KnownLens, rim: Floats, reference: Round, diameter_mm: float
) -> Floats:
    """The covariance of the camera's parameters, (11, 11), from lens, lean and thickness."""
    causes = np.zeros((7, 7))
    causes[:5, :5], causes[5:, 5:] = known.covariance, lean_covariance
    spread = np.sqrt(np.diag(causes))

    def vector(change: Floats) -> Floats:
        moved = np.concatenate([known.mean, lean]) + change
        return _camera(moved[5:], moved[:5], rim, reference, diameter_mm).vector()

    columns = []
    for k in range(7):
        step = np.zeros(7)
        step[k] = 0.3 * spread[k]
        columns.append((vector(step) - vector(-step)) / 0.6)
    by = np.stack(columns, axis=1)
    covariance = by @ (causes / np.outer(spread, spread)) @ by.T
    normal = _leaning(lean, known.mean, reference.centre, 1.0).rotation[:, 2]
    covariance[8:11, 8:11] += THICK_U_MM**2 * np.outer(normal, normal)
    return np.asarray(covariance)


def _outline(camera: Camera, diameter_mm: float) -> Floats:
    """What the disc covers, wall and all, and a little more: (48, 2) px."""
    import cv2

    t = np.arange(48) * (2 * np.pi / 48)
    circle = np.column_stack([np.cos(t), np.sin(t)]) * diameter_mm / 2 * 1.04
    both = np.concatenate([camera.project_at(circle, 0.0), camera.project_at(circle, THICK_MM)])
    return np.asarray(cv2.convexHull(both.astype(np.float32)), np.float64)[:, 0]
