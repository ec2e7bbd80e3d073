"""What to expect of the morning checks before there are days to tell: from the axis lines."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.findings.offsets import OffsetFindings
from gudgeon.findings.part_points import PartPointFindings
from gudgeon.quantity.spread import jacobian

__all__ = ["READING_U_MM", "FirstCheck", "FirstCheckFindings"]

Floats = NDArray[np.float64]

READING_U_MM: Final = 0.005
"""Standard uncertainty of one coordinate where nothing states it (common practice, no source)."""


@dataclass(frozen=True, slots=True, eq=False)
class FirstCheck:
    """A check whose place in the platter frame is entered.

    Attributes
    ----------
    name : str
    pose_rad : tuple of (float, float)
        Tilt and turn.
    expected_mm : ndarray, shape (3,)
        Where it stands by the axis lines, machine coordinates.
    expanded_mm : ndarray, shape (3,)
        U at 95 % of one reading against it: lines, place as entered, reading.
    """

    name: str
    pose_rad: tuple[float, float]
    expected_mm: Floats
    expanded_mm: Floats


class FirstCheckFindings(PartPointFindings, OffsetFindings):
    """Facts about checks that nobody has taken yet."""

    @cached_property
    def first_checks(self) -> tuple[FirstCheck, ...]:
        """Checks with a place in the platter frame, carried through the axis lines.

        Raises
        ------
        Lacking
            What the axis lines lack, if there is such a check.
        """
        placed = [check for check in self.cell.checks if check.at is not None]
        if not placed:
            return ()
        lines = self.axis_lines
        stated = self.cell.drift.reading_u or self.cell.readings.reading_u
        reading = READING_U_MM if stated is None else stated.value
        # Parameters that nobody measured have no spread; their step only must not be zero.
        variances = np.diag(lines.covariance)
        steps = np.where(variances > 0.0, np.sqrt(np.clip(variances, 0.0, None)), 1e-4)
        found = []
        for check in placed:
            assert check.at is not None
            pose = (0.0, 0.0)
            if check.pose is not None:
                pose = (check.pose[0].value, check.pose[1].value)
            angles = np.array([pose if len(lines.chain.axes) == 2 else pose[1:]])
            at = np.array([one.value for one in check.at])

            def place(values: Floats, angles: Floats = angles, at: Floats = at) -> Floats:
                rest = lines.platter_origin_of(values) + self._platter_on(values) @ at
                return np.asarray(lines.chain_of(values).points(angles, rest[None, :])[0])

            slopes = jacobian(place, lines.values, steps)
            turned = lines.chain.directions(angles, self._platter_on(lines.values).T)
            own = turned.reshape(3, 3).T * np.array([one.u for one in check.at])
            variance = np.einsum("ip,pq,iq->i", slopes, lines.covariance, slopes)
            variance = variance + np.sum(own**2, axis=1) + reading**2
            found.append(
                FirstCheck(check.name or "", pose, place(lines.values), lines.k95 * variance**0.5)
            )
        return tuple(found)
