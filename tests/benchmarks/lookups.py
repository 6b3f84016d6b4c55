"""How long the plan and the look-ups take to answer: ``python tests/benchmarks/lookups.py``.

Each command is run several times in a process of its own; the least wall-clock time and its CPU time are
printed. The figure to reach is 0.5 s on a machine that does nothing else.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time

RUNS = 7
COMMANDS = (
    ("plan", "--need", "brunoise carrot 500 g", "--need", "small dice potato 2 kg"),
    ("gestures",),
    ("gestures", "effiler"),
    ("station",),
    ("safety",),
    ("produce",),
    ("cuts", "julienne"),
)


def main() -> None:
    """Print one line for each command."""
    print(f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores; least of {RUNS} runs")
    for command in COMMANDS:
        best = min(timed(command) for _ in range(RUNS))
        print(f"  {' '.join(command):70.70} {best[0]:.2f} s wall, {best[1]:.2f} s CPU")


def timed(command: tuple[str, ...]) -> tuple[float, float]:
    """(wall-clock s, CPU s) of one run."""
    before, start = os.times(), time.perf_counter()
    subprocess.run([sys.executable, "-m", "cutcheck", *command], stdout=subprocess.DEVNULL, check=True)
    wall, after = time.perf_counter() - start, os.times()
    cpu = after.children_user + after.children_system - before.children_user - before.children_system
    return wall, cpu


if __name__ == "__main__":
    main()
