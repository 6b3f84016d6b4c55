"""Where everything lies: pieces kept apart (or put together in rows) on what the camera sees of the board."""

from __future__ import annotations

import cv2
import numpy as np

from .camera import Camera
from .solids import Piece

CELLS_PER_MM = 4.0
REACH_MM = 330.0  # half the side of the map


class Ground:
    """A map of the board, 4 cells to the mm: where a piece may still be put."""

    def __init__(self) -> None:
        side = round(2 * REACH_MM * CELLS_PER_MM)
        self.free = np.full((side, side), 255, np.uint8)

    def _cells(self, xy: np.ndarray) -> np.ndarray:
        return ((np.asarray(xy, float) + REACH_MM) * CELLS_PER_MM).astype(np.float32)

    def block(self, polygon: np.ndarray, margin_mm: float = 0.0) -> None:
        """Nothing may be put on `polygon` (N, 2) mm, nor within `margin_mm` of it."""
        cells = np.round(self._cells(polygon)).astype(np.int32)
        cv2.fillPoly(self.free, [cells], 0)
        if margin_mm > 0:
            width = max(1, round(2 * margin_mm * CELLS_PER_MM))
            cv2.polylines(self.free, [cells], True, 0, width)

    def keep_only(self, polygon: np.ndarray) -> None:
        """Everything outside `polygon` (N, 2) mm is forbidden."""
        keep = np.zeros_like(self.free)
        cv2.fillPoly(keep, [np.round(self._cells(polygon)).astype(np.int32)], 255)
        self.free &= keep

    def fits(self, polygon: np.ndarray) -> bool:
        cells = np.round(self._cells(polygon)).astype(np.int32)
        x0, y0 = cells.min(0)
        x1, y1 = cells.max(0) + 1
        if x0 < 0 or y0 < 0 or y1 > self.free.shape[0] or x1 > self.free.shape[1]:
            return False
        mask = np.zeros((y1 - y0, x1 - x0), np.uint8)
        cv2.fillPoly(mask, [cells - [x0, y0]], 1)
        return not np.any(mask & (self.free[y0:y1, x0:x1] == 0))

    def places(self) -> np.ndarray:
        """(N, 2) mm of free cells, one in ten."""
        rows, columns = np.nonzero(self.free[::3, ::3])
        return np.column_stack([columns * 3, rows * 3]) / CELLS_PER_MM - REACH_MM


def seen_board(camera: Camera, margin_px: float, h: float = 0.0) -> np.ndarray:
    """(N, 2) mm, outline of what the picture shows of the plane at `h`, `margin_px` inside its edge."""
    s = np.linspace(0, 1, 24, endpoint=False)
    w, hh = camera.width - 1 - margin_px, camera.height - 1 - margin_px
    m = margin_px
    edge = np.concatenate([np.column_stack([m + s * (w - m), 0 * s + m]),
                           np.column_stack([0 * s + w, m + s * (hh - m)]),
                           np.column_stack([w - s * (w - m), 0 * s + hh]),
                           np.column_stack([0 * s + m, hh - s * (hh - m)])])
    return camera.on_plane(edge, h)


def card_outline(size_mm: tuple[float, float], pose: tuple[float, float, float]) -> np.ndarray:
    """(4, 2) mm, corners of a card of `size_mm` at pose (x, y, degrees)."""
    x, y, angle = pose
    c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
    half = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.array(size_mm) / 2
    return half @ np.array([[c, s], [-s, c]]) + np.array([x, y])


def scatter(pieces: list[Piece], ground: Ground, rng: np.random.Generator, gap_mm: float,
            spread_mm: tuple[float, float, float] | None = None) -> list[Piece]:
    """Each piece at a random free place, at least `gap_mm` from the others; those without room are left out.

    `spread_mm` (x, y, sd) draws the pieces towards one place, as a cook sets them down.
    """
    done: list[Piece] = []
    spots = ground.places()
    if spread_mm is not None and len(spots):
        x, y, sd = spread_mm
        p = np.exp(-((spots - [x, y]) ** 2).sum(1) / (2 * sd**2)) + 1e-9
        p /= p.sum()
    else:
        p = None
    for piece in pieces:
        if not len(spots):
            break
        for x, y in spots[rng.choice(len(spots), 400, p=p)]:
            placed = piece.placed(float(x), float(y), float(rng.uniform(0, 180)))
            if ground.fits(placed.footprint()):
                ground.block(placed.footprint(), gap_mm)
                placed.group = len(done)
                done.append(placed)
                break
    return done


def rows(pieces: list[Piece], counts: tuple[int, int], ground: Ground, rng: np.random.Generator,
         gap_mm: float) -> list[Piece]:
    """Pieces side by side and touching, `counts` (least, most) to a row; rows at random free places."""
    done: list[Piece] = []
    left = list(pieces)
    group = 0
    while left:
        n = min(int(rng.integers(counts[0], counts[1] + 1)), len(left))
        row = [left.pop().placed(0, 0, 0) for _ in range(n)]
        y = 0.0
        for k, piece in enumerate(row):  # long sides together, each a little askew and shifted
            turned = piece.placed(0, 0, float(rng.normal(0, 0.8)))
            shift = float(rng.normal(0, 0.04) * piece.width)
            turned = turned.placed(shift, y - float(turned.vertices[:, 1].min()), 0)
            if k:
                turned = turned.placed(0, -_clearance(row[k - 1], turned) + 0.01, 0)
            y = float(turned.vertices[:, 1].max())
            row[k] = turned
        spots = ground.places()
        if not len(spots):
            break
        for x, y in spots[rng.choice(len(spots), 500)]:
            angle = float(rng.uniform(0, 180))
            middle = np.mean([piece.vertices[:, :2].mean(0) for piece in row], axis=0)
            moved = [piece.placed(-middle[0], -middle[1], 0).placed(0, 0, angle).placed(float(x), float(y), 0)
                     for piece in row]
            if all(ground.fits(piece.footprint()) for piece in moved):
                for k, piece in enumerate(moved):
                    ground.block(piece.footprint(), gap_mm)
                    piece.group = group
                    piece.touches = [len(done) + j for j in (k - 1, k + 1) if 0 <= j < len(moved)]
                done += moved
                group += 1
                break
    return done


def _clearance(first: Piece, second: Piece) -> float:
    """mm by which `second` can move towards smaller y before its hull meets that of `first`."""
    xs = np.linspace(-40, 40, 801)
    upper = _profile(first.footprint(), xs, np.max)
    lower = _profile(second.footprint(), xs, np.min)
    both = np.isfinite(upper) & np.isfinite(lower)
    return float((lower - upper)[both].min()) if both.any() else 0.0


def _profile(hull: np.ndarray, xs: np.ndarray, pick: object) -> np.ndarray:
    """Highest (np.max) or lowest (np.min) y of a convex outline at each x; NaN outside it."""
    values = []
    for a, b in zip(hull, np.roll(hull, -1, 0), strict=True):
        x0, x1 = min(a[0], b[0]), max(a[0], b[0])
        if x1 - x0 < 1e-9:
            continue
        y = a[1] + (xs - a[0]) * (b[1] - a[1]) / (b[0] - a[0])
        values.append(np.where((xs >= x0) & (xs <= x1), y, np.nan))
    stack = np.array(values)
    inside = np.isfinite(stack).any(0)
    out = np.full(len(xs), np.nan)
    chosen = np.nanmax if pick is np.max else np.nanmin
    out[inside] = chosen(stack[:, inside], axis=0)
    return out
