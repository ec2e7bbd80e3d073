"""Small errors of the axes and of the mill that a fit may take into account.

They are left at zero unless asked for.  Most of them cannot be told from where the lines stand by
touching the unit alone, so they come with what is known of them from elsewhere (`fit_lines`).

* ``tilt_zero``, ``tilt_scale``, ``tilt_sin``, ``tilt_cos`` (and the same of ``rotary``): the axis
  stands at a + zero + scale a + sin sin(a) + cos cos(a) where the control shows a [rad].
* ``mill_scale_x`` ... ``_z``: true travel over displayed travel, less one, counted from the origin
  of the line frame.
* ``mill_square_xy``: the mill's Y travel leans towards X by so much [rad]; ``_xz``: its Z towards
  X; ``_yz``: its Z towards Y.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

__all__ = ["OPTIONAL", "straightened", "turned_to"]

Floats = NDArray[np.float64]
Numbers = NDArray[Any]

_OF_AN_AXIS: Final = ("zero", "scale", "sin", "cos")
_OF_THE_MILL: Final = {
    "mill_scale_x": (0, 0),
    "mill_scale_y": (1, 1),
    "mill_scale_z": (2, 2),
    "mill_square_xy": (0, 1),
    "mill_square_xz": (0, 2),
    "mill_square_yz": (1, 2),
}

OPTIONAL: Final = (
    *(f"tilt_{part}" for part in _OF_AN_AXIS),
    *(f"rotary_{part}" for part in _OF_AN_AXIS),
    *_OF_THE_MILL,
)
"""All of them, in order."""


def turned_to(role: str, shown: Numbers, values: Numbers, at: Mapping[str, int]) -> Numbers:
    """Return where an axis really stands [rad].

    Parameters
    ----------
    role : str
        ``"tilt"`` or ``"rotary"``.
    shown : ndarray, shape (n,)
        What the control shows [rad].
    values : ndarray, shape (p,) or (p, B, 1)
        With B sets at once the result has shape (B, n).
    at : mapping
        Parameter name -> index into `values`; names that are absent count as zero.
    """
    found = shown
    terms = {"zero": 1.0, "scale": shown, "sin": None, "cos": None}
    for part in _OF_AN_AXIS:
        index = at.get(f"{role}_{part}")
        if index is None:
            continue
        term = terms[part]
        if term is None:
            term = np.sin(shown) if part == "sin" else np.cos(shown)
        found = found + values[index] * term
    return found


def straightened(place: Floats, values: Numbers, at: Mapping[str, int]) -> Numbers:
    """Return true coordinates from displayed ones, both counted from the line frame's origin [mm].

    Takes places of shape (n, 3) and parameters as `turned_to` does.  A coordinate that was not
    noted (NaN) stays so, and counts as zero in what it does to others.
    """
    if not any(name in at for name in _OF_THE_MILL):
        return place
    noted = np.where(np.isnan(place), 0.0, place)
    columns: list[Numbers] = [place[:, k] for k in range(3)]
    for name, (into, of) in _OF_THE_MILL.items():
        index = at.get(name)
        if index is not None:
            columns[into] = columns[into] + values[index] * noted[:, of]
    return np.stack(np.broadcast_arrays(*columns), axis=-1)
