"""Pictures of the question `order`: the load over time, shares of its causes, poses visited."""

from __future__ import annotations

import math

from gudgeon.answer import Picture
from gudgeon.drawing.chart import Chart
from gudgeon.drawing.shares import Shares
from gudgeon.drawing.timeline import Timeline
from gudgeon.findings import Findings
from gudgeon.findings.legs import CHANGE, CLAMP, INDEX
from gudgeon.findings.ordering import OrderFinding
from gudgeon.questions._order_tables import seconds_text

__all__ = ["order_pictures"]


def order_pictures(findings: Findings, found: OrderFinding) -> tuple[Picture, ...]:
    """Return the drawings of a load."""
    pictures = [_time_line(findings, found)]
    if found.load.value > 0.0:
        pictures.append(_causes(found))
    poses = _poses(findings, found)
    return (*pictures, *([poses] if poses is not None else []))


def _time_line(findings: Findings, found: OrderFinding) -> Picture:
    names = {tool.number: tool.name for tool in findings.cell.tools}
    rows = {
        tool: f"T{tool} {names.get(tool) or ''}".strip()
        for tool in sorted({step.job.tool for step in found.steps})
    }
    line = Timeline("order-time")
    for row in rows.values():
        line.row(row)
    at = 0.0
    for number, step in enumerate(found.steps, start=1):
        row = rows[step.job.tool]
        change = step.leg.spent.seconds[CHANGE]
        turning = step.leg.spent.seconds[INDEX] + step.leg.spent.seconds[CLAMP]
        if change > 0.0:
            line.bar(row, at, at + change, fill="solid")
        if turning > 0.0:
            line.bar(row, at + change, at + change + turning, fill="hatch")
        if step.end_s > step.start_s:
            line.bar(row, step.start_s, step.end_s, words=str(number))
        at = step.end_s
    line.kind("paper", "cut, with its number")
    line.kind("solid", "tool change").kind("hatch", "index with clamps")
    return Picture(
        "time", "A load over time, without loading; gaps are ways of the tool", line.svg()
    )


def _causes(found: OrderFinding) -> Picture:
    shares = Shares("order-causes")
    whole = found.load.value
    shares.row(
        "load",
        {name: time.value / whole for name, time in found.causes.items() if time.value > 0.0},
        seconds_text(whole),
    )
    over = {
        name: time.value
        for name, time in found.causes.items()
        if name not in ("cutting", "loading") and time.value > 0.0
    }
    rest = sum(over.values())
    if rest > 0.0:
        shares.row(
            "between the cuts", {name: s / rest for name, s in over.items()}, seconds_text(rest)
        )
    return Picture("causes", "Shares of what takes the time of a load", shares.svg())


def _poses(findings: Findings, found: OrderFinding) -> Picture | None:
    """Return the poses in the order in which they are visited; none for a single axis."""
    visited = [found.load_pose, *(step.way.angles_rad for step in found.steps), found.load_pose]
    if any(len(angles) != 2 for angles in visited):
        return None
    letters = findings.pose_letters
    numbers: dict[tuple[float, float], list[int]] = {}
    points = [_degrees(angles) for angles in visited]
    for number, at in enumerate(points[1:-1], start=1):
        numbers.setdefault(at, []).append(number)
    chart = Chart("order-poses", f"{letters[0]}, deg", f"{letters[1]}, deg")
    chart.curve([at[0] for at in points], [at[1] for at in points], "", "thin")
    numbers.setdefault(points[0], [])
    for at, cuts in numbers.items():
        words = _runs(cuts)
        if at == points[0]:
            words = f"loaded; {words}" if words else "loaded"
        chart.mark(*at, words)
    return Picture(
        "poses",
        "Poses of a load, joined as they are visited, with the numbers of their cuts",
        chart.svg(),
    )


def _degrees(angles: tuple[float, ...]) -> tuple[float, float]:
    tilt, turn = (round(math.degrees(angle), 3) + 0.0 for angle in angles)
    return tilt, turn


def _runs(numbers: list[int]) -> str:
    """Return "1-4, 7" for numbers that rise."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][1] + 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    return ", ".join(str(a) if a == b else f"{a}-{b}" for a, b in runs)
