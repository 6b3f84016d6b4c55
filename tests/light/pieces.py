"""The pieces as a camera sees them: each face shaded by its direction, painted by the exact area it covers.

The faces that a solid turns to the camera share out its silhouette without gaps.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np

from cutcheck.camera import Camera
from light.cover import Floats, Picture, blend, coverage, window
from light.lamp import PRODUCE, Light, linear, noise
from light.solids import Solid


@cache
def _speckle(octave: int) -> Picture:
    return noise((1024, 1024), (2.0**octave, 2.0**octave), np.random.default_rng(octave))


def _patch(wave: float, high: int, wide: int, rng: np.random.Generator) -> Picture:
    """A bit of noise, (high, wide), from a random place; its waves are about ``wave`` px long."""
    y, x = rng.integers(0, 1024, 2)
    whole = _speckle(max(0, round(np.log2(wave))))
    rows, columns = (np.arange(n) + at for n, at in ((high, y), (wide, x)))
    return np.take(np.take(whole, rows, axis=0, mode="wrap"), columns, axis=1, mode="wrap")


def side_faces(solid: Solid, camera: Camera) -> tuple[Floats, Floats]:
    """The side faces as they are seen, (N, 4, 2) px, and how much of each is turned to us, (N,) px^2.

    Negative where it is turned away.
    """
    top, foot = camera.project(solid.top), camera.project(solid.bottom)
    quad = np.stack([top, np.roll(top, -1, 0), np.roll(foot, -1, 0), foot], axis=1)
    d1, d2 = quad[:, 3] - quad[:, 1], quad[:, 2] - quad[:, 0]
    return quad, 0.5 * (d1[:, 0] * d2[:, 1] - d1[:, 1] * d2[:, 0])


# A rounded edge turns from upright to sideways: the first 45 degrees take the inner 71 % of its width as seen
# from above, for x = r (1 - sin a). As (inner, outer, tilt): shares of the width from the edge, rad.
ROUNDING = ((1.0, 0.29, np.radians(22.5)), (0.29, 0.0, np.radians(67.5)))


@dataclass(frozen=True)
class Look:
    """What a piece is made of, how wet it is (0 to 1), the board that throws light back, the radius of its
    top's edge: the true sides are those of the sharp edge, and the rounding lies within.
    """

    produce: str
    wet: float
    board: Floats
    bevel_mm: float


def paint(
    canvas: Picture,
    camera: Camera,
    solid: Solid,
    light: Light,
    look: Look,
    beside: list[Solid],
    rng: np.random.Generator,
) -> None:
    """One piece on the canvas, over whatever is there; little light gets between it and ``beside``."""
    top = camera.project(solid.top)
    quads, turned = side_faces(solid, camera)
    left, up, wide, high = window(np.concatenate([top, quads.reshape(-1, 2)]))
    if left >= canvas.shape[1] or up >= canvas.shape[0] or left + wide <= 0 or up + high <= 0:
        return
    px_per_mm = np.linalg.norm(np.diff(top[:2], axis=0)) / max(
        np.linalg.norm(np.diff(solid.top[:2], axis=0)), 1e-6
    )
    alpha, colour = np.zeros((high, wide), np.float32), np.zeros((high, wide, 3), np.float32)
    centre = np.array([rng.normal(0, 6), rng.normal(0, 6)]) + solid.centre[:2]
    even = float(light.spread(solid.centre[:2]))
    flesh = _flesh(look, solid, camera, (left, up, wide, high), solid.top, centre, px_per_mm, rng)
    sides = _flesh(look, solid, camera, (left, up, wide, high), solid.bottom, centre, px_per_mm, rng)

    def face(polygon: Floats, albedo: Picture, lit: Picture) -> None:
        x0, y0, w, h = window(polygon)
        part = (slice(y0 - up, y0 - up + h), slice(x0 - left, x0 - left + w))
        share = np.minimum(coverage(polygon, x0, y0, w, h), 1.0 - alpha[part])
        alpha[part] += share
        colour[part] += share[..., None] * albedo[part] * lit[part]

    shine = look.wet * 0.30 * light.direct * np.clip(_patch(1.5 * px_per_mm, high, wide, rng) - 1.3, 0, 1)
    level = light.direct * light.towards[2] + light.ambient
    bright = np.full((high, wide, 1), even * level, np.float32)
    flesh = flesh + shine[..., None] / bright
    bevel = 0.0 if solid.strip else look.bevel_mm
    for polygon in _top_polygons(solid, bevel):
        face(_seen(polygon, camera, px_per_mm), flesh, bright)
    if bevel:
        for inner, outer, tilt in ROUNDING:
            for i, polygon in enumerate(_rim(solid, inner * bevel, outer * bevel)):
                normal = np.cos(tilt) * np.array([0.0, 0.0, 1.0]) + np.sin(tilt) * _outwards(solid, i)
                normal /= np.linalg.norm(normal)
                fall, sky = max(float(normal @ light.towards), 0.0), 0.5 + 0.5 * normal[2]
                share = (light.direct * fall + light.ambient * sky) / level
                share *= 0.3 if _blocked(solid, i, beside) else 1.0
                face(_seen(polygon, camera, px_per_mm), flesh, bright * np.float32(share))
    peeled = look.produce != "courgette" or solid.shape != "disc"
    skin = None if peeled else linear(40, 78, 28).astype(np.float32)
    middle = np.concatenate([solid.top, solid.bottom]).reshape(2, -1, 3).mean(axis=0)
    middle = (middle + np.roll(middle, -1, 0)) / 2
    away = np.linalg.norm(middle - camera.centre_mm, axis=1)
    for i in np.argsort(away):
        if turned[i] <= 0:
            continue
        normal = _outwards(solid, int(i))
        fall = max(float(normal @ light.towards), 0.0)
        sky, back = 0.5 + 0.5 * normal[2], 0.5 - 0.5 * normal[2]
        rise = _rise(quads[i], left, up, wide, high)
        ambient = light.ambient * sky * (0.5 + 0.5 * rise)
        lit = (light.direct * fall + ambient)[..., None] + 0.6 * back * look.board * (
            0.4 + 0.6 * rise[..., None]
        )
        albedo = sides if skin is None else np.broadcast_to(skin, sides.shape)
        face(_seen(_side_face(solid, int(i)), camera, px_per_mm), albedo, (even * lit).astype(np.float32))
    blend(canvas, left, up, alpha, colour)


def _flesh(
    look: Look,
    solid: Solid,
    camera: Camera,
    frame: tuple[int, int, int, int],
    ring: Floats,
    centre: Floats,
    px_per_mm: float,
    rng: np.random.Generator,
) -> Picture:
    """Reflectance over the window of a piece, (high, wide, 3)."""
    left, up, wide, high = frame
    deep, pale, pattern = PRODUCE[look.produce]
    blend = 0.5 + 0.3 * _patch(1.5 * px_per_mm, high, wide, rng)
    if pattern == "core":
        seen = camera.project(ring)
        a, *_ = np.linalg.lstsq(np.column_stack([seen, np.ones(len(seen))]), ring[:, :2], rcond=None)
        y, x = np.mgrid[up : up + high, left : left + wide].astype(np.float32)
        at = x[..., None] * a[0] + y[..., None] * a[1] + a[2] - centre
        reach = 5.5 + 0.4 * blend
        blend = 0.25 * blend + 0.75 / (1.0 + np.exp((np.hypot(at[..., 0], at[..., 1]) - reach) / 0.25))
    fine = 1.0 + 0.03 * _patch(0.25 * px_per_mm, high, wide, rng)
    mixed = deep + (pale - deep) * np.clip(blend, 0, 1)[..., None]
    return np.asarray(mixed * fine[..., None] * (1.0 + 0.02 * rng.normal()), np.float32)


def _top_polygons(solid: Solid, bevel: float) -> list[Floats]:
    """The top, (N, 3) mm each: without the bevel all round it, or a ribbon's in bits."""
    if not solid.strip:
        return [_inset(solid.top, bevel)]
    top, n = solid.top, len(solid.top)
    return [top[[i, i + 1, n - 2 - i, n - 1 - i]] for i in range(n // 2 - 1)]


def _inset(ring: Floats, by: float) -> Floats:
    """A ring (N, 3) mm moved inwards by ``by`` mm, at the same height."""
    d = (np.roll(ring, -1, 0) - ring)[:, :2]
    d /= np.maximum(np.linalg.norm(d, axis=1), 1e-9)[:, None]
    inner = np.column_stack([-d[:, 1], d[:, 0]])  # of each edge; a corner moves along both its edges' normals
    before = np.roll(inner, 1, 0)
    move = (inner + before) / np.maximum(1.0 + (inner * before).sum(axis=1), 0.3)[:, None]
    return np.column_stack([ring[:, :2] + by * move, ring[:, 2]])


def _rim(solid: Solid, inner: float, outer: float) -> list[Floats]:
    """A strip along each edge of the top, from ``outer`` to ``inner`` mm inside of it, (4, 3) mm each."""
    a, b = _inset(solid.top, outer), _inset(solid.top, inner)
    return [np.stack(quad) for quad in zip(a, np.roll(a, -1, 0), np.roll(b, -1, 0), b, strict=True)]


def _blocked(solid: Solid, i: int, beside: list[Solid]) -> bool:
    """Does the i-th side stand against another piece?"""
    j = (i + 1) % len(solid.top)
    at = (solid.top[i] + solid.top[j])[:2] / 2 + 0.5 * _outwards(solid, i)[:2]
    point = (float(at[0]), float(at[1]))
    return any(cv2.pointPolygonTest(other.footprint.astype(np.float32), point, False) > 0 for other in beside)


def _side_face(solid: Solid, i: int) -> Floats:
    j = (i + 1) % len(solid.top)
    return np.stack([solid.top[i], solid.top[j], solid.bottom[j], solid.bottom[i]])


def _seen(corners: Floats, camera: Camera, px_per_mm: float) -> Floats:
    """A face (N, 3) mm as it is seen, (M, 2) px: long edges in bits, for the lens bends them."""
    bits = []
    for a, b in zip(corners, np.roll(corners, -1, 0), strict=True):
        t = np.linspace(0, 1, max(1, int(np.linalg.norm(b - a) * px_per_mm / 40)), endpoint=False)[:, None]
        bits.append(a + t * (b - a))
    return camera.project(np.concatenate(bits))


def _outwards(solid: Solid, i: int) -> Floats:
    """Unit normal of the i-th side face, (x, y, h)."""
    j = (i + 1) % len(solid.top)
    d = solid.top[j, :2] - solid.top[i, :2]
    flat = np.array([d[1], -d[0]]) / max(float(np.hypot(*d)), 1e-9)
    out = (solid.bottom[[i, j], :2] - solid.top[[i, j], :2]).mean(axis=0) @ flat
    rise = max(float((solid.top[[i, j], 2] - solid.bottom[[i, j], 2]).mean()), 1e-6)
    normal = np.array([*flat, out / rise])
    return np.asarray(normal / np.linalg.norm(normal))


def _rise(quad: Floats, left: int, up: int, wide: int, high: int) -> Picture:
    """How far up a side face each pixel is, 0 at the foot and 1 at the top edge, (high, wide)."""
    a, *_ = np.linalg.lstsq(np.column_stack([quad, np.ones(4)]), np.array([1.0, 1.0, 0.0, 0.0]), rcond=None)
    x = left + np.arange(wide, dtype=np.float32)
    y = up + np.arange(high, dtype=np.float32)
    return np.asarray(np.clip(x[None] * a[0] + y[:, None] * a[1] + a[2], 0, 1), np.float32)


def far_to_near(solids: list[Solid], camera: Camera) -> list[int]:
    """The order in which to paint. Of two pieces the one on the camera's side of a line that parts them is
    nearer; pieces that are seen apart may come in any order."""
    feet = [s.footprint for s in solids]
    seen = [camera.project(np.concatenate([s.top, s.bottom])) for s in solids]
    low, far = np.array([p.min(axis=0) for p in seen]), np.array([p.max(axis=0) for p in seen])
    under = camera.centre_mm[:2]
    behind: dict[int, set[int]] = {i: set() for i in range(len(solids))}  # those that must be painted before
    for i in range(len(solids)):
        near = ((low[i] < far[i + 1 :]) & (far[i] > low[i + 1 :])).all(axis=1)
        for j in np.nonzero(near)[0] + i + 1:
            first = _nearer(feet[i], feet[int(j)], under)
            behind[i if first else int(j)].add(int(j) if first else i)
    order: list[int] = []
    left = dict(behind)
    while left:
        ready = [i for i, before in left.items() if not before & left.keys()]
        ready = ready or [max(left, key=lambda i: float(np.linalg.norm(solids[i].centre[:2] - under)))]
        order += ready
        for i in ready:
            del left[i]
    return order


def _nearer(a: Floats, b: Floats, under: Floats) -> bool:
    """Is a convex footprint nearer to the camera than another? By the edge that parts them best."""
    best = (-np.inf, True)
    for one, other, mine in ((a, b, True), (b, a, False)):
        edge = np.roll(one, -1, 0) - one
        edge = edge / np.maximum(np.linalg.norm(edge, axis=1), 1e-9)[:, None]
        out = np.column_stack([edge[:, 1], -edge[:, 0]])
        gap = (out @ other.T).min(axis=1) - (out * one).sum(axis=1)
        k = int(np.argmax(gap))
        inside = float(out[k] @ (under - one[k])) < gap[k] / 2
        best = max(best, (float(gap[k]), inside == mine))
    return best[1]
