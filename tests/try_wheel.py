"""Try an installed wheel from outside: no source tree, nothing but its own environment. Used by .ci/run.

    python tests/try_wheel.py ENVIRONMENT PHOTO

Checks a photo by the installed command, then starts the page and asks it for its first file.
"""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from urllib.request import urlopen


def free_port() -> int:
    """A port that nobody uses now."""
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def main(environment: Path, photo: Path) -> None:
    """Raises where something does not work."""
    command = str(environment / "bin" / "cutcheck")
    variables = {**os.environ, "PYTHONPATH": "", "PYTHONSAFEPATH": "1", "BROWSER": "true"}
    with tempfile.TemporaryDirectory() as folder:
        where = subprocess.run(
            [environment / "bin" / "python", "-c", "import cutcheck; print(cutcheck.__file__)"],
            cwd=folder, env=variables, check=True, capture_output=True, text=True,
        ).stdout.strip()  # fmt: skip
        assert Path(where).is_relative_to(environment), where
        said = subprocess.run(
            [command, "check", photo, "--json"], cwd=folder, env=variables, check=True, capture_output=True
        ).stdout
        pieces = len(json.loads(said)["pieces"])
        assert pieces > 0
        port = free_port()
        page = subprocess.Popen([command, "serve", "--port", str(port)], cwd=folder, env=variables,
                                stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)  # fmt: skip
        try:
            print(f"{where}: {pieces} pieces, page: {answer(port, page)}")
        finally:
            page.terminate()
            page.wait(20)


def answer(port: int, page: subprocess.Popen[bytes], seconds: float = 60.0) -> int:
    """The page's status as HTTP tells it, as soon as it answers."""
    end = time.monotonic() + seconds
    while True:
        try:
            with urlopen(f"http://127.0.0.1:{port}/_stcore/health", timeout=5) as reply:
                return int(reply.status)
        except OSError:
            if time.monotonic() > end or page.poll() is not None:
                raise
            time.sleep(0.2)


if __name__ == "__main__":
    main(Path(sys.argv[1]).resolve(), Path(sys.argv[2]).resolve())
