"""Figures of the test piece that were entered: read from the file, worked out, told."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from gudgeon.answer import Answer
from gudgeon.cell.files import load
from gudgeon.cell.model_piece import Piece, PieceSize
from gudgeon.findings import Findings
from gudgeon.findings.piece_measured import piece_key, piece_measured
from gudgeon.quantity.amount import Amount
from gudgeon.sheets._accept import ASKED, accept
from gudgeon.sheets._test_piece import test_piece as piece_blocks
from gudgeon.sheets.known import Known
from gudgeon.sheets.shape import Grid, Heading, Words

DEMO = Path(__file__).parents[2] / "demo"


def measured(findings: Findings, off: np.ndarray, key: str | None = None) -> Findings:
    """Return the findings with the figures entered, so much off; the piece is not sought again."""
    piece = findings.test_piece
    sizes = tuple(
        PieceSize(figure.name, Amount(figure.expected_mm + value))
        for figure, value in zip(piece.figures, off, strict=True)
    )
    entered = Piece(piece_key(piece) if key is None else key, sizes)
    found = Findings(replace(findings.cell, test_piece=entered))
    found.__dict__["test_piece"] = piece
    return found


def answers(known: Callable[[str], Known]) -> dict[str, Answer]:
    """Return the demo's answers, asked once for all tests."""
    return {name: known("alder-ford").answer(name) for name in (*dict(ASKED), "drifted")}


def words(findings: Findings) -> list[str]:
    blocks, _ = piece_blocks(Known(findings))
    start = blocks.index(Heading("What your figures say"))
    end = blocks.index(Heading("What the figures say"))
    return [one.text for one in blocks[start:end] if isinstance(one, Words)]


def shows(findings: Findings, name: str, size: float) -> np.ndarray:
    piece = findings.test_piece
    column = next(i for i, d in enumerate(piece.deviations) if d.deviation.name == name)
    return np.array([figure.row[column] for figure in piece.figures]) * size


def test_the_one_error_is_named_with_its_size(known: Callable[[str], Known]) -> None:
    findings = known("alder-ford").findings
    off = shows(findings, "rotary_x", 0.08) + 0.001 * np.random.default_rng(1).normal(
        size=len(findings.test_piece.figures)
    )
    told = measured(findings, off)
    found = piece_measured(told)
    assert found is not None
    assert [named.deviation.name for named, _ in found.single] == ["rotary_x"]
    assert found.single[0][1] == pytest.approx(0.08, abs=0.005)
    assert any("rotary line stands further to X+ by 0.0" in text for text in words(told))
    values = {named.deviation.name: (value, sure) for named, value, sure in found.several}
    value, sure = values["rotary_x"]
    assert abs(value - 0.08) < sure
    blocks, _ = accept(Known(told, answers(known)))
    said = [one.text for one in blocks if isinstance(one, Words) and one.role == "lack"]
    assert any("Do not accept yet: the test piece" in text for text in said)


def test_two_errors_at_once_are_not_put_down_to_one(known: Callable[[str], Known]) -> None:
    findings = known("alder-ford").findings
    off = shows(findings, "rotary_x", 0.12) + shows(findings, "T3 diameter", 0.15)
    found = piece_measured(measured(findings, off))
    assert found is not None
    assert found.single == ()
    names = {named.deviation.name for named, _, _ in found.several}
    assert {"rotary_x", "T3 diameter"} <= names


def test_good_figures_are_good(known: Callable[[str], Known]) -> None:
    findings = known("alder-ford").findings
    good = measured(findings, np.zeros(len(findings.test_piece.figures)))
    found = piece_measured(good)
    assert found is not None
    assert found.good
    assert words(good) == ["Every figure that is entered keeps its limit."]
    blocks, _ = accept(Known(good, answers(known)))
    grid = next(one for one in blocks if isinstance(one, Grid) and one.name == "accept_answers")
    assert next(row for row in grid.rows if row[0] == "test piece")[1] == "Yes"


def test_sizes_of_another_piece_are_not_used(known: Callable[[str], Known]) -> None:
    findings = known("alder-ford").findings
    off = shows(findings, "rotary_x", 0.08)
    for key in ("abcdef", ""):
        other = measured(findings, off, key)
        found = piece_measured(other)
        assert found is not None
        assert found.other_piece
        assert not found.good
        assert any("another test piece" in text for text in words(other))


def test_a_figure_that_is_not_there_is_told(known: Callable[[str], Known]) -> None:
    findings = known("alder-ford").findings
    piece = findings.test_piece
    entered = Piece(piece_key(piece), (PieceSize("m99", Amount(65.0)), PieceSize("m1a", None)))
    other = Findings(replace(findings.cell, test_piece=entered))
    other.__dict__["test_piece"] = piece
    found = piece_measured(other)
    assert found is not None
    assert found.unknown == ("m99", "m1a")
    assert not found.good
    assert any("m99" in text for text in words(other))


def test_entries_are_read_from_the_file(tmp_path: Path, known: Callable[[str], Known]) -> None:
    findings = known("juniper-street").findings
    piece = findings.test_piece
    text = (DEMO / "juniper-street.toml").read_text(encoding="utf-8")
    first = piece.figures[0]
    text += (
        f'\n[test_piece]\nkey = "{piece_key(piece)}"\n\n[[test_piece.measured]]\n'
        f'figure = "{first.name}"\nsize = "{first.expected_mm / 25.4 + 0.02:.4f} in"\n'
    )
    (tmp_path / "cell.toml").write_text(text, encoding="utf-8")
    for beside in DEMO.glob("juniper-street*.csv"):
        (tmp_path / beside.name).write_bytes(beside.read_bytes())
    loaded = load(tmp_path / "cell.toml")
    assert loaded.cell is not None
    found = piece_measured(Findings(loaded.cell))
    assert found is not None
    assert not found.other_piece  # the key is the same each time
    assert [figure.name for figure in found.outside] == [first.name]
    assert found.count == 1
