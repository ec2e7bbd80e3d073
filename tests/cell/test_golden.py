"""Every fault code: a file that triggers it, and the stored text of the full message.

Set REWRITE_GOLDEN=1 to store afresh, then read the diff before you commit.
"""

from __future__ import annotations

import ast
import contextlib
import os
import re
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

import gudgeon.cell
from gudgeon.cell.faults import WIDTH, Fault, as_data, as_text
from gudgeon.cell.files import LARGEST_FILE, load
from gudgeon.cell.models_files import LARGEST_MODEL
from gudgeon.cell.readings import ROWS_MOST

HERE = Path(__file__).parent
FAULTY = HERE / "faulty"
GOLDEN = HERE / "golden"
READINGS = '[shop]\nunits = "mm"\n[readings]\nfile = "readings.csv"\n'


def no_file(folder: Path) -> Path:
    return folder / "cell.toml"


def a_folder(folder: Path) -> Path:
    (folder / "shop").mkdir()
    return folder / "shop"


def too_large(folder: Path) -> Path:
    (folder / "cell.toml").write_text("#" * (LARGEST_FILE + 1))
    return folder / "cell.toml"


def not_utf8(folder: Path) -> Path:
    (folder / "cell.toml").write_bytes(b'[unit]\nyaw = "90 \xb0"\n')
    return folder / "cell.toml"


def empty(folder: Path) -> Path:
    (folder / "cell.toml").write_text(" \n\n")
    return folder / "cell.toml"


def not_a_name(folder: Path) -> Path:
    return folder / "cell\0.toml"


def too_many_rows(folder: Path) -> Path:
    rows = [f"pin centre,0,0,{row}.5,2,0.003" for row in range(ROWS_MOST + 1)]
    table = "\n".join(["what,tilt_deg,rotary_deg,x_mm,y_mm,u_mm", *rows])
    (folder / "readings.csv").write_text(table)
    (folder / "cell.toml").write_text(READINGS)
    return folder / "cell.toml"


def model_too_large(folder: Path) -> Path:
    with (folder / "fine.stl").open("wb") as file:
        file.truncate(LARGEST_MODEL + 1)  # a hole: it takes no room on the disk
    (folder / "cell.toml").write_text('[[models]]\nfile = "fine.stl"\nunit = "mm"\n')
    return folder / "cell.toml"


def later_store(folder: Path) -> Path:
    with contextlib.closing(sqlite3.connect(folder / "cell.days.sqlite")) as base:
        base.execute("CREATE TABLE checks (number)")
        base.execute("PRAGMA user_version = 7")
    (folder / "cell.toml").write_text('[shop]\nunits = "mm"\n')
    return folder / "cell.toml"


MADE: dict[str, Callable[[Path], Path]] = {
    "C001": no_file,
    "C002": a_folder,
    "C003": too_large,
    "C005": not_utf8,
    "C006": empty,
    "C024": not_a_name,
    "C065": model_too_large,
    "K024": too_many_rows,
    "K086": later_store,
}
STORED = {path.stem: path for path in sorted(FAULTY.glob("*.toml"))}
CASES = sorted([*MADE, *STORED])


def faults_of(case: str, folder: Path) -> tuple[Fault, ...]:
    return load(MADE[case](folder) if case in MADE else STORED[case]).faults


def codes_in_the_code() -> set[str]:
    found: set[str] = set()
    for path in Path(gudgeon.cell.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                found.update(re.findall(r"^[CK]\d{3}$", node.value))
    return found


@pytest.mark.parametrize("case", CASES)
def test_message_reads_as_stored(case: str, tmp_path: Path) -> None:
    text = as_text(faults_of(case, tmp_path))
    stored = GOLDEN / f"{case}.txt"
    if os.environ.get("REWRITE_GOLDEN"):
        stored.write_text(text, encoding="ascii")

    assert text == stored.read_text(encoding="ascii")


@pytest.mark.parametrize("case", CASES)
def test_the_file_triggers_its_code_and_no_other(case: str, tmp_path: Path) -> None:
    assert {fault.code for fault in faults_of(case, tmp_path)} == {case[:4]}


@pytest.mark.parametrize("case", CASES)
def test_an_error_gives_no_cell_and_a_warning_does(case: str, tmp_path: Path) -> None:
    loaded = load(MADE[case](tmp_path) if case in MADE else STORED[case])
    assert (loaded.cell is None) == any(fault.level == "error" for fault in loaded.faults)


@pytest.mark.parametrize("case", CASES)
def test_message_keeps_the_house_form(case: str, tmp_path: Path) -> None:
    """Four parts, 80 columns, printable ASCII, no blame, no program words, no open sentence."""
    faults = faults_of(case, tmp_path)
    text = as_text(faults)
    assert re.fullmatch(r"[\n -~]+", text)
    assert max(map(len, text.splitlines())) <= WIDTH
    assert not re.search(r"\b(None|null|parse|schema|Traceback|invalid)\b", text)
    for fault in faults:
        assert fault.places, "where"
        assert fault.why.endswith("."), fault.why
        assert not fault.do.endswith("?"), "an order, never a question"
        assert not fault.what.endswith("."), fault.what
    assert as_data(faults)[0]["code"] == faults[0].code


def test_every_code_has_a_file_and_a_stored_message() -> None:
    codes = codes_in_the_code()
    assert len(codes) > 50
    assert {case[:4] for case in CASES} == codes
    assert {path.stem for path in GOLDEN.glob("*.txt")} == set(CASES)


@pytest.mark.parametrize(
    "case", [case for case in CASES if case not in ("C001", "C002", "C003", "C006", "C024")]
)
def test_every_fault_names_a_line(case: str, tmp_path: Path) -> None:
    for fault in faults_of(case, tmp_path):
        if fault.code not in ("K002", "K080", "K086"):
            assert any(place.line is not None for place in fault.places)
