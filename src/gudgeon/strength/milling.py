"""Forces of a milling cutter on the work, tooth by tooth.

A tooth at the angle phi, counted so that the chip begins at 0 and would end at pi in a full slot,
cuts a chip of thickness fz sin(phi).  The exponential cutting force law makes of it a tangential
force kc1.1 depth (fz sin phi)^(1-m); the radial force is a fixed share of it.  Teeth are taken as
straight: a helix spreads each tooth over some angle, and the size of a mean of forces is never more
than the size of the greatest of them, so peaks of straight teeth are on the safe side.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from scipy.special import beta, betainc

__all__ = [
    "Engagement",
    "TeethSum",
    "mean_sine_power",
    "resultant_factor",
    "rim_force",
    "teeth_sum",
    "tooth_force",
]

STEPS: Final = 720
"""Positions of the cutter within one pitch of the teeth; what lies between is off by under 1e-5."""

EDGE_RAD: Final = 1e-9
"""Just before and just after a tooth enters or leaves the cut."""


@dataclass(frozen=True, slots=True)
class Engagement:
    """Where a tooth is in the cut.

    Attributes
    ----------
    enter_rad, leave_rad : float
        Angles between which it cuts, 0 <= enter < leave <= pi.
    """

    enter_rad: float
    leave_rad: float

    @classmethod
    def of(cls, diameter_mm: float, width_mm: float, aside: float = 0.0) -> Engagement:
        """Return where a cutter is in the cut over a width.

        Parameters
        ----------
        diameter_mm, width_mm : float
            A width beyond the diameter is a full slot.
        aside : float
            0: the cut lies at one side of the cutter, 0.5: in its middle, 1: at its other side.

        Raises
        ------
        ValueError
            If diameter or width is not above zero, or `aside` is not between 0 and 1.
        """
        if not (diameter_mm > 0.0 and width_mm > 0.0):
            raise ValueError(
                f"diameter and width must be above 0, got {diameter_mm} and {width_mm}"
            )
        if not 0.0 <= aside <= 1.0:
            raise ValueError(f"aside must lie between 0 and 1, got {aside}")
        span = 2.0 * min(1.0, width_mm / diameter_mm)
        first = 1.0 - aside * (2.0 - span)
        return cls(math.acos(min(1.0, first)), math.acos(max(-1.0, first - span)))

    @property
    def arc_rad(self) -> float:
        """Angle in which a tooth is in the cut."""
        return self.leave_rad - self.enter_rad

    def teeth_in_cut(self, teeth: int) -> int:
        """Return how many of evenly spread teeth are in the cut at most."""
        return min(teeth, math.floor(self.arc_rad * teeth / (2.0 * math.pi) - EDGE_RAD) + 1)


@dataclass(frozen=True, slots=True)
class TeethSum:
    """What all teeth together make of a tangential force that is 1 at the thickness of the feed.

    Attributes
    ----------
    mean : float
        Tangential force summed over the teeth, averaged over a turn.
    peak : float
        The greatest sum of the tangential forces; times the radius it is the greatest torque.
    resultant : float
        The greatest length of the vector sum of the tangential forces.
    """

    mean: float
    peak: float
    resultant: float


def mean_sine_power(exponent: float, enter_rad: float, leave_rad: float) -> float:
    """Return the integral of sin(phi)^exponent from `enter_rad` to `leave_rad` [rad].

    Closed form by the incomplete beta function (definition of B with t = sin^2 phi).

    Parameters
    ----------
    exponent : float
        0 or more.
    enter_rad, leave_rad : float
        Between 0 and pi.
    """
    half = 0.5 * (exponent + 1.0)
    quarter = 0.5 * float(beta(half, 0.5))

    def upto(angle: float) -> float:
        share = quarter * float(betainc(half, 0.5, math.sin(angle) ** 2))
        return share if angle <= math.pi / 2.0 else 2.0 * quarter - share

    return upto(leave_rad) - upto(enter_rad)


@lru_cache(maxsize=256)
def teeth_sum(engagement: Engagement, teeth: int, exponent: float) -> TeethSum:
    """Return mean and peaks over a turn of evenly spread teeth.

    Parameters
    ----------
    engagement : Engagement
    teeth : int
    exponent : float
        m of the force law: a tooth's tangential force goes with sin(phi)^(1 - m); 0 to 1.

    Raises
    ------
    ValueError
        If there is no tooth.
    """
    if teeth < 1:
        raise ValueError(f"teeth must be 1 or more, got {teeth}")
    power = 1.0 - exponent
    pitch = 2.0 * math.pi / teeth
    edges = np.array([engagement.enter_rad, engagement.leave_rad])
    around = np.concatenate([edges - EDGE_RAD, edges + EDGE_RAD])
    turned = np.concatenate([np.linspace(0.0, pitch, STEPS, endpoint=False), around % pitch])
    angles = (turned[:, None] + pitch * np.arange(teeth)) % (2.0 * math.pi)
    cutting = (angles >= engagement.enter_rad) & (angles <= engagement.leave_rad)
    force = np.where(cutting, np.abs(np.sin(angles)) ** power, 0.0)
    along, across = force * np.cos(angles), force * np.sin(angles)
    whole = mean_sine_power(power, engagement.enter_rad, engagement.leave_rad)
    return TeethSum(
        mean=whole / pitch,
        peak=float(force.sum(axis=1).max()),
        resultant=float(np.hypot(along.sum(axis=1), across.sum(axis=1)).max()),
    )


def tooth_force(kc11_mpa: float, exponent: float, depth_mm: float, feed_mm: float) -> float:
    """Return a tooth's tangential force where the chip is as thick as the feed a tooth [N].

    kc1.1 depth fz^(1-m) (exponential cutting force law, CF-010); with the exponent 0 the pressure
    is the same at every thickness.
    """
    return float(kc11_mpa * depth_mm * feed_mm ** (1.0 - exponent))


def resultant_factor(radial_share: float) -> float:
    """Return the whole force across the spindle over its tangential part: sqrt(1 + share^2).

    The radial force of each tooth stands square to its tangential force and is the same share of
    it, so the vector sum over all teeth grows by the same factor.
    """
    return math.hypot(1.0, radial_share)


def rim_force(power_w: float, spin_rad_s: float, diameter_mm: float) -> float:
    """Return the mean tangential force on the cutter's rim [N]: F = 2 P / (w D) (P = M w).

    Raises
    ------
    ValueError
        If speed or diameter is not above zero.
    """
    if not (spin_rad_s > 0.0 and diameter_mm > 0.0):
        raise ValueError(f"speed and diameter must be above 0, got {spin_rad_s} and {diameter_mm}")
    return 2000.0 * power_w / (spin_rad_s * diameter_mm)
