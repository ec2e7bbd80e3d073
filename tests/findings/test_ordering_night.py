"""Runs without a person: what the tools last, visits, a shift, a night, by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from gudgeon.cell.model import Night, Shift
from gudgeon.findings import Findings
from gudgeon.findings.effort import Effort
from gudgeon.findings.night import NightFinding, loads_for
from gudgeon.order.wear import End
from gudgeon.quantity.amount import Amount
from tests.questions.order_shop import cut, shop
from tests.questions.trunnions import STATIONS, deg

QUICK = Effort(rounds=1_000, bound=0.0)
ONE = (STATIONS[0],)


def timed(name: str, tool: int = 1, seconds: float = 10.0, **more):
    return cut(name, tool, takes=Amount(seconds), **more)


def night(
    *operations,
    lives: dict[int, float] | None = None,
    sisters: dict[int, tuple[int, ...]] | None = None,
    shift: Shift | None = None,
    **changes,
) -> tuple[Findings, NightFinding]:
    cell = shop(*operations, **changes)
    tools = tuple(
        replace(
            tool,
            life=Amount(lives[tool.number]) if lives and tool.number in lives else None,
            sisters=(sisters or {}).get(tool.number or 0, ()),
        )
        for tool in cell.tools
    )
    cell = replace(cell, tools=tools, shift=shift or cell.shift)
    findings = Findings(cell, (), QUICK)
    found = findings.night
    assert found is not None
    return findings, found


def shifts(**more) -> Shift:
    return Shift(load_part=Amount(30.0), load_once=Amount(20.0), load_pose=(deg(0), deg(0)), **more)


# --- tools --------------------------------------------------------------------------------------


def test_a_tool_lasts_as_many_loads_as_its_life_holds() -> None:
    """By hand: 4 stations of 10 s are 40 s a load; 130 s last three loads."""
    _, found = night(timed("mill"), lives={1: 130.0})
    (use,) = found.uses
    assert use.used_s == 40.0
    assert use.loads == 3
    assert use.loads_together == 3


def test_sisters_take_over_cut_by_cut() -> None:
    """By hand: 130 s are 13 cuts of 10 s; with a sister alike 26 cuts, six loads and a half."""
    _, found = night(timed("mill"), lives={1: 130.0}, sisters={1: (5,)})
    assert found.uses[0].loads == 3
    assert found.uses[0].loads_together == 6


def test_a_sister_may_last_longer_than_the_tool() -> None:
    _, found = night(timed("mill"), lives={1: 40.0, 5: 80.0}, sisters={1: (5,)})
    assert found.uses[0].loads_together == 3


def test_a_tool_without_a_life_ends_nothing() -> None:
    _, found = night(timed("mill"))
    assert found.uses[0].loads is None
    assert found.first.end is End.NEVER
    assert found.first_tool is None
    assert any("T1: no life" in text for text in found.told)
    assert "cell.toml: tools[1].life" in [item.where for item in found.missing]


def test_a_tool_that_does_not_last_a_load_is_named_with_the_cut() -> None:
    findings, found = night(timed("mill"), lives={1: 25.0})
    (worn,) = found.worn
    assert (worn.tool, worn.sisters) == (1, ())
    assert worn.before == findings.ordering.steps[2].job.label


def test_as_many_sisters_are_asked_for_as_a_load_needs() -> None:
    _, found = night(timed("mill"), lives={1: 20.0}, sisters={1: (4, 5, 6)})
    (worn,) = found.worn
    assert worn.sisters == (4,)
    _, lasting = night(timed("mill"), lives={1: 40.0}, sisters={1: (4,)})
    assert lasting.worn == ()


def test_the_first_tool_worn_ends_a_run_on_and_on() -> None:
    """By hand: T1 lasts three loads of 40 s, T2 two; T2 cannot begin in the third load."""
    findings, found = night(timed("mill"), timed("drill", 2, 20.0), lives={1: 120.0, 2: 160.0})
    assert found.first_tool == 2
    assert found.first.loads == 2
    order = findings.ordering
    start = next(step.start_s for step in order.steps if step.job.tool == 2)
    assert order.loading is not None
    every = order.machine.value + order.loading.value
    assert found.first.seconds == pytest.approx(2 * every + start)


# --- visits, shifts, nights ---------------------------------------------------------------------


def test_a_person_comes_when_the_load_is_done() -> None:
    findings, found = night(timed("mill"))
    assert found.visit.run.end is End.LOADS
    assert found.visit.run.seconds == pytest.approx(findings.ordering.machine.value)
    low, high = found.visit.seconds
    width = findings.ordering.machine.plus_minus or 0.0
    assert (high - low) / 2.0 == pytest.approx(width, rel=1e-6)


def test_loads_that_change_themselves_put_visits_off() -> None:
    shift = shifts(night=Night(loads=5))
    findings, found = night(timed("mill"), shift=shift)
    assert found.visit_loads == 5
    assert found.visit.run.seconds == pytest.approx(5 * findings.ordering.machine.value)
    _, short = night(timed("mill"), shift=shift, lives={1: 90.0})
    assert short.visit.run.end is End.TOOL
    assert short.visit.run.loads == 2


def test_a_shift_holds_whole_loads() -> None:
    """By hand: share x hours over a load with its loading."""
    shift = shifts(hours=Amount(8 * 3600.0), share_running=Amount(0.5))
    findings, found = night(timed("mill", seconds=60.0), shift=shift)
    load = findings.ordering.load.value
    assert found.shift is not None
    assert found.shift.loads == math.floor(0.5 * 8 * 3600.0 / load)
    assert found.shift.mean_loads == pytest.approx(0.5 * 8 * 3600.0 / load)


def test_the_usual_share_of_a_shift_is_told() -> None:
    findings, found = night(timed("mill"), shift=shifts(hours=Amount(8 * 3600.0)))
    assert found.shift is not None
    assert found.shift.mean_loads == pytest.approx(0.9 * 8 * 3600.0 / findings.ordering.load.value)
    assert any("90%" in text for text in found.told)
    _, without = night(timed("mill"))
    assert without.shift is None
    assert "cell.toml: shift.hours" in [item.where for item in without.missing]


@pytest.mark.parametrize(
    ("hours", "loads", "end"),
    [(1.0, 3, End.LOADS), (1.0, 10_000, End.TIME)],
)
def test_a_night_without_worn_tools_is_the_lesser_of_time_and_loads(
    hours: float, loads: int, end: End
) -> None:
    shift = shifts(night=Night(hours=Amount(hours * 3600.0), loads=loads))
    findings, found = night(timed("mill"), shift=shift)
    run = findings.ordering.machine.value
    assert found.night is not None
    assert found.night.run.end is end
    assert found.night.run.loads == min(loads, math.floor(hours * 3600.0 / run))


def test_a_tool_that_ends_the_night_is_worth_a_sister() -> None:
    """By hand: one tool lasts three loads, two last six."""
    shift = shifts(night=Night(hours=Amount(24 * 3600.0), loads=100))
    _, found = night(timed("mill"), lives={1: 120.0}, shift=shift)
    assert found.night is not None
    assert (found.night.run.end, found.night.run.loads) == (End.TOOL, 3)
    assert found.one_more == 3


def test_a_tool_shared_with_a_family_is_told() -> None:
    _, found = night(
        timed("mill"), timed("drill", 2), lives={1: 100.0, 2: 100.0}, sisters={1: (2,)}
    )
    assert any("T2 cuts by itself and as a sister" in text for text in found.told)


def test_no_runs_are_told_where_a_time_is_missing() -> None:
    findings = Findings(shop(cut("mill"), stations=ONE), (), QUICK)
    assert findings.night is None


def test_loads_for_an_hour() -> None:
    assert loads_for(3600.0, 900.0) == 4
    assert loads_for(3600.0, 901.0) == 4
    assert loads_for(3600.0, 899.0) == 5
    assert loads_for(3600.0, 7200.0) == 1
