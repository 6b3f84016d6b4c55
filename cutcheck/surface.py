"""What the pieces lie on, learned from the photo itself: its colour from place to place and its own texture.

A pixel is compared with the surface near it in three numbers that light treats simply: the mean log of the
linear channels (light and shade), and the logs of red to green and of blue to green (colour, which light
and shade hardly change). The surface is grown outwards from where it is sure to be (round the reference,
or in the middle of the area), as a smooth field with the spread that the surface's own grain shows.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from cutcheck.light import LINEAR

Floats32 = NDArray[np.float32]
Bytes = NDArray[np.uint8]
Matrix = NDArray[np.float64]

# Smallest spreads believed, whatever the texture: 2 % of light, 0.6 % of colour. About what the eye can
# tell apart (common practice, no source); below it lie JPEG, light thrown back by the pieces, and stains.
FLOOR = np.diag(np.square([0.02, 0.006, 0.006]))
# While growing, a stranger must differ by more, so that uneven light and stains do not stop the growth.
WIDE = np.diag(np.square([0.05, 0.012, 0.012]))
# Light thrown back by a piece brightens the surface beside it: so much more light (one standard deviation)
# is no sign of a piece (common practice, no source).
THROWN = 0.08
# In shade a deeply coloured board (logs of its channels that differ by so much) is lit by itself, too, which
# deepens its colour: by these shares of it for each unit of lost (log) light, to try.
DEEP = 1.6
DEEPER = (0.0, 0.05, 0.1, 0.15, 0.2, 0.25)
DARK = 0.004  # added to linear light, so that the noise of black does not become colour
LEVELS = (0.3, 1.0)  # least and most spread of a pixel's colour that JPEG and rounding leave, 8-bit levels
GATE = 16.27  # chi-square, 3 degrees of freedom, 0.1 % (Abramowitz and Stegun 1964, table 26.8)
MEDIAN_CHI2 = 2.366  # its median

_LOG = np.log(LINEAR + DARK).astype(np.float32)
_STEP = np.gradient(_LOG)  # of the log for one 8-bit level
_TO_COLOUR = np.array([[1 / 3, 1 / 3, 1 / 3], [0, -1, 1], [1, -1, 0]], np.float32)


@dataclass(frozen=True)
class Surface:
    """One surface. ``contrast`` (H, W) float32 says how far each pixel is from it, lit or in shade, in
    standard deviations of its own texture; ``light`` (H, W) float32 is the log of the light there over the
    surface's (below 0 in shade). ``own`` (H, W) uint8 is 1 where a pixel looks like it. ``noise`` is the
    texture's spread in light, ``level`` the median light, linear, 0 to 1."""

    contrast: Floats32
    light: Floats32
    own: Bytes
    noise: float
    level: float


def log_colour(bgr: Bytes) -> Floats32:
    """(H, W, 3) uint8 sRGB, BGR to (H, W, 3) float32: mean log, log red/green, log blue/green."""
    return np.asarray(cv2.transform(cv2.LUT(bgr, _LOG), _TO_COLOUR), np.float32)


def learn_surface(bgr: Bytes, features: Floats32, inside: Bytes, start: Bytes, px_per_mm: float) -> Surface:
    """The surface that is at ``start`` and goes on over ``inside`` (both (H, W) uint8, 1 = yes).

    ``bgr`` (H, W, 3) uint8 and its ``features`` from `log_colour`.
    """
    step = max(1, round(4.0 * px_per_mm))
    pick = (slice(step // 2, None, step), slice(step // 2, None, step))
    x = np.ascontiguousarray(features[pick])
    free = inside[pick] > 0
    seed = free & (start[pick] > 0)
    grid_bgr = bgr[pick]
    step2 = np.square(0.5 * _STEP)[np.median(grid_bgr[seed if seed.any() else free], axis=0).astype(int)]
    rounding = np.diag([0.0, step2[2] + step2[1], step2[0] + step2[1]])
    field, near, mask, spread = _grow(x, free, seed, px_per_mm / step, rounding)
    spread = _heavy_tails((x - field)[mask], spread) + FLOOR
    grain = _local_scale(x - field, mask, spread, 25.0 * px_per_mm / step)

    # The grid's first point is not the first pixel: put it back where it was taken.
    place = np.array([[step, 0, step // 2], [0, step, step // 2]], np.float32)
    size = (features.shape[1], features.shape[0])

    def widened(grid: Floats32 | Bytes, how: int = cv2.INTER_LINEAR) -> NDArray[Any]:
        return np.asarray(cv2.warpAffine(grid, place, size, flags=how, borderMode=cv2.BORDER_REPLICATE))

    residual = np.asarray(cv2.subtract(features, widened(field)), np.float32)
    known = np.asarray(widened((near > 0.02).astype(np.uint8), cv2.INTER_NEAREST), np.uint8) & inside
    levels = _levels(grid_bgr[mask], (x - field)[mask])
    middle = np.median(field[mask], axis=0) if mask.any() else np.median(x[free], axis=0)
    _unshade(residual, middle, known, float(np.sqrt(spread[0, 0])))
    contrast, light = _contrast(bgr, residual, spread, widened(1.0 / grain), levels)
    own = ((contrast < 3.0) & (np.abs(light) < 4.0)).astype(np.uint8) & known
    contrast[known == 0] = 0.0
    level = float(np.exp(np.median(x[mask][:, 0]))) - DARK if mask.any() else 0.0
    return Surface(contrast, residual[..., 0], own, float(np.sqrt(spread[0, 0])), level)


def _contrast(
    bgr: Bytes, residual: Floats32, spread: Matrix, fine: Floats32, levels: float
) -> tuple[Floats32, Floats32]:
    """Distance from the surface in standard deviations, and the part of it that is light beyond colour.

    Two squares of colour, and one of light where there is more of it than the surface's colour explains: less
    light is only shade. Dark pixels hold less of colour: one 8-bit level is a larger share of them.
    """
    colour_first = spread[np.ix_([1, 2, 0], [1, 2, 0])] + np.diag([0.0, 0.0, THROWN**2])
    whiten = np.linalg.inv(np.linalg.cholesky(colour_first))[:, [2, 0, 1]]
    u, v, w = cv2.split(cv2.transform(residual, whiten.astype(np.float32)))
    rounding = cv2.LUT(bgr, np.square(levels * _STEP).astype(np.float32))
    coarse = cv2.transform(rounding, np.array([[1.0, 2.0, 1.0]], np.float32))
    coarse = coarse * np.float32(1.0 / (spread[1, 1] + spread[2, 2])) + np.float32(1.0)
    colour = cv2.divide(cv2.add(cv2.multiply(u, u), cv2.multiply(v, v)), coarse)
    more = np.maximum(w, 0.0)
    both = cv2.sqrt(cv2.add(colour, cv2.multiply(more, more)))
    return np.asarray(cv2.multiply(both, fine), np.float32), np.asarray(cv2.multiply(w, fine), np.float32)


def _unshade(residual: Floats32, middle: NDArray[np.floating], known: Bytes, texture: float) -> None:
    """Take out of ``residual`` (H, W, 3), in place, the change of colour that shade brings to the surface.

    Shade is lit by the room, whose light has another colour than the lamp's: a shift in proportion to the log
    of the light, found as the commonest near none among the dark pixels. ``middle`` (3,) is the surface's
    colour, from which what `DARK` does to dark pixels is known.
    """
    light = np.linspace(-4.0, 0.0, 256)
    logs = np.linalg.solve(_TO_COLOUR.astype(float), middle)
    linear = np.maximum(np.exp(logs) - DARK, 1e-4)
    # `light` is of the mean log with DARK in it; scale the linear colour until it gives that.
    factor = np.exp(np.linspace(-7.0, 0.0, 400))
    shaded = np.log(np.multiply.outer(factor, linear) + DARK) - logs
    colour = shaded @ _TO_COLOUR[1:].T.astype(float)
    table = np.column_stack([np.interp(light, shaded.mean(axis=1), colour[:, i]) for i in (0, 1)])
    code = np.asarray(cv2.convertScaleAbs(np.minimum(residual[..., 0], 0.0), alpha=255 / 4.0), np.uint8)
    table = table[::-1].astype(np.float32)  # code 0 is full light

    some = (slice(1, None, 3), slice(1, None, 3))
    seen = residual[some][..., 0]
    dark = (seen < -0.2 - 3.0 * texture) & (seen > -2.5) & (known[some] > 0)
    if np.count_nonzero(dark) > 100:
        values = residual[some][dark]
        slope = (values[:, 1:] - table[code[some][dark]]) / values[:, :1]
        own = _TO_COLOUR[1:].astype(float) @ np.log(linear)
        deep = np.linalg.norm(own) > DEEP
        modes = [_mode(slope, -share * own) for share in (DEEPER if deep else DEEPER[:1])]
        best = max(modes, key=lambda mode: mode[0])[1]
        table += np.outer(light[::-1], best).astype(np.float32)
    for i in (0, 1):
        residual[..., 1 + i] -= cv2.LUT(code, np.ascontiguousarray(table[:, i]))


def _mode(slope: NDArray[np.floating], start: NDArray[np.floating]) -> tuple[int, NDArray[np.floating]]:
    """The nearest place to ``start`` (2,) where ``slope`` (N, 2) is dense, and how many are there."""
    mode, count = start, 0
    for _ in range(8):
        near = np.abs(slope - mode).max(axis=1) < 0.07
        count = int(np.count_nonzero(near))
        if count < 50:
            break
        mode = np.median(slope[near], axis=0)
    return count, mode


def _levels(bgr: Bytes, residual: Floats32) -> float:
    """How many 8-bit levels a pixel's colour is off by (one standard deviation), from the surface itself."""
    if len(bgr) < 50:
        return LEVELS[1]
    step2 = np.square(_STEP)[bgr]
    # The steps of green and red, green and blue add up.
    far = np.abs(residual[:, 1:]) / np.sqrt(step2[:, 1:2] + step2[:, [2, 0]])
    return float(np.clip(np.quantile(far, 0.99) / 2.576, *LEVELS))


def _grow(
    x: Floats32, free: NDArray[np.bool_], seed: NDArray[np.bool_], per_mm: float, rounding: Matrix
) -> tuple[Floats32, Floats32, NDArray[np.bool_], Matrix]:
    """The surface on the grid ``x`` (h, w, 3): its smooth field, how much is near, where, its spread."""
    middle, spread = robust_spread(x[seed] if seed.sum() >= 12 else x[free])
    spread = spread + rounding
    mask = free & seed & (distance2(x - middle, spread + 4.0 * WIDE) < GATE)
    field = np.broadcast_to(middle, x.shape).astype(np.float32)
    near = mask.astype(np.float32)
    for sigma_mm, slack, turns in ((20.0, WIDE, 24), (9.0, WIDE, 5), (9.0, FLOOR, 4)):
        for turn in range(turns):
            field, near = _smooth(x, mask, sigma_mm * per_mm)
            fresh = free & (near > 0.02) & (distance2(x - field, spread + slack + rounding) < GATE)
            changed = int(np.count_nonzero(fresh != mask))
            mask = fresh
            if turn % 3 == 0 and mask.any():
                spread = robust_spread((x - field)[mask])[1]
            if changed < 0.002 * mask.size:
                break
    return field, near, mask, spread


def _smooth(x: Floats32, mask: NDArray[np.bool_], sigma: float) -> tuple[Floats32, Floats32]:
    """The mean of ``x`` over ``mask`` near each place, and how much of the mask was near (0 to 1)."""
    weight = mask.astype(np.float32)
    stack = cv2.merge([*(plane * weight for plane in cv2.split(x)), weight])
    near = cv2.GaussianBlur(stack, (0, 0), sigma, borderType=cv2.BORDER_REPLICATE)
    far = cv2.GaussianBlur(near, (0, 0), 2.0 * sigma, borderType=cv2.BORDER_REPLICATE)
    total = near + 0.01 * far + 1e-12
    return np.asarray(total[..., :3] / total[..., 3:], np.float32), np.asarray(near[..., 3], np.float32)


def robust_spread(values: NDArray[np.float32]) -> tuple[Matrix, Matrix]:
    """Middle (3,) and covariance (3, 3) of the bulk of ``values`` (N, 3): strangers are left out by turns."""
    values = np.asarray(values, float).reshape(-1, 3)
    if len(values) > 2000:
        values = values[:: len(values) // 2000 + 1]
    if len(values) < 8:
        return np.zeros(3), FLOOR.copy()
    middle = np.median(values, axis=0)
    away = values - middle
    spread = np.diag(np.square(1.4826 * np.median(np.abs(away), axis=0)) + 1e-8)
    for _ in range(3):
        d2 = distance2(away, spread)
        keep = d2 < max(GATE * float(np.median(d2)) / MEDIAN_CHI2, 1e-12)
        spread = away[keep].T @ away[keep] / max(int(keep.sum()) - 1, 1) + 1e-8 * np.eye(3)
    scale = float(np.median(distance2(away, spread))) / MEDIAN_CHI2
    return np.asarray(middle, float), spread * max(scale, 1e-3)


def _heavy_tails(values: NDArray[np.float32], spread: Matrix) -> Matrix:
    """``spread`` widened along each number whose 97.5 % quantile is farther out than the normal law has it
    (the blocks of JPEG's colour and the lines of wood are seldom but far)."""
    if len(values) < 50:
        return spread
    far = np.quantile(np.abs(values), 0.975, axis=0) / 2.2414
    wider = np.maximum(1.0, far / np.sqrt(np.diag(spread)))
    return np.asarray(spread * np.outer(wider, wider))


def _local_scale(residual: Floats32, mask: NDArray[np.bool_], spread: Matrix, sigma: float) -> Floats32:
    """How many times coarser than on the whole the texture is near each place, at least 1."""
    d2 = np.minimum(distance2(residual, spread), 2.0 * GATE) / 3.0
    weight = mask.astype(np.float32)
    both = cv2.GaussianBlur(cv2.merge([d2 * weight, weight]), (0, 0), sigma, borderType=cv2.BORDER_REPLICATE)
    return np.asarray(np.sqrt(np.maximum(1.0, both[..., 0] / (both[..., 1] + 1e-3))), np.float32)


def distance2(residual: NDArray[np.floating], covariance: Matrix) -> Floats32:
    """Squared Mahalanobis distance of (..., 3) residuals, (...) float32."""
    whiten = np.linalg.inv(np.linalg.cholesky(covariance)).astype(np.float32)
    white = np.asarray(residual, np.float32) @ whiten.T
    return np.asarray((white * white).sum(axis=-1), np.float32)
