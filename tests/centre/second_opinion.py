"""A second, independent way from true axis lines to the files of a shop.

Nothing of the engines is used: the pose map is that of the design page, section 4 (turn about the
rotary line, then about the tilt line, right-handed by sense times programmed angle), turned by
`scipy.spatial.transform.Rotation`.  What comes out are the texts of a cell file and of a table of
readings, as a person would have written them, and the places that `turns` should tell.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

Vector = NDArray[Any]

COLUMNS = "what,kind,A,C,side,toward,x,y,z,dial,zero,angle_mm/m,radius,comp,u,u_angle_mm/m"
INCH = 25.4


@dataclass
class Shop:
    """A unit on a mill, its true lines, and what is read of them.

    Attributes
    ----------
    yaw_deg : float
        How the unit stands.
    tilt_sense, rotary_sense : int
    inch : bool
        Whether the table of readings and the answer are in inch.
    u_mm, u_rad : float
        Noise of one coordinate and of one level, as stated.
    noisy : bool
    """

    chance: np.random.Generator
    yaw_deg: float = 0.0
    tilt_sense: int = -1
    rotary_sense: int = -1
    inch: bool = False
    u_mm: float = 0.003
    u_rad: float = 2e-5
    noisy: bool = True
    rows: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        chance, yaw = self.chance, math.radians(self.yaw_deg)
        along = np.array([math.cos(yaw), math.sin(yaw), 0.0])
        along = along * np.sign(along[np.argmax(np.abs(along))])
        self.along = along
        lean = 4e-4 * chance.normal(size=4)
        up = np.array([0.0, 0.0, 1.0])
        across = np.cross(up, along)
        self.platter = np.array([-380.0, -180.0, -390.0]) + chance.uniform(-3.0, 3.0, 3)
        self.rotary = _unit(up + lean[0] * along + lean[1] * across)
        self.tilt = _unit(along + lean[2] * across + lean[3] * up)
        self.height = float(chance.choice([-1.0, 1.0]) * chance.uniform(5.0, 40.0))
        # The tilt line: beside the platter by some 0.5 mm, below its face by the face height.
        self.on_tilt = self.platter - self.height * up + 0.5 * chance.normal() * across
        turn = Rotation.align_vectors([self.rotary], [up])[0]
        self.axes = turn.as_matrix()
        slopes = 2e-4 * chance.normal(size=2)
        self.normal = _unit(self.axes @ np.array([*slopes, 1.0]))
        self.bore = self.platter + self.axes @ np.array([*(0.02 * chance.normal(size=2)), 0.0])

    # Where things stand --------------------------------------------------------------------

    def _turns(self, tilt: float, turn: float) -> tuple[Rotation, Rotation]:
        return (
            Rotation.from_rotvec(math.radians(tilt) * self.tilt_sense * self.tilt),
            Rotation.from_rotvec(math.radians(turn) * self.rotary_sense * self.rotary),
        )

    def stands(self, tilt: float, turn: float, point: Vector) -> Vector:
        """Return where a point of the platter stands in a pose."""
        first, second = self._turns(tilt, turn)
        turned = self.platter + second.apply(point - self.platter)
        return np.asarray(self.on_tilt + first.apply(turned - self.on_tilt))

    def looks(self, tilt: float, turn: float, direction: Vector) -> Vector:
        """Return where a direction of the platter looks in a pose."""
        first, second = self._turns(tilt, turn)
        return np.asarray(first.apply(second.apply(direction)))

    @property
    def truth(self) -> dict[str, float]:
        """What the answer should tell [mm]."""
        up = np.array([0.0, 0.0, 1.0])
        # tilt = on_tilt + t d, rotary = platter + s e: level with each other, and side by side.
        lines = np.column_stack([self.tilt, -self.rotary])
        pair = np.array([self.along, up])
        t, s = np.linalg.solve(pair @ lines, pair @ (self.platter - self.on_tilt))
        tilt, rotary = self.on_tilt + t * self.tilt, self.platter + s * self.rotary
        across = np.array([-self.along[1], self.along[0], 0.0])
        across = across * np.sign(across[np.argmax(np.abs(across))])
        common = np.cross(self.tilt, self.rotary)
        common = common / np.linalg.norm(common) * np.sign(common @ across)
        # The face over the tilt line: upright, where the rotary line meets the face.
        below = self.on_tilt + self.tilt * (
            ((self.platter - self.on_tilt) @ self.along) / (self.tilt @ self.along)
        )
        found = {
            "tilt_z": tilt[2],
            "platter_x": rotary[0],
            "platter_y": rotary[1],
            "axis_offset": (rotary - tilt) @ across,
            "face_height": self.platter[2] - below[2],
            "miss": (self.platter - self.on_tilt) @ common,
        }
        if abs(self.along[1]) < 1e-9:
            found["tilt_y"] = tilt[1]
        if abs(self.along[0]) < 1e-9:
            found["tilt_x"] = tilt[0]
        return {name: float(value) for name, value in found.items()}

    # Readings ------------------------------------------------------------------------------

    def _noise(self, u: float | None = None) -> float:
        return float(self.chance.normal(0.0, self.u_mm if u is None else u)) if self.noisy else 0.0

    def _row(self, what: str, kind: str, tilt: float, turn: float, **cells: Any) -> None:
        size = INCH if self.inch else 1.0
        lengths = ("x", "y", "z", "dial", "radius", "u")
        cells["A"], cells["C"] = tilt, turn
        cells["what"], cells["kind"] = what, kind
        words = []
        for head in COLUMNS.split(","):
            value = cells.get(head.split("_mm")[0])
            if value is None:
                words.append("")
            elif head in lengths:
                words.append(f"{value / size:.10f}")
            else:
                words.append(value if isinstance(value, str) else f"{value:.9f}")
        self.rows.append(",".join(words))

    def _ways(self, axis: int, sign: float) -> dict[str, str]:
        """Say the direction of a motion, as it is or by the side that is touched."""
        toward = "XYZ"[axis] + ("+" if sign > 0.0 else "-")
        side = "XYZ"[axis] + ("-" if sign > 0.0 else "+")
        return {"toward": toward} if self.chance.random() < 0.5 else {"side": side}

    def _to_face(self, tilt: float, turn: float, place: Vector) -> tuple[int, float, Vector]:
        """Return approach and surface for a touch through `place` of the platter frame."""
        normal = self.looks(tilt, turn, self.normal)
        point = self.stands(tilt, turn, self.platter + self.axes @ place)
        axis = int(np.argmax(np.abs(normal)))
        on_face = self.stands(tilt, turn, self.platter)
        point[axis] += ((on_face - point) @ normal) / normal[axis]
        return axis, -float(np.sign(normal[axis])), point

    def touch(self, tilt: float, turn: float, x: float, y: float, radius: float = 3.0) -> None:
        """Touch the platter face near x, y of the platter frame; radius taken off or not."""
        axis, sign, tip = self._to_face(tilt, turn, np.array([x, y, 0.0]))
        normal = self.looks(tilt, turn, self.normal)
        tip[axis] += radius / normal[axis]
        tip[axis] += self._noise()
        off = self.chance.random() < 0.5
        if off:
            tip[axis] += sign * radius
        self._row(
            "platter face", "touch", tilt, turn, **self._ways(axis, sign), **_xyz(tip),
            radius=radius, comp="1" if off else "0", u=self.u_mm,
        )  # fmt: skip

    def sweep(self, tilt: float, turn: float, x: float, y: float, name: str, zero: float) -> None:
        """Indicate the face; the dial shows 0 where the spindle is `zero` short of it."""
        axis, sign, spindle = self._to_face(tilt, turn, np.array([x, y, 0.0]))
        dial = float(self.chance.uniform(-0.3, 0.3))
        # Pushed in by so much more, the spindle stands so much further along.
        spindle[axis] += sign * (dial - zero)
        self._row(
            "platter face", "sweep", tilt, turn, **self._ways(axis, sign), **_xyz(spindle),
            dial=dial + self._noise(), zero=name, u=self.u_mm,
        )  # fmt: skip

    def centre(self, tilt: float, turn: float, depth: float) -> None:
        """Measure the bore's centre at a depth."""
        at = self.stands(tilt, turn, self.bore - depth * self.rotary)
        at[:2] += [self._noise(), self._noise()]
        self._row("bore", "bore", tilt, turn, **_xyz(at), u=self.u_mm)

    def wall(self, turn: float, axis: int, sign: float, size: float = 22.0) -> None:
        """Touch the wall of the bore, moving outwards in its middle plane."""
        radius, depth = 2.0, 5.0
        axis_point = self.stands(0.0, turn, self.bore - depth * self.rotary)
        way = self.looks(0.0, turn, self.rotary)
        tip = axis_point.copy()
        other = 1 - axis
        tip[other] += self.chance.uniform(-0.05, 0.05)
        reach = size - radius
        for _ in range(50):  # until the tip's centre is `reach` from the axis
            off = tip - axis_point
            off = off - way * (off @ way)
            tip[axis] += sign * (reach - float(np.linalg.norm(off)))
        tip[axis] += self._noise()
        self._row(
            "bore", "touch", 0.0, turn, **self._ways(axis, sign), **_xyz(tip),
            radius=radius, comp="0", u=self.u_mm,
        )  # fmt: skip

    def ball(self, tilt: float, turn: float, name: str, place: Vector) -> None:
        """Measure the centre of a ball that stands on the platter."""
        at = self.stands(tilt, turn, self.platter + self.axes @ place)
        at += [self._noise(), self._noise(), self._noise()]
        self._row(name, "sphere", tilt, turn, **_xyz(at), u=self.u_mm)

    def level(self, turn: float, axis: int, sign: float, zero: str = "", off: float = 0.0) -> None:
        """Lay a level on the platter along a machine axis."""
        normal = self.looks(0.0, turn, self.normal)
        slope = -sign * normal[axis] / normal[2]
        angle = math.atan(slope) + off + self._noise(self.u_rad)
        ways = {"toward": "XY"[axis] + ("+" if sign > 0.0 else "-")}
        self._row(
            "level", "level", 0.0, turn, **ways, zero=zero, angle=1e3 * angle,
            u_angle=1e3 * self.u_rad,
        )  # fmt: skip

    def everything(self) -> None:
        """Take readings of every kind, in a pose set that fixes all unknowns."""
        chance = self.chance
        start = chance.choice([0.0, 90.0, -90.0, 180.0])
        for tilt in (90.0, -90.0):
            for x, y in ((60, 5), (-55, 0), (5, 60), (0, -50)):
                self.touch(tilt, start, x, y, float(chance.choice([1.0, 3.0])))
        for turn in (0.0, 90.0, 180.0, 270.0):
            self.touch(0.0, turn, 70.0, 10.0)
            self.sweep(0.0, turn, 50.0, -30.0, "round", 0.7)
            self.centre(0.0, turn, 0.0)
            self.centre(0.0, turn, 30.0)
            self.level(turn, int(chance.integers(2)), float(chance.choice([-1, 1])), "one", 3e-4)
        for turn in (0.0, 180.0):
            for axis in (0, 1):
                for sign in (1.0, -1.0):
                    self.wall(turn, axis, sign)
        self.balls(chance.uniform(20, 60, 3), (-80.0, 35.0, 80.0), (0.0, 130.0, -115.0))

    def balls(self, place: Vector, tilts: Any, turns: Any, name: str = "ball 1") -> None:
        """Take a ball in all poses."""
        for tilt in tilts:
            for turn in turns:
                self.ball(float(tilt), float(turn), name, place)

    # Files ---------------------------------------------------------------------------------

    @property
    def table(self) -> str:
        """The table of readings."""
        unit = "in" if self.inch else "mm"
        lengths = ("x", "y", "z", "dial", "radius", "u")
        heads = [f"{h}_{unit}" if h in lengths else h for h in COLUMNS.split(",")]
        rows = list(self.rows)
        return "\n".join([",".join(heads), *rows]) + "\n"

    @property
    def cell(self) -> str:
        """The cell file, the table of readings named readings.csv."""
        return f"""
[shop]
units = "{"in" if self.inch else "mm"}"
[machine]
travel_x = ["-762 mm", "0 mm"]
travel_y = ["-406 mm", "0 mm"]
travel_z = ["-508 mm", "0 mm"]
gauge_to_table = "620 mm"
[unit]
kind = "tilt and rotary"
tilt_range = ["-100 deg", "100 deg"]
[placement]
yaw = "{self.yaw_deg} deg"
[control]
tilt_letter = "A"
rotary_letter = "C"
tilt_sense = {self.tilt_sense}
rotary_sense = {self.rotary_sense}
[readings]
file = "readings.csv"
"""


def _unit(vector: Vector) -> Vector:
    return np.asarray(vector / np.linalg.norm(vector))


def _xyz(point: Vector) -> dict[str, float]:
    return dict(zip("xyz", (float(c) for c in point), strict=True))
