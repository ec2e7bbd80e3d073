"""Bodies of a cell in T: closed forms of heights, frames, senses, models, windows, tools."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from gudgeon.cell.files import load, load_text
from gudgeon.clearance.prove import Prover, Status
from gudgeon.clearance.scene import Body, Carrier, Role
from gudgeon.drawing.silhouette import posed
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.bodies import bounds_of
from gudgeon.findings.outlines import convex_parts

CASES = Path(__file__).parent.parent / "cases"

BASE = """
[shop]
units = "mm"
[machine]
layout = "moving table"
travel_x = ["-760 mm", "0 mm"]
travel_y = ["-430 mm", "0 mm"]
travel_z = ["-510 mm", "0 mm"]
gauge_to_table = "600 mm"
table_x = ["-800 mm", "50 mm"]
table_y = ["-420 mm", "-10 mm"]
nose_diameter = "100 mm"
[unit]
kind = "tilt and rotary"
tilt_range = ["-100 deg", "100 deg"]
tilt_axis_height = "200 mm"
face_height = "30 mm"
axis_offset = "0 mm"
platter_diameter = "200 mm"
[placement]
{place}
centre_x = "-400 mm"
centre_y = "-200 mm"
[fixture]
name = "tower"
shape = "square"
half_width = "80 mm"
height = "150 mm"
[control]
tilt_sense = {tilt}
rotary_sense = {rotary}
"""


def findings(
    extra: str = "", *, place: str = 'tilt_along = "X"', tilt: int = 1, rotary: int = 1
) -> Findings:
    # Sections of `extra` may repeat: what they hold is joined to the section that is there.
    text = BASE.format(place=place, tilt=tilt, rotary=rotary) + extra
    loaded = load_text(text)
    assert loaded.cell is not None, loaded.faults
    return Findings(loaded.cell)


def named(bodies: tuple[Body, ...], name: str) -> Body:
    return next(body for body in bodies if body.name == name)


def corners_at(made: Findings, name: str, tilt: float = 0.0, turn: float = 0.0) -> Any:
    scene = made.scene.scene
    body = named(scene.bodies, name)
    turned, shift = posed(scene, body.carrier, [0.0, 0.0, 0.0, tilt, turn])
    return np.concatenate([points for _, points in body.solids]) @ turned.T + shift


def highest_over_table(made: Findings, tilt: float) -> float:
    top = -made.cell.machine.gauge_to_table.value  # type: ignore[union-attr]
    return float(corners_at(made, "fixture with parts", tilt)[:, 2].max() - top)


def test_heights_of_case_5_are_those_of_the_acceptance_case() -> None:
    """Figures of tests/cases/expected-5.toml, by the bodies and not by `heights`."""
    cell = load(CASES / "case-5.toml").cell
    assert cell is not None
    made = Findings(cell)
    assert highest_over_table(made, 0.0) == pytest.approx(435.0, abs=0.05)
    assert highest_over_table(made, math.pi / 2) == pytest.approx(297.7, abs=0.05)
    tilts = np.radians(np.arange(0.0, 90.0, 0.05))
    heights = [highest_over_table(made, tilt) for tilt in tilts]
    assert max(heights) == pytest.approx(451.5, abs=0.05)
    assert math.degrees(tilts[int(np.argmax(heights))]) == pytest.approx(21.3, abs=0.1)


def test_the_certified_gap_over_the_tilting_tower_is_its_closed_form() -> None:
    """The corner passes under the nose at its highest: sqrt(225^2 + 87.7^2) over the axis."""
    cell = load(CASES / "case-5.toml").cell
    assert cell is not None
    made = Findings(cell)
    scene = made.scene.scene
    alone = replace(scene, bodies=(named(scene.bodies, "fixture with parts"),))
    prover = Prover(alone, made.tool_bodies(None))
    # Nose at Z 0: gauge line 620 over the table; spindle line over the tilt axis.
    start = [-381.0, -200.0, 0.0, 0.0, 0.0]
    found = prover.motion(start, [*start[:3], math.radians(40.0), 0.0], 0.0, exact=True)
    peak = 210.0 + math.hypot(225.0, 87.7)
    assert found.upper_mm == pytest.approx(620.0 - peak, abs=0.01)
    assert math.degrees(found.joint[3]) == pytest.approx(21.295, abs=0.2)
    assert found.status is Status.PROVEN


def test_table_and_nose_stand_where_the_entries_put_them() -> None:
    made = findings()
    low, high = bounds_of(named(made.scene.scene.bodies, "table"))
    assert (low[0], high[0], low[1], high[1], high[2]) == (-800.0, 50.0, -420.0, -10.0, -600.0)
    low, high = bounds_of(named(made.tool_bodies(None), "spindle nose"))
    np.testing.assert_allclose([low[0], high[0], low[2]], [-50.0, 50.0, 0.0])


@pytest.mark.parametrize(
    ("place", "x", "y"),
    [
        ('tilt_along = "X"', (100.0, 150.0), (-30.0, 60.0)),
        ('tilt_along = "Y"', (-60.0, 30.0), (100.0, 150.0)),
        ('yaw = "180 deg"', (-150.0, -100.0), (-60.0, 30.0)),
        ('yaw = "270 deg"', (-30.0, 60.0), (-150.0, -100.0)),
    ],
)
def test_boxes_turn_with_the_unit_whichever_way_it_stands(
    place: str, x: tuple[float, float], y: tuple[float, float]
) -> None:
    box = """
[[unit.boxes]]
name = "motor"
x = ["100 mm", "150 mm"]
y = ["-30 mm", "60 mm"]
z = ["-50 mm", "40 mm"]
turns_with = "base"
"""
    low, high = bounds_of(named(findings(box, place=place).scene.scene.bodies, "motor"))
    np.testing.assert_allclose(low, [-400.0 + x[0], -200.0 + y[0], -450.0], atol=1e-9)
    np.testing.assert_allclose(high, [-400.0 + x[1], -200.0 + y[1], -360.0], atol=1e-9)


@pytest.mark.parametrize(("tilt", "rotary"), [(1, 1), (-1, 1), (1, -1), (-1, -1)])
@pytest.mark.parametrize("place", ['tilt_along = "X"', 'tilt_along = "Y"', 'yaw = "180 deg"'])
def test_bodies_turn_as_the_chain_takes_points(place: str, tilt: int, rotary: int) -> None:
    """Against `kinematics.chain`, which other tests tie to published values."""
    made = findings(place=place, tilt=tilt, rotary=rotary)
    pose = (0.7, -0.4)
    rest = corners_at(made, "tower")
    expected = made.axis_lines.chain.points(np.array(pose), rest)
    np.testing.assert_allclose(corners_at(made, "tower", *pose), expected, atol=1e-9)


def test_a_positive_tilt_of_sense_plus_turns_the_work_right_handed_about_x() -> None:
    """By hand: the middle of the tower's top, 180 over the axis, goes to Y -180 at +90 deg."""
    for sense in (1, -1):
        corners = corners_at(findings(tilt=sense), "tower", math.pi / 2)
        reach = corners[:, 1] + 200.0
        assert (reach.min() if sense == 1 else reach.max()) == pytest.approx(-sense * 180.0)


def test_inches_give_the_same_bodies() -> None:
    metric = findings()
    inch = BASE.format(place='tilt_along = "X"', tilt=1, rotary=1)
    for value in ("600", "200", "30", "80", "150", "100", "-800", "50", "-420", "-10", "-400"):
        inch = inch.replace(f'"{value} mm"', f'"{float(value) / 25.4!r} in"')
    loaded = load_text(inch)
    assert loaded.cell is not None
    for one, other in zip(
        metric.scene.scene.bodies, Findings(loaded.cell).scene.scene.bodies, strict=True
    ):
        np.testing.assert_allclose(bounds_of(one), bounds_of(other), atol=1e-9)


def test_what_is_not_sure_grows_bodies_and_never_shrinks_them() -> None:
    text = BASE.format(place='tilt_along = "X"', tilt=1, rotary=1)
    for sure, unsure in (('"80 mm"', '"80 mm +- 0.5 mm"'), ('"150 mm"', '"150 mm +- 2 mm"')):
        text = text.replace(sure, unsure)
    cell = load_text(text).cell
    assert cell is not None
    low, high = bounds_of(named(Findings(cell).scene.scene.bodies, "tower"))
    np.testing.assert_allclose(high - low, [161.0, 161.0, 152.0], atol=1e-9)


def test_uncertainty_of_the_lines_reaches_the_farthest_corner() -> None:
    """Closed form: only the axis offset is unsure, +- 0.1 mm: it moves the tilt line across.

    A point turned by the tilt through t about a line that is off by e is off by 2 e sin(t / 2):
    0.2 mm at half a turn.  The bound between the angles tried may add 8 %.
    """
    text = BASE.format(place='tilt_along = "X"', tilt=1, rotary=1)
    text = text.replace('axis_offset = "0 mm"', 'axis_offset = "0 mm +- 0.1 mm"')
    cell = load_text(text).cell
    assert cell is not None
    assert 0.2 - 1e-9 <= Findings(cell).scene.unsure_mm <= 0.2 * 1.08
    assert findings().scene.unsure_mm == 0.0


def test_guards_keep_their_margin_and_stand_on_the_floor() -> None:
    text = BASE.format(place='tilt_along = "X"', tilt=1, rotary=1).replace(
        "nose_diameter", 'guard_right = "700 mm"\nmargin_x = "20 mm"\nnose_diameter'
    )
    cell = load_text(text).cell
    assert cell is not None
    scene = Findings(cell).scene.scene
    guard = named(scene.bodies, "right guard with its margin")
    assert guard.carrier is Carrier.BASE
    assert bounds_of(guard)[0][0] == 680.0
    # Displayed X -760 brings the guard to 680 - 760 = -80; the platter ends at -400 + 100.
    found = Prover(scene).motion([-760, 0, 0, 0, 0], [-760, 0, 0, 0, 0], 0.0, exact=True)
    assert found.upper_mm == pytest.approx(220.0, abs=0.01)


def test_a_column_that_carries_the_head_moves_with_it() -> None:
    text = BASE.format(place='tilt_along = "X"', tilt=1, rotary=1).replace(
        '"moving table"', '"moving column"\ncolumn_behind = "300 mm"'
    )
    cell = load_text(text).cell
    assert cell is not None
    scene = Findings(cell).scene.scene
    assert named(scene.bodies, "column behind").carrier is Carrier.HEAD
    assert scene.table_axes == (False, False, False)


# --- tools ----------------------------------------------------------------------------------------

TOOL = """
[[tools]]
number = 7
length = "120 mm +- 0.2 mm"
cutter_diameter = "10 mm"
stickout = "50 mm"
holder_diameter = "40 mm"
"""


def test_a_tool_hangs_from_the_gauge_point() -> None:
    cutter, holder, nose = findings(TOOL).tool_bodies(7)
    assert [body.role for body in (cutter, holder, nose)] == [Role.CUTTER, Role.HOLDER, Role.NOSE]
    np.testing.assert_allclose(bounds_of(cutter), [[-5, -5, -120.2], [5, 5, -70.2]])
    np.testing.assert_allclose(bounds_of(holder), [[-20, -20, -70.2], [20, 20, 0]])


def test_above_the_flutes_stands_a_shank_that_may_touch_nothing() -> None:
    more = TOOL + 'flute_length = "22 mm"\nshank_diameter = "12 mm"\n'
    cutter, shank, *_ = findings(more).tool_bodies(7)
    assert shank.role is Role.SHANK
    np.testing.assert_allclose(bounds_of(cutter)[1][2], -98.2)
    np.testing.assert_allclose(bounds_of(shank), [[-6, -6, -98.2], [6, 6, -70.2]])


def test_steps_stack_up_to_the_gauge_line() -> None:
    text = """
[[tools]]
number = 3
length = "100 mm"
holder_diameter = "60 mm"
[[tools.steps]]
low = "0 mm"
high = "20 mm"
diameter = "6 mm"
counts_as = "cutter"
[[tools.steps]]
low = "20 mm"
high = "60 mm"
diameter = "12 mm"
high_diameter = "30 mm"
counts_as = "holder"
"""
    cutter, cone, rest, _ = findings(text).tool_bodies(3)
    np.testing.assert_allclose(bounds_of(cutter), [[-3, -3, -100], [3, 3, -80]])
    np.testing.assert_allclose(bounds_of(cone), [[-15, -15, -80], [15, 15, -40]])
    np.testing.assert_allclose(bounds_of(rest), [[-30, -30, -40], [30, 30, 0]])
    pieces, _ = cone.solids[0]
    assert (pieces["r0"][0], pieces["r1"][0]) == (6.0, 15.0)


def test_steps_that_end_below_the_gauge_line_ask_for_the_holder() -> None:
    text = """
[[tools]]
number = 3
length = "100 mm"
[[tools.steps]]
low = "0 mm"
high = "20 mm"
diameter = "6 mm"
counts_as = "cutter"
"""
    with pytest.raises(Lacking, match="holder_diameter"):
        findings(text).tool_bodies(3)


def test_a_tool_that_is_not_in_the_list_is_asked_for() -> None:
    with pytest.raises(Lacking, match="tool 12"):
        findings(TOOL).tool_bodies(12)


# --- windows and stock ----------------------------------------------------------------------------

WINDOWS = """
[[fixture.windows]]
station = "front"
x = ["-40 mm", "40 mm"]
y = ["-80 mm", "-50 mm"]
z = ["60 mm", "140 mm"]
[[stations]]
name = "front"
"""


def volume(body: Body) -> float:
    from scipy.spatial import ConvexHull

    return sum(float(ConvexHull(points).volume) for _, points in body.solids)


def test_windows_take_their_volume_out_of_the_fixture() -> None:
    scene = findings(WINDOWS).scene.scene
    tower, stock = named(scene.bodies, "tower"), named(scene.bodies, "part at front")
    assert (tower.role, stock.role, stock.station) == (Role.FIXTURE, Role.STOCK, "front")
    assert volume(stock) == pytest.approx(80.0 * 30.0 * 80.0)
    assert volume(tower) == pytest.approx(160.0**2 * 150.0 - 80.0 * 30.0 * 80.0)


def test_windows_in_a_round_outline_leave_the_rest_of_it() -> None:
    text = BASE.format(place='tilt_along = "X"', tilt=1, rotary=1)
    text = text.replace('shape = "square"\nhalf_width', 'shape = "cylinder"\nradius')
    cell = load_text(text + WINDOWS).cell
    assert cell is not None
    tower = named(Findings(cell).scene.scene.bodies, "tower")
    # A polygon about the circle, never inside it: area n r^2 tan(pi / n).
    whole = 48 * 80.0**2 * math.tan(math.pi / 48) * 150.0
    cut = whole - volume(tower)
    assert 0.0 < cut < 80.0 * 30.0 * 80.0


def test_the_cutter_may_be_in_the_part_of_its_station_and_in_nothing_else() -> None:
    made = findings(WINDOWS + TOOL.replace(" +- 0.2 mm", ""))
    prover = Prover(made.scene.scene, made.tool_bodies(7))
    # The window's middle in T: x -400, y -200 - 65, z -600 + 200 + 30 + 140 - 5.
    tip = [-400.0, -265.0, -600.0 + 200.0 + 30.0 + 140.0 - 5.0 + 120.0, 0.0, 0.0]
    # The window is closed above by 10 mm of fixture: reach it from the front at tilt 90 instead.
    assert prover.motion(tip, tip, 0.0, cutting="front").status is Status.CLOSER
    made = findings(WINDOWS.replace('"140 mm"]', '"150 mm"]') + TOOL.replace(" +- 0.2 mm", ""))
    prover = Prover(made.scene.scene, made.tool_bodies(7))
    assert prover.motion(tip, tip, 0.0, cutting="front").status is Status.PROVEN
    assert prover.motion(tip, tip, 0.0, cutting="back").status is Status.CLOSER
    assert prover.motion(tip, tip, 0.0).status is Status.CLOSER


def test_one_outline_is_stock_of_every_station() -> None:
    made = findings(TOOL)
    prover = Prover(made.scene.scene, made.tool_bodies(7))
    at = [-400.0, -265.0, -220.0 - 5.0 + 120.2, 0.0, 0.0]
    assert prover.motion(at, at, 0.0, cutting="front").status is Status.PROVEN
    assert prover.motion(at, at, 0.0).status is Status.CLOSER


# --- solids ---------------------------------------------------------------------------------------


def test_solids_of_each_shape_stand_where_they_are_measured_from() -> None:
    text = """
[[solids]]
name = "vise"
shape = "box"
carried_by = "table"
measured_from = "machine"
x = ["-100 mm", "-50 mm"]
y = ["-300 mm", "-200 mm"]
z = ["-600 mm", "-500 mm"]
[[solids]]
name = "pin"
shape = "cylinder"
measured_from = "platter face"
start = ["0 mm", "0 mm", "0 mm"]
end = ["0 mm", "0 mm", "25 mm"]
diameter = "8 mm"
[[solids]]
name = "nozzle"
shape = "cone"
measured_from = "gauge point"
start = ["60 mm", "0 mm", "0 mm"]
end = ["60 mm", "0 mm", "-40 mm"]
diameter = "20 mm"
end_diameter = "4 mm"
[[solids]]
name = "bracket"
shape = "prism"
carried_by = "cradle"
measured_from = "tilt axis"
counts_as = "unit"
outline_x = ["0 mm", "30 mm", "30 mm", "10 mm", "10 mm", "0 mm"]
outline_y = ["0 mm", "0 mm", "10 mm", "10 mm", "40 mm", "40 mm"]
z = ["-20 mm", "-10 mm"]
"""
    bodies = findings(text).scene.scene.bodies
    vise, pin, nozzle, bracket = (
        named(bodies, name) for name in ("vise", "pin", "nozzle", "bracket")
    )
    assert (vise.carrier, pin.carrier) == (Carrier.TABLE, Carrier.ROTARY)
    assert (nozzle.carrier, bracket.carrier) == (Carrier.HEAD, Carrier.TILT)
    np.testing.assert_allclose(bounds_of(vise), [[-100, -300, -600], [-50, -200, -500]])
    np.testing.assert_allclose(bounds_of(pin), [[-404, -204, -370], [-396, -196, -345]])
    np.testing.assert_allclose(bounds_of(nozzle), [[50, -10, -40], [70, 10, 0]])
    assert volume(bracket) == pytest.approx((30.0 * 10.0 + 10.0 * 30.0) * 10.0)


@pytest.mark.parametrize(
    ("lost", "asked"),
    [
        ('measured_from = "machine"', "measured_from"),
        ('carried_by = "table"', "carried_by"),
        ('z = ["-600 mm", "-500 mm"]', r"solids\[1\].z"),
    ],
)
def test_a_solid_entered_by_halves_is_asked_for_and_never_left_out(lost: str, asked: str) -> None:
    text = """
[[solids]]
name = "vise"
shape = "box"
carried_by = "table"
measured_from = "machine"
x = ["-100 mm", "-50 mm"]
y = ["-300 mm", "-200 mm"]
z = ["-600 mm", "-500 mm"]
"""
    with pytest.raises(Lacking, match=asked):
        _ = findings(text.replace(lost, "")).scene


def test_a_single_clamp_does_not_take_the_outlines_away() -> None:
    text = """
[[solids]]
name = "clamp"
measured_from = "platter face"
x = ["0 mm", "10 mm"]
y = ["0 mm", "10 mm"]
z = ["0 mm", "10 mm"]
"""
    names = {body.name for body in findings(text).scene.scene.bodies}
    assert {"clamp", "tower"} <= names


def test_an_outline_with_an_inner_corner_is_parted_without_loss() -> None:
    star = [
        (r * math.cos(k * math.pi / 7), r * math.sin(k * math.pi / 7))
        for k, r in enumerate([10.0, 4.0] * 7)
    ]
    for outline in (star, star[::-1]):
        parts = convex_parts(outline)
        areas = []
        for part in parts:
            x, y = part.T
            areas.append(0.5 * float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))))
        assert min(areas) > 0.0
        x, y = np.array(star).T
        assert sum(areas) == pytest.approx(0.5 * np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))


def test_a_hose_stays_within_the_room_that_is_told() -> None:
    """Random broken lines of the hose's length between its ends, each of their points."""
    hose = """
[[unit.hoses]]
name = "cable"
connector_x = "0 mm"
connector_y = "100 mm"
connector_z = "0 mm"
anchor_x = "-200 mm"
anchor_y = "-50 mm"
anchor_z = "-580 mm"
length = "400 mm"
diameter = "20 mm"
"""
    body = named(findings(hose).scene.scene.bodies, "cable, where it may hang")
    pieces, line = body.solids[0]
    radius = float(pieces["round"][0]) - 10.0
    # The connector is 100 mm behind the tilt line, which lies at Y -200, 400 mm under Z 0.
    ends = np.array([[-400.0, -100.0, -400.0], [-200.0, -50.0, -580.0]])
    rng = np.random.default_rng(4)
    for _ in range(500):
        # A point with |p - a| + |p - b| = 400: on the ellipsoid that holds every such hose.
        way = rng.normal(size=3)
        way /= np.linalg.norm(way)
        apart, along = np.linalg.norm(ends[1] - ends[0]), float(way @ (ends[1] - ends[0]))
        far = (400.0**2 - apart**2) / (2.0 * (400.0 - along))
        point = ends[0] + far * way
        reach = line[1] - line[0]
        share = np.clip((point - line[0]) @ reach / (reach @ reach), 0.0, 1.0)
        off = np.linalg.norm(point - line[0] - share * reach)
        assert off <= radius + 1e-9
