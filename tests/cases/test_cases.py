"""Whole acceptance cases: a real cell file in, every expected figure out.

The expected figures were computed outside this project.  Each test below takes what a user would
read from the answers; nothing reaches into the engines.  A figure that no answer shows yet is
listed in `NOT_YET` with the reason, and `test_no_expected_figure_is_forgotten` counts them all.
"""

from __future__ import annotations

import functools
import math
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from gudgeon.answer import Answer, Table
from gudgeon.cell.files import load
from gudgeon.findings import Findings
from gudgeon.questions import find_questions

HERE = Path(__file__).parent


@functools.cache
def answers(case: int) -> dict[str, Answer]:
    loaded = load(HERE / f"case-{case}.toml")
    assert loaded.cell is not None
    assert not loaded.faults, "the cases are free of faults and of warnings"
    findings = Findings(loaded.cell)
    return {name: question.answer(findings) for name, question in find_questions().items()}


def expected(case: int) -> dict[str, dict[str, Any]]:
    data = tomllib.loads((HERE / f"expected-{case}.toml").read_text(encoding="utf-8"))
    return {row["id"]: row for row in data["expect"]}


def value(case: int, question: str, name: str) -> float:
    found = answers(case)[question].figure(name).value
    assert found is not None
    return found


def standard_uncertainty(case: int, name: str) -> float:
    found = answers(case)["turns"].figure(name).plus_minus
    assert found is not None
    return found / 2.0


def picked(table: Table, *, want: str, **where: object) -> Any:
    """Return one entry of the only row that matches."""
    names = [column.name for column in table.columns]
    rows = [row for row in table.rows if all(row[names.index(k)] == v for k, v in where.items())]
    assert len(rows) == 1, f"{len(rows)} rows match {where}"
    return rows[0][names.index(want)]


def placement(offset: float) -> list[str]:
    table = answers(1)["fits"].table("placements")
    return str(picked(table, want="reasons", offset=offset)).split(", ")


def work_offset(face: str, part: str) -> list[float]:
    table = answers(1)["offsets"].table("offsets")
    return [picked(table, want=axis, station=part, face=face) for axis in "xyz"]


def tool_change(case: int, tool: str, pose: str, tilt: float, *, turning: bool = False) -> float:
    table = answers(case)["fits"].table("tool_change")
    names = [column.name for column in table.columns]
    rows = [dict(zip(names, row, strict=True)) for row in table.rows]
    found = [
        row["clearance"]
        for row in rows
        if (row["tool"], row["pose"], row["tilt"]) == (tool, pose, tilt)
        and (row["turn"] == "turning") == turning
    ]
    assert len(found) == 1
    return float(str(found[0]))


def allowed_poses() -> list[str]:
    table = answers(1)["fits"].table("tool_change")
    rows = [dict(zip([c.name for c in table.columns], row, strict=True)) for row in table.rows]
    tilts = {row["tilt"]: row["allowed"] for row in rows if row["tilt"] in (0.0, 90.0)}
    return [f"A{tilt:g}" for tilt, allowed in sorted(tilts.items()) if allowed == "yes"]  # type: ignore[str-format]


def payback(volume: float) -> float:
    return float(picked(answers(1)["pays"].table("volumes"), want="payback_years", volume=volume))


CASE_1: dict[str, Callable[[], Any]] = {
    "centre.platter_x": lambda: value(1, "turns", "platter_x"),
    "centre.tilt_y": lambda: value(1, "turns", "tilt_y"),
    "centre.tilt_z": lambda: value(1, "turns", "tilt_z"),
    "centre.platter_y": lambda: value(1, "turns", "platter_y"),
    "centre.axis_offset_y": lambda: value(1, "turns", "axis_offset"),
    "centre.face_over_tilt_axis": lambda: value(1, "turns", "face_height"),
    "centre.u_tilt_y": lambda: standard_uncertainty(1, "tilt_y"),
    "centre.u_tilt_z": lambda: standard_uncertainty(1, "tilt_z"),
    "centre.u_axis_offset": lambda: standard_uncertainty(1, "axis_offset"),
    **{
        f"placement.offset_{offset:+d}": functools.partial(placement, float(offset))
        for offset in (-175, -125, -75, -50, 0, 50, 75, 125, 175)
    },
    "placement.only_offset": lambda: [
        float(str(row[2])) for row in answers(1)["fits"].table("placements").rows if row[6] == "ok"
    ],
    "safe.x_min": lambda: value(1, "fits", "safe_x_min"),
    "safe.x_max": lambda: value(1, "fits", "safe_x_max"),
    "safe.y_min": lambda: value(1, "fits", "safe_y_min"),
    "safe.y_max": lambda: value(1, "fits", "safe_y_max"),
    **{
        f"work_offset.{face}.part{part}": functools.partial(work_offset, face, str(part))
        for face in ("top", "front", "right")
        for part in (1, 2, 3, 4)
    },
    "work_offset.outside_safe_limits": lambda: value(1, "offsets", "outside_safe_limits"),
    "tool_change.tip_lowest_z": lambda: value(1, "fits", "tool_change_tip"),
    "tool_change.flat_clearance": lambda: tool_change(1, "T1", "flat", 0.0),
    "tool_change.upright_clearance": lambda: tool_change(1, "T1", "upright", 90.0),
    "tool_change.allowed_poses": allowed_poses,
    "money.payback_1200": lambda: payback(1200.0),
    "money.payback_680": lambda: payback(680.0),
    "money.payback_345": lambda: payback(345.0),
}


def flange_row(clocking: float, want: str) -> Any:
    return picked(answers(4)["fits"].table("flange"), want=want, clocking=clocking)


def matched(clocking: float) -> list[float]:
    return [float(text) for text in str(flange_row(clocking, "platter_holes")).split(",")]


def torque(parts: float, want: str) -> float:
    return float(picked(answers(4)["holds"].table("tilt_torque"), want=want, parts=parts))


def slip(case: str, want: str) -> float:
    return float(picked(answers(4)["holds"].table("slip"), want=want, case=case))


def thrust(name: str) -> Any:
    limit = picked(answers(4)["holds"].table("operations"), want="thrust_limit", operation=name)
    try:
        return float(limit)
    except ValueError:
        return limit


FLAT, UPRIGHT = "flat, face milling", "upright, drilling down"
CASE_4: dict[str, Callable[[], Any]] = {
    "flange.angle_play": lambda: value(4, "fits", "flange_angle_play"),
    "flange.bolts_matching": lambda: value(4, "fits", "flange_bolts_matching"),
    "flange.clockings": lambda: [
        row[1] for row in answers(4)["fits"].table("flange").rows if row[0] == "best"
    ],
    "flange.matched_at_0": lambda: matched(0.0),
    "flange.matched_at_50": lambda: matched(50.0),
    "flange.redrill_centres": lambda: value(4, "fits", "redrill_centres"),
    "flange.redrill_web": lambda: value(4, "fits", "redrill_web"),
    "flange.redrill_possible": lambda: (
        value(4, "fits", "redrill_web") >= (answers(4)["fits"].figure("redrill_web").limit or 0.0)
    ),
    "slip.preload": lambda: value(4, "holds", "bolts_preload"),
    "slip.capacity_per_bolt": lambda: value(4, "holds", "bolts_capacity"),
    "slip.flat.demand": lambda: slip(FLAT, "demand"),
    "slip.flat.safety": lambda: slip(FLAT, "safety"),
    "slip.upright.demand": lambda: slip(UPRIGHT, "demand"),
    "slip.upright.safety": lambda: slip(UPRIGHT, "safety"),
    **{
        f"tilt.{key}_{parts}_parts": functools.partial(torque, float(parts), want)
        for parts in (16, 15, 8, 0)
        for key, want in (("torque", "torque"), ("percent", "percent"))
    },
    "tilt.most_parts_within_rating": lambda: value(4, "holds", "most_parts"),
    "tilt.worst_pose": lambda: (
        answers(4)["holds"].figure("tilt_torque").note.split(" at ")[-1].strip()
    ),
    "tilt.full_load_angle_limit": lambda: value(4, "holds", "full_load_angle_limit"),
    **{
        f"thrust.limit_A{tilt}": functools.partial(thrust, f"drill at A{tilt}")
        for tilt in (0, 30, 45, 60, 90)
    },
}

# In case 5 "flat" and "upright" are said of the tower: it stands upright where the platter lies
# flat (A0) and lies flat where the platter stands upright (A90).
COUPLING = {
    "none": "without straight coupling",
    "straight": "as entered",
    "elbow": "elbow",
}


@functools.cache
def coupling() -> Answer:
    """Answer for the case's sixteen stations, hub, floor and couplings."""
    loaded = load(HERE / "case-5-coupling.toml")
    assert loaded.cell is not None and not loaded.faults
    return find_questions()["fits"].answer(Findings(loaded.cell))


def way(fitted: str, want: str) -> Any:
    return picked(coupling().table("ways"), want=want, fitted=COUPLING[fitted], tilt=-90.0)


def coupling_cause() -> str:
    """Return the part without which nothing is lost; only the unit's turning may be named."""
    table = coupling().table("stations_lost")
    assert {row[2] for row in table.rows} == {"unit turning"}
    assert way("none", "lost") == 0.0 and way("straight", "lost") > 0.0
    said = [text for text in (coupling().flips or "").split(". ") if "nothing is lost" in text]
    assert said == ["Without the straight coupling nothing is lost."]
    return said[0].removesuffix(" nothing is lost.").split()[-1]


CASE_5: dict[str, Callable[[], Any]] = {
    **{
        f"coupling.{fitted}.{name}": functools.partial(way, fitted, want)
        for fitted in COUPLING
        for name, want in (
            ("gap_at_A-90", "gap_end"),
            ("gap_on_path", "gap_way"),
            ("stations_lost", "lost"),
        )
    },
    "coupling.straight.first_contact_A": lambda: way("straight", "first_contact"),
    "coupling.straight.worst_A": lambda: way("straight", "worst_tilt"),
    "coupling.cause": coupling_cause,
    "coupling.remedy": lambda: coupling().table("changes").rows[0][4],
    "height.upright_A0": lambda: value(5, "fits", "highest_flat"),
    "height.flat_A90": lambda: value(5, "fits", "highest_upright"),
    "height.equal_end_tilt": lambda: value(5, "fits", "equal_height_tilt"),
    # By hand: at that tilt the front corner, h cos t + w sin t, is as high as the upright top.
    "height.at_equal_end_tilt": lambda: 210.0 + _corner(value(5, "fits", "equal_height_tilt")),
    "height.peak_on_path": lambda: value(5, "fits", "highest_on_the_way"),
    "height.peak_at_tilt": lambda: value(5, "fits", "peak_tilt"),
    "height.flat_turning_C": lambda: value(5, "fits", "highest_upright_turning"),
    **{
        f"tool_change.T{n}.{words}": functools.partial(tool_change, 5, f"T{n}", pose, tilt)
        for n in (1, 2, 3)
        for words, pose, tilt in (("flat", "upright", 90.0), ("upright", "flat", 0.0))
    },
    "tool_change.T2.flat_while_C_turns": functools.partial(
        tool_change, 5, "T2", "upright", 90.0, turning=True
    ),
}


def _corner(tilt_deg: float) -> float:
    turn = math.radians(tilt_deg)
    return 225.0 * math.cos(turn) + 87.7 * math.sin(turn)


CASES = {1: CASE_1, 4: CASE_4, 5: CASE_5}
NOT_YET: dict[tuple[int, str], str] = {}


@pytest.mark.parametrize(
    ("case", "name"), [(case, name) for case, found in CASES.items() for name in found]
)
def test_case_figure(case: int, name: str) -> None:
    want = expected(case)[name]
    got = CASES[case][name]()
    if isinstance(want["value"], list) and isinstance(want["value"][0], str):
        assert sorted(got) == sorted(want["value"])
    elif isinstance(want["value"], str | bool):
        assert got == want["value"]
    else:
        # Rounding in the last digit of the expected figure itself is allowed where tol is 0.
        assert got == pytest.approx(want["value"], abs=want["tol"] or 1e-9, rel=0)


def test_no_expected_figure_is_forgotten() -> None:
    for case, found in CASES.items():
        listed = set(found) | {name for number, name in NOT_YET if number == case}
        assert listed == set(expected(case))


def test_verdicts_of_the_cases() -> None:
    """Worked by hand from the stories of the cases."""
    assert answers(1)["pays"].verdict == "yes"
    # Three faces and a pin do not show whether the lines are square to the machine.
    assert answers(1)["turns"].verdict == "yes_if"
    assert answers(1)["offsets"].verdict == "yes"
    assert answers(1)["axes"].verdict == "yes"
    # The change is safe with the platter flat only, so the answer names that condition.
    assert answers(1)["fits"].verdict == "yes_if"
    # Over the rating by 2.8 % with all parts on, inside it with one part fewer; the case leaves
    # loads and bolts of the table open, so a condition alone would promise too much.
    assert answers(4)["holds"].verdict == "no"
    assert "15" in answers(4)["holds"].headline
