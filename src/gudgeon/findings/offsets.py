"""Where the zero of every face at every station stands, pose by pose.

A zero is taken from the part into the platter frame (station, its turn, the fixture's clocking),
from there into T with both angles at zero, and then through the pose map of the axis lines as they
were found.  Its uncertainty follows the covariance of the lines and what the entries state
(law of propagation, JCGM 100:2008, 5.1.2 and 5.2.2).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.findings.faces import FaceWanted, about_z, faces_wanted, in_platter
from gudgeon.findings.gather import Lacking
from gudgeon.findings.lines import AxisLinesFinding, LineFindings
from gudgeon.findings.stale import Event, Placed, events_of
from gudgeon.kinematics.chain import AxisLine, turn_about
from gudgeon.kinematics.inverse import Facing, Pose, poses_facing
from gudgeon.kinematics.naming import angle_between
from gudgeon.quantity.amount import Amount
from gudgeon.quantity.spread import propagate

__all__ = ["STANDARD_WORDS", "OffsetFindings", "OffsetsFinding", "ZeroFound", "choose_poses"]

Floats = NDArray[np.float64]

STANDARD_WORDS: Final = ("G54", "G55", "G56", "G57", "G58", "G59")
"""Preparatory words of the zero shifts (ISO 6983-1; NISTIR 6556, 3.5.13)."""

_INCLUSIVE: Final = 1e-9
"""A zero exactly on a limit is inside; rounding (in mm or rad) must not put it outside."""

_FACE_TOLERANCE_RAD: Final = math.radians(0.01)
"""A normal typed with few digits still finds its pose; 0.01 deg lifts 0.02 mm over 100 mm."""


@dataclass(frozen=True, slots=True)
class ZeroFound:
    """The zero of one face at one station.

    Attributes
    ----------
    word : str or None
        Work offset word; ``None`` when the words have run out.
    station, part, face : str
    angles_rad : tuple of float or None
        Programmed angles in the chain's order; ``None`` if no pose brings the face up.
    pose_given : bool
        Declared in the cell (else worked out from the normal).
    facing : Facing or None
        All poses from the normal, where one is given.
    off_up_rad : float or None
        Angle between the face's normal and +Z in the pose; ``None`` without a normal.
    point_mm : tuple of 3 floats or None
        The zero in T, which is the machine position of the gauge point standing on it [mm].
    u_mm : tuple of 3 floats
        Standard uncertainties (k = 1) of `point_mm` [mm].
    outside : tuple of str
        Axes among "X", "Y", "Z" whose travel does not reach the zero.
    beyond : tuple of str
        Axes ("tilt", "rotary") whose limits the pose breaks.
    """

    word: str | None
    station: str
    part: str
    face: str
    angles_rad: tuple[float, ...] | None
    pose_given: bool
    facing: Facing | None
    off_up_rad: float | None
    point_mm: tuple[float, float, float] | None
    u_mm: tuple[float, float, float]
    outside: tuple[str, ...]
    beyond: tuple[str, ...]

    @property
    def label(self) -> str:
        """The word if there is one, else station and face."""
        return self.word or f"{self.station}/{self.face}"


@dataclass(frozen=True, slots=True)
class OffsetsFinding:
    """Every zero of the cell, in the order of stations and faces in the file.

    Attributes
    ----------
    zeros : tuple of ZeroFound
    measured : bool
        The axis lines were touched; otherwise they come from entries.
    stated : bool
        At least one entry or reading states an uncertainty, so that `u_mm` means something.
    words_short : int
        Zeros that got no word.
    words_declared : bool
        The words are the control's own; otherwise `STANDARD_WORDS` were taken.
    events : tuple of Event
        What makes which zero stale.
    assumed : tuple of str
    """

    zeros: tuple[ZeroFound, ...]
    measured: bool
    stated: bool
    words_short: int
    words_declared: bool
    events: tuple[Event, ...]
    assumed: tuple[str, ...]


class OffsetFindings(LineFindings):
    """Facts about the work offsets."""

    @cached_property
    def offsets(self) -> OffsetsFinding:
        """The zero of every face at every station.

        Raises
        ------
        Lacking
            Naming everything that is missing: stations, faces, senses, and what the axis lines
            need.
        """
        gather = self.gather()
        try:
            lines = self.axis_lines
        except Lacking as lacking:
            gather.also(lacking)
        wanted = faces_wanted(self.cell, self.has_tilt, gather)
        gather.stop()
        return self._place(lines, wanted)

    def _place(self, lines: AxisLinesFinding, wanted: list[FaceWanted]) -> OffsetsFinding:
        clocking = self.cell.fixture.clocking or Amount(0.0)
        frame = self.platter_axes
        normals = [
            None
            if one.normal is None
            else frame @ about_z(clocking.value + one.turn.value) @ one.normal
            for one in wanted
        ]
        facings = [
            None
            if normal is None
            else poses_facing(self.turning_only, normal, tolerance_rad=_FACE_TOLERANCE_RAD)
            for normal in normals
        ]
        poses = choose_poses(wanted, facings)

        locals_mm, local_covariances = [], []
        for one in wanted:
            point, covariance = in_platter(one, clocking)
            locals_mm.append(point)
            local_covariances.append(covariance)
        standing = [i for i, pose in enumerate(poses) if pose is not None]
        angles = np.array([poses[i] for i in standing]).reshape(
            len(standing), len(self.turning_only.axes)
        )
        local = np.array([locals_mm[i] for i in standing]).reshape(-1, 3)

        def zeros_at(values: Floats) -> Floats:
            chain, origin = lines.chain_of(values), lines.platter_origin_of(values)
            placed = Placed(chain, origin, _on_line(frame, chain.axes[-1].line), angles, local)
            return placed.zeros().ravel()

        points: dict[int, Floats] = {}
        u: dict[int, Floats] = {}
        events: tuple[Event, ...] = ()
        if standing:
            spread = propagate(zeros_at, lines.values, lines.covariance)
            placed = Placed(
                lines.chain,
                lines.platter_origin_of(lines.values),
                _on_line(frame, lines.chain.axes[-1].line),
                angles,
                local,
            )
            rotations = placed.rotations()
            for k, i in enumerate(standing):
                points[i] = spread.values[3 * k : 3 * k + 3]
                own = rotations[k] @ local_covariances[i] @ rotations[k].T
                from_lines = spread.covariance[3 * k : 3 * k + 3, 3 * k : 3 * k + 3]
                u[i] = np.sqrt(np.clip(np.diag(own + from_lines), 0.0, None))
            of_station = [wanted[i].station for i in standing]
            events = events_of(placed, of_station, self._lengths_from_work)

        words = self.cell.control.offset_words or STANDARD_WORDS
        found = tuple(
            ZeroFound(
                word=words[i] if i < len(words) else None,
                station=one.station,
                part=one.part,
                face=one.face,
                angles_rad=poses[i],
                pose_given=one.pose is not None,
                facing=facings[i],
                off_up_rad=self._off_up(poses[i], normals[i]),
                point_mm=_triple(points[i]) if i in points else None,
                u_mm=_triple(u[i]) if i in u else (0.0, 0.0, 0.0),
                outside=self._outside(points.get(i)),
                beyond=self._beyond(poses[i], one.idle_tilt_rad),
            )
            for i, one in enumerate(wanted)
        )
        stated = any(max(zero.u_mm) > 0.0 for zero in found)
        return OffsetsFinding(
            zeros=found,
            measured=lines.measured,
            stated=stated,
            words_short=sum(zero.word is None for zero in found),
            words_declared=bool(self.cell.control.offset_words),
            events=events,
            assumed=self._offsets_assumed(lines.measured, found),
        )

    @property
    def _lengths_from_work(self) -> bool:
        return self.cell.control.lengths_from == "work"

    @property
    def length_reference_mm(self) -> float:
        """What is taken off the gauge point's Z when an offset is entered [mm].

        0 where lengths count from the gauge point.  Where tools are touched off at a surface, their
        stored lengths already hold that surface's machine Z, which is `length_reference`.

        Raises
        ------
        Lacking
            If lengths are touched off and the reference is not given.
        """
        if not self._lengths_from_work:
            return 0.0
        gather = self.gather()
        reference = gather.need(
            self.cell.control.length_reference,
            "control.length_reference",
            "machine Z at which touched-off tool lengths are zero",
            why="with lengths touched off at the work, the Z of every offset counts from there",
            how="bring the empty spindle's gauge face onto the surface where tools are touched "
            "off (or a block on it, its height taken off) and read machine Z",
        )
        gather.stop()
        return reference.value

    def _off_up(self, pose: tuple[float, ...] | None, normal: Floats | None) -> float | None:
        if pose is None or normal is None:
            return None
        return angle_between(self.turning_only.directions(pose, normal), (0.0, 0.0, 1.0))

    def _outside(self, point: Floats | None) -> tuple[str, ...]:
        """Axes that cannot stand on the zero; in Z some tool length must reach it."""
        machine = self.cell.machine
        if point is None:
            return ()
        found = []
        for axis, travel, at in zip(
            "XYZ", (machine.travel_x, machine.travel_y, machine.travel_z), point, strict=True
        ):
            if travel is None:
                continue
            low, high = travel[0].value, travel[1].value
            # A tool lifts the gauge point over the zero, so only the top of Z can forbid it here.
            too_low = axis != "Z" and at < low - _INCLUSIVE
            if too_low or at > high + _INCLUSIVE:
                found.append(axis)
        return tuple(found)

    def _beyond(self, pose: tuple[float, ...] | None, idle_tilt: float) -> tuple[str, ...]:
        if pose is None:
            return ()
        found = [
            axis.role
            for axis, angle in zip(self.turning_only.axes, pose, strict=True)
            if not axis.low_rad - _INCLUSIVE <= angle <= axis.high_rad + _INCLUSIVE
        ]
        if idle_tilt != 0.0:  # a tilt is asked of a unit that has none
            found.append("tilt")
        return tuple(found)

    def _offsets_assumed(self, measured: bool, found: tuple[ZeroFound, ...]) -> tuple[str, ...]:
        told = list(self.placing_assumed)
        if measured:  # the touches replace what the entries would have placed
            told = [text for text in told if "riser" not in text and "axis_offset" not in text]
        else:
            told.insert(
                0,
                "The axis lines stand where the entries of the cell put them; nothing was touched.",
            )
        told.append(
            "The fixture stands square on the platter face, and with both angles at zero parallel "
            "to the machine's X and Y."
        )
        clocking = self.cell.fixture.clocking
        if clocking is not None and clocking.value != 0.0:
            told.append(
                f"Stations are given for clocking zero; the fixture's clocking of "
                f"{math.degrees(clocking.value):g} deg turns every one of them."
            )
        if self.senses.letters_assumed:
            told.append("Letters not declared are taken as ISO 841 names them.")
        if self.cell.control.lengths_from is None:
            told.append("Tool lengths count from the gauge point (control.lengths_from not given).")
        if not self.cell.control.offset_words:
            told.append("Offset words are G54 to G59 (control.offset_words is not given).")
        if any(not zero.pose_given for zero in found):
            told.append(
                "Poses not declared are worked out from the normals: the pose with the fewest "
                "tilts, then the least turn."
            )
        return tuple(told)


def _on_line(frame: Floats, line: AxisLine) -> Floats:
    """Return the platter's axes, leaned by the least turn so that z lies along the rotary line."""
    upright = frame[:, 2]
    direction = np.asarray(line.direction)
    if direction @ upright < 0.0:
        direction = -direction
    cross = np.cross(upright, direction)
    sine = float(np.linalg.norm(cross))
    if sine < 1e-15:
        return frame
    x, y, z = (cross / sine).tolist()
    lean = turn_about(
        AxisLine((0.0, 0.0, 0.0), (x, y, z)), math.atan2(sine, float(direction @ upright))
    )
    return np.asarray(lean[:3, :3] @ frame)


def choose_poses(
    wanted: list[FaceWanted], facings: list[Facing | None]
) -> list[tuple[float, ...] | None]:
    """Choose one pose for each face: the fewest different tilts, then the least turn.

    Angles of the carrying axis are ranked by how many faces they serve, then by how little the
    carried axis must turn, then plus before minus; each face takes the best ranked it can have.
    """

    def key(angle: float) -> float:
        return round(angle, 6) + 0.0

    served: dict[float, set[int]] = {}
    turning: dict[float, float] = {}
    for i, (one, facing) in enumerate(zip(wanted, facings, strict=True)):
        options = [one.pose] if one.pose is not None else [p.angles_rad for p in _poses(facing)]
        for first in {key(angles[0]) for angles in options}:
            least = min(abs(a[-1]) for a in options if key(a[0]) == first)
            served.setdefault(first, set()).add(i)
            turning[first] = turning.get(first, 0.0) + (least if len(options[0]) > 1 else 0.0)

    def rank(first: float) -> tuple[float, float, float, float]:
        return (-len(served[first]), round(turning[first], 6), abs(first), -first)

    chosen: list[tuple[float, ...] | None] = []
    for one, facing in zip(wanted, facings, strict=True):
        if one.pose is not None:
            chosen.append(one.pose)
            continue
        options = [pose.angles_rad for pose in _poses(facing)]
        options.sort(key=lambda a: (rank(key(a[0])), abs(round(a[-1], 6)), -a[-1]))
        chosen.append(options[0] if options else None)
    return chosen


def _poses(facing: Facing | None) -> tuple[Pose, ...]:
    return () if facing is None else facing.poses


def _triple(vector: Floats) -> tuple[float, float, float]:
    x, y, z = (float(value) + 0.0 for value in vector)
    return x, y, z
