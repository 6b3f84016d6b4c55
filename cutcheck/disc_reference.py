"""A disc of known diameter, a coin, as the reference.

One disc gives the scale where it lies. Which way the camera leaned shows in the discs' ellipses, of the other
round things, too, but a shadow at a rim looks much like a lean: so that is told only roughly, and what is
unsure of it is in the covariance. Coins are taken as 2 mm thick, give or take 0.5 (one standard deviation).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from cutcheck.camera import Camera
from cutcheck.errors import CutcheckError
from cutcheck.lens import KnownLens, LensPrior, lens_priors
from cutcheck.located import Located, scale_record, with_height_u
from cutcheck.photo import Photo
from cutcheck.rounds import Round, find_rounds, rim_of_shape

Floats = NDArray[np.float64]

THICK_MM, THICK_U_MM = 2.0, 0.5
LEAN_SD = 0.2  # rad, each way, of phones held over a table: common practice, no source
SHADOW_SD, RIM_SD = (
    0.04,
    0.012,
)  # of the logarithm of the axes' ratio: with shadows in the outline, and without
RIM_U = 0.004  # of the diameter: where the rim is seen
MOST_HELPERS = 14
MOST_TILT_DEG = 55.0


def by_disc(
    photo: Photo, diameter_mm: float, spot: tuple[float, float] | None, lens: LensPrior | None
) -> Located:
    """The camera from the disc on which the pixel ``spot`` lies, or from the only one.

    Raises CutcheckError: no-card, bad-option (several discs and no spot), too-oblique.
    """
    rounds = find_rounds(photo.pixels)
    reference = _chosen(rounds, diameter_mm, spot)
    lenses, focal_from = lens_priors(photo, lens)
    prior = lenses[0]  # a few discs cannot tell where the optical centre is
    helpers = [seen for seen in rounds if seen is not reference][:MOST_HELPERS]
    lean, _ = _lean([reference, *helpers], reference, prior.mean, diameter_mm, SHADOW_SD)
    rims: list[Round] = []
    for seen in (reference, *helpers):
        camera = _camera(lean, prior.mean, reference, diameter_mm)
        rim = rim_of_shape(photo.pixels, seen, _shape(camera, seen.centre))
        if rim is None and seen is reference:
            raise _not_found(diameter_mm)
        if rim is not None:
            rims.append(rim)
    leaning = [_with_ellipse(rim) for rim in rims]
    lean, lean_covariance = _lean(leaning, rims[0], prior.mean, diameter_mm, RIM_SD)
    camera = _camera(lean, prior.mean, rims[0], diameter_mm)
    final = rim_of_shape(photo.pixels, rims[0], _shape(camera, rims[0].centre)) or rims[0]
    camera = _camera(lean, prior.mean, final, diameter_mm)
    if camera.tilt_deg > MOST_TILT_DEG:
        raise CutcheckError("too-oblique", tilt=camera.tilt_deg)
    covariance = _covariance(lean, lean_covariance, prior, final, diameter_mm)
    camera = with_height_u(camera, covariance, 0.0)
    high, wide = photo.pixels.shape[:2]
    return Located(
        camera=camera,
        scale=scale_record(
            camera,
            (wide, high),
            reference="disc",
            residual_px=RIM_U * float(final.axes.mean()),
            focal_from=focal_from,
        ),
        warnings=(
            f"One disc of {diameter_mm:g} mm gives the sizes: they are less sure than with the printed card, "
            "the more so far from it. Hold the phone level over the board.",
        ),
        regions_px=(_outline(final),),
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


def _camera(lean: Floats, lens: Floats, reference: Round, diameter_mm: float) -> Camera:
    """The camera of this lens that leans so (rad about its x and y axes) and sees the disc's rim there.

    The frame's origin is the disc's centre on the board; x runs to the right in the photo, but for the lean.
    """
    a, b = float(lean[0]), float(lean[1])
    about_x = np.array([[1, 0, 0], [0, np.cos(a), -np.sin(a)], [0, np.sin(a), np.cos(a)]])
    about_y = np.array([[np.cos(b), 0, np.sin(b)], [0, 1, 0], [-np.sin(b), 0, np.cos(b)]])
    rotation = about_x @ about_y
    f, cx, cy, k1, k2 = (float(v) for v in lens)
    still = Camera(f, cx, cy, k1, k2, np.eye(3), np.array([0.0, 0.0, 1.0]))
    ray = np.array([*still.to_height(reference.centre), 1.0])
    camera = Camera(f, cx, cy, k1, k2, rotation, ray)
    radius_px = float(np.sqrt(reference.axes.prod()))
    distance = diameter_mm / 2 / (radius_px * float(camera.mm_per_px(reference.centre)))
    # The rim that is seen is the upper one, THICK_MM above the board.
    return Camera(f, cx, cy, k1, k2, rotation, ray * distance + rotation[:, 2] * THICK_MM)


def _jacobian(camera: Camera, px: Floats) -> Floats:
    """Pixels by millimetres at discs' upper sides: (2, 2)."""
    steps = np.array([[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]])
    right, left, down, up = camera.to_height(px + steps, THICK_MM)
    return np.asarray(np.linalg.inv(np.column_stack([right - left, down - up]) / 2))


def _shape(camera: Camera, px: Floats) -> Floats:
    """What a circle on the board looks like at ``px``, its area kept: symmetric (2, 2)."""
    return _root(_jacobian(camera, px) @ _jacobian(camera, px).T)


def _root(tensor: Floats) -> Floats:
    values, vectors = np.linalg.eigh(tensor)
    values = np.sqrt(values / np.sqrt(values.prod()))
    return np.asarray(vectors @ np.diag(values) @ vectors.T)


def _stretch(shape: Floats) -> Floats:
    """How a shape departs from a circle, by direction: (2,), of the logarithm of the axes' ratio."""
    values, vectors = np.linalg.eigh(shape)
    long = vectors[:, 1]
    ratio = float(np.log(values[1] / values[0]))
    return ratio * np.array([long[0] ** 2 - long[1] ** 2, 2 * long[0] * long[1]])


def _seen_shape(seen: Round) -> Floats:
    cos, sin = np.cos(seen.angle), np.sin(seen.angle)
    axis = np.array([[cos, -sin], [sin, cos]])
    return np.asarray(axis @ np.diag(seen.axes / np.sqrt(seen.axes.prod())) @ axis.T)


def _with_ellipse(rim: Round) -> Round:
    """A rim with the ellipse of its own points."""
    from cutcheck.rounds import ellipse_of

    fitted = ellipse_of(rim.rim)
    return rim if fitted is None else Round(*fitted, rim.rim)


def _lean(
    rounds: Sequence[Round], reference: Round, lens: Floats, diameter_mm: float, sd: float
) -> tuple[Floats, Floats]:
    """How the camera leaned: (2,) rad, and its covariance (2, 2).

    ``sd``: of one ellipse's stretch. Half of it is shared by all, so that many discs are no more than four
    times as telling as one.
    """
    seen = np.array([_stretch(_seen_shape(each)) for each in rounds])
    shared = np.sqrt(sd**2 * (0.25 + 1.0 / len(rounds)) * len(rounds))

    def misfit(lean: Floats) -> Floats:
        camera = _camera(lean, lens, reference, diameter_mm)
        expected = np.array([_stretch(_shape(camera, each.centre)) for each in rounds])
        off = (seen - expected) / shared
        off = off / np.sqrt(1.0 + 0.1 * (off**2) * len(rounds))  # one that is no disc does not count for much
        return np.concatenate([off.ravel(), lean / LEAN_SD])

    from scipy.optimize import least_squares

    starts = [np.array([r * np.cos(t), r * np.sin(t)]) for r in (0.15, 0.6) for t in np.arange(6) * np.pi / 3]
    found = [least_squares(misfit, start, max_nfev=20) for start in starts]
    found.sort(key=lambda each: float(each.cost))
    best = found[0]
    covariance = np.linalg.inv(best.jac.T @ best.jac)
    # A lean to the opposite side looks almost the same: as likely as it is, it counts.
    total, weight = covariance.copy(), 1.0
    for other in found[1:]:
        apart = other.x - best.x
        if np.linalg.norm(apart) > 0.05:
            odds = float(np.exp(-(other.cost - best.cost)))
            total += odds * (covariance + np.outer(apart, apart))
            weight += odds
            break
    return best.x, total / weight


def _covariance(
    lean: Floats, lean_covariance: Floats, prior: KnownLens, reference: Round, diameter_mm: float
) -> Floats:
    """The covariance of the camera's parameters, (11, 11), from lens, lean and thickness."""
    causes = np.zeros((7, 7))
    causes[:5, :5], causes[5:, 5:] = prior.covariance, lean_covariance
    spread = np.sqrt(np.diag(causes))
    correlation = causes / np.outer(spread, spread)

    def vector(change: Floats) -> Floats:
        moved = np.concatenate([prior.mean, lean]) + change
        return _camera(moved[5:], moved[:5], reference, diameter_mm).vector()

    columns = []
    for k in range(7):
        step = np.zeros(7)
        step[k] = 0.1 * spread[k]
        columns.append((vector(step) - vector(-step)) / 0.2)
    by = np.stack(columns, axis=1)
    covariance = by @ correlation @ by.T
    normal = _camera(lean, prior.mean, reference, diameter_mm).rotation[:, 2]
    covariance[8:11, 8:11] += THICK_U_MM**2 * np.outer(normal, normal)
    return np.asarray(covariance)


def _outline(seen: Round) -> Floats:
    t = np.arange(48) * (2 * np.pi / 48)
    circle = np.column_stack([np.cos(t), np.sin(t)]) * float(np.sqrt(seen.axes.prod()))
    return np.asarray(1.04 * circle @ _seen_shape(seen).T + seen.centre)
