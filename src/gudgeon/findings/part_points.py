"""How far a point of a part may stand from where the axis lines say, and what would sharpen it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.centre.readings import Reading
from gudgeon.findings.faces import faces_wanted, in_platter
from gudgeon.findings.gather import Lacking
from gudgeon.findings.lines import AxisLinesFinding, LineFindings
from gudgeon.findings.procedure import side_name
from gudgeon.findings.touching import LineStudy
from gudgeon.quantity.amount import Amount
from gudgeon.quantity.kinds import Kind
from gudgeon.quantity.spread import jacobian
from gudgeon.quantity.ties import firm

__all__ = ["WANTED_MM", "NextReading", "PartPointError", "PartPointFindings"]

Floats = NDArray[np.float64]
_LENGTH: Final = Kind.LENGTH

WANTED_MM: Final = 0.05
"""Part-point error taken where ``readings.wanted`` is left out (common practice, no source)."""

ASSUMED_RADIUS_MM: Final = 100.0
"""Where neither stations nor fixture nor platter say how far out the parts sit."""

ASSUMED_REACH_MM: Final = 50.0
"""Height over the platter face where nothing says how high the parts stand."""

SQUARE_U: Final = 3e-4
"""Standard uncertainty put on an angle that nobody measured, only to rank readings [rad].

About one minute of arc; common practice, no source.
"""

NEXT_MOST: Final = 6
"""Readings named at most: what is done in one go at the machine."""

WORTH_TAKING: Final = 0.01
"""A further reading that sharpens the worst part point by less than this share is not named."""

RUNOUT_U_MM: Final = 0.02
"""The same for how far a bore runs off centre; common practice, no source."""


@dataclass(frozen=True, slots=True)
class PartPointError:
    """The worst part point.

    Attributes
    ----------
    plus_minus_mm : float
        95 % (k = 2) of the direction in which it is worst.
    label : str
        Which point, in which pose.
    points : str
        Which points were tried, as a sentence.
    radius_mm : float
        Greatest distance of a point from the rotary line.
    per_value : ndarray, shape (m, 3, p)
        Derivatives of all points by the parameters of the lines.
    """

    plus_minus_mm: float
    label: str
    points: str
    radius_mm: float
    per_value: Floats


@dataclass(frozen=True, slots=True)
class NextReading:
    """One more reading and what it would bring.

    Attributes
    ----------
    what : str
        What to touch.
    how : str
        An order.
    before_mm, after_mm : float
        Worst part point (k = 2) without and with it, unmeasured angles included at `SQUARE_U`;
        the readings before it in the list are taken as taken.
    """

    what: str
    how: str
    before_mm: float
    after_mm: float


class PartPointFindings(LineFindings):
    """Facts about points of the parts."""

    @property
    def wanted_mm(self) -> float:
        """Greatest part-point error that the work can bear, as entered or as usual [mm]."""
        wanted = self.cell.readings.wanted
        return WANTED_MM if wanted is None else wanted.value

    @cached_property
    def part_point_error(self) -> PartPointError:
        """The worst part point from the uncertainty of the axis lines alone.

        Raises
        ------
        Lacking
            What the axis lines lack.
        """
        lines = self.axis_lines
        angles, local, labels, told = self._part_points(lines)

        def points(values: Floats) -> Floats:
            chain = lines.chain_of(values)
            rest = lines.platter_origin_of(values) + local @ self._platter_on(values).T
            return chain.points(angles, rest).ravel()

        steps = np.where(np.diag(lines.covariance) > 0.0, np.sqrt(np.diag(lines.covariance)), 1e-4)
        slopes = jacobian(points, lines.values, steps).reshape(len(local), 3, -1)
        u = worst_u(slopes, lines.covariance)
        worst = int(np.argmax([firm(one) for one in u]))
        return PartPointError(
            plus_minus_mm=2.0 * float(u[worst]),
            label=labels[worst],
            points=told,
            radius_mm=float(np.max(np.hypot(local[:, 0], local[:, 1]))),
            per_value=slopes,
        )

    def _platter_on(self, values: Floats) -> Floats:
        """Return the platter's axes (columns): nominal, laid onto the rotary line as found."""
        line = self.line_study.frame.chain(values).axes[-1].line
        z = np.asarray(line.direction) * np.sign(
            np.asarray(line.direction) @ self.platter_axes[:, 2]
        )
        x = self.platter_axes[:, 0] - z * (z @ self.platter_axes[:, 0])
        x = x / np.linalg.norm(x)
        return np.column_stack([x, np.cross(z, x), z])

    def _quarter_poses(self, lines: AxisLinesFinding) -> Floats:
        """Return quarter turns within the limits."""
        quarters = [0.0, math.pi / 2, math.pi, 3 * math.pi / 2]
        last = lines.chain.axes[-1]
        turns = [c for c in quarters if last.low_rad - 1e-9 <= c <= last.high_rad + 1e-9] or [0.0]
        if len(lines.chain.axes) == 1:
            return np.array([[c] for c in turns])
        first = lines.chain.axes[0]
        tilts = [
            a
            for a in (0.0, math.pi / 2, -math.pi / 2)
            if first.low_rad - 1e-9 <= a <= first.high_rad + 1e-9
        ]
        return np.array([[a, c] for a in tilts or [0.0] for c in turns])

    def _part_points(self, lines: AxisLinesFinding) -> tuple[Floats, Floats, list[str], str]:
        """Return poses, platter-frame points, a label for each pair, and what was taken."""
        poses = self._quarter_poses(lines)
        clocking = self.cell.fixture.clocking or Amount(0.0)
        gather = self.gather()
        wanted = faces_wanted(self.cell, self.has_tilt, gather) if self.cell.stations else []
        angles: list[Floats] = []
        local: list[Floats] = []
        labels: list[str] = []
        if wanted and not gather.missing:
            for one in wanted:
                place, _ = in_platter(one, clocking)
                for pose in poses if one.pose is None else [np.array(one.pose)]:
                    angles.append(pose)
                    local.append(place)
                    labels.append(f"station {one.station}, {one.face}, {_pose_text(pose)}")
            told = "the zeros of all faces at all stations"
            if any(one.pose is None for one in wanted):
                told += ", in every quarter turn where no pose is given"
            return np.array(angles), np.array(local), labels, told + "."
        fixture, unit = self.cell.fixture, self.cell.unit
        if fixture.radius is not None:
            radius, why = fixture.radius.value, "the fixture's radius"
        elif fixture.half_width is not None:
            radius, why = fixture.half_width.value, "half the fixture's width"
        elif unit.platter_diameter is not None:
            radius, why = unit.platter_diameter.value / 2.0, "half the platter's diameter"
        else:
            radius, why = ASSUMED_RADIUS_MM, "assumed"
        reach = fixture.height.value if fixture.height is not None else ASSUMED_REACH_MM
        for pose in poses:
            for x, y in ((radius, 0.0), (0.0, radius), (-radius, 0.0), (0.0, -radius)):
                angles.append(pose)
                local.append(np.array([x, y, reach]))
                labels.append(f"a point at the rim, {_pose_text(pose)}")
        text = self.units.text
        told = (
            f"points {text(_LENGTH, radius)} from the rotary line ({why}) and "
            f"{text(_LENGTH, reach)} over the platter face, in every quarter turn; "
            "no stations are given."
        )
        return np.array(angles), np.array(local), labels, told

    @cached_property
    def _effects(self) -> dict[str, float]:
        """Movement of the worst part point for each unit of each held parameter [mm]."""
        fit = self.line_study.fit
        if fit is None:
            return {}
        count = len(fit.frame.parameters)
        slopes = self.part_point_error.per_value
        return {
            item.name: float(
                np.max(np.linalg.norm(slopes @ fit.shift_if(item.name)[:count], axis=1))
            )
            for item in fit.held
            if item.name in fit.parameters
        }

    def effect_of(self, name: str, by: float) -> float:
        """Return how far the worst part point moves if a held parameter is really off [mm].

        Parameters
        ----------
        name : str
            Parameter of the fit.
        by : float
            By how much [mm or rad].
        """
        return self._effects.get(name, 0.0) * by

    @cached_property
    def next_readings(self) -> tuple[NextReading, ...]:
        """Readings that would sharpen the worst part point most, in the order to take them.

        Each candidate is added to the information of the readings at hand (J^T J) and of those
        before it; angles that nobody measured take part with `SQUARE_U`, so that a reading which
        frees one counts.
        """
        study = self.line_study
        fit = study.fit
        if fit is None or not study.determined or len(study.frame.axes) == 1 or study.fatal:
            return ()
        try:
            slopes = self.part_point_error.per_value
        except Lacking:
            return ()
        candidates = self._candidates(study)
        readings = tuple(reading for reading, _, _ in candidates)
        rows = fit.information(readings)
        first = sum(1 if r.toward is not None else 2 for r in fit.used)
        base = rows[:first].T @ rows[:first] / fit.noise_ratio**2
        for i, name in enumerate(fit.parameters):
            if name in fit.free:
                continue
            # What is held is not known exactly; entries that were used are.
            u = RUNOUT_U_MM if name.endswith(("_x", "_y")) and "slope" not in name else SQUARE_U
            base[i, i] += 1.0 / (1.0 if name.endswith("_radius") else u) ** 2
        base += np.diag(np.full(len(base), 1e-9))
        count = len(fit.frame.parameters)

        def spread(information: Floats) -> Floats:
            return worst_u(slopes, np.asarray(np.linalg.inv(information)[:count, :count]))

        before = 2.0 * float(np.max(spread(base)))
        offers = []
        at = first
        for reading, what, how in candidates:
            size = 1 if reading.toward is not None else 2
            offers.append((rows[at : at + size], what, how))
            at += size
        found: list[NextReading] = []
        while offers and len(found) < NEXT_MOST:
            spreads = [spread(base + one.T @ one) for one, _, _ in offers]
            # A high power mean: the worst points count most, but all of them a little, so that
            # the choice is not blind where one reading alone cannot lower the very worst.
            best = int(np.argmin([firm(float(np.sum(one**8)) ** 0.125) for one in spreads]))
            one, what, how = offers.pop(best)
            base = base + one.T @ one
            after = 2.0 * float(np.max(spreads[best]))
            if before - after < WORTH_TAKING * before and len(found) > 0:
                break
            found.append(NextReading(what, how, before, after))
            before = after
        return tuple(found)

    @cached_property
    def error_with_open_angles_mm(self) -> float | None:
        """Worst part point (k = 2) with the angles that no touch shows counted in [mm].

        They count with `SQUARE_U`.  ``None`` where all angles are measured, or nothing can be told.
        """
        study = self.line_study
        if study.fit is None or not self.next_readings:
            return None
        open_angles = [h for h in study.fit.held if h.reason != "entry" and h.is_angle]
        return self.next_readings[0].before_mm if open_angles else None

    def _candidates(self, study: LineStudy) -> list[tuple[Reading, str, str]]:
        """Return readings that could be taken next, where the model expects the surface."""
        fit = study.fit
        assert fit is not None
        frame, letters, units = study.frame, self.senses, self.units
        chain = frame.chain(fit.line_values)
        origin = frame.platter_origin(fit.line_values)
        platter = self._platter_on(fit.line_values)
        u = min(r.u_mm for r in fit.used)
        radius = max((r.radius_mm for r in fit.used), default=0.0)
        diameter = self.cell.unit.platter_diameter
        out = 0.4 * (diameter.value if diameter is not None else ASSUMED_RADIUS_MM)
        low, high = frame.axes[0].low_rad - 1e-9, frame.axes[0].high_rad + 1e-9
        found: list[tuple[Reading, str, str]] = []
        for tilt in (math.pi / 2, -math.pi / 2, 0.0):
            if not low <= tilt <= high:
                continue
            pose = np.array([tilt, 0.0])
            normal = chain.directions(pose, platter[:, 2])
            toward = np.zeros(3)
            k = int(np.argmax(np.abs(normal)))
            toward[k] = -np.sign(normal[k])
            for x, y in ((out, 0.0), (-out, 0.0), (0.0, out), (0.0, -out)):
                place = chain.points(pose, origin + platter @ np.array([x, y, 0.0]))
                spot = ", ".join(
                    f"{'XYZ'[j]} {units.shown(_LENGTH, place[j]):.1f}" for j in range(3) if j != k
                )
                unit = units.unit(_LENGTH)
                what = f"platter face at tilt {math.degrees(tilt):.0f}, {spot} ({unit})"
                how = (
                    f"Tilt to {letters.tilt_letter} {math.degrees(tilt):.0f} with "
                    f"{letters.rotary_letter} 0 and touch the platter face moving "
                    f"{side_name(toward)} at {spot} {unit}."
                )
                tip = place + normal * radius
                found.append((_reading(tip, "face", toward, tilt, 0.0, radius, u), what, how))
        for feature in ("bore", "pin"):
            if f"{feature}_x" not in fit.parameters:
                continue
            depth = 20.0 if feature == "pin" else -20.0
            for turn in (0.0, math.pi / 2, math.pi, 3 * math.pi / 2):
                for height in (0.0, depth):
                    place = chain.points(
                        np.array([0.0, turn]), origin + platter @ np.array([0.0, 0.0, height])
                    )
                    where = (
                        "at the platter face"
                        if height == 0.0
                        else (
                            f"{units.text(_LENGTH, abs(height), 1)} "
                            f"{'above' if height > 0 else 'below'} the platter face"
                        )
                    )
                    what = (
                        f"centre of the {feature} at {letters.rotary_letter} "
                        f"{math.degrees(turn):.0f}, {where}"
                    )
                    how = (
                        f"With {letters.tilt_letter} 0 and {letters.rotary_letter} "
                        f"{math.degrees(turn):.0f} measure the centre of the {feature} {where}."
                    )
                    found.append((_reading(place, feature, None, 0.0, turn, 0.0, u), what, how))
        return found


def worst_u(per_value: Floats, covariance: Floats) -> Floats:
    """Return the standard uncertainty of each point in its worst direction, shape (m,)."""
    spread = per_value @ covariance @ np.swapaxes(per_value, 1, 2)
    return np.asarray(np.sqrt(np.clip(np.linalg.eigvalsh(spread)[:, -1], 0.0, None)))


def _reading(
    place: Floats,
    feature: str,
    toward: Floats | None,
    tilt: float,
    rotary: float,
    radius: float,
    u: float,
) -> Reading:
    x, y, z = (float(value) for value in place)
    way = None
    if toward is not None:
        way = (float(toward[0]), float(toward[1]), float(toward[2]))
    return Reading(0, feature, way, tilt, rotary, (x, y, z), radius, u)


def _pose_text(pose: Floats) -> str:
    angles = [f"{math.degrees(float(angle)):.0f}" for angle in pose]
    return f"tilt {angles[0]}, turn {angles[1]}" if len(angles) == 2 else f"turn {angles[0]}"
