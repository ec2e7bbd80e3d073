"""The bare platter under the dial: a shop whose truth is known, read point by point."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gudgeon.cell.files import load
from gudgeon.cell.model import Cell
from gudgeon.findings import Findings
from gudgeon.findings.commissioning import squaring
from gudgeon.findings.commissioning_limits import FACE, SHARE, angle_limits, dimension_slopes
from gudgeon.findings.commissioning_places import EDGE_MM, clear_chord, clear_radius
from gudgeon.findings.lines import AxisLinesFinding
from gudgeon.kinematics.chain import turned
from gudgeon.kinematics.naming import side_direction
from gudgeon.quantity.amount import Amount

DEMO = Path(__file__).parents[2] / "demo"
ANGLES = ("tilt_pitch", "tilt_yaw", "rotary_roll", "rotary_pitch")


@cache
def demo(name: str = "alder-ford") -> Cell:
    cell = load(DEMO / f"{name}.toml").cell
    assert cell is not None
    return cell


@cache
def demo_findings() -> Findings:
    return Findings(demo())


def bare(
    along: str = "X",
    tilt: int = -1,
    turn: int = -1,
    kind: str = "tilt and rotary",
    yaw: float | None = None,
) -> Cell:
    """Return the demo shop with a unit that stands otherwise, and nothing read or drawn yet."""
    cell = demo()
    control = replace(
        cell.control,
        tilt_sense=tilt,
        rotary_sense=turn,
        tilt_letter="A" if along == "X" else "B",
        rotary_letter="C" if kind == "tilt and rotary" else "A",
        jogs=(),
    )
    return replace(
        cell,
        control=control,
        unit=replace(cell.unit, kind=kind, hoses=()),
        placement=replace(
            cell.placement,
            tilt_along=along if yaw is None else None,
            yaw=None if yaw is None else Amount(math.radians(yaw)),
        ),
        dimensions=(),
        touches=(),
    )


def with_lines(cell: Cell, **errors: float) -> Findings:
    """Return findings whose lines were touched and found off by `errors`."""
    findings = Findings(cell)
    nominal = findings.axis_lines
    values = nominal.values.copy()
    for name, error in errors.items():
        values[nominal.parameters.index(name)] += error
    spread = np.diag(np.full(len(values), 1e-10))
    found = AxisLinesFinding(nominal.frame, values, spread, True, math.inf)
    findings.__dict__["axis_lines"] = found
    return findings


def seen(findings: Findings, stop, own_turn: float | None = None) -> float:
    """Return what the dial shows: a ray against the face through three points carried there."""
    lines = findings.axis_lines
    chain = lines.chain
    out = np.asarray(chain.axes[-1].line.direction)
    out = out * np.sign(out @ findings.platter_axes[:, 2])
    middle = lines.platter_origin_of(lines.values)
    one = np.cross(out, [0.3, 0.5, 0.81])
    one /= np.linalg.norm(one)
    corners = [middle, middle + 40.0 * one, middle + 40.0 * np.cross(out, one)]
    angles = [stop.tilt_rad, stop.turn_rad][2 - len(chain.axes) :]
    a, b, c = ((chain.matrices(angles) @ np.append(p, 1.0))[:3] for p in corners)
    toward = side_direction(stop.toward)
    # Where the tip is sent to, with the middle of the face in that pose known.
    at = a + np.asarray(stop.at_mm)
    s, _, _ = np.linalg.solve(np.column_stack([toward, a - b, a - c]), a - at)
    return -float(s)


small = st.floats(-2e-3, 2e-3)
signs = st.sampled_from([1, -1])


@settings(max_examples=6)
@given(st.lists(small, min_size=4, max_size=4), st.sampled_from("XY"), signs, signs)
def test_the_dial_shows_what_is_expected(
    angles: list[float], along: str, tilt: int, turn: int
) -> None:
    errors = dict(zip(ANGLES, angles, strict=True))
    findings = with_lines(bare(along, tilt, turn), tilt_y=0.03, rotary_x=-0.2, **errors)
    found = squaring(findings)
    runs = [*found.level, *(run for check in found.checks for run in check.runs)]
    assert len(found.level) == 3
    assert [check.name for check in found.checks] == [
        "lean_along",
        "lean_across",
        "tram",
        "rise",
        "upright +",
        "upright -",
    ]
    for run in runs:
        shown = seen(findings, run.end) - seen(findings, run.start)
        assert run.expected_mm == pytest.approx(shown, abs=1e-9)
    for check in found.checks:
        total = sum(
            w * (seen(findings, run.end) - seen(findings, run.start))
            for w, run in zip(check.weights, check.runs, strict=True)
        )
        assert check.expected_mm == pytest.approx(total, abs=1e-9)


@settings(max_examples=6)
@given(st.floats(2e-5, 1e-3), st.sampled_from("XY"), signs, signs)
def test_tram_and_rise_show_the_tilt_line_alone(
    angle: float, along: str, tilt: int, turn: int
) -> None:
    cell = bare(along, tilt, turn)
    alone = squaring(with_lines(cell, tilt_yaw=angle))
    mixed = squaring(with_lines(cell, tilt_yaw=angle, rotary_pitch=7e-4, rotary_roll=-4e-4))
    for found in (alone, mixed):
        tram = found.check("tram")
        assert tram is not None and tram.expected_mm is not None
        assert abs(tram.expected_mm) == pytest.approx(found.chord_mm[1] * angle, rel=3e-3)
        assert tram.expected_mm * tram.mm_per_rad > 0.0
        rise = found.check("rise")
        assert rise is not None and rise.expected_mm is not None
        assert abs(rise.expected_mm) < 0.01 * found.chord_mm[1] * angle + 1e-6
    raised = squaring(with_lines(cell, tilt_pitch=angle, rotary_pitch=-6e-4)).check("rise")
    assert raised is not None and raised.expected_mm is not None
    assert abs(raised.expected_mm) == pytest.approx(alone.chord_mm[1] * angle, rel=3e-3)


@settings(max_examples=6)
@given(st.floats(-1e-3, 1e-3), st.sampled_from("XY"), signs, signs)
def test_the_zero_of_the_tilt_mends_the_lean_across(
    roll: float, along: str, tilt: int, turn: int
) -> None:
    findings = with_lines(bare(along, tilt, turn), rotary_roll=roll)
    found = squaring(findings)
    lean = found.check("lean_across")
    assert lean is not None and lean.expected_mm is not None
    level_at = -lean.expected_mm / lean.mm_per_tilt
    run = lean.runs[0]
    ends = [replace(stop, tilt_rad=level_at) for stop in (run.start, run.end)]
    assert seen(findings, ends[1]) - seen(findings, ends[0]) == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("along", "XY")
@pytest.mark.parametrize("tilt", [1, -1])
def test_upright_runs_lie_on_the_upper_half_where_the_dial_comes_from_above(
    along: str, tilt: int
) -> None:
    found = squaring(with_lines(bare(along, tilt)))
    for check in found.checks:
        for run in check.runs:
            if run.start.tilt_rad != 0.0:
                heights = run.start.at_mm[2], run.end.at_mm[2]
                assert min(heights) >= 0.0 and max(heights) > 40.0
                # The tip comes onto the face from its outer side.
                out = -side_direction(run.start.toward)
                assert found.at(run.start) is not None
                assert abs(out[2]) == 0.0


@given(signs, st.sampled_from([0.0, 90.0, 180.0, 270.0]), small, small)
@settings(max_examples=8)
def test_a_single_axis_is_squared_on_its_upright_face(
    turn: int, placed: float, yaw: float, pitch: float
) -> None:
    findings = with_lines(
        bare(turn=turn, kind="rotary only", yaw=placed), rotary_yaw=yaw, rotary_pitch=pitch
    )
    found = squaring(findings)
    assert [check.name for check in found.checks] == ["lean_along", "lean_across"]
    assert findings.axis_lines.frame.face_side == (1.0 if placed < 180.0 else -1.0)
    looks = {0.0: "X+", 90.0: "Y+", 180.0: "X-", 270.0: "Y-"}[placed]
    for stop in found.stops:
        assert side_direction(stop.toward) == pytest.approx(-side_direction(looks))
    for check, angle in zip(found.checks, (yaw, pitch), strict=True):
        run = check.runs[0]
        shown = seen(findings, run.end) - seen(findings, run.start)
        assert check.expected_mm == pytest.approx(shown, abs=1e-9)
        assert abs(shown) == pytest.approx(2.0 * found.radius_mm * abs(angle), rel=1e-2, abs=1e-9)


@given(st.sampled_from("XY"), signs, signs)
@settings(max_examples=5)
def test_the_mark_goes_round_with_the_dial(along: str, tilt: int, turn: int) -> None:
    findings = with_lines(bare(along, tilt, turn))
    found = squaring(findings)
    lines = findings.axis_lines
    middle = lines.platter_origin_of(lines.values)
    mark = middle + np.asarray(found.stops[0].at_mm)
    for stop in found.stops:
        there = lines.chain.points([0.0, stop.turn_rad], mark)
        assert there == pytest.approx(middle + np.asarray(stop.at_mm), abs=1e-9)


def test_a_unit_that_tilts_one_way_shows_tram_and_rise_together() -> None:
    cell = bare()
    unit = replace(cell.unit, tilt_range=(Amount(0.0), Amount(math.radians(110.0))))
    found = squaring(with_lines(replace(cell, unit=unit), tilt_yaw=1e-4))
    assert found.one_way
    assert [check.name for check in found.checks] == [
        "lean_along",
        "lean_across",
        "tram",
        "upright +",
    ]
    tram = found.check("tram")
    assert tram is not None and len(tram.runs) == 2


def test_what_no_touch_tells_is_not_expected() -> None:
    cell = bare()
    findings = with_lines(cell)
    lines = findings.axis_lines
    spread = lines.covariance.copy()
    spread[lines.parameters.index("tilt_yaw")] = 0.0
    findings.__dict__["axis_lines"] = replace(lines, covariance=spread)
    found = squaring(findings)
    tram, lean = found.check("tram"), found.check("lean_across")
    assert tram is not None and tram.expected_mm is None
    assert lean is not None and lean.expected_mm is not None
    untouched = squaring(Findings(cell))
    assert all(check.expected_mm is None for check in untouched.checks)
    assert not untouched.measured


def test_the_spread_of_a_reading_is_that_of_the_lines() -> None:
    findings = with_lines(bare())
    found = squaring(findings)
    tram = found.check("tram")
    assert tram is not None
    # One parameter with u = 1e-5 rad counts, the others cancel in the difference; and the dial
    # four times (0.002 mm), each run at half weight; k = 2.
    u = math.hypot(1e-5 * found.chord_mm[1], 0.002)
    assert tram.plus_minus_mm == pytest.approx(2.0 * u, rel=1e-3)


def test_a_quarter_of_the_tolerance_is_the_limit() -> None:
    findings = demo_findings()
    limits = angle_limits(findings)
    # Pad (tilt 90, turn 180) and top (tilt 0, turn 0) of the back station: the lean across counts
    # twice over the 60 mm of the pad, once on either side of half a turn.
    assert limits["rotary_roll"].rad == pytest.approx(SHARE * 0.03 / (2.0 * 60.0), rel=1e-3)
    assert "pad square to top" in limits["rotary_roll"].words
    wanted = SHARE * 0.03
    assert limits["tilt_yaw"].rad == pytest.approx(wanted / 70.0, rel=1e-2)


@settings(max_examples=12, deadline=None)
@given(st.sampled_from([*ANGLES, *FACE]), st.sampled_from([1e-5, -3e-5]))
def test_slopes_of_squareness_are_those_of_faces_cut_square_to_the_spindle(
    which: str, error: float
) -> None:
    findings = demo_findings()
    found = next(one for one in findings.accuracy.dimensions if one.name == "pad square to top")
    job, dimension = found.setting.job, found.setting.dimensions[found.number]
    slopes = dict(dimension_slopes(job, dimension))
    lines = findings.axis_lines

    def normals(by: float) -> list[np.ndarray]:
        values = lines.values.copy()
        leans = np.eye(3)
        if which in FACE:
            about = np.eye(3)[FACE.index(which)]
            leans = np.stack([turned(about, by, column) for column in np.eye(3)], axis=-1)
        else:
            values[lines.parameters.index(which)] += by
        chain = lines.chain_of(values)
        axes = job.lines_of(values).axes @ leans @ job.turn
        up = []
        for cut in (dimension.first, dimension.second):
            turns = job.visits[job.cuts[cut].visit].turns
            angles = [t / axis.sense for t, axis in zip(turns, chain.axes, strict=True)]
            rotation = chain.matrices(angles)[:3, :3]
            up.append(axes.T @ (rotation.T @ np.array([0.0, 0.0, 1.0])))
        return up

    def out_of_square(by: float) -> float:
        first, second = normals(by)
        return dimension.over * float(first @ second)

    slope = (out_of_square(error) - out_of_square(-error)) / (2.0 * error)
    assert slopes[which] == pytest.approx(abs(slope), rel=1e-3, abs=0.02)


def test_what_the_lines_do_not_show_counts_over_the_reach_of_the_work() -> None:
    limits = angle_limits(Findings(bare()))
    # The part is 70 mm across; its farthest station stands (65, 0, 110) mm from the middle.
    assert limits["tilt_yaw"].rad == pytest.approx(SHARE * 0.03 / 70.0, rel=1e-2)
    reach = 70.0 + math.hypot(65.0, 110.0)
    for name in ("rotary", "tilt", *FACE):
        assert limits[name].rad == pytest.approx(SHARE * 0.03 / reach, rel=1e-2)


def test_without_anything_wanted_the_limit_is_common_practice_and_says_so() -> None:
    cell = bare()
    cell = replace(cell, readings=replace(cell.readings, wanted=None))
    limit = angle_limits(Findings(cell))["tilt_yaw"]
    assert limit.usual and limit.rad == pytest.approx(0.01 / 100.0)
    assert "no source" in limit.words


@settings(max_examples=20)
@given(
    st.floats(60.0, 400.0),
    st.floats(0.2, 0.8),
    st.integers(0, 12),
    st.floats(4.0, 20.0),
    st.floats(10.0, 50.0),
    st.floats(0.0, 90.0),
)
def test_runs_stay_clear_of_rim_holes_and_pilot(
    diameter: float, share: float, count: int, hole: float, pilot: float, start: float
) -> None:
    cell = bare()
    angles = tuple(Amount(math.radians(start + 360.0 * k / count)) for k in range(count))
    flange = replace(
        cell.unit.flange,
        pitch_circle=Amount(share * diameter) if count else None,
        holes=angles,
        hole_diameter=Amount(hole),
        pilot_diameter=Amount(min(pilot, 0.5 * diameter)),
    )
    unit = replace(cell.unit, platter_diameter=Amount(diameter), flange=flange)
    cell = replace(cell, unit=unit)
    aside, length = clear_chord(cell)
    if length > 0.0:
        t = np.linspace(-0.5 * length, 0.5 * length, 101)
        for side in (aside, -aside):
            for run in (
                np.stack([t, np.full_like(t, side)], 1),
                np.stack([np.full_like(t, side), t], 1),
            ):
                off = np.linalg.norm(run, axis=1)
                assert off.max() <= 0.5 * diameter - EDGE_MM + 1e-6
                assert off.min() >= 0.5 * flange.pilot_diameter.value + EDGE_MM - 1e-6
                for one in angles:
                    at = (
                        0.5
                        * share
                        * diameter
                        * np.array([math.cos(one.value), math.sin(one.value)])
                    )
                    gap = np.linalg.norm(run - at, axis=1).min()
                    assert gap >= 0.5 * hole + EDGE_MM - 1e-6
    radius = clear_radius(cell)
    assert 0.0 < radius <= 0.5 * diameter - EDGE_MM + 1e-6
