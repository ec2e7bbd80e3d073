"""Chords under tool-point control: the bound holds, and is not bought with needless chords."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from gudgeon.kinematics.chain import AxisLine, TurningAxis, WorkChain
from gudgeon.program.chords import _derivative_bounds, _second_derivatives, tool_point_chords
from gudgeon.program.doubts import Code, Halt
from gudgeon.program.frames import tool_point_joint

from ..kinematics.strategies import angles, chains, points, triple
from .test_frames import PLAIN, UNIT

nan = math.nan
SOME = 100_000


def off_the_path(chain, start, end, p0, p1, length, joints, per_chord=24):
    """Return how far each chord takes the tip, over the work, from the point due at that moment.

    Another way than the module: the tip is brought back by inverse matrices.
    """
    first = [*tool_point_joint(chain, None, p0, start, length), *start]
    corners = np.vstack([first, joints])
    part = np.linspace(0.0, 1.0, per_chord + 1)[:, None, None]
    along = corners[:-1] + part * np.diff(corners, axis=0)  # what a 5-axis line does
    tip = np.concatenate([along[..., :3] - [0, 0, length], np.ones((*along.shape[:-1], 1))], -1)
    over = np.linalg.inv(chain.matrices(along[..., 3:])) @ tip[..., None]
    t = (part[..., 0] + np.arange(len(joints))) / len(joints)
    due = np.asarray(p0) + t[..., None] * np.subtract(p1, p0)
    return np.linalg.norm(over[..., :3, 0] - due, axis=-1).max(axis=0)


def random_move(random: np.random.Generator):
    """Return a skew unit whose lines neither meet nor stand square, and a move."""
    a = np.array([1.0, 0.0, 0.0]) + random.normal(0, 0.1, 3)
    b = np.array([0.0, 0.0, 1.0]) + random.normal(0, 0.1, 3)
    lines = [
        AxisLine(triple(random.uniform(-200, 200, 3)), triple(v / np.linalg.norm(v)))
        for v in (a, b)
    ]
    senses = random.choice([1, -1], 2)
    chain = WorkChain(
        tuple(
            TurningAxis(role, line, int(sense))
            for role, line, sense in zip(("tilt", "rotary"), lines, senses, strict=True)
        )
    )
    start, end = random.uniform(-2.0, 2.0, (2, 2))
    if random.random() < 0.3:
        end[random.integers(2)] = start[random.integers(2)]
    p0, p1 = random.uniform(-150.0, 150.0, (2, 3))
    return chain, start.tolist(), end.tolist(), p0.tolist(), p1.tolist()


def test_the_bound_holds_and_is_not_silly():
    random = np.random.default_rng(31)
    used = []
    for _ in range(60):
        move = random_move(random)
        chord = float(10.0 ** random.uniform(-2.3, 0.5))
        joints = tool_point_chords(*move, 140.0, chord, SOME)
        worst = off_the_path(*move, 140.0, joints).max()
        assert worst <= chord * (1.0 + 1e-9)
        if len(joints) > 3:
            used.append(worst / chord)
    assert len(used) > 40
    assert np.mean(used) > 0.8
    assert min(used) > 0.3


@settings(max_examples=60)
@given(chains(), *[st.tuples(angles, angles)] * 2, points, points, st.floats(0.05, 500.0))
def test_the_bound_holds_for_any_chain(chain, start, end, p0, p1, chord):
    joints = tool_point_chords(chain, start, end, p0, p1, 50.0, chord, SOME)
    worst = off_the_path(chain, start, end, p0, p1, 50.0, joints, per_chord=9).max()
    assert worst <= chord * (1.0 + 1e-9) + 1e-9
    assert joints[-1, 3:].tolist() == list(end)
    assert joints[-1, :3].tolist() == list(tool_point_joint(chain, None, p1, end, 50.0))


def test_only_the_rotary_turns_and_the_slides_run_a_circle():
    """By hand: radius 100, a quarter turn; the chord of an arc h stands off r (1 - cos(h / 2)).

    The fewest chords that stay within 0.01 mm: h = 2 acos(1 - 0.01 / 100), (pi / 2) / h = 55.5.
    """
    joints = tool_point_chords(
        PLAIN, (0.0, 0.0), (0.0, math.pi / 2), (100, 0, 30), (100, 0, 30), 80.0, 0.01, SOME
    )
    assert len(joints) == 56
    turns = np.arange(1, 57) / 56 * math.pi / 2
    assert_allclose(joints[:, 4], turns, rtol=1e-14)
    assert_allclose(joints[:, 0], 100 * np.cos(turns), atol=1e-11)
    assert_allclose(joints[:, 1], 100 * np.sin(turns), atol=1e-11)
    assert_allclose(joints[:, 2], 110.0, rtol=1e-15)
    assert_allclose(joints[:, 3], 0.0)


def test_nothing_turns_one_chord():
    joints = tool_point_chords(
        UNIT, (0.4, 0.2), (0.4, 0.2), (0, 0, 0), (900, 20, 30), 80.0, 1e-9, SOME
    )
    assert joints.shape == (1, 5)
    assert_allclose(joints[0, 3:], (0.4, 0.2), rtol=0)


def test_a_tip_on_the_rotary_line_needs_no_chords():
    """On the line the slides stand still however far it turns; beside it they do not."""
    on = (-381.0, -129.98, 40.0)
    assert len(tool_point_chords(UNIT, (0, 0), (0, 6.0), on, on, 80.0, 1e-6, SOME)) == 1
    beside = (-371.0, -129.98, 40.0)
    assert len(tool_point_chords(UNIT, (0, 0), (0, 6.0), beside, beside, 80.0, 0.01, SOME)) > 50


def test_too_many_chords_halt():
    move = (UNIT, (0.0, 0.0), (0.0, 6.0), (0, 0, 0), (0, 0, 0), 80.0)
    joints = tool_point_chords(*move, 0.01, SOME)
    assert len(tool_point_chords(*move, 0.01, len(joints))) == len(joints)
    for chord, limit in ((0.01, len(joints) - 1), (1e-300, SOME), (0.0, SOME), (nan, SOME)):
        with pytest.raises(Halt) as caught:
            tool_point_chords(*move, chord, limit, 7)
        assert (caught.value.code, caught.value.column) == (Code.TOO_MUCH, 7)
        assert caught.value.detail == (("limit", limit),)


def test_more_chords_than_are_worked_out_at_a_time():
    """Slabs join without a seam: the chords are equal steps of the angle."""
    joints = tool_point_chords(
        PLAIN, (0.0, 0.0), (0.0, 6.0), (300, 0, 0), (300, 0, 0), 0.0, 3e-9, 1_000_000
    )
    assert len(joints) > 100_000
    assert_allclose(np.diff(joints[:, 4]), 6.0 / len(joints), rtol=1e-8)
    assert_allclose(joints[:, 0], 300 * np.cos(joints[:, 4]), atol=1e-10)


def test_what_is_not_known_gives_one_chord_that_says_so():
    known = ((0.0, 0.0), (0.5, 0.5), (0, 0, 0), (1, 2, 3))
    start_unknown = tool_point_chords(UNIT, (nan, 0.0), *known[1:], 80.0, 0.01, SOME)
    assert start_unknown.shape == (1, 5)
    assert_allclose(start_unknown[0, :3], tool_point_joint(UNIT, None, (1, 2, 3), (0.5, 0.5), 80.0))
    end_unknown = tool_point_chords(UNIT, *known[:3], (1, nan, 3), 80.0, 0.01, SOME)
    assert end_unknown.shape == (1, 5)
    assert np.isnan(end_unknown[0, :3]).all()
    assert_allclose(end_unknown[0, 3:], (0.5, 0.5))
    length_unknown = tool_point_chords(UNIT, *known, nan, 0.01, SOME)
    assert np.isnan(length_unknown[:, 2]).all()
    assert np.isfinite(length_unknown[:, [0, 1, 3, 4]]).all()


def test_a_chain_without_the_axis_that_turns():
    tilt_only = WorkChain(UNIT.axes[:1])
    joints = tool_point_chords(tilt_only, (0.0, 0.0), (0.0, 3.0), (1, 2, 3), (4, 5, 6), 7, 0.01, 9)
    assert_allclose(joints, [[4, 5, 13, 0, 3]], atol=1e-12)


@settings(max_examples=60)
@given(chains(), *[st.tuples(angles, angles)] * 2, points, points)
def test_bends_are_the_true_derivatives_and_stay_below_their_bounds(chain, start, end, p0, p1):
    """Against differences of the path itself, by the pose map alone."""
    rates = np.subtract(end, start)
    step = 1e-3

    def path(t):
        return chain.points(np.asarray(start) + t[:, None] * rates, p0 + t[:, None] * (p1 - p0))

    t = np.linspace(0.05, 0.95, 19)
    before, at, after = path(t - step), path(t), path(t + step)
    second = np.linalg.norm(before - 2 * at + after, axis=1) / step**2
    third = path(t + 2 * step) - 2 * after + 2 * before - path(t - 2 * step)
    found = _second_derivatives(chain, np.asarray(start), rates, p0, p1 - p0, t)
    bound_2, bound_3 = _derivative_bounds(chain, np.asarray(start), rates, p0, p1)
    doubt = 1e-3 * bound_2 + 1e-3
    assert_allclose(found, second, atol=doubt)
    assert found.max() <= bound_2 * (1 + 1e-9) + 1e-9
    assert np.linalg.norm(third, axis=1).max() / (2 * step**3) <= 1.001 * bound_3 + 0.1


def test_the_bound_counts_how_far_the_first_turn_carries_the_tip():
    """By hand: rotary line 100 beside the tilt line, the tip on the tilt line, 100 from the rotary.

    Half a turn later it is 200 from the tilt line, and both pull the same way: 200 w^2 + 100 pi^2.
    """
    beside = AxisLine((0.0, 100.0, 0.0), (0.0, 0.0, 1.0))
    chain = WorkChain((PLAIN.axes[0], TurningAxis("rotary", beside, 1)))
    rates, tip = np.array([10.0, math.pi]), np.zeros(3)
    pull = 200.0 * 10.0**2 + 100.0 * math.pi**2
    found = _second_derivatives(chain, np.zeros(2), rates, tip, np.zeros(3), np.ones(1))
    assert_allclose(found, pull, rtol=1e-12)
    assert _derivative_bounds(chain, np.zeros(2), rates, tip, tip)[0] >= pull


huge = st.floats(allow_nan=True, allow_infinity=True)
triples = st.tuples(huge, huge, huge)


@given(*[st.tuples(huge, huge)] * 2, triples, triples, huge, huge)
def test_no_number_raises_anything_but_a_halt(start, end, p0, p1, length, chord):
    try:
        joints = tool_point_chords(UNIT, start, end, p0, p1, length, chord, 500)
    except Halt as halt:
        assert halt.code is Code.TOO_MUCH
    else:
        assert 1 <= len(joints) <= 500
