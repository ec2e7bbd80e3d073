"""What the touches say: by hand, by least squares, and where they contradict the cell."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property, partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.cell.model import Touch
from gudgeon.centre.fit import Held, Known, LineFit, fit_lines, other_senses
from gudgeon.centre.hand import HandLines, find_by_hand
from gudgeon.centre.lines import LineFrame
from gudgeon.centre.readings import GLANCING, Model, Reading
from gudgeon.centre.suspects import Suspect, find_suspects
from gudgeon.findings.senses import SenseFindings
from gudgeon.kinematics.chain import AxisLine, TurningAxis
from gudgeon.quantity.kinds import Kind

__all__ = ["TEMPERATURE_SPAN_C", "Contradiction", "LineStudy", "TouchFindings"]

Floats = NDArray[np.float64]

HAND_FEATURES: Final = ("face", "bore", "pin")

TEMPERATURE_SPAN_C: Final = 1.0
"""Change of temperature while reading that is told [K]: 0.01 mm over a metre of cast iron.

Common practice, no source.
"""

MILL_SCALE_U: Final = 2e-5
"""Standard uncertainty of the mill's scales where it is asked for but not entered: 0.02 mm a metre.

Common practice, no source.
"""

MILL_SQUARE_U: Final = 1e-4
"""The same of its squareness: 0.01 mm over 100 mm; common practice, no source [rad]."""

CLEAR: Final = 25.0
"""Chi-square by which another sense must do better before it is believed: five sigma."""


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Touches and cell cannot both be right.

    Attributes
    ----------
    kind : str
        ``"tilt_sense"``, ``"rotary_sense"``, ``"approach"`` or ``"face_sign"``.
    rows : tuple of int
        Rows of the readings that speak against the cell, the strongest first.
    text : str
        What does not fit, as a sentence.
    where : str
        Entry concerned.
    mend : str
        What to do, as an order.
    """

    kind: str
    rows: tuple[int, ...]
    text: str
    where: str
    mend: str


@dataclass(frozen=True, slots=True)
class LineStudy:
    """Everything that was made of the touches.

    Attributes
    ----------
    frame : LineFrame
    readings : tuple of Reading
    hand : HandLines or None
        ``None`` without readings, or for a single axis.
    fit : LineFit or None
        ``None`` without readings.
    contradictions : tuple of Contradiction
        The fatal ones first; ``"face_sign"`` concerns an entry that the lines do not use.
    suspects : tuple of Suspect
        Readings without any one of which all others agree.
    """

    frame: LineFrame
    readings: tuple[Reading, ...]
    hand: HandLines | None
    fit: LineFit | None
    contradictions: tuple[Contradiction, ...]
    suspects: tuple[Suspect, ...] = ()

    @property
    def fatal(self) -> tuple[Contradiction, ...]:
        """Contradictions that leave the lines themselves in doubt."""
        return tuple(item for item in self.contradictions if item.kind != "face_sign")

    @property
    def open_positions(self) -> tuple[Held, ...]:
        """Positions that neither readings nor entries give; a face that nobody touched is one."""
        return () if self.fit is None else self.fit.undetermined

    @property
    def determined(self) -> bool:
        """Whether the fit gives both lines and the face."""
        return self.fit is not None and not self.open_positions

    @property
    def at_odds(self) -> bool:
        """Whether the touches would fix everything, but contradict each other too far for it."""
        fit = self.fit
        if fit is None or not fit.suspicious:
            return False
        return bool(fit.undetermined) and all(item.reason == "weak" for item in fit.undetermined)


class TouchFindings(SenseFindings):
    """Facts from the touches."""

    @cached_property
    def line_study(self) -> LineStudy:
        """The touches, worked out in both ways.

        Raises
        ------
        Lacking
            If a sense, or the direction of the unit on the table, is not known.
        """
        readings = tuple(_reading(touch) for touch in self.cell.touches)
        frame = self._touch_frame(readings)
        if not readings:
            return LineStudy(frame, (), None, None, ())
        known = self._known(frame)
        hand = None
        if len(frame.axes) == 2:
            pin = self.cell.readings.pin_diameter
            radii = {} if pin is None else {"pin": pin.value / 2.0, "bore": pin.value / 2.0}
            # With pencil and paper only what stands by itself can be used.
            plain = tuple(r for r in readings if not r.zero and r.feature in HAND_FEATURES)
            hand = find_by_hand(frame, plain, radii)
        fit = self._fit(frame, readings, known)
        found = [*self._wrong_side(frame, readings), *self._mirrored(frame, readings, fit, known)]
        if not found:
            found = self._face_sign(frame, fit)
        suspects = find_suspects(fit, known, extra=self.asked_of_the_fit, inch=self.units.inch)
        return LineStudy(frame, readings, hand, fit, tuple(found), suspects)

    def _fit(
        self, frame: LineFrame, readings: tuple[Reading, ...], known: dict[str, Known]
    ) -> LineFit:
        return fit_lines(
            frame, readings, known, extra=self.asked_of_the_fit, index_u_rad=self.index_u_rad
        )

    @property
    def index_u_rad(self) -> tuple[float, float]:
        """Standard uncertainty of one positioning of tilt and rotary axis, as entered."""
        given = self.cell.readings
        tilt, rotary = given.tilt_index_u, given.rotary_index_u
        return (tilt.value if tilt else 0.0, rotary.value if rotary else 0.0)

    @property
    def asked_of_the_fit(self) -> dict[str, float]:
        """What the fit shall find beside the lines, with what is known of its size (k = 1)."""
        given = self.cell.readings
        roles = ("tilt", "rotary") if self.has_tilt else ("rotary",)
        parts = {"clocking": ("zero",), "scales": ("scale",), "harmonics": ("sin", "cos")}
        asked: dict[str, float] = {}
        for group in given.include:
            for part in parts.get(group, ()):
                asked.update({f"{role}_{part}": math.inf for role in roles})
        if "mill" in given.include:
            scale = given.mill_scale_u.value if given.mill_scale_u else MILL_SCALE_U
            square = given.mill_square_u.value if given.mill_square_u else MILL_SQUARE_U
            asked.update({f"mill_scale_{axis}": scale for axis in "xyz"})
            asked.update({f"mill_square_{pair}": square for pair in ("xy", "xz", "yz")})
        return asked

    @property
    def readings_span_c(self) -> float:
        """How far the temperature went while reading [K]; 0 where it was not noted."""
        noted = [t.temperature_c for t in self.cell.touches if not math.isnan(t.temperature_c)]
        return max(noted) - min(noted) if noted else 0.0

    @cached_property
    def touch_axes(self) -> tuple[TurningAxis, ...]:
        """Axes with senses and limits, their lines not yet placed."""
        senses, unit = self.senses, self.cell.unit
        axes = []
        for role, sense, limits in (
            ("tilt", senses.tilt, unit.tilt_range),
            ("rotary", senses.rotary, unit.rotary_range),
        ):
            if role == "tilt" and not self.has_tilt:
                continue
            assert sense is not None
            direction = self.axis_directions[role]
            x, y, z = (float(value) for value in direction)
            low = limits[0].value if limits else -math.inf
            high = limits[1].value if limits else math.inf
            axes.append(TurningAxis(role, AxisLine((0.0, 0.0, 0.0), (x, y, z)), sense, low, high))
        return tuple(axes)

    def _touch_frame(self, readings: tuple[Reading, ...]) -> LineFrame:
        """Return a line frame near what was touched, or at the entries."""
        axes = self.touch_axes
        along = axes[0].line.direction
        side = 1.0
        if len(axes) == 1:
            # The face looks along the unit frame's x; the line along its positive machine axis.
            side = float(np.sign(self.unit_axes[:, 0] @ np.asarray(along)))
        placement = self.cell.placement
        readings = tuple(r for r in readings if r.feature != "level")
        places = np.array([r.position_mm for r in readings]).reshape(-1, 3)
        round_ones = np.array([r.feature in ("bore", "pin") for r in readings], dtype=bool)
        level = np.array([abs(math.sin(r.tilt_rad)) < 0.5 for r in readings], dtype=bool)

        def middle(rows: Floats, otherwise: float) -> float:
            good = rows[~np.isnan(rows)]
            return round(float(np.mean(good)), 0) if len(good) else otherwise

        entered = [
            item.value if item is not None else 0.0
            for item in (placement.centre_x, placement.centre_y)
        ]
        x, y = (middle(places[:, k], entered[k]) for k in (0, 1))
        if np.any(round_ones):
            x, y = middle(places[round_ones, 0], x), middle(places[round_ones, 1], y)
        upright = ~round_ones & level if len(axes) == 2 else round_ones
        z = middle(places[upright, 2], middle(places[:, 2], 0.0))
        return LineFrame((x, y, z), along, axes, side)

    def _known(self, frame: LineFrame) -> dict[str, Known]:
        """Return what entries say of the lines, in the order in which they are believed."""
        cell = self.cell
        unit, placement, machine = cell.unit, cell.placement, cell.machine
        known: dict[str, Known] = {}
        two = len(frame.axes) == 2
        pin = cell.readings.pin_diameter
        if pin is not None:
            for feature in ("pin", "bore"):
                weights = {f"{feature}_radius": 1.0}
                known[f"readings.pin_diameter ({feature})"] = Known(
                    weights, pin.value / 2.0, pin.u / 2.0
                )
        basis, origin = frame.basis, np.asarray(frame.origin_mm)
        if two and unit.face_height is not None:
            known["unit.face_height"] = Known(
                {"face": 1.0, "tilt_z": -1.0}, unit.face_height.value, unit.face_height.u
            )
        if two and unit.axis_offset is not None:
            # The entry counts along the unit frame's y, which may be against the line frame's.
            turn = float(np.sign(self.unit_axes[:, 1] @ basis[:, 1]))
            known["unit.axis_offset"] = Known(
                {"rotary_y": 1.0, "tilt_y": -1.0},
                unit.axis_offset.value * turn,
                unit.axis_offset.u,
            )
        gauge, height = machine.gauge_to_table, unit.tilt_axis_height
        if gauge is not None and height is not None:
            riser = placement.riser
            value = height.value - gauge.value + (riser.value if riser else 0.0) - origin[2]
            u = math.sqrt(height.u**2 + gauge.u**2 + (riser.u**2 if riser else 0.0))
            name = "tilt_z" if two else "rotary_z"
            known["unit.tilt_axis_height"] = Known({name: 1.0}, value, u)
        for k, item in enumerate((placement.centre_x, placement.centre_y)):
            if item is None:
                continue
            along, across = float(basis[k, 0]), float(basis[k, 1])
            if two:
                weights = {"rotary_x": along, "rotary_y": across}
            else:
                weights = {"face": along, "rotary_y": across}
            weights = {name: w for name, w in weights.items() if abs(w) > 1e-9}
            key = f"placement.centre_{'xy'[k]}"
            known[key] = Known(weights, item.value - float(origin[k]), item.u)
        return known

    def _wrong_side(self, frame: LineFrame, readings: tuple[Reading, ...]) -> list[Contradiction]:
        """Find touches of the face from a side on which it cannot be."""
        model = Model(frame, readings)
        zero = model.start()
        faces = [i for i, r in enumerate(readings) if r.feature == "face" and r.toward]
        wrong = [i for i in faces if model.outward(zero, i) >= GLANCING]
        if not wrong:
            return []
        tilted = [i for i in faces if abs(math.sin(readings[i].tilt_rad)) > 0.5]
        rows = tuple(readings[i].row for i in wrong)
        first = readings[wrong[0]]
        if len(frame.axes) == 2 and set(wrong) == set(tilted):
            sense = frame.axes[0].sense
            looks = _side_name(-np.asarray(first.toward))
            expected = _side_name(np.asarray(first.toward))
            return [
                Contradiction(
                    "tilt_sense",
                    rows,
                    f"Reading in line {first.row} was taken moving towards "
                    f"{_side_name(np.asarray(first.toward))} at tilt "
                    f"{math.degrees(first.tilt_rad):+.0f}, so the platter face looked to {looks}; "
                    f"with tilt sense {sense:+d} it would look to {expected}.",
                    f"{self.cell.file}: control.tilt_sense",
                    f"Jog the tilt axis a little and watch which way the work turns; if the "
                    f"touches are right, write tilt_sense = {-sense}.",
                )
            ]
        return [
            Contradiction(
                "approach",
                rows,
                f"Reading in line {first.row} moves towards {_side_name(np.asarray(first.toward))}"
                f" at tilt {math.degrees(first.tilt_rad):+.0f}, but the platter face looks that "
                "way: it could only be touched from inside the platter.",
                f"{self.cell.readings.file or 'readings'}: line {first.row}",
                f"Correct the side or the tilt angle in line {first.row}, or take it out and "
                "touch again.",
            )
        ]

    def _mirrored(
        self,
        frame: LineFrame,
        readings: tuple[Reading, ...],
        fit: LineFit,
        known: dict[str, Known],
    ) -> list[Contradiction]:
        """Try the other senses where the residuals are clearly larger than the noise."""
        if not fit.suspicious:
            return []
        better = {
            senses: other
            for senses, other in other_senses(
                frame, readings, known, extra=self.asked_of_the_fit, index_u_rad=self.index_u_rad
            ).items()
            if not other.suspicious and fit.chi_square - other.chi_square > CLEAR
        }
        if not better:
            return []
        senses, other = min(better.items(), key=lambda item: item[1].chi_square)
        found = []
        length = partial(self.units.text, Kind.LENGTH)
        order = np.argsort(-np.abs(np.nan_to_num(fit.weighted)))
        rows = tuple(dict.fromkeys(fit.used[fit.residual_rows[i]].row for i in order[:3]))
        worst = fit.used[fit.residual_rows[int(order[0])]]
        residual = float(fit.residuals_mm[int(order[0])])
        at = [i for i, r in enumerate(other.residual_rows) if other.used[r].row == worst.row]
        there = max((abs(float(other.residuals_mm[i])) for i in at), default=0.0)
        for axis, sense in zip(frame.axes, senses, strict=True):
            if sense == axis.sense:
                continue
            found.append(
                Contradiction(
                    f"{axis.role}_sense",
                    rows,
                    f"Reading in line {worst.row} lies {length(abs(residual))} off with "
                    f"{axis.role} sense {axis.sense:+d}, and {length(there)} with {sense:+d}: the "
                    "touches are mirrored.",
                    f"{self.cell.file}: control.{axis.role}_sense",
                    f"Jog the {axis.role} axis a little and watch which way the work turns; if the "
                    f"touches are right, write {axis.role}_sense = {sense}.",
                )
            )
        return found

    def _face_sign(self, frame: LineFrame, fit: LineFit) -> list[Contradiction]:
        """Compare the sign of the entered face height with the touches."""
        entry = self.cell.unit.face_height
        taken = any(item.name == "unit.face_height" for item in fit.held)
        if entry is None or taken or fit.undetermined or len(frame.axes) == 1:
            return []
        touched = frame.face_height(fit.line_values)
        wrong_by, right_by = abs(touched - entry.value), abs(touched + entry.value)
        if entry.value * touched >= 0.0 or right_by >= 0.5 * wrong_by:
            return []
        rows = tuple(r.row for r in fit.used if r.feature == "face")
        length = partial(self.units.text, Kind.LENGTH)
        return [
            Contradiction(
                "face_sign",
                rows,
                f"unit.face_height is entered as {length(entry.value, sign=True)}, but the touches "
                f"put the platter face {length(touched, sign=True)} over the tilt axis: the sign "
                "is the other way.",
                f"{self.cell.file}: unit.face_height",
                f'Write face_height = "{length(touched)}" under [unit].',
            )
        ]


def _reading(touch: Touch) -> Reading:
    """Return a row of the table as the engines want it: the tip's centre, its radius still in."""
    toward = None
    place = np.array([math.nan if c is None else c for c in touch.position_mm])
    radius = 0.0
    if touch.toward:
        vector = np.zeros(3)
        vector["XYZ".index(touch.toward[0].upper())] = 1.0 if touch.toward[1] == "+" else -1.0
        toward = (float(vector[0]), float(vector[1]), float(vector[2]))
        if touch.kind in ("touch", "sweep"):
            # A plunger pushed in by so much meets the surface so much nearer.
            place = place - vector * touch.dial_mm
            radius = touch.radius_mm
            if touch.compensated:
                place = place - vector * radius
    return Reading(
        row=touch.row,
        feature=touch.feature,
        toward=toward,
        tilt_rad=touch.tilt_rad,
        rotary_rad=touch.rotary_rad,
        position_mm=(float(place[0]), float(place[1]), float(place[2])),
        radius_mm=radius,
        u_mm=touch.u_mm,
        zero=touch.zero,
        seat=touch.seat,
        angle_rad=touch.angle_rad,
        step=touch.step_mm,
        temperature_c=touch.temperature_c,
        day=touch.day,
        tool=touch.tool,
    )


def _side_name(direction: Floats) -> str:
    k = int(np.argmax(np.abs(direction)))
    return "XYZ"[k] + ("+" if direction[k] > 0.0 else "-")
