"""Pictures of the question "has anything moved": the days, and what was made meanwhile."""

from __future__ import annotations

import numpy as np

from gudgeon.answer import Picture
from gudgeon.drawing.chart import Bars, Chart
from gudgeon.findings import Findings
from gudgeon.findings.drifting import DriftFinding
from gudgeon.quantity.kinds import Kind

__all__ = ["pictures"]

CHECKS_DRAWN = 2


def pictures(findings: Findings, found: DriftFinding) -> tuple[Picture, ...]:
    """Return the chart of days for each coordinate, the temperature, and the span to look at."""
    units, judged, record = findings.units, found.watch, found.record
    unit = units.unit(Kind.LENGTH)
    start = found.days[0]
    days = np.array(found.days, dtype=np.float64) - start
    x_label = f"days since {found.day_text(start)}"
    kept = np.zeros(len(days), dtype=bool)
    kept[list(judged.kept)] = True
    told: list[Picture] = []
    changed = [(moved, days[moved.change.row]) for moved in (*found.past, *found.outstanding)]
    estimate = judged.estimate
    warm = record.temperature - estimate.middle_c
    for j, (check, axis) in enumerate(found.series):
        if check >= CHECKS_DRAWN:
            continue
        shown = np.vectorize(lambda v: units.shown(Kind.LENGTH, float(v)))
        raw = record.value[:, j] - estimate.mean[j]
        level = raw - estimate.slope[j] * np.nan_to_num(warm)
        noise = estimate.noise * record.u[:, j] * found.k95
        name = found.checks[check] or "the check"
        chart = Chart(
            f"days_{check}_{'xyz'[axis]}",
            x_label,
            f"{'XYZ'[axis]} less its mean, {unit}",
            height_px=230,
        )
        chart.band(days, shown(-noise), shown(noise), "expected, 95 %")
        chart.curve(days, shown(np.where(kept, level, np.nan)), "temperature taken off", "bold")
        chart.curve(days, shown(raw), "as read", "hidden")
        for moved, at in changed:
            words = "moved" if moved.change.kind == "step" else "drifts from here"
            chart.upright(float(at) - 0.5, f"{words} {found.day_text(moved.last_day)}")
        for row in judged.bad:
            chart.mark(float(days[row]), float(shown(raw[row])), "bad reading")
        if judged.doubtful is not None:
            row = judged.doubtful
            chart.mark(float(days[row]), float(shown(raw[row])), "take it again")
        title = f"{'XYZ'[axis]} of {name}, day by day"
        told.append(Picture(f"days_{check}_{'xyz'[axis]}", title, chart.svg()))
    if found.noted:
        chart = Chart("temperature", x_label, "temperature, degC", height_px=190)
        chart.curve(days, record.temperature, "as noted", "bold")
        for _, at in changed:
            chart.upright(float(at) - 0.5, "moved")
        told.append(Picture("temperature", "Temperature at the checks", chart.svg()))
    if changed:
        bars = Bars("quarantine", x_label)
        for moved, at in changed:
            end = days[-1] + 1.0 if moved.put_right is None else float(moved.put_right - start)
            made = moved.suspects.rows
            parts = f", {made[0][1]} to {made[-1][2]}" if made else ""
            bars.row(
                f"from {found.day_text(moved.first_day)}{parts}",
                float(moved.first_day - start),
                end,
                float(at),
            )
        told.append(Picture("quarantine", "From the last good check to the correction", bars.svg()))
    return tuple(told)
