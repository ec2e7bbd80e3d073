"""What a brake or clamp of a turning axis still holds beside the weight of the load.

Gravity and cut are taken to push the same way: a weight that helps at one moment pushes the other
way after a turn, so it is never credited.
"""

from __future__ import annotations

import math

from gudgeon.strength.gravity import MM_PER_M

__all__ = ["brake_demand", "brake_margin_factor", "force_limit"]


def brake_demand(gravity_nm: float, *pushes: tuple[float, float]) -> float:
    """Return the torque that the brake must hold [N m].

    Parameters
    ----------
    gravity_nm : float
        Torque of the weight, either sign [N m].
    *pushes : (force, lever)
        Forces [N] and their levers from the axis line [mm], either sign.
    """
    return abs(gravity_nm) + sum(abs(force * lever) for force, lever in pushes) / MM_PER_M


def brake_margin_factor(brake_nm: float, demand_nm: float) -> float:
    """Return how many times the brake holds the demand; infinite if nothing pushes."""
    return brake_nm / demand_nm if demand_nm > 0.0 else math.inf


def force_limit(
    brake_nm: float, safety: float, gravity_nm: float, lever_mm: float, other_nm: float = 0.0
) -> float | None:
    """Return the greatest force at a lever that the brake holds [N].

    Parameters
    ----------
    brake_nm : float
        Holding torque of the brake [N m].
    safety : float
        The demand may be this fraction of the brake: 1 or more.
    gravity_nm, other_nm : float
        Torques of the weight and of other forces, either sign [N m].
    lever_mm : float
        Distance of the force from the axis line, either sign [mm].

    Returns
    -------
    float or None
        ``None`` where the force passes through the axis line: the brake sets no limit.  0 where
        the brake has nothing left.
    """
    if safety < 1.0:
        raise ValueError(f"safety must be 1 or more, got {safety}")
    left_nm = brake_nm / safety - abs(gravity_nm) - abs(other_nm)
    # A lever of under a nanometre is a rounded zero, not a lever.
    if abs(lever_mm) < 1e-6:
        return None
    return max(0.0, left_nm * MM_PER_M / abs(lever_mm))
