"""What one block does: its words in the order of execution, whatever order they stand in."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from math import nan
from typing import Final

from gudgeon.program import drill, moves, settings, turned_work
from gudgeon.program.blocks import Block, Word
from gudgeon.program.dialect import CYCLES, Meaning
from gudgeon.program.doubts import Code, Halt
from gudgeon.program.run import Given, Run, Sticky, whole
from gudgeon.program.sorting import (
    ARCS,
    NAMED_MOTIONS,
    TAKES_AXES,
    Parts,
    check,
    motion_of,
    sort,
)
from gudgeon.program.track import Flag, Kind

__all__ = ["Jump", "carry_out"]


@dataclass(slots=True)
class Jump:
    """Where the reader goes after a block.

    Attributes
    ----------
    kind : str
        ``"end"``, ``"call"``, ``"macro"``, ``"return"``.
    number : int or None
        Program called, or block number to return to.
    repeats : int
    arguments : dict of variable number to value
    causes : dict of variable number to doubt index
    column : int
    """

    kind: str
    number: int | None = None
    repeats: int = 1
    arguments: dict[int, float | None] = field(default_factory=dict)
    causes: dict[int, int] = field(default_factory=dict)
    column: int = 0


def carry_out(run: Run, block: Block) -> Jump | None:
    """Carry out the words of a block.

    Parameters
    ----------
    run : Run
    block : Block

    Returns
    -------
    Jump or None
        None: on to the next block.

    Raises
    ------
    Halt
        The block cannot be carried out; it may have been begun.
    """
    parts = sort(run, block)
    roles = parts.roles
    if Meaning.MACRO in roles:
        return _macro(run, block.words, parts)
    motion = motion_of(run, parts) if roles else run.state.motion
    if motion not in block.checked:
        check(run, parts, motion)
        if block.sorted is parts:
            block.checked.add(motion)
    if not roles:
        # The motion in force goes on; most blocks of a long program are such.
        _numbers(run, parts)
        _move(run, parts, motion)
        return None
    before, after = [], []
    for meaning in roles:
        if meaning in _BEFORE_NUMBERS:
            before.append(meaning)
        elif meaning in _ORDER:
            after.append(meaning)
    for meaning in before:
        settings.set_mode(run, meaning, parts.word(meaning).column)
    _numbers(run, parts)
    if len(after) > 1:
        after.sort(key=_ORDER.__getitem__)
    for meaning in after:
        _ACTIONS[meaning](run, parts, meaning)
    _move(run, parts, motion)
    return _after(run, parts)


# --- actions ------------------------------------------------------------------------------------


def _numbers(run: Run, parts: Parts) -> None:
    given = parts.given
    if "F" in given:
        settings.set_feed(run, given["F"])
    if "S" in given:
        settings.set_speed(run, given["S"])
    if "T" in given:
        tool, force = whole(given["T"], 0, 99_999_999), run.state.force
        waits = force.next_tool not in (None, force.tool, tool)
        if waits and Meaning.TOOL_CHANGE in parts.roles:
            raise Halt(Code.TOOL_WAITS, given["T"].column, tool=tool, waiting=force.next_tool or 0)
        run.state.change(next_tool=tool)


def _change_tool(run: Run, parts: Parts, meaning: Meaning) -> None:
    settings.change_tool(run, parts.word(meaning).column)


def _set_spindle(run: Run, parts: Parts, meaning: Meaning) -> None:
    settings.set_spindle(run, meaning)


def _no_motion(run: Run, parts: Parts, meaning: Meaning) -> None:
    run.event(Kind.OTHER, flags=parts.roles[meaning][0].index)


def _dwell(run: Run, parts: Parts, meaning: Meaning) -> None:
    times = [parts.given[letter] for letter in "PXU" if letter in parts.given]
    settings.dwell(run, times, parts.word(meaning).column)


def _set_mode(run: Run, parts: Parts, meaning: Meaning) -> None:
    settings.set_mode(run, meaning, parts.word(meaning).column)


def _set_cutter(run: Run, parts: Parts, meaning: Meaning) -> None:
    settings.set_cutter(run, meaning, parts.given.get("D"), parts.word(meaning).column)


def _set_length(run: Run, parts: Parts, meaning: Meaning) -> None:
    settings.set_length(run, meaning, parts.given.get("H"), parts.word(meaning).column)
    if meaning is Meaning.LENGTH_OFF:
        turned_work.tool_point_off(run)


def _set_offset(run: Run, parts: Parts, meaning: Meaning) -> None:
    role, word = parts.roles[meaning]
    family = run.dialect.families.get((word.letter, round(10 * word.value)))
    counter = parts.given.get(family.letter) if family is not None else None
    settings.set_offset(run, role, word, counter)


def _set_return_level(run: Run, parts: Parts, meaning: Meaning) -> None:
    run.to_first_level = meaning is Meaning.RETURN_INITIAL


def _set_shift(run: Run, parts: Parts, meaning: Meaning) -> None:
    settings.set_shift(run, meaning, parts.axes, parts.word(meaning).column)


def _write(run: Run, parts: Parts, meaning: Meaning) -> None:
    settings.write_register(run, parts.given, parts.axes, parts.word(meaning).column)


def _return_to(run: Run, parts: Parts, meaning: Meaning) -> None:
    role, word = parts.roles[meaning]
    force = run.state.force
    if force.cutter_side or force.plane_tilted or force.tool_point:
        raise Halt(Code.RETURN_NOT_ALONE, word.column, word=word.text)
    moves.return_to(run, role.index, parts.axes, word)


def _set_plane(run: Run, parts: Parts, meaning: Meaning) -> None:
    turned_work.set_plane(run, meaning, parts.word(meaning), parts.given)


def _set_tool_point(run: Run, parts: Parts, meaning: Meaning) -> None:
    turned_work.set_tool_point(run, parts.word(meaning), parts.given.get("H"))


def _tool_point_off(run: Run, parts: Parts, meaning: Meaning) -> None:
    turned_work.tool_point_off(run)


# Order of execution, NISTIR 6556 Table 8; the unit before F, so that F of the same block is in it.
_BEFORE_NUMBERS: Final = frozenset(
    {
        Meaning.INCH,
        Meaning.METRIC,
        Meaning.FEED_INVERSE,
        Meaning.FEED_MINUTE,
        Meaning.FEED_TURN,
    }
)
_ACTIONS: Final[dict[Meaning, Callable[[Run, Parts, Meaning], None]]] = {
    Meaning.TOOL_CHANGE: _change_tool,
    Meaning.SPINDLE_CLOCKWISE: _set_spindle,
    Meaning.SPINDLE_COUNTER: _set_spindle,
    Meaning.SPINDLE_OFF: _set_spindle,
    Meaning.NO_MOTION: _no_motion,
    Meaning.DWELL: _dwell,
    Meaning.PLANE_XY: _set_mode,
    Meaning.PLANE_ZX: _set_mode,
    Meaning.PLANE_YZ: _set_mode,
    Meaning.CUTTER_OFF: _set_cutter,
    Meaning.CUTTER_LEFT: _set_cutter,
    Meaning.CUTTER_RIGHT: _set_cutter,
    Meaning.LENGTH_OFF: _set_length,
    Meaning.LENGTH_PLUS: _set_length,
    Meaning.LENGTH_MINUS: _set_length,
    Meaning.OFFSET: _set_offset,
    Meaning.FAMILY: _set_offset,
    Meaning.ABSOLUTE: _set_mode,
    Meaning.INCREMENTAL: _set_mode,
    Meaning.EXACT_STOP: _set_mode,
    Meaning.PATH_MODE: _set_mode,
    Meaning.RETURN_INITIAL: _set_return_level,
    Meaning.RETURN_R: _set_return_level,
    Meaning.SHIFT_SET: _set_shift,
    Meaning.SHIFT_ZERO: _set_shift,
    Meaning.SHIFT_OFF: _set_shift,
    Meaning.SHIFT_BACK: _set_shift,
    Meaning.SHIFT_LOCAL: _set_shift,
    Meaning.WRITE: _write,
    Meaning.RETURN_TO: _return_to,
    Meaning.TILTED_PLANE: _set_plane,
    Meaning.TILTED_OFF: _set_plane,
    Meaning.TURN_TO_PLANE: _set_plane,
    Meaning.TOOL_POINT: _set_tool_point,
    Meaning.TOOL_POINT_OFF: _tool_point_off,
}
_ORDER: Final = {meaning: place for place, meaning in enumerate(_ACTIONS)}
_TAKE_P: Final = frozenset({Meaning.CALL, Meaning.RETURN, Meaning.FAMILY})
_STOPS: Final = frozenset({Meaning.STOP, Meaning.OPTIONAL_STOP, Meaning.END})


# --- motion -------------------------------------------------------------------------------------


def _move(run: Run, parts: Parts, motion: Meaning | None) -> None:
    """Carry out the block's motion, if it has one, and keep its motion word."""
    roles, given, state = parts.roles, parts.given, run.state
    explicit = None
    if roles:
        explicit = parts.one_of(NAMED_MOTIONS)
        if explicit is not None or Meaning.CYCLE_OFF in roles:
            _keep_motion(run, motion)
        if Meaning.DWELL in roles or not TAKES_AXES.isdisjoint(roles):
            return
    words = parts.axes
    centre = {letter: given[letter] for letter in "IJKR" if letter in given}
    if not words and not (centre and motion in ARCS):
        if explicit in ARCS and (centre or "F" not in given):
            raise Halt(Code.ARC_NO_CENTRE, parts.word(explicit).column)
        if explicit in CYCLES and "R" not in given:
            raise Halt(Code.CYCLE_NO_DEPTH, parts.word(explicit).column, word="Z")
        if motion in CYCLES:
            _no_words_of_a_cycle(run, parts)
        return
    column = run.column if words else min(one.column for one in centre.values())
    run.column = column
    if Meaning.MACHINE in roles:
        _in_machine(run, parts, motion)
    elif motion is None or motion is Meaning.CYCLE_OFF:
        off = motion is not None and run.dialect.after_cycle_off == "error"
        raise Halt(Code.MOTION_OFF if off else Code.MOTION_UNSET, column)
    elif motion in CYCLES:
        word = parts.word(motion) if motion in roles else words[0][1]
        turned_work.block(
            run, words, word.column, lambda: drill.drill(run, motion, words, given, word.column)
        )
    elif motion in ARCS:
        _need_inverse_feed(run, parts, motion)
        turned_work.block(run, words, column, lambda: moves.arc(run, motion, words, centre, column))
    else:
        _need_inverse_feed(run, parts, motion)
        turned_work.straight(run, motion, words, column)
    if state.force.feed_mode == "inverse" and motion is not Meaning.RAPID:
        state.feed, run.feed_cause = nan, -1


def _no_words_of_a_cycle(run: Run, parts: Parts) -> None:
    """Halt at words of a cycle without axis words.

    One control drills again, another keeps the words for the next hole, a third stops (NISTIR 6556,
    3.5.16).
    """
    if not parts.roles.keys().isdisjoint(_TAKE_P):
        return
    for letter, one in parts.given.items():
        if letter in "RQPIJK" or letter == run.dialect.repeat_letter:
            raise Halt(Code.WORD_UNUSED, one.column, word=one.text)


def _in_machine(run: Run, parts: Parts, motion: Meaning | None) -> None:
    word = parts.word(Meaning.MACHINE)
    if motion is None:
        raise Halt(Code.MOTION_UNSET, word.column)
    if motion not in (Meaning.RAPID, Meaning.LINE):
        raise Halt(Code.MACHINE_MOTION, word.column)
    force = run.state.force
    if force.cutter_side or force.plane_tilted or force.tool_point:
        raise Halt(Code.RETURN_NOT_ALONE, word.column, word=word.text)
    target = moves.machine_target(run, parts.axes, word.column)
    moves.straight(run, motion, target, run.column)


def _keep_motion(run: Run, motion: Meaning | None) -> None:
    state = run.state
    if motion in CYCLES:
        if state.force.cycle is None:
            run.motion_before_cycle = state.motion
            run.sticky = Sticky()
            run.cycle_begins = True
        if state.force.cycle != motion.value:
            state.change(cycle=motion.value)
    elif state.force.cycle is not None:
        state.change(cycle=None)
    state.motion = motion


def _need_inverse_feed(run: Run, parts: Parts, motion: Meaning) -> None:
    # In inverse time every feed block says its own (NISTIR 6556, 3.5.19).
    inverse = run.state.force.feed_mode == "inverse" and motion is not Meaning.RAPID
    if inverse and "F" not in parts.given:
        raise Halt(Code.FEED_MISSING, run.column)


def _after(run: Run, parts: Parts) -> Jump | None:
    roles = parts.roles
    stop = parts.one_of(_STOPS)
    if stop is not None:
        if stop is Meaning.END and run.state.force.spindle:
            run.state.change(spindle=0)
        flags = {Meaning.OPTIONAL_STOP: Flag.OPTIONAL, Meaning.END: Flag.END}.get(stop, Flag(0))
        run.column = parts.word(stop).column
        run.event(Kind.STOP, flags=flags)
        if stop is Meaning.END:
            return Jump("end")
    if Meaning.CALL in roles:
        return _call(run, parts.given, parts.word(Meaning.CALL))
    if Meaning.RETURN in roles:
        label = parts.given.get("P")
        number = None if label is None else whole(label, 0, 99_999_999)
        return Jump("return", number, column=parts.word(Meaning.RETURN).column)
    return None


def _call(run: Run, given: Mapping[str, Given], word: Given) -> Jump:
    number = given.get("P")
    if number is None:
        raise Halt(Code.CALL_FORM, word.column, word=word.text)
    called = whole(number, 0, 99_999_999)
    repeats = 1 if "L" not in given else whole(given["L"], 0, 99_999_999)
    if called > 9999:
        if not run.dialect.packed_calls or "L" in given:
            raise Halt(Code.CALL_FORM, number.column, word=number.text)
        repeats, called = divmod(called, 10_000)
    return Jump("call", called, repeats, column=word.column)


def _macro(run: Run, words: list[Word], parts: Parts) -> Jump:
    """Return the macro call of a block: letters after its word are arguments."""
    word = parts.word(Meaning.MACRO)
    if len(parts.roles) > 1 or "P" not in parts.given:
        raise Halt(Code.CALL_FORM, word.column, word=word.text)
    number = whole(parts.given["P"], 0, 99_999_999)
    repeats = 1 if "L" not in parts.given else whole(parts.given["L"], 0, 99_999_999)
    jump = Jump("macro", number, repeats, column=word.column)
    for one in words:
        if one.letter in "GPLO":
            continue
        place = run.dialect.arguments.get(one.letter)
        # A letter twice, or before its call, means different things on different controls.
        if place is None or place in jump.arguments or one.column < word.column:
            raise Halt(Code.CALL_FORM, one.column, word=one.letter)
        value, cause = run.value(one)
        jump.arguments[place] = value
        if cause >= 0:
            jump.causes[place] = cause
    return jump
