"""The closed forms of the trade: HR-001 to HR-009, an acceptance case, and their edges."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gudgeon.centre.hand import NEEDED, HandLines, find_by_hand
from gudgeon.centre.lines import TWO_AXES
from gudgeon.centre.readings import Reading
from tests.centre.simulate import Unit, frame
from tests.outside import rows

ROWS = rows("14-hand-rules")
CASE_1 = Path(__file__).parents[1] / "cases" / "expected-1.toml"
DIRECTIONS = {"X": (1.0, 0.0, 0.0), "Y": (0.0, 1.0, 0.0), "Z": (0.0, 0.0, 1.0)}
NAN = math.nan
SQUARE = np.array([0.4, -0.7, 0.0, 0.0, 0.3, -0.5, 0.0, 0.0, 24.8])


def touch(
    feature: str,
    toward: str,
    tilt: float,
    rotary: float,
    place: tuple[float, float, float],
    radius: float = 0.0,
    u: float = 0.003,
    row: int = 0,
) -> Reading:
    sign = 1.0 if toward[1] == "+" else -1.0
    x, y, z = (sign * c for c in DIRECTIONS[toward[0]])
    angles = math.radians(tilt), math.radians(rotary)
    return Reading(row, feature, (x, y, z), *angles, place, radius, u)


def get(found: HandLines, name: str) -> float:
    return float(found.values[TWO_AXES.index(name)])


def u_of(found: HandLines, name: str) -> float:
    i = TWO_AXES.index(name)
    return math.sqrt(found.covariance[i, i])


def height(found: HandLines) -> float:
    return get(found, "face") - get(found, "tilt_z")


def height_u(found: HandLines) -> float:
    i, j = TWO_AXES.index("face"), TWO_AXES.index("tilt_z")
    c = found.covariance
    return math.sqrt(c[i, i] + c[j, j] - 2.0 * c[i, j])


# Sense -1, tilt along X: at +90 the platter face looks to Y+ and is touched moving Y-.
AT_ZERO = frame(-1, -1, origin=(0.0, 0.0, 0.0))


def both_sides(
    plus: float, minus: float, level: float = 10.0, radius: float = 0.0, u: float = 0.003
) -> HandLines:
    """Three touches of the face; inches in, the reading's own unit out."""
    return find_by_hand(
        AT_ZERO,
        (
            touch("face", "Y-", 90, 0, (0.0, plus, 0.0), radius, u),
            touch("face", "Y+", -90, 0, (0.0, minus, 0.0), radius, u),
            touch("face", "Z-", 0, 0, (0.0, 0.0, level), radius, u),
        ),
    )


def index_error(row: dict[str, Any]) -> list[float]:
    """Touch a face, half an inch over the axis, that stands off by e in both poses."""
    e, z, d = math.radians(row["inputs"]["e"]), row["inputs"]["z"], 0.5

    def across(tilt: float) -> float:
        # Sense -1: the normal at tilt t is (0, sin t, cos t); the face is n . p = d.
        return (d - math.cos(tilt) * z) / math.sin(tilt)

    found = find_by_hand(
        AT_ZERO,
        (
            touch("face", "Y-", 90, 0, (0.0, across(math.pi / 2 + e), z)),
            touch("face", "Y+", -90, 0, (0.0, across(-math.pi / 2 + e), z)),
            touch("face", "Z-", 0, 0, (0.0, 0.0, d)),
        ),
    )
    return [abs(get(found, "tilt_y")), round(height(found) - d, 7)]


def bore(row: dict[str, Any]) -> list[float]:
    """Touch a bore that runs true, on four sides in both poses."""
    (x0, x1), (y0, y1) = row["inputs"]["x"], row["inputs"]["y"]
    touches = [
        touch("bore", way, 0, turn, place)
        for turn in (0, 180)
        for way, place in (
            ("X-", (x0, NAN, NAN)),
            ("X+", (x1, NAN, NAN)),
            ("Y-", (NAN, y0, NAN)),
            ("Y+", (NAN, y1, NAN)),
        )
    ]
    found = find_by_hand(AT_ZERO, tuple(touches))
    return [get(found, "rotary_x"), get(found, "rotary_y")]


def half_turn(row: dict[str, Any]) -> list[float]:
    centres = [
        Reading(0, "bore", None, 0.0, turn, (*row["inputs"][name], NAN), 0.0, 0.003)
        for name, turn in (("p0", 0.0), ("p180", math.pi))
    ]
    found = find_by_hand(AT_ZERO, tuple(centres))
    return [get(found, "rotary_x"), get(found, "rotary_y")]


def of_sides(row: dict[str, Any], **more: float) -> HandLines:
    given = row["inputs"]
    return both_sides(given["y_plus90"], given["y_minus90"], **more)


def one_side_off(row: dict[str, Any]) -> list[float]:
    good, bad = both_sides(5.111, 3.889), both_sides(5.111 + row["inputs"]["error"], 3.889)
    return [get(bad, "tilt_y") - get(good, "tilt_y"), height(bad) - height(good)]


CHECKS: dict[str, Callable[[dict[str, Any]], Any]] = {
    "HR-001": lambda row: get(of_sides(row), "tilt_y"),
    "HR-002": lambda row: height(of_sides(row)),
    "HR-003": lambda row: [
        get(of_sides(row, radius=row["inputs"]["r"]), "tilt_y"),
        height(of_sides(row, radius=row["inputs"]["r"])),
    ],
    "HR-004": one_side_off,
    "HR-005": lambda row: [
        u_of(both_sides(5.0, 4.0, u=row["inputs"]["u"]), "tilt_y"),
        height_u(both_sides(5.0, 4.0, u=row["inputs"]["u"])),
    ],
    "HR-006": index_error,
    "HR-007": lambda row: get(
        both_sides(
            row["inputs"]["face_distance"], -row["inputs"]["face_distance"], row["inputs"]["z_face"]
        ),
        "tilt_z",
    ),
    "HR-008": bore,
    "HR-009": half_turn,
}


@pytest.mark.parametrize("name", CHECKS)
def test_hand_rules_of_the_trade(name: str) -> None:
    found, expected = CHECKS[name](ROWS[name]), ROWS[name]["expected"]
    assert np.shape(found) == np.shape(expected)
    # 1e-12 of an inch is less than the rounding of a sum of inches.
    assert np.all(np.abs(np.asarray(found) - expected) <= ROWS[name]["tolerance"] + 1e-12)


def pin_touches(turn: int, x: tuple[float, float], y: tuple[float, float]) -> list[Reading]:
    return [
        touch("pin", "X-", 0, turn, (x[0], NAN, NAN), 3.0),
        touch("pin", "X+", 0, turn, (x[1], NAN, NAN), 3.0),
        touch("pin", "Y-", 0, turn, (NAN, y[0], NAN), 3.0),
        touch("pin", "Y+", 0, turn, (NAN, y[1], NAN), 3.0),
    ]


FACES = (
    touch("face", "Y-", 90, 0, (-381.0, -101.976, -404.0), 3.0),
    touch("face", "Y+", -90, 0, (-381.0, -158.0, -404.0), 3.0),
    touch("face", "Z-", 0, 0, (-381.0, -130.0, -376.97), 3.0),
)
PINS = (
    *pin_touches(0, (-310.236, -332.236), (-118.565, -140.565)),
    *pin_touches(180, (-430.256, -452.256), (-119.365, -141.365)),
)
CASE = frame(-1, -1, origin=(-381.0, -130.0, -400.0))


def case_figures(found: HandLines) -> dict[str, float]:
    x, y, z = CASE.origin_mm
    i, j = TWO_AXES.index("rotary_y"), TWO_AXES.index("tilt_y")
    c = found.covariance
    return {
        "centre.platter_x": get(found, "rotary_x") + x,
        "centre.tilt_y": get(found, "tilt_y") + y,
        "centre.tilt_z": get(found, "tilt_z") + z,
        "centre.platter_y": get(found, "rotary_y") + y,
        "centre.axis_offset_y": get(found, "rotary_y") - get(found, "tilt_y"),
        "centre.face_over_tilt_axis": height(found),
        "centre.u_tilt_y": u_of(found, "tilt_y"),
        "centre.u_tilt_z": u_of(found, "tilt_z"),
        "centre.u_axis_offset": math.sqrt(c[i, i] + c[j, j] - 2.0 * c[i, j]),
    }


def test_acceptance_case_by_hand() -> None:
    expected = {
        item["id"]: item for item in tomllib.loads(CASE_1.read_text(encoding="utf-8"))["expect"]
    }
    found = case_figures(find_by_hand(CASE, (*FACES, *PINS)))
    for name, value in found.items():
        assert value == pytest.approx(expected[name]["value"], abs=expected[name]["tol"]), name


@given(
    st.sampled_from([1, -1]),
    st.sampled_from([1, -1]),
    st.sampled_from([0.0, 90.0, 180.0, 37.0, -30.0]),
    st.floats(-40.0, 60.0).filter(lambda d: abs(d) > 1.0),
    st.floats(0.0, 5.0),
)
@settings(max_examples=40, deadline=None)
def test_square_lines_come_back_for_every_sense_and_yaw(
    tilt: int, rotary: int, yaw: float, face: float, ball: float
) -> None:
    values = np.array([*SQUARE[:8], face])
    unit = Unit(frame(tilt, rotary, yaw), values, slopes=(0.0, 0.0), ball=ball)
    readings = [unit.face(t, 0, 20, -15) for t in (90, -90, 0)]
    readings += [unit.bore(0, 0), unit.bore(0, 180)]
    readings += [unit.pin(c, side) for c in (90, 270) for side in ("X+", "X-", "Y+", "Y-")]
    found = find_by_hand(unit.frame, tuple(readings))
    assert found.complete
    assert found.values == pytest.approx(values, abs=1e-9)


@given(st.permutations(range(5)), st.integers(0, 4))
@settings(max_examples=30, deadline=None)
def test_what_is_lacking_is_named_in_the_order_of_the_job(order: list[int], count: int) -> None:
    parts = [*((face,) for face in FACES), PINS[:4], PINS[4:]]
    kept = sorted(order[:count])
    readings = tuple(reading for i in kept for reading in parts[i])
    found = find_by_hand(CASE, readings)
    needed = set(range(5)) - set(kept)
    # One centre at any angle is "a centre"; only both make "opposite".
    if (3 in kept) != (4 in kept):
        needed = (needed - {3}) | {4}
    assert found.lacking == tuple(NEEDED[i] for i in sorted(needed))
    assert not found.complete


def test_one_side_of_a_pin_of_known_radius_will_do() -> None:
    one_sided = [r for r in PINS if r.toward is not None and max(r.toward) <= 0.0]
    found = find_by_hand(CASE, (*FACES, *one_sided), {"pin": 8.0})
    assert get(found, "rotary_x") == pytest.approx(-0.246, abs=1e-9)
    assert get(found, "rotary_y") == pytest.approx(0.035, abs=1e-9)
    assert not find_by_hand(CASE, (*FACES, *one_sided)).complete


def test_three_touches_round_a_bore_make_a_circle() -> None:
    centre, radius = np.array([-381.2, -130.1]), 20.0 - 3.0
    touches = []
    for turn, off in ((0.0, 0.05), (math.pi, -0.05)):
        for way, angle in (("X+", 0.2), ("Y+", 1.9), ("X-", 3.5), ("Y-", 4.4)):
            x, y = centre + [off, 0.0] + radius * np.array([math.cos(angle), math.sin(angle)])
            one = touch("bore", way, 0, math.degrees(turn), (x, y, -380.0), 3.0)
            touches.append(one)
    # Without opposite sides along one axis there is no half sum: only the circle helps.
    touches = [r for r in touches if r.toward is not None and r.toward[0] > -0.5]
    found = find_by_hand(CASE, tuple(touches))
    assert get(found, "rotary_x") == pytest.approx(-0.2, abs=1e-7)
    assert get(found, "rotary_y") == pytest.approx(-0.1, abs=1e-7)
    assert 0.0 < u_of(found, "rotary_x") < 0.01


def test_repeated_touches_sharpen_by_the_root_of_their_number() -> None:
    once, four_times = (find_by_hand(CASE, (*FACES * n, *PINS)) for n in (1, 4))
    assert u_of(four_times, "tilt_y") == pytest.approx(u_of(once, "tilt_y") / 2.0)


def test_a_missing_coordinate_across_a_yawed_unit_is_not_guessed() -> None:
    unit = Unit(frame(yaw_deg=37.0), SQUARE)
    readings = tuple(
        replace(reading, position_mm=(NAN, *reading.position_mm[1:]))
        for reading in (unit.face(90, 0, 0, 0), unit.face(-90, 0, 0, 0))
    )
    assert find_by_hand(unit.frame, readings).lacking[:2] == NEEDED[:2]


def test_the_spread_stated_is_the_spread_drawn() -> None:
    found = []
    for seed in range(400):
        unit = Unit(frame(), SQUARE, (0.0, 0.0), seed=seed)
        touches = [unit.face(t, 0, 0, 0) for t in (90, -90, 0)]
        found.append(find_by_hand(unit.frame, (*touches, unit.bore(0, 0), unit.bore(0, 180))))
    drawn = np.cov(np.array([item.values for item in found]).T)
    assert drawn == pytest.approx(found[0].covariance, abs=2.5e-6)
    # Height and place of the face along the line share the level touch.
    at = TWO_AXES.index("tilt_z"), TWO_AXES.index("face")
    assert drawn[at] == pytest.approx(9e-6, rel=0.25)
