"""What a plan of readings starts from: where the lines are believed, and what is known of them.

Angles that nobody measured, and whatever else the readings leave open, count as is usual; a reading
that shows one of them is then worth what it should be.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.centre.design import whitened
from gudgeon.centre.errors import OPTIONAL
from gudgeon.centre.freeing import is_place
from gudgeon.centre.lines import LineFrame, level_direction
from gudgeon.centre.plan import Offer
from gudgeon.centre.readings import Model, Reading
from gudgeon.centre.solve import complex_derivatives
from gudgeon.findings.further_readings import candidates
from gudgeon.findings.gather import Lacking
from gudgeon.findings.gear import Candidate, Setting, gear_of
from gudgeon.findings.lines import AxisLinesFinding
from gudgeon.findings.part_points import PartPointFindings

__all__ = ["RUNOUT_U_MM", "SQUARE_U", "Ground", "GroundFindings", "usual_u"]

Floats = NDArray[np.float64]

SQUARE_U: Final = 3e-4
"""Standard uncertainty put on an angle that nobody measured [rad].

About one minute of arc, so two of them at 95 %; common practice, no source.
"""

RUNOUT_U_MM: Final = 0.05
"""The same for how far a bore runs off centre; common practice, no source."""

PLACE_U_MM: Final = 1.0
"""The same for a place that nobody touched: held a steel rule to it; common practice, no source."""

BALL_U_MM: Final = 5.0
"""The same for where a ball stands on the platter."""

ZERO_U_MM: Final = 10.0
"""The same for the zero of an indicator."""

WIDE_U: Final = 1.0
"""So much says nothing."""

UNTRUSTED: Final = 1e-4
"""Share of the weight of what is usual that is left where it does not count."""

ROUND_PLACES: Final = ("bore_x", "bore_y", "pin_x", "pin_y")
"""Where a bore or pin stands on the platter."""

NEW_BALL_MM: Final = (70.0, 0.0)
"""Where a ball would be put on the platter."""


@dataclass(frozen=True, slots=True)
class Ground:
    """What a plan starts from: where the lines are believed, and what is known of them.

    Attributes
    ----------
    frame : LineFrame
    used : tuple of Reading
    parameters : tuple of str
        Of the model of all readings, those that could be taken included.
    information : ndarray, shape (p, p)
        With what is usual for all that is not known.
    entries : ndarray, shape (p, p)
        The part of it that comes from entries about the lines.
    slopes : ndarray, shape (m, 3, q)
        Of the part points by the parameters of the lines.
    options : tuple of Candidate
    offers : tuple of Offer
    """

    frame: LineFrame
    used: tuple[Reading, ...]
    parameters: tuple[str, ...]
    information: Floats
    entries: Floats
    slopes: Floats
    options: tuple[Candidate, ...]
    offers: tuple[Offer, ...]


class GroundFindings(PartPointFindings):
    """What is known before further readings are taken."""

    @cached_property
    def _ground(self) -> Ground:
        study = self.line_study
        fit = study.fit
        frame, values = self._believed()
        used = fit.used if fit is not None else ()
        lines = AxisLinesFinding(frame, values, np.zeros((len(values),) * 2), False, math.inf)
        slopes = self._point_slopes(lines)[0]
        found = {} if fit is None else dict(zip(fit.parameters, fit.values, strict=True))
        setting = self._setting(frame, values, used, found)
        gear = gear_of(self.cell, used, setting)
        options = candidates(self.cell, setting, gear, self.senses, self.units)
        further = tuple(r for one in options for r in one.readings)
        model = Model(frame, (*used, *further), () if fit is None else fit.optional)
        full = np.zeros(len(model.parameters))
        full[: len(values)] = values
        turned, crossing = _rotary_frame(frame, values)
        for i, name in enumerate(model.parameters[len(values) :], start=len(values)):
            feature, _, part = name.rpartition("_")
            if name in found:
                full[i] = found[name]
            elif part == "radius":
                full[i] = setting.sizes.get(feature, 15.0)
            elif feature in setting.balls:
                full[i] = (turned.T @ (setting.balls[feature] - crossing))["xyz".index(part)]
        return self._weighed(model, full, used, options, slopes)

    def _believed(self) -> tuple[LineFrame, Floats]:
        """Return the lines as fitted, else as entered, else as far as the readings go."""
        study = self.line_study
        fit = study.fit
        if fit is not None and all(item.reason == "weak" for item in study.open_positions):
            return fit.frame, fit.line_values
        try:
            lines = self._nominal_lines()
        except Lacking:
            if fit is None:
                raise
            return fit.frame, fit.line_values
        return lines.frame, lines.values

    def _setting(
        self, frame: LineFrame, values: Floats, used: tuple[Reading, ...], found: dict[str, float]
    ) -> Setting:
        origin, platter = frame.platter_origin(values), self._platter_on(values)
        turned, crossing = _rotary_frame(frame, values)
        pin = self.cell.readings.pin_diameter
        sizes = {} if pin is None else {"bore": pin.value / 2.0, "pin": pin.value / 2.0}
        balls: dict[str, Floats] = {}
        offsets: dict[str, Floats] = {}
        for name in dict.fromkeys(r.feature for r in used):
            if name.startswith("ball "):
                local = np.array([found[f"{name}_{c}"] for c in "xyz"])
                balls[name] = crossing + turned @ local
            elif name in ("bore", "pin"):
                offsets[name] = turned @ np.array([found[f"{name}_x"], found[f"{name}_y"], 0.0])
                sizes.setdefault(name, found[f"{name}_radius"])
        new = not balls
        if new:
            balls["ball 1"] = (
                origin + platter @ np.array([*NEW_BALL_MM, 0.0]) + platter[:, 2] * 40.0
            )
        return Setting(
            frame, frame.chain(values), origin, platter, tuple(offsets), sizes, offsets, balls, new
        )

    def _weighed(
        self,
        model: Model,
        full: Floats,
        used: tuple[Reading, ...],
        options: tuple[Candidate, ...],
        slopes: Floats,
    ) -> Ground:
        """Return what is known now, and what each option would add."""
        fit = self.line_study.fit
        rows = complex_derivatives(model.residuals, full) / model.u_mm[:, None]
        index = model.index_slopes(full) * np.array(self.index_u_rad) / model.u_mm[:, None]
        of = np.array(model.residual_rows, dtype=np.intp)
        mine = of < len(used)
        known = whitened(rows[mine], _by_seat(index[mine], [used[i] for i in of[mine]]))
        information = known.T @ known
        entries = np.zeros_like(information)
        if fit is not None:
            # The readings scatter as the fit found; what was known from elsewhere does not.
            information = information / fit.scale**2
            from_elsewhere = np.zeros((len(fit.known_slopes), len(model.parameters)))
            columns = [model.parameters.index(name) for name in fit.parameters]
            from_elsewhere[:, columns] = fit.known_slopes
            information = information + from_elsewhere.T @ from_elsewhere
            wider = [name in fit.optional for name in model.parameters]
            from_elsewhere = from_elsewhere[~np.any(from_elsewhere[:, wider] != 0.0, axis=1)]
            entries = from_elsewhere.T @ from_elsewhere
        open_ones = set(model.parameters)
        if fit is not None:
            open_ones -= set(fit.free) - {item.name for item in self.line_study.open_positions}
        usual = [
            1.0 / usual_u(name) ** 2 if name in open_ones else 0.0 for name in model.parameters
        ]
        information = information + np.diag(np.array(usual) + 1e-9)
        options = _as_predicted(model, full, len(used), options)
        offers = []
        at = len(used)
        for one in options:
            here = (of >= at) & (of < at + len(one.readings))
            at += len(one.readings)
            # Read in one go: one positioning for each pose.
            poses = {(r.tilt_rad, r.rotary_rad): i for i, r in enumerate(one.readings)}
            seats = [replace(r, seat=poses[r.tilt_rad, r.rotary_rad]) for r in one.readings]
            first = at - len(one.readings)
            zero = 1.0 / model.u_mm[here][:, None] if one.one_zero else None
            shared = _by_seat(index[here], [seats[i - first] for i in of[here]])
            offers.append(Offer(whitened(rows[here], shared, zero), one.minutes, one.setups))
        return Ground(
            model.frame,
            used,
            model.parameters,
            information,
            entries,
            slopes,
            options,
            tuple(offers),
        )

    def _untrusting(self, ground: Ground) -> Floats:
        """Return what is known without what is usual for angles and for where a bore stands.

        Without the entries too: a fit drops them where readings take their place.
        """
        wide = ground.information - ground.entries
        fit = self.line_study.fit
        free = () if fit is None else fit.free
        for i, name in enumerate(ground.parameters):
            if name not in free and (not is_place(name) or name in ROUND_PLACES):
                wide[i, i] -= (1.0 - UNTRUSTED) / usual_u(name) ** 2
            elif name in ground.frame.parameters and is_place(name):
                wide[i, i] += UNTRUSTED / PLACE_U_MM**2
        return wide


def usual_u(name: str) -> float:
    """Return the standard uncertainty that is usual for what nobody measured [mm or rad]."""
    if name.startswith("ball "):
        return BALL_U_MM
    if name.startswith("zero_"):
        return ZERO_U_MM
    if name in OPTIONAL:
        return WIDE_U  # what is known of it stands in the fit's own rows
    if not is_place(name):
        return SQUARE_U
    if name in ROUND_PLACES:
        return RUNOUT_U_MM
    return PLACE_U_MM


def _rotary_frame(frame: LineFrame, values: Floats) -> tuple[Floats, Floats]:
    """Return axes (columns) and origin of the frame of the rotary line, both angles zero, in T."""
    if len(frame.axes) == 1:
        z = level_direction(values[2], values[3])
        across = np.array([-np.sin(values[3]), np.cos(values[3]), 0.0])
        turned = frame.basis @ np.column_stack([across, np.cross(z, across), z])
        return turned, frame.to_table([0.0, values[0], values[1]])
    roll, pitch = values[6], values[7]
    x = np.array([np.cos(pitch), np.sin(roll) * np.sin(pitch), -np.cos(roll) * np.sin(pitch)])
    y = np.array([0.0, np.cos(roll), np.sin(roll)])
    turned = frame.basis @ np.column_stack([x, y, np.cross(x, y)])
    return turned, frame.to_table([values[4], values[5], 0.0])


def _by_seat(index: Floats, readings: list[Reading]) -> Floats:
    """Return the effect of each positioning on the residuals, shape (n, 2 x positionings)."""
    seats: dict[int, int] = {}
    of = []
    for i, reading in enumerate(readings):
        key = reading.seat if reading.seat >= 0 else -2 - i
        of.append(seats.setdefault(key, len(seats)))
    out = np.zeros((len(readings), 2 * len(seats)))
    for i, k in enumerate(of):
        out[i, 2 * k : 2 * k + 2] = index[i]
    return out


def _as_predicted(
    model: Model, full: Floats, first: int, options: tuple[Candidate, ...]
) -> tuple[Candidate, ...]:
    """Return the options with readings as the lines believed predict them, slopes and all.

    They were thought up at the nominal surface; left there, they would contradict the readings at
    hand, and a fit of both would take that for noise.
    """
    off: dict[int, list[float]] = {}
    for i, residual in zip(model.residual_rows, model.residuals(full), strict=True):
        off.setdefault(i, []).append(float(residual))
    out = []
    at = first
    for one in options:
        rows = [_shifted(r, off[at + n]) for n, r in enumerate(one.readings)]
        at += len(rows)
        out.append(replace(one, readings=tuple(rows)))
    return tuple(out)


def _shifted(reading: Reading, off: list[float]) -> Reading:
    """Return a reading less its residuals."""
    if reading.feature == "level":
        return replace(reading, angle_rad=reading.angle_rad - off[0])
    place = np.array(reading.position_mm)
    if reading.toward is None:
        place[: len(off)] -= off
    else:
        place -= np.abs(reading.toward) * off[0]
    x, y, z = (float(c) for c in place)
    return replace(reading, position_mm=(x, y, z))
