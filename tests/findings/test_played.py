"""A program played back: the same positions and seconds as the reader and the timing have."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from gudgeon.cell.files import load
from gudgeon.cell.model import LinearMotion
from gudgeon.faces.programs import Neighbours
from gudgeon.findings import Findings
from gudgeon.findings.played import Played, time_at
from gudgeon.findings.programs import ProgramText
from gudgeon.findings.timed_steps import steps_of
from gudgeon.findings.timed_words import Cause
from gudgeon.timing.clock import time_moves

DEMO = Path(__file__).parents[2] / "demo"


@pytest.fixture(scope="module", params=["alder-ford", "juniper-street"])
def shop(request: pytest.FixtureRequest) -> tuple[Findings, ProgramText]:
    cell = load(DEMO / f"{request.param}.toml").cell
    assert cell is not None
    name = f"{request.param}.nc"
    beside = Neighbours(DEMO / name)
    program = ProgramText(name, (DEMO / name).read_bytes(), called=beside, names=beside.names)
    return Findings(cell, [program]), program


def test_the_course_ends_where_each_row_of_the_program_does(
    shop: tuple[Findings, ProgramText],
) -> None:
    findings, program = shop
    done = findings.cleared(program)
    course = findings.played(done)
    ends = done.track.segments["end"]
    assert (np.diff(course.time_s) >= 0.0).all() and course.time_s[0] == 0.0
    last = {int(row): place for place, row in enumerate(course.row)}
    assert len(last) > 20
    for row, place in last.items():
        if row >= 0:
            assert np.allclose(course.joints[place], ends[row], atol=1e-6)
    used = {force.tool for force in done.track.in_force if force.tool is not None}
    assert set(course.tool.tolist()) - {-1} <= used


def test_its_seconds_are_those_of_the_moves(shop: tuple[Findings, ProgramText]) -> None:
    findings, program = shop
    course = findings.played(findings.cleared(program))
    (timed,) = findings.program_times
    assert course.timed
    # The answer tells the middle of a range; the course is that of the limits as entered.
    ways = (Cause.CUTTING, Cause.RAPIDS, Cause.INDEXING)
    moving = sum(timed.by_cause[cause].value for cause in ways)
    assert course.time_s[-1] == pytest.approx(moving, rel=0.1)
    steps = steps_of(findings.cleared(program).track, findings.worked_by_words, None)
    own, _, _ = findings.ground(steps.axes, steps.concerns)
    done = time_moves(steps.moves, own.limits, own.rules)
    assert done is not None
    assert course.time_s[-1] == pytest.approx(done.seconds.sum())


def test_without_speeds_the_pace_is_even_and_said_to_be(
    shop: tuple[Findings, ProgramText],
) -> None:
    findings, program = shop
    machine = replace(findings.cell.machine, motion=LinearMotion())
    course = Findings(replace(findings.cell, machine=machine)).played(findings.cleared(program))
    assert not course.timed and course.time_s[-1] > 0.0


def course(*joints: tuple[float, ...]) -> Played:
    count = len(joints)
    return Played(
        time_s=np.arange(count, dtype=np.float64) * 10.0,
        joints=np.array(joints, dtype=np.float64),
        row=np.array([-1, *range(0, 2 * count - 2, 2)]),
        gap_mm=np.full(count, np.nan),
        tool=np.full(count, 1),
        timed=True,
    )


def test_a_place_on_the_way_is_found_in_time() -> None:
    way = course((0, 0, 0, 0, 0), (100, 0, 0, 0, 0), (100, 50, 0, 0, 0))
    assert time_at(way, 0, (25.0, 0, 0, 0, 0)) == pytest.approx(2.5)
    assert time_at(way, 2, (100.0, 40.0, 5.0, 0, 0)) == pytest.approx(18.0)
    assert time_at(way, 2, ()) == 20.0
    assert time_at(way, 1, ()) == 10.0  # a row that does not move: when the one before it ended
    assert time_at(way, 0, (-9.0, 0, 0, 0, 0)) == 0.0
