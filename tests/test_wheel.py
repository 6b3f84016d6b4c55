"""The wheel: what a user installs holds all that the checkout does, and works without it."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGES = ("cutcheck", "reference_dims")


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built from the checkout as a release is."""
    place = tmp_path_factory.mktemp("wheel")
    command = [
        sys.executable,
        "-m",
        "pip",
        "wheel",
        "-q",
        "--no-deps",
        "--no-build-isolation",
        "-w",
        place,
        ROOT,
    ]
    subprocess.run(command, check=True, timeout=300)
    (built,) = place.glob("cutcheck-*.whl")
    return built


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder that holds the unpacked wheel and nothing of the checkout."""
    place = tmp_path_factory.mktemp("installed")
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(place)
    return place


def run(installed: Path, *command: str) -> str:
    """What Python says when it finds the packages in the unpacked wheel only."""
    environment = {**os.environ, "PYTHONPATH": str(installed)}
    done = subprocess.run(
        [sys.executable, *command],
        cwd=installed,
        env=environment,
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_every_file_of_the_packages_is_in_the_wheel(wheel: Path) -> None:
    """Code, sizes, fonts, page and sample photo: nothing that the packages hold is left behind."""
    there = set(zipfile.ZipFile(wheel).namelist())
    held = {
        str(path.relative_to(ROOT))
        for package in PACKAGES
        for path in (ROOT / package).rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    assert held <= there
    assert {"cutcheck/py.typed", "cutcheck/page/main.py", "reference_dims/metric.toml"} <= there


def test_only_the_packages_are_in_the_wheel(wheel: Path) -> None:
    """Tests, renderer and sample images stay out, and the licence is in."""
    names = zipfile.ZipFile(wheel).namelist()
    tops = {name.split("/")[0] for name in names}
    assert tops - set(PACKAGES) == {f"{wheel.name.split('-py3')[0]}.dist-info"}
    assert any(name.endswith("licenses/LICENSE") for name in names)
    assert sum(info.file_size for info in zipfile.ZipFile(wheel).infolist()) < 5_000_000


def test_the_sample_photo_is_found_and_read_in_an_installed_wheel(installed: Path) -> None:
    """From the wheel alone, the page's sample is found by importlib.resources and is a good photo."""
    code = (
        "import cutcheck; from importlib import resources; from cutcheck.photo import read_photo\n"
        "folder = resources.files('cutcheck.page').joinpath('sample')\n"
        "photos = [read_photo(p.read_bytes()) for p in folder.iterdir() if p.name.endswith('.jpg')]\n"
        "print(cutcheck.__file__, len(photos), min(p.info.width_px for p in photos))"
    )
    place, count, width = run(installed, "-c", code).split()
    assert Path(place).is_relative_to(installed)
    assert int(count) >= 1
    assert int(width) >= 1000


def test_the_command_works_from_an_installed_wheel(installed: Path) -> None:
    """From the wheel alone, ``cutcheck cuts`` lists the cuts with their sizes."""
    assert "julienne" in run(installed, "-m", "cutcheck", "cuts").lower()
