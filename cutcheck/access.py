"""Who may do what on a page that is open to the network: the code, the keys, the tries and the waits.

Pure: no network and no page. The clock is given, so that tests need not wait. ``page/door.py`` asks here
before a request reaches the page; ``must_be_here`` is asked where journals and settings are reached.
"""

from __future__ import annotations

import hmac
import secrets
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from ipaddress import ip_address
from typing import Literal

Standing = Literal["here", "network"]  # the computer itself, or a phone in the room

CODE_DIGITS = 8  # log2(10^8) = 26.6 bits, in two groups of four as people read them aloud
KEY_BYTES = 16  # 128 bits: nobody guesses that, so keys need no waits
TRIES = 5  # wrong codes of one client before it has to wait
TRIES_OF_ALL = 25  # wrong codes of all clients together before everybody has to wait
FIRST_WAIT_S = 30.0  # doubled with each wrong code after that
LONGEST_WAIT_S = 3600.0
LONGEST_WAIT_OF_ALL_S = 300.0  # shorter, or one stranger could keep a whole class out for an hour
_MOST_CLIENTS = 1000  # whose tries are remembered; who drives others out is stopped by TRIES_OF_ALL


@dataclass(frozen=True, slots=True)
class Keys:
    """What opens the page: ``code`` is typed, ``network`` travels in the squares that a phone scans, ``here``
    in the address that is told on the computer itself. Made anew at each start, kept nowhere."""

    code: str = field(default_factory=lambda: f"{secrets.randbelow(10**CODE_DIGITS):0{CODE_DIGITS}d}")
    network: str = field(default_factory=lambda: secrets.token_urlsafe(KEY_BYTES))
    here: str = field(default_factory=lambda: secrets.token_urlsafe(KEY_BYTES))

    @property
    def code_in_groups(self) -> str:
        """The code as it is shown: ``1234 5678``."""
        return f"{self.code[:4]} {self.code[4:]}"


@dataclass(frozen=True, slots=True)
class Answer:
    """What became of a typed code: ``right``, or how many tries are left before a wait, or the wait, s."""

    right: bool
    left: int = 0
    wait_s: float = 0.0


@dataclass(slots=True)
class _Tries:
    wrong: int = 0
    until: float = 0.0

    def missed(self, now: float, free: int, longest: float) -> None:
        self.wrong += 1
        if self.wrong >= free:
            # the exponent is bounded, or it would overflow after a long night of tries
            self.until = now + min(FIRST_WAIT_S * 2.0 ** min(self.wrong - free, 20), longest)


class Access:
    """The keys of one run of the page, and who has tried codes how often. Safe to call from any thread."""

    def __init__(self, keys: Keys, *, clock: Callable[[], float] = time.monotonic) -> None:
        self.keys = keys
        self._clock = clock
        self._lock = threading.Lock()
        self._clients: OrderedDict[str, _Tries] = OrderedDict()
        self._all = _Tries()

    def standing(self, key: str | None, peer: str | None) -> Standing | None:
        """What a key is good for, ``peer`` being the address at the other end of the connection.

        Only a connection that never left this computer counts as the computer itself, and only with its
        key: behind a relay on this computer every visitor seems to be here.
        """
        if key is None:
            return None
        if _same(key, self.keys.here):
            return "here" if is_loopback(peer) else None
        return "network" if _same(key, self.keys.network) else None

    def try_code(self, typed: str, client: str) -> Answer:
        """Compare a typed code; spaces and dashes don't count. While a client waits nothing is compared."""
        digits = "".join(sign for sign in typed if sign not in " -\t\r\n")
        with self._lock:
            now = self._clock()
            wait = self._wait(client, now)
            if wait > 0:
                return Answer(False, wait_s=wait)
            if _same(digits, self.keys.code):
                self._clients.pop(client, None)
                return Answer(True)
            mine = self._clients.setdefault(client, _Tries())
            self._clients.move_to_end(client)
            if len(self._clients) > _MOST_CLIENTS:
                self._clients.popitem(last=False)
            mine.missed(now, TRIES, LONGEST_WAIT_S)
            self._all.missed(now, TRIES_OF_ALL, LONGEST_WAIT_OF_ALL_S)
            return Answer(False, max(TRIES - mine.wrong, 0), self._wait(client, now))

    def wait_s(self, client: str) -> float:
        """How long this client has to wait before it may try a code, s; 0 if it may now."""
        with self._lock:
            return self._wait(client, self._clock())

    def _wait(self, client: str, now: float) -> float:
        mine = self._clients.get(client)
        return max(self._all.until - now, (mine.until if mine else 0.0) - now, 0.0)


def is_loopback(peer: str | None) -> bool:
    """Whether the other end of a connection is this computer; a name or nothing is not."""
    try:
        return ip_address(peer or "").is_loopback
    except ValueError:
        return False


def _same(given: str, kept: str) -> bool:
    # in constant time; as bytes, since it takes no text beyond ASCII
    return hmac.compare_digest(given.encode("utf-8", "surrogateescape"), kept.encode())


_guard: Callable[[str], None] | None = None
_vouched = threading.local()


def guard_with(check: Callable[[str], None] | None) -> None:
    """Have ``check`` asked before journals or settings are reached; None ends that. The page does so."""
    global _guard
    _guard = check


@contextmanager
def vouched_for() -> Iterator[None]:
    """This thread ends what somebody began who was asked then, and who may have left since."""
    before, _vouched.yes = getattr(_vouched, "yes", False), True
    try:
        yield
    finally:
        _vouched.yes = before


def must_be_here(what: str) -> None:
    """Raises ``not-here`` where somebody on the network asks for ``what``. Scripts and commands pass."""
    if _guard is not None and not getattr(_vouched, "yes", False):
        _guard(what)
