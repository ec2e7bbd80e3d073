"""What is sent of a program agrees with the answer about it, in number and place."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("pydantic", reason="the extra `web` is not installed")

from gudgeon.cell.files import load
from gudgeon.faces.programs import Neighbours
from gudgeon.faces.web import playback
from gudgeon.faces.web.playback import COLUMNS, spots_of, track_bytes
from gudgeon.findings import Findings
from gudgeon.findings.programs import ProgramText
from gudgeon.questions import find_questions

DEMO = Path(__file__).parents[3] / "demo"


@pytest.fixture(scope="module", params=["alder-ford", "juniper-street"])
def shop(request: pytest.FixtureRequest) -> tuple[Findings, ProgramText]:
    cell = load(DEMO / f"{request.param}.toml").cell
    assert cell is not None
    name = f"{request.param}.nc"
    beside = Neighbours(DEMO / name)
    program = ProgramText(name, (DEMO / name).read_bytes(), called=beside, names=beside.names)
    return Findings(cell, [program]), program


def test_spots_are_those_of_the_answer(shop: tuple[Findings, ProgramText]) -> None:
    findings, program = shop
    answer = find_questions()["clears"].answer(findings)
    spots = spots_of(findings, program)
    rows = np.frombuffer(track_bytes(findings, program), dtype="<f4").reshape(-1, COLUMNS)
    blocks = next(table for table in answer.tables if table.name == "blocks")
    verdict = [column.name for column in blocks.columns].index("verdict")
    bad = [row for row in blocks.rows if row[verdict] in ("crash", "danger", "travel limit")]
    assert sum(spot.grade == "danger" for spot in spots) == len(bad)
    assert (answer.verdict.value == "no") == bool(bad)
    assert spots and spots == sorted(spots, key=lambda spot: (spot.t, spot.line))
    for spot in spots:
        assert 0.0 <= spot.t <= rows[-1, 0] + 1e-3
        assert spot.words and spot.line >= 1


def test_a_long_course_is_thinned_and_keeps_its_ends(
    shop: tuple[Findings, ProgramText], monkeypatch: pytest.MonkeyPatch
) -> None:
    findings, program = shop
    whole = np.frombuffer(track_bytes(findings, program), dtype="<f4").reshape(-1, COLUMNS)
    monkeypatch.setattr(playback, "ROWS_MOST", 20)
    few = np.frombuffer(track_bytes(findings, program), dtype="<f4").reshape(-1, COLUMNS)
    assert len(few) == 20 < len(whole)
    assert np.array_equal(few[0], whole[0], equal_nan=True)
    assert np.array_equal(few[-1], whole[-1], equal_nan=True)
