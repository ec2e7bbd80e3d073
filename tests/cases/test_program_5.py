"""Acceptance case 5, its program: every block's verdict and figure, as a user reads them.

The expected figures were computed outside this project (expected.toml of the case, ``program.*``).
"""

from __future__ import annotations

import functools
from pathlib import Path

import pytest

from gudgeon.answer import Answer, Verdict
from gudgeon.cell.files import load
from gudgeon.findings import Findings
from gudgeon.findings.programs import ProgramText
from gudgeon.questions import find_questions

HERE = Path(__file__).parent / "program-5"

OK = "clear"
EXPECTED: dict[str, tuple[str, float | None, str]] = {
    "N20": (OK, 25.8, "cutter"),
    "N30": (OK, 192.3, "cutter"),
    "N40": (OK, 12.3, "cutter"),
    "N50": (OK, 50.0, "holder"),
    "N60": (OK, 50.0, "holder"),
    "N70": (OK, 12.3, "cutter"),
    "N80": (OK, 45.1, "holder"),
    "N90": ("danger", 0.8, "cutter"),
    "N100": ("crash", None, "cutter"),
    "N110": (OK, 36.6, "holder"),
    "N120": (OK, 147.3, "cutter"),
    "N130": ("crash", -6.5, "cutter"),
    "N140": ("travel limit", 10.0, "cutter"),
    "N150": (OK, 13.8, "cutter"),
    "N160": (OK, 5.0, "nose"),
    "N170": ("crash", -19.0, "holder"),
    "N180": ("unsafe end pose", -55.0, "cutter"),
}
FEEDS = ("N50", "N60")


@functools.cache
def answer() -> Answer:
    loaded = load(HERE / "cell.toml")
    assert loaded.cell is not None and not loaded.faults
    program = loaded.cell.programs[0]
    assert program.file is not None and program.clearance is not None
    text = ProgramText(
        program.file, (HERE / program.file).read_bytes(), clearance_mm=program.clearance.value
    )
    return find_questions()["clears"].answer(Findings(loaded.cell, [text]))


def rows() -> dict[str, dict[str, object]]:
    table = answer().table("blocks")
    names = [column.name for column in table.columns]
    return {str(row[0]): dict(zip(names, row, strict=True)) for row in table.rows}


def test_every_block_with_motion_is_in_the_table_and_no_other() -> None:
    assert list(rows()) == list(EXPECTED)  # N10 moves nothing


@pytest.mark.parametrize("block", EXPECTED)
def test_block(block: str) -> None:
    verdict, gap, body = EXPECTED[block]
    row = rows()[block]
    assert row["verdict"] == verdict
    # In the window the case judges all but the flutes; their own gap is to the window's walls.
    shown = row["without_flutes" if block in FEEDS else "margin"]
    if gap is not None:
        assert shown == pytest.approx(gap, abs=0.1)
    if block not in FEEDS:
        assert body in str(row["pair"])


def test_lists_of_blocks() -> None:
    by_verdict: dict[str, list[str]] = {}
    for name, row in rows().items():
        by_verdict.setdefault(str(row["verdict"]), []).append(name)
    assert by_verdict["crash"] == ["N100", "N130", "N170"]
    assert by_verdict["danger"] == ["N90"]
    assert by_verdict["travel limit"] == ["N140"]
    assert by_verdict["unsafe end pose"] == ["N180"]


def test_end_of_travel() -> None:
    (row,) = answer().table("beyond_travel").rows
    assert row[:2] == ("N140", "X")
    assert row[2] == pytest.approx(39.0, abs=0.1)


def test_the_verdict_and_the_pose() -> None:
    assert answer().verdict is Verdict.NO
    assert "N100" in answer().headline and "N170" in answer().headline
    assert rows()["N130"]["tilt"] == pytest.approx(21.3, abs=0.5)
    assert rows()["N170"]["rotary"] == pytest.approx(45.0, abs=1.0)
    assert {"pose-front", "margin"} <= {picture.name for picture in answer().pictures}
