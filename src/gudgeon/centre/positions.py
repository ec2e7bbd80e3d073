"""The numbers that a shop writes down, from the parameters of the lines."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gudgeon.centre.lines import LineFrame
from gudgeon.kinematics.lines import passing

__all__ = ["POSITIONS", "POSITIONS_SINGLE", "across_direction", "positions"]

Floats = NDArray[np.float64]

POSITIONS = (
    "tilt_x",
    "tilt_y",
    "tilt_z",
    "platter_x",
    "platter_y",
    "axis_offset",
    "face_height",
    "miss",
    "tilt_yaw",
    "tilt_rise",
    "rotary_lean_x",
    "rotary_lean_y",
    "out_of_square",
)
"""What `positions` returns for a unit with two axes; mm, then rad from ``tilt_yaw`` on.

``tilt_x``, ``tilt_y``, ``tilt_z``: the point of the tilt line beside the rotary line.
``platter_x``, ``platter_y``: the rotary line at the height of the tilt line.
``axis_offset``: rotary line minus tilt line, along `across_direction`.
``face_height``: platter face over the tilt line, at the rotary line.
``miss``: closest distance of the two lines, positive if the rotary line lies towards
`across_direction`.
``tilt_yaw``: tilt line out of its nominal direction, counter-clockwise from above.
``tilt_rise``: tilt line out of level, positive if it rises along its direction.
``rotary_lean_x``, ``rotary_lean_y``: the rotary line leans towards machine X and Y at zero pose.
``out_of_square``: angle between the two directions less 90 deg.
"""

POSITIONS_SINGLE = ("rotary_x", "rotary_y", "rotary_z", "rotary_yaw", "rotary_rise")
"""For a single axis: where its line pierces the platter face, then its two angles."""


def across_direction(frame: LineFrame) -> Floats:
    """Return the level direction square to the first line, towards its positive machine axis."""
    across = frame.basis[:, 1]
    return np.asarray(across * np.sign(across[int(np.argmax(np.abs(across)))]))


def positions(frame: LineFrame, values: ArrayLike) -> Floats:
    """Return `POSITIONS` (or `POSITIONS_SINGLE`) from parameters [mm, rad].

    Parameters
    ----------
    frame : LineFrame
    values : array_like, shape (p,)
    """
    v = np.asarray(values, dtype=np.float64)
    chain = frame.chain(v)
    first = chain.axes[0].line
    direction = np.asarray(first.direction)
    local = frame.basis.T @ direction
    yaw, rise = np.arctan2(local[1], local[0]), np.arctan2(local[2], np.hypot(*local[:2]))
    if len(frame.axes) == 1:
        return np.array([*frame.platter_origin(v), yaw, rise])
    second = chain.axes[1].line
    upright = np.asarray(second.direction)
    start = frame.to_frame(second.point_mm)
    lean = frame.basis.T @ upright
    on_tilt = frame.to_frame(first.point_mm)
    # The rotary line at the height that the tilt line has beside it; two steps are exact enough
    # because both lines stand within a few mrad of square, the third is for units that do not.
    height = on_tilt[2]
    for _ in range(3):
        beside = start + lean * ((height - start[2]) / lean[2])
        height = on_tilt[2] + (beside[0] - on_tilt[0]) * local[2] / local[0]
    rotary = start + lean * ((height - start[2]) / lean[2])
    tilt = on_tilt + local * ((rotary[0] - on_tilt[0]) / local[0])
    rotary_t, tilt_t = frame.to_table(rotary), frame.to_table(tilt)
    across = across_direction(frame)
    nearest = passing(first.point_mm, direction, second.point_mm, upright)
    link = nearest.foot_b_mm - nearest.foot_a_mm
    miss = float(np.linalg.norm(link)) * float(np.sign(link @ across))
    return np.array(
        [
            *tilt_t,
            rotary_t[0],
            rotary_t[1],
            (rotary_t - tilt_t) @ across,
            frame.face_height(v),
            miss,
            yaw,
            rise,
            np.arctan2(upright[0], upright[2]),
            np.arctan2(upright[1], upright[2]),
            float(nearest.angle_rad) - np.pi / 2.0,
        ]
    )
