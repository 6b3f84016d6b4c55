"""Photos that are sent to the page: how large they may be, and from which site's page."""

from __future__ import annotations

import asyncio
import http.client
from pathlib import Path

from page_client import visitor
from served import served


def test_uploads_are_checked(tmp_path: Path) -> None:
    """A file above 40 MB is refused before it is read, and one from another site's page, which can't know the
    token in the cookie, too (OWASP, double-submit cookie); a settings file in the folder changes neither."""
    settings = tmp_path / ".streamlit" / "config.toml"
    settings.parent.mkdir()
    settings.write_text("[server]\nmaxUploadSize = 500\nenableXsrfProtection = false\n", encoding="utf-8")

    async def statuses(port: int) -> list[int]:
        async with visitor(port) as one:
            await one.open()
            url = (await one.place("tray.jpg")).upload_url
            token = one.cookie.partition("_streamlit_xsrf=")[2].partition(";")[0]
            asked = (({}, 100), ({"X-Xsrftoken": token}, 41 * 1024 * 1024))
            return [_put(port, url, {"Cookie": one.cookie, **headers}, size) for headers, size in asked]

    with served(tmp_path) as running:
        assert asyncio.run(statuses(running.port)) == [403, 413]


def _put(port: int, url: str, headers: dict[str, str], size: int) -> int:
    """Begin to send a file of so many bytes; the answer, which must come before the file does."""
    connection = http.client.HTTPConnection("localhost", port, timeout=30)
    connection.putrequest("PUT", url)
    for name, value in {**headers, "Content-Length": str(size), "Content-Type": "text/plain"}.items():
        connection.putheader(name, value)
    connection.endheaders()
    return connection.getresponse().status
