"""Makes the README's pictures and its example of output with the program itself, so that they stay true.

    python docs/make_pictures.py

Needs Chromium (Debian's package) and the development extras. The photo is the rendered sample of the page.
"""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path

from PIL import Image
from playwright.sync_api import sync_playwright

HERE = Path(__file__).parent
ROOT = HERE.parent
SAMPLE = ROOT / "cutcheck" / "page" / "sample" / "sample-tray.jpg"
START, END = "<!-- example -->", "<!-- end of example -->"
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
    readme = ROOT / "README.md"
    before, _, rest = readme.read_text("utf-8").partition(START)
    _, _, after = rest.partition(END)
    shown = f"$ .venv/bin/cutcheck check {SAMPLE.name} --cut macedoine\n{done.stdout.rstrip()}"
    readme.write_text(f"{before}{START}\n```\n{shown}\n```\n{END}{after}", "utf-8")


def page_pictures() -> None:
    """The page with the sample checked and a piece pressed, at phone and at desk width."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with tempfile.TemporaryDirectory() as folder:
        server = subprocess.Popen(
            [sys.executable, "-m", "streamlit", "run", "app.py", "--server.port", str(port)],
            cwd=ROOT,
            env={**os.environ, "CUTCHECK_SETTINGS": str(Path(folder) / "settings.toml")},
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
                    page.wait_for_selector("text=Take it with you", timeout=120_000)
                    page.wait_for_timeout(1500)
                    page.locator("g.piece[data-n='12'] .hit").click(force=True)
                    page.wait_for_selector("text=Piece 12:")
                    page.wait_for_timeout(2000)
                    if width < 500:
                        page.locator(".cc-mark").scroll_into_view_if_needed()
                        page.evaluate("document.querySelector('.cc-mark').scrollIntoView({block: 'start'})")
                        page.wait_for_timeout(500)
                    page.screenshot(path=HERE / f"{name}.png")
                browser.close()
        finally:
            server.terminate()
            server.wait(20)


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
    page_pictures()
