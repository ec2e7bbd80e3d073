"""A second opinion on gaps: bodies built straight from the entries of a cell file, and sampling.

Shares nothing with the engine or the findings: the file's text is read with the plain TOML reader,
poses are those of the design (section 4) by scipy's rotations, distances are those of FCL between
surfaces, with a test of planes for what lies wholly inside.  Round bodies are inscribed polygons:
their gaps come out too large by `Convex.sag_mm` at most, never too small.
"""

from __future__ import annotations

import itertools
import math
import tomllib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import fcl
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull
from scipy.spatial.transform import Rotation

Floats = NDArray[np.float64]
FAR = 6000.0


def value(text: Any) -> float:
    """Return an entry in mm or rad."""
    if isinstance(text, (int, float)):
        return float(text)
    number, unit = str(text).split()[:2]
    return float(number) * {"mm": 1.0, "in": 25.4, "deg": math.pi / 180.0}[unit]


def values(entry: Iterable[Any]) -> list[float]:
    return [value(item) for item in entry]


class Convex:
    """A convex solid by its corners."""

    def __init__(self, corners: Floats, sag_mm: float = 0.0) -> None:
        hull = ConvexHull(corners)
        self.corners = np.ascontiguousarray(corners[hull.vertices])
        planes, self.sag_mm = hull.equations, sag_mm
        self.normals, self.offsets = planes[:, :3], planes[:, 3]
        self.middle = self.corners.mean(axis=0)
        self.surface = fcl.BVHModel()
        self.surface.beginModel(len(corners), len(hull.simplices))
        self.surface.addSubModel(np.ascontiguousarray(corners), hull.simplices.astype(np.int32))
        self.surface.endModel()

    def holds(self, point: Floats) -> bool:
        return bool(np.all(self.normals @ point + self.offsets <= 0.0))


@dataclass
class Thing:
    """A body: what carries it ("table", "tilt", "rotary", "head", "base") and what it is."""

    name: str
    carrier: str
    role: str
    parts: list[Convex] = field(default_factory=list)


@dataclass(frozen=True)
class Place:
    origin: Floats
    axes: Floats

    def points(self, local: Any) -> Floats:
        return np.asarray(self.origin + np.asarray(local, dtype=float) @ self.axes.T)


def boxed(place: Place, x: Sequence[float], y: Sequence[float], z: Sequence[float]) -> Convex:
    return Convex(place.points(list(itertools.product(x, y, z))))


def bar(place: Place, low: Any, high: Any, r_low: float, r_high: float) -> Convex:
    """Return a cone frustum as an inscribed polygon."""
    low, high = np.asarray(low, float), np.asarray(high, float)
    along = (high - low) / np.linalg.norm(high - low)
    u = np.cross(along, [1.0, 0.0, 0.0] if abs(along[0]) < 0.7 else [0.0, 1.0, 0.0])
    u /= np.linalg.norm(u)
    v = np.cross(along, u)
    wide = max(r_low, r_high)
    sides = 64 if wide < 12.0 else 180 if wide < 45.0 else 360
    t = np.arange(sides) * (2.0 * math.pi / sides)
    ring = np.outer(np.cos(t), u) + np.outer(np.sin(t), v)
    ends = [low + r_low * ring, high + r_high * ring]
    return Convex(place.points(np.concatenate(ends)), wide * (1.0 - math.cos(math.pi / sides)))


def standing(place: Place, outline: Any, z: Sequence[float]) -> Convex:
    return Convex(place.points([(*xy, h) for xy in outline for h in z]))


class Reference:
    """All bodies of a cell file, with one tool or another."""

    def __init__(self, text: str, models: dict[str, list[Floats]] | None = None) -> None:
        self.cell = cell = tomllib.loads(text)
        machine, unit, placement = cell["machine"], cell["unit"], cell["placement"]
        self.two = unit["kind"] == "tilt and rotary"
        yaw = value(placement.get("yaw", "0 deg"))
        x = np.round([math.cos(yaw), math.sin(yaw), 0.0], 12)
        z = np.array([0.0, 0.0, 1.0])
        height = value(unit["tilt_axis_height"]) + value(placement.get("riser", 0.0))
        origin = np.array(
            [
                value(placement["centre_x"]),
                value(placement["centre_y"]),
                height - value(machine["gauge_to_table"]),
            ]
        )
        self.unit = Place(origin, np.column_stack([x, np.cross(z, x), z]))
        face = value(unit.get("face_height", 0.0))
        self.platter = Place(origin + face * z, np.eye(3))
        clock = Rotation.from_rotvec(z * value(cell["fixture"].get("clocking", 0.0)))
        self.fixture = Place(self.platter.origin, self.platter.axes @ clock.as_matrix())
        self.zero = Place(np.zeros(3), np.eye(3))
        # The lines: the tilt's along plus X or Y of the machine, whichever way the unit looks.
        self.tilt_at = origin - self.unit.axes[:, 1] * value(unit.get("axis_offset", 0.0))
        self.tilt_along = np.abs(x)
        self.turn_at, self.turn_along = origin, z
        self.senses = (int(cell["control"]["tilt_sense"]), int(cell["control"]["rotary_sense"]))
        layout = machine.get("layout", "moving table")
        by_table = {"moving table": "XY", "moving column": "", "bridge": "X"}[layout]
        self.by_table = np.array([float(axis in by_table) for axis in "XYZ"])
        self.things: list[Thing] = []
        self.never: set[frozenset[str]] = set()
        self.models = models or {}
        self._stand(machine, unit, layout)
        self._entered()
        self._load(cell["fixture"])
        self._apart()
        self.tools = {tool["number"]: self._tool(tool) for tool in cell["tools"]}

    def add(self, name: str, carrier: str, role: str, *parts: Convex) -> None:
        self.things.append(Thing(name, carrier, role, list(parts)))

    def _stand(self, machine: dict[str, Any], unit: dict[str, Any], layout: str) -> None:
        top = -value(machine["gauge_to_table"])
        x, y = values(machine["table_x"]), values(machine["table_y"])
        self.add("table", "table", "table", boxed(self.zero, x, y, (top - 200.0, top)))
        for name, axis, sign in (
            ("guard_right", 0, 1), ("guard_left", 0, -1), ("column_behind", 1, 1),
            ("door_front", 1, -1),
        ):  # fmt: skip
            if name not in machine:
                continue
            near = value(machine[name])
            ends = [(-FAR, FAR)] * 3
            ends[axis] = (near, FAR) if sign > 0 else (-FAR, -near)
            with_head = layout == "moving column" and name == "column_behind"
            self.add(name, "head" if with_head else "base", "wall", boxed(self.zero, *ends))
        for box in unit.get("boxes", []):
            carrier = {"base": "table", "cradle": "tilt", "platter": "rotary"}[box["turns_with"]]
            ends = [values(box[axis]) for axis in "xyz"]
            self.add(box["name"], carrier, "unit", boxed(self.unit, *ends))
        if "platter_diameter" in unit:
            r = value(unit["platter_diameter"]) / 2.0
            self.add("platter", "rotary", "unit", bar(self.platter, (0, 0, -1), (0, 0, 0), r, r))

    def _entered(self) -> None:
        places = {
            "machine": self.zero, "gauge point": self.zero, "tilt axis": self.unit,
            "platter face": self.platter, "fixture": self.fixture,
        }  # fmt: skip
        carriers = {"table": "table", "cradle": "tilt", "platter": "rotary", "head": "head",
                    "machine": "base"}  # fmt: skip
        for solid in self.cell.get("solids", []):
            place = places[solid["measured_from"]]
            if solid["shape"] == "box":
                part = boxed(place, *(values(solid[axis]) for axis in "xyz"))
            elif solid["shape"] == "prism":
                plan = list(zip(*(values(solid[f"outline_{a}"]) for a in "xy"), strict=True))
                part = standing(place, plan, values(solid["z"]))
            else:
                low = value(solid["diameter"]) / 2.0
                high = value(solid.get("end_diameter", solid["diameter"])) / 2.0
                part = bar(place, values(solid["start"]), values(solid["end"]), low, high)
            self.add(solid["name"], carriers[solid["carried_by"]], solid["counts_as"], part)
        for model in self.cell.get("models", []):
            at = values(model.get("at", (0, 0, 0)))
            about = Rotation.from_rotvec([0.0, 0.0, value(model.get("turn", 0.0))])
            place = places[model["measured_from"]]
            place = Place(place.points(at), place.axes @ about.as_matrix())
            parts = [Convex(place.points(part)) for part in self.models[model["file"]]]
            self.add(model["name"], carriers[model["carried_by"]], model["counts_as"], *parts)

    def _load(self, fixture: dict[str, Any]) -> None:
        if fixture.get("touching") == "bodies":
            return
        z = (value(fixture.get("bottom", 0.0)), value(fixture["height"]))
        if fixture["shape"] == "square":
            h = value(fixture["half_width"])
            whole = boxed(self.fixture, (-h, h), (-h, h), z)
        else:
            r = value(fixture["radius"])
            whole = bar(self.platter, (0, 0, z[0]), (0, 0, z[1]), r, r)
        if not fixture.get("windows"):
            self.add("load", "rotary", "stock", whole)
            return
        # One window in a square outline: what is left are the slabs beside it.
        (window,) = fixture["windows"]
        h = value(fixture["half_width"])
        wx, wy, wz = (values(window[axis]) for axis in "xyz")
        self.add("window", "rotary", "stock", boxed(self.fixture, wx, wy, wz))
        lx, ly, lz = ((max(w[0], a), min(w[1], b)) for w, (a, b) in
                      zip((wx, wy, wz), ((-h, h), (-h, h), z), strict=True))  # fmt: skip
        slabs = [
            ((-h, lx[0]), (-h, h), z), ((lx[1], h), (-h, h), z),
            (lx, (-h, ly[0]), z), (lx, (ly[1], h), z),
            (lx, ly, (z[0], lz[0])), (lx, ly, (lz[1], z[1])),
        ]  # fmt: skip
        left = [s for s in slabs if all(b - a > 1e-6 for a, b in s)]
        if left:
            self.add("fixture", "rotary", "fixture", *(boxed(self.fixture, *s) for s in left))

    def _tool(self, tool: dict[str, Any]) -> list[Thing]:
        length = value(tool["length"])
        rows: list[tuple[float, float, float, float, str]] = []
        for step in tool.get("steps", []):
            low = value(step["diameter"]) / 2.0
            high = value(step.get("high_diameter", step["diameter"])) / 2.0
            rows.append((value(step["low"]), value(step["high"]), low, high, step["counts_as"]))
        if not rows:
            stickout, cutter = value(tool["stickout"]), value(tool["cutter_diameter"]) / 2.0
            flutes = min(value(tool.get("flute_length", tool["stickout"])), stickout)
            shank = value(tool.get("shank_diameter", tool["cutter_diameter"])) / 2.0
            holder = value(tool["holder_diameter"]) / 2.0
            rows = [
                (0.0, flutes, cutter, cutter, "cutter"),
                (flutes, stickout, shank, shank, "shank"),
                (stickout, length, holder, holder, "holder"),
            ]
        number = tool["number"]
        found = [
            Thing(f"T{number} {what} {k}", "head", what,
                  [bar(self.zero, (0, 0, a - length), (0, 0, b - length), r0, r1)])
            for k, (a, b, r0, r1, what) in enumerate(rows) if b > a
        ]  # fmt: skip
        nose = self.cell["machine"].get("nose_diameter")
        if nose is not None:
            r = value(nose) / 2.0
            up = 300.0 + value(self.cell["machine"]["gauge_to_table"])
            found.append(
                Thing("nose", "head", "nose", [bar(self.zero, (0, 0, 0), (0, 0, up), r, r)])
            )
        return found

    def grows_upwards(self, number: int) -> bool:
        """Tell whether a tool is nowhere thinner above than below, without a break."""
        tool = next(one for one in self.cell["tools"] if one["number"] == number)
        if "steps" not in tool:
            order = [value(tool["cutter_diameter"])]
            stickout = value(tool["stickout"])
            if value(tool.get("flute_length", tool["stickout"])) < stickout:
                order.append(value(tool.get("shank_diameter", tool["cutter_diameter"])))
            order.append(value(tool["holder_diameter"]))
            return order == sorted(order)
        steps = sorted(tool["steps"], key=lambda step: value(step["low"]))
        last, at = 0.0, value(steps[0]["low"])
        for step in steps:
            low, high = value(step["diameter"]), value(step.get("high_diameter", step["diameter"]))
            if value(step["low"]) > at + 1e-9 or low < last - 1e-9 or high < low - 1e-9:
                return False
            last, at = high, value(step["high"])
        return True

    # --- rules for touching ---------------------------------------------------------------------

    def _apart(self) -> None:
        ends = {}
        for thing in self.things:
            corners = np.concatenate([part.corners for part in thing.parts])
            ends[thing.name] = corners.min(axis=0), corners.max(axis=0)
        for a, b in itertools.combinations(self.things, 2):
            roles = {a.role, b.role}
            key = frozenset((a.name, b.name))
            if roles == {"unit"}:
                (al, ah), (bl, bh) = ends[a.name], ends[b.name]
                discs = "platter" in key and "tilt" in (a.carrier, b.carrier)
                if discs or np.max(np.maximum(al - bh, bl - ah)) <= 1e-6:
                    self.never.add(key)
            if "wall" in roles and roles <= {"wall", "table"}:
                self.never.add(key)

    def judged(self, a: Thing, b: Thing, *, cutting: bool, turning: bool) -> bool:
        """Tell whether two bodies may not touch; what does not move to each other is left out."""
        if a.carrier == b.carrier or frozenset((a.name, b.name)) in self.never:
            return False
        if {a.role, b.role} == {"wall", "nose"}:
            return False
        work = {"table", "tilt", "rotary"}
        if not turning and a.carrier in work and b.carrier in work:
            return False
        return not (cutting and {a.role, b.role} == {"cutter", "stock"})

    # --- poses and gaps -------------------------------------------------------------------------

    def stand(self, joint: Floats) -> dict[str, tuple[Floats, Floats]]:
        """Return rotation and shift of each carrier in T."""
        eye, none = np.eye(3), np.zeros(3)
        tilt = Rotation.from_rotvec(self.tilt_along * self.senses[0] * joint[3]).as_matrix()
        turn = Rotation.from_rotvec(self.turn_along * self.senses[1] * joint[4]).as_matrix()
        tilt_shift = self.tilt_at - tilt @ self.tilt_at
        turn_shift = self.turn_at - turn @ self.turn_at
        return {
            "table": (eye, none),
            "head": (eye, joint[:3]),
            "base": (eye, self.by_table * joint[:3]),
            "tilt": (tilt, tilt_shift),
            "rotary": (tilt @ turn, tilt @ turn_shift + tilt_shift),
        }

    def pairs(
        self, tool: int | None, *, cutting: bool, turning: bool, drop: Callable[[Thing], bool]
    ) -> list[tuple[Thing, Convex, Thing, Convex]]:
        things = [*self.things, *(self.tools[tool] if tool is not None else [])]
        things = [thing for thing in things if not drop(thing)]
        return [
            (a, one, b, other)
            for a, b in itertools.combinations(things, 2)
            if self.judged(a, b, cutting=cutting, turning=turning)
            for one in a.parts
            for other in b.parts
        ]


class Judge:
    """Gaps of one choice of pairs in any pose."""

    def __init__(
        self, reference: Reference, pairs: list[tuple[Thing, Convex, Thing, Convex]]
    ) -> None:
        self.reference, self.pairs, self.poses = reference, pairs, 0
        self.order = ("table", "head", "base", "tilt", "rotary")
        self.a = np.array([self.order.index(a.carrier) for a, _, _, _ in pairs], dtype=int)
        self.b = np.array([self.order.index(b.carrier) for _, _, b, _ in pairs], dtype=int)
        parts = {id(part): part for _, one, _, other in pairs for part in (one, other)}
        order = list(parts)
        self.parts = list(parts.values())
        carried = {id(p): t.carrier for a, p, _, _ in pairs for t in (a,)}
        carried |= {id(p): t.carrier for _, _, b, p in pairs for t in (b,)}
        self.carried = [self.order.index(carried[key]) for key in order]
        self.first = np.array([order.index(id(one)) for _, one, _, _ in pairs], dtype=int)
        self.second = np.array([order.index(id(other)) for _, _, _, other in pairs], dtype=int)

    def gap(self, joint: Floats, most: float = math.inf) -> tuple[float, int]:
        """Return the smallest gap in a pose and its pair; 0 for overlap; `most` if none is less."""
        self.poses += 1
        stand = self.reference.stand(np.asarray(joint, dtype=float))
        turns = np.array([stand[name][0] for name in self.order])
        shifts = np.array([stand[name][1] for name in self.order])
        low, high = np.empty((len(self.parts), 3)), np.empty((len(self.parts), 3))
        for k, part in enumerate(self.parts):
            carrier = self.carried[k]
            there = part.corners @ turns[carrier].T + shifts[carrier]
            low[k], high[k] = there.min(axis=0), there.max(axis=0)
        # Upright boxes come no farther apart than what they hold.
        a, b = self.first, self.second
        apart = np.maximum(np.maximum(low[a] - high[b], low[b] - high[a]), 0.0)
        least = np.sqrt((apart**2).sum(axis=1))
        best, which = most, -1
        for k in np.argsort(least).tolist():
            if least[k] >= best:
                break
            found = self._two(k, turns, shifts)
            if found < best:
                best, which = found, k
                if best <= 0.0:
                    break
        return best, which

    def _two(self, k: int, turns: Floats, shifts: Floats) -> float:
        _, one, _, other = self.pairs[k]
        ra, ta, rb, tb = turns[self.a[k]], shifts[self.a[k]], turns[self.b[k]], shifts[self.b[k]]
        if one.holds(ra.T @ (rb @ other.corners[0] + tb - ta)):
            return 0.0
        if other.holds(rb.T @ (ra @ one.corners[0] + ta - tb)):
            return 0.0
        first = fcl.CollisionObject(one.surface, fcl.Transform(ra, ta))
        second = fcl.CollisionObject(other.surface, fcl.Transform(rb, tb))
        result = fcl.DistanceResult()
        return max(0.0, float(fcl.distance(first, second, fcl.DistanceRequest(), result)))

    def sag(self, which: int) -> float:
        """Return by how much the gap of a pair may be too large [mm]."""
        if which < 0:
            return 0.0
        return self.pairs[which][1].sag_mm + self.pairs[which][3].sag_mm

    def along(
        self, path: Callable[[float], Floats], count: int, most: float = math.inf
    ) -> tuple[float, int, Floats]:
        """Return the smallest gap found on a path of t in 0..1, its pair and pose."""
        best, which, at = most, -1, 0.0
        for t in np.linspace(0.0, 1.0, count).tolist():
            found, pair = self.gap(path(t), best)
            if found < best:
                best, which, at = found, pair, t
        if which >= 0 and best > 0.0:
            step = 1.0 / max(count - 1, 1)
            low, high = max(0.0, at - step), min(1.0, at + step)
            for _ in range(5):
                for t in np.linspace(low, high, 7)[1:-1].tolist():
                    found, pair = self.gap(path(t), best)
                    if found < best:
                        best, which, at = found, pair, t
                step = (high - low) / 6.0
                low, high = max(0.0, at - step), min(1.0, at + step)
        return best, which, path(at)
