"""The words of a block, sorted: what each means, what takes which letter, what may not meet."""

from __future__ import annotations

from collections.abc import Mapping, Set
from typing import Final

from gudgeon.program.blocks import Block
from gudgeon.program.dialect import CYCLES, GROUPS, MOTIONS, Dialect, Meaning, Role
from gudgeon.program.doubts import Code, Halt
from gudgeon.program.moves import AxisWords
from gudgeon.program.run import Given, Run

__all__ = [
    "ARCS",
    "NAMED_MOTIONS",
    "TAKES_AXES",
    "Parts",
    "check",
    "motion_of",
    "role_of",
    "sort",
]

ARCS: Final = frozenset({Meaning.ARC_CLOCKWISE, Meaning.ARC_COUNTER})
_LENGTHS: Final = frozenset({Meaning.LENGTH_PLUS, Meaning.LENGTH_MINUS})
_CUTTERS: Final = frozenset({Meaning.CUTTER_LEFT, Meaning.CUTTER_RIGHT})
NAMED_MOTIONS: Final = MOTIONS - {Meaning.CYCLE_OFF}
TAKES_AXES: Final = frozenset(
    {
        Meaning.RETURN_TO,
        Meaning.SHIFT_SET,
        Meaning.SHIFT_LOCAL,
        Meaning.WRITE,
        Meaning.TILTED_PLANE,
    }
)
_ALWAYS: Final = frozenset("FST")
_CYCLE_LETTERS: Final[Mapping[Meaning, frozenset[str]]] = {
    # NISTIR 6556, 3.5.16. Elsewhere they mean something else from control to control: K counts
    # repeats on many, I and J make pecks smaller, Q makes tapping peck.
    Meaning.PECK: frozenset("Q"),
    Meaning.CHIP_BREAK: frozenset("Q"),
    Meaning.FINE_BORE: frozenset("Q"),
    Meaning.BACK_BORE: frozenset("QIJK"),
}
_TOO_LARGE: Final = 1e15
"""No control holds such a number in a word; its square would be beyond ours."""
_AXIS_LETTERS: Final = "XYZABC"

_GROUP_OF: Final = {meaning: name for name, group in GROUPS.items() for meaning in group}


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


class Parts:
    """The words of a block, sorted.

    Attributes
    ----------
    roles : dict of Meaning to (Role, Given)
        Of the G and M words.
    given : dict of letter to Given
        All other words.
    axes : list of (joint index, Given)
    column : int
        Of the first axis word, else of the first word.
    """

    __slots__ = ("axes", "column", "given", "roles")

    def __init__(self) -> None:
        self.roles: dict[Meaning, tuple[Role, Given]] = {}
        self.given: dict[str, Given] = {}
        self.axes: AxisWords = []
        self.column = 0

    def word(self, meaning: Meaning) -> Given:
        """Return the word that has a meaning."""
        return self.roles[meaning][1]

    def one_of(self, meanings: Set[Meaning]) -> Meaning | None:
        """Return the word of a modal group, of which a block has at most one."""
        for meaning in self.roles:
            if meaning in meanings:
                return meaning
        return None


def sort(run: Run, block: Block) -> Parts:
    """Work out the values of a block's words and sort them; a program number is left out.

    Raises
    ------
    Halt
        A word is not known, stands twice, or clashes with another of its modal group.
    """
    parts = block.sorted
    if not isinstance(parts, Parts):
        parts = _sorted(run, block)
        if Meaning.MACRO not in parts.roles and all(one.worked is None for one in block.words):
            block.sorted = parts  # nothing in it can change
    run.column = parts.column
    return parts


def _sorted(run: Run, block: Block) -> Parts:
    parts = Parts()
    dialect, given = run.dialect, parts.given
    for place, word in enumerate(block.words):
        if place == 0 and word.letter == "O":
            continue
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
        parts.column = min(one.column for _, one in parts.axes)
    elif block.words:
        parts.column = block.words[0].column
    return parts


def _add_role(parts: Parts, role: Role, one: Given) -> None:
    meaning = role.meaning
    if meaning is Meaning.NO_MOTION:
        before = parts.roles.get(meaning)
        if before is None:
            parts.roles[meaning] = role, one
        elif role.index:  # several in one block make one row that holds what they all clamp
            parts.roles[meaning] = Role(meaning, before[0].index | role.index), before[1]
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


def motion_of(run: Run, parts: Parts) -> Meaning | None:
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


def _taken(run: Run, parts: Parts, motion: Meaning | None) -> set[str]:
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
    if motion in ARCS:
        taken |= set("IJKR")
    elif motion in CYCLES:
        assert motion is not None
        taken |= {"R", "P", run.dialect.repeat_letter} | _CYCLE_LETTERS.get(motion, frozenset())
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


def check(run: Run, parts: Parts, motion: Meaning | None) -> None:
    """Make sure that something in the block takes each letter, and one thing only the axes.

    Raises
    ------
    Halt
        Nothing takes a word, or two words want the same axis words.
    """
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
    takers = [meaning for meaning in parts.roles if meaning in TAKES_AXES]
    explicit = parts.one_of(NAMED_MOTIONS)
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
