"""Programs of our own beside a second opinion: random cells, every offered move sampled.

The text of a program is walked by a few lines of its own, and gaps are measured by python-fcl on
bodies built from the cell file anew: nothing is shared with what proved the program.
"""

from __future__ import annotations

import math
import os
import re
from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

pytest.importorskip("fcl", reason="the second opinion measures with python-fcl")

from gudgeon.cell.files import load_text
from gudgeon.cell.model_control import Position
from gudgeon.findings import Findings
from gudgeon.findings.cleared import Judged
from gudgeon.findings.programs import ProgramText
from gudgeon.findings.written import Written
from gudgeon.findings.written_proof import WrittenFindings
from gudgeon.program.dialect import UNKNOWN
from gudgeon.program.reader import read
from gudgeon.program.track import Ended, Kind
from gudgeon.quantity.amount import Amount
from tests.clearance.random_cells import Maker
from tests.clearance.second_opinion import Judge, Reference, Thing, bar, value

Floats = NDArray[np.float64]

MOST = int(os.environ.get("GUDGEON_WRITTEN_SEEN", "3"))
POSES = 6
"""Poses on each move, and with each thing in the spindle."""

SLACK_MM = 1e-6
BAR = 99


@dataclass
class Shop:
    """A random cell, with what the tests need of it."""

    text: str
    maker: Maker
    rng: np.random.Generator
    words: dict[str, str]
    turns: str | None

    @property
    def findings(self) -> Findings:
        loaded = load_text(self.text, models=lambda name, _: self.maker.models[name])
        assert loaded.cell is not None, loaded.faults
        return Findings(loaded.cell)

    @property
    def reference(self) -> Reference:
        return Reference(self.text, self.maker.model_parts)


def made(seed: int) -> Shop:
    """Return a random cell whose Z ends lower, with other words, checks and rules."""
    maker = Maker(seed)
    text = maker.cell()
    rng = np.random.default_rng(seed + 1)
    top = float(rng.uniform(-200.0, 120.0))
    text = re.sub(r"(?m)^travel_z = .*$", f"travel_z = {maker.ends(-600, top)}", text)
    if rng.random() < 0.3:
        low = float(rng.integers(-200, 0))
        turns = f'rotary_range = ["{low} deg", "{low + rng.integers(200, 500)} deg"]'
        text = text.replace("[unit]\n", f"[unit]\n{turns}\n")
    words = {
        "rapid_word": str(rng.choice(["G0", "G100"])),
        "machine_word": str(rng.choice(["G53", "G153"])),
        "stop_word": str(rng.choice(["M0", "M11"])),
        "end_word": str(rng.choice(["M30", "M2"])),
    }
    rule = str(rng.choice(["as written", "shortest way", "positive way", ""]))
    style = str(rng.choice(["( )", ";", ""]))
    more = [f'{name} = "{word}"' for name, word in words.items()]
    more += [f'rotary_turns = "{rule}"'] if rule else []
    more += [f'comment = "{style}"'] if style else []
    text = text.replace('rotary_turns = "as written"', "\n".join(more))
    for k in range(int(rng.integers(1, 4))):
        tilt, turn = (float(rng.integers(-9, 10)) * 10.0 for _ in range(2))
        text += (
            f'[[checks]]\nname = "ball {k}"\nfeature = "ball"\n'
            f'pose = ["{tilt} deg", "{max(turn, 0.0)} deg"]\n'
            f"at = {maker.three(float(rng.uniform(-80, 80)), float(rng.uniform(-80, 80)), 10.0)}\n"
        )
    return Shop(text, maker, rng, words, rule or None)


# --- the text, walked -------------------------------------------------------------------------


def targets(shop: Shop, lines: list[str]) -> list[tuple[dict[int, float], bool]]:
    """Return for each block where it goes, and whether it is a stop."""
    letters = {"X": 0, "Y": 1, "Z": 2, shop.maker.tilt_letter: 3, "C": 4}
    found, unit = [], 1.0
    for line in lines:
        block = re.sub(r"\(.*?\)", "", line).split(";")[0]
        words = block.split()
        if "G20" in words or "G21" in words:
            unit = 25.4 if "G20" in words else 1.0
        if shop.words["machine_word"] in words:
            assert words[1] == shop.words["rapid_word"]
            move = {
                letters[word[0]]: float(word[1:])
                * (unit if word[0] in "XYZ" else math.radians(1.0))
                for word in words[2:]
            }
            found.append((move, False))
        elif words == [shop.words["stop_word"]]:
            found.append(({}, True))
        else:
            # Nothing else may hold a coordinate.
            assert not any(word[0] in letters for word in words), line
    return found


def ends_of_turn(shop: Shop, at: float, to: float) -> list[float]:
    """Return where a turn may end, by the rule of the control."""
    around = math.remainder(to - at, 2.0 * math.pi)
    short = "rotary_range" in shop.text and shop.turns is None and turn_range(shop) < 2.0 * math.pi
    if shop.turns == "as written" or short:
        return [to]
    if shop.turns == "shortest way":
        return [at + around]
    if shop.turns == "positive way":
        return [at + (around % (2.0 * math.pi))]
    return [at + around, at + around - math.copysign(2.0 * math.pi, around or 1.0)]


def turn_range(shop: Shop) -> float:
    low, high = shop.reference.cell["unit"]["rotary_range"]
    return value(high) - value(low)


def poses_on(shop: Shop, written: Written, *, either: float = 0.0) -> list[Floats]:
    """Return poses on the way of one run from a random start, each axis at its own pace."""
    rng = shop.rng
    low, high = np.array(written.start_low), np.array(written.start_high)

    def begin() -> Floats:
        share = np.where(rng.random(5) < 0.5, np.round(rng.random(5)), rng.random(5))
        return np.asarray(low + share * (high - low))

    at, found = begin(), []
    stops = 0
    for move, stop in targets(shop, [line for line, _ in written.lines]):
        stops += stop
        if stop and stops > 1 and written.name == "check-path":
            # Moved by hand, but not out of the range that is stated for the start.
            by = at[:2] + rng.uniform(-50.8, 50.8, 2)
            at = np.array([*np.clip(by, low[:2], high[:2]), *at[2:]])
        ends = []
        for turn in ends_of_turn(shop, at[4], move[4]) if 4 in move else [at[4]]:
            end = at.copy()
            for joint, target in move.items():
                end[joint] = turn if joint == 4 else target
            ends.append(end)
        for end in ends:
            for _ in range(POSES if move else 1):
                pose = at + rng.random(5) * (end - at)
                if either:
                    pose[3:] = rng.uniform(-either, either, 2)
                found.append(pose)
        at = ends[int(rng.integers(len(ends)))]
    return found


def faults_of(shop: Shop, written: Written) -> list[str]:
    """Return every sampled pose of a program that is closer than asked."""
    reference, need = shop.reference, shop.maker.need
    nose = [one for one in reference.tools[1] if one.role == "nose"]
    length = re.search(r"longer than (\S+) (mm|in) or thicker than (\S+)", written.start)
    empty = -1
    reference.tools[empty] = nose
    if length:
        unit = 25.4 if length[2] == "in" else 1.0
        long, radius = float(length[1]) * unit, 0.5 * float(length[3]) * unit
        solid = bar(reference.zero, (0, 0, -long), (0, 0, 0), radius, radius)
        reference.tools[BAR] = [Thing("bar", "head", "holder", [solid]), *nose]
        hands = [BAR]
    else:
        hands = [empty] if written.empty_spindle else [1, 2, empty]
    found = []
    for hand in hands:
        pairs = reference.pairs(hand, cutting=False, turning=True, drop=lambda _: False)
        judge = Judge(reference, pairs)
        either = math.radians(5.0) if written.name == "jog-test" else 0.0
        for pose in poses_on(shop, written, either=either):
            gap, which = judge.gap(pose, need)
            if which >= 0 and gap < need - SLACK_MM:
                names = judge.pairs[which][0].name, judge.pairs[which][2].name
                found.append(f"{written.name}: {gap:.3f} of {need} between {names} at {pose}")
    return found


def all_of(findings: Findings) -> list[Written]:
    return [findings.jog_test, findings.warm_up, findings.check_path]


# --- what must hold ---------------------------------------------------------------------------

HURRY = settings(max_examples=MOST, suppress_health_check=list(HealthCheck))


@HURRY
@given(st.integers(0, 100_000))
def test_what_is_offered_keeps_the_clearance_wherever_it_is_sampled(seed: int) -> None:
    shop = made(seed)
    findings = shop.findings
    for written in all_of(findings):
        assert bool(written.lines) is not bool(written.refused)
        if written.lines:
            assert faults_of(shop, written) == []
            assert read_otherwise(shop, findings, written) == []


def read_otherwise(shop: Shop, findings: Findings, written: Written) -> list[str]:
    """Return where the reader of all programs goes elsewhere than the text says."""
    text = written.text_under("Shop (of % odd; signs)", "9 March").encode("ascii")
    control = findings.control_for(text)
    track = read(text, replace(control.dialect, start=UNKNOWN))
    rows = [row for row in track.segments if row["kind"] == Kind.RAPID]
    meant = [move for move, _ in targets(shop, [line for line, _ in written.lines]) if move]
    if track.ended is not Ended.BY_WORD or len(rows) != len(meant):
        return [f"{written.name}: {track.ended} with {len(rows)} of {len(meant)} moves"]
    return [
        f"{written.name}: line {row['line']} goes to {row['end']}"
        for row, move in zip(rows, meant, strict=True)
        for joint, target in move.items()
        if abs(turned(joint, float(row["end"][joint]) - target)) > 1e-6
    ]


def turned(joint: int, by: float) -> float:
    return math.remainder(by, 2.0 * math.pi) if joint == 4 else by


@HURRY
@given(st.integers(0, 100_000))
def test_a_body_put_into_the_path_is_never_overlooked(seed: int) -> None:
    shop = made(seed)
    for written in all_of(shop.findings):
        if not written.lines:
            continue
        path = poses_on(shop, written)
        pose = path[int(shop.rng.integers(len(path)))]
        crowded = replace(shop, text=shop.text + post_at(shop, pose))
        reference = crowded.reference
        pairs = reference.pairs(1, cutting=False, turning=True, drop=lambda _: False)
        assert Judge(reference, pairs).gap(pose)[0] == 0.0
        findings = crowded.findings
        again = {one.name: one for one in all_of(findings)}[written.name]
        if again.lines:  # another start, or the empty spindle
            assert again.lines != written.lines or again.start != written.start
            assert faults_of(crowded, again) == []


def post_at(shop: Shop, pose: Floats) -> str:
    """Return a small block on the table, in the way of whatever hangs in the spindle there."""
    ends = shop.maker.ends
    x, y, z = pose[:3].tolist()
    return (
        '[[solids]]\nname = "post"\ncounts_as = "fixture"\nshape = "box"\n'
        'carried_by = "table"\n'
        f'measured_from = "machine"\nx = {ends(x - 10, x + 10)}\ny = {ends(y - 10, y + 10)}\n'
        f"z = {ends(z - 15, z + 5)}\n"
    )


@pytest.mark.parametrize("seed", [4])
def test_a_proof_left_out_is_seen(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """A comparison that could not fail would show nothing."""
    monkeypatch.setattr(WrittenFindings, "_met_on_the_way", lambda *_: "")
    shop = made(seed)
    assert any(faults_of(shop, written) for written in all_of(shop.findings) if written.lines)


@pytest.mark.parametrize("seed", [3, 11])
def test_clears_finds_every_block_clear(seed: int) -> None:
    """The question for all programs, asked about ours from the corners of the stated start."""
    shop = made(seed)
    findings = shop.findings
    for written in (findings.jog_test, findings.warm_up):
        assert written.lines
        text = written.text.encode("ascii")
        for joints in (written.start_low, written.start_high):
            x, y, z, tilt, turn = (Amount(one) for one in joints)
            control = replace(
                findings.cell.control,
                start=Position(x, y, z, tilt, turn),
                tool_at_start=None if written.empty_spindle else 1,
            )
            started = Findings(replace(findings.cell, control=control))
            judged = started.cleared(ProgramText("own.nc", text))
            worst = max(judged.rows.items(), key=lambda item: item[1].judged.rank, default=None)
            if written.empty_spindle:
                continue
            assert worst is None or worst[1].judged is Judged.CLEAR, (written.name, worst)
            assert judged.proven > 0 and judged.next_run == ()
