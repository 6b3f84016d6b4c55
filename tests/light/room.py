"""Where everything lies: pieces kept apart, or put together in rows, on what the camera sees of the board."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from cutcheck.camera import Camera
from cutcheck.card import CardLayout, corners_of
from light.solids import Floats, Solid, chunk, hull, make

CELLS = 3.0  # of the map of what is taken, to the mm


def visible(camera: Camera, size: tuple[int, int], margin: float) -> Floats:
    """The outline, (N, 2) mm, of what the picture shows of the board, ``margin`` px inside its edge."""
    s = np.linspace(0, 1, 16, endpoint=False)
    low, far = np.full(2, margin), np.array(size) - 1 - margin
    corners = np.array([low, [far[0], low[1]], far, [low[0], far[1]]])
    edge = [a + t * (b - a) for a, b in zip(corners, np.roll(corners, -1, 0), strict=True) for t in s]
    return camera.to_height(np.array(edge))


class Room:
    """What is still free of the board: a map, 255 where a piece may lie."""

    def __init__(self, camera: Camera, size: tuple[int, int], layout: CardLayout) -> None:
        self.camera, self.size = camera, size
        view = visible(camera, size, 40)
        self.low = view.min(axis=0)
        self.free = np.zeros(np.ceil((view.max(axis=0) - self.low) * CELLS).astype(int)[::-1] + 1, np.uint8)
        cv2.fillPoly(self.free, [self._cells(view)], 255)
        if layout.free_mm is not None:
            keep = np.zeros_like(self.free)
            cv2.fillPoly(keep, [self._cells(corners_of(layout.free_mm))], 255)
            self.free &= keep
        else:
            self.block(layout.outline, 4.0)

    def _cells(self, xy: Floats) -> NDArray[np.int32]:
        return np.round((xy - self.low) * CELLS).astype(np.int32)

    def block(self, polygon: Floats, margin_mm: float) -> None:
        cv2.fillPoly(self.free, [self._cells(polygon)], 0)
        cv2.polylines(self.free, [self._cells(polygon)], True, 0, max(1, round(2 * margin_mm * CELLS)))

    def fits(self, polygon: Floats) -> bool:
        cells = self._cells(polygon)
        low, far = cells.min(axis=0), cells.max(axis=0) + 1
        if (low < 0).any() or (far > self.free.shape[::-1]).any():
            return False
        mask = np.zeros((far - low)[::-1], np.uint8)
        cv2.fillPoly(mask, [cells - low], 1)
        return not (mask & (self.free[low[1] : far[1], low[0] : far[0]] == 0)).any()

    def covered(self, solid: Solid) -> Floats:
        """What a piece covers of the board, seen from above and from the camera."""
        shadow = self.camera.to_height(self.camera.project(solid.top))
        return hull(np.concatenate([solid.top[:, :2], solid.bottom[:, :2], shadow]))

    def spots(self, rng: np.random.Generator, count: int) -> Floats:
        """Random free places, (N, 2) mm, at most ``count``."""
        high, wide = self.free.shape
        for tries in (20, 400):
            rows, columns = rng.integers(0, high, tries * count), rng.integers(0, wide, tries * count)
            free = np.nonzero(self.free[rows, columns])[0][:count]
            if len(free) == count:
                break
        return np.column_stack([columns[free], rows[free]]) / CELLS + self.low

    def scatter(self, kind: dict, rng: np.random.Generator, before: list[Solid]) -> list[Solid]:
        """Each piece at a random free place, turned at random; one without room is left out."""
        done: list[Solid] = []
        for piece in make(kind, rng):
            for x, y in self.spots(rng, 300):
                placed = piece.placed(float(x), float(y), float(rng.uniform(0, 180)))
                if self.fits(self.covered(placed)):
                    self.block(self.covered(placed), kind.get("gap_mm", 3.0))
                    done.append(replace(placed, group=_next_group(before + done)))
                    break
        return done

    def rows(self, kind: dict, rng: np.random.Generator, before: list[Solid]) -> list[Solid]:
        """Pieces side by side and touching, in rows of ``row`` (least, most)."""
        left, done = make(kind, rng), list[Solid]()
        while left:
            count = int(rng.integers(kind["row"][0], kind["row"][1] + 1))
            row = _side_by_side([left.pop() for _ in range(min(count, len(left)))], rng)
            for x, y in self.spots(rng, 300):
                angle = float(rng.uniform(0, 180))
                placed = [piece.placed(0, 0, angle).placed(float(x), float(y), 0) for piece in row]
                covered = [self.covered(piece) for piece in placed]
                if all(self.fits(polygon) for polygon in covered):
                    first, group = len(before) + len(done), _next_group(before + done)
                    for k, piece in enumerate(placed):
                        self.block(covered[k], kind.get("gap_mm", 3.0))
                        near = tuple(first + j for j in (k - 1, k + 1) if 0 <= j < len(placed))
                        done.append(replace(piece, group=group, touches=near))
                    break
        return done


def _next_group(solids: list[Solid]) -> int:
    return max((s.group for s in solids), default=-1) + 1


def _side_by_side(pieces: list[Solid], rng: np.random.Generator) -> list[Solid]:
    """Long sides together, each a little askew and shifted, its feet against those of the one before."""
    row: list[Solid] = []
    y = 0.0
    for piece in pieces:
        turned = piece.placed(0, 0, float(rng.normal(0, 0.8)))
        shift = float(rng.normal(0, 0.04) * piece.width)
        turned = turned.placed(shift, y - float(turned.footprint[:, 1].min()), 0)
        y = float(turned.footprint[:, 1].max())
        row.append(turned)
    middle = np.mean([s.centre for s in row], axis=0)
    return [s.placed(-middle[0], -middle[1], 0) for s in row]


def distractors(names: tuple[str, ...], room: Room, rng: np.random.Generator) -> list[tuple[str, Solid]]:
    """Things that are no pieces: a knife, crumbs. As (what it is made of, solid)."""
    done: list[tuple[str, Solid]] = []
    for name in names:
        if name == "crumbs":
            for x, y in room.spots(rng, 25):
                crumb = chunk(float(rng.uniform(0.4, 1.1)), float(rng.uniform(0.2, 0.5)), rng).placed(x, y, 0)
                if room.fits(room.covered(crumb)):
                    room.block(room.covered(crumb), 2.0)
                    done.append(("", crumb))
        elif name == "knife":
            blade, handle = (
                _prism([[0, 0], [150, 6], [190, 24], [150, 34], [0, 34]], 1.6),
                _prism([[-110, 4], [0, 2], [0, 24], [-110, 26]], 16.0),
            )
            for x, y in room.spots(rng, 3000):
                angle = float(rng.uniform(0, 360))
                parts = [part.placed(x, y, angle) for part in (blade, handle)]
                if room.fits(room.covered(parts[0])):
                    for part in parts:
                        room.block(room.covered(part), 8.0)
                    done += [("steel", parts[0]), ("handle", parts[1])]
                    break
        else:
            raise ValueError(f"no distractor {name!r}: take knife or crumbs")
    return done


def _prism(corners: list[list[float]], height: float) -> Solid:
    flat = hull(np.array(corners, float))
    top, foot = (np.column_stack([flat, np.full(len(flat), h)]) for h in (height, 0.0))
    return Solid("other", 0.0, 0.0, height, top, foot, top.mean(axis=0))
