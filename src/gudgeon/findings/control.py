"""The control as the reader of programs needs it: the cell's entries turned into a `Dialect`.

Nothing is filled in from habit: a rule that the cell leaves out stays unknown, and the reader tells
where a program hangs on it.  Values of work offsets that are not entered are those that the
question "offsets" works out, and it is told which came from where.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from gudgeon.cell.control_checks import counted_offset
from gudgeon.cell.model_control import AXIS_NAMES, NOT_KNOWN, Control
from gudgeon.findings.gather import Lacking
from gudgeon.findings.offsets import OffsetFindings
from gudgeon.kinematics.chain import WorkChain
from gudgeon.program.dialect import (
    CORE,
    UNKNOWN,
    Dialect,
    Family,
    Meaning,
    PlaneWord,
    Role,
    ToolPointWord,
    TurningRule,
    Variable,
    WordKey,
    Write,
    key,
)
from gudgeon.program.track import Flag
from gudgeon.quantity.amount import Amount

__all__ = ["BRAKE_FLAGS", "COMPUTED", "ENTERED", "ControlFinding", "ControlFindings", "word_text"]

ENTERED: Final = "entered"
COMPUTED: Final = 'computed by "offsets"'

_FULL_TURN: Final = 2.0 * math.pi
_ANY_G: Final = re.compile(rb"[Gg][ \t]*([0-9][0-9. \t]*)")
_HIDES_WORDS: Final = re.compile(rb"[Gg][ \t]*[\[#]|[Mm][ \t]*0*98|[Gg][ \t]*65|[Gg][ \t]*10|#")
"""Words worked out, calls, writes and variables: an offset may be used that is not written here."""

_LOOKED_THROUGH: Final = 1_000_000
"""In a longer text looking costs more than working the offsets out."""

_REPLACING: Final[Mapping[str, tuple[Meaning, str]]] = {
    "rapid_word": (Meaning.RAPID, "G0"),
    "stop_word": (Meaning.STOP, "M0"),
    "end_word": (Meaning.END, "M30"),
    "absolute_word": (Meaning.ABSOLUTE, "G90"),
    "metric_word": (Meaning.METRIC, "G21"),
    "inch_word": (Meaning.INCH, "G20"),
    "machine_word": (Meaning.MACHINE, "G53"),
}

_SHIFTS: Final = {"X+": (1.0, 0.0), "X-": (-1.0, 0.0), "Y+": (0.0, 1.0), "Y-": (0.0, -1.0)}

BRAKE_FLAGS: Final[Mapping[str, Flag]] = {
    "clamps tilt": Flag.CLAMPS_TILT,
    "clamps rotary": Flag.CLAMPS_ROTARY,
    "clamps both": Flag.CLAMPS_TILT | Flag.CLAMPS_ROTARY,
    "frees tilt": Flag.FREES_TILT,
    "frees rotary": Flag.FREES_ROTARY,
    "frees both": Flag.FREES_TILT | Flag.FREES_ROTARY,
}

_AS_THEY_STAND: Final = (
    *("round_in_words", "atan_range", "mod_rule", "logic_rule", "repeat_zero", "step_from"),
    *("turn_in_cycle", "back_bore", "cutter_corner", "cutter_lead", "plane_choice"),
    *("length_without_register", "length_moves_step", "after_cycle_off", "arc_without_end"),
    *("assignment_in_motion", "tool_at_start"),
)
"""Rules whose words in the cell file are those of the dialect."""


@dataclass(frozen=True, slots=True)
class ControlFinding:
    """The control's words, rules and registers for one program.

    Attributes
    ----------
    dialect : Dialect
    offsets_from : mapping of name to str
        `ENTERED` or `COMPUTED`, for every work offset whose values are known.
    lengths_from : mapping of register to str
        Where the length of each register came from.
    assumed : tuple of str
    """

    dialect: Dialect
    offsets_from: Mapping[str, str]
    lengths_from: Mapping[int, str]
    assumed: tuple[str, ...]


class ControlFindings(OffsetFindings):
    """Facts about the control."""

    def control_for(self, text: bytes) -> ControlFinding:
        """Return what is needed to read a program.

        Parameters
        ----------
        text : bytes
            The program: work offsets are worked out from the axis lines only where it may use one
            whose values are not entered, for that takes longer than reading.
        """
        control = self.cell.control
        told: list[str] = []
        words, names = _words(control)
        families = _families(control)
        for word in families:
            words[word] = Role(Meaning.FAMILY)
        start = _start_words(control, told)
        offsets = {
            offset_name(item.word): _joint(item, turns=0.0)
            for item in control.offsets
            if item.word is not None
        }
        offsets_from = dict.fromkeys(offsets, ENTERED)
        if any(item.tilt is None or item.rotary is None for item in control.offsets):
            told.append(
                "Work offsets entered without tilt and turn have zero there ([[control.offsets]])."
            )
        if _may_use_others(text, words, names, start, offsets):
            for name, values in self._computed_offsets(told).items():
                if name not in offsets:
                    offsets[name] = values
                    offsets_from[name] = COMPUTED
        lengths, lengths_from = self._lengths(told)
        references = {
            item.number: _joint(item) for item in control.references if item.number is not None
        }
        planes, tool_points = _planes(control, words), _tool_points(control, words)
        rules: dict[str, Any] = {name: getattr(control, name) for name in _AS_THEY_STAND}
        rules |= _measures(control)
        return ControlFinding(
            dialect=Dialect(
                words=words,
                axes=self._axes(told),
                missing_point={"one unit": "unit", "least increment": "least"}.get(
                    control.missing_point or ""
                ),
                turning=self._turning(),
                offset_names=names,
                offsets=offsets,
                families=families,
                writes=_writes(control),
                lengths=lengths,
                radii={
                    item.register: item.radius.value
                    for item in control.radii
                    if item.register is not None and item.radius is not None
                },
                references=references,
                start=self._start(references, told),
                at_start=start,
                change_at=_joint(self.cell.machine.changer),
                variables=_variables(control),
                dwell_p={"seconds": "s", "milliseconds": "ms"}.get(control.dwell_p or ""),
                fix_rounds={"down": "down", "towards zero": "zero"}.get(control.fix_rounds or ""),
                block_skip={"on": True, "off": False}.get(control.block_skip or ""),
                semicolon_comment=control.comment == ";",
                packed_calls=bool(control.packed_calls),
                planes=planes,
                tool_points=tool_points,
                chain=self._chain_known() if planes or tool_points else None,
                **rules,
            ),
            offsets_from=offsets_from,
            lengths_from=lengths_from,
            assumed=tuple(told),
        )

    def _axes(self, told: list[str]) -> dict[str, int]:
        """Return joints by letter; a letter that nobody declared or jogged is not guessed."""
        control = self.cell.control
        tilt, rotary = control.tilt_letter, control.rotary_letter
        if (tilt is None and self.has_tilt) or rotary is None:
            try:
                senses = self.senses
                if not senses.letters_assumed:
                    tilt, rotary = tilt or senses.tilt_letter, rotary or senses.rotary_letter
                    told.append("Letters of the turning axes are those that were jogged.")
            except Lacking:
                pass
        axes = {"X": 0, "Y": 1, "Z": 2}
        if tilt is not None and self.has_tilt:
            axes[tilt] = 3
        if rotary is not None:
            axes[rotary] = 4
        return axes

    def _turning(self) -> tuple[TurningRule, TurningRule]:
        control, unit = self.cell.control, self.cell.unit

        def rule(declared: str | None, travel: tuple[Amount, Amount] | None) -> TurningRule:
            if declared is not None:
                return TurningRule(declared)
            # Within less than a turn there is one way only.
            short = travel is not None and travel[1].value - travel[0].value < _FULL_TURN - 1e-9
            return TurningRule.AS_WRITTEN if short else TurningRule.UNKNOWN

        return (
            rule(control.tilt_turns, unit.tilt_range),
            rule(control.rotary_turns, unit.rotary_range),
        )

    def _computed_offsets(self, told: list[str]) -> dict[str, tuple[float, ...]]:
        try:
            found, reference_mm = self.offsets, self.length_reference_mm
        except Lacking:
            return {}
        values: dict[str, tuple[float, ...]] = {
            offset_name(zero.word): (
                zero.point_mm[0],
                zero.point_mm[1],
                zero.point_mm[2] - reference_mm,
                0.0,
                0.0,
            )
            for zero in found.zeros
            if zero.word is not None and zero.point_mm is not None
        }
        if values and not found.measured:
            told.append(
                "Computed work offsets rest on drawings: the axis lines are not touched yet."
            )
        return values

    def _lengths(self, told: list[str]) -> tuple[dict[int, float], dict[int, str]]:
        """Return length registers [mm] and where each came from.

        With lengths from the gauge point a register holds the tool's length.  Touched off at the
        work it holds the machine Z of the gauge point while the tip stands on the surface, which
        is the length plus `length_reference` (see `OffsetFindings.length_reference_mm`).
        """
        try:
            reference = self.length_reference_mm
        except Lacking:
            reference = math.nan
        lengths, came = {}, {}
        for tool in self.cell.tools:
            if tool.number is not None and tool.length is not None:
                lengths[tool.number] = tool.length.value + reference
                came[tool.number] = f"length of tool {tool.number}"
        if lengths:
            told.append(
                "Length register n holds the length of tool n, unless [[control.lengths]] says "
                "otherwise."
            )
        for item in self.cell.control.lengths:
            if item.register is not None and item.length is not None:
                lengths[item.register] = item.length.value
                came[item.register] = ENTERED
        return {n: mm for n, mm in lengths.items() if not math.isnan(mm)}, came

    def _start(
        self, references: Mapping[int, tuple[float, ...]], told: list[str]
    ) -> tuple[float, ...]:
        own = _joint(self.cell.control.start)
        first = references.get(1, UNKNOWN)
        if all(math.isnan(value) for value in own) and 1 in references:
            told.append("The program starts at reference point 1 ([control.start] is not given).")
        start = [
            mine if not math.isnan(mine) else its for mine, its in zip(own, first, strict=True)
        ]
        if not self.has_tilt:
            start[3] = 0.0  # there is no such axis, so it never moves
        return tuple(start)

    def _chain_known(self) -> WorkChain | None:
        try:
            return self.axis_lines.chain
        except Lacking:
            return None


def word_text(word: WordKey) -> str:
    """Return a word as a person writes it, such as ``"G54.1"``."""
    letter, tenths = word
    return f"{letter}{tenths // 10}" + (f".{tenths % 10}" if tenths % 10 else "")


def offset_name(text: str) -> str:
    """Return the name of a work offset as the reader forms it: ``"G54"``, ``"G54.1 P7"``."""
    parts = counted_offset(text)
    if parts is not None:
        return f"{word_text(parts[0])} {parts[1]}{parts[2]}"
    try:
        return word_text(key(text.strip()))
    except ValueError:
        return text


def _words(control: Control) -> tuple[dict[WordKey, Role], tuple[str, ...]]:
    """Return the words of this control and the names of its work offsets in order."""
    words = dict(CORE)
    names = ["G54", "G55", "G56", "G57", "G58", "G59"]
    singles = [text for text in control.offset_words if counted_offset(text) is None]
    if control.offset_words:
        words = {word: role for word, role in words.items() if role.meaning is not Meaning.OFFSET}
        names = []
        for text in singles:
            word = _key(text)
            if word is not None:
                names.append(word_text(word))
                words[word] = Role(Meaning.OFFSET, len(names))
    for entry, (meaning, usual) in _REPLACING.items():
        text = getattr(control, entry)
        word = _key(text) if text is not None else None
        if word is None or words.get(word) == Role(meaning):
            continue
        words.pop(key(usual), None)
        words[word] = Role(meaning)
    for item in control.words:
        word = _key(item.word or "")
        if word is None or item.means is None:
            continue
        if item.means == NOT_KNOWN:
            words.pop(word, None)
            continue
        words[word] = Role(Meaning(item.means), item.number or 0)
        if item.means == Meaning.NO_MOTION.value:
            words[word] = Role(Meaning.NO_MOTION, int(BRAKE_FLAGS.get(item.brakes or "", Flag(0))))
        if item.means == Meaning.OFFSET.value and item.number is not None:
            names += [""] * (item.number - len(names))
            names[item.number - 1] = names[item.number - 1] or word_text(word)
    return words, tuple(names)


def _key(text: str) -> WordKey | None:
    try:
        return key(text.strip())
    except ValueError:
        return None


def _families(control: Control) -> dict[WordKey, Family]:
    families: dict[WordKey, Family] = {}
    for text in control.offset_words:
        parts = counted_offset(text)
        if parts is not None:
            word, letter, number = parts
            most = families[word].count if word in families else 0
            families[word] = Family(letter, max(number, most))
    for item in control.offset_families:
        declared = _key(item.word or "")
        if declared is not None and item.letter is not None and item.count is not None:
            families[declared] = Family(item.letter, item.count)
    return families


def _start_words(control: Control, told: list[str]) -> tuple[WordKey, ...]:
    if control.at_start:
        return tuple(word for text in control.at_start if (word := _key(text)) is not None)
    usual = Dialect().at_start
    told.append(
        f"In force when the program starts: {', '.join(map(word_text, usual))} "
        "(control.at_start is not given)."
    )
    return usual


def _may_use_others(
    text: bytes,
    words: Mapping[WordKey, Role],
    names: tuple[str, ...],
    start: tuple[WordKey, ...],
    stated: Mapping[str, tuple[float, ...]],
) -> bool:
    """Tell whether a program may use a work offset whose values are not entered."""
    if len(text) > _LOOKED_THROUGH:
        return True
    used = set(start)
    for match in _ANY_G.finditer(text):
        number = match[1].replace(b" ", b"").replace(b"\t", b"").rstrip(b".")
        used.add(_key("G" + number.decode("ascii")) or ("G", -1))
    for word in used:
        role = words.get(word)
        if role is not None and role.meaning is Meaning.FAMILY:
            return True
        if (
            role is not None
            and role.meaning is Meaning.OFFSET
            and names[role.index - 1] not in stated
        ):
            return True
    return _HIDES_WORDS.search(text) is not None and any(name not in stated for name in names)


def _joint(item: Any, *, turns: float = math.nan) -> tuple[float, ...]:
    """Return X, Y, Z [mm], tilt, rotary [rad]; NaN where nothing is entered."""
    values = []
    for name in ("x", "y", "z", "tilt", "rotary"):
        amount: Amount | None = getattr(item, name, None)
        absent = turns if name in ("tilt", "rotary") else math.nan
        values.append(absent if amount is None else amount.value)
    return tuple(values)


def _measures(control: Control) -> dict[str, Any]:
    """Return rules that are quantities, each in the unit of the dialect; absent ones stay usual."""
    inch, degree = 25.4, math.pi / 180.0
    given: dict[str, tuple[Amount | None, float]] = {
        "least_mm": (control.least_increment, 1.0),
        "least_inch": (control.least_increment_inch, inch),
        "least_deg": (control.least_angle, degree),
        "equal_within": (control.equal_within, 1.0),
        "peck_clear_mm": (control.peck_clearance, 1.0),
        "chip_break_mm": (control.chip_break, 1.0),
        "arc_tolerance_mm": (control.arc_tolerance, 1.0),
        "arc_tolerance_inch": (control.arc_tolerance_inch, inch),
    }
    found: dict[str, Any] = {
        name: amount.value / unit for name, (amount, unit) in given.items() if amount is not None
    }
    if control.repeat_letter is not None:
        found["repeat_letter"] = control.repeat_letter
    if control.bore_shift is not None:
        found["bore_shift"] = _SHIFTS[control.bore_shift]
    return found


def _writes(control: Control) -> dict[int, Write]:
    if not control.writes:
        return {2: Write("offset")}  # NISTIR 6556, 3.5.5
    return {
        item.l: Write(item.target, _key(item.family) if item.family is not None else None)
        for item in control.writes
        if item.l is not None and item.target is not None
    }


def _variables(control: Control) -> dict[int, Variable]:
    return {
        item.number: Variable(
            what=item.means,
            value=item.value.value if item.value is not None else math.nan,
            axis=AXIS_NAMES.index(item.axis) if item.axis is not None else 0,
            offset=offset_name(item.word) if item.word is not None else "",
        )
        for item in control.variables
        if item.number is not None and item.means is not None
    }


def _planes(control: Control, words: dict[WordKey, Role]) -> dict[WordKey, PlaneWord]:
    planes: dict[WordKey, PlaneWord] = {}
    for item in control.tilted_planes:
        word = _key(item.word or "")
        if word is None or item.order is None:
            continue
        origin, angles = item.origin or ("X", "Y", "Z"), item.angles or ("I", "J", "K")
        planes[word] = PlaneWord(
            (origin[0], origin[1], origin[2]),
            (angles[0], angles[1], angles[2]),
            item.order,
            item.about == "fixed axes",
        )
        words[word] = Role(Meaning.TILTED_PLANE)
        for text, meaning in (
            (item.off_word, Meaning.TILTED_OFF),
            (item.turn_word, Meaning.TURN_TO_PLANE),
        ):
            if text is not None and (other := _key(text)) is not None:
                words[other] = Role(meaning)
    return planes


def _tool_points(control: Control, words: dict[WordKey, Role]) -> dict[WordKey, ToolPointWord]:
    points: dict[WordKey, ToolPointWord] = {}
    for item in control.tool_points:
        word = _key(item.word or "")
        if word is None:
            continue
        chord = item.chord.value if item.chord is not None else 0.01
        points[word] = ToolPointWord(item.frame == "angles zero", chord)
        words[word] = Role(Meaning.TOOL_POINT)
        # The usual word of length off ends it too; another word needs its own meaning.
        off = _key(item.off_word or "")
        if off is not None and words.get(off) != Role(Meaning.LENGTH_OFF):
            words[off] = Role(Meaning.TOOL_POINT_OFF)
    return points
