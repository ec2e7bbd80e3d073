"""How to touch: the touches of the hand method in the shop's words, for this cell's directions."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.cell.blank_table import RowToRead
from gudgeon.centre.lines import LineFrame
from gudgeon.findings.senses import Senses
from gudgeon.quantity.amount import Amount

__all__ = ["TouchOrder", "side_name", "touch_orders"]

Floats = NDArray[np.float64]

UPRIGHT: Final = math.pi / 2.0
FOUR: Final = ("X+", "X-", "Y+", "Y-")
SLACK: Final = math.radians(0.01)  # a range of "90 deg" reaches 90 deg


@dataclass(frozen=True, slots=True)
class TouchOrder:
    """One step of touching.

    Attributes
    ----------
    needed : str
        Name in `gudgeon.centre.hand.NEEDED`; empty for a step that only sharpens.
    what : str
        What is touched, in which pose.
    how : str
        An order.
    gives : str
        What it is for.
    rows : tuple of RowToRead
        The readings, one by one.
    """

    needed: str
    what: str
    how: str
    gives: str
    rows: tuple[RowToRead, ...] = ()


def side_name(direction: Floats) -> str:
    """Return the machine direction nearest to a vector, such as ``"Y+"``."""
    k = int(np.argmax(np.abs(direction)))
    return "XYZ"[k] + ("+" if direction[k] > 0.0 else "-")


def touch_orders(
    frame: LineFrame, senses: Senses, tilt_range: tuple[Amount, Amount] | None = None
) -> tuple[TouchOrder, ...]:
    """Return the steps in the order of the job; no step asks for a tilt that the unit lacks."""
    turn = senses.rotary_letter
    if len(frame.axes) == 1:
        axis = side_name(np.asarray(frame.along) * frame.face_side)
        across = "XY"[1 - "XY".index(axis[0])]
        return (
            TouchOrder(
                "",
                f"a pin in the platter from both sides, {turn} 0",
                f"Clamp a ground pin in the middle of the platter, turn to {turn} 0 and touch it "
                f"moving {across}+ and {across}-, then from above moving Z-.",
                "half the sum is the rotary line across; the top less the pin's radius its height",
                _touches("pin", (f"{across}+", f"{across}-", "Z-"), 0.0, 0.0),
            ),
            TouchOrder(
                "",
                f"the same at {turn} 180",
                f"Turn to {turn} 180 and touch the pin in the same three places.",
                "the mean of both takes out how far the pin runs off centre",
                _touches("pin", (f"{across}+", f"{across}-", "Z-"), 0.0, math.pi),
            ),
            TouchOrder(
                "",
                "the platter face",
                f"Touch the platter face moving {axis[0]}{'-' if axis[1] == '+' else '+'}.",
                "the place of the platter face along the line",
                _touches("face", (_other(axis),), 0.0, 0.0),
            ),
        )
    tilt = senses.tilt_letter
    out = frame.basis @ np.array([0.0, -float(frame.axes[0].sense), 0.0])
    plus, minus = side_name(out), side_name(-out)
    low, high = (-math.inf, math.inf) if tilt_range is None else (end.value for end in tilt_range)
    half = (
        "half the sum of the two readings is the tilt line across; half their distance, the tip's "
        "radius taken off, the face height"
    )
    up = TouchOrder(
        "face +90",
        f"the platter face at tilt +90 ({tilt} 90)",
        f"Tilt to {tilt} 90 with {turn} 0, so that the platter face looks to {plus}; touch it "
        f"moving {minus}, near the height of the tilt axis.",
        half,
        _touches("face", (minus,), UPRIGHT, 0.0),
    )
    down = TouchOrder(
        "face -90",
        f"the platter face at tilt -90 ({tilt} -90)",
        f"Tilt to {tilt} -90, so that the platter face looks to {minus}; touch it moving "
        f"{plus} at the same height as before.",
        half,
        _touches("face", (plus,), -UPRIGHT, 0.0),
    )
    if low > -UPRIGHT + SLACK and high >= UPRIGHT - SLACK:
        up, down = _one_way(up, "face -90", f"{tilt} 90 with {turn} 0", UPRIGHT)
    elif high < UPRIGHT - SLACK and low <= -UPRIGHT + SLACK:
        up, down = _one_way(down, "face +90", f"{tilt} -90 with {turn} 0", -UPRIGHT)
    elif high < UPRIGHT - SLACK:
        up, down = (
            _as_far(needed, f"{tilt} {math.degrees(end):.4g}", end)
            for needed, end in (("face +90", high), ("face -90", low))
        )
    return (
        up,
        down,
        TouchOrder(
            "face 0",
            f"the platter face at tilt 0 ({tilt} 0)",
            f"Tilt to {tilt} 0 and touch the platter face from above, moving Z-.",
            "less the face height it is the height of the tilt line",
            _touches("face", ("Z-",), 0.0, 0.0),
        ),
        TouchOrder(
            "centre",
            f"the platter bore, or a pin in it, at {turn} 0",
            f"With {tilt} 0 and {turn} 0 touch the bore, or a pin set in it, on all four sides "
            "(X+, X-, Y+, Y-), or use the control's bore cycle.",
            "half the sum of opposite touches is the centre of the bore",
            _touches("bore", FOUR, 0.0, 0.0),
        ),
        TouchOrder(
            "centre opposite",
            f"the same bore or pin at {turn} 180",
            f"Turn to {turn} 180 and touch the same bore or pin on the same four sides.",
            "the middle of both centres is the rotary line: how far the bore runs off centre "
            "cancels",
            _touches("bore", FOUR, 0.0, math.pi),
        ),
    )


def _touches(
    feature: str, ways: tuple[str, ...], tilt: float, rotary: float
) -> tuple[RowToRead, ...]:
    return tuple(RowToRead("touch", feature, way, tilt, rotary) for way in ways)


def _other(way: str) -> str:
    return way[0] + ("-" if way[1] == "+" else "+")


def _one_way(face: TouchOrder, other: str, pose: str, tilt: float) -> tuple[TouchOrder, TouchOrder]:
    """Return the face at the one end, and the bore or pin there instead of the face at the other.

    With face and bore both touched level and upright, four readings hold tilt line, face height
    and axis offset (two coordinates and two distances).
    """
    gives = (
        "with face and bore at tilt 0 it parts the tilt line from the face height: a unit that "
        "tilts one way only has no touch from the other side"
    )
    bore = TouchOrder(
        other,
        f"the platter bore, or a pin in it, at {pose.replace(' with', ',')}",
        f"At {pose} touch the bore above and below, moving Z+ and Z-; or a pin from above, moving "
        "Z-, with pin_diameter entered.",
        gives,
        _touches("bore", ("Z+", "Z-"), tilt, 0.0),
    )
    return replace(face, gives=gives), bore


def _as_far(needed: str, pose: str, tilt: float) -> TouchOrder:
    """Return a touch of the face at an end of a tilt that does not reach upright."""
    return TouchOrder(
        needed,
        f"the platter face at {pose}",
        f"Tilt to {pose} and touch the platter face from above, moving Z-, with X and Y noted.",
        "the further the tilt goes, the better it parts the tilt line from the face height",
        _touches("face", ("Z-",), tilt, 0.0),
    )
