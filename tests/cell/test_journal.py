"""Changes of a cell file are kept, undone and never lost, whatever stops the program."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gudgeon.cell import journal as journal_module
from gudgeon.cell.journal import ChangedMeanwhile, Journal, NothingToDo, digest_of
from gudgeon.cell.store_file import StoreError

OLD = '# ours\r\n[shop]\r\nname = "A"\r\n'


@pytest.fixture
def journal(tmp_path: Path) -> Journal:
    path = tmp_path / "cell.toml"
    path.write_bytes(OLD.encode())
    return Journal(path, tmp_path / ".gudgeon" / "edits.sqlite")


def now(journal: Journal) -> str:
    return digest_of(journal.path.read_bytes())


def put(journal: Journal, text: str) -> None:
    journal.change(now(journal), lambda _: text, f"to {text[-12:].strip()}")


def test_a_change_is_written_and_undone_byte_for_byte(journal: Journal) -> None:
    assert journal.state().undo is None
    state = journal.change(
        now(journal), lambda text: text.replace('"A"', '"B"'), "name of the shop"
    )
    assert journal.path.read_bytes() == OLD.replace('"A"', '"B"').encode()
    assert (state.undo, state.redo) == ("name of the shop", None)
    state = journal.undo(state.digest)
    assert journal.path.read_bytes() == OLD.encode()
    assert (state.undo, state.redo) == (None, "name of the shop")
    assert journal.redo(state.digest).undo == "name of the shop"
    assert '"B"' in journal.path.read_text()


def test_a_file_changed_by_other_means_is_not_overwritten(journal: Journal) -> None:
    put(journal, "a = 1\n")
    seen = now(journal)
    journal.path.write_text("b = 2\n")
    for act in (
        lambda: journal.change(seen, lambda text: text + "c = 3\n", "c"),
        lambda: journal.undo(seen),
        lambda: journal.redo(seen),
    ):
        with pytest.raises(ChangedMeanwhile) as told:
            act()
        assert told.value.now == now(journal)
    assert journal.path.read_text() == "b = 2\n"
    with pytest.raises(NothingToDo):
        journal.undo(now(journal))
    put(journal, "c = 3\n")
    assert journal.undo(now(journal)).undo is None  # back to what the other program wrote
    assert journal.path.read_text() == "b = 2\n"


def test_a_change_that_is_refused_leaves_everything_as_it_was(journal: Journal) -> None:
    def refuse(_: str) -> str:
        raise ValueError("no")

    with pytest.raises(ValueError, match="no"):
        journal.change(now(journal), refuse, "x")
    assert journal.path.read_bytes() == OLD.encode()
    assert not journal.store.exists()
    journal.change(now(journal), lambda text: text, "nothing")
    assert not journal.store.exists()


@settings(max_examples=40, deadline=None)
@given(st.lists(st.sampled_from(["put", "undo", "redo"]), max_size=25))
def test_any_series_is_what_a_plain_list_of_texts_does(
    tmp_path_factory: pytest.TempPathFactory, series: list[str]
) -> None:
    folder = tmp_path_factory.mktemp("cell")
    path = folder / "cell.toml"
    path.write_text("n = 0\n")
    texts, at, count = ["n = 0\n"], 0, 0
    for act in series:
        journal = Journal(path, folder / "edits.sqlite")  # anew: as after a restart
        if act == "put":
            count += 1
            put(journal, f"n = {count}\n")
            texts = [*texts[: at + 1], f"n = {count}\n"]
            at += 1
        elif act == "undo":
            if at:
                journal.undo(now(journal))
                at -= 1
            else:
                with pytest.raises(NothingToDo):
                    journal.undo(now(journal))
        elif at + 1 < len(texts):
            journal.redo(now(journal))
            at += 1
        else:
            with pytest.raises(NothingToDo):
                journal.redo(now(journal))
        assert path.read_text() == texts[at]
        state = journal.state()
        assert (state.undo is not None, state.redo is not None) == (at > 0, at + 1 < len(texts))


def test_only_so_many_changes_are_kept(journal: Journal, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(journal_module, "KEPT_MOST", 3)
    for number in range(6):
        put(journal, f"n = {number}\n")
    for _ in range(3):
        journal.undo(now(journal))
    assert journal.path.read_text() == "n = 2\n"
    with pytest.raises(NothingToDo):
        journal.undo(now(journal))


def test_a_folder_that_cannot_be_written_is_told_and_nothing_is_lost(
    journal: Journal, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(journal_module, "write_text_safely", full)
    with pytest.raises(OSError, match="No space"):
        put(journal, "n = 1\n")
    assert journal.path.read_bytes() == OLD.encode()
    monkeypatch.undo()
    # What was kept but never written is no step to undo; it can be made after all.
    assert journal.state().undo is None
    put(journal, "n = 2\n")
    journal.undo(now(journal))
    assert journal.path.read_bytes() == OLD.encode()


def test_a_store_that_is_none_is_told(journal: Journal) -> None:
    journal.store.parent.mkdir()
    journal.store.write_text("no store at all, but text that is long enough to be read as one" * 99)
    with pytest.raises(StoreError, match="no store of changes"):
        put(journal, "n = 1\n")
    assert journal.path.read_bytes() == OLD.encode()


WRITER = """
import sys
from pathlib import Path
from gudgeon.cell.journal import Journal
journal = Journal(Path(sys.argv[1]), Path(sys.argv[2]))
print("ready", flush=True)
for number in range(100000):
    text, seen = journal.read()
    body = f"n = {number}\\n" * 2000
    journal.change(seen, lambda _: body, str(number))
"""


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="this system cannot kill so")
def test_killed_at_any_moment_the_file_is_whole_and_can_be_undone(journal: Journal) -> None:
    for wait_ms in (1, 7, 19, 33, 58):
        process = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(journal.path), str(journal.store)],
            stdout=subprocess.PIPE,
        )
        assert process.stdout is not None
        process.stdout.readline()
        with pytest.raises(subprocess.TimeoutExpired):
            process.wait(wait_ms / 1000)
        os.kill(process.pid, signal.SIGKILL)
        process.communicate()
        text, _ = journal.read()
        lines = text.splitlines()
        assert text == OLD.replace("\r\n", "\n") or text == OLD or (
            len(lines) == 2000 and len(set(lines)) == 1
        )  # fmt: skip
        if journal.state().undo is not None:
            journal.undo(now(journal))
            assert journal.redo(now(journal)) and journal.read()[0] == text
