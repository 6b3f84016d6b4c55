"""Makes the README's pictures and its example of output with the program itself, so that they stay true.

    python docs/make_pictures.py

Needs Chromium (Debian's package) and the development extras. The photo is the rendered sample of the page.
"""

from __future__ import annotations

import io
import os
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path

from PIL import Image
from playwright.sync_api import Page, sync_playwright

from cutcheck.terms import TERMS

HERE = Path(__file__).parent
ROOT = HERE.parent
SAMPLE = ROOT / "cutcheck" / "page" / "sample" / "sample-tray.jpg"
START, END = "<!-- example -->", "<!-- end of example -->"
WORDS_START, WORDS_END = "<!-- words -->", "<!-- end of words -->"
SIZES = {"page-phone": (390, 844, 2), "page-desk": (1280, 800, 1)}


def marked_picture() -> None:
    """The sample with its pieces marked, as ``cutcheck check --picture`` writes it, made small."""
    with tempfile.TemporaryDirectory() as folder:
        big = Path(folder) / "marked.png"
        command = [sys.executable, "-m", "cutcheck", "check", str(SAMPLE), "--cut", "macedoine"]
        subprocess.run([*command, "--picture", str(big)], check=True, cwd=ROOT)
        image = Image.open(big).convert("RGB")
        image.thumbnail((1200, 1200), Image.Resampling.LANCZOS)
        image.save(HERE / "marked-tray.jpg", quality=85)


def example_output() -> None:
    """What the command prints for the sample, pasted into the README between its two marks."""
    command = [
        sys.executable,
        "-m",
        "cutcheck",
        "check",
        SAMPLE.name,
        "--cut",
        "macedoine",
        "--printed",
        "198x214",
    ]
    with tempfile.TemporaryDirectory() as folder:
        env = {**os.environ, "CUTCHECK_SETTINGS": str(Path(folder) / "settings.toml")}
        done = subprocess.run(command, check=True, cwd=SAMPLE.parent, env=env, capture_output=True, text=True)
    shown = f"$ .venv/bin/cutcheck check {SAMPLE.name} --cut macedoine\n{done.stdout.rstrip()}"
    paste(f"```\n{shown}\n```", START, END)


def words() -> None:
    """The list of words, pasted into the README between its two marks."""
    rows = "\n".join(f"| {term.word} | {term.means} |" for term in TERMS)
    paste(f"| word | what it means |\n|---|---|\n{rows}", WORDS_START, WORDS_END)


def paste(text: str, start: str, end: str) -> None:
    """Put a text between two marks of the README, in place of what is there."""
    readme = ROOT / "README.md"
    before, _, rest = readme.read_text("utf-8").partition(start)
    _, _, after = rest.partition(end)
    readme.write_text(f"{before}{start}\n{text}\n{end}{after}", "utf-8")


def page_pictures() -> None:
    """The page with the sample checked and a piece pressed, at phone and at desk width; a term's progress;
    the sample class."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with tempfile.TemporaryDirectory() as folder:
        server = subprocess.Popen(
            [sys.executable, "-m", "streamlit", "run", "app.py", "--server.port", str(port)],
            cwd=ROOT,
            env={
                **os.environ,
                "CUTCHECK_SETTINGS": str(Path(folder) / "settings.toml"),
                "CUTCHECK_JOURNAL": str(Path(folder) / "journal.sqlite"),
            },
            stdout=subprocess.DEVNULL,
        )
        try:
            _wait_for(f"http://localhost:{port}/_stcore/health")
            with sync_playwright() as playwright:
                browser = playwright.chromium.launch(
                    executable_path="/usr/bin/chromium", args=["--no-sandbox"]
                )
                for name, (width, height, scale) in SIZES.items():
                    page = browser.new_page(
                        viewport={"width": width, "height": height}, device_scale_factor=scale
                    )
                    page.goto(f"http://localhost:{port}")
                    page.get_by_role("button", name="Try it with a sample photo").click()
                    page.wait_for_selector("text=Everything (JSON)", timeout=120_000)
                    page.wait_for_timeout(1500)
                    page.locator("g.piece[data-n='12'] .hit").click(force=True)
                    page.locator(".panel", has_text="Piece 12:").wait_for()
                    page.wait_for_timeout(2000)
                    page.evaluate("document.querySelector('.cc-mark').scrollIntoView({block: 'start'})")
                    page.wait_for_timeout(500)
                    shoot(page, name)
                    page.close()
                page = browser.new_page(viewport={"width": 1000, "height": 1600})
                page.goto(f"http://localhost:{port}/progress")
                page.get_by_text("Show the term of an invented cook").click()
                page.wait_for_selector("text=Details", timeout=120_000)
                page.wait_for_timeout(1500)
                top = page.get_by_role("heading", name="The mark").bounding_box()
                end = page.locator("summary", has_text="Details").bounding_box()
                assert top is not None
                assert end is not None
                shoot(page, "progress", (0, top["y"] - 12, 1000, end["y"] - top["y"]))
                page.close()
                page = browser.new_page(viewport={"width": 1280, "height": 800})
                page.goto(f"http://localhost:{port}/class")
                page.get_by_role("button", name="Open a sample class").click()
                page.get_by_role("radio", name="Marks").click(timeout=120_000)
                page.locator("g.piece").first.wait_for(timeout=120_000)
                page.wait_for_timeout(2000)
                shoot(page, "page-class")
                browser.close()
        finally:
            server.terminate()
            server.wait(20)


def shoot(page: Page, name: str, part: tuple[float, float, float, float] | None = None) -> None:
    """What is seen of the page, or a part (x, y, width, height) px of it, as a PNG of few colours: some
    100 kB, and sharp text."""
    clip = None if part is None else dict(zip(("x", "y", "width", "height"), part, strict=True))
    image = Image.open(io.BytesIO(page.screenshot(clip=clip))).convert("RGB")
    image.quantize(192, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE).save(
        HERE / f"{name}.png", optimize=True
    )


def _wait_for(url: str) -> None:
    for _ in range(300):
        try:
            urllib.request.urlopen(url, timeout=2).read()
            return
        except OSError:
            time.sleep(0.2)


if __name__ == "__main__":
    marked_picture()
    example_output()
    words()
    page_pictures()
