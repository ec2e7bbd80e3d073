"""Laws of every path of a cutter's centre: no gap, the radius kept, mirrors, the way back."""

from __future__ import annotations

from cmath import phase, rect
from dataclasses import replace
from math import hypot, isfinite, pi

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from gudgeon.program.cutter import CORNERS, LEADS, PlaneMove, centre_path
from gudgeon.program.doubts import Code, Halt
from tests.program.plane_paths import (
    LEAD,
    NEXT,
    arc,
    assert_whole,
    backwards,
    distances,
    ends,
    flat,
    lines,
    sampled,
)

angles = st.floats(-1.0, 1.0)
steps = st.tuples(
    angles.map(lambda a: 0.0 if abs(a) < 0.2 else a),  # bend at the corner, often none
    st.floats(0.5, 40.0),  # length
    st.sampled_from([-1.0, 0.0, 1.0]),  # which way it curves
    st.floats(0.2, 1.0),  # angle of an arc
)
radii = st.floats(0.1, 6.0)
sides = st.sampled_from([1, -1])


@st.composite
def contours(draw: st.DrawFn) -> list[PlaneMove]:
    """Draw lines and arcs that turn by at most 2 rad between neighbours; straight leads."""
    chosen = draw(st.lists(steps, min_size=1, max_size=6))
    at, heading = 0j, draw(st.floats(-3.0, 3.0))
    first = at - 20 * rect(1.0, heading + draw(angles))
    moves = [PlaneMove(first.real, first.imag, 0, 0)]
    for bend, length, curve, angle in chosen:
        heading += bend
        if curve == 0.0:
            end = at + length * rect(1.0, heading)
            moves.append(PlaneMove(at.real, at.imag, end.real, end.imag))
        else:
            middle = at + 1j * curve * length / angle * rect(1.0, heading)
            moves.append(arc((at.real, at.imag), (middle.real, middle.imag), curve * angle))
            heading += curve * angle
        at = complex(moves[-1].u1, moves[-1].v1)
    last = at + 20 * rect(1.0, heading + draw(angles))
    return [*moves, PlaneMove(at.real, at.imag, last.real, last.imag)]


def tried(moves, side, radius, corner, lead=NEXT) -> list[list[PlaneMove]] | Code:
    try:
        return centre_path(moves, side, radius, corner, lead=lead)
    except Halt as halt:
        return halt.code


@settings(max_examples=300)
@given(contours(), sides, radii, st.sampled_from(CORNERS), st.sampled_from(LEADS))
def test_the_path_has_no_gap_and_ends_as_programmed(moves, side, radius, corner, lead) -> None:
    path = tried(moves, side, radius, corner, lead)
    if isinstance(path, Code):
        assert path in (Code.CUTTER_GOUGE, Code.CUTTER_LEAD)
        return
    assert len(path) == len(moves)
    assert_whole(path, moves)
    assert (path[-1][-1].u1, path[-1][-1].v1) == (moves[-1].u1, moves[-1].v1)


@settings(max_examples=300)
@given(contours(), sides, radii, st.sampled_from(CORNERS))
def test_every_part_keeps_the_radius_from_its_neighbours(moves, side, radius, corner) -> None:
    """Exactly the radius beside its own move, never less from the moves before and after."""
    path = tried(moves, side, radius, corner)
    if isinstance(path, Code):
        return
    for number in range(1, len(moves) - 1):
        for part in path[number]:
            points = sampled(part)
            near = [
                distances(points, moves[other])
                for other in range(max(1, number - 1), min(len(moves) - 1, number + 2))
            ]
            assert np.min(near) >= radius - 1e-9
            if corner == "arc":
                beside = distances(points, moves[number])
                assert_allclose(beside, radius, rtol=0, atol=1e-9)


@settings(max_examples=200)
@given(contours(), sides, radii, st.sampled_from(CORNERS), st.sampled_from(LEADS))
def test_mirrored_path_with_the_cutter_on_the_other_side(moves, side, radius, corner, lead) -> None:
    def flipped(move: PlaneMove) -> PlaneMove:
        centre = move.centre and (move.centre[0], -move.centre[1])
        return PlaneMove(move.u0, -move.v0, move.u1, -move.v1, centre, -move.sweep, move.corner)

    here = tried(moves, side, radius, corner, lead)
    there = tried([flipped(move) for move in moves], -side, radius, corner, lead)

    if isinstance(here, Code) or isinstance(there, Code):
        assert here == there
        return
    assert [len(parts) for parts in here] == [len(parts) for parts in there]
    assert_allclose(ends(there) * (1, -1), ends(here), rtol=0, atol=1e-9)


@settings(max_examples=200)
@given(contours(), sides, radii, st.sampled_from(CORNERS), st.sampled_from([NEXT, LEAD]))
def test_travelled_backwards_the_path_is_the_same(moves, side, radius, corner, lead) -> None:
    here = tried(moves, side, radius, corner, lead)
    there = tried(backwards(moves), -side, radius, corner, lead)

    if isinstance(here, Code) or isinstance(there, Code):
        assert type(here) is type(there)  # which of two faults comes first may differ
        return
    again = [(part.u0, part.v0) for part in reversed(flat(there))]
    assert_allclose(again, ends(here), rtol=0, atol=1e-6)


@st.composite
def convex(draw: st.DrawFn) -> list[PlaneMove]:
    """Draw a closed convex polygon, counter-clockwise, entered in the middle of its first side."""
    count = draw(st.integers(3, 9))
    shares = np.cumsum(draw(st.lists(st.floats(1, 3), min_size=count, max_size=count)))
    wide = draw(st.floats(60, 200))
    around = np.exp(2j * pi * shares / shares[-1])
    points = [(complex(p).real * wide, complex(p).imag * 60) for p in around]
    middle = tuple(np.mean([points[0], points[1]], axis=0))
    along = np.subtract(points[1], points[0])
    # From outside; the first side may run through the origin.
    away = 150.0 / hypot(*along) * np.array([along[1], -along[0]])
    lead = (middle[0] + away[0], middle[1] + away[1])
    return lines(lead, middle, *points[1:], points[0], middle, lead)


@given(convex(), radii, st.sampled_from(CORNERS))
def test_round_a_convex_polygon_the_centre_stays_clear_of_all_of_it(polygon, radius, corner):
    """Outside; the length is that of the polygon and, with arcs, one circle of the cutter."""
    path = centre_path(polygon, -1, radius, corner, lead=NEXT)

    cut = [part for parts in path[1:-1] for part in parts]
    points = np.concatenate([sampled(part) for part in cut])
    assert min(distances(points, move).min() for move in polygon[1:-1]) >= radius - 1e-9
    if corner == "arc":
        round_ = sum(radius * abs(part.sweep) for part in cut if part.centre is not None)
        straight = sum(hypot(p.u1 - p.u0, p.v1 - p.v0) for p in cut if p.centre is None)
        around = sum(hypot(m.u1 - m.u0, m.v1 - m.v0) for m in polygon[1:-1])
        assert round_ == pytest.approx(2 * pi * radius)
        assert straight == pytest.approx(around)


@given(convex(), radii)
def test_inside_a_convex_polygon_the_centre_stays_clear_of_all_of_it(polygon, radius):
    path = tried(polygon, 1, radius, None)
    if isinstance(path, Code):
        assert path is Code.CUTTER_GOUGE
        return
    points = np.concatenate([sampled(part) for part in flat(path[1:-1])])
    near = np.min([distances(points, move) for move in polygon[1:-1]], axis=0)
    assert near.min() >= radius - 1e-9
    assert near.max() <= radius + 1e-9


anything = st.one_of(
    st.floats(allow_nan=True, allow_infinity=True),
    st.sampled_from([0.0, 1.0, -1.0, 1e-9, 1e300]),
    st.floats(-20, 20),
)
pairs = st.tuples(anything, anything)


@settings(max_examples=500)
@given(
    st.lists(st.tuples(pairs, pairs, st.one_of(st.none(), pairs), anything), max_size=6),
    sides,
    anything,
    st.sampled_from([None, *CORNERS]),
    st.sampled_from([None, *LEADS]),
    st.booleans(),
)
def test_nothing_but_a_halt_ever_comes_out(moves, side, radius, corner, lead, lead_out) -> None:
    path = [PlaneMove(*one, *two, centre, sweep) for one, two, centre, sweep in moves]
    try:
        found = centre_path(path, side, radius, corner, lead=lead, lead_out=lead_out)
    except Halt as halt:
        assert 0 <= dict(halt.detail)["index"] < max(1, len(path))
        return
    assert len(found) == len(path)
    if radius != 0.0:
        assert all(isfinite(x) for p in flat(found) for x in (p.u0, p.v0, p.u1, p.v1, p.sweep))


@given(st.floats(-3.0, 3.0), radii.filter(lambda r: r < 5.5), sides)
def test_joints_tangent_but_for_rounded_numbers_need_no_rule(heading, radius, side) -> None:
    """A round-ended slot 12 wide at any angle, written to 0.001: no doubt, right to 3 um."""
    way = rect(1.0, heading)
    corners = [way * p for p in (20, 20 - 6j, 40 - 6j, 40 + 6j, 6j, -6j, 20 - 6j, 20)]
    points = [(round(p.real, 3), round(p.imag, 3)) for p in corners]
    middle = (way * 40).real, (way * 40).imag
    moves = lines(*points)
    for number, centre in ((2, (round(middle[0], 3), round(middle[1], 3))), (4, (0.0, 0.0))):
        moves[number] = replace(moves[number], centre=centre, sweep=0.0)
        one, two = (complex(*p) - complex(*centre) for p in points[number : number + 2])
        moves[number] = replace(moves[number], sweep=phase(-two / one) + pi)

    path = centre_path(moves, side, radius, None, lead=NEXT)

    for parts in path[1:-1]:
        for part in parts:
            beside = (sampled(part) / way).round(12)
            exact = np.abs(beside - np.clip(beside.real, 0, 40))
            assert_allclose(exact, 6 - side * radius, rtol=0, atol=3e-3)
