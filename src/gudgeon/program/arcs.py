"""Circles from what a block writes: by centre, by radius.

All functions take and return plain numbers, so that the compiled reader and the full one run the
very same text.  A plane has coordinates (u, v), right-handed about its normal: X, Y (normal +Z);
Z, X (normal +Y); Y, Z (normal +X).  A sweep is positive counter-clockwise, seen against the normal.
"""

from __future__ import annotations

from math import atan2, hypot, inf, pi, sqrt
from typing import Final

__all__ = [
    "ARC_OK",
    "END_IS_START",
    "NEARLY_CLOSED",
    "NOT_KNOWN",
    "NO_RADIUS",
    "RADII_DIFFER",
    "TOO_SMALL",
    "arc_by_centre",
    "arc_by_radius",
]

ARC_OK: Final = 0
RADII_DIFFER: Final = 1
"""By centre: start and end lie at different distances from it."""
NO_RADIUS: Final = 2
"""By centre: it lies on the start or the end."""
END_IS_START: Final = 1
"""By radius: every circle through the point would do."""
TOO_SMALL: Final = 2
"""By radius: it does not reach (zero included)."""
NEARLY_CLOSED: Final = 3
"""Start and end are one point on a control that rounds to its least increment, two on a finer one:
the first goes all the way round, the other hardly moves.  The sweep returned is that of the longer
path, which holds the shorter one."""
NOT_KNOWN: Final = 4
"""A number is not known, or a length beyond `LARGEST`; the rest of the result is NaN."""

NOISE: Final = 1e-6
"""Closer than this [mm] two points differ by rounding alone: a thousandth of the least increment
in use, a million times the rounding of sums of programmed numbers."""

RADIUS_NOISE: Final = 1e-9
"""Two lengths from few sums that differ by less [mm] differ by rounding alone."""

LARGEST: Final = 1e9
"""A larger radius [mm] leaves no room for `NOISE` in a double."""

NAN: Final = inf - inf


def arc_by_centre(
    u0: float,
    v0: float,
    u1: float,
    v1: float,
    cu: float,
    cv: float,
    clockwise: bool,
    tolerance: float = 0.002,
    least: float = 0.001,
) -> tuple[int, float]:
    """Return the sweep from start to end about a centre.

    Parameters
    ----------
    u0, v0, u1, v1, cu, cv : float
        Start, end and centre in the plane [mm].
    clockwise : bool
        Seen against the normal of the plane.
    tolerance : float
        Allowed difference of the two radii [mm]; 0.002 mm or 0.0002 in by NISTIR 6556, 3.5.3.2.
    least : float
        Least increment of the control [mm]: ends nearer than half of it may be one point to it.

    Returns
    -------
    status : int
        `ARC_OK`, `RADII_DIFFER`, `NO_RADIUS`, `NEARLY_CLOSED` or `NOT_KNOWN`.
    sweep : float
        Signed [rad]; 2 pi in size when the end is the start (NISTIR 6556, 3.5.3.2), NaN when
        the status leaves none.

    Notes
    -----
    An end a hair behind the start gives a hair less than the whole turn and needs no judgement.
    A hair ahead (also one that lies on the start's ray, where rounding would choose the side) it is
    hardly any motion or a whole turn; by common practice (no source) numbers that read the same on
    the display close the circle.
    """
    start_u, start_v = u0 - cu, v0 - cv
    end_u, end_v = u1 - cu, v1 - cv
    start_radius = hypot(start_u, start_v)
    end_radius = hypot(end_u, end_v)
    if not (start_radius <= LARGEST and end_radius <= LARGEST):
        return NOT_KNOWN, NAN
    if start_radius <= NOISE or end_radius <= NOISE:
        return NO_RADIUS, NAN
    if not abs(start_radius - end_radius) <= tolerance + RADIUS_NOISE:
        return RADII_DIFFER, NAN
    turn = -2.0 * pi if clockwise else 2.0 * pi
    if hypot(u1 - u0, v1 - v0) <= NOISE:
        return ARC_OK, turn
    # From sine and cosine of the angle between: no cancellation for short arcs.
    start_u, start_v = start_u / start_radius, start_v / start_radius
    end_u, end_v = end_u / end_radius, end_v / end_radius
    angle = atan2(start_u * end_v - start_v * end_u, start_u * end_u + start_v * end_v)
    forward = -angle if clockwise else angle
    along = forward * start_radius
    if -NOISE <= along < 0.5 * least:
        return NEARLY_CLOSED, turn
    return ARC_OK, angle if forward > 0.0 else angle + turn


def arc_by_radius(
    u0: float,
    v0: float,
    u1: float,
    v1: float,
    radius: float,
    clockwise: bool,
    tolerance: float = 0.002,
    least: float = 0.001,
) -> tuple[int, float, float, float]:
    """Return the centre and the sweep of an arc given by its radius (NISTIR 6556, 3.5.3.1).

    Parameters
    ----------
    u0, v0, u1, v1 : float
        Start and end in the plane [mm].
    radius : float
        Above zero: at most half a turn; below: at least half a turn [mm].
    clockwise : bool
        Seen against the normal of the plane.
    tolerance : float
        How far twice the radius may fall short of the distance [mm, of radius]: ends and radius are
        written rounded, so a half circle may come out too wide.  It is then a half circle about the
        middle.
    least : float
        Least increment of the control [mm].

    Returns
    -------
    status : int
        `ARC_OK`, `END_IS_START`, `TOO_SMALL`, `NOT_KNOWN`, or `NEARLY_CLOSED` for a nearly full
        circle whose ends a control with this increment may take for one point.
    cu, cv : float
        Centre [mm]; NaN when the status leaves none.
    sweep : float
        Signed [rad].
    """
    ahead_u, ahead_v = u1 - u0, v1 - v0
    distance = hypot(ahead_u, ahead_v)
    size = abs(radius)
    if not (distance <= LARGEST and size <= LARGEST):
        return NOT_KNOWN, NAN, NAN, NAN
    if distance <= NOISE:
        return END_IS_START, NAN, NAN, NAN
    half = 0.5 * distance
    if size <= NOISE or half > size + tolerance + RADIUS_NOISE:
        return TOO_SMALL, NAN, NAN, NAN
    # (r - d/2)(r + d/2) under the root: exact where r^2 - d^2/4 cancels.
    spare = size - half
    aside = sqrt(spare) * sqrt(size + half) if spare > RADIUS_NOISE else 0.0
    sweep = 2.0 * atan2(half, aside)
    if radius < 0.0:
        sweep = 2.0 * pi - sweep
    # The short way counter-clockwise leaves the centre on the left, the others turn that round.
    if clockwise == (radius > 0.0):
        aside = -aside
    cu = u0 + 0.5 * ahead_u - aside * (ahead_v / distance)
    cv = v0 + 0.5 * ahead_v + aside * (ahead_u / distance)
    if clockwise:
        sweep = -sweep
    if radius < 0.0 and distance < 0.5 * least:
        return NEARLY_CLOSED, cu, cv, sweep
    return ARC_OK, cu, cv, sweep
