"""The words of a line, compiled: bytes in, numbers with their places out.

No word is known here: tables made from the dialect say what each byte and each G number means.
Importing this module imports Numba; see `gudgeon.program.scan`.
"""

from __future__ import annotations

from typing import Final

import numba
import numpy as np

from gudgeon.program.track import AXES

__all__ = [
    "BLANK",
    "CENTRE",
    "COMMENT",
    "FEED",
    "G_GROUPS",
    "G_NUMBERS",
    "G_RAPID",
    "G_WORD",
    "LABEL",
    "LINE_END",
    "PLACES",
    "RADIUS",
    "RETURN",
    "STRANGE",
    "line_words",
]

# --- what a byte means; the first eleven are also the places of a word's value
CENTRE: Final = AXES
"""I, J, K take this place and the two after it."""
RADIUS: Final = 8
FEED: Final = 9
LABEL: Final = 10
PLACES: Final = 11
G_WORD: Final = 11
BLANK: Final = 12
LINE_END: Final = 13
RETURN: Final = 14
COMMENT: Final = 15
STRANGE: Final = 16

# --- what a G number means: 1 to 4 the four motions, further up words in force by their group
NO_PLAIN_WORD: Final = 0
G_RAPID: Final = 1
G_COUNTER: Final = 4
G_GROUPS: Final = 5
G_NUMBERS: Final = 2000

_EXACT: Final = 1 << 53
_DIGITS: Final = 18
_LABEL_MOST: Final = 99_999_999
# Both the digits as a whole number and the power of ten are exact doubles, so that one division
# gives the double nearest to the text, the same as float() does.
_TENS: Final = np.array([10.0**power for power in range(_DIGITS + 1)])


@numba.njit
def _number(text, at, size):  # type: ignore[no-untyped-def]
    """Return the value of the number at `at`, the place behind it, its digits and decimals.

    Digits 0: there is none, or none that is exact here.
    """
    if at >= size:
        return 0.0, at, 0, 0
    # Signs come as they like: sums instead of branches, which would be guessed wrong half the time.
    minus = int(text[at] == 45)
    at += minus + int(text[at] == 43)
    whole = 0
    start = at
    while at < size and 48 <= text[at] <= 57:
        whole = 10 * whole + (text[at] - 48)
        at += 1
    digits = at - start
    decimals = -1
    if at < size and text[at] == 46:
        at += 1
        point = at
        while at < size and 48 <= text[at] <= 57:
            whole = 10 * whole + (text[at] - 48)
            at += 1
        decimals = at - point
        digits += decimals
    if digits > _DIGITS:
        return 0.0, at, 0, 0
    if whole > _EXACT:
        return 0.0, at, 0, 0
    value = float(whole) * (1.0 - 2.0 * minus)
    if decimals > 0:
        value /= _TENS[decimals]
    return value, at, digits, decimals


@numba.njit
def _comment_end(text, at, size):  # type: ignore[no-untyped-def]
    """Return the place behind the comment that opens at `at`, or -1 where it is no plain one."""
    at += 1
    while at < size:
        byte = text[at]
        if byte == 41:
            return at + 1
        if byte == 40 or (byte < 32 and byte != 9) or byte > 126:
            return -1
        at += 1
    return -1


@numba.njit
def line_words(text, at, size, bytes_mean, g_mean, values, needs_point, characters):  # type: ignore[no-untyped-def]
    """Take a line apart.

    Returns
    -------
    next line's place (-1: no plain block), places that hold a value (bits), those of them without
    decimal point, motion word (-1: none), column of the first axis word (0: none)
    """
    start = at
    given = 0
    pointless = 0
    groups = 0
    motion = -1
    column = 0
    while at < size:
        means = bytes_mean[text[at]]
        if means <= G_WORD:
            letter = at
            at += 1
            while at < size and bytes_mean[text[at]] == BLANK:
                at += 1
            value, at, digits, decimals = _number(text, at, size)
            if digits == 0:
                return -1, 0, 0, 0, 0
            if means == G_WORD:
                # Also keeps a minus out, but for that of zero, which is no matter.
                tenths = 10.0 * value
                if decimals > 1 or not 0.0 <= tenths < G_NUMBERS:
                    return -1, 0, 0, 0, 0
                meant = g_mean[int(tenths + 0.5)]
                if meant == NO_PLAIN_WORD:
                    return -1, 0, 0, 0, 0
                if meant <= G_COUNTER:
                    if motion >= 0:
                        return -1, 0, 0, 0, 0
                    motion = int(meant) - G_RAPID
                else:
                    group = 1 << int(meant)
                    if groups & group:
                        return -1, 0, 0, 0, 0
                    groups |= group
                continue
            place = 1 << int(means)
            if given & place:
                return -1, 0, 0, 0, 0
            given |= place
            if means == LABEL:
                # Full readers take a sign or a point for a fault.
                if decimals >= 0 or not (48 <= text[at - digits] <= 57) or value > _LABEL_MOST:
                    return -1, 0, 0, 0, 0
                if at - digits > 0 and (text[at - digits - 1] in (43, 45)):
                    return -1, 0, 0, 0, 0
                continue
            values[means] = value
            if means < AXES and column == 0:
                column = letter - start + 1
            if means <= RADIUS and decimals < 0:
                if needs_point and value != 0.0:
                    return -1, 0, 0, 0, 0
                pointless |= place
        elif means == BLANK:
            at += 1
        elif means == LINE_END:
            if at - start > characters:
                return -1, 0, 0, 0, 0
            return at + 1, given, pointless, motion, column
        elif means == RETURN:
            at += 1
            if at < size and text[at] != 10:
                return -1, 0, 0, 0, 0
        elif means == COMMENT:
            at = _comment_end(text, at, size)
            if at < 0:
                return -1, 0, 0, 0, 0
        else:
            return -1, 0, 0, 0, 0
    if at - start > characters:
        return -1, 0, 0, 0, 0
    return at, given, pointless, motion, column
