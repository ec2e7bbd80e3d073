"""Expressions: published values, laws, the rules where controls differ, hostile text."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gudgeon.program.blocks import Value
from gudgeon.program.dialect import Dialect, Limits
from gudgeon.program.doubts import Code, Halt
from gudgeon.program.parse import parse_block

PLAIN = Dialect()
NAN = math.nan


class Held:
    """Variables with fixed values; 0 is empty."""

    def __init__(self, values: dict[int, float | None]) -> None:
        self.values = values
        self.read: list[int] = []

    def variable(self, number: int, column: int) -> float | None:
        self.read.append(number)
        return self.values.get(number)


def expression(text: str, rules: Dialect = PLAIN) -> Value:
    return parse_block(f"#1={text}".encode(), rules).assignments[0].value


def worked(text: str, rules: Dialect = PLAIN, **values: float | None) -> float | None:
    """Work out ``#1=text``; v3=5.0 sets variable 3."""
    held = Held({int(name[1:]): value for name, value in values.items()})
    return expression(text, rules).value(held)


def halted(text: str, rules: Dialect = PLAIN, **values: float | None) -> Halt:
    with pytest.raises(Halt) as caught:
        worked(text, rules, **values)
    return caught.value


# --- published values ---------------------------------------------------------


def test_expression_of_the_report() -> None:
    """NISTIR 6556, 3.3.2.3 (GC-090, n5)."""
    assert worked("[2.0 / 3 * 1.5 - 5.5 / 11.0]") == pytest.approx(0.5, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "down", "zero"),
    [("FIX[2.8]", 2, 2), ("FIX[-2.8]", -3, -2), ("FUP[2.8]", 3, 3), ("FUP[-2.8]", -2, -3)],
)
def test_fix_and_fup(text: str, down: float, zero: float) -> None:
    """NISTIR 6556, 3.3.2.4 (GC-091, n6); the other rule is that of other controls (n6's note)."""
    assert worked(text, replace(PLAIN, fix_rounds="down")) == down
    assert worked(text, replace(PLAIN, fix_rounds="zero")) == zero
    if "-" in text:
        stop = halted(text)
        assert (stop.code, stop.column) == (Code.ROUNDING_RULE, 4)
        assert stop.detail == (("name", text[:3]),)
    else:
        assert worked(text) == down


@pytest.mark.parametrize(
    ("text", "degrees"),
    [
        ("ASIN[0.5]", 30.0),
        ("ACOS[0.5]", 60.0),
        ("ATAN[1]/[1]", 45.0),
        ("ATAN[1,1]", 45.0),
        ("ATAN[1]/[-1]", 135.0),
        ("ATAN[0]/[-1]", 180.0),
        ("ATAN[-0]/[-1]", 180.0),
        ("ATAN[-1]", -45.0),
        ("ATAN[[1+2]/3]/[2-1]", 45.0),
    ],
)
def test_results_of_arc_functions_are_degrees(text: str, degrees: float) -> None:
    """NISTIR 6556, 3.3.2.4 (GC-098)."""
    assert worked(text) == pytest.approx(degrees, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("SIN[30]", 0.5),
        ("COS[60]", 0.5),
        ("TAN[45]", 1.0),
        ("SIN[36030]", 0.5),
        ("SIN[210]", -0.5),
    ],
)
def test_arguments_of_angle_functions_are_degrees(text: str, value: float) -> None:
    assert worked(text) == pytest.approx(value, abs=1e-14)


def test_number_sign_binds_before_a_sum() -> None:
    """NISTIR 6556, 3.3.2.2 (n8): #1+2 is the value of #1 plus 2, #[1+2] the value of #3."""
    assert worked("#1+2", v1=40.0, v3=7.0) == 42.0
    assert worked("#[1+2]", v1=40.0, v3=7.0) == 7.0
    assert worked("##2", v2=3.0, v3=7.0) == 7.0


# --- order --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("2+3*4", 14.0),
        ("2*3**2", 18.0),
        ("2**3**2", 64.0),
        ("10-4-3", 3.0),
        ("100/10/5", 2.0),
        ("7 MOD 4 * 2", 6.0),
        ("2*-3", -6.0),
        ("-[2+3]*2", -10.0),
        ("-SQRT[16]", -4.0),
        ("+5-+2", 3.0),
        ("1+1 EQ 2", 1.0),
        ("3 GT 2+1", 0.0),
        ("1 OR 0 OR 0", 1.0),
        ("[1 EQ 1] AND [2 EQ 3]", 0.0),
        ("2**-1", 0.5),
        ("ABS[-3]+LN[EXP[2]]", 5.0),
        ("[ATAN[1]/[1]]/45", 1.0),
        ("2/ATAN[1]/[1]*45", 2.0),
    ],
)
def test_order_of_operations(text: str, value: float) -> None:
    """By hand; from the left where operators bind equally (NISTIR 6556, 3.3.2.3)."""
    assert worked(text) == pytest.approx(value, rel=1e-14)


numbers = st.integers(0, 99).map(str) | st.floats(0.01, 99.0).map(lambda x: f"{x:.3f}")
formulas = st.recursive(
    numbers,
    lambda inner: st.one_of(
        st.tuples(inner, st.sampled_from("+-*/"), inner).map("".join),
        inner.map(lambda x: f"[{x}]"),
        inner.map(lambda x: f"-[{x}]"),
        inner.map(lambda x: f"ABS[{x}]"),
    ),
    max_leaves=20,
)


@given(formulas.filter(lambda text: not any(x in text for x in ("--", "+-", "*-", "/-"))))
def test_sums_and_products_as_another_reader_has_them(text: str) -> None:
    """Python binds + - * / the same way; its own reader is the other method."""
    other = text.replace("ABS[", "abs[").replace("[", "(").replace("]", ")")
    other = "".join(part.lstrip("0") or "0" if part.isdigit() else part for part in _parts(other))
    try:
        expected = eval(other, {"__builtins__": {"abs": abs}})
    except ZeroDivisionError:
        assert halted(text).detail == (("what", "division"),)
        return
    assert worked(text) == pytest.approx(expected, rel=1e-13)


def _parts(text: str) -> list[str]:
    """Cut into runs of digits with points, and single other characters."""
    found: list[str] = []
    for character in text:
        if found and found[-1][-1] in "0123456789." and character in "0123456789.":
            found[-1] += character
        else:
            found.append(character)
    return found


def test_a_long_sum_reaches_no_limit() -> None:
    assert worked("1" + "+1" * 4_900) == 4_901.0


def test_brackets_are_counted_not_stacked() -> None:
    assert worked("[" * 40 + "1" + "]" * 40) == 1.0
    stop = halted("[" * 41 + "1" + "]" * 41)
    assert (stop.code, stop.column, stop.detail) == (Code.TOO_DEEP, 3 + 41, (("limit", 40),))
    deep = replace(PLAIN, limits=Limits(brackets=3_000))
    assert worked("ABS[" * 1_900 + "1" + "]" * 1_900, deep) == 1.0
    assert halted("#" * 41 + "1").code == Code.TOO_DEEP


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("1 AND 0 OR 1", Code.MIXED_LOGIC),
        ("1 AND 1+1", Code.MIXED_LOGIC),
        ("#2 EQ 1 AND 1", Code.MIXED_LOGIC),
        ("[1+1 XOR 1]", Code.MIXED_LOGIC),
        ("-2**2", Code.OPERATION_RULE),
        ("-[2]**2", Code.OPERATION_RULE),
        ("3*-#2**2", Code.OPERATION_RULE),
        ("ATAN[1]/2", Code.OPERATION_RULE),
        ("1 LT 2 LT 3", Code.EXPRESSION),
        ("[1", Code.EXPRESSION),
        ("[]", Code.EXPRESSION),
        ("[1,2]", Code.EXPRESSION),
        ("SIN[1,2]", Code.EXPRESSION),
        ("ATAN[1,2,3]", Code.EXPRESSION),
        ("1+", Code.EXPRESSION),
        ("--1", Code.EXPRESSION),
        ("#-1", Code.EXPRESSION),
        ("", Code.EXPRESSION),
        ("SIN 3", Code.EXPRESSION),
        ("BIN[3]", Code.FUNCTION_UNKNOWN),
        ("1.2.3", Code.NUMBER),
        ("9" * 400, Code.NUMBER),
    ],
)
def test_what_cannot_be_read(text: str, code: Code) -> None:
    assert halted(text, v2=1.0).code == code


def test_what_was_found_and_what_was_to_come() -> None:
    stop = halted("[1+2")
    assert stop.column == 8
    assert dict(stop.detail) == {"found": "end", "expected": "]"}


# --- what cannot be worked out ------------------------------------------------


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("1/0", "division"),
        ("1 MOD 0", "division"),
        ("SQRT[-1]", "root"),
        ("LN[0]", "logarithm"),
        ("ASIN[1.01]", "arc_sine"),
        ("ACOS[-1.01]", "arc_cosine"),
        ("TAN[90]", "tangent"),
        ("TAN[-270]", "tangent"),
        ("ATAN[0]/[0]", "arc_tangent"),
        ("EXP[1000]", "overflow"),
        ("10**400", "overflow"),
        ("[10**300]*[10**300]", "overflow"),
        ("[0-8]**0.5", "power"),
        ("0**-1", "power"),
    ],
)
def test_out_of_domain(text: str, what: str) -> None:
    stop = halted(text)
    assert stop.code == Code.DOMAIN
    assert stop.detail == (("what", what),)


@pytest.mark.parametrize(
    "text",
    [
        *(f"#2{o}1" for o in ("+", "-", "*", "/", "**", "MOD", "EQ", "NE", "LT", "GE", "AND")),
        *(f"1{o}#2" for o in ("+", "-", "*", "/", "**", "MOD", "GT", "LE", "OR", "XOR", "EQ")),
        *(f"{f}[#2]" for f in ("SIN", "COS", "TAN", "ASIN", "ACOS", "ATAN", "SQRT", "ABS")),
        *(f"{f}[#2]" for f in ("ROUND", "FIX", "FUP", "LN", "EXP")),
        *("-#2", "#2**0", "#2*0", "0 AND #2", "1 OR #2", "ATAN[#2]/[1]", "ATAN[1,#2]"),
        *("##2", "#2 EQ #0", "#0 NE #2"),
    ],
)
def test_the_unknown_spreads_through_everything(text: str) -> None:
    value = worked(text, v2=NAN)
    assert value is not None
    assert math.isnan(value)


# --- the empty variable -------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("#2 EQ #0", 1.0),
        ("#2 NE #0", 0.0),
        ("#2 EQ 0", 0.0),
        ("#2 NE 0", 1.0),
        ("0 EQ #2", 0.0),
        ("#2 GE 0", 1.0),
        ("#2+5", 5.0),
        ("#2*5", 0.0),
        ("COS[#2]", 1.0),
        ("#2", None),
        ("-#2", None),
        ("[#2]", None),
    ],
)
def test_an_empty_variable(text: str, value: float | None) -> None:
    """Common practice, from memory: 0 in arithmetic, but equal to nothing but another empty one."""
    assert worked(text, v2=None) == value


def test_a_variable_that_holds_no_finite_number() -> None:
    assert halted("#2", v2=math.inf).detail == (("what", "overflow"),)


def test_a_variable_of_an_empty_number_is_not_guessed() -> None:
    assert halted("##2", v2=None).code == Code.VARIABLE_NUMBER
    assert halted("1/#2", v2=None).code == Code.DOMAIN


@pytest.mark.parametrize("number", ["1.5", "[0-1]"])
def test_a_broken_variable_number(number: str) -> None:
    assert halted(f"#{number}").code == Code.VARIABLE_NUMBER


def test_a_variable_number_that_rounding_decides() -> None:
    """0.1 + 0.2 times 10 is a last digit above 3."""
    assert halted("#[[0.1+0.2]*10]").code == Code.TOO_CLOSE
    assert worked("#[10/2.5]", v4=8.0) == 8.0


# --- where controls differ ----------------------------------------------------


def test_comparisons_that_rounding_decides() -> None:
    stop = halted("0.1+0.2 EQ 0.3")
    assert (stop.code, stop.column) == (Code.TOO_CLOSE, 12)
    assert dict(stop.detail) == {"left": 0.1 + 0.2, "right": 0.3}
    assert halted("0.1+0.2 GT 0.3").code == Code.TOO_CLOSE
    assert halted("1000000 LT 1000000.05").code == Code.TOO_CLOSE
    assert worked("1000000 LT 1000000.2") == 1.0
    assert worked("1 EQ 1.000001") == 0.0


@pytest.mark.parametrize(
    ("name", "less", "same", "more"),
    [
        ("EQ", 0, 1, 0),
        ("NE", 1, 0, 1),
        ("GT", 0, 0, 1),
        ("GE", 0, 1, 1),
        ("LT", 1, 0, 0),
        ("LE", 1, 1, 0),
    ],
)
def test_comparisons_within_a_declared_distance(name: str, less: int, same: int, more: int) -> None:
    rules = replace(PLAIN, equal_within=0.25)
    assert [worked(f"{x} {name} 2", rules) for x in ("1.7", "1.75", "2", "2.25", "2.3")] == [
        less,
        same,
        same,
        same,
        more,
    ]
    exact = replace(PLAIN, equal_within=0.0)
    assert worked("0.1+0.2 EQ 0.3", exact) == 0.0


@pytest.mark.parametrize(
    ("text", "value"), [("2.5", 3), ("2.4", 2), ("-2.4", -2), ("-2.6", -3), ("7", 7), ("0.5", 1)]
)
def test_round(text: str, value: float) -> None:
    assert worked(f"ROUND[{text}]") == value


def test_roundings_that_are_in_doubt() -> None:
    assert halted("ROUND[-2.5]").code == Code.ROUNDING_RULE
    assert halted("ROUND[2.5+1/10000000000]").code == Code.TOO_CLOSE
    assert halted("FIX[0.3/0.1]").code == Code.TOO_CLOSE
    assert halted("FUP[[0.1+0.2]*10]").code == Code.TOO_CLOSE
    assert worked("FIX[10/2.5]") == 4.0


def test_round_in_a_word_has_a_rule_of_its_own() -> None:
    """Some controls round to the least increment there (from memory)."""

    def in_word(text: str, rules: Dialect) -> float | None:
        value = parse_block(text.encode(), rules).words[0].worked
        assert value is not None
        return value.value(Held({1: 2.6}))

    whole = replace(PLAIN, round_in_words="whole")
    for text in ("XROUND[#1]", "X[ROUND[#1]]"):
        assert in_word(text, whole) == 3.0
        with pytest.raises(Halt) as caught:
            in_word(text, PLAIN)
        assert caught.value.code == Code.ROUNDING_RULE
    assert in_word("X[ROUND[4]/2]", PLAIN) == 2.0


@pytest.mark.parametrize(
    ("text", "floor", "truncate", "whole"),
    [
        ("7 MOD 3", 1, 1, 1),
        ("[0-6] MOD 3", 0, 0, 0),
        ("[0-7] MOD 3", 2, -1, -1),
        ("7 MOD -3", 1, 1, 1),
        ("5.5 MOD 2", 1.5, 1.5, 0),
        ("7.3 MOD 3", 1.3, 1.3, 1),
    ],
)
def test_rules_of_the_remainder(text: str, floor: float, truncate: float, whole: float) -> None:
    values = {"floor": floor, "truncate": truncate, "whole": whole}
    for rule, value in values.items():
        assert worked(text, replace(PLAIN, mod_rule=rule)) == pytest.approx(value, abs=1e-12)
    if floor == truncate == whole:
        assert worked(text) == floor
    else:
        assert halted(text).detail == (("name", "MOD"),)


def test_a_remainder_that_rounding_decides() -> None:
    assert halted("1 MOD 0.1", replace(PLAIN, mod_rule="floor")).code == Code.TOO_CLOSE
    assert halted("3 MOD 0.4", replace(PLAIN, mod_rule="whole")).code == Code.DOMAIN


@pytest.mark.parametrize(
    ("text", "truth", "bits"),
    [("1 AND 1", 1, 1), ("6 AND 3", 1, 2), ("6 OR 3", 1, 7), ("6 XOR 3", 0, 5), ("6 AND 1", 1, 0)],
)
def test_rules_of_logic(text: str, truth: float, bits: float) -> None:
    """NISTIR 6556, 3.3.2.3: not zero is true; elsewhere bit by bit (from memory)."""
    assert worked(text, replace(PLAIN, logic_rule="truth")) == truth
    assert worked(text, replace(PLAIN, logic_rule="bits")) == bits
    if truth == bits:
        assert worked(text) == truth
    else:
        assert halted(text).detail == (("name", text.split()[1]),)


def test_bits_of_a_broken_number() -> None:
    assert halted("1.5 AND 1", replace(PLAIN, logic_rule="bits")).code == Code.OPERATION_RULE


@pytest.mark.parametrize(
    ("text", "half", "full"),
    [("[-1]/[1]", -45, 315), ("[-1]/[-1]", -135, 225), ("[1]/[0]", 90, 90)],
)
def test_ranges_of_the_arc_tangent(text: str, half: float, full: float) -> None:
    assert worked(f"ATAN{text}", replace(PLAIN, atan_range="-180..180")) == half
    assert worked(f"ATAN{text}", replace(PLAIN, atan_range="0..360")) == full
    if half == full:
        assert worked(f"ATAN{text}") == half
    else:
        stop = halted(f"ATAN{text}")
        assert (stop.code, stop.detail) == (Code.OPERATION_RULE, (("name", "ATAN"),))


def test_a_whole_turn_that_rounding_decides() -> None:
    """A hair below the X axis is 0 or 360; a hair off its far side is +180 or -180."""
    half, full = (replace(PLAIN, atan_range=r) for r in ("-180..180", "0..360"))
    for y in ("1/10**12", "-1/10**12"):
        assert halted(f"ATAN[{y}]/[1]", full).code == Code.TOO_CLOSE
        assert worked(f"ATAN[{y}]/[1]", half) == pytest.approx(0.0, abs=1e-9)
        assert halted(f"ATAN[{y}]/[-1]", half).code == Code.TOO_CLOSE
        assert worked(f"ATAN[{y}]/[-1]", full) == pytest.approx(180.0, abs=1e-9)


@given(st.floats(-80.0, 80.0), st.floats(-0.999, 0.999))
def test_functions_undo_each_other(angle: float, share: float) -> None:
    assert worked("ATAN[TAN[#2]]", v2=angle) == pytest.approx(angle, abs=1e-9)
    assert worked("SIN[ASIN[#2]]", v2=share) == pytest.approx(share, abs=1e-12)
    assert worked("SIN[#2]**2+COS[#2]**2", v2=angle) == pytest.approx(1.0, abs=1e-12)


LETTERS = st.text("0123456789.[]#+-*/,=ABCDEIFMNOQRSTUXP ANDORMOD", max_size=60)
FLOATS = st.none() | st.floats(allow_nan=True, allow_infinity=True)


@given(LETTERS, FLOATS, FLOATS)
def test_only_a_halt_escapes(text: str, one: float | None, two: float | None) -> None:
    try:
        block = parse_block(f"#1={text}".encode(), PLAIN)
        for made in block.assignments:
            value = made.value.value(Held({1: one, 2: two}))
            assert value is None or math.isnan(value) or math.isfinite(value)
    except Halt:
        pass


NAMES = ("SIN", "COS", "TAN", "ASIN", "ACOS", "SQRT", "ABS", "ROUND", "FIX", "FUP", "LN", "EXP")
OPERATORS = ("+", "-", "*", "/", "**", " MOD ", " EQ ", " LT ", " AND ", " XOR ")
TREES = st.recursive(
    st.sampled_from(["#1", "#2", "#0", "3", ".5", "-#1"]),
    lambda inner: st.one_of(
        st.tuples(inner, st.sampled_from(OPERATORS), inner).map(lambda t: f"[{''.join(t)}]"),
        st.tuples(st.sampled_from(NAMES), inner).map(lambda t: f"{t[0]}[{t[1]}]"),
        st.tuples(inner, inner).map(lambda t: f"ATAN[{t[0]}]/[{t[1]}]"),
        inner.map(lambda x: f"#[{x}]"),
    ),
    max_leaves=10,
)


@given(TREES, FLOATS, FLOATS, st.booleans())
def test_any_well_made_expression_gives_a_number_or_a_halt(
    text: str, one: float | None, two: float | None, declared: bool
) -> None:
    rules = replace(
        PLAIN,
        fix_rounds="zero" if declared else None,
        mod_rule="floor" if declared else None,
        logic_rule="bits" if declared else None,
        atan_range="0..360" if declared else None,
        equal_within=1e-6 if declared else None,
    )
    try:
        value = expression(text, rules).value(Held({1: one, 2: two}))
    except Halt as stop:
        assert stop.code not in (Code.EXPRESSION, Code.NUMBER, Code.FUNCTION_UNKNOWN)
    else:
        assert value is None or math.isnan(value) or math.isfinite(value)
