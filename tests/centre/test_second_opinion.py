"""Whole way of a shop's readings through the files, against a generator of its own."""

from __future__ import annotations

import re

import numpy as np
import pytest

from gudgeon.answer import Answer, Verdict
from gudgeon.cell.files import load_text
from gudgeon.centre.evidence import Bank
from gudgeon.centre.many import MANY, most_telling
from gudgeon.centre.readings import Model
from gudgeon.findings import Findings
from gudgeon.questions import turns
from tests.centre.second_opinion import COLUMNS, INCH, Shop

WAYS = [
    (yaw, tilt, rotary, inch)
    for yaw, inch in ((0.0, False), (90.0, True), (180.0, False), (270.0, False), (33.0, True))
    for tilt, rotary in ((1, 1), (1, -1), (-1, 1), (-1, -1))
]


def ask(shop: Shop) -> Answer:
    loaded = load_text(shop.cell, "cell.toml", lambda name, at: shop.table)
    assert loaded.cell is not None, loaded.faults
    assert all(fault.level == "warning" for fault in loaded.faults)
    return turns.answer(Findings(loaded.cell))


@pytest.mark.parametrize(("yaw", "tilt", "rotary", "inch"), WAYS)
def test_readings_without_noise_give_the_truth(
    yaw: float, tilt: int, rotary: int, inch: bool
) -> None:
    chance = np.random.default_rng(int(yaw) + 2 * tilt + rotary + 10)
    shop = Shop(chance, yaw, tilt, rotary, inch, noisy=False)
    shop.everything()
    found = ask(shop)
    assert found.verdict is Verdict.YES
    size = INCH if inch else 1.0
    assert len(shop.truth) >= 6
    for name, true in shop.truth.items():
        told = found.figure(name)
        assert told.unit == ("in" if inch else "mm")
        assert told.value is not None
        assert told.value * size == pytest.approx(true, abs=1e-6), name


def test_what_is_told_to_lie_within_its_limits_does() -> None:
    """95 % of figures within their +-: of 24 cells none below 90 %, whole way through the files."""
    inside: list[bool] = []
    for seed in range(24):
        chance = np.random.default_rng(seed)
        yaw = float(chance.choice([0.0, 90.0, 180.0, 270.0, 33.0, -120.0]))
        senses = [int(s) for s in chance.choice([1, -1], 2)]
        shop = Shop(chance, yaw, senses[0], senses[1], bool(chance.integers(2)))
        shop.everything()
        found = ask(shop)
        assert "bad_readings" not in {table.name for table in found.tables}
        size = INCH if shop.inch else 1.0
        for name, true in shop.truth.items():
            told = found.figure(name)
            assert told.value is not None
            assert told.plus_minus is not None
            assert 0.0 < told.plus_minus * size < 0.02
            inside.append(abs(told.value * size - true) <= told.plus_minus * size)
    # Standard deviation of the share: 1.8 % for 150 figures, more as those of a cell hang together.
    assert 0.90 <= np.mean(inside) < 1.0


def many(seed: int, inch: bool = False) -> Shop:
    """Return 225 readings of one unit."""
    shop = Shop(np.random.default_rng(seed), inch=inch)
    for number in range(5):
        shop.everything()
        shop.rows = [row.replace("ball 1", f"ball no {number}") for row in shop.rows]
    return shop


def test_one_slip_is_found_among_hundreds_of_readings() -> None:
    """What the readings that are not looked at one by one tell goes into the search as a whole."""
    shop = many(4)
    assert len(shop.rows) > 2 * MANY
    row = next(i for i, words in enumerate(shop.rows) if words.startswith("bore,bore") and i > 100)
    cells = shop.rows[row].split(",")
    at = COLUMNS.split(",").index("x")
    cells[at] = f"{float(cells[at]) + 0.1:.10f}"
    shop.rows[row] = ",".join(cells)
    loaded = load_text(shop.cell, "cell.toml", lambda name, at: shop.table)
    assert loaded.cell is not None
    study = Findings(loaded.cell).line_study
    assert [item.reading.row for item in study.suspects] == [row + 2]
    assert study.suspects[0].off_mm == pytest.approx(0.1, abs=0.01)


def test_hundreds_of_good_readings_are_all_good() -> None:
    for seed in (1, 2):
        shop = many(seed)
        loaded = load_text(shop.cell, "cell.toml", lambda name, at, shop=shop: shop.table)
        assert loaded.cell is not None
        study = Findings(loaded.cell).line_study
        assert study.suspects == ()
        assert study.fit is not None
        looked_at, others = most_telling(study.fit)
        assert len(looked_at) == MANY
        # Nothing is lost: as many equations as before, and chi-square and solution the same.
        dof = len(study.fit.residual_rows) - len(Model(study.fit.frame, looked_at).residual_rows)
        assert len(others) == dof
        bank = Bank(study.fit, looked_at, study.fit.values, others)
        chi_square, _, change, covariance = bank.solve(bank.base)
        assert chi_square == pytest.approx(study.fit.chi_square, rel=1e-6)
        assert np.abs(change).max() < 1e-6
        scaled = study.fit.covariance / study.fit.scale**2
        assert covariance == pytest.approx(scaled, rel=1e-4, abs=1e-12)


def test_a_row_and_a_reason_are_named_once() -> None:
    """Two readings at odds with two others, each by its own: many explanations, each told once."""
    shop = Shop(np.random.default_rng(1))
    for tilt in (90.0, -90.0):
        for x, y in ((60, 5), (-55, 0), (5, 60)):
            shop.touch(tilt, 0.0, x, y)
    shop.touch(0.0, 0.0, 60.0, 0.0)
    for turn in (0.0, 90.0):
        shop.centre(0.0, turn, 0.0)
    at = COLUMNS.split(",").index("x")
    for words, by in zip(shop.rows[-2:], (0.5, 0.8), strict=True):
        cells = words.split(",")
        cells[at] = f"{float(cells[at]) + by:.6f}"
        shop.rows.append(",".join(cells))
    found = ask(shop)
    again = re.findall(r"\d+", found.next_step)
    assert len(again) == len(set(again)) >= 2
    for row in found.table("bad_readings").rows:
        reasons = re.split(r"; or | or ", str(row[2]))
        assert len(reasons) == len(set(reasons))
