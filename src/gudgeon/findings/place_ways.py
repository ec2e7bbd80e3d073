"""Which poses the unit comes to without meeting itself, and which of its parts costs which station.

A way leads from both angles at zero to the pose of a face: the platter turns first and the cradle
tilts then, or the other way round; one of them must be proven.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.cell.model import Alternative, Box, Cell
from gudgeon.findings.proofs import ProofFindings

if TYPE_CHECKING:
    from gudgeon.clearance.prove import Gap, Prover
    from gudgeon.clearance.scene import Body, Scene

__all__ = ["Fitted", "Way", "WayFindings", "is_unit", "orders", "pairs_of"]

Floats = NDArray[np.float64]

SAMPLES: Final = 16
"""Places along a way that meets something, at which its depth is looked at first."""

HALVINGS: Final = 40
NARROWED: Final = 14
"""Golden sections: they narrow two samples' width to a thousandth."""

GOLDEN: Final = (math.sqrt(5.0) - 1.0) / 2.0
_ROTARY: Final = 2  # Carrier.ROTARY; the engine is not imported before it is needed
TOUCH_MM: Final = 1e-3
"""First contact is told where less than this is left."""


@dataclass(frozen=True, slots=True)
class Way:
    """The way of the unit to one pose.

    Attributes
    ----------
    tilt_rad, turn_rad : float
        The pose.
    proven : bool
        One of the two orders keeps the clearance asked, the pose included.
    decided : bool
        False where neither that nor a pose that is closer was found within the work allowed.
    end_mm, way_mm : float
        Smallest gap in the pose, and anywhere on the better of the two ways; negative: how deep
        bodies overlap; infinite: no two bodies that may not touch [mm].
    worst_tilt_rad, worst_turn_rad : float
        Where it is smallest.
    contact_tilt_rad : float or None
        Tilt at which bodies first touch; ``None`` where they do not.
    pair : tuple of two names
        The bodies that come nearest.
    worst : Gap or None
        The pose where it is smallest, as it was found.
    """

    tilt_rad: float
    turn_rad: float
    proven: bool
    decided: bool
    end_mm: float
    way_mm: float
    worst_tilt_rad: float
    worst_turn_rad: float
    contact_tilt_rad: float | None
    pair: tuple[str, str]
    worst: Gap | None


@dataclass(frozen=True, slots=True)
class Fitted:
    """The unit with one thing fitted otherwise, and what that costs.

    Attributes
    ----------
    name : str
        What is fitted: "as entered", "without ..." or the name of the alternative.
    box : str
        Box that it is about; empty for the unit as entered.
    ways : tuple of Way
    lost : tuple of str
        Stations at least one of whose faces is not reached by any proven way.
    of : int
        Stations in all.
    """

    name: str
    box: str
    ways: tuple[Way, ...]
    lost: tuple[str, ...]
    of: int


AS_ENTERED: Final = "as entered"


class WayFindings(ProofFindings):
    """Facts about the unit turning in itself; nothing of them hangs on its place on the table."""

    @cached_property
    def own_scene(self) -> Scene:
        """The unit with its load alone."""
        found = self.scene.scene
        return replace(found, bodies=tuple(body for body in found.bodies if is_unit(body)))

    @cached_property
    def own_ways(self) -> tuple[Way, ...]:
        """The way to each pose that is worked in; raises `Lacking`."""
        from gudgeon.clearance.prove import Prover

        scene = self.own_scene
        prover = Prover(scene)
        known: dict[tuple[object, ...], _Depth] = {}
        found = []
        for number, pose in enumerate(self.work_poses):
            self.going(number / len(self.work_poses))
            angles = (pose.tilt_rad, pose.turn_rad) if self.has_tilt else (0.0, pose.tilt_rad)
            found.append(self._way_to(scene, prover, *angles, known))
        return tuple(found)

    @cached_property
    def fitted(self) -> tuple[Fitted, ...]:
        """The unit as entered, then with each part that costs a station taken off or replaced.

        Parts with an alternative are tried in any case.  Raises `Lacking`.
        """
        found = [self._fitted(AS_ENTERED, "", self)]
        replaced = {item.instead_of for item in self.cell.unit.alternatives}
        guilty = {
            name
            for way in self.own_ways
            if not way.proven
            for name in self._guilty(way.pair, replaced)
        }
        boxes = self.cell.unit.boxes
        for number, box in enumerate(boxes):
            if box.name is None or box.name not in guilty | replaced:
                continue
            with self.part(number / len(boxes), (number + 1) / len(boxes)):
                again = self._with_boxes(number, None)
                found.append(self._fitted(f"without {box.name}", box.name, again))
                for other in self.cell.unit.alternatives:
                    if other.instead_of == box.name:
                        again = self._with_boxes(number, other)
                        found.append(self._fitted(other.name or "alternative", box.name, again))
        return tuple(found)

    def lost_on_the_way(self, ways: Iterable[Way]) -> tuple[str, ...]:
        """Return the stations that have a face in a pose to which no way is proven."""
        good = {(round(way.tilt_rad, 6), round(way.turn_rad, 6)) for way in ways if way.proven}
        lost = [
            zero.station
            for zero in self._zeros_or_none()
            if (round(zero.tilt_rad, 6), round(zero.turn_rad, 6)) not in good
        ]
        return tuple(dict.fromkeys(lost))

    def _guilty(self, pair: tuple[str, str], replaced: set[str | None]) -> tuple[str, ...]:
        """Return the boxes of a pair that could be taken off: what moves, or has an alternative."""
        boxes = {box.name: box for box in self.cell.unit.boxes if box.name in pair}
        known = [name for name in pair if name in boxes]
        return tuple(name for name in known if name in replaced) or tuple(
            name for name in known if boxes[name].turns_with not in (None, "base")
        )

    def _fitted(self, name: str, box: str, of: WayFindings) -> Fitted:
        stations = dict.fromkeys(zero.station for zero in of._zeros_or_none())
        return Fitted(name, box, of.own_ways, of.lost_on_the_way(of.own_ways), len(stations))

    def _with_boxes(self, number: int, other: Alternative | None) -> WayFindings:
        """Return findings of the unit without one of its boxes, or with another in its place."""
        cell = self.placed_cell
        boxes = list(cell.unit.boxes)
        if other is None:
            del boxes[number]
        else:
            boxes[number] = Box(other.name, other.x, other.y, other.z, boxes[number].turns_with)
        unit = replace(cell.unit, boxes=tuple(boxes), alternatives=())
        return self._other(replace(cell, unit=unit))

    def _other(self, cell: Cell) -> WayFindings:
        return self.telling(type(self)(cell))

    def _way_to(
        self,
        scene: Scene,
        prover: Prover,
        tilt: float,
        turn: float,
        known: dict[tuple[object, ...], _Depth],
    ) -> Way:
        """Judge one way: quickly where it is proven, and to its smallest gap for the figures."""
        from gudgeon.clearance.prove import Status

        need = self.asked_mm or TOUCH_MM
        end = _at(tilt, turn)
        best: tuple[float, tuple[Gap, ...], list[Floats]] | None = None
        decided = True
        for stops in orders(tilt, turn):
            legs = list(pairwise(stops))
            gaps = tuple(prover.motion(a, b, need, exact=True) for a, b in legs)
            least = min((_known(gap) for gap in gaps), default=math.inf)
            if best is None or least > best[0]:
                best = (least, gaps, stops)
            decided = decided and all(gap.status is not Status.UNDECIDED for gap in gaps)
        assert best is not None
        least, gaps, stops = best
        at_end = prover.motion(end, end, need, exact=True)
        proven = all(gap.status is Status.PROVEN for gap in (*gaps, at_end))
        worst = min((*gaps, at_end), key=_known)
        end_mm, way_mm, contact = _known(at_end), least, None
        joint, pair = np.array(worst.joint), worst.pair
        if least <= 0.0:
            # Where neither of the two turns with the platter, its turn makes no difference.
            turns = any(body.name in pair and body.carrier == _ROTARY for body in scene.bodies)
            key = (pair, tilt, turn if turns else None)
            if key not in known:
                two = tuple(body for body in scene.bodies if body.name in pair)
                known[key] = _overlap(type(prover)(replace(scene, bodies=two)), stops)
            found = known[key]
            way_mm, contact, joint = -found.way_mm, found.contact_tilt_rad, found.worst
            end_mm = -found.end_mm if end_mm <= 0.0 else end_mm
            worst = prover.motion(joint, joint, need, exact=True)
        return Way(
            tilt_rad=tilt,
            turn_rad=turn,
            proven=proven,
            decided=proven or decided,
            end_mm=end_mm,
            way_mm=min(way_mm, end_mm),
            worst_tilt_rad=float(joint[3]),
            worst_turn_rad=float(joint[4]),
            contact_tilt_rad=contact,
            pair=pair,
            worst=worst,
        )


def is_unit(body: Body) -> bool:
    """Return whether a body goes where the unit is put."""
    from gudgeon.clearance.scene import Carrier, Role

    if body.carrier in (Carrier.TILT, Carrier.ROTARY):
        return True
    return body.carrier is Carrier.TABLE and body.role in (Role.UNIT, Role.HOSE)


def pairs_of(bodies: tuple[Body, ...]) -> list[tuple[Body, Body]]:
    """Return every pair of bodies that can move against each other."""
    return [
        (one, other)
        for number, one in enumerate(bodies)
        for other in bodies[number + 1 :]
        if one.carrier is not other.carrier
    ]


def orders(tilt: float, turn: float) -> list[list[Floats]]:
    """Return the ways from zero to a pose: turn before tilt, tilt before turn."""
    start, end = _at(0.0, 0.0), _at(tilt, turn)
    if tilt == 0.0 or turn == 0.0:
        return [[start, end]]
    return [[start, _at(0.0, turn), end], [start, _at(tilt, 0.0), end]]


def _at(tilt: float, turn: float) -> Floats:
    return np.array([0.0, 0.0, 0.0, tilt, turn])


def _known(gap: Gap) -> float:
    """Return what is surely left: the true gap of the witness less the tolerance, or nothing."""
    if gap.upper_mm <= 0.0:
        return 0.0
    return gap.lower_mm if math.isfinite(gap.lower_mm) else gap.upper_mm


def _place(stops: list[Floats], share: float) -> Floats:
    """Return the joint position at a share of the whole way, each leg counting the same."""
    legs = len(stops) - 1
    leg = min(int(share * legs), legs - 1)
    return stops[leg] + (share * legs - leg) * (stops[leg + 1] - stops[leg])


@dataclass(frozen=True, slots=True)
class _Depth:
    """How deep two bodies overlap at the end of a way and at its worst, where, and since when."""

    end_mm: float
    way_mm: float
    worst: Floats
    contact_tilt_rad: float


def _overlap(prover: Prover, stops: list[Floats]) -> _Depth:
    """Return how deep bodies overlap on a way: figures for a person, not a proof.

    Sampled, then narrowed by golden sections; whether bodies touch at all is proven elsewhere.
    """

    def depth(share: float) -> float:
        return prover.overlap_mm(_place(stops, share))[0]

    shares = np.linspace(0.0, 1.0, SAMPLES + 1)
    depths = [depth(float(share)) for share in shares]
    top = int(np.argmax(depths))
    low, high = float(shares[max(top - 1, 0)]), float(shares[min(top + 1, SAMPLES)])
    share, deepest = _highest(depth, low, high)
    if deepest < depths[top]:
        share, deepest = float(shares[top]), depths[top]
    contact = _first_contact(prover, stops)
    return _Depth(depths[-1], deepest, _place(stops, share), contact)


def _highest(function: Callable[[float], float], low: float, high: float) -> tuple[float, float]:
    """Return where a function with one top is highest, and how high (golden sections)."""
    a, b = high - GOLDEN * (high - low), low + GOLDEN * (high - low)
    fa, fb = function(a), function(b)
    for _ in range(NARROWED):
        if fa < fb:
            low, a, fa = a, b, fb
            b = low + GOLDEN * (high - low)
            fb = function(b)
        else:
            high, b, fb = b, a, fa
            a = high - GOLDEN * (high - low)
            fa = function(a)
    return (a, fa) if fa >= fb else (b, fb)


def _first_contact(prover: Prover, stops: list[Floats]) -> float:
    """Return the tilt up to which the way is proven free of contact [rad]."""
    from gudgeon.clearance.prove import Status

    for start, end in pairwise(stops):
        if prover.motion(start, end, TOUCH_MM).status is Status.PROVEN:
            continue
        low, high = 0.0, 1.0
        for _ in range(HALVINGS):
            middle = (low + high) / 2.0
            free = prover.motion(start, start + middle * (end - start), TOUCH_MM)
            low, high = (middle, high) if free.status is Status.PROVEN else (low, middle)
        return float((start + low * (end - start))[3])
    return float(stops[-1][3])
