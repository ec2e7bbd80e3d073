"""Which programmed angles bring a face of the work to the spindle.

Two axes in general position: they need be neither square to each other nor meet (where they run
does not matter for a direction).  Closed form, all solutions.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gudgeon.kinematics.chain import TurningAxis, WorkChain, turned

__all__ = ["EXACT_RAD", "MANY_TURNS", "Facing", "Pose", "poses_facing"]

Floats = NDArray[np.float64]

EXACT_RAD: Final = 1e-9
"""Directions closer than this count as the same: far below any unit, far above rounding."""

MANY_TURNS: Final = 4
"""An axis whose limits span more full turns than this is treated as endless: one angle each."""

_ONE_ROOT: Final = 1e-14
"""Squares below this are rounding of a double root; the two roots differ by 2e-7 rad at most."""


@dataclass(frozen=True, slots=True)
class Pose:
    """Programmed angles that face the wished direction.

    Attributes
    ----------
    angles_rad : tuple of float
        In the order of the chain's axes [rad].
    free : tuple of bool
        Whether the axis may stand at any angle; the angle given is then 0, or the limit nearest to
        0.
    """

    angles_rad: tuple[float, ...]
    free: tuple[bool, ...]


@dataclass(frozen=True, slots=True)
class Facing:
    """Every way to bring one direction of the work to one direction of the machine.

    Attributes
    ----------
    poses : tuple of Pose
        Within the limits, by size of the first angle, then of the second; none if there are none.
    outside : tuple of Pose
        Would do, but beyond a limit (one representative each, angles in (-pi, pi]).
    shortfall_rad : float
        Angle that remains at best, limits left aside [rad]; 0 where the axes can reach it.
    """

    poses: tuple[Pose, ...]
    outside: tuple[Pose, ...]
    shortfall_rad: float


def poses_facing(
    chain: WorkChain,
    normal: ArrayLike,
    toward: ArrayLike = (0.0, 0.0, 1.0),
    *,
    tolerance_rad: float = EXACT_RAD,
) -> Facing:
    """Find all poses that bring `normal` of the work to `toward` of the machine.

    Parameters
    ----------
    chain : WorkChain
        One or two axes.
    normal : array_like, shape (3,)
        Direction of the work in T with all angles at zero; any length but zero.
    toward : array_like, shape (3,)
        Wished direction in T; the spindle's +Z by default.
    tolerance_rad : float
        A pose that comes this near is taken, and a normal this near to an axis leaves that axis
        free [rad].

    Returns
    -------
    Facing

    Raises
    ------
    ValueError
        If the chain has no or more than two axes, the two are parallel, or a direction is none.

    Notes
    -----
    Wanted: R_a(alpha) R_b(beta) n = d with unit axes a (carrying) and b (carried).  The middle
    vector v = R_b(beta) n keeps its angle to b, and R_a keeps its angle to a, so v.b = n.b and
    v.a = d.a.  With v = x a + y b + z (a x b) these fix x and y, and |v| = 1 fixes z up to its
    sign: the two poses of a two-axis unit.  The angles follow from the parts square to the axes.
    (R. M. Murray, Z. Li, S. S. Sastry, A Mathematical Introduction to Robotic Manipulation, 1994,
    chapter 3, subproblem 2: from memory.)  v can stand at any angle to a from |g - h| to
    min(g + h, 2 pi - g - h), g between a and b, h between b and n; what is missing to the angle
    between a and d is the shortfall.
    """
    n, d = _unit("normal", normal), _unit("toward", toward)
    axes = chain.axes
    if len(axes) not in (1, 2):
        raise ValueError(f"the chain needs one or two axes, it has {len(axes)}")
    lines = [_unit("direction", axis.line.direction) for axis in axes]
    carried: list[float | None] = [None]
    if len(axes) == 1:
        shortfall = abs(_angle(lines[0], n) - _angle(lines[0], d))
    else:
        shortfall, carried = _carried_turns(lines[0], lines[1], n, d, tolerance_rad)
    if shortfall > tolerance_rad:
        return Facing((), (), shortfall)

    inside: list[Pose] = []
    outside: list[Pose] = []
    for turn in carried:
        middle = n if turn is None else turned(lines[1], turn, n)
        carrying = _turn_between(lines[0], middle, d, tolerance_rad)
        turns = (carrying,) if len(axes) == 1 else (carrying, turn)
        choices = [_programmed(axis, by) for axis, by in zip(axes, turns, strict=True)]
        free = tuple(by is None for by in turns)
        if all(found for found, _ in choices):
            for angles in itertools.product(*(found for found, _ in choices)):
                inside.append(Pose(tuple(angles), free))
        else:
            outside.append(Pose(tuple(usual for _, usual in choices), free))
    inside.sort(key=lambda pose: [(abs(round(a, 9)), -a) for a in pose.angles_rad])
    return Facing(tuple(inside), tuple(outside), 0.0 if shortfall <= EXACT_RAD else shortfall)


def _carried_turns(
    a: Floats, b: Floats, n: Floats, d: Floats, tolerance_rad: float
) -> tuple[float, list[float | None]]:
    """Return the shortfall, and the turns of the work about the carried axis (None: any)."""
    cross = np.cross(a, b)
    square = float(cross @ cross)
    if square < 1e-12:
        raise ValueError("the two axes are parallel; together they turn like one")
    between, off, wished = _angle(a, b), _angle(b, n), _angle(a, d)
    least = abs(between - off)
    most = min(between + off, 2.0 * math.pi - between - off)
    shortfall = max(least - wished, wished - most, 0.0)
    if min(off, math.pi - off) <= tolerance_rad:
        return shortfall, [None]
    cosine, p, q = float(a @ b), float(d @ a), float(n @ b)
    x, y = (p - cosine * q) / square, (q - cosine * p) / square
    z_squared = (1.0 - x * x - y * y - 2.0 * x * y * cosine) / square
    roots = [0.0] if z_squared < _ONE_ROOT else [math.sqrt(z_squared), -math.sqrt(z_squared)]
    # The turn's angle needs only the part of v square to b, so v need not be exactly unit long.
    return shortfall, [_turn_between(b, n, x * a + y * b + z * cross, 0.0) for z in roots]


def _turn_between(axis: Floats, start: Floats, end: Floats, tolerance: float) -> float | None:
    """Return the right-handed turn about `axis` from `start` to `end`; None if any will do."""
    sine_part, cosine_part = float(axis @ np.cross(start, end)), float(start @ end)
    cosine_part -= float(axis @ start) * float(axis @ end)
    if float(np.linalg.norm(np.cross(axis, start))) <= max(tolerance, EXACT_RAD):
        return None
    return math.atan2(sine_part, cosine_part)


def _programmed(axis: TurningAxis, work_turn: float | None) -> tuple[list[float], float]:
    """Return the programmed angles within the limits, and the usual one in (-pi, pi]."""
    low, high = axis.low_rad - EXACT_RAD, axis.high_rad + EXACT_RAD
    if work_turn is None:
        return [min(max(0.0, axis.low_rad), axis.high_rad)], 0.0
    usual = math.remainder(axis.sense * work_turn, 2.0 * math.pi)
    if usual <= -math.pi + EXACT_RAD:
        # A hair above half a turn back is the half turn itself, as one writes it.
        usual = math.pi
    usual += 0.0  # no minus zero
    turn = 2.0 * math.pi
    if high - low > MANY_TURNS * turn:
        if low <= usual <= high:
            return [usual], usual
        nearest = (
            math.ceil((low - usual) / turn) if usual < low else math.floor((high - usual) / turn)
        )
        return [usual + nearest * turn], usual
    first, last = math.ceil((low - usual) / turn), math.floor((high - usual) / turn)
    return [usual + k * turn for k in range(first, last + 1)], usual


def _angle(u: Floats, v: Floats) -> float:
    return math.atan2(float(np.linalg.norm(np.cross(u, v))), float(u @ v))


def _unit(name: str, value: ArrayLike) -> Floats:
    vector = np.asarray(value, dtype=np.float64)
    if vector.shape != (3,) or not np.all(np.isfinite(vector)):
        raise ValueError(f"{name} needs three finite components, its shape is {vector.shape}")
    length = float(np.linalg.norm(vector))
    if length == 0.0:
        raise ValueError(f"{name} has no length")
    return np.asarray(vector / length)
