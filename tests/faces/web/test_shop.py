"""Which files are the shop's, and whether they have changed."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gudgeon.faces.web.shop import Shop

CELL = """
[shop]
name = "Test"
[readings]
file = "readings.csv"
[drift]
days = "days.csv"
[[models]]
file = "models/vise.stl"
[[programs]]
file = "part.nc"
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    folder = tmp_path / "shop"
    (folder / "models").mkdir(parents=True)
    (folder / ".gudgeon").mkdir()
    (tmp_path / "outside.nc").write_text("G0 X0\n")
    for name in ("readings.csv", "days.csv", "models/vise.stl", "part.nc", "O1000.nc", "b.nc"):
        (folder / name).write_text(name)
    (folder / "cell.toml").write_text(CELL)
    (folder / ".gudgeon" / "kept.json").write_text("{}")
    (folder / "link.nc").symlink_to(tmp_path / "outside.nc")
    (folder / "way").symlink_to(tmp_path)
    (folder / "within.nc").symlink_to(folder / "part.nc")
    return folder


@pytest.fixture
def shop(folder: Path) -> Shop:
    return Shop(folder / "cell.toml")


@pytest.mark.parametrize("name", ["part.nc", "models/vise.stl", "within.nc"])
def test_files_of_the_folder_are_found(shop: Shop, folder: Path, name: str) -> None:
    assert shop.inside(name) == folder / name


@pytest.mark.parametrize(
    "name",
    [
        "",
        ".",
        "..",
        "../outside.nc",
        "models/../../outside.nc",
        "models/../part.nc",
        "./part.nc",
        "models//vise.stl",
        "models",
        "models/",
        "link.nc",
        "way/outside.nc",
        ".gudgeon/kept.json",
        "part.nc\0",
        "part.nc\n",
        "models\\vise.stl",
        "..\\outside.nc",
        "C:part.nc",
        "C:/part.nc",
        "\\\\server\\share\\part.nc",
        "/etc/passwd",
        "~/part.nc",
        "part.nc/",
        "%2e%2e/outside.nc",
        "a" * 300,
        "x/" * 120 + "y",
        "nothing.nc",
        "\ud800.nc",
    ],
)
def test_no_other_name_leads_to_a_file(shop: Shop, name: str) -> None:
    assert shop.inside(name) is None


def test_nor_does_an_absolute_one(shop: Shop, folder: Path) -> None:
    assert shop.inside(str(folder / "part.nc")) is None


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=300)
@given(
    name=st.lists(
        st.sampled_from(["..", ".", "/", "\\", "way", "shop", "part.nc", "outside.nc", "link.nc"]),
        max_size=8,
    ).map("".join)
    | st.text(max_size=30)
)
def test_whatever_is_found_lies_in_the_folder(shop: Shop, folder: Path, name: str) -> None:
    found = shop.inside(name)
    assert found is None or found.resolve().is_relative_to(folder.resolve())


def test_pipes_and_other_devices_are_no_files(shop: Shop, folder: Path) -> None:
    if not hasattr(os, "mkfifo"):
        pytest.skip("this system has no named pipes")
    os.mkfifo(folder / "pipe.nc")
    assert shop.inside("pipe.nc") is None


def test_the_cells_of_the_folder_are_listed(shop: Shop, folder: Path) -> None:
    (folder / "another.toml").write_text("")
    (folder / "abroad.toml").symlink_to(folder.parent / "outside.nc")
    assert shop.cells() == ["another.toml", "cell.toml"]


@pytest.mark.parametrize(
    "name", ["cell.toml", "readings.csv", "days.csv", "models/vise.stl", "cell.days.sqlite"]
)
def test_a_file_that_the_cell_names_counts_for_every_answer(
    shop: Shop, folder: Path, name: str
) -> None:
    before = shop.look()
    file = folder / name
    file.write_text((file.read_text() if file.exists() else "") + "# more\n")
    after = shop.look()
    assert after.changed(before) == [name]
    assert after.inputs() != before.inputs()
    assert after.inputs("part.nc") != before.inputs("part.nc")
    file.unlink()
    assert name in shop.look().changed(after)


def test_a_program_counts_for_answers_about_it_alone(shop: Shop, folder: Path) -> None:
    def look() -> tuple[str, str, str]:
        files = shop.look(["b.nc"])
        return files.inputs(), files.inputs("part.nc"), files.inputs("b.nc")

    plain, part, other = look()
    (folder / "part.nc").write_text("G1\n")
    assert [a == b for a, b in zip(look(), (plain, part, other), strict=True)] == [1, 0, 1]
    plain, part, other = look()
    (folder / "O1000.nc").write_text("M99\n")  # either may call it by its number
    assert [a == b for a, b in zip(look(), (plain, part, other), strict=True)] == [1, 0, 0]
    assert part != other


def test_server_and_worker_agree_on_the_digest(shop: Shop, folder: Path) -> None:
    """The one looks at every program, the other at its own."""
    seen = shop.look(["b.nc", "models/vise.stl"])
    for program in (None, "part.nc", "b.nc"):
        assert seen.inputs(program) == Shop(folder / "cell.toml").inputs(program)


def test_only_programs_beside_a_program_can_be_called_by_it(shop: Shop, folder: Path) -> None:
    (folder / "models" / "b.nc").write_text("M98 P7\n")
    asked = ["models/b.nc"]
    before = shop.look(asked)
    (folder / "models" / "O7.nc").write_text("M99\n")
    after = shop.look(asked)
    assert after.inputs("part.nc") == before.inputs("part.nc") == shop.inputs("part.nc")
    assert after.inputs("models/b.nc") != before.inputs("models/b.nc")
    assert after.inputs("models/b.nc") == shop.inputs("models/b.nc")


def test_a_change_of_the_same_size_within_one_tick_is_seen(shop: Shop, folder: Path) -> None:
    file = folder / "readings.csv"
    before = shop.look()
    stamp = file.stat()
    file.write_text("READINGS.CSV")
    os.utime(file, ns=(stamp.st_atime_ns, stamp.st_mtime_ns))
    assert shop.look().changed(before) == ["readings.csv"]


def test_an_old_file_is_not_read_again(shop: Shop, folder: Path) -> None:
    file = folder / "readings.csv"
    os.utime(file, (1_000_000_000, 1_000_000_000))
    before = shop.look()
    stamp = file.stat()
    with file.open("r+b") as opened:  # the same size, file and time: only reading it would tell
        opened.write(b"R")
    os.utime(file, ns=(stamp.st_atime_ns, stamp.st_mtime_ns))
    assert shop.look().changed(before) == []
    os.utime(file, (1_000_000_001, 1_000_000_001))
    assert shop.look().changed(before) == ["readings.csv"]


def test_a_cell_file_that_is_no_toml_keeps_the_files_it_named(shop: Shop, folder: Path) -> None:
    before = shop.look()
    (folder / "cell.toml").write_text(CELL + "\n[oh")
    after = shop.look()
    assert after.changed(before) == ["cell.toml"]
    (folder / "readings.csv").write_text("more")
    assert shop.look().changed(after) == ["readings.csv"]
    (folder / "cell.toml").unlink()
    assert shop.look().cell == ""


def test_a_name_that_leads_outside_is_not_read(shop: Shop, folder: Path) -> None:
    (folder / "cell.toml").write_text(CELL.replace("readings.csv", "link.nc"))
    before = shop.look()
    assert before.digests["link.nc"] == ""
    (folder.parent / "outside.nc").write_text("changed")
    assert shop.look().changed(before) == []
