"""Motion blocks: where the axes go, straight, along an arc or to a reference point."""

from __future__ import annotations

from math import isnan, nan
from typing import Final

from gudgeon.program.arcs import (
    ARC_OK,
    END_IS_START,
    NEARLY_CLOSED,
    RADII_DIFFER,
    arc_by_centre,
    arc_by_radius,
)
from gudgeon.program.dialect import Meaning
from gudgeon.program.doubts import Code, Halt
from gudgeon.program.run import Given, Run
from gudgeon.program.track import AXES, Flag, Kind
from gudgeon.program.turning import RULE_NUMBER, turn_to

__all__ = ["PLANES", "AxisWords", "Target", "arc", "joint_target", "return_to", "straight"]

AxisWords = list[tuple[int, Given]]
"""Joint index and word of each axis that a block names, in the order of the joints."""

PLANES: Final = ((0, 1, 2), (2, 0, 1), (1, 2, 0))
"""Axes u, v and the normal w of each plane (XY, ZX, YZ); right-handed in this order."""

CENTRE_LETTERS: Final = "IJK"


class Target:
    """Where a block goes.

    Attributes
    ----------
    position : list of 5 floats
    causes : list of 5 ints
        See `State.causes`.
    flags : int
    """

    __slots__ = ("causes", "flags", "position")

    def __init__(self, position: list[float], causes: list[int]) -> None:
        self.position = position
        self.causes = causes
        self.flags = 0

    def set(self, axis: int, value: float, cause: int) -> None:
        """Set one coordinate; a cause counts only where the value is not known."""
        self.position[axis] = value
        self.causes[axis] = cause if value != value else -1


def joint_target(run: Run, words: AxisWords) -> Target:
    """Return where axis words take the joints, in the modes in force.

    Raises
    ------
    Halt
        A mode that is needed was never set, or a decimal point is missing.
    """
    state = run.state
    absolute = state.force.absolute
    target = Target(state.position.copy(), state.causes.copy())
    for axis, word in words:
        value = run.scaled(word, axis)
        if absolute is None:
            raise Halt(Code.DISTANCE_UNSET, word.column)
        if absolute:
            _absolute(run, target, axis, word, value)
        else:
            _step(run, target, axis, word, value)
    return target


def _absolute(run: Run, target: Target, axis: int, word: Given, value: float) -> None:
    state = run.state
    zero = state.zero(axis)
    cause = word.cause
    if zero != zero:
        cause = zero_cause(run, axis, word.column)
    if axis >= 3:
        rule = RULE_NUMBER[run.dialect.turning[axis - 3]]
        turned, either_way = turn_to(rule, target.position[axis] - zero, value)
        if either_way:
            target.flags |= Flag.EITHER_WAY
        target.set(axis, turned + zero, cause)
        return
    if axis == 2:
        state.step_waits = False
        run.length_waiting = 0.0
    target.set(axis, value + zero, cause)


def _step(run: Run, target: Target, axis: int, word: Given, value: float) -> None:
    state = run.state
    now = target.position[axis]
    cause = word.cause
    if now != now:
        cause = target.causes[axis]
        if cause < 0:
            cause = run.doubt(Code.POSITION_UNKNOWN, word.column, axis=axis)
    if axis == 2 and state.step_waits:
        if run.dialect.length_moves_step is None:
            now, cause = nan, run.doubt(Code.LENGTH_THEN_STEP, word.column)
        elif run.dialect.length_moves_step:
            now += run.length_waiting
            if isnan(run.length_waiting) and cause < 0:
                cause = zero_cause(run, axis, word.column)
        run.length_waiting = 0.0
        state.step_waits = False
    target.set(axis, now + value, cause)


def zero_cause(run: Run, axis: int, column: int) -> int:
    """Return the doubt that makes program zero unknown on an axis."""
    force = run.state.force
    if force.offset is None:
        return run.doubt(Code.OFFSET_UNSET, column)
    if isnan(force.offset_values[axis]):
        return run.doubt(Code.OFFSET_UNKNOWN, column, word=force.offset, axis=axis)
    if axis == 2 and isnan(force.length_mm):
        register = -1 if force.length_register is None else force.length_register
        return run.doubt(Code.LENGTH_UNKNOWN, column, register=register)
    return run.doubt(Code.POSITION_UNKNOWN, column, axis=axis)


def machine_target(run: Run, words: AxisWords, column: int) -> Target:
    """Return where axis words take the joints in machine coordinates (G53).

    Raises
    ------
    Halt
        G91 is in force.
    """
    state = run.state
    if state.force.absolute is False:
        raise Halt(Code.MACHINE_STEP, column)
    target = Target(state.position.copy(), state.causes.copy())
    for axis, word in words:
        value = run.scaled(word, axis)
        if axis >= 3:
            rule = RULE_NUMBER[run.dialect.turning[axis - 3]]
            value, either_way = turn_to(rule, state.position[axis], value)
            if either_way:
                target.flags |= Flag.EITHER_WAY
        target.set(axis, value, word.cause)
    return target


def _go(run: Run, target: Target) -> None:
    run.state.position = target.position
    run.state.causes = target.causes


def straight(run: Run, motion: Meaning, target: Target, column: int, flags: int = 0) -> None:
    """Carry out a rapid, a line at feed or a probing move.

    Raises
    ------
    Halt
        No feed was set.
    """
    flags |= target.flags
    if motion is Meaning.RAPID:
        _go(run, target)
        run.emit(Kind.RAPID, flags=flags)
        return
    before = run.state.position
    turning_only = before[:3] == target.position[:3] and before[3:] != target.position[3:]
    feed, feed_kind = run.feed(column, turning_only=turning_only)
    _go(run, target)
    kind = Kind.PROBE if motion is Meaning.PROBE else Kind.LINE
    cause = run.feed_cause if feed != feed else -1
    run.emit(kind, feed=feed, feed_kind=feed_kind, flags=flags, cause=cause)
    if motion is Meaning.PROBE:
        # It ends at the touch, which nobody knows beforehand.
        cause = run.doubt(Code.POSITION_UNKNOWN, column, axis=-1)
        for axis in range(AXES):
            if before[axis] != target.position[axis]:
                run.state.position[axis], run.state.causes[axis] = nan, cause


def arc(run: Run, motion: Meaning, words: AxisWords, centre: dict[str, Given], column: int) -> None:
    """Carry out an arc or helix in the plane in force.

    Parameters
    ----------
    centre : dict of letter to Given
        The words I, J, K and R of the block.

    Raises
    ------
    Halt
        No such circle, or a mode that is needed was never set.
    """
    state = run.state
    plane = state.force.plane
    if plane is None:
        raise Halt(Code.PLANE_UNSET, column)
    u, v, w = PLANES[plane]
    radius = centre.get("R")
    _check_centre(centre, u, v, w, column)
    if not any(axis in (u, v) for axis, _ in words):
        _check_endless(run, radius, column)
    before = state.position
    target = joint_target(run, words)
    feed, feed_kind = run.feed(column, turning_only=False)
    circle = _circle(run, motion, before, target, (u, v), centre, column)
    _go(run, target)
    index = cause = -1
    if circle is None:
        causes = [one.cause for one in centre.values() if one.cause >= 0]
        cause = causes[0] if causes else run.doubt(Code.ARC_FROM_UNKNOWN, column)
    else:
        middle = before[:3]
        middle[u], middle[v] = circle[0], circle[1]
        normal = tuple(1.0 if axis == w else 0.0 for axis in range(3))
        index = run.rows.add_arc(tuple(middle), normal, circle[2])
        if circle[3]:
            cause = run.doubt(Code.ARC_NEARLY_CLOSED, column)
    if feed != feed:
        cause = run.feed_cause
    run.emit(Kind.ARC, feed=feed, feed_kind=feed_kind, arc=index, flags=target.flags, cause=cause)


def _check_centre(centre: dict[str, Given], u: int, v: int, w: int, column: int) -> None:
    radius = centre.get("R")
    given = [one for letter, one in centre.items() if letter != "R"]
    if radius is None and not given:
        raise Halt(Code.ARC_NO_CENTRE, column)
    if radius is not None and given:
        raise Halt(Code.ARC_NO_CENTRE, given[0].column)
    wrong = centre.get(CENTRE_LETTERS[w])
    if wrong is not None:
        raise Halt(Code.ARC_NO_CENTRE, wrong.column)


def _check_endless(run: Run, radius: Given | None, column: int) -> None:
    if radius is not None:
        raise Halt(Code.ARC_FULL_WITH_R, radius.column)
    if run.dialect.arc_without_end == "error":
        raise Halt(Code.ARC_NO_END, column)
    if run.dialect.arc_without_end is None:
        raise Halt(Code.ARC_END_RULE, column)


def _circle(
    run: Run,
    motion: Meaning,
    before: list[float],
    target: Target,
    axes: tuple[int, int],
    centre: dict[str, Given],
    column: int,
) -> tuple[float, float, float, bool] | None:
    u, v = axes
    clockwise = motion is Meaning.ARC_CLOCKWISE
    start_u, start_v = before[u], before[v]
    end_u, end_v = target.position[u], target.position[v]
    inch = run.state.force.unit == "in"
    unit = run.state.unit_mm
    tolerance = (run.dialect.arc_tolerance_inch if inch else run.dialect.arc_tolerance_mm) * unit
    least = (run.dialect.least_inch if inch else run.dialect.least_mm) * unit
    radius = centre.get("R")
    if radius is not None:
        length = run.scaled(radius)
        if isnan(start_u + start_v + end_u + end_v + length):
            return None
        status, cu, cv, sweep = arc_by_radius(
            start_u, start_v, end_u, end_v, length, clockwise, tolerance, least
        )
        if status == END_IS_START:
            raise Halt(Code.ARC_FULL_WITH_R, radius.column)
        if status not in (ARC_OK, NEARLY_CLOSED):
            half = 0.5 * ((end_u - start_u) ** 2 + (end_v - start_v) ** 2) ** 0.5
            raise Halt(Code.ARC_TOO_SMALL, radius.column, radius_mm=abs(length), half_mm=half)
        return cu, cv, sweep, status == NEARLY_CLOSED
    cu, cv = start_u, start_v
    for letter, one in centre.items():
        if CENTRE_LETTERS.index(letter) == u:
            cu = start_u + run.scaled(one)
        else:
            cv = start_v + run.scaled(one)
    if isnan(start_u + start_v + end_u + end_v + cu + cv):
        return None
    status, sweep = arc_by_centre(
        start_u, start_v, end_u, end_v, cu, cv, clockwise, tolerance, least
    )
    if status == RADII_DIFFER:
        raise Halt(
            Code.ARC_RADII,
            column,
            start_mm=((start_u - cu) ** 2 + (start_v - cv) ** 2) ** 0.5,
            end_mm=((end_u - cu) ** 2 + (end_v - cv) ** 2) ** 0.5,
        )
    if status not in (ARC_OK, NEARLY_CLOSED):
        raise Halt(Code.ARC_NO_CENTRE, column)
    return cu, cv, sweep, status == NEARLY_CLOSED


def return_to(run: Run, number: int, words: AxisWords, word: Given) -> None:
    """Carry out a return to a reference point, through the point that the words name.

    Only the named axes move; with none named all go straight there (NISTIR 6556, 3.5.8).

    Raises
    ------
    Halt
        A mode that is needed was never set.
    """
    state = run.state
    if words:
        target = joint_target(run, words)
        straight(run, Meaning.RAPID, target, word.column)
    reference = run.dialect.references.get(number, (nan,) * AXES)
    target = Target(state.position.copy(), state.causes.copy())
    named = [axis for axis, _ in words] or sorted(set(run.dialect.axes.values()))
    for axis in named:
        value, cause = reference[axis], -1
        if isnan(value):
            cause = run.doubt(Code.REFERENCE_UNKNOWN, word.column, word=word.text, axis=axis)
        elif axis >= 3:
            rule = RULE_NUMBER[run.dialect.turning[axis - 3]]
            value, either_way = turn_to(rule, state.position[axis], value)
            if either_way:
                target.flags |= Flag.EITHER_WAY
        target.set(axis, value, cause)
    straight(run, Meaning.RAPID, target, word.column, flags=Flag.TO_REFERENCE)
