"""From the text of a unit to its factor and dimension; the only user of the units library.

Names are looked up in one list and multiplied; nothing that a person wrote is ever evaluated.
"""

from __future__ import annotations

import functools
import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Final, cast

from gudgeon.quantity.kinds import BASE, Kind
from gudgeon.quantity.units import DEFINITIONS, SPELLINGS
from gudgeon.quantity.unreadable import MONEY, unknown

if TYPE_CHECKING:
    import pint

__all__ = ["SLOPE", "Dimension", "Unit", "dimensions_of", "in_celsius", "kind_of", "read_unit"]

Dimension = frozenset[tuple[str, Fraction]]
"""Root units with their powers, such as {("millimetre", 1), ("second", -1)}."""

SLOPE: Final[Dimension] = frozenset({("slope", Fraction(1))})
"""Dimension of a rise over a run, as levels and squares are marked: an angle by its tangent."""

_RISE_OVER_RUN: Final = (
    ("millimetre", "metre"),
    ("micrometre", "metre"),
    ("inch", "foot"),
    ("mil", "foot"),
    ("mil", "inch"),
)
"""Only these: any other length over a length is rather a slip than a slope."""

_NAME: Final = re.compile(r"""([A-Za-z]+|[%"'])(?:\^?([23]))?""")


@dataclass(frozen=True, slots=True)
class Unit:
    """A product of named units.

    Attributes
    ----------
    text : str
        As written.
    factor : Fraction
        Base units of the kind wanted in one of this unit.
    dimension : frozenset
        Root units with their powers.
    currency : str
        Three-letter code, or empty.
    scale : str
        A temperature scale with its own zero, or empty.
    """

    text: str
    factor: Fraction
    dimension: Dimension
    currency: str = ""
    scale: str = ""


@functools.cache
def _registry() -> pint.UnitRegistry[Fraction]:
    import pint  # a quarter of a second: only once a quantity is read

    registry: pint.UnitRegistry[Fraction] = pint.UnitRegistry(None, non_int_type=Fraction)
    registry.load_definitions(list(DEFINITIONS))
    return registry


@functools.cache
def _named(name: str) -> tuple[Fraction, Dimension]:
    """Return factor and dimension of a unit of the registry."""
    quantity = _registry().Quantity(Fraction(1), name).to_root_units()
    powers = cast("Iterable[tuple[str, Fraction]]", quantity.unit_items())
    return quantity.magnitude, frozenset((root, Fraction(power)) for root, power in powers)


@functools.cache
def dimensions_of(kind: Kind) -> frozenset[Dimension]:
    """Return the dimensions (as products of root units) that an entry of `kind` may have."""
    if kind is Kind.SHARE:
        return frozenset({_multiplied(["percent"], [])[1]})
    if kind is Kind.PER_YEAR:
        return frozenset({_multiplied(["part"], ["year"])[1], _multiplied([], ["year"])[1]})
    if kind is Kind.TEMPERATURE:
        return frozenset({_multiplied(["kelvin"], [])[1]})
    base = read_unit("", kind, BASE[kind].base).dimension
    return frozenset({base, SLOPE}) if kind is Kind.ANGLE else frozenset({base})


def _multiplied(above: list[str], below: list[str]) -> tuple[Fraction, Dimension]:
    """Return factor and dimension of a product of registry names over another."""
    factor, powers = Fraction(1), Counter[str]()
    for names, sign in ((above, 1), (below, -1)):
        for name in names:
            one, roots = _named(name)
            factor *= one**sign
            for root, power in roots:
                powers[root] += sign * int(power)
    return factor, frozenset((root, Fraction(power)) for root, power in powers.items() if power)


@functools.lru_cache(maxsize=512)
def read_unit(text: str, kind: Kind, written: str) -> Unit:
    """Read the unit behind a number.

    Parameters
    ----------
    text : str
        The whole quantity, for messages.
    kind : Kind
        What is wanted; decides what an apostrophe or a pound means.
    written : str
        The unit alone.

    Raises
    ------
    QuantityError
        If a word is not a known unit.
    """
    above, bar, below = re.sub(r"\bper\b", "/", written).partition("/")
    if "/" in below or (bar and not below.strip()):
        raise unknown(text, kind, written, _spellings(kind))
    currency = ""
    sides: tuple[list[str], list[str]] = ([], [])
    for side, part in enumerate((above, below)):
        rest = _NAME.sub(" ", part)
        if rest.strip(" *.-\t"):
            raise unknown(text, kind, written, _spellings(kind))
        for found in _NAME.finditer(part):
            word, power = found[1], int(found[2] or 1)
            if side == 1 and word == "a":
                word = "yr"  # "per a", the SI symbol of the year
            name = _spelling(word, kind)
            if name is None and re.fullmatch("[A-Z]{3}", word) and side == 0:
                name, currency = "money", word
            if name is None:
                raise unknown(text, kind, word, _spellings(kind))
            sides[side].extend([name] * power)
    if not sides[0] and not sides[1]:
        raise unknown(text, kind, written, _spellings(kind))
    if sides[0] in (["degC"], ["degF"], ["kelvin"]) and not sides[1]:
        kelvin = _multiplied(["kelvin"], [])[1]
        return Unit(written, Fraction(1), kelvin, scale=sides[0][0])
    if any(name in ("degC", "degF", "kelvin") for name in (*sides[0], *sides[1])):
        raise unknown(text, kind, written, _spellings(kind))
    factor, dimension = _multiplied(*sides)
    if kind in (Kind.TORQUE, Kind.STRESS) and dimension not in _torque_and_stress():
        # "85 ft-lb" and "30 lb/in2": pounds of force are meant, as everybody writes them.
        pounds = {"pound": "pound_force", "ounce": "ounce_force"}
        forces = [pounds.get(name, name) for name in sides[0]]
        if forces != sides[0]:
            again, other = _multiplied(forces, sides[1])
            if other in _torque_and_stress():
                factor, dimension = again, other
    if any(([rise], [run]) == sides for rise, run in _RISE_OVER_RUN):
        return Unit(written, factor, SLOPE)
    return Unit(written, factor * _base_scale(kind), dimension, currency)


@functools.cache
def _torque_and_stress() -> frozenset[Dimension]:
    return frozenset({_multiplied(["newton", "metre"], [])[1], _multiplied(["megapascal"], [])[1]})


@functools.cache
def _base_scale(kind: Kind) -> Fraction:
    """Return how many base units of `kind` make one product of root units."""
    roots = {
        Kind.SHARE: (["percent"], [], Fraction(1, 100)),
        Kind.TORQUE: (["newton", "metre"], [], Fraction(1)),
        Kind.FORCE: (["newton"], [], Fraction(1)),
        Kind.POWER: (["watt"], [], Fraction(1)),
        Kind.STRESS: (["megapascal"], [], Fraction(1)),
        Kind.MONEY_PER_HOUR: (["money"], ["hour"], Fraction(1)),
    }
    if kind not in roots:
        return Fraction(1)  # mm, rad, kg, s, money and year are the roots themselves
    above, below, scale = roots[kind]
    return scale / _multiplied(above, below)[0]


def _spelling(word: str, kind: Kind) -> str | None:
    """Return the registry name of a written unit; capitals are forgiven where nothing is lost."""
    if kind is Kind.ANGLE and word in ("'", '"'):
        return "arcminute" if word == "'" else "arcsecond"
    if kind is Kind.TEMPERATURE and word in ("C", "F"):
        return f"deg{word}"
    if word in SPELLINGS:
        return SPELLINGS[word]
    if kind in MONEY and re.fullmatch("[A-Z]{3}", word):
        return None
    folded = {name for text, name in SPELLINGS.items() if text.lower() == word.lower()}
    return folded.pop() if len(folded) == 1 and len(word) > 1 else None


@functools.cache
def _spellings(kind: Kind) -> tuple[str, ...]:
    """Return the spellings of units that a quantity of `kind` can be built from."""
    roots = {root for dimension in dimensions_of(kind) - {SLOPE} for root, _ in dimension}
    return tuple(
        text
        for text, name in SPELLINGS.items()
        if name != "money" and {root for root, _ in _named(name)[1]} <= roots
    )


def kind_of(unit: Unit) -> Kind | None:
    """Return the kind of quantity that has this unit, if there is one."""
    return next((kind for kind in BASE if unit.dimension in dimensions_of(kind)), None)


def in_celsius(number: Fraction, scale: str, *, difference: bool) -> Fraction:
    """Convert a temperature, or a difference of two, from `scale` to degrees Celsius."""
    if difference and scale == "kelvin":
        return number
    before, after = (f"delta_{scale}", "delta_degC") if difference else (scale, "degC")
    return _registry().Quantity(number, before).to(after).magnitude
