"""A program that calls the shop's own subprograms in the order that was found, read back.

It changes tools, indexes, chooses the work offset and calls; feeds, speeds, lengths and approach
stand in the subprograms.  It is offered only where the text, read as a program with nothing known
before it, comes to each call with the tool, the offset and the pose that were meant; else the
reason is told.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np

from gudgeon.findings.control import offset_name, word_text
from gudgeon.findings.gather import Lacking
from gudgeon.findings.job_times import as_pose
from gudgeon.findings.jobs import OWN, called, same_pose
from gudgeon.findings.legs import Angles
from gudgeon.findings.night import NightFindings
from gudgeon.findings.ordering import OrderFinding, Step
from gudgeon.program.dialect import UNKNOWN, Meaning
from gudgeon.program.doubts import Grade
from gudgeon.program.reader import read
from gudgeon.program.track import Ended, Kind, Track

__all__ = ["Skeleton", "SkeletonFindings"]

MM_PER_INCH: Final = 25.4  # exact: NIST SP 811 (2008), appendix B

READ_TOL: Final = 1e-4
"""What is read back may differ by the last digit written [rad]; ten times that in Z [mm]."""

MOST_LINES: Final = 20_000


@dataclass(frozen=True, slots=True)
class Skeleton:
    """A program of calls, or why there is none.

    Attributes
    ----------
    lines : tuple of (str, str)
        Text of each block, and what it does.
    refused : str
        Why none is offered; empty where one is.
    clamps : bool
        Words that let go and clamp are written.
    no_speed : tuple of str
        Operations for which no spindle speed is written, for none is entered.
    """

    lines: tuple[tuple[str, str], ...]
    refused: str = ""
    clamps: bool = False
    no_speed: tuple[str, ...] = ()

    @property
    def text(self) -> str:
        """The program as it is written to a file."""
        return "".join(f"{line}\n" for line, _ in self.lines)


@dataclass(slots=True)
class _Call:
    """A call that was written: its line from 1, and the state in which it must be read."""

    line: int
    step: Step


class SkeletonFindings(NightFindings):
    """The program of calls."""

    @cached_property
    def skeleton(self) -> Skeleton:
        """The program that runs the order; raises `Lacking` where there is no order yet."""
        found = self.ordering
        refused = self._not_callable(found)
        if refused:
            return Skeleton((), refused)
        try:
            return self._written_calls(found)
        except Lacking as lacking:
            first = lacking.missing[0]
            return Skeleton((), f"{first.what} is missing ({first.where})")

    def _written_calls(self, found: OrderFinding) -> Skeleton:
        change, spindle = (
            self._word_of(meaning) for meaning in (Meaning.TOOL_CHANGE, Meaning.SPINDLE_CLOCKWISE)
        )
        if change is None:
            return Skeleton((), "no word of the control is declared to change a tool")
        if spindle is None and any(self._speed(step) is not None for step in found.steps):
            return Skeleton((), "no word of the control is declared to start the spindle")
        lines, calls = self._skeleton_lines(found, change, spindle or "")
        if len(lines) > MOST_LINES:
            return Skeleton((), f"it would have {len(lines)} blocks")
        written = self._commented(lines)
        refused = self._read_otherwise(written, calls)
        if refused:
            return Skeleton((), refused)
        silent = dict.fromkeys(
            step.job.operation for step in found.steps if self._speed(step) is None
        )
        return Skeleton(
            tuple(written),
            "",
            bool(self._clamp_words((3, 4), "frees")),
            tuple(silent),
        )

    def _not_callable(self, found: OrderFinding) -> str:
        """Return what keeps the order from being written as calls; empty where nothing does."""
        for step in found.steps:
            number = step.job.number
            name = called(self.cell.operations[number], number)
            call = self.cell.operations[number].call
            if not call or not call.strip():
                return (
                    f'it is not entered which block runs "{name}" (operations[{number + 1}].call)'
                )
            if len(call.splitlines()) > 1:
                return f'operations[{number + 1}].call is more than one block ("{name}")'
            if step.way.kind != OWN:
                return (
                    f'"{name}" is cut in another pose than that of its own face, and its block is '
                    "written for that"
                )
            if step.way.word is None:
                return f'no work offset is left for "{name}" at station {step.job.station}'
        if self.cell.machine.travel_z is None:
            return "the top of Z is not entered (machine.travel_z)"
        return ""

    def _speed(self, step: Step) -> int | None:
        """Return the spindle speed of a step [1/min]; ``None`` where it is not entered."""
        speed = self.cell.operations[step.job.number].speed
        return None if speed is None else round(60.0 * speed.value / (2.0 * math.pi))

    # --- words ----------------------------------------------------------------------------------

    def _word_of(self, meaning: Meaning) -> str | None:
        """Return the control's word for a meaning: that with the lowest number."""
        words = self.control_for(b"").dialect.words
        keys = sorted(key for key, role in words.items() if role.meaning is meaning)
        return word_text(keys[0]) if keys else None

    def _clamp_words(self, axes: Sequence[int], verb: str) -> list[str]:
        """Return the words that free or clamp the axes that turn; none where none is declared."""
        known = {
            word.brakes: word.word
            for word in self.cell.control.words
            if word.brakes is not None and word.word is not None
        }
        names = {3: "tilt", 4: "rotary"}
        single = [known.get(f"{verb} {names[axis]}") for axis in axes]
        both = known.get(f"{verb} both")
        if both is not None and (len(axes) > 1 or None in single):
            return [both]
        return [word for word in single if word is not None]

    def _number(self, joint: int, value: float) -> str:
        if joint >= 3:
            text = f"{math.degrees(value):.3f}"
        elif self.cell.shop.units == "in":
            text = f"{value / MM_PER_INCH:.4f}"
        else:
            text = f"{value:.3f}"
        text = text.rstrip("0")
        return "0." if text in ("-0.", "0.") else text

    # --- text -----------------------------------------------------------------------------------

    def _skeleton_lines(
        self, found: OrderFinding, change: str, spindle: str
    ) -> tuple[list[tuple[str, str]], list[_Call]]:
        control, changer = self.cell.control, self.cell.machine.changer
        inch = self.cell.shop.units == "in"
        absolute = control.absolute_word or "G90"
        to_machine = f"{control.machine_word or 'G53'} {control.rapid_word or 'G0'}"
        travel = self.cell.machine.travel_z
        assert travel is not None
        top = f"{absolute} {to_machine} Z{self._number(2, travel[1].value)}"
        unit = (control.inch_word or "G20") if inch else (control.metric_word or "G21")
        lines = [(f"{unit} {absolute}", "units, absolute positions"), (top, "Z to the top")]
        calls: list[_Call] = []
        pose: Angles | None = None

        def index(wanted: Angles, words: str) -> None:
            nonlocal pose
            if pose is not None and same_pose(pose, wanted):
                return
            lines.extend(self._index_lines(to_machine, pose, wanted, words))
            pose = wanted

        for step in found.steps:
            if step.leg.change_pose is not None:
                index(step.leg.change_pose, "where tools are changed")
                place = [
                    letter + self._number(k, at.value)
                    for k, (letter, at) in enumerate((("X", changer.x), ("Y", changer.y)))
                    if at is not None
                ]
                if place:
                    lines.append((f"{to_machine} {' '.join(place)}", "where tools are changed"))
                lines.append((f"T{step.job.tool} {change}", f"tool {step.job.tool}"))
            elif not calls:
                # The tool is there from the load before; on the first load it may be another.
                if found.restricted:
                    safe = self.change_rule.poses(found.load_pose, step.way.angles_rad)
                    index(safe[0], "where tools are changed")
                lines.append((f"T{step.job.tool} {change}", f"tool {step.job.tool}"))
            index(step.way.angles_rad, self._side_words(step))
            assert step.way.word is not None
            lines.append((step.way.word, f"zero of {step.way.face} at {step.job.station}"))
            speed = self._speed(step)
            if speed is not None:  # before each: the subprogram before may have stopped it
                lines.append((f"S{speed} {spindle}", "spindle"))
            call = self.cell.operations[step.job.number].call
            assert call is not None
            lines.append((call.strip(), step.job.label))
            calls.append(_Call(len(lines), step))
            lines.append((top, "Z to the top"))
        index(found.load_pose, "where parts are loaded")
        lines.append((control.end_word or "M30", "end"))
        return lines, calls

    @staticmethod
    def _side_words(step: Step) -> str:
        return f"{step.way.face or 'pose'} of station {step.job.station}"

    def _index_lines(
        self, to_machine: str, now: Angles | None, wanted: Angles, words: str
    ) -> list[tuple[str, str]]:
        senses = self.senses
        start, end = None if now is None else as_pose(now), as_pose(wanted)
        has = (3, 4) if self.has_tilt else (4,)
        moving = [
            axis for axis in has if start is None or abs(start[axis - 3] - end[axis - 3]) > 1e-9
        ]
        letters = {3: senses.tilt_letter or "", 4: senses.rotary_letter}
        angles = " ".join(letters[axis] + self._number(axis, end[axis - 3]) for axis in moving)
        return [
            *((word, "let go") for word in self._clamp_words(moving, "frees")),
            (f"{to_machine} {angles}", words),
            *((word, "clamp") for word in self._clamp_words(moving, "clamps")),
        ]

    def _commented(self, lines: Sequence[tuple[str, str]]) -> list[tuple[str, str]]:
        style = self.cell.control.comment
        plain = [
            (text, "".join(c for c in words if c.isascii() and c.isprintable() and c not in "();%"))
            for text, words in lines
        ]
        if style == ";":
            return [(f"{text} ; {words}", words) for text, words in plain]
        if style == "( )":
            return [(f"{text} ({words.upper()})", words) for text, words in plain]
        return list(lines)

    # --- read back ------------------------------------------------------------------------------

    def _read_otherwise(self, lines: Sequence[tuple[str, str]], calls: Sequence[_Call]) -> str:
        """Return why the text does not say what was meant; empty where it does.

        Every subprogram is read as one stop, which shows the state in which it was called.
        """
        text = "\n".join(line for line, _ in lines).encode() + b"\n"
        dialect = replace(self.control_for(text).dialect, start=UNKNOWN)
        stop = self.cell.control.stop_word or "M0"
        back = self._word_of(Meaning.RETURN)
        if back is None:
            return "no word of the control is declared to return from a subprogram"
        track = read(text, dialect, called=lambda number: f"O{number}\n{stop}\n{back}\n".encode())
        worst = track.worst
        if worst is not None and worst.grade is not Grade.NOTE:
            return f"line {worst.line} cannot be read back ({worst.code.value.replace('_', ' ')})"
        if track.ended is not Ended.BY_WORD:
            return "the control's words as declared do not bring the reader to the end"
        rotary = self.turning_only.axes[-1]
        endless = math.isinf(rotary.high_rad - rotary.low_rad)
        found = _called_otherwise(track, calls, endless=endless)
        return found or self._other_speed(track, calls)

    def _other_speed(self, track: Track, calls: Sequence[_Call]) -> str:
        """Return which call is read at another spindle speed than was meant; empty: none."""
        wanted = {call.line: self._speed(call.step) for call in calls}
        for row in np.flatnonzero(track.segments["kind"] == Kind.STOP).tolist():
            line, _ = track.called_from(row)
            speed = wanted.get(line)
            if speed is None:
                continue
            force = track.in_force[int(track.segments["force"][row])]
            if force.spindle != 1 or abs(60.0 * (force.speed_per_s or 0.0) - speed) > 0.5:
                return f"line {line} is read at another spindle speed than was meant"
        return ""


def _called_otherwise(track: Track, calls: Sequence[_Call], *, endless: bool) -> str:
    """Return which call is read in another state than was meant; empty where none is."""
    stops: dict[int, list[int]] = {}
    for row in np.flatnonzero(track.segments["kind"] == Kind.STOP).tolist():
        line, _ = track.called_from(row)
        if line:
            stops.setdefault(line, []).append(row)
    for call in calls:
        rows = stops.pop(call.line, [])
        if not rows:
            return f"line {call.line} is no call of a subprogram"
        tilt, turn = as_pose(call.step.way.angles_rad)
        for row in rows:
            force = track.in_force[int(track.segments["force"][row])]
            end = track.segments["end"][row]
            off = abs(float(end[4]) - turn)
            if endless:
                off = abs(math.remainder(off, 2.0 * math.pi))
            tilt_off = abs(float(end[3]) - tilt) if len(call.step.way.angles_rad) == 2 else 0.0
            assert call.step.way.word is not None
            same_word = force.offset == offset_name(call.step.way.word)
            if force.tool != call.step.job.tool or not same_word:
                return f"line {call.line} is read with another tool or work offset than was meant"
            if not (off <= READ_TOL and tilt_off <= READ_TOL):
                return f"line {call.line} is read in another pose than was meant"
    if stops:
        return f"line {min(stops)} is read as a call, and none was meant"
    return ""
