"""The control's words and rules, as data.

The words of the ISO 6983 core stand in `CORE`, a table like any other: a cell adds, replaces or
takes away entries.  Where controls differ and the cell says nothing, a rule is ``None`` and the
reader says that it cannot tell; it never assumes a vendor.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from math import nan, pi
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:  # a cell file is read without numpy
    from gudgeon.kinematics.chain import WorkChain

__all__ = [
    "AXES",
    "CORE",
    "GROUPS",
    "UNKNOWN",
    "Dialect",
    "Family",
    "Limits",
    "Meaning",
    "PlaneWord",
    "Role",
    "ToolPointWord",
    "TurningRule",
    "Variable",
    "WordKey",
    "Write",
    "key",
]

AXES: Final = 5
"""Joint axes in order: X, Y, Z [mm], tilt, rotary [rad]. Letters of the control never appear."""

WordKey = tuple[str, int]
"""Letter and ten times the number: G54.1 is ("G", 541)."""

Joint = tuple[float, ...]
"""X, Y, Z [mm], tilt, rotary [rad]."""

UNKNOWN: Final[Joint] = (nan,) * AXES


def key(word: str) -> WordKey:
    """Return the key of a word such as ``"G54.1"``; leading zeros do not matter.

    Raises
    ------
    ValueError
        The text is no word with at most one decimal.
    """
    letter, number = word[:1].upper(), word[1:]
    whole, _, tenth = number.partition(".")
    if not (letter.isalpha() and whole.isdigit() and (not tenth or len(tenth) == 1)):
        raise ValueError(f"{word!r} is no word such as G54 or G54.1")
    return letter, 10 * int(whole) + int(tenth or 0)


class Meaning(StrEnum):
    """What a word does.  The values are what a cell file writes."""

    RAPID = "rapid"
    LINE = "line"
    ARC_CLOCKWISE = "arc clockwise"
    ARC_COUNTER = "arc counter-clockwise"
    PROBE = "probe"
    DWELL = "dwell"
    PLANE_XY = "plane XY"
    PLANE_ZX = "plane ZX"
    PLANE_YZ = "plane YZ"
    INCH = "inch"
    METRIC = "millimetre"
    RETURN_TO = "return to reference"  # index: which reference point, from 1
    MACHINE = "machine coordinates"
    CUTTER_OFF = "cutter radius off"
    CUTTER_LEFT = "cutter left"
    CUTTER_RIGHT = "cutter right"
    LENGTH_PLUS = "length plus"
    LENGTH_MINUS = "length minus"
    LENGTH_OFF = "length off"
    CYCLE_OFF = "cycle off"
    CHIP_BREAK = "chip-break drilling"
    LEFT_TAP = "left-hand tapping"
    FINE_BORE = "fine boring"
    DRILL = "drilling"
    COUNTERBORE = "drilling with dwell"
    PECK = "peck drilling"
    TAP = "tapping"
    BORE_FEED_OUT = "boring, feed out"
    BORE_STOP_OUT = "boring, spindle stop, rapid out"
    BACK_BORE = "back boring"
    BORE_BY_HAND = "boring, out by hand"
    BORE_DWELL_OUT = "boring, dwell, feed out"
    ABSOLUTE = "absolute"
    INCREMENTAL = "incremental"
    SHIFT_SET = "shift set"
    SHIFT_ZERO = "shift to zero"
    SHIFT_OFF = "shift off, kept"
    SHIFT_BACK = "shift back"
    SHIFT_LOCAL = "local shift"
    FEED_INVERSE = "feed inverse time"
    FEED_MINUTE = "feed a minute"
    FEED_TURN = "feed a turn"
    OFFSET = "work offset"  # index: which of Dialect.offset_names, from 1
    FAMILY = "work offset family"
    WRITE = "write register"
    RETURN_INITIAL = "cycle returns to first level"
    RETURN_R = "cycle returns to R"
    EXACT_STOP = "exact stop"
    PATH_MODE = "path mode"
    TILTED_PLANE = "tilted plane"
    TILTED_OFF = "tilted plane off"
    TURN_TO_PLANE = "turn to plane"
    TOOL_POINT = "tool point"
    TOOL_POINT_OFF = "tool point off"
    STOP = "stop"
    OPTIONAL_STOP = "optional stop"
    END = "end"
    SPINDLE_CLOCKWISE = "spindle clockwise"
    SPINDLE_COUNTER = "spindle counter-clockwise"
    SPINDLE_OFF = "spindle off"
    TOOL_CHANGE = "tool change"
    CALL = "call"
    RETURN = "return"
    MACRO = "macro call"
    NO_MOTION = "no motion"  # coolant, clamps, lights: declared to move nothing


CYCLES: Final = frozenset(
    {
        Meaning.CHIP_BREAK,
        Meaning.LEFT_TAP,
        Meaning.FINE_BORE,
        Meaning.DRILL,
        Meaning.COUNTERBORE,
        Meaning.PECK,
        Meaning.TAP,
        Meaning.BORE_FEED_OUT,
        Meaning.BORE_STOP_OUT,
        Meaning.BACK_BORE,
        Meaning.BORE_BY_HAND,
        Meaning.BORE_DWELL_OUT,
    }
)

MOTIONS: Final = frozenset(
    {
        Meaning.RAPID,
        Meaning.LINE,
        Meaning.ARC_CLOCKWISE,
        Meaning.ARC_COUNTER,
        Meaning.PROBE,
        Meaning.CYCLE_OFF,
        *CYCLES,
    }
)

GROUPS: Final[Mapping[str, frozenset[Meaning]]] = {
    # Modal groups, NISTIR 6556 Table 4; two words of one group may not stand in one block.
    "motion": MOTIONS,
    "plane": frozenset({Meaning.PLANE_XY, Meaning.PLANE_ZX, Meaning.PLANE_YZ}),
    "distance": frozenset({Meaning.ABSOLUTE, Meaning.INCREMENTAL}),
    "feed": frozenset({Meaning.FEED_INVERSE, Meaning.FEED_MINUTE, Meaning.FEED_TURN}),
    "unit": frozenset({Meaning.INCH, Meaning.METRIC}),
    "cutter": frozenset({Meaning.CUTTER_OFF, Meaning.CUTTER_LEFT, Meaning.CUTTER_RIGHT}),
    "length": frozenset({Meaning.LENGTH_PLUS, Meaning.LENGTH_MINUS, Meaning.LENGTH_OFF}),
    "return": frozenset({Meaning.RETURN_INITIAL, Meaning.RETURN_R}),
    "offset": frozenset({Meaning.OFFSET, Meaning.FAMILY}),
    "path": frozenset({Meaning.EXACT_STOP, Meaning.PATH_MODE}),
    "tilted": frozenset({Meaning.TILTED_PLANE, Meaning.TILTED_OFF}),
    "once": frozenset(
        {
            Meaning.DWELL,
            Meaning.WRITE,
            Meaning.RETURN_TO,
            Meaning.SHIFT_SET,
            Meaning.SHIFT_ZERO,
            Meaning.SHIFT_OFF,
            Meaning.SHIFT_BACK,
            Meaning.SHIFT_LOCAL,
            Meaning.MACRO,
            Meaning.TURN_TO_PLANE,
        }
    ),
    "machine": frozenset({Meaning.MACHINE}),
    "stop": frozenset({Meaning.STOP, Meaning.OPTIONAL_STOP, Meaning.END}),
    "tool": frozenset({Meaning.TOOL_CHANGE}),
    "spindle": frozenset({Meaning.SPINDLE_CLOCKWISE, Meaning.SPINDLE_COUNTER, Meaning.SPINDLE_OFF}),
    "call": frozenset({Meaning.CALL, Meaning.RETURN}),
}


@dataclass(frozen=True, slots=True)
class Role:
    """What a word means, with a number where the meaning needs one.

    Of a word without motion `index` holds the flags of what it clamps or frees (`track.Flag`).
    """

    meaning: Meaning
    index: int = 0


def _core() -> dict[WordKey, Role]:
    plain = {
        # NISTIR 6556 Tables 5 and 7; G73, G74, G76 and the tapping hand: from memory (trade use).
        "G0": Meaning.RAPID,
        "G1": Meaning.LINE,
        "G2": Meaning.ARC_CLOCKWISE,
        "G3": Meaning.ARC_COUNTER,
        "G4": Meaning.DWELL,
        "G10": Meaning.WRITE,
        "G17": Meaning.PLANE_XY,
        "G18": Meaning.PLANE_ZX,
        "G19": Meaning.PLANE_YZ,
        "G20": Meaning.INCH,
        "G21": Meaning.METRIC,
        "G40": Meaning.CUTTER_OFF,
        "G41": Meaning.CUTTER_LEFT,
        "G42": Meaning.CUTTER_RIGHT,
        "G43": Meaning.LENGTH_PLUS,
        "G44": Meaning.LENGTH_MINUS,
        "G49": Meaning.LENGTH_OFF,
        "G53": Meaning.MACHINE,
        "G61": Meaning.EXACT_STOP,
        "G64": Meaning.PATH_MODE,
        "G65": Meaning.MACRO,
        "G73": Meaning.CHIP_BREAK,
        "G74": Meaning.LEFT_TAP,
        "G76": Meaning.FINE_BORE,
        "G80": Meaning.CYCLE_OFF,
        "G81": Meaning.DRILL,
        "G82": Meaning.COUNTERBORE,
        "G83": Meaning.PECK,
        "G84": Meaning.TAP,
        "G85": Meaning.BORE_FEED_OUT,
        "G86": Meaning.BORE_STOP_OUT,
        "G87": Meaning.BACK_BORE,
        "G88": Meaning.BORE_BY_HAND,
        "G89": Meaning.BORE_DWELL_OUT,
        "G90": Meaning.ABSOLUTE,
        "G91": Meaning.INCREMENTAL,
        "G92": Meaning.SHIFT_SET,
        "G92.1": Meaning.SHIFT_ZERO,
        "G92.2": Meaning.SHIFT_OFF,
        "G92.3": Meaning.SHIFT_BACK,
        "G93": Meaning.FEED_INVERSE,
        "G94": Meaning.FEED_MINUTE,
        "G95": Meaning.FEED_TURN,
        "G98": Meaning.RETURN_INITIAL,
        "G99": Meaning.RETURN_R,
        "M0": Meaning.STOP,
        "M1": Meaning.OPTIONAL_STOP,
        "M2": Meaning.END,
        "M3": Meaning.SPINDLE_CLOCKWISE,
        "M4": Meaning.SPINDLE_COUNTER,
        "M5": Meaning.SPINDLE_OFF,
        "M6": Meaning.TOOL_CHANGE,
        "M7": Meaning.NO_MOTION,
        "M8": Meaning.NO_MOTION,
        "M9": Meaning.NO_MOTION,
        "M30": Meaning.END,
        "M48": Meaning.NO_MOTION,
        "M49": Meaning.NO_MOTION,
        "M98": Meaning.CALL,
        "M99": Meaning.RETURN,
    }
    words = {key(word): Role(meaning) for word, meaning in plain.items()}
    words[key("G28")] = Role(Meaning.RETURN_TO, 1)
    words[key("G30")] = Role(Meaning.RETURN_TO, 2)
    for index in range(6):
        words["G", 540 + 10 * index] = Role(Meaning.OFFSET, index + 1)
    return words


CORE: Final[Mapping[WordKey, Role]] = _core()
"""Words of the ISO 6983 core as commonly used on mills."""


class TurningRule(StrEnum):
    """Which way round a turning axis goes to an absolute angle.  Values as in the cell file."""

    AS_WRITTEN = "as written"
    """The number is the position: from 350 to 10 it unwinds 340 degrees; 370 is a turn and 10."""
    SHORTEST = "shortest way"
    POSITIVE = "positive way"
    BY_SIGN = "by the sign"
    """The angle within one turn is the position; plus or minus says which way round."""
    UNKNOWN = "not declared"


@dataclass(frozen=True, slots=True)
class Family:
    """A family of work offsets: a word and the letter that counts them (G54.1 P7)."""

    letter: str
    count: int


@dataclass(frozen=True, slots=True)
class Write:
    """What a register-writing block with this L writes.

    Attributes
    ----------
    target : str
        ``"offset"`` (P counts `Dialect.offset_names` from 1; P0 is not taken),
        ``"family"`` (P counts the family `family`), ``"length"`` (P register, R value) or
        ``"radius"`` (P register, R value).
    family : WordKey or None
    """

    target: str
    family: WordKey | None = None


@dataclass(frozen=True, slots=True)
class Variable:
    """A system variable that the cell describes.

    Attributes
    ----------
    what : str
        ``"value"`` (constant, with `value`), ``"machine position"``, ``"work position"`` (both
        with `axis`, lengths in the unit in force, angles in degrees; work position without the
        tool length), ``"offset"`` (value of register `offset` for `axis`).
    """

    what: str
    value: float = nan
    axis: int = 0
    offset: str = ""


@dataclass(frozen=True, slots=True)
class PlaneWord:
    """How a tilted-plane word is written.

    Attributes
    ----------
    origin : tuple of 3 letters
        Of the plane's zero, in the work offset's coordinates at zero angles.
    angles : tuple of 3 letters
    order : str
        Rotation order, three of X Y Z; ``"ZXZ"``: about Z, then the new X, then the new Z.
    fixed_axes : bool
        True: each turn is about the axes before any turn, not about those turned along.
    """

    origin: tuple[str, str, str]
    angles: tuple[str, str, str]
    order: str
    fixed_axes: bool = False


@dataclass(frozen=True, slots=True)
class ToolPointWord:
    """How tool-point control works on this control.

    Attributes
    ----------
    frame_at_zero : bool
        True: programmed X Y Z are those of the work with all angles at zero.  False: with the
        angles at which the word was given.
    chord_mm : float
        Largest distance between the tool point's true path over the work and the chords that
        stand for it here [mm].
    """

    frame_at_zero: bool
    chord_mm: float = 0.01


@dataclass(frozen=True, slots=True)
class Limits:
    """What ends the reading of an endless or hostile program.

    Attributes
    ----------
    blocks : int
        Blocks carried out.
    rows : int
        Segments.
    jumps : int
        Loops gone round, jumps, calls and repeats, all together.
    depth : int
        Calls within calls.
    brackets : int
        Brackets within brackets.
    line_characters : int
    """

    blocks: int = 20_000_000
    rows: int = 10_000_000
    jumps: int = 1_000_000
    depth: int = 20
    brackets: int = 40
    line_characters: int = 10_000


@dataclass(frozen=True, slots=True)
class Dialect:
    """Everything about the control and its registers that reading needs.

    Attributes
    ----------
    words : mapping of WordKey to Role
    axes : mapping of letter to joint index
        0 X, 1 Y, 2 Z, 3 tilt, 4 rotary.
    missing_point : str or None
        ``"unit"``: X1 is 1 mm, 1 in or 1 deg; ``"least"``: X1 is one least increment.
    least_mm, least_inch, least_deg : float
        Least increments, each in its own unit [mm, in, deg].
    turning : pair of TurningRule
        Of tilt and rotary.
    offset_names : tuple of str
        Names of the work offsets counted by Role.index, from 1.
    offsets : mapping of name to Joint
        Values [mm, rad]; NaN where not known.  A family's are named like ``"G54.1 P7"``.
    families : mapping of WordKey to Family
    writes : mapping of L number to Write
    lengths, radii : mapping of register to mm
    length_without_register : str or None
        ``"error"``, ``"tool"`` (the tool's number), ``"last"``.
    length_moves_step : bool or None
        True: a length that changed is added to the next step (G91) of Z; False: it is not.
    references : mapping of int to Joint
    start : Joint
        Where the axes stand before the first block.
    at_start : tuple of WordKey
        Words in force before the first block.
    tool_at_start : int or None
    change_at : Joint
        Where a tool change takes the axes; NaN where it leaves them alone.
    variables : mapping of number to Variable
    local_count : int
        Variables 1 to this are local: empty at the start and at each macro call.
    dwell_p : str or None
        Unit of P in a dwell: ``"s"`` or ``"ms"``; X and U are seconds.
    fix_rounds : str or None
        FIX and FUP of negatives: ``"down"`` (NISTIR 6556: FIX[-2.8] is -3) or ``"zero"``.
    round_in_words : str or None
        ROUND in a word's value: ``"whole"`` rounds to whole numbers there too; None: in doubt,
        because some controls round to the least increment of the word.
    atan_range : str or None
        Of ATAN[a]/[b]: ``"0..360"`` or ``"-180..180"``; None: an angle below zero is in doubt.
    mod_rule : str or None
        ``"floor"`` (0 <= a MOD b < abs(b)), ``"truncate"`` (the sign of a) or ``"whole"`` (the
        sign of a, both rounded to whole numbers first); None: in doubt where these differ.
    logic_rule : str or None
        AND, OR, XOR: ``"truth"`` (not zero is true, NISTIR 6556) or ``"bits"``; None: in doubt
        where these differ.
    equal_within : float or None
        Two numbers no further apart than this compare as equal; None: 0 < difference < 1e-7 is
        in doubt.
    after_cycle_off : str or None
        Axis words after a cycle was ended: ``"error"``, ``"rapid"`` or ``"motion before"``.
    repeat_letter : str
        Letter of a cycle's repeats.
    repeat_zero : str or None
        Repeats of zero: ``"error"`` (NISTIR 6556, 3.5.16) or ``"remember"`` (no hole, values kept).
    step_from : str or None
        R of a further hole of a cycle under G91 counts from the ``"first level"`` (where the first
        cycle began) or the ``"level now"`` (NISTIR 6556).
    turn_in_cycle : bool or None
        True: turning axes in a cycle's block move with the positioning; False: an alarm.
    bore_shift : pair of float or None
        Unit direction, along the two axes of the plane, in which fine and back boring move the tool
        off the wall (a way that the spindle's orientation sets).
    back_bore : str or None
        ``"I J K"``: I and J say where the tool goes through the hole, counted from its axis, Z the
        lowest level, K the top of the counterbore (NISTIR 6556, 3.5.16.8); ``"Q"``: R is the level
        beyond the hole, Z the top of the counterbore, Q how far the tool moves off the wall.
    block_skip : bool or None
        Whether the switch is on: blocks with a slash are left out.
    semicolon_comment : bool
    assignment_in_motion : bool or None
        True: allowed; the values count from the next block on (NISTIR 6556, 3.3.3).
    packed_calls : bool
        True: P of more than four digits in a call is repeats and number (P0031000).
    arguments : mapping of letter to variable number
        Of a macro call.
    arc_tolerance_mm, arc_tolerance_inch : float
        Allowed difference of an arc's two radii, each in its own unit (NISTIR 6556, 3.5.3.2).
    arc_without_end : str or None
        An arc with a centre and no end words: ``"circle"`` or ``"error"`` (NISTIR 6556, 3.5.3).
    peck_clear_mm, chip_break_mm : float
        Backing off within a hole already drilled [mm].
    planes : mapping of WordKey to PlaneWord
    tool_points : mapping of WordKey to ToolPointWord
    cutter_corner : str or None
        Path of the cutter's centre round an outside corner: ``"arc"`` or ``"sharp"``.
    cutter_lead : str or None
        Where a lead-in under cutter radius ends: ``"square to next"``, ``"square to lead"`` or
        ``"tangent"``; see `cutter.centre_path`.
    plane_choice : str or None
        Which of two poses: ``"tilt positive"``, ``"tilt negative"``, ``"nearest"``.
    chain : WorkChain or None
        Of tilt and rotary, table frame, for planes and tool point.
    limits : Limits
    """

    words: Mapping[WordKey, Role] = field(default_factory=lambda: dict(CORE))
    axes: Mapping[str, int] = field(default_factory=lambda: {"X": 0, "Y": 1, "Z": 2})
    missing_point: str | None = None
    least_mm: float = 0.001
    least_inch: float = 0.0001
    least_deg: float = 0.001
    turning: tuple[TurningRule, TurningRule] = (TurningRule.UNKNOWN, TurningRule.UNKNOWN)
    offset_names: tuple[str, ...] = ("G54", "G55", "G56", "G57", "G58", "G59")
    offsets: Mapping[str, Joint] = field(default_factory=dict)
    families: Mapping[WordKey, Family] = field(default_factory=dict)
    writes: Mapping[int, Write] = field(default_factory=dict)
    lengths: Mapping[int, float] = field(default_factory=dict)
    radii: Mapping[int, float] = field(default_factory=dict)
    length_without_register: str | None = None
    length_moves_step: bool | None = None
    references: Mapping[int, Joint] = field(default_factory=dict)
    start: Joint = UNKNOWN
    at_start: tuple[WordKey, ...] = (
        ("G", 400),
        ("G", 490),
        ("G", 800),
        ("G", 940),
        ("G", 980),
    )
    tool_at_start: int | None = None
    change_at: Joint = UNKNOWN
    variables: Mapping[int, Variable] = field(default_factory=dict)
    local_count: int = 33
    dwell_p: str | None = None
    fix_rounds: str | None = None
    round_in_words: str | None = None
    atan_range: str | None = None
    mod_rule: str | None = None
    logic_rule: str | None = None
    equal_within: float | None = None
    after_cycle_off: str | None = None
    repeat_letter: str = "L"
    repeat_zero: str | None = None
    step_from: str | None = None
    turn_in_cycle: bool | None = None
    bore_shift: tuple[float, float] | None = None
    back_bore: str | None = None
    block_skip: bool | None = None
    semicolon_comment: bool = False
    assignment_in_motion: bool | None = None
    packed_calls: bool = False
    arguments: Mapping[str, int] = field(
        # From memory (common practice): the letters of a macro call's arguments.
        default_factory=lambda: dict(
            zip(
                "ABCIJKDEFHMQRSTUVWXYZ",
                (1, 2, 3, 4, 5, 6, 7, 8, 9, 11, 13, 17, 18, 19, 20, 21, 22, 23, 24, 25, 26),
                strict=True,
            )
        )
    )
    arc_tolerance_mm: float = 0.002
    arc_tolerance_inch: float = 0.0002
    arc_without_end: str | None = None
    peck_clear_mm: float = 0.0
    chip_break_mm: float = 0.0
    planes: Mapping[WordKey, PlaneWord] = field(default_factory=dict)
    tool_points: Mapping[WordKey, ToolPointWord] = field(default_factory=dict)
    cutter_corner: str | None = None
    cutter_lead: str | None = None
    plane_choice: str | None = None
    chain: WorkChain | None = None
    limits: Limits = field(default_factory=Limits)


FULL_TURN: Final = 2.0 * pi
