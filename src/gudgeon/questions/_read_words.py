"""What is said about each doubt of the reader: the reason, the mend, and where the mend goes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import degrees
from typing import Final

from gudgeon.program.doubts import Code, Doubt

__all__ = ["SAID", "Said", "said"]


@dataclass(frozen=True, slots=True)
class Said:
    """Words about one doubt.

    Attributes
    ----------
    reason : str
        Short, without a full stop; makes sense behind "line 12, column 5:".
    mend : str
        An order, without a full stop.
    entry : str
        Entry of the cell file that settles it; empty if the program itself has to be mended.
    """

    reason: str
    mend: str
    entry: str = ""


SAID: Final[Mapping[Code, Said]] = {
    # --- the text itself
    Code.NOT_TEXT: Said(
        "a byte ({byte}) that no program holds",
        "give the program as plain text, as it is sent to the control",
    ),
    Code.LINE_TOO_LONG: Said(
        "a line of {characters} characters", "break the line; {limit} characters are the most"
    ),
    Code.CHARACTER: Said(
        'the character "{found}" starts no word', "take it out, or put it into a comment"
    ),
    Code.COMMENT_OPEN: Said("a comment without its end", "write the closing parenthesis"),
    Code.COMMENT_NESTED: Said(
        "a parenthesis inside a comment", "take the inner parenthesis out of the comment"
    ),
    Code.SEMICOLON: Said(
        "text behind a semicolon, a comment on some controls only",
        'write comment = ";" if it is a comment here, or take the text out',
        "control.comment",
    ),
    Code.NUMBER: Said("{word} has no readable number", "write the number of {word}"),
    Code.BEFORE_START: Said(
        "text before the first percent sign", "move it behind the percent sign, or take it out"
    ),
    Code.NO_END: Said("no end of the program", "write M30 or a percent sign in the last line"),
    Code.SKIP_SWITCH: Said(
        "a block that may be left out, and the switch is not stated",
        'state it: block_skip = "on" or "off"',
        "control.block_skip",
    ),
    # --- words
    Code.WORD_UNKNOWN: Said(
        "{word} is not a word of this control",
        "describe {word}: [[control.words]]",
        "control.words",
    ),
    Code.WORD_UNUSED: Said("nothing in this block takes {word}", "take {word} out, or complete it"),
    Code.WORD_TWICE: Said("{word} stands twice", "take one of the two out"),
    Code.GROUP_TWICE: Said("{first} and {second} exclude each other", "take one of the two out"),
    Code.WORD_COUNTER: Said(
        "{word} without {letter}", "write {letter} and the number of the offset"
    ),
    Code.AXIS_UNKNOWN: Said(
        "the axis {letter} is not one of this cell",
        "state which axis has the letter {letter}: tilt_letter, rotary_letter",
        "control.tilt_letter",
    ),
    Code.AXIS_WORDS_CLASH: Said(
        "{first} and {second} want the same axis words", "write them in two blocks"
    ),
    Code.POINT_MISSING: Said(
        "{word} has no decimal point, and its meaning is not stated",
        'state it: missing_point = "one unit" or "least increment"',
        "control.missing_point",
    ),
    Code.NOT_WHOLE: Said(
        "{word} must be a whole number within its limits", "write a whole number that is allowed"
    ),
    # --- state that was never set
    Code.UNIT_UNSET: Said("neither G20 nor G21 is in force", "write G20 or G21 at the start"),
    Code.DISTANCE_UNSET: Said("neither G90 nor G91 is in force", "write G90 or G91 at the start"),
    Code.PLANE_UNSET: Said("no plane is in force", "write G17, G18 or G19 before"),
    Code.MOTION_UNSET: Said("no motion word is in force", "write G0 or G1 in this block"),
    Code.MOTION_OFF: Said(
        "axis words after a cycle was ended", "write the motion word, such as G0, in this block"
    ),
    Code.TOOL_UNSET: Said("a tool change without a tool called up", "write T and its number"),
    Code.TOOL_WAITS: Said(
        "a change with T{tool} in its block while T{waiting} waits, and controls differ",
        "write T{tool} in a block before the change",
    ),
    Code.OFFSET_UNSET: Said("no work offset is in force", "write a work offset, such as G54"),
    Code.OFFSET_UNKNOWN: Said(
        "the values of {word} are not stated",
        'enter them: [[control.offsets]] word = "{word}"',
        "control.offsets",
    ),
    Code.LENGTH_UNKNOWN: Said(
        "length register {register} is not stated",
        "enter the length of tool {register}, or register = {register} under [[control.lengths]]",
        "control.lengths",
    ),
    Code.LENGTH_MISSING: Said("a length offset without H", "write H and the register"),
    Code.LENGTH_REGISTER_RULE: Said(
        "a length offset without H, and controls differ",
        'write H, or state length_without_register = "error", "tool" or "last"',
        "control.length_without_register",
    ),
    Code.LENGTH_THEN_STEP: Said(
        "a step (G91) of Z right after the length changed, and controls differ",
        "write Z with G90 first, or state length_moves_step = true or false",
        "control.length_moves_step",
    ),
    Code.RADIUS_UNKNOWN: Said(
        "radius register {register} is not stated",
        "enter it: register = {register} under [[control.radii]]",
        "control.radii",
    ),
    Code.REFERENCE_UNKNOWN: Said(
        "the reference point of {word} is not stated in {axis}",
        "enter it: [[control.references]]",
        "control.references",
    ),
    Code.POSITION_UNKNOWN: Said(
        "where {axis} stands before this move is not known",
        "state it: [control.start], or move {axis} with G90 before",
        "control.start",
    ),
    Code.FEED_MISSING: Said("no feed is in force", "write F before or in this block"),
    Code.SPINDLE_NEEDED: Said("the cycle needs the spindle turning", "write M3 or M4 before"),
    # --- motion
    Code.ARC_FULL_WITH_R: Said("full circle given with R", "use I and J"),
    Code.ARC_RADII: Said(
        "start and end of the arc lie {start_mm} and {end_mm} from its centre",
        "mend the end point, or I, J, K",
    ),
    Code.ARC_NEARLY_CLOSED: Said(
        "an arc that ends where it starts but for the last digit",
        "write the end exactly on the start for a full circle, else a line",
    ),
    Code.ARC_TOO_SMALL: Said(
        "the radius {radius_mm} is less than half the distance, {half_mm}",
        "mend R or the end point",
    ),
    Code.ARC_NO_CENTRE: Said(
        "the arc's centre is not given in one way", "write either R, or the two words of the plane"
    ),
    Code.ARC_NO_END: Said("the arc has no end point", "write the end in the plane's axes"),
    Code.ARC_END_RULE: Said(
        "an arc without end point: a circle on some controls, an alarm on others",
        'write the end point, or state arc_without_end = "circle" or "error"',
        "control.arc_without_end",
    ),
    Code.ARC_FROM_UNKNOWN: Said(
        "start, end or centre of the arc are not known",
        "enter what is missing before it: work offset, length or start",
        "control.offsets",
    ),
    Code.MACHINE_STEP: Said("G53 together with G91", "write G90"),
    Code.MACHINE_MOTION: Said("machine coordinates without G0 or G1", "write G0 or G1 with it"),
    Code.SHIFT_TWICE: Said(
        "a shift and a local shift together, and controls differ",
        "set the one that is in force to zero before",
    ),
    Code.RETURN_NOT_ALONE: Said(
        "{word} while a radius or a tilted plane is in force", "end those before {word}"
    ),
    Code.CUTTER_GOUGE: Said(
        "the cutter radius does not fit into the path", "use a smaller cutter, or mend the path"
    ),
    Code.CUTTER_CORNER: Said(
        "how the cutter goes round this outside corner is not stated",
        'state it: cutter_corner = "arc" or "sharp"',
        "control.cutter_corner",
    ),
    Code.CUTTER_LEAD: Said(
        "how the cutter radius leads in or out here is not stated",
        'state cutter_lead = "square to next", "square to lead" or "tangent", and lead in on a '
        "line",
        "control.cutter_lead",
    ),
    Code.CUTTER_WORD: Said(
        "{word} while a cutter radius is in force", "end the radius (G40) before {word}"
    ),
    # --- cycles
    Code.CYCLE_NO_DEPTH: Said("{word} is missing", "write {word} in this block"),
    Code.CYCLE_R_BELOW_Z: Said("the levels of the cycle stand in the wrong order", "mend R or Z"),
    Code.CYCLE_REPEATS: Said(
        "repeats must be a whole number above zero", "write a whole number of repeats"
    ),
    Code.CYCLE_PECK: Said("a peck of zero or less", "write Q above zero"),
    Code.CYCLE_NOT_HERE: Said("a cycle cannot stand with {with_}", "take {with_} out before it"),
    Code.CYCLE_TURNS: Said(
        "{letter} in the block of a cycle, and controls differ",
        "turn in a block before, or state turn_in_cycle = true or false",
        "control.turn_in_cycle",
    ),
    Code.CYCLE_REPEAT_ZERO: Said(
        "repeats of zero: an alarm on some controls, no hole on others",
        'state it: repeat_zero = "error" or "remember"',
        "control.repeat_zero",
    ),
    Code.CYCLE_STEP: Said(
        "a further hole under G91 from another level, or in another plane, unit or distance mode "
        "than the first, and controls differ",
        'end the cycle (G80) and write it whole, or state step_from = "first level" or "level now"',
        "control.step_from",
    ),
    Code.CYCLE_SHIFT: Said(
        "how {cycle} moves the tool off the wall is not stated",
        "state bore_shift, and back_bore for back boring",
        "control.bore_shift",
    ),
    Code.CYCLE_BY_HAND: Said(
        "the cycle leaves the retract to the operator", "write a cycle that retracts by itself"
    ),
    Code.DWELL_NEGATIVE: Said("a dwell below zero or without its time", "write its time"),
    Code.DWELL_UNIT: Said(
        "the unit of this dwell is not stated",
        'state it: dwell_p = "seconds" or "milliseconds"',
        "control.dwell_p",
    ),
    # --- registers
    Code.WRITE_UNKNOWN: Said(
        "what {form} writes is not stated", "describe it: [[control.writes]]", "control.writes"
    ),
    Code.WRITE_STEP: Said(
        "a register is written under G91, and controls differ", "write G90 before"
    ),
    # --- expressions and variables
    Code.EXPRESSION: Said(
        'an expression with "{found}" where {expected} is wanted', "mend the expression"
    ),
    Code.FUNCTION_UNKNOWN: Said("{name} is no function", "write a function of this control"),
    Code.TOO_DEEP: Said("more than {limit} levels of brackets or calls", "break it up"),
    Code.MIXED_LOGIC: Said(
        "AND, OR and XOR side by side, worked out in an order that differs among controls",
        "put brackets round what belongs together",
    ),
    Code.DOMAIN: Said("a value that cannot be worked out ({what})", "mend the expression"),
    Code.ROUNDING_RULE: Said(
        "{name} here rounds differently among controls",
        'state fix_rounds = "down" or "towards zero", for ROUND in a word round_in_words',
        "control.fix_rounds",
    ),
    Code.OPERATION_RULE: Said(
        "{name} of these numbers differs among controls",
        "state mod_rule, logic_rule or atan_range, or write brackets",
        "control.mod_rule",
    ),
    Code.SYSTEM_VARIABLE: Said(
        "system variable not described",
        "describe #{number} in the cell file: [[control.variables]]",
        "control.variables",
    ),
    Code.COMMON_VARIABLE: Said(
        "#{number} is read before this program sets it",
        "set #{number} in the program, or describe it: [[control.variables]]",
        "control.variables",
    ),
    Code.VARIABLE_NUMBER: Said("there is no variable #{number}", "write a number above zero"),
    Code.ASSIGNMENT_IN_MOTION: Said(
        "a variable is set beside other words, and controls differ",
        "set it in a block of its own, or state assignment_in_motion = true",
        "control.assignment_in_motion",
    ),
    Code.SYSTEM_WRITE: Said(
        "the system variable #{number} is written", "write the register with G10, or by hand"
    ),
    # --- flow
    Code.UNKNOWN_BRANCH: Said(
        "{word} hangs on a value that is not known", "state the value that it hangs on"
    ),
    Code.TOO_CLOSE: Said(
        "{left} and {right} differ in the last digit only, and that decides",
        "compare with a margin, or state equal_within",
        "control.equal_within",
    ),
    Code.LABEL_MISSING: Said("there is no block N{number}", "write N{number} where it goes on"),
    Code.LABEL_TWICE: Said("N{number} stands at two blocks", "give each block its own number"),
    Code.LOOP_SHAPE: Said(
        "DO{number} and END{number} do not match, or a jump leads into them", "mend the loop"
    ),
    Code.ENDLESS: Said(
        "more than {limit} blocks, jumps or repeats are carried out",
        "look for a loop that never ends",
    ),
    Code.TOO_MUCH: Said("more than {limit} moves", "read the program in parts"),
    Code.PROGRAM_MISSING: Said(
        "the called program {number} is not at hand",
        "put it beside the program as O{number}.nc",
    ),
    Code.CALL_FORM: Said(
        "{word} can be taken in more than one way",
        "write P and L apart, or state packed_calls = true",
        "control.packed_calls",
    ),
    Code.RETURN_NOWHERE: Said(
        "M99 in a program that was not called runs it again and again", "end it with M30"
    ),
    # --- planes and tool point
    Code.NOT_DECLARED: Said(
        "{what} needs more than the cell states",
        "describe the word under [[control.tilted_planes]] or [[control.tool_points]], and answer "
        '"turns" for the axis lines',
        "control.tilted_planes",
    ),
    Code.PLANE_UNREACHABLE: Said(
        "no pose brings this plane to the spindle", "mend its angles, or set the part up anew"
    ),
    Code.PLANE_TWO_WAYS: Said(
        "two poses bring this plane to the spindle",
        'state plane_choice = "tilt positive", "tilt negative" or "nearest"',
        "control.plane_choice",
    ),
    Code.PLANE_TURNS: Said(
        "{letter} in a block of a tilted plane or of tool-point control, and controls differ",
        "turn {letter} in a block of its own",
    ),
    Code.PLANE_ZERO: Said(
        "a tilted plane or tool-point control while {word} turns the zero of {axis}, and controls "
        "differ",
        "use a work offset with zero in {axis}",
    ),
    Code.PLANE_ASKEW: Said(
        "the plane lies {off_rad} off the spindle in this pose",
        "turn the axes to the plane before moving in it",
    ),
}
"""One entry for each code."""


class _Details(dict[str, object]):
    """Details of a doubt; one that is absent reads as a plain word."""

    def __missing__(self, name: str) -> object:
        return _Absent()


class _Absent:
    def __format__(self, spec: str) -> str:
        return "it"


def said(doubt: Doubt, texts: Mapping[str, str] | None = None) -> Said:
    """Return the words about a doubt with its details filled in.

    Parameters
    ----------
    doubt : Doubt
    texts : mapping of detail name to text, optional
        Details that read otherwise than as plain numbers: lengths, axes.
    """
    details = _Details()
    for name, value in doubt.detail:
        shown: object = value
        if name == "off_rad" and isinstance(value, float):
            shown = f"{degrees(value):.3g} deg"
        elif texts is not None and name in texts:
            shown = texts[name]
        elif isinstance(value, float):
            shown = int(value) if value.is_integer() and abs(value) < 1e15 else f"{value:.6g}"
        details[name] = shown
    words = SAID.get(doubt.code, Said(doubt.code.value.replace("_", " "), "write it otherwise"))

    return Said(words.reason.format_map(details), words.mend.format_map(details), words.entry)
