"""What is written into the printed boxes is read back, and gives the lines that were touched."""

from __future__ import annotations

import csv
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from gudgeon.cell.files import load
from gudgeon.findings import Findings
from gudgeon.kinematics.chain import AxisLine, TurningAxis, WorkChain
from gudgeon.questions import find_questions
from gudgeon.sheets._centre_readings import centre_readings
from gudgeon.sheets.known import Known
from gudgeon.sheets.shape import Cautions, Grid, Steps

DEMO = Path(__file__).parents[2] / "demo"
INCH = 25.4


class Shop:
    """A unit whose lines are known, touched without noise but for the display's last digit."""

    def __init__(self, name: str) -> None:
        self.inch = name == "juniper-street"
        if self.inch:
            tilt = _line((-381.05, -203.1, -457.3), (2e-4, 1.0, -3e-4))
            rotary = _line((-380.9, -203.25, -457.3), (3e-4, 2e-4, 1.0))
            senses, self.face, self.tip = (1, -1), -457.3 + 15.52, 2.54
            self.bore = 25.4 * 2.0005 / 2.0
        else:
            tilt = _line((-380.0, -215.12, -460.08), (1.0, 2e-4, -1e-4))
            rotary = _line((-379.85, -215.02, -460.08), (2e-4, -2e-4, 1.0))
            senses, self.face, self.tip = (-1, -1), -460.08 + 25.11, 3.0
            self.bore = 25.01
        self.tilt, self.rotary = tilt, rotary
        self.chain = WorkChain(
            (TurningAxis("tilt", tilt, senses[0]), TurningAxis("rotary", rotary, senses[1]))
        )

    def middle(self) -> np.ndarray:
        point, way = np.array(self.rotary.point_mm), np.array(self.rotary.direction)
        return point + way * (self.face - point[2]) / way[2]

    def touched(self, row: dict[str, str]) -> dict[str, float]:
        """Return x, y, z of the tip's middle for a printed row."""
        pose = np.radians([float(row["A_deg"]), float(row["C_deg"])])
        at = self.chain.points(pose, self.middle())
        near = dict(zip("XYZ", at, strict=True))
        words = row["near"].removeprefix("-").split()
        scale = INCH if self.inch else 1.0
        near |= {words[i]: float(words[i + 1]) * scale for i in range(0, len(words), 2)}
        tip = np.array([near[k] for k in "XYZ"])
        if row["kind"] == "bore":
            return dict(zip("xyz", at, strict=True))
        k = "XYZ".index(row["toward"][0])
        way = 1.0 if row["toward"][1] == "+" else -1.0
        if row["what"] == "bore":
            tip = at.copy()
            tip[k] += way * (self.bore - self.tip)
        else:
            normal = self.chain.directions(pose, np.array(self.rotary.direction))
            rest = sum(normal[j] * (tip[j] - at[j]) for j in range(3) if j != k)
            tip[k] = at[k] + (self.tip - rest) / normal[k]
        return dict(zip("xyz", tip, strict=True))


def _line(point: tuple[float, float, float], way: tuple[float, float, float]) -> AxisLine:
    unit = np.array(way) / np.linalg.norm(way)
    return AxisLine(point, (float(unit[0]), float(unit[1]), float(unit[2])))


def grid_of(known: Known, name: str = "readings") -> Grid:
    blocks, _ = centre_readings(known)
    return next(block for block in blocks if isinstance(block, Grid) and block.name == name)


def told_of(known: Known) -> list[dict[str, str]]:
    """Return each row of boxes with what is told of it."""
    found = []
    told, boxes = grid_of(known, "expected_readings"), grid_of(known)
    for one, other in zip(told.rows, boxes.rows, strict=True):
        line = dict(zip([head.name for head in told.heads], one, strict=True))
        line |= dict(zip([head.name for head in boxes.heads], other, strict=True))
        found.append(line)
    return found


@pytest.mark.parametrize("name", ["alder-ford", "juniper-street"])
def test_filled_boxes_come_back_as_the_lines(name: str, tmp_path: Path) -> None:
    shop = Shop(name)
    cell = load(DEMO / f"{name}.toml", readings=False).cell
    assert cell is not None
    printed = Known(Findings(cell))
    grid = grid_of(printed)
    unit, scale, digits = ("in", INCH, 4) if shop.inch else ("mm", 1.0, 3)
    heads = [head.name for head in grid.heads]
    taken = []
    for told in told_of(printed):
        line = {name: told[name] for name in heads}
        assert all(line[head.name] == "" for head in grid.heads if head.blank)
        for axis, value in shop.touched(told).items():
            line[f"{axis}_{unit}"] = f"{value / scale:.{digits}f}"
        line["T_C"], line["date"], line["tool"] = "20.5", "2026-03-04", "probe"
        taken.append(line)
    with (tmp_path / "taken.csv").open("w", newline="", encoding="utf-8") as file:
        out = csv.DictWriter(file, heads)
        out.writeheader()
        out.writerows(taken)
    for beside in DEMO.glob(f"{name}*.csv"):
        (tmp_path / beside.name).write_bytes(beside.read_bytes())
    text = (DEMO / f"{name}.toml").read_text(encoding="utf-8")
    other = text.replace(f'"{name}-readings.csv"', '"taken.csv"')
    assert other != text
    (tmp_path / "cell.toml").write_text(other, encoding="utf-8")
    loaded = load(tmp_path / "cell.toml")
    assert not [fault for fault in loaded.faults if "taken.csv" in str(fault)]
    assert loaded.cell is not None
    findings = Findings(loaded.cell)
    answer = find_questions()["turns"].answer(findings)
    truth = {
        "tilt_y" if not shop.inch else "tilt_x": shop.tilt.point_mm[0 if shop.inch else 1],
        "tilt_z": shop.tilt.point_mm[2],
        "rotary_x" if not shop.inch else "rotary_y": shop.rotary.point_mm[1 if shop.inch else 0],
    }
    lines = findings.axis_lines
    assert lines.measured
    platter = lines.platter_origin_of(lines.values)
    sure = findings.part_point_error.plus_minus_mm
    assert sure < 0.1
    assert np.linalg.norm(platter - shop.middle()) < sure + 0.005
    told_any = 0
    for figure in answer.figures:
        if figure.name in truth and figure.value is not None and figure.plus_minus is not None:
            off = figure.value * scale - truth[figure.name]
            # What runs along the line moves its place by lean times lever, far below 0.02 mm.
            assert abs(off) < figure.plus_minus * scale + 0.02
            told_any += 1
    assert told_any >= 1


@pytest.mark.parametrize("name", ["alder-ford", "juniper-street"])
def test_expected_values_are_those_of_the_lines(name: str, known: Callable[[str], Known]) -> None:
    """What the fit believes is what is printed: a touch of the believed unit shows no error."""
    facts = known(name)
    shop = Shop(name)
    lines = facts.findings.axis_lines
    shop.chain = lines.chain
    shop.rotary = lines.chain.axes[1].line
    shop.face = float(lines.platter_origin_of(lines.values)[2])
    scale, digits = (INCH, 4) if shop.inch else (1.0, 3)
    told = 0
    for line in told_of(facts):
        for words in line["expect"].split(", "):
            letter, value, _, sure = words.split()
            real = shop.touched(line)[letter.lower()] / scale
            # "near" is printed with few digits.
            assert float(value) == pytest.approx(real, abs=2.0 * 10.0**-digits)
            assert float(sure) > 0.0
            told += 1
    assert told >= 5


def test_lines_that_nobody_touched_are_expected_widely() -> None:
    cell = load(DEMO / "alder-ford.toml", readings=False).cell
    assert cell is not None
    rows = told_of(Known(Findings(cell)))
    assert rows
    assert all(row["expect"].endswith("+- 1.000") for row in rows)


def test_tip_radius_taken_off_already_is_not_taken_off_twice(
    known: Callable[[str], Known],
) -> None:
    cell = known("alder-ford").findings.cell
    plain = Known(Findings(replace(cell, readings=replace(cell.readings, compensated=True))))
    for with_tip, without in zip(told_of(known("alder-ford")), told_of(plain), strict=True):
        one, other = (row["expect"].split() for row in (with_tip, without))
        if one[0] == "Z":
            assert float(one[1]) - float(other[1]) == pytest.approx(3.0, abs=0.03)


def test_single_axis_and_half_filled_cells_have_their_block(
    known: Callable[[str], Known],
) -> None:
    blocks, missing = centre_readings(known("half-filled"))
    steps = next(block for block in blocks if isinstance(block, Steps)).steps
    assert missing
    assert all(step.lack for step in steps)
    cell = known("alder-ford").findings.cell
    single = replace(
        cell,
        touches=(),
        stations=(),
        checks=(),
        control=replace(cell.control, jogs=()),
        unit=replace(cell.unit, kind="rotary only", face_height=None),
    )
    blocks, missing = centre_readings(Known(Findings(single)))
    assert not missing
    assert any(isinstance(block, Grid) for block in blocks)
    said = " ".join(t for b in blocks if isinstance(b, Cautions) for t in b.texts)
    assert "cradle" not in said
    assert "brake" in said
