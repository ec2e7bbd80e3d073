"""The fit of both axis lines to 60 rows, beside scipy's least squares with numerical derivatives.

    python benchmarks/centre.py

Both work on the same readings with the same free parameters and must find the same lines; the
reference gets only the residuals, as a first version of the fit would.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from scipy.optimize import least_squares

sys.path.insert(0, str(Path(__file__).parents[1]))

from tests.centre.simulate import Unit, frame

from gudgeon.centre.fit import LineFit, fit_lines
from gudgeon.centre.readings import Model, Reading

ROWS = 60
RUNS = 9
AGREE_MM = 1e-6


def readings() -> tuple[Unit, tuple[Reading, ...]]:
    """Return a unit and 60 noisy rows of touches and bore centres (seed 1)."""
    unit = Unit(frame(), seed=1)
    rows: list[Reading] = []
    while len(rows) < ROWS:
        rows += unit.full()
    return unit, tuple(rows[:ROWS])


def by_numerical_derivatives(model: Model, fit: LineFit) -> np.ndarray:
    """Return the parameters that scipy finds from the residuals alone."""
    at = [fit.parameters.index(name) for name in fit.free]
    start = fit.values.copy()
    start[at] = 0.0

    def residuals(part: np.ndarray) -> np.ndarray:
        values = start.copy()
        values[at] = part
        return np.asarray(model.residuals(values) / model.u_mm)

    # Angles in mrad beside places in mm, lest the steps of the differences lose them.
    found = least_squares(residuals, start[at], x_scale="jac", xtol=1e-12, ftol=1e-12, gtol=1e-12)
    values = start.copy()
    values[at] = found.x
    return values


def median_s(work: Callable[[], Any]) -> float:
    work()
    taken = []
    for _ in range(RUNS):
        begin = time.perf_counter()
        work()
        taken.append(time.perf_counter() - begin)
    return statistics.median(taken)


def run() -> tuple[float, float]:
    """Return median seconds of the fit and of the reference.

    Raises
    ------
    SystemExit
        If they do not find the same lines.
    """
    unit, rows = readings()
    fit = fit_lines(unit.frame, rows)
    model = Model(unit.frame, fit.used)
    apart = float(np.max(np.abs(by_numerical_derivatives(model, fit) - fit.values)))
    if apart > AGREE_MM:
        raise SystemExit(f"the two fits differ by {apart:.2g}")
    ours = median_s(lambda: fit_lines(unit.frame, rows))
    return ours, median_s(lambda: by_numerical_derivatives(model, fit))


def main() -> None:
    """Print both times and their ratio."""
    ours, reference = run()
    print(
        f"fit of {ROWS} rows, choice of parameters included {1e3 * ours:.1f} ms; "
        f"scipy least_squares, numerical derivatives, {1e3 * reference:.1f} ms; "
        f"ratio {ours / reference:.2f}"
    )


if __name__ == "__main__":
    main()
