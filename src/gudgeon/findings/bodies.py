"""The bodies of a cell as they are entered today: table, unit, load, guards and tools.

Every stated uncertainty of an entry is taken outwards: a body is never smaller than it may be.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gudgeon.answer import Missing
from gudgeon.findings.frames import Frame
from gudgeon.quantity.amount import Amount

if TYPE_CHECKING:
    from gudgeon.cell.model import Box
    from gudgeon.clearance.pieces import Solid
    from gudgeon.clearance.scene import Body

__all__ = [
    "ENDLESS_MM",
    "Crowd",
    "T",
    "block",
    "bounds_of",
    "box_ends",
    "grown",
    "least",
    "most",
    "polygon_about",
    "prism",
    "reach_of",
    "round_bar",
]

Floats = NDArray[np.float64]

ENDLESS_MM: Final = 3000.0
"""A body whose end is not entered, and on the safe side has none, reaches this far [mm]."""

T: Final = Frame(np.zeros(3), np.eye(3))
"""The table frame itself; for the head, counted from the gauge point."""


def most(amount: Amount) -> float:
    """Return the upper end of an entry, its uncertainty included."""
    return amount.value + (amount.plus_minus or 0.0)


def least(amount: Amount) -> float:
    """Return the lower end of an entry, its uncertainty included."""
    return amount.value - (amount.plus_minus or 0.0)


def grown(ends: tuple[Amount, Amount]) -> tuple[float, float]:
    """Return the ends of a range, the uncertainty of both taken outwards."""
    return least(ends[0]), most(ends[1])


def block(
    frame: Frame,
    x: Sequence[float],
    y: Sequence[float],
    z: Sequence[float],
    rounding: float = 0.0,
) -> Solid:
    """Return a box with its ends in `frame`, as a hull in T."""
    from gudgeon.clearance.pieces import hull

    corners = [(a, b, c) for a in x for b in y for c in z]
    piece, points = hull(frame.points(corners), 0, rounding)
    return piece, points


def prism(
    frame: Frame, outline: ArrayLike, bottom: float, top: float, rounding: float = 0.0
) -> Solid:
    """Return a convex outline in x and y of `frame` between two heights, as a hull in T."""
    from gudgeon.clearance.pieces import hull

    plan = np.asarray(outline, dtype=np.float64)
    corners = [(x, y, z) for x, y in plan for z in (bottom, top)]
    piece, points = hull(frame.points(corners), 0, rounding)
    return piece, points


def round_bar(
    frame: Frame,
    low: ArrayLike,
    high: ArrayLike,
    low_radius: float,
    high_radius: float,
    rounding: float = 0.0,
) -> Solid:
    """Return a cone frustum between two points of `frame`, in T."""
    from gudgeon.clearance.pieces import cone

    p, q = frame.points(np.array([low, high], dtype=np.float64))
    piece, points = cone(p, q, low_radius, high_radius, 0, rounding)
    return piece, points


def box_ends(box: Box) -> tuple[tuple[float, float], ...] | None:
    """Return the ends of a box in x, y, z of the unit frame; ``None`` if one is not entered."""
    ends = (box.x, box.y, box.z)
    if any(end is None for end in ends):
        return None
    return tuple(grown(end) for end in ends if end is not None)


def reach_of(bodies: Iterable[Body]) -> Floats:
    """Return the corners of upright boxes that hold each body, in T at zero [mm], shape (n, 3)."""
    corners: list[Floats] = []
    for body in bodies:
        low, high = bounds_of(body)
        corners += [
            np.array([x, y, z])
            for x in (low[0], high[0])
            for y in (low[1], high[1])
            for z in (low[2], high[2])
        ]
    return np.array(corners).reshape(-1, 3)


def bounds_of(body: Body) -> tuple[Floats, Floats]:
    """Return least and greatest x, y, z of a body in its own coordinates [mm]."""
    low, high = np.full(3, np.inf), np.full(3, -np.inf)
    for pieces, points in body.solids:
        first, count = pieces["first"], pieces["count"]
        owner = np.repeat(np.arange(len(pieces)), count)
        # The points of each piece follow each other; the ends of a cone carry its two radii.
        index = first[owner] + np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count)
        radius = np.where(index == first[owner], pieces["r0"][owner], pieces["r1"][owner])
        square = np.sqrt(np.clip(1.0 - pieces["axis"][owner] ** 2, 0.0, 1.0))
        wide = radius[:, None] * square + pieces["round"][owner][:, None]
        low = np.minimum(low, (points[index] - wide).min(axis=0))
        high = np.maximum(high, (points[index] + wide).max(axis=0))
    return low, high


@dataclass(slots=True)
class Crowd:
    """Bodies as they are found, and what is told about them.

    Attributes
    ----------
    bodies : list of Body
    left_out, assumed : list of str
        Sentences.
    missing : list of Missing
    apart : set of frozenset of two names
    outlines : list of str
        Bodies known by an outline alone, within which the unit's own parts turn.
    walls : list of str
        The machine's own guards, column and door.
    discs : list of str
        Bodies round about the rotary line that belong to the unit.
    carried_hoses : list of str
        Spaces of hoses whose connector turns with the unit.
    """

    bodies: list[Body] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)
    assumed: list[str] = field(default_factory=list)
    missing: list[Missing] = field(default_factory=list)
    apart: set[frozenset[str]] = field(default_factory=set)
    outlines: list[str] = field(default_factory=list)
    walls: list[str] = field(default_factory=list)
    discs: list[str] = field(default_factory=list)
    carried_hoses: list[str] = field(default_factory=list)

    def add(self, body: Body) -> Body:
        """Add a body; a name that is taken gets a number."""
        from dataclasses import replace

        taken = {other.name for other in self.bodies}
        name, number = body.name, 2
        while name in taken:
            name, number = f"{body.name} ({number})", number + 1
        named = body if name == body.name else replace(body, name=name)
        self.bodies.append(named)
        return named

    def leave_out(self, told: str, missing: Missing | None = None) -> None:
        """Tell what is not modelled, and which entry would change that."""
        self.left_out.append(told)
        if missing is not None:
            self.missing.append(missing)

    def never_touch(self, one: Iterable[str], other: Iterable[str]) -> None:
        """Take pairs of names out of judging."""
        others = tuple(other)
        self.apart |= {frozenset((a, b)) for a in one for b in others if a != b}


def polygon_about(radius: float, sides: int = 48) -> Floats:
    """Return a regular polygon that holds a circle about the origin, shape (sides, 2)."""
    angles = (np.arange(sides) + 0.5) * (2.0 * math.pi / sides)
    out = radius / math.cos(math.pi / sides)
    return np.column_stack([out * np.cos(angles), out * np.sin(angles)])
