"""Errors of single causes against closed forms.

RM numbers: rows of check-values 04 (rotary metrology), computed there with another library from
(I - R) d; figures typed in.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gudgeon.accuracy.budget import estimate
from gudgeon.accuracy.dimensions import Dimension, NotMeasurable, dimension_errors
from gudgeon.accuracy.errors import point_errors
from gudgeon.accuracy.job import Sizes, sources_of
from gudgeon.accuracy.place import Lines, to_machine, to_platter
from gudgeon.kinematics.chain import AxisLine, TurningAxis, WorkChain
from tests.accuracy.jobs import (
    EXACT,
    UP,
    X,
    Y,
    Z,
    hole,
    job,
    lines_of,
    off,
    opposite_faces,
    plane,
    visit,
)

WIDTH = Dimension("width", "distance", 1, 0, Y)


def shift(values: tuple[float, ...], tilt: float, turn: float, point: tuple[float, float, float]):
    """Shift of the work at the tool, T: minus the error, turned back into the pose."""
    one = job((plane("p", point, Z, 0),), (visit(tilt, turn),), off(*values))
    error = point_errors(one, sources_of(one), np.ones(1), [0], np.array([point]))[0]
    here = to_machine(
        lines_of(np.zeros(5)), np.array([[tilt, turn]] * 2), np.array([point, point + error])
    )
    return here[0] - here[1]


@pytest.mark.parametrize(
    ("turn_deg", "expected_um"),
    [(90, (10, -10, 0)), (180, (20, 0, 0)), (270, (10, 10, 0)), (360, (0, 0, 0))],
    ids=["RM-020", "RM-021", "RM-022", "RM-023"],
)
def test_rotary_line_off_shifts_the_work(turn_deg: int, expected_um: tuple[float, ...]) -> None:
    found = shift((0, 0, 0.010, 0, 0), 0.0, math.radians(turn_deg), (30.0, -20.0, 40.0))
    assert found * 1e3 == pytest.approx(expected_um, abs=1e-8)


@pytest.mark.parametrize(
    ("turn_deg", "expected_um"),
    [(90, (0, -2, -14)), (-90, (0, 14, -2)), (180, (0, 12, -16))],
    ids=["RM-030", "RM-031", "RM-032"],
)
def test_tilt_line_off_shifts_the_work(turn_deg: int, expected_um: tuple[float, ...]) -> None:
    found = shift((0.006, -0.008, 0, 0, 0), math.radians(turn_deg), 0.0, (30.0, -20.0, 40.0))
    assert found * 1e3 == pytest.approx(expected_um, abs=1e-8)


@pytest.mark.parametrize(
    ("turn_deg", "expected_um"),
    [(90, (-4.0, -4.0)), (180, (0.0, -8.0))],
    ids=["RM-040", "RM-041"],
)
def test_leaning_rotary_line_shifts_by_the_height(
    turn_deg: int, expected_um: tuple[float, ...]
) -> None:
    found = shift((0, 0, 0, 0, 20e-6), 0.0, math.radians(turn_deg), (0.0, 0.0, 200.0))
    assert found[:2] * 1e3 == pytest.approx(expected_um, abs=0.002)


def width_error(height: float, across: float) -> tuple[float, float]:
    one = opposite_faces(factors=off(across, height, 0, 0, 0))
    both = [
        WIDTH,
        Dimension("front", "distance", 0, None, -Y),
        Dimension("back", "distance", 1, None, Y),
    ]
    found = dimension_errors(one, sources_of(one), both)(np.ones(1))
    return float(found[0]), float(0.5 * (found[2] - found[1]))


def test_axis_height_off_is_doubled_in_the_width() -> None:
    """RM-033: 0.010 mm wrong, each face overcut by 0.010, width short by 0.020."""
    width, middle = width_error(0.010, 0.0)
    assert width == pytest.approx(-0.020, abs=1e-12)
    assert middle == pytest.approx(0.0, abs=1e-12)


def test_axis_off_across_shifts_the_middle_only() -> None:
    """RM-034: width stays, the middle shifts by 0.010 mm."""
    width, middle = width_error(0.0, 0.010)
    assert width == pytest.approx(0.0, abs=1e-12)
    assert abs(middle) == pytest.approx(0.010, abs=1e-12)


def test_five_arc_seconds_at_100_mm_are_2_4_um() -> None:
    """Closed form: 100 mm x 5 arcsec = 2.424 um."""
    cut = plane("top", (0.0, 100.0, 0.0), Z, 0)
    sizes = replace(EXACT, index_u=(math.radians(5 / 3600), 0.0))
    found = estimate(
        job((cut,), (visit(0.0, 0.0),), sizes=sizes),
        [Dimension("height", "distance", 0, None, Z)],
    )[0]
    assert found.u == pytest.approx(2.424e-3, rel=1e-3)
    assert found.shares == {"index": pytest.approx(1.0)}


def test_index_error_is_shared_by_features_of_one_positioning() -> None:
    sizes = replace(EXACT, index_u=(1e-5, 0.0))
    cuts = (plane("low", (0.0, 40.0, 0.0), Z, 0), plane("high", (0.0, 40.0, 30.0), Z, 1))
    step = Dimension("step", "distance", 1, 0, Z)
    together = job(cuts, (visit(0, 0, 0), visit(0, 0, 0)), sizes=sizes)
    apart = job(cuts, (visit(0, 0, 0), visit(0, 0, 1)), sizes=sizes)
    assert estimate(together, [step])[0].u == pytest.approx(0.0, abs=1e-8)
    # Two independent turns of 1e-5 rad at 40 mm.
    assert estimate(apart, [step])[0].u == pytest.approx(40e-5 * math.sqrt(2.0), rel=1e-6)


def test_a_positioning_that_is_kept_errs_alike_in_both_visits() -> None:
    """The platter turned by half a circle, the tilt did not move: both faces lean the same way.

    In the part the leans are opposite; 40 mm out the step is 2 x 40 x 1e-5, one error counted
    twice.  Two positionings of the tilt would give root 2.
    """
    cuts = (plane("a", (0.0, 40.0, 0.0), Z, 0), plane("b", (0.0, -40.0, 0.0), Z, 1))
    visits = (visit(0.0, 0.0, 0, 0), visit(0.0, math.pi, 0, 1))
    one = job(cuts, visits, sizes=replace(EXACT, index_u=(1e-5, 0.0)))
    found = estimate(one, [Dimension("step", "distance", 1, 0, Z)])[0]
    assert found.u == pytest.approx(80e-5, rel=1e-6)
    moved = replace(one, visits=(visits[0], visit(0.0, math.pi, 1, 1)))
    found = estimate(moved, [Dimension("step", "distance", 1, 0, Z)])[0]
    assert found.u == pytest.approx(40e-5 * math.sqrt(2.0), rel=1e-6)


def test_a_slanting_surface_moves_more_along_a_slant() -> None:
    """A surface at 60 deg to the direction of the distance: its error counts twice."""
    slant = np.array([0.0, math.sin(math.pi / 3), 0.5])
    cuts = (replace(plane("slant", (0, 0, 0.0), slant, 0), kind="edge"),)
    one = job(cuts, (visit(0, 0),), sizes=replace(EXACT, diameter_u=0.01))
    found = estimate(one, [Dimension("d", "distance", 0, None, Z)])[0]
    assert found.u == pytest.approx(0.005 / 0.5)


def test_a_tool_longer_than_believed_and_a_table_of_signs() -> None:
    """The tool cuts deeper by its error: the face comes out lower, the part thinner."""
    cut = plane("top", (0, 0, 50.0), Z, 0)
    one = job((cut,), (visit(0, 0),), sizes=replace(EXACT, length_u=0.005))
    height = Dimension("h", "distance", 0, None, Z)
    error = dimension_errors(one, sources_of(one), [height])
    assert error(np.ones(1))[0] == pytest.approx(-0.005)


def test_lost_motion_counts_as_rectangular() -> None:
    cut = plane("top", (0.0, 100.0, 0.0), Z, 0)
    sizes = replace(EXACT, lost_half=(3e-5, 0.0))
    one = job((cut,), (visit(0, 0),), sizes=sizes)
    found = estimate(one, [Dimension("h", "distance", 0, None, Z)])[0]
    assert found.u == pytest.approx(100 * 3e-5 / math.sqrt(3.0), rel=1e-6)


def test_clamping_cancels_in_one_clamping_and_counts_against_a_datum() -> None:
    sizes = replace(EXACT, clamping_u=0.01, place_u=0.02)
    one = opposite_faces(sizes=sizes)
    inside = estimate(one, [WIDTH])[0]
    assert inside.u == pytest.approx(0.0, abs=1e-9)
    against = estimate(one, [Dimension("back", "distance", 1, None, Y)])[0]
    assert float(against.parts["place"][0, 0]) == pytest.approx(0.02**2)
    assert float(against.parts["clamping"][0, 0]) >= 0.01**2
    cuts = (one.cuts[0], replace(one.cuts[1], clamping="second"))
    two = estimate(replace(one, cuts=cuts), [WIDTH])[0]
    assert two.u == pytest.approx(0.01 * math.sqrt(2.0))


def test_a_lean_of_the_whole_part_changes_no_distance_in_it() -> None:
    """The surface is measured right across from the hole."""
    cuts = (plane("top", (50.0, 30.0, 60.0), Z, 0), hole("bore", (0.0, -30.0, 35.0), Y, 1))
    one = job(cuts, (visit(0, 0), visit(UP, 0, 1)), sizes=replace(EXACT, clamping_u=0.01))
    found = estimate(one, [Dimension("depth", "distance", 1, 0, -Z)])[0]
    assert found.u == pytest.approx(0.0, abs=1e-9)


def test_one_tool_errs_twice_between_opposite_faces_and_not_at_all_on_one_side() -> None:
    sizes = replace(EXACT, length_u=0.005)
    assert estimate(opposite_faces(sizes=sizes), [WIDTH])[0].u == pytest.approx(0.010)
    cuts = (plane("low", (0, 0, 10.0), Z, 0), plane("high", (0, 0, 30.0), Z, 0))
    step = Dimension("step", "distance", 1, 0, Z)
    one = job(cuts, (visit(0, 0),), sizes=sizes)
    assert estimate(one, [step])[0].u == pytest.approx(0.0, abs=1e-8)
    other = replace(one, cuts=(cuts[0], replace(cuts[1], tool="another")))
    assert estimate(other, [step])[0].u == pytest.approx(0.005 * math.sqrt(2.0))


def test_a_cutter_too_large_makes_a_slot_wider_and_a_tongue_thinner() -> None:
    sizes = replace(EXACT, diameter_u=0.01)
    walls = [replace(plane("left", (-10.0, 0, 0), -X, 0), kind="edge")]
    walls.append(replace(plane("right", (10.0, 0, 0), X, 0), kind="edge"))
    one = job(tuple(walls), (visit(0, 0),), sizes=sizes)
    error = dimension_errors(one, sources_of(one), [Dimension("t", "distance", 1, 0, X)])
    assert error(np.ones(1))[0] == pytest.approx(-0.01)


def test_probing_in_each_pose_takes_the_lines_out_of_the_width() -> None:
    sizes = replace(EXACT, probed=True, probing_u=0.003)
    visits = (
        replace(visit(UP, 0, 0), zero=np.array([0.0, 20.0, 50.0])),
        replace(visit(-UP, 0, 1), zero=np.array([0.0, -20.0, 50.0])),
    )
    one = replace(opposite_faces(factors=off(0.01, 0.03, 0, 0, 0), sizes=sizes), visits=visits)
    found = estimate(one, [WIDTH])[0]
    assert found.u == pytest.approx(0.003 * math.sqrt(2.0), rel=1e-6)
    assert set(found.shares) == {"probing"}


def test_aluminium_cut_warm_on_an_iron_machine_comes_out_short() -> None:
    """(11.5 - 23) um/(m K) x 5 K x 40 mm = -2.3 um at 20 degC."""
    sizes = replace(EXACT, warmer=5.0, part_per_k=23e-6)
    found = estimate(opposite_faces(sizes=sizes), [WIDTH])[0]
    assert float(found.mean[0]) == pytest.approx(-2.3e-3, rel=1e-6)
    same = replace(sizes, part_per_k=11.5e-6)
    assert float(estimate(opposite_faces(sizes=same), [WIDTH])[0].mean[0]) == pytest.approx(0.0)


def test_a_warm_part_grows_and_is_short_when_cold() -> None:
    sizes = replace(EXACT, part_half=3.0, part_per_k=20e-6)
    found = estimate(opposite_faces(sizes=sizes), [WIDTH])[0]
    assert found.u == pytest.approx(3.0 * 20e-6 * 40.0 / math.sqrt(3.0), rel=1e-6)


def test_warm_machine_moves_the_lines_by_their_lever() -> None:
    """Height 200 mm x 11.5e-6 x 2 K = 4.6 um, doubled in the width."""
    sizes = replace(EXACT, machine_half=2.0)
    one = opposite_faces(sizes=sizes, warm_lever=(0.0, 0.0, 200.0))
    assert estimate(one, [WIDTH])[0].u == pytest.approx(2 * 4.6e-3 / math.sqrt(3.0), rel=1e-6)


def test_spindle_growth_is_new_in_each_visit() -> None:
    one = opposite_faces(sizes=replace(EXACT, growth_half=0.006))
    assert estimate(one, [WIDTH])[0].u == pytest.approx(0.006 / math.sqrt(3.0) * math.sqrt(2.0))


def test_scale_and_squareness_of_the_mill_count_from_where_the_lines_were_touched() -> None:
    cuts = (hole("near", (0.0, 0.0, 0.0), Z, 0), hole("far", (100.0, 0.0, 0.0), Z, 0))
    one = job(cuts, (visit(0, 0),), sizes=replace(EXACT, scale_u=1e-5, square_u=2e-5))
    found = estimate(one, [Dimension("pitch", "distance", 1, 0, X)])[0]
    assert found.u == pytest.approx(1e-3)
    cuts = (cuts[0], hole("far", (0.0, 100.0, 0.0), Z, 0))
    sideways = job(cuts, (visit(0, 0),), sizes=replace(EXACT, square_u=2e-5))
    found = estimate(sideways, [Dimension("off", "distance", 1, 0, X)])[0]
    assert found.u == pytest.approx(2e-3)


def test_squareness_of_a_face_tilted_by_an_angle_off() -> None:
    """Index error d leans the face by d: over 100 mm a rise of 100 d."""
    cuts = (plane("top", (0, 0, 50.0), Z, 0), plane("front", (0, -20.0, 20.0), -Y, 1))
    sizes = replace(EXACT, index_u=(2e-5, 0.0))
    one = job(cuts, (visit(0, 0, 0), visit(-UP, 0, 1)), sizes=sizes)
    square = Dimension("square", "square", 1, 0, Z, 100.0)
    assert estimate(one, [square])[0].u == pytest.approx(100 * 2e-5 * math.sqrt(2), rel=1e-4)
    angle = replace(square, kind="angle")
    assert estimate(one, [angle])[0].u == pytest.approx(2e-5 * math.sqrt(2), rel=1e-4)
    # Nothing leans if both are cut in one positioning of the tilt.
    same = replace(one, visits=(visit(0, 0, 0), visit(-UP, 0, 0)))
    assert estimate(same, [square])[0].u == pytest.approx(0.0, abs=1e-8)


def test_parallel_faces_lean_both_ways() -> None:
    sizes = replace(EXACT, index_u=(2e-5, 3e-5))
    parallel = Dimension("parallel", "parallel", 1, 0, -Y, 100.0)
    one = opposite_faces(sizes=sizes)
    found = estimate(one, [parallel])[0]
    # Tilted by +-90, an error of the tilt leans the face; one of the platter, turned once for
    # both, does not.
    assert math.sqrt(np.trace(found.covariance)) == pytest.approx(
        100 * 2e-5 * math.sqrt(2), rel=1e-4
    )


def test_dimensions_that_make_no_sense_say_so() -> None:
    one = opposite_faces()
    with pytest.raises(NotMeasurable, match="lies along"):
        dimension_errors(one, (), [Dimension("d", "distance", 1, 0, X)])
    with pytest.raises(NotMeasurable, match="not square"):
        dimension_errors(one, (), [Dimension("d", "square", 1, 0, -Y)])
    cuts = (plane("top", (0, 0, 50.0), Z, 0), hole("bore", (0, 0, 0), Z, 0))
    with pytest.raises(NotMeasurable, match="runs along"):
        dimension_errors(job(cuts, (visit(0, 0),)), (), [Dimension("d", "distance", 1, 0, Z)])


angles = st.floats(-3.0, 3.0)
small = st.floats(-0.5, 0.5)


@settings(max_examples=40, deadline=None)
@given(st.tuples(angles, angles), st.tuples(*[small] * 4), st.tuples(*[st.floats(-80, 80)] * 3))
def test_the_map_is_that_of_the_chain_and_its_inverse_comes_back(
    turns: tuple[float, float], values: tuple[float, ...], point: tuple[float, float, float]
) -> None:
    lines = lines_of(np.array([*values, 0.01]))
    chain = WorkChain(
        tuple(
            TurningAxis(role, AxisLine(tuple(p), tuple(d)), 1)
            for role, p, d in zip(
                ("tilt", "rotary"), lines.points.tolist(), lines.directions.tolist(), strict=True
            )
        )
    )
    there = to_machine(lines, np.array([turns]), np.array([point]))
    assert there[0] == pytest.approx(chain.points(turns, point), abs=1e-9)
    back = to_platter(lines, np.array([turns]), there)
    assert back[0] == pytest.approx(point, abs=1e-9)


def test_many_lines_at_once_are_the_same_as_one_by_one() -> None:
    chance = np.random.default_rng(3)
    values = chance.normal(0.0, 0.1, (6, 5))
    turns = np.array([[0.4, 1.0], [-1.2, 2.0]])
    points = chance.normal(0.0, 50.0, (2, 3))
    many = to_machine(lines_of(values), turns, points)
    for one, value in zip(many, values, strict=True):
        assert one == pytest.approx(to_machine(lines_of(value), turns, points))
    assert isinstance(lines_of(values).moved(np.ones(3)), Lines)
    assert Sizes().index_u[0] == pytest.approx(math.radians(5 / 3600))
