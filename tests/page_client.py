"""A visitor without a browser: speaks the page's own protocol (Streamlit's protobufs over its socket).

Light enough for ten at once. It knows nothing of the page but that it has a place for a photo and says how
many pieces it found.
"""

from __future__ import annotations

import asyncio
import http.client
import re
import uuid
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field

import websockets
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.Common_pb2 import FileURLs
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from streamlit.proto.WidgetStates_pb2 import WidgetStates

LONGEST_S = 120.0


@dataclass
class Shown:
    """What one run of the page's script showed."""

    html: list[str] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)
    uploader: str = ""

    @property
    def pieces(self) -> int | None:
        """How many pieces the page says it found."""
        found = re.search(r"\b(\d+) pieces\b", " ".join(self.html))
        return int(found[1]) if found else None


class Visitor:
    """One session of the page."""

    def __init__(self, port: int, socket: websockets.ClientConnection, cookie: str) -> None:
        self.port = port
        self._socket = socket
        self.cookie = cookie
        self._session = self._script = ""
        self._file: FileURLs | None = None

    async def open(self) -> Shown:
        """Draw the page as it opens."""
        return await self._run(WidgetStates())

    async def check(self, name: str, data: bytes) -> Shown:
        """Give a photo, in place of the one before, and wait until the page has shown what it found."""
        before = self._file
        file = await self.place(name)
        await asyncio.to_thread(self._send, "PUT", file.upload_url, _form(name, data))
        states = WidgetStates()
        state = states.widgets.add()
        state.id = self._uploader
        info = state.file_uploader_state_value.uploaded_file_info.add()
        info.file_id, info.name, info.size = file.file_id, name, len(data)
        info.file_urls.CopyFrom(file)
        shown = await self._run(states)
        if before is not None:
            await asyncio.to_thread(self._send, "DELETE", before.delete_url, None)
        self._file = file
        return shown

    async def _run(self, states: WidgetStates) -> Shown:
        message = BackMsg()
        message.rerun_script.query_string = ""
        message.rerun_script.widget_states.CopyFrom(states)
        message.rerun_script.page_script_hash = self._script
        await self._socket.send(message.SerializeToString())
        shown = Shown()
        async with asyncio.timeout(LONGEST_S):
            while True:
                said = await self._next()
                kind = said.WhichOneof("type")
                if kind == "new_session":
                    self._session = said.new_session.initialize.session_id or self._session
                    self._script = said.new_session.page_script_hash
                    shown = Shown()
                elif kind == "delta" and said.delta.WhichOneof("type") == "new_element":
                    self._note(said, shown)
                elif kind == "script_finished" and said.script_finished == ForwardMsg.FINISHED_SUCCESSFULLY:
                    return shown

    def _note(self, said: ForwardMsg, shown: Shown) -> None:
        element = said.delta.new_element
        kind = element.WhichOneof("type")
        if kind == "html":
            shown.html.append(element.html.body)
            if "cc-panel cc-fault" in element.html.body:
                shown.errors.append(element.html.body)
        elif kind == "exception":
            shown.errors.append(f"{element.exception.type}: {element.exception.message}")
        elif kind == "file_uploader":
            self._uploader = shown.uploader = element.file_uploader.id

    async def place(self, name: str) -> FileURLs:
        """Where the page wants a photo sent to."""
        message = BackMsg()
        message.file_urls_request.request_id = str(uuid.uuid4())
        message.file_urls_request.file_names.append(name)
        message.file_urls_request.session_id = self._session
        await self._socket.send(message.SerializeToString())
        async with asyncio.timeout(LONGEST_S):
            while True:
                said = await self._next()
                if said.WhichOneof("type") == "file_urls_response":
                    return said.file_urls_response.file_urls[0]

    async def _next(self) -> ForwardMsg:
        said = ForwardMsg()
        said.ParseFromString(await self._socket.recv())
        return said

    def _send(self, method: str, url: str, body: tuple[str, bytes] | None) -> None:
        token = self.cookie.partition("_streamlit_xsrf=")[2].partition(";")[0]
        headers = {"Cookie": self.cookie, "X-Xsrftoken": token}
        if body is not None:
            headers["Content-Type"] = body[0]
        connection = http.client.HTTPConnection("localhost", self.port, timeout=LONGEST_S)
        connection.request(method, url, body[1] if body else None, headers)
        status = connection.getresponse().status
        connection.close()
        if status != 204:
            raise OSError(f"{method} {url}: {status}")


@asynccontextmanager
async def visitor(port: int, cookie: str = "") -> AsyncIterator[Visitor]:
    """A session of its own with the page on this computer; ``cookie`` holds a key where one is needed."""
    connection = http.client.HTTPConnection("localhost", port, timeout=LONGEST_S)
    connection.request("GET", "/_stcore/health", headers={"Cookie": cookie} if cookie else {})
    answer = connection.getresponse()
    answer.read()
    cookie = "; ".join(filter(None, (cookie, (answer.getheader("Set-Cookie") or "").partition(";")[0])))
    connection.close()
    async with websockets.connect(
        f"ws://localhost:{port}/_stcore/stream",
        subprotocols=[websockets.Subprotocol("streamlit")],
        additional_headers={"Cookie": cookie},
        max_size=None,
    ) as socket:
        yield Visitor(port, socket, cookie)


def _form(name: str, data: bytes) -> tuple[str, bytes]:
    """A photo as browsers send files (RFC 7578): the kind of content, and the content."""
    edge = uuid.uuid4().hex
    head = f'--{edge}\r\nContent-Disposition: form-data; name="file"; filename="{name}"\r\n'
    head += "Content-Type: image/jpeg\r\n\r\n"
    return f"multipart/form-data; boundary={edge}", head.encode() + data + f"\r\n--{edge}--\r\n".encode()
