"""Numbers and dates as a spreadsheet writes them into a table of readings."""

from __future__ import annotations

import re
from datetime import date
from typing import Final

__all__ = ["MOST", "as_day", "as_number", "decimal_degrees", "plain"]

MOST: Final = 1e6
"""No machine displays more."""

_NUMBER: Final = re.compile(r"[+-]?(\d{1,9}(\.\d{0,12})?|\.\d{1,12})([eE][+-]?\d{1,2})?", re.ASCII)
_GAPS: Final = "\u00a0\u2007\u2009\u202f"  # blanks that spreadsheets put between thousands
_GROUPED: Final = re.compile(rf"[+-]?\d{{1,3}}([{_GAPS}]\d{{3}})+(\D.*)?", re.ASCII)
_MINUTES: Final = re.compile(
    r"([+-]?)(\d{1,3})\s*(?:\u00b0|deg|d)?\s*(\d{1,2}(?:\.\d+)?)\s*['\u2032\u2019]"
    r"\s*(?:(\d{1,2}(?:\.\d+)?)\s*(?:[\"\u2033\u201d]|'')?)?",
    re.ASCII,
)
_BARE_MINUTES: Final = re.compile(
    r"([+-]?)()(\d{1,2}(?:\.\d+)?)\s*['\u2032\u2019]"
    r"\s*(?:(\d{1,2}(?:\.\d+)?)\s*(?:[\"\u2033\u201d]|'')?)?",
    re.ASCII,
)
_DAY: Final = re.compile(r"(\d{4})-(\d{2})-(\d{2})(?:[T ]\d{1,2}:\d{2}(?::\d{2}(\.\d+)?)?Z?)?")


def plain(text: str, *, comma: bool, units: tuple[str, ...]) -> str:
    """Return a number as it would be typed: minus signs, blanks, decimal comma, unit mended.

    Parameters
    ----------
    text : str
        As it stands in the table.
    comma : bool
        Commas are decimal commas in this table.
    units : tuple of str
        Signs that may stand behind the number because they say what the column says anyway.

    Examples
    --------
    >>> plain("-101,976", comma=True, units=()), plain("90 deg", comma=False, units=("deg",))
    ('-101.976', '90')
    """
    text = text.replace("\u2212", "-").strip()
    for unit in units:
        if text.lower().endswith(unit):
            text = text[: -len(unit)].rstrip()
            break
    if _GROUPED.fullmatch(text):
        text = re.sub(f"[{_GAPS}]", "", text)
    if comma and text.count(",") == 1 and "." not in text:
        text = text.replace(",", ".")
    return text


def as_number(text: str) -> float | None:
    """Return the number that a `plain` text says; ``None`` if it says none."""
    return float(text) if _NUMBER.fullmatch(text) else None


def decimal_degrees(text: str) -> str | None:
    """Return the decimal degrees of an angle in minutes and seconds; ``None`` for another text.

    Examples
    --------
    >>> decimal_degrees("1 deg 30'"), decimal_degrees("-15'"), decimal_degrees("90")
    ('1.5', '-0.25', None)
    """
    found = _BARE_MINUTES.fullmatch(text.strip()) or _MINUTES.fullmatch(text.strip())
    if found is None:
        return None
    sign, whole, minutes, seconds = found.groups()
    value = float(whole or 0) + float(minutes) / 60.0 + float(seconds or 0) / 3600.0
    return f"{'-' if sign == '-' else ''}{value:.6f}".rstrip("0").rstrip(".")


def as_day(text: str) -> str | None:
    """Return the ISO date in `text` (a time may follow); ``None`` if it is none.

    Examples
    --------
    >>> as_day("2026-03-04 07:10"), as_day("03/04/2026"), as_day("2026-02-30")
    ('2026-03-04', None, None)
    """
    found = _DAY.fullmatch(text.strip())
    if found is None:
        return None
    try:
        return date(int(found[1]), int(found[2]), int(found[3])).isoformat()
    except ValueError:
        return None
