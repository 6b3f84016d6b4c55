"""Processes that measure photos side by side; one that dies costs its photo and is replaced.

A thread for each process does the asking, so that the same code serves every system.
"""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import threading
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from pathlib import Path
from typing import Any, BinaryIO, NamedTuple, cast

from cutcheck.child import start_child
from cutcheck.errors import CutcheckError

MOST_SECONDS = 300.0  # for one photo: a hundred times what one usually takes
# What OpenMP, OpenBLAS, MKL and Accelerate read when they are loaded; they must be set before.
ONE_THREAD = dict.fromkeys(
    ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"), "1"
)

Kept = dict[str, Any]


class Question(NamedTuple):
    """One photo to be measured: its file, what it is called, and the hash of its bytes."""

    path: Path
    name: str
    sha256: str


def cores() -> int:
    """How many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def measure_all(
    questions: Sequence[Question], asked: Kept, count: int, *, seconds: float = MOST_SECONDS
) -> Iterator[tuple[Question, Kept]]:
    """Each photo with what is kept of it (see ``measuring``), as they are done, by ``count`` processes.

    Where the caller stops (also by Ctrl-C) the processes are ended, and what was not done is not given.
    """
    team = _Team(asked, seconds)
    pool = ThreadPoolExecutor(max(1, min(count, len(questions))))
    try:
        jobs = {pool.submit(team.measure, question): question for question in questions}
        for job in as_completed(jobs):
            yield jobs[job], job.result()
    finally:
        pool.shutdown(wait=False, cancel_futures=True)
        team.end()
        pool.shutdown()


class _Team:
    """The processes, one for each thread that asks."""

    def __init__(self, asked: Kept, seconds: float) -> None:
        self._asked, self._seconds = asked, seconds
        self._mine = threading.local()
        self._lock = threading.Lock()
        self._children: set[subprocess.Popen[bytes]] = set()
        self._ended = False

    def measure(self, question: Question) -> Kept:
        """What is kept of a photo, or the error ``not-finished``."""
        try:
            child = self._child()
        except (OSError, ValueError) as error:
            return _not_finished(question, f"no process could be started: {error}")
        timed_out = threading.Event()

        def give_up() -> None:
            timed_out.set()
            child.kill()

        timer = threading.Timer(self._seconds, give_up)
        timer.daemon = True
        timer.start()
        try:
            return self._ask(child, question)
        except (OSError, ValueError):  # a broken pipe, half an answer: the process is gone
            self._drop(child)
            if timed_out.is_set():
                return _not_finished(question, f"it took longer than {self._seconds:g} seconds")
            return _not_finished(question, _how_it_ended(child.returncode))
        finally:
            timer.cancel()

    def end(self) -> None:
        """End all processes, also those at work."""
        with self._lock:
            self._ended = True
            children = list(self._children)
        for child in children:
            child.kill()
        for child in children:
            self._drop(child)

    def _child(self) -> subprocess.Popen[bytes]:
        child: subprocess.Popen[bytes] | None = getattr(self._mine, "child", None)
        if child is None or child.poll() is not None:
            with self._lock:
                if self._ended:
                    raise OSError("the run was stopped")
                child = start_child("cutcheck.classroom.measuring", ONE_THREAD)
                self._children.add(child)
            self._mine.child = child
        return child

    def _ask(self, child: subprocess.Popen[bytes], question: Question) -> Kept:
        to_child, from_child = cast(BinaryIO, child.stdin), cast(BinaryIO, child.stdout)
        said = {"path": os.fspath(question.path), "name": question.name, "sha256": question.sha256}
        to_child.write(json.dumps({**said, "asked": self._asked}).encode() + b"\n")
        to_child.flush()
        answer = json.loads(from_child.readline())
        if not isinstance(answer, dict):
            raise ValueError(answer)
        return answer

    def _drop(self, child: subprocess.Popen[bytes]) -> None:
        child.kill()
        child.wait()
        for pipe in (child.stdin, child.stdout):
            with contextlib.suppress(OSError, ValueError):
                cast(BinaryIO, pipe).close()
        with self._lock:
            self._children.discard(child)


def _how_it_ended(status: int) -> str:
    if status < 0:
        return f"its process was killed, signal {-status}; often there is too little memory"
    return f"its process ended with status {status}"


def _not_finished(question: Question, why: str) -> Kept:
    return CutcheckError("not-finished", file=question.name, why=why).to_dict()
