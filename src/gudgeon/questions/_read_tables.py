"""Tables of the answer about a program that was read."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from gudgeon.answer import Column, Table
from gudgeon.findings import Findings
from gudgeon.findings.control import ControlFinding
from gudgeon.program.doubts import Doubt
from gudgeon.program.summary import PoseUse, Summary
from gudgeon.program.track import AXES, Flag, InForce, Track
from gudgeon.quantity.kinds import Kind
from gudgeon.questions._read_words import Said

__all__ = ["ROWS_MOST", "Shown", "tables"]

ROWS_MOST: Final = 100
"""Rows of one table; more are counted in its title."""

Number = float | None


@dataclass(frozen=True, slots=True)
class Shown:
    """All that tables and pictures are made from.

    Attributes
    ----------
    findings : Findings
    control : ControlFinding
    track : Track
    summary : Summary
    words : callable
        Words about a doubt, its numbers in the shop's units.
    """

    findings: Findings
    control: ControlFinding
    track: Track
    summary: Summary
    words: Callable[[Doubt], Said]

    def length(self, value_mm: float) -> Number:
        """Return a length in the shop's unit; ``None`` where it is not known."""
        return self._shown(Kind.LENGTH, value_mm)

    def angle(self, value_rad: float) -> Number:
        """Return an angle in degrees; ``None`` where it is not known."""
        return self._shown(Kind.ANGLE, value_rad)

    def axis(self, axis: int, value: float) -> Number:
        """Return a joint position in its shown unit."""
        return self.length(value) if axis < 3 else self.angle(value)

    def _shown(self, kind: Kind, value: float) -> Number:
        if not math.isfinite(value):
            return None
        return round(self.findings.units.shown(kind, value), 6) + 0.0

    def letters(self) -> tuple[str, str]:
        """Return the letters of tilt and rotary; their names where nobody stated letters."""
        by_joint = {joint: letter for letter, joint in self.control.dialect.axes.items()}
        return by_joint.get(3, "tilt"), by_joint.get(4, "rotary")

    def axis_name(self, axis: int) -> str:
        """Return how an axis is called on this machine."""
        return "XYZ"[axis] if axis < 3 else self.letters()[axis - 3]

    def axis_text(self, axis: int, value: float) -> str:
        """Return a joint position with its unit."""
        return self.findings.units.text(Kind.LENGTH if axis < 3 else Kind.ANGLE, value)

    def place(self, row: int) -> str:
        """Return the line of a row, such as ``"12"`` or ``"O1000: 12"``."""
        if row < 0:
            return ""
        segment = self.track.segments[row]
        return source_line(int(segment["source"]), int(segment["line"]))

    def line_words(self, row: int) -> str:
        """Return the line of a row within a sentence, such as ``"line 12 of O1000"``."""
        segment = self.track.segments[row]
        source = int(segment["source"])
        return f"line {int(segment['line'])}" + (f" of O{source}" if source else "")

    def force_at(self, row: int) -> InForce:
        """Return what is in force in a row."""
        index = int(self.track.segments[row]["force"])
        forces = self.track.in_force
        return forces[index] if 0 <= index < len(forces) else InForce()


def source_line(source: int, line: int) -> str:
    """Return a line of the program, or of the called program it stands in."""
    return f"O{source}: {line}" if source else str(line)


def tables(shown: Shown) -> tuple[Table, ...]:
    """Return every table that has rows."""
    made = (
        _doubts(shown),
        _unread(shown),
        _tools(shown),
        _poses(shown),
        _offsets(shown),
        _ranges(shown),
        _stops(shown),
        _end(shown),
    )
    return tuple(table for table in made if table.rows)


def _title(title: str, rows: int) -> str:
    return title if rows <= ROWS_MOST else f"{title} (the first {ROWS_MOST} of {rows})"


def _told(shown: Shown, name: str, title: str, doubts: Sequence[Doubt]) -> Table:
    rows = []
    for doubt in doubts[:ROWS_MOST]:
        words = shown.words(doubt)
        column = doubt.column or None
        rows.append((source_line(doubt.source, doubt.line), column, words.reason, words.mend))
    return Table(
        name,
        _title(title, len(doubts)),
        (
            Column("line", "Line"),
            Column("column", "Column"),
            Column("what", "What"),
            Column("mend", "Mend"),
        ),
        tuple(rows),
    )


def _doubts(shown: Shown) -> Table:
    return _told(shown, "doubts", "What the reader could not take as it stands", shown.track.doubts)


def _unread(shown: Shown) -> Table:
    return _told(shown, "also_not_understood", "Also not understood", shown.track.unread)


def _tools(shown: Shown) -> Table:
    units = shown.findings.units
    names = {tool.number: tool.name for tool in shown.findings.cell.tools}
    rows = []
    for use in shown.summary.tools:
        registers = {n: mm for n, mm in use.registers.items() if n is not None}
        lengths = [shown.length(mm) for mm in registers.values()]
        notes = []
        if use.tool is not None and use.tool not in names:
            notes.append("not in the list of tools")
        other = [n for n in registers if use.tool is not None and n != use.tool]
        if other:
            notes.append(f"register {', '.join(map(str, other[:4]))} is not that of the tool")
        if None in use.registers and use.feeds:
            notes.append("cuts without a length in force")
        rows.append(
            (
                "in the spindle at the start" if use.tool is None else f"T{use.tool}",
                names.get(use.tool) or "",
                shown.place(use.first_row),
                use.feeds,
                ", ".join(f"H{n}" for n in list(registers)[:4]),
                lengths[0] if len(lengths) == 1 else None,
                "; ".join(notes),
            )
        )
    return Table(
        "tools",
        _title("Tools in the order of use", len(rows)),
        (
            Column("tool", "Tool"),
            Column("name", "Name"),
            Column("line", "First line"),
            Column("feeds", "Feed moves"),
            Column("register", "Length register"),
            Column("length", "Length", units.unit(Kind.LENGTH)),
            Column("note", "Note"),
        ),
        tuple(rows[:ROWS_MOST]),
    )


def _poses(shown: Shown) -> Table:
    units = shown.findings.units
    length, angle = units.unit(Kind.LENGTH), units.unit(Kind.ANGLE)
    tilt, rotary = shown.letters()

    def row(pose: PoseUse) -> tuple[str | float | int | None, ...]:
        ends: list[Number] = []
        for axis in range(3):
            ends += [shown.length(float(pose.low[axis])), shown.length(float(pose.high[axis]))]
        return (
            shown.place(pose.first_row),
            shown.angle(pose.tilt_rad),
            shown.angle(pose.rotary_rad),
            pose.feeds,
            *ends,
            shown.length(pose.tip_low),
            shown.length(pose.longest_mm),
        )

    poses = shown.summary.poses
    return Table(
        "poses",
        _title("Poses in which it feeds; X, Y, Z of the gauge point", len(poses)),
        (
            Column("line", "First line"),
            Column("tilt", tilt.capitalize(), angle),
            Column("turn", rotary.capitalize(), angle),
            Column("feeds", "Feed moves"),
            *(
                Column(f"{axis.lower()}_{end}", f"{axis} {end}", length)
                for axis in "XYZ"
                for end in ("lowest", "highest")
            ),
            Column("tip_lowest", "Tip Z lowest", length),
            Column("longest", "Longest feed", length),
        ),
        tuple(row(pose) for pose in poses[:ROWS_MOST]),
    )


def _offsets(shown: Shown) -> Table:
    units = shown.findings.units
    length, angle = units.unit(Kind.LENGTH), units.unit(Kind.ANGLE)
    tilt, rotary = shown.letters()
    dialect, rows = shown.control.dialect, []
    seen: dict[tuple[str, ...], InForce] = {}
    for force in shown.track.in_force:
        if force.offset is not None:
            # NaN is not equal to itself, so values are compared as text.
            seen.setdefault((force.offset, *map(repr, force.offset_values)), force)
    for force in seen.values():
        name = force.offset or ""
        values = force.offset_values
        entered = dialect.offsets.get(name)
        if any(math.isnan(value) for value in values[:3]):
            came = "not stated"
        elif entered is not None and np.array_equal(entered, values, equal_nan=True):
            came = shown.control.offsets_from.get(name, "")
        else:
            came = "written by the program"
        first = shown.summary.offsets.get(force.offset, -1)
        rows.append(
            (
                name,
                shown.place(first),
                *(shown.axis(axis, values[axis]) for axis in range(AXES)),
                came,
            )
        )
    return Table(
        "offsets",
        _title("Work offsets as they were used", len(rows)),
        (
            Column("word", "Word"),
            Column("line", "First line"),
            Column("x", "X", length),
            Column("y", "Y", length),
            Column("z", "Z", length),
            Column("tilt", tilt.capitalize(), angle),
            Column("turn", rotary.capitalize(), angle),
            Column("from", "From"),
        ),
        tuple(rows[:ROWS_MOST]),
    )


def _ranges(shown: Shown) -> Table:
    reach, rows = shown.summary.reach, []
    low, high = shown.findings.joint_limits
    for axis in range(AXES):
        if reach.low_row[axis] < 0:
            continue
        left = [limit for limit in shown.summary.limits if limit.axis == axis]
        unit = shown.findings.units.unit(Kind.LENGTH if axis < 3 else Kind.ANGLE)
        rows.append(
            (
                shown.axis_name(axis),
                unit,
                shown.axis(axis, float(reach.low[axis])),
                shown.place(int(reach.low_row[axis])),
                shown.axis(axis, float(reach.high[axis])),
                shown.place(int(reach.high_row[axis])),
                shown.axis(axis, float(low[axis])),
                shown.axis(axis, float(high[axis])),
                "; ".join(f"left in line {shown.place(limit.first_row)}" for limit in left),
            )
        )
    return Table(
        "ranges",
        "Ranges of travel",
        (
            Column("axis", "Axis"),
            Column("unit", "Unit"),
            Column("lowest", "Lowest"),
            Column("lowest_line", "Line"),
            Column("highest", "Highest"),
            Column("highest_line", "Line"),
            Column("travel_low", "Travel from"),
            Column("travel_high", "to"),
            Column("note", "Note"),
        ),
        tuple(rows),
    )


def _stops(shown: Shown) -> Table:
    rows = []
    for row in shown.summary.stops[:ROWS_MOST]:
        flags = int(shown.track.segments[row]["flags"])
        kind = "stop"
        if flags & Flag.END:
            kind = "end of the program"
        elif flags & Flag.OPTIONAL:
            kind = "optional stop"
        rows.append((shown.place(row), kind))
    return Table(
        "stops",
        _title("Stops", shown.summary.stop_count),
        (Column("line", "Line"), Column("kind", "Kind")),
        tuple(rows),
    )


def _end(shown: Shown) -> Table:
    units, track = shown.findings.units, shown.track
    length, angle = units.unit(Kind.LENGTH), units.unit(Kind.ANGLE)
    tilt, rotary = shown.letters()
    count = len(track.segments)
    at = track.segments[count - 1]["end"].tolist() if count else list(track.start)
    force = shown.force_at(count - 1) if count else InForce()
    spindle = {1: "clockwise", -1: "counter-clockwise"}.get(force.spindle, "stopped")
    tool = "as at the start" if force.tool is None else f"T{force.tool}"
    return Table(
        "ends",
        "Where it ends",
        (
            Column("x", "X", length),
            Column("y", "Y", length),
            Column("z", "Z", length),
            Column("tilt", tilt.capitalize(), angle),
            Column("turn", rotary.capitalize(), angle),
            Column("tool", "Tool"),
            Column("spindle", "Spindle"),
        ),
        ((*(shown.axis(axis, at[axis]) for axis in range(AXES)), tool, spindle),),
    )
