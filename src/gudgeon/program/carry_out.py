"""What one block does: its words in the order of execution, whatever order they stand in."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from math import nan
from typing import Final

from gudgeon.program import drill, moves, settings, turned_work
from gudgeon.program.blocks import Word
from gudgeon.program.dialect import CYCLES, GROUPS, MOTIONS, Dialect, Meaning, Role
from gudgeon.program.doubts import Code, Halt
from gudgeon.program.moves import AxisWords
from gudgeon.program.run import Given, Run, Sticky, whole
from gudgeon.program.track import Flag, Kind

__all__ = ["Jump", "carry_out", "role_of"]

_ARCS: Final = frozenset({Meaning.ARC_CLOCKWISE, Meaning.ARC_COUNTER})
_LENGTHS: Final = frozenset({Meaning.LENGTH_PLUS, Meaning.LENGTH_MINUS})
_CUTTERS: Final = frozenset({Meaning.CUTTER_LEFT, Meaning.CUTTER_RIGHT})
_TAKES_AXES: Final = frozenset(
    {
        Meaning.RETURN_TO,
        Meaning.SHIFT_SET,
        Meaning.SHIFT_LOCAL,
        Meaning.WRITE,
        Meaning.TILTED_PLANE,
    }
)
_ALWAYS: Final = frozenset("FST")
_TOO_LARGE: Final = 1e15
"""No control holds such a number in a word; its square would be beyond ours."""
_AXIS_LETTERS: Final = "XYZABC"

_GROUP_OF: Final = {meaning: name for name, group in GROUPS.items() for meaning in group}

# Order of execution, NISTIR 6556 Table 8; the unit first, so that F of the same block is in it.
_SPINDLE: Final = (Meaning.SPINDLE_CLOCKWISE, Meaning.SPINDLE_COUNTER, Meaning.SPINDLE_OFF)
_FIRST: Final = (
    Meaning.INCH,
    Meaning.METRIC,
    Meaning.FEED_INVERSE,
    Meaning.FEED_MINUTE,
    Meaning.FEED_TURN,
)
_MIDDLE: Final = (
    Meaning.PLANE_XY,
    Meaning.PLANE_ZX,
    Meaning.PLANE_YZ,
)
_LAST: Final = (Meaning.ABSOLUTE, Meaning.INCREMENTAL)
_SHIFTS: Final = (
    Meaning.SHIFT_SET,
    Meaning.SHIFT_ZERO,
    Meaning.SHIFT_OFF,
    Meaning.SHIFT_BACK,
    Meaning.SHIFT_LOCAL,
)


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


def role_of(dialect: Dialect, letter: str, value: float, column: int) -> Role:
    """Return what a G or M word means.

    Raises
    ------
    Halt
        It is not known.
    """
    tenths = round(value * 10.0) if abs(value) < 1e6 else -1
    role = dialect.words.get((letter, tenths)) if abs(value * 10.0 - tenths) < 1e-6 else None
    if role is None:
        raise Halt(Code.WORD_UNKNOWN, column, word=f"{letter}{value:.15g}")
    return role


class _Parts:
    """The words of a block, sorted."""

    __slots__ = ("axes", "given", "roles")

    def __init__(self) -> None:
        self.roles: dict[Meaning, tuple[Role, Given]] = {}
        self.given: dict[str, Given] = {}
        self.axes: AxisWords = []

    def word(self, meaning: Meaning) -> Given:
        return self.roles[meaning][1]

    def first(self, meanings: Iterable[Meaning]) -> Meaning | None:
        return next((meaning for meaning in meanings if meaning in self.roles), None)


def carry_out(run: Run, words: list[Word]) -> Jump | None:
    """Carry out the words of a block.

    Parameters
    ----------
    run : Run
    words : list of Word
        In any order.

    Returns
    -------
    Jump or None
        None: on to the next block.

    Raises
    ------
    Halt
        The block cannot be carried out; it may have been begun.
    """
    parts = _sort(run, words)
    if not parts.roles:
        _plain(run, parts)
        return None
    if Meaning.MACRO in parts.roles:
        return _macro(run, words, parts)
    roles = parts.roles
    motion = _motion(run, parts)
    _check_taken(run, parts, motion)
    for meaning in _FIRST:
        if meaning in roles:
            settings.set_mode(run, meaning, parts.word(meaning).column)
    _numbers(run, parts.given, changes=Meaning.TOOL_CHANGE in roles)
    if Meaning.TOOL_CHANGE in roles:
        settings.change_tool(run, parts.word(Meaning.TOOL_CHANGE).column)
    _machine_words(run, parts)
    _modes(run, parts)
    _once(run, parts)
    _move(run, parts, motion)
    return _after(run, parts)


def _plain(run: Run, parts: _Parts) -> None:
    # No G or M word: the motion in force goes on; most blocks of a long program are such.
    motion = run.state.motion
    _check_taken(run, parts, motion)
    _numbers(run, parts.given)
    _move(run, parts, motion)


# --- sorting ------------------------------------------------------------------------------------


def _sort(run: Run, words: list[Word]) -> _Parts:
    parts = _Parts()
    dialect, given = run.dialect, parts.given
    for word in words:
        if word.worked is None:
            value = word.number
            one = Given(word.letter, value, word.column, word.has_point)
        else:
            found, cause = run.value(word)
            if found is None:  # an empty variable: as if the word were not there
                continue
            value = found
            one = Given(word.letter, value, word.column, True, cause)
        if abs(value) >= _TOO_LARGE:
            raise Halt(Code.NUMBER, word.column, word=one.text)
        if word.letter == "G" or word.letter == "M":
            if value != value:
                raise Halt(Code.UNKNOWN_BRANCH, word.column, word=word.letter)
            role = role_of(dialect, word.letter, value, word.column)
            _add_role(parts, role, one)
        elif word.letter in given:
            if Meaning.MACRO not in parts.roles:
                raise Halt(Code.WORD_TWICE, word.column, word=word.letter)
        else:
            given[word.letter] = one
    if Meaning.MACRO in parts.roles:
        return parts
    for letter, one in given.items():
        axis = dialect.axes.get(letter)
        if axis is not None:
            parts.axes.append((axis, one))
    parts.axes.sort(key=lambda item: item[0])
    if parts.axes:
        run.column = min(one.column for _, one in parts.axes)
    elif words:
        run.column = words[0].column
    return parts


def _add_role(parts: _Parts, role: Role, one: Given) -> None:
    meaning = role.meaning
    if meaning is Meaning.NO_MOTION:
        parts.roles.setdefault(meaning, (role, one))
        return
    if meaning in parts.roles:
        raise Halt(Code.GROUP_TWICE, one.column, first=parts.word(meaning).text, second=one.text)
    group = _GROUP_OF.get(meaning)
    if group is not None:
        for other, (_, word) in parts.roles.items():
            if _GROUP_OF.get(other) == group and not _may_share(meaning, other):
                raise Halt(Code.GROUP_TWICE, one.column, first=word.text, second=one.text)
    parts.roles[meaning] = role, one


def _may_share(one: Meaning, other: Meaning) -> bool:
    # A safe line ends a cycle and sets a motion in one block (common practice, no source).
    pair = {one, other}
    return Meaning.CYCLE_OFF in pair and not pair & CYCLES


def _motion(run: Run, parts: _Parts) -> Meaning | None:
    """Return the motion that axis words of this block would make."""
    named = [meaning for meaning in parts.roles if meaning in MOTIONS]
    other = [meaning for meaning in named if meaning is not Meaning.CYCLE_OFF]
    if other:
        return other[0]
    if named:
        return _after_cycle(run)
    return run.state.motion


def _after_cycle(run: Run) -> Meaning | None:
    # The word takes the motion away even where no cycle is in force (NISTIR 6556, 3.5.15).
    if run.dialect.after_cycle_off == "rapid":
        return Meaning.RAPID
    if run.dialect.after_cycle_off == "motion before":
        state = run.state
        return run.motion_before_cycle if state.force.cycle is not None else state.motion
    return Meaning.CYCLE_OFF


def _taken(run: Run, parts: _Parts, motion: Meaning | None) -> set[str]:
    """Return the letters that something in the block takes."""
    roles = parts.roles
    taken: set[str] = set(_ALWAYS)
    if Meaning.DWELL in roles:
        return taken | set("PXU")
    if Meaning.WRITE in roles:
        return taken | set("LPR") | set(run.dialect.axes)
    if Meaning.TILTED_PLANE in roles:
        word = parts.word(Meaning.TILTED_PLANE)
        plane = run.dialect.planes.get((word.letter, round(10 * word.value)))
        if plane is not None:
            taken |= set(plane.origin) | set(plane.angles)
    else:
        taken |= set(run.dialect.axes)
    if motion in _ARCS:
        taken |= set("IJKR")
    elif motion in CYCLES:
        taken |= set("RPQIJK") | {run.dialect.repeat_letter}
    if _LENGTHS & roles.keys():
        taken.add("H")
    if _CUTTERS & roles.keys():
        taken.add("D")
    if Meaning.CALL in roles:
        taken |= set("PL")
    if Meaning.RETURN in roles:
        taken.add("P")
    if Meaning.FAMILY in roles:
        word = parts.word(Meaning.FAMILY)
        family = run.dialect.families.get((word.letter, round(10 * word.value)))
        if family is not None:
            taken.add(family.letter)
    if Meaning.TOOL_POINT in roles:
        taken.add("H")
    return taken


def _check_taken(run: Run, parts: _Parts, motion: Meaning | None) -> None:
    if not parts.roles:
        taken = run.taken.get(motion)
        if taken is None:
            taken = run.taken[motion] = _taken(run, parts, motion)
        if parts.given.keys() <= taken:
            return
    else:
        taken = _taken(run, parts, motion)
    for letter, one in parts.given.items():
        if letter in taken:
            continue
        if letter in _AXIS_LETTERS and letter not in run.dialect.axes:
            raise Halt(Code.AXIS_UNKNOWN, one.column, letter=letter)
        known = letter in "DHIJKLPQR" or letter in run.dialect.axes
        code = Code.WORD_UNUSED if known else Code.WORD_UNKNOWN
        raise Halt(code, one.column, word=one.text)
    takers = [meaning for meaning in parts.roles if meaning in _TAKES_AXES]
    explicit = parts.first(MOTIONS - {Meaning.CYCLE_OFF})
    if explicit is Meaning.RAPID and Meaning.RETURN_TO in parts.roles:
        explicit = None  # a return is made at rapid; many write the word (common practice)
    dwell = Meaning.DWELL in parts.roles and "X" in parts.given
    if parts.axes and (takers or dwell) and explicit is not None:
        first = takers[0] if takers else Meaning.DWELL
        raise Halt(
            Code.AXIS_WORDS_CLASH,
            parts.word(explicit).column,
            first=parts.word(first).text,
            second=parts.word(explicit).text,
        )
    if Meaning.MACHINE in parts.roles and takers:
        raise Halt(
            Code.AXIS_WORDS_CLASH,
            parts.word(Meaning.MACHINE).column,
            first=parts.word(takers[0]).text,
            second=parts.word(Meaning.MACHINE).text,
        )


# --- carrying out -------------------------------------------------------------------------------


def _numbers(run: Run, given: Mapping[str, Given], *, changes: bool = False) -> None:
    if "F" in given:
        settings.set_feed(run, given["F"])
    if "S" in given:
        settings.set_speed(run, given["S"])
    if "T" in given:
        tool, force = whole(given["T"], 0, 99_999_999), run.state.force
        waits = force.next_tool not in (None, force.tool, tool)
        if changes and waits:
            raise Halt(Code.TOOL_WAITS, given["T"].column, tool=tool, waiting=force.next_tool or 0)
        run.state.change(next_tool=tool)


def _machine_words(run: Run, parts: _Parts) -> None:
    spindle = parts.first(_SPINDLE)
    if spindle is not None:
        settings.set_spindle(run, spindle)
    if Meaning.NO_MOTION in parts.roles:
        run.event(Kind.OTHER)
    if Meaning.DWELL in parts.roles:
        times = [parts.given[letter] for letter in "PXU" if letter in parts.given]
        settings.dwell(run, times, parts.word(Meaning.DWELL).column)


def _modes(run: Run, parts: _Parts) -> None:
    roles, given = parts.roles, parts.given
    plane = parts.first(_MIDDLE)
    if plane is not None:
        settings.set_mode(run, plane, parts.word(plane).column)
    cutter = parts.first((Meaning.CUTTER_OFF, *sorted(_CUTTERS)))
    if cutter is not None:
        settings.set_cutter(run, cutter, given.get("D"), parts.word(cutter).column)
    length = parts.first((Meaning.LENGTH_OFF, *sorted(_LENGTHS)))
    if length is not None:
        settings.set_length(run, length, given.get("H"), parts.word(length).column)
    offset = parts.first((Meaning.OFFSET, Meaning.FAMILY))
    if offset is not None:
        role, word = roles[offset]
        family = run.dialect.families.get((word.letter, round(10 * word.value)))
        counter = given.get(family.letter) if family is not None else None
        settings.set_offset(run, role, word, counter)
    for meaning in _LAST:
        if meaning in roles:
            settings.set_mode(run, meaning, parts.word(meaning).column)
    if Meaning.RETURN_INITIAL in roles:
        run.to_first_level = True
    elif Meaning.RETURN_R in roles:
        run.to_first_level = False


def _once(run: Run, parts: _Parts) -> None:
    roles = parts.roles
    shift = parts.first(_SHIFTS)
    if shift is not None:
        settings.set_shift(run, shift, parts.axes, parts.word(shift).column)
    elif Meaning.WRITE in roles:
        settings.write_register(run, parts.given, parts.axes, parts.word(Meaning.WRITE).column)
    elif Meaning.RETURN_TO in roles:
        role, word = roles[Meaning.RETURN_TO]
        force = run.state.force
        if force.cutter_side or force.plane_tilted or force.tool_point:
            raise Halt(Code.RETURN_NOT_ALONE, word.column, word=word.text)
        moves.return_to(run, role.index, parts.axes, word)
    for meaning in (Meaning.TILTED_PLANE, Meaning.TILTED_OFF, Meaning.TURN_TO_PLANE):
        if meaning in roles:
            turned_work.set_plane(run, meaning, parts.word(meaning), parts.given)
    if Meaning.TOOL_POINT in roles:
        turned_work.set_tool_point(run, parts.word(Meaning.TOOL_POINT), parts.given.get("H"))
    elif Meaning.TOOL_POINT_OFF in roles or Meaning.LENGTH_OFF in roles:
        turned_work.tool_point_off(run)


def _move(run: Run, parts: _Parts, motion: Meaning | None) -> None:
    """Carry out the block's motion, if it has one, and keep its motion word."""
    roles, given, state = parts.roles, parts.given, run.state
    explicit = parts.first(MOTIONS - {Meaning.CYCLE_OFF})
    if explicit is not None or Meaning.CYCLE_OFF in roles:
        _keep_motion(run, motion)
    if _TAKES_AXES & roles.keys() or Meaning.DWELL in roles:
        return
    words = parts.axes
    centre = {letter: given[letter] for letter in "IJKR" if letter in given}
    if not words and not (centre and motion in _ARCS):
        if explicit in _ARCS and (centre or "F" not in given):
            raise Halt(Code.ARC_NO_CENTRE, parts.word(explicit).column)
        if explicit in CYCLES and "R" not in given:
            raise Halt(Code.CYCLE_NO_DEPTH, parts.word(explicit).column, word="Z")
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
    elif motion in _ARCS:
        _need_inverse_feed(run, parts, motion)
        turned_work.block(run, words, column, lambda: moves.arc(run, motion, words, centre, column))
    else:
        _need_inverse_feed(run, parts, motion)
        turned_work.straight(run, motion, words, column)
    if state.force.feed_mode == "inverse" and motion is not Meaning.RAPID:
        state.feed, run.feed_cause = nan, -1


def _in_machine(run: Run, parts: _Parts, motion: Meaning | None) -> None:
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


def _need_inverse_feed(run: Run, parts: _Parts, motion: Meaning) -> None:
    # In inverse time every feed block says its own (NISTIR 6556, 3.5.19).
    inverse = run.state.force.feed_mode == "inverse" and motion is not Meaning.RAPID
    if inverse and "F" not in parts.given:
        raise Halt(Code.FEED_MISSING, run.column)


def _after(run: Run, parts: _Parts) -> Jump | None:
    roles = parts.roles
    stop = parts.first((Meaning.STOP, Meaning.OPTIONAL_STOP, Meaning.END))
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


def _macro(run: Run, words: list[Word], parts: _Parts) -> Jump:
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
