"""One process beside the server: what waits for it, what hangs, what it says when it ends."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Awaitable, Callable
from pathlib import Path

import pytest

pytest.importorskip("fastapi", reason='the page needs the extra "web"')

from gudgeon.faces.web import process as process_module
from gudgeon.faces.web.process import Died, Process, Worked
from gudgeon.faces.web.worker import Refused


def play(folder: Path, scene: Callable[[Process], Awaitable[None]]) -> None:
    (folder / "cell.toml").write_text('[shop]\nname = "Test"\n')

    async def whole() -> None:
        process = Process("test", folder / "cell.toml", read_only=True)
        try:
            await scene(process)
        finally:
            await process.close(0.1)

    asyncio.run(whole())


def test_it_works_hangs_dies_and_works_again(tmp_path: Path) -> None:
    async def scene(process: Process) -> None:
        told: list[str] = []
        process.died = told.append
        first, second = await asyncio.gather(process.call("cell"), process.call("cell"))
        assert json.loads(first) == json.loads(second)
        assert json.loads(first)["name"] == "Test"
        with pytest.raises(Worked, match="KeyError"):
            await process.call("nothing of this name")
        with pytest.raises(Worked, match="TypeError"):
            await process.call("cell", {"more": 1})
        with pytest.raises(Refused) as refused:
            await process.call("track", {"program": "../x.nc", "prove": True})
        assert refused.value.status in (404, 422)
        # One that hangs is ended, so that the next is served; whoever waits is told.
        slow = asyncio.create_task(process.call("cell"))
        await asyncio.sleep(0)
        with pytest.raises(Refused, match="too long"):
            await process.call("cell", seconds=0.0)
        with pytest.raises(Died):
            await slow
        assert told == ["test"]
        assert json.loads(await process.call("cell"))["name"] == "Test"
        await process.close(0.1)
        with pytest.raises(Died):
            await process.call("cell")

    play(tmp_path, scene)


def test_only_so_many_wait(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(process_module, "WAITING_MOST", 2)

    async def scene(process: Process) -> None:
        waiting = [asyncio.create_task(process.call("cell")) for _ in range(2)]
        await asyncio.sleep(0)
        with pytest.raises(Refused) as refused:
            await process.call("cell")
        assert refused.value.status == 503
        process.kill()
        for one in await asyncio.gather(*waiting, return_exceptions=True):
            assert isinstance(one, Died)

    play(tmp_path, scene)
