"""What is kept of a proof rests on exactly what it used, and nothing spoilt is believed."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest

from gudgeon.answer import Answer, Verdict
from gudgeon.findings import cleared_kept

from .test_clears import BACK, HEAD, Memory, asked

PROGRAM = f"{HEAD}G0 Z200\nG0 Z7\nG1 X5 F100\n{BACK}"
KEPT = "The proof was kept from before"

CHANGES: dict[str, tuple[str, str]] = {
    "length of the tool": ('length = "100 mm"', 'length = "100.001 mm"'),
    "diameter of its holder": ('holder_diameter = "40 mm"', 'holder_diameter = "40.001 mm"'),
    "where its flutes end": (
        'stickout = "50 mm"\nholder',
        'stickout = "50 mm"\nflute_length = "49.9 mm"\nholder',
    ),
    "spindle nose": ('nose_diameter = "80 mm"', 'nose_diameter = "80.01 mm"'),
    "one body": ('height = "100 mm"', 'height = "100.0001 mm"'),
    "a body more": (
        "[placement]",
        '[[unit.boxes]]\nname = "lug"\nx = ["200 mm", "210 mm"]\ny = ["0 mm", "9 mm"]\n'
        'z = ["-9 mm", "0 mm"]\nturns_with = "base"\n[placement]',
    ),
    "what carries it": ('gauge_to_table = "600 mm"', 'gauge_to_table = "600.01 mm"'),
    "axis line": ('axis_offset = "0 mm"', 'axis_offset = "0.001 mm"'),
    "sense": ("rotary_sense = -1", "rotary_sense = 1"),
    "uncertainty of the lines": ('centre_x = "-300 mm"', 'centre_x = "-300 +- 0.01 mm"'),
    "clearance asked": ('clearance = "1 mm"', 'clearance = "1.0001 mm"'),
    "path of rapids": ('rapids = "straight"', 'rapids = "each axis alone"'),
    "work offset": ('z = "-300 mm"', 'z = "-300.001 mm"'),
    "start": ('z = "0 mm"\ntilt', 'z = "-1 mm"\ntilt'),
}


@pytest.fixture(scope="module")
def proven() -> Memory:
    memory = Memory()
    assert asked(PROGRAM, keep=memory).verdict is Verdict.YES
    return memory


def again(proven: Memory, *changed: tuple[str, str], program: str = PROGRAM) -> Answer:
    copy = Memory()
    copy.held = dict(proven.held)
    return asked(program, *changed, keep=copy)


def is_kept(answer: Answer) -> bool:
    return any(KEPT in words or "proven before" in words for words in answer.cautions)


def test_the_same_program_and_cell_find_it(proven: Memory) -> None:
    assert is_kept(again(proven))


@pytest.mark.parametrize("what", CHANGES)
def test_a_change_of_what_it_used_makes_it_new(proven: Memory, what: str) -> None:
    assert not is_kept(again(proven, CHANGES[what]))


def test_a_change_of_what_it_did_not_use_leaves_it(proven: Memory) -> None:
    other_tool = ('number = 2\nlength = "180 mm"', 'number = 2\nlength = "190 mm"')
    assert is_kept(again(proven, other_tool))
    assert is_kept(again(proven, program=PROGRAM.replace("G1 X5", "(a remark)\nG1 X5")))
    assert is_kept(again(proven, program=PROGRAM.replace("F100", "F90")))


def test_a_change_of_the_program_makes_it_new(proven: Memory) -> None:
    assert not is_kept(again(proven, program=PROGRAM.replace("X5", "X5.001")))


@pytest.mark.parametrize("name", ["EDITION", "__version__"])
def test_another_edition_of_the_engine_makes_it_new(
    proven: Memory, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    other = cleared_kept.EDITION + 1 if name == "EDITION" else "99.0"
    monkeypatch.setattr(cleared_kept, name, other)
    assert not is_kept(again(proven))


def _edited(edit: Callable[[Any], object]) -> Callable[[bytes], bytes]:
    def spoil(data: bytes) -> bytes:
        held = json.loads(data)
        edit(held)
        return json.dumps(held).encode()

    return spoil


SPOILT: dict[str, Callable[[bytes], bytes]] = {
    "half of it": lambda data: data[: len(data) // 2],
    "nothing in it": lambda data: b"",
    "no text": lambda data: b"\xff\xfe\x00",
    "a list": lambda data: b"[1, 2]",
    "nested too deep": lambda data: b"[" * 100_000,
    "another key": _edited(lambda held: held.update(key="0" * 64)),
    "a verdict changed": lambda data: data.replace(b'"clear"', b'"crash"', 1),
    "a gap changed": _edited(
        lambda held: next(iter(held["proven"][1].values())).__setitem__(1, 77.0)
    ),
    "all of it clear": _edited(lambda held: held["proven"].__setitem__(0, [[0, 5]])),
    "more than there is": _edited(lambda held: held["proven"].__setitem__(0, [[0, 10**15]])),
    "a later form": _edited(lambda held: held.update(proven={"runs": []})),
}


@pytest.mark.parametrize("how", SPOILT)
def test_what_is_spoilt_is_not_believed(proven: Memory, how: str) -> None:
    spoilt = Memory()
    spoilt.held = {key: SPOILT[how](data) for key, data in proven.held.items()}
    assert all(spoilt.held[key] != data for key, data in proven.held.items())
    got = asked(PROGRAM, keep=spoilt)
    assert not is_kept(got) and got.verdict is Verdict.YES
    assert is_kept(asked(PROGRAM, keep=spoilt))  # and is put right


def test_the_tightest_of_a_long_program_is_kept_with_it() -> None:
    lines = "".join(f"G0 Z{20 + k % 13}\n" for k in range(600))
    program = f"{HEAD}G0 Z100\n{lines}{BACK}"
    memory = Memory()
    first, second = asked(program, keep=memory), asked(program, keep=memory)
    assert is_kept(second)
    assert second.figures == first.figures and second.tables == first.tables
