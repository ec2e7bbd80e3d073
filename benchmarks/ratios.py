"""Speed of the heavy pieces, each beside a named reference in the same run on the same input.

Only the ratios mean anything on another machine.  Each piece runs several times; the median counts.
Both sides must give the same result, or the run fails.

    python benchmarks/ratios.py
"""

from __future__ import annotations

import math
import random
import statistics
import sys
import time
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import programs
from scipy.spatial.transform import Rotation

import clearance
import timing
from gudgeon.cell.reader import read_cell
from gudgeon.kinematics.chain import AxisLine, TurningAxis, WorkChain
from gudgeon.money.chance import DRAWS, Spread, draw, share_above_zero
from gudgeon.money.level import level_worth, yearly_saving

RUNS = 7
POINTS = 100_000
DEMO = Path(__file__).parents[1] / "demo" / "alder-ford.toml"


@dataclass(frozen=True)
class Ratio:
    """One piece beside its reference: median seconds of both."""

    piece: str
    reference: str
    ours_s: float
    reference_s: float

    def row(self) -> str:
        times = self.ours_s / self.reference_s
        said = f"{times:.2f} x" if times >= 0.5 else f"1/{1.0 / times:.1f}"
        return (
            f"{self.piece:<34}{1e3 * self.ours_s:>10.2f} ms   "
            f"{self.reference:<34}{1e3 * self.reference_s:>10.2f} ms   {said:>8}"
        )


def median_s(work: Callable[[], Any], runs: int = RUNS) -> float:
    work()  # imports and caches out of the way
    taken = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def pose_map() -> Ratio:
    """Take points through tilt and rotary axis, each in its own pose."""
    draws = np.random.default_rng(1)
    tilt = AxisLine((10.0, -205.0, -405.0), (1.0, 0.0, 0.0))
    rotary = AxisLine((-381.0, -204.977, 0.0), (0.0, 0.0, 1.0))
    chain = WorkChain((TurningAxis("tilt", tilt, -1), TurningAxis("rotary", rotary, -1)))
    angles = draws.uniform(-math.pi, math.pi, (POINTS, 2))
    points = draws.uniform(-300.0, 300.0, (POINTS, 3))

    def reference() -> np.ndarray:
        here = points
        for axis, column in ((rotary, 1), (tilt, 0)):
            turn = Rotation.from_rotvec(-angles[:, column, None] * np.asarray(axis.direction))
            here = turn.apply(here - axis.point_mm) + axis.point_mm
        return here

    np.testing.assert_allclose(chain.points(angles, points), reference(), atol=1e-9)
    return Ratio(
        f"pose map, {POINTS:,} points",
        "scipy Rotation",
        median_s(lambda: chain.points(angles, points)),
        median_s(reference),
    )


SPREADS = {
    "outlay": Spread(24900.0, 1245.0, 0.0),
    "running": Spread(1500.0, 225.0, 0.0),
    "saved": Spread(1260.0, 126.0),
    "rate": Spread(75.0, 3.75, 0.0),
    "volume": Spread(345.0, 43.0, 0.0),
    "years": Spread(5.0, 0.5, 0.25),
    "discount": Spread(0.08, 0.01, -0.5),
}


def money_draws() -> Ratio:
    """Work out the chance that it pays, all draws at once and one after the other."""

    def ours() -> float:
        d = draw(SPREADS, seed=1)
        yearly = yearly_saving(d["saved"], d["rate"], d["volume"], d["running"])
        return share_above_zero(level_worth(d["outlay"], yearly, 0.0, d["discount"], d["years"]))

    def reference() -> float:
        dice = random.Random(1)
        pays = 0
        for _ in range(DRAWS):
            d = {name: dice.gauss(one.value, one.u) for name, one in SPREADS.items()}
            yearly = d["saved"] / 3600.0 * d["volume"] * d["rate"] - d["running"]
            worth = -d["outlay"]
            whole = math.floor(d["years"])
            for year in range(1, whole + 1):
                worth += yearly / (1.0 + d["discount"]) ** year
            worth += yearly * (d["years"] - whole) / (1.0 + d["discount"]) ** d["years"]
            pays += worth > 0.0
        return pays / DRAWS

    # Two independent samples: three standard deviations of their difference.
    assert abs(ours() - reference()) < 3.0 * math.sqrt(2.0 * 0.25 / DRAWS)
    return Ratio(
        f"money, {DRAWS:,} draws", "plain Python loop", median_s(ours), median_s(reference, 3)
    )


def reading() -> Ratio:
    """Read a cell file with units, limits and places of faults, and as bare TOML."""
    text = DEMO.read_text(encoding="utf-8")
    assert not read_cell(text).faults
    return Ratio(
        f"cell file, {len(text.splitlines())} lines",
        "tomllib alone",
        median_s(lambda: read_cell(text)),
        median_s(lambda: tomllib.loads(text)),
    )


def plain_program() -> Ratio:
    """Scan a program of plain lines and make its segments, in the memory it starts with."""
    text = programs.body(programs.plain_text(programs.LINES))
    data, written = np.frombuffer(text, dtype=np.uint8), text.decode()
    rows = programs.read_plain(data)
    programs.same_positions(rows.segments[: rows.count], programs.read_by_re(written))
    del rows
    return Ratio(
        f"plain program, {programs.LINES:,} lines",
        "reader on re, with columns",
        median_s(lambda: programs.read_plain(data)),
        median_s(lambda: programs.read_by_re(written), 1),
    )


def mixed_program() -> Ratio:
    """Read a whole program, every hundredth line of it beyond the compiled reader."""
    text = programs.plain_text(programs.LINES, hard=0.01)
    written = text.decode()
    return Ratio(
        f"mixed program, {programs.LINES:,} lines",
        "reader on re, passes over these",
        median_s(lambda: programs.read_mixed(text), 5),
        median_s(lambda: programs.read_by_re(written), 1),
    )


def main() -> int:
    print(f"{'piece':<34}{'median':>13}   {'reference':<34}{'median':>13}   {'ratio':>8}")
    for measure in (pose_map, money_draws, reading, plain_program, mixed_program):
        print(measure().row(), flush=True)
    print(programs.memory())
    print(programs.cold_start())
    timing.main()
    return clearance.main()


if __name__ == "__main__":
    sys.exit(main())
