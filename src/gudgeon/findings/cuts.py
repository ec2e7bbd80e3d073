"""Where each operation cuts and how hard it pushes, pose by pose, as far as the entries tell."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from gudgeon.cell.model import Operation, Part, PartFace, Station
from gudgeon.findings.cut_estimates import Push
from gudgeon.findings.cut_forces import CutForces, forces_assumed, forces_of
from gudgeon.findings.gather import Gather, Lacking
from gudgeon.findings.judged import Read
from gudgeon.findings.masses import MassFindings, Place
from gudgeon.kinematics.inverse import poses_facing
from gudgeon.quantity.amount import Amount

__all__ = ["Cut", "CutFindings"]


@dataclass(frozen=True, slots=True)
class _Stand:
    """A pose in which an operation is cut, at a station, and whose face's pose it borrows."""

    tilt_rad: float
    turn_rad: float
    label: str = ""
    other: str | None = None


@dataclass(frozen=True, slots=True)
class Cut:
    """One operation in one pose.

    Attributes
    ----------
    number : int
        Place of the operation in the file, from 1.
    name, operation : str
        Name of the operation, the first with the station where it is cut at several.
    own_name : str
        Name of the cut in its own pose.
    borrowed : str
        Face in whose pose it may be cut instead; empty for its own pose.
    tilt_rad, turn_rad : float
        Programmed angles; a single axis has its turn in both (it is the level axis).
    place : callable or None
        Where it cuts, unit frame at zero [mm]; ``None`` if not known.
    lever : Amount or None
        Declared distance from the rotary line [mm].
    forces : CutForces
        How hard it pushes, as entered or worked out.
    """

    number: int
    name: str
    operation: str
    own_name: str
    borrowed: str
    tilt_rad: float
    turn_rad: float
    place: Place | None
    lever: Amount | None
    forces: CutForces

    @property
    def thrust(self) -> Push | None:
        """Force straight down [N]; ``None`` where not known."""
        return self.forces.thrust

    @property
    def side_force(self) -> Push | None:
        """Force across the spindle, in any direction [N]; ``None`` where not known."""
        return self.forces.side

    @property
    def pushes(self) -> bool:
        """True if any force is known."""
        return self.thrust is not None or self.side_force is not None

    def loads(self, read: Read) -> tuple[float, float, float]:
        """Return thrust [N], side force [N] and torque about the spindle [N m]; unknown is 0."""
        pushes = (self.forces.thrust, self.forces.side, self.forces.twist)
        thrust, side, twist = (0.0 if push is None else push.at(read) for push in pushes)
        return thrust, side, twist


class CutFindings(MassFindings):
    """The operations with their poses."""

    @cached_property
    def cuts(self) -> tuple[Cut, ...]:
        """Every operation whose pose is known, at every station where it is cut.

        Raises
        ------
        Lacking
            If there are no operations at all; `cuts_lacking` names what single ones lack.
        """
        gather = self.gather()
        gather.need(
            self.cell.operations,
            "operations",
            "cuts with their forces",
            why="brakes and bolts are judged against what the tools push",
            how="add an [[operations]] entry for the hardest drilling and the heaviest milling: "
            "pose, at, measured_from, thrust or side_force",
        )
        gather.stop()
        return self._cuts_and_gaps[0]

    @property
    def operation_cuts_known(self) -> tuple[Cut, ...]:
        """Every operation whose pose is known; none if there are no operations."""
        return self._cuts_and_gaps[0]

    @property
    def cuts_lacking(self) -> Gather:
        """What keeps single operations from being judged."""
        return self._cuts_and_gaps[1]

    @cached_property
    def _cuts_and_gaps(self) -> tuple[tuple[Cut, ...], Gather]:
        found: list[Cut] = []
        gaps = self.gather()
        for number, operation in enumerate(self.cell.operations, start=1):
            gather = self.gather()
            try:
                cuts = self._cuts_of(operation, number, gather)
            except Lacking as lacking:
                gaps.also(lacking)
            else:
                found.extend(cuts)
        return tuple(found), gaps

    @property
    def cuts_assumed(self) -> tuple[str, ...]:
        """What the operations take for granted."""
        told = []
        if any(o.at is None and o.pose is None for o in self.cell.operations):
            told.append("A cut without a place of its own is taken at the zero of its face.")
        told += forces_assumed({cut.operation: cut.forces for cut in self._cuts_and_gaps[0]})
        return tuple(told)

    @property
    def cuts_contradicted(self) -> tuple[str, ...]:
        """Entries of the operations that cannot all be right, one sentence each."""
        told = [line for cut in self._cuts_and_gaps[0] for line in cut.forces.cautions]
        return tuple(dict.fromkeys(told))

    def _cuts_of(self, operation: Operation, number: int, gather: Gather) -> list[Cut]:
        key = f"operations[{number}]"
        name = operation.name or f"operation {number}"
        forces = forces_of(
            operation,
            key,
            self.cell.tools,
            self.cell.file,
            self.units,
            self.cell.machine.spindle_power,
        )
        own = None
        if operation.at is not None:
            origin = gather.need(
                operation.measured_from,
                f"{key}.measured_from",
                f'origin from which "{name}" is measured',
                why="tilt axis and platter face lie at different heights",
                how='write measured_from = "tilt axis" or "platter face"',
            )
            if origin == "platter face":
                self._need_face_height(gather)
            own = self.place_of(operation.at, origin)
        gather.stop()

        def cut(at: _Stand, place: Place | None) -> Cut:
            called = f"{name}, {at.label}" if at.label else name
            return Cut(
                number=number,
                name=f'{called}, pose of "{at.other}"' if at.other else called,
                operation=name,
                own_name=called,
                borrowed=at.other or "",
                tilt_rad=at.tilt_rad,
                turn_rad=at.turn_rad,
                place=place,
                lever=operation.lever,
                forces=forces,
            )

        if operation.pose is not None:
            tilt, turn = (angle.value for angle in operation.pose)
            return [cut(_Stand(tilt if self.has_tilt else turn, turn), own)]
        gather.need(
            operation.face,
            f"{key}.pose",
            f'pose of "{name}": programmed tilt and turn',
            why="weight and levers change with the pose",
            how='write pose = ["90 deg", "0 deg"], or the part and face that it cuts',
        )
        gather.stop()
        return [cut(at, place) for at, place in self._at_stations(operation, key, gather, own)]

    def _at_stations(
        self, operation: Operation, key: str, gather: Gather, own: Place | None
    ) -> list[tuple[_Stand, Place | None]]:
        """Return pose and place of a face's cut at each loaded station of its part.

        A cut given by its place stays the cut of the station nearest to it and is carried over to
        the others; one without a place is taken at the face's zero.  Poses of other faces in which
        it may be cut as well follow its own.
        """
        part, face = self._face(operation, key, gather)
        held = [
            (i, station)
            for i, station in enumerate(self.cell.stations, start=1)
            if (station.part or part.name) == part.name
            and (not station.faces or face.name in station.faces)
        ]
        if face.pose is not None and (own is not None or not held):
            return [(at, own) for at in self._stands(operation, part, face, Station(), key, "")]
        gather.need(
            held or None,
            "stations",
            f"a station that holds {part.name or 'the part'}",
            why="a face's pose follows from how its station is turned",
            how="add a [[stations]] entry with at and turn",
        )
        for i, station in held:
            gather.need(
                station.at,
                f"stations[{i}].at",
                f"place of the part at {station.name or f'station {i}'}, platter frame",
                why="the lever of the cut hangs on it",
                how="measure from the rotary line and the platter face to the part's origin",
            )
        if own is None and face.zero is not None:
            self._need_face_height(gather)
        gather.stop()
        home = self._nearest([station for _, station in held], operation) if own else None
        found: list[tuple[_Stand, Place | None]] = []
        for i, station in held:
            named = station.name or str(i)
            if station.empty or (operation.stations and named not in operation.stations):
                continue
            place: Place | None = None
            if home is not None and operation.at is not None:
                place = self._carried_over(operation, home, station)
            elif face.zero is not None and station.at is not None:
                place = self._from_platter(station.at, station.turn, face.zero)
            called = station.name if station.name and not station.name.isdigit() else f"station {i}"
            label = called if len(held) > 1 else ""
            found += [
                (at, place) for at in self._stands(operation, part, face, station, key, label)
            ]
        return found

    def _stands(
        self,
        operation: Operation,
        part: Part,
        face: PartFace,
        station: Station,
        key: str,
        label: str,
    ) -> list[_Stand]:
        """Return the pose of a face's cut at one station, then those of other faces it may use."""
        tilt, turn = self._pose(station, face, key)
        found = [_Stand(tilt, turn, label)]
        for other in part.faces:
            if other is face or other.name not in operation.other_poses:
                continue
            pose = self._set_to_face(station, other) if other.pose or other.normal else None
            if pose is not None and not np.allclose(pose, (tilt, turn), atol=1e-9):
                found.append(_Stand(*pose, label, other.name))
        return found

    def _face(self, operation: Operation, key: str, gather: Gather) -> tuple[Part, PartFace]:
        parts = [
            part
            for part in self.cell.parts
            if operation.part in (None, part.name) or len(self.cell.parts) == 1
        ]
        for part in parts:
            for face in part.faces:
                if face.name == operation.face and (face.pose or face.normal):
                    return part, face
        gather.need(
            None,
            f"{key}.face",
            f'face "{operation.face}" with a normal or a pose',
            why="the pose of the cut follows from the face",
            how="write a [[parts.faces]] entry of that name with its normal, or give the pose",
        )
        gather.stop()
        raise AssertionError("unreachable: stop raises")  # pragma: no cover

    def _nearest(self, stations: list[Station], operation: Operation) -> Station:
        at = operation.at
        assert at is not None
        target = np.array(self.place_of(at, operation.measured_from)(_value))

        def distance(station: Station) -> float:
            return float(np.linalg.norm(target - self._from_platter_of(station)(_value)))

        return min(stations, key=distance)

    def _carried_over(self, operation: Operation, home: Station, there: Station) -> Place:
        """Return the place at `there` of a cut given at `home`, unit frame."""
        assert operation.at is not None
        own = self.place_of(operation.at, operation.measured_from)
        start, end = self._from_platter_of(home), self._from_platter_of(there)
        turn = (there.turn.value if there.turn else 0.0) - (home.turn.value if home.turn else 0.0)

        def place(read: Read) -> tuple[float, float, float]:
            a, b = np.array(start(read)), np.array(end(read))
            dx, dy, dz = np.array(own(read)) - a
            cosine, sine = math.cos(turn), math.sin(turn)
            if not self.has_tilt:  # turns about the platter's z, the unit frame's x
                return (
                    float(b[0] + dx),
                    float(b[1] + dy * cosine - dz * sine),
                    float(b[2] + dy * sine + dz * cosine),
                )
            return (
                float(b[0] + dx * cosine - dy * sine),
                float(b[1] + dx * sine + dy * cosine),
                float(b[2] + dz),
            )

        return place if there is not home else own

    def _from_platter_of(self, station: Station) -> Place:
        assert station.at is not None
        return self._from_platter(station.at)

    def _pose(self, station: Station, face: PartFace, key: str) -> tuple[float, float]:
        """Return programmed tilt and turn that bring the face to the spindle."""
        found = self._set_to_face(station, face)
        if found is not None:
            return found
        gather = self.gather()
        gather.need(
            None,
            f"{key}.pose",
            f'a pose within the axis limits for face "{face.name}" at '
            f"{station.name or 'its station'}",
            why="without a pose nothing can be said of its levers",
            how="check the face's normal, the station's turn and the axis limits",
        )
        gather.stop()
        raise AssertionError("unreachable: stop raises")  # pragma: no cover

    def _set_to_face(self, station: Station, face: PartFace) -> tuple[float, float] | None:
        """Return programmed tilt and turn of a face; ``None`` where no pose reaches it."""
        if face.pose is not None:
            tilt, turn = (angle.value for angle in face.pose)
            return (tilt if self.has_tilt else turn), turn
        assert face.normal is not None
        clocking = self.cell.fixture.clocking
        angle = (station.turn.value if station.turn else 0.0) + (clocking.value if clocking else 0)
        x, y, z = face.normal
        cosine, sine = math.cos(angle), math.sin(angle)
        turned = np.array([x * cosine - y * sine, x * sine + y * cosine, z])
        facing = poses_facing(self.turning_only, self.platter_axes @ turned, tolerance_rad=1e-6)
        if not facing.poses:
            return None
        angles = facing.poses[0].angles_rad
        return angles[0], angles[-1]


def _value(amount: Amount) -> float:
    return amount.value
