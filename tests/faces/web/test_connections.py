"""Connections that say nothing, too little or too slowly; how many there may be; ports."""

from __future__ import annotations

import contextlib
import socket
import threading
import time
from collections.abc import Iterator
from typing import Any

import pytest

pytest.importorskip("fastapi", reason='the page needs the extra "web"')

import uvicorn

from gudgeon.faces.web import server
from gudgeon.faces.web.guard import Guard, Rules

HEAD = 0.4


async def hello(scope: Any, receive: Any, send: Any) -> None:
    if scope["type"] == "http":
        await receive()
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": b"hello"})


@pytest.fixture
def port(monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    monkeypatch.setattr(server, "HEAD_SECONDS", HEAD)
    monkeypatch.setattr(server, "CONNECTIONS_MOST", 5)
    listening = server.bind(0)
    port = listening.getsockname()[1]
    guard = Guard(hello, Rules(port))
    config = uvicorn.Config(
        guard, http=server._Protocol, ws="none", lifespan="off", log_config=None, loop="asyncio"
    )
    running = uvicorn.Server(config)
    thread = threading.Thread(target=running.run, kwargs={"sockets": [listening]})
    thread.start()
    yield port
    running.should_exit = running.force_exit = True
    thread.join(20.0)
    assert not thread.is_alive()


def request(port: int, more: str = "") -> bytes:
    return f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n{more}\r\n".encode()


def reply(line: socket.socket) -> bytes:
    """Return one whole reply, or what came of it."""
    line.settimeout(20.0)
    found = b""
    while not found.endswith(b"0\r\n\r\n") and (part := line.recv(4096)):
        found += part
    return found


def ended_after(line: socket.socket) -> float:
    """Wait until the other side ends the connection, and return the seconds."""
    begun = time.monotonic()
    line.settimeout(20.0)
    with contextlib.suppress(ConnectionError):
        while line.recv(4096):
            pass
    return time.monotonic() - begun


@pytest.fixture
def line(port: int) -> Iterator[socket.socket]:
    with socket.create_connection(("127.0.0.1", port)) as line:
        yield line


def test_a_connection_that_says_nothing_is_ended(line: socket.socket) -> None:
    assert ended_after(line) < 10.0


def test_a_head_that_comes_letter_by_letter_is_not_waited_for(
    line: socket.socket, port: int
) -> None:
    begun = time.monotonic()
    with contextlib.suppress(OSError):
        for letter in request(port)[:-2] + b"a" * 10_000:
            line.sendall(bytes([letter]))
            time.sleep(0.02)
            if time.monotonic() - begun > 15.0:
                break
    assert HEAD * 0.5 < time.monotonic() - begun < 10.0


def test_the_second_head_of_a_connection_is_not_waited_for_either(
    line: socket.socket, port: int
) -> None:
    line.sendall(request(port))
    assert b"hello" in reply(line)
    line.sendall(request(port)[:20])
    assert ended_after(line) < 10.0


def test_a_connection_may_ask_more_than_once(line: socket.socket, port: int) -> None:
    for _ in range(3):
        line.sendall(request(port))
        assert b"hello" in reply(line)
        time.sleep(0.1)


def test_there_are_only_so_many_connections(port: int) -> None:
    with contextlib.ExitStack() as held:
        lines = [
            held.enter_context(socket.create_connection(("127.0.0.1", port))) for _ in range(8)
        ]
        served = 0
        for line in lines:
            with contextlib.suppress(OSError):
                line.sendall(request(port))
                served += b"hello" in reply(line)
        assert served == 5


def test_a_taken_port_gives_the_next_one() -> None:
    with server.bind(0) as first:
        taken = first.getsockname()[1]
        with server.bind(taken) as second:
            assert second.getsockname()[1] != taken
            assert second.getsockname()[0] == "127.0.0.1"


def test_only_lan_listens_beyond_this_computer() -> None:
    with server.bind(0) as own, server.bind(0, lan=True) as wide:
        assert own.getsockname()[0] == "127.0.0.1"
        assert wide.getsockname()[0] == "0.0.0.0"
