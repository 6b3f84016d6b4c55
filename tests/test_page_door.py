"""The door before the page, asked as browsers, phones and strangers ask, without a network."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field
from typing import Any

import pytest

from cutcheck.access import Access, Keys
from cutcheck.page.door import Door

KEYS = Keys(code="12345678", network="network-key", here="here-key")
HOSTS = ("localhost", "127.0.0.1", "192.168.1.20")
PHONE = "192.168.1.77"


@dataclass
class Answer:
    """What came back: status (or the socket's close code), headers, text; ``inside``: the page answered."""

    status: int
    headers: dict[str, str] = field(default_factory=dict)
    text: str = ""

    @property
    def inside(self) -> bool:
        return self.text == "the page"


class Clock:
    """Seconds, as the test has them."""

    now = 0.0

    def __call__(self) -> float:
        return self.now


async def page(scope: Any, receive: Any, send: Any) -> None:
    """In place of the page: answers everything."""
    if scope["type"] == "websocket":
        await send({"type": "websocket.accept"})
        return
    await send({"type": "http.response.start", "status": 200, "headers": []})
    await send({"type": "http.response.body", "body": b"the page"})


@pytest.fixture
def door() -> Door:
    """A door open to the network, with known keys and a clock that stands still."""
    return Door(page, Access(KEYS, clock=Clock()), HOSTS, 8501)


def ask(
    door: Door,
    path: str = "/",
    *,
    method: str = "GET",
    peer: str = PHONE,
    kind: str = "http",
    body: bytes = b"",
    key: str | None = None,
    **headers: str,
) -> Answer:
    """One request. Header names are given with underscores."""
    given = {"host": "192.168.1.20:8501", "accept": "text/html", **headers}
    if key is not None:
        given["cookie"] = f"other=1; cutcheck_key_8501={key}"
    path, _, query = path.partition("?")
    scope = {
        "type": kind, "method": method, "path": path, "raw_path": path.encode(),
        "query_string": query.encode(),
        "headers": [(n.replace("_", "-").encode(), v.encode("latin-1")) for n, v in given.items()],
        "client": (peer, 50000), "server": ("192.168.1.20", 8501), "scheme": "http", "root_path": "",
    }  # fmt: skip
    sent: list[dict[str, Any]] = []

    async def receive() -> dict[str, Any]:
        if kind == "websocket":
            return {"type": "websocket.connect"}
        return {"type": "http.request", "body": body, "more_body": False}

    async def send(message: Any) -> None:
        sent.append(message)

    asyncio.run(door(scope, receive, send))
    if kind == "websocket":
        return Answer(sent[0].get("code", 101))
    told = {name.decode(): value.decode() for name, value in sent[0]["headers"]}
    return Answer(sent[0]["status"], told, b"".join(m.get("body", b"") for m in sent[1:]).decode())


def code(door: Door, typed: str, **options: Any) -> Answer:
    """Send a code as the form does."""
    return ask(door, "/enter", method="POST", body=f"code={typed}".encode(), **options)


def test_without_a_key_only_the_question_is_seen(door: Door) -> None:
    """Pages ask for the code; files, uploads, downloads and the page's socket are refused."""
    for path in ("/", "/progress", "/check?x=1", "/../etc/passwd"):
        answer = ask(door, path)
        assert (answer.status, "What is the code?" in answer.text) == (401, True)
    for path in ("/_stcore/health", "/media/a.jpg", "/static/js/x.js", "/_stcore/metrics"):
        assert ask(door, path, accept="*/*").status == 403
    assert ask(door, "/_stcore/upload_file/a/b", method="PUT").status == 403
    assert ask(door, "/_stcore/stream", kind="websocket").status == 4403
    for wrong in ("", "network-kez", "12345678", "é" * 50):
        assert ask(door, key=wrong.encode().decode("latin-1")).status == 401


def test_the_code_lets_a_phone_in_and_a_cookie_remembers_it(door: Door) -> None:
    """The right code leads to the page with a cookie that scripts and other sites' requests don't get."""
    answer = code(door, "1234+5678")
    assert (answer.status, answer.headers["location"]) == (303, "/")
    cookie = answer.headers["set-cookie"].lower()
    assert "cutcheck_key_8501=network-key" in cookie
    assert {"httponly", "samesite=lax"} <= {part.strip() for part in cookie.split(";")}
    for kind in ("http", "websocket"):
        answer = ask(door, key="network-key", kind=kind)
        assert answer.inside or answer.status == 101


def test_a_scanned_address_lets_in_and_loses_its_key(door: Door) -> None:
    """The key goes from the address into the cookie; a key of an earlier start is told as such."""
    answer = ask(door, "/cuts?key=network-key")
    assert (answer.status, answer.headers["location"]) == (303, "/cuts")
    assert ask(door, "//evil.example/?key=network-key").headers["location"] == "/evil.example/"
    answer = ask(door, "/?key=yesterday")
    assert (answer.status, "an earlier start" in answer.text) == (401, True)


def test_the_computers_own_key_is_good_only_there(door: Door) -> None:
    """From the network the computer's own key opens nothing, whatever a header claims."""
    claims = {"x_forwarded_for": "127.0.0.1", "forwarded": "for=127.0.0.1", "x_real_ip": "127.0.0.1"}
    assert ask(door, "/?key=here-key", peer="127.0.0.1", host="localhost:8501").status == 303
    assert ask(door, key="here-key", peer="127.0.0.1", host="localhost:8501").inside
    assert ask(door, "/?key=here-key", **claims).status == 401
    assert ask(door, key="here-key", **claims).status == 401
    assert ask(door, key="here-key", host="localhost:8501", **claims).status == 401


def test_five_wrong_codes_and_a_wait(door: Door) -> None:
    """Told how many tries are left, then how long to wait; the form goes, and the right code is not taken."""
    for left in ("4 tries are", "3 tries are", "2 tries are", "1 try is"):
        answer = code(door, "00000000", x_forwarded_for=f"10.0.0.{left[0]}")
        assert (answer.status, left in answer.text) == (401, True)
    for typed in ("00000000", "12345678"):
        answer = code(door, typed, x_forwarded_for="10.0.0.9")
        assert (answer.status, "Try again in 30 seconds" in answer.text) == (429, True)
        assert '<form method="post" action="/enter" hidden>' in answer.text
    assert ask(door, "/?key=network-key").status == 303  # who scans need not wait for a stranger's tries
    assert code(door, "12345678", peer="192.168.1.78").status == 303


def test_another_name_is_refused(door: Door) -> None:
    """A stranger's page whose name points here gets nothing, with or without a key, also where no code is."""
    shut = Door(page, None, HOSTS[:2], 8501)
    for host in ("evil.example", "evil.example:8501", "localhost.evil.example", "", "[::1", "127.0.0.1@evil"):
        assert ask(door, key="here-key", peer="127.0.0.1", host=host).status == 403
        assert ask(shut, peer="127.0.0.1", host=host).status == 403
        assert ask(shut, peer="127.0.0.1", host=host, kind="websocket").status == 4403
    for host in ("localhost:8501", "LOCALHOST", "127.0.0.1:8501"):
        assert ask(shut, peer="127.0.0.1", host=host).inside


def test_another_sites_form_can_not_use_up_the_tries(door: Door) -> None:
    """A code that is sent from another site's page is refused and does not count."""
    for _ in range(10):
        assert code(door, "0", origin="http://evil.example").status == 403
    assert code(door, "12345678", origin="http://192.168.1.20:8501").status == 303


def test_odd_forms_are_wrong_codes(door: Door) -> None:
    """Long, empty and odd forms are answered like a wrong code."""
    for n, body in enumerate((b"code=" + b"1" * 5000, b"", b"\xff\xfe", b"kode=12345678", b"code[]=1")):
        answer = ask(door, "/enter", method="POST", body=body, peer=f"10.0.0.{n}")
        assert (answer.status, "4 tries" in answer.text) == (401, True)


def test_uploads_from_the_network_are_few_at_once() -> None:
    """Of six photos that phones send together four arrive at once; at the computer none waits."""
    inside: list[int] = []
    most: list[int] = []

    async def slow(scope: Any, receive: Any, send: Any) -> None:
        inside.append(1)
        most.append(len(inside))
        await asyncio.sleep(0.05)
        inside.pop()

    async def send_six(peer: str, key: str) -> None:
        door = Door(slow, Access(KEYS), HOSTS, 8501)
        cookie = f"cutcheck_key_8501={key}".encode()
        scope = {
            "type": "http", "method": "PUT", "path": "/_stcore/upload_file/a/b", "query_string": b"",
            "headers": [(b"host", b"localhost"), (b"cookie", cookie)],
            "client": (peer, 1), "server": ("localhost", 8501), "scheme": "http", "root_path": "",
        }  # fmt: skip
        await asyncio.gather(*(door(dict(scope), None, None) for _ in range(6)))  # type: ignore[arg-type]

    asyncio.run(send_six(PHONE, "network-key"))
    assert (len(most), max(most)) == (6, 4)
    most.clear()
    asyncio.run(send_six("127.0.0.1", "here-key"))
    assert (len(most), max(most)) == (6, 6)
