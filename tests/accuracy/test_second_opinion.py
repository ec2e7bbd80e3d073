"""Parts cut one by one, each cause drawn from the entries, beside what `accurate` tells.

The pose map is that of the design page, section 4, written with `scipy.spatial.transform`; nothing
of the accuracy engine is used.  Both axes turn the work against the right-hand rule.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from gudgeon.cell.files import load_text
from gudgeon.findings import Findings

Vector = NDArray[Any]

CELL = """
[machine]
travel_x = ["-600 mm", "0 mm"]
travel_y = ["-400 mm", "0 mm"]
travel_z = ["-500 mm", "0 mm"]
gauge_to_table = "600 mm"
[unit]
kind = "tilt and rotary"
tilt_range = ["-110 deg", "110 deg"]
tilt_axis_height = "180 mm +- 0.012 mm"
face_height = "25 mm +- 0.01 mm"
axis_offset = "0.3 mm +- 0.014 mm"
[placement]
tilt_along = "X"
centre_x = "-300 mm +- 0.01 mm"
centre_y = "-200 mm +- 0.016 mm"
[control]
tilt_letter = "A"
rotary_letter = "C"
tilt_sense = -1
rotary_sense = -1
[[stations]]
name = "one"
at = ["10 mm", "-5 mm", "0 mm"]
[[parts]]
name = "block"
[[parts.faces]]
name = "front"
zero = ["0 mm", "-20 mm", "30 mm"]
pose = ["90 deg", "0 deg"]
[[parts.faces]]
name = "back"
zero = ["0 mm", "20 mm", "30 mm"]
pose = ["90 deg", "180 deg"]
[[parts.faces]]
name = "top"
zero = ["0 mm", "0 mm", "60 mm"]
pose = ["0 deg", "0 deg"]
[[parts.features]]
name = "f"
face = "front"
tool = 1
[[parts.features]]
name = "b"
face = "back"
tool = 2
[[parts.features]]
name = "h"
face = "top"
kind = "hole"
at = ["5 mm", "3 mm", "60 mm"]
tool = 3
[[dimensions]]
name = "width"
feature = "b"
measured_from = "f"
tolerance = "0.05 mm"
[[dimensions]]
name = "hole from front"
feature = "h"
measured_from = "f"
tolerance = "0.03 mm"
[readings]
tilt_index_u = "8 arcsec"
rotary_index_u = "12 arcsec"
mill_scale_u = "0.00000001 %"
mill_square_u = "0.000001 arcsec"
[accuracy]
approach = "both sides"
tilt_lost_motion = "20 arcsec"
rotary_lost_motion = "30 arcsec"
linear_repeat = "0.003 mm"
clamping = "0 mm"
station_u = "0.008 mm"
tool_length_u = "0.006 mm"
tool_diameter_u = "0 mm"
spindle_growth = "0.007 mm"
temperature = ["20 degC", "20 degC"]
part_apart = 0
"""

ARC_SECOND = np.pi / 648000.0
UP = np.array([0.0, 0.0, 1.0])
AT = np.array([10.0, -5.0, 0.0])
TURN = np.pi / 2.0
CUTS = {"f": (TURN, 0.0, True), "b": (TURN, np.pi, True), "h": (0.0, 0.0, False)}
"""Tilt and turn of each feature's pose, and whether the end of the tool cuts it."""
PARTS = 4000


class Lines:
    """The two lines, off by `off`: height, face, axis offset, centre x and y, four leans."""

    def __init__(self, off: Vector) -> None:
        height, face, apart, x, y = off[:5]
        self.tilt = _unit(np.array([1.0, off[5], off[6]]))
        self.rotary = _unit(np.array([off[7], off[8], 1.0]))
        level = -600.0 + 180.0 + height
        self.crossing = np.array([-300.0 + x, -200.0 + y, level])
        self.on_tilt = np.array([-300.0 + x, -200.0 + y - (0.3 + apart), level])
        self.origin = self.crossing + self.rotary * (25.0 + face) / self.rotary[2]
        across = _unit(np.array([1.0, 0.0, 0.0]) - self.rotary * self.rotary[0])
        self.axes = np.column_stack([across, np.cross(self.rotary, across), self.rotary])

    def _turns(self, tilt: float, turn: float) -> tuple[Rotation, Rotation]:
        return Rotation.from_rotvec(-tilt * self.tilt), Rotation.from_rotvec(-turn * self.rotary)

    def to_machine(self, point: Vector, tilt: float, turn: float) -> Vector:
        first, second = self._turns(tilt, turn)
        place = second.apply(self.origin + self.axes @ point - self.crossing) + self.crossing
        return np.asarray(first.apply(place - self.on_tilt) + self.on_tilt)

    def to_platter(self, place: Vector, tilt: float, turn: float) -> Vector:
        first, second = self._turns(tilt, turn)
        place = first.inv().apply(place - self.on_tilt) + self.on_tilt
        place = second.inv().apply(place - self.crossing) + self.crossing
        return np.asarray(self.axes.T @ (place - self.origin))


def _unit(vector: Vector) -> Vector:
    return np.asarray(vector / np.linalg.norm(vector))


def one_part(chance: np.random.Generator, believed: Lines) -> tuple[float, float]:
    """Cut one part; return the errors of width and of hole from front."""
    halves = np.array([0.012, 0.010, 0.014, 0.010, 0.016]) / 2.0
    leans = np.full(4, np.pi / 180.0 / 60.0)  # one minute of arc where nothing was touched
    true = Lines(chance.normal(size=9) * np.concatenate([halves, leans]))

    def index(u: float, lost: float) -> float:
        return ARC_SECOND * float(chance.normal(0.0, u) + chance.uniform(-lost / 2.0, lost / 2.0))

    up, level = index(8.0, 20.0), index(8.0, 20.0)  # the tilt stays up from front to back
    station = chance.normal(0.0, 0.008, 3)
    off = {}
    for name, (tilt, turn, by_end) in CUTS.items():
        tilted, turned = (up if tilt else level), index(12.0, 30.0)
        aside = chance.normal(0.0, 0.003, 3) - UP * chance.uniform(-0.007, 0.007)
        if by_end:
            aside = aside - UP * chance.normal(0.0, 0.006)
        off[name] = (tilt, turn, tilted, turned, aside)

    def error(name: str, point: Vector) -> float:
        tilt, turn, tilted, turned, aside = off[name]
        place = believed.to_machine(AT + point, tilt, turn) + aside
        return float((true.to_platter(place, tilt + tilted, turn + turned) + station - AT)[1])

    def wrong(name: str, x: float, y: float, z: float) -> float:
        return error(name, np.array([x, y, z])) - y

    return (
        wrong("b", 0.0, 20.0, 30.0) - wrong("f", 0.0, -20.0, 30.0),
        wrong("h", 5.0, 3.0, 60.0) - wrong("f", 5.0, -20.0, 60.0),
    )


def test_parts_cut_one_by_one_come_out_as_told() -> None:
    loaded = load_text(CELL, "cell.toml")
    assert loaded.cell is not None, loaded.faults
    told = {one.name: one for one in Findings(loaded.cell).accuracy.dimensions}
    chance = np.random.default_rng(7)
    believed = Lines(np.zeros(9))
    parts = np.array([one_part(chance, believed) for _ in range(PARTS)])
    # Chance of the share: 0.65 %; of the 95 % width: 1.7 %.  Three times that.
    for name, errors, tolerance in (
        ("width", parts[:, 0], 0.05),
        ("hole from front", parts[:, 1], 0.03),
    ):
        one = told[name]
        inside = float(np.mean(np.abs(errors) <= tolerance))
        width = float(np.quantile(np.abs(errors), 0.95))
        assert one.outcome.inside == pytest.approx(inside, abs=0.02)
        assert one.drawn.inside == pytest.approx(inside, abs=0.02)
        assert one.plus_minus == pytest.approx(width, rel=0.05)
