"""Symbols for the errors of an axis of rotation (ISO 230-7:2015; meaning from memory).

E, then the direction or turn of the error, then the axis: ``EXC`` is how far axis C strays along X
as it turns, ``EX0C`` (also written XOC) how far its line stands from where it should.
"""

from __future__ import annotations

from typing import Final

__all__ = ["component_errors", "location_errors", "short_symbol", "zero_angle_error"]

LINEAR: Final = "XYZ"
TURNS: Final = "ABC"


def component_errors(axis: str) -> tuple[str, ...]:
    """Return the six errors of motion of axis A, B or C: along X, Y, Z, about X, Y, Z."""
    _checked(axis)
    return tuple(f"E{direction}{axis}" for direction in LINEAR + TURNS)


def location_errors(axis: str) -> tuple[str, ...]:
    """Return the errors of place and direction of the line of axis A, B or C.

    Two offsets square to the line, two turns about directions square to it.
    """
    along = _checked(axis)
    across = [k for k in range(3) if k != along]
    return tuple(f"E{name[k]}0{axis}" for name in (LINEAR, TURNS) for k in across)


def zero_angle_error(axis: str) -> str:
    """Return the symbol of the error of the axis's zero."""
    _checked(axis)
    return f"E{axis}0{axis}"


def short_symbol(symbol: str) -> str:
    """Return the older writing of a location error: ``EX0C`` as ``XOC``."""
    if len(symbol) != 4 or symbol[0] != "E" or symbol[2] != "0":
        raise ValueError(f"not the symbol of a location error: {symbol!r}")
    return f"{symbol[1]}O{symbol[3]}"


def _checked(axis: str) -> int:
    if axis not in TURNS or len(axis) != 1:
        raise ValueError(f"an axis of rotation is A, B or C, not {axis!r}")
    return TURNS.index(axis)
