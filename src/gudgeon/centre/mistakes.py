"""Catalogue of what goes wrong when readings are taken and typed, each with what undoes it.

A mistake is one of `CHANCES`; for a given reading it may have been made in several ways (a sign of
X or of Y; a digit in six places), and every way is a corrected reading.  The chances say how often
a bad reading is bad for that reason (from memory of shop practice, no source); they only decide
between corrections that fit equally well, and how much better than chance a correction must fit.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Final

from gudgeon.centre.readings import Reading

__all__ = ["CHANCES", "UNKNOWN", "Correction", "corrections", "differ", "of_a_group", "of_a_seat"]

INCH: Final = 25.4

UNKNOWN: Final = 0.25
"""Share of bad readings that are off for no reason that can be undone: a chip, a slip, a bump."""

CHANCES: Final = {
    "radius_left_out": 0.08,
    "radius_twice": 0.08,
    "radius_wrong_way": 0.03,
    "diameter_for_radius": 0.02,
    "side": 0.04,
    "sign": 0.08,
    "unit": 0.05,
    "coordinates_exchanged": 0.05,
    "angles_exchanged": 0.04,
    "angle_sign": 0.07,
    "pose_of_neighbour": 0.08,
    "index_step": 0.06,
    "angle_decimal": 0.01,
    "digits_swapped": 0.06,
    "digit": 0.14,
    "decimal": 0.04,
    "feature": 0.02,
    "dial_sign": 0.05,
}
"""Reason -> share of the bad readings that have one.

``radius_left_out``: the stylus radius was not taken off; ``radius_twice``: taken off twice;
``radius_wrong_way``: taken off in the wrong direction; ``diameter_for_radius``; ``side``: the other
approach; ``sign`` of a coordinate; ``unit``: inch for mm or mm for inch; ``coordinates_exchanged``;
``angles_exchanged``: tilt and rotary; ``angle_sign``; ``pose_of_neighbour``: that of the row above
or below; ``index_step``: one step of the index too far or too short; ``angle_decimal``;
``digits_swapped``: two neighbouring digits; ``digit``: one wrong digit; ``decimal``: point one or
two places off; ``feature``: bore for pin; ``dial_sign``: dial of a whole sweep read the other way.
"""

STEPS_DEG: Final = (90.0, 180.0, 45.0, 30.0, 60.0, 10.0)
"""Index steps in use; a whole turn is none."""

PLACES: Final = {False: 3, True: 4}
"""Decimals that a display shows in mm, and in inches."""


@dataclass(frozen=True, slots=True)
class Correction:
    """One way to undo one mistake.

    Attributes
    ----------
    reason : str
        Of `CHANCES`.
    readings : tuple of Reading
        Corrected, in the order of those that were given.
    cost : float
        -2 ln of the chance of this way of this mistake in a bad reading.
    """

    reason: str
    readings: tuple[Reading, ...]
    cost: float


def corrections(
    reading: Reading, neighbours: tuple[Reading, ...], features: Iterable[str], inch: bool
) -> tuple[Correction, ...]:
    """Return every way in which one reading may have been spoilt, undone.

    Parameters
    ----------
    reading : Reading
    neighbours : tuple of Reading
        Rows above and below it.
    features : iterable of str
        Those that occur in the set.
    inch : bool
        Whether the display shows inches.
    """
    found: list[Correction] = []
    _add(found, "radius_left_out", reading, _radius(reading, 1.0))
    _add(found, "radius_twice", reading, _radius(reading, -1.0))
    _add(found, "radius_wrong_way", reading, (*_radius(reading, 2.0), *_radius(reading, -2.0)))
    _add(found, "diameter_for_radius", reading, _diameter(reading))
    _add(found, "side", reading, _side(reading))
    _add(found, "sign", reading, _typed(reading, lambda v: (-v,), every=True))
    _add(found, "unit", reading, _unit(reading))
    _add(found, "coordinates_exchanged", reading, _exchanged(reading))
    for reason, changed in _posed(reading, neighbours):
        _add(found, reason, reading, changed)
    _add(found, "digits_swapped", reading, _typed(reading, lambda v: _swapped(v, inch)))
    _add(found, "digit", reading, _typed(reading, lambda v: _digits(v, inch)))
    _add(found, "decimal", reading, _typed(reading, lambda v: (10 * v, v / 10, 100 * v, v / 100)))
    if reading.toward is not None and reading.feature in ("bore", "pin"):
        other = "pin" if reading.feature == "bore" else "bore"
        if other in features:
            _add(found, "feature", reading, (replace(reading, feature=other),))
    return tuple(found)


def of_a_seat(rows: tuple[Reading, ...], neighbours: tuple[Reading, ...]) -> tuple[Correction, ...]:
    """Return the poses that all rows of one positioning may have been given wrongly, undone."""
    ways: dict[str, list[tuple[Reading, ...]]] = {}
    for reason, changed in _posed(rows[0], neighbours):
        for one in changed:
            pose = one.tilt_rad, one.rotary_rad
            if not _same_pose(pose, (rows[0].tilt_rad, rows[0].rotary_rad)):
                whole = tuple(replace(r, tilt_rad=pose[0], rotary_rad=pose[1]) for r in rows)
                ways.setdefault(reason, []).append(whole)
    return _together(ways)


def of_a_group(
    rows: tuple[Reading, ...], sweep: bool, single: tuple[int, ...] = ()
) -> tuple[Correction, ...]:
    """Return what may have been done wrongly to a whole group of rows alike, undone.

    Parameters
    ----------
    rows : tuple of Reading
        All rows of a set, of a feature, of an approach, or of a sweep.
    sweep : bool
        Whether they share one unknown zero, so that the dial's sign can be wrong.
    single : tuple of int
        Coordinates whose column alone may be in another unit.
    """
    ways: dict[str, list[tuple[Reading, ...]]] = {}
    for reason, factor in (("radius_left_out", 1.0), ("radius_twice", -1.0)):
        moved = [_radius(r, factor) or (r,) for r in rows]
        ways[reason] = [tuple(item[0] for item in moved)]
    ways["diameter_for_radius"] = [tuple((_diameter(r) or (r,))[0] for r in rows)]
    for factor in (INCH, 1.0 / INCH):
        for columns in ((0, 1, 2), *((axis,) for axis in single)):
            sizes = [factor if axis in columns else 1.0 for axis in range(3)]
            ways.setdefault("unit", []).append(
                tuple(
                    _placed(r, *(c * s for c, s in zip(r.position_mm, sizes, strict=True)))
                    for r in rows
                )
            )
    for k in range(3):
        signs = [-1.0 if k == axis else 1.0 for axis in range(3)]
        ways.setdefault("sign", []).append(
            tuple(
                _placed(r, *(c * s for c, s in zip(r.position_mm, signs, strict=True)))
                for r in rows
            )
        )
    ways["angle_sign"] = [
        tuple(replace(r, tilt_rad=-r.tilt_rad) for r in rows),
        tuple(replace(r, rotary_rad=-r.rotary_rad) for r in rows),
    ]
    ways["angles_exchanged"] = [
        tuple(replace(r, tilt_rad=r.rotary_rad, rotary_rad=r.tilt_rad) for r in rows)
    ]
    if sweep and all(r.toward is not None and r.feature != "level" for r in rows):
        # The unknown zero takes up whatever the mirror adds to all of them.
        ways["dial_sign"] = [
            tuple(_shifted(r, -2.0 * _counting(r), along_machine=True) for r in rows)
        ]
    if sweep and all(r.feature == "level" for r in rows):
        ways["dial_sign"] = [tuple(replace(r, angle_rad=-r.angle_rad) for r in rows)]
    changed = {
        reason: [whole for whole in wholes if any(map(differ, whole, rows))]
        for reason, wholes in ways.items()
    }
    found = _together(changed)
    # Divided by a factor, misfit shrinks by itself: what was typed scattered as much more.
    return tuple(
        replace(item, cost=item.cost + 2.0 * math.log(INCH) * _smaller(item.readings, rows))
        if item.reason == "unit"
        else item
        for item in found
    )


def _smaller(some: tuple[Reading, ...], others: tuple[Reading, ...]) -> int:
    """Return how many coordinates that count are smaller than in the others."""
    return sum(
        abs(one.position_mm[k]) < abs(other.position_mm[k])
        for one, other in zip(some, others, strict=True)
        if other.feature != "level"
        for k in _counted(other)
    )


def _together(ways: dict[str, list[tuple[Reading, ...]]]) -> tuple[Correction, ...]:
    return tuple(
        Correction(reason, whole, _cost(reason, len(wholes)))
        for reason, wholes in ways.items()
        for whole in wholes
    )


def _cost(reason: str, ways: int) -> float:
    return -2.0 * math.log(CHANCES[reason] * (1.0 - UNKNOWN) / ways)


def _add(
    found: list[Correction], reason: str, reading: Reading, changed: Iterable[Reading]
) -> None:
    """Keep what differs from the reading and from each other and counts the same coordinates."""
    seen = {_saying(reading)}
    kept: list[Reading] = []
    for one in changed:
        if _countable(one, reading) and _saying(one) not in seen:
            seen.add(_saying(one))
            kept.append(one)
    cost = _cost(reason, max(len(kept), 1))
    found += [Correction(reason, (one,), cost) for one in kept]


def differ(one: Reading, other: Reading) -> bool:
    """Whether two readings say anything different; a whole turn of an axis is nothing."""
    return _saying(one) != _saying(other)


def _saying(reading: Reading) -> tuple[object, ...]:
    """Return what a reading says, rounded to what no display shows."""
    place = tuple(None if math.isnan(c) else round(c, 6) for c in reading.position_mm)
    angles = tuple(_folded(a) for a in (reading.tilt_rad, reading.rotary_rad))
    level = None if math.isnan(reading.angle_rad) else round(reading.angle_rad, 12)
    return (place, angles, reading.toward, reading.feature, reading.radius_mm, level)


def _folded(angle: float) -> float:
    """Return an angle within half a turn, rounded [rad]."""
    folded = round(math.remainder(angle, 2.0 * math.pi), 7)
    return math.pi if abs(folded) > math.pi - 1e-6 else folded + 0.0


def _countable(one: Reading, reading: Reading) -> bool:
    """Whether the coordinates that count are noted."""
    if reading.feature.startswith("ball "):
        return all(
            math.isnan(a) == math.isnan(b)
            for a, b in zip(one.position_mm, reading.position_mm, strict=True)
        )
    return reading.feature == "level" or not any(
        math.isnan(one.position_mm[k]) for k in _counted(one)
    )


def _counted(reading: Reading) -> tuple[int, ...]:
    if reading.toward is None:
        return tuple(k for k in (0, 1, 2) if not math.isnan(reading.position_mm[k]))[
            : 3 if reading.feature.startswith("ball ") else 2
        ]
    return (max(range(3), key=lambda k: abs((reading.toward or (0.0, 0.0, 0.0))[k])),)


def _counting(reading: Reading) -> float:
    return reading.position_mm[_counted(reading)[0]]


def _placed(reading: Reading, x: float, y: float, z: float) -> Reading:
    return replace(reading, position_mm=(x, y, z))


def _shifted(reading: Reading, by: float, along_machine: bool = False) -> Reading:
    """Shift the counting coordinate, towards the surface or along the positive machine axis."""
    k = _counted(reading)[0]
    place = list(reading.position_mm)
    sign = 1.0 if along_machine or reading.toward is None else reading.toward[k]
    place[k] += by * sign
    return _placed(reading, *place)


def _radius(reading: Reading, factor: float) -> tuple[Reading, ...]:
    if reading.toward is None or reading.radius_mm <= 0.0:
        return ()
    return (_shifted(reading, factor * reading.radius_mm),)


def _diameter(reading: Reading) -> tuple[Reading, ...]:
    if reading.toward is None or reading.radius_mm <= 0.0:
        return ()
    return (replace(reading, radius_mm=0.5 * reading.radius_mm),)


def _side(reading: Reading) -> Iterator[Reading]:
    """Return the other approach, the radius left in or taken off on the wrong side."""
    if reading.toward is None:
        return
    x, y, z = reading.toward
    turned = (0.0 - x, 0.0 - y, 0.0 - z)
    yield replace(reading, toward=turned)
    if reading.radius_mm > 0.0 and reading.feature != "level":
        yield replace(_shifted(reading, 2.0 * reading.radius_mm), toward=turned)


def _typed(
    reading: Reading, change: Callable[[float], Iterable[float]], every: bool = False
) -> Iterator[Reading]:
    """Change what was typed: the value itself, or the value before the radius was taken off."""
    if reading.feature == "level":
        if every:
            for value in change(reading.angle_rad):
                yield replace(reading, angle_rad=value)
        return
    for k in range(3) if every else _counted(reading):
        place = list(reading.position_mm)
        if math.isnan(place[k]):
            continue
        taken_off = [0.0]
        if reading.toward is not None and reading.radius_mm > 0.0 and reading.toward[k] != 0.0:
            taken_off.append(reading.toward[k] * reading.radius_mm)
        for off in taken_off:
            for value in change(reading.position_mm[k] + off):
                place[k] = value - off
                yield _placed(reading, *place)


def _unit(reading: Reading) -> Iterator[Reading]:
    yield from _typed(reading, lambda v: (v * INCH, v / INCH))
    if reading.feature != "level":
        for factor in (INCH, 1.0 / INCH):
            yield _placed(reading, *(c * factor for c in reading.position_mm))


def _exchanged(reading: Reading) -> Iterator[Reading]:
    if reading.feature == "level":
        return
    x, y, z = reading.position_mm
    for place in ((y, x, z), (z, y, x), (x, z, y)):
        yield _placed(reading, *place)


def _posed(
    reading: Reading, neighbours: tuple[Reading, ...]
) -> Iterator[tuple[str, list[Reading]]]:
    """Return other poses of a reading, with their reasons."""
    a, c = reading.tilt_rad, reading.rotary_rad

    def at(*poses: tuple[float, float]) -> list[Reading]:
        return [
            replace(reading, tilt_rad=tilt, rotary_rad=rotary)
            for tilt, rotary in poses
            if not _same_pose((tilt, rotary), (a, c))
        ]

    yield "angles_exchanged", at((c, a))
    yield "angle_sign", at((-a, c), (a, -c), (-a, -c))
    yield "pose_of_neighbour", at(*((r.tilt_rad, r.rotary_rad) for r in neighbours))
    steps = [sign * math.radians(step) for step in STEPS_DEG for sign in (1.0, -1.0)]
    yield "index_step", at(*((a, c + step) for step in steps), *((a + step, c) for step in steps))
    yield "angle_decimal", at((10.0 * a, c), (a / 10.0, c), (a, 10.0 * c), (a, c / 10.0))


def _same_pose(one: tuple[float, float], other: tuple[float, float]) -> bool:
    return all(
        abs(math.remainder(x - y, 2.0 * math.pi)) < 1e-7 for x, y in zip(one, other, strict=True)
    )


def _shown(value: float, inch: bool) -> tuple[str, float]:
    """Return the digits of a value as displayed, without the point, and what the last one is."""
    unit = INCH if inch else 1.0
    places = PLACES[inch]
    digits = str(round(abs(value) / unit * 10**places)).rjust(places + 1, "0")
    return digits, math.copysign(unit * 10.0**-places, value)


def _swapped(value: float, inch: bool) -> Iterator[float]:
    digits, last = _shown(value, inch)
    digits = "0" + digits  # a nought that came to stand in front was not kept
    for i in range(len(digits) - 1):
        ten, one = int(digits[i]), int(digits[i + 1])
        place = len(digits) - 2 - i
        yield value + (one * 10 + ten - ten * 10 - one) * 10**place * last


def _digits(value: float, inch: bool) -> Iterator[float]:
    digits, last = _shown(value, inch)
    for i, digit in enumerate(digits):
        place = 10 ** (len(digits) - 1 - i)
        for other in range(10):
            if other != int(digit):
                yield value + (other - int(digit)) * place * last
    # A digit typed in front that does not belong there is one of the above; one that is lacking:
    for other in range(1, 10):
        yield value + other * 10 ** len(digits) * last
