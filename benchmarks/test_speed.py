"""The pieces of `ratios`, for ``pytest benchmarks --benchmark-enable``: medians, no limits."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import programs
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

import clearance
from gudgeon.cell.model import Cell, Money
from gudgeon.cell.reader import read_cell
from gudgeon.clearance.prove import Prover, Status
from gudgeon.findings import Findings
from gudgeon.kinematics.chain import AxisLine, TurningAxis, WorkChain
from gudgeon.quantity.amount import Amount
from gudgeon.questions import pays

DEMO = Path(__file__).parents[1] / "demo" / "alder-ford.toml"
MONEY = Money(
    investment=Amount(24900.0),
    running_cost=Amount(1500.0),
    saved_per_part=Amount(1260.0),
    shop_rate=Amount(75.0),
    volume=Amount(345.0),
)


@pytest.mark.parametrize("count", [1, 1000, 100_000])
def test_pose_map(benchmark: BenchmarkFixture, count: int) -> None:
    chain = WorkChain(
        (
            TurningAxis("tilt", AxisLine((0.0, -205.0, -405.0), (1.0, 0.0, 0.0)), -1),
            TurningAxis("rotary", AxisLine((-381.0, -205.0, 0.0), (0.0, 0.0, 1.0)), -1),
        )
    )
    draws = np.random.default_rng(1)
    angles, points = draws.uniform(-3.0, 3.0, (count, 2)), draws.uniform(-300.0, 300.0, (count, 3))
    benchmark(chain.points, angles, points)


def test_whole_answer_on_money(benchmark: BenchmarkFixture) -> None:
    benchmark(lambda: pays.answer(Findings(Cell(money=MONEY, currency="EUR"))))


def test_reading_a_cell_file(benchmark: BenchmarkFixture) -> None:
    benchmark(read_cell, DEMO.read_text(encoding="utf-8"))


@pytest.mark.parametrize("hard", [0.0, 0.01])
def test_reading_a_program(benchmark: BenchmarkFixture, hard: float) -> None:
    text = programs.plain_text(20_000, hard)
    track = benchmark(programs.read_mixed, text)
    assert len(track.segments) >= 19_000


def test_scan_and_segments(benchmark: BenchmarkFixture) -> None:
    data = np.frombuffer(programs.body(programs.plain_text(20_000)), dtype=np.uint8)
    assert benchmark(programs.read_plain, data).count == 20_000


@pytest.mark.parametrize("chunks", [False, True])
def test_proof_of_an_indexed_program(benchmark: BenchmarkFixture, chunks: bool) -> None:
    made, joints = Prover(clearance.scene(5), clearance.tool()), clearance.indexed()
    path = benchmark(made._path, joints[0], joints[1:], 0.5, chunks=chunks)
    assert (path.status == Status.PROVEN).all()


def test_proof_of_simultaneous_moves(benchmark: BenchmarkFixture) -> None:
    made, joints = Prover(clearance.scene(5), clearance.tool()), clearance.simultaneous()
    path = benchmark(made._path, joints[0], joints[1:], 0.5, chunks=False)
    assert (path.status == Status.PROVEN).all()


def test_building_from_many_triangles(benchmark: BenchmarkFixture) -> None:
    many, tool = clearance.scene(39), clearance.tool()
    benchmark(Prover, many, tool)
