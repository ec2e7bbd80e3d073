"""Ordinary little programs that must be free of collision, and near twins that are not.

The shop is that of ``test_clears``: a block 80 mm square and 100 mm high, work zero amid its top,
so that the tip stands at Z of the program.  Tool 1: cutter 10 mm as far as the holder 50 mm up.
Tool 3 here: a side mill 30 mm wide and 10 mm high on a shank of 12 mm.  Tool 4: a drill whose point
is a cone.  Tool 5: a cutter with a neck of 8 mm above its flutes.  Tool 6: a cutter for undercuts.
"""

from __future__ import annotations

import pytest

from gudgeon.answer import Answer, Verdict

from .test_clears import BACK, HEAD, asked, rows

SPECIAL = """[[tools]]
number = 3
length = "120 mm"
cutter_diameter = "30 mm"
flute_length = "10 mm"
shank_diameter = "12 mm"
stickout = "70 mm"
holder_diameter = "40 mm"
[[tools]]
number = 4
length = "120 mm"
[[tools.steps]]
low = "0 mm"
high = "3 mm"
diameter = "0.2 mm"
high_diameter = "10 mm"
counts_as = "cutter"
[[tools.steps]]
low = "3 mm"
high = "60 mm"
diameter = "10 mm"
counts_as = "cutter"
[[tools.steps]]
low = "60 mm"
high = "120 mm"
diameter = "40 mm"
counts_as = "holder"
[[tools]]
number = 5
length = "120 mm"
cutter_diameter = "10 mm"
flute_length = "15 mm"
shank_diameter = "8 mm"
stickout = "60 mm"
holder_diameter = "40 mm"
[[tools]]
number = 6
length = "120 mm"
[[tools.steps]]
low = "0 mm"
high = "5 mm"
diameter = "20 mm"
counts_as = "cutter"
[[tools.steps]]
low = "5 mm"
high = "60 mm"
diameter = "8 mm"
counts_as = "cutter"
[[tools.steps]]
low = "60 mm"
high = "120 mm"
diameter = "40 mm"
counts_as = "holder"
[control]
"""
TAP = "M3 S500\nG0 Z20\nG84 G98 X10 Y0 Z-15 R3 F500\nG80\n"

# Tool in the spindle, the ordinary program, its twin, and what is wrong with the twin.
PAIRS: dict[str, tuple[int, str, str, str]] = {
    "drilling a row and out by rapid": (
        1,
        "G0 Z2\nG1 Z-30 F100\nG0 Z2\nG0 X15\nG1 Z-30\nG0 Z2\nG0 Z100\n",
        "G0 Z2\nG1 Z-30 F100\nG0 Z2\nG1 Z-30\nG0 X15\nG0 Z2\nG0 Z100\n",
        "crash",
    ),
    "all spots first, then all holes": (
        1,
        "G0 Z3\nG1 Z-10 F100\nG0 Z3\nG0 X20\nG1 Z-10\nG0 Z3\n"
        "G0 X0\nG0 Z-9\nG1 Z-30\nG0 Z3\nG0 X20\nG0 Z-9\nG1 Z-30\nG0 Z3\n",
        "G0 Z3\nG1 Z-10 F100\nG0 Z3\nG0 X20\nG1 Z-10\nG0 Z3\n"
        "G0 X0\nG0 Z-11\nG1 Z-30\nG0 Z3\nG0 X20\nG0 Z-9\nG1 Z-30\nG0 Z3\n",
        "crash",
    ),
    "a cycle that pecks": (
        1,
        "M3 S1000\nG0 Z20\nG83 G98 X10 Y0 Z-30 R2 Q8 F100\nG80\n",
        "M3 S1000\nG0 Z20\nG83 G98 X10 Y0 Z-30 R-2 Q8 F100\nG80\n",
        "crash",
    ),
    "tapping": (1, TAP, TAP.replace("G0 Z20\n", "G0 Z0.5\n"), "danger"),
    "a slot and straight up out of it": (
        1,
        "G0 Z2\nG1 Z-10 F100\nG1 X30\nG0 Z100\n",
        "G0 Z2\nG1 Z-10 F100\nG1 X30\nG0 X31\nG0 Z100\n",
        "crash",
    ),
    "back by rapid through the slot": (
        1,
        "G0 Z2\nG1 Z-10 F100\nG1 X30\nG0 X0\nG0 Z2\n",
        "G0 Z2\nG1 Z-10 F100\nG1 X30\nG0 X-1\nG1 Z2\n",
        "crash",
    ),
    "an open contour in two depths": (
        1,
        "G0 X30 Y30\nG0 Z2\nG1 Z-5 F100\nG1 X-30\nG1 Y-30\nG0 Z2\nG0 X30 Y30\nG0 Z-4\n"
        "G1 Z-10\nG1 X-30\nG1 Y-30\nG0 Z2\n",
        "G0 X30 Y30\nG0 Z2\nG1 Z-5 F100\nG1 X-30\nG1 Y-30\nG0 Z2\nG0 X30 Y29\nG0 Z-4\n"
        "G1 Z-10\nG1 X-30\nG1 Y-30\nG0 Z2\n",
        "crash",
    ),
    "down a helix, round and up": (
        1,
        "G0 X10 Y0 Z2\nG3 X10 Y0 Z-6 I-10 J0 F300\nG3 X10 Y0 I-10 J0\nG0 Z100\n",
        "G0 X10 Y0 Z2\nG3 X10 Y0 Z-6 I-10 J0 F300\nG3 X0 Y10 I-10 J0\nG0 Y9\nG0 Z100\n",
        "crash",
    ),
    "approach at feed from the side": (
        1,
        "G0 X60\nG0 Z-10\nG1 X30 F100\nG1 X60\nG0 Z100\n",
        "G0 X60\nG0 Z-10\nG0 X30\nG1 X60 F100\nG0 Z100\n",
        "crash",
    ),
    "into a pocket by feed": (
        1,
        "G0 Z2\nG1 Z-8 F100\nG1 X20\nG1 Y10\nG1 X0\nG1 Y0\nG0 Z2\nG0 X10\nG1 Z-8\nG0 Z2\n",
        "G0 Z2\nG1 Z-8 F100\nG1 X20\nG1 Y10\nG1 X0\nG1 Y0\nG0 Z2\nG0 X10 Y25\nG0 Z-8\nG0 Z2\n",
        "crash",
    ),
    "a side mill along a flank and up": (
        # The cutter's rim stands in the flank; the shank of 12 mm stands outside the block.
        3,
        "G0 X65\nG0 Z-10\nG1 X52 F100\nG1 Y30\nG1 X65\nG0 Z100\n",
        "G0 X65\nG0 Z-12\nG1 X52 F100\nG1 Y30\nG0 Z100\n",
        "crash",
    ),
    "a side mill at the top edge and up": (
        # Its rim reaches over the top: nothing stands above what it has cut.
        3,
        "G0 X65\nG0 Z-5\nG1 X52 F100\nG1 Y30\nG0 Z100\n",
        "G0 X65\nG0 Z-11.5\nG1 X52 F100\nG1 Y30\nG0 Z100\n",
        "crash",
    ),
    "a drill with a point": (
        4,
        "G0 Z2\nG1 Z-30 F100\nG0 Z100\n",
        "G0 Z2\nG1 Z-30 F100\nG1 X5\nG0 X6\nG0 Z100\n",
        "crash",
    ),
    "down the same hole in the same pose": (
        1,
        "G0 X10\nG0 Z2\nG1 Z-10 F100\nG0 Z60\nG0 C10\nG0 C0\nG0 Z-9\nG0 Z60\n",
        "G0 X10\nG0 Z2\nG1 Z-10 F100\nG0 Z60\nG0 C10\nG0 Z-9\nG0 Z60\n",
        "crash",
    ),
    "down the same hole without a stop between": (
        1,
        "G0 Z2\nG1 Z-10 F100\nG0 Z2\nG0 Z-9\nG0 Z2\n",
        "G0 Z2\nG1 Z-10 F100\nG0 Z2\nM0\nG0 Z-9\nG0 Z2\n",
        "crash",
    ),
    "a cutter wider below, out of its slot the way it came": (
        6,
        "G0 X60\nG0 Z-12\nG1 X30 F100\nG0 X60\nG0 Z100\n",
        "G0 X60\nG0 Z-12\nG1 X30 F100\nG0 Z100\n",
        "crash",
    ),
    "another tool in the hole, by feed": (
        # The gauge point of tool 1 stands where that of tool 5 stood 20 mm higher up.
        5,
        "G0 Z2\nG1 Z-10 F100\nG0 Z150\nT1 M6\nG43 H1 G0 Z5\nG1 Z-29\nG0 Z100\n",
        "G0 Z2\nG1 Z-10 F100\nG0 Z150\nT1 M6\nG43 H1 G0 Z5\nG0 Z-29\nG0 Z100\n",
        "crash",
    ),
    "a neck over the flutes, no deeper than they are long": (
        5,
        "G0 Z2\nG1 Z-13 F100\nG1 X30\nG0 Z100\n",
        "G0 Z2\nG1 Z-13 F100\nG1 X30\nG1 Z-17\nG0 Z100\n",
        "crash",
    ),
}


def run(tool: int, body: str, *changed: tuple[str, str]) -> Answer:
    more = ("[control]\n", SPECIAL)
    start = ("tool_at_start = 1", f"tool_at_start = {tool}")
    head = HEAD.replace("H1", f"H{tool}")
    return asked(f"{head}{body}{BACK.replace('Z200', 'Z150')}", more, start, *changed)


@pytest.mark.parametrize("name", PAIRS)
def test_an_ordinary_program_is_free(name: str) -> None:
    tool, program, _, _ = PAIRS[name]
    got = run(tool, program)
    assert got.verdict is Verdict.YES, got.headline


@pytest.mark.parametrize("name", PAIRS)
def test_its_twin_is_not(name: str) -> None:
    tool, _, program, verdict = PAIRS[name]
    got = run(tool, program)
    assert got.verdict is Verdict.NO, got.headline
    assert verdict in {row["verdict"] for row in rows(got).values()}
