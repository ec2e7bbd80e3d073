"""Readings that do not fit the others: the reason in the shop's words, and what to put instead."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final

from gudgeon.cell.model import Touch
from gudgeon.centre.readings import Reading
from gudgeon.centre.suspects import Suspect
from gudgeon.quantity.kinds import Kind
from gudgeon.quantity.show import Units

__all__ = ["instead", "reason_words", "rows_of"]

LENGTH: Final = Kind.LENGTH
SAME_MM: Final = 1e-6
SAME_RAD: Final = 1e-9

_REASONS: Final = {
    "radius_left_out": "the radius of the tip was not taken off",
    "radius_twice": "the radius of the tip was taken off twice",
    "radius_wrong_way": "the radius of the tip was taken off the wrong way",
    "diameter_for_radius": "the diameter of the tip was taken off instead of its radius",
    "side": "it was touched from the other side",
    "sign": "a coordinate has the wrong sign",
    "unit": "inches and millimetres were mixed up",
    "coordinates_exchanged": "two coordinates are exchanged",
    "angles_exchanged": "tilt and turn are exchanged",
    "angle_sign": "an angle has the wrong sign",
    "pose_of_neighbour": "it was taken in the pose of the row beside it",
    "index_step": "the axis stood one step of the index further on",
    "angle_decimal": "the decimal point of an angle slipped",
    "digits_swapped": "two digits are swapped",
    "digit": "a digit is wrong",
    "decimal": "the decimal point slipped",
    "feature": "bore and pin were mixed up",
    "dial_sign": "the dial was read with the wrong sign",
    "tilt": "the tilt did not come to rest where it shows",
    "rotary": "the platter did not come to rest where it shows",
    "shift": "the unit stood elsewhere while these were read",
    "moved": "the unit moved before the first of these",
    "halves": "these agree among themselves, and so do the others",
}
"""Reason of `gudgeon.centre.suspects.Suspect` -> words that go on after "because"."""


def reason_words(reason: str) -> str:
    """Return a reason in words; of none that it is not known."""
    return _REASONS.get(reason, "for a reason that nothing here explains")


def rows_of(suspect: Suspect) -> tuple[int, ...]:
    """Return the lines of the table that a suspect concerns."""
    return tuple(reading.row for reading in suspect.readings or (suspect.reading,))


def instead(
    units: Units,
    touches: Mapping[int, Touch],
    before: Reading,
    after: Reading,
    letters: tuple[str | None, str],
) -> str:
    """Return what a row would have to say, as it is typed: only what differs.

    Parameters
    ----------
    units : Units
    touches : mapping
        Line of the table -> what was typed.
    before, after : Reading
        As it was read, and as it would have been.
    letters : tuple of str or None
        Of tilt and rotary axis.
    """
    said = []
    typed = touches.get(before.row)
    # The radius stands in the engine's places and perhaps not in those that were typed.
    for k, axis in enumerate("XYZ"):
        was, now = before.position_mm[k], after.position_mm[k]
        shown = None if typed is None else typed.position_mm[k]
        if math.isnan(was) or math.isnan(now) or abs(now - was) <= SAME_MM:
            continue
        said.append(f"{axis} {units.text(LENGTH, (was if shown is None else shown) + now - was)}")
    for letter, was, now in (
        (letters[0], before.tilt_rad, after.tilt_rad),
        (letters[1], before.rotary_rad, after.rotary_rad),
    ):
        if letter and abs(now - was) > SAME_RAD:
            said.append(f"{letter} {math.degrees(now):.6g}")
    if before.feature != after.feature:
        said.append(after.feature)
    if before.toward != after.toward and after.toward is not None:
        k = max(range(3), key=lambda j: abs(after.toward[j]) if after.toward else 0.0)
        said.append(f"moving {'XYZ'[k]}{'+' if after.toward[k] > 0.0 else '-'}")
    if abs(before.radius_mm - after.radius_mm) > SAME_MM:
        said.append(f"radius of the tip {units.text(LENGTH, after.radius_mm)}")
    if not math.isnan(before.angle_rad) and abs(before.angle_rad - after.angle_rad) > SAME_RAD:
        said.append(f"{1e3 * after.angle_rad:.4g} mm/m")
    return ", ".join(said)
