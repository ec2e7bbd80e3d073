"""Threads, preload, slip and overturning."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from gudgeon.strength import bolts

forces = st.floats(0.0, 5000.0)


@pytest.mark.parametrize(
    ("name", "area_in2"),
    [
        # Tensile stress areas of unified coarse threads, as public thread tables give them.
        ("1/4", 0.0318),
        ("5/16-18", 0.0524),
        ("3/8-16", 0.0775),
        ("1/2-13", 0.1419),
        ("5/8-11 UNC", 0.226),
        ("3/4", 0.334),
        ("1-8", 0.606),
        ("1/2-20", 0.1599),
        ("3/8-24 UNF", 0.0878),
    ],
)
def test_unified_threads(name: str, area_in2: float) -> None:
    thread = bolts.thread_called(name)
    assert thread is not None
    # 0.9743 / n of the inch formula and 0.9382 P differ in the fourth figure.
    assert_allclose(thread.stress_area_mm2 / 25.4**2, area_in2, rtol=0.02)


@pytest.mark.parametrize(
    ("name", "diameter", "pitch"),
    [("M12", 12.0, 1.75), ("m12", 12.0, 1.75), ("M12x1.25", 12.0, 1.25), (" M 8 ", 8.0, 1.25)],
)
def test_metric_threads(name: str, diameter: float, pitch: float) -> None:
    assert bolts.thread_called(name) == bolts.Thread(diameter, pitch)


@pytest.mark.parametrize("name", ["", "12", "M13", "M12x12", "1/2-0", "1/2 UNF", "bolt", "M-12"])
def test_what_is_no_thread_is_not_guessed(name: str) -> None:
    assert bolts.thread_called(name) is None


@pytest.mark.parametrize(
    ("diameter", "pitch"), [(12.0, 1.75), (12.7, 25.4 / 13), (13.0, None), (25.4, 25.4 / 8)]
)
def test_coarse_pitch_of_a_diameter(diameter: float, pitch: float | None) -> None:
    assert bolts.coarse_pitch(diameter) == pitch


@pytest.mark.parametrize(
    ("throat", "bolt"), [(14.0, 12), (13.9, 12), (18.0, 16), (15.9, 12), (6.0, None)]
)
def test_bolt_of_a_slot(throat: float, bolt: int | None) -> None:
    assert bolts.slot_bolt(throat) == bolt


def test_slip_of_the_acceptance_case() -> None:
    """Case 4: M12, 40 N m, K 0.2, friction 0.12, three bolts on a 150 mm circle."""
    force = bolts.preload(40.0, 0.2, 12.0)
    assert_allclose(force, 16666.7, atol=0.1)
    assert_allclose(bolts.slip_capacity(force, 0.12), 2000.0)
    assert_allclose(bolts.slip_demand(720.0, 720.0 * 0.12, 3, 75.0), 624.0)
    weight = 42.0 * 9.80665
    push = bolts.worst_push(0.0, 720.0 + weight, math.pi / 2)
    assert_allclose(bolts.slip_demand(push, 720.0 * 0.06, 3, 75.0), 569.293, atol=1e-3)


def test_what_presses_the_faces_is_not_credited_and_what_pulls_is_taken_off() -> None:
    assert bolts.slip_capacity(1000.0, 0.1, pull_n=-500.0) == pytest.approx(100.0)
    assert bolts.slip_capacity(1000.0, 0.1, pull_n=400.0) == pytest.approx(60.0)
    assert bolts.slip_capacity(1000.0, 0.1, pull_n=1400.0) == 0.0


def test_no_twist_needs_no_radius_and_no_bolt_is_refused() -> None:
    assert bolts.slip_demand(300.0, 0.0, 3, 0.0) == pytest.approx(100.0)
    with pytest.raises(ValueError, match="radius"):
        bolts.slip_demand(300.0, 1.0, 3, 0.0)
    with pytest.raises(ValueError, match="count"):
        bolts.slip_demand(300.0, 0.0, 0, 50.0)


@given(forces, forces, st.floats(-math.pi, math.pi))
def test_worst_push_is_the_worst_of_all_directions(side, down, tilt) -> None:
    """Sum the force vectors in the tilted faces, direction by direction."""
    ways = np.linspace(0.0, 2.0 * np.pi, 721)
    along = side * np.cos(ways)
    # y level, z up; the faces' own y is (cos, sin) of the tilt.
    downhill = side * np.sin(ways) * math.cos(tilt) - down * math.sin(tilt)
    sampled = np.hypot(along, downhill).max()
    found = bolts.worst_push(side, down, tilt)
    assert found >= sampled - 1e-6
    assert found <= sampled * (1.0 + 1e-4) + 1e-3


@given(st.integers(3, 12), st.floats(20.0, 200.0), st.floats(1.0, 500.0), st.floats(-3.0, 3.0))
def test_worst_neutral_line_is_never_kinder_than_any_other(count, radius, moment, about) -> None:
    places = bolts.bolt_circle(count, radius)
    worst = bolts.overturning_load(moment, places)
    one = bolts.overturning_load(moment, places, about_rad=about)
    assert worst is not None and one is not None
    assert one <= worst * (1.0 + 1e-9)
    assert_allclose(worst, 2000.0 * moment / (count * radius))


def test_bolts_in_a_row_hold_only_one_way() -> None:
    row = [(-50.0, 0.0), (50.0, 0.0)]
    assert bolts.overturning_load(10.0, row) is None
    assert bolts.overturning_load(10.0, row, about_rad=0.0) is None
    assert_allclose(bolts.overturning_load(10.0, row, about_rad=math.pi / 2), 100.0)


def test_the_neutral_line_goes_through_the_middle_of_the_bolts_wherever_that_is() -> None:
    ring = np.array(bolts.bolt_circle(5, 60.0))
    assert_allclose(
        bolts.overturning_load(30.0, ring + np.array([200.0, -90.0])),
        bolts.overturning_load(30.0, ring),
    )


def test_class_8_8_changes_above_16_mm() -> None:
    """ISO 898-1: 580 MPa up to 16 mm, 600 MPa above."""
    assert [bolts.proof_stress("8.8", d) for d in (12.0, 16.0, 18.0)] == [580.0, 580.0, 600.0]


def test_uneven_bolts_carry_unevenly() -> None:
    """By hand: y 60, -30, -30 about the x line: sum y^2 = 5400, worst 60/5400 of 54 N m."""
    places = [(0.0, 60.0), (40.0, -30.0), (-40.0, -30.0)]
    assert_allclose(bolts.overturning_load(54.0, places, about_rad=0.0), 600.0)


@given(st.floats(1.0, 200.0), st.floats(0.1, 0.3), st.floats(4.0, 36.0))
def test_torque_and_preload_undo_each_other(torque, factor, diameter) -> None:
    force = bolts.preload(torque, factor, diameter)
    assert_allclose(bolts.tightening_torque(force, factor, diameter), torque)
