"""What a phone makes of the light: blur, vignette, noise, denoising, sharpening, JPEG and EXIF."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from .camera import Camera


def develop(linear: np.ndarray, white: float, spec: dict, rng: np.random.Generator) -> np.ndarray:
    """(H, W, 3) uint8 sRGB from a linear picture in which paper white is `white`.

    Keys of `spec`, all optional: blur_px, paper (linear level of the white paper), noise, sharpen.
    """
    level = spec.get("paper", float(rng.uniform(0.62, 0.80)))
    bright = float(np.percentile(linear[::8, ::8].mean(-1), 98))
    picture = linear * min(level / white, 1.02 / bright)  # the phone holds back where much would burn out
    high, wide = picture.shape[:2]
    picture *= 1 + rng.uniform(-0.05, 0.05, 3).astype(np.float32)  # white balance not quite right
    picture = cv2.GaussianBlur(picture, (0, 0), spec.get("blur_px", float(rng.uniform(0.6, 0.95))))
    x = (np.arange(wide, dtype=np.float32) - wide / 2) / np.hypot(wide, high) * 2
    y = (np.arange(high, dtype=np.float32) - high / 2) / np.hypot(wide, high) * 2
    picture *= (1 - rng.uniform(0.05, 0.22) * (x[None] ** 2 + y[:, None] ** 2))[..., None].astype(np.float32)
    noise = spec.get("noise", float(rng.uniform(0.004, 0.008)))
    grain = np.random.default_rng(int(rng.integers(2**32)))
    for c in range(3):  # photon noise grows with the root of the light; the rest is the amplifier's
        sd = np.sqrt(np.maximum(picture[..., c], 0) * noise**2 + (0.25 * noise) ** 2)
        picture[..., c] += sd * grain.standard_normal((high, wide), dtype=np.float32)
    encoded = _srgb(np.clip(picture, 0, 1))
    ycc = cv2.cvtColor(encoded, cv2.COLOR_RGB2YCrCb)
    luma = ycc[..., 0]
    if noise > 0.012:
        luma = cv2.bilateralFilter(luma, 5, 3.0 * noise, 1.2)
    for c in (1, 2):
        ycc[..., c] = cv2.GaussianBlur(ycc[..., c], (0, 0), 1.0 if noise < 0.012 else 1.8)
    amount = spec.get("sharpen", float(rng.uniform(0.2, 0.6)))
    ycc[..., 0] = luma + amount * (luma - cv2.GaussianBlur(luma, (0, 0), 1.2))
    out = cv2.cvtColor(ycc, cv2.COLOR_YCrCb2RGB)
    return np.round(np.clip(out, 0, 1) * 255).astype(np.uint8)


def _srgb(linear: np.ndarray) -> np.ndarray:
    """IEC 61966-2-1, 0 to 1."""
    return np.where(linear <= 0.0031308, 12.92 * linear,
                    1.055 * np.maximum(linear, 1e-6) ** (1 / 2.4) - 0.055).astype(np.float32)


def through_messenger(picture: np.ndarray, camera: Camera, crop: list[float], wide: int
                      ) -> tuple[np.ndarray, Camera]:
    """The picture cropped (left, top, right, bottom, as shares) and shrunk to `wide` px, and its camera."""
    x0, y0 = round(crop[0] * camera.width), round(crop[1] * camera.height)
    x1, y1 = round(crop[2] * camera.width), round(crop[3] * camera.height)
    s = wide / (x1 - x0)
    while abs((y1 - y0) * s - round((y1 - y0) * s)) > 0.002:  # both ways the same scale, to whole pixels
        y1 -= 1
    high = round((y1 - y0) * s)
    small = cv2.resize(picture[y0:y1, x0:x1], (wide, high), interpolation=cv2.INTER_AREA)
    # a pixel's centre is the whole number, so places scale about (-0.5, -0.5)
    return small, replace(camera, width=wide, height=high, f=camera.f * s,
                          cx=(camera.cx - x0 + 0.5) * s - 0.5, cy=(camera.cy - y0 + 0.5) * s - 0.5)


def write_jpeg(path: Path, upright: np.ndarray, quality: int, portrait: bool, focal_35mm: int | None,
               with_exif: bool, taken: str) -> None:
    """JPEG as the phone stores it: held upright, the rows are the sensor's and EXIF says how to turn them."""
    stored = np.rot90(upright, 1) if portrait else upright
    options: dict = {"quality": quality, "optimize": True}
    if with_exif:
        exif = Image.Exif()
        exif[0x010F], exif[0x0110] = "Invented Phones", "Invented Phone 1"
        exif[0x0112] = 6 if portrait else 1
        exif[0x0132] = taken
        details = exif.get_ifd(0x8769)
        details[0x9003] = taken
        if focal_35mm is not None:
            details[0xA405] = focal_35mm
            details[0x920A] = round(focal_35mm * 0.2213, 2)  # of a sensor of 9.6 mm diagonal
        options["exif"] = exif
    elif portrait:
        stored = upright  # nothing would say how to turn it
    Image.fromarray(np.ascontiguousarray(stored)).save(path, "JPEG", **options)
