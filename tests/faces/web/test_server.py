"""The server as a person starts it: a process, its socket, its end."""

from __future__ import annotations

import importlib.util
import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

pytest.importorskip("fastapi", reason='the page needs the extra "web"')
pytest.importorskip("httpx", reason="httpx asks the server here")

import httpx

from gudgeon.faces.terminal import main
from gudgeon.faces.web import wire
from gudgeon.faces.web.playback import COLUMNS
from tests.faces.test_clears_stopped import program
from tests.faces.web.running import SECONDS, Running, heard_until
from tests.questions.test_clears import CELL

DEMO = Path(__file__).parents[3] / "demo"

pytestmark = pytest.mark.skipif(os.name == "nt", reason="Ctrl-C cannot be sent here")


def children(running: Running) -> list[int]:
    """Return the ids of the server's own processes that work."""
    out = subprocess.run(
        ["ps", "-ww", "-o", "pid=,args=", "--ppid", str(running.process.pid)],
        capture_output=True,
        text=True,
        check=False,
    ).stdout
    return [int(line.split()[0]) for line in out.splitlines() if "spawn_main" in line]


def test_the_cell_is_told_with_its_questions(running: Running) -> None:
    cell = wire.CellView.model_validate(running.get("/api/cell"))
    assert cell.file == "alder-ford.toml"
    assert {"pays", "turns", "clears"} <= {one.name for one in cell.questions}
    assert [one.file for one in cell.programs] == ["alder-ford.nc"]
    assert cell.units == "mm" and not cell.read_only
    assert cell.letters.tilt and cell.letters.rotary


def test_an_answer_is_that_of_the_terminal(
    running: Running, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    found = running.answer("axes")
    main(["ask", "--json", "axes", str(folder / "alder-ford.toml")])
    assert found["answer"] == json.loads(capsys.readouterr().out)
    assert [one["name"] for one in found["figures"]] == [
        one["name"] for one in found["answer"]["figures"]
    ]
    for shown, table in zip(found["tables"], found["answer"]["tables"], strict=True):
        assert len(shown["rows"]) == len(table["rows"])


def test_a_program_is_played_once_it_is_judged(running: Running) -> None:
    rows = running.client.get("/api/track/alder-ford.nc")
    assert rows.headers["content-type"] == "application/octet-stream"
    assert rows.status_code == 200 and len(rows.content) % (4 * COLUMNS) == 0
    spots = running.get("/api/track/alder-ford.nc/spots")
    assert spots and all(wire.Spot.model_validate(one).file == "alder-ford.nc" for one in spots)
    assert running.get("/api/answers/clears", program="alder-ford.nc")["state"] == "done"


def test_the_scene_has_its_model_and_its_gap(running: Running) -> None:
    scene = wire.SceneView.model_validate(running.get("/api/scene"))
    model = running.client.get("/api/scene.glb", params={"digest": scene.digest})
    assert model.headers["content-type"] == "model/gltf-binary"
    assert model.content.startswith(b"glTF")
    gap = running.post("/api/gap", {"pose": scene.start, "tool": None})
    assert wire.Gap.model_validate(gap.json()).asked_mm > 0.0


def test_an_unknown_question_or_program_is_none(running: Running) -> None:
    for path in (
        "/api/answers/nothing",
        "/api/answers/clears?program=..%2Fx.nc",
        "/api/answers/clears?program=none.nc",
        "/api/answers/pays?program=alder-ford.nc",
        "/api/track/none.nc",
    ):
        reply = running.client.get(path)
        assert reply.status_code == 404, path
        assert wire.Refusal.model_validate(reply.json()).what


def test_a_change_of_a_file_is_told_and_answered_anew(running: Running, folder: Path) -> None:
    cell = folder / "alder-ford.toml"
    old = running.answer("axes")
    text = cell.read_text(encoding="utf-8")
    letter = running.get("/api/cell")["letters"]["tilt"]
    other = "B" if letter == "A" else "A"
    with running.events() as heard:
        heard_until(heard, lambda event: event["kind"] == "hello")
        changed = text.replace(f'tilt_letter = "{letter}"', f'tilt_letter = "{other}"')
        assert changed != text
        begun = time.monotonic()
        cell.write_text(changed, encoding="utf-8")
        events = heard_until(heard, lambda event: event["kind"] == "cell")
        assert time.monotonic() - begun < 5.0  # usually 0.3: on a busy computer more
        assert events[-1]["files"] == ["alder-ford.toml"]
        assert events[-1]["digest"] != events[-1]["inputs"]
        heard_until(
            heard,
            lambda event: event.get("question") == "axes" and event["state"] == "done",
        )
    new = running.answer("axes")
    assert new["inputs"] != old["inputs"] and new["answer"] != old["answer"]
    assert running.get("/api/cell")["letters"]["tilt"] == other
    cell.write_text(text, encoding="utf-8")
    assert running.answer("axes")["answer"] == old["answer"]


def test_a_cell_with_faults_is_told_and_mended(running: Running, folder: Path) -> None:
    cell = folder / "alder-ford.toml"
    text = cell.read_text(encoding="utf-8")
    running.answer("axes")
    cell.write_text(text.replace("[machine]", "[machine]\ntravel_q = 3\n"), encoding="utf-8")
    try:
        failed = running.until(
            lambda: (f := running.get("/api/answers/axes"))["state"] == "failed" and f
        )
        assert "travel_q" in failed["what"]
        assert failed["answer"] is not None and failed["stale"]
        told = running.get("/api/cell")
        assert told["faults"][0]["severity"] == "error" and told["faults"][0]["line"]
        assert running.client.get("/api/scene").status_code == 422
    finally:
        cell.write_text(text, encoding="utf-8")
    assert running.answer("axes")["what"] == ""


def test_an_edit_is_written_told_and_undone(running: Running, folder: Path) -> None:
    cell = folder / "alder-ford.toml"
    before = cell.read_bytes()
    digest = running.get("/api/entries")["digest"]
    change = {"digest": digest, "changes": [{"path": "shop.name", "text": "Elsewhere"}]}
    done = running.post("/api/edit", change)
    assert done.status_code == 200, done.text
    assert b"Elsewhere" in cell.read_bytes()
    assert running.get("/api/cell")["name"] == "Elsewhere"
    late = running.post("/api/edit", change)
    assert late.status_code == 409
    assert late.json()["now"] == done.json()["digest"]
    undone = running.post("/api/undo", {"digest": done.json()["digest"]})
    assert undone.status_code == 200 and undone.json()["can_redo"]
    assert cell.read_bytes() == before


def test_a_process_that_dies_is_started_again_and_it_is_said(running: Running) -> None:
    running.answer("axes")
    with running.events() as heard:
        heard_until(heard, lambda event: event["kind"] == "hello")
        before = children(running)
        assert before
        for child in before:
            os.kill(child, signal.SIGKILL)
        events = heard_until(heard, lambda event: event["kind"] == "fault")
        assert "started again" in events[-1]["what"]
    assert running.post("/api/answers/axes/again").status_code == 200
    assert running.answer("axes")["answer"] is not None
    assert running.get("/api/cell")["file"] == "alder-ford.toml"


def raw(port: int, data: bytes, *, more: bytes = b"", times: int = 0) -> bytes:
    """Send bytes as they are and return what comes back until the connection ends."""
    with socket.create_connection(("127.0.0.1", port), timeout=SECONDS) as line:
        try:
            line.sendall(data)
            for _ in range(times):
                line.sendall(more)
        except OSError:
            pass  # the server has heard enough
        found = b""
        try:
            while part := line.recv(65_536):
                found += part
        except ConnectionError:
            pass
        return found


def test_forty_megabytes_in_chunks_are_refused_while_they_come(running: Running) -> None:
    head = (
        f"POST /api/edit HTTP/1.1\r\nHost: 127.0.0.1:{running.port}\r\n"
        "Content-Type: application/json\r\nTransfer-Encoding: chunked\r\n\r\n"
    ).encode()
    chunk = b"10000\r\n" + b"x" * 65_536 + b"\r\n"
    begun = time.monotonic()
    found = raw(running.port, head, more=chunk, times=640)
    assert found.startswith(b"HTTP/1.1 413") or found == b"", found[:100]
    assert time.monotonic() - begun < 20.0
    assert running.get("/api/cell")["file"] == "alder-ford.toml"


@pytest.mark.parametrize(
    "data", [b"\x16\x03\x01 no request\r\n\r\n", b"GET / HTTP/1.1\r\nA" + b"b" * 90_000]
)
def test_what_is_no_request_is_answered_with_all_headers(running: Running, data: bytes) -> None:
    found = raw(running.port, data)
    if found:  # else the connection was cut, which is as good
        assert found.startswith(b"HTTP/1.1 400")
        assert b"content-security-policy: default-src 'none'" in found.lower()


def test_a_foreign_host_is_refused_over_the_socket_too(running: Running) -> None:
    found = raw(
        running.port,
        b"GET /api/cell HTTP/1.1\r\nHost: example.org\r\nConnection: close\r\n\r\n",
    )
    assert found.startswith(b"HTTP/1.1 421")
    assert b"server:" not in found.lower()


@pytest.fixture(scope="module")
def second(running: Running, folder: Path) -> Iterator[Running]:
    """Another server of the same folder, for a tablet."""
    words = ("--port", str(running.port), "--read-only", "--lan")
    found = Running(folder / "alder-ford.toml", *words)
    yield found
    found.close()


def test_a_port_that_is_taken_is_told(running: Running, second: Running) -> None:
    assert second.port != running.port
    assert any(f"port {running.port} is taken" in line for line in second.said)


def test_two_servers_share_a_folder_and_one_only_reads(running: Running, second: Running) -> None:
    assert second.get("/api/cell")["read_only"]
    assert second.post("/api/undo", {"digest": "0" * 64}).status_code == 403
    name = running.get("/api/cell")["name"]
    digest = running.get("/api/entries")["digest"]
    change = {"digest": digest, "changes": [{"path": "shop.name", "text": "Both"}]}
    done = running.post("/api/edit", change).json()
    second.until(lambda: second.get("/api/cell")["name"] == "Both")
    running.post("/api/undo", {"digest": done["digest"]})
    second.until(lambda: second.get("/api/cell")["name"] == name)


def test_the_network_is_told_with_its_danger_and_a_code(second: Running) -> None:
    second.until(lambda: any("enter there the code" in line for line in second.said))
    assert any("plain HTTP" in line for line in second.said)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as outward:
        try:
            outward.connect(("192.0.2.1", 9))  # sends nothing
            address = outward.getsockname()[0]
        except OSError:
            pytest.skip("this computer is on no network")
    there = f"http://{address}:{second.port}"
    assert httpx.get(f"{there}/api/cell").status_code == 401
    code = next(line for line in second.said if "the code" in line).split("code")[1]
    with httpx.Client(base_url=there, timeout=SECONDS) as tablet:
        assert tablet.post("/pair", data={"code": code}).status_code == 303
        assert tablet.get("/api/cell").json()["file"] == "alder-ford.toml"


def test_when_the_server_is_killed_its_processes_end_too(second: Running) -> None:
    second.get("/api/answers/fits")
    second.until(lambda: second.get("/api/answers/fits")["state"] != "waiting")
    workers = children(second)
    assert len(workers) == 3
    second.process.kill()
    second.process.wait(SECONDS)
    second.until(lambda: not any(map(alive, workers)))


# --- a long proof ---------------------------------------------------------------------------------


@pytest.fixture
def proving(tmp_path: Path) -> Iterator[Running]:
    (tmp_path / "cell.toml").write_text(
        CELL + '\n[[programs]]\nfile = "part.nc"\n', encoding="utf-8"
    )
    (tmp_path / "part.nc").write_text(program(60_000), encoding="utf-8")
    found = Running(tmp_path / "cell.toml", "--port", "0")
    yield found
    found.close()


def share(running: Running) -> float:
    found = running.get("/api/answers/clears", program="part.nc")
    assert found["state"] in ("waiting", "working")
    return float(found["share"])


def test_a_proof_is_stopped_goes_on_after_a_reload_and_ends_with_ctrl_c(proving: Running) -> None:
    with proving.events() as heard:
        proving.until(lambda: share(proving) > 0.12)
        told = heard_until(heard, lambda event: event.get("share", 0.0) > 0.0)
        assert told[-1]["kind"] == "progress" and told[-1]["program"] == "part.nc"
        assert told[-1]["share"] <= 1.0
    # Whoever listened has gone; the work goes on, and files and gaps need not wait for it.
    before = share(proving)
    proving.until(lambda: share(proving) > before)
    begun = time.monotonic()
    proving.get("/api/entries")
    assert time.monotonic() - begun < 10.0
    assert share(proving) < 1.0
    stopped = proving.post("/api/answers/clears/stop", program="part.nc")
    assert stopped.status_code == 200
    found = proving.answer("clears", "stopped", program="part.nc")
    assert "stopped" in found["what"]
    kept = Path(proving.process.args[4]).parent / ".gudgeon"  # type: ignore[index]
    assert list(kept.glob("clears-*.json"))
    proving.post("/api/answers/clears/again", program="part.nc")
    proving.until(lambda: share(proving) > 0.1)
    workers = children(proving)
    assert proving.stop() < 6.0  # 2 s on a computer that is not busy
    assert proving.process.returncode == 0
    proving.until(lambda: not any(map(alive, workers)))


def alive(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    state = Path(f"/proc/{process}/stat")
    # One that has ended may still be listed where nobody asks for its end.
    return not (state.exists() and state.read_text().rpartition(")")[2].split()[0] == "Z")


# --- starting -------------------------------------------------------------------------------------


def test_without_the_extra_it_is_told_what_to_install(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    found = importlib.util.find_spec
    monkeypatch.setattr(
        importlib.util, "find_spec", lambda name: None if name == "uvicorn" else found(name)
    )
    assert main(["show", str(DEMO / "alder-ford.toml"), "--no-open"]) == 2
    assert 'the page needs uvicorn, not installed yet; install "gudgeon[web]"' in " ".join(
        capsys.readouterr().err.split()
    )


@pytest.mark.parametrize("port", ["-1", "70000", "x"])
def test_a_port_that_is_none_is_told(port: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["show", str(DEMO / "alder-ford.toml"), "--no-open", "--port", port]) == 2
    assert "port" in capsys.readouterr().err


def test_a_cell_that_is_not_there_is_told(tmp_path: Path) -> None:
    for path, words in ((tmp_path, "is a folder"), (tmp_path / "x.toml", "is not there")):
        done = subprocess.run(
            [sys.executable, "-m", "gudgeon", "show", str(path), "--no-open"],
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 2
        assert words in " ".join(done.stderr.split())
