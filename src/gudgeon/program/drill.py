"""Blocks of a canned cycle: positioning over each hole and the hole itself."""

from __future__ import annotations

from collections.abc import Mapping
from math import isnan

from gudgeon.program.cycles import Step, approach, check_cycle, hole_steps, return_level, shift_of
from gudgeon.program.dialect import Meaning
from gudgeon.program.doubts import Code, Halt
from gudgeon.program.moves import PLANES, AxisWords, Target, joint_target, straight
from gudgeon.program.run import Given, Run, Sticky
from gudgeon.program.track import Flag, Kind

__all__ = ["drill"]

_NEAR = 1e-9
"""A cycle does not move to where it stands [mm, rad]."""


def drill(
    run: Run, cycle: Meaning, words: AxisWords, given: Mapping[str, Given], column: int
) -> None:
    """Carry out one block of a cycle in force: its holes, one after the other.

    Parameters
    ----------
    words : list of (joint index, word)
    given : mapping of letter to Given
        All words of the block.
    column : int
        Of the cycle's word, or of the first word.

    Raises
    ------
    Halt
        Something the cycle needs is missing or may not be here.
    """
    state, force = run.state, run.state.force
    if force.plane is None:
        raise Halt(Code.PLANE_UNSET, column)
    if force.absolute is None:
        raise Halt(Code.DISTANCE_UNSET, column)
    _check_place(run, words, column)
    u, v, w = PLANES[force.plane]
    stands = force.plane, force.plane_tilted, force.tool_point
    if run.cycle_begins:
        run.first_level, run.cycle_begins = state.position[w], False
        run.sticky.stands = stands
    elif run.sticky.stands != stands:
        # Its levels were counted along another axis, or from another zero.
        raise Halt(Code.CYCLE_STEP, column)
    sticky = _remember(run, words, given, w, column)
    r, z = _levels(run, sticky, w, column)
    q = None if sticky.q is None else run.scaled(sticky.q)
    pause = None if sticky.p is None else run.seconds(sticky.p)
    top = None
    along = sticky.i, sticky.j, sticky.k  # X, Y, Z
    aside, across = along[u], along[v]
    if cycle is Meaning.BACK_BORE and run.dialect.back_bore == "I J K":
        upper = along[w]
        if upper is None or z is None:
            raise Halt(Code.CYCLE_NO_DEPTH, column, word="IJK"[w])
        top = z + run.scaled(upper) if not force.absolute else _level(run, w, upper)
    repeats = given.get(run.dialect.repeat_letter)
    holes = check_cycle(
        cycle,
        r,
        z,
        repeats=1.0 if repeats is None else repeats.value,
        repeat_zero=run.dialect.repeat_zero,
        peck=q,
        dwell_s=pause,
        spindle=force.spindle,
        top=top,
        columns={"cycle": column, **{n.lower(): one.column for n, one in given.items()}},
        depth_letter="XYZ"[w],
    )
    assert r is not None and z is not None  # check_cycle has refused them
    if holes > run.dialect.limits.rows - run.rows.count:  # told before a row is made
        raise Halt(Code.TOO_MUCH, column, limit=run.dialect.limits.rows)
    shift = shift_of(
        cycle,
        form=run.dialect.back_bore,
        direction=run.dialect.bore_shift,
        q=q,
        i=None if aside is None else run.scaled(aside),
        j=None if across is None else run.scaled(across),
        column=column,
    )
    level = return_level(r, run.first_level, to_initial=run.to_first_level)
    numbers = (r, z, level, *(shift or ()), 0.0 if q is None else q, 0.0 if top is None else top)
    cause = _why_unknown(run, sticky, w, numbers, column)
    placing = [(axis, word) for axis, word in words if axis != w]
    for _ in range(holes):
        _position(run, placing, approach(state.position[w], r), w, column)
        steps = hole_steps(
            cycle,
            state.position[w],
            r,
            z,
            to_initial=run.to_first_level,
            initial=run.first_level,
            peck=q,
            dwell_s=pause,
            clear=run.dialect.peck_clear_mm,
            chip_break=run.dialect.chip_break_mm,
            spindle=force.spindle,
            shift=shift,
            top=top,
            column=column,
        )
        _carry_out(run, steps, (u, v, w), cause, column)


def _why_unknown(run: Run, sticky: Sticky, w: int, numbers: tuple[float, ...], column: int) -> int:
    """Return the doubt behind a level or shift that is not known; -1 where all are known."""
    if not any(map(isnan, numbers)):
        return -1
    given = (sticky.r, sticky.z, sticky.q, sticky.i, sticky.j, sticky.k)
    causes = [run.state.causes[w], *(one.cause for one in given if one is not None)]
    known = next((cause for cause in causes if cause >= 0), -1)
    return known if known >= 0 else run.doubt(Code.POSITION_UNKNOWN, column, axis=w)


def _check_place(run: Run, words: AxisWords, column: int) -> None:
    force = run.state.force
    if force.feed_mode == "inverse":
        raise Halt(Code.CYCLE_NOT_HERE, column, with_="inverse time")
    if force.cutter_side:
        raise Halt(Code.CYCLE_NOT_HERE, column, with_="cutter radius")
    for axis, word in words:
        if axis >= 3 and run.dialect.turn_in_cycle is not True:
            if run.dialect.turn_in_cycle is None:
                raise Halt(Code.CYCLE_TURNS, word.column, letter=word.letter)
            raise Halt(Code.CYCLE_NOT_HERE, word.column, with_="turning axis")


def _remember(
    run: Run, words: AxisWords, given: Mapping[str, Given], w: int, column: int
) -> Sticky:
    sticky = run.sticky
    for letter in "RQPIJK":
        if letter in given and letter != run.dialect.repeat_letter:
            setattr(sticky, letter.lower(), given[letter])
    depth = [word for axis, word in words if axis == w]
    if depth:
        sticky.z = depth[0]
    modes = run.state.force.unit, run.state.force.absolute
    kept = [letter for letter in "QIJK" if letter not in given]
    if sticky.modes[0] not in (None, modes[0]) and any(
        getattr(sticky, letter.lower()) is not None for letter in kept
    ):
        raise Halt(Code.CYCLE_STEP, column)
    if depth and "R" in given:
        sticky.modes = modes
    elif sticky.modes != modes and sticky.r is not None and sticky.z is not None:
        # One of the two was written in other modes: controls differ in what becomes of it.
        if sticky.modes != (None, None):
            raise Halt(Code.CYCLE_STEP, column)
        sticky.modes = modes
    return sticky


def _level(run: Run, w: int, word: Given) -> float:
    return run.scaled(word, w) + run.state.zero(w)


def _levels(run: Run, sticky: Sticky, w: int, column: int) -> tuple[float | None, float | None]:
    """Return R and the bottom [mm]: absolute, or R as a step from the level and Z from R."""
    state = run.state
    if sticky.r is None or sticky.z is None:
        r = None if sticky.r is None else 0.0
        return r, None if sticky.z is None else 0.0
    if state.force.absolute:
        target = joint_target(run, [(w, sticky.z)])
        state.step_waits = False
        if isnan(target.position[w]):
            state.causes[w] = target.causes[w]
        elif isnan(sticky.r.value):
            state.causes[w] = sticky.r.cause
        return _level(run, w, sticky.r), target.position[w]
    start = state.position[w]
    if state.step_waits:
        # joint_target knows the rule for a length that changed before a step.
        target = joint_target(run, [(w, _nought(sticky.z))])
        start = target.position[w]
        if isnan(start):
            state.causes[w] = target.causes[w]
    if abs(start - run.first_level) > _NEAR:
        if run.dialect.step_from is None:
            raise Halt(Code.CYCLE_STEP, column)
        if run.dialect.step_from == "first level":
            start = run.first_level
    r = start + run.scaled(sticky.r)
    return r, r + run.scaled(sticky.z)


def _nought(word: Given) -> Given:
    return Given(word.letter, 0.0, word.column, True)


def _position(run: Run, placing: AxisWords, level: float, w: int, column: int) -> None:
    state = run.state
    if level != state.position[w] and not isnan(level):
        target = Target(state.position.copy(), state.causes.copy())
        target.set(w, level, -1)
        straight(run, Meaning.RAPID, target, column, flags=Flag.IN_CYCLE)
    target = joint_target(run, placing)
    if target.position != state.position:
        straight(run, Meaning.RAPID, target, column, flags=Flag.IN_CYCLE)


def _carry_out(
    run: Run, steps: list[Step], axes: tuple[int, int, int], cause: int, column: int
) -> None:
    state = run.state
    u, v, w = axes
    centre_u, centre_v = state.position[u], state.position[v]
    turning = state.force.spindle
    for step in steps:
        flags = int(step.flags)
        if step.kind is Kind.DWELL:
            run.event(Kind.DWELL, seconds=step.seconds, flags=flags)
            continue
        if step.kind is Kind.SPINDLE:
            way = turning if step.spindle is None else step.spindle
            if way != state.force.spindle:
                state.change(spindle=way)
                run.event(Kind.SPINDLE, flags=flags)
            continue
        target = Target(state.position.copy(), state.causes.copy())
        for axis, at in (
            (u, centre_u + step.shift[0]),
            (v, centre_v + step.shift[1]),
            (w, step.at),
        ):
            target.set(axis, at, state.causes[axis] if state.causes[axis] >= 0 else cause)
        motion = Meaning.RAPID if step.kind is Kind.RAPID else Meaning.LINE
        straight(run, motion, target, column, flags=flags)
