"""Write docs/licences.md: what is installed with cutcheck, under which licence, from the packages' metadata.

    python docs/make_licences.py
"""

from __future__ import annotations

import re
import tomllib
from importlib.metadata import Distribution, distribution
from pathlib import Path

from packaging.requirements import Requirement

PROJECT = Path(__file__).parents[1] / "pyproject.toml"
PAGE = Path(__file__).parent / "licences.md"
HEAD = """\
# Licences of what is installed with cutcheck

Written by `python docs/make_licences.py` from the metadata of what is installed, versions as of that day.
cutcheck itself is under Apache-2.0 and holds none of these packages.

pillow-heif: the code is BSD-3-Clause, but its wheel as a whole is under GPLv2, because it holds x265, an
encoder that cutcheck never calls.

| package | version | licence, as the package states it |
|---|---|---|
"""


def needed() -> dict[str, Distribution]:
    """What pyproject.toml depends on, and what that does, by names in lower case; for this platform."""
    found: dict[str, Distribution] = {}
    project = tomllib.loads(PROJECT.read_text("utf-8"))["project"]
    left: list[tuple[str, set[str]]] = [(text, set()) for text in project["dependencies"]]
    while left:
        text, extras = left.pop()
        need = Requirement(text)
        if need.marker and not any(need.marker.evaluate({"extra": extra}) for extra in ("", *extras)):
            continue
        key = re.sub(r"[-_.]+", "-", need.name).lower()
        if key not in found:
            found[key] = distribution(need.name)
            left += [(text, need.extras) for text in found[key].requires or ()]
    return found


def licence(package: Distribution) -> str:
    """The licence that a package states: the expression, else its classifiers, else its first line."""
    meta = package.metadata
    if stated := meta.get("License-Expression"):
        return str(stated)
    classes = [c.split(" :: ")[-1] for c in meta.get_all("Classifier") or () if c.startswith("License ::")]
    if classes:
        return ", ".join(classes)
    return str(meta.get("License") or "not stated").splitlines()[0]


def main() -> None:
    """Write the page."""
    there = sorted(needed().items())
    rows = [f"| {key} | {one.version} | {licence(one)} |\n" for key, one in there]
    PAGE.write_text(HEAD + "".join(rows), encoding="utf-8")


if __name__ == "__main__":
    main()
