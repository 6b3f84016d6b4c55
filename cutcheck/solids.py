"""The solids that pieces are taken for, and what a camera sees of them, for many pieces at once.

A solid is a row of parameters. Its edges are curves of points given by body coordinates u, v (along and
across) and w (0 at the foot, 1 at the top face). The fit needs of a solid only what ``Solid`` lists, so that
one fit serves them all.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from cutcheck.camera import Camera, Floats
from cutcheck.silhouette import Affine

Bools = NDArray[np.bool_]

SAMPLES = 12
SKEW_SHARE = 0.035  # how far a knife leans, as a share of the height
TOP, FOOT, UPRIGHT = 0, 1, 2
MERGED_PX = 2.5  # a side face seen narrower than this shows one edge, not two


@dataclass(frozen=True)
class View:
    """Which of N solids' E edges are seen, and how.

    ``inner`` edges have a visible face on both hands, the others belong to the silhouette. ``gap_px`` is
    the distance to the parallel edge of the same side face, ``kind`` (E,) TOP, FOOT or UPRIGHT.
    """

    visible: Bools
    inner: Bools
    gap_px: Floats
    kind: NDArray[np.int_]

    @property
    def merged(self) -> Bools:
        """Which edges (N, E) are those of side faces too narrow to show two."""
        return np.asarray(self.visible & (self.gap_px < MERGED_PX), bool)


Edges = tuple[NDArray[np.int_], NDArray[np.int_]]  # F edges: of which solid, and which of its edges


class Solid(Protocol):
    """What the fit needs to know of a kind of solid. ``row`` is (N, P), points are (N, E, M)."""

    size: int
    height: int
    lengths: tuple[int, ...]

    def take(self, part: slice) -> Solid:
        """What some of the solids are."""

    def points(self, row: Floats, level: Floats) -> Floats:
        """The edges' points, (N, E, M, 3) mm; ``level`` (N, E) scales w of the foot's edges."""

    def across(self, row: Floats, affine: Affine, level: Floats, edges: Edges, normal: Floats) -> Floats:
        """How far the points of some ``edges`` (F) move along their normals (F, 2) with each parameter.

        d px / d parameter, (F, M, P).
        """

    def view(self, row: Floats, camera: Camera, px_per_mm: Floats, px_per_height: Floats) -> View:
        """What the camera sees of them."""

    def prior(self, row: Floats, start: Floats) -> tuple[Floats, Floats]:
        """What is known beforehand: targets and inverse variances, each (N, P)."""


def fractions(samples: int) -> Floats:
    """Where along an edge it is looked at: clear of the corners, (M,)."""
    return np.asarray(0.08 + 0.84 * (np.arange(samples) + 0.5) / samples)


def _along_normals(affine: Affine, solid: NDArray[np.int_], normal: Floats) -> tuple[Floats, Floats]:
    """What a millimetre along the board's x and y is along normals (F, 2) at F solids: px, (F, 1) each."""
    both = np.matmul(normal[:, None], affine.a[solid])[:, 0]
    return both[:, :1], both[:, 1:]


# --- boxes --------------------------------------------------------------------------------------------------

X, Y, THETA, LENGTH, WIDTH, HEIGHT, SKEW_U, SKEW_V, BOW = range(9)

_U = np.array([-0.5, 0.5, 0.5, -0.5])
_V = np.array([-0.5, -0.5, 0.5, 0.5])
_NORMALS = np.array([[0.0, -1.0], [1.0, 0.0], [0.0, 1.0], [-1.0, 0.0]])


def box_points(box: Floats, u: Floats, v: Floats, w: Floats) -> Floats:
    """Points of boxes (..., 9) at body coordinates u, v in [-0.5, 0.5], w in [0, 1]: (..., 3) mm.

    A box is x, y (its top face's centre, mm), theta (angle of the length, rad), length, width, height (mm),
    skew u, v (how far the foot lies from straight below the top, along and across, mm) and bow (how far the
    middle of a bent stick lies off the line between its ends, mm).
    """
    cos, sin = np.cos(box[..., THETA]), np.sin(box[..., THETA])
    down = 1.0 - w
    along = u * box[..., LENGTH] + down * box[..., SKEW_U]
    across = v * box[..., WIDTH] + down * box[..., SKEW_V] + box[..., BOW] * (1.0 / 3.0 - 4.0 * u * u)
    x = box[..., X] + cos * along - sin * across
    y = box[..., Y] + sin * along + cos * across
    return np.stack([x, y, w * box[..., HEIGHT] + np.zeros_like(x)], axis=-1)


def box_corners(box: Floats) -> Floats:
    """The corners of boxes (..., 9): (..., 8, 3) mm, the top face's four, then the foot's."""
    u, v = np.tile(_U, 2), np.tile(_V, 2)
    return box_points(box[..., None, :], u, v, np.repeat([1.0, 0.0], 4))


def box_edges(t: Floats) -> tuple[Floats, Floats, Floats]:
    """Body coordinates of a box's twelve edges at fractions ``t`` (M,) along them: u, v, w, each (12, M).

    Order: four of the top face, four of the foot (edge i from corner i to i+1), four uprights.
    """
    nxt = (np.arange(4) + 1) % 4
    u = _U[:, None] + (_U[nxt] - _U)[:, None] * t
    v = _V[:, None] + (_V[nxt] - _V)[:, None] * t
    one = np.ones_like(u)
    return (
        np.concatenate([u, u, _U[:, None] * one]),
        np.concatenate([v, v, _V[:, None] * one]),
        np.concatenate([one, 0.0 * one, np.broadcast_to(t, one.shape)]),
    )


def visible_sides(box: Floats, camera: Camera) -> Floats:
    """How wide each side face is seen, per mm of height: (..., 4) mm of board; positive is visible."""
    eye = camera.centre_mm
    cos, sin = np.cos(box[..., THETA])[..., None], np.sin(box[..., THETA])[..., None]
    dx, dy = eye[0] - box[..., X][..., None], eye[1] - box[..., Y][..., None]
    along, across = cos * dx + sin * dy, -sin * dx + cos * dy
    out = _NORMALS[:, 0] * along + _NORMALS[:, 1] * across
    out = out - 0.5 * np.abs(_NORMALS[:, 0]) * box[..., LENGTH, None]
    out = out - 0.5 * np.abs(_NORMALS[:, 1]) * box[..., WIDTH, None]
    return np.asarray(out / np.maximum(eye[2] - 0.5 * box[..., HEIGHT, None], 1.0))


def inner_edges(sides: Floats) -> tuple[Bools, Bools]:
    """From side faces (..., 4) as ``visible_sides`` gives them: visible and inner edges, (..., 12)."""
    seen = sides > 0.0
    before = np.roll(seen, 1, axis=-1)
    visible = np.concatenate([np.ones_like(seen), seen, seen | before], axis=-1)
    inner = np.concatenate([seen, np.zeros_like(seen), seen & before], axis=-1)
    return visible, inner


class Box:
    """A box, upright or leaning a little, straight or (``bowed`` (N,) bool) bent along its length.

    ``known``: how well the start tells its length and width, in parts of the width; None where it does not.
    """

    size = 9
    height = HEIGHT
    lengths: tuple[int, ...] = (LENGTH, WIDTH, HEIGHT)

    def __init__(
        self, bowed: Bools | None = None, samples: int = SAMPLES, known: float | None = None
    ) -> None:
        self.bowed, self.known, self.samples = bowed, known, samples
        self._u, self._v, self._w = box_edges(fractions(samples))

    def take(self, part: slice) -> Box:
        return Box(None if self.bowed is None else self.bowed[part], self.samples, self.known)

    def points(self, row: Floats, level: Floats) -> Floats:
        w = self._w + (1.0 - self._w) * level[..., None]
        return box_points(row[:, None, None], self._u, self._v, w)

    def across(self, row: Floats, affine: Affine, level: Floats, edges: Edges, normal: Floats) -> Floats:
        box, edge = edges
        u, v, w = self._u[edge], self._v[edge], self._w[edge]
        w = w + (1.0 - w) * level[edges][:, None]
        its = row[box, :, None]
        down, arch = 1.0 - w, 1.0 / 3.0 - 4.0 * u * u
        along = u * its[:, LENGTH] + down * its[:, SKEW_U]
        across = v * its[:, WIDTH] + down * its[:, SKEW_V] + its[:, BOW] * arch
        # What a millimetre along x, y, the length, the width and upwards is along the normal, (F, 1) px.
        x, y = _along_normals(affine, box, normal)
        cos, sin = np.cos(its[:, THETA]), np.sin(its[:, THETA])
        e1, e2 = x * cos + y * sin, y * cos - x * sin
        up = (affine.b[box] * normal).sum(axis=-1, keepdims=True)
        out = np.empty((*w.shape, self.size))
        out[..., X], out[..., Y] = x, y
        out[..., THETA] = along * e2 - across * e1
        out[..., LENGTH], out[..., WIDTH], out[..., HEIGHT] = u * e1, v * e2, w * up
        out[..., SKEW_U], out[..., SKEW_V], out[..., BOW] = down * e1, down * e2, arch * e2
        return out

    def view(self, row: Floats, camera: Camera, px_per_mm: Floats, px_per_height: Floats) -> View:
        sides = visible_sides(row, camera)
        visible, inner = inner_edges(sides)
        side_px = np.maximum(sides, 0.0) * (row[:, HEIGHT] * px_per_mm)[:, None]
        far = np.full_like(side_px, np.inf)
        gap = np.concatenate([np.where(sides > 0, side_px, far), side_px, far], axis=-1)
        visible[:, 8:] &= (px_per_height * row[:, HEIGHT])[:, None] > 4.0
        return View(visible, inner, gap, np.repeat([TOP, FOOT, UPRIGHT], 4))

    def prior(self, row: Floats, start: Floats) -> tuple[Floats, Floats]:
        target = np.zeros_like(row)
        weight = np.full_like(row, 1e-9)
        skew = SKEW_SHARE * row[:, HEIGHT] + 0.03
        weight[:, SKEW_U] = weight[:, SKEW_V] = 1.0 / skew**2
        bowed = np.zeros(len(row), bool) if self.bowed is None else self.bowed
        weight[:, BOW] = np.where(bowed, 1.0 / (0.2 * row[:, LENGTH]) ** 2, 1e8)
        target[:, HEIGHT] = start[:, HEIGHT]
        weight[:, HEIGHT] = 1.0 / (0.5 * start[:, HEIGHT] + 0.2) ** 2
        if self.known is not None:
            for side in (LENGTH, WIDTH):
                target[:, side] = start[:, side]
                weight[:, side] = 1.0 / (self.known * start[:, WIDTH]) ** 2
        return target, weight


# --- discs --------------------------------------------------------------------------------------------------

DIAMETER, DISC_HEIGHT, FLARE, DISC_SKEW_X, DISC_SKEW_Y = 2, 3, 4, 5, 6
ARCS = 16


class Disc:
    """An upright disc: x, y (the top face's centre), diameter, height, flare (how much wider the foot is,
    mm of diameter) and skew x, y of the foot, mm."""

    size = 7
    height = DISC_HEIGHT
    lengths: tuple[int, ...] = (DIAMETER, DISC_HEIGHT)

    def __init__(self) -> None:
        t = (np.arange(ARCS)[:, None] + (np.arange(SAMPLES) + 0.5) / SAMPLES) * (2.0 * np.pi / ARCS)
        self._round = np.stack([np.cos(t), np.sin(t)], axis=-1)  # (ARCS, M, 2)

    def take(self, part: slice) -> Disc:
        return self

    def _parts(self, level: Floats) -> tuple[Floats, Floats]:
        ring = np.concatenate([self._round, self._round])
        w = np.repeat([1.0, 0.0], ARCS)
        down = (1.0 - w) * (1.0 - level)
        return ring, down

    def points(self, row: Floats, level: Floats) -> Floats:
        ring, down = self._parts(level)
        radius = 0.5 * (row[:, DIAMETER, None] + down * row[:, FLARE, None])
        middle = row[:, None, 0:2] + down[..., None] * row[:, None, DISC_SKEW_X : DISC_SKEW_Y + 1]
        xy = middle[:, :, None] + radius[..., None, None] * ring
        h = ((1.0 - down) * row[:, DISC_HEIGHT, None])[..., None] + np.zeros(xy.shape[:-1])
        return np.concatenate([xy, h[..., None]], axis=-1)

    def across(self, row: Floats, affine: Affine, level: Floats, edges: Edges, normal: Floats) -> Floats:
        disc, edge = edges
        ring, down = self._parts(level)
        lower = down[edges][:, None]
        x, y = _along_normals(affine, disc, normal)
        radial = 0.5 * (x * ring[edge, :, 0] + y * ring[edge, :, 1])
        up = (affine.b[disc] * normal).sum(axis=-1, keepdims=True)
        out = np.empty((*radial.shape, self.size))
        out[..., X], out[..., Y] = x, y
        out[..., DIAMETER], out[..., FLARE] = radial, lower * radial
        out[..., DISC_HEIGHT] = (1.0 - lower) * up
        out[..., DISC_SKEW_X], out[..., DISC_SKEW_Y] = lower * x, lower * y
        return out

    def view(self, row: Floats, camera: Camera, px_per_mm: Floats, px_per_height: Floats) -> View:
        eye = camera.centre_mm
        middle = self._round.mean(axis=1)
        middle = middle / np.linalg.norm(middle, axis=-1, keepdims=True)
        rim = row[:, None, 0:2] + 0.5 * row[:, DIAMETER, None, None] * middle
        toward = ((eye[:2] - rim) * middle).sum(-1) / np.maximum(
            eye[2] - 0.5 * row[:, DISC_HEIGHT, None], 1.0
        )
        front = toward > 0.0
        side_px = np.maximum(toward, 0.0) * (row[:, DISC_HEIGHT] * px_per_mm)[:, None]
        visible = np.concatenate([np.ones_like(front), front], axis=-1)
        inner = np.concatenate([front, np.zeros_like(front)], axis=-1)
        gap = np.concatenate([np.where(front, side_px, np.inf), side_px], axis=-1)
        return View(visible, inner, gap, np.repeat([TOP, FOOT], ARCS))

    def prior(self, row: Floats, start: Floats) -> tuple[Floats, Floats]:
        target = np.zeros_like(row)
        weight = np.full_like(row, 1e-9)
        skew = SKEW_SHARE * row[:, DISC_HEIGHT] + 0.03
        weight[:, DISC_SKEW_X] = weight[:, DISC_SKEW_Y] = 1.0 / skew**2
        weight[:, FLARE] = 1.0 / (0.02 * row[:, DIAMETER]) ** 2
        target[:, DISC_HEIGHT] = start[:, DISC_HEIGHT]
        weight[:, DISC_HEIGHT] = 1.0 / (0.5 * start[:, DISC_HEIGHT] + 0.2) ** 2
        return target, weight
