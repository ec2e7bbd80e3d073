"""A test piece cut on a unit whose errors are known: its figures are those that were foretold."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gudgeon.accuracy.job import Job, Sizes
from gudgeon.accuracy.piece import Block, Stand, lands_of, measures_of, slopes_of, ways_of
from gudgeon.centre.lines import LineFrame
from gudgeon.findings.accuracy_job import lines_function
from gudgeon.kinematics.chain import AxisLine, TurningAxis
from tests.accuracy.cutting import Cutting

QUARTER = math.pi / 2.0
TILTED = [(t, k * QUARTER) for t in (0.0, QUARTER, -QUARTER) for k in range(4)]
BLOCK = Block(32.0, 20.0, 66.0)
SMALL_MM, SMALL_RAD = 1e-4, 1e-7


def job_of(unit: Cutting) -> Job:
    lines_of = lines_function(unit.frame, unit.axes)
    home = np.array([-380.0, -210.0, -430.0])
    nothing = np.zeros(3)
    return Job(lines_of, unit.values, (), (), (), nothing, np.eye(3), Sizes(), home, nothing)


def cutting(along_y: bool, senses: tuple[int, ...], seed: int) -> tuple[Cutting, np.ndarray]:
    along = (0.0, 1.0, 0.0) if along_y else (1.0, 0.0, 0.0)
    line = AxisLine((0.0, 0.0, 0.0), along)
    roles = ("tilt", "rotary")[2 - len(senses) :]
    axes = tuple(TurningAxis(r, line, s) for r, s in zip(roles, senses, strict=True))
    frame = LineFrame((-380.0, -210.0, -455.0), along, axes)
    x, y, up = frame.basis.T
    if len(senses) == 2:
        platter = np.eye(3)
        values = np.array([0.4, -3.0, 2e-4, -3e-4, -0.2, 0.6, 4e-4, 1e-4, 21.0])
    else:
        platter = np.column_stack([y, up, x])
        values = np.array([0.4, -3.0, 2e-4, -3e-4, 21.0])
    lengths = np.array([name[-1] in "xyze" for name in frame.parameters])
    size = np.where(lengths, SMALL_MM, SMALL_RAD)
    off = np.random.default_rng(seed).uniform(-1.0, 1.0, len(size)) * size
    return Cutting(frame, platter, values, off), off


SENSES = st.sampled_from([(1, 1), (1, -1), (-1, 1), (-1, -1), (1,), (-1,)])


@settings(max_examples=8, deadline=None)
@given(st.booleans(), SENSES, st.integers(0, 10_000))
def test_every_land_stands_proud_as_the_slopes_foretell(
    along_y: bool, senses: tuple[int, ...], seed: int
) -> None:
    unit, off = cutting(along_y, senses, seed)
    chance = np.random.default_rng(seed + 1)
    stands = [Stand(pose) for pose in (TILTED if len(senses) == 2 else [p[1:] for p in TILTED[:4]])]
    lines = job_of(unit).lines_of(unit.values)
    cut = lands_of(BLOCK, ways_of(lines, senses, stands, ["T1"]))
    slopes, rows = slopes_of(job_of(unit), senses, stands, cut)
    turned = chance.uniform(-1.0, 1.0, (len(stands), len(senses))) * SMALL_RAD
    tool = tuple(chance.uniform(-1.0, 1.0, 2) * SMALL_MM)
    draws = np.zeros(len(slopes.sources))
    for i, source in enumerate(slopes.sources):
        if source.cause == "lines":
            draws[i] = off[int(str(source.key[1]))]
        elif source.cause == "index":
            axis, stand = (int(str(part)) for part in source.key)
            draws[i] = senses[axis] * turned[stand, axis]
        elif source.cause == "tool length":
            draws[i] = tool[0]
        elif source.cause == "tool diameter":
            draws[i] = tool[1]
    told = slopes.matrix @ draws
    picked = chance.choice(len(cut), 40, replace=False)
    for i in picked:
        land = cut[i]
        for row, point in zip(rows[i], land.spot.points, strict=True):
            stand = stands[land.way.stand]
            seen = unit.proud(land, point, stand, turned[land.way.stand], tool)
            assert told[row] == pytest.approx(seen, rel=1e-6, abs=1e-10)


@given(st.booleans(), SENSES)
@settings(max_examples=8, deadline=None)
def test_lands_look_where_they_are_cut(along_y: bool, senses: tuple[int, ...]) -> None:
    unit, _ = cutting(along_y, senses, 1)
    stands = [Stand(pose) for pose in (TILTED if len(senses) == 2 else [p[1:] for p in TILTED[:4]])]
    lines = job_of(unit).lines_of(unit.values)
    cut = lands_of(BLOCK, ways_of(lines, senses, stands, ["T1"]))
    chain = unit.frame.chain(unit.values)
    assert {land.way.kind for land in cut} == {"plane", "edge"}
    for land in cut:
        stand = stands[land.way.stand]
        looks = chain.directions(np.array(stand.angles), unit.axes @ land.spot.normal)
        up = chain.directions(np.array(stand.angles), unit.axes @ land.way.up)
        assert up[2] == pytest.approx(1.0, abs=2e-3)
        wanted = 1.0 if land.way.kind == "plane" else 0.0
        assert looks[2] == pytest.approx(wanted, abs=2e-3)
        if land.way.kind == "edge":
            # Nothing of the block is above it on its side.
            here = float(max(land.spot.points @ land.way.up))
            assert here + 0.25 * BLOCK.pitch > float(
                max(abs(BLOCK.half * land.way.up[:2]).max(), BLOCK.high * land.way.up[2])
                - 0.5 * (BLOCK.high - BLOCK.low)
            )


def test_axis_lines_off_by_hand() -> None:
    """Closed forms: the rotary line off by d makes a block cut from both sides 2 d thinner."""
    unit, _ = cutting(False, (1, 1), 1)
    unit.values[:] = [0.0, -3.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 21.0]
    stands = [Stand((0.0, 0.0)), Stand((0.0, math.pi)), Stand((QUARTER, 0.0))]
    lines = job_of(unit).lines_of(unit.values)
    cut = lands_of(BLOCK, ways_of(lines, (1, 1), stands, ["T1"]))
    slopes, rows = slopes_of(job_of(unit), (1, 1), stands, cut)
    x = slopes.column("lines", 0, 4)
    width = slopes.column("tool diameter", "T1")
    seen = 0
    for one in measures_of(cut, rows):
        if one.lands[0].spot.pair != "x" or any(land.way.kind != "edge" for land in one.lands):
            continue
        where = [land.way.stand for land in one.lands]
        if 2 in where:
            continue
        for row in one.rows:
            total = slopes.matrix[list(row)].sum(axis=0)
            # Side X+ cut at turn 0 moves by -d (the work stands d further), X- at turn 180 too.
            assert total[x] == pytest.approx({(0, 1): -2.0, (1, 0): 2.0}.get(tuple(where), 0.0))
            assert total[width] == pytest.approx(-1.0)
            seen += 1
    assert seen >= 8


def test_a_chain_of_another_unit_is_told_apart() -> None:
    """The comparison above fails where the unit is not the one that was foretold."""
    unit, off = cutting(False, (1, -1), 3)
    other, _ = cutting(False, (1, 1), 3)
    stands = [Stand(pose) for pose in TILTED]
    cut = lands_of(BLOCK, ways_of(job_of(unit).lines_of(unit.values), (1, -1), stands, ["T1"]))
    slopes, rows = slopes_of(job_of(unit), (1, -1), stands, cut)
    draws = np.zeros(len(slopes.sources))
    draws[: len(off)] = off
    told = slopes.matrix @ draws
    worst = 0.0
    for i, land in enumerate(cut):
        seen = other.proud(
            land, land.spot.points[0], stands[land.way.stand], np.zeros(2), (0.0, 0.0)
        )
        worst = max(worst, abs(seen - told[rows[i][0]]))
    assert worst > 1e-5
