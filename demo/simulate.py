"""Make the readings of the demo shops: simulated touches with known axis lines and noise.

Run ``python demo/simulate.py`` to write both tables again; the seed is fixed, so they come out the
same.  The true lines stand below; nothing but these tables reaches the demo cells.
"""

from __future__ import annotations

import csv
import datetime
import math
from pathlib import Path

import numpy as np

from gudgeon.kinematics.chain import AxisLine, TurningAxis, WorkChain

HERE = Path(__file__).parent
INCH = 25.4


class Shop:
    """True geometry of one demo shop, all in mm and rad, and its noise."""

    def __init__(
        self,
        tilt: AxisLine,
        rotary: AxisLine,
        senses: tuple[int, int],
        face: float,
        noise: float,
        seed: int,
    ) -> None:
        self.chain = WorkChain(
            (TurningAxis("tilt", tilt, senses[0]), TurningAxis("rotary", rotary, senses[1]))
        )
        self.rotary = rotary
        self.face_mm = face
        self.noise_mm = noise
        self.random = np.random.default_rng(seed)

    def on_rotary(self, z_mm: float) -> np.ndarray:
        """Return the point of the rotary line at height `z_mm`."""
        point, direction = np.array(self.rotary.point_mm), np.array(self.rotary.direction)
        return point + direction * (z_mm - point[2]) / direction[2]

    def touch(
        self, pose: tuple[float, float], side: str, other: list[float], r: float
    ) -> list[float]:
        """Return the tip centre that touches the platter face, with noise on the touched axis.

        `other` holds the tip's coordinates; the one along `side` is replaced.
        """
        angles = np.radians(pose)
        axis = "XYZ".index(side[0])
        point = self.chain.points(angles, self.on_rotary(self.face_mm))
        normal = self.chain.directions(angles, np.array([0.0, 0.0, 1.0]))
        tip = np.array(other)
        rest = sum(normal[j] * (tip[j] - point[j]) for j in range(3) if j != axis)
        tip[axis] = point[axis] + (r - rest) / normal[axis]
        tip[axis] += self.random.normal(0.0, self.noise_mm)
        return [float(v) for v in tip]

    def mark(self, pose: tuple[float, float], at: list[float]) -> np.ndarray:
        """Return where the centre of a pin or bore stands in the pose."""
        return self.chain.points(np.radians(pose), np.array(at))


def write(name: str, unit: str, rows: list[list[object]]) -> None:
    """Write one table of readings; `rows` are name, what, side, tilt, rotary, x, y, z in mm."""
    scale, digits = (INCH, 4) if unit == "in" else (1.0, 3)
    with (HERE / name).open("w", newline="", encoding="utf-8") as file:
        out = csv.writer(file, lineterminator="\n")
        out.writerow(
            ["name", "what", "side", "tilt_deg", "rotary_deg", *(f"{k}_{unit}" for k in "xyz")]
        )
        for row in rows:
            place = ["" if v is None else f"{v / scale:.{digits}f}" for v in row[5:]]  # type: ignore[operator]
            out.writerow([*row[:5], *place])


def alder_ford() -> None:
    """Metric: all faces, four turns, bore at two heights."""
    tilt = AxisLine((-380.0, -215.034, -460.058), _unit(1.0, 0.00012, -0.00009))
    rotary = AxisLine((-379.912, -215.021, -460.0), _unit(0.00011, -0.00014, 1.0))
    shop = Shop(tilt, rotary, (-1, -1), -460.058 + 25.087, 0.003, 2030)
    face, rows, r = "platter face", [], 3.0
    for tilt_deg, side, y in ((90, "Y+", -188.0), (-90, "Y-", -242.0)):
        for dx, dz in ((-80.0, 0.0), (80.0, 0.0), (0.0, 80.0)):
            tip = shop.touch((tilt_deg, 0), side, [-380.0 + dx, y, -460.0 + dz], r)
            rows.append([f"f{len(rows) + 1}", face, side, tilt_deg, 0, *tip])
    for dx, dy in ((-80.0, 0.0), (80.0, 0.0), (0.0, 80.0), (0.0, -80.0)):
        tip = shop.touch((0, 0), "Z+", [-380.0 + dx, -215.0 + dy, 0.0], r)
        rows.append([f"f{len(rows) + 1}", face, "Z+", 0, 0, *tip])
    for turn in (90, 180, 270):
        tip = shop.touch((0, turn), "Z+", [-300.0, -215.0, 0.0], r)
        rows.append([f"f{len(rows) + 1}", face, "Z+", 0, turn, *tip])
    for z in (-438.0, -446.0):
        for turn in (0, 90, 180, 270):
            centre = shop.mark((0, turn), [*(shop.on_rotary(z)[:2] + np.array([0.006, -0.004])), z])
            noisy = centre + shop.random.normal(0.0, shop.noise_mm, 3)
            rows.append([f"b{len(rows) + 1}", "bore", "", 0, turn, noisy[0], noisy[1], z])
    write("alder-ford-readings.csv", "mm", rows)


def alder_ford_days() -> None:
    """Thirty working days of a ball in two poses; a clamp slips before the check of the 21st."""
    tilt = AxisLine((-380.0, -215.034, -460.058), _unit(1.0, 0.00012, -0.00009))
    rotary = AxisLine((-379.912, -215.021, -460.0), _unit(0.00011, -0.00014, 1.0))
    shop = Shop(tilt, rotary, (-1, -1), -460.058 + 25.087, 0.003, 2032)
    ball = [*(shop.on_rotary(-400.0)[:2] + np.array([60.0, 20.0])), -400.0]
    expansion = np.array([0.0011, -0.0008, -0.0042])  # mm for 1 degC
    bump = np.array([0.019, -0.008, 0.001])
    day = datetime.date(2026, 3, 2)
    rows: list[list[object]] = []
    made: list[list[object]] = []
    serial = 4101
    for number in range(30):
        warm = 20.5 + 0.09 * number + 1.6 * math.sin(number / 4.0) + shop.random.normal(0.0, 0.4)
        for name, pose in (("ball level", (0, 0)), ("ball tilted", (90, 0))):
            place = shop.mark(pose, ball) + expansion * (warm - 20.0)
            place = place + (bump if number >= 20 else 0.0)
            place = place + shop.random.normal(0.0, shop.noise_mm, 3)
            noted = "" if number in (7, 16) else f"{warm:.1f}"
            rows.append([day.isoformat(), name, *(f"{v:.3f}" for v in place), noted])
        count = int(shop.random.integers(14, 19))
        made.append([day.isoformat(), f"PB-{serial}", f"PB-{serial + count - 1}"])
        serial += count
        day += datetime.timedelta(days=3 if day.weekday() == 4 else 1)
    for file, head, table in (
        ("alder-ford-days.csv", ["date", "check", "x_mm", "y_mm", "z_mm", "t_c"], rows),
        ("alder-ford-made.csv", ["date", "first", "last"], made),
    ):
        with (HERE / file).open("w", newline="", encoding="utf-8") as out:
            csv.writer(out, lineterminator="\n").writerows([head, *table])


def juniper_street() -> None:
    """Inch, tilt along Y: the hand method and no more."""
    x, y, z = -15.0031 * INCH, -8.0 * INCH, -18.0042 * INCH
    tilt = AxisLine((x, y, z), (0.0, 1.0, 0.0))
    rotary = AxisLine((x + 0.0016 * INCH, y + 0.0023 * INCH, z), (0.0, 0.0, 1.0))
    shop = Shop(tilt, rotary, (1, -1), z + 0.6113 * INCH, 0.0002 * INCH, 2031)
    r = 0.1 * INCH
    rows: list[list[object]] = []
    for tilt_deg, side in ((90, "X+"), (-90, "X-")):
        tip = shop.touch((tilt_deg, 0), side, [0.0, y, z], r)
        rows.append([f"t{len(rows) + 1}", "platter face", side, tilt_deg, 0, *tip])
    tip = shop.touch((0, 0), "Z+", [x, y, 0.0], r)
    rows.append([f"t{len(rows) + 1}", "platter face", "Z+", 0, 0, *tip])
    reach = 0.25 * INCH + r
    for turn in (0, 180):
        centre = shop.mark((0, turn), [x + 1.9 * INCH, y - 0.4 * INCH, z + INCH])
        for side, axis, sign in (("X+", 0, 1), ("X-", 0, -1), ("Y+", 1, 1), ("Y-", 1, -1)):
            place: list[float | None] = [None, None, None]
            place[axis] = float(centre[axis] + sign * reach + shop.random.normal(0, shop.noise_mm))
            rows.append([f"t{len(rows) + 1}", "pin", side, 0, turn, *place])
    write("juniper-street-readings.csv", "in", rows)


def _unit(x: float, y: float, z: float) -> tuple[float, float, float]:
    size = math.sqrt(x * x + y * y + z * z)
    return (x / size, y / size, z / size)


if __name__ == "__main__":
    alder_ford()
    alder_ford_days()
    juniper_street()
