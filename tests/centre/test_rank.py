"""What readings leave open: the usual hand procedure, one ball, poses too near to each other."""

from __future__ import annotations

import csv
import math
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from gudgeon.centre.fit import Known, LineFit, fit_lines
from gudgeon.centre.rank import fixed_unknowns, unknowns
from gudgeon.centre.readings import Reading
from tests.centre.simulate import Unit, frame

SQUARE = [0.0] * 8 + [24.8]
QUARTERS = (0, 90, 180, 270)
SIMULATED = Path(__file__).parents[3] / "shared" / "data" / "axis-readings"


def hand(unit: Unit) -> list[Reading]:
    spots = ((60, 0), (-60, 0), (0, 50), (0, -50))
    rows = [unit.face(t, 0, x, y) for t in (90, -90, 0) for x, y in spots]
    return [*rows, *(unit.bore(0, c) for c in QUARTERS)]


def across_height_face(fit: LineFit, u: float) -> list[float]:
    """Return u of tilt line across, its height, and face height, over `u`."""
    at = [fit.parameters.index(name) for name in ("tilt_y", "tilt_z", "face")]
    c = fit.covariance[np.ix_(at, at)]
    return [
        math.sqrt(c[0, 0]) / u,
        math.sqrt(c[1, 1]) / u,
        math.sqrt(c[1, 1] + c[2, 2] - 2.0 * c[1, 2]) / u,
    ]


def closed_form(tilts: tuple[float, ...]) -> list[float]:
    """Return the u of (y, z, d) in n.(y, z) + d at three tilts, n = (sin, cos), u = 1.

    With three touches the equations are solved, not fitted.  With the differences of the tilts
    p = a1 - a2, q = a2 - a3, r = a3 - a1 the determinant is D = sin p + sin q + sin r, and Cramer's
    rule gives u_y^2 = sum (cos ai - cos aj)^2 / D^2, u_z^2 the same with sines, and
    u_d^2 = (sin^2 p + sin^2 q + sin^2 r) / D^2.
    """
    a = np.radians(tilts)
    pairs = ((0, 1), (1, 2), (2, 0))
    whole = sum(math.sin(a[i] - a[j]) for i, j in pairs)
    y = sum((math.cos(a[i]) - math.cos(a[j])) ** 2 for i, j in pairs)
    z = sum((math.sin(a[i]) - math.sin(a[j])) ** 2 for i, j in pairs)
    d = sum(math.sin(a[i] - a[j]) ** 2 for i, j in pairs)
    return [math.sqrt(part) / abs(whole) for part in (y, z, d)]


def three_touches(tilts: tuple[float, ...], u: float = 1e-4) -> LineFit:
    """Touch the face at three tilts; the noise counts square to the face."""
    unit = Unit(frame(1), SQUARE, (0.0, 0.0), u=u, ball=0.0)
    rows = []
    for tilt in tilts:
        touch = unit.face(tilt, 0, 0, 0)
        square = max(abs(math.sin(math.radians(tilt))), abs(math.cos(math.radians(tilt))))
        rows.append(replace(touch, u_mm=u / square))
    return fit_lines(unit.frame, (*rows, *(unit.bore(0, c) for c in QUARTERS)))


@pytest.mark.parametrize(
    ("tilts", "expected"),
    [
        # Sets in the order face height, across, height, as they were handed on.
        ((-90, 0, 90), (0.71, 0.71, 1.22)),
        ((0, 45, 90), (3.41, 3.04, 3.04)),
        ((0, 15, 30), (35.1, 9.67, 34.7)),
    ],
)
def test_three_tilts_give_what_the_closed_form_says(
    tilts: tuple[float, ...], expected: tuple[float, ...]
) -> None:
    found = across_height_face(three_touches(tilts), 1e-4)
    assert found == pytest.approx(closed_form(tilts), rel=1e-4)
    assert (found[2], found[0], found[1]) == pytest.approx(expected, rel=0.01)


def test_tilts_of_0_15_30_are_refused_with_the_figure() -> None:
    fit = three_touches((0, 15, 30), u=0.003)
    open_ones = {item.name: item for item in fit.undetermined}
    assert open_ones["tilt_z"].reason == "weak"
    assert open_ones["tilt_z"].u == pytest.approx(34.7 * 0.003, rel=0.01)
    assert set(open_ones) == {"tilt_z"}
    held = {item.name for item in fit.held}
    assert fixed_unknowns(fit) == len(set(unknowns(fit)) - held) - 1
    assert three_touches((0, 45, 90), u=0.003).undetermined == ()


def fixed_of(fit: LineFit) -> tuple[int, int]:
    return fixed_unknowns(fit), len(unknowns(fit))


def test_the_usual_hand_procedure_fixes_11_of_13() -> None:
    unit = Unit(frame(), seed=3)
    fit = fit_lines(unit.frame, tuple(hand(unit)))
    assert fixed_of(fit) == (11, 13)
    # Of one pair the last spark of difference comes from angles of second order.
    assert {item.name for item in fit.held} == {"slope_x", "slope_y"}
    assert {item.reason for item in fit.held} <= {"entangled", "weak"}
    for name, partner in (("slope_x", "rotary_pitch"), ("slope_y", "rotary_roll")):
        shift = dict(zip(fit.parameters, fit.shift_if(name), strict=True))
        angles = {n for n, by in shift.items() if abs(by) > 0.3 and n.startswith(("rot", "slo"))}
        assert {name, partner} == angles & {"slope_x", "slope_y", "rotary_pitch", "rotary_roll"}


def test_readings_look_the_same_after_a_step_along_what_is_open() -> None:
    unit = Unit(frame(), SQUARE, (0.0, 0.0))
    fit = fit_lines(unit.frame, tuple(hand(unit)))
    for item in fit.held:
        assert np.max(np.abs(fit.slopes @ fit.shift_if(item.name))) * 3e-4 < 1e-6


def test_three_more_touches_fix_all_and_what_was_open_cost_the_part() -> None:
    unit = Unit(frame(), seed=3)
    more = [unit.face(0, c, 60, 10) for c in (90, 180, 270)]
    after = fit_lines(unit.frame, (*hand(unit), *more))
    assert (fixed_of(after), after.held, after.undetermined) == ((13, 13), (), ())
    before = fit_lines(unit.frame, tuple(hand(unit)))
    # One point 200 mm over the crossing: lean of the rotary line times its height, less the shift
    # that keeps the bore where it was found.
    slopes = np.zeros((3, 9))
    names = unit.frame.parameters
    slopes[0, names.index("rotary_x")] = slopes[1, names.index("rotary_y")] = 1.0
    slopes[0, names.index("rotary_pitch")] = 200.0
    slopes[1, names.index("rotary_roll")] = -200.0
    for item in before.held:
        moved = np.linalg.norm(slopes @ before.shift_if(item.name)[:9])
        assert moved == pytest.approx(200.0 - 25.3, rel=0.02)


def test_one_ball_half_a_turn_apart_leaves_much_open() -> None:
    unit = Unit(frame())
    fit = fit_lines(unit.frame, tuple(unit.sphere(0, c) for c in (0, 180)))
    # Six coordinates, three of them for the ball itself.
    assert fixed_of(fit) == (3, 11)
    balls = tuple(unit.sphere(t, c) for t in (-90, 0, 90) for c in (0, 120, 240))
    whole = fit_lines(unit.frame, balls)
    assert fixed_of(whole) == (8, 11)
    left = {(item.name, item.reason) for item in (*whole.held, *whole.undetermined)}
    assert left == {(name, "untouched") for name in ("face", "slope_x", "slope_y")}


def test_an_entry_counts() -> None:
    unit = Unit(frame(), SQUARE, (0.0, 0.0))
    two = (unit.face(90, 0, 0, 0), unit.face(0, 0, 0, 0), unit.bore(0, 0), unit.bore(0, 180))
    known = {"unit.face_height": Known({"face": 1.0, "tilt_z": -1.0}, 24.8, 0.01)}
    without, with_it = (fixed_unknowns(fit_lines(unit.frame, two, k)) for k in ({}, known))
    assert with_it == without + 1


# Mistakes whose effect is known in closed form ----------------------------------------------------


def faces_of_three() -> tuple[Unit, list[Reading]]:
    unit = Unit(frame(), SQUARE, (0.0, 0.0), ball=3.0)
    return unit, [unit.face(t, 0, 0, 0) for t in (90, -90, 0)]


def places(fit: LineFit) -> tuple[float, float, float]:
    v = dict(zip(fit.parameters, fit.values, strict=True))
    return v["tilt_y"], v["tilt_z"], v["face"] - v["tilt_z"]


def test_the_radius_left_out_moves_height_or_only_the_face() -> None:
    unit, rows = faces_of_three()
    bores = [unit.bore(0, 0), unit.bore(0, 180)]
    right = places(fit_lines(unit.frame, (*rows, *bores)))
    # Left out of the two upright touches: the level one still has it.
    two = [replace(r, radius_mm=0.0) for r in rows[:2]] + rows[2:]
    off = np.subtract(places(fit_lines(unit.frame, (*two, *bores))), right)
    assert off == pytest.approx([0.0, -3.0, 3.0], abs=1e-9)
    # Left out of all three: the line stays, the face seems higher by the radius.
    all_three = [replace(r, radius_mm=0.0) for r in rows]
    off = np.subtract(places(fit_lines(unit.frame, (*all_three, *bores))), right)
    assert off == pytest.approx([0.0, 0.0, 3.0], abs=1e-9)


def test_a_bore_off_centre_shows_double_at_half_a_turn() -> None:
    unit = Unit(frame(), SQUARE, (0.0, 0.0), off=(0.018, 0.0))
    first, opposite = unit.bore(0, 0), unit.bore(0, 180)
    assert first.position_mm[0] - opposite.position_mm[0] == pytest.approx(0.036)
    # Taken at C0 only, it puts the part as much off when the platter has turned.
    _, faces = faces_of_three()
    alone = fit_lines(unit.frame, (*faces, first))
    both = fit_lines(unit.frame, (*faces, first, opposite))
    at = alone.parameters.index("rotary_x")
    assert alone.values[at] - both.values[at] == pytest.approx(0.018)
    chains = [f.frame.chain(f.line_values) for f in (alone, both)]
    turned = [chain.points([0.0, math.pi], unit.crossing)[0] for chain in chains]
    assert turned[0] - turned[1] == pytest.approx(0.036)


@pytest.mark.skipif(not SIMULATED.is_dir(), reason="the simulated readings are not at hand")
def test_the_truth_of_simulated_balls_lies_within_u95() -> None:
    name = "open2_sphere_yaw37"
    truth = tomllib.loads((SIMULATED / f"{name}.truth.toml").read_text(encoding="utf-8"))
    where, known = truth["placement"], truth["truth"]
    with (SIMULATED / f"{name}.csv").open(encoding="utf-8") as file:
        rows = tuple(
            Reading(
                int(row["row"]),
                "ball S1",
                None,
                math.radians(float(row["A"])),
                math.radians(float(row["C"])),
                (float(row["x"]), float(row["y"]), float(row["z"])),
                0.0,
                float(row["u"]),
            )
            for row in csv.DictReader(file)
        )
    f = frame(where["sA"], where["sC"], where["yaw_deg"], (where["x0"], where["y0"], where["z0"]))
    a, c = (math.radians(where[f"index_{axis}_arcsec"] / 3600.0) for axis in "AC")
    fit = fit_lines(f, rows, index_u_rad=(a, c))
    names = {
        "tilt_y": "yA",
        "tilt_z": "zA",
        "tilt_pitch": "bA",
        "tilt_yaw": "cA",
        "rotary_x": "xC",
        "rotary_y": "yC",
        "rotary_roll": "aC",
        "rotary_pitch": "bC",
    }
    for ours, theirs in names.items():
        i = fit.parameters.index(ours)
        off = abs(float(fit.values[i]) - known[theirs])
        assert off <= fit.k95 * math.sqrt(fit.covariance[i, i]), (ours, off, fit.scale)
    # Where the ball sits on the platter takes up the mean index error: it is no part of the lines.
    at = [fit.parameters.index(f"ball S1_{part}") for part in "xyz"]
    off = fit.values[at] - [known[f"s{part}:S1"] for part in "xyz"]
    assert np.all(np.abs(off) <= 3.0 * np.sqrt(np.diag(fit.covariance)[at]))
    assert not fit.suspicious


def test_a_sweep_with_its_own_zero_fixes_no_height() -> None:
    unit = Unit(frame())
    spots = ((60, 0), (-60, 0), (0, 60), (0, -60))
    rows = [unit.face(t, 0, *spot) for t in (90, -90) for spot in spots]
    rows += [unit.bore(0, c, d) for c in QUARTERS for d in (0.0, -25.0)]
    rows += [unit.swept_face(0, c, *spot, zero_mm=31.7) for c in (0, 180) for spot in spots]
    fit = fit_lines(unit.frame, tuple(rows))
    # Line and face go up together, and the dial's zero follows: one combination is left.
    assert fixed_of(fit) == (12, 13)
    assert {item.name for item in fit.undetermined} == {"tilt_z", "face"}
