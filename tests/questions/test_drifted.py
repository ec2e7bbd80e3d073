"""The question "has anything moved", and the command that keeps the morning's check."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gudgeon.answer import Answer, Verdict
from gudgeon.cell.files import load
from gudgeon.cell.model import Cell, DayRow, MadeRow
from gudgeon.faces.terminal import main
from gudgeon.findings import Findings
from gudgeon.kinematics.chain import AxisLine, turn_about
from gudgeon.quantity.amount import Amount
from gudgeon.questions import drifted
from tests.questions.trunnions import mm

DEMO = Path(__file__).parents[2] / "demo" / "alder-ford.toml"
START = date(2026, 3, 2).toordinal()


def shop(
    shift: tuple[float, float, float] = (0.0, 0.0, 0.0),
    *,
    at: int = 20,
    days: int = 30,
    noise: float = 0.002,
    poses: bool = True,
    seed: int = 4,
) -> Cell:
    """Return the demo shop with a record of its own; the whole unit shifts before row `at`."""
    loaded = load(DEMO)
    assert loaded.cell is not None
    chance = np.random.default_rng(seed)
    rows = []
    for i in range(days):
        for name, place in (
            ("ball level", (-320.0, -195.0, -400.0)),
            ("ball tilted", (-320.0, -155.0, -480.0)),
        ):
            if not poses and name == "ball tilted":
                continue
            value = np.array(place) + chance.normal(0.0, noise, 3)
            value += np.array(shift) if i >= at else 0.0
            x, y, z = value.tolist()
            rows.append(DayRow(len(rows) + 2, START + i, True, "", name, (x, y, z), 20.0, None))
    made = tuple(MadeRow(i + 2, START + i, f"S{i}a", f"S{i}z") for i in range(days))
    return replace(loaded.cell, days=tuple(rows), made=made)


def told(cell: Cell) -> Answer:
    return drifted.answer(Findings(cell))


def test_nothing_has_moved() -> None:
    answer = told(shop())
    assert answer.verdict is Verdict.YES
    assert answer.headline.startswith("Nothing has moved since 2026-03-02")
    assert {table.name for table in answer.tables} == {"checks", "mornings", "charts"}
    limit = answer.figure("visible_step").value
    assert limit is not None and limit < 0.02
    # Six series; a sum is set to one alarm in 40 / 5 %, an average of weight 0.2 beyond three
    # sigma alarms once in 560 (Markov chain) for each.
    assert "once in 800 mornings" in answer.table("charts").title
    assert answer.table("charts").title.endswith("once in 93")


def test_the_unit_has_moved_which_day_which_parts_which_faces() -> None:
    shift = (0.03, -0.02, 0.01)
    answer = told(shop(shift))
    assert answer.verdict is Verdict.NO
    assert answer.headline.startswith("It has moved: X +0.03")
    assert "between the checks of 2026-03-21 and 2026-03-22" in answer.headline
    for axis, by in zip("xyz", shift, strict=True):
        figure = answer.figure(f"moved_{axis}")
        assert figure.value is not None and figure.plus_minus is not None
        assert abs(figure.value - by) <= 1.5 * figure.plus_minus
    causes = {str(row[0]): str(row[1]) for row in answer.table("causes").rows}
    assert [name for name, says in causes.items() if says == "may be"] == [
        "the whole unit on the table, or the machine's zero"
    ]
    # From the last good check, included, to now.
    suspects = answer.table("suspects").rows
    assert suspects[0] == ("2026-03-21", "S19a", "S19z")
    assert len(suspects) == 11
    assert "S19a to S29z" in answer.headline
    assert answer.table("redo").rows[0][0] == 1


def test_what_a_face_is_cut_off_by_follows_the_pose() -> None:
    """The cut is off by minus the turned-back shift; worked out here by plain turns."""
    cell = shop()
    findings = Findings(cell)
    shift = np.array([0.03, -0.02, 0.01])
    zeros = {(zero.station, zero.face): zero for zero in findings.offsets.zeros}
    turns = {station.name: station.turn for station in cell.stations}
    x = AxisLine((0.0, 0.0, 0.0), (1.0, 0.0, 0.0))
    z = AxisLine((0.0, 0.0, 0.0), (0.0, 0.0, 1.0))
    normals = {face.name: np.array(face.normal) for face in cell.parts[0].faces}
    shifts = findings.face_shifts("unit", shift)
    assert len(shifts) == 16
    for one in shifts:
        angles = zeros[one.station, one.face].angles_rad
        assert angles is not None
        turn = turns[one.station]
        into = turn_about(x, -angles[0]) @ turn_about(z, -angles[1])
        if turn is not None:
            into = into @ turn_about(z, turn.value)
        wanted = -into[:3, :3].T @ shift
        assert one.by_mm == pytest.approx(wanted, abs=1e-9)
        # Every face is cut looking up, so that only Z goes into its depth.
        assert one.depth_mm == pytest.approx(-0.01, abs=1e-9)
        assert one.depth_mm == pytest.approx(wanted @ normals[one.face], abs=1e-9)


def test_dimensions_against_their_tolerance() -> None:
    answer = told(shop((-0.05, 0.0, 0.0)))
    rows = answer.table("dimensions").rows
    shares = [float(row[3]) for row in rows if row[3] is not None]  # type: ignore[arg-type]
    assert shares == sorted(shares, reverse=True)
    assert rows[0][4] == "out by the shift alone"
    findings = Findings(shop())
    off = findings.dimension_shifts(findings.face_shifts("unit", np.array([0.05, 0.0, 0.0])))
    # Both flanks of a width are cut looking up: a level shift leaves it alone.
    assert all(abs(one.by_mm) < 1e-6 for one in off if one.name == "width over flanks")


def test_one_pose_does_not_tell_which_part() -> None:
    answer = told(shop((0.03, 0.0, 0.0), poses=False))
    assert answer.verdict is Verdict.NO
    assert "cannot tell apart" in str(answer.fix)
    assert any("second pose" in item.what for item in answer.missing)


def test_a_single_reading_off_is_taken_again() -> None:
    answer = told(shop((0.0, 0.04, 0.0), at=29))
    assert answer.verdict is Verdict.YES_IF
    assert answer.headline.startswith("Take it again before cutting: Y of ball")
    assert "+0.04" in answer.headline


def untold(cell: Cell) -> Cell:
    """Return the cell with no temperature noted."""
    return replace(cell, days=tuple(replace(row, temperature_c=None) for row in cell.days))


def test_without_temperatures_a_small_shift_may_be_warmth() -> None:
    small = shop((0.02, 0.0, 0.0))
    assert told(small).verdict is Verdict.NO
    answer = told(untold(small))
    assert answer.verdict is Verdict.CANNOT_TELL
    assert "cannot be told from temperature" in answer.headline
    assert "note the temperature" in answer.headline
    assert "temperature" in answer.missing[0].what
    noted, blind = (Findings(cell).drift.visible_mm for cell in (small, untold(small)))
    assert noted is not None and blind is not None
    assert blind > 1.5 * noted


def test_without_temperatures_a_large_step_is_one_all_the_same() -> None:
    answer = told(untold(shop((0.5, 0.0, 0.0))))
    assert answer.verdict is Verdict.NO
    assert "between the checks of 2026-03-21 and 2026-03-22" in answer.headline
    steady = told(untold(shop()))
    assert steady.verdict is Verdict.YES_IF  # the work bears less than what warmth may hide
    assert "temperature" in str(steady.fix)
    assert any("No temperature was noted" in text for text in steady.cautions)


def test_without_temperatures_the_next_morning_follows_the_last_ones() -> None:
    """In a shop that warms slowly, the last morning tells more than the mean of all."""
    cell = shop(noise=0.001)
    warm = 8.0 * np.sin(np.arange(30) / 20.0)
    rows = []
    for row in cell.days:
        x, y, z = row.place_mm
        assert x is not None
        by = 0.006 * float(warm[row.day - START])
        rows.append(replace(row, place_mm=(x + by, y, z), temperature_c=None))
    found = Findings(replace(cell, days=tuple(rows))).drift
    assert found.watch.changes == ()
    truth = -320.0 + 0.006 * 8.0 * np.sin(30 / 20.0)
    assert abs(found.expected_mm[0, 0] - truth) < found.expected_u_mm[0, 0]
    assert found.expected_u_mm[0, 0] < 0.04
    mean = float(np.mean([row.place_mm[0] for row in rows[::2]]))  # type: ignore[arg-type]
    assert abs(found.expected_mm[0, 0] - truth) < 0.5 * abs(mean - truth)


def test_a_correction_ends_the_suspects_and_begins_anew() -> None:
    cell = shop((0.03, 0.0, 0.0), at=15)
    fixed = replace(cell.drift, corrected=(date.fromordinal(START + 20),))
    back = tuple(
        replace(row, place_mm=(row.place_mm[0] - 0.03, *row.place_mm[1:]))  # type: ignore[operator]
        if row.day >= START + 20
        else row
        for row in cell.days
    )
    answer = told(replace(cell, drift=fixed, days=back))
    assert answer.verdict is Verdict.YES
    assert answer.headline.startswith("Nothing has moved since 2026-03-22")
    (level, _) = answer.table("changes").rows
    assert level[-1] == "2026-03-22"
    (past,) = Findings(replace(cell, drift=fixed, days=back)).drift.past
    # The last good check counts, the day of the correction does not.
    assert [day - START for day, _, _ in past.suspects.rows] == [14, 15, 16, 17, 18, 19]


def test_a_shift_that_the_work_bears() -> None:
    cell = shop((0.012, 0.0, 0.0))
    answer = told(replace(cell, drift=replace(cell.drift, limit=Amount(0.05))))
    assert answer.verdict is Verdict.YES_IF
    assert "within the 0.050 mm" in answer.headline


def test_too_few_mornings_name_the_check() -> None:
    answer = told(shop(days=2))
    assert answer.verdict is Verdict.CANNOT_TELL
    assert "gudgeon day" in answer.next_step
    assert len(answer.table("suggested").rows) == 2
    assert told(replace(shop(), days=())).verdict is Verdict.CANNOT_TELL


def test_it_speaks_in_inches_where_the_shop_does() -> None:
    cell = shop((0.03, 0.0, 0.0))
    answer = told(replace(cell, shop=replace(cell.shop, units="in")))
    figure = answer.figure("moved_x")
    assert figure.unit == "in"
    assert figure.value == pytest.approx(0.03 / 25.4, abs=1e-4)


# --- before the first mornings ------------------------------------------------------------------


def placed(cell: Cell, at: tuple[Amount, Amount, Amount]) -> Cell:
    """Return the cell without days, its two checks at a place of the platter."""
    checks = tuple(replace(check, at=at) for check in cell.checks)
    return replace(cell, checks=checks, days=())


def test_the_first_check_is_expected_where_the_axis_lines_carry_it() -> None:
    """Plain turns about the two lines; both turn the work against the right-hand rule."""
    at = (Amount(80.0, 0.0), Amount(30.0, 0.0), Amount(45.0, 0.0))
    cell = placed(shop(), at)
    lines = Findings(cell).axis_lines
    tilt, _rotary = (axis.line for axis in lines.chain.axes)
    rest = lines.platter_origin_of(lines.values) + Findings(cell)._platter_on(lines.values) @ [
        80.0,
        30.0,
        45.0,
    ]
    level, tilted = Findings(cell).first_checks
    assert level.expected_mm == pytest.approx(rest, abs=1e-9)
    wanted = turn_about(tilt, -np.pi / 2) @ np.append(rest, 1.0)
    assert tilted.expected_mm == pytest.approx(wanted[:3], abs=1e-9)

    answer = told(cell)
    assert answer.verdict is Verdict.CANNOT_TELL
    rows = answer.table("first_checks").rows
    assert [row[0] for row in rows] == ["ball level", "ball tilted"]
    assert [row[2] for row in rows] == pytest.approx(
        [one.expected_mm[0] for one in (level, tilted)], abs=1e-4
    )


def test_how_sure_it_is_comes_from_lines_place_and_reading() -> None:
    """The entries' own uncertainty, place and reading apart: sums of squares, worked out here."""
    loose = (Amount(80.0, 0.0), Amount(30.0, 0.04), Amount(45.0, 0.0))
    firm = (Amount(80.0, 0.0), Amount(30.0, 0.0), Amount(45.0, 0.0))
    cell = shop()
    cell = replace(cell, drift=replace(cell.drift, reading_u=Amount(0.003)))
    lines = Findings(cell).axis_lines
    (level, tilted), (level_0, tilted_0) = (
        Findings(placed(cell, at)).first_checks for at in (loose, firm)
    )
    # +- 0.04 is 0.02 at k = 1.  Y of the place is Y of the machine when level, and Z when tilted
    # by a quarter.
    extra = level.expanded_mm**2 - level_0.expanded_mm**2
    assert extra == pytest.approx([0.0, (lines.k95 * 0.02) ** 2, 0.0], abs=1e-6)
    extra = tilted.expanded_mm**2 - tilted_0.expanded_mm**2
    assert extra == pytest.approx([0.0, 0.0, (lines.k95 * 0.02) ** 2], abs=1e-6)
    wider = replace(cell, drift=replace(cell.drift, reading_u=Amount(0.005)))
    more = Findings(placed(wider, firm)).first_checks[0].expanded_mm ** 2 - level_0.expanded_mm**2
    assert more == pytest.approx(np.full(3, lines.k95**2 * (0.005**2 - 0.003**2)), rel=1e-6)
    assert np.all(level_0.expanded_mm > lines.k95 * 0.003 * (1.0 + 1e-9))


def test_a_place_without_axis_lines_says_what_is_missing() -> None:
    cell = placed(shop(), (Amount(80.0), Amount(30.0), Amount(45.0)))
    bare = replace(cell, touches=(), unit=replace(cell.unit, face_height=None))
    answer = told(bare)
    assert answer.verdict is Verdict.CANNOT_TELL
    assert any("[[checks]] at" in text for text in answer.cautions)


@settings(deadline=None, max_examples=25, suppress_health_check=list(HealthCheck))
@given(
    st.lists(
        st.tuples(
            st.integers(0, 9),
            st.sampled_from(["", "a", "ball tilted"]),
            st.lists(st.sampled_from([None, 0.0, 1.0, 1.001, -300.0]), min_size=3, max_size=3),
            st.sampled_from([None, 19.0, 20.0, 35.5]),
            st.sampled_from([None, 0.003]),
        ),
        max_size=14,
    )
)
def test_any_record_is_answered(
    rows: list[tuple[int, str, list[float | None], object, object]],
) -> None:
    days = tuple(
        DayRow(i, START + day, True, "", name, (x, y, z), warm, u)  # type: ignore[arg-type]
        for i, (day, name, (x, y, z), warm, u) in enumerate(sorted(rows, key=lambda r: r[0]))
        if any(v is not None for v in (x, y, z))
    )
    answer = told(replace(shop(days=1), days=days))
    text = json.dumps(answer.as_data(), allow_nan=False)
    assert json.loads(text)["question"] == "drifted"


# --- the command --------------------------------------------------------------------------------


@pytest.fixture
def cell_file(tmp_path: Path) -> Path:
    path = tmp_path / "cell.toml"
    path.write_text('[shop]\nunits = "in"\n[[checks]]\nname = "ball"\nfeature = "ball"\n')
    return path


def test_a_check_is_kept_listed_and_corrected(
    cell_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    day = ["day", str(cell_file)]
    assert main([*day, "x=1.0", "y=2.0", "z=3.0", "t=20.5", "date=2026-03-02"]) == 0
    assert main([*day, "x=1.0", "y=2.0", "z=3.0", "t=20.5", "date=2026-03-02"]) == 0
    assert "there already" in capsys.readouterr().out
    assert main([*day, "x=1.5", "--correct", "1"]) == 0
    assert main(day) == 0
    listed = capsys.readouterr().out.splitlines()
    assert re.search(r"1 2026-03-02 ball X 1\.0000 .* corrected by row 2", listed[-2])
    assert re.search(r"2 2026-03-02 ball X 1\.5000 Y 2\.0000 Z 3\.0000 in 20\.5", listed[-1])
    (row,) = load(cell_file).cell.days  # type: ignore[union-attr]
    assert row.place_mm == pytest.approx((38.1, 50.8, 76.2))


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["x=1", "x=2"], "given twice"),
        (["hight=1"], "not known"),
        (["x=1,5"], "no number"),
        (["t=20"], "no coordinate"),
        (["name=bal", "x=1"], "none of"),
        (["x=1", "date=monday"], "no date"),
        (["nothing.csv"], "cannot read"),
        (["x=1", "--correct", "5"], "no checks are kept"),
    ],
)
def test_slips_keep_nothing(
    cell_file: Path, words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["day", str(cell_file), *words]) == 2
    assert said in " ".join(capsys.readouterr().err.split())
    assert main(["day", str(cell_file)]) == 0
    assert "no checks are kept yet" in capsys.readouterr().out


def test_a_table_is_kept_and_asked_about(
    cell_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    chance = np.random.default_rng(2)
    lines = ["date,x,y,z,t"]
    for i in range(15):
        day = (date(2026, 3, 2) + timedelta(days=i)).isoformat()
        lines.append(",".join([day, *(f"{v:.4f}" for v in chance.normal(8.0, 1e-4, 3)), "20"]))
    (tmp_path / "days.csv").write_text("\n".join(lines))
    assert main(["day", str(cell_file), str(tmp_path / "days.csv")]) == 0
    assert "15 rows" in capsys.readouterr().out
    assert main(["ask", "drifted", str(cell_file)]) == 0
    assert "Nothing has moved since 2026-03-02" in capsys.readouterr().out


def test_a_correction_after_the_newest_check_is_not_covered_by_it() -> None:
    cell = shop((0.03, 0.0, 0.0))
    newest = max(row.day for row in cell.days)
    for later, verdict in ((0, Verdict.YES), (1, Verdict.CANNOT_TELL), (9999, Verdict.CANNOT_TELL)):
        put_right = replace(cell.drift, corrected=(date.fromordinal(newest + later),), limit=None)
        answer = told(replace(cell, drift=put_right))
        assert answer.verdict is verdict
        assert any(table.name == "changes" for table in answer.tables)
        if later:
            assert answer.missing
            assert "set anew" in answer.headline
        else:
            assert "as far as 1 check over 0 days tell" in answer.headline


def test_a_hole_is_placed_across_its_axis() -> None:
    """By hand: -R' d for the bore (tilted up) less that for the flank, along the flank's normal."""
    answer = told(shop((0.03, -0.02, 0.01), noise=1e-6))
    rows = {(row[0], row[1]): row[2] for row in answer.table("dimensions").rows}
    # Front station: bore off by -0.03 in X; right flank, then looking up, by -0.01.  The bore lies
    # on the X- side of the flank, so that the distance grows by 0.03 - 0.01.
    assert rows["bore off right flank", "front"] == pytest.approx(0.02, abs=1e-4)


def test_two_holes_are_apart_square_to_the_axis_of_the_first() -> None:
    """Plain turns of the shift into the part for each bore, along the way between them."""
    cell = shop()
    (part,) = cell.parts
    first = next(one for one in part.features if one.name == "pump bore")
    second = replace(first, name="oil bore", face="top", at=(mm(12.0), mm(0.0), mm(60.0)))
    part = replace(part, features=(*part.features, second))
    entry = replace(
        next(one for one in cell.dimensions if one.name == "bore under top"),
        name="bores apart",
        measured_from="oil bore",
        tolerance=mm(0.05),
    )
    cell = replace(cell, parts=(part,), dimensions=(entry,))
    findings = Findings(cell)
    shift = np.array([0.03, -0.02, 0.01])
    found = findings.dimension_shifts(findings.face_shifts("unit", shift))
    assert {one.station for one in found} == {station.name for station in cell.stations}
    zeros = {(zero.station, zero.face): zero for zero in findings.offsets.zeros}
    turns = {station.name: station.turn for station in cell.stations}
    normal = np.array(next(f.normal for f in part.faces if f.name == "outside"))
    # From the oil bore to the pump bore, less what runs along the pump bore.
    way = np.array([-12.0, -30.0, -25.0])
    way = way - normal * float(normal @ way)
    way = way / np.linalg.norm(way)
    x = AxisLine((0.0, 0.0, 0.0), (1.0, 0.0, 0.0))
    z = AxisLine((0.0, 0.0, 0.0), (0.0, 0.0, 1.0))
    for one in found:
        off = []
        for face in ("outside", "top"):
            angles = zeros[one.station, face].angles_rad
            assert angles is not None
            into = turn_about(x, -angles[0]) @ turn_about(z, -angles[1])
            turn = turns[one.station]
            if turn is not None:
                into = into @ turn_about(z, turn.value)
            off.append(-into[:3, :3].T @ shift)
        by = float((off[0] - off[1]) @ way)
        assert abs(by) > 1e-3
        assert one.by_mm == pytest.approx(by, abs=1e-9)
        assert one.share == pytest.approx(abs(by) / 0.05)
