"""Forces and powers of drilling and milling, for estimates where no force was measured.

A specific cutting force kc (MPa = N/mm2) is the force on 1 mm2 of chip section.  Forces of worn
tools are higher than any of these formulas.
"""

from __future__ import annotations

import math

__all__ = [
    "chip_thickness_mean",
    "chip_thickness_most",
    "cutting_force",
    "drilling_chip",
    "drilling_power",
    "drilling_thrust",
    "drilling_thrust_of",
    "drilling_torque",
    "feed_per_tooth",
    "milling_power",
    "removal_rate",
    "specific_cutting_force",
    "spindle_speed",
    "spindle_torque",
]


def specific_cutting_force(kc11_mpa: float, exponent: float, thickness_mm: float) -> float:
    """Return kc = kc1.1 h^-m [MPa] (exponential cutting force law, CF-010).

    Raises
    ------
    ValueError
        If the chip thickness is not above zero.
    """
    if not thickness_mm > 0.0:
        raise ValueError(f"thickness_mm must be above 0, got {thickness_mm}")
    return float(kc11_mpa * thickness_mm**-exponent)


def cutting_force(kc11_mpa: float, exponent: float, width_mm: float, thickness_mm: float) -> float:
    """Return F = b h kc = b h^(1-m) kc1.1 [N] (exponential cutting force law, CF-010)."""
    kc = specific_cutting_force(kc11_mpa, exponent, thickness_mm)
    return width_mm * thickness_mm * kc


def drilling_torque(kc_mpa: float, diameter_mm: float, feed_mm: float) -> float:
    """Return M = kc f D^2 / 8 of a two-lipped drill [N m] (tool handbooks, CF-040).

    The force kc f D / 4 on each lip acts at D / 4 from the axis, on two lips.
    """
    return kc_mpa * feed_mm * diameter_mm**2 / 8.0 / 1000.0


def drilling_thrust(
    kc_mpa: float, diameter_mm: float, feed_mm: float, half_point_rad: float = math.radians(59.0)
) -> float:
    """Return 0.5 kc (D/2) f sin(kr) [N] (tool handbooks, CF-042).

    The lips alone: the chisel edge and wear may double it, so take it with a wide range.

    Parameters
    ----------
    half_point_rad : float
        Half the point angle; 59 deg for a 118 deg point.
    """
    return 0.5 * kc_mpa * 0.5 * diameter_mm * feed_mm * math.sin(half_point_rad)


def drilling_thrust_of(
    torque_nm: float, diameter_mm: float, half_point_rad: float = math.radians(59.0)
) -> float:
    """Return the thrust of the lips of a drill from its torque [N]: 2 M sin(kr) / D.

    CF-040 and CF-042 divided by each other; chisel edge and wear as in `drilling_thrust`.

    Raises
    ------
    ValueError
        If the diameter is not above zero.
    """
    if not diameter_mm > 0.0:
        raise ValueError(f"diameter_mm must be above 0, got {diameter_mm}")
    return 2000.0 * torque_nm * math.sin(half_point_rad) / diameter_mm


def drilling_chip(feed_mm: float, half_point_rad: float = math.radians(59.0)) -> float:
    """Return the chip thickness on each of two lips [mm]: f/2 sin(kr) (geometry of the point)."""
    return 0.5 * feed_mm * math.sin(half_point_rad)


def drilling_power(kc_mpa: float, diameter_mm: float, feed_mm: float, speed_mm_s: float) -> float:
    """Return the power of a two-lipped drill [W] (P = M w; tool handbooks, CF-041).

    Parameters
    ----------
    speed_mm_s : float
        Cutting speed at the rim [mm/s].
    """
    spin = spindle_speed(speed_mm_s, diameter_mm)
    return drilling_torque(kc_mpa, diameter_mm, feed_mm) * spin


def spindle_speed(speed_mm_s: float, diameter_mm: float) -> float:
    """Return the speed of turning for a cutting speed [rad/s].

    Raises
    ------
    ValueError
        If the diameter is not above zero.
    """
    if not diameter_mm > 0.0:
        raise ValueError(f"diameter_mm must be above 0, got {diameter_mm}")
    return 2.0 * speed_mm_s / diameter_mm


def feed_per_tooth(feed_mm_s: float, spin_rad_s: float, teeth: int) -> float:
    """Return the feed a tooth [mm] of a cutter moving at `feed_mm_s`."""
    return feed_mm_s * 2.0 * math.pi / (spin_rad_s * teeth)


def removal_rate(depth_mm: float, width_mm: float, feed_mm_s: float) -> float:
    """Return the volume cut in a second [mm3/s]."""
    return depth_mm * width_mm * feed_mm_s


def milling_power(
    kc_mpa: float, depth_mm: float, width_mm: float, feed_mm_s: float, efficiency: float = 1.0
) -> float:
    """Return the power that milling takes from the motor [W] (kc times volume, CF-020)."""
    return kc_mpa * removal_rate(depth_mm, width_mm, feed_mm_s) / 1000.0 / efficiency


def spindle_torque(power_w: float, spin_rad_s: float) -> float:
    """Return the torque M = P / w [N m]."""
    return power_w / spin_rad_s


def chip_thickness_most(feed_mm: float, diameter_mm: float, width_mm: float) -> float:
    """Return the greatest chip thickness of side milling [mm]: 2 fz sqrt(ae/D (1 - ae/D)).

    At half the diameter and more it is the feed a tooth itself.
    """
    share = width_mm / diameter_mm
    return feed_mm if share >= 0.5 else 2.0 * feed_mm * math.sqrt(share * (1.0 - share))


def chip_thickness_mean(feed_mm: float, diameter_mm: float, width_mm: float) -> float:
    """Return the chip thickness of side milling averaged over the engagement [mm].

    fz (1 - cos phi) / phi with cos phi = 1 - 2 ae/D, the angle in which a tooth is in the cut.
    """
    share = width_mm / diameter_mm
    angle = math.acos(1.0 - 2.0 * share)
    return feed_mm * 2.0 * share / angle
