"""This computer's address in its network, and a port that is free."""

from __future__ import annotations

import socket

from cutcheck.access import is_loopback
from cutcheck.errors import CutcheckError

FIRST_PORT = 8501
_PORTS = 20  # how many to look through before asking for one
_ELSEWHERE = ("203.0.113.1", 9)  # an address of no one (RFC 5737)


def lan_address() -> str | None:
    """The IPv4 address by which others in the network reach this computer; None if it is in no network."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(_ELSEWHERE)  # of a datagram socket: the system only picks the way, nothing is sent
            own = str(probe.getsockname()[0])
        except OSError:
            return None
    return None if is_loopback(own) else own


def listen(address: str, port: int | None) -> socket.socket:
    """A socket that listens; without a ``port`` on the first free one. ``bad-option`` if that can't be."""
    ports = range(FIRST_PORT, FIRST_PORT + _PORTS) if port is None else (port,)
    why = ""
    for one in ports:
        listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        # Not on Windows: there it would let two programs listen at one port.
        if hasattr(socket, "SO_EXCLUSIVEADDRUSE"):
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
        else:
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((address, one))
            listening.listen(100)
        except OSError as error:
            listening.close()
            why = error.strerror or str(error)
            continue
        return listening
    named = str(port) if port is not None else f"{ports[0]} to {ports[-1]}"
    raise CutcheckError(
        "bad-option", problem=f"Port {named} can't be used ({why}).", remedy="Name another with --port."
    )
