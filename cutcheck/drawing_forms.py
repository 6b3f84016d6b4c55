"""The forms of cuts as faces in space, for drawing: boxes, rounds, ribbons, barrels, balls, wedges.

x runs along the length, y across the width, z up from the board; mm, the middle of the foot at the origin.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from cutcheck.cuts import Form

Point = tuple[float, float, float]
Flat = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Face:
    """A flat face, its corners anticlockwise as seen from outside. ``edged``: drawn with a line round it."""

    corners: tuple[Point, ...]
    edged: bool = True

    @property
    def normal(self) -> Point:
        """Outward, of any length (Newell's method, so that many corners are no trouble)."""
        x = y = z = 0.0
        for (ax, ay, az), (bx, by, bz) in zip(
            self.corners, (*self.corners[1:], self.corners[0]), strict=True
        ):
            x += (ay - by) * (az + bz)
            y += (az - bz) * (ax + bx)
            z += (ax - bx) * (ay + by)
        return x, y, z


@dataclass(frozen=True, slots=True)
class Solid:
    """A form: its faces, lines on them (ridges, holes), and its outline seen from above.

    ``convex``: its outline is drawn as the hull; ``boxy``: it has edges to set figures beside.
    """

    faces: tuple[Face, ...]
    lines: tuple[tuple[Point, ...], ...]
    plan: tuple[Flat, ...]
    convex: bool = True
    boxy: bool = False


def solid(form: Form, length: float, width: float, height: float, faces: int | None = None) -> Solid:
    """The form with these sides, mm. ``faces`` is how many a turned piece has."""
    makers: dict[Form, Callable[[], Solid]] = {
        "box": lambda: replace(_prism(_rectangle(length, width), height, edged=True), boxy=True),
        "diamond": lambda: _prism(
            [(length / 2, 0), (0, width / 2), (-length / 2, 0), (0, -width / 2)], height, edged=True
        ),
        "disc": lambda: _prism(_ellipse(length, width), height, edged=False),
        "lattice": lambda: _lattice(length, width, height),
        "half-disc": lambda: _prism(_half_ellipse(length, width), height, edged=False),
        "ribbon": lambda: replace(_prism(_wave(length, width), height, edged=False), convex=False, boxy=True),
        "crumbs": lambda: _crumbs(length, width, height),
        "barrel": lambda: _turned(
            length, width, height, faces or 36, lambda t: 0.62 + 0.38 * math.cos(math.pi * t / 2), bool(faces)
        ),
        "olive": lambda: _turned(length, width, height, 36, _round_end),
        "ball": lambda: _turned(length, width, height, 36, _round_end),
        "roll": lambda: _roll(length, width, height),
        "wedge": lambda: _wedge(length, width, height),
    }
    return makers[form]()


def _round_end(t: float) -> float:
    return math.sqrt(max(1.0 - t * t, 0.0))


def _rectangle(length: float, width: float) -> list[Flat]:
    a, b = length / 2, width / 2
    return [(a, -b), (a, b), (-a, b), (-a, -b)]


def _ellipse(length: float, width: float, count: int = 48) -> list[Flat]:
    angles = [2 * math.pi * k / count for k in range(count)]
    return [(length / 2 * math.cos(a), width / 2 * math.sin(a)) for a in angles]


def _half_ellipse(length: float, width: float) -> list[Flat]:
    angles = [math.pi * k / 32 for k in range(33)]
    return [(length / 2 * math.cos(a), width * (math.sin(a) - 0.5)) for a in angles]


def _wave(length: float, width: float) -> list[Flat]:
    """A strip that winds: its edges are half a width either side of a sine."""
    swing, turns, count = min(length / 18, 4.0), 2.0, 48
    there: list[Flat] = []
    back: list[Flat] = []
    for k in range(count + 1):
        x = length * (k / count - 0.5)
        phase = 2 * math.pi * turns * k / count
        slope = swing * 2 * math.pi * turns / length * math.cos(phase)
        norm = math.hypot(1.0, slope)
        y = swing * math.sin(phase)
        there.append((x + width / 2 * slope / norm, y - width / 2 / norm))
        back.append((x - width / 2 * slope / norm, y + width / 2 / norm))
    return there + back[::-1]


def _prism(plan: Sequence[Flat], height: float, *, edged: bool, at: Flat = (0.0, 0.0)) -> Solid:
    """The plan raised to ``height``; ``edged``: its upright edges are drawn."""
    points = [(x + at[0], y + at[1]) for x, y in plan]
    top = Face(tuple((x, y, height) for x, y in points))
    foot = Face(tuple((x, y, 0.0) for x, y in reversed(points)))
    sides = [
        Face(((ax, ay, 0.0), (bx, by, 0.0), (bx, by, height), (ax, ay, height)), edged)
        for (ax, ay), (bx, by) in zip(points, [*points[1:], points[0]], strict=True)
    ]
    return Solid((foot, *sides, top), (), tuple(points))


def _lattice(length: float, width: float, height: float) -> Solid:
    """A slice with rows of small holes, as a ridged blade leaves them."""
    base = _prism(_ellipse(length, width), height, edged=False)
    step = min(length, width) / 8
    holes = []
    for i in range(-5, 6):
        for j in range(-5, 6):
            x, y = i * step, j * step
            if (2 * x / length) ** 2 + (2 * y / width) ** 2 < 0.72:
                r = 0.3 * step
                ring = [(x + r, y), (x, y + r), (x - r, y), (x, y - r), (x + r, y)]
                holes.append(tuple((a, b, height) for a, b in ring))
    return Solid(base.faces, tuple(holes), base.plan)


def _crumbs(length: float, width: float, height: float) -> Solid:
    """Several small pieces lying apart; the same each time."""
    places = [(-2.4, -1.2, 1.0), (-0.9, 1.4, 0.7), (0.4, -1.0, 1.2), (1.9, 0.6, 0.8), (2.9, -1.6, 0.6)]
    faces: list[Face] = []
    for x, y, size in places:
        at = (x * length, y * width)
        faces += _prism(_rectangle(length * size, width * size), height * size, edged=True, at=at).faces
    return Solid(tuple(faces), (), tuple(_rectangle(6.8 * length, 5.0 * width)), convex=False)


def _turned(
    length: float,
    width: float,
    height: float,
    count: int,
    profile: Callable[[float], float],
    ridges: bool = False,
) -> Solid:
    """A body turned about x with ``count`` sides; at t (-1 to 1) it has the profile's share of its width."""
    steps = 24
    rings: list[list[Point]] = []
    for k in range(steps + 1):
        t = 2 * k / steps - 1
        r = max(profile(t), 1e-4)
        ring = []
        for i in range(count):
            a = 2 * math.pi * (i + 0.5) / count + math.pi / 2
            ring.append(
                (t * length / 2, r * width / 2 * math.cos(a), height / 2 + r * height / 2 * math.sin(a))
            )
        rings.append(ring)
    faces = [Face(tuple(reversed(rings[0]))), Face(tuple(rings[-1]))]
    for here, there in pairwise(rings):
        for i in range(count):
            j = (i + 1) % count
            faces.append(Face((here[i], here[j], there[j], there[i]), edged=False))
    lines = tuple(tuple(ring[i] for ring in rings) for i in range(count)) if ridges else ()
    half = [(2 * k / steps - 1, max(profile(2 * k / steps - 1), 0.0)) for k in range(steps + 1)]
    upper = [(t * length / 2, r * width / 2) for t, r in half]
    return Solid(tuple(faces), lines, (*upper, *((x, -y) for x, y in reversed(upper))))


def _roll(length: float, width: float, height: float) -> Solid:
    """A round stick between two slanting cuts that are not parallel."""
    count, slant = 40, 0.55
    near: list[Point] = []
    far: list[Point] = []
    for i in range(count):
        a = 2 * math.pi * i / count
        y, z = width / 2 * math.cos(a), height / 2 * math.sin(a)
        near.append((-length / 2 + slant * (width / 2 + y), y, height / 2 + z))
        far.append((length / 2 - slant * (height / 2 + z), y, height / 2 + z))
    faces = [Face(tuple(reversed(near))), Face(tuple(far))]
    for i in range(count):
        j = (i + 1) % count
        faces.append(Face((near[i], near[j], far[j], far[i]), edged=False))
    a, b = length / 2, width / 2
    return Solid(
        tuple(faces), (), ((-a, -b), (a - slant * b, -b), (a - slant * b, b), (slant * width - a, b))
    )


def _wedge(length: float, width: float, height: float) -> Solid:
    """A quarter of a round vegetable, lying on one cut face, the other turned to who looks."""
    steps, count = 20, 10
    rows: list[list[Point]] = []
    for k in range(steps + 1):
        t = 2 * k / steps - 1
        r = math.sqrt(max(1 - t * t, 1e-6))
        quarter = [math.pi / 2 * i / count for i in range(count + 1)]
        row = [
            (t * length / 2, width / 3 - r * width * math.cos(a), r * height * math.sin(a)) for a in quarter
        ]
        rows.append(row)
    faces = []
    for here, there in pairwise(rows):
        for i in range(count):
            faces.append(Face((here[i], there[i], there[i + 1], here[i + 1]), edged=False))
    axis = [(row[0][0], width / 3, 0.0) for row in rows]
    upright, flat = [row[-1] for row in rows], [row[0] for row in rows]
    faces.append(Face((*reversed(axis), *upright)))
    faces.append(Face((*axis, *reversed(flat))))
    plan = [(p[0], p[1]) for p in flat]
    return Solid(tuple(faces), (), (*plan, *((p[0], p[1]) for p in reversed(axis))))
