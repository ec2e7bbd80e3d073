"""Stopping a proof in a real process, and going on: what is proven is kept and used again."""

from __future__ import annotations

import json
import os
import select
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.questions.test_clears import CELL, HEAD

pytestmark = pytest.mark.skipif(not hasattr(os, "openpty"), reason="this system has no terminals")

BLOCKS = 16_000
SECONDS = 90.0


def program(blocks: int) -> str:
    """Return turns to and fro beside the block: its corner passes the holder by about 3 mm."""
    lines = [HEAD, "G0 Z120", "G0 X80 Y0", "G0 Z-60"]
    lines += [f"G0 C{(k * 7) % 90} X{80 + 0.001 * (k % 50):.3f}" for k in range(blocks)]
    return "\n".join([*lines, "G0 Z120", "G0 X0 Y0 C0", "M30", ""])


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Path]:
    (tmp_path / "cell.toml").write_text(CELL, encoding="utf-8")
    (tmp_path / "part.nc").write_text(program(BLOCKS), encoding="utf-8")
    yield tmp_path


def command(folder: Path) -> list[str]:
    words = ["ask", "clears", str(folder / "part.nc"), str(folder / "cell.toml"), "--json"]
    return [sys.executable, "-m", "gudgeon", *words]


def until(terminal: int, word: bytes, beyond: int) -> str:
    """Read what a terminal shows until ``word: N %`` stands above `beyond`."""
    shown, end = b"", time.monotonic() + SECONDS
    while time.monotonic() < end:
        if not select.select([terminal], [], [], 0.2)[0]:
            continue
        try:
            shown += os.read(terminal, 4096)
        except OSError:  # the process has ended
            break
        parts = shown.rsplit(word + b": ", 1)
        share = parts[-1].split(b" %")[0]
        if len(parts) == 2 and share.isdigit() and int(share) > beyond:
            return shown.decode()
    raise AssertionError(f"no such progress: {shown[-300:]!r}")


def stopped(folder: Path, beyond: int) -> dict[str, Any]:
    """Stop a proof with Ctrl-C once its bar stands above a share, and return its answer."""
    ours, theirs = os.openpty()
    process = subprocess.Popen(command(folder), stdout=subprocess.PIPE, stderr=theirs)
    os.close(theirs)
    try:
        until(ours, b"proving", beyond)
        process.send_signal(signal.SIGINT)
        out, _ = process.communicate(timeout=SECONDS)
    finally:
        process.kill()
        os.close(ours)
    answer: dict[str, Any] = json.loads(out)
    return answer


def asked(folder: Path) -> dict[str, Any]:
    out = subprocess.run(command(folder), capture_output=True, timeout=SECONDS, check=False).stdout
    answer: dict[str, Any] = json.loads(out)
    return answer


def test_stopped_and_gone_on(folder: Path) -> None:
    for times in (1, 4, 16):  # on a busy machine a short proof may end before the signal comes
        (folder / "part.nc").write_text(program(times * BLOCKS), encoding="utf-8")
        shutil.rmtree(folder / ".gudgeon", ignore_errors=True)
        first = stopped(folder, 0)
        if first["verdict"] != "yes":
            break
    assert first["verdict"] == "cannot_tell"
    assert "stopped after" in first["headline"] and "kept" in first["headline"]
    (kept,) = (folder / ".gudgeon").glob("clears-*.json")
    whole = asked(folder)
    assert whole["verdict"] == "yes"
    told = [words for words in whole["cautions"] if "were proven before and kept" in words]
    assert len(told) == 1 and int(told[0].split(" of ")[0]) >= 4000
    # Proven anew from nothing it is the same answer.
    kept.unlink()
    fresh = asked(folder)
    for answer in (fresh, whole):
        answer.pop("cautions")
    assert fresh == whole


def test_two_processes_at_once_on_one_folder(folder: Path) -> None:
    (folder / "part.nc").write_text(program(2_000), encoding="utf-8")
    both = [
        subprocess.Popen(command(folder), stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
        for _ in range(2)
    ]
    answers = [json.loads(process.communicate(timeout=SECONDS)[0]) for process in both]
    assert [answer["verdict"] for answer in answers] == ["yes", "yes"]
    assert len(list((folder / ".gudgeon").iterdir())) == 1  # nothing half written stays behind
    assert "The proof was kept from before" in " ".join(asked(folder)["cautions"])
