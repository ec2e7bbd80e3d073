"""Motion over work that is turned under the tool: tilted planes and tool-point control.

A block in a tilted plane is worked out in the plane's own coordinates, as if they were the
machine's; then the rows it made are carried over by the rigid motion of the pose.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from math import isnan
from typing import Final

import numpy as np

from gudgeon.kinematics.chain import WorkChain
from gudgeon.program import moves, settings
from gudgeon.program.chords import tool_point_chords
from gudgeon.program.dialect import Meaning
from gudgeon.program.doubts import Code, Halt
from gudgeon.program.frames import (
    PlaneFrame,
    askew,
    joint_point,
    plane_frame,
    poses_for_plane,
    program_point,
    turn_vector,
    work_point,
)
from gudgeon.program.moves import AxisWords, Target
from gudgeon.program.run import Given, Run
from gudgeon.program.track import AXES, Flag
from gudgeon.program.turning import RULE_NUMBER, turn_to

__all__ = ["block", "set_plane", "set_tool_point", "straight", "tool_point_off"]

_ASKEW: Final = 1e-6
"""A plane whose normal is nearer to the spindle than this stands square [rad]."""

_MOST_CHORDS: Final = 1_000_000


# --- words --------------------------------------------------------------------------------------


def set_plane(run: Run, meaning: Meaning, word: Given, given: Mapping[str, Given]) -> None:
    """Put a tilted plane in force or out of it, or turn the work so that it faces the spindle.

    Raises
    ------
    Halt
        The word or the axis lines are not declared, or no single pose is meant.
    """
    force = run.state.force
    if meaning is Meaning.TILTED_OFF:
        if force.plane_tilted:
            run.plane = None
            run.state.change(plane_tilted=False)
        return
    chain = _chain(run, word)
    if meaning is Meaning.TURN_TO_PLANE:
        _turn_to_plane(run, chain, word)
        return
    declared = run.dialect.planes.get((word.letter, round(10 * word.value)))
    if declared is None:
        raise Halt(Code.NOT_DECLARED, word.column, what=word.text)
    if force.plane_tilted or force.tool_point or force.cutter_side or force.cycle is not None:
        raise Halt(Code.RETURN_NOT_ALONE, word.column, word=word.text)
    origin = [run.scaled(given[one]) if one in given else 0.0 for one in declared.origin]
    angles = [run.scaled(given[one], 3) if one in given else 0.0 for one in declared.angles]
    run.plane = plane_frame(origin, angles, declared.order, declared.fixed_axes)
    run.plane_cause = max((one.cause for one in given.values()), default=-1)
    run.state.change(plane_tilted=True)


def _turn_to_plane(run: Run, chain: WorkChain, word: Given) -> None:
    state = run.state
    if run.plane is None or not state.force.plane_tilted:
        raise Halt(Code.NOT_DECLARED, word.column, what=word.text)
    _need_upright_zero(run, word.column)
    now = state.position[3], state.position[4]
    angles = poses_for_plane(run.plane, chain, run.dialect.plane_choice, now, word.column)
    target = Target(state.position.copy(), state.causes.copy())
    for axis, angle in ((3, angles[0]), (4, angles[1])):
        if angle == state.position[axis]:
            continue
        rule = RULE_NUMBER[run.dialect.turning[axis - 3]]
        turned, either_way = turn_to(rule, state.position[axis], angle)
        if either_way:
            target.flags |= Flag.EITHER_WAY
        target.set(axis, turned, run.plane_cause)
    moves.straight(run, Meaning.RAPID, target, word.column)


def set_tool_point(run: Run, word: Given, register: Given | None) -> None:
    """Put tool-point control in force, with its tool length.

    Raises
    ------
    Halt
        The word or the axis lines are not declared.
    """
    _chain(run, word)
    declared = run.dialect.tool_points.get((word.letter, round(10 * word.value)))
    if declared is None:
        raise Halt(Code.NOT_DECLARED, word.column, what=word.text)
    force = run.state.force
    if force.plane_tilted or force.cutter_side or force.cycle is not None:
        raise Halt(Code.RETURN_NOT_ALONE, word.column, word=word.text)
    settings.set_length(run, Meaning.LENGTH_PLUS, register, word.column)
    angles = run.state.position[3], run.state.position[4]
    at = (0.0, 0.0) if declared.frame_at_zero else angles
    run.plane = replace(_UPRIGHT, stated_at=at)
    run.plane_cause = -1
    run.tool_point = declared
    run.state.change(tool_point=True)


_UPRIGHT: Final = plane_frame((0.0, 0.0, 0.0), (0.0, 0.0, 0.0), "XYZ")


def tool_point_off(run: Run) -> None:
    """Put tool-point control out of force."""
    if run.state.force.tool_point:
        run.plane, run.tool_point = None, None
        run.state.change(tool_point=False)


def _chain(run: Run, word: Given) -> WorkChain:
    if run.dialect.chain is None:
        raise Halt(Code.NOT_DECLARED, word.column, what="axis lines")
    return run.dialect.chain


# --- motion -------------------------------------------------------------------------------------


def straight(run: Run, motion: Meaning, words: AxisWords, column: int) -> None:
    """Carry out a rapid, a line or a probing move.

    Raises
    ------
    Halt
        See `moves.straight`; a plane that the pose does not bring to the spindle.
    """
    turning = [one for one in words if one[0] >= 3]
    if run.plane is None or (not run.state.force.tool_point and len(turning) == len(words)):
        moves.straight(run, motion, moves.joint_target(run, words), column)
    elif run.state.force.tool_point and turning:
        _turning_line(run, motion, words, column)
    else:
        block(
            run,
            words,
            column,
            lambda: moves.straight(run, motion, moves.joint_target(run, words), column),
        )


def block(run: Run, words: AxisWords, column: int, act: Callable[[], None]) -> None:
    """Carry out a block whose motion is rigid with the work: in the plane, if one is in force.

    Parameters
    ----------
    act : callable
        Works the block out in the coordinates that are in force.

    Raises
    ------
    Halt
        Turning axes move in the block, or the plane does not face the spindle.
    """
    if run.plane is None:
        act()
        return
    state, chain, frame = run.state, run.dialect.chain, run.plane
    assert chain is not None  # a plane cannot be put in force without it
    for axis, word in words:
        if axis >= 3:
            raise Halt(Code.PLANE_TURNS, word.column, letter=word.letter)
    angles = state.position[3], state.position[4]
    if state.force.plane_tilted:
        off = askew(frame, chain, angles)
        if off > _ASKEW:
            raise Halt(Code.PLANE_ASKEW, column, off_rad=off)
        if isnan(off) and run.plane_cause < 0:
            axis = 3 if isnan(angles[0]) else 4
            run.plane_cause = run.doubt(Code.POSITION_UNKNOWN, column, axis=axis)
    first, first_arc = run.rows.count, run.rows.arc_count
    offset, length = _offset(run, column), state.force.length_mm
    here = program_point(frame, offset, chain, angles, state.position[:3], length)
    cause = next((one for one in state.causes if one >= 0), run.plane_cause)
    state.position[:3] = here
    state.in_plane = True
    try:
        act()
    finally:
        state.in_plane = False
        end = joint_point(frame, offset, chain, angles, state.position[:3], length)
        state.position[:3] = end
        _carry_over(run, first, first_arc, frame, chain, angles, offset)
        rows = run.rows.segments[first : run.rows.count]
        unknown = np.isnan(rows["end"][:, :3]).any(axis=1) & (rows["doubt"] < 0)
        if cause < 0 and unknown.any():
            # Turned, one coordinate that is not known leaves none known.
            axis = next((i for i in range(3) if isnan(here[i])), 0)
            cause = run.doubt(Code.POSITION_UNKNOWN, column, axis=axis)
        rows["doubt"][unknown] = cause
        for axis in range(3):
            if isnan(end[axis]) and state.causes[axis] < 0:
                state.causes[axis] = cause


def _need_upright_zero(run: Run, column: int) -> None:
    # "Angles at zero" are those of the axes on one control, those of the program on another.
    state, point = run.state, run.tool_point
    if state.force.tool_point and point is not None and not point.frame_at_zero:
        return
    for axis in (3, 4):
        if abs(state.zero(axis)) > _ASKEW:
            raise Halt(Code.PLANE_ZERO, column, word=state.force.offset or "", axis=axis)


def _offset(run: Run, column: int) -> list[float]:
    """Return the work offset and shift, for X Y Z, without the tool length [mm]."""
    force = run.state.force
    if force.offset is None:
        raise Halt(Code.OFFSET_UNSET, column)
    _need_upright_zero(run, column)
    for axis in range(3):
        if isnan(run.state.zero(axis)):
            cause = moves.zero_cause(run, axis, column)
            if run.plane_cause < 0:
                run.plane_cause = cause
    return [force.offset_values[axis] + force.shift[axis] for axis in range(3)]


def _carry_over(
    run: Run,
    first: int,
    first_arc: int,
    frame: PlaneFrame,
    chain: WorkChain,
    angles: tuple[float, float],
    offset: list[float],
) -> None:
    """Turn rows from plane coordinates into joint positions."""
    length = run.state.force.length_mm
    zero = np.array(joint_point(frame, offset, chain, angles, (0.0, 0.0, 0.0), length))
    columns = [turn_vector(frame, chain, angles, tuple(row)) for row in np.eye(3)]
    turn = np.array(columns)  # rows are the images of the plane's axes
    rows, arcs = run.rows.segments[first : run.rows.count], run.rows.arcs
    rows["end"][:, :3] = rows["end"][:, :3] @ turn + zero
    new = arcs[first_arc : run.rows.arc_count]
    new["centre"] = new["centre"] @ turn + zero
    new["normal"] = new["normal"] @ turn


def _turning_line(run: Run, motion: Meaning, words: AxisWords, column: int) -> None:
    """Carry out a line of the tip over the work while the work turns."""
    state, chain, frame = run.state, run.dialect.chain, run.plane
    assert chain is not None and frame is not None and run.tool_point is not None
    if state.force.cutter_side or motion is Meaning.PROBE:
        raise Halt(Code.RETURN_NOT_ALONE, column, word=motion.value)
    offset, length = _offset(run, column), state.force.length_mm
    start = state.position.copy()
    begin = start[3], start[4]
    state.position[:3] = program_point(frame, offset, chain, begin, start[:3], length)
    state.in_plane = True
    try:
        target = moves.joint_target(run, words)
    finally:
        state.in_plane = False
        state.position = start
    end = target.position[3], target.position[4]
    tip = joint_point(frame, offset, chain, end, target.position[:3], length)
    tip_on_work = work_point(chain, end, _less(tip, length))
    chords = tool_point_chords(
        chain,
        begin,
        end,
        work_point(chain, begin, _less(start[:3], length)),
        tip_on_work,
        length,
        run.tool_point.chord_mm,
        _MOST_CHORDS,
        column,
    )
    flags = Flag.CHORD if len(chords) > 1 else Flag(0)
    why = next((one for one in (*state.causes, *target.causes) if one >= 0), run.plane_cause)
    if why < 0 and np.isnan(chords).any():
        axis = next((i for i in range(AXES) if isnan(start[i])), 0)
        why = run.doubt(Code.POSITION_UNKNOWN, column, axis=axis)
    for chord in chords:
        step = Target(chord.tolist(), [why if isnan(one) else -1 for one in chord])
        step.flags = target.flags
        moves.straight(run, motion, step, column, flags=flags)


def _less(point: list[float] | tuple[float, ...], length: float) -> tuple[float, float, float]:
    return point[0], point[1], point[2] - length
