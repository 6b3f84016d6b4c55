"""Cut pieces as plain solids for drawn scenes: two matching outlines, top and bottom, and their exact sides.

A piece is made in its own frame (x along its length, y across, h up, standing on h = 0) and then placed.
Of a box the sides are the mean of the two edges of its top face, each way; of a bowed stick or ribbon along
and across its axis; of a disc the diameter; of a chunk the Feret extents seen from straight above.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Solid:
    """``top`` and ``bottom``: (N, 3) mm, (x, y, h), corners that belong together, clockwise as seen.

    ``strip``: the outline runs along one edge and back along the other, and the top is a band between them.
    """

    shape: str
    length: float
    width: float
    height: float
    top: Floats
    bottom: Floats
    centre: Floats
    bow: float = 0.0
    strip: bool = False
    angle_deg: float = 0.0
    group: int = 0
    touches: tuple[int, ...] = field(default=())

    def placed(self, x: float, y: float, angle_deg: float) -> Solid:
        """The same piece turned by ``angle_deg`` (x towards y), then moved by (x, y) mm."""
        c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
        turn = np.array([[c, s, 0], [-s, c, 0], [0, 0, 1.0]])
        move = np.array([x, y, 0.0])
        return replace(
            self,
            top=self.top @ turn + move,
            bottom=self.bottom @ turn + move,
            centre=self.centre @ turn + move,
            angle_deg=(self.angle_deg + angle_deg) % 180.0,
        )

    @property
    def footprint(self) -> Floats:
        """The hull of the piece seen from straight above, (K, 2) mm."""
        return hull(np.concatenate([self.top, self.bottom])[:, :2])


def hull(points: Floats) -> Floats:
    """The convex hull of points (N, 2): (K, 2)."""
    return np.asarray(cv2.convexHull(np.asarray(points, np.float32))[:, 0], float)


def box(
    dims: tuple[float, float, float], rng: np.random.Generator, bow: float = 0.0, rough: float = 1.0
) -> Solid:
    """A die or stick of about ``dims`` (length, width, height) mm with the faults of a hand.

    Uneven corners, a skewed top, a wedge both ways; ``bow`` is the sagitta of its axis, mm.
    """
    length, width, height = dims
    cross = min(length, width)
    jitter = rough * (0.012 * cross + 0.02)
    ring = np.array([[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]])
    top_xy = ring * [length, width] + rng.normal(0, jitter, (4, 2))
    top_xy += rng.normal(0, rough * 0.02 * min(height, cross), 2)
    foot_xy = ring * [length, width] + rng.normal(0, jitter, (4, 2))
    lift = 1.0 + 2.0 * ring @ rng.normal(0, rough * 0.015, 2)
    h = height * lift + rng.normal(0, 0.3 * jitter, 4)
    edges = np.linalg.norm(np.roll(top_xy, -1, 0) - top_xy, axis=1)
    along, across = float(edges[[0, 2]].mean()), float(edges[[1, 3]].mean())
    top, foot = np.column_stack([top_xy, h]), np.column_stack([foot_xy, np.zeros(4)])
    if bow:
        top, foot = _dense(top, 12), _dense(foot, 12)
    centre = np.append(top_xy.mean(axis=0), h.mean())
    long, short = max(along, across), min(along, across)
    bent = [_bend(part, bow, length) for part in (top, foot, centre[None])]
    turned = 0.0 if along >= across else 90.0
    return Solid(
        "box", long, short, float(h.mean()), bent[0], bent[1], bent[2][0], abs(bow), angle_deg=turned
    )


def disc(diameter: float, height: float, rng: np.random.Generator, rough: float = 1.0) -> Solid:
    """A round: not quite a circle, a little conical, a little thicker on one side."""
    phi = np.linspace(0, 2 * np.pi, 72, endpoint=False)
    r = 1.0 + sum(
        rough * rng.normal(0, 0.006 / (k - 1)) * np.cos(k * phi + rng.uniform(0, 6.28)) for k in range(2, 6)
    )
    unit = np.column_stack([np.cos(phi), np.sin(phi)])
    xy = unit * (r * diameter / 2)[:, None]
    h = height * (1.0 + unit @ rng.normal(0, 0.03 * rough, 2))
    cone, lean = 1.0 + rough * rng.uniform(-0.05, 0.05), rng.normal(0, 0.02 * height * rough, 2)
    top, foot = np.column_stack([xy, h]), np.column_stack([xy * cone + lean, np.zeros(len(xy))])
    mean = float(2 * np.sqrt(_area(xy) / np.pi))
    return Solid("disc", mean, mean, float(h.mean()), top, foot, top.mean(axis=0))


def chunk(size: float, height: float, rng: np.random.Generator) -> Solid:
    """A rough chunk: an uneven polygon of 5 to 7 corners with a sloping top."""
    n = int(rng.integers(5, 8))
    phi = (np.arange(n) + rng.uniform(-0.28, 0.28, n)) * 2 * np.pi / n
    stretch = [rng.uniform(1.0, 1.3), rng.uniform(0.8, 1.0)]
    ring = np.column_stack([np.cos(phi), np.sin(phi)]) * size / 2 * stretch * rng.uniform(0.9, 1.1, (n, 1))
    ring = hull(ring)
    h = height * (1.0 + ring @ rng.normal(0, 0.10, 2) / (size / 2))
    outer = ring * rng.normal(1.05, 0.05, (len(ring), 1)) + rng.normal(0, 0.03 * size, 2)
    top, foot = np.column_stack([ring, h]), np.column_stack([outer, np.zeros(len(ring))])
    long, short = feret(np.concatenate([ring, outer]))
    return Solid("irregular", long, short, float(h.mean()), top, foot, top.mean(axis=0))


def ribbon(length: float, width: float, thick: float, rng: np.random.Generator) -> Solid:
    """A thin curved ribbon, lifted a little here and there."""
    n = max(24, round(length / 1.5))
    s = np.linspace(-0.5, 0.5, n + 1)
    turn = rng.normal(0, 0.9) * s + rng.normal(0, 0.35) * np.sin(2 * np.pi * s + rng.uniform(0, 6.28))
    mid = (turn[1:] + turn[:-1]) / 2
    axis = np.concatenate(
        [[[0, 0]], np.cumsum(np.column_stack([np.cos(mid), np.sin(mid)]) * length / n, axis=0)]
    )
    axis -= axis.mean(axis=0)
    normal = np.column_stack([-np.sin(turn), np.cos(turn)])
    w = 1.0 + 0.04 * np.sin(4 * np.pi * s + rng.uniform(0, 6.28))
    w = (w * width / w.mean())[:, None] / 2
    lift = 0.35 * (1.0 + np.sin(2 * np.pi * s * rng.uniform(0.8, 1.8) + rng.uniform(0, 6.28)))
    ring = np.concatenate([axis - normal * w, (axis + normal * w)[::-1]])
    h = np.concatenate([lift, lift[::-1]])
    chord, away = axis[-1] - axis[0], axis - axis[0]
    bow = float(np.abs(chord[0] * away[:, 1] - chord[1] * away[:, 0]).max() / np.linalg.norm(chord))
    centre = np.append(axis[n // 2], lift[n // 2] + thick)
    angle = float(np.degrees(np.arctan2(chord[1], chord[0]))) % 180
    top, foot = np.column_stack([ring, h + thick]), np.column_stack([ring, h])
    return Solid("ribbon", length, width, float(lift.mean() + thick), top, foot, centre, bow, True, angle)


def make(kind: dict, rng: np.random.Generator) -> list[Solid]:
    """Pieces of one kind: ``shape``, ``mm``, ``count``, ``sd`` (share), ``rough``, ``bow_mm`` (low, high)."""
    mm, sd, rough = np.array(kind["mm"], float), kind.get("sd", 0.05), kind.get("rough", 1.0)
    bias = 1.0 + kind.get("bias", float(rng.normal(0, 0.015)))
    made = []
    for _ in range(kind["count"]):
        size = [float(v) for v in mm * bias * (1.0 + np.clip(rng.normal(0, sd, len(mm)), -3 * sd, 3 * sd))]
        bow = float(rng.uniform(*kind.get("bow_mm", (0.0, 0.0))) * rng.choice([-1, 1]))
        if kind["shape"] == "box":
            made.append(box((size[0], size[1], size[2]), rng, bow, rough))
        elif kind["shape"] == "disc":
            made.append(disc(size[0], size[1], rng, rough))
        elif kind["shape"] == "ribbon":
            made.append(ribbon(size[0], size[1], size[2], rng))
        elif kind["shape"] == "chunk":
            made.append(chunk(size[0], size[1], rng))
        else:
            raise ValueError(f"shape {kind['shape']!r}: take box, disc, ribbon or chunk")
    return made


def feret(points: Floats) -> tuple[float, float]:
    """Largest and smallest distance, mm, of parallel lines that hold points (N, 2) mm between them."""
    corners = hull(points)
    longest = float(np.linalg.norm(corners[:, None] - corners[None], axis=2).max())
    edge = np.roll(corners, -1, 0) - corners
    edge = edge[np.linalg.norm(edge, axis=1) > 1e-9]
    across = corners @ (edge[:, ::-1] * [-1, 1] / np.linalg.norm(edge, axis=1)[:, None]).T
    return longest, float((across.max(axis=0) - across.min(axis=0)).min())


def _area(ring: Floats) -> float:
    x, y = ring.T
    return float(abs((x * np.roll(y, -1) - y * np.roll(x, -1)).sum()) / 2)


def _dense(ring: Floats, n: int) -> Floats:
    s = np.linspace(0, 1, n, endpoint=False)[:, None]
    return np.concatenate([a + s * (b - a) for a, b in zip(ring, np.roll(ring, -1, 0), strict=True)])


def _bend(points: Floats, bow: float, length: float) -> Floats:
    """Points bent so that the axis y = 0 becomes an arc of sagitta ``bow``; along it nothing is stretched."""
    if abs(bow) < 1e-9:
        return points
    k = 8 * bow / (length**2 + 4 * bow**2)
    s, y = points[:, 0], points[:, 1]
    return np.column_stack(
        [np.sin(k * s) * (1 / k - y), (1 - np.cos(k * s)) / k + np.cos(k * s) * y, points[:, 2]]
    )
