"""How long a check takes, as a multiple of decoding the same photo, and how much memory: one command.

    python tests/benchmarks/speed.py [PHOTO ...] [--cut NAME]

Without a photo: one of sample_images (12 megapixels, 40 pieces), and one drawn with 420 pieces. Each photo is
measured in a process of its own, so that its peak memory is its own. Not part of the tests: times depend on
the machine; the ratio depends on it less.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

TESTS = Path(__file__).parents[1]
ROUNDS = 7


def measured(path: Path, cut: str | None) -> dict[str, float]:
    """Median seconds of decoding and of a whole check, and the peak memory of this process, MB."""
    import cv2
    import numpy as np

    from cutcheck.pipeline import check
    from cutcheck.settings import Settings

    data = np.fromfile(path, np.uint8)
    pieces = len(check(path, cut, settings=Settings()).pieces)  # the first one warms up
    decoding, checking = [], []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        image = cv2.imdecode(data, cv2.IMREAD_COLOR)
        decoding.append(time.perf_counter() - start)
        start = time.perf_counter()
        check(path, cut, settings=Settings())
        checking.append(time.perf_counter() - start)
    return {
        "megapixels": image.shape[0] * image.shape[1] / 1e6,
        "pieces": pieces,
        "decode_s": statistics.median(decoding),
        "check_s": statistics.median(checking),
        "memory_mb": peak_mb(os.getpid()),
    }


def peak_mb(pid: int) -> float:
    """The most that a process and those under it had resident, added up, MB (Linux, ``VmHWM``).

    ``getrusage`` won't do: it counts what the parent held when it started the process.
    """
    own = re.search(r"VmHWM:\s+(\d+)", Path(f"/proc/{pid}/status").read_text())
    tasks = Path(f"/proc/{pid}/task").iterdir()
    children = {int(child) for task in tasks for child in (task / "children").read_text().split()}
    return int(own[1]) / 1024 + sum(peak_mb(child) for child in children) if own else 0.0


def default_photos(folder: Path) -> list[Path]:
    """The sample photo with 40 pieces, and a drawn one with 420."""
    sys.path.insert(0, str(TESTS))
    import light_scene

    crowd = folder / "drawn-420.jpg"
    dice = ({"shape": "box", "mm": (5.0, 5.0, 5.0), "count": 420},)
    light_scene.save(crowd, *light_scene.scene(5, pieces=dice, above_mm=420.0))
    return [TESTS.parent / "sample_images" / "carrot-small-dice-white-board.jpg", crowd]


def main() -> None:
    """Measure each photo in a fresh process and print one line for it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("photos", nargs="*", type=Path)
    parser.add_argument("--cut", default=None)
    parser.add_argument("--one", action="store_true", help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.one:
        print(json.dumps(measured(asked.photos[0], asked.cut)))
        return
    with tempfile.TemporaryDirectory() as folder:
        for path in asked.photos or default_photos(Path(folder)):
            command = [sys.executable, __file__, str(path), "--one"]
            command += ["--cut", asked.cut] if asked.cut else []
            got = json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)
            ratio = got["check_s"] / got["decode_s"]
            size = f"{got['megapixels']:.0f} MP, {got['pieces']:.0f} pieces"
            times = f"check {got['check_s']:.2f} s = {ratio:.1f} x decoding ({got['decode_s']:.3f} s)"
            print(f"{path.name}: {size}, {times}, peak memory {got['memory_mb']:.0f} MB")


if __name__ == "__main__":
    main()
