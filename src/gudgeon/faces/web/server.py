"""Starting and ending the server of the page: address, guard, browser, Ctrl-C."""

from __future__ import annotations

import asyncio
import contextlib
import socket
import sys
import threading
import webbrowser
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import h11
import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from gudgeon.faces.web.desk import Desk
from gudgeon.faces.web.guard import HEADERS, Guard, Rules
from gudgeon.faces.web.pairing import Pairing
from gudgeon.faces.web.process import Process
from gudgeon.faces.web.routes import HARMLESS, application, methods_of
from gudgeon.faces.web.shop import Shop

__all__ = ["PORT", "bind", "serve"]

PORT: Final = 8470
PORTS_TRIED: Final = 20
CONNECTIONS_MOST: Final = 100
HEAD_SECONDS: Final = 10.0
"""How long the head of a request may take, and a new connection without one may last."""


def serve(
    cell: Path,
    files: Process,
    *,
    port: int = PORT,
    lan: bool = False,
    read_only: bool = False,
    browser: bool = True,
    say: Callable[[str], None] = print,
) -> int:
    """Show a cell until Ctrl-C, and return 0.

    Parameters
    ----------
    cell : Path
        The cell file.
    files : Process
        Started already, so that the cell is read while the server gets ready.
    port : int
        Where to listen; the next free one if it is taken, any free one for 0.
    lan : bool
        Listen on the shop's network too, for devices that were paired.
    read_only : bool
        Nothing may be changed, and nothing is written.
    browser : bool
        Open the page in the browser of this computer.
    say : callable
        Prints a line in the terminal.
    """
    desk = Desk(Shop(cell), read_only=read_only, files=files)
    listening = bind(port, lan=lan)
    own = listening.getsockname()[1]
    pairing = None
    if port not in (0, own):
        say(f"port {port} is taken; this page is at port {own}")
    say(f"{desk.shop.cell.name} is shown at  http://127.0.0.1:{own}/  until Ctrl-C")
    if read_only:
        say("nothing can be changed from the page, and nothing is written")
    if lan:
        for address in _addresses():
            say(f"on the shop's network at  http://{address}:{own}/")
        say("this is plain HTTP: whoever is on that network can read along")
        pairing = Pairing(own, lambda code: say(_code_words(code)))
    rules = Rules(own, read_only, pairing)
    app = application(desk)
    guard = Guard(app, rules, HARMLESS, methods_of(app))
    config = uvicorn.Config(
        guard,
        http=_Protocol,
        ws="none",
        loop="asyncio",
        log_config=None,
        access_log=False,
        server_header=False,
        proxy_headers=False,  # who asks is who is connected
        timeout_keep_alive=30,
        timeout_graceful_shutdown=1,
        h11_max_incomplete_event_size=32_768,
    )
    shown = f"http://127.0.0.1:{own}/" if browser else None
    with contextlib.suppress(KeyboardInterrupt):  # the usual end
        _Server(config, desk, shown).run(sockets=[listening])
    say("stopped")
    return 0


def bind(port: int, *, lan: bool = False) -> socket.socket:
    """Return a socket that listens at `port`, or at the next free one; 0: at any.

    Raises
    ------
    OSError
        If none is free.
    """
    host = "0.0.0.0" if lan else "127.0.0.1"
    problem: OSError | None = None
    for wanted in [port, *range(port + 1, min(port + PORTS_TRIED, 65_536)), 0] if port else [0]:
        listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        try:
            if sys.platform == "win32":
                # There another program could listen at the same port beside this one.
                listening.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
            else:
                listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            listening.bind((host, wanted))
            listening.listen(128)
        except OSError as found:
            listening.close()
            problem = found
        else:
            listening.setblocking(False)
            return listening
    assert problem is not None
    raise problem


class _Server(uvicorn.Server):
    """Ends within two seconds, with a proof running and pages connected."""

    def __init__(self, config: uvicorn.Config, desk: Desk, address: str | None) -> None:
        super().__init__(config)
        self._desk, self._address = desk, address

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        if self._address is not None and self.started:
            # Some systems wait for the browser to end.
            threading.Thread(target=webbrowser.open, args=(self._address,), daemon=True).start()

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        closing = asyncio.create_task(self._desk.close())
        await super().shutdown(sockets)
        await closing


class _Protocol(H11Protocol):
    """HTTP/1.1 that does not wait for ever for a request, nor for any number of them."""

    _head_timer: asyncio.TimerHandle | None = None

    def connection_made(self, transport: Any) -> None:
        super().connection_made(transport)
        if len(self.connections) > CONNECTIONS_MOST:
            transport.abort()
            return
        self._wait_for_head()

    def connection_lost(self, exc: Exception | None) -> None:
        self._head_came()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        super().data_received(data)
        if self.cycle is not None and not self.cycle.response_complete:
            self._head_came()
        elif self._head_timer is None:
            self._wait_for_head()

    def on_response_complete(self) -> None:
        self._head_came()
        super().on_response_complete()

    def send_400_response(self, msg: str) -> None:
        """Answer what is no HTTP, with the headers of every reply."""
        body = b'{"what": "this is no request", "where": "", "mend": "", "now": null}'
        headers = [(b"content-type", b"application/json"), (b"connection", b"close"), *HEADERS]
        for event in (
            h11.Response(status_code=400, headers=headers, reason=b"Bad Request"),
            h11.Data(data=body),
            h11.EndOfMessage(),
        ):
            self.transport.write(self.conn.send(event) or b"")
        self.transport.close()

    def _wait_for_head(self) -> None:
        self._head_timer = self.loop.call_later(HEAD_SECONDS, self._too_slow)

    def _head_came(self) -> None:
        if self._head_timer is not None:
            self._head_timer.cancel()
            self._head_timer = None

    def _too_slow(self) -> None:
        self._head_timer = None
        if self.cycle is None or self.cycle.response_complete:
            self.transport.abort()


def _code_words(code: str) -> str:
    if not code:
        return "too many wrong codes: no further device is let in until the server starts anew"
    return f"to pair a device, enter there the code  {code}"


def _addresses() -> list[str]:
    """Return the addresses of this computer on its networks; no packet is sent for it."""
    found = set()
    with contextlib.suppress(OSError):
        found |= set(socket.gethostbyname_ex(socket.gethostname())[2])
    with (
        contextlib.suppress(OSError),
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as outward,
    ):
        outward.connect(("192.0.2.1", 9))  # an address kept for documentation (RFC 5737)
        found.add(outward.getsockname()[0])
    return sorted(one for one in found if not one.startswith("127.")) or ["ADDRESS-OF-THIS-PC"]
