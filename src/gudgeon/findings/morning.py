"""The morning's checks as they stand on a card: what to read, what to expect, by temperature."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from gudgeon.findings.drifting import DriftFinding, DriftFindings
from gudgeon.findings.gather import Lacking

__all__ = ["MorningCheck", "MorningFindings", "WarmRow"]

Floats = NDArray[np.float64]

LAST: Final = 5
"""Mornings before that are shown."""

WARM_STEP_C: Final = 2.0
WARM_STEPS: Final = 3
"""Expected readings are told for so many steps of temperature to either side."""

SUGGESTED: Final = "ball"
"""What a suggested check reads, and the beginning of its name."""


@dataclass(frozen=True, slots=True, eq=False)
class MorningCheck:
    """One check.

    Attributes
    ----------
    name : str
        As `gudgeon day` keeps it.
    feature : str
        "ball", "bore", "pin" or "face"; empty where not entered.
    pose_rad : tuple of (float, float) or None
        Tilt and turn.
    source : "mornings" or "axis lines" or "none"
        What the expected reading rests on.
    expected_mm, expanded_mm : ndarray, shape (3,)
        Expected reading and U at 95 % of one reading against it; NaN where not known.
    off_mm : ndarray, shape (n, 3)
        How far the readings of the last mornings lay off what was expected at their temperature,
        oldest first; NaN where not read.
    """

    name: str
    feature: str
    pose_rad: tuple[float, float] | None
    source: Literal["mornings", "axis lines", "none"]
    expected_mm: Floats
    expanded_mm: Floats
    off_mm: Floats


@dataclass(frozen=True, slots=True, eq=False)
class WarmRow:
    """What to expect of every check at one temperature.

    Attributes
    ----------
    warm_c : float
    expected_mm, expanded_mm : ndarray, shape (number of checks, 3)
        In the order of `MorningFindings.morning_checks`; NaN where not known.
    """

    warm_c: float
    expected_mm: Floats
    expanded_mm: Floats


class MorningFindings(DriftFindings):
    """Facts for the card of the morning's checks."""

    @property
    def _judged(self) -> DriftFinding | None:
        try:
            return self.drift
        except Lacking:
            return None

    @property
    def checks_suggested(self) -> bool:
        """True where no check is entered or kept, so that the most telling poses are shown."""
        return not self.cell.checks and not self.cell.days

    @cached_property
    def morning_checks(self) -> tuple[MorningCheck, ...]:
        """Every check of the cell; where there is none, the poses that tell most."""
        if self.checks_suggested:
            return self._suggested()
        judged, first = self._judged, self._first()
        entered = {check.name or "": check for check in self.cell.checks}
        names = dict.fromkeys([*entered, *(judged.checks if judged else ())])
        found = []
        for name in names:
            check = entered.get(name)
            pose = None
            if check is not None and check.pose is not None:
                pose = (check.pose[0].value, check.pose[1].value)
            source: Literal["mornings", "axis lines", "none"] = "none"
            expected, expanded = np.full(3, np.nan), np.full(3, np.nan)
            off = np.zeros((0, 3))
            if judged is not None and name in judged.checks:
                k = judged.checks.index(name)
                source = "mornings"
                expected, expanded = judged.expected_mm[k], judged.expected_u_mm[k]
                off = self._off(judged, k)
            elif name in first:
                source = "axis lines"
                expected, expanded = first[name]
            feature = "" if check is None else check.feature or ""
            found.append(MorningCheck(name, feature, pose, source, expected, expanded, off))
        return tuple(found)

    @cached_property
    def warm_rows(self) -> tuple[WarmRow, ...]:
        """What to expect at temperatures around the last; none where none was noted."""
        judged = self._judged
        if judged is None or judged.watch.untold or not judged.noted:
            return ()
        middle = WARM_STEP_C * round(judged.next_c / WARM_STEP_C)
        names = [check.name for check in self.morning_checks]
        rows = []
        for k in range(-WARM_STEPS, WARM_STEPS + 1):
            warm = middle + k * WARM_STEP_C
            told, sure = judged.expected_at(warm)
            expected = np.full((len(names), 3), np.nan)
            expanded = np.full((len(names), 3), np.nan)
            for i, name in enumerate(names):
                if name in judged.checks:
                    expected[i] = told[judged.checks.index(name)]
                    expanded[i] = sure[judged.checks.index(name)]
            rows.append(WarmRow(warm, expected, expanded))
        return tuple(rows)

    def _first(self) -> dict[str, tuple[Floats, Floats]]:
        """Return what the axis lines let expect, by name."""
        try:
            return {
                one.name: (np.asarray(one.expected_mm), np.asarray(one.expanded_mm))
                for one in self.first_checks
            }
        except Lacking:
            return {}

    def _off(self, judged: DriftFinding, check: int) -> Floats:
        """Return how far one check lay off what was expected on the last mornings that count."""
        watch, record = judged.watch, judged.record
        rows = []
        for row in [int(row) for row in watch.kept][-LAST:]:
            warm = record.temperature[row]
            warm = watch.estimate.middle_c if np.isnan(warm) else float(warm)
            expected = watch.estimate.expected(watch.columns[:, row], warm)[0]
            rows.append(judged.spread_out(record.value[row] - expected)[check])
        return np.array(rows)

    def _suggested(self) -> tuple[MorningCheck, ...]:
        try:
            poses = self.telling_poses
        except Lacking:
            low, high = -math.inf, math.inf
            if self.cell.unit.tilt_range is not None:
                low, high = (end.value for end in self.cell.unit.tilt_range)
            upright = self.has_tilt and low <= math.pi / 2.0 <= high
            poses = ((0.0, 0.0), (math.pi / 2.0, 0.0)) if upright else ((0.0, 0.0),)
        unknown = np.full(3, np.nan)
        return tuple(
            MorningCheck(
                f"{SUGGESTED} {number}", SUGGESTED, pose, "none", unknown, unknown, np.zeros((0, 3))
            )
            for number, pose in enumerate(poses, start=1)
        )
