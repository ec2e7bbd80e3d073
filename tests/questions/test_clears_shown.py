"""What is shown of a judged program: order of motion, calls, the few that count of many."""

from __future__ import annotations

import re
from itertools import pairwise

import pytest

from gudgeon.answer import Answer
from gudgeon.findings import Findings
from gudgeon.findings.cleared import Judged
from gudgeon.findings.programs import ProgramText
from gudgeon.questions._clears_blocks import judgement
from gudgeon.questions._clears_pictures import _marked
from gudgeon.questions.clears import answer as ask

from .test_clears import BACK, HEAD, asked, cell, rows

CALLED = b"O70\nG1 Z-2 F100\nG91 G1 X4\nG90 G0 Z7\nM99\n"


def with_called(program: str, called: bytes = CALLED) -> tuple[Answer, ProgramText]:
    text = ProgramText(
        "main.nc",
        program.encode(),
        called=lambda number: called if number == 70 else None,
        names={70: "O70.nc"},
    )
    return ask(Findings(cell(), [text])), text


def test_a_block_of_a_called_program_tells_its_file_and_the_call() -> None:
    program = f"{HEAD}G0 Z7\nM98 P70\nG0 X10\nM98 P70\n{BACK}"
    got, _ = with_called(program)
    names = [str(row[0]) for row in got.table("blocks").rows]
    # Line 2 of the called program runs twice, called from lines 3 and 5.
    assert names.count("line 2 of O70.nc (called from line 3)") == 1
    assert names.count("line 2 of O70.nc (called from line 5)") == 1
    assert names[-2:] == ["line 6", "line 7"]  # back in the main program


def test_a_crash_in_a_called_program_is_told_with_its_call() -> None:
    got, _ = with_called(f"{HEAD}G0 Z7\nM98 P70\n{BACK}", CALLED.replace(b"G0 Z7", b"G0 X9"))
    assert "Line 4 of O70.nc (called from line 3) crashes" in got.headline


def test_a_subprogram_in_the_same_file_tells_the_call() -> None:
    program = f"{HEAD}G0 Z7\nM98 P70\nM98 P70\n{BACK}O70\nG91 G1 Z-1 F100\nG90 M99\n"
    got = asked(program)
    names = [str(row[0]) for row in got.table("blocks").rows]
    assert "line 9 (called from line 3)" in names and "line 9 (called from line 4)" in names


def test_the_chart_goes_by_the_order_of_motion() -> None:
    program = f"{HEAD}G0 Z7\nM98 P70\nG0 X10\nM98 P70\n{BACK}"
    _, text = with_called(program)
    findings = Findings(cell(), [text])
    one = judgement(findings, findings.cleared(text))
    assert [block.order for block in one.told] == list(range(1, one.blocks_moving + 1))
    lines = [block.line for block in one.told]
    assert lines != sorted(lines)  # by lines the curve would run to and fro


def long_program(dips: dict[int, float], count: int = 900) -> str:
    lines = [HEAD, "G0 X70 Y0", "G0 Z40"]
    for k in range(count):
        lines.append(f"G0 Z{dips.get(k, 40.0 + 0.01 * (k % 7)):.2f}")
        lines.append(f"G0 X{70 + k % 2}")
    return "\n".join(lines) + "\n" + BACK


def test_the_few_that_count_of_a_long_program() -> None:
    dips = {k: 0.3 + 0.01 * k for k in range(60)} | {500: -3.0}
    got = asked(long_program(dips).replace("X7", "X2"))
    worst = got.table("worst").rows
    assert len(worst) == 12
    assert worst[0][2] == "crash"
    assert "danger" in {row[2] for row in worst}
    ranks = [Judged(str(row[2])).rank for row in worst]
    assert ranks == sorted(ranks, reverse=True)


def test_no_table_of_the_worst_where_all_can_be_read_at_once() -> None:
    got = asked(f"{HEAD}G0 Z100\n{BACK}")
    assert [table.name for table in got.tables] == ["blocks"]


def test_the_smallest_gap_of_a_long_program_is_that_of_its_tightest_block() -> None:
    # 6 mm over the top at X20; everywhere else 40 mm over it or 25 mm beside.
    dip = "G0 Z40\nG0 X20\nG0 Z6\nG0 Z40\n"
    program = long_program({}).replace("G0 X70\nG0", f"{dip}G0 X70\nG0", 1)
    got = asked(program)
    assert got.figure("smallest_margin").value == pytest.approx(6.0, abs=2e-3)
    found = [row for row in rows(got).values() if row["margin"] is not None]
    assert min(float(str(row["margin"])) for row in found) == pytest.approx(6.0, abs=2e-3)


def test_names_in_the_chart_stand_apart() -> None:
    text = ProgramText("part.nc", long_program({k: 1.0 for k in range(100, 130)}).encode())
    findings = Findings(cell(), [text])
    one = judgement(findings, findings.cleared(text))
    marked = _marked(one, [b for b in one.told if b.margin_mm == b.margin_mm])
    orders = sorted(block.order for block in marked)
    assert 1 <= len(orders) <= 6
    assert all(b - a >= 0.05 * one.blocks_moving for a, b in pairwise(orders))
    assert not any(re.search(r"nan", picture.svg) for picture in ask(findings).pictures)
