"""The unit in one yaw among the bodies of the machine, with the proofs that a place is made of.

What the unit and the tools do to each other does not hang on the place on the table: those proofs
are made once for each yaw.  Moving the unit is the same as moving everything else the other way, so
the trees of the bodies are built once and only joint positions change from place to place.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.findings.place_turned import KEPT_MM, pulled_back, turned_body, turned_lines
from gudgeon.findings.place_ways import is_unit, orders, pairs_of
from gudgeon.findings.scene import OUTLINE
from gudgeon.placing.conditions import ROUNDING
from gudgeon.placing.limits import clean_turn

if TYPE_CHECKING:
    from gudgeon.clearance.prove import Gap, Prover
    from gudgeon.clearance.scene import Body, Scene

__all__ = ["Down", "Site"]

Floats = NDArray[np.float64]

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
        outline of the unit's body), "both" (against load and unit's body); "blank" (the tool
        against the blank of the station, inside which the zero lies); or because it lies on or in a
        body that is no stock: "on" (the flutes against it), "in" (the tool against all of the load,
        for none comes there).
    provers : tuple of Prover
        What was judged, together.
    """

    clear: bool
    gap: Gap | None
    excused: str
    provers: tuple[Prover, ...] = ()


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
            pulled = [pulled_back(body) for body in margined]
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
        # A zero is entered on or in a body: how surely the axis lines are known is no part of that.
        self._all_at_tip = Prover(among(turning, unsure_mm=0.0), (point,))
        self._at_tip = [(one, Prover(among([one], unsure_mm=0.0), (point,))) for one in turning]
        self._unit, self._head, self._tools, self._among = unit, head, tools, among
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
        station: str,
        spot: tuple[float, float],
        pose: tuple[float, float],
        top: float,
        to: float,
        tip: float,
    ) -> Down:
        """Judge a tool that comes down in a pose from Z `top` to Z `to`, its tip at height `tip`.

        The flutes may cut the stock of `station`.  Where the zero lies inside an outline or a body,
        the least is left out that leaves the tool clear.
        """
        key = (tool, station, *spot, *pose, to)
        if key in self._down:
            return self._down[key]
        x, y = self.origin_mm[0] + spot[0], self.origin_mm[1] + spot[1]
        start, end = np.array([x, y, top, *pose]), np.array([x, y, to, *pose])
        first: Down | None = None
        at_tip = np.array([x, y, tip + INSIDE_MM, *pose])
        for excused, provers, in_stock in self._tries(tool, station, at_tip):
            gaps = [self._lowered(prover, start, end, station, in_stock) for prover in provers]
            gap = next((gap for gap in gaps if gap is not None), None)
            if gap is None:
                first = Down(True, None, excused, provers)
                break
            first = first or Down(False, gap, "")
        assert first is not None
        self._down[key] = first
        return first

    def _tries(
        self, tool: int, station: str, at_tip: Floats
    ) -> Iterator[tuple[str, tuple[Prover, ...], bool]]:
        """Yield what to judge a tool against, and whether its flutes may be in stock all the way.

        First all; then always less, as far as the zero lies inside stock, outlines or bodies.
        """
        from gudgeon.clearance.prove import Prover
        from gudgeon.clearance.scene import Role

        known = self._with_tool
        yield "", (known["", tool],), False
        around = self._around(at_tip)
        own = [one for one in around if one.role is Role.STOCK and one.station in ("", station)]
        outline = any(not one.station for one in own)
        if own:
            yield "flutes" if outline else "", (known["", tool],), True
        if ("body", tool) in known:
            yield "body", (known["body", tool],), bool(own)
        every = (*self._unit, *self._head)
        tools = self._tools[tool]

        def without(out: Sequence[Body]) -> Prover:
            return Prover(self._among([one for one in every if one not in out]), tools)

        blanks = [one for one in own if one.station]
        if blanks:
            yield "blank", (without(blanks),), outline
        others = [one for one in around if one.role not in (Role.STOCK, Role.PART)]
        if others:
            blunt = tuple(one for one in tools if one.role is not Role.CUTTER)
            whole = Prover(self._among(every), blunt)
            yield "on", (whole, without(others)), bool(own)
        buried = [one for one in others if one in self._around(at_tip, ROUNDING)]
        if buried:
            load = [one for one in every if one.role in (Role.STOCK, Role.PART, Role.FIXTURE)]
            yield "in", (without([*load, *buried]),), False
        if outline:
            for kind in ("tool", "both"):
                if (kind, tool) in known:
                    yield kind, (known[kind, tool],), False

    def _around(self, at_tip: Floats, on_mm: float = 2.0 * INSIDE_MM) -> list[Body]:
        """Return the turning bodies in which a point lies, or on which, if they are no stock."""
        from gudgeon.clearance.scene import Role

        if self._first(self._all_at_tip, [at_tip] * 2, on_mm) is None:
            return []
        return [
            one
            for one, prover in self._at_tip
            if self._first(prover, [at_tip] * 2, ROUNDING if one.role is Role.STOCK else on_mm)
        ]

    def _lowered(
        self, prover: Prover, start: Floats, end: Floats, station: str, in_stock: bool
    ) -> Gap | None:
        """Return what a tool meets on its way down; ``None``: nothing.

        The flutes may be in the stock over the last of it, or all the way.
        """
        from gudgeon.clearance.prove import Status

        near = end.copy()
        near[2] = min(start[2], end[2] + self.need_mm + ABOVE_MM)
        for one, other, cutting in (
            (start, near, station if in_stock else None),
            (near, end, station),
        ):
            found = prover.motion(one, other, self.need_mm, cutting=cutting)
            if found.status is not Status.PROVEN:
                return found
        return None

    # --- how much is left, exactly -----------------------------------------------------------

    def least_down(
        self,
        tool: int,
        station: str,
        spot: tuple[float, float],
        pose: tuple[float, float],
        top: float,
        to: float,
        tip: float,
    ) -> Gap | None:
        """Return the smallest gap of a tool that comes down clear; the flutes may be in stock."""
        found = self.down(tool, station, spot, pose, top, to, tip)
        if not found.clear:
            return None
        x, y = self.origin_mm[0] + spot[0], self.origin_mm[1] + spot[1]
        ends = [np.array([x, y, top, *pose]), np.array([x, y, to, *pose])]
        return _least([(prover, [ends], self.need_mm) for prover in found.provers], station)

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


def _all_at(stops: Iterable[Floats], xyz: Floats) -> list[Floats]:
    found = []
    for stop in stops:
        joint = stop.copy()
        joint[:3] = xyz
        found.append(joint)
    return found
