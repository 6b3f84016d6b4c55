"""Cut pieces as meshes, with their exact sides: box, bowed stick, disc, ribbon, rough chunk.

A piece is made in its own frame (x along its length, y across, h up, standing on h = 0) and then placed.
Sides: of a box the mean of the two edges of its top face, each way, from its eight actual corners; of a
bowed stick or ribbon along and across its axis; of a disc the diameter of its top face; of a chunk the
largest and smallest Feret extents of the piece seen from straight above.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import cv2
import numpy as np


@dataclass
class Piece:
    """vertices (V, 3) mm; faces of vertex numbers; face_side (F,): 0 bottom, 1 top, 2.. sides;
    top, bottom (M, 3) mm: matching corners of the top and bottom outlines; centre (3,) mm of the top."""

    shape: str
    length: float
    width: float
    height: float
    vertices: np.ndarray
    faces: list[tuple[int, ...]]
    face_side: np.ndarray
    top: np.ndarray
    bottom: np.ndarray
    centre: np.ndarray
    bow: float = 0.0
    smooth: bool = True
    angle_deg: float = 0.0
    group: int = 0
    touches: list[int] = field(default_factory=list)

    def placed(self, x: float, y: float, angle_deg: float) -> Piece:
        """The same piece turned by `angle_deg` (x towards y) and moved to (x, y) mm."""
        c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
        turn = np.array([[c, s, 0], [-s, c, 0], [0, 0, 1]])
        move = np.array([x, y, 0.0])
        return replace(self, vertices=self.vertices @ turn + move, top=self.top @ turn + move,
                       bottom=self.bottom @ turn + move, centre=self.centre @ turn + move,
                       angle_deg=(self.angle_deg + angle_deg) % 180, touches=list(self.touches))

    def footprint(self) -> np.ndarray:
        """(K, 2) mm, convex hull of the piece seen from above."""
        points = self.vertices[:, :2].astype(np.float32)
        return cv2.convexHull(points)[:, 0].astype(float)


def _bumps(vertices: np.ndarray, rng: np.random.Generator, amplitude: float, wave_mm: float) -> np.ndarray:
    """Vertices moved by a smooth random field of `amplitude` mm (standard deviation, each way)."""
    moved = vertices.copy()
    for axis in range(3):
        for _ in range(4):
            k = rng.normal(0, 2 * np.pi / wave_mm / 1.7, 3)
            moved[:, axis] += amplitude * 0.7 * np.sin(vertices @ k + rng.uniform(0, 6.28))
    moved[:, 2] = np.where(vertices[:, 2] < 1e-6, 0.0, np.maximum(moved[:, 2], 0.0))
    return moved


def _nodes(side: float, bevel: float, cell: float) -> np.ndarray:
    """Grid lines along one side: close together in the bevel, then one each `cell` mm."""
    n = max(2, min(40, round(side / cell)) + 1)
    inner = np.linspace(1.7 * bevel, side - 1.7 * bevel, n)
    edge = np.array([0.0, 0.45, 1.0]) * bevel
    return np.concatenate([edge, inner, side - edge[::-1]])


def _surface(dims: tuple[float, float, float], bevel: float, cell: float
             ) -> tuple[np.ndarray, list[tuple[int, ...]], np.ndarray]:
    """Rounded box of `dims` mm from 0 to dims: vertices, faces turned outwards, face_side."""
    vertices: list[np.ndarray] = []
    faces: list[tuple[int, ...]] = []
    sides: list[int] = []
    index: dict[tuple[int, int, int], int] = {}
    lines = [_nodes(d, bevel, cell) for d in dims]
    counts = [len(line) for line in lines]

    def vertex(ijk: tuple[int, int, int]) -> int:
        if ijk not in index:
            q = np.array([lines[a][ijk[a]] for a in range(3)])
            c = np.clip(q, bevel, np.array(dims) - bevel)
            d = q - c
            index[ijk] = len(vertices)
            vertices.append(c + bevel * d / max(float(np.linalg.norm(d)), 1e-12))
        return index[ijk]

    for axis, end, side in [(2, 0, 0), (2, 1, 1), (0, 0, 2), (0, 1, 3), (1, 0, 4), (1, 1, 5)]:
        u, v = (axis + 1) % 3, (axis + 2) % 3
        for i in range(counts[u] - 1):
            for j in range(counts[v] - 1):
                quad = []
                for du, dv in [(0, 0), (1, 0), (1, 1), (0, 1)]:
                    ijk = [0, 0, 0]
                    ijk[axis], ijk[u], ijk[v] = (counts[axis] - 1) * end, i + du, j + dv
                    quad.append(vertex((ijk[0], ijk[1], ijk[2])))
                faces.append(tuple(quad if end else quad[::-1]))
                sides.append(side)
    return np.array(vertices), faces, np.array(sides)


def _bend(points: np.ndarray, bow: float, length: float) -> np.ndarray:
    """Points bent so that the axis (y = 0) becomes an arc of sagitta `bow` mm; x runs along the axis."""
    if abs(bow) < 1e-9:
        return points
    k = 8 * bow / (length**2 + 4 * bow**2)  # curvature; along the axis nothing is stretched
    s, y = points[:, 0], points[:, 1]
    return np.column_stack([np.sin(k * s) * (1 / k - y), (1 - np.cos(k * s)) / k + np.cos(k * s) * y,
                            points[:, 2]])


def box(dims: tuple[float, float, float], rng: np.random.Generator, bow: float = 0.0,
        rough: float = 1.0) -> Piece:
    """Box or stick of about `dims` (length, width, height) mm with the faults of a hand; bow is a sagitta."""
    length, width, height = dims
    cross = min(width, length)
    jitter = rough * (0.012 * cross + 0.02)
    corners = np.array([[i, j, k] for i in (0, 1) for j in (0, 1) for k in (0, 1)], float)
    base = corners * np.array(dims) - np.array([length / 2, width / 2, 0])
    base[:, :2] += rng.normal(0, jitter, (8, 2))
    top = corners[:, 2] == 1
    base[top, :2] += rng.normal(0, rough * 0.02 * min(height, cross), 2)  # skew
    wedge = rng.normal(0, rough * 0.015, 2)
    lift = 1 + wedge[0] * (2 * corners[:, 0] - 1) + wedge[1] * (2 * corners[:, 1] - 1)
    base[top, 2] = height * lift[top] + rng.normal(0, 0.3 * jitter, 4)
    # a sharp knife leaves a crisp edge
    bevel = min(float(rng.uniform(0.04, 0.12)), 0.02 * cross, 0.2 * height)
    unit, faces, sides = _surface(dims, bevel, max(cross / 5, 0.8))
    u = unit / np.array(dims)
    weights = np.prod(np.where(corners[None] == 1, u[:, None], 1 - u[:, None]), axis=2)
    flat = _bumps(weights @ base, rng, rough * min(0.03, 0.006 * cross), 0.7 * cross + 1)
    ring = [(0, 0), (1, 0), (1, 1), (0, 1)]
    number = {tuple(c): n for n, c in enumerate(corners.astype(int).tolist())}
    t = np.array([base[number[i, j, 1]] for i, j in ring])
    b = np.array([base[number[i, j, 0]] for i, j in ring])
    along = (np.linalg.norm(t[1] - t[0]) + np.linalg.norm(t[2] - t[3])) / 2
    across = (np.linalg.norm(t[2] - t[1]) + np.linalg.norm(t[3] - t[0])) / 2
    if abs(bow) > 1e-9:
        t, b = _dense(t, 12), _dense(b, 12)
    centre = np.array([[t[:, 0].mean(), t[:, 1].mean(), t[:, 2].mean()]])
    sides_mm = sorted((float(along), float(across)), reverse=True)
    flat, t, b, centre = (_bend(points, bow, length) for points in (flat, t, b, centre))
    piece = Piece("box", sides_mm[0], sides_mm[1], float(base[top, 2].mean()), flat, faces, sides, t, b,
                  centre[0], abs(bow))
    piece.angle_deg = 0.0 if along >= across else 90.0
    return piece


def _dense(ring: np.ndarray, n: int) -> np.ndarray:
    """Each edge of a closed outline split into n."""
    s = np.linspace(0, 1, n, endpoint=False)[:, None]
    return np.concatenate([a + s * (b - a) for a, b in zip(ring, np.roll(ring, -1, 0), strict=True)])


def _loft(top: np.ndarray, bottom: np.ndarray, bevel: float, rings: int
          ) -> tuple[np.ndarray, list[tuple[int, ...]], np.ndarray]:
    """Closed surface between two matching outlines with rounded rims."""
    n = len(top)
    layers = []

    def inset(ring: np.ndarray, by: float) -> np.ndarray:
        middle = ring.mean(0)
        d = ring - middle
        d[:, 2] = 0
        return ring - d / np.linalg.norm(d, axis=1, keepdims=True) * by

    up = np.array([0, 0, bevel])
    layers += [inset(bottom, s * bevel) for s in (6.0, 1.0)] + [inset(bottom, 0.3 * bevel) + 0.3 * up]
    layers += [bottom * (1 - s) + top * s + up * (1 - 2 * s) for s in np.linspace(0, 1, rings)]
    layers += [inset(top, 0.3 * bevel) - 0.3 * up, inset(top, bevel), inset(top, 2 * bevel)]
    inner = np.linspace(0.9, 0.15, 7)
    layers += [layers[-1].mean(0) + (layers[-1] - layers[-1].mean(0)) * s for s in inner]
    vertices = np.concatenate(layers)
    faces: list[tuple[int, ...]] = [tuple(range(n))[::-1]]
    sides = [0]
    for k in range(len(layers) - 1):
        side = 0 if k < 2 else (1 if k >= rings + 3 else 2)
        for i in range(n):
            j = (i + 1) % n
            faces.append((k * n + i, k * n + j, (k + 1) * n + j, (k + 1) * n + i))
            sides.append(side)
    last = (len(layers) - 1) * n
    faces.append(tuple(last + i for i in range(n)))
    sides.append(1)
    return vertices, faces, np.array(sides)


def disc(diameter: float, height: float, rng: np.random.Generator, cone: float = 0.03,
         rough: float = 1.0) -> Piece:
    """Slightly conical round; `cone` is the change of diameter from top to bottom, as a share."""
    n = 96
    phi = np.arange(n) * 2 * np.pi / n
    r = np.ones(n)
    for k in range(2, 6):
        r += rough * rng.normal(0, 0.006 / (k - 1)) * np.cos(k * phi + rng.uniform(0, 6.28))
    r *= diameter / 2
    wedge = rng.normal(0, 0.03 * rough, 2)
    unit = np.column_stack([np.cos(phi), np.sin(phi)])
    h = height * (1 + unit @ wedge)
    top = np.column_stack([unit * r[:, None], h])
    lean = rng.normal(0, 0.02 * height * rough, 2)
    bottom = np.column_stack([unit * (r * (1 + cone))[:, None] + lean, np.zeros(n)])
    vertices, faces, sides = _loft(top, bottom, min(float(rng.uniform(0.1, 0.25)), 0.15 * height), 6)
    vertices = _bumps(vertices, rng, 0.02 * rough, 6)
    mean = 2 * float(np.sqrt(cv2.contourArea(top[:, :2].astype(np.float32)) / np.pi))
    return Piece("disc", mean, mean, float(h.mean()), vertices, faces, sides, top, bottom, top.mean(0))


def chunk(size: float, height: float, rng: np.random.Generator) -> Piece:
    """Rough chunk: an uneven polygon of 5 to 7 corners, cut by hand, standing on the board."""
    n = int(rng.integers(5, 8))
    phi = (np.arange(n) + rng.uniform(-0.28, 0.28, n)) * 2 * np.pi / n
    stretch = np.array([rng.uniform(1.0, 1.3), rng.uniform(0.8, 1.0)])
    ring = np.column_stack([np.cos(phi), np.sin(phi)]) * size / 2 * stretch * rng.uniform(0.9, 1.1, (n, 1))
    hull = cv2.convexHull(ring.astype(np.float32))[:, 0].astype(float)
    if np.sum(hull[:, 0] * np.roll(hull[:, 1], -1) - hull[:, 1] * np.roll(hull[:, 0], -1)) < 0:
        hull = hull[::-1]
    slope = rng.normal(0, 0.10, 2)
    h = height * (1 + hull @ slope / (size / 2))
    outer = hull * (1 + rng.normal(0.05, 0.05, (len(hull), 1))) + rng.normal(0, 0.03 * size, 2)
    top_corners, bottom_corners = np.column_stack([hull, h]), np.column_stack([outer, np.zeros(len(hull))])
    top, bottom = _dense(top_corners, 10), _dense(bottom_corners, 10)
    vertices, faces, sides = _loft(top, bottom, float(rng.uniform(0.15, 0.4)), 8)
    vertices = _bumps(vertices, rng, 0.06, 7)
    long, short = feret(vertices[:, :2])
    return Piece("irregular", long, short, float(h.mean()), vertices, faces, sides, top_corners,
                 bottom_corners, top_corners.mean(0))


def ribbon(length: float, width: float, thick: float, rng: np.random.Generator) -> Piece:
    """Thin curved ribbon lying on the board, a little lifted here and there."""
    n = max(24, round(length / 0.8))
    s = np.linspace(-0.5, 0.5, n + 1)
    turn = rng.normal(0, 0.9) * s + rng.normal(0, 0.35) * np.sin(2 * np.pi * s + rng.uniform(0, 6.28))
    mid = (turn[1:] + turn[:-1]) / 2
    steps = np.column_stack([np.cos(mid), np.sin(mid)]) * length / n
    axis = np.concatenate([[[0, 0]], np.cumsum(steps, 0)])
    normal = np.column_stack([-np.sin(turn), np.cos(turn)])
    lift = 0.35 * (1 + np.sin(2 * np.pi * s * rng.uniform(0.8, 1.8) + rng.uniform(0, 6.28)))
    w = width * (1 + 0.04 * np.sin(2 * np.pi * s * 2 + rng.uniform(0, 6.28)))
    w = w * width / w.mean()
    axis -= axis.mean(0)
    left, right = axis + normal * w[:, None] / 2, axis - normal * w[:, None] / 2
    vertices = np.concatenate([np.column_stack([right, lift]), np.column_stack([left, lift]),
                               np.column_stack([left, lift + thick]), np.column_stack([right, lift + thick])])
    m = n + 1
    faces: list[tuple[int, ...]] = []
    sides: list[int] = []
    for i in range(n):
        for k, side in [(0, 0), (1, 2), (2, 1), (3, 3)]:
            a, b = k * m, (k + 1) % 4 * m
            faces.append((a + i, b + i, b + i + 1, a + i + 1))
            sides.append(side)
    faces += [(0, 3 * m, 2 * m, m), (n, m + n, 2 * m + n, 3 * m + n)]
    sides += [4, 5]
    pick = np.unique(np.linspace(0, n, 17).round().astype(int))
    order = [(right, pick), (left, pick[::-1])]
    top = np.concatenate([np.column_stack([edge[p], lift[p] + thick]) for edge, p in order])
    bottom = np.concatenate([np.column_stack([edge[p], lift[p]]) for edge, p in order])
    centre = np.array([*axis[n // 2], lift[n // 2] + thick])
    chord = axis[-1] - axis[0]
    d = axis - axis[0]
    bow = float(np.abs(chord[0] * d[:, 1] - chord[1] * d[:, 0]).max() / np.linalg.norm(chord))
    return Piece("ribbon", length, width, float((lift + thick).mean()), vertices, faces, np.array(sides), top,
                 bottom, centre, bow, smooth=False,
                 angle_deg=float(np.degrees(np.arctan2(chord[1], chord[0]))) % 180)


def feret(points: np.ndarray) -> tuple[float, float]:
    """Largest and smallest extents (mm) of (N, 2) points between parallel lines, over all directions."""
    hull = cv2.convexHull(points.astype(np.float32))[:, 0].astype(float)
    longest = float(np.linalg.norm(hull[:, None] - hull[None], axis=2).max())
    edges = np.roll(hull, -1, 0) - hull
    edges = edges[np.linalg.norm(edges, axis=1) > 1e-9]
    normals = np.column_stack([-edges[:, 1], edges[:, 0]]) / np.linalg.norm(edges, axis=1)[:, None]
    along = hull @ normals.T
    return longest, float((along.max(0) - along.min(0)).min())
