"""The browser, and servers that several tests look at; each test leaves the files as they were."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from tests.page.browsing import CHROMIUM, DEMO, FLAGS, MS, Visit

if TYPE_CHECKING:
    from playwright.sync_api import Browser

    from tests.faces.web.running import Running

Open = Callable[..., Visit]


@pytest.fixture(scope="session")
def able() -> None:
    """Skip where the page cannot be shown."""
    for needed, why in (
        ("fastapi", 'the page needs the extra "web"'),
        ("httpx", "httpx asks the server here"),
        ("playwright", "playwright leads the browser"),
    ):
        pytest.importorskip(needed, reason=why)
    if os.name == "nt":
        pytest.skip("Ctrl-C cannot be sent to the server here")
    if CHROMIUM is None:
        pytest.skip("no Chromium on this computer: apt-get install chromium")


# For one file of tests: what leads the browser keeps an event loop running in this thread, and
# tests of other files may run one of their own.
@pytest.fixture(scope="module")
def browser(able: None) -> Iterator[Browser]:
    from playwright.sync_api import expect, sync_playwright

    expect.set_options(timeout=MS)
    with sync_playwright() as leads:
        found = leads.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        yield found
        found.close()


def copied(folder: Path) -> Path:
    """Copy the demo cell with all its files; return the cell file."""
    for file in [*DEMO.glob("alder-ford*"), DEMO / "O1201.nc"]:
        shutil.copy(file, folder)
    return folder / "alder-ford.toml"


@pytest.fixture(scope="session")
def demo(able: None, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """Serve the whole demo cell, which is only looked at."""
    from tests.faces.web.running import Running

    found = Running(copied(tmp_path_factory.mktemp("shop")), "--port", "0")
    yield found
    found.close()


@pytest.fixture
def serve(able: None) -> Iterator[Callable[..., Running]]:
    """Start servers that are stopped at the end."""
    from tests.faces.web.running import Running

    started: list[Running] = []

    def start(cell: Path, *words: str) -> Running:
        started.append(Running(cell, *words))
        return started[-1]

    yield start
    for one in started:
        one.close()


@dataclass
class Begun:
    """A cell file that has only been begun, and the server of its folder."""

    cell: Path
    server: Running

    def restored(self, data: bytes) -> None:
        """Put the file back as it was, with nothing to undo; wait until the server knows."""
        for kept in (self.cell.parent / ".gudgeon").glob("edits.sqlite*"):
            kept.unlink()
        if self.cell.read_bytes() != data:
            self.cell.write_bytes(data)
        digest = self.server.get("/api/entries")["digest"]
        self.server.until(lambda: self.server.get("/api/cell")["digest"] == digest)


@pytest.fixture(scope="session")
def served(able: None, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Begun]:
    """Serve one such file for all tests."""
    from tests.faces.web.running import Running

    cell = Path(shutil.copy(DEMO / "half-filled.toml", tmp_path_factory.mktemp("begun")))
    server = Running(cell, "--port", "0")
    yield Begun(cell, server)
    server.close()


@pytest.fixture
def begun(served: Begun) -> Iterator[Begun]:
    """Give it to one test, and put it back as it was."""
    original = served.cell.read_bytes()
    yield served
    served.restored(original)


@pytest.fixture
def half_filled(tmp_path: Path) -> Path:
    """Copy a cell file that has only been begun, for a server that ends with the test."""
    return Path(shutil.copy(DEMO / "half-filled.toml", tmp_path))


@pytest.fixture
def visit(browser: Browser) -> Iterator[Open]:
    """Open pages; at the end none of them may have complained."""
    opened: list[Visit] = []

    def start(server: Running, where: str = "", **set: Any) -> Visit:
        opened.append(Visit(browser, server.url, where, **set))
        return opened[-1]

    yield start
    faults = [fault for one in opened for fault in one.faults]
    for one in opened:
        one.close()
    assert not faults
