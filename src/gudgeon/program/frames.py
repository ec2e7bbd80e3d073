"""Tilted planes and tool point: where the slides stand for a point that turns with the work.

Frames (design, section 4): the tip of a tool of length L stands in T at the displayed x, y, z - L.
A work point o, in T with all joint angles at zero, stands at W(angles) o; so the tip is on it when
the control displays W(angles) o + (0, 0, L).  "Displayed" here always contains the length.

Joint angles come as the pair (tilt, rotary); an axis that the chain does not have turns nothing.
They are the angles of the machine: the value of a work offset for a turning axis is already added.

In a tilted plane the turning axes stand still and X and Y of the plane run in the machine's XY
plane, turned about Z by whatever the pose leaves: nothing turns the work further to bring the
plane's X along the machine's X.  A plane turned about its own normal therefore asks for no turn.

The chain is the control's own idea of its axes.  Its directions should be those that the control
reckons with (as a rule nominal): with measured directions every plane would be askew by the tram.

What is not known is NaN and makes the result NaN; no finite input raises anything but `Halt`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from gudgeon.kinematics.chain import TurningAxis, WorkChain
from gudgeon.kinematics.inverse import EXACT_RAD, poses_facing
from gudgeon.program.doubts import Code, Halt

__all__ = [
    "PlaneFrame",
    "askew",
    "chain_angles",
    "chain_columns",
    "joint_point",
    "known_or_nan",
    "plane_frame",
    "poses_for_plane",
    "program_point",
    "tool_point_joint",
    "tool_point_program",
    "turn_vector",
    "work_point",
]

Vector = tuple[float, float, float]
Matrix = tuple[Vector, Vector, Vector]
Angles = tuple[float, float]

_TURN: Final = 2.0 * math.pi
_ROLES: Final = ("tilt", "rotary")
_NAN: Final = (math.nan,) * 3


# --- rigid motions ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Rigid:
    """A point goes to ``rotation @ point + shift``."""

    rotation: Matrix
    shift: Vector

    def point(self, at: Sequence[float]) -> Vector:
        return _add(_times(self.rotation, at), self.shift)

    def back(self, at: Sequence[float]) -> Vector:
        return _times_transposed(self.rotation, _subtract(at, self.shift))


def _times(m: Matrix, v: Sequence[float]) -> Vector:
    x, y, z = v
    a, b, c = m
    return (
        a[0] * x + a[1] * y + a[2] * z,
        b[0] * x + b[1] * y + b[2] * z,
        c[0] * x + c[1] * y + c[2] * z,
    )


def _times_transposed(m: Matrix, v: Sequence[float]) -> Vector:
    x, y, z = v
    a, b, c = m
    return (
        a[0] * x + b[0] * y + c[0] * z,
        a[1] * x + b[1] * y + c[1] * z,
        a[2] * x + b[2] * y + c[2] * z,
    )


def _add(u: Sequence[float], v: Sequence[float]) -> Vector:
    return (u[0] + v[0], u[1] + v[1], u[2] + v[2])


def _subtract(u: Sequence[float], v: Sequence[float]) -> Vector:
    return (u[0] - v[0], u[1] - v[1], u[2] - v[2])


def chain_columns(chain: WorkChain) -> list[int]:
    """Return where the chain's axes stand in the pair (tilt, rotary), in the chain's order."""
    return [_ROLES.index(axis.role) for axis in chain.axes]


def chain_angles(chain: WorkChain, joint_angles: Sequence[float]) -> list[float]:
    """Return those of the angles (tilt, rotary) that the chain has axes for, in its order."""
    return [float(joint_angles[i]) for i in chain_columns(chain)]


def _pose(chain: WorkChain, joint_angles: Sequence[float]) -> _Rigid:
    return _pose_of(chain, *chain_angles(chain, joint_angles))


@lru_cache(maxsize=256)
def _pose_of(chain: WorkChain, *angles: float) -> _Rigid:
    # Kept, because a program drills many holes in one pose.
    if not all(map(math.isfinite, angles)):
        return _Rigid((_NAN, _NAN, _NAN), _NAN)
    rows = chain.matrices(angles)[:3].tolist() if angles else np.eye(3, 4).tolist()
    a, b, c = ((row[0], row[1], row[2]) for row in rows)
    return _Rigid((a, b, c), (rows[0][3], rows[1][3], rows[2][3]))


# --- tilted planes ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class PlaneFrame:
    """A tilted plane on the work.

    Attributes
    ----------
    rotation : tuple of 3 rows of 3 floats
        Takes directions of the plane into those of the work offset; its last column is the normal.
    origin : tuple of 3 floats
        The plane's zero in the work offset's coordinates [mm].
    stated_at : pair of floats
        Joint angles (tilt, rotary) of the work at which the offset and this frame hold [rad].
        Zero, or the offset's own values for the turning axes where the control counts them as its
        zero.
    """

    rotation: Matrix
    origin: Vector
    stated_at: Angles = (0.0, 0.0)

    @property
    def normal(self) -> Vector:
        """The plane's Z in the directions of the work offset, a unit vector."""
        return (self.rotation[0][2], self.rotation[1][2], self.rotation[2][2])


def plane_frame(
    origin_mm: Sequence[float],
    angles_rad: Sequence[float],
    order: str,
    fixed_axes: bool = False,
    stated_at: Angles = (0.0, 0.0),
) -> PlaneFrame:
    """Return the plane that a tilted-plane word describes.

    Parameters
    ----------
    origin_mm : 3 floats
        The plane's zero in the work offset's coordinates [mm].
    angles_rad : 3 floats
        In the order of `order`; right-handed about the axis, as coordinates turn, whatever the
        senses of the machine's axes [rad].
    order : str
        Three of X Y Z.
    fixed_axes : bool
        False: each turn is about the axes as turned so far, R = R1 R2 R3.
        True: about the axes before any turn, R = R3 R2 R1.
    stated_at : pair of floats
        See `PlaneFrame`.

    Raises
    ------
    ValueError
        If `order` is not three of X Y Z.

    Notes
    -----
    Turning about moved axes multiplies from the right, about fixed axes from the left (rigid-body
    mechanics; from memory).
    """
    if len(order) != 3 or set(order) - set("XYZ"):
        raise ValueError(f"order must be three of X Y Z, got {order!r}")
    rotation: Matrix = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
    for letter, angle in zip(order, angles_rad, strict=True):
        turn = _about("XYZ".index(letter), angle)
        rotation = _product(turn, rotation) if fixed_axes else _product(rotation, turn)
    x, y, z = map(float, origin_mm)
    return PlaneFrame(rotation, (x, y, z), stated_at)


def _about(axis: int, angle: float) -> Matrix:
    if not math.isfinite(angle):
        return (_NAN, _NAN, _NAN)
    c, s = math.cos(angle), math.sin(angle)
    if axis == 0:
        return ((1.0, 0.0, 0.0), (0.0, c, -s), (0.0, s, c))
    if axis == 1:
        return ((c, 0.0, s), (0.0, 1.0, 0.0), (-s, 0.0, c))
    return ((c, -s, 0.0), (s, c, 0.0), (0.0, 0.0, 1.0))


def _product(m: Matrix, n: Matrix) -> Matrix:
    columns = zip(*n, strict=True)
    x, y, z = (_times(m, column) for column in columns)
    return ((x[0], y[0], z[0]), (x[1], y[1], z[1]), (x[2], y[2], z[2]))


def joint_point(
    frame: PlaneFrame,
    offset_mm: Sequence[float],
    chain: WorkChain,
    joint_angles: Sequence[float],
    point_mm: Sequence[float],
    length_mm: float,
) -> Vector:
    """Return the displayed X Y Z at which the tip is on a point of the plane [mm].

    Parameters
    ----------
    frame : PlaneFrame
    offset_mm : 3 floats
        Machine coordinates, without tool length, of the work offset's zero (shifts added) while
        the work stands at `frame.stated_at` [mm].
    chain : WorkChain
    joint_angles : pair of floats
        Where tilt and rotary stand now [rad].
    point_mm : 3 floats
        In the plane's coordinates [mm].
    length_mm : float
        Tool length in force [mm].
    """
    stated = _add(_add(offset_mm, frame.origin), _times(frame.rotation, point_mm))
    return tool_point_joint(chain, frame.stated_at, stated, joint_angles, length_mm)


def program_point(
    frame: PlaneFrame,
    offset_mm: Sequence[float],
    chain: WorkChain,
    joint_angles: Sequence[float],
    displayed_mm: Sequence[float],
    length_mm: float,
) -> Vector:
    """Return where the tip is in the plane's coordinates: the inverse of `joint_point` [mm]."""
    stated = tool_point_program(chain, frame.stated_at, displayed_mm, joint_angles, length_mm)
    return _times_transposed(frame.rotation, _subtract(_subtract(stated, offset_mm), frame.origin))


def turn_vector(
    frame: PlaneFrame, chain: WorkChain, joint_angles: Sequence[float], vector: Sequence[float]
) -> Vector:
    """Return how a direction of the plane points in the machine; its length is kept.

    The motion is rigid and right-handed: an arc keeps its radius, and its sweep about the turned
    normal is the programmed one.
    """
    on_work = _times_transposed(
        _pose(chain, frame.stated_at).rotation, _times(frame.rotation, vector)
    )
    return _times(_pose(chain, joint_angles).rotation, on_work)


def askew(frame: PlaneFrame, chain: WorkChain, joint_angles: Sequence[float]) -> float:
    """Return the angle between the plane's normal and the spindle's +Z in a pose, 0 to pi [rad].

    NaN when something is not known: ask ``not askew(...) <= limit``.
    """
    x, y, z = turn_vector(frame, chain, joint_angles, (0.0, 0.0, 1.0))
    return math.atan2(math.hypot(x, y), z)


def poses_for_plane(
    frame: PlaneFrame,
    chain: WorkChain,
    choice: str | None,
    now_angles: Sequence[float],
    column: int = 0,
) -> Angles:
    """Return the joint angles (tilt, rotary) that bring the plane's normal to +Z [rad].

    Parameters
    ----------
    frame : PlaneFrame
    chain : WorkChain
        Limits of the axes count.
    choice : str or None
        ``"tilt positive"``, ``"tilt negative"`` or ``"nearest"``; see `Dialect.plane_choice`.
    now_angles : pair of floats
        Where the axes stand; NaN where not known [rad].
    column : int
        Place for a `Halt`.

    Returns
    -------
    pair of floats
        An axis that may stand anywhere stays where it is.  For the others: with ``"nearest"`` the
        turn nearest to `now_angles`, else the angle of smallest size within the limits, to be taken
        as if it were written in the program: which way round it goes is the turning rule's.
        NaN when the plane's angles are not known.

    Raises
    ------
    Halt
        PLANE_UNREACHABLE: no pose within the limits.  PLANE_TWO_WAYS: two poses (whole turns
        apart is the same pose) and the choice does not tell them apart.  POSITION_UNKNOWN:
        ``"nearest"`` of two from an unknown angle.  NOT_DECLARED: lines that are parallel.

    Notes
    -----
    A single pose within the limits is taken, whatever the choice.  What "nearest" measures differs
    among controls (common practice, no source): here a pose must be nearer both by the larger turn
    of the two axes and by their sum, else it counts as not told apart.
    """
    normal = _times_transposed(_pose(chain, frame.stated_at).rotation, frame.normal)
    now = (known_or_nan(now_angles[0]), known_or_nan(now_angles[1]))
    if not all(map(math.isfinite, normal)):
        return (math.nan, math.nan)
    if not chain.axes:
        if askew(frame, chain, now) > EXACT_RAD:
            raise Halt(Code.PLANE_UNREACHABLE, column)
        return now
    try:
        found = poses_facing(chain, normal).poses
    except ValueError:
        raise Halt(Code.NOT_DECLARED, column, what="axis lines") from None
    ways: list[Angles] = []
    for pose in found:  # by size, so that the first of those whole turns apart is the smallest
        way = list(now)
        for i, axis, angle, free in zip(
            chain_columns(chain), chain.axes, pose.angles_rad, pose.free, strict=True
        ):
            if not free:
                way[i] = _nearest_turn(axis, angle, now[i]) if choice == "nearest" else angle
        if not any(_same_pose(way, other) for other in ways):
            ways.append((way[0], way[1]))
    if not ways:
        raise Halt(Code.PLANE_UNREACHABLE, column)
    if len(ways) > 1:
        ways = _chosen(ways, choice, now, column)
    if len(ways) != 1:
        raise Halt(Code.PLANE_TWO_WAYS, column)
    return ways[0]


def known_or_nan(angle: float) -> float:
    """Return the angle; NaN for anything not finite."""
    return float(angle) if math.isfinite(angle) else math.nan


def _same_pose(one: Sequence[float], other: Sequence[float]) -> bool:
    # A free axis that stands at an unknown angle stands there in both.
    return all(
        math.isnan(u - v) or abs(math.remainder(u - v, _TURN)) <= EXACT_RAD
        for u, v in zip(one, other, strict=True)
    )


def _nearest_turn(axis: TurningAxis, angle: float, now: float) -> float:
    """Return the angle, whole turns added, nearest to `now` and within the limits."""
    if not math.isfinite(now):
        return angle
    turns = round((now - angle) / _TURN)
    for more in sorted((0, 1, -1), key=lambda m: abs(angle + (turns + m) * _TURN - now)):
        there = angle + (turns + more) * _TURN
        if axis.low_rad - EXACT_RAD <= there <= axis.high_rad + EXACT_RAD:
            return there
    return angle  # `now` itself lies far outside the limits


def _chosen(ways: list[Angles], choice: str | None, now: Angles, column: int) -> list[Angles]:
    if choice == "tilt positive":
        return [way for way in ways if way[0] >= -EXACT_RAD]
    if choice == "tilt negative":
        return [way for way in ways if way[0] <= EXACT_RAD]
    if choice != "nearest":
        return ways
    for role, angle in zip(_ROLES, now, strict=True):
        if not math.isfinite(angle):
            raise Halt(Code.POSITION_UNKNOWN, column, axis=role)
    turns = [[abs(way[i] - now[i]) for i in range(2)] for way in ways]
    larger, total = [max(t) for t in turns], [sum(t) for t in turns]
    return [
        way
        for way, big, both in zip(ways, larger, total, strict=True)
        if big <= min(larger) + EXACT_RAD and both <= min(total) + EXACT_RAD
    ]


# --- tool-point control -------------------------------------------------------------------------


def work_point(
    chain: WorkChain, joint_angles: Sequence[float], point_mm: Sequence[float]
) -> Vector:
    """Return where a work point that stands at `point_mm` in a pose lies at zero angles, T [mm]."""
    return _pose(chain, joint_angles).back(point_mm)


def tool_point_joint(
    chain: WorkChain,
    reference_angles: Sequence[float] | None,
    point_mm: Sequence[float],
    joint_angles: Sequence[float],
    length_mm: float,
) -> Vector:
    """Return the displayed X Y Z at which the tip is on a point that goes with the work [mm].

    Parameters
    ----------
    chain : WorkChain
    reference_angles : pair of floats or None
        Joint angles at which the coordinates of the point hold; None: all zero
        (`ToolPointWord.frame_at_zero`) [rad].
    point_mm : 3 floats
        The point in T, offset added, as it stands at the reference angles [mm].
    joint_angles : pair of floats
        Where tilt and rotary stand now [rad].
    length_mm : float
        Tool length in force [mm].
    """
    x, y, z = _pose(chain, joint_angles).point(
        _pose(chain, (0.0, 0.0) if reference_angles is None else reference_angles).back(point_mm)
    )
    return (x, y, z + length_mm)


def tool_point_program(
    chain: WorkChain,
    reference_angles: Sequence[float] | None,
    displayed_mm: Sequence[float],
    joint_angles: Sequence[float],
    length_mm: float,
) -> Vector:
    """Return the point under the tip as it stands at the reference angles, T [mm].

    The inverse of `tool_point_joint`, with the same parameters.
    """
    x, y, z = displayed_mm
    on_work = _pose(chain, joint_angles).back((x, y, z - length_mm))
    return _pose(chain, (0.0, 0.0) if reference_angles is None else reference_angles).point(on_work)
