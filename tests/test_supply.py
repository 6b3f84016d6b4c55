"""What is installed with cutcheck: bounded, listed with its licence, and pinned for development."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import threading
import tomllib
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
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


FLAW = {"id": "X-1", "aliases": ["CVE-0"], "fixed_in": ["1.1"], "withdrawn": None}
WITHDRAWN = {**FLAW, "id": "X-2", "withdrawn": "2026-01-01T00:00:00Z"}
# What an index answers, in the form of PyPI's JSON API ("vulnerabilities" of a release and of a project).
ANSWERS = {
    "/pypi/flawed/1.0/json": {"info": {"version": "1.0"}, "vulnerabilities": [FLAW, WITHDRAWN]},
    "/pypi/good/1.0/json": {"info": {"version": "1.0"}, "vulnerabilities": [WITHDRAWN]},
    "/pypi/newest/json": {"info": {"version": "1.0"}, "vulnerabilities": []},
    "/pypi/older/json": {"info": {"version": "2.0"}, "vulnerabilities": []},
    "/pypi/silent/1.0/json": {"info": {"version": "1.0"}},
}


class Index(BaseHTTPRequestHandler):
    """An index of packages on this computer."""

    def do_GET(self) -> None:
        """One of the answers, or 404."""
        told = ANSWERS.get(self.path)
        self.send_response(404 if told is None else 200)
        self.end_headers()
        self.wfile.write(json.dumps(told).encode())

    def log_message(self, *_: object) -> None:
        """Nothing is printed."""


@pytest.fixture
def index() -> Iterator[str]:
    """Its address."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), Index)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_port}/simple"
    server.shutdown()


@pytest.mark.parametrize(
    ("pinned", "status", "said"),
    [
        (["flawed", "good"], 1, "X-1, CVE-0; mended in 1.1\n2 of 2 packages answered, known flaws: 1"),
        (["good", "newest"], 0, "2 of 2 packages answered, known flaws: 0"),
        (["good", "older"], 3, "1 of 2 packages answered, known flaws: 0\nnot answered: older 1.0"),
        (["silent", "unknown"], 3, "not answered: silent 1.0, unknown 1.0"),
        ([], 3, "0 of 0 packages answered"),
    ],
)  # fmt: skip
def test_known_flaws_are_told_and_silence_is_no_success(
    pinned: list[str], status: int, said: str, index: str, tmp_path: Path
) -> None:
    """A flaw that was not withdrawn fails the check; so does an index that says nothing of a version."""
    lock = tmp_path / "lock"
    lock.write_text("".join(f"{name}==1.0 \\\n    --hash=sha256:0\n" for name in pinned))
    script = ROOT / "tests" / "nightly" / "known_flaws.py"
    done = subprocess.run(
        [sys.executable, str(script), "--lock", str(lock), "--index", index], capture_output=True, text=True
    )
    assert done.returncode == status, done.stderr
    assert said in done.stdout
