"""The model of the readings against the chain and against the stated composition of turns."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from gudgeon.centre.lines import ONE_AXIS, TWO_AXES, LineFrame
from gudgeon.centre.positions import POSITIONS, positions
from gudgeon.centre.readings import Model
from gudgeon.centre.solve import complex_derivatives
from gudgeon.kinematics.chain import AxisLine, TurningAxis, WorkChain
from tests.centre.simulate import TRUE, Unit, frame

small = st.floats(-2e-3, 2e-3)
senses = st.sampled_from([1, -1])


def model_values(model: Model, unit: Unit) -> np.ndarray:
    values = dict(zip(TWO_AXES, unit.values, strict=True))
    values |= dict(zip(("slope_x", "slope_y"), unit.slopes, strict=True))
    for feature in ("bore", "pin"):
        values |= {f"{feature}_x": unit.off[0], f"{feature}_y": unit.off[1]}
        values[f"{feature}_radius"] = 8.0
    return np.array([values[name] for name in model.parameters])


@given(
    st.tuples(*[st.floats(-2.0, 2.0)] * 2, small, small),
    st.tuples(*[st.floats(-2.0, 2.0)] * 2, small, small, st.floats(-60.0, 60.0)),
    senses,
    senses,
    st.sampled_from([0.0, 90.0, 37.0, 180.0, -45.0]),
    st.floats(-60.0, 60.0),
    st.floats(-180.0, 180.0),
)
@settings(max_examples=40, deadline=None)
def test_a_touch_made_with_the_chain_has_no_residual(
    tilt_line: tuple[float, ...],
    rest: tuple[float, ...],
    tilt: int,
    rotary: int,
    yaw: float,
    tilt_deg: float,
    turn_deg: float,
) -> None:
    unit = Unit(frame(tilt, rotary, yaw), [*tilt_line, *rest])
    readings = (
        unit.face(tilt_deg, turn_deg, 40.0, -30.0),
        unit.bore(tilt_deg, turn_deg, -10.0),
        unit.pin(turn_deg, "X+", 2.5),
        unit.pin(turn_deg, "Y-", -3.0),
    )
    model = Model(unit.frame, readings)
    assert model.residuals(model_values(model, unit)) == pytest.approx(np.zeros(5), abs=1e-9)


@given(senses, senses, st.floats(-3.0, 3.0), st.floats(-3.0, 3.0))
@settings(max_examples=30, deadline=None)
def test_the_chain_is_the_stated_composition_of_turns(
    tilt: int, rotary: int, a: float, c: float
) -> None:
    # P = T0 . LA . Rx(s a) . LA^-1 . LC . Rz(s c) . p, as the simulated readings are described.
    f = frame(tilt, rotary, yaw_deg=37.0)
    y_a, z_a, b_a, c_a, x_c, y_c, a_c, b_c, _ = TRUE

    def place(shift: list[float], rotation: Rotation) -> np.ndarray:
        matrix = np.eye(4)
        matrix[:3, :3], matrix[:3, 3] = rotation.as_matrix(), shift
        return matrix

    t_0 = place(list(f.origin_mm), Rotation.from_euler("z", 37.0, degrees=True))
    l_a = place([0.0, y_a, z_a], Rotation.from_euler("ZY", [c_a, b_a]))
    l_c = place([x_c, y_c, 0.0], Rotation.from_euler("XY", [a_c, b_c]))
    r_x = place([0.0] * 3, Rotation.from_euler("x", tilt * a))
    r_z = place([0.0] * 3, Rotation.from_euler("z", rotary * c))
    p = np.array([30.0, -20.0, 10.0, 1.0])
    expected = t_0 @ l_a @ r_x @ np.linalg.inv(l_a) @ l_c @ r_z @ p
    found = f.chain(TRUE).points([a, c], (t_0 @ l_c @ p)[:3])
    assert found == pytest.approx(expected[:3], abs=1e-9)


def test_derivatives_are_those_of_central_differences() -> None:
    unit = Unit(frame(yaw_deg=20.0))
    model = Model(unit.frame, (*unit.full(), unit.pin(30, "X-", 2.0), unit.pin(30, "Y+")))
    values = model_values(model, unit)
    exact = complex_derivatives(model.residuals, values)
    for i in range(len(values)):
        step = np.zeros(len(values))
        step[i] = 1e-5
        central = (model.residuals(values + step) - model.residuals(values - step)) / 2e-5
        assert exact[:, i] == pytest.approx(central, abs=1e-5)


def test_a_residual_is_measured_less_predicted_along_the_positive_axis() -> None:
    unit = Unit(frame())
    for reading in (unit.face(90, 0, 0, 0), unit.face(-90, 0, 0, 0), unit.face(0, 0, 0, 0)):
        k = int(np.argmax(np.abs(reading.toward)))
        place = list(reading.position_mm)
        place[k] += 0.01
        moved = type(reading)(
            *(
                place if f == "position_mm" else getattr(reading, f)
                for f in reading.__dataclass_fields__
            )
        )
        model = Model(unit.frame, (moved,))
        assert model.residuals(model_values(model, unit)) == pytest.approx([0.01], abs=1e-6)


def test_an_unnoted_coordinate_counts_as_the_middle_of_the_pin() -> None:
    unit = Unit(frame(), [*TRUE[:6], 0.0, 0.0, TRUE[8]])
    readings = tuple(unit.pin(20, side, noted=False) for side in ("X+", "X-", "Y+", "Y-"))
    model = Model(unit.frame, readings)
    assert model.residuals(model_values(model, unit)) == pytest.approx(np.zeros(4), abs=1e-9)


def test_frame_from_a_chain_gives_the_chain_back() -> None:
    chain = WorkChain(
        (
            TurningAxis("tilt", AxisLine((-381.0, -129.9, -405.0), (1.0, 0.0, 0.0)), -1),
            TurningAxis("rotary", AxisLine((-381.2, -130.0, 7.0), (0.0, 0.0, 1.0)), 1),
        )
    )
    f, values = LineFrame.of_chain(chain)
    again = f.chain(values)
    pose = [0.7, -0.4]
    point = [1.0, 2.0, 3.0]
    assert again.points(pose, point) == pytest.approx(chain.points(pose, point), abs=1e-9)
    assert f.platter_origin(values) == pytest.approx([-381.2, -130.0, -405.0])
    assert positions(f, values)[POSITIONS.index("axis_offset")] == pytest.approx(-0.1)


def test_single_axis_frame() -> None:
    axis = TurningAxis("rotary", AxisLine((10.0, 20.0, 30.0), (1.0, 0.0, 0.0)), -1)
    f, values = LineFrame.of_chain(WorkChain((axis,)))
    assert f.parameters == ONE_AXIS
    assert f.platter_origin(values) == pytest.approx([10.0, 20.0, 30.0])
    values[4] = 5.0
    assert f.platter_origin(values) == pytest.approx([15.0, 20.0, 30.0])
    assert f.face_height(values) == 5.0


@pytest.mark.parametrize(("yaw", "sign"), [(0.0, 1.0), (90.0, -1.0), (180.0, -1.0)])
def test_axis_offset_counts_along_the_positive_machine_axis(yaw: float, sign: float) -> None:
    # Rotary line 0.5 mm along y of the line frame: +Y, -X, -Y for the three yaws.
    values = np.array([0.0, 0.0, 0.0, 0.0, 0.0, 0.5, 0.0, 0.0, 20.0])
    found = dict(zip(POSITIONS, positions(frame(yaw_deg=yaw), values), strict=True))
    assert found["axis_offset"] == pytest.approx(0.5 * sign)
    assert found["miss"] == pytest.approx(0.5 * sign)
    assert found["face_height"] == pytest.approx(20.0)


def test_positions_of_lines_that_lean() -> None:
    rise, lean = 1e-3, -2e-3
    values = np.array([0.2, -3.0, -rise, 0.0, 40.0, 0.9, lean, 0.0, 10.0])
    found = dict(zip(POSITIONS, positions(frame(), values), strict=True))
    # The tilt line has risen by 40 mm times its slope where the rotary line stands.
    assert found["tilt_z"] == pytest.approx(-400.0 - 3.0 + 40.0 * math.tan(rise), abs=1e-9)
    height = -3.0 + 40.0 * math.tan(rise)
    assert found["platter_y"] == pytest.approx(-130.0 + 0.9 - height * math.tan(lean), abs=1e-9)
    assert found["face_height"] == pytest.approx(10.0 * math.cos(lean) - height, abs=1e-9)
    assert found["tilt_rise"] == pytest.approx(rise)
    assert found["rotary_lean_y"] == pytest.approx(-lean)
