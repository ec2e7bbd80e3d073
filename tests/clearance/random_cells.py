"""Random cells as text, and random short programs whose motion is known from their making."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.clearance.second_opinion import Judge, Reference, value

Floats = NDArray[np.float64]


@dataclass
class Block:
    """One line of a program: where its motion goes, with which tool, what may be touched."""

    line: int
    text: str
    kind: str  # "rapid", "feed", "arc", "change"
    start: Floats
    end: Floats
    tool: int
    cuts: bool = False
    arc: tuple[Floats, Floats, float] | None = None  # centre, normal, sweep
    new_tool: int | None = None

    def at(self, t: float) -> Floats:
        """Return the joints at a share of the motion."""
        place = self.start + t * (self.end - self.start)
        if self.arc is not None:
            centre, normal, sweep = self.arc
            u = self.start[:3] - centre
            u = u - (u @ normal) * normal
            v = np.cross(normal, u)
            rise = ((self.end[:3] - self.start[:3]) @ normal) * normal * t
            foot = self.start[:3] - u
            place[:3] = foot + u * math.cos(sweep * t) + v * math.sin(sweep * t) + rise
        return place


@dataclass
class Case:
    """A cell with a program."""

    seed: int
    text: str
    program: str
    blocks: list[Block]
    need_mm: float
    reference: Reference
    models: dict[str, bytes] = field(default_factory=dict)
    alone: bool = False


class Maker:
    """Makes one case from its seed."""

    def __init__(self, seed: int) -> None:
        self.seed, self.rng = seed, np.random.default_rng(seed)
        self.inch = bool(self.rng.random() < 0.25)
        self.models: dict[str, bytes] = {}
        self.model_parts: dict[str, list[Floats]] = {}

    def pick(self, *choices: Any) -> Any:
        return choices[int(self.rng.integers(len(choices)))]

    def near(self, low: float, high: float) -> float:
        return float(self.rng.uniform(low, high))

    def mm(self, number: float) -> str:
        return f'"{number / 25.4:.4f} in"' if self.inch else f'"{number:.3f} mm"'

    def ends(self, low: float, high: float) -> str:
        return f"[{self.mm(low)}, {self.mm(high)}]"

    def three(self, *numbers: float) -> str:
        return "[" + ", ".join(self.mm(n) for n in numbers) + "]"

    # --- the cell -------------------------------------------------------------------------------

    def cell(self) -> str:
        near, mm, ends = self.near, self.mm, self.ends
        self.need = float(self.pick(0.5, 1.0, 2.0))
        self.layout = self.pick("moving table", "moving column", "bridge")
        self.along_x = bool(self.rng.random() < 0.5)
        yaw = self.pick(0, 180) if self.along_x else self.pick(90, 270)
        self.tilt_letter = "A" if self.along_x else "B"
        self.signs = self.pick(-1, 1), self.pick(-1, 1)
        self.gauge, self.tilt_height = near(560, 640), near(170, 220)
        riser = self.pick(0.0, 25.0)
        self.face = near(-50, 40)
        self.centre = near(-320, -260), near(-220, -180)
        self.top = -self.gauge + self.tilt_height + riser + self.face
        lines = [
            "[shop]", f'units = "{"in" if self.inch else "mm"}"', f'clearance = "{self.need} mm"',
            "[machine]", f'layout = "{self.layout}"',
            f"travel_x = {ends(-900, 300)}", f"travel_y = {ends(-800, 400)}",
            f"travel_z = {ends(-600, 500)}", f"gauge_to_table = {mm(self.gauge)}",
            f"table_x = {ends(-800, 200)}", f"table_y = {ends(-450, 60)}",
            f"nose_diameter = {mm(near(60, 120))}",
        ]  # fmt: skip
        for side in ("guard_right", "guard_left", "column_behind", "door_front"):
            if self.rng.random() < 0.5:
                lines.append(f"{side} = {mm(near(330, 620))}")
        lines += ["[machine.changer]", f"pull_down = {mm(near(60, 130))}"]
        if self.rng.random() < 0.5:
            lines.append(f"z = {mm(near(-60, 0))}")
        if self.rng.random() < 0.5:
            lines.append(f"arm_half_depth = {mm(near(40, 90))}")
            lines.append(f"arm_half_width = {mm(near(40, 90))}")
        lines += [
            "[unit]", 'kind = "tilt and rotary"', 'tilt_range = ["-110 deg", "110 deg"]',
            f"tilt_axis_height = {mm(self.tilt_height)}",
            f"axis_offset = {mm(self.pick(0.0, near(-6, 6)))}", f"face_height = {mm(self.face)}",
        ]  # fmt: skip
        self.platter = near(60, 110)
        if self.rng.random() < 0.7:
            lines.append(f"platter_diameter = {mm(2 * self.platter)}")
        side = near(130, 190)
        if self.rng.random() < 0.8:
            lines += ["[[unit.boxes]]", 'name = "headstock"', 'turns_with = "base"',
                      f"x = {ends(side, side + near(60, 140))}", f"y = {ends(-near(40, 90), 70)}",
                      f"z = {ends(-self.tilt_height, near(20, 90))}"]  # fmt: skip
        if self.rng.random() < 0.6:
            low = self.face - 1.5 - near(10, 60)
            lines += ["[[unit.boxes]]", 'name = "cradle"', 'turns_with = "cradle"',
                      f"x = {ends(-near(70, 120), near(70, 120))}",
                      f"y = {ends(-near(30, 90), near(30, 90))}",
                      f"z = {ends(low, self.face - 1.5)}"]  # fmt: skip
        lines += ["[placement]", f'yaw = "{yaw} deg"', f"centre_x = {mm(self.centre[0])}",
                  f"centre_y = {mm(self.centre[1])}", f"riser = {mm(riser)}"]  # fmt: skip
        lines += self.fixture()
        solids: list[str] = []
        for number in range(int(self.rng.integers(1, 5))):
            solids += self.solid(number)
        lines += solids
        lines += self.tools()
        self.alone = bool(self.rng.random() < 0.25)
        self.zero = [near(-30, 30) + c for c in self.centre]
        self.zero.append(self.top + near(0, 120))
        self.start = [*(c + near(-30, 30) for c in self.centre), 0.0]
        lines += [
            "[control]", f'tilt_letter = "{self.tilt_letter}"', 'rotary_letter = "C"',
            f"tilt_sense = {self.signs[0]}", f"rotary_sense = {self.signs[1]}",
            'missing_point = "one unit"', 'rotary_turns = "as written"', "tool_at_start = 1",
            f'rapids = "{"each axis alone" if self.alone else "straight"}"',
            "[control.start]", *(f"{a} = {mm(v)}" for a, v in zip("xyz", self.start, strict=True)),
            'tilt = "0 deg"', 'rotary = "0 deg"', "[[control.references]]", "number = 1",
            *(f"{a} = {mm(v)}" for a, v in zip("xyz", self.start, strict=True)),
            'tilt = "0 deg"', 'rotary = "0 deg"', "[[control.offsets]]", 'word = "G54"',
            *(f"{a} = {mm(v)}" for a, v in zip("xyz", self.zero, strict=True)),
        ]  # fmt: skip
        self.angle_zero = [0.0, 0.0]
        if self.rng.random() < 0.3:
            self.angle_zero = [float(self.rng.integers(-9, 9)), float(self.rng.integers(-90, 90))]
            lines.append(f'tilt = "{self.angle_zero[0]} deg"')
            lines.append(f'rotary = "{self.angle_zero[1]} deg"')
        return "\n".join(lines) + "\n"

    def fixture(self) -> list[str]:
        near, mm, ends = self.near, self.mm, self.ends
        lines = ["[fixture]"]
        kind = self.pick("cylinder", "square", "window", "bodies")
        self.load_top = near(60, 150)
        if kind != "cylinder" and self.rng.random() < 0.5:
            lines.append(f'clocking = "{self.rng.integers(-80, 80)} deg"')
        self.load_wide = w = near(30, 80)
        if kind == "bodies":
            return [*lines, 'touching = "bodies"', *self.tower(w)]
        bottom = self.pick(0.0, near(0, 30))
        lines += [f"bottom = {mm(bottom)}", f"height = {mm(self.load_top)}"]
        if kind == "cylinder":
            return [*lines, 'shape = "cylinder"', f"radius = {mm(w)}"]
        lines += ['shape = "square"', f"half_width = {mm(w)}"]
        if kind == "window":
            lines += ["[[fixture.windows]]", f"x = {ends(-near(0, w), near(1, w - 2))}",
                      f"y = {ends(-w - near(-5, 20), -near(5, w - 5))}",
                      f"z = {ends(bottom + near(2, 10), self.load_top - near(-4, 10))}",
                      ]  # fmt: skip
        return lines

    def tower(self, w: float) -> list[str]:
        """Return what stands on the platter, entered body by body."""
        near, mm, ends = self.near, self.mm, self.ends
        lines: list[str] = []
        counts = self.pick("stock", "fixture")
        if self.rng.random() < 0.5:
            return self.model("tower", w, counts, "fixture", "platter")
        lines += ["[[solids]]", 'name = "tower"', f'counts_as = "{counts}"',
                  'measured_from = "fixture"', 'carried_by = "platter"']  # fmt: skip
        shape = self.pick("box", "prism", "cone")
        lines.append(f'shape = "{shape}"')
        if shape == "box":
            lines += [f"x = {ends(-w, near(5, w))}", f"y = {ends(-near(5, w), w)}"]
        if shape == "prism":
            x = [w * math.cos(a) for a in (0.1, 1.4, 2.9, 4.4)]
            y = [w * math.sin(a) for a in (0.1, 1.4, 2.9, 4.4)]
            lines += [f"outline_x = {self.three(*x)}", f"outline_y = {self.three(*y)}"]
        if shape != "cone":
            return [*lines, f"z = {ends(0, self.load_top)}"]
        return [*lines, f"start = {self.three(0, 0, 0)}", f"diameter = {mm(2 * w)}",
                f"end = {self.three(near(-9, 9), near(-9, 9), self.load_top)}",
                f"end_diameter = {mm(near(0, 2 * w))}"]  # fmt: skip

    def model(self, name: str, w: float, counts: str, origin: str, carrier: str) -> list[str]:
        """Return an angle of two legs as a model, drawn as one closed surface."""
        import trimesh

        unit = self.pick("mm", "in")
        scale = 25.4 if unit == "in" else 1.0
        a, b, c, h, d = (round(v / scale, 3) for v in (w, w / 3, w / 2, self.load_top, w / 4))
        # An L in x and z, pulled along y.
        plan = np.array([(-a, 0), (a, 0), (a, b), (d, b), (d, h), (-a, h)])
        shape = trimesh.Trimesh(*_pulled(plan, -c, c))
        self.models[f"{name}.stl"] = shape.export(file_type="stl")
        legs = [((-a, a), (0, b)), ((-a, d), (b, h))]
        # STL keeps single precision.
        self.model_parts[f"{name}.stl"] = [
            np.float64(np.float32([(x, y, z) for x in xs for y in (-c, c) for z in zs])) * scale
            for xs, zs in legs
        ]
        at = (self.near(-9, 9), self.near(-9, 9), 0.0)
        return ["[[models]]", f'name = "{name}"', f'file = "{name}.stl"', f'unit = "{unit}"',
                f'counts_as = "{counts}"', f'measured_from = "{origin}"',
                f'carried_by = "{carrier}"', f"at = {self.three(*at)}",
                f'turn = "{self.rng.integers(-180, 180)} deg"']  # fmt: skip

    def solid(self, number: int) -> list[str]:
        near, mm, ends = self.near, self.mm, self.ends
        where = self.pick("table", "platter", "cradle", "head", "machine")
        lines = ["[[solids]]", f'name = "extra {number}"', f'carried_by = "{where}"']
        if where == "head":
            x, y, z = near(50, 120), near(-120, 120), -near(0, 120)
            return [*lines, 'measured_from = "gauge point"', 'counts_as = "fixture"',
                    'shape = "cylinder"', f"start = {self.three(x, y, z)}",
                    f"end = {self.three(x + 20, y, 40)}", f"diameter = {mm(near(8, 30))}",
                    ]  # fmt: skip
        if where == "machine":
            x, y = self.pick(-1, 1) * near(300, 420), near(-300, 300)
            return [*lines, 'measured_from = "machine"', 'counts_as = "guard"', 'shape = "box"',
                    f"x = {ends(x - 20, x + 20)}", f"y = {ends(y - 40, y + 40)}",
                    f"z = {ends(-self.gauge, -near(50, 200))}"]  # fmt: skip
        if where == "table":
            x, y = (c + self.pick(-1, 1) * near(150, 260) for c in self.centre)
            top = -self.gauge + near(60, 330)
            return [*lines, 'measured_from = "machine"', 'shape = "box"',
                    f'counts_as = "{self.pick("fixture", "guard", "unit")}"',
                    f"x = {ends(x - near(10, 50), x + near(10, 50))}",
                    f"y = {ends(y - near(10, 50), y + 20)}",
                    f"z = {ends(-self.gauge, top)}"]  # fmt: skip
        reach = near(85, 150)
        turn = near(0, 2 * math.pi)
        x, y = reach * math.cos(turn), reach * math.sin(turn)
        z = near(-30, 20)
        if where == "cradle":
            return [*lines, 'measured_from = "tilt axis"', 'counts_as = "unit"', 'shape = "cone"',
                    f"start = {self.three(x, y, z)}", f"diameter = {mm(near(10, 40))}",
                    f"end = {self.three(x + near(-20, 20), y, z + near(10, 60))}",
                    f"end_diameter = {mm(near(0, 40))}"]  # fmt: skip
        return [*lines, 'measured_from = "platter face"', 'counts_as = "fixture"',
                'shape = "cylinder"', f"start = {self.three(x, y, 0)}",
                f"end = {self.three(x, y, near(10, 60))}", f"diameter = {mm(near(10, 40))}",
                    ]  # fmt: skip

    def tools(self) -> list[str]:
        near, mm = self.near, self.mm
        lines: list[str] = []
        for number in (1, 2):
            length, out = near(90, 170), near(35, 75)
            lines += ["[[tools]]", f"number = {number}", f"length = {mm(length)}"]
            r = near(3, 10)
            if number == 1:
                lines += [f"cutter_diameter = {mm(2 * r)}", f"stickout = {mm(out)}",
                          f"flute_length = {mm(near(15, 35))}",
                          f"shank_diameter = {mm(2 * r * self.pick(0.8, 1.0, 1.2))}",
                          f"holder_diameter = {mm(near(30, 60))}"]  # fmt: skip
                continue
            tip = near(4, 12)
            rows = [(0.0, tip, 2 * r * self.pick(0.0, 0.5, 1.0), 2 * r, "cutter"),
                    (tip, 25.0, 2 * r, 2 * r, "cutter"), (25.0, out, 2 * r, near(20, 30), "shank"),
                    (out, length, near(28, 40), near(40, 60), "holder")]  # fmt: skip
            if self.rng.random() < 0.5:  # a neck behind the cutter
                rows[2] = (25.0, out, r, near(20, 30), "shank")
            for low, high, d0, d1, what in rows:
                lines += ["[[tools.steps]]", f"low = {mm(low)}", f"high = {mm(high)}",
                          f"diameter = {mm(d0)}", f"high_diameter = {mm(d1)}",
                          f'counts_as = "{what}"']  # fmt: skip
        return lines

    # --- the program ----------------------------------------------------------------------------

    def case(self, blocks: int = 12) -> Case | None:
        """Return the case; ``None`` where its start pose is not clear."""
        text = self.cell()
        reference = Reference(text, self.model_parts)
        entered = reference.cell["control"]
        offset, begin = entered["offsets"][0], entered["start"]
        self.zero = [value(offset[a]) for a in "xyz"]
        self.here = np.array([*(value(begin[a]) for a in "xyz"), 0.0, 0.0])
        self.judges = {
            (tool, cuts): Judge(
                reference, reference.pairs(tool, cutting=cuts, turning=True, drop=lambda _: False)
            )
            for tool in (1, 2)
            for cuts in (False, True)
        }
        if self.judges[1, False].gap(self.here)[0] < self.need + 0.2:
            return None
        self.lengths = {t["number"]: value(t["length"]) for t in reference.cell["tools"]}
        self.tool = 1
        self.program_inch = bool(self.rng.random() < 0.25)
        unit = "G20" if self.program_inch else "G21"
        self.lines = [f"{unit} G90 G17 G54 G43 H1"]
        self.blocks: list[Block] = []
        down = self.here.copy()
        down[2] -= self.near(0, 20)
        words, end = self.to(down, "Z", False)
        self.put("rapid", f"G0 {words}", end, False)
        while len(self.lines) <= blocks:
            self.add_block()
        self.lines.append("M30")
        program = "\n".join(self.lines) + "\n"
        models = self.models
        return Case(self.seed, text, program, self.blocks, self.need, reference, models, self.alone)

    def add_block(self) -> None:
        kind = self.pick(*["rapid"] * 4, *["feed"] * 3, *["turn"] * 3, "arc", "plunge", "change",
                         "machine", "home", "step")  # fmt: skip
        {
            "rapid": self.go, "feed": self.go, "turn": self.turn, "arc": self.arc,
            "plunge": self.plunge, "change": self.change, "machine": self.machine,
            "home": self.home, "step": self.step,
        }[kind](kind)  # fmt: skip

    def written(self, number: float, *, angle: bool = False) -> tuple[str, float]:
        """Return a number as the program writes it, and what it means in mm or rad."""
        if angle:
            text = f"{number:.3f}"
            return text, math.radians(float(text))
        scale = 25.4 if self.program_inch else 1.0
        text = f"{number / scale:.4f}" if self.program_inch else f"{number:.3f}"
        return text, float(text) * scale

    def put(self, kind: str, words: str, end: Floats, cuts: bool, **more: Any) -> None:
        self.lines.append(words)
        self.blocks.append(
            Block(len(self.lines), words, kind, self.here.copy(), end, self.tool, cuts, **more)
        )
        self.here = end

    def to(self, target: Floats, axes: str, angles: bool) -> tuple[str, Floats]:
        """Return the words of a move in the work offset, and where it truly ends."""
        end, words = self.here.copy(), []
        for k, axis in enumerate("XYZ"):
            if axis in axes:
                extra = self.zero[k] + (self.lengths[self.tool] if axis == "Z" else 0.0)
                text, number = self.written(target[k] - extra)
                words.append(axis + text)
                end[k] = number + extra
        if angles:
            for k, letter in ((3, self.tilt_letter), (4, "C")):
                zero = math.radians(self.angle_zero[k - 3])
                text, number = self.written(math.degrees(target[k] - zero), angle=True)
                words.append(letter + text)
                end[k] = number + zero
        return " ".join(words), end

    def target(self, cuts: bool, far: float) -> Floats:
        """Return a place near what is cut, as close to touching as a few tries find."""
        best, best_gap = self.here.copy(), math.inf
        for _ in range(6):
            place = self.here.copy()
            tip = self.lengths[self.tool]
            place[0] = self.centre[0] + self.near(-far, far)
            place[1] = self.centre[1] + self.near(-far, far)
            place[2] = self.top + self.near(-20, self.load_top + 60) + tip
            place[2] = min(place[2], 0.0)
            gap = self.judges[self.tool, cuts].gap(place)[0]
            if gap > 0.0 and abs(gap - 5.0) < best_gap:
                best, best_gap = place, abs(gap - 5.0)
        return best

    def go(self, kind: str) -> None:
        cuts = kind == "feed"
        target = self.target(cuts, self.pick(60.0, 160.0, 300.0))
        axes = self.pick("XYZ", "XYZ", "Z", "XY", "X", "YZ")
        if kind == "rapid" and self.rng.random() < 0.3:
            target[2] = -self.near(0, 40)
        words, end = self.to(target, axes, False)
        self.put(kind, f"{'G1' if cuts else 'G0'} {words}{' F20' if cuts else ''}", end, cuts)

    def turn(self, kind: str) -> None:
        cuts = bool(self.rng.random() < 0.4)
        target = self.here.copy()
        target[3] = math.radians(self.near(-100, 100)) * self.pick(0.0, 0.2, 1.0)
        target[4] += math.radians(self.near(-200, 200)) * self.pick(0.0, 0.2, 1.0)
        axes = ""
        if self.rng.random() < 0.4:
            target[:3] = self.target(cuts, 160.0)[:3]
            axes = "XYZ"
        words, end = self.to(target, axes, True)
        text = f"G1 {words} F20" if cuts else f"G0 {words}"
        self.put("feed" if cuts else "rapid", text, end, cuts)

    def plunge(self, kind: str) -> None:
        """Feed down and come up again by rapid."""
        depth = self.near(5, 40)
        high = float(self.here[2])
        down = self.here.copy()
        down[2] -= depth
        words, end = self.to(down, "Z", False)
        self.put("feed", f"G1 {words} F20", end, True)
        up = self.here.copy()
        up[2] = min(high + self.near(-depth, 30), 0.0)
        words, end = self.to(up, "Z", False)
        self.put("rapid", f"G0 {words}", end, False)

    def arc(self, kind: str) -> None:
        plane = self.pick("G17", "G18", "G19")
        u, v, w = {"G17": (0, 1, 2), "G18": (2, 0, 1), "G19": (1, 2, 0)}[plane]
        letters = "XYZ", "IJK"
        radius, turn = self.near(3, 80), self.near(0, 2 * math.pi)
        clockwise = bool(self.rng.random() < 0.5)
        iu, du = self.written(radius * math.cos(turn))
        iv, dv = self.written(radius * math.sin(turn))
        centre = self.here[:3].copy()
        centre[u] += du
        centre[v] += dv
        full = self.rng.random() < 0.3
        sweep = 2 * math.pi if full else self.near(0.3, 5.8)
        signed = -sweep if clockwise else sweep
        arm = np.array([-du, -dv])
        r = np.array([[math.cos(signed), -math.sin(signed)], [math.sin(signed), math.cos(signed)]])
        target = self.here.copy()
        target[u], target[v] = centre[[u, v]] + (r @ arm if not full else arm)
        axes = ""
        if not full:
            axes = letters[0][u] + letters[0][v]
        if self.rng.random() < 0.4:
            target[w] += self.near(-10, 10)
            axes += letters[0][w]
        words, end = self.to(target, axes, False)
        normal = np.eye(3)[w]
        code = "G2" if clockwise else "G3"
        self.put(
            "arc", f"{plane} {code} {words} {letters[1][u]}{iu} {letters[1][v]}{iv} F20", end,
            True, arc=(centre, normal, signed),
        )  # fmt: skip

    def change(self, kind: str) -> None:
        new = 3 - self.tool
        end = self.here.copy()
        z = self.judges[1, False].reference.cell["machine"]["changer"].get("z")
        if z is not None:
            end[2] = value(z)
        self.put("change", f"T{new} M6", end, False, new_tool=new)
        self.tool = new
        # The length counts from the next Z on.
        self.lines.append(f"G43 H{new}")
        words, end = self.to(self.here, "Z", False)
        self.put("rapid", f"G0 {words}", end, False)

    def machine(self, kind: str) -> None:
        text, number = self.written(-self.near(0, 30))
        end = self.here.copy()
        end[2] = number
        self.put("rapid", f"G53 G0 Z{text}", end, False)

    def home(self, kind: str) -> None:
        end = self.here.copy()
        end[2] = self.start_z
        self.put("rapid", "G91 G28 Z0", end, False)
        self.lines.append("G90")

    @property
    def start_z(self) -> float:
        return value(self.judges[1, False].reference.cell["control"]["start"]["z"])

    def step(self, kind: str) -> None:
        """Go on by a distance."""
        cuts = bool(self.rng.random() < 0.5)
        end, words = self.here.copy(), []
        for k, axis in enumerate("XYZ"):
            if self.rng.random() < 0.6:
                text, number = self.written(self.near(-15, 15))
                words.append(axis + text)
                end[k] += number
        if not words:
            return
        code = "G1" if cuts else "G0"
        feed = " F20" if cuts else ""
        self.put("feed" if cuts else "rapid", f"G91 {code} {' '.join(words)}{feed}", end, cuts)
        self.lines.append("G90")


def _pulled(plan: Floats, low: float, high: float) -> tuple[Floats, NDArray[np.int64]]:
    """Return corners and triangles of an L in x and z between two y, facing outwards."""
    count = len(plan)
    corners = np.array([(x, y, z) for y in (low, high) for x, z in plan])
    front = [(0, 1, 2), (0, 2, 3), (0, 3, 5), (3, 4, 5)]
    faces = [(a, b, c) for a, b, c in front]
    faces += [(a + count, c + count, b + count) for a, b, c in front]
    for k in range(count):
        n = (k + 1) % count
        faces += [(k, k + count, n), (n, k + count, n + count)]
    return corners, np.array(faces)
