"""The picture of the question `turns`: both lines to scale, their uncertainty enlarged."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.answer import Picture
from gudgeon.centre.lines import LineFrame
from gudgeon.centre.positions import POSITIONS_SINGLE as SINGLE
from gudgeon.centre.positions import across_direction, positions
from gudgeon.drawing.plan import Plan
from gudgeon.findings.procedure import side_name
from gudgeon.quantity.show import Units
from gudgeon.quantity.spread import propagate

__all__ = ["single_view", "views"]

Floats = NDArray[np.float64]

CHI_SQUARE_95: Final = 5.991
"""95 % point of chi-square with two degrees of freedom."""


def views(
    units: Units, frame: LineFrame, values: Floats, covariance: Floats, platter_mm: float
) -> Picture:
    """Return the lines from the side, from the end and from above, their uncertainty enlarged."""
    two = propagate(lambda v: positions(frame, v)[[0, 1, 2, 3, 4, 6]], values, covariance)
    at, spread = two.values, two.covariance
    basis = frame.basis
    # Into the line frame: along the tilt line, across it, up.
    across = across_direction(frame)
    turn = np.zeros((4, 6))
    turn[0, [3, 4]] = basis[:2, 0]
    turn[1, [3, 4]] = across[:2]
    turn[2, [0, 1]] = across[:2]
    turn[3, 2] = 1.0
    covariance_view = turn @ spread @ turn.T
    u_along, u_across = np.sqrt(np.clip(np.diag(covariance_view)[:2], 0.0, None))
    tilt_part = covariance_view[2:, 2:]
    offset = float((at[3:5] - at[0:2]) @ across[:2])
    height = float(at[5])
    half = platter_mm / 2.0
    up = max(0.7 * half, height + 0.35 * half, 0.4 * half)
    down = -max(0.7 * half, -height + 0.35 * half)
    largest = 2.0 * max(
        math.sqrt(max(float(np.linalg.eigvalsh(tilt_part)[-1]), 0.0)),
        math.sqrt(max(float(np.linalg.eigvalsh(covariance_view[:2, :2])[-1]), 0.0)),
        1e-6,
    )
    times = _round_magnification(0.22 * half / largest)
    gap = 2.6 * half
    heading = max(up + 0.3 * half, 1.25 * half)
    plan = Plan(
        "turns-lines",
        -1.2 * half,
        min(down - 0.42 * half, -1.5 * half),
        2.0 * gap + 1.2 * half,
        max(up + 0.45 * half, 1.6 * half),
        inch=units.inch,
    )
    for middle, side_view in ((0.0, False), (gap, True)):
        rotary = middle + (offset if side_view else 0.0)
        wide = 2.0 * times * float(u_across if side_view else u_along)
        plan.rectangle(middle - half, height - 0.12 * half, middle + half, height, fill="paper")
        if wide > 0.0:
            plan.rectangle(rotary - wide, down, rotary + wide, up, style="faint", fill="tint")
        plan.line((rotary, down), (rotary, up), "axis")
        plan.text((rotary, up + 0.1 * half), "rotary line", small=True)
        if side_view:
            plan.path(_ellipse((middle, 0.0), tilt_part, times), closed=True, fill="tint")
            plan.cross((middle, 0.0))
            deep = math.sqrt(CHI_SQUARE_95 * max(float(tilt_part[1, 1]), 0.0)) * times
            below = -deep - 0.12 * half
            plan.text((middle + 0.12 * half, below), "tilt line", anchor="start", small=True)
        else:
            tall = 2.0 * times * math.sqrt(max(float(tilt_part[1, 1]), 0.0))
            if tall > 0.0:
                plan.rectangle(
                    middle - 1.15 * half,
                    -tall,
                    middle + 1.15 * half,
                    tall,
                    style="faint",
                    fill="tint",
                )
            plan.line((middle - 1.15 * half, 0.0), (middle + 1.15 * half, 0.0), "axis")
            plan.text((middle + 1.1 * half, -0.12 * half), "tilt line", anchor="end", small=True)
        plan.text((middle - half, height + 0.08 * half), "platter face", anchor="start", small=True)
        view, right = ("end", across) if side_view else ("side", np.asarray(frame.along))
        plan.text((middle, heading), f"from the {view} ({side_name(right)[0]} right)")
    # From above: the platter with the rotary line in it, and the tilt line under it.
    centre = (2.0 * gap, 0.0)
    plan.circle(centre, half, fill="paper")
    plan.path(_ellipse(centre, covariance_view[:2, :2], times), closed=True, fill="tint")
    plan.cross(centre)
    plan.line((centre[0] - 1.15 * half, -offset), (centre[0] + 1.15 * half, -offset), "axis")
    plan.text((centre[0], -0.45 * half), "rotary line", small=True)
    over = side_name(np.asarray(frame.along))[0]
    plan.text((centre[0], heading), f"from above ({over} right)")
    plan.text(
        (gap, min(down - 0.22 * half, -1.3 * half)),
        f"95 % region of each line drawn {times:,} times too large",
        small=True,
    )
    title = f"Both lines to scale at tilt 0, their uncertainty enlarged {times:,} times"
    return Picture("lines", title, plan.svg())


def single_view(
    units: Units, frame: LineFrame, values: Floats, covariance: Floats, platter_mm: float
) -> Picture:
    """Return the rotary line of a single axis from its side, its 95 % region enlarged."""
    rows = [list(SINGLE).index(name) for name in ("rotary_y", "rotary_z", "rotary_rise")]
    if abs(frame.along[1]) > abs(frame.along[0]):
        rows[0] = list(SINGLE).index("rotary_x")
    spread = propagate(lambda v: positions(frame, v)[rows], values, covariance).covariance
    half = platter_mm / 2.0
    across_part = spread[:2, :2]
    largest = math.sqrt(CHI_SQUARE_95 * max(float(np.linalg.eigvalsh(across_part)[-1]), 1e-12))
    times = _round_magnification(0.4 * half / largest)
    gap = 2.8 * half
    plan = Plan(
        "turns-line", -1.3 * half, -1.5 * half, gap + 1.3 * half, 1.6 * half, inch=units.inch
    )
    # From the end: the platter face with the line in it.
    plan.circle((0.0, 0.0), half, fill="paper")
    plan.path(_ellipse((0.0, 0.0), across_part, times), closed=True, fill="tint")
    plan.cross((0.0, 0.0))
    across = "XY"[rows[0] - list(SINGLE).index("rotary_x")]
    plan.text((0.0, 1.3 * half), f"the line from its end ({across} to the side, Z up)")
    # From the side: the line with what its height and its rise leave open.
    u_z = math.sqrt(max(float(spread[1, 1]), 0.0))
    u_rise = math.sqrt(max(float(spread[2, 2]), 0.0))
    ends = []
    for place in np.linspace(-half, half, 9):
        wide = 2.0 * times * math.hypot(u_z, place * u_rise)
        ends.append((gap + float(place), float(min(wide, 0.9 * half))))
    outline = [(x, wide) for x, wide in ends] + [(x, -wide) for x, wide in reversed(ends)]
    plan.path(outline, closed=True, style="faint", fill="tint")
    plan.line((gap - 1.15 * half, 0.0), (gap + 1.15 * half, 0.0), "axis")
    plan.rectangle(gap - 0.06 * half, -half, gap + 0.06 * half, half)
    plan.text((gap, 1.3 * half), "the line from its side (Z up)")
    plan.text((gap / 2.0, -1.28 * half), f"95 % region drawn {times:,} times too large", small=True)
    title = f"The rotary line to scale, its uncertainty enlarged {times:,} times"
    return Picture("lines", title, plan.svg())


def _ellipse(
    centre: tuple[float, float], covariance: Floats, times: float
) -> list[tuple[float, float]]:
    """Return the 95 % region of two coordinates (radius sqrt of chi-square, 2 dof)."""
    sizes, axes = np.linalg.eigh(covariance)
    half = np.sqrt(np.clip(sizes, 0.0, None)) * math.sqrt(CHI_SQUARE_95) * times
    angles = np.linspace(0.0, 2.0 * np.pi, 49)[:-1]
    points = axes @ (half[:, None] * np.vstack([np.cos(angles), np.sin(angles)]))
    return [(centre[0] + float(x), centre[1] + float(y)) for x, y in points.T]


def _round_magnification(wanted: float) -> int:
    """Return the largest of 1, 2, 5, 10, 20 ... that is not above `wanted`."""
    if wanted <= 1.0:
        return 1
    power = 10 ** math.floor(math.log10(min(wanted, 1e5)))
    return int(max(step * power for step in (1, 2, 5) if step * power <= min(wanted, 1e5)))
