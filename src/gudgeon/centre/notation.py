"""Symbols for where the line of an axis of rotation stands (ISO 230-7:2015; meaning from memory).

E, then the direction or turn of the error, then 0 for the mean line, then the letter of the axis:
``EX0C``, in older writing ``XOC``, is how far the line of axis C stands along X from where it
should.
"""

from __future__ import annotations

from typing import Final

__all__ = ["location_errors", "short_symbol"]

LINEAR: Final = "XYZ"
TURNS: Final = "ABC"


def location_errors(along: str, letter: str) -> tuple[str, str, str, str]:
    """Return the errors of place and direction of the line of an axis.

    Two offsets square to the line, two turns about directions square to it.

    Parameters
    ----------
    along : str
        X, Y or Z: the direction that the line lies along.
    letter : str
        What the axis is called.

    Raises
    ------
    ValueError
        If `along` is no direction.
    """
    if along not in LINEAR or len(along) != 1:
        raise ValueError(f"a line lies along X, Y or Z, not {along!r}")
    one, two = (k for k in range(3) if LINEAR[k] != along)
    return (
        f"E{LINEAR[one]}0{letter}",
        f"E{LINEAR[two]}0{letter}",
        f"E{TURNS[one]}0{letter}",
        f"E{TURNS[two]}0{letter}",
    )


def short_symbol(symbol: str) -> str:
    """Return the older writing of a location error: ``EX0C`` as ``XOC``."""
    if len(symbol) != 4 or symbol[0] != "E" or symbol[2] != "0":
        raise ValueError(f"not the symbol of a location error: {symbol!r}")
    return f"{symbol[1]}O{symbol[3]}"
