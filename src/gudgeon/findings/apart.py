"""Pairs of bodies that are not judged: bolted together, the machine's or the unit's own affair."""

from __future__ import annotations

from typing import Final

import numpy as np

from gudgeon.findings.bodies import Crowd, bounds_of
from gudgeon.findings.tool_bodies import NOSE

__all__ = ["keep_apart"]

JOINED_MM: Final = 1e-6
"""Parts of the unit with no more room than this between them are joined [mm]."""


def keep_apart(crowd: Crowd) -> None:
    """Take out what is bolted together, or is the machine's or the unit's own affair."""
    from gudgeon.clearance.scene import Carrier, Role

    by_role: dict[Role, list[str]] = {role: [] for role in Role}
    for body in crowd.bodies:
        by_role[body.role].append(body.name)
    _join_unit(crowd)
    # A disc that turns about its own axis comes no nearer to what carries it.
    crowd.never_touch(
        crowd.discs,
        [b.name for b in crowd.bodies if b.carrier is Carrier.TILT and b.role is Role.UNIT],
    )
    crowd.never_touch(crowd.walls, [*by_role[Role.TABLE], *crowd.walls, NOSE])
    crowd.never_touch(by_role[Role.HOSE], [*by_role[Role.UNIT], *by_role[Role.TABLE]])
    standing = [
        body.name
        for body in crowd.bodies
        if body.carrier is Carrier.TABLE and body.role in (Role.UNIT, Role.FIXTURE)
    ]
    crowd.never_touch(by_role[Role.TABLE], standing)
    crowd.never_touch(by_role[Role.HOSE], by_role[Role.HOSE])
    turning = [body.name for body in crowd.bodies if body.carrier in (Carrier.TILT, Carrier.ROTARY)]
    crowd.never_touch((*crowd.outlines, *crowd.carried_hoses), turning)


def _join_unit(crowd: Crowd) -> None:
    """Take out parts of the unit that are joined; judge those that stand free of each other.

    What has room between it with both angles at zero may meet on the way: a coupling on the
    cradle and the floor of the casting.
    """
    from gudgeon.clearance.scene import Role

    parts = [body for body in crowd.bodies if body.role is Role.UNIT]
    bounds = {body.name: bounds_of(body) for body in parts}
    joined = []
    for number, one in enumerate(parts):
        for other in parts[number + 1 :]:
            (low, high), (other_low, other_high) = bounds[one.name], bounds[other.name]
            apart = float(np.max(np.maximum(other_low - high, low - other_high)))
            if one.carrier is other.carrier or apart <= JOINED_MM:
                crowd.never_touch((one.name,), (other.name,))
                if one.carrier is not other.carrier:
                    joined.append(f"{one.name} with {other.name}")
    if joined:
        crowd.assumed.append(
            "Parts of the unit whose outlines meet with both angles at zero are joined there "
            f"and not judged against each other: {'; '.join(joined)}."
        )
