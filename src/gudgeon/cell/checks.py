"""Contradictions between entries that are each possible: one small function a code.

Each function looks at the whole cell, yields its faults, and stays silent where an entry that it
needs is absent.  `contradictions` holds the functions on geometry and sums,
`control_checks` those on the control's words and registers, `time_checks` those on times and on
what must come first, this module those on names, letters and
the readings, and `check`, which runs them all.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterator
from typing import Final

from gudgeon.cell import contradictions, control_checks, time_checks
from gudgeon.cell.faults import Fault, Place
from gudgeon.cell.model import Cell, Touch
from gudgeon.cell.places import Path, Source
from gudgeon.cell.reader import ReadCell
from gudgeon.cell.references import double_names, unknown_names

__all__ = ["check", "measured_face_height"]

Check = Callable[[Cell, Source], Iterator[Fault]]

SIGN_CERTAIN_MM: Final = 0.5
"""A face height nearer to zero than this has no sign worth a fault."""

HEIGHT_SURE_MM: Final = 5.0
"""A height that the touches show this far from its entry is no matter of a data sheet's rounding
(common practice, no source)."""


def check(read: ReadCell) -> list[Fault]:
    """Return every contradiction of a cell that was read.

    Names are looked up only where all that define names could be read: a name lost to another
    fault is no fault of its own.
    """
    faults: list[Fault] = []
    for one in _CHECKS:
        faults.extend(one(read.cell, read.source))
    faults.extend(double_names(read.cell, read.source))
    if "*" not in read.broken:
        faults.extend(unknown_names(read.cell, read.source, read.broken))
    return faults


# --- letters and directions ---------------------------------------------------------------------


def along_and_yaw(cell: Cell, source: Source) -> Iterator[Fault]:
    """C053: tilt_along and yaw name different axes."""
    along, yaw = cell.placement.tilt_along, cell.placement.yaw
    if along is None or yaw is None:
        return
    component = abs(math.cos(yaw.value)) if along == "X" else abs(math.sin(yaw.value))
    if component >= math.sqrt(0.5) - 1e-9:
        return
    other = "Y" if along == "X" else "X"
    wanted = ("0 deg", "180 deg") if along == "X" else ("90 deg", "270 deg")
    yield Fault(
        "C053",
        "error",
        "tilt_along and yaw of the placement contradict each other",
        (_value(source, "placement", "tilt_along"), _value(source, "placement", "yaw")),
        f"A unit turned by {math.degrees(yaw.value):g} deg has its tilt axis along {other}.",
        f'write  tilt_along = "{other}"  or  yaw = "{wanted[0]}"  ("{wanted[1]}" the other way '
        "round); or take one of the two out",
    )


def same_letter(cell: Cell, source: Source) -> Iterator[Fault]:
    """C051: one letter for both axes."""
    letter = cell.control.tilt_letter
    if letter is None or letter != cell.control.rotary_letter:
        return
    yield Fault(
        "C051",
        "error",
        f"the tilt and the rotary axis both have the letter {letter}",
        (_value(source, "control", "tilt_letter"), _value(source, "control", "rotary_letter")),
        "The control could not tell which of the two to turn.",
        f"jog {letter} a little, see which axis turns, and mend the other letter",
    )


def unusual_letters(cell: Cell, source: Source) -> Iterator[Fault]:
    """C052: a letter that ISO 841 gives to another axis; what is declared wins."""
    direction = _tilt_direction(cell)
    single = cell.unit.kind == "rotary only"
    if cell.control.tilt_letter == cell.control.rotary_letter:
        return  # told already, or both absent
    for role in ("tilt", "rotary"):
        letter = getattr(cell.control, f"{role}_letter")
        along = direction if role == "tilt" or single else "Z"
        if letter is None or along is None or (single and role == "tilt"):
            continue
        usual = {"X": "A", "Y": "B", "Z": "C"}[along]
        if letter == usual:
            continue
        places = [_value(source, "control", f"{role}_letter")]
        if along != "Z":
            key = "yaw" if cell.placement.tilt_along is None else "tilt_along"
            places.append(_value(source, "placement", key))
        at_zero = ", with the tilt at zero," if along == "Z" else ""
        yield Fault(
            "C052",
            "warning",
            f"the {role} axis lies along {along} and is called {letter}",
            tuple(places),
            f"By ISO 841 an axis that turns about {along}{at_zero} is {usual}. {letter} is used, "
            "as declared; programs from elsewhere may mean another axis.",
            f"leave it if the control shows {letter} when this axis turns; else write  "
            f'{role}_letter = "{usual}"',
        )


def _tilt_direction(cell: Cell) -> str | None:
    """Return the machine axis nearest to the tilt line, as the file states it."""
    placement = cell.placement
    if placement.tilt_along is not None:
        return placement.tilt_along
    if placement.yaw is None:
        return None
    across = abs(math.sin(placement.yaw.value))
    if abs(across - math.sqrt(0.5)) < 1e-9:
        return None  # exactly between the two
    return "X" if across < math.sqrt(0.5) else "Y"


# --- the readings disprove an entry -------------------------------------------------------------


def face_height_sign(cell: Cell, source: Source) -> Iterator[Fault]:
    """C055: the touches at opposite tilts show the other sign of the face height."""
    stated = cell.unit.face_height
    found = measured_face_height(cell.touches)
    if stated is None or found is None:
        return
    height, one, two = found
    spread = stated.plus_minus or 0.0
    if min(abs(height), abs(stated.value) - spread) < SIGN_CERTAIN_MM or height * stated.value > 0:
        return
    below = "below" if height < 0.0 else "above"
    inch = cell.shop.units == "in"
    shown = f"{height / 25.4:.4f} in" if inch else f"{height:.3f} mm"
    rows = Place(cell.readings.file or "readings", note=f"rows {one.row} and {two.row}")
    yield Fault(
        "C055",
        "error",
        "the touches show the platter face on the other side of the tilt axis",
        (_value(source, "unit", "face_height"), rows),
        f"Touched at opposite tilts the face lies {shown.lstrip('-')} {below} the tilt axis line. "
        "With the wrong sign every tilted zero would be off by twice that.",
        f'write  face_height = "{shown}"  ; touch again if the rows are from another set-up, and '
        "look at the sides that they give",
    )


def axis_height_touched(cell: Cell, source: Source) -> Iterator[Fault]:
    """C059: the touches show the tilt axis line at another height over the table."""
    stated, gauge = cell.unit.tilt_axis_height, cell.machine.gauge_to_table
    found = measured_face_height(cell.touches)
    if stated is None or gauge is None or found is None or cell.control.lengths_from == "work":
        return
    level = next(
        (
            touch
            for touch in cell.touches
            if touch.feature == "face"
            and touch.toward == "Z-"
            and abs(touch.tilt_rad) < math.radians(0.5)
            and touch.position_mm[2] is not None
        ),
        None,
    )
    if level is None:
        return
    tip = level.position_mm[2]
    assert tip is not None
    surface = tip - (0.0 if level.compensated else level.radius_mm)
    riser = cell.placement.riser.value if cell.placement.riser else 0.0
    height = surface - found[0] + gauge.value - riser
    spread = sum(amount.plus_minus or 0.0 for amount in (stated, gauge))
    if abs(height - stated.value) <= HEIGHT_SURE_MM + spread:
        return
    inch = cell.shop.units == "in"
    shown = f"{height / 25.4:.3f} in" if inch else f"{height:.2f} mm"
    off = (
        f"{abs(height - stated.value) / 25.4:.3f} in"
        if inch
        else (f"{abs(height - stated.value):.2f} mm")
    )
    yield Fault(
        "C059",
        "warning",
        "the touches show the tilt axis at another height",
        (
            _value(source, "unit", "tilt_axis_height"),
            Place(cell.readings.file or "readings", note=f"row {level.row}"),
        ),
        f"As touched it runs {shown} over the unit's base, {off} away from the entry. Head room "
        "would be told wrongly by as much.",
        f'write  tilt_axis_height = "{shown}"  if that is what a ruler says; else mend '
        "gauge_to_table, riser, or the tool length that is taken off the readings",
    )


def measured_face_height(touches: tuple[Touch, ...]) -> tuple[float, Touch, Touch] | None:
    """Return the face height from two touches of the face, half a turn of the tilt apart.

    Looking towards +m the face stands at ``axis + d + r``, looking towards -m at
    ``axis - d - r``: half the difference less the radius is d, whatever the senses are and
    wherever the axis lies.

    Returns
    -------
    tuple or None
        Height over the tilt axis line [mm] and the two touches; ``None`` without such a pair.
    """
    faces = [touch for touch in touches if touch.feature == "face" and touch.kind == "touch"]
    for one in faces:
        if one.toward[1:] != "-":
            continue  # `one` looks towards plus, `two` towards minus
        for two in faces:
            if two.toward != f"{one.toward[0]}+" or abs(one.rotary_rad - two.rotary_rad) > 1e-6:
                continue
            apart = abs(one.tilt_rad - two.tilt_rad)
            if abs(apart - math.pi) > math.radians(0.5):
                continue
            axis = "XYZ".index(one.toward[0])
            high, low = one.position_mm[axis], two.position_mm[axis]
            if high is None or low is None:
                continue
            radii = sum(0.0 if touch.compensated else touch.radius_mm for touch in (one, two))
            return (high - low - radii) / 2.0, one, two
    return None


def repeated_angles(cell: Cell, source: Source) -> Iterator[Fault]:
    """C044: a hole or a T-slot twice in one place."""
    lists: tuple[tuple[Path, tuple[float, ...], float, str], ...] = (
        (
            ("unit", "flange", "holes"),
            tuple(math.degrees(hole.value) % 360.0 for hole in cell.unit.flange.holes),
            1e-3,
            "hole",
        ),
        (
            ("fixture", "flange", "holes"),
            tuple(math.degrees(hole.value) % 360.0 for hole in cell.fixture.flange.holes),
            1e-3,
            "hole",
        ),
        (
            ("machine", "slot_positions"),
            tuple(slot.value for slot in cell.machine.slot_positions),
            1e-3,
            "T-slot",
        ),
    )
    for path, values, same, what in lists:
        rounded = [round(value / same) % round(360.0 / same) for value in values]
        if what == "T-slot":
            rounded = [round(value / same) for value in values]
        for key, count in Counter(rounded).items():
            if count < 2:
                continue
            first, second = [place for place, other in enumerate(rounded) if other == key][:2]
            yield Fault(
                "C044",
                "error",
                f"one {what} is entered twice",
                (source.value((*path, first)), source.value((*path, second))),
                "It would be counted as two."
                + (" 360 deg is the same place as 0 deg." if what == "hole" else ""),
                f"take one of the two out of {path[-1]}",
            )


def _value(source: Source, *path: str | int) -> Place:
    return source.value(path)


_CHECKS: Final[tuple[Check, ...]] = (
    contradictions.taller_than_daylight,
    contradictions.centre_outside,
    contradictions.slot_outside,
    repeated_angles,
    contradictions.mass_twice,
    contradictions.saving_against_times,
    contradictions.investment_against_items,
    contradictions.pose_outside,
    contradictions.stickout_longer,
    contradictions.pilot_wider,
    same_letter,
    unusual_letters,
    along_and_yaw,
    contradictions.rival_saving,
    face_height_sign,
    axis_height_touched,
    contradictions.change_outside_travel,
    contradictions.bolt_too_thick,
    contradictions.bottom_above_top,
    control_checks.word_unreadable,
    control_checks.entry_twice,
    control_checks.offset_unnamed,
    control_checks.incomplete,
    time_checks.feed_over_rapids,
    time_checks.own_sister,
    time_checks.waits_for_itself,
    time_checks.after_other_part,
    time_checks.brakes_without_meaning,
)
