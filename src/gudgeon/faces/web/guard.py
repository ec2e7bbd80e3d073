"""What stands before every request: who asks, from where, how much, and what every reply carries.

A pure ASGI application around another one.  It answers by itself, with the same headers as all
replies, whatever it refuses: a host that is not this computer's address (a foreign name that was
made to point here), a page of another origin, a path that climbs, a body that is too large (its
bytes are counted as they come; what a header says of them is not believed) or too slow, too many
requests at once, a change where nothing may be changed, a tablet that was not paired.
"""

from __future__ import annotations

import asyncio
import ipaddress
import json
from collections.abc import Awaitable, Callable, MutableMapping
from dataclasses import dataclass
from typing import Any, Final
from urllib.parse import unquote_to_bytes

from gudgeon.faces.web.pairing import Pairing, pairing_page

__all__ = ["BODY_MOST", "HEADERS", "Guard", "Rules"]

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]
Pairs = list[tuple[bytes, bytes]]

BODY_MOST: Final = 2_000_000
"""Bytes of one request; a cell file may have half of that."""

BODY_SECONDS: Final = 15.0
SEND_SECONDS: Final = 30.0
PATH_MOST: Final = 600
QUERY_MOST: Final = 1_000
AT_ONCE: Final = 48
STREAMS_AT_ONCE: Final = 16
EVENTS: Final = "/api/events"

CSP: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
    "font-src 'self'; connect-src 'self'; base-uri 'none'; form-action 'self'; "
    "frame-ancestors 'none'"
)

HEADERS: Final[Pairs] = [
    (b"content-security-policy", CSP.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), microphone=(), geolocation=(), usb=(), serial=()"),
]
"""On every reply."""

METHODS: Final = frozenset({"GET", "HEAD", "POST", "DELETE"})
READING: Final = frozenset({"GET", "HEAD"})


@dataclass(frozen=True, slots=True)
class Rules:
    """What the guard holds to.

    Attributes
    ----------
    port : int
        On which the server listens.
    read_only : bool
        Nothing may be changed.
    pairing : Pairing or None
        Who may come in from other devices; ``None``: none but this computer.
    names : frozenset of str
        Host names of this computer beside its addresses.
    """

    port: int
    read_only: bool = False
    pairing: Pairing | None = None
    names: frozenset[str] = frozenset({"localhost"})


class _Refused(Exception):  # noqa: N818 - the request ends here
    def __init__(self, status: int, what: str, mend: str = "", more: Pairs | None = None) -> None:
        super().__init__(what)
        self.status, self.what, self.mend, self.more = status, what, mend, more or []


class Guard:
    """The application with everything refused that the module's first lines name.

    Parameters
    ----------
    app : ASGI application
    rules : Rules
    harmless : frozenset of str
        Paths whose POST changes no file, allowed where nothing may be changed.  A star at the end
        stands for the rest.
    methods : callable
        Methods that a path is asked with.
    """

    def __init__(
        self,
        app: App,
        rules: Rules,
        harmless: frozenset[str] = frozenset(),
        methods: Callable[[str], frozenset[str]] = lambda _: METHODS,
    ) -> None:
        self._app, self._rules, self._harmless = app, rules, harmless
        self._methods: Callable[[str], frozenset[str]] = (
            methods if rules.pairing is None else _with_pairing(methods)
        )
        self._now = self._streams = 0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            await receive()  # the first message of a web socket; there are none here
            await send({"type": "websocket.close", "code": 1008})
            return
        reply = _Reply(send, str(scope.get("path", "")))
        stream = scope.get("path") == EVENTS
        self._now += not stream
        self._streams += stream
        try:
            if self._now > AT_ONCE or self._streams > STREAMS_AT_ONCE:
                raise _Refused(
                    503, "too many requests at once", "wait a moment", [(b"retry-after", b"1")]
                )
            self._check(scope)
            body = await self._body(scope, receive)
            if not await self._pairing(scope, body, reply):
                await self._app(scope, _Replay(body, receive), reply)
        except _Refused as refused:
            await reply.refuse(refused)
        except TimeoutError:
            if not reply.started:
                await reply.refuse(_Refused(408, "the request was too slow", "send it again"))
        except Exception as problem:
            if reply.started:
                raise
            await reply.refuse(
                _Refused(
                    500,
                    f"a fault in Gudgeon itself ({type(problem).__name__})",
                    "please report what you did just before",
                )
            )
        finally:
            self._now -= not stream
            self._streams -= stream

    # --- what is checked --------------------------------------------------------------------------

    def _check(self, scope: Scope) -> None:
        method = scope["method"]
        headers = _headers(scope)
        host = self._host(scope, headers)
        _path(scope)
        methods = self._methods(scope["path"])
        if method not in methods:
            allowed = (b"allow", ", ".join(sorted(methods)).encode())
            raise _Refused(405, f"{_plain(method)} is not used here", more=[allowed])
        self._origin(scope, headers, host)
        if method not in READING:
            self._write(scope, headers)

    def _host(self, scope: Scope, headers: dict[bytes, list[bytes]]) -> bytes:
        """Return the host asked for; refuse one that is not an address of this computer.

        A name that a foreign page has made to point here is a name still, and an address is only
        right if the connection came in at it.
        """
        found = headers.get(b"host", [])
        wrong = _Refused(
            421, "this name is not one of this server's", "open the address that the terminal shows"
        )
        if len(found) != 1:
            raise wrong
        host = found[0].decode("latin-1").strip().lower()
        name, port = _split_host(host)
        if port != self._rules.port and not (port is None and self._rules.port == 80):
            raise wrong
        if name in self._rules.names:
            return found[0].strip().lower()
        try:
            address = ipaddress.ip_address(name)
        except ValueError:
            raise wrong from None
        local = (scope.get("server") or ("", None))[0]
        if not (address.is_loopback or str(address) == str(local).removeprefix("::ffff:")):
            raise wrong
        return found[0].strip().lower()

    def _origin(self, scope: Scope, headers: dict[bytes, list[bytes]], host: bytes) -> None:
        """Refuse what a page of another origin asks; a link to the page may be followed."""
        foreign = _Refused(
            403, "another site asked for this", "open the page by its own address, not from a site"
        )
        for origin in headers.get(b"origin", []):
            if origin.strip().lower() != b"http://" + host:
                raise foreign
        for site in headers.get(b"sec-fetch-site", []):
            if site in (b"same-origin", b"none"):
                continue
            followed = (
                scope["method"] in READING
                and not scope["path"].startswith("/api/")
                and headers.get(b"sec-fetch-mode") == [b"navigate"]
                and headers.get(b"sec-fetch-dest") == [b"document"]
            )
            if not followed:
                raise foreign

    def _write(self, scope: Scope, headers: dict[bytes, list[bytes]]) -> None:
        path = scope["path"]
        if self._rules.pairing is not None and path == "/pair":
            return
        if self._rules.read_only and not any(
            path == one or (one.endswith("*") and path.startswith(one[:-1]))
            for one in self._harmless
        ):
            raise _Refused(
                403, "this page is for reading only", "start the server without --read-only"
            )
        kind = b"".join(headers.get(b"content-type", [])).split(b";")[0].strip().lower()
        empty = b"transfer-encoding" not in headers and headers.get(b"content-length") in (
            None,
            [b"0"],
        )
        # A form of another site cannot send JSON without asking first, and nobody answers that;
        # who sends nothing at all must say that the page itself does, which was checked.
        known = headers.get(b"origin") or headers.get(b"sec-fetch-site")
        if kind != b"application/json" and not (empty and not kind and known):
            raise _Refused(415, "only JSON is taken here", "send content-type: application/json")

    async def _body(self, scope: Scope, receive: Receive) -> bytes:
        """Return the whole body, counted as it comes."""
        if scope["method"] in READING:
            most = 0
        elif scope["path"] == "/pair":
            most = 1_000
        else:
            most = BODY_MOST
        large = _Refused(413, f"more than {most:,} bytes were sent", "send less")
        for said in _headers(scope).get(b"content-length", []):
            if not said.isdigit() or len(said) > 12 or int(said) > most:
                raise large
        body = bytearray()
        async with asyncio.timeout(BODY_SECONDS):
            while True:
                message = await receive()
                if message["type"] == "http.disconnect":
                    raise _Refused(400, "the request broke off")
                body += message.get("body", b"")
                if len(body) > most:
                    raise large
                if not message.get("more_body", False):
                    return bytes(body)

    # --- other devices ----------------------------------------------------------------------------

    async def _pairing(self, scope: Scope, body: bytes, reply: _Reply) -> bool:
        """Answer what pairing asks for; returns whether the request is answered by that."""
        pairing, path = self._rules.pairing, scope["path"]
        if pairing is None:
            return False
        if path in ("/pair", "/pair.css"):
            status, more, page = pairing_page(pairing, scope["method"], path, body)
            await reply.whole(status, more, page)
            return True
        client = (scope.get("client") or ("", 0))[0]
        here = str(client).removeprefix("::ffff:") in ("127.0.0.1", "::1")
        cookies = b"; ".join(_headers(scope).get(b"cookie", []))
        if here or pairing.knows(cookies.decode("latin-1")):
            return False
        if scope["method"] in READING and not path.startswith("/api/"):
            await reply.whole(303, [(b"location", b"/pair")], b"")
            return True
        raise _Refused(401, "this device is not paired", "open /pair and enter the code")


class _Reply:
    """Sends with every header of `HEADERS`; a reader that is too slow is left."""

    def __init__(self, send: Send, path: str) -> None:
        self._send, self._data = send, path.startswith("/api/") or path.startswith("/pair")
        self.started = False

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.started = True
            own = {name for name, _ in HEADERS} | {b"server"}
            kept = [(k, v) for k, v in message.get("headers", []) if k.lower() not in own]
            if self._data and all(k.lower() != b"cache-control" for k, _ in kept):
                kept.append((b"cache-control", b"no-store"))
            message = {**message, "headers": [*kept, *HEADERS]}
        async with asyncio.timeout(SEND_SECONDS):
            await self._send(message)

    async def whole(self, status: int, more: Pairs, body: bytes) -> None:
        """Send one whole reply."""
        length = (b"content-length", str(len(body)).encode())
        await self({"type": "http.response.start", "status": status, "headers": [*more, length]})
        await self({"type": "http.response.body", "body": body})

    async def refuse(self, refused: _Refused) -> None:
        """Say why a request was not carried out."""
        self._data = True
        body = json.dumps(
            {"what": refused.what, "where": "", "mend": refused.mend, "now": None}
        ).encode()
        # What is left of a refused request is not read.
        more = [(b"content-type", b"application/json"), (b"connection", b"close"), *refused.more]
        await self.whole(refused.status, more, body)


class _Replay:
    """Hands out a body that was read already, then what the connection tells."""

    def __init__(self, body: bytes, receive: Receive) -> None:
        self._body: bytes | None = body
        self._receive = receive

    async def __call__(self) -> Message:
        if self._body is not None:
            body, self._body = self._body, None
            return {"type": "http.request", "body": body, "more_body": False}
        return await self._receive()


def _with_pairing(methods: Callable[[str], frozenset[str]]) -> Callable[[str], frozenset[str]]:
    return lambda path: READING | {"POST"} if path == "/pair" else methods(path)


def _headers(scope: Scope) -> dict[bytes, list[bytes]]:
    found: dict[bytes, list[bytes]] = {}
    for name, value in scope["headers"]:
        found.setdefault(name.lower(), []).append(value)
    return found


def _split_host(host: str) -> tuple[str, int | None]:
    """Return name and port of a Host header; an impossible port is -1."""
    if host.startswith("["):
        name, _, rest = host[1:].partition("]")
        port = rest.removeprefix(":") if rest else ""
    else:
        name, _, port = host.partition(":")
    if not port:
        return name, None
    return name, int(port) if port.isascii() and port.isdigit() and len(port) < 6 else -1


def _path(scope: Scope) -> None:
    """Refuse a path that is not plain: climbing, backslashes, control characters, coded twice."""
    raw = scope.get("raw_path") or scope["path"].encode()
    path = unquote_to_bytes(raw.split(b"?")[0])
    odd = (
        len(raw) > PATH_MOST
        or not path.startswith(b"/")
        or b"\\" in path
        or b"%" in path
        or any(byte < 32 or byte == 127 for byte in path)
        or any(part in (b".", b"..") for part in path.split(b"/"))
        or b"//" in path
        or path != str(scope["path"]).encode("utf-8", "replace")
    )
    if odd:
        raise _Refused(404, "there is nothing of this name", "start at /")
    if len(scope.get("query_string", b"")) > QUERY_MOST:
        raise _Refused(404, "there is nothing of so long a name", "start at /")


def _plain(words: str) -> str:
    return "".join(c for c in words[:20] if c.isalnum())
