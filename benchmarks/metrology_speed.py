"""The fit of 60 rows beside scipy's least squares with numerical derivatives."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
from benchmarks.metrology_told import table

from benchmarks import centre
from gudgeon.centre.fit import fit_lines
from gudgeon.centre.readings import Model

BLOCK = 1
CELLS = 3
SETTINGS = ("fit of 60 rows",)
GOAL_MS = 20.0


def run(setting: str, cells: int, seed: tuple[int, ...]) -> dict[str, Any]:
    """Return sums over runs of the median time of the processor that both take."""
    del setting, seed  # the readings are those of `benchmarks.centre`, seed 1
    unit, rows = centre.readings()
    fit = fit_lines(unit.frame, rows)
    model = Model(unit.frame, fit.used)
    found = centre.by_numerical_derivatives(model, fit)
    if float(np.max(np.abs(found - fit.values))) > centre.AGREE_MM:
        raise RuntimeError("the two fits differ")
    ours = reference = 0.0
    for _ in range(cells):
        ours += median_s(lambda: fit_lines(unit.frame, rows))
        reference += median_s(lambda: centre.by_numerical_derivatives(model, fit))
    return {"ours": ours, "reference": reference}


def median_s(piece: Callable[[], Any]) -> float:
    """Return the median time of the processor: other work on the machine counts less."""
    taken = []
    for _ in range(centre.RUNS):
        begin = time.process_time()
        piece()
        taken.append(time.process_time() - begin)
    return statistics.median(taken)


def tell(totals: Mapping[str, Mapping[str, Any]]) -> str:
    """Return the table."""
    rows = []
    for setting, counts in totals.items():
        ours = 1e3 * counts["ours"] / counts["cells"]
        other = 1e3 * counts["reference"] / counts["cells"]
        rows.append(
            [
                setting,
                str(counts["cells"]),
                f"{ours:.1f}",
                "kept" if ours < GOAL_MS else "**missed**",
                f"{other:.1f}",
                f"{ours / other:.2f}",
            ]
        )
    return (
        "## Time of the fit\n\n"
        "Choice of the parameters and uncertainties included, beside least squares of the same "
        "residuals with numerical derivatives that is told which parameters are free. "
        f"Milliseconds of the processor; each run is the median of {centre.RUNS} on a machine "
        "that is not idle: only the ratio means anything elsewhere. Seed 1.\n\n"
        + table(["piece", "runs", "ms", "goal 20 ms", "reference, ms", "ratio"], rows)
    )
