"""Jobs with axis lines through plain places, for closed forms."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gudgeon.accuracy.job import Cut, Factor, Job, Sizes, Visit
from gudgeon.accuracy.place import Lines

Numbers = NDArray[Any]

UP = math.pi / 2.0
EXACT = Sizes(index_u=(0.0, 0.0))
X, Y, Z = np.eye(3)


def lines_of(values: Numbers) -> Lines:
    """Tilt along x through (0, y, z), rotary along z through (x, y, 0), leaning about x."""
    v = np.asarray(values)
    nought = 0.0 * v[..., 0]
    points = np.stack(
        [
            np.stack([nought, v[..., 0], v[..., 1]], axis=-1),
            np.stack([v[..., 2], v[..., 3], nought], axis=-1),
        ],
        axis=-2,
    )
    lean = v[..., 4]
    directions = np.stack(
        [
            np.stack([1.0 + nought, nought, nought], axis=-1),
            np.stack([nought, -np.sin(lean), np.cos(lean)], axis=-1),
        ],
        axis=-2,
    )
    # The platter frame stays: what is looked for is the shift against it.
    axes = np.broadcast_to(np.eye(3), (*v.shape[:-1], 3, 3))
    return Lines(points, directions, np.zeros((*v.shape[:-1], 3)), axes)


def off(*values: float) -> tuple[Factor, ...]:
    """One variable that moves the parameters by these values."""
    return (Factor("lines", np.array([[value] for value in values])),)


def visit(tilt: float, turn: float, tilted: int = 0, turned: int = 0) -> Visit:
    return Visit((tilt, turn), (tilted, turned), np.zeros(3))


def job(
    cuts: tuple[Cut, ...],
    visits: tuple[Visit, ...],
    factors: tuple[Factor, ...] = (),
    sizes: Sizes = EXACT,
    home: Any = (0.0, 0.0, 0.0),
    warm_lever: Any = (0.0, 0.0, 0.0),
) -> Job:
    return Job(
        lines_of,
        np.zeros(5),
        factors,
        visits,
        cuts,
        np.zeros(3),
        np.eye(3),
        sizes,
        np.asarray(home, dtype=float),
        np.asarray(warm_lever, dtype=float),
    )


def plane(name: str, point: Any, normal: Any, at: int, tool: str = "t", clamped: str = "c") -> Cut:
    return Cut(
        name, "plane", np.asarray(point, float), np.asarray(normal, float), at, tool, clamped
    )


def hole(name: str, point: Any, axis: Any, at: int) -> Cut:
    return Cut(name, "hole", np.asarray(point, float), np.asarray(axis, float), at, "drill", "c")


def opposite_faces(**rest: Any) -> Job:
    """Faces to +y and -y, each cut from above: tilted by +90 and by -90."""
    cuts = (
        plane("front", (0.0, -20.0, 50.0), -Y, 1),
        plane("back", (0.0, 20.0, 50.0), Y, 0),
    )
    return job(cuts, (visit(UP, 0.0, 0), visit(-UP, 0.0, 1)), **rest)
