"""Photos drawn from geometry: cards and mats seen by a camera that the test chose, so the truth is exact.

Each pixel is the mean of a grid of rays; each ray meets the board, or the card on it, and takes the grey that
is printed there. Then what a phone adds: blur, light that falls off, noise, the sRGB curve, sharpening.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from cutcheck.camera import Camera
from cutcheck.card import SQUARE_MM, CardLayout, Rectangle, mat, pocket_card
from cutcheck.photo import Photo
from cutcheck.records import PhotoInfo

Floats = NDArray[np.float64]
PX_PER_MM = (
    20  # of the texture: every printed edge of the cards and the A4 mat lies between two of its pixels
)
DIAGONAL_MM = 43.267  # of the 36 x 24 mm frame
PAPER, INK = 0.85, 0.04  # linear reflectance


@cache
def _texture(name: str) -> NDArray[np.float32]:
    """A layout's reflectance, PX_PER_MM to the mm."""
    layout = mat(name[4:]) if name.startswith("mat ") else pocket_card(int(name[5:]))
    wide, high = layout.size_mm
    sheet = np.full((round(high * PX_PER_MM), round(wide * PX_PER_MM)), PAPER, np.float32)

    def place(area: Rectangle) -> tuple[slice, slice]:
        left, right = (round((x + wide / 2) * PX_PER_MM) for x in (area.left, area.right))
        top, bottom = (round((y + high / 2) * PX_PER_MM) for y in (area.top, area.bottom))
        return slice(top, bottom), slice(left, right)

    for area in layout.fields:
        sheet[place(area)] = INK
    for patch in layout.greys:
        code = patch.srgb / 255
        sheet[place(patch.area)] = PAPER * ((code + 0.055) / 1.055) ** 2.4
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    side = round(SQUARE_MM * PX_PER_MM)
    for tag, corners in layout.squares.items():
        picture = cv2.aruco.generateImageMarker(dictionary, tag, side)
        area = Rectangle(*corners[0], *corners[2])
        sheet[place(area)] = np.where(picture > 127, PAPER, INK)
    return sheet


@dataclass(frozen=True)
class Lying:
    """A card or mat on the board: at (x, y) mm, turned by ``angle_deg``, its plane ``height`` mm up.

    ``bow_mm``: it is bent to a cylinder about a line through its centre, its edge so much lower than its
    middle; ``bow_axis_deg`` is the direction that curves.
    """

    layout: CardLayout
    x: float = 0.0
    y: float = 0.0
    angle_deg: float = 0.0
    height: float = 0.2
    bow_mm: float = 0.0
    bow_axis_deg: float = 0.0
    printed: tuple[float, float] = (1.0, 1.0)

    @property
    def name(self) -> str:
        if self.layout.kind == "mat":
            return "mat a4" if self.layout.size_mm[0] == 210.0 else "mat letter"
        return f"card {self.layout.number}"

    def to_board(self, mm: Floats) -> Floats:
        """Points (N, 2) mm of the layout to (N, 3) mm, (x, y, h), of the board."""
        mm = mm * np.array(self.printed)
        angle = np.radians(self.angle_deg)
        turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
        return np.column_stack([mm @ turn + [self.x, self.y], self.height + self._bow(mm)])

    def _bow(self, mm: Floats) -> Floats:
        axis = np.radians(self.bow_axis_deg)
        along = mm @ np.array([np.cos(axis), np.sin(axis)])
        half = 0.5 * np.abs(np.array(self.layout.size_mm)) @ np.abs([np.cos(axis), np.sin(axis)])
        return np.asarray(-self.bow_mm * (along / half) ** 2)

    def seen_at(self, camera: Camera, px: Floats) -> Floats:
        """The layout's mm (N, 2) seen at px (N, 2)."""
        angle = np.radians(self.angle_deg)
        turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        height: Floats | float = self.height
        for _ in range(4 if self.bow_mm else 1):
            mm = (camera.to_height(px, height) - [self.x, self.y]) @ turn
            height = self.height + self._bow(mm)
        return np.asarray(mm / np.array(self.printed))


@dataclass(frozen=True)
class Phone:
    """What the phone adds. ``blur_px``: Gaussian, standard deviation; ``noise``: at paper white, linear."""

    blur_px: float = 0.8
    noise: float = 0.005
    sharpen: float = 0.4
    exposure: float = 0.85
    falloff: float = 0.15


def camera_over(
    size: tuple[int, int],
    *,
    f35: float = 26.0,
    above_mm: float = 340.0,
    tilt_deg: float = 10.0,
    lean_deg: float = 30.0,
    roll_deg: float = 0.0,
    target_mm: tuple[float, float] = (0.0, 0.0),
    corner_distortion: float = 0.0,
    off_px: tuple[float, float] = (0.0, 0.0),
) -> Camera:
    """A camera ``above_mm`` over the board that looks at ``target_mm``; ``size`` is (width, height) px.

    ``corner_distortion`` is the share by which the picture's corner moves outward.
    """
    wide, high = size
    diagonal = float(np.hypot(wide, high))
    f = f35 / DIAGONAL_MM * diagonal
    k1 = corner_distortion / (diagonal / 2 / f) ** 2
    tilt, lean, roll = np.radians([tilt_deg, lean_deg, roll_deg])
    axis = np.array([np.sin(tilt) * np.cos(lean), np.sin(tilt) * np.sin(lean), np.cos(tilt)])
    right = np.cross([0.0, 1.0, 0.0], axis)
    right /= np.linalg.norm(right)
    upright = np.stack([right, np.cross(axis, right), axis])
    turn = np.array([[np.cos(roll), -np.sin(roll), 0], [np.sin(roll), np.cos(roll), 0], [0, 0, 1.0]])
    rotation = turn @ upright
    centre = np.array([*target_mm, 0.0]) - axis * above_mm / np.cos(tilt)
    cx, cy = (wide - 1) / 2 + off_px[0], (high - 1) / 2 + off_px[1]
    return Camera(f, cx, cy, k1, 0.0, rotation, -rotation @ centre)


def draw(
    camera: Camera,
    size: tuple[int, int],
    lying: list[Lying],
    *,
    board: float = 0.35,
    phone: Phone | None = None,
    seed: int = 0,
    rays: int = 4,
) -> NDArray[np.uint8]:
    """The photo (H, W, 3) uint8 BGR of cards on an even board; ``size`` is (width, height) px."""
    phone = phone or Phone()
    wide, high = size
    light = np.full((high, wide), board, np.float32)
    for thing in lying:
        half = np.array(thing.layout.size_mm) / 2
        frame = np.array([[x, y] for x in np.linspace(-1, 1, 21) for y in np.linspace(-1, 1, 21)]) * half
        seen = camera.project(thing.to_board(frame))
        low = np.clip(np.floor(seen.min(axis=0)).astype(int) - 2, 0, [wide, high])
        end = np.clip(np.ceil(seen.max(axis=0)).astype(int) + 3, 0, [wide, high])
        if (end <= low).any():
            continue
        fine = (np.arange(rays) + 0.5) / rays - 0.5
        xs = (np.arange(low[0], end[0])[:, None] + fine).ravel()
        texture = _texture(thing.name)
        for top in range(low[1], end[1], 64):
            bottom = min(top + 64, int(end[1]))
            ys = (np.arange(top, bottom)[:, None] + fine).ravel()
            px = np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2)
            mm = thing.seen_at(camera, px)
            index = np.floor((mm + half) * PX_PER_MM).astype(int)
            on = ((index >= 0) & (index < [texture.shape[1], texture.shape[0]])).all(axis=1)
            index = np.clip(index, 0, [texture.shape[1] - 1, texture.shape[0] - 1])
            under = np.repeat(np.repeat(light[top:bottom, low[0] : end[0]], rays, 0), rays, 1).ravel()
            values = np.where(on, texture[index[:, 1], index[:, 0]], under)
            shape = (bottom - top, rays, int(end[0] - low[0]), rays)
            light[top:bottom, low[0] : end[0]] = values.reshape(shape).mean(axis=(1, 3))
    return develop(light, phone, seed)


def develop(light: NDArray[np.float32], phone: Phone, seed: int = 0) -> NDArray[np.uint8]:
    """A linear picture (H, W) or (H, W, 3) as the phone stores it, (H, W, 3) uint8."""
    high, wide = light.shape[:2]
    picture = light * phone.exposure
    if phone.blur_px > 0:
        picture = cv2.GaussianBlur(picture, (0, 0), phone.blur_px)
    y, x = np.mgrid[:high, :wide].astype(np.float32)
    r2 = ((x - wide / 2) ** 2 + (y - high / 2) ** 2) / (wide**2 + high**2) * 4
    falloff = 1 - phone.falloff * r2
    if picture.ndim == 2:
        picture = np.repeat(picture[..., None], 3, axis=2)
    picture = picture * falloff[..., None]
    noise = np.random.default_rng(seed).standard_normal(picture.shape, dtype=np.float32)
    picture = picture + noise * phone.noise * np.sqrt(np.maximum(picture, 0.02))
    picture = np.clip(picture, 0, 1)
    coded = np.where(
        picture <= 0.0031308, 12.92 * picture, 1.055 * np.maximum(picture, 1e-6) ** (1 / 2.4) - 0.055
    )
    if phone.sharpen > 0:
        coded = coded + phone.sharpen * (coded - cv2.GaussianBlur(coded.astype(np.float32), (0, 0), 1.2))
    return np.asarray(np.clip(np.round(coded * 255), 0, 255), np.uint8)


def as_photo(
    pixels: NDArray[np.uint8], focal_35mm: float | None = 26.0, *, maybe_cropped: bool = False
) -> Photo:
    """A photo as ``cutcheck.photo`` would have read it."""
    high, wide = pixels.shape[:2]
    return Photo(pixels, PhotoInfo("drawn.png", "", wide, high), focal_35mm, maybe_cropped=maybe_cropped)
