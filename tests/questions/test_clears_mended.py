"""Gaps that a second opinion found open: guards at a change, the other way round, wide cutters."""

from __future__ import annotations

import pytest

from gudgeon.answer import Verdict
from gudgeon.findings import Findings
from tests.questions.test_clears import BACK_2, HEAD, asked, cell, rows

CHANGE = f"{HEAD}G0 Z200\nT2 M6\nG43 H2 G0 Z100\n{BACK_2}"
GUARD = """[[solids]]
name = "cover"
shape = "box"
counts_as = "guard"
carried_by = "{carrier}"
measured_from = "machine"
x = ["-330 mm", "-270 mm"]
y = ["-230 mm", "-170 mm"]
z = ["{low} mm", "{high} mm"]
[control]
"""


@pytest.mark.parametrize("carrier", ["table", "machine"])
@pytest.mark.parametrize(("high", "verdict"), [(-290.5, "danger"), (-280.0, "crash")])
def test_a_guard_under_the_spindle_counts_at_a_change(
    carrier: str, high: float, verdict: str
) -> None:
    # T2 pulled down ends at -290; a cover over the load stands in its way.
    # On the floor it stands under the spindle only where the table has been brought back.
    shift = 0.0 if carrier == "table" else 300.0
    text = GUARD.format(carrier=carrier, low=high - 5.0, high=high)
    if carrier == "machine":
        text = text.replace("-330", f"{-330 + shift}").replace("-270 mm", f"{-270 + shift} mm")
        text = text.replace("-230", f"{-230 + 200.0}").replace("-170 mm", f"{-170 + 200.0} mm")
    got = asked(CHANGE, ("[control]\n", text))
    assert rows(got)[3]["verdict"] == verdict
    assert got.verdict is Verdict.NO


def test_a_guard_beside_the_spindle_costs_no_change() -> None:
    text = GUARD.format(carrier="machine", low=-500.0, high=-20.0)
    text = text.replace("-330", "150").replace("-270 mm", "200 mm")
    assert asked(CHANGE, ("[control]\n", text)).verdict is Verdict.YES


def test_the_other_way_round_is_judged_with_each_axis_alone_too() -> None:
    # From C10 to C0 the other way passes all corners (56.57 mm).  The spindle goes in from 110 to
    # 50 mm at once: straight it is past them in time, each axis alone it need not be.
    program = f"{HEAD}G0 Z100\nG0 C10\nG0 X110 Y0\nG0 Z-30\nG0 X62.5 C0\nG0 Z100\n{{}}"
    program = program.format("G0 Z200\nG0 X0 Y0 A0 C0\nM30\n")
    alone = ('rapids = "straight"', 'rapids = "each axis alone"')
    either = ('rotary_turns = "as written"\n', "")
    assert rows(asked(program))[6]["verdict"] == "clear"
    assert rows(asked(program, alone))[6]["verdict"] == "clear"
    near = rows(asked(program, either))[6]["verdict"]
    assert near == "clear"
    assert rows(asked(program, alone, either))[6]["verdict"] == "clear one way round only"


def test_an_unsure_wide_cutter_reaches_as_high_as_it_may() -> None:
    # A face mill of 50 mm on a thinner holder: length and stickout may each be 1 mm off.
    text = (
        'length = "100 mm"\ncutter_diameter = "10 mm"\nstickout = "50 mm"',
        'length = "100 +- 1 mm"\ncutter_diameter = "50 mm"\nstickout = "50 +- 1 mm"',
    )
    found = Findings(cell((text,))).tool_bodies(1)
    cutter = next(body for body in found if body.role == "cutter")
    ends = cutter.solids[0][1][:, 2]
    assert (float(ends.min()), float(ends.max())) == pytest.approx((-101.0, -48.0))
