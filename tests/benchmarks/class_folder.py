"""A class's folder by one process and by several: how much faster, and how much memory: one command.

    python tests/benchmarks/class_folder.py [--photos 30] [--workers 2]

The photos are the sample photos (12 megapixels), over and over, each with a comment of its own in its file,
so that no two are the same. Both runs are `cutcheck class` from its start to its files, with the libraries at
one thread. Memory is that of all its processes together, each shared page counted once (PSS, Linux).
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from itertools import cycle, islice
from pathlib import Path

SAMPLES = Path(__file__).parents[2] / "sample_images"
EVERY_S = 0.25


def make_photos(folder: Path, count: int) -> None:
    """Write the photos: the same pixels, other bytes (a comment in the JPEG, ITU-T T.81, B.2.4.5)."""
    for number, sample in enumerate(islice(cycle(sorted(SAMPLES.glob("*.jpg"))), count), 1):
        data, words = sample.read_bytes(), f"photo {number}".encode()
        comment = b"\xff\xfe" + (len(words) + 2).to_bytes(2, "big") + words
        (folder / f"photo-{number:02d}.jpg").write_bytes(data[:2] + comment + data[2:])


def processes(root: int) -> list[int]:
    """A process and all that came from it."""
    parents = {}
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                stat = (entry / "stat").read_text()
            except OSError:
                continue
            parents[int(entry.name)] = int(stat.rsplit(")", 1)[1].split()[1])
    family, new = [root], [root]
    while new:
        new = [child for child, parent in parents.items() if parent in new]
        family += new
    return family


def memory_mb(pid: int) -> float:
    """The proportional set size of a process, MB; 0 where it is gone."""
    try:
        lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
    except OSError:
        return 0.0
    return sum(float(line.split()[1]) for line in lines if line.startswith("Pss:")) / 1024


def timed(photos: Path, roster: Path, out: Path, workers: int) -> tuple[float, float]:
    """Seconds of a run, and the most memory it had, MB."""
    command = [sys.executable, "-m", "cutcheck", "class", str(photos), "--roster", str(roster)]
    command += ["--cut", "small-dice", "--out", str(out), "--workers", str(workers)]
    began, most = time.perf_counter(), 0.0
    run = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    while run.poll() is None:
        most = max(most, sum(memory_mb(pid) for pid in processes(run.pid)))
        time.sleep(EVERY_S)
    if run.returncode not in (0, 3):
        raise SystemExit(f"the run ended with {run.returncode}")
    return time.perf_counter() - began, most


def main() -> None:
    """Time one worker and several, and print the ratio and the memory."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--photos", type=int, default=30)
    parser.add_argument("--workers", type=int, default=2)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        photos = folder / "photos"
        photos.mkdir()
        make_photos(photos, options.photos)
        roster = folder / "roster.csv"
        roster.write_text("name,number\n" + "".join(f"Student {n},{n}\n" for n in range(1, 31)))
        load = os.getloadavg()[0]
        one, memory_one = timed(photos, roster, folder / "one", 1)
        several, memory = timed(photos, roster, folder / "several", options.workers)
    print(f"{options.photos} photos of 12 MP; other load on this machine at the start {load:.1f}")
    print(f"1 worker: {one:.1f} s, {memory_one:.0f} MB")
    print(f"{options.workers} workers: {several:.1f} s, {memory:.0f} MB, {one / several:.2f} times as fast")


if __name__ == "__main__":
    main()
