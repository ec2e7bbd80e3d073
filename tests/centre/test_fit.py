"""The least-squares fit of both lines: truth, spread, what is held, and what is refused."""

from __future__ import annotations

import csv
import math
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from gudgeon.centre.fit import Known, LineFit, fit_lines, other_senses
from gudgeon.centre.hand import find_by_hand
from gudgeon.centre.lines import LineFrame
from gudgeon.centre.readings import Model, Reading
from gudgeon.kinematics.chain import AxisLine, TurningAxis
from tests.centre.simulate import TRUE, Unit, frame
from tests.centre.test_hand import CASE, FACES, PINS, touch

SIMULATED = Path(__file__).parents[3] / "shared" / "data" / "axis-readings"
NAMES = {
    "tilt_y": "yA",
    "tilt_z": "zA",
    "tilt_pitch": "bA",
    "tilt_yaw": "cA",
    "rotary_x": "xC",
    "rotary_y": "yC",
    "rotary_roll": "aC",
    "rotary_pitch": "bC",
    "face": "zF",
    "slope_x": "fx",
    "slope_y": "fy",
    "bore_x": "ex",
    "bore_y": "ey",
}

needs_simulated = pytest.mark.skipif(
    not SIMULATED.is_dir(), reason="the simulated readings are not part of the project, not at hand"
)


def simulated(name: str) -> tuple[LineFrame, tuple[Reading, ...], dict[str, float]]:
    """Return frame, readings and truth of one set."""
    truth = tomllib.loads((SIMULATED / f"{name}.truth.toml").read_text(encoding="utf-8"))
    where = truth["placement"]
    readings = []
    with (SIMULATED / f"{name}.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            place = np.array([float(row[key] or "nan") for key in "xyz"])
            toward = None
            if row["kind"] == "touch":
                vector = np.zeros(3)
                vector["xyz".index(row["axis"][1])] = 1.0 if row["axis"][0] == "+" else -1.0
                toward = (float(vector[0]), float(vector[1]), float(vector[2]))
                if row["comp"] == "1":
                    place = place - vector * float(row["r"])
            angles = math.radians(float(row["A"])), math.radians(float(row["C"]))
            x, y, z = (float(c) for c in place)
            readings.append(
                Reading(
                    int(row["row"]),
                    row["feature"],
                    toward,
                    *angles,
                    (x, y, z),
                    float(row["r"]),
                    float(row["u"]),
                )
            )
    f = frame(where["sA"], where["sC"], where["yaw_deg"], (where["x0"], where["y0"], where["z0"]))
    return f, tuple(readings), {ours: truth["truth"][theirs] for ours, theirs in NAMES.items()}


def u(fit: LineFit) -> dict[str, float]:
    return dict(zip(fit.parameters, np.sqrt(np.diag(fit.covariance)).tolist(), strict=True))


def value(fit: LineFit, name: str) -> float:
    return float(fit.values[fit.parameters.index(name)])


def names(held: tuple[object, ...]) -> set[str]:
    return {item.name for item in held}  # type: ignore[attr-defined]


@needs_simulated
@pytest.mark.parametrize("name", ["open1_hand", "open3_uncomp_Crev"])
def test_the_truth_of_simulated_readings_lies_within_its_spread(name: str) -> None:
    f, readings, truth = simulated(name)
    fit = fit_lines(f, readings)
    assert fit.held == fit.undetermined == fit.set_aside == ()
    spread = u(fit)
    apart = {key: (value(fit, key) - known) / spread[key] for key, known in truth.items()}
    assert max(abs(item) for item in apart.values()) < 2.0, apart


def test_the_fit_of_square_touches_is_the_hand_method() -> None:
    fit, hand = fit_lines(CASE, (*FACES, *PINS)), find_by_hand(CASE, (*FACES, *PINS))
    assert fit.line_values == pytest.approx(hand.values, abs=1e-9)
    assert fit.line_covariance == pytest.approx(hand.covariance, abs=1e-12)
    assert (fit.dof, fit.noise_ratio) == (3, 1.0)
    assert value(fit, "pin_radius") == pytest.approx(8.0)
    assert names(fit.held) == {
        "rotary_roll",
        "rotary_pitch",
        "tilt_yaw",
        "tilt_pitch",
        "slope_x",
        "slope_y",
    }


@pytest.mark.parametrize(
    ("tilt", "rotary", "yaw"), [(-1, -1, 0.0), (1, -1, 90.0), (-1, 1, 37.0), (1, 1, 180.0)]
)
def test_exact_touches_give_the_true_lines(tilt: int, rotary: int, yaw: float) -> None:
    unit = Unit(frame(tilt, rotary, yaw))
    fit = fit_lines(unit.frame, unit.full())
    assert fit.held == ()
    assert fit.line_values == pytest.approx(TRUE, abs=1e-7)
    assert value(fit, "bore_x") == pytest.approx(unit.off[0], abs=1e-7)
    assert value(fit, "slope_y") == pytest.approx(unit.slopes[1], abs=1e-8)


def test_intervals_cover_what_they_promise() -> None:
    # With the noise as stated the pooled scale holds the truth in 96.4 % (see `pooling`); 100 drawn
    # cells with 13 correlated parameters scatter by about one per cent round that.
    inside = []
    for seed in range(100):
        unit = Unit(frame(), seed=seed)
        fit = fit_lines(unit.frame, unit.full())
        truth = dict(zip(fit.frame.parameters, TRUE, strict=True))
        truth |= {"slope_x": unit.slopes[0], "slope_y": unit.slopes[1]}
        truth |= {"bore_x": unit.off[0], "bore_y": unit.off[1]}
        spread = u(fit)
        inside += [
            abs(value(fit, key) - known) <= fit.k95 * spread[key] for key, known in truth.items()
        ]
    assert len(inside) == 100 * 13
    assert 0.94 < np.mean(inside) < 0.985


def test_the_spread_is_that_of_the_normal_equations() -> None:
    unit = Unit(frame())
    fit = fit_lines(unit.frame, unit.full())
    at = [fit.parameters.index(name) for name in fit.free]
    rows = fit.slopes[:, at]
    assert fit.covariance[np.ix_(at, at)] == pytest.approx(np.linalg.inv(rows.T @ rows), rel=1e-6)


def test_poses_one_degree_apart_are_called_not_determined() -> None:
    unit = Unit(frame())
    touches = [unit.face(t, 0, 0, 0) for t in (1, -1, 0)]
    fit = fit_lines(unit.frame, (*touches, unit.bore(0, 0), unit.bore(0, 180)))
    weak = {item.name: item for item in fit.undetermined}
    assert set(weak) == {"tilt_y", "tilt_z"}
    # The level direction is (1 - cos 1 deg) sensitive: tens of mm.
    assert weak["tilt_z"].reason == "weak"
    assert weak["tilt_z"].u > 10.0
    # Across, half the difference over sin 1 deg.
    assert weak["tilt_y"].u == pytest.approx(
        0.003 / math.sqrt(2.0) / math.sin(math.radians(1.0)), rel=1e-3
    )


def test_two_poses_only_do_not_determine() -> None:
    unit = Unit(frame())
    fit = fit_lines(unit.frame, (unit.face(90, 0, 0, 0), unit.face(0, 0, 0, 0)))
    # The level touch fixes the face itself, but not how high it stands over the tilt line.
    assert names(fit.undetermined) == {"tilt_y", "tilt_z", "rotary_x", "rotary_y"}
    reasons = {item.name: item.reason for item in fit.undetermined}
    assert reasons["rotary_x"] == "untouched"
    assert reasons["tilt_y"] == "entangled"


def test_an_entry_is_used_only_where_touches_do_not_reach() -> None:
    unit = Unit(frame(), [0.4, -0.7, 0, 0, 0.3, -0.5, 0, 0, 24.8], (0.0, 0.0))
    known = {
        "unit.face_height": Known({"face": 1.0, "tilt_z": -1.0}, 25.5, 0.1),
        "placement.centre_x": Known({"rotary_x": 1.0}, 7.0, 0.5),
    }
    touches = (unit.face(90, 0, 0, 0), unit.face(0, 0, 0, 0), unit.bore(0, 0), unit.bore(0, 180))
    fit = fit_lines(unit.frame, touches, known)
    assert fit.undetermined == ()
    assert [item.name for item in fit.held if item.reason == "entry"] == ["unit.face_height"]
    assert value(fit, "tilt_y") == pytest.approx(0.4, abs=1e-6)
    assert u(fit)["tilt_y"] == pytest.approx(math.hypot(0.1, 0.003), rel=1e-3)
    whole = fit_lines(unit.frame, (*touches, unit.face(-90, 0, 0, 0)), known)
    assert all(item.reason != "entry" for item in whole.held)
    assert value(whole, "tilt_y") == pytest.approx(0.4, abs=1e-9)


def test_one_centre_alone_holds_the_bore_as_concentric_and_says_so() -> None:
    unit = Unit(frame())
    fit = fit_lines(CASE, (*FACES, *PINS[:4]))
    assert {"pin_x", "pin_y"} <= names(fit.held)
    assert unit.frame.axes[0].sense == CASE.axes[0].sense


def test_an_angle_that_touches_fix_badly_is_held_as_weak() -> None:
    unit = Unit(frame())
    short = [unit.face(t, 0, x, 0) for t in (90, -90) for x in (2, -2)]
    fit = fit_lines(unit.frame, (*short, unit.face(0, 0, 0, 0), unit.bore(0, 0), unit.bore(0, 180)))
    held = {item.name: item for item in fit.held}
    assert held["tilt_yaw"].reason == "weak"
    assert held["tilt_yaw"].u > 5e-4


def test_residuals_beyond_the_stated_noise_widen_the_spread_and_never_narrow_it() -> None:
    noisy = Unit(frame(), u=0.03, seed=5).full()
    claimed = tuple(replace(r, u_mm=0.003) for r in noisy)
    honest, wide = fit_lines(frame(), noisy), fit_lines(frame(), claimed)
    assert honest.noise_ratio == 1.0
    assert 5.0 < wide.noise_ratio < 20.0
    assert u(wide)["tilt_y"] > 0.6 * u(honest)["tilt_y"]
    timid = fit_lines(frame(), tuple(replace(r, u_mm=0.3) for r in noisy))
    assert timid.noise_ratio == 1.0
    assert u(timid)["tilt_y"] == pytest.approx(10.0 * u(honest)["tilt_y"], rel=1e-3)


def test_one_bad_reading_stands_out() -> None:
    touches = list(Unit(frame(), seed=2).full())
    x, y, z = touches[7].position_mm
    touches[7] = replace(touches[7], position_mm=(x, y, z + 0.1))
    fit = fit_lines(frame(), tuple(touches))
    worst = int(np.nanargmax(np.abs(fit.weighted)))
    assert fit.used[fit.residual_rows[worst]].row == touches[7].row
    assert fit.suspicious


def test_a_wrong_rotary_sense_is_mirrored_and_the_right_one_is_found() -> None:
    unit = Unit(frame(rotary=-1), off=(0.2, 0.1), seed=3)
    wrong = fit_lines(frame(rotary=1), unit.full())
    others = other_senses(frame(rotary=1), unit.full())
    assert wrong.suspicious
    assert set(others) == {(1, 1), (-1, -1), (1, -1)}
    assert not others[(-1, -1)].suspicious
    assert others[(-1, -1)].chi_square < wrong.chi_square / 50.0


def test_glancing_touches_are_set_aside() -> None:
    unit = Unit(frame())
    down = unit.face(0, 0, 0, 0)
    glancing = replace(down, tilt_rad=math.radians(85), row=99)
    fit = fit_lines(unit.frame, (*unit.full(), glancing))
    assert [reading.row for reading in fit.set_aside] == [99]


def test_what_a_held_angle_would_do_is_what_refitting_shows() -> None:
    unit = Unit(frame(), [0.4, -0.7, 0, 0, 0.3, -0.5, 0, 0, 24.8], (0.0, 0.0))
    aside = [unit.face(t, 0, 60, 0) for t in (90, -90, 0)]
    fit = fit_lines(unit.frame, (*aside, unit.bore(0, 0), unit.bore(0, 180)))
    true_yaw = 1e-4
    shifted = fit.values + fit.shift_if("tilt_yaw") * true_yaw
    assert shifted[fit.parameters.index("tilt_yaw")] == true_yaw
    # Both faces were touched 60 mm along: there the tilt line has to stay, so it moves at x = 0.
    assert shifted[0] == pytest.approx(0.4 - 60.3 * true_yaw, abs=1e-6)
    model = Model(unit.frame, fit.used)
    assert model.residuals(shifted) == pytest.approx(fit.residuals_mm, abs=1e-6)


def test_single_axis_along_the_table() -> None:
    along = (1.0, 0.0, 0.0)
    axis = TurningAxis("rotary", AxisLine((0.0, 0.0, 0.0), along), -1)
    f = LineFrame((0.0, 0.0, 0.0), along, (axis,))
    y, z, off, reach = 0.3, -0.2, 0.05, 11.0
    nan = math.nan
    touches = [touch("face", "X-", 0, 0, (5.0, y, z), 0.0)]
    for turn, side in ((0, 1.0), (180, -1.0)):
        touches += [
            touch("pin", "Y-", 0, turn, (nan, y + side * off + reach, nan), 3.0),
            touch("pin", "Y+", 0, turn, (nan, y + side * off - reach, nan), 3.0),
            touch("pin", "Z-", 0, turn, (nan, nan, z + reach), 3.0),
        ]
    fit = fit_lines(f, tuple(touches))
    assert fit.undetermined == ()
    assert [value(fit, n) for n in ("rotary_y", "rotary_z", "face")] == pytest.approx([y, z, 5.0])
    assert value(fit, "pin_radius") == pytest.approx(8.0)
    assert f.platter_origin(fit.line_values) == pytest.approx([5.0, y, z])


def test_no_readings_are_refused() -> None:
    with pytest.raises(ValueError, match="no readings"):
        fit_lines(CASE, ())
