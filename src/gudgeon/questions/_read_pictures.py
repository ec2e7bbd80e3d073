"""Pictures of a program's path, pose by pose, to scale."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.answer import Picture
from gudgeon.drawing.plan import Plan
from gudgeon.program.paths import paths_in_pose
from gudgeon.program.summary import PoseUse
from gudgeon.questions._read_tables import Shown

__all__ = ["POSES_DRAWN", "pictures"]

POSES_DRAWN: Final = 4
"""Poses with the most feed moves; each has two views."""

_SEGMENTS: Final = 1_500
_LEAST_MM: Final = 10.0

Floats = NDArray[np.float64]


def pictures(shown: Shown) -> tuple[Picture, ...]:
    """Return plan and front view of the poses with the most feed moves."""
    chosen = sorted(shown.summary.poses, key=lambda pose: -pose.feeds)[:POSES_DRAWN]
    made: list[Picture] = []
    for number, pose in enumerate(sorted(chosen, key=lambda pose: pose.first_row), start=1):
        made += _views(shown, pose, number)
    return tuple(made)


def _views(shown: Shown, pose: PoseUse, number: int) -> list[Picture]:
    feeds, rapids = paths_in_pose(shown.track, pose.tilt_rad, pose.rotary_rad, _SEGMENTS)
    if not feeds:
        return []
    tilt, rotary = shown.letters()
    angles = [
        f"{letter} {math.degrees(angle) + 0.0:.6g} deg"
        if math.isfinite(angle)
        else f"{letter} unknown"
        for letter, angle in ((tilt, pose.tilt_rad), (rotary, pose.rotary_rad))
    ]
    where = ", ".join(angles)
    made: list[Picture] = []
    for view, axes, words in (
        ("plan", (0, 1), "from above"),
        ("front", (0, 2), "from the front"),
    ):
        cut = np.concatenate(feeds)[:, axes]
        low, high = cut.min(axis=0), cut.max(axis=0)
        room = 0.06 * max(float((high - low).max()), _LEAST_MM)
        middle = 0.5 * (low + high)
        half = np.maximum(0.5 * (high - low), 0.5 * _LEAST_MM) + room
        # A view that is far wider than high (or the reverse) still gets a sheet.
        half = np.maximum(half, 0.05 * half.max())
        # The feeds fill the sheet; rapids are cut off at its frame.
        left, right = (middle - half).tolist(), (middle + half).tolist()
        plan = Plan(
            f"read-{view}-{number}", left[0], left[1], right[0], right[1],
            inch=shown.findings.units.inch,
        )  # fmt: skip
        for path in rapids:
            plan.path(_points(path, axes), style="hidden")
        for path in feeds:
            plan.path(_points(path, axes), style="thin")
        made.append(
            Picture(
                f"{view}_{number}",
                f"{where}, {words}: feed solid, rapid dashed",
                plan.svg(),
            )
        )
    return made


def _points(path: Floats, axes: tuple[int, int]) -> list[tuple[float, float]]:
    points = [(float(a), float(b)) for a, b in path[:, axes]]
    kept = [points[0]]
    kept += [point for point, before in zip(points[1:], points, strict=False) if point != before]
    return kept if len(kept) > 1 else [points[0], points[0]]
