"""Each term of the bounds is needed: scenes where one interval of time has to bear it whole.

A motion is asked for a hair more than its true smallest gap, so that it must not be proven; the
hair is a small part of the term, and a bound without it would prove the motion at once.
"""

from __future__ import annotations

import itertools
import os
from math import cos, pi, sin

import numpy as np
import pytest

from gudgeon.clearance.pieces import Solid, balls, box, cone, extents, hull, joined
from gudgeon.clearance.prove import Prover, Status
from gudgeon.clearance.scene import Body, Carrier, Lines, Role, Scene

DRAWS = int(os.environ.get("GUDGEON_CLEARANCE_SCENES", "250"))
FAR = 1e4
ONE_LINE = np.array([(0, 0, 0, 0, 0, 1, 1), (0, 0, 0, 0, 0, 1, 1)], dtype=np.float64)
CROSSED = np.array([(0, 0, 0, 1, 0, 0, 1), (0, 0, 0, 0, 0, 1, 1)], dtype=np.float64)
TURNS = [(0.0, 0.1), (0.1, 0.0), (0.06, 0.06), (0.11, 0.02), (0.02, 0.11)]


def made(work: Solid, head: Solid, rows: np.ndarray = ONE_LINE, unsure: float = 0.0) -> Prover:
    return Prover(
        Scene(
            (Body("work", Carrier.ROTARY, Role.FIXTURE, (work,)),), Lines(rows), unsure_mm=unsure
        ),
        [Body("head", Carrier.HEAD, Role.HOLDER, (head,))],
    )


def wall(x: float) -> Solid:
    return box((x, x + 10.0), (-FAR, FAR), (-FAR, FAR))


def about(tilt: float, turn: float, slide: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """Return a motion that is at zero in its middle."""
    half = np.array([0.0, slide, 0.0, tilt, turn]) / 2.0
    return -half, half


# --- in the frame of the head -----------------------------------------------------------------


@pytest.mark.parametrize(("tilt", "turn"), TURNS)
@pytest.mark.parametrize("shape", ["point", "bar"])
def test_a_point_on_its_arc_passes_a_wall(tilt: float, turn: float, shape: str) -> None:
    """On one line the angles add: the arc stands r (tilt + turn)^2 / 8 over its chord.

    The bar has its middle on the line: there the radius of its node has to bear all.
    """
    r = 100.0
    work = hull([(r, 0, 0)] if shape == "point" else [(r, 0, 0), (-r, 0, 0)])
    hair = 0.02 * r * (tilt + turn) ** 2 / 8.0
    scene = made(work, wall(r + 5.0))
    start, end = about(tilt, turn)
    assert scene.motion(start, end, 5.0 + hair).status is Status.CLOSER
    assert scene.motion(start, end, 5.0 - hair).status is Status.PROVEN


def test_both_angles_at_once_throw_a_point_out_of_the_plane() -> None:
    """On the tilt line's own direction: z = r sin(tilt) sin(turn), and nothing from one alone."""
    r, tilt, turn = 100.0, 0.04, 0.01
    top = box((-FAR, FAR), (-FAR, FAR), (5.0 + r * sin(tilt / 2) * sin(turn / 2), 50.0))
    scene = made(hull([(r, 0, 0)]), top, CROSSED)
    start, end = about(tilt, turn)
    hair = 0.02 * 2.0 * tilt * turn * r / 8.0
    # At both ends the point stands highest: the chord bears it and no arc is to blame.
    assert scene.motion(start, end, 5.0 + hair).status is Status.CLOSER
    low = box((-FAR, FAR), (-FAR, FAR), (-50.0, -5.0))
    under = made(hull([(r, 0, 0)]), low, CROSSED)
    # In the middle it stands lowest, below its chord by r tilt turn / 4.
    assert under.motion(start, end, 5.0 + hair).status is Status.CLOSER
    assert under.motion(start, end, 5.0 - hair).status is Status.PROVEN


def test_bounds_hold_for_motions_of_any_size() -> None:
    """A plane set just short of where a point really comes, for turns up to a whole one."""
    rng = np.random.default_rng(8)
    t = np.linspace(0.0, 1.0, 2001)[:, None]
    for _ in range(DRAWS):
        rows = CROSSED if rng.random() < 0.5 else ONE_LINE
        p = rng.normal(size=3) * 80.0 * rng.choice([0.0, 1.0], 3, p=[0.4, 0.6])
        start, end = np.zeros(5), np.zeros(5)
        start[3:] = rng.uniform(-pi, pi, 2) * rng.choice([0, 1], 2)
        end[3:] = start[3:] + rng.uniform(-1, 1, 2) * rng.choice([0.2, 1.0, 2.0 * pi])
        turned = (start + t * (end - start))[:, 3:]
        way = np.broadcast_to(p, (len(t), 3))
        for row, angle in ((rows[1], turned[:, 1]), (rows[0], turned[:, 0])):
            x, y, z = way.T
            c, s = np.cos(angle), np.sin(angle)
            if row[5]:
                way = np.c_[c * x - s * y, s * x + c * y, z]
            else:
                way = np.c_[x, c * y - s * z, s * y + c * z]
        axis = int(rng.integers(3))
        sides = [(-FAR, FAR)] * 3
        sides[axis] = (float(way[:, axis].max()) + 5.0, 500.0)
        scene = made(hull([p]), box(*sides), rows)
        assert scene.motion(start, end, 5.0 + 1e-6).status is Status.CLOSER
        exact = scene.motion(start, end, 0.0, exact=True, tol_mm=0.3)
        assert exact.lower_mm <= 5.0 + 1e-6
        assert exact.upper_mm >= 5.0 - 1e-3


# --- in the frame of what turns ---------------------------------------------------------------


@pytest.mark.parametrize(("tilt", "turn"), TURNS)
@pytest.mark.parametrize(
    ("shape", "slide"), [("point", 0.0), ("point", -8.0), ("bar", 0.0), ("ball", 0.0)]
)
def test_a_small_head_before_a_wide_face_that_turns(
    tilt: float, turn: float, shape: str, slide: float
) -> None:
    """Seen from the face the head goes along r cos u - s u / turned sin u, u the angle turned."""
    r = 100.0
    radius = 3.0 if shape == "ball" else 0.0
    head = hull([(r, 0, 0), (-r, 0, 0)] if shape == "bar" else [(r, 0, 0)], rounding=radius)
    scene = made(wall(r + 5.0 + radius), head)
    start, end = about(tilt, turn, slide)
    whole = tilt + turn
    hair = 0.02 * (r * whole**2 + 2.0 * whole * abs(slide)) / 8.0
    # The face turns one way and the head slides the other: both throw it outward.
    nearest = max(
        r * cos(u * whole) + slide * u * sin(u * whole) for u in np.linspace(-0.5, 0.5, 1001)
    )
    assert scene.motion(start, end, r + 5.0 - nearest + hair).status is Status.CLOSER
    assert scene.motion(start, end, r + 5.0 - nearest - hair).status is Status.PROVEN


def test_a_head_beside_a_wide_face_in_any_motion() -> None:
    """The same drawn at random, against many poses."""
    rng = np.random.default_rng(9)
    t = np.linspace(0.0, 1.0, 2001)
    for _ in range(DRAWS):
        p = rng.normal(size=3) * 60.0
        start = np.r_[rng.normal(size=3) * 40.0 * rng.choice([0, 1]), rng.uniform(-1, 1, 2)]
        step = np.r_[rng.normal(size=3) * 40.0, rng.uniform(-1, 1, 2)] * rng.choice([0, 1], 5)
        end = start + step * rng.choice([0.1, 1.0])
        joint = start + t[:, None] * (end - start)
        x, y, z = (p + joint[:, :3]).T
        c, s = np.cos(joint[:, 3]), np.sin(joint[:, 3])
        y, z = c * y + s * z, c * z - s * y
        c, s = np.cos(joint[:, 4]), np.sin(joint[:, 4])
        seen = np.array([c * x + s * y, c * y - s * x, z])
        axis = int(rng.integers(3))
        sides = [(-FAR, FAR)] * 3
        edge = float(seen[axis].max()) + 5.0
        sides[axis] = (edge, edge + 50.0)
        scene = made(box(*sides), hull([p]), CROSSED)
        assert scene.motion(start, end, 5.0 + 1e-6).status is Status.CLOSER
        exact = scene.motion(start, end, 0.0, exact=True, tol_mm=0.3)
        assert exact.lower_mm <= 5.0 + 1e-6
        assert exact.upper_mm >= 5.0 - 1e-3


def test_the_room_of_a_head_does_not_turn_with_the_work() -> None:
    """A wall that faces +Y while the head may be anywhere along Y."""
    scene = made(wall(25.0), hull([(0, 0, 0)]))
    start, end = (-0.1, -20.0, 0, 0, pi / 2 - 0.05), (0.1, 20.0, 0, 0, pi / 2 + 0.05)
    assert scene.motion(start, end, 5.5, dogleg=True).status is Status.CLOSER
    assert scene.motion(start, end, 4.5, dogleg=True).status is Status.PROVEN


def test_a_whole_turn_ends_where_it_began_and_passes_the_other_side() -> None:
    """Chord and balls of both ends stand 40 away; half a turn on there are 2."""
    scene = made(hull([(20, 0, 0)], rounding=3.0), hull([(-20, 0, 5)]))
    assert scene.motion((0, 0, 0, 0, 0), (0, 0, 0, 0, 2 * pi), 2.1).status is Status.CLOSER
    assert scene.motion((0, 0, 0, 0, 0), (0, 0, 0, 0, 2 * pi), 1.9).status is Status.PROVEN
    low, high = (0, 0, 0, 0, -pi), (0, 0, 0, 0, pi)
    assert scene.box(low, high, 2.1).status is Status.CLOSER
    assert scene.box(low, high, 1.9).status is Status.PROVEN


def test_boxes_of_nodes_hold_what_stands_at_their_sides() -> None:
    """Two small balls at the far ends of long rows: only the box of the row reaches so far."""
    row = [hull([(x, 0, 0)], rounding=0.5) for x in (-100.0, -60.0, 60.0, 100.0)]
    column = [hull([(0, y, 0)], rounding=0.5) for y in (-100.0, -60.0, 60.0, 100.0)]
    for rows, place in ((row, (0.0, 105.0)), (column, (105.0, 0.0))):
        bodies = Body("work", Carrier.ROTARY, Role.FIXTURE, tuple(rows))
        ball = Body("head", Carrier.HEAD, Role.HOLDER, (hull([(0, 0, 0)], rounding=0.5),))
        scene = Prover(Scene((bodies,), Lines(CROSSED)), [ball])
        end = (*place[::-1], 0, 0, 0)
        assert scene.motion(end, end, 4.1).status is Status.CLOSER
        other = Body("head", Carrier.HEAD, Role.HOLDER, tuple(rows))
        at = Body("work", Carrier.ROTARY, Role.FIXTURE, (hull([(0, 0, 0)], rounding=0.5),))
        swapped = Prover(Scene((at,), Lines(CROSSED)), [other])
        for sign in (1.0, -1.0):
            there = tuple(sign * v for v in end)
            assert swapped.motion(there, there, 4.1).status is Status.CLOSER
            assert scene.motion(there, there, 4.1).status is Status.CLOSER


# --- rounding ---------------------------------------------------------------------------------


def test_a_hair_at_a_thousand_metres() -> None:
    scene = made(box((1e6, 1e6 + 10.0), (-9, 9), (-9, 9)), hull([(0, 0, 0)]))
    place = (1e6 - 5.0, 0, 0, 0, 0)
    assert scene.motion(place, place, 5.0 + 1e-8).status is not Status.PROVEN
    assert scene.motion(place, place, 5.0 - 1e-5).status is Status.PROVEN


def test_rounding_never_adds_to_a_gap() -> None:
    """Two points far out, one of them turned: the true distance from longer numbers."""
    wide = np.longdouble
    if np.finfo(wide).nmant <= 52:
        pytest.skip("no longer numbers on this system")
    rng = np.random.default_rng(10)
    # Hardly turned, turned at will, and many turns on.
    for far, spread in ((0.0, 1e-3), (0.0, 3.0), (1e5, 3.0)):
        for _ in range(40):
            p, away = rng.normal(size=3) * 1e5, rng.normal(size=3)
            a, c = rng.uniform(-spread, spread, 2) + far
            x, y, z = (wide(v) for v in p)
            cc, sc, ca, sa = (f(wide(v)) for v in (c, a) for f in (np.cos, np.sin))
            x, y = x * cc - y * sc, x * sc + y * cc
            y, z = y * ca - z * sa, y * sa + z * ca
            # Near to each other and far from both lines: the errors of large lengths decide.
            q = np.array([float(v) for v in (x, y, z)]) + away
            truth = np.sqrt((x - wide(q[0])) ** 2 + (y - wide(q[1])) ** 2 + (z - wide(q[2])) ** 2)
            need = float(np.nextafter(float(truth), np.inf))
            scene = made(hull([p]), hull([(0, 0, 0)]), CROSSED)
            place = (*q, a, c)
            assert scene.motion(place, place, need).status is not Status.PROVEN
            assert scene.box(place, place, need, tol_mm=1e-12).status is not Status.PROVEN
            less = need - (2e-4 if far == 0.0 else 2e-3)
            assert scene.motion(place, place, less).status is Status.PROVEN


# --- what holds what --------------------------------------------------------------------------


def test_balls_boxes_and_nodes_hold_their_pieces() -> None:
    rng = np.random.default_rng(11)
    solids = [
        cone(*rng.normal(size=(2, 3)) * 30, *rng.uniform(0, 20, 2), rounding=rng.uniform(0, 3))
        for _ in range(12)
    ]
    solids += [hull(rng.normal(size=(5, 3)) * 30, rounding=rng.uniform(0, 3)) for _ in range(12)]
    pieces, points = joined(solids)
    middles, radii = balls(pieces, points)
    least, most = extents(pieces, points)
    scene = Prover(
        Scene(
            (Body("work", Carrier.ROTARY, Role.FIXTURE, tuple(solids)),),
            Lines(CROSSED),
        ),
        [Body("head", Carrier.HEAD, Role.HOLDER, (hull([(0, 0, 0)]),))],
    )
    nodes, own = scene._all.nodes, scene._all.pieces
    root = scene._all.roots[0][1]
    for number, piece in enumerate(pieces):
        there = points[piece["first"] : piece["first"] + piece["count"]]
        ways = rng.normal(size=(12, 3))
        ways /= np.linalg.norm(ways, axis=1)[:, None]
        for d in (*np.eye(3), *-np.eye(3), *ways):
            square = np.linalg.norm(np.cross(d, piece["axis"])) if piece["kind"] == 1 else 0.0
            radius = np.array([piece["r0"], piece["r1"]]) if piece["kind"] == 1 else 0.0
            reach = float((there @ d + radius * square).max()) + float(piece["round"])
            assert reach <= middles[number] @ d + radii[number]
            assert reach <= np.maximum(least[number] * d, most[number] * d).sum() + 1e-12
            at = [root]
            while at:
                node = nodes[at.pop()]
                if node["piece"] >= 0:
                    continue
                below = _below(nodes, node)
                if any(_same(own[k], piece) for k in below):
                    assert reach <= node["centre"] @ d + node["radius"]
                    assert reach <= node["centre"] @ d + np.abs(d) @ node["half"] + 1e-12
                at += [node["left"], node["right"]]


def _below(nodes: np.ndarray, node: np.void) -> list[int]:
    if node["piece"] >= 0:
        return [int(node["piece"])]
    return _below(nodes, nodes[node["left"]]) + _below(nodes, nodes[node["right"]])


def _same(one: np.void, other: np.void) -> bool:
    return bool(
        one["round"] == other["round"]
        and one["count"] == other["count"]
        and (one["axis"] == other["axis"]).all()
        and one["r0"] == other["r0"]
    )


# --- what is asked of a path ------------------------------------------------------------------


def test_a_chunk_bears_the_largest_of_its_needs_and_its_whole_room() -> None:
    scene = made(box((0, 10), (-10, 10), (-10, 10)), hull([(0, 0, 0)]))
    ends = [(-30.0, y, 0, 0, 0) for y in np.linspace(-20, 20, 41)]
    ends[20] = (-8.0, 0, 0, 0, 0)
    needs = np.full(41, 2.0)
    assert (scene.path(ends[0], ends, needs).status == Status.PROVEN).all()
    needs[20] = 9.0
    assert scene.path(ends[0], ends, needs).status[20] == Status.CLOSER
    needs[20] = 2.0
    ends[20] = (-1.0, 0, 0, 0, 0)
    found = scene.path(ends[0], ends, needs).status
    assert found[20] == found[21] == Status.CLOSER
    assert (np.delete(found, [20, 21]) == Status.PROVEN).all()


def test_a_chunk_ends_where_the_angles_change() -> None:
    scene = made(box((-40, 40), (-5, 5), (-5, 5)), hull([(0, 0, 0)]))
    ends = [(0.0, 20.0 + 0.1 * i, 0, 0, 0) for i in range(8)]
    ends += [(0.0, 20.0, 0, 0, pi / 2)] + [(0.0, 20.0 + 0.1 * i, 0, 0, 0) for i in range(8)]
    found = scene.path(ends[0], ends, 2.0).status
    assert found[8] == found[9] == Status.CLOSER
    assert (np.delete(found, [8, 9]) == Status.PROVEN).all()


def test_what_is_kept_of_a_pair_at_rest_counts_for_its_angles_and_its_need_alone() -> None:
    table = Body("table", Carrier.TABLE, Role.TABLE, (box((20, 40), (-50, 50), (-50, 50)),))
    arm = Body("arm", Carrier.ROTARY, Role.FIXTURE, (box((-5, 5), (-18, 18), (-5, 5)),))
    scene = Prover(Scene((table, arm), Lines(CROSSED)))
    still, across = (0.0, 0, 0, 0, 0), (0.0, 0, 0, 0, pi / 2)
    # 15 away at rest, 2 across, 1.3 on the way where the corner passes.
    assert scene.motion(across, across, 0.0, exact=True).upper_mm == pytest.approx(2.0)
    places = [still, still, across, across, across, still, still]
    needs = np.array([14.0, 14.0, 1.0, 1.9, 2.1, 1.0, 16.0])
    assert scene.path(still, places, needs).status.tolist() == [0, 0, 0, 0, 1, 0, 1]
    # From one need to a larger one, and from one angle to the other, nothing is carried over.
    assert scene.path(still, [still, still], np.array([2.0, 16.0])).status.tolist() == [0, 1]
    assert scene.path(across, [across, across], np.array([1.0, 3.0])).status.tolist() == [0, 1]


def test_a_dogleg_may_go_anywhere_between_its_ends() -> None:
    scene = made(box((0, 10), (0, 10), (-10, 10)), hull([(0, 0, 0)]))
    start, end = (-20.0, 5.0, 0, 0, 0), (5.0, -20.0, 0, 0, 0)
    assert scene.motion(start, end, 2.0).status is Status.PROVEN
    assert scene.motion(start, end, 2.0, dogleg=True).status is Status.CLOSER
    # 4 from the corner of the room that it may take.
    end = (-4.0, -20.0, 0, 0, 0)
    assert scene.motion(start, end, 3.99, dogleg=True).status is Status.PROVEN
    assert scene.motion(start, end, 4.01, dogleg=True).status is Status.CLOSER


def test_a_bulge_and_what_is_unsure_both_come_off() -> None:
    scene = made(box((0, 10), (-10, 10), (-10, 10)), hull([(0, 0, 0)]), unsure=0.5)
    place = (-5.0, 0, 0, 0, 0)
    gap = scene.motion(place, place, 0.0, exact=True, bulge_mm=0.25)
    assert gap.lower_mm <= 4.25 + 1e-9
    assert gap.upper_mm == pytest.approx(4.25)
    assert scene.motion(place, place, 4.26, bulge_mm=0.25).status is not Status.PROVEN
    assert scene.motion(place, place, 4.24, bulge_mm=0.25).status is Status.PROVEN
    assert scene.box(place, place, 4.51).status is not Status.PROVEN
    assert scene.box(place, place, 4.49).status is Status.PROVEN
    assert scene.box(place, place, 0.0, exact=True).upper_mm == pytest.approx(4.5)
    assert scene.path(place, [place], 4.51).status[0] != Status.PROVEN


def test_rounding_radii_come_off_everywhere() -> None:
    for one, other in itertools.product((0.0, 3.0), repeat=2):
        scene = made(hull([(0, 0, 0)], rounding=one), hull([(0, 0, 0)], rounding=other))
        place, truth = (20.0, 0, 0, 0, 0), 20.0 - one - other
        for ask in (scene.motion, scene.box):
            assert ask(place, place, truth + 1e-3).status is Status.CLOSER
            assert ask(place, place, truth - 1e-3, tol_mm=1e-4).status is Status.PROVEN
        path = scene.path(place, [place, place], truth + 1e-3)
        assert (path.status == Status.CLOSER).all()
        around = scene.motion((20, 0, 0, 0, 0), (20, 0, 0, 0, 2 * pi), truth + 1e-3)
        assert around.status is Status.CLOSER


# --- cells of angles --------------------------------------------------------------------------


@pytest.mark.parametrize(("tilt", "turn"), TURNS)
@pytest.mark.parametrize("shape", ["point", "bar"])
def test_a_cell_of_angles_bears_both_arcs(tilt: float, turn: float, shape: str) -> None:
    """The middle of the cell stands a hair beside the outermost place, which is in the cell."""
    r = 100.0
    work = hull([(r, 0, 0)] if shape == "point" else [(r, 0, 0), (-r, 0, 0)])
    scene = made(work, wall(r + 5.0))
    start, end = about(tilt, turn)
    beside = 0.03 * (end - start) / 2.0
    hair = 0.9 * r * beside.sum() ** 2 / 2.0
    low, high = start + beside, end + beside
    assert scene.motion(beside, beside, 5.0 + hair).status is Status.PROVEN
    assert scene.box(low, high, 5.0 + hair, tol_mm=1e-7).status is not Status.PROVEN
    assert scene.box(low, high, 5.0 - hair, tol_mm=1e-7).status is Status.PROVEN


def test_a_box_takes_the_whole_room_of_the_slides() -> None:
    scene = made(wall(25.0), hull([(0, 0, 0)]))
    for axis, sign in ((0, 1.0), (0, -1.0)):
        low, high = np.zeros(5), np.zeros(5)
        low[axis], high[axis] = -20.0 * sign, 20.0 * sign
        low[1:3], high[1:3] = -7.0, 9.0
        assert scene.box(low, high, 5.1).status is Status.CLOSER
        assert scene.box(low, high, 4.9).status is Status.PROVEN


def test_a_cover_of_the_base_goes_with_the_slides_of_the_table_alone() -> None:
    """The table makes X and Y: in T head and cover go along together, but for Z."""
    cover = Body("cover", Carrier.BASE, Role.GUARD, (box((40, 60), (-50, 50), (-50, 50)),))
    pin = Body("pin", Carrier.HEAD, Role.HOLDER, (hull([(35, 0, 0)]),))
    scene = Prover(Scene((cover,), Lines(CROSSED)), [pin])
    for x, y in itertools.product((-500.0, 0.0, 500.0), repeat=2):
        place = (x, y, 0, 0, 0)
        assert scene.motion(place, place, 5.1).status is Status.CLOSER
        assert scene.motion(place, place, 4.9).status is Status.PROVEN
        assert scene.box(place, place, 5.1).status is Status.CLOSER
    above = (0, 0, 62.0, 0, 0)
    assert scene.motion(above, above, 12.9).status is Status.PROVEN
    assert scene.motion(above, above, 13.1).status is Status.CLOSER


def test_a_sense_turns_the_work_the_other_way() -> None:
    rows = CROSSED.copy()
    rows[:, 6] = -1.0
    work, head = hull([(50, 0, 0)]), hull([(0, -50, 10)])
    place = (0.0, 0, 0, 0, pi / 2)
    assert made(work, head, rows).motion(place, place, 11.0).status is Status.CLOSER
    assert made(work, head, CROSSED).motion(place, place, 11.0).status is Status.PROVEN
    assert made(work, head, rows).box(place, place, 11.0).status is Status.CLOSER


def test_a_cell_reaches_farther_from_the_tilt_line_than_its_middle() -> None:
    """In the middle the point is on the tilt line; turned it stands r sin(turn) beside it."""
    r, tilt, turn = 100.0, 0.8, 0.1
    top = r * sin(turn)
    scene = made(hull([(r, 0, 0)]), box((-FAR, FAR), (top + 5.0, top + 50.0), (-FAR, FAR)), CROSSED)
    shift = 0.02
    low, high = (0, 0, 0, -tilt + shift, -turn), (0, 0, 0, tilt + shift, turn)
    assert scene.box(low, high, 5.0 + 0.2 * top * tilt**2, tol_mm=1e-7).status is not Status.PROVEN
    assert scene.box(low, high, 5.0 - 1e-3, tol_mm=1e-7).status is Status.PROVEN


def test_cells_hold_for_ranges_of_any_size() -> None:
    rng = np.random.default_rng(12)
    for _ in range(DRAWS):
        p = rng.normal(size=3) * 80.0 * rng.choice([0.0, 1.0], 3, p=[0.4, 0.6])
        middle = rng.uniform(-pi, pi, 2) * rng.choice([0, 1], 2)
        half = rng.uniform(0, 1, 2) * rng.choice([0.1, 1.0, pi]) * rng.choice([0, 1], 2)
        a = np.linspace(middle[0] - half[0], middle[0] + half[0], 201)[:, None]
        c = np.linspace(middle[1] - half[1], middle[1] + half[1], 201)[None, :]
        x, y = np.cos(c) * p[0] - np.sin(c) * p[1], np.sin(c) * p[0] + np.cos(c) * p[1]
        seen = (
            np.broadcast_to(x, (201, 201)),
            np.cos(a) * y - np.sin(a) * p[2],
            np.sin(a) * y + np.cos(a) * p[2],
        )
        axis = int(rng.integers(3))
        sides = [(-FAR, FAR)] * 3
        edge = float(seen[axis].max()) + 5.0
        sides[axis] = (edge, edge + 50.0)
        scene = made(hull([p]), box(*sides), CROSSED)
        low, high = np.r_[0, 0, 0, middle - half], np.r_[0, 0, 0, middle + half]
        gap = scene.box(low, high, 0.0, exact=True, tol_mm=0.3)
        assert gap.lower_mm <= 5.0 + 1e-9
        assert gap.upper_mm >= 5.0 - 0.05
        assert scene.box(low, high, 5.0 + 1e-3, tol_mm=1e-4).status is not Status.PROVEN


def test_what_moves_is_as_far_from_its_lines_as_it_gets() -> None:
    """From the tilt line out: 90 degrees on, the point stands its whole radius from it."""
    r = 100.0
    scene = made(hull([(r, 0, 0)]), box((-FAR, FAR), (-FAR, FAR), (r + 5.0, r + 50.0)), CROSSED)
    start, end = (0, 0, 0, 0, 0), (0, 0, 0, pi, pi)
    truth = r + 5.0 - max(r * sin(u) ** 2 for u in np.linspace(0, pi, 1001))
    assert scene.motion(start, end, truth + 1e-3).status is Status.CLOSER
    assert scene.box(start, end, truth + 1e-3, tol_mm=1e-4).status is Status.CLOSER
