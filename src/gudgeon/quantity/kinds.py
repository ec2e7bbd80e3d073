"""The kinds of entry that a cell file can hold, with the base unit of each.

The kind decides how text is read, which unit stands inside, and what an example looks like in a
fault message.  The units library is not needed to know a kind.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Final

__all__ = ["BASE", "Kind", "KindFacts"]


class Kind(Enum):
    """What an entry measures, or which plain type it has."""

    LENGTH = "length"
    ANGLE = "angle"
    MASS = "mass"
    FORCE = "force"
    TORQUE = "torque"
    POWER = "power"
    SPEED = "speed"
    SPIN = "speed of turning"
    ACCELERATION = "acceleration"
    SPIN_UP = "acceleration of turning"
    JERK = "jerk"
    SPIN_JERK = "jerk of turning"
    TIME = "time"
    STRESS = "stress"
    TEMPERATURE = "temperature"
    MONEY = "sum of money"
    MONEY_PER_YEAR = "sum of money a year"
    MONEY_PER_HOUR = "sum of money an hour"
    PER_YEAR = "number a year"
    SHARE = "percentage"
    # Plain kinds: no unit is written.
    TEXT = "text"
    NUMBER = "number"
    INTEGER = "whole number"
    YES_NO = "true or false"
    DATE = "date"
    DIRECTION = "direction"


@dataclass(frozen=True, slots=True)
class KindFacts:
    """Base unit and examples of one kind of quantity.

    Attributes
    ----------
    base : str
        Unit of the float inside, in the spelling of the units library ("" for plain kinds).
    shown : str
        The base unit as it is printed.
    examples : tuple of str
        How a person may write it; the first two stand in fault messages.
    """

    base: str
    shown: str
    examples: tuple[str, ...]


BASE: Final[dict[Kind, KindFacts]] = {
    Kind.LENGTH: KindFacts("mm", "mm", ("12.5 mm", "5/8 in")),
    Kind.ANGLE: KindFacts("rad", "rad", ("90 deg", "20 arcsec")),
    Kind.MASS: KindFacts("kg", "kg", ("12 kg", "26 lb")),
    Kind.FORCE: KindFacts("N", "N", ("720 N", "160 lbf")),
    Kind.TORQUE: KindFacts("N*m", "N*m", ("85 N*m", "63 lbf*ft")),
    Kind.POWER: KindFacts("W", "W", ("7.5 kW", "10 hp")),
    Kind.SPEED: KindFacts("mm/s", "mm/s", ("20 m/min", "800 in/min")),
    Kind.SPIN: KindFacts("rad/s", "rad/s", ("25 rpm", "150 deg/s")),
    Kind.ACCELERATION: KindFacts("mm/s2", "mm/s2", ("3 m/s2", "120 in/s2")),
    Kind.SPIN_UP: KindFacts("rad/s2", "rad/s2", ("600 deg/s2", "10 rad/s2")),
    Kind.JERK: KindFacts("mm/s3", "mm/s3", ("30 m/s3", "1200 in/s3")),
    Kind.SPIN_JERK: KindFacts("rad/s3", "rad/s3", ("6000 deg/s3", "100 rad/s3")),
    Kind.TIME: KindFacts("s", "s", ("21 min", "1.5 h")),
    Kind.STRESS: KindFacts("MPa", "MPa", ("2000 MPa", "290 ksi")),
    Kind.TEMPERATURE: KindFacts("degC", "degC", ("20 degC", "68 degF")),
    Kind.MONEY: KindFacts("money", "money", ("24900 EUR", "18500 USD")),
    Kind.MONEY_PER_YEAR: KindFacts("money/year", "money/yr", ("1500 EUR/yr", "900 USD/yr")),
    Kind.MONEY_PER_HOUR: KindFacts("money/hour", "money/h", ("75 EUR/h", "85 USD/h")),
    Kind.PER_YEAR: KindFacts("1/year", "/yr", ("1200 parts/yr", "100 parts/month")),
    Kind.SHARE: KindFacts("", "%", ("8 %", "12.5 %")),
}
"""Facts of each kind that carries a unit."""
