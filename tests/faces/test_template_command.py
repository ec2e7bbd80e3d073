"""The command ``gudgeon template``: a table to type into or to print."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from gudgeon.cell.files import load
from gudgeon.faces.terminal import main

DEMO = Path(__file__).parents[2] / "demo"
CELL = """\
[shop]
units = "mm"
[unit]
kind = "tilt and rotary"
tilt_range = ["-95 deg", "95 deg"]
face_height = "25 mm"
platter_diameter = "200 mm"
[placement]
tilt_along = "X"
centre_x = "-380 mm"
centre_y = "-130 mm"
[machine]
gauge_to_table = "620 mm"
[control]
tilt_letter = "A"
rotary_letter = "C"
tilt_sense = -1
rotary_sense = -1
[readings]
file = "touched.csv"
ball_diameter = "6 mm"
compensated = false
reading_u = "0.003 mm"
"""
SINGLE = """\
[shop]
units = "in"
[unit]
kind = "rotary only"
[placement]
yaw = "0 deg"
[control]
rotary_letter = "A"
rotary_sense = 1
"""


def written(folder: Path, text: str) -> list[list[str]]:
    (folder / "cell.toml").write_text(text)
    assert main(["template", str(folder / "cell.toml"), "--to", str(folder / "touched.csv")]) == 0
    return list(csv.reader((folder / "touched.csv").read_text().splitlines()))


def test_the_table_that_is_named_and_not_there_yet_is_made(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    head, *rows = written(tmp_path, CELL)
    at = head.index
    hand = [
        (row[at("what")], row[at("toward")], row[at("A_deg")], row[at("C_deg")]) for row in rows
    ]
    assert hand[:4] == [
        ("platter face", "Y-", "90", "0"),
        ("platter face", "Y+", "-90", "0"),
        ("platter face", "Z-", "0", "0"),
        ("bore", "X+", "0", "0"),
    ]
    assert [row[3] for row in hand[7:11]] == ["180"] * 4
    out = capsys.readouterr().out
    assert f"{len(rows)} readings to take" in out
    loaded = load(tmp_path / "cell.toml")
    assert [fault.code for fault in loaded.faults] == ["K029"]
    assert (
        main(["template", str(tmp_path / "cell.toml"), "--to", str(tmp_path / "touched.csv")]) == 2
    )


def test_what_was_read_already_is_not_asked_for_again(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "touched.csv").write_text(
        "what,A_deg,C_deg,toward,x_mm,y_mm,z_mm\n"
        "platter face,90,0,Y-,-380,-102.0,-404\nplatter face,-90,0,Y+,-380,-158.0,-404\n"
    )
    (tmp_path / "cell.toml").write_text(CELL.replace('face_height = "25 mm"\n', ""))
    assert main(["template", str(tmp_path / "cell.toml")]) == 0
    _, *rows = csv.reader(capsys.readouterr().out.splitlines())
    assert [row[2:6] for row in rows[:2]] == [
        ["platter face", "Z-", "0", "0"],
        ["bore", "X+", "0", "0"],
    ]


def test_a_page_to_print(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "cell.toml").write_text(CELL.replace('units = "mm"', 'units = "mm"\nname = "<b>"'))
    target = tmp_path / "touched.html"
    for _ in range(2):  # an earlier page is written anew
        assert main(["template", str(tmp_path / "cell.toml"), "--to", str(target)]) == 0
    page = target.read_text()
    assert "Readings to take: &lt;b&gt;" in page
    assert "<script" not in page
    assert page.count('<td class="blank">') >= 11 * 3


def test_a_single_axis_is_shown_on_the_screen(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "cell.toml").write_text(SINGLE)
    assert main(["template", str(tmp_path / "cell.toml")]) == 0
    head, *rows = csv.reader(capsys.readouterr().out.splitlines())
    assert head[:8] == ["id", "kind", "what", "toward", "A_deg", "x_in", "y_in", "z_in"]
    assert [row[3] for row in rows[:7]] == ["Y+", "Y-", "Z-", "Y+", "Y-", "Z-", "X-"]


def test_what_is_lacking_is_asked_for(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "cell.toml").write_text(CELL.replace("tilt_sense = -1\n", ""))
    assert main(["template", str(tmp_path / "cell.toml")]) == 3
    assert "sense of the tilt axis" in capsys.readouterr().err


def test_with_good_readings_only_what_would_help_is_named(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["template", str(DEMO / "juniper-street.toml")]) == 0
    rows = list(csv.reader(capsys.readouterr().out.splitlines()))
    assert 1 < len(rows) < 10
