"""The same tray photographed again from elsewhere, twenty times over: do the marks agree?

    python tests/nightly/repeatability.py [--pairs 20] [--seed 52000]

Draws each tray twice with the light renderer (``light_scene``), marks both photos, and prints a line for each
pair. The bars: the marks differ by no more than the root sum of squares of their half intervals in at least
18 of 20 pairs, and never by more than 8. Exit status 1 where a bar is missed. Takes some three minutes.
"""

from __future__ import annotations

import argparse
import math
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from light_trays import CUTS, draw_pair

from cutcheck.accuracy import Scene, assess

WITHIN, MOST = 0.9, 8.0


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--pairs", type=int, default=20)
    parser.add_argument("--seed", type=int, default=52_000)
    options = parser.parse_args()
    kinds = list(CUTS)
    agreed, most = 0, 0.0
    for k in range(options.pairs):
        with tempfile.TemporaryDirectory() as folder:
            draw_pair(Path(folder), options.seed + 10 * k, kinds[k % len(kinds)])
            first, again = assess(folder)
        apart, half = compared(first, again)
        agreed += apart <= half
        most = max(most, apart)
        beyond = ("  !" if apart > half else "") + ("  more than 8 !" if apart > MOST else "")
        print(
            f"{first.name[:-2]:24} {told(first)}  {told(again)}  apart {apart:5.1f} of {half:5.1f}{beyond}",
            flush=True,
        )
    print(f"{agreed} of {options.pairs} pairs agree within their intervals; the most apart: {most:.1f}")
    return 0 if agreed >= WITHIN * options.pairs and most <= MOST else 1


def compared(first: Scene, again: Scene) -> tuple[float, float]:
    """How far apart two marks are, and the root sum of squares of their half intervals."""
    if first.mark is None or again.mark is None:
        return math.inf, 0.0
    half = math.hypot(*((high - low) / 2 for _, low, high in (first.mark, again.mark)))
    return abs(first.mark[0] - again.mark[0]), half


def told(scene: Scene) -> str:
    """A mark with its interval."""
    if scene.mark is None:
        return f"{scene.refused or 'no mark':>20}"
    mark, low, high = scene.mark
    return f"{mark:5.1f} ({low:5.1f} to {high:5.1f})"


if __name__ == "__main__":
    sys.exit(main())
