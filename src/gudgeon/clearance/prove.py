"""Proofs over motions, paths and boxes of joint positions for the bodies of a scene."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gudgeon.clearance.box import gap_box
from gudgeon.clearance.pieces import Pieces, gather
from gudgeon.clearance.scene import Body, Carrier, Role, Scene
from gudgeon.clearance.sweep import gap

__all__ = ["Gap", "Path", "Prover", "Status"]

Floats = NDArray[np.float64]


class Status(IntEnum):
    """How a proof ended."""

    PROVEN = 0
    """The gap is at least what was asked."""
    CLOSER = 1
    """There is a pose where it is closer (the witness)."""
    UNDECIDED = 2
    """Neither within the work allowed."""


@dataclass(frozen=True, slots=True)
class Gap:
    """What is known of the smallest gap over a motion or a box.

    Attributes
    ----------
    status : Status
    lower_mm : float
        The gap is nowhere smaller; minus infinity where nothing is proven.
    upper_mm : float
        True gap at the witness; infinite when no pair came nearer than was asked.
    joint : tuple of 5 floats
        Joint position of the witness [mm, rad].
    pair : tuple of two names
        The nearest bodies at the witness.
    points : two points in T
        Nearest points of the two bodies at the witness [mm].
    """

    status: Status
    lower_mm: float
    upper_mm: float
    joint: tuple[float, ...]
    pair: tuple[str, str]
    points: tuple[tuple[float, float, float], tuple[float, float, float]]


@dataclass(frozen=True, slots=True)
class Path:
    """What is known of each segment of a path.

    Attributes
    ----------
    status : ndarray of Status, shape (n,)
    lower_mm : ndarray, shape (n,)
        At least the clearance asked where proven in a chunk.
    done : int
        Segments judged; fewer than n when cancelled.
    """

    status: NDArray[np.uint8]
    lower_mm: Floats
    done: int


@dataclass(frozen=True, slots=True)
class _Pair:
    """Bodies of A against bodies of B: A only slides, B may turn."""

    a: Pieces
    b: Pieces
    a_bodies: tuple[Body, ...]
    b_bodies: tuple[Body, ...]
    mask: Floats
    lines: Floats
    unsure_mm: float


class Prover:
    """Proofs for one scene with one tool in the spindle.

    Parameters
    ----------
    scene : Scene
    tool : sequence of Body
        Carried by the head.
    """

    def __init__(self, scene: Scene, tool: Sequence[Body] = ()) -> None:
        raise NotImplementedError

    def motion(
        self,
        start: ArrayLike,
        end: ArrayLike,
        need_mm: float,
        *,
        cutting: str | None = None,
        exact: bool = False,
        tol_mm: float = 1e-3,
    ) -> Gap:
        """Prove a motion straight in joint space.

        Parameters
        ----------
        start, end : array_like, shape (5,)
            [mm, mm, mm, rad, rad]
        need_mm : float
            Clearance asked; the axis lines' uncertainty is added where it counts.
        cutting : str or None
            None: nothing may touch (rapids).  A station: the cutter may touch its stock;
            ``"*"``: the stock of any station.
        exact : bool
            Find the smallest gap to within `tol_mm`, however large; else stop when it is known to
            be enough.
        """
        raise NotImplementedError

    def path(
        self,
        start: ArrayLike,
        ends: ArrayLike,
        need_mm: float,
        *,
        cutting: Sequence[str | None] | None = None,
        progress: Callable[[float], bool] | None = None,
    ) -> Path:
        """Prove many motions, each from the end of the one before; chunks are proven together."""
        raise NotImplementedError

    def box(
        self, low: ArrayLike, high: ArrayLike, need_mm: float, *, exact: bool = False,
        tol_mm: float = 1e-2,
    ) -> Gap:
        """Prove every joint position between two corners."""
        raise NotImplementedError

    def overlap_mm(self, joint: ArrayLike) -> tuple[float, tuple[str, str]]:
        """Return how deep bodies overlap in one pose (0: not at all) and the worst pair."""
        raise NotImplementedError
