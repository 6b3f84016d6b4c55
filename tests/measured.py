"""Pieces for tests, made from sides and uncertainties, and trays as a cook and a camera would make them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from cutcheck.records import Measure, Piece, Shape

Floats = NDArray[np.float64]


def piece(
    number: int,
    sides: Sequence[float | None],
    u95: float | Sequence[float] = 0.0,
    *,
    flags: tuple[str, ...] = (),
    shape: Shape = "box",
) -> Piece:
    """A piece with (length, width, height) mm; None is a side that was not seen."""
    u = [u95] * 3 if isinstance(u95, int | float) else list(u95)
    length, width, height = (
        Measure(None, None, seen=False) if mm is None else Measure(mm, unc)
        for mm, unc in zip(sides, u, strict=True)
    )
    return Piece(number, (0.0, 0.0), (), shape, length, width, height, flags=flags)


def pieces(
    sides: Floats, u95: Floats | float = 0.0, *, heights: bool = True, shape: Shape = "box"
) -> list[Piece]:
    """Pieces from (n, 3) mm as they were measured; the plan's longer side becomes the length."""
    u = np.broadcast_to(np.asarray(u95, float), sides.shape)
    found = []
    for i, (row, unc) in enumerate(zip(sides, u, strict=True)):
        order = [0, 1, 2] if row[0] >= row[1] else [1, 0, 2]
        mm: list[float | None] = [float(row[k]) for k in order]
        if not heights:
            mm[2] = None
        found.append(piece(i + 1, mm, [float(unc[k]) for k in order], shape=shape))
    return found


def measured(
    rng: np.random.Generator, true: Floats, plan_u: float, height_u: float, scale_u: float = 0.0
) -> tuple[Floats, Floats]:
    """What a camera makes of true sides (n, 3) mm: measured sides, and their u95 with the scale's part."""
    own = np.array([plan_u, plan_u, height_u]) * rng.uniform(0.7, 1.3, true.shape)
    seen = (true + own * rng.normal(size=true.shape)) * (1.0 + scale_u * rng.normal())
    return seen, 2.0 * np.sqrt(own**2 + (scale_u * true) ** 2)
