"""How a check of a hostile photo ends, and what it cost the processes that took part.

A worker process checks the photos, so that a crash takes nothing with it and only its own memory is counted.
"""

from __future__ import annotations

import json
import os
import select
import subprocess
import sys
import threading
import time
from dataclasses import asdict, dataclass
from pathlib import Path

from hostile_photos import hostile

from cutcheck import decoder
from cutcheck.errors import CutcheckError
from cutcheck.pipeline import check

MOST_SECONDS = 10.0  # of work
MOST_MB = 1000.0
HANG_S = 90.0  # by the clock, on a busy computer
_TICK = os.sysconf("SC_CLK_TCK")


@dataclass(frozen=True)
class Outcome:
    """``end`` is 'result', an error's code, or 'FAULT ...'; seconds by the clock and of work; peak MB."""

    end: str
    seconds: float
    work: float
    peak_mb: float

    @property
    def good(self) -> bool:
        """Whether it ended as it should, within the limits."""
        return not self.end.startswith("FAULT") and self.work < MOST_SECONDS and self.peak_mb < MOST_MB


def outcome(data: bytes) -> Outcome:
    """Check a photo file as the page and the command line do, with the decoder's process beside us."""
    watch = _Watch()
    watch.start()
    started, worked = time.monotonic(), _work()
    try:
        check(data, "medium-dice")
        end = "result"
    except CutcheckError as error:
        end = error.code
    except Exception as error:  # what must not happen is told, not raised, so that the others are still tried
        end = f"FAULT {type(error).__name__}: {str(error)[:80]}"
    seconds, work = time.monotonic() - started, _work() - worked
    watch.done.set()
    watch.join()
    return Outcome(end, round(seconds, 3), round(max(work, 0.0), 3), round(watch.peak_mb))


def work() -> None:
    """The worker: numbers of hostile photos come in, outcomes go out, a line each."""
    for line in sys.stdin:
        print(json.dumps(asdict(outcome(hostile(int(line))[1]))), flush=True)


def worker() -> subprocess.Popen[str]:
    """A new worker process."""
    command = [sys.executable, __file__]
    return subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1)


def asked(process: subprocess.Popen[str], number: int) -> Outcome:
    """What the worker says of a hostile photo; a crash and a hang are faults too, and end it."""
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdin.write(f"{number}\n")
    ready, _, _ = select.select([process.stdout], [], [], HANG_S)
    line = process.stdout.readline() if ready else ""
    if line:
        return Outcome(**json.loads(line))
    process.kill()
    end = f"FAULT the worker crashed ({process.wait()})" if ready else f"FAULT no answer within {HANG_S:g} s"
    return Outcome(end, HANG_S, 0.0, 0.0)


def _decoders() -> list[int]:
    child = decoder._decoder._child
    return [] if child is None or child.poll() is not None else [child.pid]


def _work() -> float:
    """Seconds of processor time of this process and of its children, ended or not."""
    own = os.times()
    seconds = own.user + own.system + own.children_user + own.children_system
    for pid in _decoders():
        try:
            fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
        except OSError:
            continue
        seconds += (int(fields[11]) + int(fields[12])) / _TICK
    return seconds


class _Watch(threading.Thread):
    """Looks every 5 ms at the memory that this process and the decoder hold at the same time."""

    def __init__(self) -> None:
        super().__init__(daemon=True)
        self.done = threading.Event()
        self.peak_mb = 0.0

    def run(self) -> None:
        """Look until told to stop."""
        while True:
            pages = 0
            for pid in ["self", *_decoders()]:
                try:
                    pages += int(Path(f"/proc/{pid}/statm").read_text().split()[1])
                except (OSError, IndexError):
                    continue
            self.peak_mb = max(self.peak_mb, pages * os.sysconf("SC_PAGE_SIZE") / 1e6)
            if self.done.wait(0.005):
                return


if __name__ == "__main__":
    work()
