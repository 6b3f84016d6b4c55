"""How fast the page is, in a real browser, and whether ten students at once fit: prints figures.

    python tests/benchmarks/page.py [--students 10]

First paint, a photo of twelve megapixels from upload to mark against what measuring it takes without a page,
a press on a piece, and ten visitors who each check a photo of their own at the same time. The bars are
printed beside the figures. Timings of a machine that does something else at the same time mean little.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import re
import socket
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import median

from playwright.async_api import Browser, Page, async_playwright

ROOT = Path(__file__).parents[2]
PHOTO = ROOT / "sample_images" / "turnip-batonnet-green-board.jpg"
CUT = "Bâtonnet"
CHROMIUM = "/usr/bin/chromium"
WAIT_MS = 300_000
VISITS = 5

MEASURE = """
import sys, time
from cutcheck.pipeline import chosen_cut, mark, measure_photo
data = open(sys.argv[1], "rb").read()
times = []
for _ in range(4):
    start = time.perf_counter()
    mark(measure_photo(data), chosen_cut("batonnet"))
    times.append(time.perf_counter() - start)
print(min(times[1:]))
"""
PRESS = """(n) => new Promise((done) => {
    const roots = [...document.querySelectorAll('*')].map((e) => e.shadowRoot);
    const root = roots.find((r) => r?.querySelector('.scene'));
    const panel = root.querySelector('.panel');
    const on = root.querySelector(`g.piece[data-n='${n}'] .hit`).getBoundingClientRect();
    const at = { clientX: on.x + on.width / 2, clientY: on.y + on.height / 2, bubbles: true, pointerId: 1 };
    const start = performance.now();
    new MutationObserver(() => requestAnimationFrame(() => done(performance.now() - start)))
        .observe(panel, { childList: true, subtree: true });
    const scene = root.querySelector('.scene');
    scene.dispatchEvent(new PointerEvent('pointerdown', at));
    scene.dispatchEvent(new PointerEvent('pointerup', at));
})"""


@contextmanager
def served() -> Iterator[tuple[str, int]]:
    """The page's address and its process, with settings and journal of its own."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with tempfile.TemporaryDirectory() as folder:
        own = {"CUTCHECK_SETTINGS": f"{folder}/settings.toml", "CUTCHECK_JOURNAL": f"{folder}/journal.sqlite"}
        command = [sys.executable, "-m", "cutcheck", "serve", "--port", str(port)]
        server = subprocess.Popen(command, cwd=ROOT, env={**os.environ, **own}, stdout=subprocess.DEVNULL)
        address = f"http://localhost:{port}"
        try:
            for _ in range(300):
                try:
                    urllib.request.urlopen(f"{address}/_stcore/health", timeout=2).read()
                    break
                except OSError:
                    time.sleep(0.2)
            yield address, server.pid
        finally:
            server.terminate()
            server.wait(20)


def memory_mb(pid: int) -> float:
    """What a process and its children hold, MB: Linux's resident set sizes."""
    total = 0.0
    try:
        status = Path(f"/proc/{pid}/status").read_text()
        total += int(re.search(r"VmRSS:\s+(\d+)", status)[1]) / 1024  # type: ignore[index]
        for task in Path(f"/proc/{pid}/task").iterdir():
            total += sum(memory_mb(int(child)) for child in (task / "children").read_text().split())
    except (OSError, TypeError):
        pass  # it ended meanwhile
    return total


@contextmanager
def watched(pid: int) -> Iterator[list[float]]:
    """The highest memory while the block runs, as the only item of a list."""
    most, done = [0.0], threading.Event()

    def look() -> None:
        while not done.wait(0.1):
            most[0] = max(most[0], memory_mb(pid))

    watcher = threading.Thread(target=look)
    watcher.start()
    try:
        yield most
    finally:
        done.set()
        watcher.join()


async def opened(browser: Browser, address: str) -> tuple[Page, float, float]:
    """A fresh visit: the page, its first paint and the whole place drawn, s."""
    context = await browser.new_context(viewport={"width": 390, "height": 844})
    context.set_default_timeout(WAIT_MS)
    page = await context.new_page()
    start = time.perf_counter()
    await page.goto(address)
    await page.locator(".cc-caution").wait_for()
    whole = time.perf_counter() - start
    # The browser writes the paint down only after it; on a busy machine that is later than what was drawn.
    first = "performance.getEntriesByName('first-contentful-paint')[0]?.startTime"
    drawn = await page.wait_for_function(first)
    paint = await drawn.json_value()
    return page, paint / 1000, whole


async def choose(page: Page, cut: str) -> None:
    """Choose the cut, so that the photo is marked as soon as it is measured."""
    await page.get_by_role("combobox", name="Which cut").click()
    await page.keyboard.type(cut)
    await page.get_by_role("option", name=cut).first.click()
    await page.wait_for_timeout(1000)


async def checked(page: Page, photo: Path) -> float:
    """Upload to the marked or measured tray, s."""
    start = time.perf_counter()
    await page.locator("input[type=file]").first.set_input_files(photo)
    await page.locator("g.piece").first.wait_for(state="attached")
    return time.perf_counter() - start


async def alone(browser: Browser, address: str, measuring: float) -> float:
    _, paint, whole = await opened(browser, address)
    print(f"first visit after the start: first paint {paint:.2f} s, all drawn {whole:.2f} s")
    page, paint, whole = await opened(browser, address)
    print(f"a later visit: first paint {paint:.2f} s (bar 2.5), all drawn {whole:.2f} s")
    await choose(page, CUT)
    first = await checked(page, PHOTO)
    print(f"the first photo of all, for which the charts' library is loaded: upload to mark {first:.2f} s")
    uploads = []
    for _ in range(VISITS):
        await page.close()
        page, _, _ = await opened(browser, address)
        await choose(page, CUT)
        uploads.append(await checked(page, PHOTO))
    upload = median(uploads)
    print(
        f"measuring without a page {measuring:.2f} s; upload to mark {upload:.2f} s, the median of {VISITS} "
        f"visits ({min(uploads):.2f} to {max(uploads):.2f}), {upload / measuring:.2f} times (bar 1.5); "
        f"load of the machine {os.getloadavg()[0]:.1f}"
    )
    await page.wait_for_timeout(1500)
    presses = [await page.evaluate(PRESS, n) / 1000 for n in (3, 7, 11, 15)]
    print(f"a press on a piece: {max(presses):.3f} s at most of {len(presses)} (bar 0.3)")
    return upload


async def together(browser: Browser, address: str, pid: int, students: int, one: float) -> None:
    photos = sorted((ROOT / "sample_images").glob("*.jpg"))
    given = [photos[k % len(photos)] for k in range(students)]
    pages = [(await opened(browser, address))[0] for _ in given]
    with watched(pid) as most:
        took = await asyncio.gather(*(checked(page, photo) for page, photo in zip(pages, given, strict=True)))
    mixed = 0
    for page, photo in zip(pages, given, strict=True):
        # "NAME, N pieces, scale from ..." stands on the page; the picture has as many pieces.
        said = await page.get_by_text(re.compile(r"pieces, scale from")).first.inner_text()
        drawn = await page.locator("g.piece").count()
        mixed += not said.startswith(photo.name) or f" {drawn} pieces" not in said
    print(
        f"{students} at once: slowest {max(took):.1f} s, {max(took) / one:.1f} times one alone (bar 12); "
        f"memory {most[0]:.0f} MB at most (bar 2000); mixed up: {mixed}"
    )


async def main(students: int) -> None:
    done = subprocess.run(
        [sys.executable, "-c", MEASURE, str(PHOTO)], capture_output=True, text=True, check=True
    )
    with served() as (address, pid):
        async with async_playwright() as playwright:
            browser = await playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
            one = await alone(browser, address, float(done.stdout))
            await together(browser, address, pid, students, one)
            await browser.close()


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--students", type=int, default=10)
    asyncio.run(main(asked.parse_args().students))
