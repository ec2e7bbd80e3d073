"""Readings tables: the shared ones as they are, spreadsheets as they come, and every slip."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gudgeon.cell.checks import measured_face_height
from gudgeon.cell.faults import as_text
from gudgeon.cell.files import Loaded, load_text
from gudgeon.cell.model import Touch

SHARED = Path(__file__).parents[3] / "shared"
ROWS = """\
id,what,A_deg,C_deg,side,X_mm,Y_mm,Z_mm
1,platter face,90,0,Y+,-381.0,-101.976,-404.0
2,platter face,-90,0,Y-,-381.0,-158.000,-404.0
3,platter face,0,0,Z+,-381.0,-130.0,-376.970
4,pin,0,180,X+,-310.236,,
"""


def cell_with(table: str, more: str = "", units: str = "mm", readings: str | None = None) -> Loaded:
    given = 'ball_diameter = "6 mm"\ncompensated = false\nreading_u = "0.003 mm"\n'
    text = f'[shop]\nunits = "{units}"\n{more}\n[readings]\nfile = "r.csv"\n'
    text += given if readings is None else readings
    return load_text(text, readings=lambda name, at: table)


def touches(table: str, more: str = "", units: str = "mm") -> tuple[Touch, ...]:
    loaded = cell_with(table, more, units)
    assert loaded.cell is not None, as_text(loaded.faults)
    return loaded.cell.touches


def codes(loaded: Loaded) -> list[str]:
    return [fault.code for fault in loaded.faults]


# --- what is read -------------------------------------------------------------------------------


def test_side_is_the_outward_normal_and_toward_its_opposite() -> None:
    rows = touches(ROWS)
    assert [row.toward for row in rows] == ["Y-", "Y+", "Z-", "X-"]
    assert [row.feature for row in rows] == ["face", "face", "face", "pin"]
    assert {row.kind for row in rows} == {"touch"}
    assert rows[0].tilt_rad == math.pi / 2
    assert rows[1].tilt_rad == -math.pi / 2
    assert rows[3].rotary_rad == math.pi
    assert rows[0].position_mm == (-381.0, -101.976, -404.0)
    assert rows[3].position_mm == (-310.236, None, None)
    assert {(row.radius_mm, row.compensated, row.u_mm) for row in rows} == {(3.0, False, 0.003)}
    assert [row.row for row in rows] == [2, 3, 4, 5]


def test_the_approach_may_be_given_instead() -> None:
    other = ROWS.replace("side", "toward").replace("Y+", "-Y").replace("Y-", "+y")
    other = other.replace("Z+", "z-").replace("X+", "X-")
    assert [row.toward for row in touches(other)] == ["Y-", "Y+", "Z-", "X-"]


@pytest.mark.parametrize("unit", ["_in", "_inch", " [in]", " (Inch)", " in"])
def test_inches(unit: str) -> None:
    table = "what,tilt_deg,rotary_deg,side,x_in,y_in,z_in\nface,0,0,Z+,-15,-5,1\n"
    table = table.replace("_in", unit)
    (row,) = touches(table)
    assert row.position_mm == pytest.approx((-381.0, -127.0, 25.4))


def test_a_header_without_units_takes_the_shop_s_and_says_so() -> None:
    table = "what,tilt,rotary,side,x,y,z\nface,90,0,Y+,1,2,3\n"
    for units, factor in (("mm", 1.0), ("in", 25.4)):
        loaded = cell_with(table, units=units)
        assert codes(loaded) == ["K008"]
        assert loaded.cell is not None
        (row,) = loaded.cell.touches
        assert row.position_mm == pytest.approx((factor, 2 * factor, 3 * factor))
        assert row.tilt_rad == math.pi / 2


@pytest.mark.parametrize(
    ("more", "tilt", "rotary"),
    [
        ("", "A", "C"),
        ("", "B", "C"),
        ('[control]\ntilt_letter = "B"\nrotary_letter = "A"\n', "B", "A"),
        ('[control]\ntilt_letter = "A"\n', "A", "C"),
    ],
)
def test_letters_of_the_control_name_the_columns(more: str, tilt: str, rotary: str) -> None:
    table = f"what,{tilt}_deg,{rotary} [deg],side,x_mm,y_mm,z_mm\nface,90,180,Y+,1,2,3\n"
    (row,) = touches(table, more)
    assert (row.tilt_rad, row.rotary_rad) == (math.pi / 2, math.pi)


def test_a_single_axis_needs_no_tilt() -> None:
    more = '[unit]\nkind = "rotary only"\n[control]\nrotary_letter = "A"\n'
    (row,) = touches("what,A_deg,side,x_mm,y_mm,z_mm\npin,90,Y+,1,2,3\n", more)
    assert (row.tilt_rad, row.rotary_rad) == (0.0, math.pi / 2)


def test_a_measured_centre_needs_x_and_y_only() -> None:
    table = "what,tilt_deg,rotary_deg,side,x_mm,y_mm\npin centre,0,0,,1,2\nbore,0,90,,3,4\n"
    one, two = touches(table)
    assert (one.kind, one.feature, one.toward) == ("bore", "pin", "")
    assert (two.kind, two.feature, two.position_mm) == ("bore", "bore", (3.0, 4.0, None))


def test_rows_may_say_radius_compensation_and_uncertainty_themselves() -> None:
    table = "what,tilt_deg,rotary_deg,side,x_mm,r_mm,comp,u_mm\npin,0,0,X+,1,2,1,0.005\n"
    table += "pin,0,0,X-,9,,,\n"
    one, two = touches(table)
    assert (one.radius_mm, one.compensated, one.u_mm) == (2.0, True, 0.005)
    assert (two.radius_mm, two.compensated, two.u_mm) == (3.0, False, 0.003)


SPREADSHEETS = {
    "byte order mark": "\ufeff" + ROWS,
    "windows": ROWS.replace("\n", "\r\n"),
    "semicolons": ROWS.replace(",", ";"),
    "tabs": ROWS.replace(",", "\t"),
    "separator note": "sep=;\n" + ROWS.replace(",", ";"),
    "trailing": ROWS.replace("\n", ",,,\n"),
    "empty rows": ROWS.replace("\n", "\n,,,,,,,\n\n"),
    "quoted": ROWS.replace("platter face", '"Platter Face"').replace(",90,", ',"90" ,'),
    "remarks": "# first\n" + ROWS.replace("\n3,", "\n# between\n3,"),
    "capitals": ROWS.replace("id,what", "ID,WHAT").replace("side", "Side"),
    "blanks": ROWS.replace(",", " , "),
    "no last line feed": ROWS.rstrip("\n"),
}


@pytest.mark.parametrize("name", SPREADSHEETS)
def test_spreadsheets_are_read_as_they_come(name: str) -> None:
    def bare(rows: tuple[Touch, ...]) -> list[tuple[object, ...]]:
        return [(row.name, row.toward, row.tilt_rad, row.position_mm) for row in rows]

    assert bare(touches(SPREADSHEETS[name])) == bare(touches(ROWS))


@given(st.permutations(range(8)))
def test_the_order_of_columns_does_not_matter(order: list[int]) -> None:
    shuffled = "\n".join(
        ",".join(line.split(",")[place] for place in order) for line in ROWS.splitlines()
    )
    assert touches(shuffled) == touches(ROWS)


def test_a_row_typed_twice_counts_once_whatever_its_mark() -> None:
    loaded = cell_with(ROWS + "5,pin,0,180,x+,-310.2360,,\n")
    assert codes(loaded) == ["K009"]
    assert loaded.cell is not None
    assert len(loaded.cell.touches) == 4


# --- the shared tables --------------------------------------------------------------------------


def shared(path: str) -> Path:
    file = SHARED / path
    if not file.exists():
        pytest.skip("the shared readings are not beside this checkout")
    return file


def test_reads_the_first_acceptance_case_as_it_is(tmp_path: Path) -> None:
    """Face height by hand: (-101.976 + 158.000) / 2 - 3 = 25.012 mm."""
    rows = touches(shared("cases/case-1/readings.csv").read_text())
    assert len(rows) == 11
    found = measured_face_height(rows)
    assert found is not None
    assert found[0] == pytest.approx(25.012)


def test_reads_the_simulated_readings_as_they_are(tmp_path: Path) -> None:
    loaded = cell_with(shared("data/axis-readings/open1_hand.csv").read_text())
    assert codes(loaded) == ["K008"]
    assert loaded.cell is not None
    rows = loaded.cell.touches
    assert len(rows) == 21
    assert sum(row.kind == "bore" for row in rows) == 6
    assert rows[0].toward == "Y+"
    assert {row.compensated for row in rows} == {True}
    assert {row.u_mm for row in rows} == {0.005}


def test_reads_the_simulated_balls_as_they_are() -> None:
    loaded = cell_with(shared("data/axis-readings/open2_sphere_yaw37.csv").read_text())
    assert codes(loaded) == ["K008"]
    assert loaded.cell is not None
    rows = loaded.cell.touches
    assert {(row.kind, row.feature, row.toward) for row in rows} == {("ball", "ball s1", "")}
    assert rows[0].position_mm == (243.819, 90.408, 140.442)
    assert [row.seat for row in rows] == list(range(len(rows)))
    assert {(row.temperature_c, row.u_mm, row.radius_mm) for row in rows} == {(20.0, 0.003, 0.0)}


# --- indicator, ball, level ---------------------------------------------------------------------


def test_rows_of_an_indicator_share_the_zero_that_nobody_knows() -> None:
    table = (
        "what,kind,A_deg,C_deg,side,x_mm,y_mm,z_mm,dial_mm,zero\n"
        "face,sweep,0,0,Z+,1,2,3,0,\n"
        "face,sweep,0,90,Z+,1,2,3,-0.012,\n"
        "pin,,0,90,X+,1,2,3,0.02,\n"
        "face,,0,180,Z+,1,2,3,0.01,second\n"
        "face,touch,0,180,Z+,1,2,3.5,0.01,\n"
    )
    rows = touches(table)
    assert [row.kind for row in rows] == ["sweep", "sweep", "sweep", "sweep", "touch"]
    assert [row.zero for row in rows] == ["sweep 2", "sweep 2", "sweep 4", "second", ""]
    assert [row.dial_mm for row in rows] == [0.0, -0.012, 0.02, 0.01, 0.01]
    assert [row.seat for row in rows] == [0, 1, 1, 2, 2]
    assert rows[0].compensated, "the tip's radius goes into the zero"
    assert [row.toward for row in rows[:3]] == ["Z-", "Z-", "X-"]


def test_a_pose_that_comes_back_is_a_new_seat() -> None:
    table = "what,A_deg,C_deg,x_mm,y_mm\npin,0,0,1,2\npin,0,0,1,3\npin,0,90,1,2\npin,0,0,1,4\n"
    assert [row.seat for row in touches(table)] == [0, 0, 1, 2]


@pytest.mark.parametrize(
    ("head", "value", "rad"),
    [
        ("angle_mm/m", "0.04", math.atan2(0.04, 1000.0)),
        ("level [arcsec]", "-8", -8.0 * math.pi / 648000.0),
        ("Angle (deg)", "0.01", math.radians(0.01)),
        ("angle_in/ft", "0.0005", 0.0005 / 12.0),
        ("angle", "0.01 deg", math.radians(0.01)),
    ],
)
def test_a_level(head: str, value: str, rad: float) -> None:
    table = f"what,A_deg,C_deg,side,{head},u_angle_arcsec\nlevel,0,90,x+,{value},4\n"
    (row,) = touches(table)
    assert (row.kind, row.feature, row.toward) == ("level", "level", "X+")
    assert row.angle_rad == pytest.approx(rad, rel=1e-8)
    assert row.u_mm == pytest.approx(4.0 * math.pi / 648000.0)
    assert math.isnan(touches(ROWS)[0].angle_rad)


def test_a_level_must_say_how_sure_it_is() -> None:
    table = "what,A_deg,C_deg,side,angle_deg\nlevel,0,90,x+,0.001\n"
    assert codes(cell_with(table)) == ["K012"]
    more = 'level_u = "4 arcsec"\n'
    assert codes(cell_with(table, readings=more)) == []
    assert codes(cell_with(table.replace("x+", "z+"), readings=more)) == ["K007"]
    # As it is marked on the level itself.
    marked = cell_with(table, readings='level_u = "0.02 mm/m"\n')
    assert codes(marked) == []
    assert marked.cell is not None
    assert marked.cell.touches[0].u_mm == math.atan(2e-5)


def test_a_ball_counts_what_was_noted() -> None:
    table = "what,A_deg,C_deg,x_mm,y_mm,z_mm\nball,0,0,1,,3\nsphere east,0,90,,2,\n"
    one, two = touches(table)
    assert (one.feature, one.position_mm) == ("ball 1", (1.0, None, 3.0))
    assert (two.feature, two.position_mm) == ("ball east", (None, 2.0, None))


def test_day_temperature_tool_and_step() -> None:
    head = "what,A_deg,C_deg,side,x_mm,T_F,date,tool,step_in\n"
    row = "pin,0,0,X+,1,68,2026-03-04 07:10,probe no. 2,0.0005\n"
    (one,) = touches(head + row)
    assert one.temperature_c == pytest.approx(20.0)
    assert (one.day, one.tool, one.step_mm) == ("2026-03-04", "probe no. 2", 0.0127)
    (other,) = touches(ROWS.splitlines()[0] + "\n" + ROWS.splitlines()[1] + "\n")
    assert (other.day, other.tool, other.step_mm) == ("", "", 0.0)
    assert math.isnan(other.temperature_c)


def test_the_same_digits_on_another_day_are_another_reading() -> None:
    table = "what,A_deg,C_deg,side,x_mm,date\npin,0,0,X+,1,2026-03-04\npin,0,0,X+,1,2026-03-05\n"
    assert len(touches(table)) == 2


NUMBERS = {
    "-101,976": -101.976,
    "\u2212101,976": -101.976,
    "1\u202f234,5": 1234.5,
    '"1\u00a0234,5"': 1234.5,
    "2": 2.0,
}


@pytest.mark.parametrize("text", NUMBERS)
def test_a_comma_is_a_point_where_semicolons_part_the_columns(text: str) -> None:
    table = f"what;A_deg;C_deg;side;x_mm;y_mm\npin;0,5\u00b0;0 deg;X+;{text};-2,5\n"
    (row,) = touches(table)
    assert row.position_mm == (NUMBERS[text], -2.5, None)
    assert row.tilt_rad == pytest.approx(math.radians(0.5))


@pytest.mark.parametrize("text", ["1,234.5", "1,5,5", "1 234", "12\u00a034", "5 mm", "1'30"])
def test_what_could_be_read_in_two_ways_is_refused(text: str) -> None:
    loaded = cell_with(f"what;A_deg;C_deg;side;x_mm\npin;0;0;X+;{text}\n")
    assert loaded.cell is None
    assert codes(loaded)[0] in ("K005", "K015")


@pytest.mark.parametrize(
    ("text", "degrees"),
    [("1'30\"", "0.025"), ("-1\u00b0 30'", "-1.5"), ("89 59' 30''", "89.991667")],
)
def test_minutes_of_arc_are_refused_with_the_number_to_write(text: str, degrees: str) -> None:
    loaded = cell_with(f"what\tA_deg\tC_deg\tside\tx_mm\npin\t{text}\t0\tX+\t1\n")
    assert codes(loaded) == ["K026"]
    assert loaded.faults[0].do == f"write {degrees}"


def test_rows_not_read_yet_are_told_and_left() -> None:
    loaded = cell_with(ROWS + "5,pin,0,270,Y+,,,\n6,pin,0,270,Y-,,,\n")
    assert codes(loaded) == ["K029"]
    assert loaded.faults[0].what == "lines 6 to 7 of the readings are not filled in yet"
    assert loaded.cell is not None
    assert len(loaded.cell.touches) == 4
    bare = cell_with(ROWS.splitlines()[0] + "\n5,pin,0,270,Y+,,,\n")
    assert (codes(bare), bare.cell and bare.cell.touches) == (["K029"], ())


# --- what is refused ----------------------------------------------------------------------------


def test_what_nobody_says_is_asked_for_once() -> None:
    loaded = cell_with(ROWS, readings="")
    assert codes(loaded) == ["K012"] * 3
    assert loaded.cell is None
    bare = cell_with(ROWS, readings='compensated = true\nreading_u = "3 um"\n')
    assert codes(bare) == [], "the radius does not matter once it is taken off"


def test_every_bad_row_is_told_in_one_run() -> None:
    table = ROWS + "5,pin,0,0,up,1,,\n6,pin,x,0,X+,1,,\n7,pin,0,0,X+,,5,\n8,cone,0,0,X+,1,,\n"
    loaded = cell_with(table)
    assert codes(loaded) == ["K007", "K005", "K010", "K006"]
    assert [fault.places[0].line for fault in loaded.faults] == [6, 7, 8, 9]


@pytest.mark.parametrize("value", ["nan", "inf", "1e99", "1_000", "0x10", "--1", "1e9", "٣"])
def test_only_plain_numbers_are_numbers(value: str) -> None:
    assert codes(cell_with(ROWS + f"5,pin,0,0,X+,{value},,\n")) == ["K005"]


# --- the touches disprove the face height -------------------------------------------------------


@pytest.mark.parametrize(
    ("stated", "told"),
    [
        ("25 mm", []),
        ("-25 mm", ["C055"]),
        ("-25.012 mm +- 0.2 mm", ["C055"]),
        ("30 mm", []),
        ("0 mm", []),
        ("-0.2 mm", []),
        ("-25 mm +- 30 mm", []),
    ],
)
def test_face_height_with_the_wrong_sign(stated: str, told: list[str]) -> None:
    assert codes(cell_with(ROWS, f'[unit]\nface_height = "{stated}"\n')) == told


@pytest.mark.parametrize(("comp", "height"), [("0", 25.012), ("1", 28.012)])
def test_the_radius_is_taken_off_once(comp: str, height: float) -> None:
    lines = ROWS.splitlines()
    table = "\n".join([f"{lines[0]},comp", *(f"{line},{comp}" for line in lines[1:])])
    found = measured_face_height(touches(table))
    assert found is not None
    assert found[0] == pytest.approx(height)


def test_the_sense_does_not_matter_for_the_face_height() -> None:
    """With the other sense the same places are reached at the opposite tilts."""
    other = ROWS.replace(",90,0,Y+", ",-90,0,Y+").replace("2,platter face,-90", "2,platter face,90")
    one, two = measured_face_height(touches(ROWS)), measured_face_height(touches(other))
    assert one is not None
    assert two is not None
    assert one[0] == two[0]


def test_along_y_the_touches_are_in_x() -> None:
    table = "what,tilt_deg,rotary_deg,side,x_mm\nface,90,0,X+,-370\nface,-90,0,X-,-390\n"
    found = measured_face_height(touches(table))
    assert found is not None
    assert found[0] == pytest.approx(7.0)


def test_touches_at_other_turns_or_tilts_say_nothing() -> None:
    for change in ((",-90,0,Y-", ",-80,0,Y-"), (",-90,0,Y-", ",-90,90,Y-"), ("Y-", "Z-")):
        assert measured_face_height(touches(ROWS.replace(*change))) is None


# --- anything at all ----------------------------------------------------------------------------


@given(st.text(max_size=400))
def test_any_text_gives_touches_or_faults(table: str) -> None:
    loaded = cell_with(table)
    assert (loaded.cell is None) == any(fault.level == "error" for fault in loaded.faults)
    assert as_text(loaded.faults).isascii()


cells = st.sampled_from(
    [
        "",
        "1",
        "-2.5",
        "face",
        "pin",
        "bore centre",
        "X+",
        "-Z",
        "0,5",
        '"',
        "nan",
        "sphere",
        "#",
        "y",
    ]
)


@given(st.lists(st.lists(cells, max_size=9).map(",".join), max_size=6).map("\n".join))
def test_any_row_of_likely_pieces_gives_touches_or_faults(rows: str) -> None:
    loaded = cell_with(ROWS + rows)
    for touch in loaded.cell.touches if loaded.cell else ():
        assert math.isfinite(touch.tilt_rad)
        assert touch.u_mm > 0.0


def test_one_slip_through_the_whole_table_is_told_once() -> None:
    rows = [f"pin centre;0;0;-{number},5;-2,5" for number in range(1, 41)]
    table = "\n".join(["what;tilt_deg;rotary_deg;x_mm;y_mm", "pin;0;0;1.5;2", *rows])
    loaded = cell_with(table)
    assert codes(loaded) == ["K015"]
    assert loaded.faults[0].what.endswith("the same on lines 4 to 42")


def test_a_wrong_entry_of_the_section_is_not_told_again_as_lacking() -> None:
    wrong = 'ball_diameter = "6 mm"\ncompensated = no\nreading_u = "0.003 mm"\n'
    assert codes(cell_with(ROWS, readings=wrong)) == ["C008"]


def test_a_reading_beyond_the_travel_is_a_warning_in_the_shop_s_units() -> None:
    travel = '[machine]\ntravel_x = ["-30 in", "0 in"]\ntravel_y = ["-160 mm", "0 mm"]'
    table = ROWS.replace("-381.0,-130.0", "381.0,-130.0")
    loaded = cell_with(table, travel, units="in")
    assert codes(loaded) == ["K025"]
    assert loaded.faults[0].what == "X 15 in lies outside the travel"
    assert loaded.cell is not None
    assert codes(cell_with(ROWS, travel)) == []


@pytest.mark.parametrize(
    ("height", "lengths", "told"),
    [
        ("216 mm", "gauge", []),
        ("8.5 in", "gauge", []),
        ("8.5 mm", "gauge", ["C059"]),
        ("230 mm", "gauge", ["C059"]),
        ("230 mm +- 20 mm", "gauge", []),
        ("8.5 mm", "work", []),
    ],
)
def test_the_height_of_the_tilt_axis_against_the_touches(
    height: str, lengths: str, told: list[str]
) -> None:
    """Face 25.012 over the axis, touched at -376.970 - 3: the axis runs at -404.982 = 215 - 620."""
    more = f'[machine]\ngauge_to_table = "619.982 mm"\n[unit]\ntilt_axis_height = "{height}"\n'
    loaded = cell_with(ROWS, more + f'[control]\nlengths_from = "{lengths}"')
    assert codes(loaded) == told
    if told:
        assert "215.00 mm" in loaded.faults[0].do
