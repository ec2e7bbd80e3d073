"""The scene for proofs of clearance: every body of the cell, what carries it, what is left out."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np

from gudgeon.answer import Missing
from gudgeon.cell.model import Hose
from gudgeon.findings.apart import keep_apart
from gudgeon.findings.bodies import (
    ENDLESS_MM,
    Crowd,
    T,
    block,
    box_ends,
    grown,
    least,
    most,
    polygon_about,
    prism,
    reach_of,
    round_bar,
)
from gudgeon.findings.entered import (
    fixture_entered,
    model_bodies,
    solid_bodies,
    told_of,
    unit_entered,
)
from gudgeon.findings.frames import Frame, FrameFindings
from gudgeon.findings.gather import Lacking
from gudgeon.findings.hose_bodies import hose_ends, hose_name, hose_space, turning_ranges
from gudgeon.findings.outlines import windowed
from gudgeon.findings.place import PlaceFindings
from gudgeon.findings.tool_bodies import ToolBodyFindings
from gudgeon.kinematics.bodies import LAYOUTS

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from gudgeon.clearance.scene import Body, Lines, Scene

    Floats = NDArray[np.float64]

__all__ = ["OUTLINE", "SceneFinding", "SceneFindings"]

OUTLINE: Final = "unit body"
"""Name of the body that is known by its outline alone: the load turns inside it."""

PLATTER_MM: Final = 1.0
"""Thickness of the platter's disc; what lies below it is the cradle's."""


@dataclass(frozen=True, slots=True)
class SceneFinding:
    """The bodies of the cell without the tool.

    Attributes
    ----------
    scene : Scene
    left_out : tuple of str
        What is not modelled, as sentences; a proof does not hold for it.
    assumed : tuple of str
        What was taken for granted, each on the safe side unless it says otherwise.
    missing : tuple of Missing
        Entries that would let what is left out be judged.
    unsure_mm : float
        How far a point of a turning body may stand from where the axis lines say, k = 2 [mm].
    sources : tuple of str
    """

    scene: Scene
    left_out: tuple[str, ...]
    assumed: tuple[str, ...]
    missing: tuple[Missing, ...]
    unsure_mm: float
    sources: tuple[str, ...]


class SceneFindings(ToolBodyFindings, PlaceFindings, FrameFindings):
    """Bodies of the cell for the engine of clearance."""

    @cached_property
    def scene(self) -> SceneFinding:
        """All bodies but the tool, placed on the axis lines as they were found.

        Raises
        ------
        Lacking
            What the axis lines, the height of the table or the load lack.
        """
        from gudgeon.clearance.scene import Carrier, Scene

        gather = self.gather()
        for part in ("axis_lines", "table_top_mm", "axis_height_mm"):
            try:
                getattr(self, part)
            except Lacking as lacking:
                gather.also(lacking)
        if self._needs_load_shape:
            try:
                _ = self.load_shape
            except Lacking as lacking:
                gather.also(lacking)
        gather.stop()
        crowd = Crowd()
        entered = self._entered()
        self._put_table(crowd)
        for body in entered:
            crowd.add(body)
        told_of(crowd, self.cell)
        self._put_unit_boxes(crowd)
        self._put_unit_body(crowd)
        self._put_platter(crowd)
        self._put_load(crowd)
        self._put_guards(crowd)
        self._put_hoses(crowd)
        keep_apart(crowd)
        self._put_told(crowd)
        turning = {
            carrier: reach_of(body for body in crowd.bodies if body.carrier is carrier)
            for carrier in (Carrier.ROTARY, Carrier.TILT)
        }
        unsure = self.turning_unsure_mm(turning[Carrier.ROTARY], turning[Carrier.TILT])
        layout = self.cell.machine.layout or "moving table"
        scene = Scene(
            bodies=tuple(crowd.bodies),
            lines=self.scene_lines,
            table_axes=(
                "X" in LAYOUTS[layout],
                "Y" in LAYOUTS[layout],
                "Z" in LAYOUTS[layout],
            ),
            apart=frozenset(crowd.apart),
            unsure_mm=unsure,
        )
        return SceneFinding(
            scene=scene,
            left_out=tuple(dict.fromkeys(crowd.left_out)),
            assumed=tuple(dict.fromkeys(crowd.assumed)),
            missing=tuple(crowd.missing),
            unsure_mm=unsure,
            sources=(),
        )

    @property
    def scene_lines(self) -> Lines:
        """The axis lines as rows for the engine."""
        from gudgeon.clearance.scene import Lines

        rows = np.zeros((2, 7))
        rows[:, 3] = 1.0  # a unit direction even where there is no such axis
        for axis in self.axis_lines.chain.axes:
            row = 0 if axis.role == "tilt" else 1
            direction = np.asarray(axis.line.direction)
            direction = direction / np.linalg.norm(direction)
            rows[row] = [*axis.line.point_mm, *direction, float(axis.sense)]
        return Lines(rows)

    # --- what stands and turns ------------------------------------------------------------------

    @property
    def _needs_load_shape(self) -> bool:
        """Whether the load is known by its outline alone."""
        return not fixture_entered(self.cell)

    def _entered(self) -> list[Body]:
        """Return what [[solids]] and [[models]] enter; raises `Lacking`."""
        gather, unsure = self.gather(), self.unit_unsure_mm
        frames = {
            "machine": T,
            "gauge point": T,
            "tilt axis": self.unit_frame,
            "platter face": self.platter_frame,
            "fixture": self.fixture_frame,
        }
        found = solid_bodies(self.cell, frames, gather, unsure, self.has_tilt)
        found += model_bodies(self.cell, frames, gather, unsure, self.has_tilt)
        for number, window in enumerate(self.cell.fixture.windows, start=1):
            for axis in ("x", "y", "z"):
                gather.need(
                    getattr(window, axis),
                    f"fixture.windows[{number}].{axis}",
                    f"ends in {axis} of window {number} of the fixture",
                    why="what is entered by halves cannot be judged",
                    how="take both ends from the fixture's drawing, parts included",
                )
        gather.stop()
        return found

    def _put_table(self, crowd: Crowd) -> None:
        from gudgeon.clearance.scene import Body, Carrier, Role

        machine = self.cell.machine
        assert machine.gauge_to_table is not None
        x = grown(machine.table_x) if machine.table_x else (-ENDLESS_MM, ENDLESS_MM)
        y = grown(machine.table_y) if machine.table_y else (-ENDLESS_MM, ENDLESS_MM)
        for letter, ends in (("x", machine.table_x), ("y", machine.table_y)):
            if ends is None:
                crowd.assumed.append(
                    f"The table top has no end along {letter.upper()} (machine.table_{letter})."
                )
        top = -least(machine.gauge_to_table)
        solid = block(T, x, y, (top - 200.0, top))
        crowd.add(Body("table", Carrier.TABLE, Role.TABLE, (solid,)))

    def _put_unit_body(self, crowd: Crowd) -> None:
        from gudgeon.clearance.scene import Body, Carrier, Role

        unit, placement = self.cell.unit, self.cell.placement
        sides = {
            "right": unit.body_right,
            "left": unit.body_left,
            "rear": unit.body_rear,
            "front": unit.body_front,
        }
        entries = {f"body_{side}": end for side, end in sides.items()}
        entries["body_height"] = unit.body_height
        absent = [key for key, value in entries.items() if value is None]
        if unit_entered(self.cell):
            if not any(
                body.role is Role.UNIT and body.carrier is Carrier.TABLE for body in crowd.bodies
            ):
                crowd.leave_out("The unit's own body is not judged: no part of it is entered.")
            return
        if absent:
            if not any(box.turns_with in (None, "base") for box in unit.boxes):
                key = absent[0]
                crowd.leave_out(
                    "The unit's own body is not judged: its outline is not entered.",
                    Missing(
                        "outline of the unit's body",
                        f"{self.cell.file}: unit.{key}",
                        "tools may meet it",
                        "measure the body to all four sides of the platter's centre and its "
                        "height, or enter its parts under [[unit.boxes]]",
                    ),
                )
            return
        assert unit.body_right and unit.body_left and unit.body_rear and unit.body_front
        assert unit.body_height and unit.tilt_axis_height
        riser = most(placement.riser) if placement.riser else 0.0
        solid = block(
            self.unit_frame,
            (-most(unit.body_left), most(unit.body_right)),
            (-most(unit.body_front), most(unit.body_rear)),
            (
                -unit.tilt_axis_height.value - riser,
                most(unit.body_height) - unit.tilt_axis_height.value,
            ),
            self.unit_unsure_mm,
        )
        body = crowd.add(Body(OUTLINE, Carrier.TABLE, Role.UNIT, (solid,)))
        crowd.assumed.append(
            "The unit's body fills its outline up to body_height for every tool; what tilts and "
            "turns is judged against [[unit.boxes]] only, not against this outline."
        )
        crowd.outlines.append(body.name)

    def _put_unit_boxes(self, crowd: Crowd) -> None:
        from gudgeon.clearance.scene import Body, Carrier, Role

        carriers = {
            "base": Carrier.TABLE,
            "cradle": Carrier.TILT if self.has_tilt else Carrier.ROTARY,
            "platter": Carrier.ROTARY,
        }
        for number, box in enumerate(self.cell.unit.boxes, start=1):
            name = box.name or f"box {number} of the unit"
            ends = box_ends(box)
            if ends is None:
                absent = next(axis for axis in "xyz" if getattr(box, axis) is None)
                crowd.leave_out(
                    f"{name} is not judged: its ends are not all entered.",
                    Missing(
                        f"ends of {name} along {absent}",
                        f"{self.cell.file}: unit.boxes[{number}].{absent}",
                        "tools and load may meet it",
                        "measure both ends from the tilt axis and the rotary axis",
                    ),
                )
                continue
            carrier = carriers[box.turns_with or "base"]
            rounding = self.unit_unsure_mm if carrier is Carrier.TABLE else 0.0
            solid = block(self.unit_frame, ends[0], ends[1], ends[2], rounding)
            crowd.add(Body(name, carrier, Role.UNIT, (solid,)))

    def _put_platter(self, crowd: Crowd) -> None:
        from gudgeon.clearance.scene import Body, Carrier, Role

        diameter = self.cell.unit.platter_diameter
        if diameter is None:
            return
        radius = most(diameter) / 2.0
        solid = round_bar(
            self.platter_frame, [0.0, 0.0, -PLATTER_MM], [0.0, 0.0, 0.0], radius, radius
        )
        body = crowd.add(Body("platter", Carrier.ROTARY, Role.UNIT, (solid,)))
        crowd.discs.append(body.name)

    def _put_load(self, crowd: Crowd) -> None:
        from gudgeon.clearance.scene import Body, Carrier, Role

        if not self._needs_load_shape:
            crowd.assumed.append("Fixture and parts are those of [[solids]] and [[models]].")
            return
        fixture = self.cell.fixture
        assert fixture.height is not None
        square = (
            fixture.shape == "square"
            if fixture.shape
            else bool(fixture.half_width and not fixture.radius)
        )
        bottom = least(fixture.bottom) if fixture.bottom else 0.0
        top = most(fixture.height)
        name = fixture.name or "fixture with parts"
        if square:
            assert fixture.half_width is not None
            half = most(fixture.half_width)
            plan = np.array([(-half, -half), (half, -half), (half, half), (-half, half)])
            solid = prism(self.fixture_frame, plan, bottom, top)
        else:
            assert fixture.radius is not None
            radius = most(fixture.radius)
            plan = polygon_about(radius)
            solid = round_bar(
                self.platter_frame, [0.0, 0.0, bottom], [0.0, 0.0, top], radius, radius
            )
        if not fixture.windows:
            crowd.add(Body(name, Carrier.ROTARY, Role.STOCK, (solid,)))
            crowd.assumed.append(
                "Fixture and parts are one outline; on feed moves the flutes may be anywhere in "
                "it (enter [[fixture.windows]] to hold them to the parts)."
            )
            return
        pieces, stock = windowed(self.fixture_frame, plan, (bottom, top), fixture.windows)
        if pieces:
            crowd.add(Body(name, Carrier.ROTARY, Role.FIXTURE, tuple(pieces)))
        for station, boxes in stock.items():
            part = f"part at {station}" if station else "part"
            crowd.add(Body(part, Carrier.ROTARY, Role.STOCK, tuple(boxes), True, station))

    @property
    def fixture_frame(self) -> Frame:
        """The platter frame turned by the fixture's clocking."""
        clocking = self.cell.fixture.clocking
        turn = clocking.value if clocking else 0.0
        cosine, sine = math.cos(turn), math.sin(turn)
        rotation = np.array([[cosine, -sine, 0.0], [sine, cosine, 0.0], [0.0, 0.0, 1.0]])
        return self.platter_frame.within(np.zeros(3), rotation)

    def _put_guards(self, crowd: Crowd) -> None:
        from gudgeon.clearance.scene import Body, Carrier, Role

        names = {
            "right": "right guard",
            "left": "left guard",
            "rear": "column behind",
            "front": "door in front",
        }
        layout = self.cell.machine.layout or "moving table"
        far = 2.0 * ENDLESS_MM
        for wall in self.walls:
            near = max(wall.distance_mm - wall.margin_mm, 0.0)
            ends = sorted((wall.sign * near, wall.sign * far))
            along = (-far, far)
            solid = block(
                T, ends if wall.axis == 0 else along, ends if wall.axis == 1 else along, along
            )
            with_head = layout == "moving column" and wall.side == "rear"
            name = names[wall.side]
            if wall.margin_mm > 0.0:
                name += " with its margin"
            carrier = Carrier.HEAD if with_head else Carrier.BASE
            crowd.walls.append(crowd.add(Body(name, carrier, Role.GUARD, (solid,))).name)

    @property
    def turn_limits(self) -> tuple[Floats, Floats]:
        """Lowest and highest tilt and turn [rad]."""
        return turning_ranges(self.cell, tilts=self.has_tilt)

    def hose_unsure_mm(self, hose: Hose) -> float:
        """How far the connector of a hose may stand from where it is told, k = 2 [mm]."""
        ends = hose_ends(hose, self.unit_frame)
        if ends is None or hose.turns_with in (None, "base"):
            return self.unit_unsure_mm
        none, point = np.zeros((0, 3)), ends[0][None]
        on_platter = hose.turns_with == "platter"
        return self.turning_unsure_mm(point if on_platter else none, none if on_platter else point)

    def _put_hoses(self, crowd: Crowd) -> None:
        for hose in self.cell.unit.hoses:
            name = hose_name(self.cell, hose)
            body = hose_space(
                hose,
                name,
                self.unit_frame,
                self.axis_lines.chain,
                self.turn_limits,
                self.hose_unsure_mm(hose),
            )
            if body is None:
                crowd.leave_out(
                    f"{name} is not judged as a body: its length, or a coordinate of connector or "
                    "anchor, is not entered."
                )
                continue
            added = crowd.add(body)
            if hose.turns_with in (None, "base"):
                crowd.assumed.append(f"{name} may hang anywhere that its length lets it reach.")
            else:
                crowd.assumed.append(
                    f"{name} may hang anywhere that its length lets it reach, at every tilt and "
                    "turn; it is not judged against what turns, with which it goes: tie it there."
                )
                crowd.carried_hoses.append(added.name)

    def _put_told(self, crowd: Crowd) -> None:
        """Tell what nobody has entered."""
        from gudgeon.clearance.scene import Carrier, Role

        machine, file = self.cell.machine, self.cell.file
        if machine.nose_diameter is None:
            crowd.leave_out(
                "The spindle nose is not judged: machine.nose_diameter is not entered.",
                Missing(
                    "diameter of the spindle nose",
                    f"{file}: machine.nose_diameter",
                    "with a short tool the nose comes near the load",
                    "measure the spindle nose where it is widest",
                ),
            )
        else:
            crowd.assumed.append("The head over its nose is no wider than the nose.")
        if not any(body.role is Role.GUARD for body in crowd.bodies):
            crowd.leave_out(
                "No guard, column or door is entered: the room round the table is not judged.",
                Missing(
                    "guards, column and door",
                    f"{file}: machine.guard_right",
                    "the unit may meet them at the ends of travel",
                    "measure from the spindle line to the guards, the column and the door",
                ),
            )
        if self.has_tilt and not any(body.carrier is Carrier.TILT for body in crowd.bodies):
            crowd.leave_out(
                "The cradle under the platter is not judged: nothing that tilts only is entered.",
                Missing(
                    "shape of the cradle",
                    f"{file}: unit.boxes",
                    "tools may meet it beside and under the platter",
                    'enter its parts under [[unit.boxes]] with turns_with = "cradle"',
                ),
            )
        if machine.layout is None:
            crowd.assumed.append("The table moves in X and Y (machine.layout is not given).")
        fluted = [tool for tool in self.cell.tools if tool.flute_length or tool.steps]
        if len(fluted) < len(self.cell.tools):
            crowd.assumed.append(
                "Where flute_length is not given, the flutes of a tool reach up to its holder."
            )
