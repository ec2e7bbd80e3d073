"""Cutter radius compensation in a plane: from the programmed path to that of the cutter's centre.

Every programmed move is set off by the radius; neighbours are then joined.  Outside corners are
gone round by the declared rule, inside corners are cut short where the two offset elements meet.
What does not fit ends the reading: a control stops there with an alarm or spoils the part.

Sources: the interpreter that NISTIR 6556 describes (rules read in the comments of its published
source; the report's appendix was not at hand) for the arc about an outside corner, made at the
start of the move after it, and for the tangent lead-in; for inside arcs that must be larger
than the cutter, the same interpreter, from memory.  That interpreter refuses inside corners
without a fillet; cutting them short where the set-off elements meet, the sharp corner and the
two square leads are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from math import atan2, copysign, cos, hypot, inf, isfinite, pi, sqrt, tan
from typing import Final

from gudgeon.program.doubts import Code, Halt

__all__ = ["CORNERS", "LEADS", "PlaneMove", "centre_path"]

CORNERS: Final = ("arc", "sharp")
LEADS: Final = ("square to next", "square to lead", "tangent")

NO_LENGTH_MM: Final = 1e-9
"""A move not longer than this does not move in the plane; sums of steps round at 1e-13."""

TANGENT_RAD: Final = 1e-7
"""Two directions nearer than this run on without a corner; 1e-7 of the radius is lost along the
path, 5e-15 of it across."""

FIT_MM: Final = 1e-7
"""What rounding may lack where a move is used up exactly by the cuts at its two ends."""

ALIKE_MM: Final = 1e-3
"""An outside corner at which the rules part by no more than this needs no declared rule: the
least increment of most controls.  Joints that are tangent but for the rounding of the program's
numbers are such."""

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class PlaneMove:
    """A straight move or an arc in plane coordinates.

    Attributes
    ----------
    u0, v0, u1, v1 : float
        Start and end [mm]; u to v turns counter-clockwise (XY, ZX, YZ).
    centre : pair of float or None
        Of an arc [mm]; ``None``: straight.
    sweep : float
        Of an arc, counter-clockwise positive [rad].
    corner : bool
        Put in at a corner; does not come from the programmed move itself.
    """

    u0: float
    v0: float
    u1: float
    v1: float
    centre: Point | None = None
    sweep: float = 0.0
    corner: bool = False


@dataclass(slots=True)
class _Element:
    """A programmed move set off by the radius; joining changes its ends."""

    index: int
    start: Point
    end: Point
    along0: Point  # unit direction of motion at the start, and
    along1: Point  # at the end
    centre: Point | None = None
    turn: float = 0.0  # +1 counter-clockwise, -1 clockwise, 0 straight
    size: float = 0.0  # length [mm] or angle swept [rad], both positive
    radius0: float = 1.0  # of the set-off arc at its start, and
    radius1: float = 1.0  # at its end [mm]; 1 for a straight one, whose size is a length
    cut0: float = 0.0  # taken off at the start [as size]; negative: added
    cut1: float = 0.0
    lead: bool = False
    before: list[PlaneMove] = field(default_factory=list)
    after: list[PlaneMove] = field(default_factory=list)


def centre_path(
    moves: Sequence[PlaneMove],
    side: int,
    radius_mm: float,
    corner: str | None,
    *,
    lead: str | None,
    lead_out: bool = True,
) -> list[list[PlaneMove]]:
    """Return the path of the cutter's centre.

    Parameters
    ----------
    moves : sequence of PlaneMove
        The programmed path, each from the end of the one before.  The first that moves in the
        plane is the lead-in: it starts with the cutter's centre on the programmed point.
    side : int
        +1: cutter left of the direction of motion, -1: right.
    radius_mm : float
        Of the cutter; a negative one puts it on the other side; 0 leaves the path as it is.
    corner : str or None
        At outside corners.  ``"arc"``: about the corner.  ``"sharp"``: straight on to where the
        two set-off lines meet (arcs are prolonged along their tangents); where the path turns
        by more than 90 degrees, straight on by the radius, across, and back by the radius.
        ``None``: not declared.
    lead : str or None
        Where the lead-in ends.  ``"square to next"``: beside its programmed end, square to the
        move after; the lead-out starts square to the move before.  ``"square to lead"``: square
        to the programmed lead itself, then round the corner as any other; the lead-out mirrors
        this.  ``"tangent"`` (NISTIR 6556): so that the cutter's own path is tangent to the
        circle of its radius about the programmed end, then round the corner; the lead-out
        starts square to the move before.  ``None``: not declared.
    lead_out : bool
        The last move is a lead-out: it ends with the centre on the programmed point.  False:
        the path ends set off.

    Returns
    -------
    list of list of PlaneMove
        One list for each move, together without a gap.  What goes round an outside corner
        stands first in the list of the move after it; only the prolonging of an arc
        (``"sharp"``) stands last in its own.  A move without length in the plane gives one
        without length, where the centre stands.  Other axes may travel with the parts that are
        not `PlaneMove.corner` (NISTIR 6556 for Z).

    Raises
    ------
    Halt
        Always with ``index``, the number of the move in `moves`.  ``CUTTER_GOUGE``: an inside
        arc not larger than the cutter, or a move too short for the cuts at its ends.
        ``CUTTER_CORNER``, ``CUTTER_LEAD``: the rule at issue is not declared, or what the
        control does is not settled: a lead that is an arc, that has no length in the plane,
        that no contour follows, or a square lead towards an inside corner.
        ``POSITION_UNKNOWN``, ``RADIUS_UNKNOWN``, ``ARC_RADII``: a number that is unknown, too
        large to reckon with, or an arc around its own start.
    ValueError
        If `side`, `corner` or `lead` is none of the above.
    """
    if side not in (1, -1):
        raise ValueError(f"side must be 1 or -1, got {side}")
    if corner not in (None, *CORNERS) or lead not in (None, *LEADS):
        raise ValueError(f"corner and lead must be declared rules, got {corner!r}, {lead!r}")
    if radius_mm == 0.0:
        return [[move] for move in moves]
    where = [index for index, move in enumerate(moves) if _moves(index, move)]
    if not isfinite(radius_mm):
        raise Halt(Code.RADIUS_UNKNOWN, index=where[0] if where else 0)
    if lead_out and moves and (not where or where[-1] != len(moves) - 1):
        raise Halt(Code.CUTTER_LEAD, index=len(moves) - 1)
    elements: list[_Element] = []
    if where:
        left = copysign(1.0, radius_mm * side)
        elements = _set_off(moves, where, left, abs(radius_mm), lead, lead_out)
        square = lead == "square to next"
        for number, (one, two) in enumerate(pairwise(elements)):
            direct_in = number == 0 and square
            direct_out = two.lead and lead != "square to lead"
            if not (direct_in or direct_out):
                _join(one, two, moves[one.index], left, abs(radius_mm), corner, lead)
    return _written(moves, elements)


def _moves(index: int, move: PlaneMove) -> bool:
    """Return whether the move goes anywhere in the plane."""
    numbers = (move.u0, move.v0, move.u1, move.v1, *(move.centre or ()), move.sweep)
    if not all(map(isfinite, numbers)):
        raise Halt(Code.POSITION_UNKNOWN, index=index)
    if hypot(move.u1 - move.u0, move.v1 - move.v0) > NO_LENGTH_MM:
        return True
    if move.centre is None:
        return False
    reach = hypot(move.u0 - move.centre[0], move.v0 - move.centre[1])
    return not reach * abs(move.sweep) <= NO_LENGTH_MM


def _set_off(
    moves: Sequence[PlaneMove],
    where: Sequence[int],
    left: float,
    radius: float,
    lead: str | None,
    lead_out: bool,
) -> list[_Element]:
    """Return the moves set off, the two leads with their ends, not joined yet."""
    leads = {where[0], where[-1]} if lead_out else {where[0]}
    for index in sorted(leads):
        if moves[index].centre is not None:
            raise Halt(Code.CUTTER_LEAD, index=index)
    # Every rule, the tangent one too, gives another path even to a lead in line with the contour.
    if lead is None or len(where) < 1 + len(leads):
        raise Halt(Code.CUTTER_LEAD, index=where[0])
    elements = [_element(index, moves[index], left, radius) for index in where]
    first, last = elements[0], elements[-1]
    move = moves[first.index]
    first.lead, first.start = True, (move.u0, move.v0)
    if lead == "square to next":
        first.end = elements[1].start
    elif lead == "tangent":
        _touch(first, move, left, radius)
    if lead_out:
        move = moves[last.index]
        last.lead, last.end = True, (move.u1, move.v1)
    return elements


def _element(index: int, move: PlaneMove, left: float, radius: float) -> _Element:
    """Return the move set off by the radius to the left (+1) or right (-1)."""
    start, end = (move.u0, move.v0), (move.u1, move.v1)
    if move.centre is None:
        size = hypot(end[0] - start[0], end[1] - start[1])
        along = ((end[0] - start[0]) / size, (end[1] - start[1]) / size)
        off = (-left * radius * along[1], left * radius * along[0])
        return _Element(index, _plus(start, off), _plus(end, off), along, along, size=size)
    centre = move.centre
    reach0 = hypot(start[0] - centre[0], start[1] - centre[1])
    reach1 = hypot(end[0] - centre[0], end[1] - centre[1])
    if not (NO_LENGTH_MM < reach0 < 1e300 and NO_LENGTH_MM < reach1 < 1e300):
        raise Halt(Code.ARC_RADII, index=index, start_mm=reach0, end_mm=reach1)
    turn = copysign(1.0, move.sweep)
    radius0, radius1 = reach0 - left * turn * radius, reach1 - left * turn * radius
    if min(radius0, radius1) <= NO_LENGTH_MM:
        raise Halt(Code.CUTTER_GOUGE, index=index)
    out0 = ((start[0] - centre[0]) / reach0, (start[1] - centre[1]) / reach0)
    out1 = ((end[0] - centre[0]) / reach1, (end[1] - centre[1]) / reach1)
    return _Element(
        index,
        _plus(centre, out0, radius0),
        _plus(centre, out1, radius1),
        (-turn * out0[1], turn * out0[0]),
        (-turn * out1[1], turn * out1[0]),
        centre,
        turn,
        abs(move.sweep),
        radius0,
        radius1,
    )


def _touch(first: _Element, move: PlaneMove, left: float, radius: float) -> None:
    """End the lead-in where the cutter's path touches the circle about the programmed end."""
    length = hypot(move.u1 - move.u0, move.v1 - move.v0)
    if length <= radius:
        raise Halt(Code.CUTTER_GOUGE, index=first.index)
    back = radius / length
    aside = left * sqrt(1.0 - back * back)
    forward = first.along0
    out = (
        -back * forward[0] - aside * forward[1],
        -back * forward[1] + aside * forward[0],
    )
    first.end = (move.u1 + radius * out[0], move.v1 + radius * out[1])
    first.along1 = (left * out[1], -left * out[0])


def _join(
    one: _Element,
    two: _Element,
    move: PlaneMove,
    left: float,
    radius: float,
    corner: str | None,
    lead: str | None,
) -> None:
    """Join two neighbours at the end of `move`: run on, go round, or cut both short."""
    bend = atan2(_cross(one.along1, two.along0), _dot(one.along1, two.along0))
    if abs(bend) <= TANGENT_RAD:
        two.cut0 = _behind(two, two.start, one.end, small=True)
        two.start = one.end
    elif left * bend > 0.0 and abs(bend) < pi - TANGENT_RAD:
        if one.lead or two.lead:
            # A cutter square to the lead would stand in the contour here: controls differ.
            tangent = lead == "tangent"
            code = Code.CUTTER_GOUGE if tangent else Code.CUTTER_LEAD
            raise Halt(code, index=one.index if one.lead else two.index)
        _cut_short(one, two, bend, radius)
    else:
        outside = abs(bend) if left * bend < 0.0 else 2.0 * pi - abs(bend)
        # Straight back: the arcs say whether the cutter goes round a tip or into a slit.
        slit = left * (_curvature(one, left, radius) + _curvature(two, left, radius)) < -1e-9
        if outside >= pi - TANGENT_RAD and slit:
            raise Halt(Code.CUTTER_GOUGE, index=two.index)
        if corner is None:
            if outside > 1.0 or radius * (1.0 / cos(0.5 * outside) - 1.0) > ALIKE_MM:
                raise Halt(Code.CUTTER_CORNER, index=two.index)
            corner = "arc"
        if corner == "arc":
            tip = (move.u1, move.v1)
            two.before.append(
                PlaneMove(*one.end, *two.start, tip, -left * outside, corner=True),
            )
        else:
            _go_sharp(one, two, outside, radius)


def _curvature(element: _Element, left: float, radius: float) -> float:
    """Return that of the programmed move, counter-clockwise positive [1/mm]."""
    if not element.turn:
        return 0.0
    programmed = element.radius0 + left * element.turn * radius
    return element.turn / programmed if programmed else inf * element.turn


def _go_sharp(one: _Element, two: _Element, outside: float, radius: float) -> None:
    """Prolong both neighbours and link them (common practice, no source)."""
    # The half angle is kept at 45 degrees: from there on the corner is cut off.
    reach = radius * tan(0.5 * min(outside, 0.5 * pi))
    out, back = _plus(one.end, one.along1, reach), _plus(two.start, two.along0, -reach)
    if hypot(back[0] - out[0], back[1] - out[1]) <= NO_LENGTH_MM:
        back = out
    else:
        two.before.append(PlaneMove(*out, *back, corner=True))
    if one.centre is None:
        one.end, one.cut1 = out, -reach
    else:
        one.after.append(PlaneMove(*one.end, *out, corner=True))
    if two.centre is None:
        two.start, two.cut0 = back, -reach
    else:
        two.before.append(PlaneMove(*back, *two.start, corner=True))


def _cut_short(one: _Element, two: _Element, bend: float, radius: float) -> None:
    """Cut both neighbours at an inside corner where the set-off elements meet."""
    best: tuple[float, float, float, Point] | None = None
    for point in _meetings(one, two, bend, radius):
        cut1, cut0 = _behind(one, point, one.end), _behind(two, two.start, point)
        # Every part off its element, or on a stretch that was never there, is no meeting.
        slack1, slack0 = FIT_MM / one.radius1, FIT_MM / two.radius0
        if not (-slack1 <= cut1 <= one.size + slack1 and -slack0 <= cut0 <= two.size + slack0):
            continue
        lost = cut1 * one.radius1 + cut0 * two.radius0
        if best is None or lost < best[0]:
            best = (lost, cut1, cut0, point)
    if best is None:
        raise Halt(Code.CUTTER_GOUGE, index=two.index)
    _, one.cut1, two.cut0, one.end = best
    two.start = one.end


def _meetings(one: _Element, two: _Element, bend: float, radius: float) -> list[Point]:
    """Return where the set-off lines and circles cross, at most twice."""
    if one.centre is None:
        if two.centre is None:
            return [_plus(one.end, one.along1, -radius * tan(0.5 * abs(bend)))]
        return _line_circle(one.end, one.along1, two.centre, two.radius0)
    if two.centre is None:
        return _line_circle(two.start, two.along0, one.centre, one.radius1)
    return _circles(one.centre, one.radius1, two.centre, two.radius0)


def _line_circle(point: Point, along: Point, centre: Point, radius: float) -> list[Point]:
    to = (centre[0] - point[0], centre[1] - point[1])
    middle, aside = _dot(to, along), _cross(along, to)
    square = (radius - aside) * (radius + aside)
    if square < -radius * FIT_MM:
        return []
    half = sqrt(max(square, 0.0))
    return [_plus(point, along, middle - half), _plus(point, along, middle + half)]


def _circles(centre: Point, radius: float, other: Point, radius_other: float) -> list[Point]:
    to = (other[0] - centre[0], other[1] - centre[1])
    apart = hypot(*to)
    if not 0.0 < apart < 1e300:
        return []
    along = (to[0] / apart, to[1] / apart)
    middle = 0.5 * (apart + (radius - radius_other) / apart * (radius + radius_other))
    return _line_circle(_plus(centre, along, middle), (-along[1], along[0]), centre, radius)


def _behind(element: _Element, early: Point, late: Point, small: bool = False) -> float:
    """Return how far `early` lies behind `late` on the element [mm or rad].

    On an arc from 0 to a full turn, less what rounding makes of 0; `small`: of either sign.
    """
    if element.centre is None:
        return _dot((late[0] - early[0], late[1] - early[1]), element.along0)
    centre = element.centre
    one = (early[0] - centre[0], early[1] - centre[1])
    two = (late[0] - centre[0], late[1] - centre[1])
    angle = element.turn * atan2(_cross(one, two), _dot(one, two))
    slack = FIT_MM / min(element.radius0, element.radius1)
    return angle if small or angle >= -slack else angle + 2.0 * pi


def _written(moves: Sequence[PlaneMove], elements: Sequence[_Element]) -> list[list[PlaneMove]]:
    """Return the joined elements as moves, with those that stand still between them."""
    path: list[list[PlaneMove]] = []
    stands = (moves[0].u0, moves[0].v0) if moves else (0.0, 0.0)
    moving = {element.index: element for element in elements}
    for index in range(len(moves)):
        element = moving.get(index)
        if element is None:
            path.append([PlaneMove(*stands, *stands)])
            continue
        start = stands if not element.before else element.start
        left = element.size - element.cut0 - element.cut1
        slack = FIT_MM / min(element.radius0, element.radius1)
        if not element.lead and left < -slack:
            raise Halt(Code.CUTTER_GOUGE, index=index)
        centre, sweep = element.centre, element.turn * left
        if left <= slack and not element.lead:
            centre, sweep = None, 0.0
        main = PlaneMove(*start, *element.end, centre, sweep)
        parts = [*element.before, main, *element.after]
        if not all(map(isfinite, (*start, *element.end, sweep))):
            raise Halt(Code.POSITION_UNKNOWN, index=index)
        path.append(parts)
        stands = (parts[-1].u1, parts[-1].v1)
    return path


def _plus(point: Point, way: Point, by: float = 1.0) -> Point:
    return point[0] + by * way[0], point[1] + by * way[1]


def _dot(one: Point, two: Point) -> float:
    return one[0] * two[0] + one[1] * two[1]


def _cross(one: Point, two: Point) -> float:
    return one[0] * two[1] - one[1] * two[0]
