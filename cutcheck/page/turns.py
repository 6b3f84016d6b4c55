"""Taking turns: few photos are measured at once, in the order in which they came.

A photo of twelve megapixels takes some hundred megabytes while it is measured; a whole class that presses at
once would take them all at the same time, and finish no sooner.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from cutcheck import words
from cutcheck.errors import CutcheckError

MOST_WAITING = 60  # photos of all visitors together
MOST_OF_ONE = 4  # photos of one address in the network, whatever number of windows it opens
_LOOK_S = 1.0
_M_ARENA_MAX = -8  # glibc, malloc.h


class Turns:
    """A queue whose first ``at_once`` are being measured."""

    def __init__(self, at_once: int) -> None:
        self.at_once = at_once
        self._queue: list[tuple[object, str | None]] = []
        self._changed = threading.Condition()

    @contextmanager
    def turn(self, who: str | None, tell: Callable[[str], object]) -> Iterator[None]:
        """Wait for a turn, and keep it while the block runs. ``who``: an address in the network, None at the
        computer itself. ``tell`` is told how many come before. Raises ``busy`` where too many wait."""
        ticket = (object(), who)
        with self._changed:
            if len(self._queue) >= MOST_WAITING or (who and self._of(who) >= MOST_OF_ONE):
                raise CutcheckError("busy")
            self._queue.append(ticket)
        try:
            told = 0
            while (before := self._before(ticket)) > 0:
                if before != told:
                    tell(f"Waiting for {words.count(before, 'other photo')}")
                    told = before
            yield
        finally:
            with self._changed:
                self._queue.remove(ticket)
                self._changed.notify_all()
            _give_back()

    def _of(self, who: str) -> int:
        return sum(one == who for _, one in self._queue)

    def _before(self, ticket: tuple[object, str | None]) -> int:
        """How many must end before it is this ticket's turn: at once if none, else after a moment's wait."""
        with self._changed:
            before = self._queue.index(ticket) - self.at_once + 1
            if before > 0:
                self._changed.wait(_LOOK_S)
                before = self._queue.index(ticket) - self.at_once + 1
            return before


def _give_back() -> None:
    """Hand freed memory back to the system. Each run of the page is a thread of its own, and the C library
    (glibc; others have no such call) would keep what threads that have ended had for their pictures."""
    with contextlib.suppress(OSError, AttributeError, TypeError):
        ctypes.CDLL(None).malloc_trim(0)


def few_pools() -> None:
    """Before the page starts: have the C library (glibc) share two pools of memory among all threads. With
    one for nearly each, every pool grows to what a photo takes, though few are measured at once."""
    with contextlib.suppress(OSError, AttributeError, TypeError):
        ctypes.CDLL(None).mallopt(_M_ARENA_MAX, 2)


turns = Turns(min(os.cpu_count() or 1, 4))
