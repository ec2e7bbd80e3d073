"""The moves to be timed, as flat arrays."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gudgeon.timing.limits import AXES

__all__ = ["Arcs", "FeedKind", "Kind", "Lever", "Moves"]

Floats = NDArray[np.float64]


class Kind(IntEnum):
    """What a move is."""

    RAPID = 0
    FEED = 1
    ARC = 2
    """A feed along a circle or a helix."""
    PAUSE = 3
    """Nothing moves; `feed` holds its seconds."""


class FeedKind(IntEnum):
    """What the `feed` of a move means."""

    NONE = 0
    MM_PER_S = 1
    RAD_PER_S = 2
    """Only turning axes move."""
    PER_S = 3
    """Inverse time: the move takes 1/feed seconds, or longer where an axis cannot."""
    SECONDS = 5
    """A pause."""


def _plain(values: ArrayLike, shape: tuple[int, ...], name: str) -> Floats:
    given = np.ascontiguousarray(values, dtype=np.float64)
    if given.shape != shape:
        raise ValueError(f"{name} must have shape {shape}, its shape is {given.shape}")
    return given


@dataclass(frozen=True, slots=True, eq=False)
class Arcs:
    """Circles of arc moves.

    Attributes
    ----------
    centre : ndarray, shape (m, 3)
        [mm]
    normal : ndarray, shape (m, 3)
        Unit; the sweep is right-handed about it.
    sweep : ndarray, shape (m,)
        Signed [rad]; a full circle is 2 pi.
    """

    centre: Floats = field(default_factory=lambda: np.empty((0, 3)))
    normal: Floats = field(default_factory=lambda: np.empty((0, 3)))
    sweep: Floats = field(default_factory=lambda: np.empty(0))

    def __post_init__(self) -> None:
        count = len(self.sweep)
        for name, shape in (("centre", (count, 3)), ("normal", (count, 3)), ("sweep", (count,))):
            given = _plain(getattr(self, name), shape, name)
            if not np.all(np.isfinite(given)):
                raise ValueError(f"{name} of an arc holds a value that is not finite")
            object.__setattr__(self, name, given)


@dataclass(frozen=True, slots=True, eq=False)
class Lever:
    """Where the work turns and where the tool ends: for a feed that counts over the work.

    Attributes
    ----------
    point : ndarray, shape (2, 3)
        A point on the tilt line and on the rotary line, all angles at zero [mm].
    direction : ndarray, shape (2, 3)
        Unit directions of the two lines.
    sense : ndarray, shape (2,)
        +1: a positive angle turns the work right-handed about the direction; -1: the other way.
    length : ndarray, shape (n,)
        Gauge point to tool tip, along -Z, of each move [mm].
    """

    point: Floats
    direction: Floats
    sense: Floats
    length: Floats

    def __post_init__(self) -> None:
        count = (len(np.atleast_1d(self.length)),)
        for name, shape in (
            ("point", (2, 3)),
            ("direction", (2, 3)),
            ("sense", (2,)),
            ("length", count),
        ):
            object.__setattr__(self, name, _plain(getattr(self, name), shape, name))


@dataclass(frozen=True, slots=True, eq=False)
class Moves:
    """Moves of the joints, each from the end of the one before.

    Attributes
    ----------
    start : ndarray, shape (5,)
        Where the first begins [mm, mm, mm, rad, rad].
    end : ndarray, shape (n, 5)
    kind : ndarray of uint8, shape (n,)
        `Kind`.
    feed : ndarray, shape (n,)
        See `feed_kind`; infinite: as fast as the axes allow.  Not looked at for rapids.
    feed_kind : ndarray of uint8, shape (n,)
        `FeedKind`.
    arc : ndarray of int32, shape (n,)
        Index into `arcs`, -1 where there is none.
    stop : ndarray of bool, shape (n,)
        The axes stand still after this move whatever the control looks ahead.
    arcs : Arcs
    lever : Lever or None
        Needed for `MixedFeed.OVER_THE_WORK` alone.

    Raises
    ------
    ValueError
        Shapes that do not fit, a position that is not finite, a feed move without a feed above
        zero, a feed kind that does not fit the kind, an arc without a circle.  The index of the
        first such move is told.
    """

    start: Floats
    end: Floats
    kind: NDArray[np.uint8]
    feed: Floats
    feed_kind: NDArray[np.uint8]
    arc: NDArray[np.int32] = field(default_factory=lambda: np.empty(0, dtype=np.int32))
    stop: NDArray[np.bool_] = field(default_factory=lambda: np.empty(0, dtype=np.bool_))
    arcs: Arcs = field(default_factory=Arcs)
    lever: Lever | None = None

    def __post_init__(self) -> None:
        count = len(self.kind)
        put = object.__setattr__
        put(self, "start", _plain(self.start, (AXES,), "start"))
        put(self, "end", _plain(self.end, (count, AXES), "end"))
        put(self, "feed", _plain(self.feed, (count,), "feed"))
        if len(self.arc) == 0:
            put(self, "arc", np.full(count, -1, dtype=np.int32))
        if len(self.stop) == 0:
            put(self, "stop", np.zeros(count, dtype=np.bool_))
        for name, sort in (
            ("kind", np.uint8),
            ("feed_kind", np.uint8),
            ("arc", np.int32),
            ("stop", np.bool_),
        ):
            given = np.ascontiguousarray(getattr(self, name), dtype=sort)
            if given.shape != (count,):
                raise ValueError(f"{name} must have shape ({count},), its shape is {given.shape}")
            put(self, name, given)
        if self.lever is not None and len(self.lever.length) != count:
            raise ValueError(f"the lever must have a length for each of {count} moves")
        self._check()

    def _check(self) -> None:
        if not np.all(np.isfinite(self.start)):
            raise ValueError("start holds a value that is not finite")
        feeding = (self.kind == Kind.FEED) | (self.kind == Kind.ARC)
        pause = self.kind == Kind.PAUSE
        by_feed = (self.feed_kind >= FeedKind.MM_PER_S) & (self.feed_kind <= FeedKind.PER_S)
        arcing = self.kind == Kind.ARC
        for wrong, what in (
            (self.kind > Kind.PAUSE, "is of no known kind"),
            (~np.isfinite(self.end).all(axis=1), "ends at a value that is not finite"),
            (feeding & ~(self.feed > 0.0), "has no feed above zero"),
            (feeding & ~by_feed, "has a feed kind that is none of a feed"),
            (pause & (self.feed_kind != FeedKind.SECONDS), "is a pause without seconds"),
            (pause & ~((self.feed >= 0.0) & np.isfinite(self.feed)), "pauses for no known time"),
            (
                arcing & ((self.arc < 0) | (self.arc >= len(self.arcs.sweep))),
                "is an arc without a circle",
            ),
        ):
            if wrong.any():
                raise ValueError(f"move {int(np.argmax(wrong))} {what}")
