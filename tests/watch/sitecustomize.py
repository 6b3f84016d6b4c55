"""Python runs this first where its folder is on the path: writes down whatever would leave this computer.

By CPython's audit hooks (https://docs.python.org/3/library/audit_events.html), which see every call of the
socket module in this process. The file is named in ``WATCH_FILE``. Loopback leaves nothing and is left out.
"""

import os
import sys
from pathlib import Path

_FILE = Path(os.environ["WATCH_FILE"])
_CALLS = {
    "socket.connect": 1,
    "socket.sendto": 1,
    "socket.sendmsg": 1,
    "socket.getaddrinfo": 0,
    "socket.gethostbyname": 0,
    "socket.gethostbyaddr": 0,
    "socket.getnameinfo": 0,
    "urllib.Request": 0,
    "http.client.connect": 1,
    "smtplib.connect": 1,
    "ftplib.connect": 1,
}
_HERE = ("127.", "::1", "localhost", "0.0.0.0", "http://localhost", "http://127.")


def _note(event, arguments):
    if event not in _CALLS:
        return
    whom = arguments[_CALLS[event]]
    if isinstance(whom, tuple):
        whom = whom[0]
    if whom is None or isinstance(whom, bytes) or str(whom).startswith(("/", *_HERE)):
        return  # nobody, a socket of this computer's own (AF_UNIX), or this computer
    kind = arguments[0].type.name if event == "socket.connect" else ""
    with _FILE.open("a", encoding="utf-8") as file:
        file.write(f"{event} {kind} {whom}\n")


with _FILE.open("a", encoding="utf-8") as _file:
    _file.write(f"watching {os.getpid()}\n")
sys.addaudithook(_note)
