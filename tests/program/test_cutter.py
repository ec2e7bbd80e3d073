"""Cutter radius compensation: closed forms, laws of set-off paths, what does not fit."""

from __future__ import annotations

from math import acos, asin, atan2, cos, hypot, inf, nan, pi, sin, sqrt

import pytest
from numpy.testing import assert_allclose

from gudgeon.program.cutter import PlaneMove, centre_path
from gudgeon.program.doubts import Code, Halt
from tests.program.plane_paths import (
    LEAD,
    NEXT,
    arc,
    assert_ends,
    assert_whole,
    backwards,
    ends,
    flat,
    halted,
    lines,
)

# --- closed forms, worked by hand --------------------------------------------

SQUARE = lines((-20, 0), (0, 0), (0, 30), (30, 30), (30, 0), (0, 0), (-20, 0))


def test_outside_of_a_square_with_arcs() -> None:
    """Clockwise with the cutter left: straights set off by 5, quarter arcs of 5 at 3 corners."""
    path = centre_path(SQUARE, 1, 5.0, "arc", lead=NEXT)

    assert [len(parts) for parts in path] == [1, 1, 2, 2, 2, 1]
    assert_ends(
        path, (-5, 0), (-5, 30), (0, 35), (30, 35), (35, 30), (35, 0), (30, -5), (0, -5), (-20, 0)
    )
    quarter = path[2][0]
    assert (quarter.centre, quarter.corner) == ((0, 30), True)
    assert quarter.sweep == pytest.approx(-pi / 2, abs=1e-15)
    assert not path[2][1].corner


def test_outside_of_a_square_with_sharp_corners() -> None:
    path = centre_path(SQUARE, 1, 5.0, "sharp", lead=NEXT)

    assert_ends(path, (-5, 0), (-5, 35), (35, 35), (35, -5), (0, -5), (-20, 0))
    assert all(part.centre is None and not part.corner for part in flat(path))


def test_inside_of_a_square_pocket() -> None:
    """Counter-clockwise, cutter left: a square smaller by the radius on every side."""
    moves = lines((20, 10), (20, 0), (40, 0), (40, 40), (0, 40), (0, 0), (20, 0), (20, 10))

    path = centre_path(moves, 1, 5.0, None, lead=NEXT)

    assert_ends(path, (20, 5), (35, 5), (35, 35), (5, 35), (5, 5), (20, 5), (20, 10))


@pytest.mark.parametrize(("side", "radius_after"), [(1, 7.0), (-1, 13.0)])
def test_full_circle(side: int, radius_after: float) -> None:
    """Counter-clockwise about the origin: 10 less or more the radius 3."""
    moves = [
        PlaneMove(2, 0, 10, 0),
        PlaneMove(10, 0, 10, 0, (0, 0), 2 * pi),
        PlaneMove(10, 0, 2, 0),
    ]

    (one, round_, out) = flat(centre_path(moves, side, 3.0, None, lead=NEXT))

    assert (one.u1, one.v1) == (radius_after, 0)
    assert (round_.centre, round_.sweep) == ((0, 0), 2 * pi)
    assert (out.u0, out.v0, out.u1, out.v1) == (radius_after, 0, 2, 0)


def test_line_into_tangent_arc_has_no_corner() -> None:
    """A rounded end: line, half circle of 10, line; the half circle becomes 14 outside."""
    moves = [
        *lines((-30, -30), (-30, -10), (0, -10)),
        arc((0, -10), (0, 0), pi),
        *lines((0, 10), (-30, 10), (-30, 30)),
    ]

    path = centre_path(moves, -1, 4.0, None, lead=NEXT)

    assert [len(parts) for parts in path] == [1] * 5
    assert_ends(path, (-30, -14), (0, -14), (0, 14), (-30, 14), (-30, 30))
    assert path[2][0].sweep == pytest.approx(pi, abs=1e-12)


def test_slot_with_round_ends_inside() -> None:
    """A slot 20 wide, 40 between centres, cutter 6 inside: the same slot with ends of 4."""
    moves = [
        *lines((20, 0), (20, -10), (40, -10)),
        arc((40, -10), (40, 0), pi),
        *lines((40, 10), (0, 10)),
        arc((0, 10), (0, 0), pi),
        *lines((0, -10), (20, -10), (20, 0)),
    ]

    path = centre_path(moves, 1, 6.0, None, lead=NEXT)

    assert_ends(path, (20, -4), (40, -4), (40, 4), (0, 4), (0, -4), (20, -4), (20, 0))


def test_inside_corner_of_line_and_arc() -> None:
    """Along y = 0 into an arc about (10, 8) of radius 10, both cut short.

    By hand: set-off line y = 2, set-off circle of 8 about (10, 8): crossing at
    x = 10 + sqrt(64 - 36).
    """
    start = (16.0, 0.0)
    moves = [
        *lines((-10, 20), (-10, 0), start),
        arc(start, (10, 8), pi / 2),
    ]
    moves += lines((moves[-1].u1, moves[-1].v1), (10, 8))

    path = centre_path(moves, 1, 2.0, None, lead=NEXT)

    meet = (10 + sqrt(28), 2)
    assert ends(path)[1] == pytest.approx(meet, abs=1e-12)
    assert path[2][0].sweep == pytest.approx(
        pi / 2 + atan2(-8, 6) - atan2(2 - 8, sqrt(28)), abs=1e-12
    )
    # The same travelled backwards with the cutter on the other side: arc, then line.
    back = centre_path(backwards(moves), -1, 2.0, None, lead=NEXT)
    assert ends(back)[1] == pytest.approx(meet, abs=1e-12)


def test_of_two_meetings_the_first_on_the_way_counts() -> None:
    """The same chord, but the arc of 300 degrees crosses the line a second time further on."""
    moves = [*lines((-20, 20), (-20, 0), (6, 0)), arc((6, 0), (0, 8), 5 * pi / 3)]
    moves += lines((moves[-1].u1, moves[-1].v1), (0, 8))

    path = centre_path(moves, 1, 2.0, None, lead=NEXT)

    assert_allclose(ends(path)[1], (sqrt(28), 2), rtol=0, atol=1e-12)


def test_slight_inside_corner_is_cut_short_too() -> None:
    """Bend of 2e-6: by hand the straight loses r tan(1e-6)."""
    moves = lines((0, -9), (0, 0), (30, 0), (60, 60e-6), (60, 20))

    path = centre_path(moves, 1, 4.0, None, lead=NEXT)

    assert_allclose(ends(path)[1], (30 - 4e-6, 4), rtol=0, atol=1e-9)


def test_inside_corner_of_two_arcs() -> None:
    """Two circles of 10 about (-6, 0) and (6, 0) meet at (0, -8); set off inside by 2.

    By hand: circles of 8 about the same centres meet at (0, -sqrt(64 - 36)).
    """
    one = arc((-6, -10), (-6, 0), acos(0.8))
    two = arc((0, -8), (6, 0), acos(0.8))
    moves = [PlaneMove(-6, 0, -6, -10), one, two, PlaneMove(two.u1, two.v1, 6, 0)]

    with pytest.raises(Halt):  # cutter above: the corner points up into it, an outside one
        centre_path(moves, 1, 2.0, None, lead=NEXT)
    below = centre_path(moves, -1, 2.0, None, lead=NEXT)

    assert ends(below)[1] == pytest.approx((0, -sqrt(144 - 36)), abs=1e-12)


@pytest.mark.parametrize("turn", [0.3, 1.2, pi / 2, 2.0, 3.0, pi])
def test_sharp_corner_reaches_as_far_as_stated(turn: float) -> None:
    """Up to 90 degrees the mitre r / cos(turn / 2); beyond, on by r, across, back by r."""
    tip = (50.0, 0.0)
    moves = lines((0, -9), (0, 0), tip, (50 + 60 * cos(-turn), 60 * sin(-turn)), (200, 200))

    path = centre_path(moves, 1, 4.0, "sharp", lead=NEXT)

    reach = [hypot(u - tip[0], v - tip[1]) for u, v in ends(path)[1:]]
    if turn <= pi / 2:
        assert len(path[2]) == 1
        assert reach[0] == pytest.approx(4 / cos(turn / 2), abs=1e-12)
    else:
        assert len(path[2]) == 2
        assert reach[:2] == pytest.approx([4 * sqrt(2)] * 2, abs=1e-12)
        assert ends(path)[1] == pytest.approx((54, 4))
        assert path[2][0].corner


def test_sharp_corner_prolongs_arcs_along_their_tangents() -> None:
    """A half circle over the top ends downwards at (20, 0); the next runs back to the left.

    By hand, cutter 3 outside (left of clockwise): down from (23, 0) to (23, -3), then left.
    """
    moves = [
        PlaneMove(0, -20, 0, 0),
        arc((0, 0), (10, 0), -pi),
        *lines((20, 0), (0, 0), (0, -20)),
    ]

    path = centre_path(moves, 1, 3.0, "sharp", lead=NEXT)

    assert_ends(path, (-3, 0), (23, 0), (23, -3), (0, -3), (0, -20))
    assert [part.corner for part in path[1]] == [False, True]


def test_straight_back_goes_round_the_tip() -> None:
    moves = lines((0, -9), (0, 0), (30, 0), (0, 0), (0, -9))

    path = centre_path(moves, 1, 5.0, "arc", lead=NEXT)

    assert_ends(path, (0, 5), (30, 5), (30, -5), (0, -5), (0, -9))
    assert path[2][0].sweep == pytest.approx(-pi)


def test_two_arcs_that_close_to_a_slit_gouge_and_from_outside_make_a_tip() -> None:
    one = arc((0, 0), (0, 40), pi / 6)
    # `one` ends up and right at 30 degrees; `two` leaves straight back, bending the same way.
    out = complex(cos(pi / 6), sin(pi / 6)) * 1j
    centre = complex(one.u1, one.v1) + 60 * out
    two = arc((one.u1, one.v1), (centre.real, centre.imag), -pi / 9)
    moves = [PlaneMove(0, -9, 0, 0), one, two, PlaneMove(two.u1, two.v1, 0, -90)]

    # `two` (radius 60) is flatter than `one` (radius 40), so runs below it going back.
    assert halted(moves, -1, 2.0) == (Code.CUTTER_GOUGE, 2)
    assert len(centre_path(moves, 1, 2.0, "arc", lead=NEXT)[2]) == 2


# --- leads ---------------------------------------------------------------------


def test_square_to_lead_goes_round_the_corner() -> None:
    """Lead along +x to (0, 0), then down: beside the lead first, then a quarter arc; and back."""
    moves = lines((-20, 0), (0, 0), (0, -30), (-30, -30))

    path = centre_path(moves, 1, 5.0, "arc", lead=LEAD)

    assert_ends(path, (0, 5), (5, 0), (5, -30), (0, -35), (-30, -30))
    assert [part.corner for part in flat(path)] == [False, True, False, True, False]


def test_sharp_lead_square_to_lead() -> None:
    moves = lines((-20, 0), (0, 0), (0, -30), (-30, -30))

    path = centre_path(moves, 1, 5.0, "sharp", lead=LEAD)

    assert_ends(path, (5, 5), (5, -35), (-30, -30))


@pytest.mark.parametrize("side", [1, -1])
def test_tangent_lead_touches_the_circle_about_the_programmed_point(side: int) -> None:
    """NISTIR 6556: lead of 10, cutter 5: the touch stands acos(5 / 10) = 60 degrees off the lead.

    In line with the contour the rest is an arc of asin(5 / 10) = 30 degrees.
    """
    moves = lines((0, 0), (10, 0), (40, 0), (40, 20))

    path = centre_path(moves, side, 5.0, "arc", lead="tangent")

    assert_ends(path, (7.5, side * 5 * sin(pi / 3)), (10, side * 5), (40, side * 5), (40, 20))
    assert path[1][0].sweep == pytest.approx(-side * asin(0.5), abs=1e-12)
    assert path[1][0].centre == (10, 0)


def test_tangent_lead_into_a_corner_or_shorter_than_the_radius_gouges() -> None:
    """NISTIR 6556: both are errors."""
    inside = lines((0, 0), (10, 0), (10, 40), (0, 40))
    assert halted(inside, 1, 5.0, lead="tangent") == (Code.CUTTER_GOUGE, 0)
    short = lines((0, 0), (10, 0), (40, 0), (40, 20))
    assert halted(short, 1, 10.0, lead="tangent") == (Code.CUTTER_GOUGE, 0)


def test_square_lead_towards_an_inside_corner_is_not_settled() -> None:
    moves = lines((0, 0), (10, 0), (10, 40), (20, 40))

    assert halted(moves, 1, 5.0, lead=LEAD) == (Code.CUTTER_LEAD, 0)
    assert halted(backwards(moves), -1, 5.0, lead=LEAD) == (Code.CUTTER_LEAD, 2)
    assert_ends(centre_path(moves, 1, 5.0, "arc", lead=NEXT), (5, 0), (5, 40), (20, 40))


def test_leads_that_no_rule_covers() -> None:
    contour = lines((0, 0), (0, 30), (30, 30), (30, 60))
    arc_in = [arc((0, -10), (0, -5), pi), *contour]
    assert halted(arc_in, 1, 2.0) == (Code.CUTTER_LEAD, 0)
    arc_out = [*contour, arc((30, 60), (30, 65), pi)]
    assert halted(arc_out, 1, 2.0) == (Code.CUTTER_LEAD, 3)
    assert halted(lines((0, 0), (0, 30), (30, 30)), 1, 2.0) == (Code.CUTTER_LEAD, 0)
    assert halted(lines((0, 0), (0, 30)), 1, 2.0, lead_out=False) == (Code.CUTTER_LEAD, 0)
    lifted = [*contour, PlaneMove(30, 60, 30, 60)]
    assert halted(lifted, 1, 2.0) == (Code.CUTTER_LEAD, 3)


def test_without_lead_out_the_path_ends_set_off() -> None:
    moves = lines((0, -9), (0, 0), (30, 0), (30, 20))

    path = centre_path(moves, -1, 5.0, "arc", lead=NEXT, lead_out=False)

    assert_ends(path, (0, -5), (30, -5), (35, 0), (35, 20))


# --- rules not declared ----------------------------------------------------------


def test_undeclared_lead_is_a_doubt_even_in_line_with_the_contour() -> None:
    moves = lines((0, 0), (10, 0), (40, 0), (40, 20))
    assert halted(moves, 1, 5.0, lead=None) == (Code.CUTTER_LEAD, 0)


def test_undeclared_corner_is_a_doubt_only_where_the_rules_part() -> None:
    """They part by r (1 / cos(turn / 2) - 1): 1.1 um and 0.9 um for a cutter of 10."""

    def bent(turn: float) -> list[PlaneMove]:
        return lines((0, -20), (0, 0), (30, 0), (30 + 30 * cos(turn), -30 * sin(turn)), (99, 99))

    wide, fine = 2 * acos(1 / (1 + 1.1e-4)), 2 * acos(1 / (1 + 0.9e-4))
    assert halted(bent(wide), 1, 10.0, corner=None) == (Code.CUTTER_CORNER, 2)
    assert halted(bent(pi / 2), 1, 10.0, corner=None) == (Code.CUTTER_CORNER, 2)
    assert halted(bent(3.1), 1, 10.0, corner=None) == (Code.CUTTER_CORNER, 2)
    assert len(flat(centre_path(bent(fine), 1, 10.0, None, lead=NEXT))) == 5
    assert len(flat(centre_path(bent(pi / 2), -1, 10.0, None, lead=NEXT))) == 4


@pytest.mark.parametrize(
    ("side", "corner", "lead"), [(0, "arc", NEXT), (1, "round", NEXT), (1, "arc", "any")]
)
def test_rules_that_do_not_exist_are_refused(side: int, corner: str, lead: str) -> None:
    with pytest.raises(ValueError, match="must be"):
        centre_path(SQUARE, side, 5.0, corner, lead=lead)


# --- what does not fit -------------------------------------------------------------


def test_cutter_that_fits_a_pocket_exactly_and_one_that_does_not() -> None:
    """A pocket 10 wide: a cutter of 5 stands still across it, one of 5.001 does not fit."""
    moves = lines((20, 4), (20, 0), (40, 0), (40, 10), (0, 10), (0, 0), (20, 0), (20, 4))

    assert_ends(
        centre_path(moves, 1, 5.0, None, lead=NEXT),
        *[(20, 5), (35, 5), (35, 5), (5, 5), (5, 5), (20, 5), (20, 4)],
    )
    assert halted(moves, 1, 5.001) == (Code.CUTTER_GOUGE, 2)


def test_inside_arc_must_be_larger_than_the_cutter() -> None:
    """NISTIR 6556: an inside arc equal to the cutter is an error too."""
    moves = [*lines((0, -9), (0, 0), (30, 0)), arc((30, 0), (30, 5), pi / 2)]
    moves += lines((moves[-1].u1, moves[-1].v1), (35, 30), (20, 30))

    assert halted(moves, 1, 5.0) == (Code.CUTTER_GOUGE, 2)
    assert halted(moves, 1, 6.0) == (Code.CUTTER_GOUGE, 2)
    assert centre_path(moves, 1, 4.999, None, lead=NEXT)
    assert centre_path(moves, -1, 6.0, None, lead=NEXT)


def test_step_lower_than_the_cutter_gouges() -> None:
    """Up a step of 3 with a cutter of 4: it cannot stand in the corner."""
    moves = lines((0, -9), (0, 0), (30, 0), (30, 3), (60, 3), (60, 20))

    assert halted(moves, 1, 4.0)[0] is Code.CUTTER_GOUGE
    assert centre_path(moves, 1, 3.0, "arc", lead=NEXT)


# --- small print of the interface ---------------------------------------------------


def test_radius_zero_leaves_everything_as_it_is() -> None:
    moves = [arc((0, 0), (5, 0), pi), PlaneMove(10, nan, 3, 3), PlaneMove(3, 3, 3, 3)]
    assert centre_path(moves, 1, 0.0, None, lead=None) == [[move] for move in moves]


def test_negative_radius_is_the_other_side() -> None:
    moves = lines((0, -20), (0, 0), (30, 0), (30, -30), (60, -40))
    one = centre_path(moves, 1, 2.0, "arc", lead=NEXT)

    assert centre_path(moves, -1, -2.0, "arc", lead=NEXT) == one
    assert_ends(one, (0, 2), (30, 2), (32, 0), (32, -30), (60, -40))
    assert_ends(
        centre_path(moves, 1, -2.0, "arc", lead=NEXT), (0, -2), (28, -2), (28, -30), (60, -40)
    )


def test_moves_without_length_in_the_plane_stand_where_the_centre_is() -> None:
    """Down before the lead-in, after it, in an inside corner and after an outside straight."""
    still = [(0.0, -9.0), (0.0, 0.0), (30.0, 0.0), (30.0, 20.0)]
    plain = lines((0, -9), (0, 0), (30, 0), (30, 20), (60, 20), (60, 50))
    moves = [PlaneMove(*still[0], *still[0])]
    for move in plain:
        moves.append(move)
        if (move.u1, move.v1) in still:
            moves.append(PlaneMove(move.u1, move.v1, move.u1, move.v1))

    path = centre_path(moves, 1, 5.0, "arc", lead=NEXT)

    stands = [
        parts[0]
        for move, parts in zip(moves, path, strict=True)
        if move.u0 == move.u1 and move.v0 == move.v1
    ]
    where = [(part.u0, part.v0) for part in stands]
    assert_allclose(where, [(0, -9), (0, 5), (25, 5), (25, 20)], atol=1e-12)
    assert all((part.u0, part.v0) == (part.u1, part.v1) for part in stands)
    assert_whole(path, moves)
    moving = [part for part in flat(path) if part not in stands]
    assert moving == flat(centre_path(plain, 1, 5.0, "arc", lead=NEXT))


def test_nothing_gives_nothing() -> None:
    assert centre_path([], 1, 5.0, None, lead=None) == []
    still = PlaneMove(3, 4, 3, 4)
    assert centre_path([still], 1, 5.0, None, lead=None, lead_out=False) == [[still]]


def test_unknown_numbers_name_their_move() -> None:
    moves = lines((0, -9), (0, 0), (30, 0), (30, 20))
    assert halted(moves, 1, nan)[0] is Code.RADIUS_UNKNOWN
    assert halted([*moves[:2], PlaneMove(30, 0, nan, 0)], 1, 2.0) == (Code.POSITION_UNKNOWN, 2)
    middle = PlaneMove(0, 0, 30, 0, (15, inf), 1.0)
    assert halted([moves[0], middle, moves[2]], 1, 2.0) == (Code.POSITION_UNKNOWN, 1)
    own = PlaneMove(0, 0, 30, 0, (0, 0), 1.0)
    assert halted([moves[0], own, moves[2]], 1, 2.0) == (Code.ARC_RADII, 1)
