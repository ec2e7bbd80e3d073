"""Rapids in what was cut, against stock as small cubes: another way to the same truth.

Random programs of feeds and rapids straight along the axes run through a block of cubes; what
flutes pass by feed is taken out.  A move that is called clear may at no place hold a cube that
still stands, up to the size of a cube.
"""

from __future__ import annotations

import random

import numpy as np
import pytest

from gudgeon.findings import Findings
from gudgeon.findings.cleared import Judged
from gudgeon.findings.programs import ProgramText

from .test_clears import HEAD, cell
from .test_clears_programs import SPECIAL

CUBE = 2.0
BLUR = 1.8
STEP = 1.0
# Bars of each tool from the tip up: from, to, radius, whether it cuts.
TOOLS = {
    1: ((0.0, 50.0, 5.0, True), (50.0, 100.0, 20.0, False)),
    3: ((0.0, 10.0, 15.0, True), (10.0, 70.0, 6.0, False), (70.0, 120.0, 20.0, False)),
    5: ((0.0, 15.0, 5.0, True), (15.0, 60.0, 4.0, False), (60.0, 120.0, 20.0, False)),
}
MIDDLES = np.arange(-40.0 + CUBE / 2.0, 40.0, CUBE)
X, Y, Z = np.meshgrid(MIDDLES, MIDDLES, np.arange(-40.0 + CUBE / 2.0, 0.0, CUBE), indexing="ij")

Move = tuple[str, tuple[float, ...], tuple[float, ...]]


def filled(tool: int, at: np.ndarray, shrink: float, *, cutting: bool) -> np.ndarray:
    """Return the cubes whose middle a tool, thinner by `shrink`, holds."""
    aside = np.hypot(X - at[0], Y - at[1])
    held = np.zeros(X.shape, dtype=bool)
    for low, high, radius, cuts in TOOLS[tool]:
        if cuts or not cutting:
            up = Z - at[2]
            held |= (aside <= radius - shrink) & (up >= low + shrink) & (up <= high - shrink)
    return held


def drawn(chance: random.Random, tool: int) -> tuple[str, list[Move]]:
    """Return a program and its moves; most go where others were before."""
    here, lines, moves = [0.0, 0.0, 100.0], ["G0 Z100"], []
    sides = [-52.0, -20.0, 0.0, 20.0, 52.0] if tool == 3 else [-20.0, 0.0, 20.0]
    levels = [-30.0, -20.0, -12.0, -9.0, -5.0, 5.0, 20.0]
    for _ in range(chance.randint(6, 12)):
        word, end = chance.choice(["G0", "G1"]), list(here)
        if chance.random() < 0.6:
            end[2] = chance.choice(levels)
        else:
            end[chance.choice([0, 1])] = chance.choice(sides)
        if end == here:
            continue
        lines.append(f"{word} X{end[0]} Y{end[1]} Z{end[2]} F100")
        moves.append((word, tuple(here), tuple(end)))
        here = end
    return "\n".join(lines), moves


def judged_clear(tool: int, body: str) -> list[bool]:
    own = cell((("[control]\n", SPECIAL), ("tool_at_start = 1", f"tool_at_start = {tool}")))
    text = HEAD.replace("H1", f"H{tool}") + body + "\nM30\n"
    done = Findings(own).cleared(ProgramText("part.nc", text.encode()))
    by_line = {int(done.track.segments[row]["line"]): one for row, one in done.rows.items()}
    return [
        line in by_line and by_line[line].judged is Judged.CLEAR
        for line in range(3, 3 + body.count("\n"))
    ]


@pytest.mark.parametrize("seed", range(24))
def test_no_move_that_is_called_clear_holds_a_standing_cube(seed: int) -> None:
    chance = random.Random(seed)
    tool = chance.choice(sorted(TOOLS))
    body, moves = drawn(chance, tool)
    stock = np.ones(X.shape, dtype=bool)
    for clear, (word, start, end) in zip(judged_clear(tool, body), moves, strict=True):
        if not clear:
            return  # behind a crash the work is another
        count = 1 + int(np.max(np.abs(np.subtract(end, start))) / STEP)
        places = np.linspace(start, end, count + 1)
        for at in places[places[:, 2] < 0.0]:
            if word == "G1":
                stock &= ~filled(tool, at, 0.0, cutting=True)
            held = filled(tool, at, BLUR, cutting=False)
            assert not (held & stock).any(), (tool, body, at)
