"""``cutcheck serve``: the page in the browser, for this computer, or for the phones in the room too."""

from __future__ import annotations

import gc
import socket
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

import click

from cutcheck.errors import CutcheckError

if TYPE_CHECKING:
    import uvicorn

    from cutcheck.access import Access

_SAFE = {  # of Streamlit, whatever a settings file of its own says in the folder where this is started
    "browser.gatherUsageStats": False,
    "client.showErrorDetails": "none",
    "client.showErrorLinks": False,
    "logger.level": "error",  # else each request is written down, and some bear a key
    "server.enableCORS": True,
    "server.enableXsrfProtection": True,
    "server.fileWatcherType": "none",
    "server.headless": True,
    "server.maxUploadSize": 40,  # MB, as the page's own file has it
}
_MOST_CONNECTIONS = 600  # a browser takes up to seven, a class has forty
_LONGEST_MESSAGE = 8_000_000  # bytes that a browser may send through the page's socket; photos don't go there


@click.command()
@click.option("--on-network", is_flag=True, help="Let phones in the same network in, too, with a code.")
@click.option("--port", type=click.IntRange(1, 65535), help="The port; else the first free one from 8501.")
@click.option("--address", metavar="A.B.C.D", help="With --on-network: this computer's address in it.")
def serve(on_network: bool, port: int | None, address: str | None) -> None:
    """Start the page in the browser. It serves this computer only, unless told otherwise; Ctrl-C ends it."""
    from cutcheck.network import lan_address, listen

    if address and not on_network:
        raise CutcheckError("bad-option", problem="--address goes with --on-network.", remedy="Add it.")
    reached = _good_address(address) if address else lan_address() if on_network else None
    if on_network and reached is None:
        raise CutcheckError(
            "bad-option",
            problem="This computer seems to be in no network.",
            remedy="Join one, or name this computer's address with --address.",
        )
    listening = listen("0.0.0.0" if on_network else "127.0.0.1", port)
    with listening:
        server, access = prepare(listening.getsockname()[1], reached)
        _tell(listening.getsockname()[1], reached, access)
        server.run(sockets=[listening])
        # It ends only when it is stopped; whether that is heard here as well depends on the moment.
        raise KeyboardInterrupt


def prepare(port: int, reached: str | None) -> tuple[uvicorn.Server, Access | None]:
    """The page's server for a port, and who may do what. ``reached``: the address in the network, or None."""
    import uvicorn
    from starlette.middleware import Middleware
    from streamlit import config as page_config
    from streamlit.logger import set_log_level
    from streamlit.starlette import App

    from cutcheck.access import Access, Keys
    from cutcheck.page import gate
    from cutcheck.page.door import KEY, Door, cookie_name
    from cutcheck.page.turns import few_pools

    # Loaded before the first visitor comes, who would wait for them else.
    for heavy in ("altair", "cv2", "pandas", "cutcheck.page.navigation", "cutcheck.pipeline"):
        import_module(heavy)
    # What is loaded stays: after each run the page looks for garbage, and need not look there (some 0.1 s).
    gc.collect()
    gc.freeze()

    few_pools()
    access = None
    hosts: tuple[str, ...] = gate.HERE_NAMES
    if reached is not None:
        access, hosts = Access(Keys()), (*hosts, reached)
        at = f"http://{reached}:{port}"
        scanned = f"{at}/?{KEY}={access.keys.network}"
        gate.open_to_network(gate.Opening(access, at, scanned, cookie_name(port)))
    app = App(_script(), middleware=[Middleware(Door, access, hosts, port)])
    for name, value in {**_SAFE, "server.address": reached or "localhost", "server.port": port}.items():
        page_config.set_option(name, value)
    set_log_level("error")
    config = uvicorn.Config(
        app,
        access_log=False,
        log_config=None,
        log_level="error",
        proxy_headers=False,  # who is at the other end is what the socket says, nothing that is claimed
        server_header=False,
        limit_concurrency=_MOST_CONNECTIONS,
        ws_max_size=_LONGEST_MESSAGE,
        timeout_graceful_shutdown=3,
    )
    return uvicorn.Server(config), access


def _script() -> Path:
    """The page's first file: beside the settings of its look, which Streamlit takes from there."""
    root = Path(__file__).parents[2]
    checkout = root / "app.py"
    if checkout.exists() and (root / ".streamlit" / "config.toml").exists():
        return checkout
    return root / "cutcheck" / "page" / "main.py"


def _good_address(address: str) -> str:
    try:
        socket.inet_aton(address)
    except OSError:
        raise CutcheckError(
            "bad-option",
            problem=f"'{address}' is not an address of the kind 192.168.1.20.",
            remedy="Take the one that your computer's network settings show.",
        ) from None
    return address


def _tell(port: int, reached: str | None, access: Access | None) -> None:
    """What to open where, on standard output."""
    from cutcheck.page.door import KEY

    if access is None or reached is None:
        click.echo(f"Open http://localhost:{port}\nOnly this computer can reach it. Ctrl-C ends it.")
        return
    import segno

    from cutcheck.page.gate import MEANING

    at = f"http://{reached}:{port}"
    click.echo("Phones in the same network: scan this,\n")
    try:
        segno.make(f"{at}/?{KEY}={access.keys.network}", error="l").terminal(compact=True)
    except UnicodeEncodeError:
        click.echo("(this terminal can't show it: the page at the computer does)")
    click.echo(
        f"\nor open {at} and give the code {access.keys.code_in_groups}\n\n{click.wrap_text(MEANING, 90)}\n\n"
        f"At this computer, with its journals: http://localhost:{port}/?{KEY}={access.keys.here}\n"
        "Keep that address to yourself. Ctrl-C ends it."
    )
