"""Outside values of topic 03 against the product's chain, turn and inverse."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from gudgeon.kinematics.chain import AxisLine, TurningAxis, WorkChain, turn_about
from gudgeon.kinematics.inverse import poses_facing
from gudgeon.quantity.kinds import Kind
from gudgeon.quantity.text import read_amount
from tests.outside import rows

ROWS = rows("03-kinematics")
X, Y, Z = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)
ORIGIN = (0.0, 0.0, 0.0)


def value(row: dict[str, Any], name: str) -> Any:
    return row["inputs"][name]


def turn(direction: Any, degrees: float, point: Any = ORIGIN) -> Any:
    x, y, z = np.asarray(direction, float) / np.linalg.norm(direction)
    return turn_about(AxisLine(tuple(point), (x, y, z)), np.deg2rad(degrees))


def chain(sense: int, tilt_point: Any = ORIGIN, rotary_point: Any = ORIGIN) -> WorkChain:
    return WorkChain(
        (
            TurningAxis("tilt", AxisLine(tuple(tilt_point), X), sense),
            TurningAxis("rotary", AxisLine(tuple(rotary_point), Z), sense),
        )
    )


def pose(row: dict[str, Any]) -> Any:
    return np.deg2rad([value(row, "A"), value(row, "C")])


def rotation(direction: Any) -> Callable[[dict[str, Any]], Any]:
    return lambda row: turn(direction, value(row, "angle"))[:3, :3]


def matrix(row: dict[str, Any]) -> Any:
    return chain(+1).matrices(pose(row))[:3, :3]


def work(row: dict[str, Any]) -> Any:
    return chain(-1).points(pose(row), value(row, "point"))


def about_line(direction: Any) -> Callable[[dict[str, Any]], Any]:
    return lambda row: (
        turn(direction, value(row, "angle"), value(row, "line_point")) @ [*value(row, "point"), 1.0]
    )[:3]


def lines_apart(row: dict[str, Any]) -> Any:
    built = chain(-1, value(row, "A_line"), value(row, "C_line"))
    return built.points(pose(row), value(row, "point"))


def quaternion(row: dict[str, Any]) -> Any:
    """Read (x, y, z, w) off the product's matrix with scipy, with w positive."""
    from scipy.spatial.transform import Rotation

    found = Rotation.from_matrix(turn(value(row, "axis"), value(row, "angle"))[:3, :3])
    return found.as_quat(canonical=True)


def trace_and_angle(row: dict[str, Any]) -> Any:
    """Use that a turn's trace is 1 + 2 cos; the angle is read back from the product's matrix."""
    got = turn(value(row, "axis"), value(row, "angle"))[:3, :3]
    return [np.trace(got), np.rad2deg(math.acos((np.trace(got) - 1.0) / 2.0))]


def angle_apart(row: dict[str, Any]) -> float:
    one, two = chain(+1).matrices(np.deg2rad([[30.0, 45.0], [30.0, 60.0]]))[:, :3, :3]
    return float(np.rad2deg(math.acos((np.trace(one.T @ two) - 1.0) / 2.0)))


def combined(row: dict[str, Any]) -> Any:
    from scipy.spatial.transform import Rotation

    got = chain(+1).matrices(np.deg2rad([90.0, 90.0]))[:3, :3]
    vector = Rotation.from_matrix(got).as_rotvec()
    return [np.rad2deg(np.linalg.norm(vector)), *(vector / np.linalg.norm(vector))]


def shift_for_tilt(row: dict[str, Any]) -> float:
    """Lean the platter's axis by a small angle and see where it passes the height."""
    lean = turn(X, value(row, "tilt") / 3600.0)[:3, :3] @ Z
    return float(value(row, "h") * abs(lean[1] / lean[2]) * 1000.0)


def units_of_angle(row: dict[str, Any]) -> list[float]:
    """Read both with the product's own reader: arcsec in urad, 1 mrad in arcsec."""
    arcsec, mrad = (read_amount(text, Kind.ANGLE).value for text in ("1 arcsec", "1 mrad"))
    return [arcsec * 1e6, mrad / arcsec]


def chord(row: dict[str, Any]) -> float:
    start = np.array([value(row, "r"), 0.0, 0.0, 1.0])
    return float(np.linalg.norm(turn(Z, value(row, "err")) @ start - start) * 1000.0)


CHECKS: dict[str, Callable[[dict[str, Any]], Any]] = {
    **{f"KN-00{i}": rotation(X) for i in range(3)},
    **{f"KN-01{i}": rotation(Y) for i in range(3)},
    **{f"KN-02{i}": rotation(Z) for i in range(3)},
    "KN-030": lambda row: turn(value(row, "axis"), value(row, "angle"))[:3, :3],
    "KN-031": quaternion,
    "KN-032": lambda row: turn(value(row, "axis"), value(row, "angle"))[:3, :3],
    "KN-033": quaternion,
    "KN-034": trace_and_angle,
    **{f"KN-04{i}": matrix for i in range(4)},
    **{f"KN-05{i}": work for i in range(4)},
    "KN-060": lambda row: [
        turn(X, 90)[:3, :3] @ turn(Z, 90)[:3, :3] @ X,
        turn(Z, 90)[:3, :3] @ turn(X, 90)[:3, :3] @ X,
    ],
    "KN-070": about_line(X),
    "KN-071": about_line(X),
    "KN-072": about_line(Z),
    "KN-073": about_line(Y),
    **{f"KN-08{i}": lines_apart for i in range(6)},
    "KN-100": angle_apart,
    "KN-101": combined,
    "KN-102": lambda row: np.abs(
        turn((1, 2, 3), 40)[:3, :3] @ turn((1, 2, 3), 40)[:3, :3].T - np.eye(3)
    ).max(),
    "KN-103": lambda row: np.add((turn(Z, 90) @ [1, 0, 0, 1])[:3], [1, 2, 3]),
    "KN-104": shift_for_tilt,
    "KN-105": units_of_angle,
    "KN-106": chord,
}
INVERSE = [f"KN-09{i}" for i in range(6)]


def test_every_row_is_checked_or_explained() -> None:
    assert sorted([*CHECKS, *INVERSE]) == sorted(ROWS)


@pytest.mark.parametrize("name", CHECKS)
def test_row(name: str) -> None:
    row = ROWS[name]
    expected = row["expected"]
    if name == "KN-101":
        expected = [expected[0], *expected[1]]
    # The expected numbers are printed to 15 digits.
    np.testing.assert_allclose(CHECKS[name](row), expected, rtol=0, atol=row["tolerance"])


@pytest.mark.parametrize("name", INVERSE)
def test_inverse_row(name: str) -> None:
    """All solutions, no more; C is compared modulo 360 deg (the row writes -180 for 180)."""
    row = ROWS[name]
    found = poses_facing(chain(-1), value(row, "normal")).poses
    assert len(found) == len(row["expected"])
    for tilt, rotary in row["expected"]:
        near = [
            pose
            for pose in found
            if abs(np.rad2deg(pose.angles_rad[0]) - tilt) <= row["tolerance"]
            and (
                pose.free[1]
                if rotary == "any"
                else abs(math.remainder(np.rad2deg(pose.angles_rad[1]) - rotary, 360.0))
                <= row["tolerance"]
            )
        ]
        assert len(near) == 1, (tilt, rotary, found)
    assert all(-math.pi < angle <= math.pi for pose in found for angle in pose.angles_rad)
