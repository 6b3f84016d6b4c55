"""The door before the page: who may reach it at all. Without a key a request never gets as far as Streamlit.

ASGI, so that it also stands before uploads, downloads and the socket that the page talks through. What a key
is good for is in ``cutcheck.access``; what a visitor from the network may do inside is in ``gate``.
"""

from __future__ import annotations

import asyncio
import math
from collections.abc import Iterable
from html import escape
from importlib import resources
from string import Template
from urllib.parse import parse_qs, urlsplit

from starlette.requests import HTTPConnection
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from cutcheck.access import Access

KEY = "key"  # in the address that is scanned or pressed; taken out of it at once
ENTER = "/enter"
_MOST_BYTES = 1000  # of a form with one code in it
_MOST_UPLOADS = 4  # at once from the network, the others wait: each is held in memory while it arrives
_OTHER_NAME = "This page has another name: open the address that was shown when it was started."
_REFUSED = 4403  # a close code that programs may choose themselves (RFC 6455, 7.4.2)


def cookie_name(port: int) -> str:
    """The cookie that holds a visitor's key. Cookies know no ports, so the port is in the name."""
    return f"cutcheck_key_{port}"


class Door:
    """Lets through who has a key; asks others for the code. ``access`` None: only this computer can connect,
    and only the name that it was called by is looked at.

    ``hosts`` are the names that the page may be called by. Another one is a stranger's page that had its own
    name point at this computer, to read along in the browser of who sits here (DNS rebinding).
    """

    def __init__(self, app: ASGIApp, access: Access | None, hosts: Iterable[str], port: int) -> None:
        self.app = app
        self.access = access
        self.hosts = frozenset(hosts)
        self.cookie = cookie_name(port)
        self._uploads = asyncio.Semaphore(_MOST_UPLOADS)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, or hand on to the page."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        asked = HTTPConnection(scope)
        if not self._called_by_name(asked):
            await self._refuse(scope, receive, send, _OTHER_NAME)
            return
        if self.access is None:
            await self.app(scope, receive, send)
            return
        peer = asked.client.host if asked.client else None
        if scope["type"] == "http" and (answer := await self._enter(asked, peer, receive)):
            await answer(scope, receive, send)
            return
        standing = self.access.standing(asked.cookies.get(self.cookie), peer)
        if standing is None:
            if scope["type"] == "http" and scope["method"] == "GET" and _wants_a_page(asked):
                await self._question(peer)(scope, receive, send)
            else:
                await self._refuse(scope, receive, send, "Open the page in a browser and give the code.")
        elif standing == "network" and scope["type"] == "http" and scope["method"] == "PUT":
            async with self._uploads:
                await self.app(scope, receive, send)
        else:
            await self.app(scope, receive, send)

    def _called_by_name(self, asked: HTTPConnection) -> bool:
        try:
            return urlsplit(f"//{asked.headers.get('host', '')}").hostname in self.hosts
        except ValueError:
            return False

    async def _enter(self, asked: HTTPConnection, peer: str | None, receive: Receive) -> Response | None:
        """The answer to who shows a key in the address or sends a code; None to anything else."""
        assert self.access is not None
        if asked.scope["method"] == "GET" and KEY in asked.query_params:
            key = asked.query_params[KEY]
            if self.access.standing(key, peer) is None:
                return self._question(peer, "That address is no longer good: it was of an earlier start.")
            return self._welcome(asked, key)
        if asked.scope["method"] != "POST" or asked.url.path != ENTER:
            return None
        origin = asked.headers.get("origin")
        if origin not in (None, "null") and urlsplit(origin).netloc != asked.headers.get("host"):
            return PlainTextResponse("Open the page itself and give the code there.", 403)
        answer = self.access.try_code(await _code_sent(receive), peer or "")
        if answer.right:
            return self._welcome(asked, self.access.keys.network)
        if answer.wait_s > 0:
            return self._question(peer, "That was not the code." if answer.left == 0 else "")
        left = "1 try is" if answer.left == 1 else f"{answer.left} tries are"
        return self._question(peer, f"That is not the code. {left} left before a wait.")

    def _welcome(self, asked: HTTPConnection, key: str) -> Response:
        """To the page, with the key in a cookie that scripts can't read, and no longer in the address."""
        path = "/" if asked.url.path == ENTER else "/" + asked.url.path.lstrip("/")
        answer = RedirectResponse(path, 303)
        answer.set_cookie(self.cookie, key, httponly=True, samesite="lax")
        return answer

    def _question(self, peer: str | None, said: str = "") -> Response:
        """The small page that asks for the code, or says how long to wait."""
        assert self.access is not None
        wait = math.ceil(self.access.wait_s(peer or ""))
        if wait:
            said = f"{said} Too many wrong codes. Try again in {_time(wait)}.".strip()
        page = Template(resources.files("cutcheck.page").joinpath("door.html").read_text("utf-8"))
        text = page.substitute(
            said=f"<p role='alert'>{escape(said)}</p>" if said else "",
            again=f"<meta http-equiv='refresh' content='{wait + 1};url=/'>" if wait else "",
            form="hidden" if wait else "",
        )
        headers = {
            "Cache-Control": "no-store",
            "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; form-action 'self'",
            "Referrer-Policy": "no-referrer",
        }
        return HTMLResponse(text, 429 if wait else 401, headers)

    async def _refuse(self, scope: Scope, receive: Receive, send: Send, why: str) -> None:
        if scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.close", "code": _REFUSED, "reason": why})
        else:
            await PlainTextResponse(why, 403)(scope, receive, send)


def _wants_a_page(asked: HTTPConnection) -> bool:
    return "text/html" in asked.headers.get("accept", "")


async def _code_sent(receive: Receive) -> str:
    """The code in a form as browsers send it; nothing if it is longer than a form with a code can be."""
    body = b""
    while True:
        message = await receive()
        body += message.get("body", b"")
        if message["type"] != "http.request" or len(body) > _MOST_BYTES:
            return ""
        if not message.get("more_body"):
            sent = parse_qs(body.decode("ascii", "replace"))
            return str(sent.get("code", [""])[0])


def _time(seconds: int) -> str:
    if seconds < 120:
        return f"{seconds} seconds"
    return f"{math.ceil(seconds / 60)} minutes"
