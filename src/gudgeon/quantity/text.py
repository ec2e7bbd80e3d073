"""From what people write to an `Amount`, and back: "5/8 in", "12.5 mm +- 0.01 mm", "85 lbf*ft".

The only user of the units library.  Numbers stay exact fractions until the last step, so that
"0.1 in" and "2.54 mm" give the same float.  The text is never evaluated: numbers and names are
picked out by a small grammar, names are looked up in one list, and everything has an upper limit.

What is read
------------
* numbers: ``0.611``, ``.5``, ``5/8``, ``1 1/2``, ``1-1/2``, ``-3``, ``1e-3``;
* units joined by ``*``, ``.``, ``-`` or a space, and one ``/``: ``N*m``, ``lbf ft``, ``N/mm2``;
* sums of falling units: ``12 deg 30 arcmin``, ``5 ft 3 in``, ``1 h 20 min``;
* a spread, 95 % (k = 2): ``+- 0.01 mm``, ``+/- 10 %``, or ``18 min to 24 min`` (middle +- half).
"""

from __future__ import annotations

import difflib
import functools
import re
from collections import Counter
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Final

from gudgeon.quantity.amount import Amount
from gudgeon.quantity.kinds import BASE, Kind
from gudgeon.quantity.units import DEFINITIONS, SPELLINGS

if TYPE_CHECKING:
    import pint

__all__ = ["QuantityError", "Written", "read", "read_amount", "with_units", "write_amount"]

LONGEST: Final = 80
"""Characters in one quantity; nobody writes more, and it bounds the work."""

LARGEST: Final = 1e12
"""Greatest value in base units; far beyond any machine, far below trouble with floats."""

_EXPONENT_MAX: Final = 30  # 1e30 is already far above LARGEST in any unit

Dimension = frozenset[tuple[str, Fraction]]
"""Root units with their powers, such as {("millimetre", 1), ("second", -1)}."""

_NUMBER: Final = re.compile(
    r"[+-]?(?:\d+(?:\s+|-)\d+/\d+|\d+/\d+|(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+(?![A-Za-z]))?)"
)
_UNIT: Final = re.compile(
    r"""(?:[A-Za-z]+(?:\^?[23](?![\d.]))?|-(?=[A-Za-z])|[%"'*/\s]|\.(?=[A-Za-z]))*"""
)
_NAME: Final = re.compile(r"""([A-Za-z]+|[%"'])(?:\^?([23]))?""")
_SPREAD: Final = re.compile(r"\+\s*/?\s*-")
_TO: Final = re.compile(r"(?<![A-Za-z])to(?![A-Za-z])")
_MONEY: Final = (Kind.MONEY, Kind.MONEY_PER_YEAR, Kind.MONEY_PER_HOUR)
_SUMS: Final = (Kind.LENGTH, Kind.ANGLE, Kind.TIME)
_SIGNS: Final = {"$": "USD", "€": "EUR", "£": "GBP", "¥": "JPY"}
_SAME: Final = str.maketrans(
    {"−": "-", "–": "-", "±": "+-", "°": "deg", "µ": "u", "μ": "u", "·": "*", "×": "*"}
    | {"²": "2", "³": "3", "′": "'", "″": '"', "”": '"', "’": "'", "\u00a0": " ", "\u202f": " "}
)


class QuantityError(ValueError):
    """A text is not the quantity that is wanted.

    Attributes
    ----------
    problem : str
        What is wrong, without a full stop.
    fix : str
        What to write instead, as an order.
    reason : str
        ``"unreadable"``, ``"no unit"``, ``"comma"``, ``"unit"`` (unknown), ``"dimension"``,
        ``"backwards"`` or ``"size"``.
    span : tuple of int or None
        Start and end of the wrong characters in the text, if they can be told.
    """

    def __init__(
        self, problem: str, fix: str, reason: str, span: tuple[int, int] | None = None
    ) -> None:
        super().__init__(f"{problem}; {fix}")
        self.problem = problem
        self.fix = fix
        self.reason = reason
        self.span = span


@dataclass(frozen=True, slots=True)
class Written:
    """A quantity as read.

    Attributes
    ----------
    amount : Amount
        In the base unit of its kind.
    currency : str
        Three-letter code of a sum of money; empty for all else.
    """

    amount: Amount
    currency: str = ""


@dataclass(frozen=True, slots=True)
class _Unit:
    """A product of named units: its factor to the base units, its dimension, its currency."""

    text: str
    factor: Fraction
    dimension: Dimension
    currency: str = ""
    relative: bool = False  # a per cent sign
    scale: str = ""  # a temperature scale with its own zero


@dataclass(frozen=True, slots=True)
class _Term:
    """One number with the unit behind it, as written."""

    number: Fraction
    signed: bool
    written: str
    unit: str


def read_amount(text: str, kind: Kind) -> Amount:
    """Read a quantity; see `read`.

    Examples
    --------
    >>> read_amount("5/8 in", Kind.LENGTH)
    Amount(value=15.875, plus_minus=None)
    >>> read_amount("12.5 mm +- 10 um", Kind.LENGTH)
    Amount(value=12.5, plus_minus=0.01)
    >>> read_amount("12.5", Kind.LENGTH)
    Traceback (most recent call last):
        ...
    gudgeon.quantity.text.QuantityError: "12.5" has no unit; write "12.5 mm" or "12.5 in"
    """
    return read(text, kind).amount


def read(text: str, kind: Kind) -> Written:
    """Read what a person wrote for a quantity of `kind`.

    Parameters
    ----------
    text : str
        Any text at all; at most `LONGEST` characters can be a quantity.
    kind : Kind
        A kind with a unit (a key of `BASE`), or ``Kind.NUMBER`` for a plain number with or
        without a spread.

    Raises
    ------
    QuantityError
        With the reason and the mend.  A bare number is refused: on a floor with inch and metric
        drawings it is a guess.
    """
    if len(text) > LONGEST:
        raise _unreadable(text[:LONGEST] + "...", kind)
    for sign, code in _SIGNS.items():
        if sign in text:
            number = re.sub(r"[^\d.]", "", text) or "100"
            _, per, rest = text.partition("/")
            fix = f'write the three-letter code of your currency: "{number} {code}{per}{rest}"'
            raise QuantityError(
                f'"{text}" has a currency sign that several countries use'
                if sign in "$¥"
                else f'"{text}" has a currency sign instead of a code',
                fix,
                "unit",
                (text.index(sign), text.index(sign) + 1),
            )
    if "," in text:
        raise _comma(text, kind)
    plain = re.sub(r"\bdeg\s*([CF])\b", r"deg\1", text.translate(_SAME)).strip()
    if kind in _MONEY:
        # "EUR 75/h" is as clear as "75 EUR/h".
        plain = re.sub(rf"^([A-Z]{{3}})\s*({_NUMBER.pattern})", r"\2 \1", plain)

    halves = _SPREAD.split(plain)
    if len(halves) == 2:
        return _with_spread(text, kind, halves[0], halves[1])
    ends = _TO.split(plain)
    if len(ends) == 2 and kind is not Kind.NUMBER:
        return _from_to(text, kind, ends[0], ends[1])
    if len(halves) > 1 or len(ends) > 1:
        raise _unreadable(text, kind)
    terms = _terms(plain)
    if terms is None:
        raise _unreadable(text, kind)
    value, currency = _value(text, kind, terms)
    return Written(Amount(_checked(text, kind, value)), currency)


def with_units(number: str, kind: Kind) -> str:
    """Return how to write a bare number: ``'"762 mm" or "762 in"'``."""
    examples = BASE[kind].examples[:2]
    units = [_NUMBER.sub("", example, count=1).strip() for example in examples]
    choices = dict.fromkeys(f'"{number} {unit}"' for unit in units)
    return " or ".join(choices)


def write_amount(amount: Amount, kind: Kind, currency: str = "") -> str:
    """Return a text that `read` turns into the same amount, in the base unit of `kind`.

    Money needs its `currency`.  Angles are written in rad, since degrees would round.
    """
    if kind is Kind.NUMBER:
        unit, scale = "", 1.0
    elif kind is Kind.SHARE:
        unit, scale = " %", 100.0
    else:
        unit, scale = f" {BASE[kind].base}".replace("money", currency), 1.0
    if kind is Kind.PER_YEAR:
        unit = " parts/year"
    text = f"{amount.value * scale!r}{unit}"
    return text if amount.plus_minus is None else f"{text} +- {amount.plus_minus * scale!r}{unit}"


# --- spreads ------------------------------------------------------------------------------------


def _with_spread(text: str, kind: Kind, left: str, right: str) -> Written:
    value_terms, spread_terms = _terms(left), _terms(right)
    if value_terms is None or spread_terms is None or len(spread_terms) != 1:
        raise _unreadable(text, kind)
    (spread,) = spread_terms
    if spread.signed or spread.number < 0:
        raise QuantityError(
            f'"{text}" has a sign behind +-',
            "write the half width as a plain number; for uneven limits write the middle value",
            "unreadable",
        )
    relative = spread.unit == "%" and kind is not Kind.SHARE
    if len(value_terms) == 1 and not value_terms[0].unit and not relative:
        # "0.611 +- 0.001 in": the one unit at the end is meant for both.
        value_terms = [_with_unit(value_terms[0], spread.unit)]
    value, currency = _value(text, kind, value_terms)
    if relative:
        half = abs(value) * spread.number / 100
    else:
        if not spread.unit and kind is not Kind.NUMBER:
            last = value_terms[-1]
            raise QuantityError(
                f'"{text}" has no unit behind +-',
                f'write "{left.strip()} +- {spread.written} {last.unit}"',
                "no unit",
            )
        half, other = _value(text, kind, spread_terms, difference=True)
        _same_currency(text, currency, other)
    return Written(Amount(_checked(text, kind, value), _checked(text, kind, half)), currency)


def _from_to(text: str, kind: Kind, left: str, right: str) -> Written:
    low_terms, high_terms = _terms(left), _terms(right)
    if low_terms is None or high_terms is None:
        raise _unreadable(text, kind)
    if len(low_terms) == 1 and not low_terms[0].unit:
        low_terms = [_with_unit(low_terms[0], high_terms[-1].unit)]
    low, currency = _value(text, kind, low_terms)
    high, other = _value(text, kind, high_terms)
    _same_currency(text, currency, other)
    if low > high:
        raise QuantityError(
            f'"{text}" runs backwards', "write the smaller value first", "backwards"
        )
    return Written(
        Amount(_checked(text, kind, (low + high) / 2), _checked(text, kind, (high - low) / 2)),
        currency,
    )


def _with_unit(term: _Term, unit: str) -> _Term:
    return _Term(term.number, term.signed, term.written, unit)


def _same_currency(text: str, one: str, other: str) -> None:
    if one != other:
        raise QuantityError(
            f'"{text}" holds two currencies', f"write both in {one or other}", "unit"
        )


# --- numbers and terms --------------------------------------------------------------------------


def _terms(side: str) -> list[_Term] | None:
    """Split "12 deg 30 arcmin" into its terms; ``None`` if it is no such text."""
    found: list[_Term] = []
    at, side = 0, side.strip()
    while at < len(side):
        number = _NUMBER.match(side, at)
        if number is None:
            return None
        value = _fraction(number[0])
        unit = _UNIT.match(side, number.end())
        if value is None or unit is None:
            return None
        found.append(_Term(value, number[0][0] in "+-", number[0], unit[0].strip()))
        at = unit.end()
    return found or None


def _fraction(written: str) -> Fraction | None:
    """Return the exact value; ``None`` for a zero under the bar or an absurd exponent."""
    mantissa, _, exponent = written.lower().partition("e")
    if exponent and abs(int(exponent)) > _EXPONENT_MAX:
        return None
    sign = -1 if mantissa.startswith("-") else 1
    whole, bar, under = mantissa.lstrip("+-").partition("/")
    if not bar:
        return sign * Fraction(whole) * Fraction(10) ** int(exponent or 0)
    if int(under) == 0:
        return None
    *units, over = re.split(r"[\s-]+", whole)
    return sign * (sum(Fraction(unit) for unit in units) + Fraction(int(over), int(under)))


def _value(
    text: str, kind: Kind, terms: list[_Term], *, difference: bool = False
) -> tuple[Fraction, str]:
    """Return the exact value in the base unit of `kind`, and the currency."""
    if kind is Kind.NUMBER:
        if len(terms) == 1 and not terms[0].unit:
            return terms[0].number, ""
        raise QuantityError(
            f'"{text}" has a unit, a plain number is wanted',
            f"write {terms[0].written} without a unit"
            if terms[0].unit != "%"
            else f"write {float(terms[0].number / 100):g}",
            "dimension",
        )
    for term in terms:
        if not term.unit:
            joined = "".join(part.written for part in terms)
            if len(terms) > 1 and re.fullmatch(r"[\d.]+", joined):
                unit = terms[-1].unit
                raise QuantityError(
                    f'"{text}" is not {_article(kind)}',
                    f'write the digits without a gap: "{joined} {unit}"',
                    "unreadable",
                )
            raise QuantityError(
                f'"{text}" has no unit', f"write {with_units(term.written, kind)}", "no unit"
            )
    units = [_unit(text, kind, term.unit) for term in terms]
    wanted = _dimension_of(kind)
    for unit in units:
        if unit.dimension not in wanted:
            raise _dimension(text, kind, unit, terms[0].written)
    if len(terms) == 1:
        return _scaled(kind, terms[0].number, units[0], difference), units[0].currency
    falling = all(a.factor > b.factor for a, b in zip(units, units[1:], strict=False))
    if kind not in _SUMS or not falling or any(term.signed for term in terms[1:]):
        raise _unreadable(text, kind)
    total = sum(
        (abs(term.number) * unit.factor for term, unit in zip(terms, units, strict=True)),
        Fraction(0),
    )
    return (-total if terms[0].written.startswith("-") else total), ""


def _scaled(kind: Kind, number: Fraction, unit: _Unit, difference: bool) -> Fraction:
    if kind is not Kind.TEMPERATURE:
        return number * unit.factor
    if difference and unit.scale == "kelvin":
        return number
    before, after = (f"delta_{unit.scale}", "delta_degC") if difference else (unit.scale, "degC")
    return Fraction(_registry().Quantity(number, before).to(after).magnitude)


def _checked(text: str, kind: Kind, value: Fraction) -> float:
    if abs(value) > LARGEST:
        raise QuantityError(
            f'"{text}" is too large to be {_article(kind)} in a machine shop',
            f'write a value such as "{BASE[kind].examples[0] if kind in BASE else "0.15"}"',
            "size",
        )
    return float(value)


# --- units --------------------------------------------------------------------------------------


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
    powers = ((str(root), Fraction(power)) for root, power in quantity.unit_items())
    return Fraction(quantity.magnitude), frozenset(powers)


@functools.cache
def _dimension_of(kind: Kind) -> frozenset[Dimension]:
    """Return the dimensions (as products of root units) that an entry of `kind` may have."""
    if kind is Kind.SHARE:
        return frozenset({_multiplied(["percent"], [])[1]})
    if kind is Kind.PER_YEAR:
        return frozenset({_multiplied(["part"], ["year"])[1], _multiplied([], ["year"])[1]})
    if kind is Kind.TEMPERATURE:
        return frozenset({_multiplied(["kelvin"], [])[1]})
    return frozenset({_unit("", kind, BASE[kind].base).dimension})


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
def _unit(text: str, kind: Kind, written: str) -> _Unit:
    """Read the unit text behind a number."""
    above, bar, below = re.sub(r"\bper\b", "/", written).partition("/")
    if "/" in below or (bar and not below.strip()):
        raise _unknown(text, kind, written)
    currency = ""
    sides: tuple[list[str], list[str]] = ([], [])
    for side, part in enumerate((above, below)):
        rest = _NAME.sub(" ", part)
        if rest.strip(" *.-\t"):
            raise _unknown(text, kind, written)
        for found in _NAME.finditer(part):
            word, power = found[1], int(found[2] or 1)
            if side == 1 and word == "a":
                word = "yr"  # "per a", the SI symbol of the year
            name = _spelling(word, kind)
            if name is None and re.fullmatch("[A-Z]{3}", word) and side == 0:
                name, currency = "money", word
            if name is None:
                raise _unknown(text, kind, word)
            sides[side].extend([name] * power)
    if not sides[0] and not sides[1]:
        raise _unknown(text, kind, written)
    if sides[0] in (["degC"], ["degF"], ["kelvin"]) and not sides[1]:
        kelvin = _multiplied(["kelvin"], [])[1]
        return _Unit(written, Fraction(1), kelvin, scale=sides[0][0])
    if any(name in ("degC", "degF", "kelvin") for name in (*sides[0], *sides[1])):
        raise _unknown(text, kind, written)
    factor, dimension = _multiplied(*sides)
    if kind in (Kind.TORQUE, Kind.STRESS) and dimension not in _torque_and_stress():
        # "85 ft-lb" and "30 lb/in2": pounds of force are meant, as everybody writes them.
        pounds = {"pound": "pound_force", "ounce": "ounce_force"}
        forces = [pounds.get(name, name) for name in sides[0]]
        if forces != sides[0]:
            again, other = _multiplied(forces, sides[1])
            if other in _torque_and_stress():
                factor, dimension = again, other
    return _Unit(written, factor * _base_scale(kind), dimension, currency, written == "%")


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
    if kind in _MONEY and re.fullmatch("[A-Z]{3}", word):
        return None
    folded = {name for text, name in SPELLINGS.items() if text.lower() == word.lower()}
    return folded.pop() if len(folded) == 1 and len(word) > 1 else None


# --- what is wrong ------------------------------------------------------------------------------


def _article(kind: Kind) -> str:
    name = kind.value
    return f"{'an' if name[0] in 'aeiou' else 'a'} {name}"


def _unreadable(text: str, kind: Kind) -> QuantityError:
    examples = BASE[kind].examples if kind in BASE else ("0.15", "0.15 +- 0.02")
    return QuantityError(
        f'"{text}" is not {_article(kind)}',
        f'write a number and a unit, such as "{examples[0]}" or "{examples[1]}"'
        if kind in BASE
        else f'write a number, such as "{examples[0]}" or "{examples[1]}"',
        "unreadable",
    )


def _comma(text: str, kind: Kind) -> QuantityError:
    at = text.index(",")
    whole = re.search(r"(\d+),(\d+)", text)
    if whole is None:
        return QuantityError(
            f'"{text}" is not {_article(kind)}', "leave the comma out", "comma", (at, at + 1)
        )
    point = text.replace(",", ".", 1)
    if text.count(",") > 1:
        fix = f'write "{text.replace(",", "")}"'
    elif len(whole[2]) == 3 and whole[1].lstrip("0"):
        fix = f'write "{point}" or "{text.replace(",", "")}", whichever is meant'
    else:
        fix = f'write "{point}"'
    return QuantityError(f'"{text}" is not {_article(kind)}', fix, "comma", (at, at + 1))


def _unknown(text: str, kind: Kind, word: str) -> QuantityError:
    """A word is no unit: name the nearest that is."""
    known = [spelling for spelling in SPELLINGS if len(spelling) > 1]
    near = difflib.get_close_matches(word, known, n=1, cutoff=0.7)
    examples = " or ".join(f'"{example}"' for example in BASE[kind].examples[:2])
    at = text.find(word)
    if kind in _MONEY and re.fullmatch("[a-z]{3}", word):
        fix = f'write the currency in capitals: "{text.replace(word, word.upper())}"'
    elif word in ("day", "days", "week", "weeks", "wk") and kind is Kind.PER_YEAR:
        fix = "write the number a year or a month; shops differ in working days"
    elif near and _spelling(near[0], kind) and text:
        fix = f'write "{text.replace(word, near[0])}" if that is meant, or such as {examples}'
    else:
        fix = f"write {examples}"
    span = (at, at + len(word)) if at >= 0 and word else None
    return QuantityError(
        f'"{word}" in "{text}" is not a unit that is known here', fix, "unit", span
    )


def _dimension(text: str, kind: Kind, unit: _Unit, number: str) -> QuantityError:
    """Say what it is instead."""
    found = next((other for other in BASE if unit.dimension in _dimension_of(other)), None)
    instead = {
        (Kind.FORCE, "lb"): "lbf",
        (Kind.FORCE, "lbs"): "lbf",
        (Kind.FORCE, "kg"): "kgf",
        (Kind.MASS, "lbf"): "lb",
        (Kind.MASS, "kgf"): "kg",
        (Kind.ANGLE, "min"): "arcmin",
        (Kind.ANGLE, "s"): "arcsec",
        (Kind.ANGLE, "sec"): "arcsec",
    }.get((kind, unit.text))
    if instead:
        fix = f'write "{text.replace(unit.text, instead)}" if that is meant'
    else:
        fix = f"write {' or '.join(f'{chr(34)}{example}{chr(34)}' for example in BASE[kind].examples[:2])}"
    what = _article(found) if found else "something else"
    return QuantityError(f'"{text}" is {what}, {_article(kind)} is wanted', fix, "dimension")
