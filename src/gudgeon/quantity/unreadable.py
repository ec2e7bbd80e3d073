"""What is wrong with a text that is not the quantity wanted: one small function a reason."""

from __future__ import annotations

import difflib
import re
from collections.abc import Collection
from typing import Final

from gudgeon.quantity.kinds import BASE, Kind

__all__ = [
    "MONEY",
    "QuantityError",
    "article",
    "comma",
    "currency_sign",
    "other_kind",
    "unknown",
    "unreadable",
]

MONEY: Final = (Kind.MONEY, Kind.MONEY_PER_YEAR, Kind.MONEY_PER_HOUR)
"""Kinds that carry a currency."""


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


def article(kind: Kind) -> str:
    """Return the kind with its article."""
    name = kind.value
    return f"{'an' if name[0] in 'aeiou' else 'a'} {name}"


def unreadable(text: str, kind: Kind) -> QuantityError:
    """Say that a text is no number with a unit."""
    examples = BASE[kind].examples if kind in BASE else ("0.15", "0.15 +- 0.02")
    return QuantityError(
        f'"{text}" is not {article(kind)}',
        f'write a number and a unit, such as "{examples[0]}" or "{examples[1]}"'
        if kind in BASE
        else f'write a number, such as "{examples[0]}" or "{examples[1]}"',
        "unreadable",
    )


def comma(text: str, kind: Kind) -> QuantityError:
    """Refuse a comma; it parts decimals in one country and thousands in the next."""
    at = text.index(",")
    whole = re.search(r"(\d+),(\d+)", text)
    if whole is None:
        return QuantityError(
            f'"{text}" is not {article(kind)}', "leave the comma out", "comma", (at, at + 1)
        )
    point = text.replace(",", ".", 1)
    thousands = kind in MONEY and len(whole[2]) == 3  # no coin is a thousandth
    if text.count(",") > 1 or text.index(",") < text.find(".") or thousands:
        fix = f'write "{text.replace(",", "")}"'
    elif len(whole[2]) == 3 and whole[1].lstrip("0"):
        fix = f'write "{point}" or "{text.replace(",", "")}", whichever is meant'
    else:
        fix = f'write "{point}"'
    return QuantityError(f'"{text}" is not {article(kind)}', fix, "comma", (at, at + 1))


def currency_sign(text: str, sign: str, code: str) -> QuantityError:
    """Refuse "$" and the like."""
    number = re.sub(r"[^\d.]", "", text) or "100"
    _, per, rest = text.partition("/")
    problem = "that several countries use" if sign in "$\u00a5" else "instead of a code"
    at = text.index(sign)
    return QuantityError(
        f'"{text}" has a currency sign {problem}',
        f'write the three-letter code of your currency: "{number} {code}{per}{rest}"',
        "unit",
        (at, at + 1),
    )


def unknown(text: str, kind: Kind, word: str, known: Collection[str]) -> QuantityError:
    """Say that a word is no unit, and name the nearest of `known`, the units of this kind."""
    near = difflib.get_close_matches(word, [k for k in known if len(k) > 1], n=1, cutoff=0.7)
    at = text.find(word)
    if kind in MONEY and re.fullmatch("[a-z]{3}", word):
        fix = f'write the currency in capitals: "{text.replace(word, word.upper())}"'
    elif word in ("day", "days", "week", "weeks", "wk") and kind is Kind.PER_YEAR:
        fix = "write the number a year or a month; shops differ in working days"
    elif near:
        fix = f'write "{text.replace(word, near[0])}" if that is meant, or such as {_such(kind)}'
    else:
        fix = f"write a value such as {_such(kind)}"
    span = (at, at + len(word)) if at >= 0 and word else None
    return QuantityError(
        f'"{word}" in "{text}" is not a unit that is known here', fix, "unit", span
    )


def other_kind(text: str, kind: Kind, unit: str, found: Kind | None) -> QuantityError:
    """Say what the text is instead."""
    instead = {
        (Kind.FORCE, "lb"): "lbf",
        (Kind.FORCE, "lbs"): "lbf",
        (Kind.FORCE, "kg"): "kgf",
        (Kind.MASS, "lbf"): "lb",
        (Kind.MASS, "kgf"): "kg",
        (Kind.ANGLE, "min"): "arcmin",
        (Kind.ANGLE, "s"): "arcsec",
        (Kind.ANGLE, "sec"): "arcsec",
    }.get((kind, unit))
    if instead:
        fix = f'write "{text.replace(unit, instead)}" if that is meant'
    else:
        fix = f"write a value such as {_such(kind)}"
    what = article(found) if found else "something else"
    return QuantityError(f'"{text}" is {what}, {article(kind)} is wanted', fix, "dimension")


def _such(kind: Kind) -> str:
    return " or ".join(f'"{example}"' for example in BASE[kind].examples[:2])
