"""The sides of the fixture as one sees them who loads it: what stands where, and which way round.

Everything is in the platter frame with both angles zero, so that a loading map can be drawn before
the axis lines are known.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.cell.model import Cell, Model, Part, Solid, Station
from gudgeon.findings.bodies import T, block, grown, least, most, prism, round_bar
from gudgeon.findings.entered import carried_by, fixture_entered, model_bodies, solid_bodies
from gudgeon.findings.faces import about_z
from gudgeon.findings.frames import Frame
from gudgeon.findings.gather import Lacking
from gudgeon.findings.senses import SenseFindings
from gudgeon.findings.sheets import TOP, Seat, seats
from gudgeon.kinematics.naming import nearest_side

if TYPE_CHECKING:
    from gudgeon.clearance.scene import Body

__all__ = ["FixtureSide", "FixtureSideFindings", "SeenFace", "SeenStation"]

Floats = NDArray[np.float64]

SQUARE_ON: Final = math.cos(math.radians(30.0))
"""A direction counts as "up" or "to the right" if it lies within 30 deg of it."""

WAYS: Final = (("right", "left"), ("away from you", "to you"), ("up", "down"))
WAYS_LYING: Final = (*WAYS[:2], ("away from the platter", "to the platter"))
"""Of a fixture whose axis lies along the table."""

WAYS_ON_TOP: Final = (("right", "left"), ("down", "up"), ("to the back", "to the front"))
SLANTED: Final = "at a slant"


@dataclass(frozen=True, slots=True)
class SeenFace:
    """A face of a part, and where it looks as one sees the side.

    Attributes
    ----------
    name : str
    way : str
        "to you", "away from you", "up", "down", "right", "left", "at a slant"; on top "to the
        back" and "to the front" too, without tilt "to the platter" and "away from the platter".
    zero_mm : tuple of (float, float) or None
        Its zero, to the right and up as that of a station; ``None`` where it is not entered.
    """

    name: str
    way: str
    zero_mm: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class SeenStation:
    """A station on its side.

    Attributes
    ----------
    seat : Seat
    at_mm : tuple of (float, float)
        Its part origin: to the right and up on the side, from the rotary line and the platter
        face (on top: from the rotary line, machine X and Y).
    faces : tuple of SeenFace
        Those of its part whose direction is entered.
    """

    seat: Seat
    at_mm: tuple[float, float]
    faces: tuple[SeenFace, ...]


@dataclass(frozen=True, slots=True, eq=False)
class FixtureSide:
    """One side of the fixture.

    Attributes
    ----------
    name : str
        Direction in which it looks in the platter frame, "X+" to "Y-", or "top".
    looks : str
        Machine direction in which it looks with both angles zero.
    axes : ndarray, shape (3, 3)
        Right, into the paper and up as one looks at it; rows, platter frame.
    stations : tuple of SeenStation
        In the order of loading, empty ones last.
    bodies : tuple of Body
        Fixture, stock and parts in the platter frame [mm].
    front_rad : float or None
        Programmed turn that brings it round to look to Y-, of a unit without tilt to Z+; ``None``
        where that is not known or there is none.
    """

    name: str
    looks: str
    axes: Floats
    stations: tuple[SeenStation, ...]
    bodies: tuple[Body, ...]
    front_rad: float | None


class FixtureSideFindings(SenseFindings):
    """Facts about the sides of the fixture."""

    @cached_property
    def fixture_sides(self) -> tuple[FixtureSide, ...]:
        """Every side on which a station stands, that of the first loaded part first.

        Raises
        ------
        Lacking
            If there is no station with a place.
        """
        gather = self.gather()
        gather.need(
            self.cell.stations,
            "stations",
            "where the parts sit on the platter",
            why="the loading map shows them",
            how="add a [[stations]] table for each place, with at = [x, y, z] from the middle of "
            "the platter face",
        )
        for number, station in enumerate(self.cell.stations, start=1):
            gather.need(
                station.at,
                f"stations[{number}].at",
                f"place of station {station.name or number}",
                why="the loading map shows it",
                how="take x, y, z of the part origin from the fixture's drawing, from the rotary "
                "axis and the platter face",
            )
        if all(one.at is None for one in self.cell.stations):
            gather.stop()
        bodies = self._load_bodies()
        by_side: dict[str, list[tuple[Seat, Station]]] = {}
        for seat, station in zip(seats(self.cell), self.cell.stations, strict=True):
            if seat.side is not None:
                by_side.setdefault(seat.side, []).append((seat, station))
        sides = []
        for name, members in by_side.items():
            axes = _seen_axes(name)
            members.sort(key=lambda one: one[0].serial or len(self.cell.stations) + 1)
            sides.append(
                FixtureSide(
                    name,
                    nearest_side(self.platter_axes @ -axes[1])[0],
                    axes,
                    tuple(self._seen(seat, station, axes) for seat, station in members),
                    bodies,
                    self._to_the_front(axes),
                )
            )
        return tuple(sides)

    def _clocked(self) -> Floats:
        clocking = self.cell.fixture.clocking
        return about_z(0.0 if clocking is None else clocking.value)

    def _seen(self, seat: Seat, station: Station, axes: Floats) -> SeenStation:
        assert station.at is not None
        at = np.array([one.value for one in station.at])
        place = axes @ self._clocked() @ at
        turn = about_z(0.0 if station.turn is None else station.turn.value)
        into_view = axes @ self._clocked() @ turn
        part = self._part_at(seat)
        faces = []
        for number, face in enumerate(part.faces if part else (), start=1):
            if face.normal is None or (station.faces and face.name not in station.faces):
                continue
            way = into_view @ np.asarray(face.normal, dtype=np.float64)
            zero = None
            if face.zero is not None:
                point = place + into_view @ np.array([one.value for one in face.zero])
                zero = float(point[0]), float(point[2])
            if seat.side == TOP:
                words = WAYS_ON_TOP if self.has_tilt else WAYS
            else:
                words = WAYS if self.has_tilt else WAYS_LYING
            faces.append(SeenFace(face.name or str(number), _way(way, words), zero))
        return SeenStation(seat, (float(place[0]), float(place[2])), tuple(faces))

    def _part_at(self, seat: Seat) -> Part | None:
        return next((one for one in self.cell.parts if (one.name or "") == seat.part), None)

    def _to_the_front(self, axes: Floats) -> float | None:
        """Return the least programmed turn that brings a side round to who loads; else None."""
        if abs(axes[2, 2]) < 0.5:  # on top there is nothing to turn to
            return None
        try:
            rotary = self.turning_only.axes[-1]
        except Lacking:
            return None
        about = np.asarray(rotary.line.direction)
        looks = self.platter_axes @ -axes[1]
        front = np.array([0.0, -1.0, 0.0] if self.has_tilt else [0.0, 0.0, 1.0])
        sine, cosine = float(about @ np.cross(looks, front)), float(looks @ front)
        turn = rotary.sense * math.atan2(sine, cosine)
        turn = math.pi - (math.pi - turn) % (2.0 * math.pi)
        span = self.cell.unit.rotary_range
        if span is not None:
            low, high = span[0].value - 1e-9, span[1].value + 1e-9
            reached = [
                t for t in (turn, turn - 2 * math.pi, turn + 2 * math.pi) if low <= t <= high
            ]
            return min(reached, key=abs) if reached else None
        return turn

    # --- what stands on the platter ------------------------------------------------------------

    def _load_bodies(self) -> tuple[Body, ...]:
        """Return fixture, stock and parts in the platter frame; what is entered by halves is not.

        Only what is measured on the platter counts: its place there needs no axis line.
        """
        from gudgeon.clearance.scene import Carrier, Role

        clocked = Frame(np.zeros(3), self._clocked())
        if not fixture_entered(self.cell):
            return self._outline(clocked)
        frames = {"platter face": T, "fixture": clocked}
        cell = _on_platter(self.cell)
        found = [
            *solid_bodies(cell, frames, self.gather(), 0.0, self.has_tilt),
            *model_bodies(cell, frames, self.gather(), 0.0, self.has_tilt),
        ]
        return tuple(
            body
            for body in found
            if body.carrier is Carrier.ROTARY and body.role in (Role.FIXTURE, Role.STOCK, Role.PART)
        )

    def _outline(self, clocked: Frame) -> tuple[Body, ...]:
        """Return the fixture as its outline, parts included, and the windows of the parts."""
        from gudgeon.clearance.scene import Body, Carrier, Role

        fixture = self.cell.fixture
        if fixture.height is None:
            return ()
        bottom = least(fixture.bottom) if fixture.bottom else 0.0
        top = most(fixture.height)
        if fixture.half_width is not None and fixture.shape != "cylinder":
            half = most(fixture.half_width)
            plan = [(-half, -half), (half, -half), (half, half), (-half, half)]
            solid = prism(clocked, plan, bottom, top)
        elif fixture.radius is not None:
            radius = most(fixture.radius)
            solid = round_bar(T, [0.0, 0.0, bottom], [0.0, 0.0, top], radius, radius)
        else:
            return ()
        name = fixture.name or "fixture with parts"
        found = [Body(name, Carrier.ROTARY, Role.FIXTURE, (solid,))]
        for window in fixture.windows:
            if window.x and window.y and window.z:
                box = block(clocked, grown(window.x), grown(window.y), grown(window.z))
                where = window.station or ""
                part = f"part at {where}".removesuffix(" at ")
                found.append(Body(part, Carrier.ROTARY, Role.STOCK, (box,), True, where))
        return tuple(found)


def _on_platter(cell: Cell) -> Cell:
    """Return the cell with those solids and models only that are measured on the platter."""

    def kept(one: Solid | Model) -> bool:
        measured = one.measured_from in ("platter face", "fixture", "part")
        return measured and carried_by(one) == "platter"

    numbers = [number for number, model in enumerate(cell.models) if kept(model)]
    return replace(
        cell,
        solids=tuple(one for one in cell.solids if kept(one)),
        models=tuple(cell.models[number] for number in numbers),
        meshes=tuple(
            replace(mesh, number=numbers.index(mesh.number))
            for mesh in cell.meshes
            if mesh.number in numbers
        ),
    )


def _seen_axes(side: str) -> Floats:
    """Return right, into the paper and up of a side as rows, platter frame, shape (3, 3)."""
    if side == TOP:
        return np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])
    outward = np.zeros(3)
    outward["XY".index(side[0])] = 1.0 if side[1] == "+" else -1.0
    up = np.array([0.0, 0.0, 1.0])
    return np.array([np.cross(-outward, up), -outward, up]) + 0.0


def _way(direction: Floats, words: tuple[tuple[str, str], ...]) -> str:
    """Return where a direction points, as one looks at the side: right, into the paper, up."""
    unit = direction / np.linalg.norm(direction)
    k = int(np.argmax(np.abs(unit)))
    if abs(unit[k]) < SQUARE_ON:
        return SLANTED
    return words[k][0] if unit[k] > 0.0 else words[k][1]
