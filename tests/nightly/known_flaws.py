"""Known flaws of what docs/requirements-dev.lock pins, as the package index that pip is set up for has them.

    python tests/nightly/known_flaws.py
    python tests/nightly/known_flaws.py --packages pillow,streamlit

The index's JSON has a list ``vulnerabilities`` for each version. Where it has none for that very version, the
page of the project is asked, which speaks of the newest one: it counts where that is the one pinned. Exit
status 0: all answered and no flaw; 1: a flaw; 3: no flaw, but not all was answered. A tool that calls
"nothing was answered" a success, as some do, would be no check.
"""

from __future__ import annotations

import argparse
import json
import re
import subprocess
import sys
import urllib.error
import urllib.request
from pathlib import Path
from typing import Any

LOCK = Path(__file__).parents[2] / "docs" / "requirements-dev.lock"
PATIENCE_S = 60.0


def main() -> int:
    """Ask for each package, one after the other, and print what was answered."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--lock", type=Path, default=LOCK)
    parser.add_argument("--packages", default="", metavar="NAME,NAME", help="only these")
    parser.add_argument("--index", help="another one than pip's, as https://host/simple")
    options = parser.parse_args()
    index = options.index or index_of_pip()
    only = set(filter(None, options.packages.split(",")))
    pinned = {
        name: v for name, v in locked(options.lock.read_text("utf-8")).items() if not only or name in only
    }
    flawed, silent = 0, []
    for name, version in pinned.items():
        found = flaws(index, name, version)
        if found is None:
            silent.append(f"{name} {version}")
        for flaw in found or []:
            flawed += 1
            mended = ", ".join(flaw.get("fixed_in") or []) or "no version yet"
            known_as = ", ".join([str(flaw.get("id")), *(flaw.get("aliases") or [])])
            print(f"{name} {version}: {known_as}; mended in {mended}")
    print(f"{len(pinned) - len(silent)} of {len(pinned)} packages answered, known flaws: {flawed}")
    if silent:
        print(f"not answered: {', '.join(silent)}")
    return 1 if flawed else 3 if silent or not pinned else 0


def locked(text: str) -> dict[str, str]:
    """The versions that a lock file pins, by name."""
    return dict(re.findall(r"^([A-Za-z0-9._-]+)==([^ ;\\]+)", text, re.MULTILINE))


def flaws(index: str, name: str, version: str) -> list[dict[str, Any]] | None:
    """The flaws of one version that were not withdrawn; None where the index does not say."""
    base = re.sub(r"/simple/?$", "/pypi", index)
    for address in (f"{base}/{name}/{version}/json", f"{base}/{name}/json"):
        try:
            with urllib.request.urlopen(address, timeout=PATIENCE_S) as answer:
                told = json.load(answer)
        except (OSError, ValueError):
            continue
        known = told.get("vulnerabilities") if isinstance(told, dict) else None
        if isinstance(known, list) and told.get("info", {}).get("version") == version:
            return [flaw for flaw in known if not flaw.get("withdrawn")]
    return None


def index_of_pip() -> str:
    """The address that pip itself would ask: its help names it, with what its settings say."""
    said = subprocess.run(
        [sys.executable, "-m", "pip", "help", "install"], capture_output=True, text=True, check=True
    ).stdout
    found = re.search(r"--index-url <url>.*?\(default\s+(\S+?)\)", said, re.DOTALL)
    if found is None:
        sys.exit("pip's help names no index: give one with --index.")
    return found[1]


if __name__ == "__main__":
    sys.exit(main())
