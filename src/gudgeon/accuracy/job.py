"""What is cut, in which poses, and what may be off: the job as independent standard variables.

Every source of error is one variable or a few with mean 0 and standard deviation 1; what two
features share (one positioning of an axis, one tool, one clamping) is one and the same variable,
so that errors cancel or add between features as they do at the machine.  How large each is stands
in `Sizes`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.accuracy.place import Lines

__all__ = ["CAUSES", "Cut", "Factor", "Job", "Sizes", "Source", "Visit", "sources_of"]

Floats = NDArray[np.float64]
Numbers = NDArray[Any]

CAUSES: Final[dict[str, tuple[str, bool]]] = {
    # cause: in plain words, and whether all parts of one set-up share the error
    "lines": ("axis lines as touched", True),
    "open angles": ("leans and run-out that no touch shows", True),
    "index": ("index error of tilt and rotary axis", False),
    "lost motion": ("lost motion of tilt and rotary axis", False),
    "linear": ("repeatability of X, Y, Z", False),
    "square": ("squareness of the mill", True),
    "scale": ("scales of the mill", True),
    "clamping": ("seat of the part in its clamping", False),
    "place": ("place of the station", True),
    "probing": ("probing of the zero in each pose", False),
    "tool length": ("tool lengths", True),
    "tool diameter": ("tool diameters", True),
    "spindle growth": ("growth of the spindle between poses", False),
    "machine warmth": ("machine warmer or colder than at the readings", False),
    "part warmth": ("part warmer or colder than the machine", False),
}
"""Every cause of error: its words, and whether all parts of one set-up share it."""

ARC_SECOND: Final = math.pi / 648000.0


@dataclass(frozen=True, slots=True)
class Sizes:
    """How large the causes are; lengths in mm, angles in rad; ``_u`` k = 1, ``_half`` half widths.

    Attributes
    ----------
    index_u : tuple of float
        One positioning of each turning axis.
    lost_half : tuple of float
        Half the lost motion of each turning axis; 0 where it always comes from one side.
    linear_u : float
        One positioning of each of X, Y, Z.
    square_u, scale_u : float
        Squareness [rad] of each pair of linear axes; relative error of each scale.
    clamping_u : float
        Seat of the part, each direction.
    clamping_base : float
        Distance between the seats, which makes a lean of the seat error.
    place_u : float
        Place of the station on the platter, each coordinate.
    probing_u : float
        Probing of a zero; counts with `probed`.
    probed : bool
        The zero of each face is probed in its own pose, instead of counted from the lines.
    length_u, diameter_u : float
        Tool length; tool diameter.
    growth_half : float
        Spindle growth from visit to visit.
    machine_half, part_half : float
        Temperature of the machine against the readings; of the part against the machine [K].
    warmer : float
        Mean temperature of the job over 20 degC [K].
    machine_per_k, part_per_k : float
        Coefficients of expansion [1/K].
    """

    index_u: tuple[float, ...] = (5.0 * ARC_SECOND, 5.0 * ARC_SECOND)
    lost_half: tuple[float, ...] = (0.0, 0.0)
    linear_u: float = 0.0
    square_u: float = 0.0
    scale_u: float = 0.0
    clamping_u: float = 0.0
    clamping_base: float = 50.0
    place_u: float = 0.0
    probing_u: float = 0.0
    probed: bool = False
    length_u: float = 0.0
    diameter_u: float = 0.0
    growth_half: float = 0.0
    machine_half: float = 0.0
    part_half: float = 0.0
    warmer: float = 0.0
    machine_per_k: float = 11.5e-6
    part_per_k: float = 11.5e-6


@dataclass(frozen=True, slots=True)
class Visit:
    """One stay in a pose.

    Attributes
    ----------
    turns : tuple of float
        Turns of the work, sense times programmed angle, the carrying axis first [rad].
    positionings : tuple of int
        Number of the positioning of each axis: an axis that did not move since the visit before
        keeps its number, and with it its error.
    zero : ndarray, shape (3,)
        Zero of the face, part frame [mm].
    """

    turns: tuple[float, ...]
    positionings: tuple[int, ...]
    zero: Floats


@dataclass(frozen=True, slots=True)
class Cut:
    """A feature as it is cut at one station.

    Attributes
    ----------
    name : str
    kind : str
        ``"plane"`` (by the tool's end), ``"edge"`` (by its side) or ``"hole"``.
    point, normal : ndarray, shape (3,)
        A point of it and its outward direction (axis of a hole), part frame [mm].
    visit : int
        Which of the job's visits.
    tool, clamping : str
        Features with the same name share the error.
    """

    name: str
    kind: str
    point: Floats
    normal: Floats
    visit: int
    tool: str = ""
    clamping: str = ""


@dataclass(frozen=True, slots=True)
class Factor:
    """A group of parameters of the lines that are off together.

    Attributes
    ----------
    cause : str
        Key of `CAUSES`.
    columns : ndarray, shape (p, r)
        Shift of the parameters for one standard deviation of each of r variables.
    dof : float
        Degrees of freedom behind it.
    """

    cause: str
    columns: Floats
    dof: float = math.inf


@dataclass(frozen=True, slots=True)
class Source:
    """One independent standard variable.

    Attributes
    ----------
    cause : str
        Key of `CAUSES`.
    key : tuple
        Which variable of the cause.
    rectangular : bool
        Between -sqrt 3 and +sqrt 3, else normal.
    dof : float
        Degrees of freedom behind its size.
    """

    cause: str
    key: tuple[Hashable, ...]
    rectangular: bool = False
    dof: float = math.inf


@dataclass(frozen=True, slots=True)
class Job:
    """One part at one station.

    Attributes
    ----------
    lines_of : callable
        Parameters of shape (..., p) to `Lines` of shape (...).
    values : ndarray, shape (p,)
        Parameters as the shop believes them.
    factors : tuple of Factor
        How they may be off.
    visits : tuple of Visit
    cuts : tuple of Cut
    at : ndarray, shape (3,)
        Part origin in the platter frame [mm].
    turn : ndarray, shape (3, 3)
        Part frame to platter frame.
    sizes : Sizes
    home : ndarray, shape (3,)
        Where scales and squareness do no harm, because the lines were touched there, T [mm].
    warm_lever : ndarray, shape (3,)
        How far the lines move for a relative expansion of 1 [mm].
    """

    lines_of: Callable[[Numbers], Lines]
    values: Floats
    factors: tuple[Factor, ...]
    visits: tuple[Visit, ...]
    cuts: tuple[Cut, ...]
    at: Floats
    turn: Floats
    sizes: Sizes
    home: Floats
    warm_lever: Floats = field(default_factory=lambda: np.zeros(3))


def sources_of(job: Job) -> tuple[Source, ...]:
    """Return the variables that have a size, each once, in a fixed order."""
    size, visits = job.sizes, job.visits
    found: list[Source] = []

    def add(cause: str, of: float, *keys: tuple[Hashable, ...], flat: bool = False) -> None:
        if of > 0.0:
            found.extend(Source(cause, key, flat) for key in dict.fromkeys(keys))

    for number, factor in enumerate(job.factors):
        found.extend(
            Source(factor.cause, (number, i), dof=factor.dof)
            for i in range(factor.columns.shape[1])
            if np.any(factor.columns[:, i])
        )
    used = sorted({cut.visit for cut in job.cuts})
    for axis in range(len(size.index_u)):
        moves = [(axis, visits[v].positionings[axis]) for v in used]
        add("index", size.index_u[axis], *moves)
        add("lost motion", size.lost_half[axis], *moves, flat=True)
    axes = range(3)
    names = [cut.name for cut in job.cuts]
    add("linear", size.linear_u, *((name, i) for name in names for i in axes))
    add("square", size.square_u, *((i,) for i in axes))
    add("scale", size.scale_u, *((i,) for i in axes))
    clampings = [cut.clamping for cut in job.cuts]
    add("clamping", size.clamping_u, *((one, i) for one in clampings for i in range(6)))
    if size.probed:
        add("probing", size.probing_u, *((v, i) for v in used for i in axes))
    else:
        add("place", size.place_u, *((i,) for i in axes))
    ends = [cut.tool for cut in job.cuts if cut.kind == "plane"]
    add("tool length", size.length_u, *((tool,) for tool in ends))
    sides = [cut.tool for cut in job.cuts if cut.kind == "edge"]
    add("tool diameter", size.diameter_u, *((tool,) for tool in sides))
    add("spindle growth", size.growth_half, *((v,) for v in used), flat=True)
    if np.any(job.warm_lever):
        add("machine warmth", size.machine_half * size.machine_per_k, (0,), flat=True)
    add("part warmth", size.part_half * size.part_per_k, (0,), flat=True)
    return tuple(found)
