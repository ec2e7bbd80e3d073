"""Cards that hang at the machine: what is told comes from the findings, what is written is read."""

from __future__ import annotations

import csv
import functools
import io
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gudgeon.cell.days import read_days
from gudgeon.cell.files import load
from gudgeon.cell.model import Cell, Hose, Station
from gudgeon.faces.day import keep
from gudgeon.findings import Findings
from gudgeon.quantity.amount import Amount
from gudgeon.sheets import bump, loading, morning, quarantine, setup
from gudgeon.sheets.known import Known
from gudgeon.sheets.shape import Cautions, Drawing, Grid, Sheet, Step, Steps, Words

DEMO = Path(__file__).parents[2] / "demo"
MODULES = (setup, loading, morning, bump, quarantine)
Facts = Callable[[str], Known]


@functools.cache
def cell_of(name: str) -> Cell:
    cell = load(DEMO / f"{name}.toml").cell
    assert cell is not None
    return cell


def grid(sheet: Sheet, name: str) -> Grid:
    return next(one for one in sheet.blocks if isinstance(one, Grid) and one.name == name)


def column(found: Grid, name: str) -> list[str]:
    place = [head.name for head in found.heads].index(name)
    return [row[place] for row in found.rows]


def steps_of(sheet: Sheet) -> list[Step]:
    return [step for block in sheet.blocks if isinstance(block, Steps) for step in block.steps]


def cautions_of(sheet: Sheet) -> str:
    told = [text for one in sheet.blocks if isinstance(one, Cautions) for text in one.texts]
    return " ".join([*told, *(text for step in steps_of(sheet) for text in step.cautions)])


def words_in(sheet: Sheet) -> str:
    return " ".join(block.text for block in sheet.blocks if isinstance(block, Words))


# --- loading map ------------------------------------------------------------------------------


@pytest.mark.parametrize("cell", ["alder-ford", "juniper-street"])
def test_parts_are_loaded_in_the_order_that_was_judged(cell: str, known: Facts) -> None:
    facts = known(cell)
    sheet = loading.sheet(facts)
    orders = [step.order for step in steps_of(sheet) if step.name.startswith("load_")]
    judged = facts.answer("holds")
    table = next(one for one in judged.tables if one.name == "tilt_torque")
    last = [str(row[1]) for row in table.rows][1:]
    assert len(orders) == len(last) == 4
    for number, (order, station) in enumerate(zip(orders, last, strict=True), start=1):
        assert order.startswith(f"Put part {number},")
        assert order.endswith(f"into station {station}.")
    # The torques on the sheet are those of the answer, stage by stage.
    stages = grid(sheet, "stages")
    told = [float(one) for one in column(stages, "torque")]
    assert told[:-1] == pytest.approx([float(row[2]) for row in table.rows], abs=0.051)  # type: ignore[arg-type]
    assert told[-1] == pytest.approx(
        next(f.limit for f in judged.figures if f.name == "tilt_torque")
    )


SVG = "{http://www.w3.org/2000/svg}"


def crosses(svg: str) -> list[tuple[float, float]]:
    """Return the middles of the crosses: two strokes of 8 px that halve each other."""
    strokes = []
    for path in ET.fromstring(svg).iter(f"{SVG}path"):
        found = re.fullmatch(r"M(\S+) (\S+) L(\S+) (\S+)", path.get("d", ""))
        if found is None:
            continue
        x0, y0, x1, y1 = (float(one) for one in found.groups())
        if abs(abs(x1 - x0) + abs(y1 - y0) - 8.0) < 0.03:
            strokes.append(((x0 + x1) / 2.0, (y0 + y1) / 2.0, x0 != x1))
    level = [(x, y) for x, y, flat in strokes if flat]
    upright = [(x, y) for x, y, flat in strokes if not flat]
    return [a for a in level if any(np.hypot(a[0] - b[0], a[1] - b[1]) < 0.05 for b in upright)]


def drawings(sheet: Sheet) -> dict[str, Drawing]:
    return {one.picture.name: one for one in sheet.blocks if isinstance(one, Drawing)}


@pytest.mark.parametrize("cell", ["alder-ford", "juniper-street"])
def test_stations_are_drawn_at_their_true_places(cell: str, known: Facts) -> None:
    facts = known(cell)
    drawn = drawings(loading.sheet(facts))
    for side in facts.findings.fixture_sides:
        picture = next(
            one
            for name, one in drawn.items()
            if name == "side-" + side.name.replace("+", "-plus").replace("-", "-minus")
            or name == f"side-{side.name[0]}-{'plus' if side.name[-1] == '+' else 'minus'}"
        )
        svg = picture.picture.svg
        per_mm = float(ET.fromstring(svg).get("data-px-per-mm", ""))
        found = np.array(crosses(svg))
        assert len(found) == len(side.stations)
        # Station by station, from the first; y points down on paper.
        true = np.array([one.at_mm for one in side.stations])
        want = (true - true[0]) * per_mm * [1.0, -1.0]
        assert found - found[0] == pytest.approx(want, abs=0.03)
        # The outline of the station's own stock is where its zero says: a third point fixes scale.
        assert picture.scale is not None
        width = float(ET.fromstring(svg).get("width", ""))
        assert width / per_mm * picture.scale <= loading.PAPER_MM[0] + 1e-6


def test_the_place_on_the_drawing_is_counted_from_the_platter(known: Facts) -> None:
    """The blank's corners are 35 mm to either side of the station and 60 mm over it."""
    drawn = drawings(loading.sheet(known("alder-ford")))["side-Y-minus"].picture.svg
    per_mm = float(ET.fromstring(drawn).get("data-px-per-mm", ""))
    ((x, y),) = crosses(drawn)
    bold = [
        [
            tuple(float(one) for one in pair.split())
            for pair in re.split("[MLZ]", path.get("d", ""))[1:-1]
        ]
        for path in ET.fromstring(drawn).iter(f"{SVG}path")
        if path.get("stroke-width") == "2.4"
    ]
    assert bold
    corners = np.array(bold[0])
    assert corners[:, 0].min() - x == pytest.approx(-35.0 * per_mm, abs=0.03)
    assert corners[:, 0].max() - x == pytest.approx(35.0 * per_mm, abs=0.03)
    assert y - corners[:, 1].min() == pytest.approx(60.0 * per_mm, abs=0.03)
    assert y - corners[:, 1].max() == pytest.approx(-20.0 * per_mm, abs=0.03)


def test_a_side_is_seen_as_one_stands_before_it() -> None:
    """Who stands at X+ and looks to X- has Y+ on the right; on a map from above Y+ is up."""
    cell = cell_of("alder-ford")
    sides = {}
    for side, turn in (("X+", 90.0), ("Y+", 180.0), ("X-", 270.0), ("Y-", 0.0)):
        place = {
            "X+": (65.0, 20.0, 110.0),
            "Y+": (-20.0, 65.0, 110.0),
            "X-": (-65.0, -20.0, 110.0),
            "Y-": (20.0, -65.0, 110.0),
        }[side]
        at = tuple(Amount(one) for one in place)
        station = replace(cell.stations[0], at=at, turn=Amount(np.radians(turn)))
        (sides[side],) = Findings(replace(cell, stations=(station,))).fixture_sides
    for name, side in sides.items():
        assert side.name == side.looks == name
        (seen,) = side.stations
        assert seen.at_mm == pytest.approx((20.0, 110.0))
        assert {face.name: face.way for face in seen.faces} == {
            "outside": "to you",
            "top": "up",
            "right side": "right",
            "left side": "left",
        }
        zeros = {face.name: face.zero_mm for face in seen.faces}
        assert zeros["right side"] == pytest.approx((55.0, 130.0))
        assert zeros["top"] == pytest.approx((20.0, 170.0))
    (top,) = Findings(cell_of("juniper-street")).fixture_sides
    assert (top.name, top.looks) == ("top", "Z+")
    assert top.stations[0].at_mm == pytest.approx((-3.6 * 25.4, -2.4 * 25.4))
    assert {face.name: face.way for face in top.stations[0].faces} == {
        "top": "up",
        "end": "left",
        "side": "to the front",
    }


def test_each_side_comes_to_the_front_by_the_turn_that_is_told(known: Facts) -> None:
    findings = known("alder-ford").findings
    chain = findings.turning_only
    for side in findings.fixture_sides:
        assert side.front_rad is not None
        looks = -side.axes[1]
        turned = chain.directions(np.array([0.0, side.front_rad]), looks)
        assert np.asarray(turned).ravel() == pytest.approx([0.0, -1.0, 0.0], abs=1e-9)


def test_an_order_that_overloads_a_drive_is_told() -> None:
    cell = cell_of("alder-ford")
    weak = replace(cell, unit=replace(cell.unit, rated_tilt_torque=Amount(12.5)))
    told = words_in(loading.sheet(Known(Findings(weak))))
    assert "no more than 1 of 4 parts" in told
    assert "Any order is safe" not in told
    # Two parts on one side before any on the other: the planned order holds, another does not.
    one_sided = replace(cell, unit=replace(cell.unit, rated_rotary_torque=Amount(0.9)))
    findings = Findings(one_sided)
    assert findings.rotary_torque.torque.most_parts == 4
    assert not findings.rotary_torque.any_order_holds
    told = words_in(loading.sheet(Known(findings)))
    assert "Keep to this order." in told


def test_the_torque_of_the_clamps_is_told_where_it_is_entered() -> None:
    cell = cell_of("alder-ford")

    def labels(cell: Cell) -> set[str]:
        steps = steps_of(loading.sheet(Known(Findings(cell))))
        return {box.label for step in steps for box in step.boxes if box.form == "tick"}

    assert labels(cell) == {"clamped tight"}
    held = replace(cell, fixture=replace(cell.fixture, clamp_torque=Amount(45.0)))
    assert labels(held) == {"clamped with 45 N*m"}


def lying() -> Cell:
    """Return the demo's tower on a unit with one axis that lies along the table."""
    cell = cell_of("alder-ford")
    return replace(
        cell,
        unit=replace(cell.unit, kind="rotary only"),
        control=replace(cell.control, jogs=()),
        readings=replace(cell.readings, file=None),
        touches=(),
        days=(),
        checks=(),
    )


def test_on_a_lying_axis_sides_are_named_by_the_machine() -> None:
    """The platter looks along X; its y, where the station "back" looks, is up."""
    findings = Findings(lying())
    sides = {one.seat.station: side for side in findings.fixture_sides for one in side.stations}
    assert sides["back"].looks == "Z+"
    assert sides["front"].looks == "Z-"
    assert sides["back"].front_rad == pytest.approx(0.0)
    for side in sides.values():
        assert side.front_rad is not None
        looks = findings.platter_axes @ -side.axes[1]
        turned = findings.turning_only.directions(np.array([side.front_rad]), looks)
        assert np.asarray(turned).ravel() == pytest.approx([0.0, 0.0, 1.0], abs=1e-9)
    steps = {step.name: step for step in steps_of(loading.sheet(Known(findings)))}
    assert "top looks away from the platter" in steps["load_2"].see
    for module in MODULES:
        assert module.sheet(Known(findings)).blocks


@given(
    clocking=st.floats(-180.0, 180.0),
    sense=st.sampled_from([-1, 1]),
    turned=st.sampled_from([0.0, 90.0, 180.0, 270.0]),
)
@settings(max_examples=25, deadline=None)
def test_every_clocking_brings_its_side_to_the_front(
    clocking: float, sense: int, turned: float
) -> None:
    cell = cell_of("alder-ford")
    cell = replace(
        cell,
        fixture=replace(cell.fixture, clocking=Amount(np.radians(clocking))),
        control=replace(cell.control, rotary_sense=sense, jogs=()),
        stations=tuple(replace(s, turn=Amount(np.radians(turned))) for s in cell.stations[:1]),
    )
    findings = Findings(cell)
    (side,) = findings.fixture_sides
    (seen,) = side.stations
    assert side.front_rad is not None
    assert -np.pi < side.front_rad <= np.pi
    # The part's faces as one sees them are where the normals of the part end up on the chain.
    looks = -side.axes[1]
    to_front = findings.turning_only.directions(np.array([0.0, side.front_rad]), looks)
    assert np.asarray(to_front).ravel() == pytest.approx([0.0, -1.0, 0.0], abs=1e-9)
    ways = {face.name: face.way for face in seen.faces}
    opposite = {
        "right": "left",
        "left": "right",
        "to you": "away from you",
        "away from you": "to you",
    }
    assert ways["top"] == "up"
    assert ways["left side"] == opposite.get(ways["right side"], ways["right side"])


def test_an_empty_station_gets_no_part() -> None:
    cell = cell_of("alder-ford")
    stations = (*cell.stations[:3], replace(cell.stations[3], empty=True))
    sheet = loading.sheet(Known(Findings(replace(cell, stations=stations))))
    assert [step.name for step in steps_of(sheet) if step.name.startswith("load_")] == [
        "load_1",
        "load_2",
        "load_3",
    ]
    assert "No part goes into: left." in words_in(sheet)


# --- daily check card -------------------------------------------------------------------------


def test_expected_readings_are_those_of_the_answer(known: Facts) -> None:
    facts = known("alder-ford")
    table = next(one for one in facts.answer("drifted").tables if one.name == "checks")
    names = [one.name for one in table.columns]
    want = [
        (
            str(row[0]),
            letter.upper(),
            float(row[names.index(letter)]),
            float(row[names.index(f"{letter}_pm")]),
        )  # type: ignore[arg-type]
        for row in table.rows
        for letter in "xyz"
    ]
    found = grid(morning.sheet(facts), "expected")
    for row, (check, axis, value, sure) in zip(found.rows, want, strict=True):
        told = dict(zip((head.name for head in found.heads), row, strict=True))
        assert (told["check"], told["axis"]) == (check, axis)
        assert float(told["expected"]) == pytest.approx(value, abs=0.00051)
        assert float(told["plus_minus"]) == pytest.approx(sure, abs=0.00051)
        assert float(told["low"]) == pytest.approx(value - sure, abs=0.00051)
        assert float(told["high"]) == pytest.approx(value + sure, abs=0.00051)


def test_the_row_of_a_temperature_is_what_the_days_say_at_it(known: Facts) -> None:
    findings = known("alder-ford").findings
    drift, rows = findings.drift, findings.warm_rows
    assert len(rows) == 7
    slope = drift.spread_out(drift.watch.estimate.slope)
    for row in rows:
        want = drift.expected_mm + slope * (row.warm_c - drift.next_c)
        assert row.expected_mm == pytest.approx(want, abs=1e-9)
        # Farther from the temperatures that were met, less is known.
    middle = drift.watch.estimate.middle_c
    spread = {abs(row.warm_c - middle): float(np.max(row.expanded_mm)) for row in rows}
    assert [spread[key] for key in sorted(spread)] == sorted(spread.values())


def test_before_the_first_mornings_the_axis_lines_tell_what_to_expect() -> None:
    cell = replace(cell_of("alder-ford"), tools=(), solids=(), days=())
    at = (Amount(60.0), Amount(20.0), Amount(60.0))
    placed = replace(cell, checks=tuple(replace(one, at=at) for one in cell.checks))
    findings = Findings(placed)
    found = grid(morning.sheet(Known(findings)), "expected")
    want = [
        (one.name, float(value), float(sure))
        for one in findings.first_checks
        for value, sure in zip(one.expected_mm, one.expanded_mm, strict=True)
    ]
    for row, (name, value, sure) in zip(found.rows, want, strict=True):
        assert row[0] == name
        assert float(row[3]) == pytest.approx(value, abs=0.00051)
        assert float(row[4]) == pytest.approx(sure, abs=0.00051)
    # Nothing is known of them otherwise.
    bare_card = morning.sheet(Known(Findings(cell)))
    assert not any(isinstance(one, Grid) and one.name == "expected" for one in bare_card.blocks)
    assert all(step.lack for step in steps_of(bare_card) if step.name.startswith("check_"))


def filled(sheet: Sheet, values: dict[str, tuple[float, float, float]], day: str) -> str:
    """Return the boxes of the grid "days" filled in, as a table under its own names."""
    found = grid(sheet, "days")
    names = [head.name for head in found.heads]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(names)
    for row in found.rows[: len(values)]:
        told = dict(zip(names, row, strict=True))
        x, y, z = values[told["check"]]
        lengths = [name for name in names if name.split("_")[0] in "xyz" and "_" in name]
        told |= {"date": day, "time": "07:10", "t": "21.5", "who": "MB"}
        told |= {name: f"{one:.4f}" for name, one in zip(lengths, (x, y, z), strict=True)}
        writer.writerow([told[name] for name in names])
    return out.getvalue()


def test_what_is_written_on_the_card_is_read_back(known: Facts, tmp_path: Path) -> None:
    facts = known("alder-ford")
    sheet = morning.sheet(facts)
    blank = {head.name for head in grid(sheet, "days").heads if head.blank}
    assert {"date", "x_mm", "y_mm", "z_mm", "t"} <= blank
    values = {"ball level": (-319.88, -195.04, -400.01), "ball tilted": (-319.89, -154.97, -480.07)}
    text = filled(sheet, values, "2026-04-13")
    rows, faults = read_days(text, "card.csv", "mm")
    assert faults == []
    assert {row.check: row.place_mm for row in rows} == values
    # The same through the command, and drifted judges one morning more.
    for name in ("alder-ford.toml", "alder-ford-readings.csv", "alder-ford-days.csv"):
        (tmp_path / name).write_bytes((DEMO / name).read_bytes())
    for path in DEMO.glob("*.nc"):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    (tmp_path / "alder-ford-made.csv").write_bytes((DEMO / "alder-ford-made.csv").read_bytes())
    cell = load(tmp_path / "alder-ford.toml").cell
    assert cell is not None
    (tmp_path / "card.csv").write_text(text, encoding="utf-8")
    keep(cell, tmp_path / "alder-ford.toml", [str(tmp_path / "card.csv")], None)
    again = load(tmp_path / "alder-ford.toml").cell
    assert again is not None
    before, after = facts.findings.drift, Findings(again).drift
    assert len(after.days) == len(before.days) + 1
    assert after.day_text(after.days[-1]) == "2026-04-13"
    newest = after.spread_out(after.record.value[-1])
    assert newest == pytest.approx(np.array([values[name] for name in after.checks]))
    assert after.record.temperature[-1] == 21.5


def test_an_inch_card_is_read_back_in_inches(known: Facts) -> None:
    sheet = morning.sheet(known("juniper-street"))
    text = filled(
        sheet, {"ball 1": (-12.5, -7.25, -15.75), "ball 2": (-12.5, -8.0, -16.0)}, "2026-04-13"
    )
    rows, faults = read_days(text, "card.csv", "in")
    assert faults == []
    assert rows[0].place_mm == pytest.approx((-12.5 * 25.4, -7.25 * 25.4, -15.75 * 25.4))


def test_the_cards_of_the_bump_and_of_the_morning_have_the_same_columns(known: Facts) -> None:
    facts = known("alder-ford")
    one, other = (grid(module.sheet(facts), "days").heads for module in (morning, bump))
    assert one == other


def test_limits_on_a_strip_are_drawn_to_the_scale_of_its_lines(known: Facts) -> None:
    facts = known("alder-ford")
    check = facts.findings.morning_checks[0]
    svg = drawings(morning.sheet(facts))["strip-1"].picture.svg
    paths = [
        (path.get("stroke-width"), [float(v) for v in re.findall(r"-?[\d.]+", path.get("d", ""))])
        for path in ET.fromstring(svg).iter(f"{SVG}path")
    ]
    bold = [v[1] for width, v in paths if width == "2.4" and len(v) == 4 and v[1] == v[3]]
    labels = [
        (float(span.get("y", "")), float(span.text or ""))
        for text in ET.fromstring(svg).iter(f"{SVG}text")
        for span in text.iter(f"{SVG}tspan")
        if re.fullmatch(r"[+-]\d+\.\d+", span.text or "")
    ]
    # Three strips, each with its two bold limits; numbers beside the first.
    assert len(bold) == 6
    first = [(y, value) for y, value in labels if y < 160.0]
    per_unit = (first[0][0] - first[-1][0]) / (first[0][1] - first[-1][1])
    assert (max(bold[:2]) - min(bold[:2])) / abs(per_unit) == pytest.approx(
        2.0 * check.expanded_mm[0], abs=2e-5
    )


# --- after a bump -----------------------------------------------------------------------------


def test_signs_tell_what_the_checks_would_show(known: Facts) -> None:
    """Each part is moved on the placed chain, and the check moves as the table says."""
    findings = known("alder-ford").findings
    checks = findings.morning_checks
    poses = np.array([check.pose_rad for check in checks])
    chain = findings.turning_only
    for sign in findings.moved_signs:
        if sign.name not in ("unit", "seat"):
            continue
        for k, pose in enumerate(poses):
            for axis, way in enumerate(np.eye(3)):
                moves = way if sign.name == "unit" else chain.directions(pose, way).ravel()
                named = [
                    ("-" if value < 0 else "") + letter
                    for letter, value in zip("XYZ", moves, strict=True)
                    if abs(value) > 0.1
                ]
                assert sign.shows[k][axis] == " and ".join(named)
    tilt = next(one for one in findings.moved_signs if one.name == "tilt line")
    level = next(k for k, check in enumerate(checks) if check.pose_rad == (0.0, 0.0))
    assert set(tilt.shows[level]) == {"stays"}


def test_the_telling_checks_come_first(known: Facts) -> None:
    facts = known("alder-ford")
    first = facts.findings.telling_poses[0]
    order = next(step for step in steps_of(bump.sheet(facts)) if step.name == "check_1").order
    assert facts.findings.pose_words(first) in order


def test_stale_offsets_are_those_of_the_events(known: Facts) -> None:
    facts = known("alder-ford")
    found = facts.findings.offsets
    table = grid(bump.sheet(facts), "again")
    told = dict(zip(column(table, "part"), column(table, "stale"), strict=True))
    placed = [zero for zero in found.zeros if zero.point_mm is not None]
    tilt = {i for event in found.events if event.name.startswith("tilt line") for i in event.stale}
    assert told["the tilt line"] == ", ".join(placed[i].label for i in sorted(tilt))
    assert told["the unit on the table"] == "all 16: G54 to G54.1 P10"
    assert told["the seat of station back"] == "G58, G59, G54.1 P1, G54.1 P2"


# --- quarantine -------------------------------------------------------------------------------


def test_suspect_parts_and_sizes_are_those_of_the_answer(known: Facts) -> None:
    facts = known("alder-ford")
    sheet, answer = quarantine.sheet(facts), facts.answer("drifted")
    tables = {table.name: table for table in answer.tables}
    found = grid(sheet, "suspects")
    assert [row[:3] for row in found.rows] == [tuple(row) for row in tables["suspects"].rows]
    sizes = grid(sheet, "dimensions")
    want = {str(row[0]) for row in tables["dimensions"].rows if row[3] >= 10.0}  # type: ignore[operator]
    assert set(column(sizes, "dimension")) == want
    for name, off, stations in zip(
        column(sizes, "dimension"), column(sizes, "off"), column(sizes, "stations"), strict=True
    ):
        rows = {row[1]: row[2] for row in tables["dimensions"].rows if row[0] == name}
        for station in stations.split(", "):
            assert float(off) == pytest.approx(float(rows[station]), abs=0.00051)  # type: ignore[arg-type]


def test_an_empty_list_says_that_it_is_empty() -> None:
    cell = cell_of("alder-ford")
    before = tuple(row for row in cell.days if row.day < max(r.day for r in cell.days) - 15)
    quiet = replace(cell, days=before)
    findings = Findings(quiet)
    assert not findings.drift.outstanding
    sheet = quarantine.sheet(Known(findings))
    assert "The list is empty" in words_in(sheet)
    assert not any(isinstance(block, Grid) for block in sheet.blocks)


def test_one_bad_reading_holds_no_parts_for_good_but_until_it_is_read_again() -> None:
    cell = cell_of("alder-ford")
    last = max(row.day for row in cell.days) - 15
    rows = [row for row in cell.days if row.day < last]
    x, y, z = rows[-1].place_mm
    assert x is not None
    rows[-1] = replace(rows[-1], place_mm=(x + 0.05, y, z))
    findings = Findings(replace(cell, days=tuple(rows)))
    assert findings.drift.watch.doubtful is not None
    sheet = quarantine.sheet(Known(findings))
    assert "Take it again first" in words_in(sheet)
    assert "The list is empty" not in words_in(sheet)


# --- cautions ---------------------------------------------------------------------------------


def bare(cell: Cell) -> Cell:
    """Return a unit with nothing on it."""
    fixture = replace(cell.fixture, name=None, mass=None, mass_centre=None, masses=())
    return replace(
        cell, stations=(), parts=(), operations=(), fixture=fixture,
        unit=replace(cell.unit, masses=()),
    )  # fmt: skip


@pytest.mark.parametrize("module", [setup, loading, morning, bump])
def test_a_swinging_load_is_cautioned_of_where_there_is_one(module: object) -> None:
    cell = cell_of("alder-ford")
    told = module._cautions(Findings(cell))  # type: ignore[attr-defined]
    assert "swings by itself with up to 15.7 N*m" in " ".join(told)
    told = module._cautions(Findings(bare(cell)))  # type: ignore[attr-defined]
    assert "swing" not in " ".join(told)


@pytest.mark.parametrize("module", [setup, loading, bump])
@pytest.mark.parametrize("name", ["hydraulic line", "air hose", "Oil return", "pressure feed"])
def test_pressure_is_cautioned_of_only_where_it_is_entered(module: object, name: str) -> None:
    cell = cell_of("alder-ford")
    told = " ".join(module._cautions(Findings(cell)))  # type: ignore[attr-defined]
    assert "pressure" not in told.lower()
    hoses = (*cell.unit.hoses, Hose(name=name))
    held = replace(cell, unit=replace(cell.unit, hoses=hoses))
    told = " ".join(module._cautions(Findings(held)))  # type: ignore[attr-defined]
    assert f"Under pressure here: {name}." in told
    assert "licensed" in told


def test_no_hose_no_look_along_hoses() -> None:
    cell = cell_of("alder-ford")
    none = replace(cell, unit=replace(cell.unit, hoses=()))
    with_hose = [step.name for step in steps_of(bump.sheet(Known(Findings(cell))))]
    without = [step.name for step in steps_of(bump.sheet(Known(Findings(none))))]
    assert "hoses" in with_hose
    assert "hoses" not in without


def test_clamps_are_cautioned_of_where_parts_are_clamped() -> None:
    cell = cell_of("alder-ford")
    assert "fingers" in cautions_of(loading.sheet(Known(Findings(cell))))
    empty = replace(cell, stations=tuple(replace(one, empty=True) for one in cell.stations))
    assert "fingers" not in cautions_of(loading.sheet(Known(Findings(empty))))


@pytest.mark.parametrize("module", MODULES, ids=lambda one: one.NAME)
@pytest.mark.parametrize("cell", ["alder-ford", "juniper-street", "half-filled"])
def test_every_card_defers_to_manuals(module: object, cell: str, known: Facts) -> None:
    assert "manuals of mill and unit" in cautions_of(module.sheet(known(cell)))  # type: ignore[attr-defined]


# --- half known -------------------------------------------------------------------------------

SECTIONS = (
    "machine", "unit", "placement", "fixture", "stations", "parts", "operations", "control",
    "readings", "checks", "drift", "touches", "days", "made", "dimensions", "shift", "shop",
)  # fmt: skip


@pytest.mark.parametrize("left_out", SECTIONS)
def test_cards_come_whatever_section_is_missing(left_out: str) -> None:
    # Without tools and bodies nothing is proven, which is what takes time.
    cell = replace(cell_of("alder-ford"), tools=(), solids=())
    empty = Cell()
    known = Known(Findings(replace(cell, **{left_out: getattr(empty, left_out)})))
    for module in MODULES:
        sheet = module.sheet(known)
        assert sheet.blocks
        names = [step.name for step in steps_of(sheet)]
        assert len(names) == len(set(names))


def test_cards_of_an_empty_cell_come_and_say_what_to_find_out() -> None:
    known = Known(Findings(Cell()))
    for module in MODULES:
        assert module.sheet(known).missing


def test_a_station_without_a_place_is_still_loaded() -> None:
    cell = cell_of("alder-ford")
    stations = (*cell.stations[:2], Station(name="third"), cell.stations[3])
    sheet = loading.sheet(Known(Findings(replace(cell, stations=stations))))
    orders = [step.order for step in steps_of(sheet) if step.name.startswith("load_")]
    assert orders[2] == "Put part 3, pump bracket, into station third."
