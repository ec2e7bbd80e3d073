"""Every promise of the guard, at the guard itself: what is refused, how, and with which headers."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import pytest

pytest.importorskip("fastapi", reason='the page needs the extra "web"')

from hypothesis import given
from hypothesis import strategies as st

from gudgeon.faces.web import guard
from gudgeon.faces.web.guard import BODY_MOST, HEADERS, Guard, Rules
from gudgeon.faces.web.pairing import TRIES, TRIES_IN_ALL, Pairing

PORT = 8470
HOST = ("host", f"127.0.0.1:{PORT}")
JSON = ("content-type", "application/json")
HARMLESS = frozenset({"/api/gap", "/api/answers/*"})


@dataclass
class Behind:
    """The application behind the guard: notes what comes through and says so."""

    bodies: list[bytes] = field(default_factory=list)

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        message = await receive()
        self.bodies.append(message["body"])
        assert message["more_body"] is False
        start = {
            "type": "http.response.start",
            "status": 200,
            "headers": [(b"content-type", b"text/plain"), (b"server", b"secret/1.0")],
        }
        await send(start)
        await send({"type": "http.response.body", "body": b"through"})


@dataclass
class Reply:
    status: int
    headers: list[tuple[str, str]]
    body: bytes

    def header(self, name: str) -> str | None:
        found = [value for key, value in self.headers if key == name]
        assert len(found) < 2, f"{name} stands twice"
        return found[0] if found else None

    @property
    def data(self) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(self.body)
        return found


def ask(
    app: Guard,
    path: str = "/api/cell",
    method: str = "GET",
    headers: Iterable[tuple[str, str]] = (HOST,),
    chunks: Iterable[bytes | float] = (b"",),
    client: str = "127.0.0.1",
    server: str = "127.0.0.1",
    query: bytes = b"",
    raw: bytes | None = None,
) -> Reply:
    """Send one request; a number among the chunks is a pause in seconds."""
    waiting = list(chunks)
    sent: list[dict[str, Any]] = []

    async def receive() -> dict[str, Any]:
        while waiting and isinstance(waiting[0], float):
            await asyncio.sleep(waiting.pop(0))
        if not waiting:
            return {"type": "http.disconnect"}
        body = waiting.pop(0)
        return {"type": "http.request", "body": body, "more_body": bool(waiting)}

    async def send(message: Any) -> None:
        sent.append(message)

    from urllib.parse import unquote

    scope = {
        "type": "http",
        "method": method,
        "path": unquote(path if raw is None else raw.decode("latin-1")),
        "raw_path": path.encode() if raw is None else raw,
        "query_string": query,
        "headers": [(k.encode(), v.encode("latin-1")) for k, v in headers],
        "client": (client, 50_000),
        "server": (server, PORT),
    }
    asyncio.run(app(scope, receive, send))
    assert sent[0]["type"] == "http.response.start"
    reply = Reply(
        sent[0]["status"],
        [(k.decode().lower(), v.decode("latin-1")) for k, v in sent[0]["headers"]],
        b"".join(message.get("body", b"") for message in sent[1:]),
    )
    for name, value in HEADERS:  # on every reply there is, whatever it says
        assert reply.header(name.decode()) == value.decode()
    assert reply.header("server") is None
    assert not any(key.startswith("access-control") for key, _ in reply.headers)
    if reply.status >= 400 and not path.startswith("/pair"):
        assert set(reply.data) == {"what", "where", "mend", "now"}
    return reply


def plain(**words: Any) -> tuple[Guard, Behind]:
    behind = Behind()
    return Guard(behind, Rules(PORT, **words), HARMLESS), behind


def refused(status: int, **words: Any) -> Reply:
    app, behind = plain()
    reply = ask(app, **words)
    assert reply.status == status
    assert behind.bodies == []
    return reply


# --- hosts ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "host", [f"127.0.0.1:{PORT}", f"localhost:{PORT}", f"LOCALHOST:{PORT}", f"[::1]:{PORT}"]
)
def test_this_computers_own_names_come_through(host: str) -> None:
    app, behind = plain()
    assert ask(app, headers=[("host", host)]).status == 200
    assert behind.bodies == [b""]


@pytest.mark.parametrize(
    "host",
    [
        "example.org",
        f"example.org:{PORT}",
        f"127.0.0.1.example.org:{PORT}",
        f"localhost.example.org:{PORT}",
        "127.0.0.1",
        "localhost:80",
        f"192.168.1.5:{PORT}",
        f"0.0.0.0:{PORT}",
        f"2130706433:{PORT}",
        f"127.1:{PORT}",
        f"localhost.:{PORT}",
        f"user@127.0.0.1:{PORT}",
        f"127.0.0.1:{PORT}0",
        "127.0.0.1:+8470",
        "127.0.0.1:٨٤٧٠".encode().decode("latin-1"),
        "",
        "[",
    ],
)
def test_a_foreign_name_that_points_here_is_refused(host: str) -> None:
    refused(421, headers=[("host", host)])


def test_no_host_or_two_are_refused() -> None:
    refused(421, headers=[])
    refused(421, headers=[HOST, HOST])


def test_on_the_network_only_the_address_of_the_connection_is_a_right_host() -> None:
    app, _ = plain()
    asked = {"headers": [("host", f"192.168.1.5:{PORT}")], "client": "192.168.1.9"}
    assert ask(app, server="192.168.1.5", **asked).status == 200
    assert ask(app, server="192.168.1.6", **asked).status == 421


# --- origins --------------------------------------------------------------------------------------

ORIGINS = [
    "http://example.org",
    f"http://example.org:{PORT}",
    "null",
    f"https://127.0.0.1:{PORT}",
    f"http://127.0.0.1:{PORT + 1}",
    f"http://localhost:{PORT}",
    "http://127.0.0.1",
    "",
]


@pytest.mark.parametrize("method", ["GET", "POST", "DELETE"])
@pytest.mark.parametrize("origin", ORIGINS)
def test_another_origin_neither_reads_nor_writes(origin: str, method: str) -> None:
    refused(403, method=method, headers=[HOST, JSON, ("origin", origin)])


@pytest.mark.parametrize("site", ["cross-site", "same-site", "other", ""])
@pytest.mark.parametrize("method", ["GET", "POST"])
def test_what_the_browser_says_comes_from_another_site_is_refused(site: str, method: str) -> None:
    refused(403, method=method, headers=[HOST, JSON, ("sec-fetch-site", site)])


def test_the_own_origin_comes_through() -> None:
    app, behind = plain()
    own = [HOST, JSON, ("origin", f"http://127.0.0.1:{PORT}"), ("sec-fetch-site", "same-origin")]
    assert ask(app, method="POST", headers=own, chunks=[b"{}"]).status == 200
    assert behind.bodies == [b"{}"]


def test_a_link_to_the_page_may_be_followed_but_not_one_to_its_data() -> None:
    followed = [
        HOST,
        ("sec-fetch-site", "cross-site"),
        ("sec-fetch-mode", "navigate"),
        ("sec-fetch-dest", "document"),
    ]
    app, _ = plain()
    assert ask(app, path="/", headers=followed).status == 200
    refused(403, path="/api/cell", headers=followed)
    refused(403, path="/", headers=[*followed[:3], ("sec-fetch-dest", "iframe")])


# --- methods, types, sizes ------------------------------------------------------------------------


@pytest.mark.parametrize("method", ["PUT", "PATCH", "OPTIONS", "TRACE", "CONNECT", "FOO<b>"])
def test_other_methods_are_refused(method: str) -> None:
    reply = refused(405, method=method)
    assert "<" not in reply.data["what"]
    assert reply.header("allow") == "DELETE, GET, HEAD, POST"


def test_a_path_is_asked_with_its_own_methods() -> None:
    behind = Behind()
    app = Guard(behind, Rules(PORT), methods=lambda path: frozenset({"GET"}))
    reply = ask(app, method="POST", headers=[HOST, JSON], chunks=[b"{}"])
    assert (reply.status, reply.header("allow"), behind.bodies) == (405, "GET", [])


@pytest.mark.parametrize(
    "kind", [None, "text/plain", "application/x-www-form-urlencoded", "multipart/form-data"]
)
def test_a_form_of_another_site_cannot_write(kind: str | None) -> None:
    headers = [HOST] if kind is None else [HOST, ("content-type", kind)]
    refused(415, method="POST", headers=headers, chunks=[b"{}"])


def test_the_page_itself_may_send_nothing_at_all() -> None:
    app, _ = plain()
    for own in (("origin", f"http://127.0.0.1:{PORT}"), ("sec-fetch-site", "same-origin")):
        assert ask(app, method="POST", headers=[HOST, own, ("content-length", "0")]).status == 200
        chunked = [HOST, own, ("transfer-encoding", "chunked")]
        refused(415, method="POST", headers=chunked, chunks=[b"{}"])
    refused(415, method="POST", headers=[HOST])


def test_a_body_is_counted_as_it_comes() -> None:
    """In chunks, without a length, or with one that lies."""
    chunk = b"x" * 65_536
    many = [chunk] * (BODY_MOST // len(chunk) + 2)
    for more in ([], [("content-length", "10")]):
        reply = refused(413, method="POST", headers=[HOST, JSON, *more], chunks=many)
        assert reply.header("connection") == "close"


def test_reading_stops_at_the_limit() -> None:
    taken = 0

    def chunks() -> Iterable[bytes]:
        nonlocal taken
        while True:
            taken += 1_000_000
            yield b"x" * 1_000_000

    async def whole() -> list[Any]:
        source, sent = iter(chunks()), []

        async def receive() -> dict[str, Any]:
            return {"type": "http.request", "body": next(source), "more_body": True}

        async def send(message: Any) -> None:
            sent.append(message)

        headers = [(b"host", HOST[1].encode()), (b"content-type", b"application/json")]
        scope = {"type": "http", "method": "POST", "path": "/api/edit", "headers": headers}
        await plain()[0](scope, receive, send)
        return sent

    assert asyncio.run(whole())[0]["status"] == 413
    assert taken <= BODY_MOST + 2_000_000


@pytest.mark.parametrize("length", [str(BODY_MOST + 1), "9" * 13, "-1", "1e3", "0x10"])
def test_a_length_that_is_too_large_or_none_is_refused_at_once(length: str) -> None:
    headers = [HOST, JSON, ("content-length", length)]
    refused(413, method="POST", headers=headers, chunks=[b"{}"])


def test_a_body_of_the_greatest_size_comes_through_whole() -> None:
    app, behind = plain()
    parts = [b"a" * (BODY_MOST - 5), b"b" * 5]
    assert ask(app, method="POST", headers=[HOST, JSON], chunks=parts).status == 200
    assert behind.bodies == [b"".join(parts)]


def test_what_is_read_has_no_body() -> None:
    refused(413, chunks=[b"x"])


def test_a_body_that_is_too_slow_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(guard, "BODY_SECONDS", 0.05)
    refused(408, method="POST", headers=[HOST, JSON], chunks=[b"{", 0.5, b"}"])


def test_a_request_that_breaks_off_is_none() -> None:
    refused(400, method="POST", headers=[HOST, JSON], chunks=[])


def test_too_many_at_once_are_told_to_wait() -> None:
    most, let_go = guard.AT_ONCE, asyncio.Event()

    async def slow(scope: Any, receive: Any, send: Any) -> None:
        await let_go.wait()
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": b""})

    app = Guard(slow, Rules(PORT))
    found: list[int] = []

    async def one() -> None:
        async def receive() -> dict[str, Any]:
            return {"type": "http.request", "body": b"", "more_body": False}

        async def send(message: Any) -> None:
            if "status" in message:
                found.append(message["status"])

        headers = [(b"host", HOST[1].encode())]
        scope = {"type": "http", "method": "GET", "path": "/api/cell", "headers": headers}
        await app(scope, receive, send)

    async def all_of_them() -> None:
        tasks = [asyncio.create_task(one()) for _ in range(most + 3)]
        await asyncio.sleep(0.05)
        assert found == [503] * 3
        let_go.set()
        await asyncio.gather(*tasks)
        await one()  # those that are done make room

    asyncio.run(all_of_them())
    assert found == [503] * 3 + [200] * (most + 1)


def test_web_sockets_are_closed() -> None:
    sent: list[Any] = []

    async def receive() -> dict[str, Any]:
        return {"type": "websocket.connect"}

    async def send(message: Any) -> None:
        sent.append(message)

    app, behind = plain()
    asyncio.run(app({"type": "websocket", "path": "/", "headers": []}, receive, send))
    assert sent == [{"type": "websocket.close", "code": 1008}]
    assert behind.bodies == []


def test_a_fault_behind_is_told_without_its_inside() -> None:
    async def broken(scope: Any, receive: Any, send: Any) -> None:
        raise RuntimeError("secret path /home/x")

    reply = ask(Guard(broken, Rules(PORT)))
    assert reply.status == 500
    assert b"secret" not in reply.body


# --- paths ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "raw",
    [
        "/..",
        "/../etc/passwd",
        "/assets/../../x",
        "/%2e%2e/etc/passwd",
        "/%2E%2e%2fetc/passwd",
        "/..%2fetc",
        "/%252e%252e/x",
        "/a%00b",
        "/a\\b",
        "/a%5cb",
        "/..%5c..%5cx",
        "//etc/passwd",
        "/./x",
        "/a%0ab",
        "/%ff%fe",
        "/" + "a" * 700,
        "x",
    ],
)
def test_a_path_that_is_not_plain_is_not_there(raw: str) -> None:
    refused(404, path="/x", raw=raw.encode())


def test_a_plain_path_comes_through() -> None:
    app, _ = plain()
    assert ask(app, raw=b"/api/track/%C3%BCber%20x.nc").status == 200


def test_a_long_query_is_refused() -> None:
    refused(404, query=b"program=" + b"a" * 2_000)


@given(st.binary(max_size=60))
def test_no_path_that_comes_through_climbs(raw: bytes) -> None:
    seen: list[str] = []

    async def behind(scope: Any, receive: Any, send: Any) -> None:
        seen.append(scope["path"])
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": b""})

    ask(Guard(behind, Rules(PORT)), path="/x", raw=b"/" + raw)
    for path in seen:
        assert ".." not in path.split("/")
        assert not set(path) & {"\\", "\0", "%"}


# --- reading only ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("method", "path"),
    [
        ("POST", "/api/edit"),
        ("POST", "/api/undo"),
        ("POST", "/api/redo"),
        ("POST", "/api/readings"),
        ("DELETE", "/api/readings"),
        ("POST", "/api/gapx"),
        ("DELETE", "/api/cell"),
        ("POST", "/"),
    ],
)
def test_where_only_reading_is_allowed_nothing_writes(method: str, path: str) -> None:
    app, behind = plain(read_only=True)
    reply = ask(app, path=path, method=method, headers=[HOST, JSON], chunks=[b"{}"])
    assert reply.status == 403
    assert behind.bodies == []


@pytest.mark.parametrize("path", ["/api/gap", "/api/answers/turns/stop"])
def test_where_only_reading_is_allowed_asking_still_is(path: str) -> None:
    app, _ = plain(read_only=True)
    assert ask(app, path=path, method="POST", headers=[HOST, JSON], chunks=[b"{}"]).status == 200
    assert ask(app, path="/api/cell").status == 200


# --- other devices --------------------------------------------------------------------------------

TABLET = {"client": "192.168.1.9", "server": "192.168.1.5"}
THERE = ("host", f"192.168.1.5:{PORT}")
FORM = ("content-type", "application/x-www-form-urlencoded")


def lan(**words: Any) -> tuple[Guard, Behind, list[str]]:
    shown: list[str] = []
    app, behind = plain(pairing=Pairing(PORT, shown.append), **words)
    return app, behind, shown


def pair(app: Guard, code: str) -> Reply:
    return ask(
        app,
        path="/pair",
        method="POST",
        headers=[THERE, FORM],
        chunks=[b"code=" + code.replace(" ", "+").encode()],
        **TABLET,
    )


def test_a_device_that_is_not_paired_gets_the_page_of_the_code_and_no_data() -> None:
    app, behind, _ = lan()
    assert ask(app, headers=[THERE], **TABLET).status == 401
    reply = ask(app, path="/", headers=[THERE], **TABLET)
    assert (reply.status, reply.header("location")) == (303, "/pair")
    page = ask(app, path="/pair", headers=[THERE], **TABLET)
    assert page.status == 200
    assert b"plain HTTP" in page.body
    assert b"<script" not in page.body and b"style=" not in page.body
    assert ask(app, path="/pair.css", headers=[THERE], **TABLET).status == 200
    assert behind.bodies == []


def test_the_code_of_the_terminal_lets_one_device_in() -> None:
    app, behind, shown = lan()
    first = shown[-1]
    assert len(first.replace(" ", "")) == 8
    reply = pair(app, first)
    assert reply.status == 303
    cookie = reply.header("set-cookie") or ""
    name, _, rest = cookie.partition("=")
    assert name == f"gudgeon-{PORT}"
    assert "HttpOnly" in rest and "SameSite=Strict" in rest
    token = rest.split(";")[0]
    assert len(token) >= 40
    with_it = [THERE, ("cookie", f"other=1; {name}={token}")]
    assert ask(app, headers=with_it, **TABLET).status == 200
    assert len(behind.bodies) == 1
    assert len(shown) == 2 and shown[0] != shown[1]
    assert pair(app, first).status == 403, "a code is good for one device"
    wrong = [THERE, ("cookie", f"{name}={token[:-1]}x")]
    assert ask(app, headers=wrong, **TABLET).status == 401
    assert ask(app, headers=[THERE, ("cookie", f"{name}=")], **TABLET).status == 401
    elsewhere = [THERE, ("cookie", f"gudgeon-{PORT + 1}={token}")]
    assert ask(app, headers=elsewhere, **TABLET).status == 401


def test_a_paired_device_is_held_to_all_other_rules() -> None:
    app, behind, shown = lan(read_only=True)
    cookie = (pair(app, shown[-1]).header("set-cookie") or "").split(";")[0]
    own = [THERE, JSON, ("cookie", cookie)]
    edit = {"path": "/api/edit", "method": "POST", "chunks": [b"{}"]}
    assert ask(app, headers=own, **edit, **TABLET).status == 403
    foreign = [THERE, ("cookie", cookie), ("origin", "http://example.org")]
    assert ask(app, headers=foreign, **TABLET).status == 403
    assert behind.bodies == []


def test_after_a_few_wrong_codes_another_is_asked_for_and_after_many_none() -> None:
    app, _, shown = lan()
    for _ in range(TRIES):
        assert pair(app, "0000 0000").status == 403
    assert len(shown) == 2
    for _ in range(TRIES_IN_ALL - TRIES):
        pair(app, "not a code")
    assert shown[-1] == ""
    last = next(code for code in reversed(shown) if code)
    reply = pair(app, last)
    assert reply.status == 403
    assert b"Too many" in reply.body
    assert reply.header("set-cookie") is None


@pytest.mark.parametrize("body", [b"", b"code=", b"code=%00", b"a=1&b=2&c=3&d=4", b"\xff\xfe"])
def test_odd_forms_pair_nobody(body: bytes) -> None:
    app, _, _ = lan()
    form = {"path": "/pair", "method": "POST", "headers": [THERE, FORM], "chunks": [body]}
    assert ask(app, **form, **TABLET).status == 403
    form["chunks"] = [b"x" * 5_000]
    assert ask(app, **form, **TABLET).status == 413


def test_a_foreign_page_cannot_try_codes() -> None:
    app, _, shown = lan()
    headers = [THERE, FORM, ("origin", "http://example.org")]
    form = {"path": "/pair", "method": "POST", "chunks": [b"code=1"]}
    assert ask(app, headers=headers, **form, **TABLET).status == 403
    assert len(shown) == 1


def test_the_computer_itself_needs_no_code() -> None:
    app, _, _ = lan()
    assert ask(app).status == 200


def test_without_lan_there_is_nothing_to_pair() -> None:
    app, behind = plain()
    ask(app, path="/pair", headers=[HOST])
    assert behind.bodies == [b""]  # the application says that there is no such page
