"""How the morning's checks would move if one part of the cell moved: what tells the parts apart."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.findings.gather import Lacking
from gudgeon.findings.morning import MorningFindings

__all__ = ["MovedSign", "MovedSignFindings"]

Floats = NDArray[np.float64]

SHOWN: Final = 0.1
"""A coordinate that moves by less than this share of the greatest is not named."""

TINY: Final = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class MovedSign:
    """One part that may have moved.

    Attributes
    ----------
    name : str
        As in `gudgeon.findings.drifting.Moved.causes`.
    effects : ndarray, shape (number of checks, 3, k)
        Motion of each check in machine X, Y, Z for a unit of each of the part's own motions.
    shows : tuple of tuple of str
        For each check, for each of those motions: the machine directions in which it shows, such
        as "X", "-Y" or "Y and -Z"; "stays" where it does not move.
    """

    name: str
    effects: Floats
    shows: tuple[tuple[str, ...], ...]


class MovedSignFindings(MorningFindings):
    """Facts about what tells one moved part from another."""

    @cached_property
    def moved_signs(self) -> tuple[MovedSign, ...]:
        """The parts that may move, in the order of the checks of `morning_checks`.

        Zeros of the axes are among them only where the place of every check is known.

        Raises
        ------
        Lacking
            What the senses lack.
        """
        checks = self.morning_checks
        poses = np.array([check.pose_rad or (0.0, 0.0) for check in checks])
        places: Floats | None = np.array([check.expected_mm for check in checks])
        if places is None or np.any(np.isnan(places)):
            places = None
        try:
            motions = self.motions(poses, places)
        except Lacking:
            motions = self.motions(poses, None)
        return tuple(
            MovedSign(name, np.asarray(effect), tuple(_shows(one) for one in effect))
            for name, effect in motions
        )


def _shows(effect: Floats) -> tuple[str, ...]:
    """Return in which directions each column of a check's motion shows."""
    most = float(np.max(np.abs(effect)))
    told = []
    for column in effect.T:
        named = [
            ("-" if value < 0.0 else "") + "XYZ"[axis]
            for axis, value in enumerate(column.tolist())
            if abs(value) > max(TINY, SHOWN * float(np.max(np.abs(column))))
            and abs(value) > TINY * max(most, 1.0)
        ]
        told.append(" and ".join(named) or "stays")
    return tuple(told)
