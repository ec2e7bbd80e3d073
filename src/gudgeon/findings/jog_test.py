"""A first small turn of each axis, with stops to look: by a program that is proven, or by hand.

The program is there to show letters and senses, so its proof takes neither for granted: every
turning axis may stand anywhere within the small turn, to either side, all the time.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property
from typing import Final

import numpy as np

from gudgeon.findings.gather import Lacking
from gudgeon.findings.senses import AxisEvidence
from gudgeon.findings.written import TILT, TURN, Block, Written
from gudgeon.findings.written_proof import NotOfferedError, Start, WrittenFindings
from gudgeon.kinematics.chain import TurningAxis
from gudgeon.kinematics.naming import nearest_side, side_direction

__all__ = ["JogTestFindings", "seen_for_plus", "side_words"]

SMALL_RAD: Final = math.radians(5.0)

SHARES: Final = (1.0, 0.5, 0.1)
"""Of the safe travel of X and Y, about its middle, in which the test may be started."""

_SIDE_WORDS: Final = {
    "X+": "right",
    "X-": "left",
    "Y+": "back",
    "Y-": "front",
    "Z+": "top",
    "Z-": "bottom",
}

_CAUTIONS: Final = (
    "First motion: unit empty, hoses and cables free, head and tools clear of the whole swing.",
)


def side_words(side: str) -> str:
    """Return a side as a person standing in front of the machine has it: "back (Y+)"."""
    return f"{_SIDE_WORDS[side]} ({side})"


def seen_for_plus(item: AxisEvidence, sense: int) -> tuple[str, str]:
    """Return the side to watch and the side to which it moves for a plus jog."""
    watched = "Z+" if item.along != "Z" else "X+"
    turn = sense * np.asarray(item.direction)
    return watched, nearest_side(np.cross(turn, side_direction(watched)))[0]


class JogTestFindings(WrittenFindings):
    """The test of letters and senses."""

    @cached_property
    def jog_test(self) -> Written:
        """Each turning axis a little and back; as steps by hand where nothing can be proven."""
        program = Written("jog-test", "Test of the turning axes: each a little and back")
        try:
            evidence = self.axis_evidence
        except Lacking as lacking:
            return self.cannot_be_proven(program, lacking)
        clash = next((item for item in evidence if item.disagrees), None)
        if clash is not None:
            refused = f"jogs and declaration of the {clash.role} axis contradict each other"
            return replace(program, refused=refused)
        program = replace(program, by_hand=self._jogged_by_hand(evidence))
        try:
            program = replace(program, cautions=(*_CAUTIONS, *self.usual_cautions))
            free, axes = self.free_start, self.turning_only.axes
            by = max(abs(_small_step(axis) - _home(axis)) for axis in axes)
            either = {
                joint: (_home(axis) - by, _home(axis) + by)
                for joint, axis in zip(self._turning_joints, axes, strict=True)
            }
            first: Written | None = None
            for share in SHARES:
                start = self._at_zero(self.narrowed(free, share))
                found = self.offered(
                    program, self._jog_blocks(evidence, start), start, either=either
                )
                if not found.refused:
                    return replace(found, by_hand=())
                first = first or found
            assert first is not None
            return first
        except (Lacking, NotOfferedError) as problem:
            return self.cannot_be_proven(program, problem)

    @property
    def _turning_joints(self) -> tuple[int, ...]:
        return (TILT, TURN) if self.has_tilt else (TURN,)

    def _at_zero(self, free: Start) -> Start:
        """Return the start with both angles at zero, or at the nearest end of their range."""
        low, high = free.low.copy(), free.high.copy()
        kept = [joint for joint in free.free if joint not in self._turning_joints]
        for joint, axis in zip(self._turning_joints, self.turning_only.axes, strict=True):
            low[joint] = high[joint] = _home(axis)
        return Start(low, high, tuple(kept))

    def _jog_blocks(self, evidence: Sequence[AxisEvidence], start: Start) -> list[Block]:
        blocks = self.first_blocks(start)
        for joint, item, axis in zip(
            self._turning_joints, evidence, self.turning_only.axes, strict=True
        ):
            blocks += self._jogged(joint, item, axis)
        return [*blocks, self.control_words.end()]

    def _jogged(self, joint: int, item: AxisEvidence, axis: TurningAxis) -> list[Block]:
        words, step = self.control_words, _small_step(axis)
        assert item.sense is not None  # the words of the control are known only where senses are
        watched, moved = seen_for_plus(item, item.sense if step > _home(axis) else -item.sense)
        return [
            *words.index({joint: step}, "a small turn"),
            words.stop(
                f"Look: {side_words(watched)} went to {side_words(moved)}; if not, press reset and "
                "go on by hand",
                f"{watched} side must have gone to {moved}",
            ),
            *words.index({joint: _home(axis)}, "back"),
            words.stop("Look: back where it was", "look: back where it was"),
        ]

    def _jogged_by_hand(self, evidence: Sequence[AxisEvidence]) -> tuple[tuple[str, str], ...]:
        """Return the same as steps by hand: what to do, and what must be seen."""
        steps = [
            ("Take the work out. Clear the whole swing of the unit.", "Nothing stands in it."),
            ("Raise Z to its top by hand. Stop the spindle.", "The spindle is empty and stands."),
        ]
        for item, role in zip(evidence, self._turning_joints, strict=True):
            axis = "tilt" if role == TILT else "rotary"
            letter = item.letter or f"the {axis} axis"
            step = self._step_by_hand(axis)
            side = "Z+" if item.along != "Z" else "X+"
            where = "on top of the platter" if side == "Z+" else "on the right rim of the platter"
            if item.sense is None:
                see = "Write down to which side the mark goes."
            else:
                _, moved = seen_for_plus(item, item.sense if step > 0.0 else -item.sense)
                see = (
                    f"The mark must go to the {side_words(moved)}. If it does not, stop: sense or "
                    "letter is wrong."
                )
            steps.append((f"Put a mark {where}.", "The mark is in plain sight."))
            steps.append(
                (f"Jog {letter} by {math.degrees(step):+g} deg, at the lowest speed.", see)
            )
            steps.append((f"Jog {letter} back.", "The mark stands where it was."))
        return tuple(steps)

    def _step_by_hand(self, axis: str) -> float:
        unit = self.cell.unit
        limits = unit.tilt_range if axis == "tilt" else unit.rotary_range
        up = limits is None or limits[1].value >= SMALL_RAD
        return SMALL_RAD if up else -SMALL_RAD


def _home(axis: TurningAxis) -> float:
    return min(max(0.0, axis.low_rad), axis.high_rad)


def _small_step(axis: TurningAxis) -> float:
    """Return plus 5 deg from zero, or the nearest to it that the limits allow."""
    home = _home(axis)
    for angle in (home + SMALL_RAD, home - SMALL_RAD):
        if axis.low_rad - 1e-9 <= angle <= axis.high_rad + 1e-9:
            return angle
    return axis.high_rad if axis.high_rad - home >= home - axis.low_rad else axis.low_rad
