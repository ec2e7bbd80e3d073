"""The unit in one yaw among the bodies of the machine, with the proofs that a place is made of.

What the unit and the tools do to each other does not hang on the place on the table: those proofs
are made once for each yaw.  Moving the unit is the same as moving everything else the other way, so
the trees of the bodies are built once and only joint positions change from place to place.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.findings.place_ways import is_unit, orders, pairs_of
from gudgeon.findings.scene import OUTLINE
from gudgeon.placing.conditions import ROUNDING
from gudgeon.placing.limits import clean_turn

if TYPE_CHECKING:
    from gudgeon.clearance.prove import Gap, Prover
    from gudgeon.clearance.scene import Body, Lines, Scene

__all__ = ["Down", "Site", "turned_body", "turned_lines"]

Floats = NDArray[np.float64]

KEPT_MM: Final = 1e-6
"""A margin that is entered is kept if it is kept to this; it stands in the body already."""

INSIDE_MM: Final = 0.01
"""A zero lies inside an outline if a point so far over it does [mm]."""

ABOVE_MM: Final = 1.0
"""The whole tool is judged to this much over the clearance asked above a zero, the rest of the way
without its flutes in what is cut (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Down:
    """A tool on its way down to a zero.

    Attributes
    ----------
    clear : bool
    gap : Gap or None
        What came too near.
    excused : str
        What was not judged, because the zero lies inside an outline: "" (nothing), "flutes" (the
        flutes against the load), "tool" (the tool against the load), "body" (the tool against the
        outline of the unit's body), "both" (against load and unit's body).
    """

    clear: bool
    gap: Gap | None
    excused: str


class Site:
    """One yaw of the unit.

    Parameters
    ----------
    scene : Scene
        All bodies, the unit at `origin_mm` with its yaw as entered.
    own : Scene
        The unit alone, with the pairs of its own parts that are judged.
    origin_mm : tuple of (x, y)
        Where the unit's origin stands in `scene` [mm].
    turn_rad : float
        Turn against the yaw as entered.
    tools : dict of number to bodies
        Carried by the head.
    need_mm : float
        Clearance asked.
    """

    def __init__(
        self,
        scene: Scene,
        own: Scene,
        origin_mm: tuple[float, float],
        turn_rad: float,
        tools: dict[int, tuple[Body, ...]],
        need_mm: float,
    ) -> None:
        from gudgeon.clearance.pieces import hull
        from gudgeon.clearance.prove import Prover
        from gudgeon.clearance.scene import Body, Carrier, Role

        self.origin_mm, self.turn_rad, self.need_mm = origin_mm, turn_rad, need_mm
        self.made = np.array(scene.table_axes, dtype=np.float64)
        lines = turned_lines(scene.lines, turn_rad, origin_mm)
        unit = tuple(turned_body(body, turn_rad, origin_mm) for body in own.bodies)
        inner = {frozenset((a.name, b.name)) for a, b in pairs_of(unit)}
        rest = tuple(body for body in scene.bodies if not is_unit(body))
        turning = tuple(b for b in unit if b.carrier in (Carrier.TILT, Carrier.ROTARY))
        every = (True, True, True)

        def among(bodies: Sequence[Body], **other: object) -> Scene:
            whole = replace(scene, bodies=tuple(bodies), lines=lines, **other)  # type: ignore[arg-type]
            return replace(whole, apart=scene.apart | inner)

        base = [body for body in rest if body.carrier is Carrier.BASE]
        margined = [body for body in base if body.name.endswith("with its margin")]
        bare = [body for body in base if body not in margined]
        fixed = [
            replace(body, carrier=Carrier.BASE) for body in rest if body.carrier is Carrier.TABLE
        ]
        head = [body for body in rest if body.carrier is Carrier.HEAD]
        self._walls: list[tuple[Prover, float]] = []
        if margined:
            pulled = [_pulled_back(body) for body in margined]
            told = among([*unit, *pulled], table_axes=every, unsure_mm=0.0)
            self._walls.append((Prover(told), KEPT_MM / 2.0))
        if bare:
            self._walls.append((Prover(among([*unit, *bare], table_axes=every)), need_mm))
        self._table = Prover(among([*turning, *fixed], table_axes=every)) if fixed else None
        # Outlines say nothing of what is inside them: a zero inside one is judged without it.
        load = [b for b in turning if b.role is Role.STOCK and not b.station]
        body = [b for b in unit if b.name == OUTLINE]
        left_out = {"": [], "body": body, "tool": load, "both": [*body, *load]}
        if not body:
            left_out = {"": [], "tool": load}
        self._with_tool = {
            (kind, n): Prover(among([b for b in (*unit, *head) if b not in out]), tool)
            for kind, out in left_out.items()
            if out or not kind
            for n, tool in tools.items()
        }
        point = Body("tip", Carrier.HEAD, Role.CUTTER, (hull([(0.0, 0.0, 0.0)]),))
        self._tip = Prover(among(load), (point,)) if load else None
        self._machine = {n: Prover(among(rest), tool) for n, tool in tools.items()}
        self._over: dict[tuple[object, ...], bool] = {}
        self._down: dict[tuple[object, ...], Down] = {}

    def spot(self, point_mm: Sequence[float]) -> tuple[float, float]:
        """Return a point of the unit, from its origin as entered, turned with it."""
        cosine, sine = clean_turn(self.turn_rad)
        x, y = point_mm[0], point_mm[1]
        return x * cosine - y * sine, x * sine + y * cosine

    # --- machine and unit, place by place ----------------------------------------------------

    def table(self, place: tuple[float, float], pose: tuple[float, float]) -> Gap | None:
        """Return what the load meets on the table on its way to a pose; ``None``: nothing."""
        if self._table is None:
            return None
        shift = np.array([*self._shift(place), 0.0])
        worst = None
        for stops in orders(*pose):
            found = self._first(self._table, _all_at(stops, shift), self.need_mm)
            if found is None:
                return None
            worst = _less_known(worst, found)
        return worst

    def walls(
        self,
        place: tuple[float, float],
        pose: tuple[float, float],
        turn_at: Floats,
        cut_at: Floats,
    ) -> Gap | None:
        """Return what unit and load meet of guards, column and door; ``None``: nothing.

        They turn into the pose with the machine at `turn_at` and go to `cut_at` then.
        """
        shift = np.array([*self._shift(place), 0.0])
        for prover, need in self._walls:
            worst: Gap | None = None
            for stops in self._turns_and_goes(pose, turn_at, cut_at, shift):
                found = self._first(prover, stops, need)
                if found is None:
                    worst = None
                    break
                worst = _less_known(worst, found)
            if worst is not None:
                return worst
        return None

    def _turns_and_goes(
        self, pose: tuple[float, float], turn_at: Floats, cut_at: Floats, shift: Floats
    ) -> list[list[Floats]]:
        """Return the ways into a pose at one place of the spindle, then to another."""
        ways = []
        for stops in orders(*pose):
            ends = _all_at(stops, self.made * turn_at + shift)
            last = ends[-1].copy()
            last[:3] = self.made * cut_at + shift
            ways.append([*ends, last])
        return ways

    def reaches(self, tool: int, start: Floats, end: Floats) -> Gap | None:
        """Return what a tool meets of the machine on a motion of X, Y, Z; ``None``: nothing."""
        if not len(self._machine[tool].scene.bodies):
            return None
        stops = [np.array([*start, 0.0, 0.0]), np.array([*end, 0.0, 0.0])]
        return self._first(self._machine[tool], stops, self.need_mm)

    # --- tool and unit, wherever it stands ---------------------------------------------------

    def down(
        self,
        tool: int,
        spot: tuple[float, float],
        pose: tuple[float, float],
        top: float,
        to: float,
        tip: float,
    ) -> Down:
        """Judge a tool that comes down in a pose from Z `top` to Z `to`, its tip at height `tip`.

        Where the zero lies inside an outline, the least is left out that leaves the tool clear.
        """
        key = (tool, *spot, *pose, to)
        if key in self._down:
            return self._down[key]
        x, y = self.origin_mm[0] + spot[0], self.origin_mm[1] + spot[1]
        start, end = np.array([x, y, top, *pose]), np.array([x, y, to, *pose])
        at_tip = np.array([x, y, tip + INSIDE_MM, *pose])
        inside = None if self._tip is None else self._first(self._tip, [at_tip] * 2, ROUNDING)
        tries = [("", "", False), ("body", "body", False)]
        if inside is not None:
            tries = [("", "", False), ("flutes", "", True), ("body", "body", True)]
            tries += [("tool", "tool", False), ("both", "both", False)]
        first: Down | None = None
        for excused, kind, in_stock in tries:
            prover = self._with_tool.get((kind, tool))
            if prover is None:
                continue
            gap = self._lowered(prover, start, end, in_stock)
            if gap is None:
                first = Down(True, None, excused)
                break
            first = first or Down(False, gap, "")
        assert first is not None
        self._down[key] = first
        return first

    def _lowered(self, prover: Prover, start: Floats, end: Floats, in_stock: bool) -> Gap | None:
        """Return what a tool meets on its way down; ``None``: nothing.

        The flutes may be in the stock over the last of it, or all the way.
        """
        from gudgeon.clearance.prove import Status

        near = end.copy()
        near[2] = min(start[2], end[2] + self.need_mm + ABOVE_MM)
        for one, other, cutting in (
            (start, near, "*" if in_stock else None),
            (near, end, "*"),
        ):
            found = prover.motion(one, other, self.need_mm, cutting=cutting)
            if found.status is not Status.PROVEN:
                return found
        return None

    # --- how much is left, exactly -----------------------------------------------------------

    def least_down(
        self,
        tool: int,
        spot: tuple[float, float],
        pose: tuple[float, float],
        top: float,
        to: float,
        tip: float,
    ) -> Gap | None:
        """Return the smallest gap of a tool that comes down clear; the flutes may be in stock."""
        found = self.down(tool, spot, pose, top, to, tip)
        if not found.clear:
            return None
        kind = found.excused if found.excused in ("body", "tool", "both") else ""
        x, y = self.origin_mm[0] + spot[0], self.origin_mm[1] + spot[1]
        ends = [np.array([x, y, top, *pose]), np.array([x, y, to, *pose])]
        return _least([(self._with_tool[kind, tool], [ends], self.need_mm)], "*")

    def least_machine(
        self,
        place: tuple[float, float],
        pose: tuple[float, float],
        turn_at: Floats,
        cut_at: Floats,
    ) -> tuple[Gap | None, Gap | None]:
        """Return the smallest gap of unit and load to the table, and to guards, column and door.

        That to a guard with a margin is what is left beyond its margin.
        """
        shift = np.array([*self._shift(place), 0.0])
        turns = [_all_at(stops, shift) for stops in orders(*pose)]
        ways = self._turns_and_goes(pose, turn_at, cut_at, shift)
        table = [] if self._table is None else [(self._table, turns, self.need_mm)]
        return _least(table), _least([(prover, ways, need) for prover, need in self._walls])

    def least_reach(self, tool: int, start: Floats, end: Floats) -> Gap | None:
        """Return the smallest gap of a tool to the machine on a motion of X, Y, Z."""
        prover = self._machine[tool]
        if not len(prover.scene.bodies):
            return None
        stops = [np.array([*start, 0.0, 0.0]), np.array([*end, 0.0, 0.0])]
        return _least([(prover, [stops], self.need_mm)])

    def least_over(
        self,
        tool: int,
        turn_at: Floats,
        cut_at: Floats,
        place: tuple[float, float],
        pose: tuple[float, float],
    ) -> Gap | None:
        """Return the smallest gap of a tool under which the unit turns; see `over`."""
        shift = np.array([*self._shift(place), 0.0])
        here, there = turn_at + shift, cut_at + shift
        ends = [[*_all_at(stops, here), np.array([*there, *pose])] for stops in orders(*pose)]
        gaps = [
            _least([(self._with_tool[kind, tool], ends, self.need_mm)])
            for kind in ("", "body")
            if (kind, tool) in self._with_tool
        ]
        return next((gap for gap in gaps if gap is None or gap.lower_mm >= self.need_mm), None)

    def displayed(self, gap: Gap, place: tuple[float, float], at: Floats | None = None) -> Gap:
        """Return a gap with the joints that the machine displays, the unit standing in a place.

        `at` gives X, Y, Z where the table does not make them.
        """
        shift = np.array([*self._shift(place), 0.0])
        joint = np.array(gap.joint)
        real = joint[:3] - shift
        if at is not None:
            real = np.where(self.made != 0.0, real, at)
        ends = [np.asarray(point) - shift for point in gap.points]
        return replace(
            gap,
            joint=(*real.tolist(), *joint[3:].tolist()),
            points=(tuple(ends[0].tolist()), tuple(ends[1].tolist())),
        )

    def over(
        self,
        tool: int,
        turn_at: Floats,
        cut_at: Floats,
        place: tuple[float, float],
        pose: tuple[float, float],
    ) -> bool:
        """Return whether the unit turns into a pose under a tool that then goes to `cut_at`."""
        shift = np.array([*self._shift(place), 0.0])
        here, there = turn_at + shift, cut_at + shift
        key = (tool, *np.round(here, 9), *np.round(there, 9), *pose)
        if key not in self._over:
            ends = [[*_all_at(stops, here), np.array([*there, *pose])] for stops in orders(*pose)]
            self._over[key] = any(
                self._first(self._with_tool[kind, tool], way, self.need_mm) is None
                for kind in ("", "body")
                if (kind, tool) in self._with_tool
                for way in ends
            )
        return self._over[key]

    def _shift(self, place: tuple[float, float]) -> tuple[float, float]:
        return self.origin_mm[0] - place[0], self.origin_mm[1] - place[1]

    def _first(self, prover: Prover, stops: Sequence[Floats], need: float) -> Gap | None:
        """Return the first motion along stops that is not proven."""
        from gudgeon.clearance.prove import Status

        for start, end in pairwise(stops):
            found = prover.motion(start, end, need)
            if found.status is not Status.PROVEN:
                return found
        return None


def _less_known(one: Gap | None, other: Gap) -> Gap:
    """Return which of two failed proofs to tell: one that stays open is no pose too close."""
    from gudgeon.clearance.prove import Status

    if one is None or (one.status is Status.CLOSER and other.status is not Status.CLOSER):
        return other
    return one


def _least(
    judged: Sequence[tuple[Prover, list[list[Floats]], float]], cutting: str | None = None
) -> Gap | None:
    """Return the smallest gap on the best of some ways, over several provers; ``None``: no pair."""
    least: tuple[float, Gap] | None = None
    for prover, ways, need in judged:
        best: tuple[float, Gap] | None = None
        for stops in ways:
            gaps = [
                prover.motion(start, end, need, cutting=cutting, exact=True)
                for start, end in pairwise(stops)
            ]
            worst = min(gaps, key=lambda gap: gap.lower_mm)
            if best is None or worst.lower_mm > best[0]:
                best = (worst.lower_mm, worst)
        if (
            best is not None
            and np.isfinite(best[1].upper_mm)
            and (least is None or best[0] < least[0])
        ):
            least = best
    return None if least is None else least[1]


def turned_body(body: Body, turn_rad: float, about_mm: tuple[float, float]) -> Body:
    """Return a body turned about an upright line through a point."""
    if turn_rad == 0.0:
        return body
    turn, shift = _turn(turn_rad, about_mm)
    solids = []
    for pieces, points in body.solids:
        moved = pieces.copy()
        moved["axis"] = pieces["axis"] @ turn.T
        solids.append((moved, np.ascontiguousarray(points @ turn.T + shift)))
    return replace(body, solids=tuple(solids))


def turned_lines(lines: Lines, turn_rad: float, about_mm: tuple[float, float]) -> Lines:
    """Return axis lines turned about an upright line through a point."""
    turn, shift = _turn(turn_rad, about_mm)
    rows = np.array(lines.rows, dtype=np.float64)
    rows[:, :3] = rows[:, :3] @ turn.T + shift
    rows[:, 3:6] = rows[:, 3:6] @ turn.T
    return replace(lines, rows=rows)


def _turn(turn_rad: float, about_mm: tuple[float, float]) -> tuple[Floats, Floats]:
    cosine, sine = clean_turn(turn_rad)
    turn = np.array([[cosine, -sine, 0.0], [sine, cosine, 0.0], [0.0, 0.0, 1.0]])
    about = np.array([*about_mm, 0.0])
    return turn, about - turn @ about


def _all_at(stops: Iterable[Floats], xyz: Floats) -> list[Floats]:
    found = []
    for stop in stops:
        joint = stop.copy()
        joint[:3] = xyz
        found.append(joint)
    return found


def _pulled_back(body: Body) -> Body:
    """Return a guard a hair farther away: a margin that is just kept is kept."""
    solids = []
    for pieces, points in body.solids:
        low, high = points.min(axis=0), points.max(axis=0)
        # A guard is a half space: along one axis alone it lies wholly on one side.
        axis = int(np.argmin((low < 0.0) & (high > 0.0)))
        away = np.zeros(3)
        away[axis] = KEPT_MM * np.sign(points[:, axis].mean())
        solids.append((pieces, points + away))
    return replace(body, solids=tuple(solids))
