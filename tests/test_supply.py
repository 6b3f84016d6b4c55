"""What is installed with cutcheck: bounded, listed with its licence, and pinned for development."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
NEEDED = [Requirement(text) for text in PROJECT["dependencies"]]
DEVELOPMENT = [Requirement(text) for text in PROJECT["optional-dependencies"]["dev"]]
LOCK = (ROOT / "docs" / "requirements-dev.lock").read_text("utf-8")


def test_every_dependency_has_a_lower_and_an_upper_bound() -> None:
    """Each dependency names the oldest version that works and the next one that nobody tried."""
    for need in NEEDED + DEVELOPMENT:
        assert {one.operator for one in need.specifier} == {">=", "<"}, str(need)


def test_every_dependency_is_listed_with_its_licence() -> None:
    """The table of licences has each package that cutcheck depends on; none is without a licence."""
    page = (ROOT / "docs" / "licences.md").read_text("utf-8")
    rows = dict(re.findall(r"^\| ([a-z0-9-]+) \| [^|]+ \| ([^|]+) \|$", page, re.MULTILINE))
    assert {canonicalize_name(need.name) for need in NEEDED} <= rows.keys()
    assert all(licence.strip() not in ("", "not stated") for licence in rows.values())


def test_the_lock_fits_the_bounds_and_names_no_host() -> None:
    """The locked versions are within the bounds, each with its hashes, and say nothing of where they lie."""
    locked = dict(re.findall(r"^([A-Za-z0-9._-]+)==([^ ;\\]+)", LOCK, re.MULTILINE))
    for need in NEEDED + DEVELOPMENT:
        assert need.specifier.contains(locked[canonicalize_name(need.name)]), str(need)
    entries = re.split(r"\n(?=\S)", LOCK.strip())
    assert all("--hash=sha256:" in entry for entry in entries if not entry.startswith("#"))
    assert "://" not in LOCK
