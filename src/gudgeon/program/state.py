"""The state of the control between two blocks: position, what is in force, the last motion."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import nan
from typing import Any

from gudgeon.program.dialect import Meaning
from gudgeon.program.track import AXES, InForce

__all__ = ["State"]


@dataclass(slots=True)
class State:
    """What the control remembers from block to block.

    Attributes
    ----------
    position : list of 5 floats
        Joint position [mm, mm, mm, rad, rad]; turning axes unwrapped; NaN where not known.
    causes : list of 5 ints
        Index of the doubt that made a coordinate unknown; -1 where it is known or was never set.
    force : InForce
    force_index : int
        Its index in the track.
    motion : Meaning or None
        Modal motion word in force.
    feed : float
        F as written, in the unit a minute, a turn or (inverse time) once a minute; NaN: never set.
    feed_mm : float
        Millimetres to the unit of F when it was set (25.4 for inch).
    step_waits : bool
        A length offset changed and Z has not been given absolutely since.
    """

    position: list[float]
    causes: list[int] = field(default_factory=lambda: [-1] * AXES)
    force: InForce = field(default_factory=InForce)
    force_index: int = 0
    motion: Meaning | None = None
    feed: float = nan
    feed_mm: float = 1.0
    step_waits: bool = False
    in_plane: bool = False
    """`position` holds X Y Z of a tilted plane for as long as a block is worked out there."""

    @property
    def unit_mm(self) -> float:
        """Millimetres to the unit of lengths in force; NaN when none was set."""
        return {"mm": 1.0, "in": 25.4}.get(self.force.unit or "", nan)

    def zero(self, axis: int) -> float:
        """Position of program zero: offset, shift and, for Z, tool length [mm or rad]."""
        if self.in_plane and axis < 3:
            return 0.0
        force = self.force
        at = force.offset_values[axis] + force.shift[axis]
        return at + force.length_mm if axis == 2 else at

    def change(self, **changes: Any) -> None:
        """Put something else in force; the reader gives the result its index."""
        self.force = self.force._replace(**changes)
        self.force_index = -1
