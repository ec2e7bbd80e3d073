"""Safe travel: closed forms, acceptance case 1, hoses, and the warm-up read back."""

from __future__ import annotations

import dataclasses
import functools
import math
import re
from pathlib import Path

import numpy as np
import pytest

from gudgeon.answer import Answer, Verdict
from gudgeon.cell.files import load
from gudgeon.cell.model import Cell, Hose, Solid
from gudgeon.cell.model_control import WordMeaning
from gudgeon.clearance.prove import Prover, Status
from gudgeon.findings import Findings
from gudgeon.findings.hoses import bend_needs, longest_bent
from gudgeon.program.reader import read
from gudgeon.program.track import Ended, Kind
from gudgeon.quantity.amount import Amount
from gudgeon.questions import travels

ROOT = Path(__file__).parents[2]


@functools.cache
def cell_of(name: str) -> Cell:
    found = load(ROOT / name).cell
    assert found is not None
    return found


def case(number: int) -> Cell:
    return cell_of(f"tests/cases/case-{number}.toml")


def asked(cell: Cell) -> Answer:
    return travels.answer(Findings(cell))


def with_machine(cell: Cell, **entries: object) -> Cell:
    return dataclasses.replace(cell, machine=dataclasses.replace(cell.machine, **entries))  # type: ignore[arg-type]


def with_unit(cell: Cell, **entries: object) -> Cell:
    return dataclasses.replace(cell, unit=dataclasses.replace(cell.unit, **entries))  # type: ignore[arg-type]


def limit(found: Answer, name: str) -> float:
    value = found.figure(name).value
    assert value is not None
    return value


def test_case_1_the_limits_that_the_closed_form_gives() -> None:
    found = asked(case(1))
    # tests/cases/expected-1.toml, safe.*: computed outside this project, tolerance 0.1.
    expected = {"safe_x_min": -685.0, "safe_x_max": 0.0, "safe_y_min": -394.86, "safe_y_max": 0.0}
    for name, value in expected.items():
        assert limit(found, name) == pytest.approx(value, abs=0.1)
    assert found.verdict is Verdict.YES_IF
    assert "right guard" in found.figure("safe_x_min").note
    assert "column behind" in found.figure("safe_y_min").note


def test_case_1_the_corner_that_pinches_is_told_with_its_pose() -> None:
    table = asked(case(1)).table("limits")
    rows = {
        str(row[0]): dict(zip([c.name for c in table.columns], row, strict=True))
        for row in table.rows
    }
    rear = rows["Y lowest"]
    # The rim of a disc of radius R, height h over the axis, is furthest back at atan(h / R).
    lines = Findings(case(1)).axis_lines
    height = lines.face_height_mm + 44.87
    assert abs(float(rear["tilt"])) == pytest.approx(  # type: ignore[arg-type]
        math.degrees(math.atan2(height, 195.0)), abs=1.5
    )
    assert float(rear["short"]) == pytest.approx(11.2, abs=0.1)  # type: ignore[arg-type]


def test_limits_follow_a_guard_that_is_moved() -> None:
    base = limit(asked(case(1)), "safe_x_min")
    nearer = with_machine(case(1), guard_right=Amount(634.0))
    assert limit(asked(nearer), "safe_x_min") == pytest.approx(base + 20.0, abs=0.01)


def test_without_a_margin_the_clearance_asked_is_kept() -> None:
    bare = with_machine(case(1), margin_x=None)
    one = limit(asked(bare), "safe_x_min")
    shop = dataclasses.replace(bare.shop, clearance=Amount(6.0))
    more = limit(asked(dataclasses.replace(bare, shop=shop)), "safe_x_min")
    assert one == pytest.approx(-704.0, abs=0.1)
    assert more == pytest.approx(-699.0, abs=0.1)


def test_where_nothing_is_in_the_way_no_restriction_is_made() -> None:
    found = asked(cell_of("demo/alder-ford.toml"))
    assert found.verdict is Verdict.YES
    assert "no restriction needed" in found.headline
    assert limit(found, "safe_x_min") == -760.0
    assert limit(found, "safe_y_max") == 0.0


def test_planes_of_the_tools_are_those_of_the_highest_corner() -> None:
    # Case 5: the tower's corner over all tilts and turns, 225 mm up and 87.7 sqrt 2 out, stands
    # 256.925 mm over the axis, which is 410 mm under the gauge point at Z 0; 1 mm is asked.
    corner = math.hypot(225.0, 87.7 * math.sqrt(2.0))
    table = asked(case(5)).table("planes")
    rows = {str(row[0]): row for row in table.rows}
    for tool, length in (("T1", 130.0), ("T3", 90.0)):
        z = float(rows[tool][2])  # type: ignore[arg-type]
        assert corner - 410.0 + length + 1.0 <= z + 1e-6
        assert z == pytest.approx(corner - 410.0 + length + 1.0, abs=0.12)
    assert rows["T2"][2] is None


def test_a_tool_too_long_for_all_poses_gets_the_tilts_in_which_it_may_cross() -> None:
    found = asked(case(5))
    assert found.verdict is Verdict.YES_IF
    assert "T2" in found.headline
    poses = next(p.poses for p in Findings(case(5)).planes if p.hand.name == "T2")
    assert poses is not None
    # Top corner at tilt t: 225 cos t + 87.7 sqrt 2 sin t = 410 - 186.5 - 1.
    a, b = 225.0, 87.7 * math.sqrt(2.0)
    edge = math.atan2(b, a) + math.acos((410.0 - 186.5 - 1.0) / math.hypot(a, b))
    assert float(poses.low[3]) == pytest.approx(edge, abs=math.radians(0.05))
    assert float(poses.low[3]) >= edge - 1e-9
    assert float(poses.high[3]) == pytest.approx(math.radians(100.0))


def hose(**entries: float | str) -> Hose:
    amounts = {k: Amount(v) if isinstance(v, float) else v for k, v in entries.items()}
    return Hose(**amounts)  # type: ignore[arg-type]


def test_a_hose_that_is_too_short_is_a_no() -> None:
    short = hose(name="air hose", connector_y=90.0, anchor_y=15.0, free_length=50.0)
    found = asked(with_unit(case(1), hoses=(short,)))
    assert found.verdict is Verdict.NO
    assert "air hose" in found.headline
    assert found.fix is not None


def test_a_hose_on_its_limit_tears() -> None:
    findings = Findings(case(1))
    exact = findings.hoses_stretched[0].longest_mm
    tied = hose(name="h", connector_y=90.0, anchor_y=15.0, free_length=exact)
    assert asked(with_unit(case(1), hoses=(tied,))).verdict is Verdict.NO


def test_hoses_that_cannot_be_judged_are_told() -> None:
    found = asked(with_unit(case(1), hoses=(Hose(name="coolant"),)))
    assert any("coolant" in text for text in found.assumed)


def test_without_travel_it_cannot_tell() -> None:
    found = asked(with_machine(case(1), travel_y=None))
    assert found.verdict is Verdict.CANNOT_TELL
    assert "machine.travel_y" in found.missing[0].where


def test_without_tools_the_limits_are_told_and_the_rest_is_asked_for() -> None:
    found = asked(dataclasses.replace(case(1), tools=()))
    assert found.verdict is Verdict.CANNOT_TELL
    assert limit(found, "safe_x_min") == pytest.approx(-685.0, abs=0.1)
    assert "tools" in found.missing[0].where


def test_a_unit_that_fits_nowhere_is_a_no() -> None:
    found = asked(with_machine(case(1), guard_right=Amount(200.0), guard_left=Amount(200.0)))
    assert found.verdict is Verdict.NO


# --- warm-up ------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["tests/cases/case-1.toml", "demo/juniper-street.toml"])
def test_warm_up_reads_as_a_path_through_the_corners(name: str) -> None:
    cell = cell_of(name)
    findings = Findings(cell)
    warm = findings.warm_up
    assert warm.lines
    text = "\n".join(line for line, _ in warm.lines).encode()
    track = read(text, findings.control_for(text).dialect)
    assert track.ended is Ended.BY_WORD
    ends = np.array([row["end"] for row in track.segments if row["kind"] == Kind.RAPID])
    box = findings.safe_limits.box
    assert box is not None
    visited = {(round(x, 1), round(y, 1)) for x, y in ends[:, :2] if not np.isnan(x)}
    for x in (box.low[0], box.high[0]):
        for y in (box.low[1], box.high[1]):
            # Inside a guard's limit by the clearance asked, and at a round figure.
            assert any(abs(x - a) < 2.1 and abs(y - b) < 2.1 for a, b in visited)
    known = ends[~np.isnan(ends[:, 0])]
    assert np.all(known[:, :2] >= box.low[:2] - 1e-6)
    assert np.all(known[:, :2] <= box.high[:2] + 1e-6)
    assert np.all(ends[:, 2] == findings.ranges.high[2])
    tilts = ends[~np.isnan(ends[:, 3]), 3]
    assert tilts.min() == pytest.approx(findings.ranges.low[3], abs=1e-4)
    assert tilts.max() == pytest.approx(findings.ranges.high[3], abs=1e-4)
    spun = ends[~np.isnan(ends[:, 4]), 4]
    assert np.ptp(spun) >= 2.0 * math.pi - 1e-3 or len(spun) > 3


def test_warm_up_uses_the_words_of_the_control() -> None:
    control = dataclasses.replace(
        case(1).control, rapid_word="G100", machine_word="G153", end_word="M99", comment=";"
    )
    lines = [
        line for line, _ in Findings(dataclasses.replace(case(1), control=control)).warm_up.lines
    ]
    assert any(line.startswith("G153 G100 Z0. ;") for line in lines)
    assert lines[-1].startswith("M99")
    assert lines[0].startswith("; ")


def test_warm_up_is_refused_where_the_words_mean_something_else() -> None:
    control = dataclasses.replace(
        case(1).control, words=(WordMeaning(word="G53", means="not known"),)
    )
    warm = Findings(dataclasses.replace(case(1), control=control)).warm_up
    assert not warm.lines
    assert "words" in warm.refused
    found = asked(dataclasses.replace(case(1), control=control))
    assert any("No warm-up" in text for text in found.assumed)


def test_warm_up_is_for_the_empty_spindle_where_a_tool_would_touch() -> None:
    warm = Findings(case(5)).warm_up
    assert warm.empty_spindle
    assert warm.without == ("T2",)
    assert any("Take the tool out" in text for text in asked(case(5)).cautions)


def post(x: float, height: float, carried_by: str = "table") -> Solid:
    """Return a post on the table of case 1, its foot 600 mm under the gauge point at Z 0."""
    return Solid(
        name="post",
        counts_as="fixture",
        carried_by=carried_by,
        measured_from="machine",
        x=(Amount(x), Amount(x + 30.0)),
        y=(Amount(-60.0), Amount(-30.0)),
        z=(Amount(-600.0), Amount(-600.0 + height)),
    )


def test_warm_up_is_refused_where_a_corner_is_not_reached() -> None:
    """A post between two corners that is as high as the spindle nose at the top of Z."""
    nosed = with_machine(case(1), nose_diameter=Amount(80.0))
    tall = dataclasses.replace(nosed, solids=(post(-500.0, 601.0),))
    warm = Findings(tall).warm_up
    assert not warm.lines
    assert "not proven clear" in warm.refused
    assert "post" in warm.refused
    # With nothing known of the nose nothing can be proven for the empty spindle either.
    noseless = Findings(dataclasses.replace(case(1), solids=(post(-500.0, 601.0),))).warm_up
    assert not noseless.lines
    assert "nose" in noseless.refused
    low = dataclasses.replace(case(1), solids=(post(-500.0, 100.0),))
    assert Findings(low).warm_up.lines


def test_warm_up_is_refused_while_a_hose_may_reach_the_guard() -> None:
    loose = Findings(with_hose(length=700.0)).warm_up
    assert not loose.lines
    assert "oil hose" in loose.refused
    assert Findings(with_hose()).warm_up.lines


def test_warm_up_moves_read_back_keep_clear_at_sampled_places() -> None:
    """Every move of the text itself, as the reader has it, judged as one motion each."""
    findings = Findings(case(1))
    warm = findings.warm_up
    text = "\n".join(line for line, _ in warm.lines).encode()
    track = read(text, findings.control_for(text).dialect)
    tool = findings.tools_in_hand[0]
    prover = Prover(findings.scene.scene, tool.bodies)
    here: list[float] | None = None
    judged = 0
    for row in track.segments:
        if row["kind"] != Kind.RAPID:
            continue
        place = row["end"].tolist()
        known = here is not None and not np.isnan([*here, *place]).any()
        if known and here is not None:
            assert prover.motion(here, place, 0.5, dogleg=True).status is Status.PROVEN
            judged += 1
        here = place
    assert judged >= 4


def test_what_stands_on_the_floor_limits_the_travel_too() -> None:
    """A post beside the table that stands still, entered under [[solids]] and not as a guard."""
    floor = dataclasses.replace(post(560.0, 900.0, "machine"), name="coolant post")
    found = asked(dataclasses.replace(case(1), solids=(floor,)))
    assert "coolant post" in str(found.table("limits").rows)


# --- hoses that hang ----------------------------------------------------------------------------


def with_hose(**entries: float | str) -> Cell:
    """Case 1 with a hose from the cradle down to the table under it."""
    usual: dict[str, float | str] = {
        "name": "oil hose",
        "turns_with": "cradle",
        "connector_x": 0.0,
        "connector_y": 0.0,
        "connector_z": -60.0,
        "anchor_x": -381.0,
        "anchor_y": -130.0,
        "anchor_z": -560.0,
        "length": 340.0,
        "diameter": 12.0,
    }
    return with_unit(case(1), hoses=(hose(**(usual | entries)),))


def row_of(found: Answer, table: str) -> dict[str, object]:
    told = found.table(table)
    return dict(zip([column.name for column in told.columns], told.rows[0], strict=True))


def test_a_hose_that_may_reach_something_gets_the_tie_that_settles_it() -> None:
    found = asked(with_hose(length=700.0))
    assert found.verdict is Verdict.YES_IF
    tie = row_of(found, "hoses_hanging")["tie"]
    assert isinstance(tie, float)
    assert "tied so that no more than" in found.headline
    # So much of it free is proven; a hundredth more of it is not.
    tied = asked(with_hose(length=tie))
    assert "tied" not in tied.headline
    assert row_of(tied, "hoses_hanging")["meets"] == "nothing: it hangs free"
    assert "tied" in asked(with_hose(length=1.02 * tie)).headline


def test_a_hose_that_hangs_free_makes_no_condition() -> None:
    found = asked(with_hose())
    plain = asked(with_unit(case(1), hoses=()))
    assert found.headline == plain.headline
    assert row_of(found, "hoses_hanging")["meets"] == "nothing: it hangs free"
    assert any("may hang anywhere" in text for text in found.assumed)


def test_a_hose_that_meets_something_when_taut_is_to_be_guided() -> None:
    found = asked(with_hose(anchor_z=200.0, length=700.0))
    assert row_of(found, "hoses_hanging")["tie"] is None
    assert "guided" in found.headline


def test_limits_of_the_table_do_not_hang_on_a_slack_hose() -> None:
    assert limit(asked(with_hose(length=700.0)), "safe_x_min") == pytest.approx(-685.0, abs=0.1)


def test_a_hose_that_kinks_gets_the_lengths_that_do_neither() -> None:
    found = asked(with_hose(connector_z=-10.0, length=900.0, min_bend=100.0))
    told = row_of(found, "hoses")
    near = float(str(told["shortest"]))
    assert near < 200.0
    assert "does not kink" in found.headline
    assert found.fix is not None and "neither tears nor kinks" in found.fix
    longest = 2.0 * 100.0 * math.asin(near / 200.0)
    between = 0.5 * (longest + float(str(told["longest"])))
    finding = Findings(with_hose(connector_z=-10.0, length=between, min_bend=100.0))
    (mended,) = finding.hoses_stretched
    assert not mended.kinks
    assert mended.margin_mm > 0.0


def test_a_bend_needs_the_chord_of_its_arc_or_a_u() -> None:
    # A half circle of radius 50 is 157.08 long and spans 100; a quarter spans 50 sqrt 2.
    assert bend_needs(math.pi * 50.0, 50.0) == pytest.approx(100.0)
    assert bend_needs(math.pi * 25.0, 50.0) == pytest.approx(50.0 * math.sqrt(2.0))
    assert bend_needs(1000.0, 50.0) == bend_needs(None, 50.0) == 100.0
    assert longest_bent(50.0 * math.sqrt(2.0), 50.0) == pytest.approx(math.pi * 25.0)
    assert longest_bent(100.0, 50.0) == math.inf


def test_a_hose_too_short_gets_the_length_that_is_long_enough() -> None:
    short = asked(with_hose(length=150.0))
    assert short.verdict is Verdict.NO
    assert short.fix is not None
    enough = float(re.findall(r"([0-9.]+) mm or more", short.fix)[0])
    assert asked(with_hose(length=enough)).verdict is not Verdict.NO
    assert asked(with_hose(length=enough - 0.01)).verdict is Verdict.NO
