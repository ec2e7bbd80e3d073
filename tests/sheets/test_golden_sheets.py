"""Golden sheets: what is printed for each demo shop, word for word.

``GUDGEON_GOLDEN=write python -m pytest tests/sheets/test_golden_sheets.py`` stores afresh (with
``-k alder-ford-bump`` only one); read the difference before it is committed.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from gudgeon.sheets import find_sheets
from gudgeon.sheets.known import Known
from tests.sheets.conftest import CELLS
from tests.sheets.plain import sheet_text

GOLDEN = Path(__file__).parent / "golden"
SHEETS = find_sheets()


@pytest.mark.parametrize(
    ("cell", "name"), [(c, n) for c in CELLS for n in SHEETS], ids=lambda word: str(word)
)
def test_sheets_read_as_stored(cell: str, name: str, known: Callable[[str], Known]) -> None:
    text = sheet_text(SHEETS[name].sheet(known(cell)))
    stored = GOLDEN / f"{cell}-{name}.txt"
    if os.environ.get("GUDGEON_GOLDEN") == "write":
        stored.parent.mkdir(exist_ok=True)
        stored.write_text(text, encoding="utf-8", newline="\n")
    assert text == stored.read_text(encoding="utf-8")
