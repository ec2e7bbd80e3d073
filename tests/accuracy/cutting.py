"""Cut lands on a unit that is not quite as the control believes; apart from the engine.

The control sends the tool where the believed chain puts a point; what is under it is found with
the true chain (`gudgeon.kinematics`).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from gudgeon.accuracy.piece import Land, Stand
from gudgeon.centre.lines import LineFrame

Floats = NDArray[np.float64]


class Cutting:
    """A unit as it is and as the control believes it."""

    def __init__(self, frame: LineFrame, axes: Floats, values: Floats, off: Floats) -> None:
        self.frame, self.axes = frame, axes
        self.values, self.true = values, values + off
        self.believed, self.real = frame.chain(values), frame.chain(self.true)
        self.sent_from = frame.platter_origin(values), self.platter(values)
        self.there = frame.platter_origin(self.true), self.platter(self.true)

    def platter(self, values: Floats) -> Floats:
        """Return the platter's axes: its face square to the rotary line, x as near as may be."""
        z = np.array(self.frame.chain(values).axes[-1].line.direction)
        z = z * np.sign(z @ self.axes[:, 2])
        x = self.axes[:, 0] - z * (z @ self.axes[:, 0])
        x /= np.linalg.norm(x)
        return np.column_stack([x, np.cross(z, x), z])

    def proud(
        self, land: Land, point: Floats, stand: Stand, turned: Floats, tool: tuple[float, ...]
    ) -> float:
        """Return how far a land stands proud at a point.

        `turned` is what the axes stand too far, programmed; `tool` what length and diameter of
        the tool are more than entered.
        """
        origin, axes = self.sent_from
        sent = self.believed.points(np.array(stand.angles), origin + axes @ point)
        if land.way.kind == "plane":
            sent = sent - np.array([0.0, 0.0, tool[0]])
        work = self.real.matrices(np.array(stand.angles) + turned)
        origin, axes = self.there
        back = axes.T @ (np.linalg.solve(work, [*sent, 1.0])[:3] - origin)
        gain = float(land.way.normal @ (back - point))
        return gain - (0.5 * tool[1] if land.way.kind == "edge" else 0.0)
