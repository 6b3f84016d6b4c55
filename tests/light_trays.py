"""Drawn trays that the accuracy is tested on: kinds of cut, boards, produce and light, drawn from a seed.

The camera is nearer than in a kitchen (some 210 mm), so that a smaller picture has the 8 to 9 pixels to the
millimetre that a photo of 12 megapixels has of a whole board.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from light_scene import Truth, same_tray_again, save, scene

SIZE, ABOVE_MM = (2400, 1800), (200.0, 225.0)
BOARDS = ("white", "green", "blue", "slate", "light-wood", "red", "dark-wood", "yellow")
PRODUCE = ("carrot", "turnip", "potato", "beet", "celery")
LIGHTS = ("soft", "window", "hard")
ALIKE = {
    ("white", "turnip"),
    ("yellow", "potato"),
    ("yellow", "carrot"),
    ("red", "beet"),
    ("green", "celery"),
}
ALIKE |= {("light-wood", "potato"), ("light-wood", "carrot"), ("slate", "beet"), ("dark-wood", "beet")}


def _dice(mm: float, count: int, **more: Any) -> tuple[Truth, ...]:
    return ({"shape": "box", "mm": (mm, mm, mm), "count": count, "gap_mm": 3.0, "sd": 0.07, **more},)


def _sticks(length: float, cross: float, count: int) -> tuple[Truth, ...]:
    kind = {"shape": "box", "mm": (length, cross, cross), "count": count, "gap_mm": 4.0, "sd": 0.06}
    return ({**kind, "bow_mm": (0.0, 0.02 * length)},)


CUTS: dict[str, Truth] = {
    "brunoise": {"cut": "brunoise", "standard": "inch", "pieces": _dice(3.175, 40, gap_mm=2.0)},
    "macedoine": {"cut": "macedoine", "standard": "metric", "pieces": _dice(4.0, 40)},
    "small-dice": {"cut": "small-dice", "standard": "inch", "pieces": _dice(6.35, 30)},
    "medium-dice": {"cut": "medium-dice", "standard": "inch", "pieces": _dice(12.7, 14, sd=0.05)},
    "batonnet": {"cut": "batonnet", "standard": "inch", "pieces": _sticks(57.0, 6.35, 12)},
    "julienne": {"cut": "julienne", "standard": "inch", "pieces": _sticks(50.8, 3.175, 14)},
}


def tray(seed: int, kind: str) -> Truth:
    """The options of a tray of this kind; pieces and board are never of one colour."""
    rng = np.random.default_rng(seed)
    while True:
        board, produce = str(rng.choice(BOARDS)), str(rng.choice(PRODUCE))
        if (board, produce) not in ALIKE:
            break
    return {
        **CUTS[kind],
        "size": SIZE,
        "above_mm": float(rng.uniform(*ABOVE_MM)),
        "tilt_deg": float(rng.uniform(6, 30)),
        "card_at": (float(rng.uniform(0.25, 0.4)), float(rng.uniform(0.3, 0.7))),
        "board": board,
        "produce": produce,
        "light": str(rng.choice(LIGHTS)),
    }


def draw(folder: Path, seed: int, kind: str, name: str | None = None) -> Truth:
    """Write the photo of a tray and its truth into a folder; the truth."""
    photo, truth = scene(seed, **tray(seed, kind), name=name or f"{kind}-{seed}")
    save(folder / f"{truth['name']}.jpg", photo, truth)
    return truth


def draw_pair(folder: Path, seed: int, kind: str) -> None:
    """Write two photos of one tray, from two places: as NAME-a and NAME-b."""
    first = draw(folder, seed, kind, f"{kind}-{seed}-a")
    photo, again = same_tray_again(first, seed + 1)
    again["name"] = f"{kind}-{seed}-b"
    save(folder / f"{again['name']}.jpg", photo, again)
