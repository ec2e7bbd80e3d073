"""Forces of drilling and milling worked out from the entries of an operation, with their ranges."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

from gudgeon.cell.model import Operation
from gudgeon.findings.judged import Read, values_with_spread
from gudgeon.quantity.amount import Amount
from gudgeon.strength import milling
from gudgeon.strength.cutting import (
    chip_thickness_mean,
    chip_thickness_most,
    drilling_chip,
    drilling_thrust_of,
    drilling_torque,
    specific_cutting_force,
)

__all__ = ["WHOLE_FORCE", "Chip", "Estimate", "Push", "Way", "drilled", "milled"]

Way = Literal["power", "law"]

POWER_AT_CUTTER: Final = Amount(0.9, 0.1)
"""Share of the power read, idling taken off, that reaches the cutter: the drive loses more under
load (common practice, no source)."""

READING_DOUBT: Final = 0.2
"""A power reading without a range may be off by this share: coarse, damped meters (common practice,
no source)."""

LAW_DOUBT: Final = Amount(1.0, 0.4)
"""Forces by the law: books differ by 10 % (CF-000), rake, wear and run-out do the rest (common
practice, no source)."""

TORQUE_DOUBT: Final = Amount(1.0, 0.3)
"""A drilling torque by the law: as above, without teeth that run out (common practice)."""

POINT_DOUBT: Final = Amount(1.0, 0.4)
"""Thrust over torque of a drill: the chisel edge pushes and hardly turns (common practice, no
source).  With the torque's own doubt a thrust by the law is unsure by a half."""

RADIAL_SHARE: Final = 0.4
WHOLE_FORCE: Final = Amount(milling.resultant_factor(RADIAL_SHARE), 0.09)
"""Whole over tangential force of a cutter, radial share 0.2 to 0.6 (common practice, no source)."""

AXIAL_SHARE: Final = Amount(0.4, 0.3)
"""Axial over tangential force of a cutter, either way along the spindle: helix, setting angle
(common practice, no source)."""

PEAK_UNKNOWN: Final = Amount(2.0, 1.0)
"""Greatest over mean force where the arc of the cut is not known (common practice, no source)."""

_READING: Final = Amount(1.0, READING_DOUBT)
_SAME_PRESSURE: Final = Amount(0.0)

EXPONENT_USUAL: Final = Amount(0.25, 0.1)
"""Exponent of the force law where none is entered: 0.14 to 0.26 in tables (CF-000 to CF-007)."""


@dataclass(frozen=True, slots=True)
class Push:
    """A force [N] or torque [N m], worked out from amounts, so that what is shared stays shared.

    Attributes
    ----------
    base : Amount
    times : float
    factor : Amount or None
    """

    base: Amount
    times: float = 1.0
    factor: Amount | None = None

    def at(self, read: Read) -> float:
        """Return its size as `read` takes the amounts; never below zero."""
        factor = 1.0 if self.factor is None else read(self.factor)
        return max(0.0, read(self.base) * self.times * factor)

    @property
    def value(self) -> float:
        """Its size at the best values."""
        return self.at(lambda amount: amount.value)

    @property
    def plus_minus(self) -> float | None:
        """Expanded uncertainty (k = 2); ``None`` if none was stated."""
        if self.factor is None and self.base.plus_minus is None:
            return None
        return float(values_with_spread(lambda read: [self.at(read)])[1][0])


@dataclass(frozen=True, slots=True)
class Chip:
    """What the cut looks like from the tool.

    Attributes
    ----------
    mean_mm, most_mm : float or None
        Chip thickness.
    pressure_mpa : float or None
        Specific cutting force at the mean thickness by the law.
    teeth : int or None
        Teeth in the cut at most.
    power_w : float or None
        Power at the cutter; ``None`` without a spindle speed.
    """

    mean_mm: float | None = None
    most_mm: float | None = None
    pressure_mpa: float | None = None
    teeth: int | None = None
    power_w: float | None = None


@dataclass(frozen=True, slots=True)
class Estimate:
    """Forces worked out in one way.

    Attributes
    ----------
    way : "power" or "law"
        From the power read at the machine, or by the law of the specific cutting force.
    rests_on : str
        The entries that were used.
    thrust, side, twist : Push
        As in `CutForces`; a drill has no side force.
    chip : Chip
    """

    way: Way
    rests_on: str
    thrust: Push
    side: Push | None
    twist: Push
    chip: Chip


# --- drills -----------------------------------------------------------------------------------


def drilled(operation: Operation, diameter: Amount, way: Way) -> Estimate:
    """Return what a drill does; the entries that the way needs must be there."""
    if way == "power":
        torque = _spread(lambda read: _power(operation, read) / _most(read, operation.speed))
        rests_on = "the power read and the spindle speed"
    else:
        torque = _spread(
            lambda read: (
                read(TORQUE_DOUBT)
                * drilling_torque(
                    _pressure(operation, read, drilling_chip(_most(read, operation.feed_per_turn))),
                    read(diameter),
                    _most(read, operation.feed_per_turn),
                )
            )
        )
        rests_on = "drill, feed and the specific cutting force"
    chip = None if operation.feed_per_turn is None else drilling_chip(operation.feed_per_turn.value)
    speed = operation.speed
    return Estimate(
        way=way,
        rests_on=rests_on,
        thrust=Push(torque, drilling_thrust_of(1.0, diameter.value), POINT_DOUBT),
        side=None,
        twist=Push(torque),
        chip=Chip(
            mean_mm=chip,
            most_mm=chip,
            pressure_mpa=_law_pressure(operation, chip),
            teeth=2,
            power_w=None if speed is None else torque.value * speed.value,
        ),
    )


# --- cutters ----------------------------------------------------------------------------------


def milled(operation: Operation, diameter: Amount, way: Way) -> Estimate:
    """Return what a milling cutter does; the entries that the way needs must be there."""
    width, teeth, exponent = operation.width, operation.teeth, _exponent(operation)
    by_power = way == "power"

    def peaks(read: Read) -> tuple[float, float]:
        """Return the greatest force of the rims and of their vector sum over a full tooth's.

        By the power: over the mean force of the rims.
        """
        if width is None or teeth is None:
            return read(PEAK_UNKNOWN), read(PEAK_UNKNOWN)
        share = min(1.0, max(0.0, read(exponent)))
        sums = _sums(_most(read, diameter), _most(read, width), teeth, share)
        per = [one.mean if by_power else 1.0 for one in sums]
        return (
            max(one.peak / mean for one, mean in zip(sums, per, strict=True)),
            max(one.resultant / mean for one, mean in zip(sums, per, strict=True)),
        )

    def rims(read: Read) -> float:
        if by_power:
            assert operation.speed is not None
            spin = _most(read, operation.speed)
            one = milling.rim_force(_power(operation, read), spin, _most(read, diameter))
        else:
            one = read(LAW_DOUBT) * _full_tooth(operation, read)
        return one * peaks(read)[0]

    base = _spread(rims)
    peak, resultant = peaks(_value)
    return Estimate(
        way=way,
        rests_on="the power read, spindle speed and cutter diameter"
        if by_power
        else "depth, width, teeth, feed a tooth and the specific cutting force",
        thrust=Push(base, 1.0, AXIAL_SHARE),
        side=Push(base, resultant / peak, WHOLE_FORCE),
        twist=Push(base, diameter.value / 2000.0),
        chip=_chip(operation, diameter.value, way),
    )


def _sums(
    diameter_mm: float, width_mm: float, teeth: int, exponent: float
) -> list[milling.TeethSum]:
    """Return the sums over the teeth wherever the cutter may stand over the width.

    Up to half the diameter it is taken to cut with one side, as end mills do; a wider cut may lie
    anywhere under a facing cutter.
    """
    asides = (0.0,) if width_mm <= 0.5 * diameter_mm else (0.0, 0.125, 0.25, 0.375, 0.5)
    return [
        milling.teeth_sum(milling.Engagement.of(diameter_mm, width_mm, aside), teeth, exponent)
        for aside in asides
    ]


def _full_tooth(operation: Operation, read: Read) -> float:
    """Return a tooth's tangential force where the chip is as thick as the feed a tooth [N]."""
    assert operation.depth is not None and operation.feed_per_tooth is not None
    pressure = operation.pressure_at_1mm
    exponent = 0.0 if pressure is None else read(_exponent(operation))
    pressure = pressure or operation.cutting_pressure
    assert pressure is not None
    return milling.tooth_force(
        read(pressure), exponent, read(operation.depth), _most(read, operation.feed_per_tooth)
    )


def _chip(operation: Operation, diameter_mm: float, way: Way) -> Chip:
    width, teeth, feed = operation.width, operation.teeth, operation.feed_per_tooth
    power = None
    if width is None:
        if way == "power":
            power = _power(operation, _value)
        return Chip(power_w=power)
    wide = min(width.value, diameter_mm)
    in_cut = None
    if teeth is not None:
        in_cut = milling.Engagement.of(diameter_mm, wide).teeth_in_cut(teeth)
    if way == "power":
        power = _power(operation, _value)
    elif operation.speed is not None and teeth is not None:
        side = milling.teeth_sum(
            milling.Engagement.of(diameter_mm, wide), teeth, _law_exponent(operation)
        )
        mean = _full_tooth(operation, _value) * side.mean
        power = mean * operation.speed.value * diameter_mm / 2000.0
    mean_chip = None if feed is None else chip_thickness_mean(feed.value, diameter_mm, wide)
    return Chip(
        mean_mm=mean_chip,
        pressure_mpa=_law_pressure(operation, mean_chip),
        most_mm=None if feed is None else chip_thickness_most(feed.value, diameter_mm, wide),
        teeth=in_cut,
        power_w=power,
    )


# --- shared pieces ----------------------------------------------------------------------------


def _exponent(operation: Operation) -> Amount:
    """Return the exponent of the law; nought where one pressure is stated for every chip."""
    if operation.pressure_exponent is not None:
        return operation.pressure_exponent
    if operation.pressure_at_1mm is None and operation.cutting_pressure is not None:
        return _SAME_PRESSURE
    return EXPONENT_USUAL


def _law_exponent(operation: Operation) -> float:
    return 0.0 if operation.pressure_at_1mm is None else _exponent(operation).value


def _law_pressure(operation: Operation, chip_mm: float | None) -> float | None:
    if chip_mm is None or operation.pressure_at_1mm is None:
        return None
    return _pressure(operation, _value, chip_mm)


def _pressure(operation: Operation, read: Read, chip_mm: float) -> float:
    """Return the specific cutting force at a chip thickness [MPa]."""
    if operation.pressure_at_1mm is not None:
        return specific_cutting_force(
            read(operation.pressure_at_1mm), read(_exponent(operation)), chip_mm
        )
    assert operation.cutting_pressure is not None
    return read(operation.cutting_pressure)


def _power(operation: Operation, read: Read) -> float:
    """Return the power at the cutter [W]."""
    power = operation.spindle_power
    assert power is not None
    if power.plus_minus is not None:
        return read(power) * read(POWER_AT_CUTTER)
    return power.value * read(POWER_AT_CUTTER) * read(_READING)


def _most(read: Read, amount: Amount | None) -> float:
    """Return a size that must stay above nought however wide its range."""
    assert amount is not None
    return max(read(amount), 0.01 * amount.value)


def _spread(work: Callable[[Read], float]) -> Amount:
    """Return a worked-out value as one amount, with all that makes it unsure."""
    values, spreads = values_with_spread(lambda read: [work(read)])
    return Amount(float(values[0]), float(spreads[0]))


def _value(amount: Amount) -> float:
    return amount.value
