"""Outside values of topic 06 against the product's one solver and the shapes fitted with it."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from gudgeon.centre import shapes
from gudgeon.centre.solve import Fitted, NotDetermined, solve
from tests.outside import rows

ROWS = rows("06-fits")
NIST = Path(__file__).parents[3] / "shared" / "check-values" / "data" / "nist-strd"

needs_nist = pytest.mark.skipif(
    not NIST.is_dir(), reason="the NIST StRD data are not part of the project and not at hand"
)


def points(row: dict[str, Any]) -> np.ndarray:
    given = row["inputs"]["points"]
    return np.array(ROWS[given[3:]]["inputs"]["points"] if isinstance(given, str) else given)


def circle(row: dict[str, Any]) -> list[float]:
    found = shapes.fit_circle(points(row))
    return [*found.centre_mm, found.radius_mm]


def circle_u(row: dict[str, Any]) -> np.ndarray:
    angles = np.deg2rad(row["inputs"]["angles"])
    found = shapes.fit_circle(np.column_stack([np.cos(angles), np.sin(angles)]) * 20.0 + 7.0)
    return np.sqrt(np.diag(found.cofactor)) * row["inputs"]["u_radial"]


def sphere(row: dict[str, Any]) -> shapes.RoundFit:
    return shapes.fit_sphere(points(row))


def norris(row: dict[str, Any]) -> tuple[Fitted, np.ndarray]:
    data = (row["inputs"].get("x") and row["inputs"]) or ROWS["FT-050"]["inputs"]
    x, y = np.array(data["x"]), np.array(data["y"])
    return solve(lambda v: v[0] + v[1] * x - y, [0.0, 0.0]), y


def norris_spread(row: dict[str, Any]) -> list[float]:
    fit, y = norris(row)
    u = np.sqrt(np.diag(fit.cofactor) * fit.variance)
    return [*u, 1.0 - fit.sum_of_squares / float(np.sum((y - y.mean()) ** 2))]


def height_plane(row: dict[str, Any]) -> np.ndarray:
    return shapes.fit_height_plane(points(row))[0]


def height_plane_rms(row: dict[str, Any]) -> list[float]:
    values, residuals = shapes.fit_height_plane(points(row))
    return [*values, float(np.sqrt(np.mean(residuals**2)))]


def flat(fit: Callable[[Any], shapes.FlatFit]) -> Callable[[dict[str, Any]], list[Any]]:
    def work(row: dict[str, Any]) -> list[Any]:
        found = fit(points(row))
        return [found.direction, found.point_mm, found.peak_to_valley_mm]

    return work


def cylinder(row: dict[str, Any]) -> list[float]:
    found = shapes.fit_cylinder(points(row), at_height_mm=5.0)
    return [*found.point_mm, *found.slopes, found.radius_mm]


def with_rms(found: shapes.RoundFit) -> list[float]:
    return [*found.centre_mm, found.radius_mm, found.rms_mm]


CHECKS: dict[str, Callable[[dict[str, Any]], Any]] = {
    "FT-001": circle,
    "FT-004": lambda row: [
        *circle(row),
        float(np.sum(shapes.fit_circle(points(row)).residuals_mm ** 2)),
    ],
    "FT-010": circle,
    "FT-011": circle,
    "FT-012": circle,
    "FT-013": lambda row: with_rms(shapes.fit_circle(points(row))),
    **{f"FT-{number:03d}": circle_u for number in range(20, 27)},
    "FT-030": lambda row: with_rms(sphere(row)),
    "FT-031": lambda row: with_rms(sphere(row))[:4],
    "FT-032": lambda row: np.sqrt(np.diag(sphere(ROWS["FT-031"]).cofactor)),
    "FT-040": height_plane,
    "FT-041": height_plane_rms,
    "FT-042": flat(shapes.fit_plane),
    "FT-043": flat(shapes.fit_line),
    "FT-044": cylinder,
    "FT-050": lambda row: norris(row)[0].values,
    "FT-051": norris_spread,
}

BEHAVES = ("FT-002", "FT-003", "FT-014")
"""Rows that say what a geometric fit must not return, or must refuse; see the tests below."""

CERTIFIED = tuple(f"FT-{number:03d}" for number in range(60, 80))


@pytest.mark.parametrize("name", CHECKS)
def test_outside_value(name: str) -> None:
    row = ROWS[name]
    found, expected = CHECKS[name](row), row["expected"]
    if name in ("FT-042", "FT-043"):
        found, expected = np.hstack(found), np.hstack(expected)
    assert np.shape(found) == np.shape(expected)
    assert np.all(np.abs(np.asarray(found) - expected) <= row["tolerance"]), (found, expected)


@pytest.mark.parametrize("name", ["FT-002", "FT-003"])
def test_the_circle_fit_beats_algebraic_fits_in_distance(name: str) -> None:
    row = ROWS[name]
    x, y, radius = row["expected"]
    at = points(row)
    algebraic = np.hypot(at[:, 0] - x, at[:, 1] - y) - radius
    found = shapes.fit_circle(at)
    assert np.sum(found.residuals_mm**2) < 0.98 * np.sum(algebraic**2)
    assert np.hypot(*(found.centre_mm - [x, y])) > 0.5


def test_collinear_points_are_refused() -> None:
    assert ROWS["FT-014"]["expected"] == "error"
    with pytest.raises(NotDetermined):
        shapes.fit_circle(points(ROWS["FT-014"]))


@needs_nist
@pytest.mark.parametrize("start", ["start1", "start2"])
@pytest.mark.parametrize("name", CERTIFIED[:10])
def test_certified_nonlinear_regression(name: str, start: str) -> None:
    row, spread = ROWS[name], ROWS[f"FT-0{int(name[3:]) + 10}"]
    if "BoxBOD" in row["what"] and start == "start1":
        pytest.skip("far from the solution this start runs off to infinity, as it is known for")
    with (NIST / Path(row["inputs"]["data"]).name).open(encoding="utf-8") as file:
        data = np.array([[float(c) for c in line] for line in list(csv.reader(file))[1:]])
    x, y = data.T
    model = compile(row["inputs"]["model"], name, "eval")
    names = {"exp": np.exp, "arctan": np.arctan, "pi": np.pi, "x": x}

    def residuals(v: Any) -> Any:
        return eval(model, names | {f"b{i + 1}": b for i, b in enumerate(v)}) - y

    fit = solve(residuals, row["inputs"][start])
    u = np.sqrt(np.diag(fit.cofactor) * fit.variance)
    assert fit.values == pytest.approx(row["expected"], rel=1e-6)
    assert [*u, np.sqrt(fit.variance), fit.sum_of_squares] == pytest.approx(
        spread["expected"], rel=1e-6
    )


def test_every_row_is_checked_or_named() -> None:
    assert set(ROWS) == set(CHECKS) | set(BEHAVES) | set(CERTIFIED)
