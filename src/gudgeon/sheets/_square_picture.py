"""The platter with the places of the dial, to scale."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from gudgeon.answer import Picture
from gudgeon.drawing.plan import Plan
from gudgeon.findings import Findings
from gudgeon.findings.commissioning_found import Squaring
from gudgeon.findings.commissioning_places import HOLE_MM
from gudgeon.findings.gear import platter_radius
from gudgeon.sheets._said import pose

__all__ = ["platter_picture"]

ROOM: Final = 1.25
ARROW: Final = 0.3


def platter_picture(findings: Findings, found: Squaring) -> Picture:
    """Return the platter as one looks at its face in the zero pose, with circle, run and places."""
    cell = findings.cell
    rim = platter_radius(cell)
    size = ROOM * rim
    plan = Plan("platter-dial", -size, -size, size, size, inch=findings.units.inch, width_px=480)
    plan.circle((0.0, 0.0), rim, style="bold")
    flange = cell.unit.flange
    if flange.pilot_diameter is not None:
        plan.circle((0.0, 0.0), 0.5 * flange.pilot_diameter.value)
    if flange.pitch_circle is not None:
        hole = HOLE_MM if flange.hole_diameter is None else 0.5 * flange.hole_diameter.value
        middle = 0.5 * flange.pitch_circle.value
        for one in flange.holes:
            plan.circle((middle * math.cos(one.value), middle * math.sin(one.value)), hole)
    plan.circle((0.0, 0.0), found.radius_mm, style="hidden")
    # The platter frame's x and y as one looks at the face: x to the right, y up.
    axes = findings.platter_axes[:, :2]
    for stop in found.stops:
        x, y = (float(value) for value in np.asarray(stop.at_mm) @ axes)
        plan.cross((x, y), 12)
        plan.text((1.14 * x, 1.14 * y), stop.name, small=True)
    tram = found.check("tram")
    level = [] if tram is None else [
        run
        for check in found.checks
        for run in check.runs
        if run.start.tilt_rad == 0.0 and check.name in ("rise", "tram")
    ]  # fmt: skip
    if level:
        run = level[0]
        start, end = (
            (float(p[0]), float(p[1]))
            for p in (np.asarray(one.at_mm) @ axes for one in (run.start, run.end))
        )
        plan.arrow(start, end, style="bold")
        plan.text(
            (0.5 * (start[0] + end[0]), 0.5 * (start[1] + end[1]) + 0.06 * rim), "run", small=True
        )
    looked = "from above" if findings.has_tilt else "as one looks at its face"
    return Picture(
        "platter_dial",
        f"The platter {looked} at {pose(findings, 0.0, 0.0)}: crosses on the dashed circle for the "
        "level" + (", arrow for the runs" if level else ""),
        plan.svg(),
    )
