"""What the axes can do, and what the control does between moves."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

__all__ = ["AXES", "AxisLimits", "MixedFeed", "Rules"]

AXES = 5
"""X, Y, Z, tilt, turn: the order of every array here."""


class MixedFeed(IntEnum):
    """What a feed in mm counts where linear and turning axes move together."""

    LINEAR_AXES = 0
    """The linear path alone."""
    ALL_AXES = 1
    """Millimetres and degrees alike: the root of the sum of squares."""
    OVER_THE_WORK = 2
    """The path of the tool point relative to the work."""


@dataclass(frozen=True, slots=True, eq=False)
class AxisLimits:
    """Greatest speed, acceleration and jerk of each axis.

    Attributes
    ----------
    speed : ndarray, shape (5,)
        [mm/s, mm/s, mm/s, rad/s, rad/s], above zero.
    acceleration : ndarray, shape (5,)
        [mm/s2 ... rad/s2], above zero.
    jerk : ndarray, shape (5,)
        [mm/s3 ... rad/s3], above zero; infinite where there is no limit.

    Raises
    ------
    ValueError
        A shape that is not (5,), or a limit that is not above zero; speed or acceleration that is
        not finite.
    """

    speed: NDArray[np.float64]
    acceleration: NDArray[np.float64]
    jerk: NDArray[np.float64]

    def __post_init__(self) -> None:
        for name in ("speed", "acceleration", "jerk"):
            given = np.array(getattr(self, name), dtype=np.float64)
            if given.shape != (AXES,):
                raise ValueError(f"{name} must have shape (5,), its shape is {given.shape}")
            if not np.all(given > 0.0):
                raise ValueError(f"{name} must be above zero for every axis")
            if name != "jerk" and not np.all(np.isfinite(given)):
                raise ValueError(f"{name} must be finite for every axis")
            given.flags.writeable = False
            object.__setattr__(self, name, given)


@dataclass(frozen=True, slots=True)
class Rules:
    """How the control strings moves together.

    Attributes
    ----------
    straight_rapids : bool
        All axes of a rapid arrive together on a straight line; else each runs in its own time.
    look_ahead : bool
        Feed moves run into each other; else each ends at a stop.
    corner_tolerance_mm : float
        How far the path may leave a corner [mm]; 0: a stop at each corner.
    window : int
        Moves that the control sees from the end of each one; 0: as many as there are.
    settle_s : float
        Time to settle at each full stop [s].
    mixed_feed : MixedFeed
    feed_most : float
        Greatest feed that the control allows [mm/s]; infinite: none but the axes'.

    Raises
    ------
    ValueError
        A negative or missing number.
    """

    straight_rapids: bool = False
    look_ahead: bool = True
    corner_tolerance_mm: float = 0.01
    window: int = 0
    settle_s: float = 0.0
    mixed_feed: MixedFeed = MixedFeed.LINEAR_AXES
    feed_most: float = np.inf

    def __post_init__(self) -> None:
        for name in ("corner_tolerance_mm", "window", "settle_s"):
            if not 0.0 <= getattr(self, name) < np.inf:
                raise ValueError(f"{name} must be zero or more, it is {getattr(self, name)}")
        if not self.feed_most > 0.0:
            raise ValueError(f"feed_most must be above zero, it is {self.feed_most}")
