"""Tilted planes and tool-point control as programs use them, against the pose map itself."""

from __future__ import annotations

from dataclasses import replace
from math import cos, degrees, hypot, isnan, pi, radians, sin

import numpy as np
import pytest

from gudgeon.kinematics.chain import AxisLine, TurningAxis, WorkChain
from gudgeon.program.dialect import Dialect, Meaning, PlaneWord, Role, ToolPointWord, key
from gudgeon.program.doubts import Code
from gudgeon.program.reader import read
from gudgeon.program.track import Flag, Kind, Track
from tests.program.test_sample_programs import MACHINE

# Lines that neither meet nor pass through the machine's zero; senses as an axis that carries the
# work has them (ISO 841).
TILT = TurningAxis("tilt", AxisLine((0.0, -40.0, -310.0), (1.0, 0.0, 0.0)), -1, -pi, pi)
TURN = TurningAxis("rotary", AxisLine((205.0, -38.5, 0.0), (0.0, 0.0, 1.0)), -1)
CHAIN = WorkChain((TILT, TURN))

FIVE: Dialect = replace(
    MACHINE,
    words={
        **MACHINE.words,
        key("G68.2"): Role(Meaning.TILTED_PLANE),
        key("G69"): Role(Meaning.TILTED_OFF),
        key("G53.1"): Role(Meaning.TURN_TO_PLANE),
        key("G43.4"): Role(Meaning.TOOL_POINT),
        key("G43.5"): Role(Meaning.TOOL_POINT),
    },
    planes={key("G68.2"): PlaneWord(("X", "Y", "Z"), ("I", "J", "K"), "ZXZ")},
    tool_points={
        key("G43.4"): ToolPointWord(frame_at_zero=True, chord_mm=0.005),
        key("G43.5"): ToolPointWord(frame_at_zero=False, chord_mm=0.005),
    },
    chain=CHAIN,
    plane_choice="tilt positive",
    offsets={"G54": (200.0, -40.0, -300.0, 0.0, 0.0)},
    start=(0.0, 0.0, 0.0, 0.0, 0.0),
)
HEAD = "G21 G90 G17 G94 G54\n"
OFFSET = np.array(FIVE.offsets["G54"][:3])


def run(text: str, dialect: Dialect = FIVE) -> Track:
    return read((HEAD + text + "M30\n").encode(), dialect)


def ends(track: Track) -> np.ndarray:
    moving = np.isin(track.segments["kind"], (Kind.RAPID, Kind.LINE, Kind.ARC))
    return np.asarray(track.segments["end"][moving])


def tip_over_work(joint: np.ndarray, length: float) -> np.ndarray:
    """Return the tip in T with all angles at zero, through the pose map turned back."""
    pose = CHAIN.matrices(joint[3:])
    tip = np.array([joint[0], joint[1], joint[2] - length, 1.0])
    return np.asarray(np.linalg.solve(pose, tip))[:3]


def test_the_plane_is_turned_to_the_spindle_and_the_tip_goes_where_the_plane_says() -> None:
    track = run(
        "G43 H1\nG68.2 X10. Y20. Z30. I0. J90. K0.\nG53.1\nG0 X5. Y6. Z40.\nG1 Z-2. F100.\n"
    )
    assert track.worst is None
    # Euler ZXZ with (0, 90, 0): plane X along X, plane Y along work Z, normal along work -Y.
    for joint, plane_z in zip(ends(track)[-2:], (40.0, -2.0), strict=True):
        on_work = tip_over_work(joint, 120.0)
        expected = np.add(OFFSET, [10.0 + 5.0, 20.0 - plane_z, 30.0 + 6.0])
        assert on_work == pytest.approx(expected, abs=1e-9)
    before, after = ends(track)[-2:]
    assert after[:2] == pytest.approx(before[:2], abs=1e-9)  # drilled straight down
    assert before[2] - after[2] == pytest.approx(42.0, abs=1e-9)


def test_steps_arcs_and_cycles_in_a_plane() -> None:
    plane = "G43 H1\nG68.2 X0. Y0. Z0. I30. J60. K0.\nG53.1\nG0 X0. Y0. Z20.\n"
    holes = run(plane + "G98 G81 X10. Y5. Z-3. R2. F80.\nX20.\nG80\n")
    direct = run(plane + "G0 X10. Y5.\nZ2.\nG1 Z-3. F80.\nG0 Z20.\nX20.\nZ2.\nG1 Z-3.\nG0 Z20.\n")
    assert holes.worst is None and direct.worst is None
    assert ends(holes) == pytest.approx(ends(direct), abs=1e-9)
    steps = run(plane + "G91 G1 X3. Y4. F100.\n")
    assert ends(steps)[-1] == pytest.approx(ends(run(plane + "G1 X3. Y4. F100.\n"))[-1], abs=1e-9)
    arc = run(plane + "G2 X10. Y0. I5. J0. F100.\n")
    circle = arc.arcs[-1]
    start, end = ends(arc)[-2:]
    assert np.linalg.norm(start[:3] - circle["centre"]) == pytest.approx(5.0, abs=1e-9)
    assert np.linalg.norm(end[:3] - circle["centre"]) == pytest.approx(5.0, abs=1e-9)
    assert circle["normal"] == pytest.approx([0.0, 0.0, 1.0], abs=1e-9)  # the plane faces up
    assert degrees(circle["sweep"]) == pytest.approx(-180.0)


def test_a_plane_that_does_not_face_the_spindle_is_refused() -> None:
    track = run("G43 H1\nG68.2 X0. Y0. Z0. I0. J30. K0.\nG0 X0. Y0.\n")
    assert track.doubts[-1].code is Code.PLANE_ASKEW
    assert dict(track.doubts[-1].detail)["off_rad"] == pytest.approx(radians(30.0))


def test_angles_written_by_hand_serve_as_well_as_the_turn_word() -> None:
    asked = run("G43 H1\nG68.2 X0. Y0. Z0. I0. J30. K0.\nG53.1\nG0 X1. Y2. Z3.\n")
    tilt, turn = ends(asked)[-1][3:]
    text = f"G43 H1\nG0 A{degrees(tilt):.9f} C{degrees(turn):.9f}\n"
    by_hand = run(text + "G68.2 X0. Y0. Z0. I0. J30. K0.\nG0 X1. Y2. Z3.\n")
    assert by_hand.worst is None
    assert ends(by_hand)[-1] == pytest.approx(ends(asked)[-1], abs=1e-6)


def test_after_the_plane_is_off_coordinates_are_the_offsets_again() -> None:
    track = run("G43 H1\nG68.2 X5. Y5. Z5. I0. J90. K0.\nG53.1\nG69\nG0 X1. Y2. Z3.\n")
    assert ends(track)[-1][:3] == pytest.approx([201.0, -38.0, -177.0])


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("G43 H1\nG68.2 X0 Y0 Z0 I0 J90. K0\nG53.1\nG0 X1. A5.\n", Code.PLANE_TURNS),
        ("G43 H1\nG68.2 X0 Y0 Z0 I0 J90. K0\nG28 X0\n", Code.RETURN_NOT_ALONE),
        ("G43 H1\nG68.2 X0 Y0 Z0 I0 J90. K0\nG53 G0 X0\n", Code.RETURN_NOT_ALONE),
        ("G43 H1\nG53.1\n", Code.NOT_DECLARED),
    ],
)
def test_what_may_not_stand_in_a_plane(text: str, code: Code) -> None:
    assert run(text).doubts[-1].code is code


def test_without_axis_lines_a_plane_cannot_be_told() -> None:
    track = run("G68.2 X0 Y0 Z0 I0 J90. K0\n", replace(FIVE, chain=None))
    assert track.doubts[-1].code is Code.NOT_DECLARED
    assert track.doubts[-1].line == 2


def test_two_ways_to_face_a_plane_need_a_choice() -> None:
    track = run("G68.2 X0 Y0 Z0 I0 J40. K0\nG53.1\n", replace(FIVE, plane_choice=None))
    assert track.doubts[-1].code is Code.PLANE_TWO_WAYS


def test_tool_point_keeps_the_tip_while_the_work_turns() -> None:
    track = run("G43.4 H1\nG0 X50. Y10. Z25.\nG1 C90. F500.\n")
    assert track.worst is None
    rows = ends(track)
    tip = np.add(OFFSET, [50.0, 10.0, 25.0])
    assert len(rows) > 10
    for joint in rows[1:]:
        assert tip_over_work(joint, 120.0) == pytest.approx(tip, abs=1e-9)
    radii = np.hypot(rows[1:, 0] - 205.0, rows[1:, 1] + 38.5)
    assert radii == pytest.approx(radii[0], abs=1e-9)
    assert track.segments["flags"][-2] & Flag.CHORD


def test_tool_point_line_runs_straight_over_the_work_within_the_chord() -> None:
    track = run("G43.4 H1\nG0 X0. Y0. Z20. A0. C0.\nG1 X30. Y-10. Z5. A-60. C45. F500.\n")
    rows = ends(track)[1:]
    start, end = np.add(OFFSET, [0.0, 0.0, 20.0]), np.add(OFFSET, [30.0, -10.0, 5.0])
    direction = (end - start) / np.linalg.norm(end - start)
    before = ends(track)[1]
    for joint in rows:
        for share in np.linspace(0.0, 1.0, 7):
            along = tip_over_work(before + share * (joint - before), 120.0) - start
            off = along - (along @ direction) * direction
            assert np.linalg.norm(off) <= 0.005 + 1e-9
        before = joint
    assert tip_over_work(rows[-1], 120.0) == pytest.approx(end, abs=1e-9)


def test_the_frame_where_switched_on_turns_with_the_work() -> None:
    # Switched on at C 90 with sense -1: the work has turned clockwise, the frame stands as then.
    track = run("G0 C90.\nG43.5 H1\nG0 X50. Y10. Z25.\nC0.\n")
    assert ends(track)[1][:3] == pytest.approx([250.0, -30.0, -155.0])
    # Turned back by 90 degrees the tip has gone round the rotary line the other way.
    x, y = 250.0 - 205.0, -30.0 + 38.5
    angle = radians(90.0)
    turned = (x * cos(angle) - y * sin(angle), x * sin(angle) + y * cos(angle))
    assert ends(track)[-1][:2] == pytest.approx([205.0 + turned[0], -38.5 + turned[1]], abs=1e-9)
    assert hypot(*turned) == pytest.approx(hypot(x, y))


def test_an_unknown_plane_angle_spreads_and_is_told() -> None:
    track = run("G43 H1\nG68.2 X0 Y0 Z0 I0 J#500 K0\nG0 X1. Y1.\n")
    assert track.doubts[0].code is Code.COMMON_VARIABLE
    assert isnan(ends(track)[-1][0])
    assert track.segments["doubt"][-2] == 0
