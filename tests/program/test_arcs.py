"""Arcs: published examples, laws of the circle, and ends that nearly meet."""

from __future__ import annotations

from collections.abc import Callable
from math import atan2, copysign, cos, hypot, inf, isnan, nan, pi, radians, sin

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from gudgeon.program.arcs import (
    ARC_OK,
    END_IS_START,
    NEARLY_CLOSED,
    NO_RADIUS,
    NOT_KNOWN,
    RADII_DIFFER,
    TOO_SMALL,
    arc_by_centre,
    arc_by_radius,
)

# --- published examples -------------------------------------------------------------------------


def test_centre_format_example() -> None:
    """NISTIR 6556, 3.5.3.2: from (7, 7), G17 G2 X10 Y16 I3 J4; sweep and length in closed form."""
    status, sweep = arc_by_centre(7.0, 7.0, 10.0, 16.0, 10.0, 11.0, True, 0.002)

    assert status == ARC_OK
    assert sweep == pytest.approx(-radians(143.13010235415598), abs=1e-12)
    # The length of the same example: radius 5.
    assert 5.0 * abs(sweep) == pytest.approx(12.490457723982544)


@pytest.mark.parametrize(
    ("end_v", "expected"), [(10.0019, ARC_OK), (10.002, ARC_OK), (10.0021, RADII_DIFFER)]
)
@pytest.mark.parametrize("swapped", [False, True])
def test_radii_may_differ_by_the_tolerance(end_v: float, expected: int, swapped: bool) -> None:
    """NISTIR 6556, 3.5.3.2: error where they differ by more than 0.002 mm."""
    ends = (0.0, end_v, 10.0, 0.0) if swapped else (10.0, 0.0, 0.0, end_v)

    assert arc_by_centre(*ends, 0.0, 0.0, swapped, 0.002)[0] == expected


@pytest.mark.parametrize(
    ("start", "end", "radius", "clockwise", "centre", "degrees"),
    [
        # NISTIR 6556, 3.5.3.1, recomputed from both radii and the side.
        ((0, 15), (10, 15), 20, True, (5.0, -4.364916731037084), -28.955024371859853),
        ((0, 15), (10, 15), -20, True, (5.0, 34.364916731037084), -331.04497562814015),
        ((0, 15), (10, 15), 20, False, (5.0, 34.364916731037084), 28.955024371859853),
        ((0, 0), (10, 10), 10, True, (10.0, 0.0), -90.0),
        ((0, 0), (10, 10), 10, False, (0.0, 10.0), 90.0),
        ((0, 0), (10, 10), -10, False, (10.0, 0.0), 270.0),
        # NISTIR 6556, Table 10: the centre stands at 1.5, 7.8476.
        ((3, 1), (0, 1), 7.01, True, (1.5, 1.0 + (7.01**2 - 1.5**2) ** 0.5), None),
    ],
)
def test_radius_format_examples(
    start: tuple[float, float],
    end: tuple[float, float],
    radius: float,
    clockwise: bool,
    centre: tuple[float, float],
    degrees: float | None,
) -> None:
    status, cu, cv, sweep = arc_by_radius(*start, *end, radius, clockwise)

    assert status == ARC_OK
    assert (cu, cv) == pytest.approx(centre, abs=1e-9)
    if degrees is not None:
        assert sweep == pytest.approx(radians(degrees), abs=1e-12)


def test_end_at_the_start_is_an_error_with_a_radius_and_a_circle_with_a_centre() -> None:
    """NISTIR 6556, 3.5.3.1 and 3.5.3.2."""
    assert arc_by_radius(3.0, 4.0, 3.0, 4.0, 5.0, True)[0] == END_IS_START
    assert arc_by_centre(3.0, 4.0, 3.0, 4.0, 0.0, 0.0, True, 0.002) == (ARC_OK, -2 * pi)
    assert arc_by_centre(3.0, 4.0, 3.0, 4.0, 0.0, 0.0, False, 0.002) == (ARC_OK, 2 * pi)


# --- half circles and radii that do not reach ---------------------------------------------------


@pytest.mark.parametrize("radius", [5.0, -5.0])
@pytest.mark.parametrize("clockwise", [True, False])
@pytest.mark.parametrize("angle", [0.0, 0.3, 1.0, 2.5])
@pytest.mark.parametrize("far", [0.0, 1234.567])
def test_half_circle_turns_about_the_middle(
    radius: float, clockwise: bool, angle: float, far: float
) -> None:
    """By hand: the chord is the diameter, whatever rounding says of the root."""
    u, v = 5.0 * cos(angle), 5.0 * sin(angle)

    status, cu, cv, sweep = arc_by_radius(
        far + u, far + v, far - u, far - v, radius * 25.4 / 25.4, clockwise
    )

    assert status == ARC_OK
    assert (cu, cv) == pytest.approx((far, far), abs=1e-11)
    assert sweep == (-pi if clockwise else pi)


def test_radius_short_by_rounded_decimals_is_a_half_circle() -> None:
    """By hand: R7.071 for a diagonal of 14.1421; half of it is 7.07107."""
    status, cu, cv, sweep = arc_by_radius(0.0, 0.0, 10.0, 10.0, 7.071, False)

    assert (status, sweep) == (ARC_OK, pi)
    assert (cu, cv) == pytest.approx((5.0, 5.0), abs=1e-12)


@pytest.mark.parametrize("radius", [4.9975, -4.9975, 0.0, -0.0, 1e-9])
def test_radius_that_does_not_reach_is_refused(radius: float) -> None:
    status, cu, cv, sweep = arc_by_radius(0.0, 0.0, 10.0, 0.0, radius, False)

    assert status == TOO_SMALL
    assert isnan(cu) and isnan(cv) and isnan(sweep)


def test_no_radius_reaches_not_even_a_hair() -> None:
    assert arc_by_radius(0.0, 0.0, 0.001, 0.0, 0.0, False)[0] == TOO_SMALL


def test_radius_just_large_enough_keeps_its_centre_off_the_middle() -> None:
    """By hand: half chord 5, radius 5.000001: the root of 2 * 5 * 1e-6 is 0.00316."""
    _, cu, cv, _ = arc_by_radius(0.0, 0.0, 10.0, 0.0, 5.000001, False)

    assert (cu, cv) == pytest.approx((5.0, 1.00000005e-5**0.5), rel=1e-6)


@pytest.mark.parametrize("spot", range(6))
@pytest.mark.parametrize("bad", [nan, inf, -inf, 1e308])
def test_what_is_not_known_gives_no_arc(spot: int, bad: float) -> None:
    by_centre = [10.0, 0.0, 0.0, 10.0, 0.0, 0.0]
    by_radius = [10.0, 0.0, 0.0, 10.0, 10.0]
    by_centre[spot] = bad
    status, sweep = arc_by_centre(*by_centre, True, 0.002)
    assert status == NOT_KNOWN and isnan(sweep)
    if spot < 5:
        by_radius[spot] = bad
        status, *rest = arc_by_radius(*by_radius, True)
        assert status == NOT_KNOWN and all(isnan(x) for x in rest)


@pytest.mark.parametrize("centre", [(10.0, 0.0), (0.0, 10.0)])
def test_centre_on_an_end_is_refused(centre: tuple[float, float]) -> None:
    assert arc_by_centre(10.0, 0.0, 0.0, 10.0, *centre, True, 0.002)[0] == NO_RADIUS


# --- ends that nearly meet ----------------------------------------------------------------------


@pytest.mark.parametrize("clockwise", [True, False])
@pytest.mark.parametrize("way", [1.0, -1.0])
def test_rounding_does_not_open_a_circle(clockwise: bool, way: float) -> None:
    """An end from inches or from sums of steps misses the start by 1e-12."""
    status, sweep = arc_by_centre(50.8, 0.0, 50.8, way * 1e-12, 25.4, 0.0, clockwise, 0.002)

    assert (status, sweep) == (ARC_OK, -2 * pi if clockwise else 2 * pi)


def test_steps_that_sum_to_nothing_close_the_circle() -> None:
    u = sum([0.1] * 10) - sum([0.3, 0.7])
    assert u != 0.0

    assert arc_by_centre(0.0, 0.0, u, 0.0, 5.0, 0.0, False, 0.002) == (ARC_OK, 2 * pi)


@pytest.mark.parametrize("clockwise", [True, False])
def test_a_hair_ahead_may_be_a_whole_turn(clockwise: bool) -> None:
    """0.0003 mm ahead: one point where 0.001 mm is the least increment, else a short arc."""
    ahead = -0.0003 if clockwise else 0.0003

    status, sweep = arc_by_centre(10.0, 0.0, 10.0, ahead, 0.0, 0.0, clockwise, 0.002)

    assert (status, sweep) == (NEARLY_CLOSED, -2 * pi if clockwise else 2 * pi)


@pytest.mark.parametrize("clockwise", [True, False])
def test_one_increment_ahead_is_a_short_arc(clockwise: bool) -> None:
    ahead = -0.001 if clockwise else 0.001

    status, sweep = arc_by_centre(10.0, 0.0, 10.0, ahead, 0.0, 0.0, clockwise, 0.002)

    assert status == ARC_OK
    assert sweep == pytest.approx(ahead / 10.0, rel=1e-6)


@pytest.mark.parametrize("back", [0.0003, 0.001, 0.1])
def test_a_hair_behind_is_nearly_a_whole_turn_for_every_control(back: float) -> None:
    status, sweep = arc_by_centre(10.0, 0.0, 10.0, -back, 0.0, 0.0, False, 0.01)

    assert status == ARC_OK
    assert sweep == pytest.approx(2 * pi - back / 10.0, abs=1e-5 * back)


@pytest.mark.parametrize("noise", [0.0, 1e-15, -1e-15])
def test_end_on_the_ray_of_the_start_is_not_decided_by_rounding(noise: float) -> None:
    """Ends 0.001 mm apart along the radius: by the angle alone nothing or everything."""
    status, sweep = arc_by_centre(10.0, 0.0, 10.001, noise, 0.0, 0.0, False, 0.002)

    assert (status, sweep) == (NEARLY_CLOSED, 2 * pi)


def test_coarser_increment_closes_sooner() -> None:
    ends = (10.0, 0.0, 10.0, 0.001)

    assert arc_by_centre(*ends, 0.0, 0.0, False, 0.00508, 0.00254)[0] == NEARLY_CLOSED
    assert arc_by_centre(*ends, 0.0, 0.0, False, 0.002, 0.0001)[0] == ARC_OK


def test_nearly_full_circle_by_radius_with_ends_in_one_increment_is_in_doubt() -> None:
    assert arc_by_radius(0.0, 0.0, 0.0003, 0.0, -5.0, True)[0] == NEARLY_CLOSED
    assert arc_by_radius(0.0, 0.0, 0.0003, 0.0, 5.0, True)[0] == ARC_OK
    assert arc_by_radius(0.0, 0.0, 0.01, 0.0, -5.0, True)[0] == ARC_OK


# --- laws ---------------------------------------------------------------------------------------

places = st.floats(-2000.0, 2000.0)
angles = st.floats(-pi, pi)
radii = st.floats(0.05, 500.0)
sides = st.booleans()


def from_polar(cu: float, cv: float, radius: float, angle: float) -> tuple[float, float]:
    return cu + radius * cos(angle), cv + radius * sin(angle)


@given(places, places, radii, angles, st.floats(0.02, 2 * pi - 0.02), sides)
def test_centre_format_finds_the_sweep_it_was_made_with(
    cu: float, cv: float, radius: float, start: float, size: float, clockwise: bool
) -> None:
    sweep = -size if clockwise else size
    ends = *from_polar(cu, cv, radius, start), *from_polar(cu, cv, radius, start + sweep)

    status, found = arc_by_centre(*ends, cu, cv, clockwise, 0.002)

    assert status == ARC_OK
    assert found == pytest.approx(sweep, abs=1e-9)


@given(places, places, radii, angles, st.floats(0.02, 2 * pi - 0.02), sides)
def test_radius_format_finds_the_centre_it_was_made_with(
    cu: float, cv: float, radius: float, start: float, size: float, clockwise: bool
) -> None:
    assume(abs(size - pi) > 0.01)  # at half a turn the centre hangs on the root of rounding
    sweep = -size if clockwise else size
    ends = *from_polar(cu, cv, radius, start), *from_polar(cu, cv, radius, start + sweep)

    status, *found = arc_by_radius(*ends, radius if size < pi else -radius, clockwise)

    assert status == ARC_OK
    assert found == pytest.approx([cu, cv, sweep], abs=1e-7)


@given(places, places, places, places, st.floats(-3000.0, 3000.0), sides)
def test_an_arc_by_radius_is_the_same_arc_by_its_centre(
    u0: float, v0: float, u1: float, v1: float, radius: float, clockwise: bool
) -> None:
    radius += copysign(0.5 * hypot(u1 - u0, v1 - v0), radius)
    status, cu, cv, sweep = arc_by_radius(u0, v0, u1, v1, radius, clockwise)
    assume(status == ARC_OK and hypot(u1 - u0, v1 - v0) > 0.01)

    assert hypot(u0 - cu, v0 - cv) == pytest.approx(abs(radius), abs=0.003)
    assert hypot(u1 - cu, v1 - cv) == pytest.approx(abs(radius), abs=0.003)
    assert (sweep < 0.0) == clockwise
    assert (abs(sweep) <= pi) == (radius > 0.0 or abs(sweep) == pi)
    again, same = arc_by_centre(u0, v0, u1, v1, cu, cv, clockwise, 0.002)
    assert again == ARC_OK
    assert same == pytest.approx(sweep, abs=1e-6)


@given(places, places, places, places, radii, angles, sides)
def test_moved_and_turned_ends_give_the_moved_and_turned_centre(
    u0: float, v0: float, u1: float, v1: float, radius: float, turn: float, clockwise: bool
) -> None:
    def there(u: float, v: float) -> tuple[float, float]:
        return 7.0 + u * cos(turn) - v * sin(turn), -11.0 + u * sin(turn) + v * cos(turn)

    distance = hypot(u1 - u0, v1 - v0)
    assume(distance > 0.01)
    radius = 0.5 * distance * (1.001 + radius)  # clear of the half circle, see above

    _, cu, cv, sweep = arc_by_radius(u0, v0, u1, v1, radius, clockwise)
    _, *found, same = arc_by_radius(*there(u0, v0), *there(u1, v1), radius, clockwise)

    assert found == pytest.approx(there(cu, cv), abs=1e-9 * radius**2 / distance + 1e-8)
    assert same == pytest.approx(sweep, abs=1e-7)


@given(places, places, places, places, radii, sides)
def test_mirrored_ends_and_side_give_the_mirrored_arc(
    u0: float, v0: float, u1: float, v1: float, radius: float, clockwise: bool
) -> None:
    radius += 0.5 * hypot(u1 - u0, v1 - v0)
    status, cu, cv, sweep = arc_by_radius(u0, v0, u1, v1, radius, clockwise)
    other, mirrored_u, mirrored_v, mirrored = arc_by_radius(-u0, v0, -u1, v1, radius, not clockwise)
    assume(status == ARC_OK)

    assert other == status
    assert (mirrored_u, mirrored_v) == pytest.approx((-cu, cv), abs=1e-9)
    assert mirrored == pytest.approx(-sweep, abs=1e-12)


# --- compiled = full ----------------------------------------------------------------------------


@pytest.mark.parametrize("function", [arc_by_centre, arc_by_radius])
def test_source_needs_nothing_but_plain_numbers(function: Callable[..., object]) -> None:
    """The compiled reader takes these texts as they are: no other function of ours, no object."""
    ours = {name for name in function.__code__.co_names if name.islower()} - {
        "atan2", "hypot", "sqrt", "sin", "cos", "pi", "isfinite", "abs", "min", "max", "range"
    }  # fmt: skip

    assert not ours


def test_angle_convention_is_counter_clockwise_positive() -> None:
    _, sweep = arc_by_centre(1.0, 0.0, 0.0, 1.0, 0.0, 0.0, False, 0.002)

    assert sweep == pytest.approx(atan2(1.0, 0.0))
