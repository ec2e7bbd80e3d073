"""Motion of one axis from rest to rest, and from one speed to another, in closed form.

Seven phases: jerk up, steady acceleration, jerk down, steady speed, and the same mirrored; any of
them may be missing.  With unlimited jerk it is the trapezoid.  The formulas follow from integrating
the phases; they are the shortest times there are for such limits (compared in the tests with an
independent library).  All arrays broadcast.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "change_distance",
    "change_s",
    "peak_acceleration",
    "peak_speed",
    "position",
    "rest_to_rest_s",
    "slowest_axis_s",
    "straight_s",
    "trapezoid_s",
]

Floats = NDArray[np.float64]


def _checked(*limits: ArrayLike) -> tuple[Floats, ...]:
    arrays = [np.asarray(limit, dtype=np.float64) for limit in limits]
    if not all(np.all(array > 0.0) for array in arrays):
        raise ValueError("speed, acceleration and jerk must be above zero")
    return tuple(np.broadcast_arrays(*arrays))


def trapezoid_s(distance: ArrayLike, speed: ArrayLike, acceleration: ArrayLike) -> Floats:
    """Return the seconds from rest to rest with unlimited jerk.

    D/V + V/A where the speed is reached (D >= V^2/A), else 2 sqrt(D/A).
    """
    return rest_to_rest_s(distance, speed, acceleration)


def rest_to_rest_s(
    distance: ArrayLike, speed: ArrayLike, acceleration: ArrayLike, jerk: ArrayLike = np.inf
) -> Floats:
    """Return the least seconds from rest to rest.

    Parameters
    ----------
    distance : array_like
        [mm or rad]; its sign does not count.
    speed, acceleration, jerk : array_like
        Limits D, A, J per s, s2, s3, above zero; the jerk may be infinite.

    Returns
    -------
    ndarray
        [s]

    Raises
    ------
    ValueError
        A limit that is not above zero.

    Notes
    -----
    Speed and acceleration reached: D/V + V/A + A/J.  Speed alone: D/V + 2 sqrt(V/J).
    Acceleration alone: A/J + sqrt((A/J)^2 + 4 D/A).  Neither: (32 D/J)^(1/3).
    """
    v, a, j = _checked(speed, acceleration, jerk)
    d = np.abs(np.asarray(distance, dtype=np.float64))
    rise = a / j
    with np.errstate(over="ignore", invalid="ignore"):
        reaches = d >= v * change_s(0.0, v, a, j)
        at_speed = d / v + change_s(0.0, v, a, j)
        steady = rise + np.sqrt(rise * rise + 4.0 * d / a)
        jerky = np.cbrt(32.0 * d / j)
        short = np.where(d >= 2.0 * a * rise * rise, steady, jerky)
    return np.asarray(np.where(d > 0.0, np.where(reaches, at_speed, short), 0.0))


def change_s(
    from_speed: ArrayLike, to_speed: ArrayLike, acceleration: ArrayLike, jerk: ArrayLike = np.inf
) -> Floats:
    """Return the least seconds from one steady speed to another.

    The acceleration is zero at both ends: |dV|/A + A/J where it is reached, else 2 sqrt(|dV|/J).
    """
    a, j = _checked(acceleration, jerk)
    change = np.abs(np.asarray(to_speed, dtype=np.float64) - np.asarray(from_speed))
    rise = a / j
    found = np.where(change >= a * rise, change / a + rise, 2.0 * np.sqrt(change / j))
    return np.asarray(np.where(change > 0.0, found, 0.0))


def change_distance(
    from_speed: ArrayLike, to_speed: ArrayLike, acceleration: ArrayLike, jerk: ArrayLike = np.inf
) -> Floats:
    """Return the path of `change_s`: the mean of both speeds, by symmetry, times its seconds."""
    mean = 0.5 * (np.asarray(from_speed, dtype=np.float64) + np.asarray(to_speed))
    return np.asarray(mean * change_s(from_speed, to_speed, acceleration, jerk))


def peak_speed(
    distance: ArrayLike, speed: ArrayLike, acceleration: ArrayLike, jerk: ArrayLike = np.inf
) -> Floats:
    """Return the greatest speed of `rest_to_rest_s`."""
    v, a, j = _checked(speed, acceleration, jerk)
    half = 0.5 * np.abs(np.asarray(distance, dtype=np.float64))
    # Speed reached over half the way: V (V/A + A/J)/2 = D/2, or J tau^3 = D/2 and V = J tau^2.
    least = 0.5 * a * a / j
    with np.errstate(over="ignore", invalid="ignore"):
        # sqrt(least^2 + 2 A s) - least without cancellation
        steady = 2.0 * a * half / (np.sqrt(least * least + 2.0 * a * half) + least)
        jerky = np.where(np.isfinite(j), np.cbrt(half * half * j), np.inf)
    found = np.where(steady >= 2.0 * least, steady, jerky)
    return np.asarray(np.where(half > 0.0, np.minimum(found, v), 0.0))


def peak_acceleration(
    distance: ArrayLike, speed: ArrayLike, acceleration: ArrayLike, jerk: ArrayLike = np.inf
) -> Floats:
    """Return the greatest acceleration of `rest_to_rest_s`."""
    top = peak_speed(distance, speed, acceleration, jerk)
    _, a, j = _checked(speed, acceleration, jerk)
    with np.errstate(invalid="ignore"):
        return np.asarray(np.where(top > 0.0, np.minimum(a, np.sqrt(top * j)), 0.0))


def position(
    seconds: ArrayLike,
    distance: ArrayLike,
    speed: ArrayLike,
    acceleration: ArrayLike,
    jerk: ArrayLike = np.inf,
) -> Floats:
    """Return how far a motion from rest to rest has come at given seconds from its start.

    Before the start 0, after the end the whole distance; the distance keeps its sign.
    """
    v, a, j = _checked(speed, acceleration, jerk)
    whole = np.asarray(distance, dtype=np.float64)
    way = np.abs(whole)
    total = rest_to_rest_s(way, v, a, j)
    top = peak_speed(way, v, a, j)
    t = np.clip(np.asarray(seconds, dtype=np.float64), 0.0, total)
    early = t <= 0.5 * total
    t = np.where(early, t, total - t)
    ramp = change_s(0.0, top, a, j)
    # Over the ramp: jerk for `bend`, steady at `steep` until ramp - bend, then jerk back.
    steep = np.where(top > 0.0, peak_acceleration(way, v, a, j), 1.0)
    bend = np.where(np.isfinite(j), steep / np.where(np.isfinite(j), j, 1.0), 0.0)
    slope = steep / np.where(bend > 0.0, bend, 1.0)
    first = slope * t**3 / 6.0
    second = steep * (0.5 * (t - 0.5 * bend) ** 2 + bend * bend / 24.0)
    left = ramp - t
    third = 0.5 * top * ramp - (top * left - slope * left**3 / 6.0)
    after = 0.5 * top * ramp + top * (t - ramp)
    gone = np.where(
        t >= ramp, after, np.where(t < bend, first, np.where(t > ramp - bend, third, second))
    )
    return np.asarray(np.copysign(np.where(early, gone, way - gone), whole))


def slowest_axis_s(
    deltas: ArrayLike, speed: ArrayLike, acceleration: ArrayLike, jerk: ArrayLike = np.inf
) -> Floats:
    """Return the seconds of moves in which every axis runs in its own time (a dog-leg).

    Parameters
    ----------
    deltas : array_like, shape (..., axes)
        Way of each axis [mm or rad].
    speed, acceleration, jerk : array_like, shape (axes,)

    Returns
    -------
    ndarray, shape (...)
        The longest of the axes' times [s].
    """
    return np.asarray(np.max(rest_to_rest_s(deltas, speed, acceleration, jerk), axis=-1))


def straight_s(
    deltas: ArrayLike, speed: ArrayLike, acceleration: ArrayLike, jerk: ArrayLike = np.inf
) -> Floats:
    """Return the seconds of moves in which all axes arrive together on a straight line.

    Parameters and result as `slowest_axis_s`.  Each limit of the path is the least over the axes of
    the limit divided by the size of the axis's part of the direction.
    """
    way = np.abs(np.asarray(deltas, dtype=np.float64))
    moving = np.any(way > 0.0, axis=-1)
    scaled = []
    for limit in _checked(speed, acceleration, jerk):
        with np.errstate(divide="ignore"):
            shares = np.where(way > 0.0, limit / way, np.inf)
        scaled.append(np.where(moving, np.min(shares, axis=-1), 1.0))
    return rest_to_rest_s(np.where(moving, 1.0, 0.0), *scaled)
