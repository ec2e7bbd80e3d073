"""Which body moves with which axis, and where its points stand in the table frame T.

The tree is base - (slides) - table - tilt - rotary on one side and base - (slides) - head on the
other.  In T the table is at rest: the head stands at the displayed (X, Y, Z) whichever slide makes
the motion, and what is bolted to the base moves in T with those of X, Y, Z that the TABLE makes.

Layouts (which slides carry the table; the rest carry the head):

* moving table: table in X and Y, head in Z.
* moving column: head in X, Y and Z; the table stands still on the base.
* bridge: table in X, head in Y and Z.

Source: ISO 841:2001: positive is the tool's motion relative to the work, so a slide that carries
the work moves the other way.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gudgeon.kinematics.chain import WorkChain

__all__ = ["LAYOUTS", "Body", "MachineTree"]

Floats = NDArray[np.float64]


class Body(StrEnum):
    """The rigid bodies of mill and unit."""

    BASE = "base"
    TABLE = "table"
    HEAD = "head"
    TILT = "tilt"
    ROTARY = "rotary"


LAYOUTS: Final[dict[str, str]] = {"moving table": "XY", "moving column": "", "bridge": "X"}
"""Linear axes that carry the table, by layout."""


@dataclass(frozen=True, slots=True)
class MachineTree:
    """The bodies of one mill with the unit on its table.

    Attributes
    ----------
    layout : str
        One of `LAYOUTS`.
    chain : WorkChain
        Turning axes, the carrying one first.
    """

    layout: str
    chain: WorkChain

    def __post_init__(self) -> None:
        if self.layout not in LAYOUTS:
            raise ValueError(f"layout must be one of {', '.join(LAYOUTS)}, got {self.layout!r}")

    def carried_by(self, body: Body) -> tuple[str, ...]:
        """Return what moves `body`, seen from the base: "X", "Y", "Z", "tilt", "rotary"."""
        table = tuple(LAYOUTS[self.layout])
        if body is Body.BASE:
            return ()
        if body is Body.HEAD:
            return tuple(axis for axis in "XYZ" if axis not in table)
        roles = tuple(axis.role for axis in self.chain.axes)
        if body is Body.TABLE:
            return table
        if body.value not in roles:
            raise ValueError(f"this unit has no {body.value} axis")
        return table + roles[: roles.index(body.value) + 1]

    def slide(self, axis: str) -> tuple[Body, Floats]:
        """Return which body moves for a plus command of X, Y or Z, and its direction on the floor.

        Raises
        ------
        ValueError
            If `axis` is none of the three.
        """
        if axis not in ("X", "Y", "Z"):
            raise ValueError(f"a slide is X, Y or Z, got {axis!r}")
        plus = np.eye(3)["XYZ".index(axis)]
        if axis in LAYOUTS[self.layout]:
            return Body.TABLE, np.asarray(0.0 - plus)
        return Body.HEAD, np.asarray(plus)

    def points(
        self, body: Body, points_mm: ArrayLike, machine_mm: ArrayLike, angles_rad: ArrayLike
    ) -> Floats:
        """Return where points of a body stand in T [mm].

        Parameters
        ----------
        body : Body
        points_mm : array_like, shape (..., 3)
            Points of the body in T while the machine displays X, Y, Z = 0 and all angles are zero;
            for the head therefore counted from the gauge point [mm].
        machine_mm : array_like, shape (..., 3)
            Displayed X, Y, Z [mm].
        angles_rad : array_like, shape (..., number of axes)
            Programmed angles [rad].

        Returns
        -------
        ndarray, shape (..., 3)
            Leading shapes broadcast.
        """
        points = np.asarray(points_mm, dtype=np.float64)
        machine = np.asarray(machine_mm, dtype=np.float64)
        angles = np.asarray(angles_rad, dtype=np.float64)
        if body in (Body.TILT, Body.ROTARY):
            roles = [axis.role for axis in self.chain.axes]
            if body.value not in roles:
                raise ValueError(f"this unit has no {body.value} axis")
            kept = roles.index(body.value) + 1
            carriers = WorkChain(self.chain.axes[:kept])
            moved = carriers.points(angles[..., :kept], points)
        elif body is Body.HEAD:
            moved = points + machine
        elif body is Body.BASE:
            made_by_table = np.array([float(axis in LAYOUTS[self.layout]) for axis in "XYZ"])
            moved = points + machine * made_by_table
        else:
            moved = points + 0.0 * machine
        shape = np.broadcast_shapes(points.shape, machine.shape, (*angles.shape[:-1], 3))
        return np.array(np.broadcast_to(moved, shape))

    def on_the_floor(
        self, body: Body, points_mm: ArrayLike, machine_mm: ArrayLike, angles_rad: ArrayLike
    ) -> Floats:
        """Return the same points as seen from the floor, the base at rest [mm]."""
        here = self.points(body, points_mm, machine_mm, angles_rad)
        base = self.points(Body.BASE, np.zeros(3), machine_mm, angles_rad)
        return np.asarray(here - base)
