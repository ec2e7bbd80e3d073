"""Quantities as people write them: values by hand, exact factors, refusals with their mend."""

from __future__ import annotations

import doctest
import math
import time
from fractions import Fraction

import pint
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from gudgeon.quantity import text as text_module
from gudgeon.quantity.amount import Amount
from gudgeon.quantity.kinds import BASE, Kind
from gudgeon.quantity.text import (
    LONGEST,
    QuantityError,
    read,
    read_amount,
    with_units,
    write_amount,
)
from gudgeon.quantity.unit_text import read_unit
from gudgeon.quantity.units import DEFINITIONS, SPELLINGS

DEG = math.pi / 180.0
LBF = 4.4482216152605  # N, exact: NIST SP 811 (2008), appendix B
FTLB = LBF * 0.3048

# text, kind, value in the base unit, half width or None; worked by hand.
ACCEPTED = [
    ("0.611 in", Kind.LENGTH, 15.5194, None),
    ("5/8 in", Kind.LENGTH, 15.875, None),
    ("1 1/2 in", Kind.LENGTH, 38.1, None),
    ("1-1/2 in", Kind.LENGTH, 38.1, None),
    ("-1-1/2 in", Kind.LENGTH, -38.1, None),
    ('5/8"', Kind.LENGTH, 15.875, None),
    ("5 ft 3 in", Kind.LENGTH, 1600.2, None),
    ("5' 3\"", Kind.LENGTH, 1600.2, None),
    ("12.5mm", Kind.LENGTH, 12.5, None),
    ("  12.5   mm ", Kind.LENGTH, 12.5, None),
    ("12.5 MM", Kind.LENGTH, 12.5, None),
    (".5 IN", Kind.LENGTH, 12.7, None),
    ("5. mm", Kind.LENGTH, 5.0, None),
    ("1e-3 m", Kind.LENGTH, 1.0, None),
    ("\u22125 mm", Kind.LENGTH, -5.0, None),
    ("3 um", Kind.LENGTH, 0.003, None),
    ("3 \u00b5m", Kind.LENGTH, 0.003, None),
    ("3 microns", Kind.LENGTH, 0.003, None),
    ("2 thou", Kind.LENGTH, 0.0508, None),
    ("2 mil", Kind.LENGTH, 0.0508, None),
    ("12.5 mm +- 0.01 mm", Kind.LENGTH, 12.5, 0.01),
    ("12.5 mm +/- 10 um", Kind.LENGTH, 12.5, 0.01),
    ("12.5 mm \u00b1 0.01 mm", Kind.LENGTH, 12.5, 0.01),
    ("0.611 +- 0.001 in", Kind.LENGTH, 15.5194, 0.0254),
    ("1/2 in +- 0.1 mm", Kind.LENGTH, 12.7, 0.1),
    ("-10 mm to 10 mm", Kind.LENGTH, 0.0, 10.0),
    ("90 deg", Kind.ANGLE, math.pi / 2, None),
    ("90\u00b0", Kind.ANGLE, math.pi / 2, None),
    ("90 DEG", Kind.ANGLE, math.pi / 2, None),
    ("12 deg 30 arcmin", Kind.ANGLE, 12.5 * DEG, None),
    ("-12\u00b0 30' 36\"", Kind.ANGLE, -12.51 * DEG, None),
    ("12\u00b03'", Kind.ANGLE, 12.05 * DEG, None),
    ("20 arcsec", Kind.ANGLE, 20 * DEG / 3600, None),
    ("1 turn", Kind.ANGLE, 2 * math.pi, None),
    ("0 deg +- 20 arcsec", Kind.ANGLE, 0.0, 20 * DEG / 3600),
    ("1.5 rad", Kind.ANGLE, 1.5, None),
    # A level's division, the inch one, and a square's: rise over run (arc tangent).
    ("0.02 mm/m", Kind.ANGLE, math.atan(2e-5), None),
    ("20 um/m", Kind.ANGLE, math.atan(2e-5), None),
    ("-0.02 mm per m", Kind.ANGLE, math.atan(-2e-5), None),
    ("0.0005 in/ft", Kind.ANGLE, math.atan(0.0005 / 12), None),
    ("0.5 thou/ft", Kind.ANGLE, math.atan(0.0005 / 12), None),
    ("1 thou/in", Kind.ANGLE, math.atan(1e-3), None),
    ("0.1 mm/m +- 0.02 mm/m", Kind.ANGLE, math.atan(1e-4), math.atan(2e-5)),
    ("0.1 +- 0.02 mm/m", Kind.ANGLE, math.atan(1e-4), math.atan(2e-5)),
    ("0 mm/m to 0.1 mm/m", Kind.ANGLE, math.atan(1e-4) / 2, math.atan(1e-4) / 2),
    ("100 mm/m", Kind.ANGLE, math.atan(0.1), None),
    ("26 lb", Kind.MASS, 26 * 0.45359237, None),
    ("750 g", Kind.MASS, 0.75, None),
    ("160 lbf", Kind.FORCE, 160 * LBF, None),
    ("0.72 kN", Kind.FORCE, 720.0, None),
    ("10 kgf", Kind.FORCE, 98.0665, None),
    ("85 N*m", Kind.TORQUE, 85.0, None),
    ("85 N.m", Kind.TORQUE, 85.0, None),
    ("85 N m", Kind.TORQUE, 85.0, None),
    ("85 N\u00b7m", Kind.TORQUE, 85.0, None),
    ("85 Nm", Kind.TORQUE, 85.0, None),
    ("85 lbf*ft", Kind.TORQUE, 85 * FTLB, None),
    ("85 ft-lb", Kind.TORQUE, 85 * FTLB, None),
    ("85 ft lb", Kind.TORQUE, 85 * FTLB, None),
    ("85 lb-ft", Kind.TORQUE, 85 * FTLB, None),
    ("12 in-lb", Kind.TORQUE, FTLB, None),
    ("16 oz*in", Kind.TORQUE, LBF * 0.0254, None),
    ("5 N*mm", Kind.TORQUE, 0.005, None),
    ("7.5 kW", Kind.POWER, 7500.0, None),
    ("10 hp", Kind.POWER, 7456.9987158227022, None),
    ("20 m/min", Kind.SPEED, 1000.0 / 3, None),
    ("800 in/min", Kind.SPEED, 800 * 25.4 / 60, None),
    ("800 ipm", Kind.SPEED, 800 * 25.4 / 60, None),
    ("25 rpm", Kind.SPIN, 25 * 2 * math.pi / 60, None),
    ("150 deg/s", Kind.SPIN, 150 * DEG, None),
    ("21 min", Kind.TIME, 1260.0, None),
    ("1 h 20 min", Kind.TIME, 4800.0, None),
    ("21 min +- 10 %", Kind.TIME, 1260.0, 126.0),
    ("18 min to 24 min", Kind.TIME, 1260.0, 180.0),
    ("18 to 24 min", Kind.TIME, 1260.0, 180.0),
    ("2000 N/mm2", Kind.STRESS, 2000.0, None),
    ("2000 N/mm^2", Kind.STRESS, 2000.0, None),
    ("2000 N/mm\u00b2", Kind.STRESS, 2000.0, None),
    ("2 GPa", Kind.STRESS, 2000.0, None),
    ("1 psi", Kind.STRESS, LBF / 645.16, None),
    ("1 lb/in2", Kind.STRESS, LBF / 645.16, None),
    ("20 degC", Kind.TEMPERATURE, 20.0, None),
    ("20 \u00b0C", Kind.TEMPERATURE, 20.0, None),
    ("68 degF", Kind.TEMPERATURE, 20.0, None),
    ("-40 F", Kind.TEMPERATURE, -40.0, None),
    ("293.15 K", Kind.TEMPERATURE, 20.0, None),
    ("68 degF +- 9 degF", Kind.TEMPERATURE, 20.0, 5.0),
    ("20 degC +- 1 K", Kind.TEMPERATURE, 20.0, 1.0),
    ("24900 EUR", Kind.MONEY, 24900.0, None),
    ("EUR 24900", Kind.MONEY, 24900.0, None),
    ("24900 EUR +- 5 %", Kind.MONEY, 24900.0, 1245.0),
    ("75 EUR/h", Kind.MONEY_PER_HOUR, 75.0, None),
    ("EUR 75/h", Kind.MONEY_PER_HOUR, 75.0, None),
    ("1.25 EUR/min", Kind.MONEY_PER_HOUR, 75.0, None),
    ("1500 EUR/yr", Kind.MONEY_PER_YEAR, 1500.0, None),
    ("125 EUR/month", Kind.MONEY_PER_YEAR, 1500.0, None),
    ("1500 EUR per year", Kind.MONEY_PER_YEAR, 1500.0, None),
    ("1200 parts/yr", Kind.PER_YEAR, 1200.0, None),
    ("1200 /yr", Kind.PER_YEAR, 1200.0, None),
    ("100 pcs/month", Kind.PER_YEAR, 1200.0, None),
    ("8 %", Kind.SHARE, 0.08, None),
    ("8 % +- 2 %", Kind.SHARE, 0.08, 0.02),
    ("0.15", Kind.NUMBER, 0.15, None),
    ("0.15 +- 0.03", Kind.NUMBER, 0.15, 0.03),
    ("0.2 +- 10 %", Kind.NUMBER, 0.2, 0.02),
]

# text, kind, reason, words of the mend
REFUSED = [
    ("12.5", Kind.LENGTH, "no unit", '"12.5 mm" or "12.5 in"'),
    ("12.5 mm +- 0.01", Kind.LENGTH, "no unit", '"12.5 mm +- 0.01 mm"'),
    ("0,611 in", Kind.LENGTH, "comma", 'write "0.611 in"'),
    ("12,500 mm", Kind.LENGTH, "comma", '"12.500 mm" or "12500 mm"'),
    ("-1,250.5 mm", Kind.LENGTH, "comma", 'write "-1250.5 mm"'),
    ("24.900 EUR", Kind.MONEY, "unreadable", 'write "24900 EUR" or "24.90 EUR"'),
    ("1.500 EUR/yr", Kind.MONEY_PER_YEAR, "unreadable", '"1500 EUR/yr" or "1.50 EUR/yr"'),
    ("1,234,567 mm", Kind.LENGTH, "comma", 'write "1234567 mm"'),
    ("24,900 EUR", Kind.MONEY, "comma", '"24900 EUR"'),
    ("85 N*m", Kind.LENGTH, "dimension", '"12.5 mm"'),
    ("160 lb", Kind.FORCE, "dimension", '"160 lbf"'),
    ("30 min", Kind.ANGLE, "dimension", '"30 arcmin"'),
    ("0.02 mm", Kind.ANGLE, "dimension", '"20 arcsec"'),
    ("0.02 mm/mm", Kind.ANGLE, "dimension", '"20 arcsec"'),
    ("0.02 mm/ft", Kind.ANGLE, "dimension", '"20 arcsec"'),
    ("0.02 m/mm", Kind.ANGLE, "dimension", '"20 arcsec"'),
    ("0.02 mm/s", Kind.ANGLE, "dimension", '"20 arcsec"'),
    ("0.02 mm2/m", Kind.ANGLE, "dimension", '"20 arcsec"'),
    ("0.02 mm2/m2", Kind.ANGLE, "dimension", '"20 arcsec"'),
    ("0.02 mm/m", Kind.LENGTH, "dimension", '"12.5 mm"'),
    ("0.02 mm/m", Kind.SPIN, "dimension", '"25 rpm"'),
    ("0.02 mm/m", Kind.SHARE, "dimension", '"8 %"'),
    ("500 mm/m", Kind.ANGLE, "size", '"26.57 deg"'),
    ("90 in/ft", Kind.ANGLE, "size", '"45 deg"'),
    ("1 mm/m 2 um/m", Kind.ANGLE, "unreadable", '"90 deg"'),
    ("1 deg 2 mm/m", Kind.ANGLE, "unreadable", '"90 deg"'),
    ("85 lb/ft", Kind.TORQUE, "dimension", '"85 N*m"'),
    ("12 %", Kind.NUMBER, "dimension", "write 0.12"),
    ("0.2 mm", Kind.NUMBER, "dimension", "without a unit"),
    ("8 mm", Kind.SHARE, "dimension", '"8 %"'),
    ("24900 EUR", Kind.LENGTH, "dimension", '"12.5 mm"'),
    ("24900 EUR/h", Kind.MONEY, "dimension", '"24900 EUR"'),
    ("12 mmm", Kind.LENGTH, "unit", '"12 mm"'),
    ("5 furlong", Kind.LENGTH, "unit", '"5/8 in"'),
    ("5 mm/", Kind.LENGTH, "unit", '"5 mm"'),
    ("5 eur", Kind.MONEY, "unit", '"5 EUR"'),
    ("$18500", Kind.MONEY, "unit", '"18500 USD"'),
    ("18500 \u20ac", Kind.MONEY, "unit", '"18500 EUR"'),
    ("5 parts/day", Kind.PER_YEAR, "unit", "a year or a month"),
    ("100 EUR +- 5 USD", Kind.MONEY, "unit", "EUR"),
    ("5 degC/min", Kind.TEMPERATURE, "unit", '"20 degC"'),
    ("24 900 EUR", Kind.MONEY, "unreadable", '"24900 EUR"'),
    ("24 min to 18 min", Kind.TIME, "backwards", "smaller value first"),
    ("10 mm +0.1 -0.2", Kind.LENGTH, "unreadable", "middle value"),
    ("10 mm +- -0.1 mm", Kind.LENGTH, "unreadable", "plain number"),
    ("3 in 5 ft", Kind.LENGTH, "unreadable", '"12.5 mm"'),
    ("3 kg 5 g", Kind.MASS, "unreadable", '"12 kg"'),
    ("nan mm", Kind.LENGTH, "unreadable", '"12.5 mm"'),
    ("inf mm", Kind.LENGTH, "unreadable", '"12.5 mm"'),
    ("1e999 mm", Kind.LENGTH, "unreadable", '"12.5 mm"'),
    ("1e999999999999 mm", Kind.LENGTH, "unreadable", '"12.5 mm"'),
    ("5/0 in", Kind.LENGTH, "unreadable", '"12.5 mm"'),
    ("", Kind.LENGTH, "unreadable", '"12.5 mm"'),
    ("mm", Kind.LENGTH, "unreadable", '"12.5 mm"'),
    ("2*3 mm", Kind.LENGTH, "no unit", '"2 mm"'),
    ("(2+3) mm", Kind.LENGTH, "unreadable", '"12.5 mm"'),
    ("__import__('os')", Kind.LENGTH, "unreadable", '"12.5 mm"'),
    ("9**9**9 mm", Kind.LENGTH, "no unit", '"9 mm"'),
    ("1 mm**99999999", Kind.LENGTH, "no unit", '"1 mm"'),
    ("wide", Kind.NUMBER, "unreadable", '"0.15"'),
    ("1e20 mm", Kind.LENGTH, "size", '"12.5 mm"'),
    ("\u0663 mm", Kind.LENGTH, "unreadable", '"12.5 mm"'),
]


def test_examples_in_docstrings_run() -> None:
    failed, tried = doctest.testmod(text_module)
    assert tried > 0
    assert failed == 0


@pytest.mark.parametrize(("text", "kind", "value", "half"), ACCEPTED, ids=lambda v: str(v))
def test_reads_what_people_write(text: str, kind: Kind, value: float, half: float | None) -> None:
    amount = read_amount(text, kind)

    assert amount.value == pytest.approx(value, rel=1e-15, abs=1e-15)
    assert amount.plus_minus == (None if half is None else pytest.approx(half, rel=1e-14))


@pytest.mark.parametrize(("text", "kind", "reason", "mend"), REFUSED, ids=lambda v: str(v)[:30])
def test_refuses_with_a_reason_and_a_mend(text: str, kind: Kind, reason: str, mend: str) -> None:
    with pytest.raises(QuantityError) as caught:
        read(text, kind)

    if reason == "no unit" and "*" in text:
        assert caught.value.reason in ("no unit", "unreadable", "unit", "dimension")
        return  # an expression is refused; which slip it resembles does not matter
    assert caught.value.reason == reason
    assert mend in caught.value.fix


def test_the_mark_stands_under_the_comma() -> None:
    with pytest.raises(QuantityError) as caught:
        read(" 12,5 mm", Kind.LENGTH)
    assert caught.value.span == (3, 4)


def test_inch_and_metric_drawings_agree_exactly() -> None:
    """25.4 mm to the inch, exact (NIST SP 811:2008, appendix B); no float error on the way."""
    assert read_amount("0.1 in", Kind.LENGTH).value == 2.54
    assert read_amount("0.1 in", Kind.LENGTH) == read_amount("2.54 mm", Kind.LENGTH)
    assert read_amount("0.7 in", Kind.LENGTH) == read_amount("17.78 mm", Kind.LENGTH)
    assert read_amount("90 deg", Kind.ANGLE).value == math.pi / 2


def test_a_stated_spread_is_k_2() -> None:
    assert read_amount("12.5 mm +- 0.01 mm", Kind.LENGTH).u == pytest.approx(0.005)
    assert read_amount("12.5 mm", Kind.LENGTH).u == 0.0


@pytest.mark.parametrize("kind", [kind for kind in BASE if kind is not Kind.TEMPERATURE])
def test_the_base_unit_is_one(kind: Kind) -> None:
    """One mm is 1.0, and so for the printed base unit of every kind."""
    if kind is Kind.SHARE:
        assert read_amount("100 %", kind).value == 1.0
        return
    unit = BASE[kind].base.replace("money", "EUR")
    number = "1 parts" if kind is Kind.PER_YEAR else "1 "
    assert read_amount(f"{number}{unit.removeprefix('1')}", kind).value == 1.0


@pytest.mark.parametrize("kind", list(BASE))
def test_the_examples_of_messages_can_be_read(kind: Kind) -> None:
    for shown in BASE[kind].examples:
        assert math.isfinite(read_amount(shown, kind).value)
    for choice in with_units("3", kind).split(" or "):
        assert math.isfinite(read_amount(choice.strip('"'), kind).value)


LIBRARY = [
    ("um cm m in thou ft", Kind.LENGTH, "mm"),
    ("mrad deg arcmin arcsec turn", Kind.ANGLE, "rad"),
    ("g t lb oz", Kind.MASS, "kg"),
    ("ms min h", Kind.TIME, "s"),
    ("kN daN kgf lbf ozf", Kind.FORCE, "N"),
    ("kW hp", Kind.POWER, "W"),
    ("Pa kPa GPa bar psi ksi", Kind.STRESS, "MPa"),
    ("rpm", Kind.SPIN, "rad/s"),
]


@pytest.fixture(scope="module")
def library() -> pint.UnitRegistry[Fraction]:
    return pint.UnitRegistry(non_int_type=Fraction)


@pytest.mark.parametrize(
    ("name", "kind", "base"), [(n, kind, base) for ns, kind, base in LIBRARY for n in ns.split()]
)
def test_factors_agree_with_the_library_s_own_list(
    name: str, kind: Kind, base: str, library: pint.UnitRegistry[Fraction]
) -> None:
    """Our definitions against the list that the authors of the units library keep."""
    theirs = library.Quantity(Fraction(1), name).to(base).magnitude
    assert float(read_unit("", kind, name).factor) == pytest.approx(float(theirs), rel=1e-12)


def test_metric_horsepower() -> None:
    """75 kgf m/s = 735.49875 W (NIST SP 811:2008, appendix B.8)."""
    assert read_amount("1 PS", Kind.POWER).value == 735.49875


def test_every_spelling_names_a_unit_of_the_list() -> None:
    defined = {line.split(" = ")[0] for line in DEFINITIONS}
    assert set(SPELLINGS.values()) <= defined


values = st.floats(-1e9, 1e9, allow_nan=False)
halves = st.none() | st.floats(0.0, 1e6, allow_nan=False)


@given(st.sampled_from([*BASE, Kind.NUMBER]), values, halves)
@example(Kind.LENGTH, 5e-324, None)
@example(Kind.ANGLE, -0.0, 1e-12)
def test_what_is_written_reads_back(kind: Kind, value: float, half: float | None) -> None:
    amount = Amount(value, half)
    back = read(write_amount(amount, kind, "EUR"), kind)

    assert back.amount.value == pytest.approx(value, rel=1e-15, abs=1e-25)
    if half is None:
        assert back.amount.plus_minus is None
    else:
        assert back.amount.plus_minus == pytest.approx(half, rel=1e-15, abs=1e-25)
    assert back.currency == ("EUR" if "money" in getattr(BASE.get(kind), "base", "") else "")


@given(st.integers(0, 400), st.integers(1, 64), st.sampled_from([1, -1]))
def test_fractions_of_an_inch_are_exact(over: int, under: int, sign: int) -> None:
    found = read_amount(f"{sign * over}/{under} in", Kind.LENGTH).value
    assert found == float(Fraction(sign * over, under) * Fraction(254, 10))


@given(st.text(max_size=LONGEST + 5), st.sampled_from([*BASE, Kind.NUMBER]))
@example("1" * 79, Kind.LENGTH)
@example("1e30 " + "m*" * 30 + "m", Kind.LENGTH)
@example("1 " + "mm3*" * 18 + "mm3", Kind.LENGTH)
def test_any_text_is_read_or_refused(text: str, kind: Kind) -> None:
    try:
        found = read(text, kind)
    except QuantityError as problem:
        assert problem.problem
        assert problem.fix
        return
    assert math.isfinite(found.amount.value)


pieces = st.sampled_from(
    ["1", "2.5", " ", "/", "*", "-", "+-", "to", "mm", "in", "deg", "N", "m", "EUR", "%", "e9", "."]
)


@given(st.lists(pieces, max_size=12).map("".join), st.sampled_from([*BASE, Kind.NUMBER]))
def test_any_string_of_likely_pieces_is_read_or_refused(text: str, kind: Kind) -> None:
    test_any_text_is_read_or_refused.hypothesis.inner_test(text, kind)


def test_hostile_text_takes_no_time() -> None:
    """A bound on the work, generous for slow machines; nothing is ever evaluated."""
    started = time.perf_counter()
    for text in (
        "1 " + "m^3*" * 19,
        "9" * LONGEST,
        "1 1" * 26,
        "-" * LONGEST,
        "1/" * 40,
        "x" * 10**6,
    ):
        with pytest.raises(QuantityError):
            read(text, Kind.LENGTH)
    assert time.perf_counter() - started < 1.0
