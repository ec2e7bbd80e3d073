"""Outside values of topic 05 against the product's propagation of uncertainty."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from gudgeon.centre.solve import solve
from gudgeon.quantity import spread as s
from tests.outside import rows

ROWS = rows("05-uncertainty")


def inputs(row: dict[str, Any]) -> dict[str, Any]:
    """Follow the inputs of a row through ``as UN-...``."""
    given = row["inputs"]
    for value in given.values():
        if isinstance(value, str) and value.startswith("as "):
            return inputs(ROWS[value[3:]])
    return given


def gauge(row: dict[str, Any]) -> tuple[Callable[[Any], Any], np.ndarray, np.ndarray, np.ndarray]:
    """End gauge: function, values, standard uncertainties, degrees of freedom.

    Order: l_s, d (three effects in one), d_theta, d_alpha, alpha_s, theta.
    """
    g = inputs(row)
    u_d = math.sqrt(sum(g[name][1] ** 2 for name in ("d_obs", "d_random", "d_systematic")))
    dof_d = s.effective_dof(
        [g[name][1] for name in ("d_obs", "d_random", "d_systematic")],
        [g[name][2] for name in ("d_obs", "d_random", "d_systematic")],
    )
    u_theta = math.hypot(g["theta_mean"][1], s.half_width_u(g["theta_cyclic"][1], "arcsine"))
    values = np.array([g["l_s"][0], g["d_obs"][0], 0.0, 0.0, g["alpha_s"][0], g["theta_mean"][0]])
    u = np.array(
        [
            g["l_s"][1],
            u_d,
            s.half_width_u(g["d_theta"][1]),
            s.half_width_u(g["d_alpha"][1]),
            s.half_width_u(g["alpha_s"][1]),
            u_theta,
        ]
    )
    dof = np.array([g["l_s"][2], dof_d, g["d_theta"][2], g["d_alpha"][2], math.inf, math.inf])

    def length(x: Any) -> Any:
        return x[0] + x[1] - x[0] * (x[3] * x[5] + x[4] * x[2])

    return length, values, u, dof


def gauge_parts(row: dict[str, Any]) -> np.ndarray:
    function, values, u, _ = gauge(row)
    return np.abs(s.jacobian(function, values, u)[0]) * u


def circuit(row: dict[str, Any]) -> s.Spread:
    g = inputs(row)
    means = s.mean_of_sets(np.column_stack([g["V"], g["I"], g["phi"]]))

    def impedance(x: Any) -> Any:
        ratio = x[0] / x[1]
        return np.array([ratio * np.cos(x[2]), ratio * np.sin(x[2]), ratio])

    return s.propagate(impedance, means.values, means.covariance)


def circuit_part(index: int) -> Callable[[dict[str, Any]], Any]:
    return lambda row: [circuit(row).values[index], circuit(row).u[index]]


def upper(matrix: np.ndarray) -> list[float]:
    return [matrix[0, 1], matrix[0, 2], matrix[1, 2]]


def thermometer(row: dict[str, Any]) -> tuple[s.Spread, float, int]:
    g = inputs(row)
    terms = np.column_stack([np.ones(len(g["t"])), np.array(g["t"]) - 20.0])
    fit = solve(lambda v: terms @ v - np.array(g["b"]), [0.0, 0.0])
    return s.Spread(fit.values, fit.cofactor * fit.variance), math.sqrt(fit.variance), fit.dof


def correction(row: dict[str, Any], covariance: np.ndarray | None = None) -> s.Spread:
    line = thermometer(row)[0]
    return s.propagate(
        lambda v: v[0] + v[1] * 10.0,
        line.values,
        line.covariance if covariance is None else covariance,
    )


def student(row: dict[str, Any]) -> list[float]:
    dof = row["inputs"]["dof"]
    return [s.coverage_factor(dof, 0.95), s.coverage_factor(dof, 0.99)]


def sums_of(shapes: list[s.Distribution]) -> s.MonteCarlo:
    return s.monte_carlo(lambda *x: sum(x), shapes, seed=7, count=2_000_000)


def rectangle(u: float) -> s.Rectangular:
    return s.Rectangular(-u * math.sqrt(3.0), u * math.sqrt(3.0))


def four(shapes: list[s.Distribution], guide: bool) -> list[float]:
    drawn = sums_of(shapes)
    result = [drawn.u, *drawn.interval()]
    if guide:
        us = [(shape.high - shape.low) / math.sqrt(12.0) for shape in shapes]
        k = s.coverage_factor(math.inf)
        half = k * float(s.propagate(lambda x: np.sum(x), np.zeros(4), np.array(us)).u[0])
        result += [-half, half]
    return result


def buoyancy(x: Any) -> Any:
    """Mass deviation from nominal 100 g [mg]; inputs m_R - nominal, dm_R, rho_a, rho_W, rho_R."""
    return (1e5 + x[0] + x[1]) * (1.0 + (x[2] - 1.2) * (1.0 / x[3] - 1.0 / x[4])) - 1e5


def mass_inputs(row: dict[str, Any]) -> tuple[np.ndarray, np.ndarray]:
    g = inputs(row)
    bounds = [g["rho_air"], g["rho_W"], g["rho_R"]]
    values = [0.0, g["dm_R"][0], *((low + high) / 2.0 for low, high in bounds)]
    u = [g["m_R"][1], g["dm_R"][1], *(s.half_width_u((b - a) / 2.0) for a, b in bounds)]
    return np.array(values), np.array(u)


def mass_first_order(row: dict[str, Any]) -> list[float]:
    found = s.propagate(buoyancy, *mass_inputs(row))
    return [found.values[0], found.u[0]]


def mass_drawn(row: dict[str, Any]) -> list[float]:
    g = inputs(row)
    drawn = s.monte_carlo(
        lambda *x: buoyancy(x),
        [
            s.Normal(0.0, g["m_R"][1]),
            s.Normal(*g["dm_R"]),
            *(s.Rectangular(*g[name]) for name in ("rho_air", "rho_W", "rho_R")),
        ],
        seed=11,
        count=1_000_000,
    )
    return [drawn.mean, drawn.u, *drawn.interval()]


def power(row: dict[str, Any]) -> list[float]:
    x, u = np.array([row["inputs"]["x1"], 0.0]), np.array([row["inputs"]["u"]] * 2)

    def ratio(v: Any) -> Any:
        return v[0] ** 2 + v[1] ** 2

    value, shift, spread = s.second_order(ratio, x, u)
    first = s.propagate(ratio, x, u)
    return [1e6 * (value + shift), 1e6 * spread, 1e6 * float(first.u[0])]


def gauge_drawn(row: dict[str, Any]) -> list[float]:
    g = row["inputs"]
    drawn = s.monte_carlo(
        lambda ls, d, d1, d2, alpha, theta, swing, da, dt: (
            ls + d + d1 + d2 - ls * (da * (theta + swing) + alpha * dt) - 5e7
        ),
        [
            s.Student(g["L_S"][0], g["L_S"][1], g["L_S"][2]),
            s.Student(*g["D"]),
            s.Student(*g["d1"]),
            s.Student(*g["d2"]),
            s.Rectangular(*g["alpha_S"]),
            s.Normal(*g["theta0"]),
            s.Arcsine(*g["Delta"]),
            s.CurvedTrapezoid(*g["d_alpha"]),
            s.CurvedTrapezoid(*g["d_theta"]),
        ],
        seed=3,
        count=1_000_000,
    )
    return [drawn.mean, drawn.u, *drawn.interval(0.99)]


def two_touches(row: dict[str, Any], common: float = 0.0, key: str = "u") -> np.ndarray:
    covariance = np.eye(2) * row["inputs"][key] ** 2 + common**2
    return s.propagate(
        lambda x: np.array([x[0] + x[1], x[0] - x[1]]) / 2.0, [5.0, 4.0], covariance
    ).u


CHECKS: dict[str, Callable[[dict[str, Any]], Any]] = {
    "UN-001": lambda row: gauge(row)[0](gauge(row)[1]),
    "UN-002": lambda row: s.propagate(*gauge(row)[:3]).u[0],
    "UN-003": lambda row: gauge_parts(row)[:4],
    "UN-004": lambda row: gauge_parts(row)[4:],
    "UN-005": lambda row: s.effective_dof(gauge_parts(row), gauge(row)[3]),
    "UN-006": lambda row: [
        s.coverage_factor(16, 0.99),
        s.coverage_factor(16, 0.99) * row["inputs"]["u_c"],
    ],
    "UN-007": lambda row: s.second_order(*gauge(row)[:3])[2],
    "UN-010": lambda row: [
        [mean, u]
        for data in (s.mean_of_sets(np.column_stack(list(row["inputs"].values()))),)
        for mean, u in zip(data.values, data.u, strict=True)
    ],
    "UN-011": lambda row: upper(
        s.correlations(s.mean_of_sets(np.column_stack(list(inputs(row).values()))).covariance)
    ),
    "UN-012": circuit_part(0),
    "UN-013": circuit_part(1),
    "UN-014": circuit_part(2),
    "UN-015": lambda row: upper(s.correlations(circuit(row).covariance)),
    "UN-020": lambda row: [thermometer(row)[0].values[0], thermometer(row)[0].u[0]],
    "UN-021": lambda row: [thermometer(row)[0].values[1], thermometer(row)[0].u[1]],
    "UN-022": lambda row: s.correlations(thermometer(row)[0].covariance)[0, 1],
    "UN-023": lambda row: thermometer(row)[1:],
    "UN-024": lambda row: [correction(row).values[0], correction(row).u[0]],
    "UN-025": lambda row: correction(row, np.diag(thermometer(row)[0].u ** 2)).u[0],
    **{f"UN-{number:03d}": student for number in range(30, 40)},
    "UN-040": lambda row: s.effective_dof(row["inputs"]["u"], row["inputs"]["dof"]),
    "UN-050": lambda row: s.half_width_u(row["inputs"]["a"], "rectangular"),
    "UN-051": lambda row: s.half_width_u(row["inputs"]["a"], "triangular"),
    "UN-052": lambda row: s.half_width_u(row["inputs"]["a"], "arcsine"),
    "UN-053": lambda row: s.resolution_u(row["inputs"]["d"]),
    "UN-061": lambda row: four([rectangle(1.0)] * 4, guide=True),
    "UN-062": lambda row: four([rectangle(1.0)] * 3 + [rectangle(10.0)], guide=True),
    "UN-063": mass_first_order,
    "UN-064": mass_drawn,
    "UN-065": lambda row: s.second_order(buoyancy, *mass_inputs(row))[2],
    "UN-070": power,
    "UN-071": power,
    "UN-072": power,
    "UN-080": gauge_drawn,
    "UN-090": two_touches,
    "UN-091": lambda row: two_touches(row, row["inputs"]["u_common"], "u_indep"),
    "UN-092": lambda row: [
        row["inputs"]["measured"] <= s.acceptance_limit(row["inputs"]["limit"], row["inputs"]["U"]),
        s.acceptance_limit(row["inputs"]["limit"], row["inputs"]["U"]),
    ],
    "UN-093": lambda row: s.probability_below(
        row["inputs"]["limit"], row["inputs"]["measured"], row["inputs"]["u"]
    ),
}

NOT_CHECKED: dict[str, str] = {}

CHECKS["UN-060"] = lambda row: (
    [sums_of([s.Normal(0.0, 1.0)] * 4).u]
    + [
        sign * s.coverage_factor(math.inf) * s.propagate(np.sum, np.zeros(4), np.ones(4)).u[0]
        for sign in (-1.0, 1.0)
    ]
)


@pytest.mark.parametrize("row", ROWS.values(), ids=ROWS.keys())
def test_outside_value(row: dict[str, Any]) -> None:
    if row["id"] in NOT_CHECKED:
        pytest.skip(NOT_CHECKED[row["id"]])
    found = np.asarray(CHECKS[row["id"]](row), dtype=float)
    expected = np.asarray(row["expected"], dtype=float)
    tolerance = np.asarray(row["tolerance"], dtype=float)
    if tolerance.ndim == 1 and expected.ndim == 2:
        tolerance = tolerance[:, None]
    assert found.shape == expected.shape
    assert np.all(np.abs(found - expected) <= tolerance + 1e-12), (found, expected)


def test_every_row_is_checked_or_named() -> None:
    assert set(ROWS) == set(CHECKS) | set(NOT_CHECKED)
    assert not set(CHECKS) & set(NOT_CHECKED)
