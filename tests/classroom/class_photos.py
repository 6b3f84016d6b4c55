"""A small class, invented: photos of six dice beside a card, quick to draw and to measure, and its roster."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import light_scene

# photo: the seed that it is drawn from, and the card's number; 2 is there twice, 0 is nobody's
PHOTOS = {
    "ada.jpg": (40, 1),
    "ben.jpg": (41, 2),
    "ben-again.jpg": (46, 2),
    "cy.jpg": (42, 3),
    "who.jpg": (45, 0),
}
BROKEN, COPY = "broken.jpg", "zz-copy-of-ada.jpg"
ROSTER = 'Name;Card no.\r\n"=SUM(1;1)";1\r\nBen Example;2\r\nCy Example;3\r\nDot Example;4\r\n'
OUTPUTS = ("marks.csv", "pieces.csv", "results.xlsx", "to-settle.csv", "failed.csv")


def draw_class(folder: Path) -> Path:
    """Draw the photos into a folder, with one that is none and one that is there twice; the roster beside."""
    photos = folder / "photos"
    photos.mkdir()
    for name, (seed, number) in PHOTOS.items():
        draw(photos / name, seed, number)
    (photos / BROKEN).write_text("no photo")
    (photos / COPY).write_bytes((photos / "ada.jpg").read_bytes())
    (photos / "notes.txt").write_text("an invented class")
    (folder / "roster.csv").write_text(ROSTER, encoding="utf-8")
    return photos


def draw(path: Path, seed: int, number: int) -> None:
    """Write one photo of six dice of 12.7 mm beside a card."""
    dice = ({"shape": "box", "mm": (12.7, 12.7, 12.7), "count": 6, "sd": 0.05},)
    view = {"tilt_deg": 20.0, "above_mm": 270.0, "lean_deg": -90.0, "roll_deg": 0.0, "card_at": (0.27, 0.5)}
    photo, truth = light_scene.scene(seed, size=(1000, 750), pieces=dice, number=number, **view)
    light_scene.save(path, photo, truth)
    path.with_suffix(".json").unlink()


def start(photos: Path, out: Path, *more: str) -> subprocess.Popen[str]:
    """``cutcheck class`` as a process of its own, with the settings of the environment."""
    command = [sys.executable, "-m", "cutcheck", "class", str(photos), "--cut", "medium-dice"]
    command += ["--roster", str(photos.parent / "roster.csv"), "--out", str(out), *more]
    environment = {**os.environ, "CUTCHECK_DEBUG": "1"}
    return subprocess.Popen(
        command,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environment,
        preexec_fn=hear_ctrl_c,
    )


def hear_ctrl_c() -> None:
    """In a process before it starts: tests run in the background of a shell inherit a deaf ear to Ctrl-C."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def outputs(out: Path) -> dict[str, bytes | None]:
    """The bytes of all result files, None for one that is not there."""
    return {name: (out / name).read_bytes() if (out / name).exists() else None for name in OUTPUTS}
