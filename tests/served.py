"""``cutcheck serve`` in a process of its own, for tests: started, read, and ended."""

from __future__ import annotations

import os
import re
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from cutcheck.network import lan_address

# A computer without a network still has a second address of its own: any of 127.0.0.0/8 (RFC 1122, 3.2.1.3).
ADDRESS = lan_address() or "127.0.0.2"


@dataclass(frozen=True)
class Served:
    """A running page: what it printed, its port, and its process."""

    said: str
    port: int
    process: subprocess.Popen[str]
    journal: Path
    log: Path

    @property
    def code(self) -> str:
        """The code as it was printed."""
        found = re.search(r"give the code (\d{4} \d{4})", self.said)
        assert found
        return found[1]

    @property
    def at_the_computer(self) -> str:
        """The address, with its key, that is meant for the computer itself."""
        found = re.search(rf"http://localhost:{self.port}\S*", self.said)
        assert found
        return found[0]

    @property
    def on_the_network(self) -> str:
        """The address, without a key, that phones open."""
        return f"http://{ADDRESS}:{self.port}"


def free_port() -> int:
    """A port that nobody listens at."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


@contextmanager
def served(folder: Path, *options: str, environment: dict[str, str] | None = None) -> Iterator[Served]:
    """Run ``cutcheck serve`` with a journal and settings of its own in ``folder``."""
    port = free_port()
    journal = folder / "journal.sqlite"
    log = folder / "said.txt"
    with log.open("w", encoding="utf-8") as out:
        process = subprocess.Popen(
            [sys.executable, "-m", "cutcheck", "serve", "--port", str(port), *options],
            cwd=folder,
            env={
                **os.environ,
                "CUTCHECK_SETTINGS": str(folder / "settings.toml"),
                "CUTCHECK_JOURNAL": str(journal),
                "PYTHONUNBUFFERED": "1",
                "PYTHONIOENCODING": "utf-8",
                **(environment or {}),
            },
            stdout=out,
            stderr=subprocess.STDOUT,
            text=True,
        )
        try:
            for _ in range(300):
                said = log.read_text(encoding="utf-8")
                assert process.poll() is None, said
                if "Ctrl-C" in said and _answers(port):
                    break
                time.sleep(0.2)
            yield Served(log.read_text(encoding="utf-8"), port, process, journal, log)
        finally:
            process.terminate()
            process.wait(20)


def _answers(port: int) -> bool:
    try:
        urllib.request.urlopen(f"http://localhost:{port}/_stcore/health", timeout=2).read()
    except urllib.error.HTTPError as error:
        return error.code == 403
    except OSError:
        return False
    return True
