"""What is accepted: every figure with a limit, the first part, and nothing that cannot be told."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import pytest

from gudgeon.answer import Answer, Figure, Missing, Verdict
from gudgeon.findings import Findings
from gudgeon.findings.first_part import first_part
from gudgeon.quantity.spread import probability_below
from gudgeon.sheets._accept import ASKED, LABELS, accept
from gudgeon.sheets.known import Known
from gudgeon.sheets.shape import Block, Grid, Steps, Words


def grid(blocks: tuple[Block, ...], name: str) -> list[dict[str, str]]:
    for block in blocks:
        if isinstance(block, Grid) and block.name == name:
            heads = [head.name for head in block.heads]
            return [dict(zip(heads, row, strict=True)) for row in block.rows]
    raise KeyError(name)


def lacks(blocks: tuple[Block, ...]) -> list[str]:
    return [one.text for one in blocks if isinstance(one, Words) and one.role == "lack"]


def boxes(blocks: tuple[Block, ...]) -> list[str]:
    steps = [step for block in blocks if isinstance(block, Steps) for step in block.steps]
    return [box.name for step in steps for box in step.boxes]


@pytest.mark.parametrize("cell", ["alder-ford", "juniper-street", "half-filled"])
def test_every_figure_with_a_limit_stands_on_the_sheet(
    cell: str, known: Callable[[str], Known]
) -> None:
    facts = known(cell)
    blocks, _ = accept(facts)
    wanted = []
    for name, words in ASKED:
        answer = facts.answer(name)
        if answer.verdict is not Verdict.CANNOT_TELL:
            wanted += [
                (words, LABELS.get(one.name, one.label))
                for one in answer.figures
                if one.limit is not None
            ]
    told = grid(blocks, "accept_figures") if wanted else []
    assert [(row["about"], row["figure"]) for row in told] == wanted


def with_answer(facts: Known, name: str, **changes: object) -> Known:
    answers = {one: facts.answer(one) for one in (*dict(ASKED), "drifted")}
    answers[name] = replace(answers[name], **changes)
    return Known(facts.findings, answers)


def passed(facts: Known) -> Known:
    """Return the same with nothing moved."""
    return with_answer(facts, "drifted", verdict=Verdict.YES)


def test_nobody_signs_while_something_cannot_be_told(known: Callable[[str], Known]) -> None:
    good = passed(known("alder-ford"))
    cell = good.findings.cell
    # The demo's widest dimension leaves no room: without it all can be accepted.
    plain = Findings(replace(cell, dimensions=cell.dimensions[1:]))
    signed = Known(plain, {**good.answers, "accurate": good.answers["accurate"]})
    blocks, missing = accept(signed)
    assert not lacks(blocks)
    assert not missing
    assert boxes(blocks) == ["accepted_date", "accepted_by"]
    entry = Missing("a reading", "cell.toml: unit.mass", "why", "weigh it")
    told = with_answer(signed, "holds", verdict=Verdict.CANNOT_TELL, missing=(entry,))
    blocks, missing = accept(told)
    assert entry in missing
    assert any("a reading" in text for text in lacks(blocks))
    assert boxes(blocks) == []
    refused = with_answer(signed, "holds", verdict=Verdict.NO)
    blocks, _ = accept(refused)
    assert boxes(blocks) == []
    assert any("Is it strong enough" in text for text in lacks(blocks))


def test_what_moved_is_not_accepted(known: Callable[[str], Known]) -> None:
    facts = known("alder-ford")
    assert facts.answer("drifted").verdict is Verdict.NO
    blocks, _ = accept(facts)
    assert any("still stand" in text for text in lacks(blocks))
    assert boxes(blocks) == []


@pytest.mark.parametrize(
    ("value", "sure", "kind", "kept"),
    [
        (1.0, None, "max", "yes"),
        (2.0, None, "max", "yes"),
        (2.01, None, "max", "not yet"),
        (1.9, 0.2, "max", "not sure"),
        (2.1, 0.2, "max", "not sure"),
        (2.0, None, "min", "yes"),
        (1.7, 0.2, "min", "not yet"),
        (2.3, 0.2, "min", "yes"),
    ],
)
def test_a_figure_is_kept_with_its_uncertainty(
    value: float, sure: float | None, kind: str, kept: str, known: Callable[[str], Known]
) -> None:
    facts = known("alder-ford")
    one = Figure("x", "x", value, "mm", sure, 2.0, kind)  # type: ignore[arg-type]
    answer: Answer = facts.answer("holds")
    blocks, _ = accept(with_answer(facts, "holds", figures=(one,)))
    row = next(r for r in grid(blocks, "accept_figures") if r["figure"] == "x")
    assert row["kept"] == kept
    assert answer.figures


@pytest.mark.parametrize("cell", ["alder-ford", "juniper-street"])
def test_a_first_part_on_its_limit_leaves_room_for_the_next(
    cell: str, known: Callable[[str], Known]
) -> None:
    """Closed form: of a part off by e the next is off by e, with twice the variance of one."""
    sizes = first_part(known(cell).findings)
    assert sizes
    for one in sizes:
        dimension = one.found.outcome.dimension
        if dimension.directions == 2 or not one.possible:
            continue
        u = one.found.plus_minus / 2.0 * math.sqrt(1.0 - one.found.outcome.set_up_share)
        for first in (one.low, one.high):
            inside = probability_below(dimension.high, first, math.sqrt(2.0) * u)
            inside -= probability_below(dimension.low, first, math.sqrt(2.0) * u)
            assert inside >= 0.95
        further = one.high + 0.5 * one.scatter
        assert probability_below(dimension.high, further, math.sqrt(2.0) * u) < 0.95


def test_a_cell_without_dimensions_says_so(known: Callable[[str], Known]) -> None:
    good = passed(known("alder-ford"))
    bare = Known(Findings(replace(good.findings.cell, dimensions=())), dict(good.answers))
    blocks, missing = accept(bare)
    assert any(item.where.endswith(": dimensions") for item in missing)
    assert boxes(blocks) == []
