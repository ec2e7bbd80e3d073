"""Next best readings: what was promised beside what comes about; what the hand procedure leaves."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from benchmarks.metrology_told import table
from tests.centre.simulate import Unit
from tests.findings.take import Shop, _points, after_the_plan, cell_of

from gudgeon.centre.fit import fit_lines
from gudgeon.centre.rank import fixed_unknowns, unknowns
from gudgeon.findings import Findings

BLOCK = 5
CELLS = 200
PLANS: dict[str, tuple[str, dict[str, Any]]] = {
    "after five touches": ("by_hand", {}),
    "after the hand procedure": ("at_zero_only", {}),
    "after five touches, a ball to read": ("by_hand", {"have": ("ball",)}),
    "after five touches, an indicator": ("by_hand", {"have": ("indicator",)}),
}
"""Readings at hand, and entries of [readings], of `tests.findings.take`."""

HAND = "hand procedure: faces at turn 0, bore all round"
THREE = "the same and three touches at turn 90, 180, 270"
BALL = "one ball at turn 0 and 180 only"
RANKS = (HAND, THREE, BALL)
SETTINGS = (*PLANS, *RANKS)


def run(setting: str, cells: int, seed: tuple[int, ...]) -> dict[str, Any]:
    """Return sums of squares and of products of errors."""
    total: dict[str, Any] = {}
    for cell in range(cells):
        number = int(np.random.default_rng((*seed, cell)).integers(2**31))
        one = _plan(setting, number) if setting in PLANS else _rank(setting, number)
        for name, value in one.items():
            total[name] = np.add(total.get(name, 0.0), value).tolist()
    return total


def _plan(setting: str, number: int) -> dict[str, Any]:
    start, entries = PLANS[setting]
    plan, found_mm, error = after_the_plan(number, start, **entries)
    return {
        "promised": plan.after_mm**2,
        "before": plan.before_mm**2,
        "told": found_mm**2,
        "second": np.einsum("mi,mj->mij", error, error),
        "minutes": plan.minutes,
        "readings": sum(len(step.readings) for step in plan.steps),
        "reached": plan.reached,
    }


def _rank(setting: str, number: int) -> dict[str, Any]:
    shop = Shop(number)
    rows = _rows(setting, shop)
    fit = fit_lines(shop.unit.frame, tuple(rows))
    found: dict[str, Any] = {"fixed": fixed_unknowns(fit), "of": len(unknowns(fit))}
    if setting == BALL:
        return found
    findings = Findings(cell_of(rows))
    told = findings.rank_told
    error = _points(findings, findings.line_study.frame, findings.axis_lines.values) - _points(
        findings, shop.unit.frame, shop.unit.values
    )
    cost = findings.part_point_error.plus_minus_mm if told is None else told.cost_mm
    worst = float(np.max(np.linalg.norm(error, axis=1)))
    return {
        **found,
        "cost": cost**2,
        "second": np.einsum("mi,mj->mij", error, error),
        "largest": worst**2,
        "nothing open": told is None,
    }


def _rows(setting: str, shop: Shop) -> list[Any]:
    unit: Unit = shop.unit
    if setting == BALL:
        return [unit.sphere(0, c) for c in (0, 180)]
    rows = list(shop.at_zero_only())
    return rows + ([unit.face(0, c, 80, 0) for c in (90, 180, 270)] if setting == THREE else [])


def _worst(counts: Mapping[str, Any]) -> float:
    """Return twice the root mean square error of the worst point in its worst direction [mm]."""
    second = np.array(counts["second"]) / counts["cells"]
    return 2.0 * math.sqrt(float(np.max(np.linalg.eigvalsh(second))))


def _root(counts: Mapping[str, Any], name: str) -> float:
    return math.sqrt(counts[name] / counts["cells"])


def tell(totals: Mapping[str, Mapping[str, Any]]) -> str:
    """Return the tables."""
    plans, ranks = [], []
    for setting, counts in totals.items():
        of = counts["cells"]
        if setting in PLANS:
            worst, promised = _worst(counts), _root(counts, "promised")
            ratio = worst / promised
            # The root mean square of n normal errors is sure to one part in root 2 n.
            unsure = 2.0 / math.sqrt(2.0 * of)
            kept = 0.9 <= ratio <= 1.1
            sure = ratio * (1 - unsure) >= 0.9 and ratio * (1 + unsure) <= 1.1
            apart = ratio * (1 + unsure) < 0.9 or ratio * (1 - unsure) > 1.1
            doubt = "" if (sure if kept else apart) else ", not surely"
            plans.append(
                [
                    setting,
                    str(of),
                    f"{counts['readings'] / of:.1f}",
                    f"{counts['minutes'] / of:.0f}",
                    f"{_root(counts, 'before'):.3f}",
                    f"{promised:.4f}",
                    f"{worst:.4f}",
                    f"{ratio:.2f} +- {ratio * unsure:.2f}",
                    ("kept" if kept else "**missed**") + doubt,
                ]
            )
            continue
        fixed = f"{counts['fixed'] / of:.4g} of {counts['of'] / of:.4g}"
        if "second" in counts:
            told, worst = f"{_root(counts, 'cost'):.3f}", f"{_worst(counts):.3f}"
            largest = f"{_root(counts, 'largest'):.3f}"
        else:
            told = worst = largest = "no lines"
        ranks.append([setting, str(of), fixed, told, worst, largest])
    parts = [
        "## Next readings, and what the usual procedure leaves open\n",
        "Units whose six angles are off by 0.3 mrad and whose bore is off centre by 0.05 mm "
        "(standard deviations), read with 0.003 mm. Figures in mm. *Promised*: the worst part "
        "point at 95 % that is told before the readings are taken; *came about*: twice the root "
        "mean square error of the worst point in its worst direction, once they are taken and "
        "fitted. Goal: the ratio lies between 0.9 and 1.1. Seeds: (2, number of the setting, "
        f"number of the block, number of the cell), blocks of {BLOCK} cells.\n",
    ]
    if plans:
        head = ["plan", "cells", "readings", "minutes", "before", "promised", "came about"]
        parts.append(table([*head, "ratio at 95 %", "goal"], plans) + "\n")
    if ranks:
        parts.append(
            "Unknowns that a set of readings fixes, what is told about the worst part point with "
            "the open ones counted in (95 %), and what it really is off by.\n\n"
            + table(
                [
                    "readings",
                    "cells",
                    "fixed",
                    "told",
                    "came about",
                    "worst point of each cell, RMS",
                ],
                ranks,
            )
        )
    return "\n".join(parts)
