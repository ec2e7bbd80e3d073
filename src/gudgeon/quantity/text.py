"""From what people write to an `Amount`, and back: "5/8 in", "12.5 mm +- 0.01 mm", "85 lbf*ft".

The only user of the units library.  Numbers stay exact fractions until the last step, so that
"0.1 in" and "2.54 mm" give the same float.  The text is never evaluated: numbers and names are
picked out by a small grammar, names are looked up in one list, and everything has an upper limit.

What is read
------------
* numbers: ``0.611``, ``.5``, ``5/8``, ``1 1/2``, ``1-1/2``, ``-3``, ``1e-3``;
* units joined by ``*``, ``.``, ``-`` or a space, and one ``/``: ``N*m``, ``lbf ft``, ``N/mm2``;
* slopes for small angles: ``0.02 mm/m``, ``0.0005 in/ft``, as levels are marked;
* sums of falling units: ``12 deg 30 arcmin``, ``5 ft 3 in``, ``1 h 20 min``;
* a spread, 95 % (k = 2): ``+- 0.01 mm``, ``+/- 10 %``, or ``18 min to 24 min`` (middle +- half).
"""

from __future__ import annotations

import itertools
import math
import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from gudgeon.quantity.amount import Amount
from gudgeon.quantity.kinds import BASE, Kind
from gudgeon.quantity.unit_text import SLOPE, Unit, dimensions_of, in_celsius, kind_of, read_unit
from gudgeon.quantity.unreadable import (
    MONEY,
    QuantityError,
    article,
    comma,
    currency_sign,
    other_kind,
    unreadable,
)

__all__ = ["QuantityError", "Written", "read", "read_amount", "with_units", "write_amount"]

LONGEST: Final = 80
"""Characters in one quantity; nobody writes more, and it bounds the work."""

LARGEST: Final = 1e12
"""Greatest value in base units; far beyond any machine, far below trouble with floats."""

STEEPEST: Final = Fraction(1, 5)
"""Greatest slope that is read as an angle; steeper ones are written in degrees, or are slips."""

_EXPONENT_MAX: Final = 30  # 1e30 is already far above LARGEST in any unit

_NUMBER: Final = re.compile(
    r"[+-]?(?:\d+(?:\s+|-)\d+/\d+|\d+/\d+|(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+(?![A-Za-z]))?)",
    re.ASCII,
)
_UNIT: Final = re.compile(
    r"""(?:[A-Za-z]+(?:\^?[23](?![\d.]))?|-(?=[A-Za-z])|[%"'*/\s]|\.(?=[A-Za-z]))*"""
)
_SPREAD: Final = re.compile(r"\+\s*/?\s*-")
_TO: Final = re.compile(r"(?<![A-Za-z])to(?![A-Za-z])")
_SUMS: Final = (Kind.LENGTH, Kind.ANGLE, Kind.TIME)
_SIGNS: Final = {"$": "USD", "\u20ac": "EUR", "\u00a3": "GBP", "\u00a5": "JPY"}
_SAME: Final = str.maketrans(
    {
        "\u2212": "-",  # minus
        "\u2013": "-",  # en dash
        "\u00b1": "+-",
        "\u00b0": "deg ",
        "\u00b5": "u",  # micro sign
        "\u03bc": "u",  # Greek mu
        "\u00b7": "*",
        "\u00d7": "*",
        "\u00b2": "2",
        "\u00b3": "3",
        "\u2032": "'",  # prime
        "\u2033": '"',
        "\u201d": '"',
        "\u2019": "'",
        "\u00a0": " ",  # spaces that do not break
        "\u202f": " ",
    }
)


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
    gudgeon.quantity.unreadable.QuantityError: "12.5" has no unit; write "12.5 mm" or "12.5 in"
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
        raise unreadable(text[:LONGEST] + "...", kind)
    for sign, code in _SIGNS.items():
        if sign in text:
            raise currency_sign(text, sign, code)
    if "," in text:
        raise comma(text, kind)
    plain = re.sub(r"\bdeg\s*([CF])\b", r"deg\1", text.translate(_SAME)).strip()
    if kind in MONEY:
        # "EUR 75/h" is as clear as "75 EUR/h".
        plain = re.sub(rf"^([A-Z]{{3}})\s*({_NUMBER.pattern})", r"\2 \1", plain)

    halves = _SPREAD.split(plain)
    if len(halves) == 2:
        return _with_spread(text, kind, halves[0], halves[1])
    ends = _TO.split(plain)
    if len(ends) == 2 and kind is not Kind.NUMBER:
        return _from_to(text, kind, ends[0], ends[1])
    if len(halves) > 1 or len(ends) > 1:
        raise unreadable(text, kind)
    terms = _terms(plain)
    if terms is None:
        raise unreadable(text, kind)
    if kind in (Kind.MONEY, Kind.MONEY_PER_YEAR):
        _no_point_of_thousands(text, terms)
    value, currency = _value(text, kind, terms)
    return Written(Amount(_checked(text, kind, value)), currency)


def with_units(number: str, kind: Kind) -> str:
    """Return how to write a bare number: ``'"762 mm" or "762 in"'``."""
    examples = BASE[kind].examples[:2]
    units = [_NUMBER.sub("", example, count=1).strip() for example in examples]
    if kind is Kind.ANGLE:
        units = units[:1]  # nobody means seconds of arc by a bare number
    choices = dict.fromkeys(f'"{number} {unit}"' for unit in units)
    return " or ".join(choices)


def write_amount(amount: Amount, kind: Kind, currency: str = "") -> str:
    """Return a text that `read` turns into the same amount, in the base unit of `kind`.

    Money needs its `currency`.  Angles are written in rad, since degrees would round; a share is
    written in per cent and may come back a rounding off.
    """
    if kind is Kind.NUMBER:
        unit, scale = "", 1.0
    elif kind is Kind.SHARE:
        unit, scale = " %", 100.0
    else:
        unit, scale = f" {BASE[kind].base}".replace("money", currency), 1.0
    if kind is Kind.PER_YEAR:
        unit = " parts/year"

    def written(value: float) -> str:
        return f"{value * scale if abs(value) > 1e-25 else 0.0!r}{unit}"

    text = written(amount.value)
    return text if amount.plus_minus is None else f"{text} +- {written(amount.plus_minus)}"


# --- spreads ------------------------------------------------------------------------------------


def _with_spread(text: str, kind: Kind, left: str, right: str) -> Written:
    value_terms, spread_terms = _terms(left), _terms(right)
    if value_terms is None or spread_terms is None or len(spread_terms) != 1:
        raise unreadable(text, kind)
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
        raise unreadable(text, kind)
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
    if any(term.signed for term in terms[1:]):
        raise QuantityError(
            f'"{text}" has a sign in the middle',
            f'for uneven limits write the middle value and half the width: "{_middle(kind)}"',
            "unreadable",
        )
    units = [_unit_of(text, kind, terms, term) for term in terms]
    if any(unit.dimension == SLOPE for unit in units):
        return _sloping(text, kind, terms, units), ""
    if len(terms) == 1:
        return _scaled(kind, terms[0].number, units[0], difference), units[0].currency
    falling = all(a.factor > b.factor for a, b in itertools.pairwise(units))
    if kind not in _SUMS or not falling:
        raise unreadable(text, kind)
    total = sum(
        (abs(term.number) * unit.factor for term, unit in zip(terms, units, strict=True)),
        Fraction(0),
    )
    return (-total if terms[0].written.startswith("-") else total), ""


def _unit_of(text: str, kind: Kind, terms: list[_Term], term: _Term) -> Unit:
    """Return the unit of one term, of the kind that is wanted."""
    if not term.unit:
        joined = "".join(part.written for part in terms)
        if len(terms) > 1 and re.fullmatch(r"[\d.]+", joined):
            raise QuantityError(
                f'"{text}" is not {article(kind)}',
                f'write the digits without a gap: "{joined} {terms[-1].unit}"',
                "unreadable",
            )
        raise QuantityError(
            f'"{text}" has no unit', f"write {with_units(term.written, kind)}", "no unit"
        )
    unit = read_unit(text, kind, term.unit)
    if unit.dimension not in dimensions_of(kind):
        raise other_kind(text, kind, unit.text, kind_of(unit))
    return unit


def _sloping(text: str, kind: Kind, terms: list[_Term], units: list[Unit]) -> Fraction:
    """Return the angle of a rise over a run [rad]."""
    if len(terms) > 1:
        raise unreadable(text, kind)
    slope = terms[0].number * units[0].factor
    if abs(slope) > STEEPEST:
        degrees = f"{math.degrees(math.atan(slope)):.4g} deg" if abs(slope) <= 1 else "45 deg"
        raise QuantityError(
            f'"{text}" is too steep for a slope that an instrument shows',
            f'write the angle in degrees, such as "{degrees}"',
            "size",
        )
    return Fraction(math.atan(slope))


def _no_point_of_thousands(text: str, terms: list[_Term]) -> None:
    """Refuse "24.900 EUR": a point parts decimals in one country and thousands in the next."""
    written = terms[0].written
    if re.fullmatch(r"[+-]?[1-9]\d{0,2}\.\d{3}", written):
        whole, cents = written.replace(".", ""), written[:-1]
        raise QuantityError(
            f'"{text}" could be read in two ways',
            f'write "{text.replace(written, whole)}" or "{text.replace(written, cents)}", '
            "whichever is meant",
            "unreadable",
        )


def _middle(kind: Kind) -> str:
    number, unit = BASE[kind].examples[0].split(maxsplit=1)
    return f"{number} {unit} +- 0.1 {unit}"


def _scaled(kind: Kind, number: Fraction, unit: Unit, difference: bool) -> Fraction:
    if kind is Kind.TEMPERATURE:
        return in_celsius(number, unit.scale, difference=difference)
    return number * unit.factor


def _checked(text: str, kind: Kind, value: Fraction) -> float:
    if abs(value) > LARGEST:
        raise QuantityError(
            f'"{text}" is too large to be {article(kind)} in a machine shop',
            f'write a value such as "{BASE[kind].examples[0] if kind in BASE else "0.15"}"',
            "size",
        )
    return float(value)
