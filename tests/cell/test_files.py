"""Files on disk: safe writing, readings beside the cell, and texts that nobody should send."""

from __future__ import annotations

import json
import stat
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gudgeon.cell import files
from gudgeon.cell.faults import WIDTH, as_data, as_text
from gudgeon.cell.files import load, load_text, write_text_safely

ROOT = Path(__file__).parents[2]
CELLS = sorted([*ROOT.glob("demo/*.toml"), *ROOT.glob("tests/cases/case-*.toml")])


def test_writes_whole_or_not_at_all(tmp_path: Path) -> None:
    path = tmp_path / "cell.toml"
    write_text_safely(path, "[shop]\n")
    assert path.read_bytes() == b"[shop]\n"
    assert list(tmp_path.iterdir()) == [path]
    assert stat.S_IMODE(path.stat().st_mode) == 0o644


def test_does_not_overwrite_unless_told(tmp_path: Path) -> None:
    path = tmp_path / "cell.toml"
    path.write_text("mine")
    with pytest.raises(FileExistsError):
        write_text_safely(path, "theirs")
    assert path.read_text() == "mine"
    write_text_safely(path, "theirs", overwrite=True)
    assert path.read_text() == "theirs"
    assert list(tmp_path.iterdir()) == [path]


def test_a_disk_without_hard_links_is_written_to_as_well(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(self: Path, target: Path) -> None:
        raise OSError("no links here")

    monkeypatch.setattr(files.Path, "hardlink_to", refuse)
    write_text_safely(tmp_path / "a.toml", "one")
    with pytest.raises(FileExistsError):
        write_text_safely(tmp_path / "a.toml", "two")
    assert [path.read_text() for path in tmp_path.iterdir()] == ["one"]


def test_a_failed_write_leaves_nothing_behind(tmp_path: Path) -> None:
    with pytest.raises(OSError, match=r"."):
        write_text_safely(tmp_path / "no such folder" / "cell.toml", "x")
    with pytest.raises(UnicodeEncodeError):
        write_text_safely(tmp_path / "cell.toml", "\ud800")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "name",
    ["/etc/passwd", "../r.csv", "a/../../r.csv", "C:\\\\r.csv", "\\\\\\\\host\\\\r.csv", "\\\\r"],
)
def test_readings_elsewhere_are_not_opened(name: str, tmp_path: Path) -> None:
    path = tmp_path / "cell.toml"
    path.write_text(f'[readings]\nfile = "{name}"\n')
    assert [fault.code for fault in load(path).faults] == ["C025"]


def test_readings_in_a_folder_below_are_opened(tmp_path: Path) -> None:
    (tmp_path / "readings").mkdir()
    table = "what,tilt_deg,rotary_deg,side,x_mm,comp,u_mm\npin,0,0,X+,1,1,0.003\n"
    (tmp_path / "readings" / "r.csv").write_text(table)
    (tmp_path / "cell.toml").write_text('[readings]\nfile = "readings/r.csv"\n')
    loaded = load(tmp_path / "cell.toml")
    assert loaded.cell is not None
    assert len(loaded.cell.touches) == 1


def test_a_readings_table_from_an_old_spreadsheet(tmp_path: Path) -> None:
    """Latin-1 bytes, such as a degree sign in a remark, do not hide the numbers."""
    table = b"what,tilt_deg,rotary_deg,side,x_mm,comp,u_mm,note\npin,0,0,X+,1,1,0.003,20 \xb0C\n"
    (tmp_path / "r.csv").write_bytes(table)
    (tmp_path / "cell.toml").write_text('[readings]\nfile = "r.csv"\n')
    loaded = load(tmp_path / "cell.toml")
    assert loaded.cell is not None
    assert len(loaded.cell.touches) == 1


@pytest.mark.parametrize("path", CELLS, ids=lambda path: path.stem)
def test_the_cells_of_the_project_have_no_errors(path: Path) -> None:
    loaded = load(path)
    assert loaded.cell is not None, as_text(loaded.faults)
    assert loaded.errors == 0


# --- nothing that a user writes is raised -------------------------------------------------------

BASES = [path.read_text(encoding="utf-8") for path in CELLS] or ["[shop]\n"]
SCRAPS = st.sampled_from("\"'[]=#,.{}\\\n\r\t\x00\u2028\ud7ff\u201c") | st.sampled_from(
    ["[[", "1e999", "nan", "-", "+-", "to", "true", "EUR", "mm", "'''", '"""', "a.b.c = 1\n"]
)
LUMPS = st.sampled_from(
    ["1979-05-27", "07:32:00", "9" * 5000, "[" * 200, "[unit]\n", "[[tools]]\n"]
)
EDITS = st.lists(
    st.tuples(st.floats(0.0, 1.0), st.integers(0, 40), SCRAPS | LUMPS | st.text(max_size=6)),
    max_size=8,
)


def edited(text: str, edits: list[tuple[float, int, str]]) -> str:
    for at, gone, new in edits:
        place = int(at * len(text))
        text = text[:place] + new + text[place + gone :]
    return text


@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.sampled_from(BASES), EDITS)
def test_a_mutilated_cell_file_gives_a_cell_or_faults(
    base: str, edits: list[tuple[float, int, str]]
) -> None:
    loaded = load_text(edited(base, edits))

    assert (loaded.cell is None) == (loaded.errors > 0)
    text = as_text(loaded.faults)
    assert text.isascii()
    assert all(len(line) <= WIDTH for line in text.splitlines())
    assert len(json.loads(json.dumps(as_data(loaded.faults)))) == len(loaded.faults)


@settings(max_examples=60, deadline=None)
@given(st.binary(max_size=300))
def test_any_bytes_give_a_cell_or_faults(
    tmp_path_factory: pytest.TempPathFactory, raw: bytes
) -> None:
    path = tmp_path_factory.mktemp("bytes") / "cell.toml"
    path.write_bytes(raw)
    loaded = load(path)
    assert (loaded.cell is None) == (loaded.errors > 0)


@pytest.mark.parametrize(
    "text",
    [
        "x = " + "[" * 5000,
        "x = " + "9" * 10_000,
        "a." * 3000 + "b = 1",
        "[" + "a." * 3000 + "b]",
        "x = 1\n" * 3000,
        "[[a]]\n" * 3000,
        "\u2028[unit]\u2028",
        "[unit]\nmass = 1 kg\n" * 50,
        "unit = 1\n",
        "unit = []\n",
        "stations = [1]\n",
        "stations = {}\n",
        "[unit]\nmass = { a = 1 }\n",
        "[unit]\nmass = [[1]]\n",
        "[unit]\nmass = 1979-05-27\n",
        "[unit]\nmass = nan\nbrake_safety = nan\nlugs_needed = 1e400\n",
        f"[unit]\nlugs_needed = {10**300}\nbrake_safety = {10**400}\n",
        "[[parts]]\n[[parts.faces]]\nnormal = [nan, 0, 1]\n",
        f"[[parts]]\n[[parts.faces]]\nnormal = [{10**400}, 0, 1]\n",
        '[readings]\nfile = "\\u0000"\n',
    ],
    ids=lambda text: text[:20],
)
def test_hostile_files_end_in_faults(text: str) -> None:
    loaded = load_text(text)
    assert loaded.cell is None
    assert as_text(loaded.faults).isascii()
