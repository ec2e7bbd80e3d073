"""The commissioning plan: hazards where they are, mends that mend, boxes that are read back."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gudgeon.cell.files import load
from gudgeon.cell.model import Cell, Hose
from gudgeon.findings import Findings
from gudgeon.findings.commissioning import squaring
from gudgeon.findings.commissioning_hoses import dry_run
from gudgeon.findings.commissioning_limits import angle_limits
from gudgeon.kinematics.naming import side_direction
from gudgeon.quantity.amount import Amount
from gudgeon.sheets._square import square_up
from gudgeon.sheets.commissioning import PARTS, sheet
from gudgeon.sheets.known import Known
from gudgeon.sheets.shape import Cautions, Drawing, Grid, Sheet, Step, Steps
from tests.findings.test_commissioning import ANGLES, bare, demo, with_lines
from tests.sheets.conftest import CELLS, known_of

DEMO = Path(__file__).parents[2] / "demo"


@cache
def plan(cell: str) -> Sheet:
    return sheet(known_of(cell))


def steps_of(blocks) -> Iterator[Step]:
    for block in blocks:
        if isinstance(block, Steps):
            yield from block.steps


def step(blocks, name: str) -> Step:
    return next(one for one in steps_of(blocks) if one.name == name)


def grid(blocks, name: str) -> Grid:
    return next(one for one in blocks if isinstance(one, Grid) and one.name == name)


def cautions_of(blocks) -> str:
    told = [text for block in blocks if isinstance(block, Cautions) for text in block.texts]
    told += [text for one in steps_of(blocks) for text in one.cautions]
    return " | ".join(told)


def part(name: str, cell: Cell):
    """Return the blocks of one part of the plan; the drawings are those of the demo shop."""
    made = next(one for one in PARTS if one.__name__ == name)
    return made(Known(Findings(cell), {"fits": known_of("alder-ford").answer("fits")}))[0]


@pytest.mark.parametrize("cell", CELLS)
def test_every_step_has_its_own_name_and_says_what_to_do(cell: str) -> None:
    found = plan(cell)
    names = [one.name for one in steps_of(found.blocks)]
    assert len(set(names)) == len(names)
    boxes = [box.name for one in steps_of(found.blocks) for box in one.boxes]
    assert len(set(boxes)) == len(boxes)
    for one in steps_of(found.blocks):
        assert one.order
    wheres = [item.where for item in found.missing]
    assert len(set(wheres)) == len(wheres)


def test_nothing_is_tilted_far_before_signs_and_hoses_are_seen() -> None:
    order = [one.__name__ for one in PARTS]
    assert order.index("on_the_table") < order.index("jog_test") < order.index("hoses")
    assert order.index("hoses") < order.index("square_up") < order.index("lost_motion")
    # Read and cut on the bare platter.
    for name in ("square_up", "centre_readings", "test_piece"):
        assert order.index(name) < order.index("fixture_on")
    assert order.index("warm_up") < order.index("centre_readings")


def test_a_complete_cell_lacks_nothing_and_half_a_cell_names_what_it_lacks() -> None:
    assert plan("alder-ford").missing == ()
    half = plan("half-filled")
    wheres = " ".join(item.where for item in half.missing)
    assert "unit.mass" in wheres and "control.jogs" in wheres
    for name in ("table_load", "square_up", "limits", "jogs_right"):
        assert step(half.blocks, name).lack


EMPTY = Cell()


def test_an_empty_cell_gets_a_plan_that_says_what_is_missing() -> None:
    found = sheet(Known(Findings(EMPTY)))
    assert len(found.missing) >= 5
    assert step(found.blocks, "rig").lack


@settings(max_examples=3)
@given(st.sets(st.sampled_from(["machine", "unit", "placement", "fixture", "control", "readings"])))
def test_the_plan_comes_whatever_is_left_out(without: set[str]) -> None:
    blank = {name: getattr(EMPTY, name) for name in without}
    cell = replace(demo("juniper-street"), **blank)
    if "readings" in without or "placement" in without:
        cell = replace(cell, touches=())
    found = sheet(Known(Findings(cell)))
    assert list(steps_of(found.blocks))


# --- hazards -------------------------------------------------------------------------------------


@pytest.mark.parametrize(("kg", "told"), [(86.0, True), (None, True), (24.0, False), (26.0, True)])
def test_lifting_is_cautioned_where_it_is_heavy_or_not_known(kg: float | None, told: bool) -> None:
    cell = bare()
    cell = replace(cell, unit=replace(cell.unit, mass=None if kg is None else Amount(kg)))
    cautions = cautions_of(part("before", cell))
    assert ("lifting gear lift the unit" in cautions) is told


def test_the_fixture_is_lifted_with_gear_only_where_it_is_heavy() -> None:
    cell = bare()
    assert "lifting gear" not in cautions_of(part("fixture_on", cell))
    heavy = replace(cell, fixture=replace(cell.fixture, mass=Amount(40.0)))
    assert "lifting gear" in cautions_of(part("fixture_on", heavy))


def test_pressure_is_cautioned_where_a_line_of_it_is_entered() -> None:
    cell = bare()
    people = "lines under pressure"
    assert "ressure" not in cautions_of(part("before", cell))
    assert people not in step(part("before", cell), "people").see
    lines = replace(cell, unit=replace(cell.unit, hoses=(Hose(name="hydraulic line"),)))
    assert "Under pressure here: hydraulic line" in cautions_of(part("before", lines))
    assert people in step(part("before", lines), "people").see


def test_every_plan_defers_to_manuals_and_to_people_licensed_for_drives() -> None:
    for cell in CELLS:
        told = cautions_of(plan(cell).blocks)
        assert "manuals of mill and unit" in told
        assert "licensed" in told


def test_hoses_are_run_dry_only_where_there_are_any() -> None:
    assert "Fingers stay away from hoses" in cautions_of(part("hoses", demo()))
    without = part("hoses", demo("juniper-street"))
    assert cautions_of(without) == ""
    assert list(steps_of(without)) == []


def test_a_spindle_is_locked_where_a_dial_stands_in_it() -> None:
    assert "Lock the spindle" in cautions_of(part("square_up", bare()))


def test_a_load_too_heavy_for_the_table_stops_the_plan() -> None:
    cell = demo()
    few = replace(cell, machine=replace(cell.machine, table_load=Amount(100.0)))
    assert "do not go on" in step(part("before", few), "table_load").see
    assert "are left" in step(part("before", cell), "table_load").see


# --- mends ---------------------------------------------------------------------------------------

signs = st.sampled_from([1, -1])


def directions(text: str) -> tuple[str, str]:
    """Return what plus and what minus asks for."""
    found = re.search(
        r"plus (?:towards|under the) ([XYZ][+-]).*minus (?:towards|under the) ([XYZ][+-])", text
    )
    assert found, text
    return found.group(1), found.group(2)


@settings(max_examples=6)
@given(st.sampled_from([3e-4, -3e-4]), st.sampled_from("XY"), signs, signs)
def test_the_knock_that_is_told_brings_the_tram_to_zero(
    yaw: float, along: str, tilt: int, turn: int
) -> None:
    findings = with_lines(bare(along, tilt, turn), tilt_yaw=yaw, rotary_pitch=2e-4)
    blocks = square_up(Known(findings))[0]
    mend = step(blocks, "tram_mend").order
    named = re.search(r"knock the ([XYZ]\+) end", mend)
    assert named
    tram = squaring(findings).check("tram")
    assert tram is not None and tram.expected_mm is not None
    plus, minus = directions(mend)
    side = side_direction(plus if tram.expected_mm > 0.0 else minus)
    # The end of the line where it truly runs, from its middle: it must stand on the other side.
    line = np.asarray(findings.axis_lines.chain.axes[0].line.direction)
    end = line * np.sign(line @ side_direction(named.group(1)))
    assert end @ side < -2e-4


@settings(max_examples=6)
@given(st.sampled_from([3e-4, -3e-4]), st.sampled_from("XY"), signs, signs)
def test_the_shim_that_is_told_goes_under_the_low_end(
    pitch: float, along: str, tilt: int, turn: int
) -> None:
    findings = with_lines(bare(along, tilt, turn), tilt_pitch=pitch, rotary_roll=2e-4)
    blocks = square_up(Known(findings))[0]
    rise = squaring(findings).check("rise")
    assert rise is not None and rise.expected_mm is not None
    plus, minus = directions(step(blocks, "rise_mend").order)
    low = side_direction(plus if rise.expected_mm > 0.0 else minus)
    line = np.asarray(findings.axis_lines.chain.axes[0].line.direction)
    assert (line * np.sign(line @ low))[2] < -2e-4
    factor = re.search(r"by ([\d.]+) times", step(blocks, "rise_mend").see)
    assert factor
    columns = [one.value for one in findings.cell.unit.lug_columns]
    thick = float(factor.group(1)) * abs(rise.expected_mm)
    assert thick == pytest.approx((max(columns) - min(columns)) * abs(pitch), rel=0.05)


@pytest.mark.parametrize("placed", [0.0, 90.0, 180.0, 270.0])
@pytest.mark.parametrize(("yaw", "pitch"), [(3e-4, -2e-4), (-3e-4, 2e-4)])
def test_a_single_axis_is_knocked_and_shimmed_the_right_way(
    placed: float, yaw: float, pitch: float
) -> None:
    findings = with_lines(bare(kind="rotary only", yaw=placed), rotary_yaw=yaw, rotary_pitch=pitch)
    blocks = square_up(Known(findings))[0]
    found = squaring(findings)
    line = np.asarray(findings.axis_lines.chain.axes[0].line.direction)
    tram, rise = found.check("lean_along"), found.check("lean_across")
    assert tram is not None and tram.expected_mm is not None
    assert rise is not None and rise.expected_mm is not None
    mend = step(blocks, "tram_mend")
    named = re.search(r"knock the ([XYZ]\+) end", mend.order)
    assert named and "four places" in mend.see
    plus, minus = directions(mend.order)
    end = line * np.sign(line @ side_direction(named.group(1)))
    assert end @ side_direction(plus if tram.expected_mm > 0.0 else minus) < -2e-4
    plus, minus = directions(step(blocks, "rise_mend").order)
    low = side_direction(plus if rise.expected_mm > 0.0 else minus)
    assert (line * np.sign(line @ low))[2] < -1e-4


@settings(max_examples=6)
@given(st.sampled_from([5e-4, -5e-4]), st.sampled_from("XY"), signs, signs)
def test_the_zero_of_the_tilt_that_is_told_levels_the_platter(
    roll: float, along: str, tilt: int, turn: int
) -> None:
    findings = with_lines(bare(along, tilt, turn), rotary_roll=roll)
    blocks = square_up(Known(findings))[0]
    why = step(blocks, "lean_across").why
    letter = findings.senses.tilt_letter
    found = re.search(rf"for each ([\d.]+) mm plus, level is at {letter}([+-][\d.]+)\.", why)
    assert found
    lean = squaring(findings).check("lean_across")
    assert lean is not None and lean.expected_mm is not None
    programmed = math.radians(float(found.group(2))) * lean.expected_mm / float(found.group(1))
    chain = findings.axis_lines.chain
    up = np.asarray(chain.axes[1].line.direction)
    across = side_direction(lean.runs[0].end.name)
    before = chain.directions([0.0, 0.0], up) @ across
    after = chain.directions([programmed, 0.0], up) @ across
    assert abs(before) > 4e-4
    assert abs(after) < 0.03 * abs(before)


def test_what_the_lines_show_already_is_told_beside_its_limit() -> None:
    findings = with_lines(bare(), tilt_yaw=3e-4)
    see = step(square_up(Known(findings))[0], "tram").see
    assert re.search(r"must show [+-]0\.048 \+- 0\.00\d mm", see)
    assert "out of limit: mend it" in see
    assert "One reading" not in see
    good = step(square_up(Known(with_lines(bare())))[0], "tram").see
    assert "mend it" not in good
    never = step(square_up(Known(Findings(bare())))[0], "tram").see
    assert never.startswith("Expect zero. The limit is")


def test_the_tram_and_rise_that_are_told_are_those_of_the_answer_about_the_lines() -> None:
    facts = known_of("alder-ford")
    found, answer = squaring(facts.findings), facts.answer("turns")
    for name, figure in (("tram", "tilt_yaw"), ("rise", "tilt_rise")):
        check = found.check(name)
        assert check is not None and check.expected_mm is not None
        turned = math.radians(answer.figure(figure).value or 0.0)
        assert abs(check.expected_mm) == pytest.approx(
            found.chord_mm[1] * math.tan(abs(turned)), rel=1e-3
        )
        # The dial and two runs widen what the lines leave open.
        lines = found.chord_mm[1] * math.radians(answer.figure(figure).plus_minus or 0.0)
        assert lines < (check.plus_minus_mm or 0.0) < lines + 0.008


def test_a_limit_finer_than_the_dial_is_read_several_times() -> None:
    cell = bare()
    fine = replace(cell, readings=replace(cell.readings, wanted=Amount(0.01)))
    one = step(square_up(Known(with_lines(fine)))[0], "upright_plus")
    found = re.search(r"good to ([\d.]+) mm only: read (\d) times", one.see)
    assert found
    check = squaring(with_lines(fine)).check("upright +")
    assert check is not None
    own = 2.0 * 0.002 * math.sqrt(2.0)
    assert float(found.group(1)) == pytest.approx(own, abs=1e-3)
    times = int(found.group(2))
    assert times == 9 or own / math.sqrt(times) <= check.limit_mm < own / math.sqrt(times - 1)


def test_the_places_of_the_dial_are_drawn_where_they_are() -> None:
    findings = with_lines(bare())
    found = squaring(findings)
    drawing = next(one for one in square_up(Known(findings))[0] if isinstance(one, Drawing))
    svg = drawing.picture.svg
    scale = float(re.search(r'data-px-per-mm="([\d.]+)"', svg)[1])  # type: ignore[index]
    radii = sorted(float(r) / scale for r in re.findall(r'<circle[^>]* r="([\d.]+)"', svg))
    # Rim, the circle of the level, pilot and six holes.
    assert radii[-2:] == pytest.approx([found.radius_mm, 100.0], abs=0.2)
    assert len(radii) == 9


# --- boxes ---------------------------------------------------------------------------------------


def typed(grids: list[Grid], dials: Callable[[Grid, int], str]) -> str:
    """Return the rows of printed tables as somebody types them, by the names over the columns."""
    names = [head.name for head in grids[0].heads]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(names)
    for one in grids:
        assert [head.name for head in one.heads] == names
        at = next(k for k, name in enumerate(names) if name.startswith("dial_"))
        for k, row in enumerate(one.rows):
            cells = list(row)
            assert one.heads[at].blank
            cells[at] = cells[at] or dials(one, k)
            writer.writerow(cells)
    return out.getvalue()


@pytest.mark.parametrize("name", ["alder-ford", "juniper-street"])
def test_what_is_written_into_the_tables_is_read_back_as_readings(
    name: str, tmp_path: Path
) -> None:
    cell = demo(name)
    errors = dict(zip(ANGLES, (2e-4, -3e-4, 4e-4, 1.5e-4), strict=True))
    findings = with_lines(replace(cell, touches=(), dimensions=()), **errors)
    found = squaring(findings)
    grids = [grid(square_up(Known(findings))[0], one) for one in ("level", "runs")]
    inch = findings.units.inch
    runs = list((found.check("rise") or found.checks[0]).runs)

    def dial(one: Grid, k: int) -> str:
        run = found.level[k - 1] if one.name == "level" else runs[k // 2]
        assert run.expected_mm is not None
        return f"{run.expected_mm / (25.4 if inch else 1.0):.6f}"

    text = typed(grids, dial)
    for file in DEMO.iterdir():
        if file.suffix in (".csv", ".nc"):
            (tmp_path / file.name).write_bytes(file.read_bytes())
    (tmp_path / f"{name}-readings.csv").write_text(text)
    (tmp_path / f"{name}.toml").write_text((DEMO / f"{name}.toml").read_text())
    loaded = load(tmp_path / f"{name}.toml")
    assert loaded.faults == load(DEMO / f"{name}.toml").faults
    assert loaded.cell is not None
    assert len(loaded.cell.touches) == 10
    assert {touch.kind for touch in loaded.cell.touches} == {"sweep"}
    assert {touch.zero for touch in loaded.cell.touches} == {"level", "run 1", "run 2", "run 3"}
    fit = Findings(loaded.cell).line_study.fit
    assert fit is not None
    values = dict(zip(fit.parameters, fit.values, strict=True))
    for angle, error in errors.items():
        assert values[angle] == pytest.approx(error, abs=2e-7)


# --- hoses ---------------------------------------------------------------------------------------


def with_hose(**entries: object) -> Cell:
    cell = demo()
    return replace(cell, unit=replace(cell.unit, hoses=(replace(cell.unit.hoses[0], **entries),)))


@pytest.mark.parametrize("carrier", ["cradle", "platter"])
def test_the_dry_run_stops_where_a_hose_is_stretched_most(carrier: str) -> None:
    cell = with_hose(
        turns_with=carrier,
        connector_x=Amount(60.0),
        connector_y=Amount(40.0),
        connector_z=Amount(30.0),
        free_length=Amount(700.0),
        length=None,
    )
    findings = Findings(cell)
    poses = dry_run(findings)
    hose = findings.hoses_stretched[0]
    left = [pose.left_mm["drive cable"] for pose in poses]
    assert min(left) == pytest.approx(hose.margin_mm, abs=0.2)
    worst = [pose for pose in poses if pose.worst]
    assert [pose.worst for pose in worst] == [("drive cable stretched most",)]
    assert worst[0].left_mm["drive cable"] == pytest.approx(min(left), abs=0.1)
    # Span by hand in one pose: connector in the unit frame carried by the chain.
    chain = findings.axis_lines.chain
    one = next(pose for pose in poses if pose.tilt_rad < -1.7 and pose.turn_rad > 6.0)
    connector = findings.unit_frame.points([60.0, 40.0, 30.0])
    angles = [one.tilt_rad, one.turn_rad if carrier == "platter" else 0.0]
    at = (chain.matrices(angles) @ np.append(connector, 1.0))[:3]
    span = math.dist(at, (-20.0, -60.0, -600.0))
    assert one.left_mm["drive cable"] == pytest.approx(700.0 - span, abs=1e-6)


def test_a_hose_that_can_hang_into_the_swing_is_tied_up() -> None:
    assert not [one for one in steps_of(part("hoses", demo())) if one.name.startswith("tie")]
    long = with_hose(length=Amount(900.0), free_length=Amount(880.0))
    ties = [one for one in steps_of(part("hoses", long)) if one.name.startswith("tie")]
    assert len(ties) == 1
    hang = Findings(long).hoses_hanging[0]
    assert hang.meets[0][0] in ties[0].see


def test_a_hose_that_is_too_short_is_told() -> None:
    short = with_hose(free_length=Amount(200.0), length=None)
    see = step(part("hoses", short), "hose_1").see
    assert "too short by" in see and "do not turn" in see


def test_the_dry_run_goes_all_round_at_each_end_of_the_tilt_and_unwinds() -> None:
    poses = [
        (round(math.degrees(p.tilt_rad)), round(math.degrees(p.turn_rad)))
        for p in dry_run(Findings(demo()))
    ]
    assert poses[0] == (0, 0) and poses[-1] == (0, 0)
    for end in (-100, 100):
        assert {turn for tilt, turn in poses if tilt == end} == {0, 90, 180, 270, 360}
    for before, after in pairwise(poses):
        assert abs(before[1] - after[1]) <= 90
        assert abs(before[0] - after[0]) <= 100


def test_a_turn_with_ends_is_run_to_both_of_them() -> None:
    ends = Amount(math.radians(-100.0)), Amount(math.radians(170.0))
    cell = demo()
    poses = dry_run(Findings(replace(cell, unit=replace(cell.unit, rotary_range=ends))))
    turns = [math.degrees(pose.turn_rad) for pose in poses]
    assert turns[0] == turns[-1] == 0.0
    assert min(turns) == pytest.approx(-100.0) and max(turns) == pytest.approx(170.0)


# --- lost motion, limits -------------------------------------------------------------------------


def test_lost_motion_that_is_entered_is_told_as_the_dial_shows_it() -> None:
    cell = demo()
    one = step(part("lost_motion", cell), "tilt_lost")
    radius = squaring(Findings(cell)).radius_mm
    arc = math.pi / 648000.0
    assert (
        f"12 arcsec are entered (accuracy.tilt_lost_motion), which is {radius * 12 * arc:.3f} mm"
        in one.why
    )
    # Half of it is off to either side.
    most = 2.0 * radius * angle_limits(Findings(cell))["tilt"].rad
    told = re.search(r"at most ([\d.]+) mm", one.see)
    assert told and 0.0 <= most - float(told.group(1)) < 1e-3
    given = replace(cell.accuracy, tilt_lost_motion=Amount(60.0 * arc))
    over = step(part("lost_motion", replace(cell, accuracy=given)), "tilt_lost")
    assert "That is over the limit." in over.why


def test_no_restriction_is_asked_where_none_is_needed() -> None:
    blocks = plan("alder-ford").blocks
    assert "no restriction is needed" in step(blocks, "limits").order
    assert {row[4] for row in grid(blocks, "limits").rows} == {"leave as it is"}
    cell = demo()
    near = replace(cell, machine=replace(cell.machine, guard_right=Amount(500.0)))
    blocks = part("limits_to_enter", near)
    assert "Enter the limits" in step(blocks, "limits").order
    row = grid(blocks, "limits").rows[0]
    box = Findings(near).safe_limits.box
    assert box is not None
    assert row[4] == "enter"
    # A limit is rounded into what is proven.
    assert float(row[1].split()[0]) >= float(box.low[0]) - 1e-9
    assert float(row[2].split()[0]) <= float(box.high[0]) + 1e-9
