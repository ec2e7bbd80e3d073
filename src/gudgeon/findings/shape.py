"""The load as solids, the poses in which it is worked on, and where the zeros stand on the unit."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final, Literal, cast

import numpy as np

from gudgeon.cell.model import Box, Cell, Fixture
from gudgeon.centre.positions import POSITIONS, across_direction, positions
from gudgeon.findings.faces import FaceWanted, about_z, faces_wanted, in_platter
from gudgeon.findings.gather import Lacking
from gudgeon.findings.lines import LineFindings
from gudgeon.findings.offsets import choose_poses
from gudgeon.kinematics.chain import WorkChain
from gudgeon.kinematics.inverse import Facing, poses_facing
from gudgeon.placing.swept import Section, Solid, joined
from gudgeon.quantity.amount import Amount
from gudgeon.quantity.spread import propagate

__all__ = ["LoadShape", "ShapeFindings", "UnitZero", "WorkPose"]

UNKNOWN_END: Final = math.inf
"""A box whose ends are not given reaches any distance that way."""


SAME_FACING: Final = math.radians(0.01)
"""A face this near to the spindle's direction counts as facing it, as for the offsets [rad]."""


@dataclass(frozen=True, slots=True)
class WorkPose:
    """A programmed pose in which something is cut.

    Attributes
    ----------
    name : str
        Where it comes from.
    tilt_rad, turn_rad : float
        Programmed angles [rad]; for a single level axis its angle and 0.
    """

    name: str
    tilt_rad: float
    turn_rad: float

    @property
    def words(self) -> str:
        """Name and angles, such as "front at 90, 0 deg"."""
        tilt, turn = (
            round(math.degrees(angle), 2) + 0.0 for angle in (self.tilt_rad, self.turn_rad)
        )
        return f"{self.name} at {tilt:g}, {turn:g} deg"


@dataclass(frozen=True, slots=True)
class UnitZero:
    """The zero of one face at one station in its pose.

    Attributes
    ----------
    station, face : str
        Names.
    tilt_rad, turn_rad : float
        Programmed pose [rad].
    point_mm : tuple of 3 floats
        From the unit frame's origin along the machine axes, at the declared yaw [mm].
    tools_mm : tuple of float
        Lengths of the tools that must reach it; empty if none is named for it [mm].
    tools : tuple of int
        Numbers of the tools that are named for it.
    """

    station: str
    face: str
    tilt_rad: float
    turn_rad: float
    point_mm: tuple[float, float, float]
    tools_mm: tuple[float, ...]
    tools: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class LoadShape:
    """Everything that tilts and turns, as solids at zero pose.

    Attributes
    ----------
    solids : tuple of Solid
        Fixture with parts, platter, boxes that tilt or turn.
    tilt_y_mm : float
        Unit frame y of the tilt line [mm].
    low_rad, high_rad : float
        Programmed range of the level axis [rad].
    tilt_sense, turn_sense : int or None
        Programmed to work angle about the unit frame's x and z; ``None``: not known.
    round_mm : float
        Radius of a load that turns about its own level axis (a unit without tilt) [mm].
    has_tilt : bool
        False for a single rotary axis lying on the table: the level axis is the rotary one.
    assumed : tuple of str
        What was taken for granted.
    """

    solids: tuple[Solid, ...]
    tilt_y_mm: float
    low_rad: float
    high_rad: float
    tilt_sense: int | None
    turn_sense: int | None
    round_mm: float
    has_tilt: bool
    assumed: tuple[str, ...]

    def section(self, turn_rad: float | None) -> Section:
        """Return the outline about the level axis at one programmed turn; ``None``: all turns."""
        if turn_rad is None or turn_rad == 0.0:
            turn = turn_rad
        else:  # not knowing which way it turns, take all turns: the safe side
            turn = None if self.turn_sense is None else self.turn_sense * turn_rad
        whole = joined(solid.section(turn, self.tilt_y_mm) for solid in self.solids)
        return replace(whole, round_mm=self.round_mm) if self.round_mm else whole

    def work_tilts(self, tilt_rad: float) -> tuple[float, ...]:
        """Return the work angles that a programmed tilt may mean; two if its sense is unknown."""
        if self.tilt_sense is None and tilt_rad != 0.0:
            return (tilt_rad, -tilt_rad)
        return ((self.tilt_sense or 1) * tilt_rad,)

    def work_range(self, low_rad: float, high_rad: float) -> tuple[float, float]:
        """Return the range of work angles for a programmed range."""
        if self.tilt_sense is None:
            most = max(abs(low_rad), abs(high_rad))
            return -most, most
        ends = sorted((self.tilt_sense * low_rad, self.tilt_sense * high_rad))
        return ends[0], ends[1]

    def height(self, tilt_rad: float, turn_rad: float | None) -> float:
        """Return the highest point over the level axis in a programmed pose [mm]."""
        section = self.section(turn_rad)
        return max(section.height(tilt) for tilt in self.work_tilts(tilt_rad))

    def reaches(self, tilt_rad: float) -> bool:
        """Return whether the programmed tilt is within the range, ends included."""
        return self.low_rad - 1e-9 <= tilt_rad <= self.high_rad + 1e-9

    @property
    def plan_x(self) -> tuple[float, float]:
        """Least and greatest unit frame x over all turns [mm]."""
        plans = [solid.plan(None) for solid in self.solids]
        return min(plan[0] for plan in plans), max(plan[1] for plan in plans)


class ShapeFindings(LineFindings):
    """Facts about the load's outline, before it is placed anywhere."""

    @cached_property
    def placed_cell(self) -> Cell:
        """The cell as it stands: what the touches show of the unit in place of its entries.

        Face height and axis offset are those of the touches wherever the touches give them, the
        centre where none is entered; the touches themselves are then used up.
        """
        cell = self.cell
        if not self.has_tilt:
            return cell
        try:
            lines = self.axis_lines
        except Lacking:
            return cell
        if not lines.measured:
            return cell
        spread = propagate(lambda v: positions(lines.frame, v), lines.values, lines.covariance)
        found = {
            name: Amount(value, 2.0 * u if u > 0.0 else None)
            for name, value, u in zip(
                POSITIONS, spread.values.tolist(), spread.u.tolist(), strict=True
            )
        }
        taken = {item.name for item in self.line_study.fit.held} if self.line_study.fit else set()
        unit, placement = cell.unit, cell.placement
        if "unit.face_height" not in taken or unit.face_height is None:
            unit = replace(unit, face_height=found["face_height"])
        if "unit.axis_offset" not in taken or unit.axis_offset is None:
            # The entry counts along the unit frame's y, the touches along the machine axis.
            turn = float(np.sign(self.unit_axes[:, 1] @ across_direction(lines.frame)))
            offset = found["axis_offset"]
            unit = replace(unit, axis_offset=replace(offset, value=turn * offset.value))
        if placement.centre_x is None or placement.centre_y is None:
            placement = replace(placement, centre_x=found["platter_x"], centre_y=found["platter_y"])
        return replace(cell, unit=unit, placement=placement, touches=())

    @property
    def tilt_y_mm(self) -> float:
        """Unit frame y of the tilt line [mm]; see `gudgeon.cell.model`."""
        offset = self.placed_cell.unit.axis_offset
        return 0.0 if offset is None or not self.has_tilt else -offset.value

    @property
    def declared_yaw_rad(self) -> float:
        """Yaw at which the entries of the file hold; 0 where none is given."""
        try:
            return self.tilt_axis_yaw_rad
        except Lacking:
            return 0.0

    @cached_property
    def unit_senses(self) -> tuple[int | None, int | None]:
        """Senses of tilt and turn about the unit frame's x and z; ``None``: not known."""
        try:
            senses, axes = self.senses, self.unit_axes
            line = self.axis_directions["tilt" if self.has_tilt else "rotary"]
        except Lacking:
            return None, None
        same = 1 if float(line @ axes[:, 0]) > 0.0 else -1
        if not self.has_tilt:
            return same * senses.rotary, None
        return (None if senses.tilt is None else same * senses.tilt), senses.rotary

    @cached_property
    def load_shape(self) -> LoadShape:
        """Fixture, platter and moving boxes as solids; raises `Lacking`."""
        cell, gather = self.placed_cell, self.gather()
        fixture, unit = cell.fixture, cell.unit
        shape = fixture.shape or ("square" if fixture.half_width and not fixture.radius else None)
        size = fixture.half_width if shape == "square" else fixture.radius
        why = "it sets how high and how far the load swings"
        if self.has_tilt:
            gather.need(
                unit.face_height,
                "unit.face_height",
                "height of the platter face over the tilt axis",
                why=why,
                how='take it from the data sheet, or touch it as "turns" tells',
            )
        gather.need(
            size,
            "fixture.half_width" if shape == "square" else "fixture.radius",
            "size of fixture and parts about the rotary axis",
            why=why,
            how="measure from the platter's centre to the outermost point of fixture, parts and "
            "clamps",
        )
        gather.need(
            fixture.height,
            "fixture.height",
            "height of fixture and parts over the platter face",
            why=why,
            how="measure from the platter face to the top of fixture, parts and clamps",
        )
        gather.stop()
        assert size is not None and fixture.height is not None
        told = (
            [] if cell is self.cell else ["Face height and axis offset are those of the touches."]
        )
        told += [] if fixture.bottom else ["The load begins at the platter face (fixture.bottom)."]
        if fixture.shape is None:
            told.append(f"The load is taken as a {shape or 'cylinder'} (fixture.shape).")
        square = shape == "square"
        stands = fixture.clocking.value if fixture.clocking else 0.0
        if self.has_tilt:
            stands += math.atan2(self.platter_in_unit[1, 0], self.platter_in_unit[0, 0])
        solids = _load(fixture, size.value, square, unit.face_height, stands, self.has_tilt)
        if unit.platter_diameter is not None and self.has_tilt and unit.face_height is not None:
            at = unit.face_height.value
            solids.append(Solid("platter", "platter", at, at, unit.platter_diameter.value / 2.0))
        for box in unit.boxes:
            if box.turns_with in (None, "base"):
                continue
            solid = solid_of(box)
            if solid is None or not math.isfinite(solid.swing_mm):
                told.append(
                    f"{box.name or 'A moving box'} is left out: its ends are not all given."
                )
            else:
                solids.append(solid)
        tilt, turn = self.unit_senses
        limits = unit.tilt_range if self.has_tilt else unit.rotary_range
        if limits is None:
            told.append(
                "The tilt may reach any angle (unit.tilt_range is not given)."
                if self.has_tilt
                else "The axis turns without end (unit.rotary_range is not given)."
            )
        if self.has_tilt and tilt is None:
            told.append(
                "Which way the tilt turns is not known: the worse of both ways counts for heights."
            )
        return LoadShape(
            solids=tuple(solids),
            tilt_y_mm=self.tilt_y_mm,
            low_rad=limits[0].value if limits else -math.pi,
            high_rad=limits[1].value if limits else math.pi,
            tilt_sense=tilt,
            turn_sense=turn,
            round_mm=0.0 if self.has_tilt or square else size.value,
            has_tilt=self.has_tilt,
            assumed=tuple(told),
        )

    @cached_property
    def zeros_on_unit(self) -> tuple[UnitZero, ...]:
        """Every zero of every face at every station in its pose; raises `Lacking`.

        Positions are along the machine axes at the declared yaw, from the unit frame's origin.
        Faces that no pose within the limits brings up are left out: see `faces_not_shown`.
        """
        return self._zeros[0]

    @property
    def faces_not_shown(self) -> tuple[str, ...]:
        """Faces that no pose within the limits brings up, as text; empty while that is open."""
        try:
            return self._zeros[1]
        except Lacking:
            return ()

    @cached_property
    def _zeros(self) -> tuple[tuple[UnitZero, ...], tuple[str, ...]]:
        cell, gather = self.placed_cell, self.gather()
        wanted = faces_wanted(cell, self.has_tilt, gather)
        height = cell.unit.face_height
        if self.has_tilt:
            gather.need(
                height,
                "unit.face_height",
                "height of the platter face over the tilt axis",
                why="every zero of a tilted face moves with it",
                how='take it from the data sheet, or touch it as "turns" tells',
            )
        chain = None
        try:
            x, y, z = (self.unit_axes[:, 1] * self.tilt_y_mm).tolist()
            chain = self._chain({"tilt": (x, y, z), "rotary": (0.0, 0.0, 0.0)})
        except Lacking as lacking:
            gather.also(lacking)
        gather.stop()
        assert chain is not None
        lift = [0.0, 0.0, height.value if height is not None and self.has_tilt else 0.0]
        found, hidden = [], []
        poses = choose_poses(wanted, [self._facing(chain, one) for one in wanted])
        for one, pose in zip(wanted, poses, strict=True):
            on_platter, _ = in_platter(one, cell.fixture.clocking or Amount(0.0))
            start = self.unit_axes @ lift + self.platter_axes @ on_platter
            if pose is None or not _within(chain, pose):
                hidden.append(f"{one.face} of station {one.station}")
                continue
            x, y, z = chain.points(pose, start).tolist()
            found.append(
                UnitZero(
                    station=one.station,
                    face=one.face,
                    tilt_rad=pose[0] if self.has_tilt else 0.0,
                    turn_rad=pose[-1],
                    point_mm=(x, y, z),
                    tools_mm=self._tools_for(one),
                    tools=self._tool_numbers_for(one),
                )
            )
        return tuple(found), tuple(hidden)

    def _facing(self, chain: WorkChain, one: FaceWanted) -> Facing | None:
        if one.normal is None:
            return None
        clocking = self.cell.fixture.clocking
        turn = about_z((clocking.value if clocking else 0.0) + one.turn.value)
        return poses_facing(chain, self.platter_axes @ turn @ one.normal, tolerance_rad=SAME_FACING)

    @cached_property
    def work_poses(self) -> tuple[WorkPose, ...]:
        """Poses in which something is cut, each once; empty if the file names none."""
        named: list[WorkPose] = []
        try:
            named += [
                WorkPose(zero.face, zero.tilt_rad, zero.turn_rad) for zero in self.zeros_on_unit
            ]
        except Lacking:
            named += [
                WorkPose(face.name or "face", face.pose[0].value, face.pose[1].value)
                for part in self.cell.parts
                for face in part.faces
                if face.pose is not None
            ]
        named += [
            WorkPose(item.name or "operation", item.pose[0].value, item.pose[1].value)
            for item in self.cell.operations
            if item.pose is not None
        ]
        seen: dict[tuple[float, float], WorkPose] = {}
        for pose in named:
            if not self.has_tilt:  # the level axis is the rotary one
                pose = WorkPose(pose.name, pose.turn_rad, 0.0)
            seen.setdefault((round(pose.tilt_rad, 6), round(pose.turn_rad, 6)), pose)
        return tuple(seen.values())

    def _tools_for(self, one: FaceWanted) -> tuple[float, ...]:
        lengths = {tool.number: tool.length.value for tool in self.cell.tools if tool.length}
        return tuple(lengths[number] for number in self._tool_numbers_for(one) if number in lengths)

    def _tool_numbers_for(self, one: FaceWanted) -> tuple[int, ...]:
        return tuple(
            dict.fromkeys(
                item.tool
                for item in self.cell.operations
                if item.face is not None
                and item.face == one.face
                and (item.part or "") in ("", one.part)
                and item.tool is not None
            )
        )


def _within(chain: WorkChain, pose: tuple[float, ...]) -> bool:
    """Return whether the axes reach a pose, ends included."""
    return all(
        axis.low_rad - 1e-9 <= angle <= axis.high_rad + 1e-9
        for axis, angle in zip(chain.axes, pose, strict=True)
    )


def solid_of(box: Box) -> Solid | None:
    """Return a box as a solid; ``None`` where its height is not given.

    Ends in plan that are not given reach any distance.
    """
    if box.z is None:
        return None
    x = (-UNKNOWN_END, UNKNOWN_END) if box.x is None else (box.x[0].value, box.x[1].value)
    y = (-UNKNOWN_END, UNKNOWN_END) if box.y is None else (box.y[0].value, box.y[1].value)
    carrier = cast(Literal["base", "cradle", "platter"], box.turns_with or "base")
    corners = tuple((a, b) for a in x for b in y)
    return Solid(box.name or "box", carrier, box.z[0].value, box.z[1].value, None, corners)


def _load(
    fixture: Fixture,
    size_mm: float,
    square: bool,
    face: Amount | None,
    turn_rad: float,
    has_tilt: bool,
) -> list[Solid]:
    """Return the load; `turn_rad` is its turn about the platter's z in the unit frame."""
    assert fixture.height is not None
    bottom = fixture.bottom.value if fixture.bottom else 0.0
    top = fixture.height.value
    name = fixture.name or "load"
    corners = [(x, y) for x in (-size_mm, size_mm) for y in (-size_mm, size_mm)]
    turned = [
        (
            x * math.cos(turn_rad) - y * math.sin(turn_rad),
            x * math.sin(turn_rad) + y * math.cos(turn_rad),
        )
        for x, y in corners
    ]
    if has_tilt:
        lift = 0.0 if face is None else face.value
        radius = None if square else size_mm
        return [Solid(name, "platter", lift + bottom, lift + top, radius, tuple(turned))]
    # A single level axis: the load lies along x, its section turns about x.
    if not square:
        return [Solid(name, "cradle", 0.0, 0.0, None, ((bottom, 0.0), (top, 0.0)))]
    # Its four long edges, wherever the clocking puts them; platter x is unit y, platter y is up.
    return [
        Solid(name, "cradle", z, z, None, ((bottom, y), (top, y)))
        for y, z in sorted((round(y, 9), round(z, 9)) for y, z in turned)
    ]
