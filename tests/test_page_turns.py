"""Photos are measured a few at a time, in the order in which they came."""

from __future__ import annotations

import threading
import time

import pytest

from cutcheck.errors import CutcheckError
from cutcheck.page import turns
from cutcheck.page.turns import Turns


def start(queue: Turns, who: str | None, work: threading.Event, done: list[int], number: int) -> list[str]:
    """Take a turn in a thread of its own, held until ``work``; what it is told. Returns once it queues."""
    told: list[str] = []

    def run() -> None:
        with queue.turn(who, told.append):
            work.wait(20)
            done.append(number)

    before = len(queue._queue)
    threading.Thread(target=run, daemon=True).start()
    until(lambda: len(queue._queue) > before)
    return told


def until(true: object) -> None:
    """Wait until a condition holds."""
    deadline = time.monotonic() + 20
    while not true():  # type: ignore[operator]
        assert time.monotonic() < deadline
        time.sleep(0.005)


def test_one_waits_for_the_other_and_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """At one at a time the second and third wait, are told how many come before, and end in their order."""
    monkeypatch.setattr(turns, "_LOOK_S", 0.01)
    queue, done = Turns(1), []
    works = [threading.Event() for _ in range(3)]
    told = [start(queue, None, work, done, n) for n, work in enumerate(works)]
    until(lambda: told[1] and told[2])
    assert told == [[], ["Waiting for 1 other photo"], ["Waiting for 2 other photos"]]
    works[2].set()
    time.sleep(0.1)
    assert done == []
    works[0].set()
    works[1].set()
    until(lambda: len(done) == 3)
    assert done == [0, 1, 2]
    until(lambda: not queue._queue)


def test_a_fault_gives_the_turn_back() -> None:
    """Who fails while measuring does not keep the others waiting."""
    queue = Turns(1)
    with pytest.raises(ZeroDivisionError), queue.turn(None, print):
        raise ZeroDivisionError
    with queue.turn(None, print):
        assert len(queue._queue) == 1


def test_one_address_and_all_together_have_their_limits() -> None:
    """A fifth photo of one phone, and the sixty-first of all, are refused with what to do; others are not."""
    queue, done, work = Turns(1), [], threading.Event()
    for n in range(turns.MOST_OF_ONE):
        start(queue, "192.168.1.7", work, done, n)
    with pytest.raises(CutcheckError, match="give the photo again"), queue.turn("192.168.1.7", print):
        pass
    for n in range(turns.MOST_WAITING - turns.MOST_OF_ONE):
        start(queue, f"192.168.2.{n}", work, done, n)
    with pytest.raises(CutcheckError, match="Many photos"), queue.turn(None, print):
        pass
    work.set()
    until(lambda: not queue._queue)
    assert len(done) == turns.MOST_WAITING
