"""How long things take in this cell: an index, a tool change, a way over the table."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.findings.changing import ChangingFindings
from gudgeon.findings.gather import Lacking
from gudgeon.findings.timed_ground import Duration, Ground, SpeedFindings, Spread, spread_of
from gudgeon.findings.timed_words import ByWord
from gudgeon.program.dialect import Meaning
from gudgeon.program.turning import RULE_NUMBER, turn_to
from gudgeon.timing.profile import slowest_axis_s, straight_s

if TYPE_CHECKING:
    from gudgeon.quantity.amount import Amount

__all__ = ["ChangeTime", "Duration", "Pose", "TimedFindings"]

Floats = NDArray[np.float64]
Pose = tuple[float, float]
"""Programmed tilt and turn [rad]."""

SAME_RAD: Final = 1e-9


@dataclass(frozen=True, slots=True)
class ChangeTime:
    """A tool change with the turns that it asks for.

    Attributes
    ----------
    time : Duration
        Spindle stopped, turned to where a tool may be changed, changed, turned on, spindle started.
    pose : tuple of 2 floats or None
        Where it is changed [rad]; ``None``: in the pose in which the unit stands.
    turning_s : float
        What of it the turns take [s].
    proven : bool
        Whether that pose is proven to be safe; False: nobody can tell yet.
    """

    time: Duration
    pose: Pose | None
    turning_s: float
    proven: bool


class TimedFindings(ChangingFindings, SpeedFindings):
    """Facts about time."""

    def index_time(self, from_pose: Pose, to_pose: Pose) -> Duration:
        """Return the time from clamped in one pose to clamped in another.

        Both axes are let go together, turn together and are clamped together.

        Parameters
        ----------
        from_pose, to_pose : tuple of 2 floats
            Programmed tilt and turn [rad]; the way round is that of the control's rule.

        Raises
        ------
        Lacking
            Naming the speed that is not entered.
        """
        ways = self._ways_round(from_pose, to_pose)
        moving = [axis for axis in (3, 4) if any(way[axis - 3] > SAME_RAD for way in ways)]
        if not moving:
            return Duration(0.0)
        own, unsure, told = self.ground(moving, ("rapids",) if len(moving) > 1 else ())

        def timed(distance: Pose) -> Callable[[Ground], Floats]:
            whole = np.array([[0.0, 0.0, 0.0, *distance]])
            return lambda ground: _rapids_s(whole, ground)

        spread = spread_of(timed(ways[0]), own, unsure)
        if len(ways) > 1:
            low, high = sorted(float(timed(way)(own)[0]) for way in ways)
            middle = 0.5 * (low + high) - float(timed(ways[0])(own)[0])
            spread.add("way round", np.array([middle]), np.array([0.5 * (high - low)]))
            told = (
                *told,
                "Which way round a turning axis goes is not known (control.tilt_turns, "
                "control.rotary_turns): the range holds both ways.",
            )
        spread, by_watch = self.by_stopwatch(spread, np.ones(1))
        told = (*told, *by_watch)
        for name in ("unclamp", "clamp"):
            amount = self.longest_clamp(name, self._worked_with(name, moving))
            if amount is not None:
                spread.add(name, np.array([amount.value]), np.array([amount.plus_minus or 0.0]))
        told = (*told, *self._clamps_left_out(moving))
        return replace(spread.over(), assumed=told)

    def tool_change_time(
        self, from_pose: Pose | None = None, to_pose: Pose | None = None
    ) -> ChangeTime:
        """Return the time of a tool change between two poses, with the turns that it asks for.

        The change is made in the pose before it, in the one after it or in one that is proven to
        be safe, whichever takes least; where no place is proven yet it is made where the unit
        stands, and that is told.

        Raises
        ------
        Lacking
            Naming the time of a change, or a speed, that is not entered.
        """
        timing, gather = self.cell.timing, self.gather()
        change = gather.need(
            timing.tool_change,
            "timing.tool_change",
            "time of a tool change",
            why="every change counts into the time of a load",
            how="time one from spindle stopped to free to move, or see the machine's manual",
        )
        gather.stop()
        told: list[str] = []
        total = Duration(change.value, change.plus_minus or 0.0)
        for key in ("spindle_stop", "spindle_start"):
            amount: Amount | None = getattr(timing, key)
            if amount is None:
                told.append(f"The time of timing.{key} is not entered: none is counted.")
                continue
            both = math.hypot(total.plus_minus, amount.plus_minus or 0.0)
            total = Duration(total.value + amount.value, both)
        if from_pose is None:
            return ChangeTime(replace(total, assumed=tuple(told)), None, 0.0, proven=False)
        to_pose = from_pose if to_pose is None else to_pose
        places, proven = self._change_places(from_pose, to_pose)
        if not proven:
            told.append(
                "Tools are changed in the pose in which the unit stands: whether that is safe "
                'cannot be told yet (ask "changes").'
            )
        best: tuple[Duration, Pose] | None = None
        for place in places:
            turns = self.index_time(from_pose, place) + self.index_time(place, to_pose)
            if best is None or turns.value < best[0].value - 1e-9:
                best = turns, place
        assert best is not None
        turns, pose = best
        time = Duration(
            total.value + turns.value,
            math.hypot(total.plus_minus, turns.plus_minus),
            tuple(dict.fromkeys((*told, *turns.assumed))),
        )
        stays = all(abs(a - b) <= SAME_RAD for a, b in zip(pose, from_pose, strict=True))
        return ChangeTime(time, None if stays else pose, turns.value, proven)

    def travel_time(
        self,
        from_mm: tuple[float, float, float],
        to_mm: tuple[float, float, float],
        over_mm: float | None = None,
    ) -> Duration:
        """Return the time of rapids up, over and down between two machine points.

        Parameters
        ----------
        from_mm, to_mm : tuple of 3 floats
            Machine X, Y, Z [mm].
        over_mm : float, optional
            Machine Z at which X and Y move, such as a proven safe plane; the top of Z if left out.
            Never below either end.

        Raises
        ------
        Lacking
            Naming the speed, or the travel of Z, that is not entered.
        """
        start, end = np.array(from_mm), np.array(to_mm)
        if np.array_equal(start, end):
            return Duration(0.0)
        top = max(start[2], end[2])
        sideways = not np.array_equal(start[:2], end[:2])
        if sideways:
            top = max(top, self._top_mm if over_mm is None else over_mm)
        legs = [
            np.array([0.0, 0.0, top - start[2], 0.0, 0.0]),
            np.array([*np.abs(end[:2] - start[:2]), 0.0, 0.0, 0.0]),
            np.array([0.0, 0.0, top - end[2], 0.0, 0.0]),
        ]
        both = bool(np.all(legs[1][:2] > 0.0))
        moving = [axis for axis in range(3) if any(leg[axis] > 0.0 for leg in legs)]
        own, unsure, told = self.ground(moving, ("rapids",) if both else ())
        spread = spread_of(lambda ground: _rapids_s(np.array(legs), ground), own, unsure)
        made = np.array([float(leg.any()) for leg in legs])
        spread, by_watch = self.by_stopwatch(spread, made)
        return replace(spread.over(), assumed=(*told, *by_watch))

    def by_stopwatch(self, moving: Spread, stops: Floats) -> tuple[Spread, tuple[str, ...]]:
        """Return what moves as times taken at the machine have it; without any, as it is.

        Parameters
        ----------
        moving : Spread
            Settling included [s].
        stops : ndarray
            Full stops of each part.
        """
        return moving, ()

    # --- how it is worked out -------------------------------------------------------------------

    @property
    def _top_mm(self) -> float:
        travel, change = self.cell.machine.travel_z, self.cell.machine.changer.z
        if travel is None and change is not None:
            return change.value
        gather = self.gather()
        ends = gather.need(
            travel,
            "machine.travel_z",
            "lowest and highest machine Z",
            why="between stations the tool goes up to the top of Z",
            how="read both ends in the machine's manual, or jog there and read the display",
        )
        gather.stop()
        return ends[1].value

    def _ways_round(self, from_pose: Pose, to_pose: Pose) -> tuple[Pose, ...]:
        """Return how far tilt and rotary turn, and the other way where it may be that [rad]."""
        rules = self._turning()
        first: list[float] = []
        other: list[float] = []
        for rule, now, wanted in zip(rules, from_pose, to_pose, strict=True):
            end, either = turn_to(RULE_NUMBER[rule], now, wanted)
            far = abs(end - now)
            first.append(far)
            back = abs(2.0 * math.pi - math.fmod(far, 2.0 * math.pi))
            other.append(back if either else far)
        ways = [(first[0], first[1])]
        if other != first:
            ways.append((other[0], other[1]))
        return tuple(ways)

    @cached_property
    def worked_by_words(self) -> ByWord:
        """What words of this control clamp and let go; see `timed_words.ByWord`."""
        return frozenset((verb, axis) for verb, axes in self._brake_words for axis in axes)

    @cached_property
    def _brake_words(self) -> tuple[tuple[str, tuple[int, ...]], ...]:
        """Verb and axes of every word that works the brakes."""
        axes = {"tilt": (3,), "rotary": (4,), "both": (3, 4)}
        return tuple(
            ("clamp" if verb == "clamps" else "unclamp", axes[which])
            for word in self.cell.control.words
            if word.brakes is not None and word.means == Meaning.NO_MOTION.value
            for verb, which in (word.brakes.split(),)
        )

    def _worked_with(self, verb: str, moving: Collection[int]) -> Collection[int]:
        """Return the axes that are clamped, or let go, when some move: both if a word does both."""
        words = [axes for one, axes in self._brake_words if one == verb]
        alone = all(any(axes == (axis,) for axes in words) for axis in moving)
        together = any(set(moving) <= set(axes) for axes in words)
        return (3, 4) if together and not alone else moving

    def longest_clamp(self, name: str, axes: Collection[int]) -> Amount | None:
        """Return the longest time of a verb (``"clamp"``, ``"unclamp"``) of turning axes 3, 4."""
        motion = self.cell.unit.motion
        amounts: list[Amount | None] = [
            getattr(motion, f"{'tilt' if axis == 3 else 'rotary'}_{name}") for axis in axes
        ]
        return max((a for a in amounts if a is not None), key=lambda a: a.value, default=None)

    def _clamps_left_out(self, axes: Collection[int]) -> tuple[str, ...]:
        motion = self.cell.unit.motion
        out = [
            f"unit.motion.{word}_{name}"
            for axis in sorted(axes)
            for word in ("tilt" if axis == 3 else "rotary",)
            for name in ("unclamp", "clamp")
            if getattr(motion, f"{word}_{name}") is None
        ]
        if not out:
            return ()
        return (f"No time to clamp or let go is counted for {', '.join(out)} (not entered).",)

    def _change_places(self, from_pose: Pose, to_pose: Pose) -> tuple[list[Pose], bool]:
        """Return where tools may be changed on the way between two poses, and if that is proven."""
        try:
            found = self.changing
        except Lacking:
            return [from_pose], False
        if found.together.clear:
            return [from_pose, to_pose], True
        if not found.ranges:
            return [from_pose], False
        places: list[Pose] = []
        for box in found.ranges:
            low, high = box.low[3:], box.high[3:]
            for pose in (from_pose, to_pose):
                # The same place whole turns on, nearest to the range.
                tilt = float(np.clip(pose[0], low[0], high[0]))
                middle = 0.5 * float(low[1] + high[1])
                turns = 2.0 * math.pi * round((middle - pose[1]) / (2.0 * math.pi))
                if self.every_turn(box):
                    places.append((tilt, pose[1]))
                else:
                    turn = float(np.clip(pose[1] + turns, low[1], high[1]))
                    places.append((tilt, turn - turns))
        return places, True


def _rapids_s(distances: Floats, ground: Ground) -> Floats:
    """Return the time of each rapid from rest to rest, settling included, shape (n,) [s]."""
    limits, rules = ground.limits, ground.rules
    one = straight_s if rules.straight_rapids else slowest_axis_s
    moving = one(distances, limits.speed, limits.acceleration, limits.jerk)
    return np.where(moving > 0.0, moving + rules.settle_s, 0.0)
