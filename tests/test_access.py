"""Codes, keys, tries and waits of a page that is open to the network, with a clock that the test turns."""

from __future__ import annotations

import math
from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cutcheck import access as rooms
from cutcheck.access import Access, Keys, guard_with, is_loopback, must_be_here
from cutcheck.errors import CutcheckError
from cutcheck.journal import Journal, journal_path
from cutcheck.settings import Settings, save_settings

NOW = Keys(code="12345678", network="the-network-key", here="the-here-key")


class Clock:
    """Seconds, as the test has them."""

    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


def opened() -> tuple[Access, Clock]:
    """Access with known keys and a clock that stands still."""
    clock = Clock()
    return Access(NOW, clock=clock), clock


def test_five_wrong_codes_make_a_client_wait_even_with_the_right_one() -> None:
    """After the fifth wrong code nothing is compared for half a minute; then the right one opens."""
    access, clock = opened()
    lefts = [access.try_code("00000000", "10.0.0.7").left for _ in range(5)]
    assert lefts == [4, 3, 2, 1, 0]
    refused = access.try_code("12345678", "10.0.0.7")
    assert (refused.right, refused.wait_s) == (False, 30.0)
    assert access.try_code("12345678", "10.0.0.8").right  # another client need not wait
    clock.now += 29.9
    assert not access.try_code("12345678", "10.0.0.7").right
    clock.now += 0.2
    assert access.try_code("1234 5678", "10.0.0.7").right
    assert access.wait_s("10.0.0.7") == 0.0


def test_the_wait_doubles_with_each_wrong_code_up_to_an_hour() -> None:
    """Half a minute, one, two ... and never more than an hour."""
    access, clock = opened()
    waits = []
    for _ in range(16):
        answer = access.try_code("0", "10.0.0.7")
        waits.append(answer.wait_s)
        clock.now += answer.wait_s
    assert waits[:4] == [0.0] * 4
    assert waits[4:] == [min(30.0 * 2**n, 3600.0) for n in range(12)]


def test_many_clients_together_are_made_to_wait() -> None:
    """Who changes the address for each try is stopped after 25 codes, for five minutes at the most."""
    access, clock = opened()
    compared = 0
    for n in range(200):
        answer = access.try_code("00000000", f"10.0.{n // 200}.{n % 200}")
        compared += answer.left > 0
    assert compared == rooms.TRIES_OF_ALL
    for n in range(30):
        clock.now += access.wait_s("elsewhere")
        access.try_code("0", f"10.1.0.{n}")
        assert access.wait_s("elsewhere") <= rooms.LONGEST_WAIT_OF_ALL_S


tries = st.lists(
    st.tuples(st.sampled_from("abcdefgh"), st.floats(0, 4000), st.booleans()), min_size=1, max_size=150
)


@given(tries)
def test_whatever_is_tried_waits_are_kept_and_only_grow(attempts: list[tuple[str, float, bool]]) -> None:
    """A right code opens exactly when its client need not wait; a client's waits grow between right codes."""
    access, clock = opened()
    wrong: Counter[str] = Counter()
    last: dict[str, float] = {}
    for client, pause, right in attempts:
        clock.now += pause
        waiting = access.wait_s(client)
        answer = access.try_code(NOW.code if right else "9", client)
        assert answer.right == (right and waiting == 0)
        if waiting:
            assert answer.wait_s == waiting
        elif right:
            wrong[client], last[client] = 0, 0.0
        else:
            wrong[client] += 1
            assert answer.left == max(5 - wrong[client], 0)
            assert (answer.wait_s >= 30.0) or wrong[client] < 5
            if wrong[client] >= 5:
                own = min(30.0 * 2.0 ** (wrong[client] - 5), 3600.0)
                assert own >= last.get(client, 0.0)
                assert answer.wait_s >= own
                last[client] = own


@given(st.lists(st.floats(0, 3600), min_size=50, max_size=400))
def test_a_day_of_guessing_hardly_finds_a_code(pauses: list[float]) -> None:
    """However guesses are spread, all clients together get 25 and one more each wait."""
    access, clock = opened()
    start, compared = clock.now, 0
    for n, pause in enumerate(pauses):
        clock.now += pause
        if access.wait_s(f"c{n}") == 0:
            access.try_code("9", f"c{n}")
            compared += 1
    days = (clock.now - start) / 86400
    most = rooms.TRIES_OF_ALL + days * 86400 / rooms.LONGEST_WAIT_OF_ALL_S + 4
    assert compared <= most
    assert (rooms.TRIES_OF_ALL + 288 + 4) / 10**rooms.CODE_DIGITS < 1e-5


@given(st.text(max_size=40))
def test_no_other_text_is_the_code(typed: str) -> None:
    """Only the eight digits open, spaces and dashes left aside."""
    access, _ = opened()
    digits = "".join(sign for sign in typed if sign not in " -\t\r\n")
    assert access.try_code(typed, "a").right == (digits == NOW.code)
    assert access.try_code("1234-5678", "a").right


def test_codes_and_keys_are_drawn_anew() -> None:
    """A code has eight digits, log2(10^8) = 26.6 bits, noughts first too; no two starts share keys."""
    drawn = [Keys() for _ in range(300)]
    assert all(len(keys.code) == 8 and keys.code.isdigit() for keys in drawn)
    assert any(keys.code.startswith("0") for keys in drawn)  # misses with probability 0.9^300 = 2e-14
    assert len({keys.network for keys in drawn} | {keys.here for keys in drawn}) == 600
    assert math.isclose(math.log2(10**rooms.CODE_DIGITS), 26.6, abs_tol=0.05)
    assert Keys(code="00420017").code_in_groups == "0042 0017"


@pytest.mark.parametrize(
    ("key", "peer", "standing"),
    [
        ("the-here-key", "127.0.0.1", "here"),
        ("the-here-key", "::1", "here"),
        ("the-here-key", "192.168.1.20", None),  # the address was passed on to a phone
        ("the-here-key", None, None),
        ("the-here-key", "localhost", None),
        ("the-network-key", "192.168.1.20", "network"),
        ("the-network-key", "127.0.0.1", "network"),  # behind a relay everybody seems to be here
        ("the-network-keY", "127.0.0.1", None),
        ("", "127.0.0.1", None),
        (None, "127.0.0.1", None),
        ("schlüssel\udcff", "127.0.0.1", None),
    ],
)
def test_being_here_takes_the_key_and_the_loopback(key: str | None, peer: str | None, standing: str) -> None:
    """The computer itself shows its own key over a connection that never left it; nothing less."""
    assert opened()[0].standing(key, peer) == standing


def test_loopback_is_what_the_standards_say() -> None:
    """127.0.0.0/8 (RFC 1122, 3.2.1.3) and ::1 (RFC 4291, 2.5.3) are this computer, others are not."""
    assert [is_loopback(peer) for peer in ("127.0.0.1", "127.9.9.9", "::1")] == [True] * 3
    others = ("10.0.0.1", "192.168.0.1", "::", "0.0.0.0", "fe80::1", "128.0.0.1", "", None, "127.0.0.1:80")
    assert [is_loopback(peer) for peer in others] == [False] * len(others)


def test_the_memory_of_tries_is_bounded() -> None:
    """However many addresses try, those of the last thousand are remembered."""
    access, clock = opened()
    for n in range(3000):
        clock.now += 301.0
        access.try_code("9", f"client {n}")
    assert len(access._clients) == 1000


def test_journal_and_settings_are_guarded_where_they_are_reached() -> None:
    """Who is not here can open no journal, not even an open one, nor save settings; nothing is made."""
    journal = Journal.open()
    journal.add_cook("Ada Example")

    def nobody(what: str) -> None:
        raise CutcheckError("not-here", what=what)

    guard_with(nobody)
    try:
        for reach in (Journal.open, journal.cooks, lambda: journal.add_cook("Ben Example")):
            with pytest.raises(CutcheckError, match="Journals and classes stay with the computer"):
                reach()
        with pytest.raises(CutcheckError, match="Settings stay with the computer"):
            save_settings(Settings(unit="in"))
        journal_path().rename(journal_path().with_name("elsewhere.sqlite"))
        with pytest.raises(CutcheckError):
            Journal.open()
        assert not journal_path().exists()
    finally:
        guard_with(None)
    must_be_here("Anything")
