"""The upper rims of discs: along rays from each one's middle, the circle on which most edges lie.

A coin's rim has rivals: the ring inside it, the shadow beside it, the foot of its wall. The shadow and the
foot lie on one side only, and what lies further in has edges outside it all round; so of all circles through
three edges the one counts that most rays meet as their outermost edge. Seen from one place, a circle at
some height and a circle on the board are alike (two parallel planes), so no height is needed.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from cutcheck.camera import Camera, Floats
from cutcheck.profiles import sample

RAYS, SAMPLES = 96, 128
NEAR, FAR = 0.70, 1.30  # of the radius: where rims are looked for
DARK, SHADE = 0.02, 0.4  # linear light added against grain; what of a change of light alone counts
BLUR_PX, BLUR_SHARE = 1.0, 0.006  # of the slope along a ray: standard deviation, px and of the radius
NOWHERE = 9.0  # of the radius: stands for an edge that there is not
EDGES = 5  # on one ray, the strongest
FAINT = 0.12  # of the usual strongest edge: a fainter one is grain
CIRCLES = 240  # tried
TOLERANCE, TOLERANCE_PX = 0.015, 0.8  # how far off its circle an edge may lie, of the radius and px
BEYOND = 1.16  # of the radius: an edge further out is another thing's
TIGHT, TIGHT_PX = 0.008, 0.5  # the same for the last choice
HEIGHTS = np.geomspace(0.06, 0.6, 10)  # of the radius
SAME = 0.012  # of the radius: circles so alike count once
WALLS = (0.1, 0.17, 0.3)  # of the radius: heights of discs whose upper rim may not show
FOOT_ALONE = 0.65  # what a foot counts without its rim
FINALISTS = 12  # circles that are fitted
OVAL, OVAL_COST = 0.015, 0.05  # how oval a round is, of its radius; what an oval one takes from its support
RIVAL = 4.0  # rays by which a rim is likelier than another, by a factor of e
UNEVEN = 0.8  # what an uneven face takes
OUTSIDE = 0.6  # what a clear edge outside takes from a ray's support
OFF, LEAST, MOST = 0.25, 0.75, 1.26  # of the radius: how far the middle may move, and the radius change


@dataclass(frozen=True)
class Rims:
    """Circles (N,) as if they lay on the board: ``centre`` (N, 2) mm, ``radius`` (N,) mm; ``support`` (N,):
    the share of rays whose edge lies on them; ``scatter`` (N,) mm: of those edges about the circle;
    ``doubt`` (N,) mm: how far off the radius may be, by other rims seen nearly as well;
    ``seen`` (N, RAYS): on which rays.
    """

    centre: Floats
    radius: Floats
    support: Floats
    scatter: Floats
    doubt: Floats
    seen: NDArray[np.bool_]

    def take(self, index: NDArray[np.int_]) -> Rims:
        """The rims ``index`` alone."""
        one, two = (self.centre[index], self.radius[index], self.support[index]), self.seen[index]
        return Rims(*one, self.scatter[index], self.doubt[index], two)


def find_rims(pixels: NDArray[np.uint8], camera: Camera, centre: Floats, radius: Floats) -> Rims:
    """The rims near circles ``centre`` (N, 2) mm and ``radius`` (N,) mm on the board."""
    turn = np.arange(RAYS) * (2.0 * np.pi / RAYS)
    unit = np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    share = np.linspace(NEAR, FAR, SAMPLES)
    at = centre[:, None, None] + (radius[:, None, None, None] * share[:, None]) * unit[:, None]
    light = sample(pixels, camera.project_at(at, 0.0))
    px = radius / camera.mm_per_px(camera.project_at(centre, 0.0))
    eye = np.column_stack([camera.centre_mm[:2] - centre, np.full(len(centre), camera.centre_mm[2])])
    eye = eye / radius[:, None]
    rows = [_rim(light[i], unit, share, float(px[i]), eye[i]) for i in range(len(centre))]
    found = np.array([row[0] for row in rows]).reshape(-1, 6)
    seen = np.array([row[1] for row in rows]).reshape(-1, RAYS)
    return Rims(
        centre + found[:, :2] * radius[:, None],
        found[:, 2] * radius,
        found[:, 3],
        found[:, 4] * radius,
        found[:, 5] * radius,
        seen,
    )


def _rim(
    light: NDArray[np.float32], unit: Floats, share: Floats, px: float, eye: Floats
) -> tuple[Floats, NDArray[np.bool_]]:
    """One rim, in parts of the first radius: x, y, radius, support, scatter; and the rays that meet it."""
    tolerance = max(TOLERANCE, TOLERANCE_PX / px)
    edge, strength = _edges(light, share, px)
    rng = np.random.default_rng(0)  # the same photo gives the same result
    circles = _through_three(edge, strength, unit, rng)
    if not len(circles):
        return np.array([0.0, 0.0, 1.0, 0.0, tolerance, tolerance]), np.zeros(RAYS, bool)
    score = _support(circles, edge, strength, unit, tolerance, eye, np.array([0.2]))
    near = _different(circles, score)
    # Where the upper rim does not show against the wall, the foot ends the disc towards the camera.
    of = near + [k for k in near[:4] for _ in WALLS]
    walls = np.array([0.0] * len(near) + [h for _ in near[:4] for h in WALLS])
    tried = _refined(circles[of], edge, strength, unit, tolerance, eye, walls)
    final = _support(tried, edge, strength, unit, max(TIGHT, TIGHT_PX / px), eye, HEIGHTS)
    final = final - UNEVEN * RAYS * _unevenness(tried, _colour(light), share, unit)
    once = _different(tried, final)
    wall = walls[once[:1]]
    tried, final = tried[once], final[once]
    best = tried[0]
    miss = _nearest(tried[:1], edge, unit, eye, wall)[0][0]
    on = np.abs(miss) < 1.5 * tolerance
    scatter = 1.4826 * float(np.median(np.abs(miss[on]))) if on.any() else tolerance
    # Another rim that is seen nearly as well might be the right one.
    odds = np.exp((final - final[0]) / RIVAL)
    doubt = np.sqrt((odds * (tried[:, 2] - best[2]) ** 2).sum() / odds.sum())
    return np.array([*best[:3], on.mean(), scatter, doubt]), on


def _different(circles: Floats, score: Floats) -> list[int]:
    """The best few of the circles (K, 5) that are not nearly the same."""
    left = np.argsort(-score)
    chosen: list[int] = []
    while len(left) and len(chosen) < FINALISTS:
        chosen.append(int(left[0]))
        left = left[np.abs(circles[left, :3] - circles[left[0], :3]).max(axis=1) > SAME]
    return chosen


def _nearest(
    rims: Floats, edge: Floats, unit: Floats, eye: Floats, walls: Floats
) -> tuple[Floats, NDArray[np.int_]]:
    """How far outside rims (K, 5), or the feet of walls (K,) high, the edge of each ray nearest to them lies,
    (K, RAYS), and which one it is."""
    outer = np.maximum(_radii(rims, unit), _radii(_foot(rims, eye, walls), unit))
    off = edge[None] - outer[..., None]
    nearest = np.abs(off).argmin(axis=2)
    return np.take_along_axis(off, nearest[..., None], axis=2)[..., 0], nearest


def _refined(
    rims: Floats,
    edge: Floats,
    strength: Floats,
    unit: Floats,
    tolerance: float,
    eye: Floats,
    walls: Floats,
) -> Floats:
    """Rims (K, 5) moved to the edges near them: reweighted least squares, Tukey's weights."""
    # A change (dx, dy, dr) moves the rim by (dx, dy).u + dr.
    design = np.column_stack([unit, np.ones(RAYS), _oval(unit)])
    held = np.array([0.0, 0.0, 0.0, 1.0, 1.0]) * (0.5 * tolerance / OVAL) ** 2
    rays = np.arange(RAYS)
    for narrower in (1.5, 1.5, 1.2, 0.9, 0.9):
        miss, nearest = _nearest(rims, edge, unit, eye, walls)
        reach = narrower * tolerance
        on = np.abs(miss) < reach
        weight = np.where(on, (1.0 - (miss / reach) ** 2) ** 2 * strength[rays, nearest], 0.0)
        normal = (design.T[None] * weight[:, None]) @ design + np.diag(held + 1e-6)
        right = (weight * np.where(on, miss, 0.0)) @ design - held * rims
        step = np.linalg.solve(normal, right[..., None])[..., 0]
        rims = rims + np.where(on.sum(axis=1)[:, None] < RAYS // 6, 0.0, step)
    return np.asarray(rims)


def _oval(unit: Floats) -> Floats:
    """cos 2t and sin 2t of directions (RAYS, 2): how an oval's rim departs from a circle, (RAYS, 2)."""
    return np.column_stack([unit[:, 0] ** 2 - unit[:, 1] ** 2, 2.0 * unit[:, 0] * unit[:, 1]])


def _colour(light: NDArray[np.float32]) -> NDArray[np.float32]:
    """Log colour (..., 3) in which a shadow, which only darkens, makes a small step."""
    logs = np.log(light + DARK)
    level = logs.mean(axis=-1, keepdims=True)
    return np.asarray(logs - level + SHADE * level, np.float32)


def _slope(values: NDArray[np.float32], sigma: float) -> NDArray[np.float32]:
    """How fast values (RAYS, SAMPLES, 3) change along the rays, smoothed, (RAYS, SAMPLES)."""
    around = np.concatenate([values[-1:], values, values[:1]])
    smooth = cv2.GaussianBlur(around, (0, 0), sigmaX=sigma, sigmaY=0.6, borderType=cv2.BORDER_REPLICATE)
    return np.asarray(np.linalg.norm(np.gradient(smooth[1:-1], axis=1), axis=2), np.float32)


def _edges(light: NDArray[np.float32], share: Floats, px: float) -> tuple[Floats, Floats]:
    """Where each ray has edges: (RAYS, EDGES), in parts of the radius, NOWHERE if fewer; and how
    strong they are, 0 to 1."""
    step = float(share[1] - share[0])
    sigma = max(BLUR_PX / px, BLUR_SHARE) / step
    slope = _slope(_colour(light), sigma)
    middle = slope[:, 1:-1]
    peaks = (middle > slope[:, :-2]) & (middle >= slope[:, 2:])
    usual = float(np.median(middle.max(axis=1)))
    peaks &= middle > FAINT * usual
    height = np.where(peaks, middle, 0.0)
    k = np.argsort(-height, axis=1)[:, :EDGES]
    rows = np.arange(len(k))[:, None]
    found = height[rows, k] > 0.0
    here = slope[rows, k + 1]
    # In linear light the steepest place of a blurred step is the step.
    plain = _slope(light, sigma)
    reach = np.arange(-round(sigma) - 1, round(sigma) + 2)
    window = np.clip(k[..., None] + 1 + reach, 1, SAMPLES - 2)
    k = np.take_along_axis(window, plain[rows[..., None], window].argmax(axis=2)[..., None], 2)[..., 0] - 1
    left, middle, right = plain[rows, k], plain[rows, k + 1], plain[rows, k + 2]
    curve = np.minimum(left - 2.0 * middle + right, -1e-9)
    place = share[k + 1] + np.clip(0.5 * (left - right) / curve, -0.5, 0.5) * step
    support = np.minimum(1.0, here / np.maximum(0.5 * usual, 1e-12))
    return np.where(found, place, NOWHERE), np.where(found, support, 0.0)


def _through_three(edge: Floats, strength: Floats, unit: Floats, rng: np.random.Generator) -> Floats:
    """Rims (K, 5): x, y, radius and no oval, each through an edge of three rays far apart."""
    first = rng.integers(0, RAYS, CIRCLES)
    gaps = rng.integers(RAYS // 6, RAYS // 3 + 1, (2, CIRCLES))
    rays = np.stack([first, (first + gaps[0]) % RAYS, (first + gaps[0] + gaps[1]) % RAYS])
    odds = np.cumsum(strength + 1e-9, axis=1)
    pick = (rng.random((3, CIRCLES, 1)) * odds[rays][..., -1:] > odds[rays]).sum(axis=2)
    r = edge[rays, np.minimum(pick, EDGES - 1)]
    p = r[..., None] * unit[rays]
    with np.errstate(all="ignore"):
        a, b = p[1] - p[0], p[2] - p[0]
        cross = 2.0 * (a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])
        aa, bb = (a**2).sum(axis=1), (b**2).sum(axis=1)
        x = (b[:, 1] * aa - a[:, 1] * bb) / cross
        y = (a[:, 0] * bb - b[:, 0] * aa) / cross
        radius = np.hypot(x, y)
        circles = np.column_stack([p[0, :, 0] + x, p[0, :, 1] + y, radius, 0.0 * x, 0.0 * x])
        good = (np.hypot(circles[:, 0], circles[:, 1]) < OFF) & (radius > LEAST) & (radius < MOST)
    return np.asarray(circles[good])


def _radii(circles: Floats, unit: Floats) -> Floats:
    """How far out along each ray rims (K, 5) lie, (K, RAYS)."""
    along = circles[:, :2] @ unit.T
    across2 = (circles[:, :2] ** 2).sum(axis=1)[:, None] - along**2
    circle = along + np.sqrt(np.maximum(circles[:, 2:3] ** 2 - across2, 1e-9))
    return np.asarray(circle + circles[:, 3:] @ _oval(unit).T)


def _support(
    circles: Floats,
    edge: Floats,
    strength: Floats,
    unit: Floats,
    tolerance: float,
    eye: Floats,
    heights: Floats,
) -> Floats:
    """How well edges support each of the rims (K, 5) of discs of the height that supports it best, (K,).

    Towards the camera the foot of a disc of some height must be seen outside its rim.
    """
    rim = _radii(circles, unit)
    on = _met(rim, edge, strength, tolerance)
    # The foot of a disc h high, seen from ``eye``, against its rim as seen on the board.
    best = np.full(len(circles), -np.inf)
    for i in range(len(heights)):
        foot = _radii(_foot(circles, eye, heights[i : i + 1]), unit)
        wall = foot > rim + 2.0 * tolerance
        met = _met(foot, edge, strength, tolerance)
        both = np.where(wall, np.maximum(0.5 * (on + met), FOOT_ALONE * met), on)
        last = np.maximum(rim, foot)
        beyond = np.zeros_like(rim)
        for place, strong in zip(edge.T, strength.T, strict=True):
            off = place - last
            np.maximum(beyond, ((off > 3.0 * tolerance) & (off < BEYOND - 1.0)) * strong, out=beyond)
        best = np.maximum((both * (1.0 - OUTSIDE * beyond)).sum(axis=1), best)
    held = (circles[:, 3:] ** 2).sum(axis=1) / OVAL**2
    return np.asarray(best - OVAL_COST * RAYS * held)


def _unevenness(rims: Floats, colour: NDArray[np.float32], share: Floats, unit: Floats) -> Floats:
    """How uneven the faces of discs are just inside their rims (K, 5), in parts of their step to the board,
    at most 1, (K,): a shadow or a wall within is another colour."""
    place = _radii(rims, unit)[..., None] * np.array([0.88, 0.91, 0.94, 0.97, 1.08, 1.12])
    k = np.clip(np.round((place - share[0]) / (share[1] - share[0])).astype(int), 0, SAMPLES - 1)
    seen = colour[np.arange(RAYS)[:, None], k]
    inside, board = seen[:, :, :4].mean(axis=2), np.median(seen[:, :, 4:].mean(axis=2), axis=1)
    face = np.median(inside, axis=1)
    spread = np.linalg.norm(inside - face[:, None], axis=2).mean(axis=1)
    return np.asarray(np.minimum(spread / np.maximum(np.linalg.norm(face - board, axis=1), 1e-6), 1.0))


def _foot(rims: Floats, eye: Floats, height: Floats) -> Floats:
    """The feet (K, 5) of discs of heights (K,) or (1,) with these rims as seen on the board."""
    k = ((eye[2] - height) / eye[2])[:, None]
    return np.column_stack([eye[:2] + k * (rims[:, :2] - eye[:2]), k * rims[:, 2:]])


def _met(radii: Floats, edge: Floats, strength: Floats, tolerance: float) -> Floats:
    """How strong an edge each ray has at ``radii`` (K, RAYS), 0 to 1."""
    met = np.zeros_like(radii)
    for place, strong in zip(edge.T, strength.T, strict=True):
        np.maximum(met, strong / (1.0 + ((place - radii) / tolerance) ** 2) ** 2, out=met)
    return met
