"""Bodies of revolution hold what a body sweeps in a whole turn."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from gudgeon.clearance.assembly import turned
from gudgeon.clearance.pieces import CONE, Solid, box, cone, hull, triangles
from gudgeon.clearance.prove import Prover, Status
from gudgeon.clearance.revolve import _extents, _profile, revolved, turns_whole
from gudgeon.clearance.scene import Body, Carrier, Lines, Role, Scene

TILTED = np.array([0.1, -0.2, 1.0]) / math.sqrt(1.05)
LINE = np.array([30.0, -20.0, 5.0, *TILTED, 1.0])


def scene(*solids: Solid, line: np.ndarray = LINE) -> Scene:
    rows = np.zeros((2, 7))
    rows[0] = [0, 0, 0, 1, 0, 0, 1]
    rows[1] = line
    return Scene((Body("load", Carrier.ROTARY, Role.FIXTURE, solids),), Lines(rows))


def holds(solids: tuple[Solid, ...], point: np.ndarray) -> bool:
    """Tell whether a point is in one of the frusta."""
    for pieces, corners in solids:
        piece = pieces[0]
        assert piece["kind"] == CONE
        p, q = corners
        length = float(np.linalg.norm(q - p))
        along = float((point - p) @ piece["axis"])
        off = float(np.linalg.norm(np.cross(piece["axis"], point - p)))
        share = min(max(along / length, 0.0), 1.0)
        radius = piece["r0"] + share * (piece["r1"] - piece["r0"])
        if -piece["round"] <= along <= length + piece["round"] and off <= radius + piece["round"]:
            return True
    return False


def samples(solid: Solid, rng: np.random.Generator, count: int = 40) -> np.ndarray:
    pieces, corners = solid
    found = []
    for piece in pieces:
        first, number = int(piece["first"]), int(piece["count"])
        own = corners[first : first + number]
        for _ in range(count):
            if piece["kind"] == CONE:
                share, angle = rng.random(), rng.random() * 2 * math.pi
                u = piece["axis"]
                e = np.cross(u, [1.0, 0.0, 0.0] if abs(u[0]) < 0.9 else [0.0, 1.0, 0.0])
                e /= np.linalg.norm(e)
                rim = math.cos(angle) * e + math.sin(angle) * np.cross(u, e)
                r = piece["r0"] + share * (piece["r1"] - piece["r0"])
                found.append(own[0] + share * (own[1] - own[0]) + r * rim)
            else:
                w = rng.dirichlet(np.ones(number) * 0.5)
                found.append(w @ own)
    return np.array(found)


number = st.floats(-80.0, 80.0)


@settings(max_examples=60, deadline=None)
@given(
    corners=st.lists(st.tuples(number, number, number), min_size=4, max_size=8),
    ends=st.tuples(number, number, number, number, number, number),
    radii=st.tuples(st.floats(0.0, 40.0), st.floats(0.0, 40.0)),
    seed=st.integers(0, 1000),
)
# A point about the line: a disc so thin that its rounded ends lie askew.
@example(corners=[(0.0, 0.0, 0.0)] * 4, ends=(0, 0, 0, 0, 0, 1), radii=(0.0, 0.0), seed=0)
def test_every_turn_of_every_point_is_held(
    corners: list[tuple[float, ...]],
    ends: tuple[float, ...],
    radii: tuple[float, float],
    seed: int,
) -> None:
    if math.dist(ends[:3], ends[3:]) < 1.0:
        return
    rng = np.random.default_rng(seed)
    for solid in (hull(np.array(corners)), cone(ends[:3], ends[3:], *radii)):
        made = revolved(scene(solid)).bodies[0]
        assert made.carrier is Carrier.TILT
        for point in samples(solid, rng):
            turn, shift = turned(LINE, rng.random() * 2 * math.pi)
            assert holds(made.solids, turn @ point + shift)


def test_many_triangles_are_held_by_slices() -> None:
    rng = np.random.default_rng(4)
    solid = triangles(rng.normal(size=(300, 3, 3)) * 40.0)
    made = revolved(scene(solid)).bodies[0]
    for point in samples(solid, rng, 3):
        turn, shift = turned(LINE, rng.random() * 2 * math.pi)
        assert holds(made.solids, turn @ point + shift)


def test_a_cylinder_on_the_line_and_a_square_tower_come_out_exact() -> None:
    upright = np.array([0.0, 0, 0, 0, 0, 1, 1])
    bar = revolved(scene(cone((0, 0, 5), (0, 0, 50), 30.0, 20.0), line=upright)).bodies[0]
    pieces, corners = bar.solids[0]
    assert len(bar.solids) == 1
    assert (pieces[0]["r0"], pieces[0]["r1"]) == pytest.approx((30.0, 20.0), abs=1e-6)
    assert corners[:, 2] == pytest.approx([5.0, 50.0], abs=1e-6)
    tower = revolved(scene(box((-40, 40), (-40, 40), (0, 100)), line=upright)).bodies[0]
    assert tower.solids[0][0][0]["r0"] == pytest.approx(40.0 * math.sqrt(2.0), abs=1e-6)


def test_what_is_clear_of_the_swept_body_is_clear_at_every_turn() -> None:
    # A square tower beside a bar: clear by 3 mm when its corner points there, by 3 + 40(sqrt2 - 1)
    # when its side does.
    upright = np.array([0.0, 0, 0, 0, 0, 1, 1])
    made = scene(box((-40, 40), (-40, 40), (0, 100)), line=upright)
    tool = (Body("bar", Carrier.HEAD, Role.HOLDER, (cone((0, 0, 0), (0, 0, 90), 5.0, 5.0),)),)
    at = [40.0 * math.sqrt(2.0) + 8.0, 0.0, 5.0, 0.0, 0.0]
    low, high = np.array(at), np.array(at)
    high[4] = 2.0 * math.pi
    swept = Prover(revolved(made), tool).box(low, high, 0.5, exact=True, tol_mm=1e-3)
    assert swept.lower_mm <= 3.0 <= swept.upper_mm + 1e-6
    assert swept.upper_mm == pytest.approx(3.0, abs=2e-3)
    assert Prover(made, tool).motion(low, high, 2.9).status is Status.PROVEN
    assert Prover(made, tool).motion(low, high, 3.1).status is Status.CLOSER


def test_whole_turns() -> None:
    assert turns_whole(0.0, 2.0 * math.pi)
    assert not turns_whole(0.0, 6.2)


def test_a_unit_without_rotary_axis_stays_as_it_is() -> None:
    made = scene(box((0, 1), (0, 1), (0, 1)), line=np.zeros(7))
    assert revolved(made) is made


def test_extents_of_many_pieces_are_those_of_each_profile() -> None:
    """A fixture of bars and a rounded hull: piece by piece against all of them at once."""
    rng = np.random.default_rng(8)
    point, along = np.array([10.0, -5.0, 3.0]), np.array([2.0, 1.0, 2.0]) / 3.0
    solids = [
        cone(rng.normal(0, 50, 3), rng.normal(0, 50, 3), *rng.uniform(1, 20, 2), 0, 0.5)
        for _ in range(5)
    ]
    solids += [hull(rng.normal(0, 50, (6, 3)), 0, 2.0) for _ in range(5)]
    for part in solids:
        pieces, corners = part
        low, high, wide = _extents(part, point, along)
        z, r, rounding = _profile(pieces[0], corners, point, along)
        np.testing.assert_allclose(low[0], z.min() - rounding, rtol=1e-12, atol=1e-9)
        np.testing.assert_allclose(high[0], z.max() + rounding, rtol=1e-12, atol=1e-9)
        np.testing.assert_allclose(wide[0], r.max() + rounding, rtol=1e-12, atol=1e-9)
