"""Light and colour: the lamp over the board, how boards and vegetables look, smooth noise."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Picture = NDArray[np.float32]
PAPER, INK = 0.85, 0.035  # linear reflectance


def linear(*srgb: float) -> Floats:
    """sRGB 0 to 255, (R, G, B), as linear light in OpenCV's order, (3,) BGR."""
    code = np.array(srgb[::-1]) / 255
    return np.asarray(np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4))


BOARDS = {
    "white": (linear(238, 238, 233), "plain"), "green": (linear(46, 132, 74), "plain"),
    "blue": (linear(44, 92, 160), "plain"), "red": (linear(176, 52, 46), "plain"),
    "yellow": (linear(222, 184, 62), "plain"), "brown": (linear(112, 78, 54), "plain"),
    "slate": (linear(58, 61, 65), "rough"), "light-wood": (linear(206, 168, 122), "wood"),
    "dark-wood": (linear(98, 64, 42), "wood"), "steel": (linear(176, 178, 180), "brushed"),
}  # fmt: skip

PRODUCE = {  # two tones of flesh; "core": the second is that of the middle, else they lie in patches
    "carrot": (linear(226, 110, 28), linear(243, 156, 62), "core"),
    "turnip": (linear(233, 229, 214), linear(245, 242, 232), "patches"),
    "potato": (linear(228, 208, 144), linear(240, 226, 174), "patches"),
    "courgette": (linear(206, 216, 148), linear(229, 233, 188), "core"),
    "celery": (linear(164, 195, 100), linear(194, 213, 138), "patches"),
    "beet": (linear(92, 10, 34), linear(128, 22, 56), "core"),
    "herb": (linear(36, 84, 22), linear(70, 122, 40), "patches"),
    "onion": (linear(224, 218, 204), linear(244, 242, 232), "patches"),
    "red-pepper": (linear(196, 52, 30), linear(214, 92, 60), "patches"),
    "steel": (linear(150, 152, 156), linear(168, 170, 172), "patches"),
    "handle": (linear(36, 34, 34), linear(48, 46, 46), "patches"),
}

LIGHTS = {  # direct and ambient share, height of the lamp in degrees, its half width in rad
    "soft": (0.50, 0.60, 60.0, 0.35),
    "window": (0.75, 0.40, 42.0, 0.16),
    "hard": (0.95, 0.25, 50.0, 0.02),
    "dim": (0.50, 0.60, 55.0, 0.30),
}


@dataclass(frozen=True)
class Light:
    """``towards``: (3,) unit vector to the lamp, (x, y, h); ``slope``: (2,) change of light per mm."""

    direct: float
    ambient: float
    towards: Floats
    half_width: float
    slope: Floats

    @classmethod
    def of(cls, kind: str, azimuth_deg: float, slope: Floats) -> Light:
        direct, ambient, rise, half_width = LIGHTS[kind]
        a, e = np.radians(azimuth_deg), np.radians(rise)
        towards = np.array([np.cos(a) * np.cos(e), np.sin(a) * np.cos(e), np.sin(e)])
        total = direct * np.sin(e) + ambient  # an open board gets 1
        return cls(direct / total, ambient / total, towards, half_width, slope)

    def spread(self, xy: Floats) -> Floats:
        """How bright it is at (..., 2) mm: the lamp is not equally far everywhere."""
        return np.asarray(np.clip(1.0 + xy @ self.slope, 0.55, 1.45))

    def rays(self) -> Floats:
        """Directions to several places of the lamp, (M, 3)."""
        k = np.arange(12)
        r, phi = self.half_width * np.sqrt((k + 0.5) / 12), k * 2.399963  # a sunflower's spiral
        side = np.cross(self.towards, [0, 0, 1.0])
        side /= np.linalg.norm(side)
        up = np.cross(side, self.towards)
        rays = self.towards + np.outer(r * np.cos(phi), side) + np.outer(r * np.sin(phi), up)
        rays[:, 2] = np.maximum(rays[:, 2], 0.15)
        return np.asarray(rays / np.linalg.norm(rays, axis=1)[:, None])


def noise(shape: tuple[int, int], cells: tuple[float, float], rng: np.random.Generator) -> Picture:
    """Smooth noise of standard deviation 1; its waves are about ``cells`` (down, across) long."""
    small = [max(2, int(np.ceil(n / c))) for n, c in zip(shape, cells, strict=True)]
    values = rng.standard_normal((small[0], small[1]), dtype=np.float32)
    return np.asarray(cv2.resize(values, shape[::-1], interpolation=cv2.INTER_CUBIC) * 1.2, np.float32)
