"""How far a point of a part may stand from where the axis lines say."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.centre.fit import LineFit
from gudgeon.findings.faces import faces_wanted, in_platter
from gudgeon.findings.lines import AxisLinesFinding, LineFindings
from gudgeon.quantity.amount import Amount
from gudgeon.quantity.kinds import Kind
from gudgeon.quantity.spread import jacobian
from gudgeon.quantity.ties import firm

__all__ = ["K_95", "WANTED_MM", "PartPointError", "PartPointFindings", "covering", "worst_u"]

Floats = NDArray[np.float64]
_LENGTH: Final = Kind.LENGTH

WANTED_MM: Final = 0.05
"""Part-point error taken where ``readings.wanted`` is left out (common practice, no source)."""

K_95: Final = 2.0
"""Coverage factor where the noise is known (JCGM 100:2008, annex G: about 95 %)."""

ASSUMED_RADIUS_MM: Final = 100.0
"""Where neither stations nor fixture nor platter say how far out the parts sit."""

ASSUMED_REACH_MM: Final = 50.0
"""Height over the platter face where nothing says how high the parts stand."""


@dataclass(frozen=True, slots=True)
class PartPointError:
    """The worst part point.

    Attributes
    ----------
    plus_minus_mm : float
        95 % of the direction in which it is worst.
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
        slopes, local, labels, told = self._point_slopes(lines)
        u = worst_u(slopes, lines.covariance)
        worst = int(np.argmax([firm(one) for one in u]))
        return PartPointError(
            plus_minus_mm=self._coverage * float(u[worst]),
            label=labels[worst],
            points=told,
            radius_mm=float(np.max(np.hypot(local[:, 0], local[:, 1]))),
            per_value=slopes,
        )

    @property
    def _coverage(self) -> float:
        """Coverage factor of the lines."""
        study = self.line_study
        return K_95 if study.fit is None or not study.determined else covering(study.fit)

    def _point_slopes(self, lines: AxisLinesFinding) -> tuple[Floats, Floats, list[str], str]:
        """Return derivatives of the part points by the parameters of the lines, shape (m, 3, p).

        With them the points in the platter frame, a label for each, and what was taken.
        """
        angles, local, labels, told = self._part_points(lines)

        def points(values: Floats) -> Floats:
            chain = lines.chain_of(values)
            rest = lines.platter_origin_of(values) + local @ self._platter_on(values).T
            return chain.points(angles, rest).ravel()

        steps = np.where(np.diag(lines.covariance) > 0.0, np.sqrt(np.diag(lines.covariance)), 1e-4)
        slopes = jacobian(points, lines.values, steps).reshape(len(local), 3, -1)
        return slopes, local, labels, told

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


def covering(fit: LineFit) -> float:
    """Return the coverage factor for 95 % of a fit: two, more where few readings give the noise."""
    return max(K_95, fit.k95)


def worst_u(per_value: Floats, covariance: Floats) -> Floats:
    """Return the standard uncertainty of each point in its worst direction, shape (m,)."""
    spread = per_value @ covariance @ np.swapaxes(per_value, 1, 2)
    return np.asarray(np.sqrt(np.clip(np.linalg.eigvalsh(spread)[:, -1], 0.0, None)))


def _pose_text(pose: Floats) -> str:
    angles = [f"{math.degrees(float(angle)):.0f}" for angle in pose]
    return f"tilt {angles[0]}, turn {angles[1]}" if len(angles) == 2 else f"turn {angles[0]}"
