"""A warm-up path through the safe travel, in the control's words, read back and proven.

The path is written in rapids with machine coordinates: nothing of it hangs on work offsets, feeds
or the spindle, and the rapid override sets its speed.  It is offered only where the text, read as a
program with nothing known before it, gives the positions that were meant, and where each move is
proven for everything between its ends; else the reason is told.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.findings.changing import ChangingFindings
from gudgeon.findings.control import ControlFindings
from gudgeon.findings.gather import Lacking
from gudgeon.program.dialect import UNKNOWN
from gudgeon.program.reader import read
from gudgeon.program.track import Ended, Kind

if TYPE_CHECKING:
    from gudgeon.clearance.envelope import Proof, SafeBox

__all__ = ["WarmUp", "WarmUpFindings"]

Floats = NDArray[np.float64]

MM_PER_INCH: Final = 25.4  # exact: NIST SP 811 (2008), appendix B
STEP_RAD: Final = math.radians(120.0)
"""A turn is made in steps of no more: a control that takes the shorter way keeps its direction."""

READ_TOL: Final = 2e-3
"""What is read back may differ by the last digit written [mm, rad / 57]."""


@dataclass(frozen=True, slots=True)
class WarmUp:
    """A warm-up program, or why there is none.

    Attributes
    ----------
    lines : tuple of (str, str)
        Text of each block, and what it does.
    refused : str
        Why none is offered; empty where one is.
    empty_spindle : bool
        It is proven for the empty spindle only.
    without : tuple of str
        Tools with which it would not be safe.
    """

    lines: tuple[tuple[str, str], ...]
    refused: str = ""
    empty_spindle: bool = False
    without: tuple[str, ...] = ()


class WarmUpFindings(ChangingFindings, ControlFindings):
    """The warm-up path."""

    @cached_property
    def warm_up(self) -> WarmUp:
        """A path from corner to corner of the safe limits and through tilt and turn; `Lacking`."""
        limits, planes = self.safe_limits, self.planes
        if limits.box is None:
            return WarmUp((), "no place of the table is clear for all tilts and turns")
        from gudgeon.clearance.envelope import SafeBox

        if not isinstance(limits.itself, SafeBox):
            return WarmUp((), f"{' and '.join(limits.itself.pair)} meet in every pose tried")
        without = tuple(plane.hand.name for plane in planes if plane.z_mm is None)
        proofs = [
            self.head_proof(plane.hand.bodies, self.asked_mm)
            for plane in planes
            if plane.z_mm is not None
        ]
        if without:
            if not self.tool_bodies(None):
                return WarmUp(
                    (),
                    f"{', '.join(without)} would touch, and of the empty spindle nothing is known "
                    "(machine.nose_diameter)",
                    True,
                    without,
                )
            proofs = [self.head_proof(self.tool_bodies(None), self.asked_mm)]
        targets = self._targets(limits.box, limits.itself)
        written = self._written(targets)
        if not written:
            return WarmUp((), "letters of the turning axes are not known")
        refused = self._read_back(written, targets) or self._not_proven(targets, proofs)
        if refused:
            return WarmUp((), refused, bool(without), without)
        return WarmUp(written, "", bool(without), without)

    def _targets(self, box: SafeBox, itself: SafeBox) -> list[tuple[Floats, tuple[int, ...], str]]:
        """Return joint positions in order, the joints that are written, and words about each."""
        top = self.ranges.high[2]
        # Ends are written inside: the last digit must not leave what is proven.
        low, high = _inwards(box.low, box.high, self._digits_mm)
        x0, x1, y0, y1 = low[0], high[0], low[1], high[1]
        tilt0, tilt1 = (float(itself.low[3]), float(itself.high[3]))
        at = np.array([0.5 * (x0 + x1), 0.5 * (y0 + y1), top, np.nan, np.nan])
        rows: list[tuple[Floats, tuple[int, ...], str]] = [(at.copy(), (2,), "Z to the top")]
        for x, y, words in (
            (x0, y0, "corner X low, Y low"),
            (x1, y0, "corner X high, Y low"),
            (x1, y1, "corner X high, Y high"),
            (x0, y1, "corner X low, Y high"),
            (x0, y0, "back to the first corner"),
            (0.5 * (x0 + x1), 0.5 * (y0 + y1), "middle of the safe travel"),
        ):
            at = at.copy()
            at[:2] = _rounded(x, self._digits_mm), _rounded(y, self._digits_mm)
            rows.append((at, (0, 1), words))
        home = float(np.clip(0.0, tilt0, tilt1))
        if self.has_tilt:
            for tilt, words in (
                (tilt0, "tilt to its low end"),
                (tilt1, "tilt to its high end"),
                (home, "tilt back"),
            ):
                for step in _steps(None if np.isnan(at[3]) else float(at[3]), tilt):
                    at = at.copy()
                    at[3] = step
                    rows.append((at, (3,), words))
        turn0, turn1 = float(itself.low[4]), float(itself.high[4])
        for turn, words in (
            (turn0, "turn to where it begins"),
            (turn1, "turn all round" if self.ranges.endless else "turn to its high end"),
            (turn0, "turn back"),
        ):
            for step in _steps(None if np.isnan(at[4]) else float(at[4]), turn):
                at = at.copy()
                at[4] = step
                rows.append((at, (4,), words))
        return rows

    @property
    def _inch(self) -> bool:
        return self.cell.shop.units == "in"

    @property
    def _digits_mm(self) -> float:
        return MM_PER_INCH * 1e-4 if self._inch else 1e-3

    def _written(
        self, targets: Sequence[tuple[Floats, tuple[int, ...], str]]
    ) -> tuple[tuple[str, str], ...]:
        control = self.cell.control
        try:
            senses = self.senses
        except Lacking:
            return ()
        letters = ("X", "Y", "Z", senses.tilt_letter or "", senses.rotary_letter)
        rapid, machine = control.rapid_word or "G0", control.machine_word or "G53"
        unit = (control.inch_word or "G20") if self._inch else (control.metric_word or "G21")
        lines = [
            (f"{unit} {control.absolute_word or 'G90'}", "units, absolute positions"),
        ]
        for at, joints, words in targets:
            numbers = []
            for joint in joints:
                value = float(at[joint])
                if joint < 3:
                    text = f"{value / MM_PER_INCH:.4f}" if self._inch else f"{value:.3f}"
                else:
                    text = f"{math.degrees(value):.3f}"
                numbers.append(letters[joint] + _short(text))
            lines.append((f"{machine} {rapid} {' '.join(numbers)}", words))
        lines.append((control.end_word or "M30", "end"))
        if control.comment == ";":
            return tuple((f"{text} ; {words}", words) for text, words in lines)
        if control.comment == "( )":
            return tuple((f"{text} ({words.upper()})", words) for text, words in lines)
        return tuple(lines)

    def _read_back(
        self,
        written: Sequence[tuple[str, str]],
        targets: Sequence[tuple[Floats, tuple[int, ...], str]],
    ) -> str:
        """Return why the text does not say what was meant; empty where it does."""
        text = "\n".join(line for line, _ in written).encode() + b"\n"
        dialect = replace(self.control_for(text).dialect, start=UNKNOWN)
        track = read(text, dialect)
        if track.ended is not Ended.BY_WORD:
            return "the control's words as declared do not bring the reader to the end"
        moves = [row for row in track.segments if row["kind"] == Kind.RAPID]
        if len(moves) != len(targets):
            return "the control's words as declared read as other moves than were meant"
        for row, (at, joints, _) in zip(moves, targets, strict=True):
            for joint in joints:
                off = abs(float(row["end"][joint]) - float(at[joint]))
                if joint == 4 and self.ranges.endless:
                    off = min(off % (2.0 * math.pi), -off % (2.0 * math.pi))
                if not off <= READ_TOL / (1.0 if joint < 3 else 57.0):
                    return f"line {int(row['line'])} reads as another position than was meant"
        return ""

    def _not_proven(
        self,
        targets: Sequence[tuple[Floats, tuple[int, ...], str]],
        proofs: Sequence[Proof],
    ) -> str:
        """Return what a move of the path may touch; empty where all is proven.

        Each move is proven as the box of all positions between its ends, so that the way does not
        matter; a joint that nobody has set yet, or that may go round either way, may stand
        anywhere.
        """
        from gudgeon.clearance.scene import Role

        low, high = self.ranges.low, self.ranges.high
        box = self.safe_limits.box
        assert box is not None
        walls = [
            self._wall_proof(self.limits_scene),
            self._wall_proof(self.limits_scene, lambda body: body.role is Role.HOSE),
        ]
        before = np.array([np.nan, np.nan, np.nan, np.nan, np.nan])
        for at, joints, words in targets:
            ends = np.stack([before, at])
            lo, hi = low.copy(), high.copy()
            lo[:2], hi[:2] = box.low[:2], box.high[:2]
            lo[2] = hi[2] = high[2]
            for joint in (0, 1, 3):
                if not np.isnan(ends[:, joint]).any():
                    lo[joint], hi[joint] = ends[:, joint].min(), ends[:, joint].max()
            for prove in (*walls, *proofs):
                gap = prove(lo, hi)
                if gap.status != 0:
                    pair = " and ".join(name for name in gap.pair if name) or "something"
                    return f"{words}: not proven clear ({pair})"
            before = before.copy()
            for joint in joints:
                before[joint] = at[joint]
        return ""


def _steps(start: float | None, end: float) -> list[float]:
    """Return angles from one to another in steps that a control goes the way that is meant."""
    if start is None:
        return [end]
    count = max(1, math.ceil(abs(end - start) / STEP_RAD - 1e-9))
    return [start + (end - start) * (k + 1) / count for k in range(count)]


def _inwards(low: Floats, high: Floats, digit: float) -> tuple[Floats, Floats]:
    inner = np.ceil(low / digit - 1e-9) * digit, np.floor(high / digit + 1e-9) * digit
    return inner


def _rounded(value: float, digit: float) -> float:
    return round(value / digit) * digit


def _short(number: str) -> str:
    """Return a number with a decimal point and no idle zeros: "-685.", "12.7"."""
    text = number.rstrip("0")
    return "0." if text in ("-0.", "0.") else text
