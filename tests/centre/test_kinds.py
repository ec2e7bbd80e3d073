"""Readings other than touches: balls, levels, sweeps with a shared zero; seats; optional errors."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from gudgeon.centre.errors import OPTIONAL
from gudgeon.centre.fit import LineFit, fit_lines
from gudgeon.centre.freeing import starting_values
from gudgeon.centre.hand import find_by_hand
from gudgeon.centre.readings import Model
from gudgeon.centre.weighing import whitening
from tests.centre.simulate import BORE_MM, TRUE, Unit, frame

QUARTERS = (0, 90, 180, 270)


def value(fit: LineFit, name: str) -> float:
    return float(fit.values[fit.parameters.index(name)])


def u(fit: LineFit, name: str) -> float:
    i = fit.parameters.index(name)
    return math.sqrt(fit.covariance[i, i])


def balls(unit: Unit, **more):
    return [unit.sphere(t, c, **more) for t in (-90, -45, 0, 45, 90) for c in (0, 120, 240)]


@pytest.mark.parametrize(("rotary", "yaw"), [(-1, 0.0), (1, 37.0), (-1, 180.0)])
def test_exact_balls_give_both_lines(rotary: int, yaw: float) -> None:
    unit = Unit(frame(1, rotary, yaw))
    fit = fit_lines(unit.frame, tuple(balls(unit)))
    assert fit.line_values[:8] == pytest.approx(TRUE[:8], abs=1e-7)
    assert [value(fit, f"ball one_{p}") for p in "xyz"] == pytest.approx([60, 15, 40], abs=1e-6)
    # Nobody touched the face.
    assert [(item.name, item.reason) for item in fit.undetermined] == [("face", "untouched")]


def test_a_ball_with_one_coordinate_unnoted_counts_the_other_two() -> None:
    unit = Unit(frame())
    rows = balls(unit)
    x, y, _ = rows[0].position_mm
    rows[0] = replace(rows[0], position_mm=(x, y, math.nan))
    fit = fit_lines(unit.frame, tuple(rows))
    assert len(fit.residuals_mm) == 3 * len(rows) - 1
    assert fit.residual_rows.count(0) == 2
    assert fit.line_values[:8] == pytest.approx(TRUE[:8], abs=1e-7)


def test_two_balls_stand_in_two_places() -> None:
    unit = Unit(frame())
    both = [*balls(unit), *balls(unit, local=(-30.0, 50.0, 10.0), name="ball two")]
    fit = fit_lines(unit.frame, tuple(both))
    assert [value(fit, f"ball two_{p}") for p in "xyz"] == pytest.approx([-30, 50, 10], abs=1e-6)


def test_one_ball_half_a_turn_apart_is_not_enough() -> None:
    unit = Unit(frame())
    fit = fit_lines(unit.frame, tuple(unit.sphere(0, c) for c in (0, 180)))
    assert {"tilt_y", "tilt_z"} <= {item.name for item in fit.undetermined}


def test_levels_give_the_slope_of_the_face_whatever_their_zero() -> None:
    unit = Unit(frame())
    rows = [r for r in unit.full() if not (r.feature == "face" and r.rotary_rad != 0.0)]
    rows += [
        unit.level(way, 0.0, c, off_rad=1.5e-3, zero="spirit")
        for way in ("X+", "Y-")
        for c in QUARTERS
    ]
    fit = fit_lines(unit.frame, tuple(rows))
    assert fit.line_values == pytest.approx(TRUE, abs=1e-7)
    # The zero is added to what was read, so it takes off what the level is out by.
    assert value(fit, "zero_spirit") == pytest.approx(-1.5e-3, abs=1e-8)
    assert fit.residual_kinds.count("rad") == 8


def test_a_level_counts_positive_where_the_face_rises() -> None:
    unit = Unit(frame(), [0.0] * 9, slopes=(3e-4, 0.0))
    assert unit.level("X+").angle_rad == pytest.approx(3e-4)
    tilted = Unit(frame(1), [0.0] * 9, slopes=(0.0, 0.0)).level("Y+", tilt_deg=2.0)
    # Tilt of sense +1 lifts +Y.
    assert tilted.angle_rad == pytest.approx(math.radians(2.0))


def test_a_swept_face_gives_slopes_but_no_height() -> None:
    unit = Unit(frame())
    spots = ((60, 0), (-60, 0), (0, 60), (0, -60))
    fixed = [unit.face(t, 0, x, 0) for t in (90, -90) for x in (60, -60)]
    fixed += [unit.face(90, 0, 0, 50), unit.face(-90, 0, 0, 50)]
    fixed += [unit.bore(0, c, d) for c in QUARTERS for d in (0.0, -25.0)]
    sweep = [unit.swept_face(0, c, *spot, zero_mm=31.7) for c in (0, 180) for spot in spots]
    fit = fit_lines(unit.frame, (*fixed, *sweep))
    # Height of the tilt line hangs on the level face, which only the dial has seen.
    assert {item.name for item in fit.undetermined} == {"tilt_z", "face"}
    whole = fit_lines(unit.frame, (*fixed, *sweep, unit.face(0, 0, 0, 0)))
    assert whole.undetermined == whole.held == ()
    assert whole.line_values == pytest.approx(TRUE, abs=1e-7)
    assert value(whole, "zero_sweep") == pytest.approx(31.7, abs=1e-5)


def test_a_swept_bore_gives_the_rotary_line_whatever_reach_and_radius() -> None:
    unit = Unit(frame(), off=(0.012, -0.008))
    faces = [r for r in unit.full() if r.feature == "face"]
    rows = [unit.swept_bore(c, side) for c in QUARTERS for side in ("X+", "X-", "Y+", "Y-")]
    rows += [
        unit.swept_bore(c, side, depth=-30.0, name="deeper")
        for c in QUARTERS
        for side in ("X+", "X-", "Y+", "Y-")
    ]
    fit = fit_lines(unit.frame, (*faces, *rows))
    assert fit.undetermined == ()
    # Where the radius is not known the second order of the offsets is not either: nanometres.
    assert fit.line_values == pytest.approx(TRUE, abs=2e-4)
    assert value(fit, "bore_x") == pytest.approx(0.012, abs=2e-4)
    known = fit_lines(unit.frame, (*faces, *rows, unit.bore(0, 0)))
    assert (
        value(known, "bore_radius") - value(known, "zero_deeper")
        == pytest.approx(BORE_MM - 25.0, abs=0.01)
        or value(fit, "bore_radius") > 0.0
    )


def test_a_spindle_that_stands_on_the_axis_of_the_bore_can_sweep_it() -> None:
    unit = Unit(frame(), [0.0] * 8 + [24.8], (0.0, 0.0), off=(0.0, 0.0))
    faces = [unit.face(t, 0, 0, 0) for t in (90, -90, 0)]
    sides = ("X+", "X-", "Y+", "Y-")
    rows = [unit.swept_bore(c, side, aside=(0.0, 0.0)) for c in (0, 180) for side in sides]
    fit = fit_lines(unit.frame, (*faces, *rows))
    assert fit.undetermined == ()
    assert fit.line_values == pytest.approx(unit.values, abs=1e-6)
    # The steps begin with the plunger at the wall, not on the axis where no direction is told.
    model = Model(unit.frame, tuple(rows))
    assert np.max(np.abs(model.residuals(starting_values(model, {})))) < 0.1


def test_strange_and_half_empty_rows_are_set_aside() -> None:
    unit = Unit(frame())
    upright = replace(unit.level("X+"), toward=(0.0, 0.0, -1.0), row=901)
    on_edge = replace(unit.level("Y+"), tilt_rad=math.radians(88), row=902)
    empty = replace(unit.sphere(0, 0), position_mm=(math.nan,) * 3, row=903)
    other = replace(unit.face(0, 0, 0, 0), feature="rim", row=904)
    blank = replace(unit.level("X+"), angle_rad=math.nan, row=905)
    fit = fit_lines(unit.frame, (*unit.full(), upright, on_edge, empty, other, blank))
    assert [r.row for r in fit.set_aside] == [901, 902, 903, 904, 905]
    assert fit.line_values == pytest.approx(TRUE, abs=1e-7)


def test_a_read_out_step_adds_to_the_noise() -> None:
    unit = Unit(frame())
    plain = fit_lines(unit.frame, unit.full())
    coarse = fit_lines(unit.frame, tuple(replace(r, step=0.0127) for r in unit.full()))
    grown = math.hypot(0.003, 0.0127 / math.sqrt(12.0)) / 0.003
    assert u(coarse, "tilt_z") == pytest.approx(grown * u(plain, "tilt_z"), rel=1e-6)
    hands = [
        find_by_hand(unit.frame, tuple(replace(r, step=step) for r in unit.full()))
        for step in (0.0, 0.0127)
    ]
    assert hands[1].covariance == pytest.approx(grown**2 * hands[0].covariance, rel=1e-6)


def test_derivatives_of_all_kinds_are_those_of_central_differences() -> None:
    unit = Unit(frame(yaw_deg=20.0))
    rows = (
        *balls(unit)[:4],
        unit.level("X+", 5.0, 30.0, zero="l"),
        unit.swept_face(90, 20, 30, 10, 12.0),
        unit.swept_bore(70, "Y-"),
        unit.pin(30, "X-", 2.0, noted=False),
        *unit.full()[::3],
    )
    model = Model(unit.frame, rows, OPTIONAL)
    chance = np.random.default_rng(4)
    values = model.start() + 1e-3 * chance.normal(size=len(model.parameters))
    for name, start in (("bore_radius", 20.0), ("pin_radius", 8.0), ("ball one_x", 60.0)):
        values[model.parameters.index(name)] = start
    values[model.parameters.index("zero_bore sweep")] = 20.0
    exact = model.derivatives(values)
    for i in range(len(values)):
        step = np.zeros(len(values))
        step[i] = 1e-6
        central = (model.residuals(values + step) - model.residuals(values - step)) / 2e-6
        assert exact[:, i] == pytest.approx(central, abs=2e-5), model.parameters[i]
    assert model.derivatives(values, [3, 0]) == pytest.approx(exact[:, [3, 0]], abs=0.0)


# Seats: one index error for all rows of a positioning ------------------------------------------


def test_weights_undo_the_covariance_of_noise_and_index_errors() -> None:
    unit = Unit(frame())
    rows = tuple(replace(r, seat=i // 3) for i, r in enumerate(unit.full()))
    model = Model(unit.frame, rows)
    values = model.start()
    moved = model.index_slopes(values)
    u_index = (3e-5, 5e-5)
    whole = np.diag(model.u_mm**2)
    for a, i in enumerate(model.residual_rows):
        for b, j in enumerate(model.residual_rows):
            if rows[i].seat == rows[j].seat:
                whole[a, b] += sum(s**2 * moved[a, k] * moved[b, k] for k, s in enumerate(u_index))
    weights = whitening(model, values, u_index)
    assert weights @ whole @ weights.T == pytest.approx(np.eye(len(whole)), abs=1e-9)


def test_index_movement_is_lever_times_angle() -> None:
    unit = Unit(frame(1), [0.0] * 9)
    model = Model(unit.frame, (unit.face(0, 0, 10.0, 50.0), unit.sphere(0, 0, (60.0, 0.0, 40.0))))
    moved = model.index_slopes(np.zeros(len(model.parameters)) + 0.0)
    # Level face, 50 mm across: it rises by 50 mm for each radian, so the reading lies lower.
    assert moved[0] == pytest.approx([-50.0, 0.0], abs=1e-3)
    at = list(model.parameters).index("ball one_x")
    values = np.zeros(len(model.parameters))
    values[at], values[at + 2] = 60.0, 40.0
    turned = model.index_slopes(values)[1:]
    # Rotary of sense -1: a point at +X goes to -Y, so what was read lies towards +Y.
    assert turned[:, 1] == pytest.approx([0.0, 60.0, 0.0])
    assert turned[:, 0] == pytest.approx([0.0, 40.0, 0.0])


def test_rows_of_one_seat_do_not_average_the_index_error_away() -> None:
    unit = Unit(frame(), u=1e-4)
    # All at one lever: three touches see one and the same index error.
    once = [unit.face(t, 0, x, 40) for t in (90, -90, 0) for x in (40, 0, -40)]
    once += [unit.bore(0, c) for c in QUARTERS]
    seat = {
        pose: i for i, pose in enumerate(dict.fromkeys((r.tilt_rad, r.rotary_rad) for r in once))
    }
    shared = [replace(r, seat=seat[r.tilt_rad, r.rotary_rad]) for r in once]
    index = (math.radians(10.0 / 3600.0), 0.0)
    fit = fit_lines(unit.frame, tuple(shared), index_u_rad=index)
    apart = fit_lines(unit.frame, tuple(once), index_u_rad=index)
    assert fit.index_u_rad == index
    assert u(fit, "tilt_y") > 1.2 * u(apart, "tilt_y")
    assert u(apart, "tilt_y") > u(fit_lines(unit.frame, tuple(once)), "tilt_y")


def test_leaving_a_reading_out_costs_what_its_weighted_residual_says() -> None:
    unit = Unit(frame(), seed=8)
    rows = [replace(r, seat=i // 2) for i, r in enumerate(unit.full())]
    index = (2e-5, 2e-5)
    fit = fit_lines(unit.frame, tuple(rows), index_u_rad=index)
    at = next(i for i, r in enumerate(fit.used) if r.feature == "face" and abs(r.tilt_rad) < 0.1)
    k = fit.residual_rows.index(at)
    without = fit_lines(unit.frame, (*rows[:at], *rows[at + 1 :]), index_u_rad=index)
    assert without.free == fit.free
    assert fit.chi_square - without.chi_square == pytest.approx(fit.weighted[k] ** 2, rel=1e-3)
    alone = [replace(r, seat=-1) for r in rows]
    plain = fit_lines(unit.frame, tuple(alone))
    rest = fit_lines(unit.frame, (*alone[:at], *alone[at + 1 :]))
    predicted = Model(unit.frame, (*rest.used, alone[at])).residuals(rest.values)[-1]
    assert plain.off_mm[k] == pytest.approx(predicted, rel=1e-3)


# Optional errors --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "size"), [("tilt_scale", 2e-4), ("rotary_sin", 1e-4), ("tilt_cos", 1e-4)]
)
def test_an_index_error_of_known_shape_is_found(name: str, size: float) -> None:
    unit = Unit(frame())
    rows = []
    for ball in ((60.0, 15.0, 40.0), (-40.0, 50.0, 10.0)):
        for t in (-90, -60, -30, 0, 30, 60, 90):
            for c in (0, 60, 120, 180, 240, 300):
                tilt, rotary = math.radians(t), math.radians(c)
                shown = tilt if name.startswith("tilt") else rotary
                shape = {"scale": shown, "sin": math.sin(shown), "cos": math.cos(shown)}
                off = size * shape[name.split("_")[1]]
                real = (t + math.degrees(off), c) if name[0] == "t" else (t, c + math.degrees(off))
                reading = unit.sphere(*real, ball, name=f"ball {ball[0]:g}")
                rows.append(replace(reading, tilt_rad=tilt, rotary_rad=rotary))
    fit = fit_lines(unit.frame, tuple(rows), extra={name: 1e-3})
    assert value(fit, name) == pytest.approx(size, rel=0.01, abs=2e-7)
    assert name in fit.free


@pytest.mark.parametrize(
    ("name", "into", "of"),
    [("mill_scale_y", 1, 1), ("mill_square_xy", 0, 1), ("mill_square_yz", 1, 2)],
)
def test_an_error_of_the_mill_is_found(name: str, into: int, of: int) -> None:
    unit, size = Unit(frame()), 3e-4
    rows = []
    for reading in [
        r for b in ((60, 15, 40), (-40, 50, 10)) for r in balls(unit, local=b, name=f"ball {b[0]}")
    ]:
        true = np.asarray(reading.position_mm) - unit.frame.origin_mm
        shown = true.copy()
        shown[into] -= size * true[of]
        x, y, z = (float(c) for c in shown + unit.frame.origin_mm)
        rows.append(replace(reading, position_mm=(x, y, z)))
    fit = fit_lines(unit.frame, tuple(rows), extra={name: 1e-2})
    assert value(fit, name) == pytest.approx(size, rel=0.01)
    # A lean of one travel is a lean of another and a turn of everything: the lines tell which.
    assert fit.line_values[:8] == pytest.approx(TRUE[:8], abs=2e-5)


def test_what_is_known_of_an_error_widens_what_hangs_on_it() -> None:
    unit = Unit(frame())
    plain = fit_lines(unit.frame, unit.full())
    fit = fit_lines(unit.frame, unit.full(), extra={"mill_scale_z": 1e-3})
    # The touches do not know the scale: it stays as uncertain as stated, and so do the places.
    assert u(fit, "mill_scale_z") == pytest.approx(1e-3, rel=0.1)
    # The level face stands 25 mm over the frame's origin, the others are touched as high as that.
    assert 0.02 < u(fit, "tilt_z") < 0.04
    assert u(plain, "tilt_z") < 0.004
    assert fit.dof == plain.dof
    assert fit.known_slopes.shape[0] == 1


def test_an_unknown_error_that_readings_do_not_fix_is_held() -> None:
    unit = Unit(frame())
    fit = fit_lines(unit.frame, unit.full(), extra={"rotary_zero": math.inf})
    assert {item.name: item.reason for item in fit.held}["rotary_zero"] != "entry"
    assert "rotary_zero" not in fit.free
    assert fit.line_values == pytest.approx(TRUE, abs=1e-7)


def test_a_stated_slope_is_freed_with_its_uncertainty_where_touches_do_not_reach() -> None:
    unit = Unit(frame(), slopes=(0.0, 0.0))
    hand = [unit.face(t, 0, x, y) for t in (90, -90, 0) for x, y in ((60, 0), (-60, 0), (0, 50))]
    hand += [unit.bore(0, c) for c in QUARTERS]
    held = fit_lines(unit.frame, tuple(hand))
    freed = fit_lines(unit.frame, tuple(hand), extra={"slope_x": 3e-4, "slope_y": 3e-4})
    assert {item.name for item in held.held} == {"slope_x", "slope_y"}
    assert freed.held == ()
    assert u(freed, "rotary_pitch") == pytest.approx(
        math.hypot(3e-4, u(held, "rotary_pitch")), rel=1e-3
    )


@pytest.mark.parametrize("extra", [{"tilt_y": 1.0}, {"nonsense": 1.0}, {"tilt_scale": 0.0}])
def test_only_optional_errors_angles_and_slopes_may_be_stated(extra: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="no optional parameter"):
        fit_lines(frame(), Unit(frame()).full(), extra=extra)
