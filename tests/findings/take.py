"""Take the readings that were proposed, on a unit whose truth is known."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from gudgeon.cell.model import Cell
from gudgeon.centre.readings import Model
from gudgeon.findings import Findings
from tests.centre.simulate import Unit, frame
from tests.questions.test_turns import ORIGIN, touched

SQUARE_U, RUNOUT_U = 3e-4, 0.05


class Shop:
    """One unit with its own errors, and one who reads it with 0.003 mm of noise."""

    def __init__(self, seed: int, unit: Unit | None = None) -> None:
        self.zeros: dict[str, float] = {}
        if unit is not None:
            self.unit = unit
            return
        chance = np.random.default_rng(seed)
        angles = chance.normal(0.0, SQUARE_U, 6)
        values = [0.012, -4.98, *angles[:2], -0.246, 0.035, *angles[2:4], 20.0]
        off = tuple(chance.normal(0.0, RUNOUT_U, 2))
        self.unit = Unit(frame(origin=ORIGIN), values, tuple(angles[4:]), off, seed=seed + 10_000)

    def by_hand(self):
        """Five touches: the least that fixes both lines."""
        unit = self.unit
        return [*(unit.face(t, 0, 0, 0) for t in (90, -90, 0)), unit.bore(0, 0), unit.bore(0, 180)]

    def at_zero_only(self):
        """Touch the face with the rotary at 0 only, the bore all round: the usual procedure."""
        unit = self.unit
        rows = [unit.face(t, 0, x, y) for t in (90, -90) for x, y in ((60, 0), (-60, 0), (0, 50))]
        rows += [unit.face(0, 0, x, y) for x, y in ((60, 0), (-60, 0), (0, 60), (0, -60))]
        return [*rows, *(unit.bore(0, c) for c in (0, 90, 180, 270))]

    def take(self, readings):
        """Return proposed readings with what is really there, and noise."""
        return [self._one(reading) for reading in readings]

    def _one(self, reading):
        unit = self.unit
        model = Model(unit.frame, (reading,))
        truth = np.zeros(len(model.parameters))
        truth[:9] = unit.values
        known = {"slope_x": unit.slopes[0], "slope_y": unit.slopes[1]}
        for name in ("bore", "pin"):
            known |= {f"{name}_x": unit.off[0], f"{name}_y": unit.off[1], f"{name}_radius": 15.0}
        known |= {"ball 1_x": 71.0, "ball 1_y": 1.5, "ball 1_z": 58.0}
        for i, name in enumerate(model.parameters[9:], start=9):
            truth[i] = known.get(name, 0.0)
        off = model.residuals(truth)
        noise = unit.chance.normal(size=len(off)) * model.u_mm
        zero = 0.0
        if reading.zero:
            zero = self.zeros.setdefault(reading.zero, unit.chance.normal(0.0, 0.2))
        if reading.feature == "level":
            return replace(reading, angle_rad=reading.angle_rad - off[0] + noise[0] + 1e-3 * zero)
        place = np.array(reading.position_mm)
        if reading.toward is None:
            place[: len(off)] += noise - off
        else:
            place += np.abs(reading.toward) * (noise[0] - off[0] + zero)
        return replace(reading, position_mm=tuple(float(c) for c in place))


def cell_of(rows, **entries) -> Cell:
    """Return the cell of `test_turns` with these readings and entries of [readings]."""
    base = touched(rows)
    return replace(base, readings=replace(base.readings, **entries))


def after_the_plan(seed: int, start: str, **entries):
    """Return the plan, the fit with the proposed readings taken, and the error of each point.

    Returns
    -------
    plan : ReadingPlan
    found_mm : float
        Worst part point (95 %) that the fit of all readings tells.
    error : ndarray, shape (m, 3)
        Of the part points, fitted less true.
    """
    shop = Shop(seed)
    first = Findings(cell_of(getattr(shop, start)(), **entries))
    plan = first.reading_plan
    assert plan is not None
    taken = shop.take(reading for step in plan.steps for reading in step.readings)
    lines = first.line_study.frame
    fit = first._fit(lines, (*first.line_study.readings, *taken), first._known(lines))
    error = _points(first, lines, fit.line_values) - _points(
        first, shop.unit.frame, shop.unit.values
    )
    return plan, first._expected_mm(fit, first.part_point_error.per_value), error


def _points(findings, lines, values):
    angles, local = findings._part_points(findings.axis_lines)[:2]
    chain = lines.chain(values)
    z = np.asarray(chain.axes[-1].line.direction)
    x = findings.platter_axes[:, 0] - z * (z @ findings.platter_axes[:, 0])
    x = x / np.linalg.norm(x)
    platter = np.column_stack([x, np.cross(z, x), z])
    return chain.points(angles, lines.platter_origin(values) + local @ platter.T)


def realised_over_promised(seeds, start: str, **entries) -> tuple[float, float]:
    """Return twice the worst point's RMS error over what was promised, and the figure promised."""
    promised, errors = [], []
    for seed in seeds:
        plan, _, error = after_the_plan(seed, start, **entries)
        promised.append(plan.after_mm)
        errors.append(error)
    second = np.einsum("nmi,nmj->mij", errors, errors) / len(errors)
    worst = math.sqrt(float(np.max(np.linalg.eigvalsh(second))))
    figure = math.sqrt(float(np.mean(np.square(promised))))
    return 2.0 * worst / figure, figure
