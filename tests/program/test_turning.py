"""Which way round: cases by hand, laws of each rule, and what the undeclared rule leaves open."""

from __future__ import annotations

from math import degrees, inf, isnan, nan, pi, radians

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gudgeon.program.dialect import TurningRule
from gudgeon.program.turning import RULE_NUMBER, turn_to

WRITTEN, SHORTEST, POSITIVE, BY_SIGN, UNKNOWN = (
    RULE_NUMBER[rule]
    for rule in (
        TurningRule.AS_WRITTEN,
        TurningRule.SHORTEST,
        TurningRule.POSITIVE,
        TurningRule.BY_SIGN,
        TurningRule.UNKNOWN,
    )
)


def turned(rule: int, now: float, wanted: float) -> tuple[float, bool]:
    target, either_way = turn_to(rule, radians(now), radians(wanted))
    return round(degrees(target), 6), either_way


def test_every_rule_has_its_own_number() -> None:
    assert set(RULE_NUMBER) == set(TurningRule)
    assert len(set(RULE_NUMBER.values())) == len(TurningRule)


@pytest.mark.parametrize(
    ("rule", "now", "wanted", "target"),
    [
        # By hand, from the words of each rule.
        (WRITTEN, 350, 10, 10),
        (WRITTEN, 10, 370, 370),
        (WRITTEN, 0, -90, -90),
        (SHORTEST, 350, 10, 370),
        (SHORTEST, 10, 350, -10),
        (SHORTEST, 0, 370, 10),
        (SHORTEST, 725, 90, 810),
        (SHORTEST, -725, 90, -630),
        (SHORTEST, 0, -170, -170),
        (SHORTEST, 0, 190, -170),
        (POSITIVE, 350, 10, 370),
        (POSITIVE, 10, 350, 350),
        (POSITIVE, 10, 5, 365),
        (POSITIVE, 0, -90, 270),
        (POSITIVE, 30, 390, 30),
        (BY_SIGN, 350, 10, 370),
        (BY_SIGN, 350, -10, 10),
        (BY_SIGN, 0, -90, -270),
        (BY_SIGN, 0, 90, 90),
        (BY_SIGN, 100, 90, 450),
        (BY_SIGN, 100, -90, 90),
        (BY_SIGN, 100, -0.0, 0),
        (BY_SIGN, 100, 0.0, 360),
        (BY_SIGN, 90, -90, 90),
        (BY_SIGN, 90, -450, 90),
        (BY_SIGN, 0, 270, 270),
        (BY_SIGN, 270, -180, 180),
    ],
)
def test_declared_rules_by_hand(rule: int, now: float, wanted: float, target: float) -> None:
    assert turned(rule, now, wanted) == (target, False)


@pytest.mark.parametrize(("now", "wanted"), [(0, 180), (0, -180), (90, 270), (270, 90), (10, 550)])
def test_half_a_turn_by_the_shortest_way_is_either_way(now: float, wanted: float) -> None:
    assert turned(SHORTEST, now, wanted) == (now + 180, True)


@given(st.floats(-2000.0, 2000.0), st.sampled_from([pi, -pi, 3 * pi]), st.floats(-5e-10, 5e-10))
def test_rounding_does_not_choose_the_side_of_half_a_turn(
    now: float, half: float, off: float
) -> None:
    target, either_way = turn_to(SHORTEST, now, now + half + off)

    assert target == pytest.approx(now + pi, abs=1e-9)
    assert either_way


@pytest.mark.parametrize("off", [1e-8, -1e-8])
def test_a_hair_from_half_a_turn_is_decided(off: float) -> None:
    target, either_way = turn_to(SHORTEST, 0.0, pi + off)

    assert target == pytest.approx(pi + off if off < 0 else off - pi, abs=1e-12)
    assert not either_way


@pytest.mark.parametrize("rule", [SHORTEST, POSITIVE, BY_SIGN])
@pytest.mark.parametrize("turns", [-3, 0, 5])
@pytest.mark.parametrize("off", [0.0, 1e-11, -1e-11])
def test_already_there_stays_exactly(rule: int, turns: int, off: float) -> None:
    now = 1.25 + 2 * pi * turns

    assert turn_to(rule, now, 1.25 + off) == (now, False)


# --- the rule that is not declared --------------------------------------------------------------


@pytest.mark.parametrize(("now", "wanted"), [(0, 90), (0, 179), (90, 120), (270, 300), (0, 0)])
def test_where_all_rules_agree_nothing_is_in_doubt(now: float, wanted: float) -> None:
    assert turned(UNKNOWN, now, wanted) == (wanted, False)


@pytest.mark.parametrize(
    ("now", "wanted"),
    [
        (350, 10),  # on past 360 or all the way back
        (10, 350),
        (0, 180),  # the shortest way is either
        (0, -90),  # by the sign it is 90, from the other side
        (90, 0),  # the positive way goes on to 360
        (0, 360),  # a whole turn or nothing
        (0, 370),  # design: A370 and C350 to C10
        (90, -0.0),
        (300, -10),
        (-180, -90),  # only the sign says otherwise
    ],
)
def test_where_rules_differ_the_way_is_in_doubt(now: float, wanted: float) -> None:
    assert turned(UNKNOWN, now, wanted) == (wanted, True)


@pytest.mark.parametrize("angle", [-90.0, 0.0, 90.0, 370.0])
def test_the_same_word_again_moves_nothing(angle: float) -> None:
    assert turned(UNKNOWN, angle, angle) == (angle, False)


angles = st.floats(-2000.0, 2000.0)


@given(angles, angles)
def test_not_declared_is_in_doubt_exactly_where_a_rule_would_differ(
    now: float, wanted: float
) -> None:
    now, wanted = radians(now), radians(wanted)
    ends = [turn_to(rule, now, wanted) for rule in (SHORTEST, POSITIVE, BY_SIGN)]
    differs = any(abs(target - wanted) > 1e-9 or either for target, either in ends)

    target, either_way = turn_to(UNKNOWN, now, wanted)

    assert target == wanted
    assert either_way == (differs and abs(now - wanted) > 1e-9)


# --- laws ---------------------------------------------------------------------------------------


def off_a_turn(angle: float) -> float:
    """Return the distance from a whole number of turns [rad]."""
    return abs(angle - 2 * pi * round(angle / (2 * pi)))


@given(angles, angles)
def test_every_rule_ends_at_the_angle_written(now: float, wanted: float) -> None:
    for rule in (WRITTEN, SHORTEST, POSITIVE):
        assert off_a_turn(turn_to(rule, now, wanted)[0] - wanted) < 2e-9
    assert off_a_turn(turn_to(BY_SIGN, now, wanted)[0] - abs(wanted)) < 2e-9


@given(angles, angles)
def test_each_rule_keeps_its_way_and_its_bound(now: float, wanted: float) -> None:
    assert abs(turn_to(SHORTEST, now, wanted)[0] - now) <= pi + 1e-9
    assert 0.0 <= turn_to(POSITIVE, now, wanted)[0] - now < 2 * pi
    ahead = turn_to(BY_SIGN, now, abs(wanted))[0] - now
    back = turn_to(BY_SIGN, now, -abs(wanted))[0] - now
    assert 0.0 <= ahead < 2 * pi
    assert -2 * pi < back <= 0.0


@given(angles, angles, st.integers(-50, 50))
def test_a_whole_turn_more_on_the_start_is_a_whole_turn_more_at_the_end(
    now: float, wanted: float, turns: int
) -> None:
    for rule in (SHORTEST, POSITIVE, BY_SIGN):
        here, either = turn_to(rule, now, wanted)
        there, other = turn_to(rule, now + 2 * pi * turns, wanted)
        # Rounding may tip a tie between nothing and a whole turn, or between two halves.
        near = min(off_a_turn(now - wanted), off_a_turn(now - abs(wanted))) < 1e-8
        half = abs(off_a_turn(now - wanted) - pi) < 1e-8
        if not (near or half):
            assert there - here == pytest.approx(2 * pi * turns, abs=1e-8)
            assert either == other


# --- not known ----------------------------------------------------------------------------------


@pytest.mark.parametrize("now", [nan, inf, -inf, 1e300])
def test_start_not_known(now: float) -> None:
    assert turn_to(WRITTEN, now, 1.0) == (1.0, False)
    for rule in (SHORTEST, POSITIVE, BY_SIGN, UNKNOWN):
        assert turn_to(rule, now, 1.0) == (1.0, True)


@pytest.mark.parametrize("rule", RULE_NUMBER.values())
def test_end_not_known_spreads(rule: int) -> None:
    target, either_way = turn_to(rule, 0.0, nan)

    assert isnan(target)
    assert not either_way


def test_source_needs_nothing_but_plain_numbers() -> None:
    """The compiled reader takes this text as it is: no other function of ours, no object."""
    ours = {name for name in turn_to.__code__.co_names if name.islower()}

    assert ours <= {"abs", "copysign", "floor", "isnan", "pi"}
