"""The bench as a web application: every address, and what it asks of the bench."""

from __future__ import annotations

import asyncio
import contextlib
import json
import sys
import threading
import traceback
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any
from urllib.parse import quote

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Route

from ..errors import MockupError
from .blobs import Blob
from .document import Conflict
from .easel import Gone
from .guard import Guard
from .photos import MOST_BYTES, too_large
from .service import Bench

__all__ = ["create_app", "page_files"]

PAGE = Path(__file__).resolve().parent / "page"
FONTS = Path(__file__).resolve().parents[1] / "papers" / "fonts"
KINDS = {".html": "text/html; charset=utf-8", ".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8",
         ".ttf": "font/ttf", ".svg": "image/svg+xml"}
MOST_JSON = 1_000_000
MOST_ANSWER = 2_000_000  # bytes of a client's mail
# A paper may not ask for anything, nor is it of the page's own origin; the client's page holds its own pictures and script.
PAPER = "default-src 'none'; sandbox"
CLIENTS_PAGE = ("default-src 'none'; img-src data:; font-src data:; style-src 'unsafe-inline'; script-src 'unsafe-inline'; "
                "base-uri 'none'; form-action 'none'; frame-ancestors 'none'; sandbox allow-scripts")
TICK, LOOK_EVERY = 0.15, 5  # s between looks at whether to end, and how many of them to one at the file on disk
OFFENCE = "Something went wrong here, and nothing was changed. The window that runs mockup bench says more."


def page_files() -> dict[str, tuple[bytes, str]]:
    """The page's own files by name, with their media types: read once, so that no path ever comes from a request."""
    files = sorted(p for folder in (PAGE, FONTS) for p in folder.iterdir() if p.suffix in KINDS)
    return {p.name: (p.read_bytes(), KINDS[p.suffix]) for p in files}


def create_app(bench: Bench, *, port: int, token: str, stop: Callable[[], None] = lambda: None,
               stopping: Callable[[], bool] = lambda: False) -> Guard:
    """The application for one bench, behind its guard.

    stop      called when the page asks to end it.
    stopping  whether the server is about to end, as after an interrupt.
    """
    files = page_files()
    ended = asyncio.Event()
    clients: set[asyncio.Event] = set()
    loop: list[asyncio.AbstractEventLoop] = []

    def changed() -> None:
        for one in list(clients):
            if loop:
                loop[0].call_soon_threadsafe(one.set)

    async def look() -> None:
        with contextlib.suppress(Exception):
            await run_in_threadpool(bench.look)

    async def watch() -> None:
        ticks, looking = 0, None
        while not ended.is_set():
            await asyncio.sleep(TICK)
            if stopping():
                # Pages that listen are let go, or the server would wait for them.
                ended.set()
                changed()
                return
            ticks += 1
            if ticks % LOOK_EVERY == 0 and (looking is None or looking.done()):  # a large photo takes a while
                looking = asyncio.create_task(look())

    @contextlib.asynccontextmanager
    async def life(_):
        loop.append(asyncio.get_running_loop())
        end = bench.document.listen(changed)
        watching = asyncio.create_task(watch())
        threading.Thread(target=bench.warm, daemon=True).start()
        yield
        ended.set()
        end()
        watching.cancel()
        await run_in_threadpool(bench.stop)

    async def page(request: Request) -> Response:
        data, kind = files.get(request.path_params.get("name", "index.html"), (None, ""))
        return Response(data, media_type=kind) if data is not None else Response("There is no such page.", 404)

    async def events(request: Request) -> Response:
        mine = asyncio.Event()
        clients.add(mine)

        async def lines():
            try:
                yield b"retry: 1000\n\n"
                while not ended.is_set():
                    yield f"data: {bench.document.version}\n\n".encode()
                    with contextlib.suppress(asyncio.TimeoutError):
                        await asyncio.wait_for(mine.wait(), 5)
                    mine.clear()
                    if await request.is_disconnected():
                        break
            finally:
                clients.discard(mine)

        return StreamingResponse(lines(), media_type="text/event-stream")

    async def picture(request: Request) -> Response:
        asked = await _asked(request)
        version = bench.document.version
        data, kind = await asyncio.wrap_future(bench.picture(_tab(request), asked))
        return Response(data, media_type=kind, headers={"x-version": str(version)})

    async def upload(request: Request) -> Response:
        name = "".join(c for c in request.query_params.get("name", "photo") if c.isprintable() and c not in "/\\")[-80:] or "photo"
        data = await _body(request, MOST_BYTES, too_large(name))
        return JSONResponse(await run_in_threadpool(bench.photo, data, name, second=request.query_params.get("second")))

    async def answer(request: Request) -> Response:
        data = await _body(request, MOST_ANSWER, MockupError("This is too large to be a client's choice.", fix="Save the client's mail as text."))
        made = await run_in_threadpool(bench.answer, data, write=request.query_params.get("write") == "1")
        return JSONResponse(await asyncio.wrap_future(made))

    async def end(_: Request) -> Response:
        ended.set()
        changed()
        asyncio.get_running_loop().call_later(0.2, stop)
        return JSONResponse({"stopped": True})

    async def board(request: Request) -> Response:
        blob, told = await asyncio.wrap_future(bench.board(request.path_params["name"]))
        return Response(blob.data, media_type=blob.kind, headers={"x-board": json.dumps(told)})

    async def kept(request: Request) -> Response:
        blob: Blob = await run_in_threadpool(bench.blob, request.path_params["name"])
        headers = {} if blob.file is None else {"content-disposition": f"inline; filename*=utf-8''{quote(blob.file.name)}"}
        if blob.file is not None:
            headers["content-security-policy"] = CLIENTS_PAGE if blob.kind.startswith("text/html") else PAPER
        return Response(blob.data, media_type=blob.kind, headers=headers)

    def asking(work: Callable[[str, dict[str, Any]], Any]) -> Callable[[Request], Awaitable[Response]]:
        """An address that takes JSON and gives JSON; ``work`` gives it, or a future of the easel."""

        async def answer(request: Request) -> Response:
            asked = await _asked(request)
            made = await run_in_threadpool(work, _tab(request), asked)
            return JSONResponse(await asyncio.wrap_future(made) if hasattr(made, "add_done_callback") else made)

        return answer

    def reading(work: Callable[[Request], Any]) -> Callable[[Request], Awaitable[Response]]:
        async def answer(request: Request) -> Response:
            made = await run_in_threadpool(work, request)
            made = await asyncio.wrap_future(made) if hasattr(made, "add_done_callback") else made
            return Response(made.data, media_type=made.kind, headers={"cache-control": "private, max-age=3600"}) if isinstance(made, Blob) else JSONResponse(made)

        return answer

    document = bench.document

    def took(tab: str, asked: dict[str, Any]) -> dict[str, Any]:
        {"file": lambda: document.take_file(tab), "found": lambda: document.take_found(tab)}.get(str(asked.get("which")), document.drop_found)()
        return {"version": document.version}

    posts = {
        "edit": bench.edit, "colour": bench.colour, "tilt": bench.tilt, "places": bench.places, "papers": bench.papers, "verify": bench.verify,
        "measure": bench.measure, "keep": bench.keep_board, "take": took,
        "save": lambda tab, asked: bench.save(over=asked.get("over") is True),
        "undo": lambda tab, asked: {"words": document.undo(tab), "version": document.version},
        "redo": lambda tab, asked: {"words": document.redo(tab), "version": document.version},
        "leave": lambda tab, asked: bench.photos.leave(asked.get("photo")) or {},
    }
    app = Starlette(lifespan=life, routes=[
        Route("/", page), Route("/page/{name}", page),
        Route("/api/state", reading(lambda r: bench.state())),
        Route("/api/library", reading(lambda r: bench.library(r.query_params.get("part")))),
        Route("/api/wood/{name}", reading(lambda r: bench.wood(r.path_params["name"]))),
        Route("/api/board/{name}", board), Route("/api/kept/{name}", kept), Route("/api/events", events),
        Route("/api/picture", picture, methods=["POST"]), Route("/api/photo", upload, methods=["PUT"]),
        Route("/api/answer", answer, methods=["PUT"]), Route("/api/stop", end, methods=["POST"]),
        *(Route(f"/api/{name}", asking(work), methods=["POST"]) for name, work in posts.items()),
    ], exception_handlers={MockupError: _told, Conflict: _conflict, Gone: _gone, ClientDisconnect: _gone, Exception: _broken})
    return Guard(app, port=port, token=token)


async def _body(request: Request, most: int, large: MockupError) -> bytes:
    """What a request brings, refused before it is read where it says that it is too large, and while it is read where it lied."""
    said = request.headers.get("content-length", "0")
    if not said.isdigit() or int(said) > most:
        raise large
    data = bytearray()
    async for block in request.stream():
        data += block
        if len(data) > most:
            raise large
    return bytes(data)


async def _asked(request: Request) -> dict[str, Any]:
    data = bytearray()
    async for block in request.stream():
        data += block
        if len(data) > MOST_JSON:
            raise MockupError("The page sent too much at once.", fix="Load it again.")

    def refuse(_: str) -> None:
        raise ValueError

    try:
        asked = json.loads(bytes(data), parse_constant=refuse)
    except (ValueError, RecursionError):
        asked = None
    if not isinstance(asked, dict):
        raise MockupError("The page sent something that cannot be read.", fix="Load it again.")
    return asked


def _tab(request: Request) -> str:
    return request.headers.get("x-tab", "")[:40]


async def _told(_: Request, error: MockupError) -> Response:
    return JSONResponse({"problems": [{"where": p.where, "found": p.found, "fix": p.fix} for p in error.problems]}, 422)


async def _conflict(_: Request, error: Conflict) -> Response:
    return JSONResponse({"problems": [{"where": "", "found": error.words, "fix": ""}]}, 409)


async def _gone(_: Request, error: Exception) -> Response:
    return Response(status_code=204)


async def _broken(_: Request, error: Exception) -> Response:
    traceback.print_exception(error, file=sys.stderr)
    return JSONResponse({"problems": [{"where": "", "found": OFFENCE, "fix": ""}]}, 500)
