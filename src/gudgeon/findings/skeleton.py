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

from gudgeon.findings.control import offset_name
from gudgeon.findings.gather import Lacking
from gudgeon.findings.job_times import as_pose
from gudgeon.findings.jobs import OWN, called, same_pose
from gudgeon.findings.legs import Angles
from gudgeon.findings.night import NightFindings
from gudgeon.findings.ordering import OrderFinding, Step
from gudgeon.findings.written import TILT, TURN, Block, Written, X, Y, Z
from gudgeon.findings.written_proof import WrittenFindings
from gudgeon.program.dialect import UNKNOWN, Meaning
from gudgeon.program.doubts import Grade
from gudgeon.program.reader import read
from gudgeon.program.track import Ended, Kind, Track

__all__ = ["Skeleton", "SkeletonFindings"]

READ_TOL: Final = 1e-4
"""What is read back may differ by the last digit written [rad]; ten times that in Z [mm]."""

MOST_LINES: Final = 20_000

_NAME: Final = "calls"
_TITLE: Final = "Program of calls for one load"


@dataclass(frozen=True, slots=True)
class Skeleton(Written):
    """A program of calls, or why there is none.

    Attributes
    ----------
    clamps : bool
        Words that let go and clamp are written.
    no_speed : tuple of str
        Operations for which no spindle speed is written, for none is entered.
    """

    clamps: bool = False
    no_speed: tuple[str, ...] = ()


def _refused(words: str) -> Skeleton:
    return Skeleton(_NAME, _TITLE, refused=words)


@dataclass(slots=True)
class _Call:
    """A call that was written: its line from 1, and the state in which it must be read."""

    line: int
    step: Step


class SkeletonFindings(WrittenFindings, NightFindings):
    """The program of calls."""

    @cached_property
    def skeleton(self) -> Skeleton:
        """The program that runs the order; raises `Lacking` where there is no order yet."""
        found = self.ordering
        refused = self._not_callable(found)
        if refused:
            return _refused(refused)
        try:
            return self._written_calls(found)
        except Lacking as lacking:
            first = lacking.missing[0]
            return _refused(f"{first.what} is missing ({first.where})")

    def _written_calls(self, found: OrderFinding) -> Skeleton:
        words = self.control_words
        change, spindle = (
            words.word_of(meaning) for meaning in (Meaning.TOOL_CHANGE, Meaning.SPINDLE_CLOCKWISE)
        )
        if change is None:
            return _refused("no word of the control is declared to change a tool")
        if spindle is None and any(self._speed(step) is not None for step in found.steps):
            return _refused("no word of the control is declared to start the spindle")
        blocks, calls = self._skeleton_blocks(found, change, spindle or "")
        if len(blocks) > MOST_LINES:
            return _refused(f"it would have {len(blocks)} blocks")
        written = words.lines(blocks)
        refused = self._read_otherwise(written, calls)
        if refused:
            return _refused(refused)
        silent = dict.fromkeys(
            step.job.operation for step in found.steps if self._speed(step) is None
        )
        return Skeleton(
            _NAME,
            _TITLE,
            written,
            remarks=words.remarks,
            clamps=bool(words.clamp_words((TILT, TURN), "frees")),
            no_speed=tuple(silent),
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

    # --- text -----------------------------------------------------------------------------------

    def _skeleton_blocks(
        self, found: OrderFinding, change: str, spindle: str
    ) -> tuple[list[Block], list[_Call]]:
        words, changer = self.control_words, self.cell.machine.changer
        travel = self.cell.machine.travel_z
        assert travel is not None
        up = words.to_machine({Z: travel[1].value}, "Z to the top")
        top = Block(f"{self.cell.control.absolute_word or 'G90'} {up.text}", up.words)
        blocks = [words.settings(), top]
        calls: list[_Call] = []
        pose: Angles | None = None

        def index(wanted: Angles, told: str) -> None:
            nonlocal pose
            if pose is not None and same_pose(pose, wanted):
                return
            blocks.extend(self._index_blocks(pose, wanted, told))
            pose = wanted

        for step in found.steps:
            if step.leg.change_pose is not None:
                index(step.leg.change_pose, "where tools are changed")
                place = {
                    joint: at.value
                    for joint, at in ((X, changer.x), (Y, changer.y))
                    if at is not None
                }
                if place:
                    blocks.append(words.to_machine(place, "where tools are changed"))
                blocks.append(Block(f"T{step.job.tool} {change}", f"tool {step.job.tool}"))
            elif not calls:
                # The tool is there from the load before; on the first load it may be another.
                if found.restricted:
                    safe = self.change_rule.poses(found.load_pose, step.way.angles_rad)
                    index(safe[0], "where tools are changed")
                blocks.append(Block(f"T{step.job.tool} {change}", f"tool {step.job.tool}"))
            index(step.way.angles_rad, self._side_words(step))
            assert step.way.word is not None
            zero = f"zero of {step.way.face} at {step.job.station}"
            blocks.append(Block(step.way.word, zero))
            speed = self._speed(step)
            if speed is not None:  # before each: the subprogram before may have stopped it
                blocks.append(Block(f"S{speed} {spindle}", "spindle"))
            call = self.cell.operations[step.job.number].call
            assert call is not None
            blocks.append(Block(call.strip(), step.job.label))
            calls.append(_Call(len(blocks), step))
            blocks.append(top)
        index(found.load_pose, "where parts are loaded")
        blocks.append(words.end())
        return blocks, calls

    @staticmethod
    def _side_words(step: Step) -> str:
        return f"{step.way.face or 'pose'} of station {step.job.station}"

    def _index_blocks(self, now: Angles | None, wanted: Angles, told: str) -> list[Block]:
        start, end = None if now is None else as_pose(now), as_pose(wanted)
        has = (TILT, TURN) if self.has_tilt else (TURN,)
        move = {
            joint: end[joint - TILT]
            for joint in has
            if start is None or abs(start[joint - TILT] - end[joint - TILT]) > 1e-9
        }
        return self.control_words.index(move, told)

    # --- read back ------------------------------------------------------------------------------

    def _read_otherwise(self, lines: Sequence[tuple[str, str]], calls: Sequence[_Call]) -> str:
        """Return why the text does not say what was meant; empty where it does.

        Every subprogram is read as one stop, which shows the state in which it was called.
        """
        text = "\n".join(line for line, _ in lines).encode() + b"\n"
        dialect = replace(self.control_for(text).dialect, start=UNKNOWN)
        stop = self.cell.control.stop_word or "M0"
        back = self.control_words.word_of(Meaning.RETURN)
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
