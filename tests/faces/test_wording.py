"""How figures, tables and foreign text are written."""

from __future__ import annotations

import doctest
import json
import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gudgeon.answer import Answer, Column, Figure, Missing, Verdict
from gudgeon.faces import wording
from gudgeon.faces.wording import Standing, ascii_text, cells, exit_code, plain_data, worded


def figure(value: float | None, **more: object) -> Figure:
    return Figure("f", "f", value, **more)  # type: ignore[arg-type]


def test_examples_in_docstrings_run() -> None:
    failed, tried = doctest.testmod(wording)
    assert tried > 0
    assert failed == 0


@pytest.mark.parametrize(
    ("value", "spread", "unit", "said"),
    [
        # Two significant digits of the uncertainty, the value to the same place: JCGM 100, 7.2.6.
        (143.21234, 0.0123, "mm", "143.212 +- 0.012 mm"),
        (61.34, 4.2, "N*m", "61.3 +- 4.2 N*m"),
        (12480.4, 9800.0, "EUR", "12,480 +- 9,800 EUR"),
        (0.5, 0.00049, "deg", "0.5000 +- 0.0005 deg"),
        (585.64, 0.11, "N", "585.6 +- 0.1 N"),
        (-215.0322, 0.0027, "mm", "-215.0322 +- 0.0027 mm"),
        # Usual decimals of the unit where none is stated.
        (12.5, None, "mm", "12.500 mm"),
        (0.611, None, "in", "0.6110 in"),
        (2.0, 0.0, "kg", "2.0 kg"),
        (75.0, None, "EUR/h", "75.00 EUR/h"),
        (8400.0, None, "parts/yr", "8,400 parts/yr"),
        (8400.0, None, "N", "8400 N"),
        (4.0, None, "", "4"),
        (1.31, None, "", "1.310"),
        # An uncertainty of nothing that matters is left out, but not of lengths and angles.
        (15.7127, 0.0004, "N*m", "15.71 N*m"),
        (15.7127, 0.04, "N*m", "15.713 +- 0.040 N*m"),
        (12.5, 0.00004, "mm", "12.50000 +- 0.00004 mm"),
        # A small value is not shown as nought.
        (0.00004, None, "mm", "0.00004 mm"),
        (0.3, None, "N", "0.3 N"),
        (0.0, None, "N", "0 N"),
        (-0.0, None, "mm", "0.000 mm"),
        (None, None, "mm", "no value"),
        (math.inf, None, "yr", "no value"),
        (math.nan, 1.0, "yr", "no value"),
    ],
)
def test_value_and_uncertainty(
    value: float | None, spread: float | None, unit: str, said: str
) -> None:
    assert worded(figure(value, plus_minus=spread, unit=unit)).value == said


@pytest.mark.parametrize(
    ("value", "spread", "limit", "kind", "standing", "words"),
    [
        (61.0, None, 70.0, "max", Standing.KEPT, "at most 70.00 N*m: 9.00 N*m to spare"),
        (71.0, None, 70.0, "max", Standing.BROKEN, "at most 70.00 N*m: 1.00 N*m over"),
        (1.2, None, 1.5, "min", Standing.BROKEN, "at least 1.50 N*m: 0.30 N*m short"),
        (1.8, None, 1.5, "min", Standing.KEPT, "at least 1.50 N*m: 0.30 N*m to spare"),
        (70.0, None, 70.0, "max", Standing.KEPT, "at most 70.00 N*m: exactly on it"),
        (0.0, None, 0.0, "max", Standing.KEPT, "at most 0.00 N*m: kept"),
        (69.0, 2.0, 70.0, "max", Standing.UNSURE, "at most 70.0 N*m: the limit lies inside the +-"),
        (71.0, 2.0, 70.0, "max", Standing.UNSURE, "at most 70.0 N*m: the limit lies inside the +-"),
        (68.0, 2.0, 70.0, "max", Standing.KEPT, "at most 70.0 N*m: 2.0 N*m to spare"),
        # A narrow margin is not rounded away.
        (69.9996, None, 70.0, "max", Standing.KEPT, "at most 70.0000 N*m: 0.0004 N*m to spare"),
    ],
)
def test_standing_against_the_limit(
    value: float, spread: float | None, limit: float, kind: str, standing: Standing, words: str
) -> None:
    said = worded(figure(value, plus_minus=spread, unit="N*m", limit=limit, limit_kind=kind))

    assert said.standing is standing
    assert said.limit == words


def test_a_limit_without_a_value_is_still_told() -> None:
    said = worded(figure(None, unit="mm", limit=3.0, limit_kind="min"))

    assert (said.value, said.limit, said.standing) == (
        "no value",
        "at least 3.000 mm",
        Standing.FREE,
    )


@given(
    st.floats(-1e7, 1e7),
    st.none() | st.floats(1e-7, 1e5),
    st.floats(-1e7, 1e7),
    st.sampled_from(["max", "min"]),
    st.sampled_from(["mm", "in", "N*m", "EUR", "", "turns"]),
)
def test_what_is_shown_agrees_with_the_figure(
    value: float, spread: float | None, limit: float, kind: str, unit: str
) -> None:
    said = worded(figure(value, plus_minus=spread, unit=unit, limit=limit, limit_kind=kind))
    shown = float(said.number.replace(",", ""))
    coarse = max(0.5, 0.51 * (spread or 0.0)) if unit != "mm" else max(5e-4, spread or 0)

    assert abs(shown - value) <= coarse * (1 + 1e-9) + 1e-9 * abs(value)
    good = limit >= value if kind == "max" else value >= limit
    if said.standing is Standing.KEPT:
        assert good
    if said.standing is Standing.BROKEN:
        assert not good


def test_columns_share_their_decimals() -> None:
    assert cells(Column("x", "X", "mm"), [1.0, 12.3456, None]) == ["1.000", "12.346", "-"]
    assert cells(Column("x", "at", "deg"), [-90.0, 30.0]) == ["-90", "30"]
    assert cells(Column("x", "at", "deg"), [-90.0, 30.5]) == ["-90.0", "30.5"]
    assert cells(Column("x", "count"), [1, 2]) == ["1", "2"]
    assert cells(Column("x", "kept"), [True, False, "n/a"]) == ["yes", "no", "n/a"]
    assert cells(Column("x", "sum", "EUR"), [12000.4, -3.0]) == ["12,000", "-3"]
    assert cells(Column("x", "sum", "EUR"), [7280.0, 10020.0]) == ["7,280", "10,020"]
    assert cells(Column("x", "far", "mm"), [1044.5, 2.0]) == ["1044.500", "2.000"]
    assert cells(Column("x", "small", "mm"), [0.0004, 1.0]) == ["0.0004", "1.0000"]
    assert cells(Column("x", "noise", "mm"), [1e-12, 1.0]) == ["0.0000", "1.0000"]
    assert cells(Column("x", "all small", "mm"), [0.00002, 0.0]) == ["0.00002", "0.00000"]
    assert cells(Column("x", "plain"), [-215.0322, 0.0057]) == ["-215.0322", "0.0057"]
    assert cells(Column("x", "plain"), [2.611, 3.0, 123.0]) == ["2.611", "3.000", "123.000"]
    assert cells(Column("x", "factor"), [14.87, 123.62]) == ["14.9", "123.6"]
    assert cells(Column("x", "sum", "USD/h"), [0.001, 68.25]) == ["0.00", "68.25"]
    assert cells(Column("x", "x", "mm"), [math.inf, 1.0]) == ["no value", "1.000"]
    assert cells(Column("x", "x", "mm"), [np.float64(1.5), np.float64(2)]) == ["1.500", "2.000"]


@given(st.text())
def test_text_becomes_one_line_of_printable_ascii(words: str) -> None:
    plain = ascii_text(words)

    assert all(" " <= char <= "~" for char in plain)
    assert ascii_text(plain) == plain


@pytest.mark.parametrize(
    ("words", "plain"),
    [
        ("\x1b[31mred\x1b[0m", r"\x1b[31mred\x1b[0m"),
        ("bell\x07", r"bell\x07"),
        ("two\nlines\tand tab", "two lines and tab"),
        ("caf\u00e9 M\u00fcller", "cafe Muller"),
        ("5 \u00b5m \u2014 90\u00b0", "5 um - 90 deg"),
        ("\u202egnp.exe", r"\u202egnp.exe"),
        ("\ud800", r"\ud800"),
        ("\u6a5f\u68b0", r"\u6a5f\u68b0"),
    ],
)
def test_foreign_text_is_spelt_or_shown_by_its_code(words: str, plain: str) -> None:
    assert ascii_text(words) == plain


def answer(verdict: Verdict) -> Answer:
    missing = (Missing("a", "b", "c", "d"),) if verdict is Verdict.CANNOT_TELL else ()
    return Answer("q", verdict, "headline", "next", missing=missing)


@pytest.mark.parametrize(
    ("verdicts", "failed", "code"),
    [
        ("yes", False, 0),
        ("yes_if", False, 0),
        ("no", False, 1),
        ("cannot_tell", False, 3),
        ("yes cannot_tell", False, 3),
        ("cannot_tell no yes", False, 1),
        ("no cannot_tell", True, 2),
        ("", True, 2),
    ],
)
def test_exit_code_of_several_answers(verdicts: str, failed: bool, code: int) -> None:
    assert exit_code([answer(Verdict(v)) for v in verdicts.split()], failed) == code


def test_plain_data_survives_json() -> None:
    data = {
        "a": np.float64(1.5),
        "b": [np.int64(3), True, np.bool_(False), None, "x"],
        "c": (math.nan, math.inf),
        "d": Fraction(1, 4),
        "e": Verdict.NO,
    }

    assert json.loads(json.dumps(plain_data(data), allow_nan=False)) == {
        "a": 1.5,
        "b": [3, True, False, None, "x"],
        "c": [None, None],
        "d": 0.25,
        "e": "no",
    }
