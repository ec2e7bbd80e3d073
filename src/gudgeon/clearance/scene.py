"""The bodies of a cell, what carries each, and which pairs may not touch.

Body coordinates are those of the table frame T while the machine displays X = Y = Z = 0 and all
angles are zero; bodies of the head are counted from the gauge point (as in `kinematics.bodies`).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum, StrEnum

import numpy as np
from numpy.typing import NDArray

from gudgeon.clearance.pieces import Solid

__all__ = ["Body", "Carrier", "Lines", "Role", "Scene"]

Floats = NDArray[np.float64]


class Carrier(IntEnum):
    """What a body moves with."""

    TABLE = 0
    TILT = 1
    ROTARY = 2
    HEAD = 3
    BASE = 4


class Role(StrEnum):
    """What a body is, as far as touching goes."""

    CUTTER = "cutter"
    SHANK = "shank"
    HOLDER = "holder"
    NOSE = "nose"
    STOCK = "stock"
    """What may be cut; the cutter may be in it on feed moves."""
    PART = "part"
    """The finished part inside the stock; the cutter may not go below its surface."""
    FIXTURE = "fixture"
    UNIT = "unit"
    TABLE = "table"
    GUARD = "guard"
    HOSE = "hose"


@dataclass(frozen=True, slots=True)
class Body:
    """One rigid body.

    Attributes
    ----------
    name : str
    carrier : Carrier
    role : Role
    solids : tuple of Solid
        Convex pieces, or triangles of a surface, in body coordinates [mm].
    closed : bool
        The triangles enclose a volume: something wholly inside touches nothing and is a crash.
    station : str
        Of stock and part: the station they stand in; empty: all of them (one outline).
    """

    name: str
    carrier: Carrier
    role: Role
    solids: tuple[Solid, ...]
    closed: bool = True
    station: str = ""


@dataclass(frozen=True, slots=True)
class Lines:
    """Axis lines for the compiled loops.

    Attributes
    ----------
    rows : ndarray, shape (2, 7)
        Tilt, rotary: point [mm], unit direction, sense (0: no such axis).
    """

    rows: Floats


@dataclass(frozen=True, slots=True)
class Scene:
    """All bodies of a cell.

    Attributes
    ----------
    bodies : tuple of Body
        Without the tool; those of the tool in hand come with each question.
    lines : Lines
    table_axes : tuple of 3 bools
        Which of X, Y, Z the table makes: bodies on the base move so in T.
    apart : frozenset of frozenset of two names
        Pairs that are not judged: bolted together or touching by design.
    unsure_mm : float
        How far a point of the work may stand from where the axis lines say, k = 2 [mm]; added to
        the clearance asked of every pair with a body on the tilt or rotary.
    below_mm : float
        How far a cutter may go below the surface of a finished part [mm]: the error of the part's
        model and of chords.
    """

    bodies: tuple[Body, ...]
    lines: Lines
    table_axes: tuple[bool, bool, bool] = (True, True, False)
    apart: frozenset[frozenset[str]] = field(default_factory=frozenset)
    unsure_mm: float = 0.0
    below_mm: float = 0.02
