"""Which letter an axis has by ISO 841, which way it turns, and which side it shows.

A is the letter of turning about X, B about Y, C about Z.  Positive is the motion of the TOOL
relative to the work, right-handed; an axis that carries the work therefore turns the work the other
way, which is sense -1 in the words of `gudgeon.kinematics.chain`.

Sources: ISO 841:2001 (coordinate system and motion nomenclature); T. R. Kramer et al., NISTIR 6556,
The NIST RS274NGC Interpreter Version 3 (2000), 2.1.1.2 and 2.1.2.2.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gudgeon.kinematics.chain import WorkChain

__all__ = [
    "LETTERS",
    "MACHINE_AXES",
    "WORK_CARRYING_SENSE",
    "along_positive",
    "angle_between",
    "axis_of_letter",
    "letter_about",
    "nearest_side",
    "side_brought_to",
    "side_direction",
    "turn_seen",
]

Floats = NDArray[np.float64]

MACHINE_AXES: Final = ("X", "Y", "Z")
LETTERS: Final = ("A", "B", "C")
"""Letters of turning about X, Y, Z, in that order (ISO 841:2001)."""

WORK_CARRYING_SENSE: Final = -1
"""Sense of an axis that carries the work: opposite to the tool's (ISO 841:2001; NISTIR 6556)."""


def axis_of_letter(letter: str) -> Floats:
    """Return the machine direction about which a letter turns: A -> X, B -> Y, C -> Z.

    Raises
    ------
    ValueError
        If it is not one of `LETTERS`.
    """
    if letter not in LETTERS:
        raise ValueError(f"letter must be one of {', '.join(LETTERS)}, got {letter!r}")
    return np.asarray(np.eye(3)[LETTERS.index(letter)])


def letter_about(direction: ArrayLike) -> str:
    """Return the letter of turning about the machine axis nearest to `direction`."""
    return LETTERS[_nearest(direction)]


def along_positive(direction: ArrayLike) -> Floats:
    """Return the unit direction, turned end for end if needed, that runs with its machine axis.

    Parameters
    ----------
    direction : array_like, shape (3,)
        Any length except zero.

    Returns
    -------
    ndarray, shape (3,)
        Its component along the nearest machine axis is positive, so that a sense stated about that
        axis holds about it.  Exactly between two axes the earlier of X, Y, Z counts.
    """
    unit = _unit(direction)
    return np.asarray(unit * (1.0 if unit[_nearest(unit)] > 0.0 else -1.0))


def nearest_side(direction: ArrayLike) -> tuple[str, float]:
    """Return the nearest of "X+", "X-" ... "Z-" and the angle to it [rad]."""
    unit = _unit(direction)
    index = _nearest(unit)
    name = MACHINE_AXES[index] + ("+" if unit[index] > 0.0 else "-")
    return name, angle_between(unit, side_direction(name))


def side_direction(side: str) -> Floats:
    """Return the unit direction of "X+", "X-" ... "Z-".

    Raises
    ------
    ValueError
        If `side` is none of the six.
    """
    if len(side) != 2 or side[0] not in MACHINE_AXES or side[1] not in "+-":
        raise ValueError(f'side must be such as "X+" or "Z-", got {side!r}')
    return np.asarray(np.eye(3)[MACHINE_AXES.index(side[0])] * (1.0 if side[1] == "+" else -1.0))


def turn_seen(watched: str, moved: str) -> Floats:
    """Return the direction about which the work turned, right-handed, from one mark seen.

    Parameters
    ----------
    watched : str
        Side of the axis on which the mark sat, such as "Z+".
    moved : str
        Direction into which it moved, such as "Y-".

    Returns
    -------
    ndarray, shape (3,)
        Unit direction.  A point r from the axis moves with w x r; for a mark square to its motion
        w = r x v / r^2 (kinematics of a rigid body).

    Raises
    ------
    ValueError
        If the mark moved along its own side: no turn moves it so.
    """
    turned: Floats = np.cross(side_direction(watched), side_direction(moved))
    if not np.any(turned):
        raise ValueError(f"a mark on the {watched} side cannot be turned towards {moved}")
    return turned


def side_brought_to(
    chain: WorkChain, angles_rad: Sequence[float], now: ArrayLike = (0.0, 0.0, 1.0)
) -> Floats:
    """Return which direction of the work, with all angles at zero, points to `now` in the pose.

    With the default it is the side that came up.

    Parameters
    ----------
    chain : WorkChain
    angles_rad : sequence of float
        Programmed angles in the order of the chain's axes [rad].
    now : array_like, shape (3,)
        Direction in T.

    Returns
    -------
    ndarray, shape (3,)
    """
    rotation = chain.matrices(np.asarray(angles_rad, dtype=np.float64))[:3, :3]
    return np.asarray(rotation.T @ _unit(now))  # the inverse of a rotation is its transpose


def angle_between(a: ArrayLike, b: ArrayLike) -> float:
    """Return the angle between two directions, 0 to pi [rad]."""
    u, v = _unit(a), _unit(b)
    # atan2 keeps its digits near 0 and pi, where acos loses half of them.
    return float(np.arctan2(np.linalg.norm(np.cross(u, v)), np.dot(u, v)))


def _nearest(direction: ArrayLike) -> int:
    size = np.abs(_unit(direction))
    # Rounding must not decide between two axes equally near (a unit at yaw 45 deg).
    return int(np.argmax(size >= size.max() - 1e-12))


def _unit(direction: ArrayLike) -> Floats:
    vector = np.asarray(direction, dtype=np.float64)
    if vector.shape != (3,) or not np.all(np.isfinite(vector)):
        raise ValueError(f"a direction has three finite components, got {vector!r}")
    length = float(np.linalg.norm(vector))
    if length == 0.0:
        raise ValueError("a direction without length points nowhere")
    return np.asarray(vector / length)
