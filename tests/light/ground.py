"""The board and the cards on it, as a camera sees them, in linear light, with the shadows of the pieces."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from cutcheck.camera import Camera
from cutcheck.card import SQUARE_MM, CardLayout
from light.cover import Floats, Picture, blend, cover_within, window
from light.lamp import BOARDS, INK, PAPER, Light, linear, noise
from light.solids import Solid, hull

CARD_PX_PER_MM = 20  # every printed edge of the pocket card and the A4 mat lies between two of these
RAYS = 3  # at least, along each side of a pixel, for what is printed


@dataclass(frozen=True)
class Ground:
    """The board: its ``colour`` (3,) BGR, and maps (H, W) of its ``grain`` and the ``light`` on it.

    The first cell's centre is at ``origin``, (2,) mm.
    """

    colour: Picture
    grain: Picture
    light: Picture
    origin: Floats
    cells_per_mm: float

    def cells(self, xy: Floats) -> Picture:
        """(..., 2) mm to (..., 2) cells."""
        return np.asarray((xy - self.origin) * self.cells_per_mm, np.float32)


def ground(
    kind: str, area: tuple[Floats, Floats], cells_per_mm: float, light: Light, solids: list[Solid], seed: int
) -> Ground:
    """The board over ``area`` (low, high) mm with the shadows of the solids on it."""
    low, far = area
    wide, high = (int(v) for v in np.ceil((far - low) * cells_per_mm) + 1)
    x = low[0] + np.arange(wide, dtype=np.float32) / cells_per_mm
    y = low[1] + np.arange(high, dtype=np.float32) / cells_per_mm
    even = np.clip(1.0 + x[None] * light.slope[0] + y[:, None] * light.slope[1], 0.55, 1.45)

    def filled(outlines: list[Floats]) -> NDArray[np.uint8]:
        mask = np.zeros((high, wide), np.uint8)
        for xy in outlines:
            corners = np.round((xy - low) * cells_per_mm * 16).astype(np.int32)
            cv2.fillPoly(mask, [corners], 255, cv2.LINE_AA, 4)
        return mask

    parts = [(part, round(solid.height)) for solid in solids for part in _convex_parts(solid)]
    rays, shade = light.rays(), np.zeros((high, wide), np.float32)
    for ray in rays:
        cast = [hull(part[:, :2] - part[:, 2:] * ray[:2] / ray[2]) for part, _ in parts]
        cv2.accumulate(filled(cast), shade)
    near = np.zeros((high, wide), np.float32)  # how much of the sky the pieces take away, at their feet
    for tall in {height for _, height in parts}:
        mask = filled([hull(part[:, :2]) for part, height in parts if height == tall])
        for share, width in ((0.55, 0.18), (0.35, 0.6)):
            blurred = _blurred(mask, max(width * max(tall, 0.5) * cells_per_mm, 0.5))
            near = np.maximum(near, blurred * np.float32(share / 255))
    direct = light.direct * light.towards[2]
    level = even * (direct * (1.0 - shade / np.float32(255 * len(rays))) + light.ambient * (1.0 - near))
    colour, grain = BOARDS[kind]
    pattern = _grain(grain, (high, wide), cells_per_mm / 4, seed)
    return Ground(colour.astype(np.float32), pattern, level.astype(np.float32), np.asarray(low), cells_per_mm)


def _blurred(mask: NDArray[np.uint8], sigma: float) -> Picture:
    """A wide blur, worked out on a smaller picture."""
    by = int(np.clip(sigma / 2, 1, 8))
    small = cv2.resize(mask, None, fx=1 / by, fy=1 / by, interpolation=cv2.INTER_AREA).astype(np.float32)
    soft = cv2.GaussianBlur(small, (0, 0), sigma / by)
    return np.asarray(cv2.resize(soft, mask.shape[::-1], interpolation=cv2.INTER_LINEAR), np.float32)


def _convex_parts(solid: Solid) -> list[Floats]:
    """The solid as convex bits, (K, 3) mm each: a box is one, a ribbon or bowed stick many."""
    n = len(solid.top)
    if solid.strip:
        pairs = [[i, i + 1, n - 2 - i, n - 1 - i] for i in range(n // 2 - 1)]
        return [np.concatenate([solid.top[k], solid.bottom[k]]) for k in pairs]
    if solid.bow:
        pairs = [[i, i + 1, 35 - i, 36 - i] for i in range(12)]  # twelve to a side: see light.solids.box
        return [np.concatenate([solid.top[k], solid.bottom[k]]) for k in pairs]
    return [np.concatenate([solid.top, solid.bottom])]


def _grain(kind: str, shape: tuple[int, int], unit: float, seed: int) -> Picture:
    """What the board's surface does to its colour, about 1; ``unit`` is a quarter of a mm in cells."""
    rng = np.random.default_rng(seed)

    def waves(down: float, across: float) -> Picture:
        return noise(shape, (max(down * unit, 1.0), max(across * unit, 1.0)), rng)

    if kind == "wood":
        rings = np.sin(3.0 * waves(90, 1600) + 6.0 * waves(260, 3000))
        return 1.0 + 0.10 * rings + 0.05 * waves(3, 120) + 0.03 * waves(1.5, 20)
    if kind == "brushed":
        return 1.0 + 0.18 * waves(900, 400) + 0.05 * waves(1.2, 160) + 0.03 * waves(3, 400)
    rough = 2.5 if kind == "rough" else 1.0
    return 1.0 + rough * (0.012 * waves(1.5, 1.5) + 0.01 * waves(14, 14))


def lay_board(camera: Camera, size: tuple[int, int], board: Ground) -> tuple[Picture, Picture]:
    """The board as it is seen, (H, W, 3) linear BGR, and the light on it, (H, W)."""
    wide, high = size
    canvas, light = np.empty((high, wide, 3), np.float32), np.empty((high, wide), np.float32)
    for top in range(0, high, 512):
        rows = min(512, high - top)
        cells = board.cells(_smooth_map(camera, 0.0, 0, top, (rows, wide), 1.0, 32))
        seen, lit = (
            cv2.remap(part, cells, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT_101)
            for part in (board.grain, board.light)
        )
        canvas[top : top + rows] = (seen * lit)[..., None] * board.colour
        light[top : top + rows] = lit
    return canvas, light


def _prints(layout: CardLayout) -> tuple[tuple[Floats, Picture], ...]:
    """What is printed on a card or mat: (low corner in mm, reflectance at CARD_PX_PER_MM) of each patch."""

    def cells(mm: float) -> int:
        return round(mm * CARD_PX_PER_MM)

    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    tags = {}
    for tag in layout.squares:
        code = cv2.aruco.generateImageMarker(dictionary, tag, cells(SQUARE_MM))
        tags[tag] = np.where(code > 127, PAPER, INK).astype(np.float32)
    if layout.kind == "mat":
        edge = cells(1.5)
        return tuple(
            (layout.squares[tag][0] - 1.5, np.pad(picture, edge, constant_values=PAPER))
            for tag, picture in tags.items()
        )
    half = np.array(layout.size_mm) / 2
    sheet = np.full((cells(layout.size_mm[1]), cells(layout.size_mm[0])), PAPER, np.float32)

    def put(low: Floats, picture: Picture) -> None:
        x, y = (cells(float(v)) for v in low + half)
        sheet[y : y + picture.shape[0], x : x + picture.shape[1]] = picture

    for tag, picture in tags.items():
        put(layout.squares[tag][0], picture)
    areas = [(area, INK) for area in layout.fields]
    areas += [(patch.area, PAPER * float(linear(*[patch.srgb] * 3)[0])) for patch in layout.greys]
    for area, level in areas:
        shape = (cells(area.bottom - area.top), cells(area.right - area.left))
        put(np.array(area[:2]), np.full(shape, level, np.float32))
    return ((-half, sheet),)


def lay_card(
    canvas: Picture,
    light: Picture,
    camera: Camera,
    layout: CardLayout,
    pose: tuple[float, float, float],
    h: float,
) -> None:
    """A card or mat on the canvas; ``pose`` is (x, y, degrees) of its centre, ``h`` its height."""
    c, s = np.cos(np.radians(pose[2])), np.sin(np.radians(pose[2]))
    turn, move = np.array([[c, s], [-s, c]]), np.array(pose[:2])

    def seen(corners: Floats) -> Floats:
        t = np.linspace(0, 1, 16, endpoint=False)[:, None]
        dense = np.concatenate(
            [a + t * (b - a) for a, b in zip(corners, np.roll(corners, -1, 0), strict=True)]
        )
        return camera.project_at(dense @ turn + move, h)

    if layout.kind == "mat":  # its outline is no truth of any scene, and large
        mask = np.zeros(light.shape, np.uint8)
        cv2.fillPoly(mask, [np.round(seen(layout.outline) * 16).astype(np.int32)], 255, cv2.LINE_AA, 4)
        for top in range(0, len(mask), 512):
            rows = slice(top, top + 512)
            cover = mask[rows, :, None].astype(np.float32) / 255
            canvas[rows] += (PAPER * light[rows, :, None] - canvas[rows]) * cover
    for low, picture in _prints(layout):
        far = low + np.array(picture.shape[::-1]) / CARD_PX_PER_MM
        polygon = seen(np.array([low, [far[0], low[1]], far, [low[0], far[1]]]))
        left, top, wide, high = window(polygon)
        x0, y0 = max(left, 0), max(top, 0)
        wide, high = min(left + wide, light.shape[1]) - x0, min(top + high, light.shape[0]) - y0
        if wide <= 0 or high <= 0:
            continue
        rays = int(np.clip(np.ceil(CARD_PX_PER_MM * np.prod(far - low) ** 0.5 / _side(polygon)), RAYS, 6))
        first = 0.5 / rays - 0.5
        mm = _smooth_map(camera, h, x0 + first, y0 + first, (high * rays, wide * rays), 1 / rays, 4 * rays)
        cells = (((mm - move) @ turn.T - low) * CARD_PX_PER_MM - 0.5).astype(np.float32)
        fine = cv2.remap(picture, cells, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        grey = cv2.resize(fine, (wide, high), interpolation=cv2.INTER_AREA)
        cover = cover_within(polygon, x0, y0, wide, high)
        lit = grey * light[y0 : y0 + high, x0 : x0 + wide] * cover
        blend(canvas, x0, y0, cover, np.repeat(lit[..., None], 3, axis=2))


def _side(polygon: Floats) -> float:
    x, y = polygon.T
    return float(np.sqrt(abs((x * np.roll(y, -1) - y * np.roll(x, -1)).sum()) / 2))


def _smooth_map(
    camera: Camera, h: float, left: float, top: float, shape: tuple[int, int], step: float, every: int
) -> Floats:
    """The board's mm at height ``h`` for a grid of samples ``step`` px apart, (H, W, 2); each ``every``-th is
    worked out, the rest lies between them."""
    rows, columns = (-(-n // every) + 2 for n in shape)
    y = top + step * ((np.arange(rows) - 0.5) * every - 0.5)  # so that resizing puts samples on their places
    x = left + step * ((np.arange(columns) - 0.5) * every - 0.5)
    mm = camera.to_height(np.stack(np.meshgrid(x, y), axis=-1), h)
    grown = cv2.resize(mm, (columns * every, rows * every), interpolation=cv2.INTER_LINEAR)
    return np.asarray(grown[every : every + shape[0], every : every + shape[1]])
