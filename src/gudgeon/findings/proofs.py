"""What travels and tool changes share: ranges of the joints, clearance asked, proofs of a box."""

from __future__ import annotations

import hashlib
import math
from collections import OrderedDict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any, Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from gudgeon.answer import Missing
from gudgeon.cell.model import Tool
from gudgeon.findings.gather import Lacking
from gudgeon.findings.scene import SceneFindings

if TYPE_CHECKING:
    from gudgeon.clearance.envelope import Proof
    from gudgeon.clearance.prove import Gap, Prover
    from gudgeon.clearance.scene import Body, Scene

__all__ = ["CONTACT_MM", "SKETCH", "WORK", "ProofFindings", "Ranges", "ToolInHand", "between"]

Floats = NDArray[np.float64]
T = TypeVar("T")

USUAL_CLEARANCE_MM: Final = 1.0
"""Clearance asked where ``shop.clearance`` is left out; told under what is assumed."""

CONTACT_MM: Final = 1e-3
"""What is left counts as contact below this; a margin that is entered stands in the bodies."""

UNKNOWN_RADIUS_MM: Final = 40.0
"""A tool without diameters counts this wide all along (common practice, no source)."""

FULL_TURN: Final = 2.0 * math.pi
KEPT_MOST: Final = 64
PROVERS_MOST: Final = 12

TURNS_TRIED: Final = 25
"""Turns at which the nearest pose is looked for, and again between two of them: for the eye."""

WORK: Final = 60_000
"""Steps of one proof; what is not decided by then counts as not clear (about a second)."""

SKETCH: Final = 6_000
"""The same where a search asks about many boxes and only the size of its result hangs on it."""

_kept: OrderedDict[bytes, object] = OrderedDict()


@dataclass(frozen=True, slots=True)
class Ranges:
    """How far each joint goes.

    Attributes
    ----------
    low, high : ndarray, shape (5,)
        X, Y, Z [mm], tilt, rotary [rad].
    endless : bool
        The rotary turns without end; its range is then one whole turn.
    assumed : tuple of str
    """

    low: Floats
    high: Floats
    endless: bool
    assumed: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ToolInHand:
    """A tool with a known length as the proofs take it.

    Attributes
    ----------
    tool : Tool
    name : str
        Such as "T3".
    length_mm : float
        At its longest.
    bodies : tuple of Body
        Carried by the head: cutter, shank, holder and the spindle's nose.
    guessed : Missing or None
        What was not entered, where a thick round bar stands for the tool.
    """

    tool: Tool
    name: str
    length_mm: float
    bodies: tuple[Body, ...]
    guessed: Missing | None


class ProofFindings(SceneFindings):
    """Ranges, clearance and proofs that several questions rest on."""

    @cached_property
    def ranges(self) -> Ranges:
        """Travel of every joint; raises `Lacking` for X, Y or Z."""
        machine, unit, gather = self.cell.machine, self.cell.unit, self.gather()
        low, high, told = np.zeros(5), np.zeros(5), []
        travels = (machine.travel_x, machine.travel_y, machine.travel_z)
        for k, (letter, travel) in enumerate(zip("XYZ", travels, strict=True)):
            gather.need(
                travel,
                f"machine.travel_{letter.lower()}",
                f"travel of machine {letter}",
                why="what is safe is told within the machine's travel",
                how=f"jog {letter} to both ends with the table empty and read its coordinates",
            )
            if travel is not None:
                low[k], high[k] = travel[0].value, travel[1].value
        gather.stop()
        if self.has_tilt:
            if unit.tilt_range is not None:
                low[3], high[3] = (end.value for end in unit.tilt_range)
            else:
                low[3], high[3] = -math.pi, math.pi
                told.append("The tilt may reach any angle (unit.tilt_range is not given).")
        turns = unit.rotary_range
        endless = turns is None or turns[1].value - turns[0].value >= FULL_TURN - 1e-9
        if endless:
            low[4], high[4] = 0.0, FULL_TURN
        else:
            assert turns is not None
            low[4], high[4] = turns[0].value, turns[1].value
        return Ranges(low, high, endless, tuple(told))

    @property
    def asked_mm(self) -> float:
        """Clearance asked of every motion [mm]."""
        asked = self.cell.shop.clearance
        return USUAL_CLEARANCE_MM if asked is None else asked.value

    @property
    def asked_told(self) -> tuple[str, ...]:
        """What is told where the clearance is not entered."""
        if self.cell.shop.clearance is not None:
            return ()
        return (
            f"A clearance of {USUAL_CLEARANCE_MM:g} mm is asked (shop.clearance is not given).",
        )

    @cached_property
    def tools_in_hand(self) -> tuple[ToolInHand, ...]:
        """Every tool with a known length, the longest first; raises `Lacking` if there is none."""
        from gudgeon.clearance.pieces import cone
        from gudgeon.clearance.scene import Body, Carrier, Role

        gather = self.gather()
        gather.need(
            tuple(tool for tool in self.cell.tools if tool.length is not None),
            "tools",
            "lengths of the tools",
            why="how low the spindle may come hangs on them",
            how="enter [[tools]] with the length of each, gauge point to tip; the longest first",
        )
        gather.stop()
        found = []
        for index, tool in enumerate(self.cell.tools, start=1):
            if tool.length is None:
                continue
            name = f"T{tool.number}" if tool.number is not None else tool.name or f"tool {index}"
            length, guessed = tool.length.value + (tool.length.plus_minus or 0.0), None
            try:
                if tool.number is None:
                    raise Lacking((_unnumbered(self.cell.file, index, name),))
                bodies = self.tool_bodies(tool.number)
            except Lacking as lacking:
                guessed = lacking.missing[0]
                radius = UNKNOWN_RADIUS_MM
                for known in (tool.cutter_diameter, tool.holder_diameter):
                    radius = max(radius, known.value / 2.0 if known else 0.0)
                bar = cone((0.0, 0.0, -length), (0.0, 0.0, 0.0), radius, radius)
                bodies = (
                    Body(name, Carrier.HEAD, Role.HOLDER, (bar,)),
                    *self.tool_bodies(None),
                )
            found.append(ToolInHand(tool, name, length, tuple(bodies), guessed))
        return tuple(sorted(found, key=lambda item: -item.length_mm))

    def proof(
        self,
        scene: Scene,
        tool: Sequence[Body],
        need_mm: float,
        *,
        tol_mm: float = 0.01,
        work: int = WORK,
    ) -> Proof:
        """Return the proof of a box of joint positions for a scene with a tool.

        Boxes that were asked before are answered from what is kept; one that is not decided
        within so many steps of `work` counts as not clear.
        """
        from gudgeon.clearance.prove import Status
        from gudgeon.clearance.revolve import turns_whole

        prover, round_, carried = self._provers_of(scene, tool)
        known: dict[bytes, Gap] = {}

        def look(low: Floats, high: Floats) -> Gap:
            if not turns_whole(float(low[4]), float(high[4])):
                return prover.box(low, high, need_mm, tol_mm=tol_mm, work=work)
            # Every turn at once; what that meets is looked at with the bodies themselves.
            gap = round_.box(low, high, need_mm, tol_mm=tol_mm, work=work)
            if gap.status is Status.PROVEN and carried is not None:
                # Turned all round it rides on the tilt, and no more meets what rides there too.
                still = high.copy()
                still[:4] = low[:4]
                gap = carried.box(low, still, need_mm, tol_mm=tol_mm, work=work)
                return gap if gap.status is Status.PROVEN else replace(gap, lower_mm=-np.inf)
            if gap.status is Status.PROVEN:
                return gap
            if gap.joint and np.isfinite(gap.upper_mm):
                # What was met is a body turned all round: the witness has to be a real pose.
                start, end = np.array(gap.joint), np.array(gap.joint)
                start[4], end[4] = low[4], high[4]
                near = _nearest_turn(prover, start, end, need_mm, tol_mm)
                if near.upper_mm < need_mm:
                    return replace(near, status=Status.CLOSER, lower_mm=-np.inf)
                if gap.status is Status.UNDECIDED:
                    return replace(near, status=Status.UNDECIDED, lower_mm=-np.inf)
            if gap.status is Status.UNDECIDED:
                return gap
            return prover.box(low, high, need_mm, tol_mm=tol_mm, work=work)

        def prove(low: Floats, high: Floats) -> Gap:
            key = low.tobytes() + high.tobytes()
            if key not in known:
                known[key] = look(low, high)
            return known[key]

        return prove

    def _provers_of(
        self, scene: Scene, tool: Sequence[Body]
    ) -> tuple[Prover, Prover, Prover | None]:
        """Return the provers of a scene, of what it sweeps, and of what rides on the tilt.

        The last is that of what turns beside what is carried by the tilt alone; ``None`` where
        there is nothing of either.
        """
        from gudgeon.clearance.prove import Prover
        from gudgeon.clearance.revolve import revolved
        from gudgeon.clearance.scene import Carrier

        # Bodies are told by which they are: those that are kept here stay alive.
        own = tuple(tool)
        key = (*map(id, scene.bodies), 0, *map(id, own)), scene.apart
        known = self._provers
        if key not in known:
            carriers = {body.carrier for body in scene.bodies}
            carried = None
            if {Carrier.TILT, Carrier.ROTARY} <= carriers:
                pairs = between(
                    scene,
                    lambda body: body.carrier is Carrier.TILT,
                    lambda body: body.carrier is Carrier.ROTARY,
                    (),
                )
                carried = Prover(pairs)
            known[key] = scene, own, (Prover(scene, own), Prover(revolved(scene), own), carried)
            while len(known) > PROVERS_MOST:
                known.pop(next(iter(known)))
        return known[key][2]

    @cached_property
    def _provers(
        self,
    ) -> dict[object, tuple[Scene, tuple[Body, ...], tuple[Prover, Prover, Prover | None]]]:
        return {}

    def kept(self, what: str, parts: Iterable[object], work: Callable[[], T]) -> T:
        """Return a result worked out before from exactly the same parts, else work it out.

        Parameters
        ----------
        what : str
            Name of the result.
        parts : iterable
            Everything that it rests on: scenes, bodies, arrays, numbers, texts.
        work : callable
        """
        digest = hashlib.blake2b(what.encode(), digest_size=20)
        for part in parts:
            _feed(digest, part)
        key = digest.digest()
        if key in _kept:
            _kept.move_to_end(key)
            return _kept[key]  # type: ignore[return-value]
        result = work()
        _kept[key] = result
        while len(_kept) > KEPT_MOST:
            _kept.popitem(last=False)
        return result


def _nearest_turn(prover: Prover, start: Floats, end: Floats, need_mm: float, tol_mm: float) -> Gap:
    """Return the closest of many turns, or one that is closer than asked: no proof, a witness."""
    low, high = float(start[4]), float(end[4])
    best: Gap | None = None
    for _ in range(2):
        turns = np.linspace(low, high, TURNS_TRIED)
        for turn in turns:
            at = start.copy()
            at[4] = turn
            gap = prover.motion(at, at, np.inf, exact=True, tol_mm=tol_mm)
            if best is None or gap.upper_mm < best.upper_mm:
                best = gap
                if best.upper_mm < need_mm:
                    return best
        assert best is not None
        step = float(turns[1] - turns[0])
        low, high = best.joint[4] - step, best.joint[4] + step
    assert best is not None
    return best


def between(
    scene: Scene, one: Callable[[Body], bool], other: Callable[[Body], bool], tool: Sequence[Body]
) -> Scene:
    """Return a scene in which only pairs of one group and the other are judged."""
    bodies = tuple(body for body in scene.bodies if one(body) or other(body))
    everything = (*bodies, *tool)
    apart = set(scene.apart)
    for i, a in enumerate(everything):
        for b in everything[i + 1 :]:
            if not ((one(a) and other(b)) or (one(b) and other(a))):
                apart.add(frozenset((a.name, b.name)))
    return replace(scene, bodies=bodies, apart=frozenset(apart))


def _feed(digest: Any, part: object) -> None:
    """Feed one part into a digest, its kind and size with it so that nothing runs together."""
    from dataclasses import fields, is_dataclass

    if isinstance(part, np.ndarray):
        digest.update(f"array {part.dtype} {part.shape};".encode())
        digest.update(np.ascontiguousarray(part).tobytes())
    elif isinstance(part, (tuple, list)):
        digest.update(f"row {len(part)};".encode())
        for item in part:
            _feed(digest, item)
    elif isinstance(part, (set, frozenset)):
        _feed(
            digest,
            sorted(str(sorted(item) if isinstance(item, frozenset) else item) for item in part),
        )
    elif is_dataclass(part) and not isinstance(part, type):
        digest.update(f"{type(part).__name__};".encode())
        for item in fields(part):
            _feed(digest, getattr(part, item.name))
    else:
        digest.update(f"{type(part).__name__} {part!r};".encode())


def _unnumbered(file: str, index: int, name: str) -> Missing:
    return Missing(
        f"number of {name}",
        f"{file}: tools[{index}].number",
        "a tool is told by its number",
        "enter its number",
    )
