"""One server of the page that several test files ask; each leaves its folder as it was."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.faces.web.running import Running

DEMO = Path(__file__).parents[3] / "demo"


@pytest.fixture(scope="session")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("shop")
    for file in [*DEMO.glob("alder-ford*"), DEMO / "O1201.nc"]:
        shutil.copy(file, folder)
    return folder


@pytest.fixture(scope="session")
def running(folder: Path) -> Iterator[Running]:
    from tests.faces.web.running import Running

    found = Running(folder / "alder-ford.toml", "--port", "0")
    yield found
    found.close()
