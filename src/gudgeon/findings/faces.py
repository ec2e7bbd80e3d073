"""Which faces at which stations want a zero, and where each stands on the platter."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gudgeon.cell.model import Cell, Part, PartFace, Station
from gudgeon.findings.gather import Gather
from gudgeon.kinematics.chain import AxisLine, turn_about
from gudgeon.quantity.amount import Amount

__all__ = ["FaceWanted", "about_z", "faces_wanted", "in_platter"]

Floats = NDArray[np.float64]

_Z = AxisLine((0.0, 0.0, 0.0), (0.0, 0.0, 1.0))


@dataclass(frozen=True, slots=True)
class FaceWanted:
    """A face at a station, with every entry that its zero needs.

    Attributes
    ----------
    station, part, face : str
        Names, or places in the file where there is no name.
    at : tuple of 3 Amount
        Part origin in the platter frame, clocking zero [mm].
    zero : tuple of 3 Amount
        Zero of the face in the part frame [mm].
    turn : Amount
        Turn of the part about the platter's z [rad].
    normal : ndarray, shape (3,), or None
        Outward direction, part frame.
    pose : tuple of float or None
        Declared angles in the chain's order [rad].
    idle_tilt_rad : float
        Tilt declared on a unit that has none [rad].
    """

    station: str
    part: str
    face: str
    at: tuple[Amount, Amount, Amount]
    zero: tuple[Amount, Amount, Amount]
    turn: Amount
    normal: Floats | None
    pose: tuple[float, ...] | None
    idle_tilt_rad: float


def faces_wanted(cell: Cell, has_tilt: bool, gather: Gather) -> list[FaceWanted]:
    """Return every face at every station; what is missing goes into `gather`, not into the list."""
    gather.need(
        cell.stations,
        "stations",
        "where the parts sit on the platter",
        why="a work offset is counted for a face of a part at its station",
        how="add a [[stations]] table for each place, with at = [x, y, z] from the middle of "
        "the platter face",
    )
    gather.need(
        cell.parts,
        "parts",
        "the part and its faces",
        why="each face that is cut has a zero of its own",
        how="add [[parts]] with [[parts.faces]]: name, zero, and pose or normal",
    )
    found = []
    for number, station in enumerate(cell.stations, start=1):
        name = station.name or str(number)
        at = gather.need(
            station.at,
            f"stations[{number}].at",
            f"place of station {name}",
            why="its zeros are counted from there",
            how="take x, y, z of the part origin from the fixture's drawing, from the rotary "
            "axis and the platter face",
        )
        part = _part_of(cell, gather, number, station, name)
        if part is None:
            continue
        for face in _faces_of(gather, number, station, part):
            one = _want(has_tilt, gather, station, name, at, part, face)
            if one is not None:
                found.append(one)
    return found


def _part_of(cell: Cell, gather: Gather, number: int, station: Station, name: str) -> Part | None:
    parts = cell.parts
    if station.part is None and len(parts) == 1:
        return parts[0]
    known = [part for part in parts if part.name == station.part and station.part is not None]
    if not known and parts:
        gather.need(
            None,
            f"stations[{number}].part",
            f"which part station {name} holds"
            if station.part is None
            else f"the part {station.part!r} of station {name}",
            why="its faces have the zeros",
            how="name one of the parts: " + ", ".join(str(part.name) for part in parts),
        )
    return known[0] if known else None


def _faces_of(gather: Gather, number: int, station: Station, part: Part) -> list[PartFace]:
    gather.need(
        part.faces,
        "parts.faces",
        f"faces of part {part.name or ''}".rstrip(),
        why="each face that is cut has a zero of its own",
        how="add [[parts.faces]]: name, zero, and pose or normal",
    )
    if not station.faces:
        return list(part.faces)
    known = {face.name: face for face in part.faces}
    for name in station.faces:
        gather.need(
            known.get(name),
            f"stations[{number}].faces",
            f"face {name!r} among the faces of the part",
            why="the station asks for it",
            how="name one of: " + ", ".join(str(face.name) for face in part.faces),
        )
    return [known[name] for name in station.faces if name in known]


def _want(
    has_tilt: bool,
    gather: Gather,
    station: Station,
    name: str,
    at: tuple[Amount, Amount, Amount] | None,
    part: Part,
    face: PartFace,
) -> FaceWanted | None:
    number = part.faces.index(face) + 1
    label = face.name or str(number)
    before = len(gather.missing)
    zero = gather.need(
        face.zero,
        f"parts.faces[{number}].zero",
        f"zero of face {label}",
        why="the work offset stands on it",
        how="take the point from the part's drawing, in the part's own frame",
    )
    gather.need(
        face.pose if face.pose is not None else face.normal,
        f"parts.faces[{number}].normal",
        f"direction of face {label}",
        why="the pose follows from it",
        how='write normal = "Y-" (outward, part frame), or pose = ["90 deg", "0 deg"]',
    )
    if len(gather.missing) > before or at is None:
        return None
    pose: tuple[float, ...] | None = None
    idle = 0.0
    if face.pose is not None:
        tilt, rotary = face.pose[0].value, face.pose[1].value
        pose = (tilt, rotary) if has_tilt else (rotary,)
        idle = 0.0 if has_tilt else tilt
    return FaceWanted(
        station=name,
        part=part.name or "",
        face=label,
        at=at,
        zero=zero,
        turn=station.turn or Amount(0.0),
        normal=None if face.normal is None else np.asarray(face.normal, dtype=np.float64),
        pose=pose,
        idle_tilt_rad=idle,
    )


def about_z(angle_rad: float) -> Floats:
    """Return the rotation about z, counter-clockwise seen from above, shape (3, 3)."""
    return np.asarray(turn_about(_Z, angle_rad)[:3, :3])


def in_platter(one: FaceWanted, clocking: Amount) -> tuple[Floats, Floats]:
    """Return a zero in the platter frame and its covariance (k = 1) from the entries."""
    at = np.array([item.value for item in one.at])
    zero = np.array([item.value for item in one.zero])
    part_turn, fixture_turn = about_z(one.turn.value), about_z(clocking.value)
    on_fixture = at + part_turn @ zero
    # A small turn d about z moves a point p by d (z x p).
    seat_lever = np.cross([0.0, 0.0, 1.0], part_turn @ zero)
    fixture_lever = np.cross([0.0, 0.0, 1.0], on_fixture)
    covariance = (
        np.diag([item.u**2 for item in one.at])
        + part_turn @ np.diag([item.u**2 for item in one.zero]) @ part_turn.T
        + one.turn.u**2 * np.outer(seat_lever, seat_lever)
        + clocking.u**2 * np.outer(fixture_lever, fixture_lever)
    )
    return fixture_turn @ on_fixture, fixture_turn @ covariance @ fixture_turn.T
