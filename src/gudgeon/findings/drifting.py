"""Whether anything has moved since: the morning checks judged, and what follows for the parts."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.answer import Missing
from gudgeon.cell.model import DayRow
from gudgeon.drift.causes import Cause, Explained, explain, telling_pair
from gudgeon.drift.record import Record, filled_temperature
from gudgeon.drift.watch import Change, Watch, watch
from gudgeon.findings.first_checks import READING_U_MM, FirstCheckFindings
from gudgeon.findings.gather import Lacking
from gudgeon.quantity.spread import coverage_factor

__all__ = ["DriftFinding", "DriftFindings", "Moved", "Suspects"]

Floats = NDArray[np.float64]

EXPANSION_PER_K: Final = 12e-6
"""Expansion of steel and cast iron; the lever is the height of the gauge point over the table."""

LEVER_MM: Final = 600.0
"""Where that height is not given (common practice, no source)."""

LEAST_MORNINGS: Final = 4
"""Fewer do not show what is usual."""

MOST_ROWS: Final = 150
"""Checks judged at once, the newest; half a year of working days."""

POSE_MINUTES: Final = 1.0
"""Turning there and reading a ball or bore with a probe (common practice, no source)."""

PLAUSIBLE: Final = 0.05
"""A cause with less chance than this is ruled out."""

THOUGHT_OF_MM: Final = 0.05
"""How far parts of a unit may have moved where poses for a check are chosen."""

LEVEL_C: Final = 20.0
"""Reference temperature (ISO 1)."""


@dataclass(frozen=True, slots=True)
class Suspects:
    """What was made while something had moved.

    Attributes
    ----------
    first_day : int
        Day of the last good check; included.
    end_day : int or None
        Day of the correction, not included; ``None``: not put right yet.
    rows : tuple of (int, str, str)
        Day, first and last serial number of each batch.
    """

    first_day: int
    end_day: int | None
    rows: tuple[tuple[int, str, str], ...]


@dataclass(frozen=True, slots=True, eq=False)
class Moved:
    """One change, in the words of days and checks.

    Attributes
    ----------
    change : Change
    first_day, last_day : int
        It happened after the check of `first_day` and not after that of `last_day`.
    set_days : tuple of int
        Days of the first check after it, together holding 95 %.
    step_mm, expanded_mm : ndarray, shape (number of checks, 3)
        How far each check has moved, to the last row for a trend; U at 95 %; NaN where not read.
    put_right : int or None
        Day of the correction behind it.
    causes : tuple of Explained
        Most likely first; empty where the senses are not known.
    suspects : Suspects
    warm_mm : ndarray, shape (number of checks, 3)
        What the change of temperature alone would have done across it.
    warm_by_c : float
        Change of the mean temperature across it; NaN where it was not noted.
    """

    change: Change
    first_day: int
    last_day: int
    set_days: tuple[int, ...]
    step_mm: Floats
    expanded_mm: Floats
    put_right: int | None
    causes: tuple[Explained, ...]
    suspects: Suspects
    warm_mm: Floats
    warm_by_c: float

    @property
    def plausible(self) -> tuple[Explained, ...]:
        """Causes that the checks do not rule out."""
        return tuple(one for one in self.causes if one.chance >= PLAUSIBLE)


@dataclass(frozen=True, slots=True, eq=False)
class DriftFinding:
    """The record and what it says.

    Attributes
    ----------
    checks : tuple of str
    poses_rad : ndarray, shape (number of checks, 2)
        Tilt and turn; zero where not entered.
    days : tuple of int
        Of each row of the record.
    dated : bool
    rows : tuple of tuple of DayRow
        Readings behind each row of the record.
    record : Record
    series : tuple of (int, int)
        Check and coordinate of each series.
    watch : Watch
    outstanding, past : tuple of Moved
        Changes that nobody has put right, and those before the last correction.
    k95 : float
    expected_mm, expected_u_mm : ndarray, shape (number of checks, 3)
        Expected at the next check at `next_c`; U at 95 % of one reading against it.
    next_c : float
    visible_mm : float or None
        A step of this size (in one coordinate) shows by the third morning, 95 of 100 times;
        ``None`` where there are too few checks to tell.
    noted : int
        Rows whose temperature was noted.
    unstated : bool
        No uncertainty was stated.
    blinded : tuple of Change
        Where temperatures are not told: what would count as a change in a shop of steady
        temperature, and may as well be the temperature.
    """

    checks: tuple[str, ...]
    poses_rad: Floats
    days: tuple[int, ...]
    dated: bool
    rows: tuple[tuple[DayRow, ...], ...]
    record: Record
    series: tuple[tuple[int, int], ...]
    watch: Watch
    outstanding: tuple[Moved, ...]
    past: tuple[Moved, ...]
    k95: float
    expected_mm: Floats
    expected_u_mm: Floats
    next_c: float
    visible_mm: float | None
    noted: int
    unstated: bool
    blinded: tuple[Change, ...]

    def spread_out(self, values: Floats) -> Floats:
        """Return numbers of the series by check and coordinate, NaN where not read."""
        found = np.full((len(self.checks), 3), np.nan)
        for value, (check, axis) in zip(values, self.series, strict=True):
            found[check, axis] = value
        return found

    def expected_at(self, warm_c: float) -> tuple[Floats, Floats]:
        """Return what to expect of the next check at a temperature, by check and coordinate [mm].

        Parameters
        ----------
        warm_c : float
            Of no effect where no temperature was noted: the warmth of tomorrow is then as unknown
            as that of the days before.

        Returns
        -------
        tuple of ndarray, shape (number of checks, 3)
            Expected readings, and U at 95 % of one reading against them; NaN where not read.
        """
        judged = self.watch
        expected, expected_u = judged.estimate.expected(judged.columns[:, -1], warm_c)
        if judged.untold:
            expected, expected_u = judged.next_expected, judged.next_u
        reading = judged.estimate.noise * np.array(
            [np.nanmean(self.record.u[:, j]) for j in range(len(self.series))]
        )
        spread = self.k95 * np.hypot(expected_u, reading)
        return self.spread_out(expected), self.spread_out(spread)

    def day_text(self, day: int) -> str:
        """Return a day as it is written."""
        return datetime.date.fromordinal(day).isoformat() if self.dated else f"day {day}"


class DriftFindings(FirstCheckFindings):
    """Facts about what has moved."""

    @cached_property
    def drift(self) -> DriftFinding:
        """The morning checks judged.

        Raises
        ------
        Lacking
            If there are too few checks.
        """
        cell = self.cell
        rows = cell.days
        if len({row.day for row in rows}) < LEAST_MORNINGS:
            raise Lacking((self._days_lacking(len({row.day for row in rows})),))
        together = _together(rows)[-MOST_ROWS:]
        checks = tuple(dict.fromkeys(self._check_name(row) for group in together for row in group))
        days = tuple(group[0].day for group in together)
        series, record, unstated = self._record(checks, together)
        if not series:
            raise Lacking((self._days_lacking(1),))
        corrected = sorted(one.toordinal() for one in cell.drift.corrected)
        at = [int(np.searchsorted(np.array(days), day)) for day in corrected]
        judged = watch(record, tuple(dict.fromkeys(at)))
        k95 = coverage_factor(judged.estimate.dof)
        last = int(judged.kept[-1])
        warm = record.temperature[~np.isnan(record.temperature)]
        next_c = float(warm[-1]) if len(warm) else LEVEL_C
        finding = DriftFinding(
            checks=checks,
            poses_rad=np.array([self._pose_of(name) for name in checks]).reshape(-1, 2),
            days=days,
            dated=rows[0].dated,
            rows=together,
            record=record,
            series=series,
            watch=judged,
            outstanding=(),
            past=(),
            k95=k95,
            expected_mm=np.empty((0, 3)),
            expected_u_mm=np.empty((0, 3)),
            next_c=next_c,
            # Twice the logarithm of the alarm and of what the size being unknown costs, and the
            # 95 % point above it.
            visible_mm=_finite(6.0 * float(np.max(judged.visible_u))),
            noted=int(np.sum(~np.isnan(record.temperature))),
            unstated=unstated,
            blinded=_blinded(record, judged, at),
        )
        moved = [
            self._moved(finding, i, change, corrected, last)
            for i, change in enumerate(judged.changes)
        ]
        expected, expected_u = finding.expected_at(next_c)
        return replace(
            finding,
            outstanding=tuple(one for one in moved if one.put_right is None),
            past=tuple(one for one in moved if one.put_right is not None),
            expected_mm=expected,
            expected_u_mm=expected_u,
        )

    # The record --------------------------------------------------------------------------------

    def _check_name(self, row: DayRow) -> str:
        if row.check or len(self.cell.checks) != 1:
            return row.check
        return self.cell.checks[0].name or ""

    def _pose_of(self, name: str) -> tuple[float, float]:
        for check in self.cell.checks:
            if (check.name or "") == name and check.pose is not None:
                return check.pose[0].value, check.pose[1].value
        return 0.0, 0.0

    @property
    def check_slope_u(self) -> float:
        """How much a check may plausibly move for one degree, standard deviation [mm]."""
        given = self.cell.drift.per_kelvin
        if given is not None:
            return given.value
        height = self.cell.machine.gauge_to_table
        return EXPANSION_PER_K * (LEVER_MM if height is None else height.value)

    def _record(
        self, checks: tuple[str, ...], together: Sequence[tuple[DayRow, ...]]
    ) -> tuple[tuple[tuple[int, int], ...], Record, bool]:
        cell = self.cell
        stated = cell.drift.reading_u or cell.readings.reading_u
        usual = READING_U_MM if stated is None else stated.value
        count = len(together)
        value = np.full((count, len(checks), 3), np.nan)
        u = np.full((count, len(checks), 3), usual)
        warm = np.full(count, np.nan)
        unstated = False
        for i, group in enumerate(together):
            noted = [row.temperature_c for row in group if row.temperature_c is not None]
            warm[i] = float(np.mean(noted)) if noted else np.nan
            for row in group:
                k = checks.index(self._check_name(row))
                for axis, coordinate in enumerate(row.place_mm):
                    if coordinate is not None:
                        value[i, k, axis] = coordinate
                if row.u_mm is not None:
                    u[i, k] = row.u_mm
                elif stated is None:
                    unstated = True
        series = tuple(
            (k, axis)
            for k in range(len(checks))
            for axis in range(3)
            if np.sum(~np.isnan(value[:, k, axis])) >= 2
        )
        picked = [3 * k + axis for k, axis in series]
        record = Record(
            np.array([float(group[0].day) for group in together]),
            value.reshape(count, -1)[:, picked],
            u.reshape(count, -1)[:, picked],
            warm,
            np.full(len(series), self.check_slope_u),
        )
        return series, record, unstated

    # What moved ----------------------------------------------------------------------------------

    def _moved(
        self, finding: DriftFinding, index: int, change: Change, corrected: list[int], last: int
    ) -> Moved:
        days, record = finding.days, finding.record
        right = next((day for day in corrected if day > days[change.row]), None)
        end_row = last if right is None else max(i for i, day in enumerate(days) if day < right)
        span = 1.0
        if change.kind == "trend":
            span = max(float(days[end_row] - days[max(change.row - 1, 0)]), 1.0)
        step = finding.spread_out(span * change.size)
        u = finding.spread_out(span * change.size_u)
        before = [i for i in finding.watch.kept if i < change.row][-7:]
        after = [i for i in finding.watch.kept if i >= change.row][:7]
        warm_by = float("nan")
        if before and after:
            cold, hot = record.temperature[before], record.temperature[after]
            if not np.all(np.isnan(cold)) and not np.all(np.isnan(hot)):
                warm_by = float(np.nanmean(hot) - np.nanmean(cold))
        good = days[max(change.rows[0] - 1, 0)]
        serials = tuple(
            (row.day, row.first, row.last)
            for row in self.cell.made
            if row.day >= good and (right is None or row.day < right)
        )
        return Moved(
            change=change,
            first_day=good,
            last_day=days[change.rows[-1]],
            set_days=tuple(dict.fromkeys(days[row] for row in change.rows)),
            step_mm=step,
            expanded_mm=finding.k95 * u,
            put_right=right,
            causes=self._causes_of(finding, step, u),
            suspects=Suspects(good, right, serials),
            warm_mm=finding.spread_out(finding.watch.estimate.slope * warm_by),
            warm_by_c=warm_by,
        )

    def motions(self, poses: Floats, places: Floats | None) -> list[tuple[str, Floats]]:
        """Return what each part of the unit does to checks in the poses; raises `Lacking`."""
        chain = self.turning_only
        angles = poses if len(chain.axes) == 2 else poses[:, 1:]
        eye = np.eye(3)
        whole = np.stack([chain.directions(one, eye).T for one in angles])
        count = len(poses)
        found = [("unit", np.broadcast_to(eye, (count, 3, 3)))]
        tilted = np.broadcast_to(eye, (count, 3, 3))
        if len(chain.axes) == 2:
            still = angles * np.array([1.0, 0.0])
            tilted = np.stack([chain.directions(one, eye).T for one in still])
            found.append(("rotary line", tilted))
        found.append(("seat", whole))
        if len(chain.axes) == 2:
            along = np.asarray(chain.axes[0].line.direction)
            level = np.cross([0.0, 0.0, 1.0], along)
            across = np.column_stack([level / np.linalg.norm(level), [0.0, 0.0, 1.0]])
            found.append(("tilt line", (eye - tilted) @ across))
        if places is None:
            return found
        lines = self.axis_lines.chain
        for i, axis in enumerate(lines.axes):
            way, point = np.asarray(axis.line.direction), np.asarray(axis.line.point_mm)
            ways, points = np.tile(way, (count, 1)), np.tile(point, (count, 1))
            if i == 1:
                held = angles * np.array([1.0, 0.0])
                ways, points = lines.directions(held, way), lines.points(held, point)
            swing = axis.sense * np.cross(ways, np.nan_to_num(places - points))
            found.append((f"{axis.role} zero", swing[:, :, None]))
        return found

    def _causes_of(self, finding: DriftFinding, step: Floats, u: Floats) -> tuple[Explained, ...]:
        places: Floats | None = finding.spread_out(finding.watch.estimate.mean)
        if places is not None and np.any(np.isnan(places)):
            places = None
        try:
            effects = self.motions(finding.poses_rad, places)
        except Lacking:
            try:
                effects = self.motions(finding.poses_rad, None)
            except Lacking:
                return ()
        return explain(step, u, tuple(Cause(name, effect) for name, effect in effects))

    # What to check -----------------------------------------------------------------------------

    @cached_property
    def telling_poses(self) -> tuple[tuple[float, float], ...]:
        """The one or two poses in which a ball or bore on the platter tells most [rad].

        Raises
        ------
        Lacking
            What the senses lack.
        """
        low, high = -math.inf, math.inf
        if self.cell.unit.tilt_range is not None:
            low, high = (end.value for end in self.cell.unit.tilt_range)
        tilts = [0.0]
        if self.has_tilt:
            tilts += [a for a in (math.pi / 2, -math.pi / 2) if low - 1e-9 <= a <= high + 1e-9]
        poses = [(a, c) for a in tilts for c in (0.0, math.pi)]
        parts = [effect for _, effect in self.motions(np.array(poses), None)]
        stacked = np.concatenate(parts, axis=2)
        first, second = telling_pair(stacked, THOUGHT_OF_MM, READING_U_MM)
        return tuple(dict.fromkeys((poses[first], poses[second])))

    def _days_lacking(self, mornings: int) -> Missing:
        more = LEAST_MORNINGS - mornings
        have = "no check was kept yet" if not mornings else f"only {mornings} were kept"
        where = self.cell.drift.days or f"{self.cell.file}: drift.days"
        return Missing(
            f"{'' if not mornings else f'{more} more '}morning checks".strip(),
            where,
            f"what is usual shows only after {LEAST_MORNINGS} mornings, and {have}",
            "take the same reading every morning, with the temperature, and keep it with  gudgeon "
            f"day {self.cell.file} x=... y=... z=... t=...",
        )


def _together(rows: Sequence[DayRow]) -> tuple[tuple[DayRow, ...], ...]:
    """Put checks of one day side by side; a check taken again begins anew."""
    groups: list[list[DayRow]] = []
    for row in rows:
        last = groups[-1] if groups else []
        again = any(one.check == row.check for one in last)
        if not last or last[0].day != row.day or again:
            groups.append([row])
        else:
            last.append(row)
    return tuple(tuple(group) for group in groups)


def _blinded(record: Record, judged: Watch, corrected: Sequence[int]) -> tuple[Change, ...]:
    """Return changes since the last correction that only a steady temperature would prove."""
    if not judged.untold or judged.doubtful is not None:
        return ()
    steady = replace(record, temperature=filled_temperature(record.day, record.temperature)[0])
    since = max((row for row in corrected if row < len(record)), default=0)
    found = watch(steady, tuple(dict.fromkeys(corrected)))
    return tuple(one for one in found.changes if one.row > since)


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
