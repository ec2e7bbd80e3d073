"""How many loads the tools last, and what ends a run without a person.

A *family* is a tool with its sisters: the next one takes over when the next cut no longer fits into
what is left of the life of the one before, and an earlier one is not used again.  A tool is never
begun with a cut that would outlast it; a cut that ends exactly with the life still fits.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["End", "Load", "Range", "Run", "Shift", "Spread", "per_shift", "ranged", "unattended"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_FITS: Final = 1e-9
"""Share by which a cut may outlast a life: sums of many cuts round."""


class End(Enum):
    """What ends a run."""

    TIME = "the time is over"
    LOADS = "all loads are done"
    TOOL = "the next cut does not fit into any life of its family"
    NEVER = "nothing that was stated"


@dataclass(frozen=True, eq=False, init=False)
class Load:
    """One load as a sequence of cuts.

    Parameters
    ----------
    cycle_s : float
        From the start to the end of a load [s].
    at_s : array_like, shape (k,)
        Start of each cut after the start of the load [s]; any order.
    takes_s : array_like, shape (k,)
        Time of each in the cut, which wears the tool [s].
    family : array_like of int, shape (k,)
        Family that cuts it, from 0.

    Raises
    ------
    ValueError
        If a shape is wrong, a time is negative or not finite, or a cut begins after the load ends.
    """

    cycle_s: float
    at_s: Floats
    takes_s: Floats
    family: Ints

    def __init__(
        self, cycle_s: float, at_s: ArrayLike, takes_s: ArrayLike, family: ArrayLike
    ) -> None:
        at = np.array(at_s, dtype=np.float64)
        takes = np.array(takes_s, dtype=np.float64)
        own = np.array(family, dtype=np.int64)
        if at.ndim != 1 or at.shape != takes.shape or at.shape != own.shape:
            raise ValueError("at_s, takes_s and family must have the same shape (k,)")
        if not (math.isfinite(cycle_s) and cycle_s > 0.0):
            raise ValueError("cycle_s must be a time above zero")
        for name, times in (("at_s", at), ("takes_s", takes)):
            if not np.all(np.isfinite(times)) or np.any(times < 0.0):
                raise ValueError(f"{name} holds a time that is negative or not finite")
        if np.any(own < 0):
            raise ValueError("family must be numbered from 0")
        if np.any(at > cycle_s):
            raise ValueError("at_s holds a cut that begins after the load ends")
        by_time = np.argsort(at, kind="stable")
        for name, value in (("at_s", at), ("takes_s", takes), ("family", own)):
            value = value[by_time]
            value.setflags(write=False)
            object.__setattr__(self, name, value)
        object.__setattr__(self, "cycle_s", float(cycle_s))

    def stretched(self, cycle: float, takes: float) -> Load:
        """Return the load with its times, and its times in the cut, multiplied."""
        return Load(self.cycle_s * cycle, self.at_s * cycle, self.takes_s * takes, self.family)


@dataclass(frozen=True, slots=True)
class Run:
    """A run without a person.

    Attributes
    ----------
    loads : int
        Loads that are done as a whole.
    seconds : float
        When it ends [s]; inf where nothing ends it.
    end : End
        Why it ends.
    family : int or None
        Family that ends it.
    cut : int or None
        Cut that could not begin, in the order of time within a load.
    used_s : tuple of tuple of float
        Time in the cut of each tool of each family [s]; empty where no life was stated.
    """

    loads: int
    seconds: float
    end: End
    family: int | None
    cut: int | None
    used_s: tuple[tuple[float, ...], ...]


class _Family:
    """The tools of a family, as far as they are used."""

    def __init__(self, lives_s: Sequence[float], per_load_s: float) -> None:
        self.lives_s = tuple(map(float, lives_s))
        self.used_s = [0.0] * len(self.lives_s)
        self.at = 0
        self.per_load_s = per_load_s

    @property
    def is_limited(self) -> bool:
        return bool(self.lives_s) and math.isfinite(max(self.lives_s))

    def room_s(self) -> float:
        """Return what is left of the tool in use, and the little that it may be outlasted by."""
        life = self.lives_s[self.at]
        return life * (1.0 + _FITS) - self.used_s[self.at]

    def cuts(self, takes_s: float) -> bool:
        """Take the time of a cut from the first tool into which it fits; whether there is one."""
        while takes_s > self.room_s():
            if self.at + 1 == len(self.lives_s):
                return False
            self.at += 1
        self.used_s[self.at] += takes_s
        return True

    def whole_loads(self) -> float:
        """Return how many whole loads the tool in use lasts."""
        return self.room_s() // self.per_load_s if self.per_load_s > 0.0 else math.inf


def unattended(
    load: Load,
    lives_s: Sequence[Sequence[float]],
    *,
    seconds: float = math.inf,
    loads: float = math.inf,
    change_s: float = 0.0,
) -> Run:
    """Run load after load with fresh tools until something ends it.

    Parameters
    ----------
    load : Load
    lives_s : sequence of sequence of float
        Of each family the lives of its tools, in the order of use [s]; empty or inf: not stated,
        which ends no run.
    seconds : float
        When the time is over [s]; a load that ends exactly then is done.
    loads : float
        Loads that are there.
    change_s : float
        From the end of a load to the start of the next [s].

    Returns
    -------
    Run

    Raises
    ------
    ValueError
        If a family of the load has no entry in `lives_s`, or a number is below zero.
    """
    if len(load.family) and int(load.family.max()) >= len(lives_s):
        raise ValueError(f"lives_s has no entry for family {int(load.family.max())}")
    if not (seconds >= 0.0 and loads >= 0.0 and change_s >= 0.0):
        raise ValueError("seconds, loads and change_s must not be below zero")
    if any(not life >= 0.0 for lives in lives_s for life in lives):
        raise ValueError("lives_s holds a life below zero")
    per_load = np.bincount(load.family, weights=load.takes_s, minlength=len(lives_s))
    families = [_Family(*item) for item in zip(lives_s, per_load.tolist(), strict=True)]
    limited = [one for one in families if one.is_limited]
    cuts = list(zip(load.at_s.tolist(), load.takes_s.tolist(), load.family.tolist(), strict=True))
    every = load.cycle_s + change_s
    late = seconds * (1.0 + _FITS)

    def ended(done: int, at: float, end: End, cut: int | None = None) -> Run:
        family = None if cut is None else cuts[cut][2]
        used = tuple(tuple(one.used_s) if one.is_limited else () for one in families)
        return Run(done, at, end, family, cut, used)

    done = 0
    while True:
        # Loads that change nothing but what is used up are taken at once.
        ahead = min([one.whole_loads() for one in limited], default=math.inf)
        ahead = min(ahead, loads - done, (late - done * every - load.cycle_s) // every + 1.0)
        if ahead == math.inf:
            return ended(done, math.inf, End.NEVER)
        if ahead >= 1.0:
            done += int(ahead)
            for one in limited:
                one.used_s[one.at] += int(ahead) * one.per_load_s
        if done >= loads:
            return ended(done, max(0.0, done * every - change_s), End.LOADS)
        start = done * every
        for number, (at, takes, own) in enumerate(cuts):
            if start + at > late:
                break
            if families[own].is_limited and not families[own].cuts(takes):
                return ended(done, start + at, End.TOOL, number)
        if start + load.cycle_s > late:
            return ended(done, seconds, End.TIME)
        done += 1


@dataclass(frozen=True, slots=True)
class Spread:
    """How surely the numbers are known, as shares of them (k = 2).

    Attributes
    ----------
    cycle : float
        Of the time of a load.
    takes : float
        Of the times in the cut.
    life : float
        Of the lives.
    """

    cycle: float = 0.0
    takes: float = 0.0
    life: float = 0.0


@dataclass(frozen=True, slots=True)
class Range:
    """A run with the least and the most that the spread allows.

    Attributes
    ----------
    run : Run
        With all numbers as stated.
    loads : tuple of int
        Fewest and most loads.
    seconds : tuple of float
        Earliest and latest end [s].
    ends : tuple of End and family
        Every reason that some corner of the spread ends by, the stated one first.
    """

    run: Run
    loads: tuple[int, int]
    seconds: tuple[float, float]
    ends: tuple[tuple[End, int | None], ...]


def ranged(
    load: Load,
    lives_s: Sequence[Sequence[float]],
    spread: Spread,
    *,
    seconds: float = math.inf,
    loads: float = math.inf,
    change_s: float = 0.0,
) -> Range:
    """Return the run with its range over all corners of the spread.

    Loads and the end only fall or only rise with each of the three numbers, for what the first
    tool cannot begin the second begins earlier; so the corners hold the extremes.  Shares of 1 and
    more are taken as 0.99 on the low side.

    Raises
    ------
    ValueError
        As `unattended`, or if a share is below zero.
    """
    shares = (spread.cycle, spread.takes, spread.life)
    if any(not share >= 0.0 for share in shares):
        raise ValueError("the shares of a spread must not be below zero")
    limits = [(1.0,) if share == 0.0 else (max(1.0 - share, 0.01), 1.0 + share) for share in shares]
    run = unattended(load, lives_s, seconds=seconds, loads=loads, change_s=change_s)
    runs = [run]
    for cycle in limits[0]:
        for takes in limits[1]:
            for life in limits[2]:
                changed = [[life * one for one in lives] for lives in lives_s]
                runs.append(
                    unattended(
                        load.stretched(cycle, takes),
                        changed,
                        seconds=seconds,
                        loads=loads,
                        change_s=change_s,
                    )
                )
    return Range(
        run,
        (min(one.loads for one in runs), max(one.loads for one in runs)),
        (min(one.seconds for one in runs), max(one.seconds for one in runs)),
        tuple(dict.fromkeys((one.end, one.family) for one in runs)),
    )


@dataclass(frozen=True, slots=True)
class Shift:
    """Loads of a shift with a person.

    Attributes
    ----------
    loads : int
        Whole loads from a fresh start.
    mean_loads : float
        In the long run, where a load may reach into the next shift.
    every_s : float
        From the start of a load to the start of the next [s].
    """

    loads: int
    mean_loads: float
    every_s: float


def per_shift(
    cycle_s: float, loading_s: float, shift_s: float, share_running: float = 1.0
) -> Shift:
    """Return how many loads a shift makes, when the spindle stands while loading.

    Parameters
    ----------
    cycle_s, loading_s : float
        Time of a load, and of taking it out and putting the next one in [s].
    shift_s : float
        Time of the shift, breaks taken off [s].
    share_running : float
        Share of it in which the machine can run or be loaded, 0 to 1.

    Raises
    ------
    ValueError
        If a time is below zero, or the share not from 0 to 1.
    """
    if not (cycle_s > 0.0 and loading_s >= 0.0 and shift_s >= 0.0):
        raise ValueError("cycle_s must be above zero, loading_s and shift_s not below")
    if not 0.0 <= share_running <= 1.0:
        raise ValueError("share_running must lie from 0 to 1")
    every = cycle_s + loading_s
    mean = shift_s * share_running / every
    return Shift(math.floor(mean * (1.0 + _FITS)), mean, every)
