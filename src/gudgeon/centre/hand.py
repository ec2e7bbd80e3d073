"""The closed forms of the trade: axis lines from a handful of touches, without a computer fit.

The platter face is touched at tilt +90, -90 and 0, a bore or pin on the platter at two opposite
rotary angles.  With face height d, tilt line (y, z) and the outward normal n of the face, a touch
of the face says ``n . (surface) = n . (tilt line) + d``; hence

* tilt line across: half the difference of what the touches at +90 and -90 say, half the sum
  of their machine coordinates (stylus radius cancels);
* face height: half the sum of what they say, which is half the distance between the two machine
  coordinates (the radius does not cancel: it is taken off first);
* tilt line height: the level touch less the face height;
* rotary line: middle between the two centres (the eccentricity of the bore cancels).

Common practice, no source.  The lines are taken as square and parallel to the machine; every result
is a weighted sum of readings, so its covariance is exact.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.centre.lines import TWO_AXES, LineFrame
from gudgeon.centre.readings import GLANCING, Reading
from gudgeon.centre.shapes import fit_circle
from gudgeon.centre.solve import NotDetermined

__all__ = ["NEEDED", "HandLines", "find_by_hand"]

Floats = NDArray[np.float64]

NEEDED: Final = ("face +90", "face -90", "face 0", "centre", "centre opposite")
"""The touches of the hand method, the most telling first."""

SAME_ANGLE: Final = math.radians(1e-3)
"""Angles this close count as the same pose: 0.001 deg, what a control displays."""


@dataclass(frozen=True, slots=True)
class HandLines:
    """What the touches give by hand.

    Attributes
    ----------
    values : ndarray, shape (9,)
        In the order of `gudgeon.centre.lines.TWO_AXES`, all angles zero; NaN where not found.
    covariance : ndarray, shape (9, 9)
        k = 1, from the readings' noise; zero where not found.
    lacking : tuple of str
        Those of `NEEDED` for which there is no reading.
    rows : tuple of int
        Rows of the readings that were used.
    """

    values: Floats
    covariance: Floats
    lacking: tuple[str, ...]
    rows: tuple[int, ...]

    @property
    def complete(self) -> bool:
        """Whether both lines and the face height were found."""
        return not self.lacking


@dataclass(frozen=True)
class _Sum:
    """A weighted sum of noise sources: its value, and the weight of each source."""

    value: float
    weights: dict[int, float] = field(default_factory=dict)

    def __add__(self, other: _Sum) -> _Sum:
        weights = dict(self.weights)
        for key, weight in other.weights.items():
            weights[key] = weights.get(key, 0.0) + weight
        return _Sum(self.value + other.value, weights)

    def __mul__(self, factor: float) -> _Sum:
        return _Sum(self.value * factor, {k: w * factor for k, w in self.weights.items()})

    def __sub__(self, other: _Sum) -> _Sum:
        return self + other * -1.0


def _mean(sums: list[_Sum]) -> _Sum:
    total = sums[0]
    for item in sums[1:]:
        total = total + item
    return total * (1.0 / len(sums))


class _Sources:
    """The independent noise sources; those of a circle's centre come with their covariance."""

    def __init__(self) -> None:
        self.blocks: list[Floats] = []
        self.rows: list[int] = []

    def new(self, value: float, weight: float, u: float, row: int) -> _Sum:
        return self.pair(np.array([value]), np.array([[weight**2 * u**2]]), [row])[0]

    def pair(self, values: Floats, covariance: Floats, rows: list[int]) -> list[_Sum]:
        first = sum(len(block) for block in self.blocks)
        self.blocks.append(covariance)
        self.rows.extend(rows)
        return [_Sum(float(value), {first + i: 1.0}) for i, value in enumerate(values)]

    def covariance(self, sums: list[_Sum]) -> Floats:
        count = sum(len(block) for block in self.blocks)
        noise = np.zeros((count, count))
        at = 0
        for block in self.blocks:
            noise[at : at + len(block), at : at + len(block)] = block
            at += len(block)
        weights = np.zeros((len(sums), count))
        for i, item in enumerate(sums):
            for key, weight in item.weights.items():
                weights[i, key] = weight
        return np.asarray(weights @ noise @ weights.T)


def find_by_hand(
    frame: LineFrame, readings: tuple[Reading, ...], radii_mm: dict[str, float] | None = None
) -> HandLines:
    """Return the axis lines by the closed forms, as far as the touches reach.

    Parameters
    ----------
    frame : LineFrame
        Of a unit with tilt and rotary axis.
    readings : tuple of Reading
        Touches that belong to no closed form are left out.
    radii_mm : dict, optional
        Radius of ``"bore"`` or ``"pin"``, used where it was touched on one side only.
    """
    if len(frame.axes) != 2:
        raise ValueError("the hand method is for a unit with tilt and rotary axis")
    sources = _Sources()
    level, plus, minus = (
        _mean_face(frame, readings, tilt, sources) for tilt in (0.0, math.pi / 2, -math.pi / 2)
    )
    middle, eccentric_pair = _rotary(frame, readings, radii_mm or {}, sources)

    lacking = [
        name
        for name, found in zip(
            NEEDED,
            (plus, minus, level, middle or eccentric_pair, middle),
            strict=True,
        )
        if not found
    ]
    sums: dict[str, _Sum] = {}
    if plus and minus:
        height = (plus + minus) * 0.5
        sums["tilt_y"] = (plus - minus) * (0.5 * _face_side(frame))
        if level:
            sums["tilt_z"] = level - height
            sums["face"] = level  # counted from the frame's z = 0: tilt line plus face height
    if middle:
        sums["rotary_x"], sums["rotary_y"] = middle
    values = np.full(len(TWO_AXES), np.nan)
    values[[2, 3, 6, 7]] = 0.0
    covariance = np.zeros((len(TWO_AXES), len(TWO_AXES)))
    at = [TWO_AXES.index(name) for name in sums]
    values[at] = [item.value for item in sums.values()]
    if at:
        covariance[np.ix_(at, at)] = sources.covariance(list(sums.values()))
    return HandLines(values, covariance, tuple(lacking), tuple(sorted(set(sources.rows))))


def _face_side(frame: LineFrame) -> float:
    """Return the y of the face's outward normal at tilt +90: z turned by +-90 deg about x."""
    return -float(frame.axes[0].sense)


def _mean_face(
    frame: LineFrame, readings: tuple[Reading, ...], tilt: float, sources: _Sources
) -> _Sum | None:
    """Return the mean of ``n . surface`` over the touches of the face at one tilt angle."""
    turned = frame.axes[0].sense * tilt
    normal = np.array([0.0, -math.sin(turned), math.cos(turned)])
    machine = frame.basis @ normal
    found = []
    for reading in readings:
        if reading.feature != "face" or abs(reading.tilt_rad - tilt) > SAME_ANGLE:
            continue
        place = np.asarray(reading.position_mm)
        needed = np.abs(machine) > 1e-9
        if reading.toward is None or np.any(np.isnan(place[needed])):
            continue
        weight = float(machine @ np.asarray(reading.toward))
        if weight > -GLANCING:
            continue
        off = np.where(needed, place - frame.origin_mm, 0.0)
        surface = float(machine @ off) - reading.radius_mm
        found.append(sources.new(surface, weight, reading.spread, reading.row))
    return _mean(found) if found else None


def _rotary(
    frame: LineFrame,
    readings: tuple[Reading, ...],
    radii_mm: dict[str, float],
    sources: _Sources,
) -> tuple[tuple[_Sum, _Sum] | None, bool]:
    """Return the middle between centres at opposite angles, and whether any centre was found."""
    pairs: list[tuple[_Sum, _Sum]] = []
    any_centre = False
    for feature in ("bore", "pin"):
        flat = [r for r in readings if r.feature == feature and abs(r.tilt_rad) <= SAME_ANGLE]
        angles: list[float] = []
        for reading in flat:
            if not any(_apart(reading.rotary_rad, angle) <= SAME_ANGLE for angle in angles):
                angles.append(reading.rotary_rad)
        centres = {}
        for angle in angles:
            here = [r for r in flat if _apart(r.rotary_rad, angle) <= SAME_ANGLE]
            centre = _one_centre(frame, here, radii_mm.get(feature), sources)
            if centre:
                centres[angle] = centre
                any_centre = True
        for angle, centre in centres.items():
            for other, opposite in centres.items():
                if other > angle and _apart(other, angle + math.pi) <= SAME_ANGLE:
                    pairs.append((_mean([centre[0], opposite[0]]), _mean([centre[1], opposite[1]])))
    if not pairs:
        return None, any_centre
    return (_mean([p[0] for p in pairs]), _mean([p[1] for p in pairs])), True


def _apart(a: float, b: float) -> float:
    return abs(math.remainder(a - b, 2.0 * math.pi))


def _one_centre(
    frame: LineFrame, readings: list[Reading], radius_mm: float | None, sources: _Sources
) -> tuple[_Sum, _Sum] | None:
    """Return the centre of a bore or pin in one pose, line frame."""
    found: list[tuple[_Sum, _Sum]] = []
    for reading in (r for r in readings if r.toward is None):
        place = np.asarray(reading.position_mm)
        if not np.any(np.isnan(place[:2])):
            x, y = sources.pair(
                place[:2] - frame.origin_mm[:2], np.eye(2) * reading.spread**2, [reading.row]
            )
            found.append((x, y))
    touches = [r for r in readings if r.toward is not None]
    if not found and touches:
        half = [_half_sum(frame, touches, k, radius_mm, sources) for k in (0, 1)]
        if half[0] and half[1]:
            found.append((half[0], half[1]))
        else:
            circle = _circle(frame, touches, sources)
            if circle:
                found.append(circle)
    if not found:
        return None
    x, y = _mean([f[0] for f in found]), _mean([f[1] for f in found])
    along, across = frame.basis[:2, 0], frame.basis[:2, 1]
    return (x * along[0] + y * along[1], x * across[0] + y * across[1])


def _half_sum(
    frame: LineFrame, touches: list[Reading], k: int, radius_mm: float | None, sources: _Sources
) -> _Sum | None:
    """Return the mean of opposite touches along machine axis `k`, or one touch less the radius."""
    sides: dict[float, list[_Sum]] = {1.0: [], -1.0: []}
    for reading in touches:
        toward = np.asarray(reading.toward)
        if abs(toward[k]) < 0.5 or math.isnan(reading.position_mm[k]):
            continue
        side = float(np.sign(toward[k]))
        # From the tip's centre to the surface: the stylus radius, along the approach.
        surface = reading.position_mm[k] - frame.origin_mm[k] + side * reading.radius_mm
        sides[side].append(sources.new(surface, 1.0, reading.spread, reading.row))
    if sides[1.0] and sides[-1.0]:
        return (_mean(sides[1.0]) + _mean(sides[-1.0])) * 0.5
    if radius_mm is None:
        return None
    outside = 1.0 if touches[0].feature == "pin" else -1.0
    for side, found in sides.items():
        if found:
            return _mean(found) + _Sum(side * outside * radius_mm)
    return None


def _circle(
    frame: LineFrame, touches: list[Reading], sources: _Sources
) -> tuple[_Sum, _Sum] | None:
    """Return the centre of the circle through three or more touches with x and y noted."""
    known = [r for r in touches if not any(math.isnan(c) for c in r.position_mm[:2])]
    # Touches whose radius is still in and touches without it do not lie on one circle.
    if len({r.radius_mm for r in known}) != 1:
        return None
    points = np.array([r.position_mm[:2] for r in known]) - np.asarray(frame.origin_mm[:2])
    try:
        circle = fit_circle(points)
    except NotDetermined:
        return None
    u = max(r.spread for r in known)
    covariance = circle.cofactor[:2, :2] * u**2
    x, y = sources.pair(circle.centre_mm, covariance, [r.row for r in known])
    return x, y
