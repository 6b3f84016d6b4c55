"""What a phone makes of the light: blur, vignette, noise, the sRGB curve (IEC 61966-2-1), sharpening."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from light.lamp import PAPER

Picture = NDArray[np.float32]


@dataclass(frozen=True)
class Phone:
    """``paper``: linear level of white paper; ``blur_px``: standard deviation; ``noise``: that at white."""

    paper: float = 0.7
    blur_px: float = 0.75
    noise: float = 0.006
    sharpen: float = 0.4
    vignette: float = 0.12
    balance: tuple[float, float, float] = (1.0, 1.0, 1.0)


_CODES = 65535


@cache
def _srgb() -> Picture:
    light = np.arange(_CODES + 1, dtype=np.float32) / _CODES
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-6) ** (1 / 2.4) - 0.055)


def develop(canvas: Picture, phone: Phone, seed: int) -> NDArray[np.uint8]:
    """The photo (H, W, 3) uint8 BGR of a linear picture in which an evenly lit white is 1."""
    high, wide = canvas.shape[:2]
    gain = np.float32(phone.paper / PAPER) * np.array(phone.balance, np.float32)
    out = np.empty((high, wide, 3), np.uint8)
    x = (np.arange(wide, dtype=np.float32) - wide / 2) / np.hypot(wide, high) * 2
    cv2.setRNGSeed(seed)
    edge = 12
    for top in range(0, high, 400):
        low, far = max(top - edge, 0), min(top + 400 + edge, high)
        band = canvas[low:far] * gain
        if phone.blur_px > 0:
            band = cv2.GaussianBlur(band, (0, 0), phone.blur_px)
        y = (np.arange(low, far, dtype=np.float32) - high / 2) / np.hypot(wide, high) * 2
        band *= (1.0 - phone.vignette * (x[None] ** 2 + y[:, None] ** 2))[..., None]
        grain = np.empty_like(band)
        cv2.randn(grain, 0.0, phone.noise)
        band += grain * np.sqrt(np.maximum(band, 0) + 0.06)
        code = _srgb()[np.clip(band * _CODES, 0, _CODES).astype(np.uint16)]
        ycc = cv2.cvtColor(code, cv2.COLOR_BGR2YCrCb)
        luma = ycc[..., 0].copy()
        soft = cv2.GaussianBlur(ycc, (0, 0), 1.2)
        ycc[..., 0] = luma + np.float32(phone.sharpen) * (luma - soft[..., 0])
        ycc[..., 1:] = soft[..., 1:]
        end = min(top + 400, high)
        finished = cv2.cvtColor(ycc, cv2.COLOR_YCrCb2BGR)[top - low : end - low]
        out[top:end] = np.clip(finished * 255 + 0.5, 0, 255)
    return out
