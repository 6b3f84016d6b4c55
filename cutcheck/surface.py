"""What the pieces lie on, learned from the photo itself: its colour from place to place and its own texture.

A pixel is compared with the surface near it in three numbers that light treats simply: the mean log of the
linear channels (light and shade), and the logs of red to green and of blue to green (colour, which light
and shade hardly change). The surface is grown outwards from where it is sure to be (round the reference,
or in the middle of the area), as a smooth field with the spread that the surface's own grain shows.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Floats32 = NDArray[np.float32]
Bytes = NDArray[np.uint8]

# Smallest spreads believed, whatever the texture: 2 % of light, 0.6 % of colour. About what the eye can
# tell apart (common practice, no source); below it lie JPEG, light thrown back by the pieces, and stains.
FLOOR = np.diag(np.square([0.02, 0.006, 0.006]))
# While growing, a stranger must differ by this much more, so that uneven light does not stop the growth.
WIDE = np.diag(np.square([0.05, 0.012, 0.012]))
DARK = 0.004  # added to linear light, so that the noise of black does not become colour
GATE = 11.34  # chi-square, 3 degrees of freedom, 1 % (Abramowitz and Stegun 1964, table 26.8)
MEDIAN_CHI2 = 2.366  # its median
_LEVEL = np.arange(256) / 255.0
LINEAR = np.where(_LEVEL <= 0.04045, _LEVEL / 12.92, ((_LEVEL + 0.055) / 1.055) ** 2.4)  # IEC 61966-2-1
LOG_LINEAR = np.log(LINEAR + DARK).astype(np.float32)


@dataclass(frozen=True)
class Surface:
    """``residual`` (H, W, 3) float32: what each pixel has more than the surface there. ``covariance`` (3, 3)
    of the surface's own texture in those numbers; ``known`` (H, W) uint8, 1 where surface was near enough;
    ``own`` (H, W) uint8, 1 where the pixel itself looks like surface. ``light`` is the surface's median level,
    linear, 0 to 1."""

    residual: Floats32
    covariance: NDArray[np.float64]
    grain: Floats32
    known: Bytes
    own: Bytes
    light: float


def log_colour(bgr: Bytes) -> Floats32:
    """(H, W, 3) uint8 sRGB, BGR to (H, W, 3) float32: mean log, log red/green, log blue/green."""
    logs = cv2.LUT(bgr, LOG_LINEAR)
    turn = np.array([[1 / 3, 1 / 3, 1 / 3], [0, -1, 1], [1, -1, 0]], np.float32)
    return np.asarray(cv2.transform(logs, turn), np.float32)


def learn_surface(features: Floats32, inside: Bytes, start: Bytes, px_per_mm: float) -> Surface:
    """The surface that is at ``start`` and goes on over ``inside`` (both (H, W) uint8, 1 = yes)."""
    step = max(1, round(2.5 * px_per_mm))
    pick = (slice(step // 2, None, step), slice(step // 2, None, step))
    x = np.ascontiguousarray(features[pick])
    free, seed = inside[pick] > 0, (start[pick] > 0) & (inside[pick] > 0)
    sigma = 9.0 * px_per_mm / step
    middle, spread = robust_spread(x[seed] if seed.sum() >= 12 else x[free])
    mask = (free & (distance2(x - middle, spread + WIDE) < GATE) & seed).astype(np.float32)
    wide = WIDE
    field, weight = x, mask
    for turn in range(36):
        if turn >= 30:
            wide = FLOOR
        field, weight = _smooth(x, mask, sigma)
        residual = x - field
        if turn % 6 == 5:
            spread = robust_spread(residual[mask > 0])[1]
        fresh = free & (weight > 0.02) & (distance2(residual, spread + wide) < GATE)
        before, mask = mask, fresh.astype(np.float32)
        if wide is WIDE and turn > 5 and np.abs(before - mask).sum() < 0.001 * mask.size:
            wide = FLOOR if turn >= 12 else wide
    size = (features.shape[1], features.shape[0])
    # The grid's first point is not the first pixel: place it where it was taken.
    place = np.array([[step, 0, step // 2], [0, step, step // 2]], np.float32)
    def enlarge(grid: Floats32, how: int) -> Floats32:
        return np.asarray(cv2.warpAffine(grid, place, size, flags=how, borderMode=cv2.BORDER_REPLICATE))
    residual = features - enlarge(field, cv2.INTER_LINEAR)
    known = (enlarge(weight, cv2.INTER_LINEAR) > 0.02).astype(np.uint8) & inside
    sample = residual[step // 3 :: step, step // 3 :: step][: x.shape[0], : x.shape[1]]
    spread = robust_spread(sample[mask[: sample.shape[0], : sample.shape[1]] > 0])[1]
    here = mask[: sample.shape[0], : sample.shape[1]] > 0
    spread = heavy_tails(sample[here], spread)
    grain = _local_scale(sample, here, spread + FLOOR, 25.0 * px_per_mm / step)
    grain = enlarge(np.ascontiguousarray(grain), cv2.INTER_LINEAR)
    own = ((distance2(residual, spread + FLOOR) < GATE * grain * grain) & (known > 0)).astype(np.uint8)
    light = float(np.exp(np.median(x[mask > 0][:, 0]))) if mask.any() else 0.0
    return Surface(residual, spread, grain, known, own, light)


def _smooth(x: Floats32, mask: Floats32, sigma: float) -> tuple[Floats32, Floats32]:
    """The mean of ``x`` over ``mask`` near each place, and how much of the mask was near (0 to 1)."""
    stack = np.dstack([x * mask[..., None], mask])
    near = cv2.GaussianBlur(stack, (0, 0), sigma, borderType=cv2.BORDER_REPLICATE)
    far = cv2.GaussianBlur(near, (0, 0), 3.0 * sigma, borderType=cv2.BORDER_REPLICATE)
    total = near + 0.01 * far + 1e-12
    return np.asarray(total[..., :3] / total[..., 3:], np.float32), np.asarray(near[..., 3], np.float32)


def heavy_tails(values: NDArray[np.float32], spread: NDArray[np.float64]) -> NDArray[np.float64]:
    """``spread`` widened along each number whose 97.5 % quantile is farther out than the normal law has it
    (the blocks of JPEG's colour and the lines of wood are seldom but far)."""
    if len(values) < 50:
        return spread
    far = np.quantile(np.abs(values), 0.975, axis=0) / 2.2414
    return spread * np.outer(*2 * [np.maximum(1.0, far / np.sqrt(np.diag(spread)))])


def _local_scale(sample: Floats32, here: NDArray[np.bool_], spread: NDArray[np.float64], sigma: float) -> Floats32:
    """How many times coarser than on the whole the texture is near each place, at least 1."""
    d2 = np.minimum(distance2(sample, spread), 2.0 * GATE) / 3.0
    weight = here.astype(np.float32)
    both = cv2.GaussianBlur(np.dstack([d2 * weight, weight]), (0, 0), sigma, borderType=cv2.BORDER_REPLICATE)
    return np.sqrt(np.maximum(1.0, both[..., 0] / (both[..., 1] + 1e-3))).astype(np.float32)


def robust_spread(values: NDArray[np.float32]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Middle (3,) and covariance (3, 3) of the bulk of ``values`` (N, 3): strangers are left out by turns."""
    values = np.asarray(values, float).reshape(-1, 3)
    if len(values) > 4000:
        values = values[:: len(values) // 4000 + 1]
    if len(values) < 8:
        return np.zeros(3), FLOOR.copy()
    middle = np.median(values, axis=0)
    away = values - middle
    spread = np.diag(np.square(1.4826 * np.median(np.abs(away), axis=0)) + 1e-8)
    for _ in range(4):
        d2 = distance2(away, spread)
        keep = d2 < max(GATE * float(np.median(d2)) / MEDIAN_CHI2, 1e-12)
        spread = away[keep].T @ away[keep] / max(int(keep.sum()) - 1, 1) + 1e-8 * np.eye(3)
    scale = float(np.median(distance2(away, spread))) / MEDIAN_CHI2
    return middle, spread * max(scale, 1e-3)


def distance2(residual: NDArray[np.floating], covariance: NDArray[np.float64]) -> Floats32:
    """Squared Mahalanobis distance of (..., 3) residuals, (...) float32."""
    whiten = np.linalg.inv(np.linalg.cholesky(covariance)).astype(np.float32)
    white = np.asarray(residual, np.float32) @ whiten.T
    return np.asarray(np.einsum("...i,...i->...", white, white), np.float32)
