"""The addresses of the page and of its data; each hands its request on and shapes the reply."""

from __future__ import annotations

import json
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import Annotated, Any, Final

from fastapi import Body, FastAPI, Path, Query, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, StreamingResponse
from fastapi.routing import APIRoute
from starlette.exceptions import HTTPException

from gudgeon import __version__
from gudgeon.faces.web import wire
from gudgeon.faces.web.desk import Desk
from gudgeon.faces.web.process import Died, Worked
from gudgeon.faces.web.worker import Refused

__all__ = ["HARMLESS", "application", "methods_of", "page_schema"]

HARMLESS: Final = frozenset({"/api/gap", "/api/answers/*"})
"""Posts that change no file, allowed where nothing may be changed."""

SCENE_SECONDS: Final = 300.0
"""The first scene on a computer waits until loops are compiled."""

TYPES: Final = {
    "css": "text/css; charset=utf-8",
    "html": "text/html; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "json": "application/json",
    "png": "image/png",
    "svg": "image/svg+xml",
    "txt": "text/plain; charset=utf-8",
    "woff2": "font/woff2",
}
"""Files of the page by their ending; no others are served."""

NOT_BUILT: Final = (
    '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<title>Gudgeon</title>\n'
    "</head>\n<body>\n<h1>The page was not built</h1>\n<p>This copy of Gudgeon lacks the files of "
    "its page. Install a released one, or run <code>make page</code>.</p>\n</body>\n</html>\n"
)

Question = Annotated[str, Path(max_length=40)]
Program = Annotated[str | None, Query(max_length=200)]
ProgramName = Annotated[str, Path(max_length=200)]

REFUSALS: Final[dict[int | str, dict[str, Any]]] = {
    status: {"model": wire.Refusal, "description": words}
    for status, words in {
        400: "what was sent is no JSON",
        401: "this device is not paired",
        403: "not from here, or nothing may be changed",
        404: "there is none of this name",
        413: "too much was sent",
        415: "only JSON is taken",
        421: "not a name of this server",
        422: "it cannot be done as asked",
        500: "a fault in Gudgeon itself",
        503: "too much at once, or the process has ended",
    }.items()
}
CONFLICT: Final[dict[int | str, dict[str, Any]]] = {
    409: {"model": wire.Refusal, "description": "the file has changed meanwhile"}
}


def page_files(folder: Traversable | None = None) -> dict[str, tuple[str, bytes]]:
    """Return type and bytes of every file of the page by its path; nothing else is served."""
    found: dict[str, tuple[str, bytes]] = {}

    def walk(at: Traversable, path: str) -> None:
        for one in at.iterdir():
            if one.is_dir():
                walk(one, f"{path}{one.name}/")
            elif (kind := TYPES.get(one.name.rpartition(".")[2])) is not None:
                found[path + one.name] = (kind, one.read_bytes())

    folder = folder if folder is not None else files("gudgeon.faces.web").joinpath("page")
    if folder.is_dir():
        walk(folder, "/")
    return found


def application(desk: Desk) -> FastAPI:
    """Return the application, without the guard that stands before it."""

    @asynccontextmanager
    async def running(_: FastAPI) -> AsyncIterator[None]:
        await desk.open()
        yield
        await desk.close()

    app = FastAPI(
        title="Gudgeon page",
        version=__version__,
        docs_url=None,  # they would load from elsewhere
        redoc_url=None,
        openapi_url=None,
        lifespan=running,
        responses=REFUSALS,
        generate_unique_id_function=lambda route: route.name,
    )
    _errors(app)
    _cell(app, desk)
    _answers(app, desk)
    _scene(app, desk)
    _entering(app, desk)
    _page(app)
    return app


def methods_of(app: FastAPI) -> Callable[[str], frozenset[str]]:
    """Return what tells the methods with which a path is asked."""
    known = [
        (route.path_regex, frozenset(route.methods or ()))
        for route in app.routes
        if isinstance(route, APIRoute) and route.include_in_schema
    ]

    def methods(path: str) -> frozenset[str]:
        found = frozenset[str]().union(*(named for form, named in known if form.fullmatch(path)))
        return found or frozenset({"GET", "HEAD"})

    return methods


def page_schema() -> str:
    """Return the OpenAPI description of everything that goes over the wire, as text."""
    from pathlib import Path as FilePath

    from gudgeon.faces.web.shop import Shop

    app = application(Desk(Shop(FilePath("cell.toml"))))
    return json.dumps(app.openapi(), indent=1, sort_keys=True) + "\n"


def _errors(app: FastAPI) -> None:
    def reply(
        status: int, what: str, where: str = "", mend: str = "", now: str | None = None
    ) -> Response:
        data = wire.Refusal(what=what, where=where, mend=mend, now=now)
        return JSONResponse(data.model_dump(), status)

    async def refused(_: Request, problem: Exception) -> Response:
        assert isinstance(problem, Refused)
        return reply(problem.status, problem.what, problem.where, problem.mend, problem.now)

    async def died(_: Request, problem: Exception) -> Response:
        return reply(503, str(problem), "", "ask again")

    async def worked(_: Request, problem: Exception) -> Response:
        return reply(500, f"a fault in Gudgeon itself ({problem})", "", "please report it")

    async def invalid(_: Request, problem: Exception) -> Response:
        assert isinstance(problem, RequestValidationError)
        first = problem.errors()[0]
        where = ".".join(str(part) for part in first.get("loc", ()))[:200]
        return reply(422, str(first.get("msg", "it is not as expected"))[:300], where)

    async def other(_: Request, problem: Exception) -> Response:
        assert isinstance(problem, HTTPException)
        done = reply(problem.status_code, str(problem.detail))
        done.headers.update(problem.headers or {})
        return done

    app.add_exception_handler(Refused, refused)
    app.add_exception_handler(Died, died)
    app.add_exception_handler(Worked, worked)
    app.add_exception_handler(RequestValidationError, invalid)
    app.add_exception_handler(HTTPException, other)


def _json(data: bytes) -> Response:
    """Return what a process has sent, as it is."""
    return Response(data, media_type="application/json")


def _cell(app: FastAPI, desk: Desk) -> None:
    @app.get("/api/cell")
    async def cell() -> wire.CellView:
        return await desk.cell()

    @app.get("/api/events", response_class=_EventStream, responses={200: {"model": wire.Event}})
    async def events() -> StreamingResponse:
        async def lines() -> AsyncIterator[str]:
            yield "retry: 1000\n\n"
            async for event in desk.events():
                yield f"data: {event}\n\n" if event else ": still here\n\n"

        return _EventStream(lines())


class _EventStream(StreamingResponse):
    media_type = "text/event-stream"


def _answers(app: FastAPI, desk: Desk) -> None:
    @app.get("/api/answers")
    async def answers() -> list[wire.AnswerLine]:
        return await desk.lines()

    @app.get("/api/answers/{question}")
    async def answer(question: Question, program: Program = None) -> wire.AnswerView:
        return await desk.ask(question, program)

    @app.post("/api/answers/{question}/stop")
    async def stop(question: Question, program: Program = None) -> wire.Step:
        return await desk.stop(question, program)

    @app.post("/api/answers/{question}/again")
    async def again(question: Question, program: Program = None) -> wire.Step:
        return await desk.again(question, program)


def _scene(app: FastAPI, desk: Desk) -> None:
    @app.get("/api/scene", response_model=wire.SceneView)
    async def scene() -> Response:
        return _json(await desk.scene.call("scene", seconds=SCENE_SECONDS))

    @app.get("/api/scene/more", response_model=wire.SceneMore)
    async def scene_more() -> Response:
        return _json(await desk.scene_more())

    @app.get(
        "/api/scene.glb",
        response_class=Response,
        responses={200: {"content": {"model/gltf-binary": {}}, "description": "the model"}},
    )
    async def scene_model(
        digest: Annotated[str | None, Query(max_length=64)] = None, full: bool = False
    ) -> Response:
        data = await desk.scene.call("scene_model", {"full": full}, seconds=SCENE_SECONDS)
        return Response(data, media_type="model/gltf-binary")

    @app.post("/api/gap", response_model=wire.Gap)
    async def gap(asked: wire.GapAsked) -> Response:
        return _json(await desk.scene.call("gap", asked.model_dump(), seconds=SCENE_SECONDS))

    @app.get("/api/track/{program:path}/spots", response_model=list[wire.Spot])
    async def spots(program: ProgramName) -> Response:
        _beside(desk, program)
        return _json(await desk.played("spots", program))

    @app.get(
        "/api/track/{program:path}",
        response_class=Response,
        responses={200: {"content": {"application/octet-stream": {}}, "description": "rows"}},
    )
    async def track(program: ProgramName) -> Response:
        _beside(desk, program)
        data = await desk.played("track", program)
        return Response(data, media_type="application/octet-stream")


def _beside(desk: Desk, program: str) -> None:
    if desk.shop.inside(program) is None:
        raise Refused(404, "there is no such program", program[:200], "put it beside the cell file")


def _entering(app: FastAPI, desk: Desk) -> None:
    async def write(task: str, words: dict[str, Any]) -> Response:
        try:
            return _json(await desk.files.call(task, words))
        finally:
            await desk.written()

    @app.get("/api/entries", response_model=wire.Form)
    async def entries() -> Response:
        return _json(await desk.files.call("entries"))

    @app.post("/api/edit", response_model=wire.Edited, responses=CONFLICT)
    async def edit(asked: wire.Edit) -> Response:
        return await write("edit", {"asked": asked})

    @app.post("/api/undo", response_model=wire.Edited, responses=CONFLICT)
    async def undo(seen: wire.Seen) -> Response:
        return await write("undo", {"digest": seen.digest})

    @app.post("/api/redo", response_model=wire.Edited, responses=CONFLICT)
    async def redo(seen: wire.Seen) -> Response:
        return await write("redo", {"digest": seen.digest})

    @app.get("/api/readings", response_model=wire.ReadingsView)
    async def readings() -> Response:
        return _json(await desk.files.call("readings"))

    @app.post("/api/readings", response_model=wire.ReadingsView, responses=CONFLICT)
    async def add_reading(row: wire.ReadingRow) -> Response:
        return await write("add_reading", {"digest": row.digest, "row": row.row})

    @app.delete("/api/readings", response_model=wire.ReadingsView, responses=CONFLICT)
    async def take_back_reading(seen: Annotated[wire.Seen, Body()]) -> Response:
        return await write("take_back_reading", {"digest": seen.digest})


def _page(app: FastAPI) -> None:
    held = page_files()

    @app.api_route("/{path:path}", methods=["GET", "HEAD"], include_in_schema=False)
    async def page(path: str) -> Response:
        path = f"/{path or 'index.html'}"
        if path not in held:
            if path == "/index.html":
                return Response(NOT_BUILT, 503, media_type=TYPES["html"])
            raise Refused(404, "there is nothing of this name", path[:200], "start at /")
        kind, data = held[path]
        lasting = path.startswith("/assets/")  # their names hold a hash of what is in them
        kept = "public, max-age=31536000, immutable" if lasting else "no-cache"
        return Response(data, media_type=kind, headers={"cache-control": kept})
