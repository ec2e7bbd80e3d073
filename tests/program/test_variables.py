"""Variables: what is empty, what is kept, what is not known and why."""

from __future__ import annotations

import math

import pytest

from gudgeon.program.dialect import Dialect, Limits
from gudgeon.program.doubts import Code, Halt
from gudgeon.program.variables import Variables

NAN = math.nan


class Notes:
    """Takes down doubts, and knows two variables of the control."""

    def __init__(self) -> None:
        self.taken: list[tuple[Code, int, dict[str, float]]] = []

    def doubt(self, code: Code, column: int, detail: dict[str, float]) -> int:
        self.taken.append((code, column, detail))
        return len(self.taken) - 1

    @staticmethod
    def system(number: int) -> float | None:
        return {5041: 12.5, 5042: NAN}.get(number)


def fresh(dialect: Dialect | None = None) -> tuple[Variables, Notes]:
    notes = Notes()
    return Variables(dialect or Dialect(), notes.doubt, notes.system), notes


def test_locals_are_empty_until_they_are_set() -> None:
    variables, notes = fresh()
    assert variables.variable(1, 3) is None
    assert variables.variable(33, 3) is None
    assert variables.variable(0, 3) is None
    variables.assign(1.0, -2.5, 3)
    assert variables.variable(1, 3) == -2.5
    variables.assign(1.0, None, 3)
    assert variables.variable(1, 3) is None
    assert notes.taken == []
    assert variables.cause == -1


def test_a_common_variable_that_nobody_set_is_not_known() -> None:
    variables, notes = fresh()
    value = variables.variable(100, 7)
    assert value is not None
    assert math.isnan(value)
    assert notes.taken == [(Code.COMMON_VARIABLE, 7, {"number": 100})]
    assert variables.cause == 0
    variables.assign(999.0, 4.0, 1)
    assert variables.variable(999, 1) == 4.0
    variables.assign(100.0, None, 1)
    assert variables.variable(100, 1) is None
    assert len(notes.taken) == 1


def test_a_variable_of_the_control() -> None:
    variables, notes = fresh()
    assert variables.variable(5041, 2) == 12.5
    assert notes.taken == []
    value = variables.variable(3000, 2)
    assert value is not None
    assert math.isnan(value)
    assert notes.taken == [(Code.SYSTEM_VARIABLE, 2, {"number": 3000})]
    assert variables.cause == 0


def test_one_doubt_for_each_variable() -> None:
    """A loop that reads it a million times must not fill the memory."""
    variables, notes = fresh()
    for _ in range(50):
        variables.variable(100, 7)
        variables.cause = -1
        variables.variable(101, 9)
    assert variables.cause == 1
    assert len(notes.taken) == 2


def test_doubts_are_bounded() -> None:
    variables, notes = fresh()
    for number in range(20_000):
        variables.cause = -1
        value = variables.variable(10_000 + number, 1)
        assert value is not None
        assert math.isnan(value)
        assert variables.cause >= 0
    assert len(notes.taken) == 10_000


def test_the_cause_of_the_unknown_goes_with_it() -> None:
    variables, _ = fresh()
    variables.assign(1.0, NAN, 1, cause=41)
    variables.assign(100.0, NAN, 1, cause=42)
    variables.variable(1, 1)
    assert variables.cause == 41
    variables.variable(100, 1)
    assert variables.cause == 42
    variables.assign(2.0, NAN, 1)  # what was read last
    variables.cause = -1
    variables.variable(2, 1)
    assert variables.cause == 42
    variables.assign(2.0, 5.0, 1)
    variables.cause = -1
    variables.variable(2, 1)
    assert variables.cause == -1


@pytest.mark.parametrize("number", [34, 99, -1])
def test_numbers_that_no_variable_has(number: int) -> None:
    variables, _ = fresh()
    with pytest.raises(Halt) as caught:
        variables.variable(number, 5)
    assert (caught.value.code, caught.value.column) == (Code.VARIABLE_NUMBER, 5)
    with pytest.raises(Halt) as caught:
        variables.assign(float(number), 1.0, 5)
    assert caught.value.code == Code.VARIABLE_NUMBER


def test_the_number_of_locals_is_the_controls() -> None:
    variables, _ = fresh(Dialect(local_count=50))
    variables.assign(50.0, 1.0, 1)
    assert variables.variable(50, 1) == 1.0
    with pytest.raises(Halt):
        variables.variable(51, 1)


@pytest.mark.parametrize(
    ("number", "code"),
    [
        (5041.0, Code.SYSTEM_WRITE),
        (1000.0, Code.SYSTEM_WRITE),
        (0.0, Code.VARIABLE_NUMBER),
        (None, Code.VARIABLE_NUMBER),
        (1.5, Code.VARIABLE_NUMBER),
        (math.inf, Code.VARIABLE_NUMBER),
        (NAN, Code.UNKNOWN_BRANCH),
        (2.9999999999999996, Code.TOO_CLOSE),
    ],
)
def test_what_cannot_be_set(number: float | None, code: Code) -> None:
    variables, _ = fresh()
    with pytest.raises(Halt) as caught:
        variables.assign(number, 1.0, 5)
    assert (caught.value.code, caught.value.column) == (code, 5)


def test_a_macro_call_has_locals_of_its_own() -> None:
    variables, _ = fresh()
    variables.assign(1.0, 10.0, 1)
    variables.assign(2.0, 20.0, 1)
    variables.push({1: 5.0, 3: NAN}, {3: 8})
    assert variables.variable(1, 1) == 5.0
    assert variables.variable(2, 1) is None
    variables.variable(3, 1)
    assert variables.cause == 8
    variables.assign(2.0, 99.0, 1)
    variables.assign(500.0, 7.0, 1)
    variables.pop()
    assert variables.variable(1, 1) == 10.0
    assert variables.variable(2, 1) == 20.0
    assert variables.variable(3, 1) is None
    assert variables.variable(500, 1) == 7.0  # commons are shared


def test_calls_are_bounded() -> None:
    variables, _ = fresh(Dialect(limits=Limits(depth=2)))
    variables.push({})
    variables.push({})
    with pytest.raises(Halt) as caught:
        variables.push({})
    assert caught.value.code == Code.TOO_DEEP
    variables.pop()
    variables.pop()
    with pytest.raises(Halt) as caught:
        variables.pop()
    assert caught.value.code == Code.RETURN_NOWHERE


def test_an_argument_is_a_local() -> None:
    variables, _ = fresh()
    with pytest.raises(Halt) as caught:
        variables.push({34: 1.0})
    assert caught.value.code == Code.VARIABLE_NUMBER
