"""Topic 04: what the product computes against the outside rows on axes of rotation."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from gudgeon.centre.fit import LineFit, fit_lines
from gudgeon.centre.lines import ONE_AXIS, TWO_AXES, LineFrame
from gudgeon.centre.notation import location_errors, short_symbol
from gudgeon.centre.readings import Model, Reading
from gudgeon.kinematics.chain import AxisLine, TurningAxis
from tests.outside import rows

ROWS = rows("04-rotary-metrology")
STRAYS = "the readings give the mean line of an axis; how it strays as it turns is no unknown here"
RUNS = (
    "a positioning test needs each target approached several times both ways; readings of the "
    "lines and daily checks do not, so no answer works it out"
)

NOT_CHECKED = {
    **{f"RM-{k:03d}": STRAYS for k in range(8)},
    **{f"RM-05{k}": RUNS for k in "0123456789abcd"},
    "RM-013": "the direction of the spindle is no parameter here: two of the thirteen are missing",
    "RM-044": "no answer computes with the eccentricity of an encoder",
    "RM-060": "from memory, not recomputed; no answer plans a positioning test",
    "RM-061": "from memory, not recomputed; no answer plans a positioning test",
    "RM-062": "scope of a standard, nothing to compute",
    "RM-063": "names of tests from memory, nothing to compute",
}


def given(row: str) -> dict[str, Any]:
    return dict(ROWS[row].get("inputs", {}))


def two_axes(origin: tuple[float, float, float] = (0.0, 0.0, 0.0), sense: int = 1) -> LineFrame:
    along = (1.0, 0.0, 0.0)
    tilt = TurningAxis("tilt", AxisLine((0.0, 0.0, 0.0), along), sense)
    rotary = TurningAxis("rotary", AxisLine((0.0, 0.0, 0.0), (0.0, 0.0, 1.0)), sense)
    return LineFrame(origin, along, (tilt, rotary))


def shift(tilt_deg: float, rotary_deg: float, point: tuple[float, float, float], **off: float):
    """Return how far the chain with the lines off stands from the true one."""
    values = np.array([off.get(name, 0.0) for name in TWO_AXES])
    pose = [math.radians(tilt_deg), math.radians(rotary_deg)]
    there = two_axes().chain(values).points(pose, point)
    return there - two_axes().chain(np.zeros(len(TWO_AXES))).points(pose, point)


def shift_of_c(row: str) -> Any:
    turn = given(row)["C_turn_of_work"]
    return 1000.0 * shift(0.0, turn, (31.0, -17.0, 5.0), rotary_x=0.010)


def largest_shift_of_c(row: str) -> float:
    off = given(row)["offset"] / 1000.0
    turns = np.arange(0.0, 360.0, 1.0)
    return 1000.0 * max(
        float(np.linalg.norm(shift(0.0, turn, (3.0, 4.0, 5.0), rotary_x=off))) for turn in turns
    )


def shift_of_a(row: str) -> Any:
    turn = given(row)["A_turn_of_work"]
    return 1000.0 * shift(turn, 0.0, (31.0, -17.0, 5.0), tilt_y=0.006, tilt_z=-0.008)


def opposite_faces(**off: float) -> tuple[float, float]:
    """Return how far the work stands too high at +90 and -90: so much is cut off too much."""
    return tuple(float(shift(tilt, 0.0, (1.0, 2.0, 3.0), **off)[2]) for tilt in (90.0, -90.0))


def width_and_middle(row: str) -> list[float]:
    plus, minus = opposite_faces(tilt_y=given(row)["e_Y"])
    return [-(plus + minus), 0.5 * abs(plus - minus)]


def wrong_height(row: str) -> list[float]:
    plus, minus = opposite_faces(tilt_z=given(row)["e_Z"])
    return [plus, minus, -(plus + minus)]


def leaning_c(row: str) -> Any:
    values = given(row)
    point = (0.0, 0.0, float(values["h"]))
    return 1000.0 * shift(0.0, values["C_turn_of_work"], point, rotary_roll=1e-6 * values["AOC"])


def turned(feature: str, toward: tuple[float, float, float], place: Any, **off: float) -> float:
    """Return the total reading of an indicator that stands still while the platter turns."""
    rows = tuple(
        Reading(i, feature, toward, 0.0, math.radians(c), place, 0.0, 0.001)
        for i, c in enumerate(range(0, 360, 5))
    )
    model = Model(two_axes(), rows)
    values = np.array([off.get(name, 0.0) for name in model.parameters])
    return float(np.ptp(model.residuals(values)))


def face_runout(row: str) -> float:
    lean = 1e-6 * given(row)["tilt"]
    place = (float(given(row)["r"]), 0.0, 0.0)
    # The face stands square to the drawing; the line leans, so the face is off it by as much.
    return 1000.0 * turned("face", (0.0, 0.0, -1.0), place, slope_x=lean)


def bore_runout(row: str) -> float:
    off = given(row)["e"] / 1000.0
    place = (20.0, math.nan, math.nan)
    return 1000.0 * turned("bore", (1.0, 0.0, 0.0), place, bore_radius=20.0, bore_x=off)


def a_line(row: str) -> LineFit:
    along = (1.0, 0.0, 0.0)
    axis = TurningAxis("rotary", AxisLine((0.0, 0.0, 0.0), along), -1)
    frame = LineFrame((0.0, 150.0, -80.0), along, (axis,))
    rows = tuple(
        Reading(i, "ball one", None, 0.0, math.radians(a), (x, y, z), 0.0, 0.001)
        for i, (a, x, y, z) in enumerate(given(row)["readings"])
    )
    return fit_lines(frame, rows)


def c_line(row: str) -> LineFit:
    frame = two_axes((200.0, 150.0, 0.0), -1)
    rows = tuple(
        Reading(i, "ball one", None, 0.0, math.radians(c), (x, y, z), 0.0, 0.001)
        for i, (c, x, y, z) in enumerate(given(row)["readings"])
    )
    return fit_lines(frame, rows)


def a_values(row: str) -> list[float]:
    fit = a_line(row)
    y, z, pitch, yaw, _ = fit.line_values
    return [150.0 + y, -80.0 + z, 1e6 * pitch, 1e6 * yaw]


def c_values(row: str) -> list[float]:
    v = dict(zip(TWO_AXES, c_line(row).line_values, strict=True))
    leans = [1e6 * v["rotary_roll"], 1e6 * v["rotary_pitch"]]
    return [200.0 + v["rotary_x"], 150.0 + v["rotary_y"], *leans]


def spread(fit: LineFit, names: tuple[str, ...]) -> list[float]:
    """Return the standard uncertainties for the stated noise, as the rows have them."""
    at = [fit.parameters.index(name) for name in names]
    u = np.sqrt(np.diag(fit.covariance))[at] / fit.scale
    return [float(u[0]), float(u[1]), 1e6 * float(u[2]), 1e6 * float(u[3])]


C_NAMES = ("rotary_x", "rotary_y", "rotary_roll", "rotary_pitch")


CHECKED: dict[str, Callable[[str], Any]] = {
    **{
        f"RM-{10 + k:03d}": lambda row, axis=axis: [
            short_symbol(s) for s in location_errors("XYZ"["ABC".index(axis)], axis)
        ]
        for k, axis in enumerate("ABC")
    },
    **{f"RM-{k:03d}": shift_of_c for k in range(20, 24)},
    "RM-024": largest_shift_of_c,
    **{f"RM-{k:03d}": shift_of_a for k in range(30, 33)},
    "RM-033": wrong_height,
    "RM-034": width_and_middle,
    "RM-040": leaning_c,
    "RM-041": leaning_c,
    "RM-042": face_runout,
    "RM-043": bore_runout,
    **dict.fromkeys(("RM-080", "RM-081", "RM-084", "RM-085"), a_values),
    **dict.fromkeys(("RM-082", "RM-083"), c_values),
    "RM-090": lambda row: spread(a_line("RM-081"), ONE_AXIS[:4]),
    "RM-091": lambda row: spread(c_line("RM-083"), C_NAMES),
    "RM-092": lambda row: spread(a_line("RM-085"), ONE_AXIS[:4]),
}


def test_every_row_is_checked_or_said_why_not() -> None:
    assert set(CHECKED) | set(NOT_CHECKED) == set(ROWS)
    assert not set(CHECKED) & set(NOT_CHECKED)


@pytest.mark.parametrize("row", sorted(CHECKED))
def test_row(row: str) -> None:
    found, expected = CHECKED[row](row), ROWS[row]["expected"]
    if isinstance(expected, str) or isinstance(np.atleast_1d(expected)[0], str):
        assert found == expected, ROWS[row]["what"]
        return
    numbers = np.atleast_1d(np.asarray(found, np.float64))
    wanted = np.atleast_1d(np.asarray(expected, np.float64))
    tolerance = ROWS[row]["tolerance"]
    if isinstance(tolerance, str):
        limits = float(tolerance.removeprefix("relative ")) * np.abs(wanted)
    else:
        limits = np.broadcast_to(np.asarray(tolerance, np.float64), wanted.shape)
    assert numbers.shape == wanted.shape
    assert np.all(np.abs(numbers - wanted) <= limits + 1e-12), (ROWS[row]["what"], numbers)


def test_lines_with_noise_hold_the_truth() -> None:
    for row, values, fit, names in (
        ("RM-081", a_values, a_line, ONE_AXIS[:4]),
        ("RM-083", c_values, c_line, C_NAMES),
        ("RM-085", a_values, a_line, ONE_AXIS[:4]),
    ):
        apart = np.abs(np.array(values(row)) - given(row)["true"])
        assert np.all(apart <= fit(row).k95 * fit(row).scale * np.array(spread(fit(row), names)))
