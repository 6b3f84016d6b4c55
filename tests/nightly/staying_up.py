"""Ten visitors check small photos for some minutes: no error, and the memory stays flat.

    python tests/nightly/staying_up.py [--minutes 3] [--visitors 10]

Starts ``cutcheck serve`` on this computer and talks to it as browsers do (``tests/page_client.py``). Every
few photos a visitor leaves and comes back as a new one, as a phone does whose screen went dark. The memory is
what the server and the processes under it have resident (Linux, ``VmRSS``). A third of the time is for
libraries to load and pools to fill; of the rest, the last third's mean may differ from the first's by 10 %.
"""

from __future__ import annotations

import argparse
import asyncio
import itertools
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path
from statistics import fmean, median

sys.path.insert(0, str(Path(__file__).parents[1]))

import light_scene
from page_client import visitor
from served import served

MB = 1e6
PIECES = 12
STAYS = 5  # photos, then a visitor leaves
SAMPLE_S = 2.0
MOST_GROWTH = 0.10
SOON_S = 20  # how long the page remembers who left; two minutes, as it comes, would outlast a short run


@dataclass
class Figures:
    """What was seen: times of checks, s; errors; (time, s; server, bytes; its processes, bytes)."""

    took: list[float] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)
    memory: list[tuple[float, int, int]] = field(default_factory=list)


def main() -> int:
    """Run, print the figures, and return 1 if they are not good."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--minutes", type=float, default=3.0)
    parser.add_argument("--visitors", type=int, default=10)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        photos = _photos(Path(folder))
        settings = Path(folder) / ".streamlit" / "config.toml"
        settings.parent.mkdir()
        settings.write_text(f"[server]\ndisconnectedSessionTTL = {SOON_S}\n", encoding="utf-8")
        with served(Path(folder)) as page:
            figures = asyncio.run(
                _run(page.port, page.process.pid, photos, options.visitors, 60 * options.minutes)
            )
            said = page.log.read_text(encoding="utf-8").removeprefix(page.said)
    if said:
        figures.errors.append(f"the server said: {said[:500]}")
    return _tell(figures, options.visitors)


def _photos(folder: Path) -> list[bytes]:
    """Three small photos of twelve dice each."""
    dice = ({"shape": "box", "mm": (12.7, 12.7, 12.7), "count": PIECES},)
    made = []
    for seed in (11, 12, 13):
        photo, truth = light_scene.scene(
            seed, size=(1600, 1200), pieces=dice, cut="medium-dice", standard="inch", number=3, tilt_deg=24.0
        )
        path = folder / f"{seed}.jpg"
        light_scene.save(path, photo, truth)
        made.append(path.read_bytes())
    return made


async def _run(port: int, pid: int, photos: list[bytes], visitors: int, seconds: float) -> Figures:
    figures, end = Figures(), time.monotonic() + seconds
    numbers = itertools.count()
    watching = asyncio.create_task(_watch(pid, figures))
    await asyncio.gather(*(_visits(port, photos, numbers, end, figures) for _ in range(visitors)))
    watching.cancel()
    return figures


async def _visits(
    port: int, photos: list[bytes], numbers: itertools.count[int], end: float, figures: Figures
) -> None:
    """Come, check a few photos, leave, and come again, until the end."""
    while time.monotonic() < end:
        try:
            async with visitor(port) as one:
                await one.open()
                for _ in range(STAYS):
                    if time.monotonic() >= end:
                        return
                    number = next(numbers)
                    start = time.monotonic()
                    # after its end a JPEG may bear anything: each photo is another file
                    shown = await one.check(f"{number}.jpg", photos[number % 3] + str(number).encode())
                    figures.took.append(time.monotonic() - start)
                    figures.errors += shown.errors
                    if shown.pieces != PIECES:
                        figures.errors.append(f"{shown.pieces} pieces in photo {number % 3}")
        except Exception as error:
            figures.errors.append(f"{type(error).__name__}: {error}")
            await asyncio.sleep(1.0)


async def _watch(pid: int, figures: Figures) -> None:
    start = time.monotonic()
    while True:
        below = _children(pid)
        figures.memory.append((time.monotonic() - start, _resident(pid), sum(map(_resident, below))))
        await asyncio.sleep(SAMPLE_S)


def _children(pid: int) -> list[int]:
    """The processes under this one."""
    found = []
    for path in Path(f"/proc/{pid}/task").glob("*/children"):
        for child in path.read_text().split():
            found += [int(child), *_children(int(child))]
    return found


def _resident(pid: int) -> int:
    try:
        status = Path(f"/proc/{pid}/status").read_text()
    except OSError:  # it has just ended
        return 0
    return next((1024 * int(line.split()[1]) for line in status.splitlines() if "VmRSS" in line), 0)


def _tell(figures: Figures, visitors: int) -> int:
    whole = figures.memory[-1][0]
    rest = [(server, below) for at, server, below in figures.memory if at >= whole / 3]
    third = max(len(rest) // 3, 1)
    print(f"{visitors} visitors, {whole / 60:.1f} minutes, {len(figures.took)} photos")
    if figures.took:
        print(f"a check: {median(figures.took):.1f} s as a rule, {max(figures.took):.1f} s at the most")
    grown = []
    for name, column in (("server", 0), ("decoder", 1), ("together", None)):
        series = [sum(pair) if column is None else pair[column] for pair in rest]
        first, last = fmean(series[:third]), fmean(series[-third:])
        grown.append(last / first - 1 if first else 0.0)
        ends = f"after warm-up {first / MB:6.0f} MB, at the end {last / MB:6.0f} MB ({grown[-1]:+.1%})"
        print(f"{name:9} {ends}, at the most {max(series) / MB:.0f} MB")
    print(f"{len(figures.errors)} errors" + "".join(f"\n  {error[:300]}" for error in figures.errors[:10]))
    good = not figures.errors and bool(figures.took) and abs(grown[-1]) <= MOST_GROWTH
    print("good" if good else "NOT GOOD")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
