"""Nothing is sent anywhere: commands, a script and the page run under a watch of all connections."""

from __future__ import annotations

import asyncio
import os
import subprocess
import sys
from pathlib import Path

import pytest
from page_client import visitor
from served import ADDRESS, served

WATCH = Path(__file__).parent / "watch"
SAMPLE = Path(__file__).parents[1] / "cutcheck" / "page" / "sample" / "sample-tray.jpg"


@pytest.fixture
def watched(tmp_path: Path) -> tuple[dict[str, str], Path]:
    """The environment that has a Python process and those under it watched, and the file of what was seen."""
    seen = tmp_path / "seen.txt"
    path = os.pathsep.join(filter(None, (str(WATCH), os.environ.get("PYTHONPATH"))))
    return {"PYTHONPATH": path, "WATCH_FILE": str(seen)}, seen


def left(seen: Path) -> list[str]:
    """What left this computer, one line each; that something was watched at all is checked first."""
    lines = seen.read_text(encoding="utf-8").splitlines()
    assert any(line.startswith("watching") for line in lines)
    return [line for line in lines if not line.startswith("watching")]


def run(environment: dict[str, str], folder: Path, *command: str) -> None:
    """Run Python under the watch in a folder of its own; it must do its work."""
    done = subprocess.run(
        [sys.executable, *command],
        cwd=folder,
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert done.returncode == 0, done.stderr


def test_the_watch_sees(watched: tuple[dict[str, str], Path], tmp_path: Path) -> None:
    """Connections, look-ups and datagrams are written down, those that fail too; loopback is not."""
    environment, seen = watched
    tries = (
        "socket.create_connection(('192.0.2.254', 9), 0.01)",  # RFC 5737: addresses of no one
        "socket.getaddrinfo('cutcheck.invalid', 80)",  # RFC 2606: a name of no one
        "socket.socket(type=socket.SOCK_DGRAM).sendto(b'', ('192.0.2.254', 9))",
        "urllib.request.urlopen('http://cutcheck.invalid/')",
        "socket.create_connection(('127.0.0.1', 1))",
    )
    lines = "".join(f"\ntry: {one}\nexcept OSError: pass" for one in tries)
    run(environment, tmp_path, "-c", f"import socket, urllib.request{lines}")
    told = left(seen)
    for event in ("socket.connect SOCK_STREAM 192.0.2.254", "socket.getaddrinfo  cutcheck.invalid"):
        assert event in told
    assert "socket.sendto  192.0.2.254" in told
    assert any(line.startswith("urllib.Request") for line in told)
    assert not any("127.0.0.1" in line for line in told)


COMMANDS = (
    ("check", str(SAMPLE), "--cut", "macedoine", "--picture", "p.png", "--pdf", "p.pdf", "--keep", "--cook",
     "Ada Example", "--keep-photo"),
    ("check", str(SAMPLE), "--json"),
    ("progress", "Ada Example"),
    ("journal",),
    ("journal", "export", "all.zip"),
    ("practice", "Ada Example"),
    ("card", "--out", "cards.pdf"),
    ("cuts", "julienne"),
    ("settings", "unit", "in"),
)  # fmt: skip


def test_commands_and_a_script_send_nothing(watched: tuple[dict[str, str], Path], tmp_path: Path) -> None:
    """Checking, keeping, looking up, printing and exporting connect to nobody and look no name up."""
    environment, seen = watched
    for command in COMMANDS:
        run(environment, tmp_path, "-m", "cutcheck", *command)
    script = "import sys, cutcheck; cutcheck.check(sys.argv[1], cut='macedoine')"
    run(environment, tmp_path, "-c", script, str(SAMPLE))
    processes = {line for line in seen.read_text().splitlines() if line.startswith("watching")}
    assert len(processes) > len(COMMANDS) + 1  # the processes that decode photos are watched, too
    assert left(seen) == []


@pytest.mark.parametrize("options", [(), ("--on-network", "--address", ADDRESS)], ids=["here", "network"])
def test_the_page_s_server_sends_nothing(
    watched: tuple[dict[str, str], Path], tmp_path: Path, tray_photo: Path, options: tuple[str, ...]
) -> None:
    """Started, visited, given a photo and ended, the page's server connects to nobody."""
    environment, seen = watched

    async def visit(port: int, cookie: str) -> None:
        async with visitor(port, cookie) as one:
            assert not (await one.open()).errors
            assert (await one.check("tray.jpg", tray_photo.read_bytes())).pieces == 12

    with served(tmp_path, *options, environment=environment) as page:
        key = page.at_the_computer.partition("?key=")[2] if options else ""
        asyncio.run(visit(page.port, f"cutcheck_key_{page.port}={key}" if key else ""))
    assert left(seen) == []


def test_finding_the_own_address_asks_nobody(watched: tuple[dict[str, str], Path], tmp_path: Path) -> None:
    """The system is asked which way a datagram would go (RFC 5737: to no one); none is sent."""
    environment, seen = watched
    run(environment, tmp_path, "-c", "from cutcheck.network import lan_address; lan_address()")
    assert left(seen) == ["socket.connect SOCK_DGRAM 203.0.113.1"]
