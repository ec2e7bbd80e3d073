"""What the reader of a program could not take as it stands: always with its place.

An engine knows no sentence: a doubt carries a code, its place and the words or numbers at issue;
the sentence and the mend are made above, one for each code.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum, StrEnum
from typing import Final

__all__ = ["Code", "Doubt", "Grade", "Halt"]


class Grade(IntEnum):
    """How much a doubt weighs; the heavier is the larger number."""

    NOTE = 0
    """Nothing about the motion hangs on it (a dwell whose unit is not declared)."""
    CANNOT_TELL = 1
    """The reader does not know what the control will do."""
    ERROR = 2
    """By the rules in force the control stops here with an alarm."""


class Code(StrEnum):
    """Every kind of doubt; the value is stable and printed in data."""

    # --- the text itself
    NOT_TEXT = "not_text"
    """A byte that no program holds (binary file, other encoding). detail: byte"""
    LINE_TOO_LONG = "line_too_long"
    """detail: characters, limit"""
    CHARACTER = "character"
    """A character that starts no word. detail: found"""
    COMMENT_OPEN = "comment_open"
    """A comment without its end on the line."""
    COMMENT_NESTED = "comment_nested"
    """An opening parenthesis inside a comment (NISTIR 6556, 3.3.4)."""
    SEMICOLON = "semicolon"
    """Text after a semicolon: a comment on one control, the next block on another."""
    NUMBER = "number"
    """A word without a readable number. detail: word"""
    BEFORE_START = "before_start"
    """Text before the first percent sign. detail: found"""
    NO_END = "no_end"
    """The text ends without an end of program (NISTIR 6556, 3.1)."""
    SKIP_SWITCH = "skip_switch"
    """A block that may be skipped; the switch is not declared."""
    # --- words
    WORD_UNKNOWN = "word_unknown"
    """A word that neither the core nor the cell declares. detail: word"""
    WORD_UNUSED = "word_unused"
    """A word with nothing in the block that takes it. detail: word"""
    WORD_TWICE = "word_twice"
    """detail: word"""
    GROUP_TWICE = "group_twice"
    """Two words of one modal group in a block (NISTIR 6556, 3.3.5). detail: first, second"""
    WORD_COUNTER = "word_counter"
    """A word without the letter that says which one. detail: word, letter"""
    AXIS_UNKNOWN = "axis_unknown"
    """An axis letter that the cell does not place. detail: letter"""
    AXIS_WORDS_CLASH = "axis_words_clash"
    """Two words of the block want the same axis words. detail: first, second"""
    POINT_MISSING = "point_missing"
    """A length or angle without decimal point, and no rule declared. detail: word"""
    NOT_WHOLE = "not_whole"
    """A number that must be whole, or lies outside what is allowed. detail: word"""
    # --- state that was never set
    UNIT_UNSET = "unit_unset"
    DISTANCE_UNSET = "distance_unset"
    PLANE_UNSET = "plane_unset"
    MOTION_UNSET = "motion_unset"
    """Axis words with no motion word in force (also NISTIR 6556, 3.5.15 after G80)."""
    MOTION_OFF = "motion_off"
    """Axis words after a cycle was ended: an alarm on this control (NISTIR 6556, 3.5.15)."""
    TOOL_UNSET = "tool_unset"
    """A tool change, and no tool was called up."""
    TOOL_WAITS = "tool_waits"
    """A tool change in one block with a T word while another tool waits: one control changes to the
    waiting tool, another to the one named. detail: tool, waiting"""
    OFFSET_UNSET = "offset_unset"
    """No work offset is in force where one is needed."""
    OFFSET_UNKNOWN = "offset_unknown"
    """The values of this work offset are not stated. detail: word, axis"""
    LENGTH_UNKNOWN = "length_unknown"
    """The value of this length register is not stated. detail: register"""
    LENGTH_MISSING = "length_missing"
    """The word of the length offset without its register."""
    LENGTH_REGISTER_RULE = "length_register_rule"
    """The word of the length offset without its register: controls differ."""
    LENGTH_THEN_STEP = "length_then_step"
    """A step (G91) of Z right after a length offset changed: controls differ."""
    RADIUS_UNKNOWN = "radius_unknown"
    """The value of this radius register is not stated. detail: register"""
    REFERENCE_UNKNOWN = "reference_unknown"
    """The reference point is not stated. detail: word, axis"""
    POSITION_UNKNOWN = "position_unknown"
    """A move that starts from a position that is not known and needs it. detail: axis"""
    FEED_MISSING = "feed_missing"
    SPINDLE_NEEDED = "spindle_needed"
    """A cycle that needs the spindle turning (NISTIR 6556, 3.5.16.5 and 7)."""
    # --- motion
    ARC_FULL_WITH_R = "arc_full_with_r"
    """A full circle given with R (NISTIR 6556, 3.5.3.1)."""
    ARC_RADII = "arc_radii"
    """Start and end lie at different distances from the centre. detail: start_mm, end_mm"""
    ARC_NEARLY_CLOSED = "arc_nearly_closed"
    """Start and end less than half a least increment apart: hardly any motion on one control, a
    whole turn on another.  The row holds the longer path."""
    ARC_TOO_SMALL = "arc_too_small"
    """The radius is smaller than half the distance. detail: radius_mm, half_mm"""
    ARC_NO_CENTRE = "arc_no_centre"
    """Neither centre words nor R, or both, or centre words of another plane."""
    ARC_NO_END = "arc_no_end"
    """Both words of the plane's axes missing (NISTIR 6556, 3.5.3)."""
    ARC_END_RULE = "arc_end_rule"
    """An arc with a centre and no end words: a circle on one control, an alarm on another."""
    ARC_FROM_UNKNOWN = "arc_from_unknown"
    """An arc whose start, end or centre is not known."""
    MACHINE_STEP = "machine_step"
    """G53 together with G91."""
    MACHINE_MOTION = "machine_motion"
    """G53 with a motion that is neither rapid nor line (NISTIR 6556, 3.5.12)."""
    SHIFT_TWICE = "shift_twice"
    """A shift (G92) and a local shift together, or one ended by a word of the other: controls
    differ."""
    RETURN_NOT_ALONE = "return_not_alone"
    """A word that may not stand while a cutter radius, a tilted plane or tool-point control is in
    force, or controls differ in what it then does. detail: word"""
    CUTTER_GOUGE = "cutter_gouge"
    """The cutter radius does not fit into the programmed path. detail: index (of the move)"""
    CUTTER_CORNER = "cutter_corner"
    """An outside corner, and how the control goes round it is not declared. detail: index"""
    CUTTER_LEAD = "cutter_lead"
    """How the control leads in or out is not declared, or not settled for this lead (an arc, or
    towards an inside corner). detail: index"""
    CUTTER_WORD = "cutter_word"
    """A word that may not stand while a cutter radius is in force. detail: word"""
    # --- cycles
    CYCLE_NO_DEPTH = "cycle_no_depth"
    """detail: word (the letter that is missing)"""
    CYCLE_R_BELOW_Z = "cycle_r_below_z"
    """NISTIR 6556, 3.5.16.  Back boring: its levels stand in the wrong order."""
    CYCLE_REPEATS = "cycle_repeats"
    """Repeats of zero, below zero or not whole (NISTIR 6556, 3.5.16)."""
    CYCLE_PECK = "cycle_peck"
    """A peck of zero or less (NISTIR 6556, 3.5.16.4)."""
    CYCLE_NOT_HERE = "cycle_not_here"
    """With turning axes, inverse time or a cutter radius (NISTIR 6556, 3.5.16). detail: with_"""
    CYCLE_TURNS = "cycle_turns"
    """A turning axis in a cycle's block: controls differ. detail: letter"""
    CYCLE_REPEAT_ZERO = "cycle_repeat_zero"
    """Repeats of zero: an alarm on one control, no hole on another."""
    CYCLE_STEP = "cycle_step"
    """A further hole under G91 that starts from another level than the first, or one in another
    plane, unit or distance mode: controls differ."""
    CYCLE_SHIFT = "cycle_shift"
    """How this boring cycle moves the tool off the wall is not declared. detail: cycle"""
    CYCLE_BY_HAND = "cycle_by_hand"
    """The cycle leaves the retract to the operator (NISTIR 6556, 3.5.16.9)."""
    DWELL_NEGATIVE = "dwell_negative"
    """A dwell below zero, or without its time."""
    DWELL_UNIT = "dwell_unit"
    """The unit of the dwell is not declared. Grade: a note. detail: word"""
    # --- registers
    WRITE_UNKNOWN = "write_unknown"
    """An offset is written in a form that is not declared. detail: form"""
    WRITE_STEP = "write_step"
    """An offset is written while G91 is in force: controls differ."""
    # --- expressions and variables
    EXPRESSION = "expression"
    """An expression that cannot be read. detail: found, expected"""
    FUNCTION_UNKNOWN = "function_unknown"
    """detail: name"""
    TOO_DEEP = "too_deep"
    """Brackets or calls deeper than the limit. detail: limit"""
    MIXED_LOGIC = "mixed_logic"
    """AND, OR, XOR mixed with others without brackets: the order differs among controls."""
    DOMAIN = "domain"
    """Division by zero, root of a negative and the like. detail: what"""
    ROUNDING_RULE = "rounding_rule"
    """FIX, FUP, ROUND of a negative, or ROUND in a word: the rule is not declared. detail: name"""
    OPERATION_RULE = "operation_rule"
    """An operation that controls work out differently for these numbers, and the rule is not
    declared: MOD, AND, OR, XOR, ATAN, a sign before a power. detail: name"""
    SYSTEM_VARIABLE = "system_variable"
    """A system variable that the cell does not describe. detail: number"""
    COMMON_VARIABLE = "common_variable"
    """A common variable read before this program sets it. detail: number"""
    VARIABLE_NUMBER = "variable_number"
    """detail: number"""
    ASSIGNMENT_IN_MOTION = "assignment_in_motion"
    """An assignment in a block that holds other words: controls differ."""
    SYSTEM_WRITE = "system_write"
    """A system variable is written. detail: number"""
    # --- flow
    UNKNOWN_BRANCH = "unknown_branch"
    """A branch, loop, call or repeat hangs on something unknown. detail: word"""
    TOO_CLOSE = "too_close"
    """A comparison, or a rounding to whole numbers, that the last digit decides.
    detail: left, right"""
    LABEL_MISSING = "label_missing"
    """detail: number"""
    LABEL_TWICE = "label_twice"
    """detail: number"""
    LOOP_SHAPE = "loop_shape"
    """DO and END that do not match, or a jump into a loop. detail: number"""
    ENDLESS = "endless"
    """More blocks, or more jumps and repeats, than the limit. detail: limit"""
    TOO_MUCH = "too_much"
    """More motion than the limit. detail: limit"""
    PROGRAM_MISSING = "program_missing"
    """A called program is not at hand. detail: number"""
    CALL_FORM = "call_form"
    """A call whose words cannot be taken in one way only. detail: word"""
    RETURN_NOWHERE = "return_nowhere"
    """A return from a program that was not called: it runs again and again."""
    # --- planes and tool point
    NOT_DECLARED = "not_declared"
    """A plane or tool-point word whose data or axis lines are not known. detail: what"""
    PLANE_UNREACHABLE = "plane_unreachable"
    """No pose brings the plane to the spindle."""
    PLANE_TWO_WAYS = "plane_two_ways"
    """Two poses bring the plane to the spindle and the choice is not declared."""
    PLANE_TURNS = "plane_turns"
    """A turning axis in a block of a tilted plane or, under tool-point control, of an arc or cycle:
    controls differ. detail: letter"""
    PLANE_ZERO = "plane_zero"
    """A tilted plane, or a tool point counted from angles at zero, with a work offset or shift that
    turns the zero of an axis: controls differ. detail: word, axis"""
    PLANE_ASKEW = "plane_askew"
    """Motion in a tilted plane that the pose does not bring to the spindle. detail: off_rad"""


_ERRORS: Final = frozenset(
    {
        Code.COMMENT_OPEN,
        Code.COMMENT_NESTED,
        Code.NUMBER,
        Code.NO_END,
        Code.WORD_TWICE,
        Code.GROUP_TWICE,
        Code.AXIS_WORDS_CLASH,
        Code.NOT_WHOLE,
        Code.LENGTH_MISSING,
        Code.WORD_COUNTER,
        Code.MOTION_OFF,
        Code.FEED_MISSING,
        Code.SPINDLE_NEEDED,
        Code.ARC_FULL_WITH_R,
        Code.ARC_RADII,
        Code.ARC_TOO_SMALL,
        Code.ARC_NO_CENTRE,
        Code.ARC_NO_END,
        Code.MACHINE_MOTION,
        Code.CUTTER_GOUGE,
        Code.CYCLE_NO_DEPTH,
        Code.CYCLE_R_BELOW_Z,
        Code.CYCLE_REPEATS,
        Code.CYCLE_PECK,
        Code.CYCLE_NOT_HERE,
        Code.DWELL_NEGATIVE,
        Code.EXPRESSION,
        Code.DOMAIN,
        Code.VARIABLE_NUMBER,
        Code.LABEL_MISSING,
        Code.LOOP_SHAPE,
        Code.PLANE_UNREACHABLE,
    }
)
_NOTES: Final = frozenset({Code.DWELL_UNIT})


@dataclass(frozen=True, slots=True)
class Doubt:
    """One thing that the reader could not take as it stands.

    Attributes
    ----------
    code : Code
    line, column : int
        Place in the source, from 1; column 0 means the whole block.
    detail : tuple of (name, value)
        What the sentence needs; the names stand in the docstring of the code.
    source : int
        0 for the program itself, else the number of the called program.
    """

    code: Code
    line: int
    column: int = 0
    detail: tuple[tuple[str, str | float], ...] = ()
    source: int = 0

    @property
    def grade(self) -> Grade:
        """How much it weighs."""
        if self.code in _ERRORS:
            return Grade.ERROR
        return Grade.NOTE if self.code in _NOTES else Grade.CANNOT_TELL


class Halt(Exception):  # noqa: N818 - reading ends here; it is an outcome, not a fault of ours
    """Reading cannot go on past this block.

    Parameters
    ----------
    code : Code
    column : int
        From 1; 0 for the whole block.
    detail : keyword values
    """

    def __init__(self, code: Code, column: int = 0, **detail: str | float) -> None:
        super().__init__(code)
        self.code = code
        self.column = column
        self.detail = tuple(detail.items())
