"""Whole way of a shop's readings through the files, against a generator of its own."""

from __future__ import annotations

import numpy as np
import pytest

from gudgeon.answer import Answer, Verdict
from gudgeon.cell.files import load_text
from gudgeon.findings import Findings
from gudgeon.questions import turns
from tests.centre.second_opinion import INCH, Shop

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
