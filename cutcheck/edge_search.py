"""The edges of predicted solids in the photo: each is looked for across its own line.

What is seen there is weighed: how clearly it stands out of the grain, how far it strays from a line, and
where the piece's outline as found has it.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from cutcheck.camera import Floats
from cutcheck.profiles import STEP_PX, edge_normals, peak, profiles, slopes
from cutcheck.short_rows import lengths, medians
from cutcheck.solids import FOOT, SAMPLES, TOP, Bools, View

HALF = 13
FOLLOW_PX, STRAY = (
    1.2,
    0.67,
)  # how far samples may leave their edge; in parts of that, how soon they count less
SAMPLE_PX = 0.35  # one sample of an edge: noise and grain
TOP_MM = 0.048  # how far a top edge of real produce lies off its line
FOOT_MM = 0.10  # the same at the foot, where shadow and bleeding add
OUTLINE_PX = 1.0  # how well the outline as found places an outer edge
CHROMA = 0.35  # colour counts for less than light: cameras and JPEG blur it, and produce glows onto the board
APART = 0.12  # sine of the angle between two colours that can be told apart


# Blue, green, red of linear light (IEC 61966-2-1), drawn towards their luminance.
_LUMINANCE = np.array([[0.0722], [0.7152], [0.2126]])
_LIGHT_FIRST = (CHROMA * np.eye(3) + (1.0 - CHROMA) * _LUMINANCE).astype(np.float32)


@dataclass(frozen=True)
class Found:
    """Edges found in one round: piece, edge, offsets (F, M) px along normals (F, 2), weights, strength.

    ``worth`` (F, M), 0 to 1, is how well each sample shows its edge.
    """

    row: NDArray[np.int_]
    edge: NDArray[np.int_]
    normal: Floats
    offset: Floats
    weight: Floats
    worth: Floats
    held: Floats
    hold: Floats
    strength: Floats
    clarity: Floats


@dataclass(frozen=True)
class Local:
    """Outlines of N pieces from their middles (N, 2) px: ``x`` and ``y`` (N, K), exact enough in 32 bits."""

    middle: Floats
    x: NDArray[np.float32]
    y: NDArray[np.float32]

    @classmethod
    def of(cls, outlines: Floats) -> Local:
        middle = outlines.mean(axis=1)
        away = (outlines - middle[:, None]).astype(np.float32)
        return cls(middle, np.ascontiguousarray(away[..., 0]), np.ascontiguousarray(away[..., 1]))

    def held(
        self, row: NDArray[np.int_], place: Floats, normal: Floats, reach: float
    ) -> tuple[Floats, Bools]:
        """How far out the outlines of pieces ``row`` (F,) run past straight edges, px, and whether they do.

        ``place`` (F, M, 2) px lies along the edges, ``normal`` (F, 2) square to the line between their ends.
        The middle one of the outline's points beside the edge counts, so that a corner or a speck does not.
        """
        first, last = place[:, 0] - self.middle[row], place[:, -1] - self.middle[row]
        along = last - first
        along = along / (along**2).sum(-1, keepdims=True)
        x, y = self.x[row], self.y[row]
        share, off = (
            x * axis[:, :1] + y * axis[:, 1:] - (first * axis).sum(-1, keepdims=True).astype(np.float32)
            for axis in (along.astype(np.float32), normal.astype(np.float32))
        )
        # A bent edge leaves its chord by as much as its middle does.
        middle = place[:, place.shape[1] // 2] - self.middle[row]
        sag = ((middle - 0.5 * (first + last)) * normal).sum(-1).astype(np.float32)
        off -= (4.0 * sag)[:, None] * share * (1.0 - share)
        beside = (share > 0.0) & (share < 1.0) & (np.abs(off) < 2.0 * reach + 3.0)
        count = beside.sum(axis=1)
        ordered = np.sort(np.where(beside, off, np.float32(np.inf)), axis=1)
        value = ordered[np.arange(len(row)), count // 2]
        return np.where(count > 1, value, 0.0), count > 1


def find_edges(
    pixels: NDArray[np.uint8],
    points: Floats,
    usable: Bools,
    view: View,
    at_seam: Bools,
    px_per_mm: Floats,
    outlines: Local,
    reach: float,
    *,
    by_light: bool,
    follow: float = FOLLOW_PX,
) -> Found:
    """Look across each predicted edge of N solids for the edge in the photo.

    ``points`` (N, E, M, 2) px lie along the edges, of which those ``usable`` (N, E) are looked for, ``reach``
    px far. ``at_seam`` (N, E) are those where a neighbour touches. ``by_light``: light alone, not colour.
    ``follow`` px is how far single samples may leave their edge.
    """
    s = (np.arange(-HALF, HALF + 1) * STEP_PX).astype(np.float32)
    normal, span = edge_normals(points)
    row, edge = np.nonzero(usable & (span > 2.0))
    place = points[row, edge]
    normal = normal[row, edge]
    middle = points.mean(axis=2)
    centre = middle.mean(axis=1)
    flip = np.where(((middle[row, edge] - centre[row]) * normal).sum(-1) < 0.0, -1.0, 1.0)
    normal = normal * flip[:, None]  # outwards
    profile = profiles(pixels, place, normal[:, None], HALF)
    # Colour tells edges apart; where the right one lies exactly, light says best.
    if by_light and profile.size:
        flat = cv2.transform(profile.reshape(-1, *profile.shape[2:]), _LIGHT_FIRST.T)
        profile = np.asarray(flat, np.float32).reshape(profile.shape)
    slope = slopes(profile)
    # An outer edge is looked for where the outline has it.
    outer = ~view.inner[row, edge]
    held, met = outlines.held(row, place, normal, reach)
    held = np.where(outer, held, 0.0)
    trust = np.where(outer & met, 1.0 / (1.0 + (held / (2.0 * reach)) ** 2), 0.0)
    middle = np.clip(held, -reach, reach)[:, None].astype(np.float32)
    # An edge may be looked for no further than half-way to its neighbour.
    merged = view.merged
    gap = np.where(merged, np.inf, view.gap_px)[row, edge]
    limit = np.clip(0.5 * gap, 1.0, 2.0 * reach + 1.0)[:, None].astype(np.float32)
    window = np.exp(-0.5 * ((s - middle) / reach) ** 2) * (np.abs(s - middle) <= limit)
    mean_slope = _mean(slope)
    change = lengths(mean_slope)
    foot = np.nonzero(view.kind[edge] == FOOT)[0]
    leave, enter = _unmix(_mean(profile[foot]), s, middle[foot])
    apart = np.linalg.norm(leave, axis=-1) > 0.0
    foot, leave, enter = foot[apart], leave[apart], enter[apart]
    seen = change.copy()
    seen[foot] = _both(mean_slope[foot], leave, enter)
    # Beyond a seam lies a dark gap, then the neighbour: the piece's own edge is where the light falls.
    seam = np.nonzero(at_seam[row, edge] & (view.kind[edge] == TOP))[0]
    seen[seam] = _falling(mean_slope[seam])
    at, _ = peak(seen * window)
    k = np.clip(np.round(at / STEP_PX).astype(int) + HALF, 0, 2 * HALF)
    colour = mean_slope[np.arange(len(k)), k]
    strength = lengths(colour)
    colour = colour / np.maximum(strength, 1e-9)[:, None]
    clarity = strength / (medians(change) + 1e-3)
    signal = _along(slope, colour[..., None])[..., 0]
    signal[foot] = _both(slope[foot], leave, enter)
    signal[seam] = _falling(slope[seam])
    near = np.exp(-0.5 * ((s - at[:, None].astype(np.float32)) / follow) ** 2)[:, None]
    offset, height = peak(np.maximum(signal, 0.0) * near)
    # How clearly each sample stands out of the grain around it.
    grain = 0.5 * medians(lengths(slope[:, ::3, ::2]).reshape(len(slope), -1)) + 1e-3
    clear = height / (height + grain[:, None])
    kind = view.kind[edge]
    line = np.where(kind == TOP, TOP_MM, FOOT_MM) * px_per_mm[row]
    narrow = merged[row, edge] & (kind == FOOT)
    line = np.hypot(line, np.where(narrow, 0.3 * view.gap_px[row, edge], 0.0))
    stray = offset - medians(offset)[:, None]
    sure = np.clip((clarity - 1.0) / 2.0, 0.03, 1.0)[:, None]
    worth = sure * np.maximum(clear, 0.05) ** 2 / (1.0 + (stray / (STRAY * follow)) ** 2)
    weight = worth / (SAMPLE_PX**2 * place.shape[1] / SAMPLES + place.shape[1] * line**2)[:, None]
    hold = trust / (OUTLINE_PX**2 + line**2)
    return Found(row, edge, normal, offset, weight, worth, held, hold, strength, clarity)


def _mean(samples: NDArray[np.float32]) -> NDArray[np.float32]:
    """The mean of the samples of each edge, (F, M, S, 3): (F, S, 3)."""
    count, places = samples.shape[:2]
    share = np.full((1, places), 1.0 / places, np.float32)
    flat = samples.reshape(count, places, samples.shape[2] * samples.shape[3])
    return np.asarray(np.matmul(share, flat).reshape(count, *samples.shape[2:]))


def _falling(slope: Floats | NDArray[np.float32]) -> Floats:
    """How steeply the light falls, of slopes (..., 3): (...)."""
    return np.asarray(np.maximum(-(slope @ _LUMINANCE)[..., 0], 0.0), float)


def _unmix(
    profile: NDArray[np.float32], s: NDArray[np.float32], middle: NDArray[np.float32]
) -> tuple[Floats, Floats]:
    """Colour directions (F, 3) along which the piece's own light and the board's alone are told apart.

    A shade on the piece only scales the piece's colour, a shadow on the board only the board's; where both
    change at once, there is the edge. ``profile`` (F, S, 3) runs outwards over ``s`` (S,) px. Zero where
    the two colours are too alike.
    """
    d = s - middle
    inside = (d < -1.4) & (d > -4.6)
    outside = (d > 1.4) & (d < 4.6)
    own = np.einsum("fs,fsc->fc", inside / inside.sum(axis=1, keepdims=True), profile)
    board = np.einsum("fs,fsc->fc", outside / outside.sum(axis=1, keepdims=True), profile)
    oo, bb, ob = (own * own).sum(-1), (board * board).sum(-1), (own * board).sum(-1)
    size = np.maximum(oo * bb, 1e-12)
    sine2 = 1.0 - ob * ob / size
    apart = (sine2 > APART**2) & (np.minimum(oo, bb) > 1e-4)
    scale = np.where(apart, 1.0 / np.maximum(sine2 * size, 1e-12), 0.0)[:, None]
    leave = -(own * bb[:, None] - board * ob[:, None]) * scale
    enter = (board * oo[:, None] - own * ob[:, None]) * scale
    return leave.astype(np.float32), enter.astype(np.float32)


def _along(slope: NDArray[np.float32], colours: NDArray[np.float32]) -> NDArray[np.float32]:
    """Slopes (F, ..., 3) along C ``colours`` (F, 3, C) of their edges: (F, ..., C)."""
    # All samples of an edge in one product: many small ones take several times as long.
    places = int(np.prod(slope.shape[1:-1]))
    flat = np.matmul(slope.reshape(len(slope), places, 3), colours)
    return np.asarray(flat.reshape(*slope.shape[:-1], colours.shape[-1]))


def _both(slope: NDArray[np.float32], leave: Floats, enter: Floats) -> NDArray[np.float32]:
    """How strongly the piece's light goes and the board's comes at once, of slopes (F, ..., 3): (F, ...)."""
    both = np.maximum(_along(slope, np.stack([leave, enter], axis=-1)), 0.0)
    return np.asarray(np.sqrt(both[..., 0] * both[..., 1]), np.float32)
