"""The job as the accuracy engine wants it: lines, visits, cuts and sizes of the causes."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.accuracy.job import Cut, Factor, Sizes, Visit
from gudgeon.accuracy.place import Lines
from gudgeon.cell.model import Cell, Feature, Part
from gudgeon.centre.fit import LineFit
from gudgeon.centre.lines import LineFrame, level_direction, upright_direction
from gudgeon.findings.faces import FaceWanted, about_z
from gudgeon.findings.lines import AxisLinesFinding
from gudgeon.findings.reading_ground import usual_u
from gudgeon.quantity.amount import Amount
from gudgeon.quantity.kinds import Kind
from gudgeon.quantity.show import Units

__all__ = [
    "Stay",
    "cuts_of",
    "factors_of",
    "home_and_lever",
    "lines_function",
    "place_of",
    "sizes_of",
    "visits_of",
]

Floats = NDArray[np.float64]
Numbers = NDArray[Any]

ARC_SECOND: Final = math.pi / 648000.0
INDEX_U: Final = 5.0 * ARC_SECOND
LOST_MOTION: Final = 10.0 * ARC_SECOND
LINEAR_U_MM: Final = 0.002
SQUARE_U: Final = 2.0e-5
SCALE_U: Final = 1.0e-5
CLAMPING_U_MM: Final = 0.01
CLAMPING_BASE_MM: Final = 50.0
STATION_U_MM: Final = 0.01
PROBING_U_MM: Final = 0.003
LENGTH_U_MM: Final = 0.005
DIAMETER_U_MM: Final = 0.01
GROWTH_MM: Final = 0.005
SPAN_K: Final = 2.0
PART_APART_K: Final = 2.0
PER_K: Final = 11.5
"""Sizes taken where the file states none; common practice, no source."""

REFERENCE_C: Final = 20.0
"""Temperature at which dimensions count (ISO 1)."""

LEVER_MM: Final = 200.0
"""Height of the axis lines over the table where the file does not tell it."""


@dataclass(frozen=True, slots=True)
class Stay:
    """A face at a station in its pose.

    Attributes
    ----------
    wanted : FaceWanted
    angles_rad : tuple of float
        Programmed, in the chain's order.
    """

    wanted: FaceWanted
    angles_rad: tuple[float, ...]


def lines_function(frame: LineFrame, platter_axes: Floats) -> Callable[[Numbers], Lines]:
    """Return the axis lines as a function of their parameters, for many values at once.

    The same as `LineFrame.chain` and `LineFrame.platter_origin`; the platter's axes are the
    nominal ones laid onto the rotary line.
    """
    basis, origin = frame.basis, np.asarray(frame.origin_mm)
    two = len(frame.axes) == 2
    up = platter_axes[:, 2]
    side = 1.0
    nominal = basis[:, 2] if two else basis[:, 0]
    if float(nominal @ up) < 0.0:
        side = -1.0

    def to_table(local: Numbers) -> Numbers:
        return np.asarray(local @ basis.T + origin)

    def lines_of(values: Numbers) -> Lines:
        v = np.asarray(values)
        nought = 0.0 * v[..., 0]
        level = np.moveaxis(level_direction(v[..., 2], v[..., 3]), 0, -1)
        first = np.stack([nought, v[..., 0], v[..., 1]], axis=-1)
        points, directions = [to_table(first)], [level @ basis.T]
        local, last, face = first, level, v[..., -1]
        if two:
            last = np.moveaxis(upright_direction(v[..., 6], v[..., 7]), 0, -1)
            local = np.stack([v[..., 4], v[..., 5], nought], axis=-1)
            points.append(to_table(local))
            directions.append(last @ basis.T)
        z = side * (last @ basis.T)
        x = platter_axes[:, 0] - z * np.sum(z * platter_axes[:, 0], axis=-1)[..., None]
        x = x / np.sqrt(np.sum(x * x, axis=-1))[..., None]
        y = np.cross(z, x)
        return Lines(
            np.stack(points, axis=-2),
            np.stack(directions, axis=-2),
            to_table(local + face[..., None] * last),
            np.stack([x, y, z], axis=-1),
        )

    return lines_of


def factors_of(lines: AxisLinesFinding, fit: LineFit | None) -> tuple[Factor, ...]:
    """Return how the lines may be off: as touched, and in what no touch shows."""
    variances, axes = np.linalg.eigh(lines.covariance)
    columns = axes * np.sqrt(np.clip(variances, 0.0, None))
    found = [Factor("lines", columns, lines.dof)]
    count = len(lines.values)
    if lines.measured and fit is not None:
        open_ones = [
            fit.shift_if(item.name)[:count] * usual_u(item.name)
            for item in fit.held
            if item.reason != "entry"
            and item.name in fit.parameters
            and not item.name.endswith("_radius")
            and not item.name.startswith(("ball", "zero"))
        ]
    else:
        open_ones = []
        for i, name in enumerate(lines.parameters):
            if lines.covariance[i, i] == 0.0 and name.endswith(("pitch", "yaw", "roll")):
                column = np.zeros(count)
                column[i] = usual_u(name)
                open_ones.append(column)
    if open_ones:
        found.append(Factor("open angles", np.column_stack(open_ones)))
    return tuple(found)


def visits_of(stays: list[Stay], senses: tuple[int, ...]) -> tuple[Visit, ...]:
    """Return the visits in the order of the faces; an axis that stays keeps its positioning."""
    found: list[Visit] = []
    numbers = [0] * len(senses)
    before: tuple[float, ...] | None = None
    for stay in stays:
        if before is not None:
            for axis, (old, new) in enumerate(zip(before, stay.angles_rad, strict=True)):
                numbers[axis] += abs(old - new) > 1e-9
        before = stay.angles_rad
        turns = tuple(s * a for s, a in zip(senses, stay.angles_rad, strict=True))
        zero = np.array([amount.value for amount in stay.wanted.zero])
        found.append(Visit(turns, tuple(numbers), zero))
    return tuple(found)


def cuts_of(
    cell: Cell, part: Part, stays: list[Stay], ups: list[Floats], clamping: str
) -> tuple[Cut, ...]:
    """Return the features of a part as they are cut; without features its faces are planes.

    Parameters
    ----------
    stays : list of Stay
        Faces that are cut at the station.
    ups : list of ndarray, shape (3,)
        Direction of the part that looks to the spindle in each.
    """
    place = {stay.wanted.face: i for i, stay in enumerate(stays)}
    features = part.features or tuple(
        Feature(name=stay.wanted.face, face=stay.wanted.face) for stay in stays
    )
    found = []
    for number, feature in enumerate(features, start=1):
        visit = place.get(feature.face or "")
        if visit is None:
            continue
        stay = stays[visit]
        kind = feature.kind or "plane"
        normal = ups[visit]
        if kind != "hole" and feature.normal is not None:
            normal = np.asarray(feature.normal, dtype=np.float64)
        at = stay.wanted.zero if feature.at is None else feature.at
        found.append(
            Cut(
                feature.name or f"feature {number}",
                kind,
                np.array([amount.value for amount in at]),
                normal / float(np.linalg.norm(normal)),
                visit,
                _tool(cell, part, feature, stay.wanted.face),
                feature.clamping or clamping,
            )
        )
    return tuple(found)


def _tool(cell: Cell, part: Part, feature: Feature, face: str) -> str:
    """Return which tool cuts a feature: as entered, else that of an operation, else all one."""
    if feature.tool is not None:
        return f"tool {feature.tool}"
    for cut in cell.operations:
        if cut.face == face and cut.part in (None, part.name) and cut.tool is not None:
            return f"tool {cut.tool}"
    return "one tool"


class _Said:
    """Takes an entry, or a usual size and says so."""

    def __init__(self, units: Units) -> None:
        self.units = units
        self.usual: list[str] = []

    def size(
        self, given: Amount | None, usual: float, what: str, kind: Kind = Kind.LENGTH
    ) -> float:
        if given is not None:
            return given.value
        if kind is Kind.ANGLE:
            shown = f"{usual / ARC_SECOND:.0f} arcsec"
        elif kind is Kind.LENGTH:
            shown = self.units.text(kind, usual, 5 if self.units.inch else 3)
        else:
            shown = f"{usual:g}"
        self.usual.append(f"{what} {shown}")
        return usual


def sizes_of(cell: Cell, axes: int, units: Units) -> tuple[Sizes, tuple[str, ...]]:
    """Return the sizes of all causes, and which of them were taken as usual."""
    given, readings = cell.accuracy, cell.readings
    said = _Said(units)
    size = said.size
    index = (
        size(readings.tilt_index_u, INDEX_U, "index error of the tilt (k = 1)", Kind.ANGLE),
        size(readings.rotary_index_u, INDEX_U, "index error of the platter (k = 1)", Kind.ANGLE),
    )
    lost = (0.0, 0.0)
    if given.approach != "one side":
        lost = (
            size(given.tilt_lost_motion, LOST_MOTION, "lost motion of the tilt", Kind.ANGLE),
            size(given.rotary_lost_motion, LOST_MOTION, "lost motion of the platter", Kind.ANGLE),
        )
    if axes == 1:
        index, lost = index[1:], lost[1:]  # type: ignore[assignment]
        said.usual = [text for text in said.usual if "of the tilt" not in text]
    probed = given.zeros == "probed in each pose"
    probing = readings.reading_u.value if readings.reading_u is not None else PROBING_U_MM
    if given.probing_u is not None:
        probing = given.probing_u.value
    elif probed and readings.reading_u is None:
        size(None, PROBING_U_MM, "probing of a zero (k = 1)")
    scale = readings.mill_scale_u.value if readings.mill_scale_u is not None else SCALE_U
    square = readings.mill_square_u.value if readings.mill_square_u is not None else SQUARE_U
    at_readings = REFERENCE_C if readings.temperature is None else readings.temperature.value
    low, high = at_readings - SPAN_K, at_readings + SPAN_K
    if given.temperature is not None:
        low, high = (end.value for end in given.temperature)
    else:
        said.usual.append(f"machine {SPAN_K:g} degC either side of {at_readings:g} degC")
    sizes = Sizes(
        index_u=index,
        lost_half=tuple(0.5 * one for one in lost),
        linear_u=size(given.linear_repeat, LINEAR_U_MM, "repeatability of X, Y, Z (k = 1)"),
        square_u=square,
        scale_u=scale,
        clamping_u=size(given.clamping, CLAMPING_U_MM, "seat of the part (k = 1)"),
        clamping_base=size(given.clamping_base, CLAMPING_BASE_MM, "distance of its seats"),
        place_u=size(given.station_u, STATION_U_MM, "place of a station (k = 1)"),
        probing_u=probing,
        probed=probed,
        length_u=size(given.tool_length_u, LENGTH_U_MM, "tool length (k = 1)"),
        diameter_u=size(given.tool_diameter_u, DIAMETER_U_MM, "cutter diameter (k = 1)"),
        growth_half=size(given.spindle_growth, GROWTH_MM, "spindle growth between poses"),
        machine_half=max(abs(high - at_readings), abs(low - at_readings)),
        part_half=size(
            given.part_apart,
            PART_APART_K,
            "degC between part and machine",
            Kind.NUMBER,
        ),
        warmer=0.5 * (low + high) - REFERENCE_C,
        machine_per_k=1e-6
        * size(given.machine_growth, PER_K, "machine grows by um/m and degC", Kind.NUMBER),
        part_per_k=1e-6
        * size(given.part_growth, PER_K, "part grows by um/m and degC", Kind.NUMBER),
    )
    if readings.mill_scale_u is None:
        said.usual.append(f"scales of the mill (k = 1) {SCALE_U * 100:g} %")
    if readings.mill_square_u is None:
        said.usual.append(f"squareness of the mill (k = 1) {SQUARE_U / ARC_SECOND:.0f} arcsec")
    return sizes, tuple(said.usual)


def home_and_lever(cell: Cell, lines: Lines) -> tuple[Floats, Floats]:
    """Return where the lines were touched, and how far they move for a relative expansion of 1.

    Z: height of the first line over the table top; X and Y: from the middle of the travel.
    """
    home = np.asarray(lines.origin, dtype=np.float64)
    machine, lever = cell.machine, np.zeros(3)
    for i, travel in enumerate((machine.travel_x, machine.travel_y)):
        if travel is not None:
            lever[i] = home[i] - 0.5 * (travel[0].value + travel[1].value)
    height = cell.unit.tilt_axis_height
    lever[2] = LEVER_MM if height is None else height.value
    if machine.gauge_to_table is not None:
        lever[2] = float(lines.points[0, 2]) + machine.gauge_to_table.value
    return home, lever


def place_of(wanted: FaceWanted, clocking: float) -> tuple[Floats, Floats]:
    """Return part origin and part frame in the platter frame."""
    fixture = about_z(clocking)
    at = fixture @ np.array([amount.value for amount in wanted.at])
    return at, fixture @ about_z(wanted.turn.value)
