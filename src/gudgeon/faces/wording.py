"""How every face writes numbers, limits and foreign text, so that all faces say the same."""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass
from enum import Enum
from numbers import Integral, Real
from typing import Any, Final

from gudgeon.answer import Answer, Column, Figure, Verdict

__all__ = [
    "Standing",
    "Worded",
    "ascii_text",
    "cells",
    "clean",
    "exit_code",
    "finite",
    "is_number",
    "plain_data",
    "typeset",
    "worded",
]

NO_VALUE: Final = "no value"
EMPTY: Final = "-"
PLACES_MOST: Final = 6
FINE: Final = 4  # decimals of a plain number beside larger ones

_USUAL: Final[dict[str, int]] = {
    "mm": 3,
    "in": 4,
    "deg": 2,
    "rad": 4,
    "kg": 1,
    "lb": 1,
    "N": 0,
    "lbf": 0,
    "N*m": 2,
    "lbf*ft": 2,
    "kW": 2,
    "hp": 2,
    "m/min": 2,
    "in/min": 1,
    "rpm": 1,
    "min": 1,
    "s": 1,
    "h": 1,
    "MPa": 0,
    "psi": 0,
    "%": 1,
    "parts/yr": 0,
    "yr": 1,
    "years": 1,
}
"""Decimals that are usual for a printed unit (common practice, no source)."""

_LENGTHS: Final = ("mm", "in")  # keep their decimals: a shop reads 12.500 as a set value

_FINE: Final = ("mm", "in", "deg", "rad")  # here every digit of the uncertainty counts

_MONEY: Final = re.compile(r"(?:[A-Z]{3}|money)(/yr)?")
_MONEY_PER: Final = re.compile(r"(?:[A-Z]{3}|money)/\w+")

_SPELT: Final[dict[str, str]] = {
    "\u00b0": " deg",
    "\u00b1": "+-",
    "\u00b5": "u",
    "\u03bc": "u",
    "\u00d7": "x",
    "\u00f7": "/",
    "\u00b7": "*",
    "\u2212": "-",
    "\u2010": "-",
    "\u2011": "-",
    "\u2012": "-",
    "\u2013": "-",
    "\u2014": "-",
    "\u2018": "'",
    "\u2019": "'",
    "\u201c": '"',
    "\u201d": '"',
    "\u2026": "...",
    "\u2264": "<=",
    "\u2265": ">=",
    "\u2300": "dia. ",
    "\u00d8": "O",
    "\u00f8": "o",
    "\u00df": "ss",
    "\u00e6": "ae",
    "\u00c6": "AE",
    "\u0153": "oe",
    "\u0142": "l",
    "\u0141": "L",
    "\u20ac": "EUR",
    "\u00a3": "GBP",
}


class Standing(Enum):
    """Where a figure stands against its limit, uncertainty included."""

    FREE = "free"  # it has no limit
    KEPT = "kept"
    BROKEN = "broken"
    UNSURE = "unsure"  # the limit lies inside the uncertainty


@dataclass(frozen=True, slots=True)
class Worded:
    """A figure in words.

    Attributes
    ----------
    value : str
        Number, uncertainty and unit: ``"143.212 +- 0.012 mm"``.
    limit : str
        ``"at most 0.050 mm, 0.038 mm to spare"``; empty without a limit.
    standing : Standing
        Against the limit.
    number, bound : str
        Value and limit alone, rounded as in the words; empty if there is none.
    """

    value: str
    limit: str
    standing: Standing
    number: str = ""
    bound: str = ""


def ascii_text(words: object) -> str:
    r"""Return `words` in printable ASCII on one line.

    Signs of the trade are spelt out, accents are taken off, and whatever else is not printable
    ASCII is shown by its code, so that text from a file can neither move the cursor nor hide.

    Examples
    --------
    >>> ascii_text("90\u00b0 \u00b1 5\nM\u00fcller \x1b[2J")
    '90 deg +- 5 Muller \\x1b[2J'
    """
    plain = []
    for char in str(words):
        if " " <= char <= "~":
            plain.append(char)
        elif char in _SPELT:
            plain.append(_SPELT[char])
        elif char.isspace():
            plain.append(" ")
        else:
            bare = "".join(c for c in unicodedata.normalize("NFKD", char) if " " <= c <= "~")
            plain.append(bare or char.encode("ascii", "backslashreplace").decode("ascii"))
            if char < " " or char == "\x7f":
                plain[-1] = f"\\x{ord(char):02x}"
    return " ".join("".join(plain).split())


def typeset(words: object) -> str:
    """Return `words` with the signs that ASCII must spell out."""
    text = str(words).replace("+-", "\u00b1").replace("N*m", "N\u00b7m")
    text = text.replace("lbf*ft", "lbf\u00b7ft")
    return re.sub(r"\bdegC\b", "\u00b0C", text)


def clean(words: str) -> str:
    """Return `words` on one line, whatever cannot be printed shown as a replacement sign."""
    return "".join(
        char if char.isprintable() else " " if char.isspace() else "\ufffd" for char in words
    )


def finite(value: Any) -> float | None:
    """Return `value` as a float, or ``None`` if it is no finite number."""
    if value is None or not isinstance(value, Real):
        return None
    number = float(value)
    return number if math.isfinite(number) else None


def is_number(value: object) -> bool:
    """Return whether a place of a table holds a number (true and false are words)."""
    return isinstance(value, Real) and not _is_truth(value)


def worded(figure: Figure) -> Worded:
    """Return the value and limit of `figure` as they are shown.

    The uncertainty is given with two significant digits and the value to the same place
    (JCGM 100:2008, 7.2.6), or with one where two would go more than a place beyond what is usual
    for the unit; of forces, masses and the like one that is smaller than even that digit is left
    out.  Without an uncertainty the usual decimals are shown, and more where a small value or a
    narrow margin would otherwise be lost.
    """
    value, limit = finite(figure.value), finite(figure.limit)
    spread = finite(figure.plus_minus) or 0.0
    if value is None:
        bound = "" if limit is None else _bound(figure, limit, _usual(figure.unit, limit))
        return Worded(NO_VALUE, bound, Standing.FREE)
    places = _usual(figure.unit, value)
    if figure.unit not in _FINE and round(spread, places + 1) == 0.0:
        spread = 0.0  # nobody can measure so little of it
    if spread > 0.0:
        leading = -math.floor(math.log10(spread))
        places = max(0, min(PLACES_MOST, leading + 1, max(leading, places + 1)))
    if limit is not None:
        while places < PLACES_MOST and value != limit and _same(value, limit, places):
            places += 1
    unit = f" {figure.unit}" if figure.unit else ""
    sides = f" +- {_number(spread, places, figure.unit, value)}" if spread > 0.0 else ""
    number = _number(value, places, figure.unit, spread)
    shown = f"{number}{sides}{unit}"
    if limit is None:
        return Worded(shown, "", Standing.FREE, number)
    spare = limit - value if figure.limit_kind == "max" else value - limit
    room = f"{_number(abs(spare), places, figure.unit, value)}{unit}"
    if spread > 0.0 and abs(spare) < spread:
        standing, margin = Standing.UNSURE, "the limit lies inside the +-"
    elif spare == 0.0:
        standing, margin = (
            Standing.KEPT,
            "kept" if limit == 0.0 or not figure.unit else "exactly on it",
        )
    elif spare > 0.0:
        standing, margin = Standing.KEPT, f"{room} to spare"
    else:
        word = "over" if figure.limit_kind == "max" else "short"
        standing, margin = Standing.BROKEN, f"{room} {word}"
    bound = _number(limit, places, figure.unit, value)
    words = f"{_bound(figure, limit, places, value)}: {margin}"
    return Worded(shown, words, standing, number, bound)


def cells(column: Column, values: list[Any]) -> list[str]:
    """Return the entries of one column as text, its numbers with equal decimals."""
    numbers = [abs(n) for v in values if is_number(v) and (n := finite(v)) is not None]
    whole = all(not is_number(v) or isinstance(v, Integral) for v in values)
    places = 0
    if numbers and not whole:
        # The smallest number shows a digit or two, but not far beyond what is usual: what is
        # smaller than that is the noise of the sums.
        broken = [n for n in numbers if n % 1.0 or column.unit]
        places = _usual(column.unit, max(broken, default=0.0))
        least = min((n for n in numbers if n > 0.0), default=1.0)
        if column.unit in _USUAL:
            wanted = min(places + 1, -math.floor(math.log10(least)))
        elif column.unit:
            wanted = places
        else:
            wanted = min(FINE, 1 - math.floor(math.log10(least)))
        places = min(PLACES_MOST, max(places, wanted))
        if column.unit not in _LENGTHS:
            while places > 0 and all(_same(n, round(n, places - 1), PLACES_MOST) for n in numbers):
                places -= 1  # noughts that no row needs
    longest = max(numbers, default=0.0)
    texts = []
    for value in values:
        if value is None:
            texts.append(EMPTY)
        elif _is_truth(value):
            texts.append("yes" if value else "no")
        elif not is_number(value):
            texts.append(str(value))
        else:
            number = finite(value)
            texts.append(
                NO_VALUE if number is None else _number(number, places, column.unit, longest)
            )
    return texts


def exit_code(answers: list[Answer], failed: bool = False) -> int:
    """Return the exit code: 2 bad input or a fault, before 1 no, 3 cannot tell, 0 yes."""
    verdicts = {answer.verdict for answer in answers}
    if failed:
        return 2
    if Verdict.NO in verdicts:
        return 1
    return 3 if Verdict.CANNOT_TELL in verdicts else 0


def plain_data(value: Any) -> Any:
    """Return `value` ready for JSON: numbers of any library as plain ones, no NaN, no infinity."""
    if isinstance(value, dict):
        return {str(key): plain_data(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple):
        return [plain_data(entry) for entry in value]
    if value is None or isinstance(value, str):
        return value
    if _is_truth(value):
        return bool(value)
    if isinstance(value, Integral):
        return int(value)
    return finite(value) if isinstance(value, Real) else str(value)


def _is_truth(value: object) -> bool:
    return isinstance(value, bool) or type(value).__name__ in ("bool_", "bool")


def _same(a: float, b: float, places: int) -> bool:
    return round(a, places) == round(b, places)


def _number(value: float, places: int, unit: str, beside: float = 0.0) -> str:
    """Return a number, its thousands set apart if it or the one beside it is long.

    Sums of money and yearly numbers are long from a thousand on, others from ten thousand.
    """
    rounded = round(value, places) + 0.0  # no "-0.000"
    counted = _MONEY.fullmatch(unit) or unit.endswith("/yr")
    start = 1_000.0 if counted else 10_000.0
    group = "," if max(abs(rounded), abs(beside)) >= start else ""
    return f"{rounded:{group}.{places}f}"


def _usual(unit: str, value: float) -> int:
    """Return the decimals for a value without uncertainty."""
    if unit in _USUAL:
        places = _USUAL[unit]
    elif _MONEY.fullmatch(unit):
        places = 0
    elif _MONEY_PER.fullmatch(unit):
        places = 2
    elif float(value).is_integer():
        places = 0
    else:
        places = max(0, 3 - math.floor(math.log10(abs(value)))) if value else 0
    while places < PLACES_MOST and value != 0.0 and abs(value) < 0.95 * 10.0 ** (1 - places) / 10.0:
        places += 1  # at least one digit that is not nought
    return min(places, PLACES_MOST)


def _bound(figure: Figure, limit: float, places: int, beside: float = 0.0) -> str:
    word = "at most" if figure.limit_kind == "max" else "at least"
    unit = f" {figure.unit}" if figure.unit else ""
    return f"{word} {_number(limit, places, figure.unit, beside)}{unit}"
