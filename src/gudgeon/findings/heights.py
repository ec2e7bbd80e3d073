"""How high the load comes over the table, and in which pose there is room for a tool change."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Final

from gudgeon.cell.model import Changer
from gudgeon.findings.gather import Gather, Lacking
from gudgeon.findings.shape import LoadShape, ShapeFindings
from gudgeon.quantity.amount import Amount

__all__ = ["ChangeFinding", "ChangeRow", "HeightFindings", "HeightsFinding", "change_stroke"]

UPRIGHT: Final = math.pi / 2.0

_DECIDES: Final = "it decides in which pose a tool may be changed"


@dataclass(frozen=True, slots=True)
class HeightsFinding:
    """Highest points of the load, over the table top [mm] and the poses [rad, programmed].

    Attributes
    ----------
    flat_mm, upright_mm : float or None
        With the platter flat (tilt 0) and upright (tilt +90 or -90, the higher), turned as in the
        poses that are worked in, else at turn 0; ``None`` where the range does not reach it.
    upright_turning_mm : float or None
        Upright, over all turns of the platter.
    way_mm, peak_tilt_rad : float
        Highest on the way between the tilts that are used (else over the whole range) at the same
        turns, and the tilt where it is.
    way_rad : tuple of (low, high)
        That range of programmed tilt.
    equal_tilt_rad : float or None
        Tilt beyond flat at which the height of flat comes back after the peak.
    any_mm : float
        Highest over the whole range of tilt and all turns.
    """

    flat_mm: float | None
    upright_mm: float | None
    upright_turning_mm: float | None
    way_mm: float
    peak_tilt_rad: float
    way_rad: tuple[float, float]
    equal_tilt_rad: float | None
    any_mm: float


@dataclass(frozen=True, slots=True)
class ChangeRow:
    """Room of one tool over the load in one pose.

    Attributes
    ----------
    tool : str
        Number and name.
    length_mm : float
    pose : str
        "flat", "upright" or the name of a face.
    tilt_rad, turn_rad : float and float or None
        Programmed; turn ``None``: while the platter turns.
    clearance_mm : float
        Lowest point of the tool less highest point of the load [mm].
    """

    tool: str
    length_mm: float
    pose: str
    tilt_rad: float
    turn_rad: float | None
    clearance_mm: float


@dataclass(frozen=True, slots=True)
class ChangeFinding:
    """What a tool change leaves over the load, spindle over the load.

    Attributes
    ----------
    tip_mm : float
        Lowest machine Z that the tip of the longest tool comes to.
    longest_mm : float
        Its length.
    rows : tuple of ChangeRow
        Every tool in every pose, the longest tool first.
    assumed : tuple of str
    """

    tip_mm: float
    longest_mm: float
    rows: tuple[ChangeRow, ...]
    assumed: tuple[str, ...]

    def worst(self, pose: str, turning: bool = False) -> float | None:
        """Return the least clearance of the longest tool in a pose; ``None`` if not judged."""
        rooms = [
            row.clearance_mm
            for row in self.rows
            if row.pose == pose
            and row.length_mm == self.longest_mm
            and (row.turn_rad is None) == turning
        ]
        return min(rooms, default=None)


def change_stroke(changer: Changer, gather: Gather) -> tuple[Amount, Amount]:
    """Return machine Z at a tool change and the pull-down; what is missing goes into `gather`."""
    z = gather.need(
        changer.z,
        "machine.changer.z",
        "machine Z at a tool change",
        why=_DECIDES,
        how="run a tool change with the unit off the table and read Z, or see the manual",
    )
    pull = gather.need(
        changer.pull_down,
        "machine.changer.pull_down",
        "how far a tool is pulled down out of the spindle",
        why=_DECIDES,
        how="measure the stroke at a slow tool change, or see the machine's manual",
    )
    return z, pull


class HeightFindings(ShapeFindings):
    """Facts about heights, which the place on the table does not change."""

    @cached_property
    def axis_height_mm(self) -> float:
        """Height of the level axis line over the table top; raises `Lacking`."""
        gather = self.gather()
        height = gather.need(
            self.cell.unit.tilt_axis_height,
            "unit.tilt_axis_height",
            "height of the level axis line over the unit's base",
            why="all heights over the table are counted from it",
            how="take it from the unit's data sheet, or measure it",
        )
        gather.stop()
        riser = self.cell.placement.riser
        return height.value + (riser.value if riser else 0.0)

    @cached_property
    def table_top_mm(self) -> float:
        """Machine Z of the table top, the gauge point of the empty spindle on it; `Lacking`."""
        gather = self.gather()
        gauge = gather.need(
            self.cell.machine.gauge_to_table,
            "machine.gauge_to_table",
            "height of the spindle's gauge point over the table top at Z 0",
            why="it ties heights over the table to machine Z",
            how="bring the empty spindle's gauge face down on a known block on the table, read Z",
        )
        gather.stop()
        return -gauge.value

    @cached_property
    def heights(self) -> HeightsFinding:
        """Highest points over the table; raises `Lacking`."""
        gather = self.gather()
        shape, axis = None, 0.0
        try:
            axis = self.axis_height_mm
        except Lacking as lacking:
            gather.also(lacking)
        try:
            shape = self.load_shape
        except Lacking as lacking:
            gather.also(lacking)
        gather.stop()
        assert shape is not None
        uprights = [tilt for tilt in (UPRIGHT, -UPRIGHT) if shape.reaches(tilt)]
        if not shape.has_tilt:
            uprights = []
        flat = shape.has_tilt and shape.reaches(0.0)
        low, high = self._way(shape)
        peak, tilt = self._highest(shape, low, high)
        ends = shape.work_range(shape.low_rad, shape.high_rad)
        return HeightsFinding(
            flat_mm=axis + self._at(shape, 0.0) if flat else None,
            upright_mm=max((axis + self._at(shape, t) for t in uprights), default=None),
            upright_turning_mm=max((axis + shape.height(t, None) for t in uprights), default=None),
            way_mm=axis + peak,
            peak_tilt_rad=tilt,
            way_rad=(low, high),
            equal_tilt_rad=self._equal(shape, low, high, tilt) if flat else None,
            any_mm=axis + shape.section(None).highest(*ends).reach_mm,
        )

    @cached_property
    def change_tip_mm(self) -> tuple[float, float]:
        """Lowest machine Z of the longest tool's tip at a change, and its length; `Lacking`."""
        cell, gather = self.cell, self.gather()
        z, pull = change_stroke(cell.machine.changer, gather)
        lengths = gather.need(
            tuple(tool.length.value for tool in cell.tools if tool.length is not None),
            "tools",
            "lengths of the tools",
            why=_DECIDES,
            how="enter [[tools]] with the length of each, gauge point to tip; the longest first",
        )
        gather.stop()
        return z.value - max(lengths) - pull.value, max(lengths)

    @cached_property
    def changes(self) -> ChangeFinding:
        """Room at a tool change in the poses flat, upright and as worked in; raises `Lacking`."""
        gather = self.gather()
        for part in ("change_tip_mm", "load_shape", "axis_height_mm", "table_top_mm"):
            try:
                getattr(self, part)
            except Lacking as lacking:
                gather.also(lacking)
        gather.stop()
        tip, longest = self.change_tip_mm
        shape, top = self.load_shape, self.table_top_mm + self.axis_height_mm
        poses: list[tuple[str, float, float | None]] = []
        turns = self._turns()
        if shape.has_tilt:
            named = (("flat", 0.0), ("upright", UPRIGHT), ("upright", -UPRIGHT))
            ends = [(name, tilt) for name, tilt in named if shape.reaches(tilt)]
            poses += [(name, tilt, turn) for name, tilt in ends for turn in turns]
            poses += [(name, tilt, None) for name, tilt in ends if tilt]
        known = {(round(tilt, 6), round(turn, 6)) for _, tilt, turn in poses if turn is not None}
        poses += [
            (pose.name, pose.tilt_rad, pose.turn_rad)
            for pose in self.work_poses
            if (round(pose.tilt_rad, 6), round(pose.turn_rad, 6)) not in known
        ]
        tools = self.cell.tools
        lengths = sorted(
            ((tool.length.value, tool) for tool in tools if tool.length), key=lambda item: -item[0]
        )
        rows = [
            ChangeRow(
                tool=f"T{tool.number}" if tool.number is not None else (tool.name or "tool"),
                length_mm=length,
                pose=name,
                tilt_rad=tilt,
                turn_rad=turn,
                clearance_mm=tip + longest - length - top - shape.height(tilt, turn),
            )
            for length, tool in lengths
            for name, tilt, turn in poses
        ]
        told = ["A tool change may happen with the spindle over the load."]
        short = [tool for tool in tools if tool.length is None]
        if short:
            told.append(f"{len(short)} tool(s) without a length are not judged.")
        return ChangeFinding(tip, longest, tuple(rows), tuple(told))

    def _turns(self) -> tuple[float, ...]:
        """Return the turns at which the platter stands while it tilts: of the poses, else 0."""
        turns = {round(pose.turn_rad, 6): pose.turn_rad for pose in self.work_poses}
        return tuple(turns.values()) or (0.0,)

    def _at(self, shape: LoadShape, tilt_rad: float) -> float:
        return max(shape.height(tilt_rad, turn) for turn in self._turns())

    def _way(self, shape: LoadShape) -> tuple[float, float]:
        tilts = [pose.tilt_rad for pose in self.work_poses]
        if not tilts:
            return shape.low_rad, shape.high_rad
        if shape.has_tilt and shape.reaches(0.0):
            tilts.append(0.0)  # where it is loaded and found
        return min(tilts), max(tilts)

    def _highest(self, shape: LoadShape, low_rad: float, high_rad: float) -> tuple[float, float]:
        """Return the highest point on a way and its programmed tilt, a positive one if equal."""
        best, at = -math.inf, 0.0
        parts = [(max(low_rad, 0.0), high_rad), (low_rad, min(high_rad, 0.0))]
        for turn in self._turns():
            section = shape.section(turn)
            for low, high in parts:
                if low > high:
                    continue
                for sense in (shape.tilt_sense,) if shape.tilt_sense else (1, -1):
                    ends = sorted((sense * low, sense * high))
                    found = section.highest(ends[0], ends[1])
                    if found.reach_mm > best + 1e-9:
                        best, at = found.reach_mm, sense * found.tilt_rad
        return best, at + 0.0

    def _equal(
        self, shape: LoadShape, low_rad: float, high_rad: float, peak_rad: float
    ) -> float | None:
        """Return the programmed tilt, on the side of the peak, where the flat height is back."""
        end = high_rad if peak_rad >= 0.0 else low_rad
        sense = shape.tilt_sense or 1
        found = [
            tilt
            for turn in self._turns()
            if (tilt := shape.section(turn).equal_height(0.0, sense * end)) is not None
        ]
        return None if not found else sense * max(found, key=abs)
