"""Work on many pieces a part at a time: the parts side by side on the cores, and with little memory each."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

import cv2

T = TypeVar("T")

FEW = 16  # of so few a part is not made: there is more to start than to do


def by_parts(work: Callable[[slice], T], count: int, most: int) -> list[T]:
    """What ``work`` makes of each part of ``count`` things, in order; no part has more than ``most``.

    The parts depend on ``count`` alone, so that every computer makes the same of them. Threads serve, for
    numpy and OpenCV let others run; as many as OpenCV may use, so one where photos are measured side by side.
    """
    parts = -(-count // most)
    if parts % 2 and count >= 2 * FEW:
        parts += 1
    size = max(-(-count // max(parts, 1)), 1)
    slices = [slice(first, min(first + size, count)) for first in range(0, max(count, 1), size)]
    threads = min(cv2.getNumThreads(), len(slices))
    if threads < 2:
        return [work(part) for part in slices]
    with ThreadPoolExecutor(threads) as pool:
        return list(pool.map(work, slices))
