"""One measured piece as a record: its sides with their uncertainty, and the budget behind it."""

from __future__ import annotations

import numpy as np

from cutcheck.budget import CAUSES
from cutcheck.camera import Floats
from cutcheck.records import SIDES, BudgetLine, Measure, Piece, Shape

SEEN_SIDE_PX = 5.0  # a side face narrower than this shows no height
SEEN_SHARE = 0.5  # nor does one whose height is less sure than this


def make_piece(
    kind: Shape,
    value: Floats,
    parts: Floats,
    top: Floats,
    outline: Floats,
    rim: Floats,
    side_px: float,
    *,
    touching: bool = False,
) -> Piece:
    """A piece from its sides ``value`` (3,) mm and standard uncertainties ``parts`` (3, causes) mm.

    ``top`` (2,) px is where its top face's centre is seen, ``outline`` and ``rim`` (N, 2) px the silhouette
    and the top face, ``side_px`` how high its best side face looks.
    """
    standard = np.sqrt((parts**2).sum(axis=1))
    seen = side_px >= SEEN_SIDE_PX and bool(2.0 * standard[2] < SEEN_SHARE * value[2])
    plan = [float(value[0]), float(value[1])]
    unc = [float(2.0 * standard[0]), float(2.0 * standard[1])]
    if plan[1] > plan[0]:
        plan.reverse()
        unc.reverse()
        parts = parts[[1, 0, 2]]
    budget = tuple(
        BudgetLine(side, cause, float(parts[s, c]))
        for s, side in enumerate(SIDES)
        for c, cause in enumerate(CAUSES)
        if parts[s, c] > 0.0 and (side != "height" or seen)
    )
    return Piece(
        number=0,
        centre_px=(float(top[0]), float(top[1])),
        outline_px=_places(outline),
        shape=kind,
        length=Measure(plan[0], unc[0]),
        width=Measure(plan[1], unc[1]),
        height=Measure(float(value[2]), float(2.0 * standard[2]))
        if seen
        else Measure(None, None, seen=False),
        budget=budget,
        flags=("touching",) if touching else (),
        top_px=_places(rim),
    )


def _places(outline: Floats) -> tuple[tuple[float, float], ...]:
    return tuple((x, y) for x, y in outline.tolist())


def edges_and_height(covariance: Floats, plan: tuple[int, ...], height: int, parts: Floats) -> None:
    """Split fits' covariances (N, P, P) into what the edges and what the height leave open.

    Fills ``parts`` (N, 3, causes): the sides ``plan`` (parameter numbers) and the ``height``.
    """
    var_h = covariance[:, height, height]
    for i, k in enumerate(plan):
        from_h = covariance[:, k, height] ** 2 / np.maximum(var_h, 1e-12)
        parts[:, i, 1] = np.sqrt(from_h)
        parts[:, i, 0] = np.sqrt(np.maximum(covariance[:, k, k] - from_h, 0.0))
    parts[:, 2, 0] = np.sqrt(var_h)
