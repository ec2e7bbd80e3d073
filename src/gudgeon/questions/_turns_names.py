"""Parameters of the fit in the shop's words, and what would free those that are held."""

from __future__ import annotations

from typing import Final

__all__ = ["REASON", "freed_by", "plain_name"]

PLAIN: Final = {
    "tilt_y": "tilt line, across",
    "tilt_z": "tilt line, height",
    "tilt_pitch": "tilt line out of level",
    "tilt_yaw": "tilt line out of tram, seen from above",
    "rotary_x": "rotary line, along the tilt line",
    "rotary_y": "rotary line, across the tilt line",
    "rotary_z": "rotary line, height",
    "rotary_roll": "rotary line leaning across the tilt line",
    "rotary_pitch": "rotary line leaning along the tilt line",
    "rotary_yaw": "rotary line out of tram, seen from above",
    "face": "platter face, place along the rotary line",
    "slope_x": "platter face out of square to the rotary line, along the tilt line",
    "slope_y": "platter face out of square to the rotary line, across the tilt line",
    "bore_x": "bore off centre, along the tilt line",
    "bore_y": "bore off centre, across the tilt line",
    "pin_x": "pin off centre, along the tilt line",
    "pin_y": "pin off centre, across the tilt line",
    "bore_radius": "radius of the bore",
    "pin_radius": "radius of the pin",
}

FREED_BY: Final = {
    "tilt_pitch": "the platter face at tilt +90 and -90, at two places along the tilt line and at "
    "two heights; or an indicator along the tilt line",
    "tilt_yaw": "the platter face at tilt +90 and -90, at two places far apart along the tilt line",
    "rotary_roll": "the platter face at tilt 0, at two places across the tilt line, at rotary 0 "
    "and 180; or the bore's centre at two depths",
    "rotary_pitch": "the platter face at tilt 0, at two places along the tilt line, at rotary 0 "
    "and 180; or the bore's centre at two depths",
    "rotary_yaw": "the pin touched at two places far apart along it",
    "slope_x": "the platter face at one place, rotary 0, 90, 180 and 270",
    "slope_y": "the platter face at one place, rotary 0, 90, 180 and 270",
    "bore_x": "the same bore with the rotary axis turned by 180",
    "bore_y": "the same bore with the rotary axis turned by 180",
    "pin_x": "the same pin with the rotary axis turned by 180",
    "pin_y": "the same pin with the rotary axis turned by 180",
}

REASON: Final = {
    "untouched": "no reading depends on it",
    "entangled": "the readings cannot part it from others",
    "entry": "taken from the cell file",
}

SINGLE: Final = {
    "rotary_y": "rotary line, across",
    "rotary_z": "rotary line, height",
    "rotary_pitch": "rotary line out of level",
    "rotary_yaw": "rotary line out of tram, seen from above",
    "slope_x": "platter face out of square to the rotary line, from side to side",
    "slope_y": "platter face out of square to the rotary line, from top to bottom",
    "bore_x": "bore off centre, sideways",
    "bore_y": "bore off centre, up and down",
    "pin_x": "pin off centre, sideways",
    "pin_y": "pin off centre, up and down",
}
"""The same for a single axis whose platter stands upright, turned to 0."""

SINGLE_FREED_BY: Final = {
    "rotary_pitch": "the pin from above at two places along it, at turn 0 and 180",
    "rotary_yaw": "the pin from the side at two places along it, at turn 0 and 180",
}
"""What would free them there, where it is not the same."""


def plain_name(name: str, two: bool) -> str:
    """Return a parameter or entry in the shop's words.

    Parameters
    ----------
    name : str
    two : bool
        Whether the unit has a tilt axis too.
    """
    found = PLAIN.get(name, name)
    return found if two else SINGLE.get(name, found)


def freed_by(name: str, two: bool) -> str:
    """Return the touches that would free a parameter that is held."""
    found = FREED_BY.get(name, "the touches of the hand method")
    return found if two else SINGLE_FREED_BY.get(name, found)
