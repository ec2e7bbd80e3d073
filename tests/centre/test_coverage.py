"""A slice of the coverage report: 95 % intervals hold the truth about 95 times in 100."""

from __future__ import annotations

import math

import pytest

from gudgeon.centre.pooling import Pooled
from tests.centre.coverage import SETTINGS, coverage

CELLS = 40


@pytest.mark.parametrize("setting", [s for s in SETTINGS if s.name != "few readings"][::4])
def test_intervals_hold_the_truth(setting) -> None:
    found = coverage(setting, CELLS, seed=77)
    # Three binomial standard deviations of 40 draws, and a few more for all positions together.
    assert found["worst part point"] >= 0.95 - 3.0 * 0.034
    assert 0.9 <= sum(found.values()) / len(found) <= 0.995


def test_with_the_stated_noise_alone_the_intervals_are_too_narrow(monkeypatch) -> None:
    # Residuals kept from speaking: a check that the check can fail.
    monkeypatch.setattr("gudgeon.centre.fit.pooled", lambda *_: Pooled(1.0, 1.96, math.inf, 1.0))
    setting = next(s for s in SETTINGS if s.noise > 1.0)
    narrow = coverage(setting, CELLS, seed=77)
    assert sum(narrow.values()) / len(narrow) < 0.89
