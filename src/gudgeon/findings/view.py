"""What a scene of the cell shows, as numbers: bodies as triangles, joints, axis lines, sliders.

Display only: nothing is proven on these triangles.  Rounded edges are shown sharp, and what a body
is grown by in a proof is left off.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.findings.bodies import ENDLESS_MM
from gudgeon.findings.changing import ChangingFindings
from gudgeon.findings.gather import Lacking
from gudgeon.findings.place_turned import put_elsewhere
from gudgeon.findings.surfaces import body_triangles, reduced
from gudgeon.kinematics.bodies import LAYOUTS
from gudgeon.quantity.kinds import Kind

if TYPE_CHECKING:
    from gudgeon.clearance.envelope import ClearMap, SafeBox
    from gudgeon.clearance.prove import Prover
    from gudgeon.clearance.scene import Body

__all__ = [
    "AxisTube",
    "CellView",
    "GapSeen",
    "Joint",
    "Seen",
    "Slide",
    "Stand",
    "ToolSeen",
    "ViewFindings",
]

Floats = NDArray[np.float64]
Vector = tuple[float, float, float]

MOVES: Final = ("x", "y", "z", "tilt", "turn")

ROUND_MM: Final = 450.0
"""What has no end is shown as far as this beyond everything that has one."""

SLAB_MM: Final = 20.0
"""Where something without end begins beyond that, so much of it is shown."""

TRIANGLES_MOST: Final = 20_000
"""Triangles of the model that is shown while something moves."""

PLAIN: Final = 400
"""A body of no more triangles is never reduced while there is room."""

STANDS: Final = 24
"""Places of the unit that are shown."""

PROVERS_MOST: Final = 40
"""Tools and places for which what the gap is worked out with is held."""

TUBE_MM: Final = 12.0
"""About how wide the tube of an axis line's uncertainty is drawn; it is magnified to that."""


@dataclass(frozen=True, slots=True)
class Joint:
    """One link of the tree: what carries it, and how it moves against that.

    Attributes
    ----------
    name : str
    parent : str or None
    moves_with : str or None
        One of `MOVES`; ``None``: fixed to its parent.
    axis : tuple of 3 floats
        Unit direction of the slide, or of the line about which it turns.
    origin_mm : tuple of 3 floats
        A point on that line; of a slide 0.
    sense : int
        What a plus command does along or about `axis`.
    """

    name: str
    parent: str | None
    moves_with: str | None = None
    axis: Vector = (0.0, 0.0, 1.0)
    origin_mm: Vector = (0.0, 0.0, 0.0)
    sense: int = 1


@dataclass(frozen=True, slots=True)
class Seen:
    """A body as it is shown.

    Attributes
    ----------
    name, role, link : str
    triangles_mm : ndarray, shape (n, 3, 3)
        Facing outwards, where the body stands with X, Y, Z and all angles at zero; of the head
        counted from the gauge point.
    """

    name: str
    role: str
    link: str
    triangles_mm: Floats


@dataclass(frozen=True, slots=True)
class AxisTube:
    """An axis line as it is drawn.

    Attributes
    ----------
    name, link : str
        ``"tilt"`` or ``"rotary"``, and what it is fixed to.
    point_mm, direction : tuple of 3 floats
    u_mm, u_rad : float
        Expanded uncertainty at the point, across the line, and of its direction, at 95 %.
    magnified : float
        The tube is drawn so many times as wide as `u_mm`.
    measured : bool
    """

    name: str
    link: str
    point_mm: Vector
    direction: Vector
    u_mm: float
    u_rad: float
    magnified: float
    measured: bool


@dataclass(frozen=True, slots=True)
class Slide:
    """Range of one axis of the control [mm or rad]."""

    moves: str
    letter: str
    low: float
    high: float
    endless: bool


@dataclass(frozen=True, slots=True)
class ToolSeen:
    """A tool that can be shown; `link` is its own, carried by the head."""

    number: int | None
    name: str
    length_mm: float
    link: str


@dataclass(frozen=True, slots=True)
class Stand:
    """A place where the unit could stand.

    Attributes
    ----------
    x_mm, y_mm, yaw_rad : float
        Of the unit frame.
    works : bool
    words : str
        Stations reached, and what has the least room or is broken.
    matrix : ndarray, shape (4, 4)
        Takes points of the link "unit" from where it stands to there [mm].
    """

    x_mm: float
    y_mm: float
    yaw_rad: float
    works: bool
    words: str
    matrix: Floats


@dataclass(frozen=True, slots=True)
class GapSeen:
    """The smallest gap at one pose.

    Attributes
    ----------
    gap_mm : float
        What is left between the two, less how far the axis lines may be off; below 0 they touch.
    proven : bool
        No pair is nearer, and this one does not touch.
    pair : tuple of two names
    points_mm : two points in T
    """

    gap_mm: float
    proven: bool
    pair: tuple[str, str]
    points_mm: tuple[Vector, Vector]


@dataclass(frozen=True, slots=True)
class CellView:
    """All that a scene shows.

    Attributes
    ----------
    joints : tuple of Joint
        A parent stands before its children.
    bodies : tuple of Seen
    tubes : tuple of AxisTube
    slides : tuple of Slide
        X, Y, Z, tilt, turn; only axes that the cell has and whose range is known.
    start : tuple of 5 floats
        Displayed position shown first.
    tools : tuple of ToolSeen
    notes : tuple of str
        What is not shown, and why.
    """

    joints: tuple[Joint, ...]
    bodies: tuple[Seen, ...]
    tubes: tuple[AxisTube, ...]
    slides: tuple[Slide, ...]
    start: tuple[float, float, float, float, float]
    tools: tuple[ToolSeen, ...]
    notes: tuple[str, ...]


class ViewFindings(ChangingFindings):
    """What a scene shows."""

    @cached_property
    def view(self) -> CellView:
        """Everything that can be shown; what cannot is told in its notes, nothing is raised."""
        notes: list[str] = []
        bodies: list[Seen] = []
        tubes: tuple[AxisTube, ...] = ()
        try:
            scene = self.scene.scene
        except Lacking as lacking:
            notes += [
                f"Not shown yet: {one.what} is missing ({one.where})." for one in lacking.missing
            ]
        else:
            bodies = self._bodies_seen(scene.bodies, notes)
            tubes = self._tubes(bodies)
        tools = self._tools_seen(bodies, notes)
        slides = self._slides()
        start = [0.0, 0.0, 0.0, 0.0, 0.0]
        for slide in slides:
            # In the middle of X and Y, Z at the top, angles at zero or as near as they go.
            want = {"x": 0.5 * (slide.low + slide.high), "y": 0.5 * (slide.low + slide.high)}
            at = want.get(slide.moves, slide.high if slide.moves == "z" else 0.0)
            start[MOVES.index(slide.moves)] = min(max(at, slide.low), slide.high)
        return CellView(
            self._joints(tools),
            tuple(bodies),
            tubes,
            slides,
            (start[0], start[1], start[2], start[3], start[4]),
            tuple(tools),
            tuple(dict.fromkeys(notes)),
        )

    @cached_property
    def few_triangles(self) -> tuple[tuple[Seen, ...], float]:
        """Bodies with at most `TRIANGLES_MOST` triangles, and how far a corner was moved [mm]."""
        bodies = self.view.bodies
        total = sum(len(body.triangles_mm) for body in bodies)
        if total <= TRIANGLES_MOST:
            return bodies, 0.0
        # Boxes and bars keep theirs; what is left goes to the surfaces of many triangles.
        plain = sum(len(body.triangles_mm) for body in bodies if len(body.triangles_mm) <= PLAIN)
        share = max(TRIANGLES_MOST - plain, TRIANGLES_MOST // 2) / max(total - plain, 1)
        moved, found = 0.0, []
        for body in bodies:
            count = len(body.triangles_mm)
            few, by = body.triangles_mm, 0.0
            if count > PLAIN:
                few, by = reduced(body.triangles_mm, max(int(share * count), 12))
            moved = max(moved, by)
            found.append(replace(body, triangles_mm=few))
        return tuple(found), moved

    def gap_at(
        self,
        pose: tuple[float, ...],
        tool: int | None,
        stand: tuple[float, float, float] | None = None,
    ) -> GapSeen | None:
        """Return the smallest gap at one position of the joints; ``None``: no pair is judged.

        Hoses are left out: they are spaces that a hose may fill, not bodies.  So are parts of the
        unit against each other: their gap is small by design and hides all others.

        Parameters
        ----------
        pose : 5 floats
            Displayed X, Y, Z [mm], tilt, turn [rad].
        tool : int or None
            Number of the tool in the spindle.
        stand : 3 floats, optional
            Where the unit stands instead: x, y of its frame [mm] and its yaw [rad].

        Raises
        ------
        Lacking
            If the cell cannot be put together, or the tool is not known well enough.
        """
        from gudgeon.clearance.prove import Status

        prover = self._gap_prover(tool, stand)
        gap = prover.motion(pose, pose, math.inf, exact=True)
        if not math.isfinite(gap.upper_mm):
            return None
        proven = gap.status is not Status.UNDECIDED and gap.lower_mm > 0.0
        # Never told larger than it is proven to be.
        told = gap.lower_mm if proven else min(gap.upper_mm, 0.0)
        if gap.lower_mm <= 0.0 < gap.upper_mm:
            told = 0.0
        return GapSeen(told, proven, gap.pair, gap.points)

    @property
    def safe_box_seen(self) -> SafeBox | None:
        """Proven travel for all tilts and turns; ``None``: none is known."""
        try:
            return self.safe_limits.box
        except Lacking:
            return None

    @property
    def change_map_seen(self) -> ClearMap | None:
        """Poses in which every tool may be changed; ``None`` where that is not known."""
        try:
            return self.changing.together
        except Lacking:
            return None

    @property
    def stands_seen(self) -> tuple[Stand, ...]:
        """Places of the unit, the best first, at most `STANDS`; none where that is not known."""
        try:
            places = self.places.places
            origin = self.unit_frame.origin
            yaw = self.declared_yaw_rad
        except Lacking:
            return ()
        found = []
        for place in places[:STANDS]:
            turn = place.yaw_rad - yaw
            cosine, sine = math.cos(turn), math.sin(turn)
            matrix = np.eye(4)
            matrix[:2, :2] = [[cosine, -sine], [sine, cosine]]
            matrix[:2, 3] = np.array([place.x_mm, place.y_mm]) - matrix[:2, :2] @ origin[:2]
            reached, of = place.stations
            tight = place.tightest
            why = ", ".join(place.reasons) if place.reasons else ""
            if why:
                words = f"not possible: {why}"
            elif tight is not None:
                words = (
                    f"least room: {tight.reason} {self.units.text(Kind.LENGTH, tight.margin_mm)}"
                )
            else:
                words = "nothing stands in its way"
            words = f"{reached} of {of} stations; {words}"
            found.append(Stand(place.x_mm, place.y_mm, place.yaw_rad, place.works, words, matrix))
        return tuple(found)

    # --- inside -----------------------------------------------------------------------------------

    @cached_property
    def _gap_provers(self) -> dict[tuple[int | None, Vector | None], Prover]:
        return {}

    def _gap_prover(self, tool: int | None, stand: Vector | None) -> Prover:
        from gudgeon.clearance.prove import Prover
        from gudgeon.clearance.scene import Role

        key, held = (tool, stand), self._gap_provers
        if key not in held:
            scene = self.scene.scene
            if stand is not None:
                origin, turn = self.unit_frame.origin, stand[2] - self.declared_yaw_rad
                start = (float(origin[0]), float(origin[1]))
                scene = put_elsewhere(scene, turn, start, (stand[0], stand[1]))
            solid = tuple(body for body in scene.bodies if body.role is not Role.HOSE)
            hand = next((item for item in self.tools_in_hand if item.tool.number == tool), None)
            bodies = self.tool_bodies(tool) if hand is None or tool is None else hand.bodies
            unit = [body.name for body in solid if body.role is Role.UNIT]
            own = {frozenset((a, b)) for a in unit for b in unit if a < b}
            apart = scene.apart | own
            held[key] = Prover(replace(scene, bodies=solid, apart=apart), bodies)
            while len(held) > PROVERS_MOST:
                del held[next(iter(held))]
        return held[key]

    @property
    def _table_moves(self) -> str:
        return LAYOUTS[self.cell.machine.layout or "moving table"]

    def _joints(self, tools: list[ToolSeen]) -> tuple[Joint, ...]:
        joints = [Joint("base", None)]
        carried = {"table": "base", "head": "base"}
        directions = {"X": (1.0, 0.0, 0.0), "Y": (0.0, 1.0, 0.0), "Z": (0.0, 0.0, 1.0)}
        for axis, direction in directions.items():
            side = "table" if axis in self._table_moves else "head"
            name = f"{side} {axis}"
            sense = -1 if side == "table" else 1
            joints.append(
                Joint(name, carried[side], axis.lower(), direction, (0.0, 0.0, 0.0), sense)
            )
            carried[side] = name
        joints += [Joint("table", carried["table"]), Joint("head", carried["head"])]
        joints.append(Joint("unit", "table"))
        parent = "unit"
        try:
            axes = self.axis_lines.chain.axes
        except Lacking:
            axes = ()
        for turning in axes:
            moves = "tilt" if turning.role == "tilt" else "turn"
            line = turning.line
            joints.append(
                Joint(turning.role, parent, moves, line.direction, line.point_mm, turning.sense)
            )
            parent = turning.role
        joints += [Joint(tool.link, "head") for tool in tools]
        return tuple(joints)

    def _link_of(self, body: Body) -> str:
        from gudgeon.clearance.scene import Carrier, Role

        if body.carrier is Carrier.TABLE and body.role is Role.UNIT:
            return "unit"
        names = {
            Carrier.TABLE: "table",
            Carrier.TILT: "tilt",
            Carrier.ROTARY: "rotary",
            Carrier.HEAD: "head",
            Carrier.BASE: "base",
        }
        return names[body.carrier]

    def _bodies_seen(self, bodies: tuple[Body, ...], notes: list[str]) -> list[Seen]:
        from gudgeon.clearance.scene import Role

        shown, endless = [], []
        for body in bodies:
            if body.role is Role.HOSE:
                notes.append(f"{body.name} is a space that the hose may fill: it is not shown.")
                continue
            surface = body_triangles(body)
            if len(surface) and float(np.abs(surface).max()) >= 0.99 * ENDLESS_MM:
                endless.append((body, surface))
            elif len(surface):
                shown.append(Seen(body.name, str(body.role), self._link_of(body), surface))
        if endless:
            low, high = _reach(shown)
            for body, surface in endless:
                near = np.where(np.abs(surface) < 0.99 * ENDLESS_MM, surface, np.nan)
                near = near.reshape(-1, 3)
                inner = np.fmin(low - ROUND_MM, np.nanmin(near, axis=0, initial=np.inf) - SLAB_MM)
                outer = np.fmax(high + ROUND_MM, np.nanmax(near, axis=0, initial=-np.inf) + SLAB_MM)
                cut = np.clip(surface, inner, outer)
                if float(np.ptp(cut.reshape(-1, 3), axis=0).min()) > 0.0:
                    shown.append(Seen(body.name, str(body.role), self._link_of(body), cut))
        notes += list(self.scene.left_out)
        return shown

    def _tools_seen(self, bodies: list[Seen], notes: list[str]) -> list[ToolSeen]:
        found: list[ToolSeen] = []
        for part in self.tool_bodies(None):
            bodies.append(Seen(part.name, str(part.role), "head", body_triangles(part)))
        try:
            hands = self.tools_in_hand
        except Lacking as lacking:
            notes += [f"No tool is shown: {lacking.missing[0].what} is missing."]
            return found
        nose = {part.name for part in self.tool_bodies(None)}
        for place, hand in enumerate(sorted(hands, key=lambda item: item.tool.number or 0)):
            link = f"tool {place + 1}"
            found.append(ToolSeen(hand.tool.number, hand.name, hand.length_mm, link))
            bodies += [
                Seen(part.name, str(part.role), link, body_triangles(part))
                for part in hand.bodies
                if part.name not in nose
            ]
            if hand.guessed is not None:
                notes.append(
                    f"{hand.name} is shown as a thick bar: {hand.guessed.what} is missing."
                )
        return found

    def _slides(self) -> tuple[Slide, ...]:
        machine, unit = self.cell.machine, self.cell.unit
        found = []
        for letter in "XYZ":
            travel = getattr(machine, f"travel_{letter.lower()}")
            if travel is not None:
                found.append(Slide(letter.lower(), letter, travel[0].value, travel[1].value, False))
        control = self.cell.control
        if self.has_tilt:
            low, high = -math.pi, math.pi
            if unit.tilt_range is not None:
                low, high = (end.value for end in unit.tilt_range)
            found.append(Slide("tilt", control.tilt_letter or "tilt", low, high, False))
        turns = unit.rotary_range
        endless = turns is None
        low, high = (-math.pi, math.pi) if turns is None else (turns[0].value, turns[1].value)
        found.append(Slide("turn", control.rotary_letter or "turn", low, high, endless))
        return tuple(found)

    def _tubes(self, bodies: list[Seen]) -> tuple[AxisTube, ...]:
        lines = self.axis_lines
        middle = _middle_of(bodies)
        found = []
        for turning in lines.chain.axes:
            direction = np.asarray(turning.line.direction, dtype=np.float64)
            direction = direction / np.linalg.norm(direction)
            point = np.asarray(turning.line.point_mm, dtype=np.float64)
            # Where the work is: the line is drawn, and its uncertainty told, there.
            point = point + direction * float((middle - point) @ direction)
            across, angle = self._line_u(turning.role, point)
            found.append(
                AxisTube(
                    turning.role,
                    "unit" if turning.role == "tilt" or not self.has_tilt else "tilt",
                    (float(point[0]), float(point[1]), float(point[2])),
                    (float(direction[0]), float(direction[1]), float(direction[2])),
                    across,
                    angle,
                    _magnified(across),
                    lines.measured,
                )
            )
        return tuple(found)

    def _line_u(self, role: str, point: Floats) -> tuple[float, float]:
        """Return U at 95 % of a line: across it at a point [mm], and of its direction [rad]."""
        lines = self.axis_lines

        def seen(values: Floats) -> Floats:
            chain = lines.chain_of(values)
            line = next(axis.line for axis in chain.axes if axis.role == role)
            direction = np.asarray(line.direction, dtype=np.float64)
            direction = direction / np.linalg.norm(direction)
            start = np.asarray(line.point_mm, dtype=np.float64)
            arm = point - start
            return np.concatenate([arm - direction * float(arm @ direction), direction])

        best = np.asarray(lines.values, dtype=np.float64)
        columns = []
        for place, variance in enumerate(np.diag(lines.covariance)):
            step = np.zeros_like(best)
            step[place] = max(math.sqrt(variance), 1e-9)
            columns.append((seen(best + step) - seen(best - step)) / (2.0 * step[place]))
        matrix = np.array(columns).T
        spread = matrix @ lines.covariance @ matrix.T
        across = math.sqrt(max(float(np.linalg.eigvalsh(spread[:3, :3])[-1]), 0.0))
        angle = math.sqrt(max(float(np.linalg.eigvalsh(spread[3:, 3:])[-1]), 0.0))
        return lines.k95 * across, lines.k95 * angle


def _magnified(u_mm: float) -> float:
    """Return a round number by which a tube is widened to be seen."""
    if u_mm <= 0.0:
        return 1.0
    wanted = TUBE_MM / 2.0 / u_mm
    if wanted <= 1.0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(wanted))
    return float(max(step * power for step in (1.0, 2.0, 5.0) if step * power <= wanted))


def _reach(bodies: list[Seen]) -> tuple[Floats, Floats]:
    if not bodies:
        return np.zeros(3), np.zeros(3)
    corners = np.concatenate([body.triangles_mm.reshape(-1, 3) for body in bodies])
    return corners.min(axis=0), corners.max(axis=0)


def _middle_of(bodies: list[Seen]) -> Floats:
    low, high = _reach([body for body in bodies if body.link in ("rotary", "tilt")] or bodies)
    return np.asarray(0.5 * (low + high))
