"""A server of the page in a process of its own, and what talks to it."""

from __future__ import annotations

import contextlib
import json
import queue
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import httpx

SECONDS = 60.0
"""How long anything may take on a busy computer before a test fails."""


class Running:
    """One running server."""

    def __init__(self, cell: Path, *words: str) -> None:
        command = [sys.executable, "-m", "gudgeon", "show", str(cell), "--no-open", *words]
        self.process = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
        )
        self.said: list[str] = []
        threading.Thread(target=self._listen, daemon=True).start()
        self.until(lambda: any("until Ctrl-C" in line for line in self.said) or self.ended)
        found = re.search(r"http://127\.0\.0\.1:(\d+)/", " ".join(self.said))
        assert found, f"the server did not start: {self.said}"
        self.port = int(found[1])
        self.url = f"http://127.0.0.1:{self.port}"
        self.client = httpx.Client(base_url=self.url, timeout=SECONDS)

    def _listen(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.said.append(line.strip())

    @property
    def ended(self) -> bool:
        return self.process.poll() is not None

    def until(self, there: Callable[[], Any], seconds: float = SECONDS) -> Any:
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            found = there()
            if found:
                return found
            time.sleep(0.02)
        raise AssertionError(f"it did not come to that; the server said {self.said}")

    def get(self, path: str, **words: Any) -> Any:
        reply = self.client.get(path, params=words)
        assert reply.status_code == 200, reply.text
        return reply.json()

    def post(self, path: str, data: Any = None, **words: Any) -> httpx.Response:
        return self.client.post(path, json={} if data is None else data, params=words)

    def answer(self, question: str, state: str = "done", **words: Any) -> Any:
        """Ask, wait until the answer is in a state and fresh, and return it."""

        def there() -> Any:
            found = self.get(f"/api/answers/{question}", **words)
            return found if found["state"] == state and not found["stale"] else None

        return self.until(there)

    @contextlib.contextmanager
    def events(self) -> Iterator[queue.Queue[dict[str, Any]]]:
        """Listen to the events in the background; the first is ``hello``."""
        heard: queue.Queue[dict[str, Any]] = queue.Queue()
        client = httpx.Client(base_url=self.url, timeout=SECONDS)

        def listen(stream: httpx.Response) -> None:
            with contextlib.suppress(httpx.HTTPError, httpx.StreamError):
                for line in stream.iter_lines():
                    if line.startswith("data: "):
                        heard.put(json.loads(line[6:]))

        with client.stream("GET", "/api/events") as stream:
            assert stream.headers["content-type"].startswith("text/event-stream")
            thread = threading.Thread(target=listen, args=(stream,), daemon=True)
            thread.start()
            yield heard
            client.close()

    def stop(self) -> float:
        """Press Ctrl-C and return how many seconds the end took."""
        begun = time.monotonic()
        self.process.send_signal(signal.SIGINT)
        self.process.wait(SECONDS)
        return time.monotonic() - begun

    def close(self) -> None:
        self.client.close()
        if not self.ended:
            self.stop()
        assert self.process.stdout is not None
        self.until(lambda: "stopped" in self.said or self.process.returncode)
        self.process.stdout.close()


def heard_until(
    heard: queue.Queue[dict[str, Any]], wanted: Callable[[dict[str, Any]], bool]
) -> list[dict[str, Any]]:
    """Return the events up to the first that is wanted."""
    events = []
    end = time.monotonic() + SECONDS
    while time.monotonic() < end:
        with contextlib.suppress(queue.Empty):
            events.append(heard.get(timeout=0.5))
            if wanted(events[-1]):
                return events
    raise AssertionError(f"it was not told; {events[-3:]}")
