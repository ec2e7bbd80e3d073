"""The scale of the noise from statement and residuals together."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from gudgeon.centre.fit import Known, fit_lines
from gudgeon.centre.notation import location_errors, short_symbol
from gudgeon.centre.pooling import STATED_DOF, pooled
from gudgeon.quantity.spread import coverage_factor
from tests.centre.simulate import Unit, frame

NORMAL = coverage_factor(math.inf)


def test_without_residuals_the_statement_rules() -> None:
    found = pooled(0.0, 0)
    assert (found.scale, found.k95, found.dof, found.noise_ratio) == (1.0, NORMAL, math.inf, 1.0)


def test_large_residuals_rule_where_there_are_many() -> None:
    found = pooled(4.0 * 1000, 1000)
    assert found.scale == pytest.approx(2.0, rel=0.01)
    assert found.noise_ratio == pytest.approx(2.0)
    assert found.k95 == pytest.approx(NORMAL, rel=0.01)


def test_effective_degrees_are_those_of_welch_and_satterthwaite() -> None:
    # Only the residuals' share of the pooled variance is uncertain.
    c, n = 30.0, 10
    found = pooled(c, n)
    assert found.scale**2 == pytest.approx((STATED_DOF + c) / (STATED_DOF + n))
    assert found.dof == pytest.approx(n * (STATED_DOF + c) ** 2 / c**2)
    assert found.k95 == pytest.approx(coverage_factor(found.dof))


@pytest.mark.parametrize("n", [1, 3, 10, 40])
def test_intervals_are_never_narrower_than_stated_and_grow_with_the_residuals(n: int) -> None:
    expanded = [pooled(c, n).scale * pooled(c, n).k95 for c in np.linspace(0.0, 5.0 * n, 200)]
    assert min(expanded) == pytest.approx(NORMAL)
    assert np.all(np.diff(expanded) >= -1e-12)
    # No jump where the residuals begin to count.
    assert np.max(np.diff(expanded)) < 0.2


@pytest.mark.parametrize(
    ("dof", "noise", "low", "high"),
    [
        (3, 1.0, 0.955, 0.97),
        (12, 1.0, 0.955, 0.97),
        (12, 1.5, 0.925, 0.95),
        (40, 1.5, 0.935, 0.955),
    ],
)
def test_simulated_intervals_hold_the_truth(
    dof: int, noise: float, low: float, high: float
) -> None:
    chance = np.random.default_rng(11)
    off, squares = noise * chance.normal(size=20000), noise**2 * chance.chisquare(dof, 20000)
    reach = [p.scale * p.k95 for p in (pooled(float(c), dof) for c in squares)]
    assert low < np.mean(np.abs(off) <= reach) < high


def test_what_is_known_from_elsewhere_keeps_its_own_uncertainty() -> None:
    unit = Unit(frame(), [0.4, -0.7, 0, 0, 0.3, -0.5, 0, 0, 24.8], (0.0, 0.0), u=0.03, seed=5)
    rows = [unit.face(t, 0, x, y) for t in (90, 0) for x, y in ((60, 0), (-60, 0), (0, 50))]
    rows += [unit.bore(0, c) for c in (0, 90, 180, 270)]
    known = {"unit.face_height": Known({"face": 1.0, "tilt_z": -1.0}, 25.5, 0.1)}
    quiet = tuple(replace(r, u_mm=0.003) for r in rows)
    fit = fit_lines(unit.frame, quiet, known)
    assert fit.scale > 5.0
    at = fit.parameters.index("tilt_y")
    # The entry's tenth dominates, and does not grow by the scale of the readings.
    assert 0.1 < math.sqrt(fit.covariance[at, at]) < 0.12


def test_symbols_of_an_axis() -> None:
    assert location_errors("X", "A") == ("EY0A", "EZ0A", "EB0A", "EC0A")
    # A control may call the axis that lies along X by another letter.
    assert location_errors("X", "B") == ("EY0B", "EZ0B", "EB0B", "EC0B")
    assert short_symbol("EC0C") == "COC"
    for strange in ("A", "", "XY"):
        with pytest.raises(ValueError, match="lies along"):
            location_errors(strange, "A")
    with pytest.raises(ValueError, match="symbol"):
        short_symbol("EXC")
