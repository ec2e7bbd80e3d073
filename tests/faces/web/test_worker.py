"""What a process does for the server, done here: the cell read anew, progress, proofs kept."""

from __future__ import annotations

import hashlib
import shutil
import time
from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("fastapi", reason='the page needs the extra "web"')

from gudgeon.cell.files import load
from gudgeon.faces.programs import Neighbours, load_program
from gudgeon.faces.web import wire
from gudgeon.faces.web.playback import COLUMNS
from gudgeon.faces.web.shop import Shop
from gudgeon.faces.web.tasks import TASKS
from gudgeon.faces.web.worker import Job, Refused, Room
from gudgeon.findings import Findings
from gudgeon.findings.programs import ProgramText
from gudgeon.questions import find_questions, list_questions
from tests.faces.test_clears_stopped import program
from tests.questions.test_clears import CELL

DEMO = Path(__file__).parents[3] / "demo"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "cell.toml").write_text(CELL + '\n[[programs]]\nfile = "part.nc"\n')
    (tmp_path / "part.nc").write_text(program(40))
    return tmp_path


@pytest.fixture
def room(folder: Path) -> Room:
    return Room(Shop(folder / "cell.toml"))


def job() -> Job:
    return Job(lambda share: None)


def judged(room: Room, work: Job | None = None) -> wire.AnswerView:
    found = TASKS["answer"](room, work or job(), question="clears", program="part.nc")
    assert isinstance(found, wire.AnswerView)
    return found


def test_the_questions_are_listed_as_their_modules_say() -> None:
    listed = {one.name: (one.asks, one.place, one.needs_program) for one in list_questions()}
    found = find_questions()
    assert list(listed) == list(found)
    for name, module in found.items():
        needs = bool(getattr(module, "NEEDS_PROGRAM", False))
        assert listed[name] == (module.ASKS, module.PLACE, needs)


def test_findings_are_kept_while_nothing_changes(room: Room, folder: Path) -> None:
    first = room.findings
    assert room.findings is first
    (folder / "part.nc").write_text("M30\n")
    assert room.findings is first, "no program stands in the findings"
    (folder / "cell.toml").write_text(CELL)
    assert room.findings is not first


def test_a_cell_with_faults_is_refused_with_the_first_of_them(room: Room, folder: Path) -> None:
    text = (folder / "cell.toml").read_text()
    (folder / "cell.toml").write_text(text.replace("[machine]", "[machine]\ntravel_q = 1\n", 1))
    with pytest.raises(Refused) as refused:
        _ = room.findings
    assert refused.value.status == 422
    assert "travel_q" in refused.value.what and "cell.toml, line" in refused.value.where
    told = TASKS["cell"](room, job())
    assert isinstance(told, wire.CellView)
    assert told.faults[0].severity == "error"
    assert [one.file for one in told.programs] == ["part.nc"], "as far as the file can be read"


@pytest.mark.parametrize("name", ["none.nc", "../part.nc", ".gudgeon/x.json", "cell.toml/x"])
def test_a_program_that_is_not_the_shops_is_refused(room: Room, name: str) -> None:
    with pytest.raises(Refused) as refused:
        room.program(name, job())
    assert refused.value.status == 404


def test_progress_rises_is_not_said_too_often_and_heeds_a_stop() -> None:
    said: list[float] = []
    work = Job(said.append)
    step = work.told(0.5, 1.0)
    assert all(step(k / 10_000) for k in range(10_000))
    assert len(said) < 20 and said[0] == 0.5
    time.sleep(0.2)
    assert step(7.0) and said[-1] == 1.0
    time.sleep(0.2)
    assert step(0.1) and said[-1] == 1.0, "a second bar never goes back"
    assert not work.heeded
    work.stopped = True
    assert not step(1.0) and work.heeded


def test_a_stopped_answer_says_so(room: Room) -> None:
    work = job()
    work.stopped = True
    found = judged(room, work)
    assert found.state == "stopped" and "kept" in found.what


def test_a_proof_is_kept_as_the_terminal_keeps_it(room: Room, folder: Path) -> None:
    first = judged(room)
    kept = list((folder / ".gudgeon").glob("clears-*.json"))
    assert first.state == "done" and len(kept) == 1
    assert first.inputs == room.shop.inputs("part.nc")
    again = judged(Room(Shop(folder / "cell.toml")))
    assert again.answer is not None and first.answer is not None
    assert again.answer.verdict == first.answer.verdict


def test_where_nothing_may_be_written_nothing_is_but_it_is_remembered(folder: Path) -> None:
    room = Room(Shop(folder / "cell.toml"), read_only=True)
    before = sorted(folder.rglob("*"))
    judged(room)
    assert sorted(folder.rglob("*")) == before
    asked: list[str] = []
    keep = room.keep
    for key in ("a", "b"):
        keep.save(key, key.encode())
        asked.append(key)
    assert [keep.load(key) for key in asked] == [b"a", b"b"]
    for count in range(20):
        keep.save(str(count), b"x")
    assert keep.load("a") is None, "only so many"
    assert sorted(folder.rglob("*")) == before


def test_a_program_is_played_with_what_is_kept(room: Room) -> None:
    def rows(prove: bool) -> np.ndarray:
        data = TASKS["track"](room, job(), program="part.nc", prove=prove)
        assert isinstance(data, bytes)
        return np.frombuffer(data, "<f4").reshape(-1, COLUMNS)

    unproven = rows(False)
    assert len(unproven) > 10
    judged(room)
    kept, proven = rows(False), rows(True)
    assert np.isfinite(kept[:, 6]).sum() >= np.isfinite(unproven[:, 6]).sum()
    assert np.isfinite(proven[:, 6]).any()
    assert np.array_equal(proven[:, :6], unproven[:, :6])


def test_an_answer_with_numbers_that_are_none_goes_over_the_wire(room: Room) -> None:
    found = TASKS["answer"](room, job(), question="pays", program=None)
    assert isinstance(found, wire.AnswerView)
    back = wire.AnswerView.model_validate_json(found.model_dump_json(by_alias=True))
    assert back == found


@pytest.mark.parametrize("name", ["../outside.csv", "link.csv", "/etc/passwd", "none.csv"])
def test_no_table_of_readings_outside_the_folder_is_shown_or_written(
    tmp_path: Path, name: str
) -> None:
    outside = tmp_path / "outside.csv"
    outside.write_text("secret,b\n1,2\n")
    folder = tmp_path / "shop"
    folder.mkdir()
    (folder / "link.csv").symlink_to(outside)
    (folder / "cell.toml").write_text(f'{CELL}\n[readings]\nfile = "{name}"\n')
    room = Room(Shop(folder / "cell.toml"))
    digest = hashlib.sha256(outside.read_bytes()).hexdigest()
    for task, words in (
        ("readings", {}),
        ("add_reading", {"digest": digest, "row": {"secret": "3", "b": "4"}}),
        ("take_back_reading", {"digest": digest}),
    ):
        with pytest.raises(Refused) as refused:
            TASKS[task](room, job(), **words)
        assert refused.value.status == 422
        assert "secret" not in str(refused.value.args)
    assert outside.read_text() == "secret,b\n1,2\n"


def test_no_line_of_a_file_outside_stands_in_a_fault(tmp_path: Path) -> None:
    (tmp_path / "outside.csv").write_text("secret,b\n1,2\n")
    folder = tmp_path / "shop"
    folder.mkdir()
    (folder / "link.csv").symlink_to(tmp_path / "outside.csv")
    for entry in ("[readings]\nfile", "[drift]\ndays", "[[models]]\nfile"):
        (folder / "cell.toml").write_text(f'{CELL}\n{entry} = "link.csv"\n')
        told = TASKS["cell"](Room(Shop(folder / "cell.toml")), job())
        assert isinstance(told, wire.CellView)
        assert any("does not lie beside" in fault.what for fault in told.faults)
        assert "secret" not in told.model_dump_json()


def test_the_order_on_the_page_is_that_of_the_command(tmp_path: Path) -> None:
    demo = Path(__file__).parents[3] / "demo"
    for path in (*demo.glob("alder-ford*.*"), *demo.glob("O*.nc")):
        shutil.copy(path, tmp_path)
    # Without times of their own the cuts take what the program takes.
    path = tmp_path / "alder-ford.toml"
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    path.write_text("".join(line for line in lines if not line.startswith("takes =")), "utf-8")
    cell = load(path).cell
    assert cell is not None
    beside = Neighbours(tmp_path / "alder-ford.nc")
    program = ProgramText(
        "alder-ford.nc", load_program(tmp_path / "alder-ford.nc"), called=beside, names=beside.names
    )
    wanted = find_questions()["order"].answer(Findings(cell, [program]))
    room = Room(Shop(path), read_only=True)
    got = TASKS["answer"](room, job(), question="order", program=None)
    assert got.answer.headline == wanted.headline  # type: ignore[union-attr]
    bare = find_questions()["order"].answer(Findings(cell))
    assert bare.headline != wanted.headline


@pytest.mark.parametrize("question", ["fits", "order"])
def test_long_questions_hear_a_stop_and_can_be_asked_again(question: str) -> None:
    room = Room(Shop(DEMO / "juniper-street.toml"), read_only=True)
    work, words = job(), {"question": question, "program": None}
    work.stopped = True
    found = TASKS["answer"](room, work, **words)
    assert isinstance(found, wire.AnswerView)
    assert (found.state, found.answer) == ("stopped", None) and "stopped" in found.what
    assert found.inputs and room.findings.told is None
    again = TASKS["answer"](room, job(), **words)
    assert isinstance(again, wire.AnswerView) and again.state == "done"
