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

__all__ = ["instead", "reason_words", "rows_of", "to_repeat", "trusted_if"]

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


_AS_IF: Final = {
    "radius_left_out": ", as if the stylus radius was not taken off",
    "radius_twice": ", as if the stylus radius was taken off twice",
    "radius_wrong_way": ", as if the stylus radius was taken off in the wrong direction",
    "diameter_for_radius": ", as if the stylus diameter was entered for the radius",
    "side": ", as if it was touched from the other side",
    "sign": ", as if a coordinate has the wrong sign",
    "unit": ", as if inches and millimetres were mixed up",
    "coordinates_exchanged": ", as if two coordinates were exchanged",
    "angles_exchanged": ", as if the two angles were exchanged",
    "angle_sign": ", as if an angle has the wrong sign",
    "pose_of_neighbour": ", as if it has the angles of the row beside it",
    "index_step": ", as if an angle is one index step out",
    "angle_decimal": ", as if the decimal point of an angle is in the wrong place",
    "digits_swapped": ", which looks like two digits exchanged",
    "digit": ", which looks like a wrong digit",
    "decimal": ", as if the decimal point is in the wrong place",
    "feature": ", as if the bore was entered for the pin or the pin for the bore",
    "dial_sign": ", as if the dial was read with the wrong sign",
    "tilt": ", as if the tilt axis stood out of its position",
    "rotary": ", as if the rotary axis stood out of its position",
    "shift": ", as if the unit stood out of place while it was read",
    "moved": ", as if the unit was bumped before it was read",
}
"""The same, to go on after how far a reading lies off."""


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


def trusted_if(units: Units, suspects: tuple[Suspect, ...]) -> str:
    """Return what must hold of the readings that do not fit, as it goes on after "if"."""
    first = suspects[0]
    if first.reason == "halves":
        return f"line {_retaken(first)} is read again: it decides which half of them is right"
    if len(suspects) == 1 and len(rows_of(first)) == 1:
        return f"the reading in {_lines(rows_of(first))} is touched again: it {_off(units, first)}"
    listed = _listed(suspects)
    if any(item.either for item in suspects):
        return f"the reading in {listed} is wrong and not all of them (they contradict each other)"
    why = _AS_IF.get(first.reason, "") if len(suspects) == 1 else ""
    return f"the readings in {listed} are taken again: they do not fit the others{why}"


def to_repeat(units: Units, suspects: tuple[Suspect, ...]) -> tuple[str, str]:
    """Return what is wrong with the readings, as a sentence without its end, and an order."""
    first = suspects[0]
    if first.reason == "halves":
        one = _lines(rows_of(first))
        other = _lines(tuple(reading.row for reading in first.against))
        return (
            f"{one} agree among themselves and so do {other}, but not with each other: ambiguous",
            f"Take line {_retaken(first)} of the readings again: it decides which half is right.",
        )
    listed = _listed(suspects)
    again = (
        f"Touch {listed.replace(' or ', ' and ')} of the readings again and put the new value in."
    )
    if len(suspects) == 1 and len(rows_of(first)) == 1:
        return f"the reading in {listed} {_off(units, first, of_others=True)}", again
    if any(item.either for item in suspects):
        return f"the reading in {listed} does not fit the others, not known which", again
    why = _AS_IF.get(first.reason, "") if len(suspects) == 1 else ""
    return f"the readings in {listed} do not fit the others{why}", again


def _off(units: Units, suspect: Suspect, *, of_others: bool = False) -> str:
    """Return how far a single reading lies off, and perhaps why."""
    why = _AS_IF.get(suspect.reason, "")
    if not math.isnan(suspect.reading.angle_rad):
        return f"does not fit the others{why}"
    if of_others:
        off = units.text(LENGTH, abs(suspect.off_mm))
        return f"lies {off} off where the others put it{why}"
    return f"lies {units.text(LENGTH, suspect.off_mm, sign=True)} off{why}"


def _listed(suspects: tuple[Suspect, ...]) -> str:
    # A row may stand in several explanations.
    rows = dict.fromkeys(str(row) for item in suspects for row in rows_of(item))
    word = " or " if any(item.either for item in suspects) else " and "
    return f"line {word.join(rows)}"


def _lines(rows: tuple[int, ...]) -> str:
    return f"line{'s' if len(rows) > 1 else ''} {', '.join(str(row) for row in rows)}"


def _retaken(suspect: Suspect) -> int:
    return (suspect.retake or suspect.reading).row
