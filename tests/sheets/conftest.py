"""The demo cells as the sheets know them; each is read and asked once for all tests."""

from __future__ import annotations

import functools
from collections.abc import Callable
from pathlib import Path

import pytest

from gudgeon.cell.files import load
from gudgeon.findings import Findings
from gudgeon.sheets.known import Known

DEMO = Path(__file__).parents[2] / "demo"
CELLS = ("alder-ford", "juniper-street", "half-filled")


@functools.cache
def known_of(cell: str) -> Known:
    """Return what is known of a demo cell, without its programs."""
    loaded = load(DEMO / f"{cell}.toml")
    assert loaded.cell is not None
    return Known(Findings(loaded.cell))


@pytest.fixture(scope="session")
def known() -> Callable[[str], Known]:
    """Return what is known of a demo cell by its name, worked out once in a run."""
    return known_of
