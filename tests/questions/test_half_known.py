"""Missing input never crashes: every entry of the demo cells is taken away in turn.

Each question must still give an answer that keeps its promises: the published schema, a headline, a
next step, and something named to get next where it cannot tell.
"""

from __future__ import annotations

import dataclasses
import functools
import json
import os
from collections.abc import Callable, Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gudgeon.answer import Answer, Verdict
from gudgeon.cell.entry import Shape, entries
from gudgeon.cell.files import load
from gudgeon.cell.model import Cell
from gudgeon.findings import Findings
from gudgeon.findings.programs import ProgramText
from gudgeon.questions import find_questions

DEMO = Path(__file__).parents[2] / "demo"
SHOPS = ("juniper-street", "alder-ford")
Path_ = tuple[str | int, ...]


@functools.cache
def whole(shop: str) -> Cell:
    loaded = load(DEMO / f"{shop}.toml")
    assert loaded.cell is not None
    return loaded.cell


@functools.cache
def validator() -> Any:
    text = files("gudgeon").joinpath("schemas/answer-1.json").read_text(encoding="utf-8")
    return jsonschema.Draft202012Validator(json.loads(text))


def leaves(node: Any, at: Path_ = ()) -> Iterator[Path_]:
    """Yield the place of every entry that is filled, and of every table in a list."""
    for key, declared in entries(type(node)).items():
        found = getattr(node, key)
        if declared.shape is Shape.SECTION:
            yield from leaves(found, (*at, key))
        elif declared.shape is Shape.SECTIONS:
            if found:
                yield (*at, key)
                # The first of a list stands for the others.
                yield from leaves(found[0], (*at, key, 0))
        elif found not in (None, ()):
            yield (*at, key)


def without(node: Any, at: Path_) -> Any:
    """Return the cell with one entry absent."""
    key, rest = at[0], at[1:]
    if isinstance(key, int):
        return (*node[:key], without(node[key], rest), *node[key + 1 :])
    found = getattr(node, key)
    if not rest:
        return dataclasses.replace(
            node,
            **{
                key: ()
                if isinstance(found, tuple)
                and (entries(type(node))[key].shape in (Shape.LIST, Shape.SECTIONS))
                else None
            },
        )
    return dataclasses.replace(node, **{key: without(found, rest)})


PROOFS = {"pays", "fits", "travels", "changes", "order", "clears", "accurate"}
"""Questions that take seconds: with every entry taken away they would take an hour."""

EVERY = int(os.environ.get("GUDGEON_PROOFS_EVERY", "25"))
"""They are asked for each so manieth entry; the nightly run asks for each (1)."""


@functools.cache
def read_by(shop: str, question: str) -> frozenset[Path_]:
    """Return which entries of the whole cell a question looks at.

    What it never looks at cannot change its answer: without it, the same is done step by step.
    """
    loaded = load(DEMO / f"{shop}.toml").cell  # a fresh one: nothing about it is remembered yet
    assert loaded is not None
    owners: dict[int, list[Path_]] = {}
    classes: set[type] = set()

    def walk(node: Any, at: Path_) -> None:
        owners.setdefault(id(node), []).append(at)
        classes.add(type(node))
        for key, declared in entries(type(node)).items():
            found = getattr(node, key)
            if declared.shape is Shape.SECTION:
                walk(found, (*at, key))
            elif declared.shape is Shape.SECTIONS:
                for k, one in enumerate(found):
                    walk(one, (*at, key, k))

    walk(loaded, ())
    seen: set[Path_] = set()

    def looked_at(self: Any, name: str) -> Any:
        seen.update((*at, name) for at in owners.get(id(self), ()))
        return object.__getattribute__(self, name)

    with pytest.MonkeyPatch.context() as patch:
        for one in classes:
            patch.setattr(one, "__getattribute__", looked_at)
        find_questions()[question].answer(Findings(loaded, programs(shop)))
    return frozenset(seen)


def programs(shop: str) -> tuple[ProgramText, ...]:
    """Return the programs of a demo shop as its file names them."""

    def called(number: int) -> bytes | None:
        path = DEMO / f"O{number}.nc"
        return path.read_bytes() if path.exists() else None

    return tuple(
        ProgramText(one.file, (DEMO / one.file).read_bytes(), called)
        for one in whole(shop).programs
        if one.file is not None
    )


def judge(
    cell: Cell,
    *,
    proofs: bool = True,
    run: tuple[ProgramText, ...] = (),
    asked: Callable[[str], bool] = lambda name: True,
) -> dict[str, Answer]:
    findings = Findings(cell, run)
    answers = {
        name: question.answer(findings)
        for name, question in find_questions().items()
        if (proofs or name not in PROOFS) and asked(name)
    }
    for answer in answers.values():
        data = json.loads(json.dumps(answer.as_data(), allow_nan=False))
        validator().validate(data)
        if answer.verdict is Verdict.CANNOT_TELL:
            assert answer.missing
            assert all(item.how_to_get_it and item.why for item in answer.missing)
    return answers


@pytest.mark.parametrize("shop", SHOPS)
def test_one_entry_missing(shop: str) -> None:
    """The second shop is asked only about entries that the first does not have: it takes time."""
    cell = whole(shop)
    places = list(leaves(cell))
    if shop != SHOPS[0]:
        places = sorted(set(places) - set(leaves(whole(SHOPS[0]))), key=str)
    assert len(places) > (100 if shop == SHOPS[0] else 3)
    for number, place in enumerate(places):
        proofs = number % EVERY == 0

        def asked(name: str, at: Path_ = place, all_of_them: bool = proofs) -> bool:
            return all_of_them or name in PROOFS or at in read_by(shop, name)

        try:
            judge(without(cell, place), proofs=proofs, run=programs(shop), asked=asked)
        except Exception as problem:  # name the entry, whatever went wrong
            pytest.fail(f"without {'.'.join(map(str, place))}: {problem!r}")


@pytest.mark.parametrize("question", [name for name in find_questions() if name not in PROOFS])
def test_what_a_question_never_looks_at_does_not_change_its_answer(question: str) -> None:
    """So `test_one_entry_missing` need not ask it for those entries."""
    shop = SHOPS[0]
    cell, read = whole(shop), read_by(shop, question)
    places = list(leaves(cell))
    unread = [place for place in places if place not in read]
    assert 3 < len(unread) < len(places) - 5
    answer = find_questions()[question].answer
    for place in (unread[0], unread[len(unread) // 2], unread[-1]):
        cell = without(cell, place)
    told = answer(Findings(cell, programs(shop))).as_data()
    assert told == answer(Findings(whole(shop), programs(shop))).as_data()


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_many_entries_missing(data: st.DataObject) -> None:
    shop = data.draw(st.sampled_from(SHOPS))
    cell = whole(shop)
    for _ in range(data.draw(st.integers(2, 12))):
        places = list(leaves(cell))
        cell = without(cell, data.draw(st.sampled_from(places)))
    judge(cell, proofs=data.draw(st.integers(0, 9)) == 9, run=programs(shop))


def test_an_empty_cell_is_answered_with_what_to_get_first() -> None:
    for answer in judge(Cell()).values():
        assert answer.verdict is Verdict.CANNOT_TELL


@pytest.mark.parametrize("shop", SHOPS)
def test_the_whole_demo_is_answered(shop: str) -> None:
    """A complete cell leaves nothing open; the verdicts are those of the story of the demo."""
    answers = judge(whole(shop), run=programs(shop))
    verdicts = {name: answer.verdict.value for name, answer in answers.items()}
    told = {
        "alder-ford": {
            "fits": "yes_if",
            "changes": "yes_if",
            "order": "yes_if",
            "accurate": "yes_if",
            "drifted": "no",
        },
        "juniper-street": {
            "axes": "yes_if",
            "turns": "yes_if",
            "offsets": "yes_if",
            "clears": "no",
            "accurate": "yes_if",
            "drifted": "cannot_tell",
        },
    }[shop]
    assert {name: v for name, v in verdicts.items() if v != "yes"} == told
    if shop == "juniper-street":  # the arc beside station 2 passes 0.03 in from the next blank
        assert "0.0337 in" in answers["clears"].headline
        assert "blank at 1" in answers["clears"].headline
