"""Proofs of clearance against closed forms and against dense sampling of scenes drawn at random.

The sampled reference is the distance of two convex sets as a quadratic programme over their corners
(scipy's non-negative least squares), which shares nothing with the loops under test.
"""

from __future__ import annotations

import itertools
import os
from math import atan, cos, degrees, hypot, pi, radians, sin

import numpy as np
import pytest
from scipy.optimize import nnls

from gudgeon.clearance.pieces import Solid, box, cone, hull, triangles
from gudgeon.clearance.prove import Prover, Status
from gudgeon.clearance.scene import Body, Carrier, Lines, Role, Scene
from gudgeon.kinematics.chain import AxisLine, TurningAxis, WorkChain

SCENES = int(os.environ.get("GUDGEON_CLEARANCE_SCENES", "250"))
"""Random scenes of eight motions each; the nightly run takes 2,500."""


def lines(
    tilt: tuple[float, ...] = (0, 0, 0, 1, 0, 0, 1),
    rotary: tuple[float, ...] = (0, 0, 0, 0, 0, 1, 1),
) -> Lines:
    return Lines(np.array([tilt, rotary], dtype=np.float64))


def work(*solids: Solid, carrier: Carrier = Carrier.ROTARY, role: Role = Role.FIXTURE) -> Body:
    return Body("work", carrier, role, solids)


def tool(*solids: Solid, role: Role = Role.HOLDER) -> Body:
    return Body("tool", Carrier.HEAD, role, solids)


def prover(body: Body, cutter: Body, where: Lines | None = None, unsure: float = 0.0) -> Prover:
    return Prover(Scene((body,), where or lines(), unsure_mm=unsure), [cutter])


def smallest(made: Prover, start: tuple[float, ...], end: tuple[float, ...]) -> float:
    gap = made.motion(start, end, 0.0, exact=True, tol_mm=1e-7)
    assert gap.lower_mm <= gap.upper_mm <= gap.lower_mm + 1e-6
    return gap.upper_mm


PIN = cone((0, 0, -100), (0, 0, 0), 5, 5)


# --- closed forms ---------------------------------------------------------------------------------


@pytest.mark.parametrize("shift", [0.0, 1e4, 1e6])
def test_sliding_past_a_wall(shift: float) -> None:
    wall = box((shift - 10, shift + 10), (-10, 10), (-10, 10))
    made = prover(work(wall, carrier=Carrier.TABLE), tool(PIN))
    assert smallest(made, (shift + 17, -90, 50, 0, 0), (shift + 17, 90, 50, 0, 0)) == pytest.approx(
        2.0, abs=1e-6
    )


def test_a_corner_turns_past_a_round_column() -> None:
    # Corner at distance 50 from the rotary line, a pin of radius 5 with its axis at 62: 62-5-50.
    plate = hull(
        [(30, 40, 0), (-30, 40, 0), (0, -10, 0), (30, 40, 20), (-30, 40, 20), (0, -10, 20)]
    )
    made = prover(work(plate), tool(PIN))
    assert smallest(made, (62, 0, 60, 0, -pi / 2), (62, 0, 60, 0, pi / 2)) == pytest.approx(7.0)


def test_a_tower_tilts_over_its_highest_corner() -> None:
    # The corner (w, h) is highest where its arm stands upright: tilt = atan(w / h).
    w, h = 27.9, 100.0
    made = prover(work(box((-50, 50), (-w, w), (-h, h))), tool(PIN))
    start, end = (0, 0, 250, radians(-40), 0), (0, 0, 250, radians(5), 0)
    gap = made.motion(start, end, 0.0, exact=True, tol_mm=1e-9)
    assert gap.upper_mm == pytest.approx(150.0 - hypot(w, h), abs=1e-8)
    assert abs(degrees(gap.joint[3])) == pytest.approx(degrees(atan(w / h)), abs=0.01)
    both_ends = min(smallest(made, one, one) for one in (start, end))
    assert both_ends > gap.upper_mm + 1.0  # looking at the two ends only misses it


def test_the_tool_follows_a_turning_face() -> None:
    # A face 40 from the line turns while the pin's axis stays 49.5 out along its normal; the pin
    # runs the chord in eight pieces, and its distance falls short by the sagitta of each.
    made = prover(work(box((-200, 40), (-300, 300), (-20, 20))), tool(PIN))
    count, turned = 8, radians(40.0)
    places = [
        (49.5 * cos(t), 49.5 * sin(t), 50.0, 0.0, t) for t in np.linspace(0.0, turned, count + 1)
    ]
    found = min(smallest(made, one, other) for one, other in itertools.pairwise(places))
    step = turned / count
    assert found == pytest.approx(49.5 * cos(step / 2) - 45.0, abs=1e-6)


def test_degenerate_triangles_count_as_the_segments_they_are() -> None:
    flat = triangles([[(0, 0, 0), (10, 0, 0), (5, 0, 0)], [(0, 0, 0)] * 3])
    made = prover(Body("work", Carrier.TABLE, Role.PART, (flat,), closed=False), tool(PIN))
    assert smallest(made, (19, 0, 50, 0, 0), (19, 5, 50, 0, 0)) == pytest.approx(4.0)


def test_a_tool_in_the_middle_of_a_solid_is_no_gap() -> None:
    cube = box((-50, 50), (-50, 50), (-50, 50))
    ball = hull([(0, 0, 0)], rounding=5.0)
    assert prover(work(cube), tool(ball)).motion([0] * 5, [0] * 5, 0.0).status is Status.CLOSER
    corners = np.array([[-50, -50, -50], [50, -50, -50], [0, 50, -50], [0, 0, 50]], dtype=float)
    faces = corners[[[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]]]
    shell = Body("shell", Carrier.ROTARY, Role.PART, (triangles(faces),))
    small = prover(shell, tool(hull([(0, 0, 0)], rounding=1.0)))
    assert small.motion((0, 0, -20, 0, 0), (1, 0, -20, 0, 0), 0.5).status is Status.CLOSER
    assert small.motion((300, 0, 0, 0, 0), (300, 9, 0, 0, 0), 0.5).status is Status.PROVEN


# --- what is asked --------------------------------------------------------------------------------


def test_the_clearance_asked_is_the_limit_and_uncertainty_goes_on_top() -> None:
    wall = box((-10, 10), (-10, 10), (-10, 10))
    place = (17, 0, 50, 0, 0)
    exact = prover(work(wall), tool(PIN))
    assert exact.motion(place, place, 1.99).status is Status.PROVEN
    assert exact.motion(place, place, 2.01).status is Status.CLOSER
    unsure = prover(work(wall), tool(PIN), unsure=0.5)
    assert unsure.motion(place, place, 1.49).status is Status.PROVEN
    assert unsure.motion(place, place, 1.51).status is not Status.PROVEN
    still = prover(work(wall, carrier=Carrier.TABLE), tool(PIN), unsure=0.5)
    assert still.motion(place, place, 1.99).status is Status.PROVEN


def test_only_the_cutter_may_touch_only_the_stock_it_cuts() -> None:
    stock = Body(
        "blank", Carrier.ROTARY, Role.STOCK, (box((-5, 5), (-5, 5), (0, 20)),), station="1"
    )
    scene = Scene((stock,), lines())
    cutter = tool(PIN, role=Role.CUTTER)
    into = ((0, 0, 130, 0, 0), (0, 0, 110, 0, 0))
    made = Prover(scene, [cutter])
    assert made.motion(*into, 0.5).status is Status.CLOSER
    assert made.motion(*into, 0.5, cutting="1").status is Status.PROVEN
    assert made.motion(*into, 0.5, cutting="*").status is Status.PROVEN
    assert made.motion(*into, 0.5, cutting="2").status is Status.CLOSER
    assert Prover(scene, [tool(PIN)]).motion(*into, 0.5, cutting="1").status is Status.CLOSER


def test_bolted_pairs_are_not_judged() -> None:
    foot = Body("foot", Carrier.TABLE, Role.UNIT, (box((-9, 9), (-9, 9), (-9, 9)),))
    arm = Body("arm", Carrier.TILT, Role.UNIT, (box((-5, 5), (-5, 5), (-5, 5)),))
    place = [0.0] * 5
    assert Prover(Scene((foot, arm), lines())).motion(place, place, 0.0).status is Status.CLOSER
    apart = frozenset({frozenset({"foot", "arm"})})
    made = Prover(Scene((foot, arm), lines(), apart=apart))
    assert made.motion(place, place, 0.0).status is Status.PROVEN


def test_covers_of_the_base_move_with_the_slides_that_the_table_makes() -> None:
    # The table moves in X and Y: in T a cover beside the spindle goes along with the head.
    cover = Body("cover", Carrier.BASE, Role.GUARD, (box((40, 60), (-900, 900), (-900, 900)),))
    made = Prover(Scene((cover,), lines()), [tool(PIN)])
    assert smallest(made, (0, 0, 0, 0, 0), (-500, -300, 0, 0, 0)) == pytest.approx(35.0)
    block = Body("block", Carrier.TABLE, Role.TABLE, (box((-9, 9), (-9, 9), (-9, 9)),))
    table = Prover(Scene((cover, block), lines()))
    assert smallest(table, (0, 0, 0, 0, 0), (-30, 0, 0, 0, 0)) == pytest.approx(1.0)


def test_what_is_not_known_is_never_proven() -> None:
    made = prover(work(box((-9, 9), (-9, 9), (-9, 9))), tool(PIN))
    nowhere = (np.nan, 0, 500, 0, 0)
    assert made.motion(nowhere, (0, 0, 500, 0, 0), 1.0).status is Status.UNDECIDED
    path = made.path((0, 0, 500, 0, 0), [(1, 0, 500, 0, 0), nowhere, (2, 0, 500, 0, 0)], 1.0)
    assert path.status.tolist() == [Status.PROVEN, Status.UNDECIDED, Status.UNDECIDED]
    endless = made.motion((0, 0, 500, 0, 0), (np.inf, 0, 500, 0, 0), 1.0)
    assert endless.status is Status.UNDECIDED


def test_an_empty_scene_has_no_limit() -> None:
    gap = Prover(Scene((), lines())).motion([0] * 5, [1] * 5, 5.0)
    assert gap.status is Status.PROVEN and gap.lower_mm == np.inf


def test_a_path_says_the_same_as_its_motions_and_can_be_cancelled() -> None:
    rng = np.random.default_rng(5)
    made = prover(work(box((-30, 30), (-20, 20), (-20, 40))), tool(PIN))
    ends = np.c_[rng.uniform(-60, 60, (300, 2)), rng.uniform(120, 160, 300), np.zeros((300, 2))]
    ends[100:200, 3] = 0.3
    path = made.path(ends[0], ends, 2.0)
    before = np.vstack([ends[:1], ends[:-1]])
    for i in range(0, 300, 7):
        alone = made.motion(before[i], ends[i], 2.0).status
        assert path.status[i] == alone
    assert 0 < (path.status == Status.PROVEN).sum() < 300
    assert made.path(ends[0], np.tile(ends, (100, 1)), 2.0, progress=lambda _: False).done < 30_000


def test_the_cutter_may_meet_the_finished_part_but_not_go_below_it() -> None:
    part = Body(
        "part", Carrier.ROTARY, Role.PART, (box((-20, 20), (-20, 20), (0, 30)),), station="1"
    )
    stock = Body(
        "stock", Carrier.ROTARY, Role.STOCK, (box((-25, 25), (-25, 25), (0, 35)),), station="1"
    )
    made = Prover(Scene((part, stock), lines(), below_mm=0.05), [tool(PIN, role=Role.CUTTER)])

    def passes(x: float, cutting: str | None) -> Status:
        # The pin of radius 5 passes the side of the part with its tip below the top.
        return made.motion((x, -60, 110, 0, 0), (x, 60, 110, 0, 0), 2.0, cutting=cutting).status

    assert passes(25.0, "1") is passes(25.0, "*") is Status.PROVEN
    assert passes(24.96, "1") is Status.PROVEN
    assert passes(24.94, "1") is Status.CLOSER
    assert passes(25.0, None) is passes(25.0, "2") is Status.CLOSER
    assert passes(32.1, None) is Status.PROVEN
    gap = made.motion((25, -60, 110, 0, 0), (25, 60, 110, 0, 0), 2.0, cutting="1", exact=True)
    assert gap.status is Status.PROVEN and gap.upper_mm == np.inf
    # Deep in the middle of it, from the start on: the part is a closed surface here.
    corners = np.array([[-50, -50, -50], [50, -50, -50], [0, 50, -50], [0, 0, 50]], dtype=float)
    faces = triangles(corners[[[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]]])
    shell = Body("part", Carrier.ROTARY, Role.PART, (faces,), station="1")
    small = Prover(
        Scene((shell,), lines()), [tool(cone((0, 0, 0), (0, 0, 2), 1, 1), role=Role.CUTTER)]
    )
    buried = (0, 0, -20, 0, 0)
    assert small.motion(buried, buried, 0.5, cutting="1").status is Status.CLOSER


def test_each_connected_part_is_looked_for_inside() -> None:
    corners = np.array([[-50, -50, -50], [50, -50, -50], [0, 50, -50], [0, 0, 50]], dtype=float)
    shape = corners[[[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]]]
    shell = Body("shell", Carrier.ROTARY, Role.PART, (triangles(shape),))
    # Two closed surfaces in one solid: the first stands far away, the second in the shell.
    pair = triangles(np.vstack([0.01 * shape + (500, 0, 0), 0.01 * shape + (0, 0, -20)]))
    gap = prover(shell, tool(pair)).motion([0] * 5, [0] * 5, 0.5)
    assert gap.status is Status.CLOSER and set(gap.pair) == {"shell", "tool"}
    # A surface stays one where a convex solid is listed before it.
    mixed = Body(
        "shell", Carrier.ROTARY, Role.PART, (box((900, 901), (0, 1), (0, 1)), triangles(shape))
    )
    small = tool(hull([(0, 0, -20)], rounding=1.0))
    assert prover(mixed, small).motion([0] * 5, [0] * 5, 0.5).status is Status.CLOSER
    # And the other way round: the work inside a surface of the head.
    ball = work(hull([(0, 0, -20)], rounding=1.0))
    assert (
        prover(ball, tool(triangles(shape))).motion([0] * 5, [0] * 5, 0.5).status is Status.CLOSER
    )


def test_nearest_points_lie_on_rounded_surfaces() -> None:
    made = prover(work(hull([(0, 0, 0)], rounding=3.0)), tool(hull([(0, 0, 0)], rounding=2.0)))
    gap = made.motion((10, 0, 0, 0, 0), (10, 0, 0, 0, 0), 0.0, exact=True)
    assert gap.upper_mm == pytest.approx(5.0)
    np.testing.assert_allclose(gap.points, [(8, 0, 0), (3, 0, 0)], atol=1e-9)


def test_a_joint_many_turns_on_is_no_nearer_to_certainty() -> None:
    # Turning there and back about 1,000 turns on: the interpolated angle itself is rounded.
    made = prover(work(box((-30, 30), (-20, 20), (-20, 40))), tool(PIN))
    far = 2000.0 * pi
    here = smallest(made, (50, 0, 60, 0, 0.1), (50, 0, 60, 0, 1.1))
    gap = made.motion((50, 0, 60, 0, far + 0.1), (50, 0, 60, 0, far + 1.1), 0.0, exact=True)
    assert gap.lower_mm <= here <= gap.upper_mm + 1e-9
    around = made.motion((50, 0, 60, 0, 0), (50, 0, 60, 0, 40 * pi), 0.0, exact=True)
    assert around.lower_mm <= 45.0 - hypot(30, 20) <= around.upper_mm + 1e-9


def test_standing_still_is_judged_where_it_stands() -> None:
    # Proven once for the angles holds for pairs that no slide moves, and for no others.
    made = prover(work(box((-30, 30), (-20, 20), (-20, 40))), tool(PIN))
    far, near = (0, 0, 300, 0, 0), (0, 0, 100, 0, 0)
    path = made.path(far, [far, near, near, far], 2.0)
    assert path.status.tolist() == [0, 1, 1, 1]


def test_a_box_of_all_tilts_and_turns() -> None:
    # The corner farthest from both lines decides: sqrt(120^2 + 50^2 + 80^2) when it stands upright.
    made = prover(work(box((-50, 50), (-80, 80), (-20, 120))), tool(PIN))
    low, high = (-200, -200, 300, -1.6, -3.2), (200, 200, 320, 1.6, 3.2)
    truth = 200.0 - np.sqrt(120.0**2 + 50.0**2 + 80.0**2)
    gap = made.box(low, high, 1.0, exact=True, tol_mm=0.2)
    assert gap.lower_mm <= truth <= gap.upper_mm + 1e-9 <= gap.lower_mm + 0.2 + 1e-6
    assert made.box(low, high, truth - 0.5).status is Status.PROVEN
    assert made.box(low, high, truth + 0.5).status is Status.CLOSER


def test_overlap_is_the_shortest_way_out() -> None:
    made = prover(work(box((-10, 10), (-10, 10), (-10, 10))), tool(PIN))
    assert made.overlap_mm((0, 0, 104, 0, 0))[0] == pytest.approx(6.0, abs=1e-3)
    assert made.overlap_mm((12, 0, 60, 0, 0))[0] == pytest.approx(3.0, abs=1e-3)
    assert made.overlap_mm((0, 0, 130, 0, 0)) == (0.0, ("", ""))


# --- random scenes --------------------------------------------------------------------------------


def distance(one: np.ndarray, other: np.ndarray) -> float:
    """Return the distance of the hulls of two sets of points, by a quadratic programme."""
    corners = np.vstack([one, -other]).T
    scale = 1.0 / max(1.0, np.abs(corners).max())
    ones = np.zeros((2, corners.shape[1]))
    ones[0, : len(one)], ones[1, len(one) :] = 1.0, 1.0
    weight = 1e4
    weights, _ = nnls(np.vstack([corners * scale, weight * ones]), [0, 0, 0, weight, weight])
    a, b = weights[: len(one)], weights[len(one) :]
    return float(np.linalg.norm(a / a.sum() @ one - b / b.sum() @ other))


def test_no_scene_drawn_at_random_is_called_clearer_than_it_is() -> None:
    rng = np.random.default_rng(int(os.environ.get("GUDGEON_CLEARANCE_SEED", "1")))
    for _ in range(SCENES):
        head = [rng.normal(size=(rng.integers(4, 9), 3)) * 25 for _ in range(2)]
        part = [
            rng.normal(size=(rng.integers(3, 9), 3)) * 35 + rng.normal(size=3) * 50
            for _ in range(rng.integers(1, 4))
        ]
        axes = []
        for role in ("tilt", "rotary"):
            way = rng.normal(size=3)
            axes.append(
                TurningAxis(
                    role,
                    AxisLine(tuple(rng.normal(size=3) * 50), tuple(way / np.linalg.norm(way))),
                    int(rng.choice([-1, 1])),
                )
            )
        chain = WorkChain(tuple(axes))
        rows = [(*one.line.point_mm, *one.line.direction, one.sense) for one in axes]
        made = prover(
            work(*(hull(one) for one in part)),
            tool(*(hull(one) for one in head)),
            lines(*rows),
        )
        away = rng.normal(size=3)
        away *= rng.uniform(120, 320) / np.linalg.norm(away)
        for _ in range(8):
            start = np.r_[away + rng.normal(size=3) * 30, rng.normal(size=2) * 1.2]
            end = np.r_[away + rng.normal(size=3) * 50, rng.normal(size=2) * 1.2]
            gap = made.motion(start, end, 0.0, exact=True, tol_mm=1e-3)
            # Sampled where it is nearest, and at a few places more.
            shares = np.linspace(0.0, 1.0, 5)
            places = [start + share * (end - start) for share in shares]
            if np.isfinite(gap.upper_mm):
                places.append(np.array(gap.joint))
            sampled = min(
                distance(one + joint[:3], chain.points(joint[3:], other))
                for joint in places
                for one in head
                for other in part
            )
            assert gap.lower_mm <= sampled + 1e-6
            if gap.upper_mm > 0.0:
                there = np.array(gap.joint)
                real = min(
                    distance(one + there[:3], chain.points(there[3:], other))
                    for one in head
                    for other in part
                )
                assert real == pytest.approx(gap.upper_mm, abs=2e-5)
