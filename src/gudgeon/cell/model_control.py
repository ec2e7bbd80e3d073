"""Entries of a cell file about the control: letters, senses, words, registers, rules for reading.

Every rule is the shop's own to state: what is left out and matters to a program is told as not
known when that program is read, never filled in from some control's habit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from gudgeon.cell.entry import Shape, entry, section, sections
from gudgeon.program.dialect import Meaning, TurningRule
from gudgeon.quantity.amount import Amount
from gudgeon.quantity.kinds import Kind

__all__ = [
    "AXIS_NAMES",
    "BRAKES",
    "NOT_KNOWN",
    "NUMBERED",
    "Control",
    "Jog",
    "LengthRegister",
    "OffsetFamily",
    "OffsetValues",
    "Position",
    "RadiusRegister",
    "Reference",
    "RegisterWrite",
    "SystemVariable",
    "TiltedPlane",
    "ToolPoint",
    "WordMeaning",
]

NOT_KNOWN: Final = "not known"
"""Meaning that takes a word of the core away."""

NUMBERED: Final = (Meaning.RETURN_TO.value, Meaning.OFFSET.value)
"""Meanings that need a number."""

AXIS_NAMES: Final = ("X", "Y", "Z", "tilt", "rotary")

BRAKES: Final = (
    *("clamps tilt", "clamps rotary", "clamps both"),
    *("frees tilt", "frees rotary", "frees both"),
)
"""What a word may do to the clamps of the turning axes."""

_LETTERS: Final = tuple("ABCDEFHIJKLMPQRSTUVWXYZ")
_MEANINGS: Final = (*(meaning.value for meaning in Meaning), NOT_KNOWN)
_TURNS: Final = tuple(rule.value for rule in TurningRule if rule is not TurningRule.UNKNOWN)
# Proper Euler angles first, then those about three different axes.
_ORDERS: Final = (
    *("ZXZ", "ZYZ", "XYX", "XZX", "YXY", "YZY"),
    *("XYZ", "XZY", "YXZ", "YZX", "ZXY", "ZYX"),
)


@dataclass(frozen=True, slots=True)
class Jog:
    """[[control.jogs]]: one small jog and what was seen, unit at tilt zero, table watched."""

    letter: str | None = entry(Kind.TEXT, "letter that was jogged", choices=("A", "B", "C"))
    by: Amount | None = entry(Kind.ANGLE, "signed jog as displayed, at most 30 deg")
    watched: str | None = entry(
        Kind.TEXT,
        "side of the turning axis on which the watched mark sat",
        choices=("X+", "X-", "Y+", "Y-", "Z+", "Z-"),
    )
    moved: str | None = entry(
        Kind.TEXT,
        "machine direction into which the mark moved",
        choices=("X+", "X-", "Y+", "Y-", "Z+", "Z-"),
    )


@dataclass(frozen=True, slots=True)
class WordMeaning:
    """[[control.words]]: what a word means here; adds to the core or replaces a word of it."""

    word: str | None = entry(Kind.TEXT, 'the word, such as "M88" or "G5.1"')
    means: str | None = entry(
        Kind.TEXT,
        'what it does; "no motion" for coolant, clamps, lights; "not known" takes a word of the '
        "core away",
        choices=_MEANINGS,
    )
    number: int | None = entry(
        Kind.INTEGER,
        "which one, for a return to reference or a work offset (counted from 1)",
        low=1,
        high=1000,
    )
    brakes: str | None = entry(
        Kind.TEXT,
        "what a word without motion does to the clamps of the turning axes (nothing if left out)",
        choices=BRAKES,
    )


@dataclass(frozen=True, slots=True)
class Position:
    """[control.start]: where the axes stand before the first block (reference 1 if left out)."""

    x: Amount | None = entry(Kind.LENGTH, "machine X")
    y: Amount | None = entry(Kind.LENGTH, "machine Y")
    z: Amount | None = entry(Kind.LENGTH, "machine Z")
    tilt: Amount | None = entry(Kind.ANGLE, "displayed tilt")
    rotary: Amount | None = entry(Kind.ANGLE, "displayed turn")


@dataclass(frozen=True, slots=True)
class Reference:
    """[[control.references]]: a reference point that a word returns to."""

    number: int | None = entry(
        Kind.INTEGER, "which reference point (G28 returns to 1, G30 to 2)", low=1, high=100
    )
    x: Amount | None = entry(Kind.LENGTH, "machine X there")
    y: Amount | None = entry(Kind.LENGTH, "machine Y there")
    z: Amount | None = entry(Kind.LENGTH, "machine Z there")
    tilt: Amount | None = entry(Kind.ANGLE, "displayed tilt there")
    rotary: Amount | None = entry(Kind.ANGLE, "displayed turn there")


@dataclass(frozen=True, slots=True)
class OffsetValues:
    """[[control.offsets]]: values of a work offset as they stand in the control now."""

    word: str | None = entry(Kind.TEXT, 'the offset, such as "G54" or "G54.1 P7"')
    x: Amount | None = entry(Kind.LENGTH, "its X")
    y: Amount | None = entry(Kind.LENGTH, "its Y")
    z: Amount | None = entry(Kind.LENGTH, "its Z")
    tilt: Amount | None = entry(Kind.ANGLE, "its tilt (0 deg if left out)")
    rotary: Amount | None = entry(Kind.ANGLE, "its turn (0 deg if left out)")


@dataclass(frozen=True, slots=True)
class OffsetFamily:
    """[[control.offset_families]]: a word with a letter that counts further work offsets."""

    word: str | None = entry(Kind.TEXT, 'the word, such as "G54.1"')
    letter: str | None = entry(Kind.TEXT, "the letter that counts", choices=_LETTERS)
    count: int | None = entry(Kind.INTEGER, "how many there are", low=1, high=10000)


@dataclass(frozen=True, slots=True)
class LengthRegister:
    """[[control.lengths]]: a length register as it stands now (else: length of tool n)."""

    register: int | None = entry(Kind.INTEGER, "number of the register", low=0, high=100000)
    length: Amount | None = entry(Kind.LENGTH, "the length in it")


@dataclass(frozen=True, slots=True)
class RadiusRegister:
    """[[control.radii]]: a radius register as it stands now."""

    register: int | None = entry(Kind.INTEGER, "number of the register", low=0, high=100000)
    radius: Amount | None = entry(Kind.LENGTH, "the radius in it (not the diameter)")


@dataclass(frozen=True, slots=True)
class RegisterWrite:
    """[[control.writes]]: what a block that writes registers (G10) writes with this L."""

    l: int | None = entry(Kind.INTEGER, "number behind the L", low=0, high=100000)  # noqa: E741
    target: str | None = entry(
        Kind.TEXT,
        "what P and the values of the block belong to",
        choices=("offset", "family", "length", "radius"),
    )
    family: str | None = entry(Kind.TEXT, 'word of the family, such as "G54.1"')


@dataclass(frozen=True, slots=True)
class SystemVariable:
    """[[control.variables]]: what a program finds in a system variable."""

    number: int | None = entry(Kind.INTEGER, "number behind the #", low=1, high=99_999_999)
    means: str | None = entry(
        Kind.TEXT,
        "what stands in it",
        choices=("work position", "machine position", "offset", "value"),
    )
    axis: str | None = entry(Kind.TEXT, "of which axis", choices=AXIS_NAMES)
    word: str | None = entry(Kind.TEXT, 'of which work offset, such as "G54"')
    value: Amount | None = entry(Kind.NUMBER, "the value, where it never changes")


@dataclass(frozen=True, slots=True)
class TiltedPlane:
    """[[control.tilted_planes]]: a word that tilts the plane in which a program is written."""

    word: str | None = entry(Kind.TEXT, 'the word, such as "G68.2"')
    off_word: str | None = entry(Kind.TEXT, "the word that ends it")
    turn_word: str | None = entry(Kind.TEXT, "the word that turns the axes to it")
    origin: tuple[str, ...] = entry(
        Kind.TEXT, "letters of its zero (X, Y, Z if left out)", Shape.LIST, choices=_LETTERS
    )
    angles: tuple[str, ...] = entry(
        Kind.TEXT, "letters of its three angles (I, J, K if left out)", Shape.LIST, choices=_LETTERS
    )
    order: str | None = entry(Kind.TEXT, "axes of the three turns in order", choices=_ORDERS)
    about: str | None = entry(
        Kind.TEXT,
        "whether each turn is about the axes as turned so far or as they were at first",
        choices=("turned axes", "fixed axes"),
    )


@dataclass(frozen=True, slots=True)
class ToolPoint:
    """[[control.tool_points]]: a word that makes X, Y, Z those of the tool point over the work."""

    word: str | None = entry(Kind.TEXT, 'the word, such as "G43.4"')
    off_word: str | None = entry(Kind.TEXT, "the word that ends it (that of length off: G49)")
    frame: str | None = entry(
        Kind.TEXT,
        "the pose of the work in which X, Y, Z are programmed",
        choices=("angles zero", "where switched on"),
    )
    chord: Amount | None = entry(
        Kind.LENGTH,
        "greatest distance of the short lines that stand for the path (0.01 mm if left out)",
        above=0.0,
    )


@dataclass(frozen=True, slots=True)
class Control:
    """[control]: letters, senses, words and rules of the control, as data."""

    tilt_letter: str | None = entry(Kind.TEXT, "letter of the tilt axis", choices=("A", "B", "C"))
    rotary_letter: str | None = entry(
        Kind.TEXT, "letter of the rotary axis", choices=("A", "B", "C")
    )
    tilt_sense: int | None = entry(
        Kind.INTEGER,
        "+1: plus turns the work right-handed about the machine axis it lies along; -1: opposite",
        choices=("1", "-1"),
    )
    rotary_sense: int | None = entry(
        Kind.INTEGER,
        "+1: plus turns the work counter-clockwise seen from above at tilt zero; -1: clockwise",
        choices=("1", "-1"),
    )
    offset_words: tuple[str, ...] = entry(
        Kind.TEXT, 'words of the work offsets in order, such as "G54"', Shape.LIST
    )
    lengths_from: str | None = entry(
        Kind.TEXT,
        "what tool lengths are measured from: gauge point, or touched off at the work",
        choices=("gauge", "work"),
    )
    length_reference: Amount | None = entry(
        Kind.LENGTH, "machine Z of the empty spindle's gauge point where touched-off lengths are 0"
    )
    rapid_word: str | None = entry(Kind.TEXT, "word of a rapid move (G0 if left out)")
    stop_word: str | None = entry(Kind.TEXT, "word of a stop (M0 if left out)")
    end_word: str | None = entry(Kind.TEXT, "word of the end of a program (M30 if left out)")
    absolute_word: str | None = entry(Kind.TEXT, "word for absolute positions (G90 if left out)")
    metric_word: str | None = entry(Kind.TEXT, "word for millimetres (G21 if left out)")
    inch_word: str | None = entry(Kind.TEXT, "word for inches (G20 if left out)")
    machine_word: str | None = entry(Kind.TEXT, "word for machine coordinates (G53 if left out)")
    rapids: str | None = entry(
        Kind.TEXT,
        "path of a rapid that moves several axes: a straight line, or each axis alone in its time",
        choices=("straight", "each axis alone"),
    )
    comment: str | None = entry(Kind.TEXT, "how a comment is written", choices=("( )", ";"))
    # --- rules for reading programs
    missing_point: str | None = entry(
        Kind.TEXT,
        "what X1 means where the decimal point is left out: 1 mm (1 in, 1 deg), or one least "
        "increment",
        choices=("one unit", "least increment"),
    )
    least_increment: Amount | None = entry(
        Kind.LENGTH, "least increment in a millimetre program (0.001 mm if left out)", above=0.0
    )
    least_increment_inch: Amount | None = entry(
        Kind.LENGTH, "least increment in an inch program (0.0001 in if left out)", above=0.0
    )
    least_angle: Amount | None = entry(
        Kind.ANGLE, "least increment of the turning axes (0.001 deg if left out)", above=0.0
    )
    tilt_turns: str | None = entry(
        Kind.TEXT,
        "which way round the tilt goes to an angle (as written if its range is under one turn)",
        choices=_TURNS,
    )
    rotary_turns: str | None = entry(
        Kind.TEXT,
        "which way round the rotary goes to an angle (as written if its range is under one turn)",
        choices=_TURNS,
    )
    at_start: tuple[str, ...] = entry(
        Kind.TEXT,
        "words in force when a program starts (G40, G49, G80, G94, G98 if left out)",
        Shape.LIST,
    )
    tool_at_start: int | None = entry(
        Kind.INTEGER, "tool in the spindle when a program starts", low=0
    )
    block_skip: str | None = entry(
        Kind.TEXT, "the switch that leaves out blocks with a slash", choices=("on", "off")
    )
    dwell_p: str | None = entry(
        Kind.TEXT, "unit of P in a dwell", choices=("seconds", "milliseconds")
    )
    length_without_register: str | None = entry(
        Kind.TEXT,
        "what a length offset without H does: alarm, register of the tool's number, last one",
        choices=("error", "tool", "last"),
    )
    length_moves_step: bool | None = entry(
        Kind.YES_NO, "true if a changed length is added to the next step (G91) of Z"
    )
    after_cycle_off: str | None = entry(
        Kind.TEXT,
        "what X, Y, Z do after a cycle was ended and no motion word follows",
        choices=("error", "rapid", "motion before"),
    )
    assignment_in_motion: bool | None = entry(
        Kind.YES_NO,
        "true if a variable may be set beside other words, its value counting from the next block",
    )
    packed_calls: bool | None = entry(
        Kind.YES_NO, "true if P of a call may hold repeats and number in one (P0031000)"
    )
    fix_rounds: str | None = entry(
        Kind.TEXT,
        "which way FIX rounds a negative number (FUP goes the other way)",
        choices=("down", "towards zero"),
    )
    round_in_words: str | None = entry(
        Kind.TEXT,
        "ROUND in the value of a word rounds to whole numbers there too",
        choices=("whole",),
    )
    atan_range: str | None = entry(
        Kind.TEXT, "angles that ATAN gives", choices=("0..360", "-180..180")
    )
    mod_rule: str | None = entry(
        Kind.TEXT,
        "MOD: never negative; with the sign of the first number; the same, both made whole first",
        choices=("floor", "truncate", "whole"),
    )
    logic_rule: str | None = entry(
        Kind.TEXT,
        "AND, OR and XOR work on true and false, or bit by bit",
        choices=("truth", "bits"),
    )
    equal_within: Amount | None = entry(
        Kind.NUMBER, "numbers nearer to each other than this compare as equal", low=0.0, high=1.0
    )
    repeat_letter: str | None = entry(
        Kind.TEXT, "letter of a cycle's repeats (L if left out)", choices=("L", "K")
    )
    repeat_zero: str | None = entry(
        Kind.TEXT,
        "repeats of zero: an alarm, or no hole with the values kept",
        choices=("error", "remember"),
    )
    step_from: str | None = entry(
        Kind.TEXT,
        "level from which R of a further hole counts under G91",
        choices=("first level", "level now"),
    )
    turn_in_cycle: bool | None = entry(
        Kind.YES_NO, "true if turning axes may stand in a cycle's block and move before the hole"
    )
    bore_shift: str | None = entry(
        Kind.TEXT,
        "direction in which fine boring moves the tool off the wall (plane XY)",
        choices=("X+", "X-", "Y+", "Y-"),
    )
    back_bore: str | None = entry(
        Kind.TEXT, "letters that say where back boring goes", choices=("I J K", "Q")
    )
    cutter_corner: str | None = entry(
        Kind.TEXT,
        "path of the cutter's centre round an outside corner",
        choices=("arc", "sharp"),
    )
    cutter_lead: str | None = entry(
        Kind.TEXT,
        "where a lead-in under cutter radius ends",
        choices=("square to next", "square to lead", "tangent"),
    )
    peck_clearance: Amount | None = entry(
        Kind.LENGTH, "how far above the last depth a peck's rapid ends (0 if left out)", low=0.0
    )
    chip_break: Amount | None = entry(
        Kind.LENGTH, "how far chip-break drilling backs off (0 if left out)", low=0.0
    )
    arc_tolerance: Amount | None = entry(
        Kind.LENGTH,
        "allowed difference of an arc's radii, millimetre program (0.002 mm if left out)",
        low=0.0,
    )
    arc_tolerance_inch: Amount | None = entry(
        Kind.LENGTH,
        "allowed difference of an arc's radii, inch program (0.0002 in if left out)",
        low=0.0,
    )
    arc_without_end: str | None = entry(
        Kind.TEXT,
        "an arc with a centre and no end point: a full circle, or an alarm",
        choices=("circle", "error"),
    )
    plane_choice: str | None = entry(
        Kind.TEXT,
        "which pose is taken where two bring a tilted plane to the spindle",
        choices=("tilt positive", "tilt negative", "nearest"),
    )
    start: Position = section(Position, "where the axes stand before the first block")
    words: tuple[WordMeaning, ...] = sections(
        WordMeaning, "words that the core lacks, or that mean something else here"
    )
    offsets: tuple[OffsetValues, ...] = sections(
        OffsetValues, "work offsets as they stand in the control"
    )
    offset_families: tuple[OffsetFamily, ...] = sections(
        OffsetFamily, "further work offsets, counted by a letter"
    )
    lengths: tuple[LengthRegister, ...] = sections(
        LengthRegister, "length registers that differ from the tool lengths"
    )
    radii: tuple[RadiusRegister, ...] = sections(RadiusRegister, "radius registers")
    writes: tuple[RegisterWrite, ...] = sections(
        RegisterWrite, "how programs write registers (L2 writes work offsets if left out)"
    )
    references: tuple[Reference, ...] = sections(Reference, "reference points")
    variables: tuple[SystemVariable, ...] = sections(
        SystemVariable, "system variables that programs read"
    )
    tilted_planes: tuple[TiltedPlane, ...] = sections(TiltedPlane, "words that tilt the plane")
    tool_points: tuple[ToolPoint, ...] = sections(ToolPoint, "words of tool-point control")
    jogs: tuple[Jog, ...] = sections(Jog, "jogs that were seen")
