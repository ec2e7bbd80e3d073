"""Propagation of uncertainty against a reference library, closed forms and its own edges."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import uncertainties
import uncertainties.umath as um
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from gudgeon.quantity import spread as s

numbers = st.floats(0.2, 5.0)
spreads = st.floats(1e-4, 0.1)


@given(
    st.tuples(numbers, numbers, numbers), st.tuples(spreads, spreads, spreads), st.floats(-0.9, 0.9)
)
def test_propagation_is_that_of_the_reference_library(
    values: tuple[float, ...], u: tuple[float, ...], correlation: float
) -> None:
    covariance = np.diag(np.square(u))
    covariance[0, 1] = covariance[1, 0] = correlation * u[0] * u[1]
    a, b, c = uncertainties.correlated_values(values, covariance)
    expected = [a * um.sin(b) + c, um.exp(-a) * c / b]
    found = s.propagate(
        lambda x: np.array([x[0] * np.sin(x[1]) + x[2], np.exp(-x[0]) * x[2] / x[1]]),
        values,
        covariance,
    )
    assert found.values == pytest.approx([item.nominal_value for item in expected], rel=1e-12)
    reference = np.array(uncertainties.covariance_matrix(expected))
    assert found.covariance == pytest.approx(reference, rel=1e-6, abs=1e-12)


def test_a_function_that_drops_the_imaginary_part_falls_back_to_differences() -> None:
    slopes = s.jacobian(lambda x: np.abs(x[0] - 3.0) + 0.0 * x[1].real, [1.0, 2.0])
    assert slopes == pytest.approx(np.array([[-1.0, 0.0]]), abs=1e-6)

    def mixed(x: Any) -> Any:
        return x[0] ** 2 + np.abs(x[1]) ** 2

    # |x|^2 of a complex number has no imaginary part: complex steps alone would return 0.
    assert s.jacobian(mixed, [1.0, 2.0])[0] == pytest.approx([2.0, 4.0], rel=1e-6)


def test_a_function_that_refuses_complex_numbers_is_differenced() -> None:
    slopes = s.jacobian(lambda x: math.sin(x[0]), [0.5])
    assert slopes[0, 0] == pytest.approx(math.cos(0.5), rel=1e-8)


def test_an_input_at_zero_is_stepped_by_its_own_uncertainty() -> None:
    slopes = s.jacobian(lambda x: math.atan(1e6 * x[0]), [0.0], [1e-7])
    assert slopes[0, 0] == pytest.approx(1e6, rel=1e-6)


def test_covariance_is_not_dropped() -> None:
    both = np.array([[4.0, 4.0], [4.0, 4.0]])
    assert s.propagate(lambda x: x[0] - x[1], [1.0, 1.0], both).u[0] == pytest.approx(0.0, abs=1e-9)
    assert s.propagate(lambda x: x[0] + x[1], [1.0, 1.0], both).u[0] == pytest.approx(4.0)


def test_shapes_that_do_not_match_are_refused() -> None:
    with pytest.raises(ValueError, match="do not belong together"):
        s.propagate(lambda x: x[0], [1.0, 2.0], np.eye(3))


def test_second_order_of_a_square_is_exact() -> None:
    value, shift, u = s.second_order(lambda x: x[0] ** 2, [3.0], [0.5])
    assert (value, shift) == (9.0, pytest.approx(0.25))
    # Variance of a squared normal: 4 m^2 u^2 + 2 u^4.
    assert u == pytest.approx(math.sqrt(4 * 9 * 0.25 + 2 * 0.0625))


@given(st.floats(1.0, 400.0), st.floats(0.5, 0.999))
def test_coverage_factor_is_students(dof: float, probability: float) -> None:
    expected = stats.t.ppf(0.5 + probability / 2.0, dof)
    assert s.coverage_factor(dof, probability) == pytest.approx(expected, rel=1e-9)


def test_coverage_factor_of_certain_noise_is_normal() -> None:
    assert s.coverage_factor(math.inf) == pytest.approx(1.959963984540054)
    for wrong in ((0.0, 0.95), (-1.0, 0.95), (5.0, 1.0), (math.nan, 0.95)):
        with pytest.raises(ValueError, match="no coverage factor"):
            s.coverage_factor(*wrong)


def test_effective_dof_edges() -> None:
    assert s.effective_dof([3.0], [7.0]) == pytest.approx(7.0)
    assert s.effective_dof([3.0, 4.0], [math.inf, math.inf]) == math.inf
    assert s.effective_dof([0.0, 2.0], [1.0, 9.0]) == pytest.approx(9.0)


def test_unknown_shape_is_refused() -> None:
    with pytest.raises(ValueError, match="arcsine"):
        s.half_width_u(1.0, "square")


@pytest.mark.parametrize(
    ("shape", "u", "half"),
    [
        (s.Rectangular(-1.0, 1.0), s.half_width_u(1.0), 0.95),
        (s.Triangular(-1.0, 1.0), s.half_width_u(1.0, "triangular"), 1.0 - math.sqrt(0.05)),
        (s.Arcsine(-1.0, 1.0), s.half_width_u(1.0, "arcsine"), None),
        (s.Normal(0.0, 1.0), 1.0, 1.959964),
        (s.Student(0.0, 1.0, 8.0), math.sqrt(8.0 / 6.0), 2.306004),
        # Half width w = 1 known to d = 0.3: variance (w^2 + d^2 / 3) / 3.
        (s.CurvedTrapezoid(-1.0, 1.0, 0.3), math.sqrt((1.0 + 0.03) / 3.0), None),
    ],
)
def test_distributions_draw_what_they_say(
    shape: s.Distribution, u: float, half: float | None
) -> None:
    drawn = s.monte_carlo(lambda x: x, [shape], seed=5, count=200_000)
    assert drawn.mean == pytest.approx(0.0, abs=0.01)
    assert drawn.u == pytest.approx(u, rel=0.01)
    if half is not None:
        low, high = drawn.interval()
        assert (high - low) / 2.0 == pytest.approx(half, rel=0.02)


def test_the_same_seed_gives_the_same_draws() -> None:
    runs = [s.monte_carlo(lambda x: x, [s.Normal(0, 1)], seed=i, count=10).draws for i in (1, 1, 2)]
    assert np.array_equal(runs[0], runs[1])
    assert not np.array_equal(runs[0], runs[2])


def test_the_shortest_interval_of_a_skew_sample_starts_at_its_dense_end() -> None:
    drawn = np.random.default_rng(1).exponential(1.0, 200_000)
    low, high = s.shortest_interval(drawn, 0.95)
    assert low == pytest.approx(0.0, abs=0.01)
    assert high == pytest.approx(-math.log(0.05), rel=0.02)
    with pytest.raises(ValueError, match="between 0 and 1"):
        s.shortest_interval(drawn, 1.0)


def test_conformity_without_uncertainty() -> None:
    assert s.probability_below(5.0, 5.0, 0.0) == 1.0
    assert s.probability_below(5.0, 5.1, 0.0) == 0.0
    assert s.acceptance_limit(5.0, 0.0) == 5.0


def test_one_set_has_no_spread_to_show() -> None:
    with pytest.raises(ValueError, match="two sets"):
        s.mean_of_sets([[1.0, 2.0]])


def test_a_rounded_zero_sets_no_step() -> None:
    """Found by a random run: the step of an input of 5e-324 vanished, and 0 was divided by 0."""

    def real_only(x):
        return np.array([float(x[0]) * 3.0 + float(x[1])])  # takes no complex numbers

    for tiny in (5e-324, 1e-300, 1e-17):
        assert np.allclose(s.jacobian(real_only, [tiny, 2.0]), [[3.0, 1.0]], rtol=1e-6)
