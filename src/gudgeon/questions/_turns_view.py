"""The picture of the question `turns`: both lines to scale, their uncertainty enlarged."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from gudgeon.answer import Picture
from gudgeon.centre.lines import LineFrame
from gudgeon.centre.positions import across_direction, positions
from gudgeon.drawing.plan import Plan
from gudgeon.findings.procedure import side_name
from gudgeon.quantity.show import Units
from gudgeon.quantity.spread import propagate

__all__ = ["views"]

Floats = NDArray[np.float64]


def views(
    units: Units, frame: LineFrame, values: Floats, covariance: Floats, platter_mm: float
) -> Picture:
    """Return front and side view of the lines with their uncertainty enlarged."""
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
        float(u_along),
        float(u_across),
        1e-6,
    )
    times = _round_magnification(0.22 * half / largest)
    gap = 2.6 * half
    plan = Plan(
        "turns-lines",
        -1.2 * half,
        down - 0.42 * half,
        gap + 1.2 * half,
        up + 0.45 * half,
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
            plan.text((middle + 0.12 * half, -0.12 * half), "tilt line", anchor="start", small=True)
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
        name = f"the tilt line from its {view} ({side_name(right)[0]} to the right)"
        plan.text((middle, up + 0.3 * half), name)
    plan.text(
        (gap / 2.0, down - 0.22 * half),
        f"95 % region of each line drawn {times:,} times too large",
        small=True,
    )
    title = f"Both lines to scale at tilt 0, their uncertainty enlarged {times:,} times"
    return Picture("lines", title, plan.svg())


def _ellipse(
    centre: tuple[float, float], covariance: Floats, times: float
) -> list[tuple[float, float]]:
    """Return the 95 % region of two coordinates (radius sqrt of chi-square 5.991, 2 dof)."""
    sizes, axes = np.linalg.eigh(covariance)
    half = np.sqrt(np.clip(sizes, 0.0, None)) * math.sqrt(5.991) * times
    angles = np.linspace(0.0, 2.0 * np.pi, 49)[:-1]
    points = axes @ (half[:, None] * np.vstack([np.cos(angles), np.sin(angles)]))
    return [(centre[0] + float(x), centre[1] + float(y)) for x, y in points.T]


def _round_magnification(wanted: float) -> int:
    """Return the largest of 1, 2, 5, 10, 20 ... that is not above `wanted`."""
    if wanted <= 1.0:
        return 1
    power = 10 ** math.floor(math.log10(min(wanted, 1e5)))
    return int(max(step * power for step in (1, 2, 5) if step * power <= min(wanted, 1e5)))
