"""The desk without its processes: what is kept, stale, begun anew, stopped; who is told."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("fastapi", reason='the page needs the extra "web"')

from gudgeon.faces.web import desk as desk_module
from gudgeon.faces.web import wire
from gudgeon.faces.web.desk import Desk
from gudgeon.faces.web.process import Died, Worked
from gudgeon.faces.web.shop import Shop
from gudgeon.faces.web.worker import Refused

CELL = '[shop]\nname = "Test"\n[[programs]]\nfile = "part.nc"\n'
QUESTIONS = [("first", False), ("second", False), ("clears", True)]


class Played:
    """A process that is played: `answers` says what comes of each call."""

    def __init__(self, shop: Shop) -> None:
        self.shop = shop
        self.asked: list[tuple[str, str | None]] = []
        self.stops = 0
        self.stopped = asyncio.Event()
        self.answers: Callable[[dict[str, Any]], Awaitable[dict[str, Any]]] | None = None
        self.more: list[str] = []
        self.dies = 0

    async def call(self, task: str, words: Any = None, *, told: Any = None, **_: Any) -> bytes:
        if task == "cell":
            return self._cell()
        if task == "track":
            assert words["prove"] == (not self.stops)
            return b"track"
        if task == "scene_more":
            digest = self.shop.inputs(None)
            self.more.append(digest)
            await asyncio.sleep(0.01)
            if self.dies:
                self.dies -= 1
                raise Died("the process that works on it has ended")
            return wire.SceneMore(digest=digest).model_dump_json().encode()
        self.asked.append((words["question"], words["program"]))
        inputs = self.shop.inputs(words["program"])
        more = {} if self.answers is None else await self.answers({**words, "told": told})
        return view(words["question"], words["program"], inputs=inputs, **more)

    def _cell(self) -> bytes:
        files = self.shop.look()
        cell = wire.CellView(
            file="cell.toml",
            name="Test",
            digest=files.cell,
            inputs=files.inputs(),
            units="mm",
            read_only=False,
            questions=[
                wire.QuestionView(name=name, asks=f"{name}?", needs_program=needs)
                for name, needs in QUESTIONS
            ],
            programs=[wire.ProgramFile(file=name) for name in self.shop.programs()],
            cells=["cell.toml"],
            faults=[],
            letters=wire.Letters(),
        )
        return cell.model_dump_json().encode()

    def start(self) -> None:
        return

    def stop(self, task: str | None = None, *, grace: float = 0.0) -> None:
        assert task == "answer"
        self.stops += 1
        self.stopped.set()

    async def close(self, seconds: float) -> None:
        return


def view(question: str, program: str | None, **words: Any) -> bytes:
    answer = {
        "schema": "gudgeon.answer/1",
        "question": question,
        "verdict": "yes",
        "headline": f"{question} is so",
        "next_step": "go on",
        **{key: [] for key in ("figures", "tables", "pictures", "assumed", "missing")},
        **{key: [] for key in ("cautions", "sources")},
        **dict.fromkeys(("flips", "fix")),
    }
    found = {"question": question, "program": program, "asks": "?", "state": "done", "share": 1.0}
    return json.dumps({**found, "answer": answer, **words}).encode()


class Bench:
    """A desk with played processes, and every event it tells."""

    def __init__(self, folder: Path) -> None:
        (folder / "cell.toml").write_text(CELL)
        (folder / "part.nc").write_text("M30\n")
        (folder / "other.nc").write_text("M30\n")
        self.folder = folder
        self.shop = Shop(folder / "cell.toml")
        self.desk = Desk(self.shop)
        self.worker = Played(self.shop)
        self.desk.answers = self.worker  # type: ignore[assignment]
        self.desk.files = Played(self.shop)  # type: ignore[assignment]
        self.desk.scene = Played(self.shop)  # type: ignore[assignment]
        self.events: list[dict[str, Any]] = []

    async def listen(self) -> None:
        async for event in self.desk.events():
            if event:
                self.events.append(json.loads(event))

    async def until(self, there: Callable[[], Any]) -> None:
        async with asyncio.timeout(20.0):
            while not there():
                await asyncio.sleep(0.01)

    async def done(self, question: str, program: str | None = None) -> wire.AnswerView:
        async with asyncio.timeout(20.0):
            while True:
                found = await self.desk.ask(question, program)
                if found.state not in ("waiting", "working"):
                    return found
                await asyncio.sleep(0.01)


def play(folder: Path, scene: Callable[[Bench], Awaitable[None]]) -> None:
    """Open a desk, let the scene be played, close it."""

    async def whole() -> None:
        bench = Bench(folder)
        await bench.desk.open()
        listening = asyncio.create_task(bench.listen())
        try:
            await scene(bench)
        finally:
            await bench.desk.close()
            await listening

    asyncio.run(whole())


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(desk_module, "LOOK_EVERY_S", 0.02)


def test_an_answer_is_worked_out_once_and_kept(tmp_path: Path) -> None:
    async def scene(bench: Bench) -> None:
        first = await bench.desk.ask("first", None)
        assert (first.state, first.answer) == ("waiting", None)
        assert (await bench.done("first")).answer is not None
        await bench.done("first")
        assert bench.worker.asked == [("first", None)]

    play(tmp_path, scene)


def test_the_list_has_every_question_and_begins_them_in_the_order_of_the_job(
    tmp_path: Path,
) -> None:
    async def scene(bench: Bench) -> None:
        lines = await bench.desk.lines()
        keys = [("first", None), ("second", None), ("clears", "part.nc")]
        assert [(one.question, one.program) for one in lines] == keys
        await bench.until(lambda: len(bench.worker.asked) == 3)
        assert bench.worker.asked == keys
        await bench.until(lambda: sum(e.get("state") == "done" for e in bench.events) == 3)
        lines = await bench.desk.lines()
        assert (lines[0].verdict, lines[0].headline) == ("yes", "first is so")

    play(tmp_path, scene)


def test_whoever_asks_is_served_before_what_fills_in_by_itself(tmp_path: Path) -> None:
    async def scene(bench: Bench) -> None:
        go_on = asyncio.Event()

        async def held(_: Any) -> dict[str, Any]:
            await go_on.wait()
            return {}

        bench.worker.answers = held
        await bench.desk.lines()
        await bench.until(lambda: bench.worker.asked)
        await bench.desk.ask("clears", "part.nc")
        go_on.set()
        await bench.until(lambda: len(bench.worker.asked) == 3)
        assert bench.worker.asked[1] == ("clears", "part.nc")

    play(tmp_path, scene)


def test_a_changed_file_makes_the_answer_stale_and_new(tmp_path: Path) -> None:
    async def scene(bench: Bench) -> None:
        old = await bench.done("first")
        go_on = asyncio.Event()

        async def held(_: Any) -> dict[str, Any]:
            await go_on.wait()
            return {}

        bench.worker.answers = held
        (bench.folder / "cell.toml").write_text(CELL + "# more\n")
        await bench.until(lambda: any(e["kind"] == "cell" for e in bench.events))
        told = next(e for e in bench.events if e["kind"] == "cell")
        assert told["files"] == ["cell.toml"]
        found = await bench.desk.ask("first", None)
        assert found.stale and found.answer == old.answer and found.state != "done"
        go_on.set()
        new = await bench.done("first")
        assert not new.stale and new.inputs != old.inputs

    play(tmp_path, scene)


def test_a_program_that_changes_leaves_other_answers_alone(tmp_path: Path) -> None:
    async def scene(bench: Bench) -> None:
        await bench.desk.lines()
        await bench.done("clears", "other.nc")
        await bench.until(lambda: len(bench.worker.asked) == 4)
        await bench.done("clears", "part.nc")
        (bench.folder / "part.nc").write_text("G0 X1\nM30\n")
        await bench.until(lambda: len(bench.worker.asked) == 5)
        await bench.done("clears", "part.nc")
        assert bench.worker.asked[4:] == [("clears", "part.nc")]

    play(tmp_path, scene)


def test_a_file_that_changes_while_it_is_worked_on_counts(tmp_path: Path) -> None:
    async def scene(bench: Bench) -> None:
        async def slow(_: Any) -> dict[str, Any]:
            if len(bench.worker.asked) == 1:
                (bench.folder / "cell.toml").write_text(CELL + "# more\n")
                await bench.worker.stopped.wait()
                return {"state": "stopped"}
            return {}

        bench.worker.answers = slow
        found = await bench.done("first")
        assert len(bench.worker.asked) == 2
        assert found.state == "done" and found.inputs == bench.shop.inputs(None)
        assert bench.worker.stops == 1

    play(tmp_path, scene)


def test_a_process_that_dies_once_is_tried_again_and_twice_is_told(tmp_path: Path) -> None:
    async def scene(bench: Bench) -> None:
        async def dies(_: Any) -> dict[str, Any]:
            if len(bench.worker.asked) in (1, 3, 4):
                raise Died("the process has ended")
            return {}

        bench.worker.answers = dies
        assert (await bench.done("first")).state == "done"
        assert len(bench.worker.asked) == 2
        found = await bench.done("second")
        assert found.state == "failed" and "twice" in found.what
        assert (await bench.desk.again("second", None)).state == "waiting"
        assert (await bench.done("second")).state == "done"

    play(tmp_path, scene)


@pytest.mark.parametrize(
    ("problem", "words"),
    [
        (Refused(422, "the cell file has faults", "cell.toml, line 3", "mend it"), "line 3"),
        (Worked("ValueError: x"), "a fault in Gudgeon itself"),
    ],
)
def test_what_fails_is_told_and_begun_anew_with_the_next_change(
    tmp_path: Path, problem: Exception, words: str
) -> None:
    async def scene(bench: Bench) -> None:
        async def fails(_: Any) -> dict[str, Any]:
            if len(bench.worker.asked) == 1:
                raise problem
            return {}

        bench.worker.answers = fails
        found = await bench.done("first")
        assert found.state == "failed" and words in found.what
        assert (await bench.done("first")).state == "failed"
        assert len(bench.worker.asked) == 1, "asking again changes nothing"
        (bench.folder / "cell.toml").write_text(CELL + "# mended\n")
        await bench.until(lambda: len(bench.worker.asked) == 2)
        assert (await bench.done("first")).state == "done"

    play(tmp_path, scene)


def test_what_was_stopped_stays_so_until_it_is_asked_for_again(tmp_path: Path) -> None:
    async def scene(bench: Bench) -> None:
        async def until_stopped(words: Any) -> dict[str, Any]:
            if len(bench.worker.asked) == 1:
                words["told"](0.4)
                await bench.worker.stopped.wait()
                return {"state": "stopped", "what": "before the end"}
            return {}

        bench.worker.answers = until_stopped
        await bench.desk.ask("first", None)
        await bench.until(lambda: any(e["kind"] == "progress" for e in bench.events))
        assert (await bench.desk.ask("first", None)).share == 0.4
        assert (await bench.desk.stop("first", None)).state == "working"
        assert (await bench.done("first")).state == "stopped"
        (bench.folder / "cell.toml").write_text(CELL + "# more\n")
        await bench.until(lambda: any(e["kind"] == "cell" for e in bench.events))
        found = await bench.done("first")
        assert found.state == "stopped" and found.stale
        assert len(bench.worker.asked) == 1
        await bench.desk.again("first", None)
        assert (await bench.done("first")).state == "done"

    play(tmp_path, scene)


@pytest.mark.parametrize("stop", [False, True])
def test_a_program_is_played_once_it_is_judged(tmp_path: Path, stop: bool) -> None:
    async def scene(bench: Bench) -> None:
        go_on = asyncio.Event()

        async def held(_: Any) -> dict[str, Any]:
            await (bench.worker.stopped if stop else go_on).wait()
            return {"state": "stopped" if stop else "done"}

        bench.worker.answers = held
        playing = asyncio.create_task(bench.desk.played("track", "part.nc"))
        await bench.until(lambda: bench.worker.asked == [("clears", "part.nc")])
        await asyncio.sleep(0.05)
        assert not playing.done()
        go_on.set()
        if stop:
            await bench.desk.stop("clears", "part.nc")
        assert await playing == b"track"

    play(tmp_path, scene)


def test_what_waits_is_stopped_before_it_begins(tmp_path: Path) -> None:
    async def scene(bench: Bench) -> None:
        go_on = asyncio.Event()

        async def held(_: Any) -> dict[str, Any]:
            await go_on.wait()
            return {}

        bench.worker.answers = held
        await bench.desk.ask("first", None)
        await bench.until(lambda: bench.worker.asked)
        await bench.desk.ask("second", None)
        assert (await bench.desk.stop("second", None)).state == "stopped"
        go_on.set()
        await bench.done("first")
        assert bench.worker.asked == [("first", None)]

    play(tmp_path, scene)


def test_a_page_that_does_not_listen_is_told_to_ask_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(desk_module, "EVENTS_MOST", 5)

    async def scene(bench: Bench) -> None:
        slow = bench.desk.events()
        assert json.loads(await anext(slow))["kind"] == "hello"
        waiting = asyncio.ensure_future(anext(slow))
        await asyncio.sleep(0)
        for _ in range(40):
            bench.desk._tell(kind="fault", what="x")
        kinds = [json.loads(await waiting)["kind"]]
        kinds += [json.loads(await anext(slow))["kind"] for _ in range(2)]
        assert kinds == ["hello", "fault", "fault"]
        await slow.aclose()  # type: ignore[attr-defined]

    play(tmp_path, scene)


def test_too_many_programs_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(desk_module, "PROGRAMS_MOST", 1)

    async def scene(bench: Bench) -> None:
        await bench.desk.ask("clears", "part.nc")
        with pytest.raises(Refused, match="too many"):
            await bench.desk.ask("clears", "other.nc")

    play(tmp_path, scene)


def test_the_rest_of_the_scene_is_worked_out_once_and_anew_when_files_change(
    tmp_path: Path,
) -> None:
    async def scene(bench: Bench) -> None:
        worker, desk = bench.worker, bench.desk
        worker.dies = 1
        first, second = await asyncio.gather(desk.scene_more(), desk.scene_more())
        assert first == second
        assert worker.more == [bench.shop.inputs(None)] * 2  # it died once: asked once more
        assert bench.desk.scene.more == []  # type: ignore[attr-defined]  # left to the sliders
        (bench.folder / "cell.toml").write_text(CELL + "\n")
        changed = json.loads(await desk.scene_more())
        assert changed["digest"] == bench.shop.inputs(None) != json.loads(first)["digest"]
        worker.dies = 2
        (bench.folder / "cell.toml").write_text(CELL)
        with pytest.raises(Died):
            await desk.scene_more()

    play(tmp_path, scene)


def test_where_nothing_came_of_it_the_answer_before_is_shown_on(tmp_path: Path) -> None:
    async def scene(bench: Bench) -> None:
        await bench.done("first")
        nothing = {"state": "stopped", "what": "stopped before the end", "answer": None}

        async def stopped(words: Any) -> dict[str, Any]:
            bench.desk._lines["first", None].stopping = True
            return nothing

        bench.worker.answers = stopped
        (bench.folder / "cell.toml").write_text(CELL + "\n")
        await bench.desk.written()
        found = await bench.done("first")
        assert found.state == "stopped" and found.what == "stopped before the end"
        assert found.stale and found.answer is not None

    play(tmp_path, scene)
