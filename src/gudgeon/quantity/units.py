"""The units that a machine shop writes: their definitions, and the spellings that are understood.

Factors are exact.  Source unless said otherwise: NIST SP 811 (2008), appendix B.
"""

from __future__ import annotations

import math
from fractions import Fraction
from typing import Final

__all__ = ["DEFINITIONS", "SPELLINGS"]

_DEGREE: Final = Fraction(math.pi) / 180

DEFINITIONS: Final = (
    "millimetre = [length]",
    "micrometre = millimetre / 1000",
    "centimetre = 10 * millimetre",
    "metre = 1000 * millimetre",
    "inch = 254 / 10 * millimetre",
    "mil = inch / 1000",
    "foot = 12 * inch",
    # The float pi as a fraction, so that "90 deg" is exactly half of math.pi.
    "radian = [angle]",
    "milliradian = radian / 1000",
    f"degree = {_DEGREE.numerator} / {_DEGREE.denominator} * radian",
    "arcminute = degree / 60",
    "arcsecond = degree / 3600",
    "turn = 360 * degree",
    "kilogram = [mass]",
    "gram = kilogram / 1000",
    "tonne = 1000 * kilogram",
    "pound = 45359237 / 100000000 * kilogram",
    "ounce = pound / 16",
    "second = [time]",
    "millisecond = second / 1000",
    "minute = 60 * second",
    "hour = 3600 * second",
    "newton = kilogram * metre / second ** 2",
    "decanewton = 10 * newton",
    "kilonewton = 1000 * newton",
    "kilogram_force = 980665 / 100000 * newton",
    "pound_force = 980665 / 100000 * 45359237 / 100000000 * newton",
    "ounce_force = pound_force / 16",
    "newton_metre = newton * metre",
    "watt = newton * metre / second",
    "kilowatt = 1000 * watt",
    "horsepower = 550 * foot * pound_force / second",
    "metric_horsepower = 75 * kilogram_force * metre / second",
    "pascal = newton / metre ** 2",
    "kilopascal = 1000 * pascal",
    "megapascal = 1000000 * pascal",
    "gigapascal = 1000000000 * pascal",
    "bar = 100000 * pascal",
    "psi = pound_force / inch ** 2",
    "ksi = 1000 * psi",
    "rpm = turn / minute",
    "inch_per_minute = inch / minute",
    "foot_per_minute = foot / minute",
    "kelvin = [temperature]; offset: 0",
    "degC = kelvin; offset: 273 + 15 / 100",
    "degF = 5 / 9 * kelvin; offset: 273 + 15 / 100 - 160 / 9",
    # Years of the books, not of the clock: twelve months, whatever the days.
    "year = [calendar]",
    "month = year / 12",
    "quarter = year / 4",
    "money = [money]",
    "part = [count]",
    "percent = [percent]",
)
"""Lines for the units library; the unit with a bracket is the root of its dimension."""

_WRITTEN: Final = {
    "millimetre": "mm millimetre millimetres millimeter millimeters",
    "micrometre": "um micron microns micrometre micrometres micrometer micrometers",
    "centimetre": "cm",
    "metre": "m metre metres meter meters",
    "inch": 'in inch inches "',
    "mil": "thou mil mils",
    "foot": "ft foot feet '",
    "radian": "rad radian radians",
    "milliradian": "mrad",
    "degree": "deg degs degree degrees",
    "arcminute": "arcmin arcmins arcminute arcminutes",
    "arcsecond": "arcsec arcsecs arcsecond arcseconds",
    "turn": "turn turns rev revs revolution revolutions",
    "kilogram": "kg kgs kilogram kilograms",
    "gram": "g gram grams",
    "tonne": "t tonne tonnes",
    "pound": "lb lbs lbm pound pounds",
    "ounce": "oz ounce ounces",
    "second": "s sec secs second seconds",
    "millisecond": "ms",
    "minute": "min mins minute minutes",
    "hour": "h hr hrs hour hours",
    "newton": "N newton newtons",
    "decanewton": "daN",
    "kilonewton": "kN",
    "kilogram_force": "kgf kp",
    "pound_force": "lbf lbsf",
    "ounce_force": "ozf",
    "newton_metre": "Nm",
    "watt": "W watt watts",
    "kilowatt": "kW kilowatt kilowatts",
    "horsepower": "hp HP horsepower",
    "metric_horsepower": "PS",
    "pascal": "Pa",
    "kilopascal": "kPa",
    "megapascal": "MPa",
    "gigapascal": "GPa",
    "bar": "bar",
    "psi": "psi",
    "ksi": "ksi",
    "rpm": "rpm",
    "inch_per_minute": "ipm",
    "foot_per_minute": "fpm sfm",
    "kelvin": "K kelvin",
    "degC": "degC celsius",
    "degF": "degF fahrenheit",
    "year": "yr yrs year years annum",
    "month": "month months mo",
    "quarter": "quarter quarters",
    "money": "money",
    "part": "part parts pc pcs piece pieces",
    "percent": "% percent pct",
}

SPELLINGS: Final = {text: name for name, texts in _WRITTEN.items() for text in texts.split()}
"""Registry name of every spelling; capitals are forgiven elsewhere where nothing is lost."""
