"""The dependencies' bounds are true: install the lowest or the newest versions, and run fast tests.

    python tests/nightly/dependency_bounds.py lowest
    python tests/nightly/dependency_bounds.py newest

Needs the installer ``uv``, which alone can resolve to the lowest. Exit status as pytest's.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
# Each dependency is used by at least one of these, and none needs a browser.
TESTS = (
    "test_photo.py test_decoder.py test_finding.py test_standards.py test_serialise.py "
    "test_verdict.py test_picture.py test_journal.py test_journal_commands.py test_plan_sheet.py "
    "test_station_drawing.py test_page.py test_page_door.py test_card_sheet.py test_cli.py "
    "test_report_pages.py test_whole_file.py test_hostile_files.py "
    "classroom/test_results.py classroom/test_folder_run.py classroom/test_hostile_tables.py "
    "classroom/test_page_class.py classroom/test_names_on_paper.py"
)
RESOLUTION = {"lowest": "lowest-direct", "newest": "highest"}


def main() -> int:
    """Install into a fresh environment, say what was taken, and test."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("which", choices=RESOLUTION)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        python = Path(folder) / "env" / "bin" / "python"
        subprocess.run(["uv", "venv", "-q", "--python", sys.executable, Path(folder) / "env"], check=True)
        install = ["uv", "pip", "install", "-q", "--python", python, "--resolution"]
        # What tests need is taken new: the bounds are those of users.
        tools = ["hatchling", "hypothesis", "openpyxl", "playwright", "pypdfium2", "pytest"]
        subprocess.run([*install, RESOLUTION[options.which], "-e", str(ROOT)], check=True)
        subprocess.run(["uv", "pip", "install", "-q", "--python", python, *tools], check=True)
        subprocess.run(["uv", "pip", "list", "--python", python], check=True)
        tests = [f"tests/{name}" for name in TESTS.split()]
        return subprocess.run(
            [python, "-m", "pytest", "-p", "no:cacheprovider", *tests],
            cwd=ROOT,
            env={**os.environ, "PYTHONPATH": ""},
        ).returncode


if __name__ == "__main__":
    sys.exit(main())
