"""Arithmetic of a program's expressions: operators and functions, with the rules of the control.

All take plain numbers; NaN means not known and spreads through everything.  Where controls work
out different results for the numbers at hand and the dialect declares no rule, they halt; where
all known rules give one result, they give it without a doubt.

Sources: NISTIR 6556, 3.3.2.3 and 3.3.2.4 (operators, functions, degrees); comparisons, the other
rules of MOD, AND, OR, XOR, ROUND and the empty variable from memory (common practice).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Final

from gudgeon.program.dialect import Dialect
from gudgeon.program.doubts import Code, Halt

__all__ = ["BINARY", "FUNCTIONS", "TOO_CLOSE", "Binary", "Function", "compared", "variable_number"]

Function = Callable[[float, Dialect, int], float]
"""Number, rules and column to result."""
Binary = Callable[[float, float, Dialect, int], float]

TOO_CLOSE: Final = 1e-7
"""Relative to the numbers, or to 1: nearer ones differ by rounding alone on some controls."""
_NOISE: Final = 1e-9
"""Distance from a whole number or a half, relative, that rounding alone may have made."""


def _finite(result: float, column: int) -> float:
    if math.isinf(result):
        raise Halt(Code.DOMAIN, column, what="overflow")
    return result


def _add(a: float, b: float, _rules: Dialect, column: int) -> float:
    return _finite(a + b, column)


def _subtract(a: float, b: float, _rules: Dialect, column: int) -> float:
    return _finite(a - b, column)


def _multiply(a: float, b: float, _rules: Dialect, column: int) -> float:
    return _finite(a * b, column)


def _divide(a: float, b: float, _rules: Dialect, column: int) -> float:
    if b == 0.0:
        raise Halt(Code.DOMAIN, column, what="division")
    return _finite(a / b, column)


def _power(a: float, b: float, _rules: Dialect, column: int) -> float:
    if math.isnan(a) or math.isnan(b):
        return math.nan  # also where Python says 1, as for NaN**0
    try:
        return _finite(math.pow(a, b), column)
    except ValueError:
        raise Halt(Code.DOMAIN, column, what="power") from None
    except OverflowError:
        raise Halt(Code.DOMAIN, column, what="overflow") from None


def _mod(a: float, b: float, rules: Dialect, column: int) -> float:
    if math.isnan(a) or math.isnan(b):
        return math.nan
    if b == 0.0:
        raise Halt(Code.DOMAIN, column, what="division")
    rule = rules.mod_rule
    rest = math.fmod(a, b) + 0.0  # no minus zero
    if rest and not (a.is_integer() and b.is_integer()):
        times = _finite(a / b, column)
        if abs(times - round(times)) < _NOISE * max(1.0, abs(times)):
            # Nothing or nearly b is left: 1 MOD 0.1 in binary and in decimal digits.
            raise Halt(Code.TOO_CLOSE, column, left=times, right=float(round(times)))
    if rule in ("truncate", "floor"):
        return rest + abs(b) if rest < 0.0 and rule == "floor" else rest
    # Both operands rounded to whole numbers first, halves away from zero.
    whole_a, whole_b = (math.copysign(math.floor(abs(x) + 0.5), x) for x in (a, b))
    whole = math.fmod(whole_a, whole_b) if whole_b else math.nan
    if rule == "whole":
        if whole_b == 0.0:
            raise Halt(Code.DOMAIN, column, what="division")
        return whole
    if rest < 0.0 or whole != rest:
        raise Halt(Code.OPERATION_RULE, column, name="MOD")
    return rest


def _logic(
    name: str, truth: Callable[[bool, bool], bool], bits: Callable[[int, int], int]
) -> Binary:
    def work_out(a: float, b: float, rules: Dialect, column: int) -> float:
        if math.isnan(a) or math.isnan(b):
            return math.nan
        by_truth = float(truth(a != 0.0, b != 0.0))
        if rules.logic_rule == "truth":
            return by_truth
        # Bits of negative or broken numbers, and of those that no register holds, are not known.
        countable = all(x >= 0.0 and x.is_integer() and x < 2.0**31 for x in (a, b))
        if countable:
            by_bits = float(bits(int(a), int(b)))
            if rules.logic_rule == "bits" or by_bits == by_truth:
                return by_bits
        raise Halt(Code.OPERATION_RULE, column, name=name)

    return work_out


def compared(a: float, b: float, rules: Dialect, column: int) -> float:
    """Compare two numbers: -1 less, 0 equal, +1 greater, NaN when one is not known.

    Raises
    ------
    Halt
        TOO_CLOSE: they are so near that rounding decides, and no rule is declared.
    """
    apart = abs(a - b)
    if math.isnan(apart):
        return math.nan
    if apart == 0.0:
        return 0.0
    if rules.equal_within is None:
        if apart < TOO_CLOSE * max(1.0, abs(a), abs(b)):
            raise Halt(Code.TOO_CLOSE, column, left=a, right=b)
    elif apart <= rules.equal_within:
        return 0.0
    return 1.0 if a > b else -1.0


def _comparison(*signs: float) -> Binary:
    def work_out(a: float, b: float, rules: Dialect, column: int) -> float:
        sign = compared(a, b, rules, column)
        return sign if math.isnan(sign) else float(sign in signs)

    return work_out


BINARY: Final[Mapping[str, tuple[int, Binary]]] = {
    # Name to how tightly it binds (NISTIR 6556, 3.3.2.3) and what it does.
    "**": (5, _power),
    "*": (4, _multiply),
    "/": (4, _divide),
    "MOD": (4, _mod),
    "+": (3, _add),
    "-": (3, _subtract),
    "EQ": (2, _comparison(0.0)),
    "NE": (2, _comparison(-1.0, 1.0)),
    "GT": (2, _comparison(1.0)),
    "GE": (2, _comparison(0.0, 1.0)),
    "LT": (2, _comparison(-1.0)),
    "LE": (2, _comparison(-1.0, 0.0)),
    "AND": (1, _logic("AND", lambda a, b: a and b, lambda a, b: a & b)),
    "OR": (1, _logic("OR", lambda a, b: a or b, lambda a, b: a | b)),
    "XOR": (1, _logic("XOR", lambda a, b: a != b, lambda a, b: a ^ b)),
}
"""Operators; those that bind equally are worked out from the left."""


def _degrees(x: float) -> float:
    # Whole turns are taken out exactly, so that a large angle costs no digits.
    return math.radians(math.fmod(x, 360.0))


def _sin(x: float, _rules: Dialect, _column: int) -> float:
    return math.sin(_degrees(x))


def _cos(x: float, _rules: Dialect, _column: int) -> float:
    return math.cos(_degrees(x))


def _tan(x: float, _rules: Dialect, column: int) -> float:
    if abs(math.fmod(x, 180.0)) == 90.0:
        raise Halt(Code.DOMAIN, column, what="tangent")
    return math.tan(_degrees(x))


def _asin(x: float, _rules: Dialect, column: int) -> float:
    if abs(x) > 1.0:
        raise Halt(Code.DOMAIN, column, what="arc_sine")
    return math.degrees(math.asin(x))


def _acos(x: float, _rules: Dialect, column: int) -> float:
    if abs(x) > 1.0:
        raise Halt(Code.DOMAIN, column, what="arc_cosine")
    return math.degrees(math.acos(x))


def _atan(x: float, _rules: Dialect, _column: int) -> float:
    return math.degrees(math.atan(x))


def atan_of_two(a: float, b: float, rules: Dialect, column: int) -> float:
    """Angle of the point (b, a) [deg], ``ATAN[a]/[b]``, in the declared range.

    Raises
    ------
    Halt
        DOMAIN: both are zero.  OPERATION_RULE: below zero, and no range is declared.  TOO_CLOSE:
        so near the end of a range that rounding decides between it and a whole turn.
    """
    if math.isnan(a) or math.isnan(b):
        return math.nan
    if a == 0.0 and b == 0.0:
        raise Halt(Code.DOMAIN, column, what="arc_tangent")
    # Adding 0 makes -0 a plain zero: half a turn, not minus half a turn.
    angle = math.degrees(math.atan2(a + 0.0, b + 0.0))
    cut_is_ahead, cut_is_behind = rules.atan_range != "-180..180", rules.atan_range != "0..360"
    if 0.0 < abs(a) < _NOISE * abs(b) and (cut_is_ahead if b > 0.0 else cut_is_behind):
        raise Halt(Code.TOO_CLOSE, column, left=angle, right=angle - math.copysign(360.0, angle))
    if angle < 0.0:
        if rules.atan_range is None:
            raise Halt(Code.OPERATION_RULE, column, name="ATAN")
        if rules.atan_range == "0..360":
            angle += 360.0
    return angle


def _square_root(x: float, _rules: Dialect, column: int) -> float:
    if x < 0.0:
        raise Halt(Code.DOMAIN, column, what="root")
    return math.sqrt(x)


def _absolute(x: float, _rules: Dialect, _column: int) -> float:
    return abs(x)


def _logarithm(x: float, _rules: Dialect, column: int) -> float:
    if x <= 0.0:
        raise Halt(Code.DOMAIN, column, what="logarithm")
    return math.log(x)


def _exponential(x: float, _rules: Dialect, column: int) -> float:
    try:
        return math.exp(x)
    except OverflowError:
        raise Halt(Code.DOMAIN, column, what="overflow") from None


def _sure_of(x: float, step: float, column: int) -> None:
    # A number a last digit away from the step: the control's own digits may fall on the other side.
    if 0.0 < abs(x - step) < _NOISE * max(1.0, abs(x)):
        raise Halt(Code.TOO_CLOSE, column, left=x, right=step)


def _whole_part(name: str, outward: bool) -> Function:
    def work_out(x: float, rules: Dialect, column: int) -> float:
        if math.isnan(x) or x.is_integer():
            return x
        _sure_of(x, float(round(x)), column)
        if x < 0.0 and rules.fix_rounds is None:
            raise Halt(Code.ROUNDING_RULE, column, name=name)
        # Rules for a negative: FIX goes down and FUP up, or FIX towards zero and FUP away from it.
        up = outward if x > 0.0 or rules.fix_rounds == "down" else not outward
        return float(math.ceil(x) if up else math.floor(x))

    return work_out


def _round(x: float, _rules: Dialect, column: int) -> float:
    if math.isnan(x) or x.is_integer():
        return x
    step = math.floor(x) + 0.5
    _sure_of(x, step, column)
    if x == step and x < 0.0:
        raise Halt(Code.ROUNDING_RULE, column, name="ROUND")
    return float(math.floor(x) if x < step else math.ceil(x))


def round_in_word(x: float, rules: Dialect, column: int) -> float:
    """ROUND within the value of a word.

    Some controls round there to the least increment of the word (from memory).

    Raises
    ------
    Halt
        ROUNDING_RULE: the number is not whole and the rule is not declared.
    """
    if rules.round_in_words != "whole" and not (math.isnan(x) or x.is_integer()):
        raise Halt(Code.ROUNDING_RULE, column, name="ROUND")
    return _round(x, rules, column)


FUNCTIONS: Final[Mapping[str, Function]] = {
    "SIN": _sin,
    "COS": _cos,
    "TAN": _tan,
    "ASIN": _asin,
    "ACOS": _acos,
    "ATAN": _atan,
    "SQRT": _square_root,
    "ABS": _absolute,
    "ROUND": _round,
    "FIX": _whole_part("FIX", outward=False),
    "FUP": _whole_part("FUP", outward=True),
    "LN": _logarithm,
    "EXP": _exponential,
}
"""Functions of one number; angles in degrees (NISTIR 6556, 3.3.2.4)."""


def variable_number(number: float, column: int) -> int:
    """Return a worked-out number as that of a variable.

    Raises
    ------
    Halt
        TOO_CLOSE: a last digit away from a whole number; VARIABLE_NUMBER: not whole, or negative.
    """
    if number.is_integer() and number >= 0.0:
        return int(number)
    if math.isfinite(number):
        _sure_of(number, float(round(number)), column)
    raise Halt(Code.VARIABLE_NUMBER, column, number=number)
