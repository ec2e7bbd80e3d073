"""What an indicator will show on the platter while the unit is squared up, run by run.

Every figure comes from the axis lines through the exact chain: the platter face counts as square to
the rotary line, so what a face adds that is not is left for the run round the platter to show.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.centre.lines import LineFrame
from gudgeon.findings.commissioning_found import Dial, DialCheck, Squaring, Stop
from gudgeon.findings.commissioning_limits import AngleLimit, angle_limits
from gudgeon.findings.commissioning_places import EDGE_MM, clear_chord, clear_radius
from gudgeon.findings.gather import Lacking
from gudgeon.findings.gear import INDICATOR_U_MM, platter_radius
from gudgeon.findings.lines import AxisLinesFinding
from gudgeon.findings.procedure import side_name
from gudgeon.kinematics.dial import dial_reading
from gudgeon.kinematics.naming import side_direction
from gudgeon.quantity.spread import jacobian

if TYPE_CHECKING:
    from gudgeon.cell.model import Cell
    from gudgeon.findings import Findings

__all__ = ["dial_u_mm", "squaring"]

Floats = NDArray[np.float64]

UPRIGHT: Final = math.pi / 2.0
LEAST_TILT: Final = math.radians(30.0)
"""Tilted by less the face hardly shows which way the tilt line runs."""

RISE_TILT: Final = math.radians(60.0)
"""Tilted by less both ways the runs hardly show whether the tilt line is level."""

LEAST_CHORD: Final = 0.2
"""A run shorter than this share of the platter's radius tells nothing."""

ANGLE_STEP: Final = 1e-6
SLOPE_LEAST: Final = 1e-6
"""A figure that an angle moves by less does not hang on it [mm/rad]."""


def squaring(findings: Findings) -> Squaring:
    """Return every run over the platter with what it must show.

    Raises
    ------
    Lacking
        If a sense, or the direction of the unit on the table, is not known.
    """
    lines: AxisLinesFinding | None = None
    try:
        lines = findings.axis_lines
    except Lacking:
        frame = findings.line_study.frame
        values = np.zeros(len(frame.parameters))
    else:
        frame, values = lines.frame, lines.values
    limits = angle_limits(findings)
    work = _Work(findings, frame, values, lines, limits)
    radius = clear_radius(findings.cell)
    chord = clear_chord(findings.cell)
    rim = platter_radius(findings.cell) - EDGE_MM
    over_holes = chord[1] < LEAST_CHORD * rim
    if over_holes:
        chord = 0.6 * rim, 1.2 * rim
    stops, level = work.level(radius)
    checks = work.lean(level, radius)
    one_way = False
    if findings.has_tilt:
        low, high = findings.turn_limits[0][0], findings.turn_limits[1][0]
        reached = [float(np.clip(tilt, low, high)) for tilt in (UPRIGHT, -UPRIGHT)]
        both = min(abs(tilt) for tilt in reached)
        one_way = both < LEAST_TILT
        tilts = [max(reached, key=abs)] if one_way else [both, -both]
        if abs(tilts[0]) >= LEAST_TILT:
            checks += work.along(tilts, chord)
        checks += work.upright(reached, chord)
    face = min((limits[name] for name in ("face_x", "face_y")), key=lambda one: one.rad)
    return Squaring(
        radius_mm=radius,
        chord_mm=chord,
        over_holes=over_holes,
        round_limit=face,
        round_limit_mm=2.0 * radius * face.rad,
        stops=stops,
        level=level,
        checks=tuple(checks),
        one_way=one_way,
        measured=lines is not None and lines.measured,
        diameter_assumed=findings.cell.unit.platter_diameter is None,
        limits=limits,
        placed=lines is not None,
        frame=frame,
        values=values,
    )


class _Work:
    """The runs of one cell."""

    def __init__(
        self,
        findings: Findings,
        frame: LineFrame,
        values: Floats,
        lines: AxisLinesFinding | None,
        limits: dict[str, AngleLimit],
    ) -> None:
        self.findings, self.frame, self.values = findings, frame, values
        self.limits = limits
        self.lines = lines if lines is not None and lines.measured else None
        self.two = len(frame.axes) == 2
        self._faces: dict[tuple[bytes, float, float], tuple[Floats, Floats]] = {}
        # Level and square to each other on the face: along the tilt line, and across it.
        axes = findings.unit_axes if self.two else findings.platter_axes
        self.along_axis, self.across_axis = (
            np.round(axes[:, k], 12) * _positive(axes[:, k]) for k in (0, 1)
        )

    def pose(self, tilt: float, turn: float) -> Floats:
        return np.array([tilt, turn] if self.two else [turn])

    def face(self, values: Floats, tilt: float, turn: float) -> tuple[Floats, Floats]:
        """Return middle and outward normal of the platter face in a pose, T."""
        # Slopes of every run step through the same values: each face is worked out once.
        key = (values.tobytes(), tilt, turn)
        if key not in self._faces:
            chain = self.frame.chain(values)
            out = np.asarray(chain.axes[-1].line.direction)
            if not self.two:
                out = out * self.frame.face_side
            angles = self.pose(tilt, turn)
            self._faces[key] = (
                chain.points(angles, self.frame.platter_origin(values)),
                chain.directions(angles, out),
            )
        return self._faces[key]

    def stop(self, name: str, tilt: float, turn: float, on_face: Floats) -> Stop:
        """Return a stop over a point of the nominal face, given from its middle at zero pose."""
        nominal = np.zeros_like(self.values)
        chain = self.frame.chain(nominal)
        at = chain.directions(self.pose(tilt, turn), on_face)
        _, out = self.face(nominal, tilt, turn)
        x, y, z = (float(value) + 0.0 for value in np.round(at, 9))
        return Stop(name, tilt, turn, _against(out), (x, y, z))

    def shows(self, values: Floats, start: Stop, end: Stop) -> float:
        """Return what the dial shows at the end of a run for some lines [mm]."""
        found = []
        for stop in (start, end):
            middle, out = self.face(values, stop.tilt_rad, stop.turn_rad)
            believed = self.face(self.values, stop.tilt_rad, stop.turn_rad)[0]
            at = believed + np.asarray(stop.at_mm)
            # The face turned about its own normal: only the pose counts, not its middle.
            found.append(float(dial_reading(at, side_direction(stop.toward), middle, out)))
        return found[1] - found[0]

    def dial(self, start: Stop, end: Stop) -> Dial:
        value, spread = self.told(lambda v: self.shows(v, start, end), 2.0)
        return Dial(start, end, value, spread)

    def told(
        self, work: Callable[[Floats], float], readings: float
    ) -> tuple[float | None, float | None]:
        """Return a figure by the lines as touched and its U; ``None`` where they do not tell.

        Each of so many readings of the dial adds its own uncertainty.
        """
        if self.lines is None:
            return None, None
        slopes = self.slopes(work)
        variances = np.diag(self.lines.covariance)
        angles = [k for k, name in enumerate(self.frame.parameters) if _is_angle(name)]
        if any(abs(slopes[k]) > SLOPE_LEAST and variances[k] == 0.0 for k in angles):
            return None, None
        variance = max(float(slopes @ self.lines.covariance @ slopes), 0.0)
        u = math.sqrt(variance + readings * dial_u_mm(self.findings.cell) ** 2)
        return work(self.values) + 0.0, self.lines.k95 * u

    def slopes(self, work: Callable[[Floats], float]) -> Floats:
        steps = np.full(len(self.values), ANGLE_STEP)
        slopes: Floats = jacobian(lambda v: np.array([work(v)]), self.values, steps)[0]
        return slopes

    def check(
        self,
        name: str,
        runs: Sequence[Dial],
        weights: Sequence[float],
        parameter: str,
        limit: AngleLimit,
    ) -> DialCheck:
        def figure(values: Floats) -> float:
            return sum(
                w * self.shows(values, run.start, run.end)
                for w, run in zip(weights, runs, strict=True)
            )

        value, spread = self.told(figure, sum(2.0 * w**2 for w in weights))
        slope = float(self.slopes(figure)[self.frame.parameters.index(parameter)])
        return DialCheck(
            name,
            tuple(runs),
            tuple(weights),
            value,
            spread,
            limit,
            abs(slope) * limit.rad,
            slope,
            sum(w * self.by_tilt(run) for w, run in zip(weights, runs, strict=True)),
        )

    def by_tilt(self, run: Dial) -> float:
        """Return by how much a run grows with the programmed tilt, the dial standing still."""
        if not self.two:
            return 0.0

        def shown(stop: Stop, by: float) -> float:
            middle, _ = self.face(self.values, stop.tilt_rad, stop.turn_rad)
            moved, out = self.face(self.values, stop.tilt_rad + by, stop.turn_rad)
            at = middle + np.asarray(stop.at_mm)
            return float(dial_reading(at, side_direction(stop.toward), moved, out))

        def over(by: float) -> float:
            return shown(run.end, by) - shown(run.start, by)

        return (over(ANGLE_STEP) - over(-ANGLE_STEP)) / (2.0 * ANGLE_STEP)

    def level(self, radius: float) -> tuple[tuple[Stop, ...], tuple[Dial, ...]]:
        ways = (self.along_axis, self.across_axis, -self.along_axis, -self.across_axis)
        stops = tuple(
            replace(self.stop(side_name(way), 0.0, 0.0, radius * way), turn_rad=self._brings(way))
            for way in ways
        )
        return stops, tuple(self.dial(stops[0], stop) for stop in stops[1:])

    def _brings(self, way: Floats) -> float:
        """Return the turn that brings the mark of the first place to another, from 0 up [rad]."""
        nominal = np.zeros_like(self.values)
        _, out = self.face(nominal, 0.0, 0.0)
        axis = self.frame.axes[-1]
        line = np.asarray(self.frame.chain(nominal).axes[-1].line.direction)
        first = self.along_axis
        angle = math.atan2(float(np.cross(first, way) @ out), float(first @ way))
        turn = angle * axis.sense * float(np.sign(line @ out))
        turn = turn % (2.0 * math.pi) if abs(turn) > 1e-9 else 0.0
        return turn if turn <= axis.high_rad + 1e-9 else turn - 2.0 * math.pi

    def lean(self, level: Sequence[Dial], radius: float) -> list[DialCheck]:
        first = level[0].start
        # Minus to plus along each direction, so that a plus figure is a plus side that reads more.
        along = self.dial(level[1].end, first)
        across = self.dial(level[2].end, level[0].end)
        names = ("rotary_pitch", "rotary_roll") if self.two else ("rotary_yaw", "rotary_pitch")
        return [
            self.check("lean_along", [along], [1.0], names[0], self.limits[names[0]]),
            self.check("lean_across", [across], [1.0], names[1], self.limits[names[1]]),
        ]

    def along(self, tilts: Sequence[float], chord: tuple[float, float]) -> list[DialCheck]:
        """Return the runs along the tilt line: level, and upright on either side."""
        flat = self._run_along(0.0, chord)
        runs = [self._run_along(tilt, chord) for tilt in tilts]
        if len(runs) == 2:
            tram = self.check("tram", runs, (0.5, -0.5), "tilt_yaw", self.limits["tilt_yaw"])
            if abs(tilts[0]) < RISE_TILT:
                return [tram]
            rise = self.check(
                "rise", (*runs, flat), (0.5, 0.5, -1.0), "tilt_pitch", self.limits["tilt_pitch"]
            )
            return [tram, rise]
        limit = min(
            (self.limits[name] for name in ("tilt_yaw", "tilt_pitch")), key=lambda one: one.rad
        )
        return [self.check("tram", (run, flat), (1.0, -1.0), "tilt_yaw", limit) for run in runs]

    def upright(self, tilts: Sequence[float], chord: tuple[float, float]) -> list[DialCheck]:
        """Return the runs up the upright face; only where it stands upright."""
        aside, length = chord
        found = []
        for tilt in tilts:
            if abs(abs(tilt) - UPRIGHT) > 1e-6:
                continue
            up = self._up(tilt)
            places = (aside * self.along_axis, aside * self.along_axis + 0.5 * length * up)
            run = self.dial(
                *(
                    self.stop(name, tilt, 0.0, place)
                    for name, place in zip(("at tilt height", "top"), places, strict=True)
                )
            )
            name = "upright +" if tilt > 0.0 else "upright -"
            found.append(self.check(name, [run], [1.0], "rotary_roll", self.limits["tilt"]))
        return found

    def _up(self, tilt: float) -> Floats:
        """Return the direction on the face, at zero pose, that ends up highest at a tilt."""
        nominal = self.frame.chain(np.zeros_like(self.values))
        rises = nominal.directions(self.pose(tilt, 0.0), self.across_axis)[2]
        return self.across_axis if rises >= -1e-9 else -self.across_axis

    def _run_along(self, tilt: float, chord: tuple[float, float]) -> Dial:
        aside, length = chord
        beside = aside * self._up(tilt)
        ends = [
            self.stop(side_name(way), tilt, 0.0, beside + 0.5 * length * way)
            for way in (-self.along_axis, self.along_axis)
        ]
        return self.dial(ends[0], ends[1])


def dial_u_mm(cell: Cell) -> float:
    """Return the standard uncertainty of one reading of the dial [mm]."""
    given = cell.readings.reading_u
    return INDICATOR_U_MM if given is None else min(given.value, INDICATOR_U_MM)


def _is_angle(name: str) -> bool:
    return name.endswith(("pitch", "yaw", "roll"))


def _positive(direction: Floats) -> float:
    return float(np.sign(direction[int(np.argmax(np.abs(direction)))]))


def _against(out: Floats) -> str:
    """Return the machine direction nearest to straight into a face."""
    return side_name(-np.round(out, 9))
