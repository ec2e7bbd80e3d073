"""Equal numbers stay equal whatever rounding left behind."""

from __future__ import annotations

import doctest
import math

import pytest

from gudgeon.quantity import ties
from gudgeon.quantity.ties import firm


def test_examples_run() -> None:
    failed, tried = doctest.testmod(ties)
    assert tried and not failed


@pytest.mark.parametrize("value", [59.9375, 1e-3, 12_345.678, 1e12, 2e-6])
def test_the_last_digits_make_no_difference(value: float) -> None:
    assert firm(value * (1.0 + 3e-16)) == firm(value)
    assert firm(value * 1.001) > firm(value)


def test_noise_about_nought_is_nought() -> None:
    assert firm(-3e-14) == firm(2e-15) == 0.0


def test_no_end_stays_no_end() -> None:
    assert firm(math.inf) == math.inf
