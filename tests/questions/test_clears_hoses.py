"""The question clears where hoses hang: a space that a hose may fill is no touch, never nothing.

The cell is that of `test_clears`, with an air hose that stands still beside the block.
"""

from __future__ import annotations

import re

import numpy as np
import pytest

from gudgeon.answer import Answer, Verdict
from gudgeon.findings.hoses import tied_mm
from tests.questions.test_clears import BACK, BACK_2, HEAD, Memory, asked, rows

ENDS = np.array([-300.0, -320.0, -380.0]), np.array([-360.0, -320.0, -580.0])
TAUT = float(np.linalg.norm(ENDS[0] - ENDS[1]))
OVER_THE_HOSE = f"{HEAD}G0 Z200\nG0 Y-140\nG0 Z-20\nG0 Z200\n{BACK}"


def hose(length: float, *more: str, y_mm: float = 0.0) -> tuple[str, str]:
    """Return an entry for a hose from the floor of the unit to the table."""
    return (
        "[fixture]",
        "\n".join(
            (
                "[[unit.hoses]]",
                'name = "air hose"',
                'connector_x = "0 mm"',
                f'connector_y = "{-120 + y_mm:g} mm"',
                'connector_z = "20 mm"',
                'anchor_x = "-360 mm"',
                f'anchor_y = "{-320 + y_mm:g} mm"',
                'anchor_z = "-580 mm"',
                f'length = "{length} mm"',
                'diameter = "10 mm"',
                *more,
                "[fixture]",
            )
        ),
    )


def tie_of(answer: Answer) -> float:
    found = re.search(r"air hose is tied so that no more than ([\d.]+) mm", answer.headline)
    assert found is not None, answer.headline
    return float(found[1])


def test_a_hose_far_away_changes_nothing() -> None:
    far = asked(OVER_THE_HOSE, hose(260.0, y_mm=-600.0))
    without = asked(OVER_THE_HOSE)
    assert far.verdict is without.verdict is Verdict.YES
    assert far.headline == without.headline
    assert far.figure("smallest_margin") == without.figure("smallest_margin")
    assert not any(table.name == "hoses" for table in far.tables)


def test_a_hose_that_may_hang_in_the_way_asks_for_a_tie() -> None:
    got = asked(OVER_THE_HOSE, hose(500.0))
    assert got.verdict is Verdict.YES_IF
    assert "Tie up the hoses" in got.next_step
    assert {row["verdict"] for row in rows(got).values()} == {"clear if the hose is tied"}
    assert got.figure("hose_blocks").value == len(got.table("hoses").rows) == 5
    assert any("T1" in str(row[3]) for row in got.table("hoses").rows)
    # A hose of that length is proven clear; it is no shorter than the hose drawn taut.
    tie = tie_of(got)
    assert tie > TAUT
    assert asked(OVER_THE_HOSE, hose(tie - 0.5)).verdict is Verdict.YES
    assert asked(OVER_THE_HOSE, hose(tie + 2.0)).verdict is Verdict.YES_IF


def test_a_hose_that_even_taut_lies_in_the_way_has_to_be_guided() -> None:
    """From one side of the block to the other: no tie takes it out of the block."""
    across = hose(500.0)
    entry = across[1].replace('connector_y = "-120 mm"', 'connector_y = "120 mm"')
    got = asked(OVER_THE_HOSE, (across[0], entry.replace('"-580 mm"', '"-380 mm"')))
    assert got.verdict is Verdict.YES_IF
    assert "air hose is guided off" in got.headline


def test_a_crash_beside_a_hose_stays_a_crash() -> None:
    got = asked(f"{HEAD}G0 Z-8\nG0 Z200\n{BACK}", hose(500.0))
    assert got.verdict is Verdict.NO
    assert "crashes" in got.headline
    assert rows(got)[2]["verdict"] == "crash"
    assert rows(got)[2]["margin"] == pytest.approx(-8.0, abs=0.05)
    assert "fixture with parts" in str(rows(got)[2]["pair"])
    assert any("air hose is tied" in text for text in got.cautions)


def test_what_is_not_understood_beside_a_hose_stays_open() -> None:
    got = asked(f"{HEAD}G0 Z200\nG0 Y-140\nG0 Z-20\nG0 Q=?\n{BACK}", hose(500.0))
    assert got.verdict is Verdict.CANNOT_TELL
    assert any("air hose is tied" in text for text in got.cautions)


def test_one_block_over_the_hose_is_found_among_those_beside_it() -> None:
    """A hose that lies clear of the block: only where the tool goes down over it does it count."""
    low = hose(232.0)
    got = asked(f"{HEAD}G0 Z200\nG0 X0 Y-120\nG0 Z-95\nG0 Z200\nG0 X150\n{BACK}", low)
    assert got.verdict is Verdict.YES_IF
    over = {row[1] for row in got.table("hoses").rows}
    assert 4 in over
    assert 6 not in over
    assert rows(got)[6]["verdict"] == "clear"


def test_both_conditions_are_told() -> None:
    """Rapids that are clear in a straight line only, under a hose that hangs in the way."""
    program = f"{HEAD}G0 Z200\nG0 X-100 Y0\nG0 Z40\nG0 X-30 Z10\nG0 Y-140\nG0 Z200\n{BACK}"
    loose = ('rapids = "straight"\n', "")
    corner = f"{HEAD}G0 Z200\nG0 X-70 Y0\nG0 Z-20\nG0 X-41 Z30\nG0 Z200\n{BACK}"
    for text in (program, corner):
        plain, hung = asked(text, loose), asked(text, loose, hose(500.0))
        straight = "rapids run in a straight line" in plain.headline
        assert ("rapids run in a straight line" in hung.headline) == straight
        if plain.verdict in (Verdict.YES, Verdict.YES_IF):
            assert hung.verdict is Verdict.YES_IF
            assert "air hose is tied" in hung.headline


def test_a_tool_change_where_the_hose_may_hang_asks_for_a_tie() -> None:
    program = f"{HEAD}G0 Z200\nT2 M6\nG43 H2\n{BACK_2}"
    hung = asked(program, hose(1400.0))
    assert hung.verdict is Verdict.YES_IF
    assert any("change" in str(row[2]) for row in hung.table("hoses").rows)


def test_in_a_long_program_the_same_blocks_hang_on_the_tie() -> None:
    """Proven in chunks, not one by one."""
    steps = "".join(f"G1 X{k % 7} Y{-130 - k % 5} F500\n" for k in range(600))
    near = f"{HEAD}G0 Z200\nG0 Y-140\nG0 Z-20\n{steps}G0 Z200\n{BACK}"
    got = asked(near, hose(500.0))
    assert got.verdict is Verdict.YES_IF
    assert got.figure("hose_blocks").value == got.figure("blocks").value
    tie = tie_of(got)
    assert asked(near, hose(tie - 0.5)).verdict is Verdict.YES


def test_the_next_run_from_the_end_pose_is_judged_against_the_hose() -> None:
    """The first run crosses over the hose at the top; the next begins low and crosses it there."""
    text = f"{HEAD}G0 X0\nG0 Y-120\nG0 Z200\nG0 X150\nG0 Z-95\nM30\n"
    got = asked(text, hose(232.0))
    assert got.verdict is Verdict.YES_IF
    assert [(row[0], row[2], row[4]) for row in got.table("hoses").rows] == [
        ("line 7", "end", "the next run starts here, and line 2 reaches it")
    ]
    lifted = text.replace("G0 Z-95\n", "")
    assert asked(lifted, hose(232.0)).verdict is Verdict.YES


def test_a_proof_that_was_kept_says_the_same() -> None:
    keep = Memory()
    first = asked(OVER_THE_HOSE, hose(500.0), keep=keep)
    again = asked(OVER_THE_HOSE, hose(500.0), keep=keep)
    assert keep.loads == [False, True]
    assert (again.verdict, again.headline) == (first.verdict, first.headline)
    assert again.table("hoses") == first.table("hoses")
    assert again.table("blocks") == first.table("blocks")


def test_a_tie_is_the_longest_that_helps() -> None:
    assert tied_mm(500.0, 208.8, lambda length: length > 262.4) in (261.0, 262.0)
    assert tied_mm(500.0, 208.8, lambda length: length > 209.0) == 209.0
    assert tied_mm(500.0, 208.8, lambda _: True) is None
    assert tied_mm(500.0, 510.0, lambda _: False) is None
