"""Words that put something in force: units, plane, offsets, lengths, shifts, spindle, tool."""

from __future__ import annotations

from collections.abc import Mapping
from math import isnan, nan
from typing import Final

from gudgeon.program.cutter_rows import CutterPath
from gudgeon.program.dialect import Family, Meaning, Role, Write
from gudgeon.program.doubts import Code, Halt
from gudgeon.program.moves import PLANES, AxisWords, Target, straight, zero_cause
from gudgeon.program.run import Given, Run, whole
from gudgeon.program.track import AXES, Flag, Kind

__all__ = [
    "change_tool",
    "dwell",
    "set_cutter",
    "set_feed",
    "set_length",
    "set_mode",
    "set_offset",
    "set_shift",
    "set_speed",
    "set_spindle",
    "write_register",
]

_MODES: Final[Mapping[Meaning, tuple[str, object]]] = {
    Meaning.PLANE_XY: ("plane", 0),
    Meaning.PLANE_ZX: ("plane", 1),
    Meaning.PLANE_YZ: ("plane", 2),
    Meaning.INCH: ("unit", "in"),
    Meaning.METRIC: ("unit", "mm"),
    Meaning.ABSOLUTE: ("absolute", True),
    Meaning.INCREMENTAL: ("absolute", False),
    Meaning.FEED_INVERSE: ("feed_mode", "inverse"),
    Meaning.FEED_MINUTE: ("feed_mode", "minute"),
    Meaning.FEED_TURN: ("feed_mode", "turn"),
    Meaning.EXACT_STOP: ("exact_stop", True),
    Meaning.PATH_MODE: ("exact_stop", False),
}

_MOST_REGISTER: Final = 99_999


def set_mode(run: Run, meaning: Meaning, column: int) -> None:
    """Change plane, unit, distance, feed or path mode.

    A change of the feed mode forgets the feed: its number meant something else.

    Raises
    ------
    Halt
        The plane changes while a cutter radius is in force (NISTIR 6556, 3.5.10).
    """
    name, value = _MODES[meaning]
    state = run.state
    before = getattr(state.force, name)
    if before == value:
        return
    if name == "plane" and state.force.cutter_side:
        raise Halt(Code.CUTTER_WORD, column, word=meaning.value)
    if name == "feed_mode":
        state.feed, run.feed_cause = nan, -1
    state.change(**{name: value})


def set_feed(run: Run, word: Given) -> None:
    """Set the feed; it stays what it is when the unit changes later.

    Raises
    ------
    Halt
        No unit is in force for a feed of lengths.
    """
    state = run.state
    state.feed, run.feed_cause = word.value, word.cause
    if state.force.feed_mode != "inverse":
        if state.force.unit is None:
            raise Halt(Code.UNIT_UNSET, word.column)
        state.feed_mm = state.unit_mm


def set_speed(run: Run, word: Given) -> None:
    """Set the spindle speed, turns a minute.

    Raises
    ------
    Halt
        It is below zero.
    """
    if word.value < 0.0:
        raise Halt(Code.NOT_WHOLE, word.column, word=word.text)
    run.state.change(speed_per_s=word.value / 60.0)


def set_spindle(run: Run, meaning: Meaning) -> None:
    """Start or stop the spindle."""
    way = {Meaning.SPINDLE_CLOCKWISE: 1, Meaning.SPINDLE_COUNTER: -1}.get(meaning, 0)
    if way != run.state.force.spindle:
        run.state.change(spindle=way)
    run.event(Kind.SPINDLE)


def change_tool(run: Run, column: int) -> None:
    """Put the called tool into the spindle; the spindle stops (NISTIR 6556, 3.6.3).

    Raises
    ------
    Halt
        No tool was called.
    """
    state = run.state
    if state.force.next_tool is None:
        raise Halt(Code.TOOL_UNSET, column)
    if state.force.cutter_side:
        raise Halt(Code.CUTTER_WORD, column, word=Meaning.TOOL_CHANGE.value)
    at = run.dialect.change_at
    # Up first, then sideways: the order that a change takes on machines with an upright spindle.
    for axes in ((2,), (0, 1), (3, 4)):
        target = Target(state.position.copy(), state.causes.copy())
        for axis in axes:
            if not isnan(at[axis]) and at[axis] != state.position[axis]:
                target.set(axis, at[axis], -1)
        if target.position != state.position:
            straight(run, Meaning.RAPID, target, column, flags=Flag.TO_REFERENCE)
    if state.force.spindle:
        state.change(spindle=0)
        run.event(Kind.SPINDLE)
    state.change(tool=state.force.next_tool)
    run.event(Kind.TOOL_CHANGE)


def set_length(run: Run, meaning: Meaning, register: Given | None, column: int) -> None:
    """Put a tool length in force or out of it; nothing moves.

    Raises
    ------
    Halt
        The register is missing where it is needed.
    """
    force = run.state.force
    before = force.length_mm
    if meaning is Meaning.LENGTH_OFF:
        run.state.change(length_register=None, length_mm=0.0)
    else:
        number = _length_register(run, register, column)
        # Register 0 is a length of zero (NISTIR 6556, 3.5.11).
        length = 0.0 if number == 0 else run.lengths.get(number, nan)
        run.length_minus = meaning is Meaning.LENGTH_MINUS
        if run.length_minus:
            length = -length
        run.state.change(length_register=number, length_mm=length)
    _length_changed(run, before)
    run.event(Kind.OFFSET_CHANGE)


def _length_changed(run: Run, before: float) -> None:
    now = run.state.force.length_mm
    if now != before:
        run.state.step_waits = True
        run.length_waiting += now - before


def _length_register(run: Run, register: Given | None, column: int) -> int:
    if register is not None:
        return whole(register, 0, _MOST_REGISTER)
    rule = run.dialect.length_without_register
    force = run.state.force
    if rule == "error":
        raise Halt(Code.LENGTH_MISSING, column)
    if rule == "tool" and force.tool is not None:
        return force.tool
    if rule == "last" and force.length_register is not None:
        return force.length_register
    raise Halt(Code.LENGTH_REGISTER_RULE, column)


def set_offset(run: Run, role: Role, word: Given, counter: Given | None) -> None:
    """Put a work offset in force; nothing moves.

    Raises
    ------
    Halt
        The family has no such member.
    """
    if role.meaning is Meaning.FAMILY:
        key = word.letter, round(10 * word.value)
        family = run.dialect.families.get(key)
        if family is None:
            raise Halt(Code.WORD_UNKNOWN, word.column, word=word.text)
        if counter is None:
            raise Halt(Code.WORD_COUNTER, word.column, word=word.text, letter=family.letter)
        name = member_name(word.text, family, whole(counter, 1, family.count))
    else:
        if not 1 <= role.index <= len(run.dialect.offset_names):
            raise Halt(Code.WORD_UNKNOWN, word.column, word=word.text)
        name = run.dialect.offset_names[role.index - 1]
    values = run.offsets.get(name, (nan,) * AXES)
    if name != run.state.force.offset or values != run.state.force.offset_values:
        run.state.change(offset=name, offset_values=values)
    run.event(Kind.OFFSET_CHANGE)


def member_name(word: str, family: Family, number: int) -> str:
    """Return the name of one member of a family of offsets, such as ``"G54.1 P7"``."""
    return f"{word} {family.letter}{number}"


def set_shift(run: Run, meaning: Meaning, words: AxisWords, column: int) -> None:
    """Shift all work offsets so that the present position gets new coordinates (G92), or back.

    Raises
    ------
    Halt
        No axis is named where one must be, or a shift of the other kind is in force.
    """
    state = run.state
    shift: list[float] = list(state.force.shift)
    local = meaning is Meaning.SHIFT_LOCAL
    if any(shift) and local is not run.shift_local:
        # Added up, or one in place of the other: controls differ.
        raise Halt(Code.SHIFT_TWICE, column)
    run.shift_local = local
    if meaning is Meaning.SHIFT_SET:
        # NISTIR 6556, 3.5.18; G91 makes no difference to it.
        if not words:
            raise Halt(Code.CYCLE_NO_DEPTH, column, word="X")
        for axis, word in words:
            zero = state.zero(axis)
            shift[axis] += state.position[axis] - zero - run.scaled(word, axis)
            if isnan(zero):
                zero_cause(run, axis, word.column)
            if isnan(state.position[axis]) and state.causes[axis] < 0:
                run.doubt(Code.POSITION_UNKNOWN, word.column, axis=axis)
        run.shift_kept = tuple(shift)
    elif local:
        for axis, word in words:
            shift[axis] = run.scaled(word, axis)
    elif meaning is Meaning.SHIFT_BACK:
        shift = list(run.shift_kept)
    else:
        if meaning is Meaning.SHIFT_ZERO:
            run.shift_kept = (0.0,) * AXES
        shift = [0.0] * AXES
    state.change(shift=tuple(shift))
    run.event(Kind.OFFSET_CHANGE)


def write_register(run: Run, given: Mapping[str, Given], words: AxisWords, column: int) -> None:
    """Write an offset, length or radius register in a declared form (G10).

    Raises
    ------
    Halt
        The form is not declared, or G91 is in force.
    """
    form = given.get("L")
    number = None if form is None else whole(form, 0, _MOST_REGISTER)
    write = None if number is None else run.dialect.writes.get(number)
    if form is None or write is None:
        text = "" if form is None else form.text
        raise Halt(Code.WRITE_UNKNOWN, column, form=text)
    counter = given.get("P")
    if counter is None:
        raise Halt(Code.WORD_COUNTER, column, word=form.text, letter="P")
    if run.state.force.absolute is not True:
        raise Halt(Code.WRITE_STEP, column)
    if write.target in ("length", "radius"):
        _write_number(run, write, counter, given, words)
        return
    if "R" in given:
        raise Halt(Code.WRITE_UNKNOWN, given["R"].column, form=given["R"].text)
    name = _written_name(run, write, counter)
    values = list(run.offsets.get(name, (nan,) * AXES))
    for axis, word in words:
        values[axis] = run.scaled(word, axis)
    run.offsets[name] = tuple(values)
    if name == run.state.force.offset:
        run.state.change(offset_values=tuple(values))
    run.event(Kind.OFFSET_CHANGE)


def _written_name(run: Run, write: Write, counter: Given) -> str:
    if write.target == "family" and write.family is not None:
        letter, tenths = write.family
        family = run.dialect.families.get(write.family)
        if family is None:
            raise Halt(Code.WRITE_UNKNOWN, counter.column, form=counter.text)
        return member_name(f"{letter}{tenths / 10:g}", family, whole(counter, 1, family.count))
    if counter.value == 0.0:  # a shift of all offsets on some controls
        raise Halt(Code.WRITE_UNKNOWN, counter.column, form=counter.text)
    return run.dialect.offset_names[whole(counter, 1, len(run.dialect.offset_names)) - 1]


def _write_number(
    run: Run, write: Write, counter: Given, given: Mapping[str, Given], words: AxisWords
) -> None:
    value = given.get("R")
    if value is None or words:
        at = words[0][1] if words else counter
        raise Halt(Code.WRITE_UNKNOWN, at.column, form=at.text)
    register = whole(counter, 1, _MOST_REGISTER)
    length = run.scaled(value)
    force = run.state.force
    if write.target == "radius":
        run.radii[register] = length
        if force.cutter_side:
            raise Halt(Code.CUTTER_WORD, counter.column, word=counter.text)
    else:
        run.lengths[register] = length
        if force.length_register == register:
            before = force.length_mm
            run.state.change(length_mm=-length if run.length_minus else length)
            _length_changed(run, before)
    run.event(Kind.OFFSET_CHANGE)


def set_cutter(run: Run, meaning: Meaning, register: Given | None, column: int) -> None:
    """Put the cutter radius in force, on a side, or out of it.

    Raises
    ------
    Halt
        Its register is missing or not known, or it changes while in force.
    """
    force = run.state.force
    if meaning is Meaning.CUTTER_OFF:
        if force.cutter_side:
            run.state.change(cutter_side=0, cutter_radius_mm=0.0)
        if run.cutter is not None and run.cutter.closing < 0:
            run.cutter.closing = run.rows.count
        return
    if register is None:
        raise Halt(Code.RADIUS_UNKNOWN, column, register=-1)
    number = whole(register, 0, _MOST_REGISTER)
    radius = 0.0 if number == 0 else run.radii.get(number, nan)
    if isnan(radius):
        raise Halt(Code.RADIUS_UNKNOWN, register.column, register=number)
    side = 1 if meaning is Meaning.CUTTER_LEFT else -1
    if force.cutter_side:
        if (side, radius) != (force.cutter_side, force.cutter_radius_mm):
            raise Halt(Code.CUTTER_WORD, column, word=meaning.value)
        return
    if force.plane is None:
        raise Halt(Code.PLANE_UNSET, column)
    if force.plane and run.plane is not None:
        # The plane's own axes lie askew to those of the machine.
        raise Halt(Code.CUTTER_WORD, column, word=meaning.value)
    if run.cutter is not None:  # the last stretch waits for its lead-out
        raise Halt(Code.CUTTER_WORD, column, word=meaning.value)
    run.state.change(cutter_side=side, cutter_radius_mm=radius)
    if radius != 0.0:
        run.cutter = CutterPath(
            first=run.rows.count,
            start=tuple(run.state.position),
            axes=PLANES[force.plane],
            side=side,
            radius_mm=radius,
            corner=run.dialect.cutter_corner,
            lead=run.dialect.cutter_lead,
        )


def dwell(run: Run, words: list[Given], column: int) -> None:
    """Wait.

    Raises
    ------
    Halt
        There is no time, or it is below zero.
    """
    if len(words) != 1:
        raise Halt(Code.DWELL_NEGATIVE if not words else Code.WORD_TWICE, column, word="P")
    run.event(Kind.DWELL, seconds=run.seconds(words[0]))


def is_mode(meaning: Meaning) -> bool:
    """Return whether a meaning is one that `set_mode` takes."""
    return meaning in _MODES
