"""How fast this cell moves: limits of its axes, what the control does, and why neither is sure.

Every time is a `Duration`: with what it rests on, and how far it may be off.  What is off for one
reason (an acceleration that nobody entered) is off everywhere the same way, so its share is added
up; different reasons are added as the root of the sum of squares (JCGM 100:2008, 5.1 and 5.2).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.findings.control import ControlFindings
from gudgeon.quantity.kinds import Kind
from gudgeon.timing.limits import AxisLimits, MixedFeed, Rules

if TYPE_CHECKING:
    from gudgeon.quantity.amount import Amount

__all__ = ["Duration", "Ground", "SpeedFindings", "Spread", "Unsure", "listed", "spread_of"]

Floats = NDArray[np.float64]
AXIS_WORDS: Final = ("X", "Y", "Z", "the tilt", "the rotary")

_SPEED_KEYS: Final = (
    *("machine.motion.rapid_x", "machine.motion.rapid_y", "machine.motion.rapid_z"),
    *("unit.motion.tilt_speed", "unit.motion.rotary_speed"),
)

USUAL_ACCELERATION: Final = (2500.0, 1000.0, 6000.0)
"""Of a linear axis: taken, and the range allowed for [mm/s2] (common practice, no source)."""

USUAL_SPIN_UP: Final = tuple(math.radians(value) for value in (600.0, 150.0, 2400.0))
"""Of a turning axis with its load [rad/s2] (common practice, no source)."""

SLOW_RAMP_S: Final = 0.1
"""Where no jerk is entered, a ramp of the acceleration may last this long (common practice, no
source)."""


@dataclass(frozen=True, slots=True)
class Duration:
    """A time with its range.

    Attributes
    ----------
    value : float
        [s]
    plus_minus : float
        Half width of the 95 % interval, k = 2 [s].
    assumed : tuple of str
        What was taken for granted.
    """

    value: float
    plus_minus: float = 0.0
    assumed: tuple[str, ...] = ()

    def __add__(self, other: Duration) -> Duration:
        """Return one after the other; what both rest on counts as one reason: ranges add up."""
        return Duration(
            self.value + other.value,
            self.plus_minus + other.plus_minus,
            tuple(dict.fromkeys((*self.assumed, *other.assumed))),
        )


@dataclass(frozen=True, slots=True)
class Ground:
    """What moves are timed with: the limits of the axes and the rules of the control."""

    limits: AxisLimits
    rules: Rules


@dataclass(frozen=True, slots=True)
class Unsure:
    """One reason why times are not sure: the same moves under two other grounds.

    Attributes
    ----------
    name : str
        Such as ``"speed"``, ``"acceleration"``, ``"corners"``.
    grounds : tuple of Ground
        The ends of what may be; with the best guess they span the range.
    """

    name: str
    grounds: tuple[Ground, ...]


@dataclass(slots=True)
class Spread:
    """Times with the share of each reason why they may be off.

    Attributes
    ----------
    value : ndarray
        [s]
    shares : dict of reason to ndarray
        Signed half range of each time, of the shape of `value`.
    """

    value: Floats
    shares: dict[str, Floats] = field(default_factory=dict)

    def add(self, name: str, value: Floats, half: Floats) -> None:
        """Add times that are off by up to `half` for the reason `name`."""
        self.value = self.value + value
        if np.any(half):
            self.shares[name] = self.shares.get(name, 0.0) + half

    def over(self, mask: NDArray[np.bool_] | None = None) -> Duration:
        """Return the sum, of the places of `mask` alone if given."""
        if mask is None:
            mask = np.ones(self.value.shape, dtype=np.bool_)
        halves = [float(share[mask].sum()) for share in self.shares.values()]
        return Duration(float(self.value[mask].sum()), math.hypot(*halves) if halves else 0.0)


@dataclass(frozen=True, slots=True)
class _Limited:
    limits: AxisLimits
    unsure: tuple[tuple[str, AxisLimits, AxisLimits], ...]
    assumed: tuple[str, ...]


_Stands = tuple[Ground, tuple[Unsure, ...], tuple[str, ...]]


class SpeedFindings(ControlFindings):
    """What the cell says about speed."""

    @cached_property
    def axis_limits(self) -> AxisLimits:
        """Speed, acceleration and jerk of every axis of this cell; raises `Lacking`."""
        return self._limited(self._moved_axes).limits

    @cached_property
    def motion_rules(self) -> Rules:
        """What the control does between moves, the best guess where it is not entered."""
        timing, control = self.cell.timing, self.cell.control
        tolerance, most = timing.corner_tolerance, self.cell.machine.motion.feed_most
        return Rules(
            straight_rapids=control.rapids != "each axis alone",
            look_ahead=timing.corners != "exact stop",
            corner_tolerance_mm=0.01 if tolerance is None else tolerance.value,
            window=timing.look_ahead or 0,
            settle_s=0.0 if timing.settle is None else timing.settle.value,
            mixed_feed={
                "all axes": MixedFeed.ALL_AXES,
                "over the work": MixedFeed.OVER_THE_WORK,
            }.get(timing.mixed_feed or "", MixedFeed.LINEAR_AXES),
            feed_most=math.inf if most is None else most.value,
        )

    def ground(self, axes: Collection[int], concerns: Collection[str] = ()) -> _Stands:
        """Return what moves are timed with, why it is not sure, and what it takes for granted.

        Parameters
        ----------
        axes : collection of int
            Axes that move; only their entries are asked for.
        concerns : collection of str
            Rules that matter to these moves: ``"corners"``, ``"rapids"``, ``"mixed feed"``.

        Raises
        ------
        Lacking
            Naming the speeds that are not entered.
        """
        key = frozenset(axes), frozenset(concerns)
        if key not in self._grounds:
            self._grounds[key] = self._stands_on(*key)
        return self._grounds[key]

    @cached_property
    def _grounds(self) -> dict[tuple[frozenset[int], frozenset[str]], _Stands]:
        return {}

    def _stands_on(self, axes: frozenset[int], concerns: frozenset[str]) -> _Stands:
        limited, rules = self._limited(axes), self.motion_rules
        own = Ground(limited.limits, rules)
        unsure = [
            Unsure(name, (Ground(slow, rules), Ground(fast, rules)))
            for name, slow, fast in limited.unsure
        ]
        told = list(limited.assumed)
        timing = self.cell.timing
        if "rapids" in concerns and self.cell.control.rapids is None:
            other = replace(rules, straight_rapids=not rules.straight_rapids)
            unsure.append(Unsure("rapids", (Ground(limited.limits, other),)))
            told.append(
                "Whether a rapid of several axes is a straight line is not entered "
                "(control.rapids): the range holds both."
            )
        if "corners" in concerns:
            if timing.corners is None:
                other = replace(rules, look_ahead=not rules.look_ahead)
                unsure.append(Unsure("corners", (Ground(limited.limits, other),)))
                told.append(
                    "Whether the control stops at each feed move is not entered (timing.corners): "
                    "the range holds both."
                )
            if timing.corners != "exact stop" and timing.corner_tolerance is None:
                told.append(
                    "Corners are rounded by up to "
                    f"{self.units.text(Kind.LENGTH, rules.corner_tolerance_mm)} "
                    "(timing.corner_tolerance is not entered)."
                )
        if "mixed feed" in concerns and timing.mixed_feed is None:
            other = replace(rules, mixed_feed=MixedFeed.ALL_AXES)
            unsure.append(Unsure("mixed feed", (Ground(limited.limits, other),)))
            told.append(
                "What F counts where linear and turning axes move together is not entered "
                "(timing.mixed_feed): the range holds the linear path alone, and mm and degrees "
                "alike."
            )
        settle = timing.settle
        if settle is not None and settle.plus_minus:
            ends = [
                Ground(limited.limits, replace(rules, settle_s=max(0.0, settle.value + part)))
                for part in (-settle.plus_minus, settle.plus_minus)
            ]
            unsure.append(Unsure("settle", tuple(ends)))
        return own, tuple(unsure), tuple(told)

    # --- how it is worked out -------------------------------------------------------------------

    @property
    def _moved_axes(self) -> tuple[int, ...]:
        return (0, 1, 2, 3, 4) if self.has_tilt else (0, 1, 2, 4)

    def _limited(self, axes: Collection[int]) -> _Limited:
        """Return the limits of the axes that move; the others get any number."""
        told: list[str] = []
        speeds, speed_halves = self._speeds(axes, told)
        acceleration, slow, fast = np.ones(5), np.ones(5), np.ones(5)
        guessed: list[int] = []
        entered = self._motion_entered("acceleration")
        for axis in axes:
            amount = entered[axis]
            usual = USUAL_ACCELERATION if axis < 3 else USUAL_SPIN_UP
            if amount is None:
                guessed.append(axis)
                acceleration[axis], slow[axis], fast[axis] = usual
                continue
            half = amount.plus_minus or 0.0
            acceleration[axis] = amount.value
            slow[axis] = max(amount.value - half, 0.1 * amount.value)
            fast[axis] = amount.value + half
        for group in ([a for a in guessed if a < 3], [a for a in guessed if a >= 3]):
            if group:
                told.append(self._acceleration_told(group))
        jerk = np.full(5, np.inf)
        jerk_slow, jerk_fast = jerk.copy(), jerk.copy()
        without: list[int] = []
        jerks = self._motion_entered("jerk")
        for axis in axes:
            amount = jerks[axis]
            if amount is None:
                without.append(axis)
                jerk_slow[axis] = acceleration[axis] / SLOW_RAMP_S
                continue
            half = amount.plus_minus or 0.0
            jerk[axis] = amount.value
            jerk_slow[axis] = max(amount.value - half, 0.1 * amount.value)
            jerk_fast[axis] = amount.value + half
        if without:
            told.append(
                f"No jerk is entered for {listed(without)}: none is counted as a limit, and "
                f"ramps of up to {SLOW_RAMP_S:g} s are allowed for (common practice, no source)."
            )
        own = AxisLimits(speeds, acceleration, jerk)
        unsure: list[tuple[str, AxisLimits, AxisLimits]] = []
        if speed_halves.any():
            lowest = np.maximum(speeds - speed_halves, 0.1 * speeds)
            unsure.append(
                ("speed", replace(own, speed=lowest), replace(own, speed=speeds + speed_halves))
            )
        if not (np.array_equal(slow, acceleration) and np.array_equal(fast, acceleration)):
            unsure.append(
                ("acceleration", replace(own, acceleration=slow), replace(own, acceleration=fast))
            )
        if not (np.array_equal(jerk_slow, jerk) and np.array_equal(jerk_fast, jerk)):
            unsure.append(("jerk", replace(own, jerk=jerk_slow), replace(own, jerk=jerk_fast)))
        return _Limited(own, tuple(unsure), tuple(told))

    def _speeds(self, axes: Collection[int], told: list[str]) -> tuple[Floats, Floats]:
        """Return the speed of each axis that moves and its range; raises `Lacking`."""
        gather = self.gather()
        motion = self.cell.machine.motion
        entered = self._motion_entered("speed")
        speeds, halves = np.ones(5), np.zeros(5)
        for axis in sorted(axes):
            key = _SPEED_KEYS[0] if axis < 3 and motion.rapid_x is None else _SPEED_KEYS[axis]
            amount = gather.need(
                entered[axis],
                key,
                "how fast the axes move at rapid"
                if axis < 3
                else f"how fast {AXIS_WORDS[axis]} turns",
                why="no time can be worked out without it",
                how="read it in the machine's manual, or time a long rapid"
                if axis < 3
                else "read it in the unit's data sheet, or time a few turns",
            )
            if amount is not None:
                speeds[axis], halves[axis] = amount.value, amount.plus_minus or 0.0
        gather.stop()
        share = motion.rapid_share
        if share is not None:
            relative = (share.plus_minus or 0.0) / share.value
            halves = share.value * np.hypot(halves, speeds * relative)
            speeds = share.value * speeds
        as_x = [
            axis
            for axis in axes
            if axis in (1, 2) and getattr(motion, f"rapid_{'xyz'[axis]}") is None
        ]
        if as_x:
            told.append(f"As fast as X: {listed(as_x)} ({_keys('rapid', as_x)} not entered).")
        return speeds, halves

    def _motion_entered(self, what: str) -> tuple[Amount | None, ...]:
        """Return speed, acceleration or jerk of the five axes, Y and Z as X where left out."""
        motion, unit = self.cell.machine.motion, self.cell.unit.motion
        word = "rapid" if what == "speed" else what
        x: Amount | None = getattr(motion, f"{word}_x")
        y: Amount | None = getattr(motion, f"{word}_y")
        z: Amount | None = getattr(motion, f"{word}_z")
        turning = (getattr(unit, f"tilt_{what}"), getattr(unit, f"rotary_{what}"))
        return (x, x if y is None else y, x if z is None else z, *turning)

    def _acceleration_told(self, axes: list[int]) -> str:
        kind, usual = (
            (Kind.ACCELERATION, USUAL_ACCELERATION)
            if axes[0] < 3
            else (Kind.SPIN_UP, USUAL_SPIN_UP)
        )
        middle, low, high = (self.units.text(kind, value) for value in usual)
        keys = (
            "machine.motion.acceleration_x"
            if axes[0] < 3
            else " and ".join(
                f"unit.motion.{'tilt' if axis == 3 else 'rotary'}_acceleration" for axis in axes
            )
        )
        return (
            f"The acceleration of {listed(axes)} is not entered ({keys}): {middle} is taken, "
            f"and {low} to {high} allowed for (common practice, no source)."
        )


def spread_of(timed: Callable[[Ground], Floats], own: Ground, unsure: tuple[Unsure, ...]) -> Spread:
    """Return times under the best guess, with the share of each reason why they may be off.

    The value of a reason that may only make it longer lies in the middle of its range.
    """
    best = timed(own)
    spread = Spread(best.copy())
    for one in unsure:
        ends = [best, *(timed(ground) for ground in one.grounds)]
        sums = [float(end.sum()) for end in ends]
        low, high = ends[int(np.argmin(sums))], ends[int(np.argmax(sums))]
        spread.add(one.name, 0.5 * (low + high) - best, 0.5 * (high - low))
    return spread


def listed(axes: Collection[int]) -> str:
    """Return axes as words."""
    words = [AXIS_WORDS[axis] for axis in sorted(axes)]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _keys(word: str, axes: Collection[int]) -> str:
    return ", ".join(f"{word}_{'xyz'[axis]}" for axis in sorted(axes))
