"""What a shift of the unit, or of a part of it, does to the faces and dimensions of the parts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.cell.model import DrawingDimension, Part, PartFace
from gudgeon.findings.drifting import DriftFindings
from gudgeon.findings.faces import about_z, faces_wanted
from gudgeon.quantity.amount import Amount

__all__ = ["MEASURE_FROM", "DimensionShift", "DriftedPartFindings", "FaceShift"]

Floats = NDArray[np.float64]

MEASURE_FROM: Final = 0.1
"""Share of the tolerance from which a shift is worth measuring (rule of one tenth)."""


@dataclass(frozen=True, slots=True)
class FaceShift:
    """How far a face is cut off its place.

    Attributes
    ----------
    station, face : str
    by_mm : tuple of 3 floats
        Of the cut in the part, part frame [mm].
    depth_mm : float or None
        Along the face's outward normal: positive leaves material; ``None`` without a normal.
    """

    station: str
    face: str
    by_mm: tuple[float, float, float]
    depth_mm: float | None


@dataclass(frozen=True, slots=True)
class DimensionShift:
    """How far a dimension of the drawing comes out off at one station.

    Attributes
    ----------
    name, station : str
    by_mm : float
        Of a distance; of a position, how far its middle lies off.
    share : float or None
        Of the tolerance to the side it goes; above 1 the shift alone puts it out.  ``None``
        without a tolerance.
    """

    name: str
    station: str
    by_mm: float
    share: float | None


class DriftedPartFindings(DriftFindings):
    """Facts about what a shift does to the parts."""

    def face_shifts(self, cause: str, values: Floats) -> tuple[FaceShift, ...]:
        """Return how far off each face is cut if `cause` has moved by `values`.

        A point of the work that stands d further in machine axes than the offsets say is cut at
        -R^T d in the work, R turning the work into the pose.

        Raises
        ------
        Lacking
            What the offsets lack.
        """
        zeros = [one for one in self.offsets.zeros if one.angles_rad is not None]
        wanted = {
            (one.station, one.face): one
            for one in faces_wanted(self.cell, self.has_tilt, self.gather())
        }
        found = []
        clocking = (self.cell.fixture.clocking or Amount(0.0)).value
        for zero in zeros:
            assert zero.angles_rad is not None and zero.point_mm is not None
            pose = np.array(zero.angles_rad)
            both = pose if len(pose) == 2 else np.array([0.0, pose[0]])
            place = np.asarray(zero.point_mm)[None, :]
            effect = dict(self.motions(both[None, :], place))[cause][0]
            shift = effect @ values
            turned = self.turning_only.directions(pose, self.platter_axes.T).T
            one = wanted[zero.station, zero.face]
            into = turned @ about_z(clocking + one.turn.value)
            by = -into.T @ shift
            depth = None
            if one.normal is not None:
                depth = float(by @ one.normal / np.linalg.norm(one.normal))
            x, y, z = by.tolist()
            found.append(FaceShift(zero.station, zero.face, (x, y, z), depth))
        return tuple(found)

    def dimension_shifts(self, shifts: tuple[FaceShift, ...]) -> tuple[DimensionShift, ...]:
        """Return what the shifts of the faces do to each distance and position of the drawing.

        Only features that are cut in the pose of a named face count; a shift turns nothing, so that
        squareness, parallelism and angles stay.
        """
        by_face = {(one.station, one.face): np.array(one.by_mm) for one in shifts}
        stations = tuple(dict.fromkeys(one.station for one in shifts))
        found = []
        for number, entry in enumerate(self.cell.dimensions, start=1):
            part = self._part_with(entry)
            if part is None or entry.kind not in (None, "distance", "position"):
                continue
            for station in entry.stations or stations:
                cut = self._feature_shift(part, entry.feature, station, by_face)
                other, across, linked = np.zeros(3), None, False
                if entry.measured_from not in (None, "datum"):
                    measured = self._feature_shift(part, entry.measured_from, station, by_face)
                    if measured is None:
                        continue
                    other, across, linked = *measured, True
                if cut is None:
                    continue
                off, way = cut[0] - other, cut[1]
                apart = self._from_other_to_cut(part, entry)
                if entry.along is not None:
                    way = np.asarray(entry.along, dtype=np.float64)
                elif entry.kind != "position" and _is_hole(part, entry.feature) and linked:
                    # A hole is placed across its axis: square to the surface it is measured from.
                    way = across
                    if _is_hole(part, entry.measured_from) and apart is not None:
                        axis = np.zeros(3) if cut[1] is None else cut[1] / np.linalg.norm(cut[1])
                        way = apart - axis * float(axis @ apart)
                if way is None or not np.any(way):
                    continue
                way = way / np.linalg.norm(way)
                # Positive: the distance grows.
                if apart is not None and entry.kind != "position" and way @ apart < 0.0:
                    way = -way
                along = float(off @ way)
                by = along
                if entry.kind == "position":
                    by = float(np.linalg.norm(off - along * way))
                name = entry.name or str(number)
                found.append(DimensionShift(name, station, by, _share(entry, by)))
        return tuple(found)

    def _from_other_to_cut(self, part: Part, entry: DrawingDimension) -> Floats | None:
        """Return the way from the feature measured from to the one measured, part frame [mm]."""
        places = []
        for name in (entry.measured_from, entry.feature):
            feature = next((one for one in part.features if one.name == name), None)
            face = None if feature is None else _face_of(part, feature.face)
            at = None if feature is None else feature.at or (None if face is None else face.zero)
            if at is None:
                return None
            places.append(np.array([amount.value for amount in at]))
        return np.asarray(places[1] - places[0])

    def _part_with(self, entry: DrawingDimension) -> Part | None:
        parts = [part for part in self.cell.parts if entry.part in (None, part.name)]
        with_it = [p for p in parts if any(f.name == entry.feature for f in p.features)]
        return with_it[0] if with_it else None

    def _feature_shift(
        self,
        part: Part,
        name: str | None,
        station: str,
        by_face: dict[tuple[str, str], Floats],
    ) -> tuple[Floats, Floats | None] | None:
        """Return how far a feature is cut off at a station, and its outward normal."""
        feature = next((one for one in part.features if one.name == name), None)
        if feature is None or (station, feature.face or "") not in by_face:
            return None
        face = _face_of(part, feature.face)
        normal = feature.normal or (face.normal if face is not None else None)
        off = by_face[station, feature.face or ""]
        return off, None if normal is None else np.asarray(normal, dtype=np.float64)


def _face_of(part: Part, name: str | None) -> PartFace | None:
    return next((one for one in part.faces if one.name == name), None)


def _is_hole(part: Part, name: str | None) -> bool:
    return any(one.name == name and one.kind == "hole" for one in part.features)


def _share(entry: DrawingDimension, by: float) -> float | None:
    """Return the share of the tolerance that a shift uses up."""
    if entry.kind == "position":
        return None if entry.tolerance is None else 2.0 * by / entry.tolerance.value
    if entry.limits is not None:
        low, high = entry.limits[0].value, entry.limits[1].value
        side = high if by > 0.0 else -low
        return abs(by) / side if side > 0.0 else (0.0 if by == 0.0 else float("inf"))
    return None if entry.tolerance is None else abs(by) / entry.tolerance.value
