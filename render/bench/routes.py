"""All that the bench answers to: pages, jobs, and the work on them."""

import json
import re
from asyncio import get_running_loop, to_thread, wait_for
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from functools import wraps
from importlib import resources
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import (
    FileResponse,
    JSONResponse,
    PlainTextResponse,
    Response,
    StreamingResponse,
)
from starlette.routing import Route

from presolder.models.errors import InputError
from presolder.models.instrument.starter import KIND_QUESTION
from presolder.render import SCHEMA
from presolder.render.bench import desk, jobs
from presolder.render.bench.asked import Asked
from presolder.render.bench.described import JOB, openapi
from presolder.render.bench.guitar import shown
from presolder.render.bench.tasks import MADE_FILES, SWEEP, TASKS
from presolder.render.bench.working import Crew
from presolder.render.files.folder import new_file
from presolder.render.files.rig_file import built_in_rigs

_MOST_JSON, _MOST_AUDIO = 1_000_000, 200_000_000
# An upload that gives nothing for so long is given up.
_PATIENCE_S = 20.0
_BENCH = "presolder.render.bench"
_SCRIPTS = (_BENCH, "presolder.render.listening")
_STYLES = {"bench.css": _BENCH, "style.css": _SCRIPTS[1]}
_WAV = ("audio/wav", "audio/x-wav", "audio/wave")
_TAKE_NAME = re.compile(r"[A-Za-z0-9-]{1,60}")
# Its script stands inside it, and it asks nobody for anything: its own policy says so.
_PAGE_POLICY = (
    "default-src 'none'; script-src 'unsafe-inline' 'wasm-unsafe-eval' data: blob:;"
    " style-src 'unsafe-inline'; img-src data:; media-src data: blob:; connect-src data: blob:;"
    " worker-src data: blob:; form-action 'none'; base-uri 'none'; frame-ancestors 'self'"
)
Answer = Callable[[Request], Awaitable[Response]]


class UnknownError(InputError):
    """There is nothing of that name."""


def application(bench: Path, stop: Callable[[], None], ending: Callable[[], bool]) -> Starlette:
    """The bench over a folder of jobs.

    Parameters
    ----------
    bench : Path
    stop : callable
        Ends the server.
    ending : callable
        Whether it is about to end.
    """
    of = _Bench(bench, stop, ending)
    table: list[tuple[str, str, Answer]] = [
        ("GET", "/", _page), ("GET", "/guitars/{name}/{room}", _page),
        ("GET", "/{sheet}.css", _style), ("GET", "/script/{module}.js", _script),
        ("GET", "/api/openapi.json", of.described),
        ("GET", "/api/jobs", of.listed), ("POST", "/api/jobs", of.begun),
        ("GET", "/api/order", of.ordered), ("POST", "/api/stop", of.stopped),
        ("GET", JOB, of.state), ("PUT", JOB, of.changed),
        ("POST", JOB + "/{way}/step", of.stepped),
        ("GET", JOB + "/drawn", of.drawn), ("POST", JOB + "/tasks/{task}", of.worked),
        ("PUT", JOB + "/takes/{take}", of.take),
        ("POST", JOB + "/takes/{take}/swap", of.swapped), ("PUT", JOB + "/stock", of.stock),
        ("PUT", JOB + "/answer", of.answer), ("POST", JOB + "/reading", of.reading),
        ("POST", JOB + "/measured", of.measured),
        ("GET", JOB + "/made/{file}", of.made),
    ]  # fmt: skip
    return Starlette(
        routes=[Route(path, _answering(to), methods=[method]) for method, path, to in table],
        exception_handlers={404: _nowhere, 405: _nowhere},
    )


async def _page(_: Request) -> Response:
    return Response(_packaged(_BENCH, "bench.html"), media_type="text/html")


async def _style(request: Request) -> Response:
    name = f"{request.path_params['sheet']}.css"
    if name not in _STYLES:
        raise UnknownError(f"{name!r}: there is no such style")
    return Response(_packaged(_STYLES[name], name), media_type="text/css")


async def _script(request: Request) -> Response:
    name = f"{request.path_params['module']}.js"
    for package in _SCRIPTS:
        if name in _modules(package):
            return Response(_packaged(package, f"script/{name}"), media_type="text/javascript")
    raise UnknownError(f"{name!r}: there is no such module")


async def _nowhere(_: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 404
    return _json({"error": "the bench has nothing there"}, status)


class _Bench:
    """Answers about the jobs of one folder."""

    def __init__(self, folder: Path, stop: Callable[[], None], ending: Callable[[], bool]) -> None:
        self._folder, self._stop, self._crew = folder, stop, Crew(ending)

    def _job(self, request: Request) -> Path:
        """By its name among those that are there, so that no path leads elsewhere."""
        name = request.path_params["name"]
        found = jobs.jobs_in(self._folder).get(name)
        if found is None:
            raise UnknownError(f"{name!r}: there is no such guitar on this bench")
        return found

    async def described(self, _: Request) -> Response:
        return JSONResponse(openapi(jobs.jobs_in(self._folder)))

    async def listed(self, _: Request) -> Response:
        def found() -> list[dict[str, Any]]:
            return [desk.entry(path) for path in jobs.jobs_in(self._folder).values()]

        kinds = dict(zip(KIND_QUESTION.words, KIND_QUESTION.meanings, strict=True))
        told = {"bench": str(self._folder), "kinds": kinds, "rigs": list(built_in_rigs())}
        return _json(told | {"jobs": await to_thread(found)})

    async def begun(self, request: Request) -> Response:
        name = await to_thread(desk.begun, self._folder, await _asked(request))
        return _json({"name": name}, 201)

    async def state(self, request: Request) -> Response:
        job = self._job(request)
        return _json(await to_thread(lambda: desk.state(job, jobs.newest(job))))

    async def changed(self, request: Request) -> Response:
        job, asked = self._job(request), await _asked(request)
        return _json(await to_thread(desk.changed, job, asked))

    async def stepped(self, request: Request) -> Response:
        job, asked, way = self._job(request), await _asked(request), request.path_params["way"]
        if way not in ("undo", "redo"):
            raise UnknownError(f"{way!r}: undo or redo is wanted")
        seen = asked.whole("version")
        back = way == "undo"
        return _json(await to_thread(lambda: desk.state(job, jobs.step(job, seen, back=back))))

    async def drawn(self, request: Request) -> Response:
        job, wanted = self._job(request), request.query_params.get("situation", "")

        def found() -> dict[str, Any]:
            version = jobs.newest(job)
            designs = jobs.told_of(version).designs
            return shown(jobs.situations_of(job, version), designs, wanted)

        return _json(await to_thread(found))

    async def worked(self, request: Request) -> Response:
        job, task = self._job(request), request.path_params["task"]
        if task not in TASKS:
            raise UnknownError(f"{task!r}: there is no such work; one of {', '.join(TASKS)}")
        asked = await _asked(request)

        async def events() -> AsyncIterator[str]:
            async for told in self._crew.work(task, job, asked.given):
                yield f"data: {json.dumps(told, allow_nan=False)}\n\n"

        return StreamingResponse(events(), media_type="text/event-stream")

    async def take(self, request: Request) -> Response:
        job, take = self._job(request), request.path_params["take"]
        kind = request.headers.get("content-type", "")
        if kind not in _WAV:
            raise InputError(f"content-type = {kind!r}: audio/wav is wanted")
        if not _TAKE_NAME.fullmatch(take):
            raise InputError(f"take = {take!r}: letters, digits and - make its name")
        place = job / SWEEP if take == "sweep" else job / jobs.TAKES / f"{take}.wav"

        def look(scratch: Path) -> dict[str, Any]:
            told = desk.looked_over(job, place, scratch)
            jobs.keep_earlier(place)
            return told

        told = await _kept(request, place, "the recording", look, _MOST_AUDIO)
        return _json({"take": take, **told})

    async def swapped(self, request: Request) -> Response:
        job, take = self._job(request), request.path_params["take"]
        await _asked(request)
        found = {path.stem: path for path in jobs.takes_of(job)}
        if take not in found:
            raise UnknownError(f"take = {take!r}: is not one of this guitar's")
        await to_thread(jobs.swap_takes, found[take])
        return _json({"take": take})

    async def stock(self, request: Request) -> Response:
        place = self._job(request) / jobs.STOCK_FILE
        return _json(await _kept(request, place, "the drawer", desk.parts_in, _MOST_JSON))

    async def answer(self, request: Request) -> Response:
        place = self._job(request) / jobs.ANSWER_FILE
        return _json(await _kept(request, place, "the file", desk.answer, _MOST_JSON))

    async def reading(self, request: Request) -> Response:
        job, asked = self._job(request), await _asked(request)
        return _json(await to_thread(desk.reading, job, asked))

    async def measured(self, request: Request) -> Response:
        job, asked = self._job(request), await _asked(request)
        return _json(await to_thread(desk.measured, job, asked))

    async def ordered(self, _: Request) -> Response:
        return _json(await to_thread(desk.ordered, self._folder))

    async def made(self, request: Request) -> Response:
        name = request.path_params["file"]
        path = self._job(request) / jobs.MADE / name
        if name not in MADE_FILES or not path.is_file():
            raise UnknownError(f"{name!r}: is not made")
        return FileResponse(path, headers={"content-security-policy": _PAGE_POLICY})

    async def stopped(self, _: Request) -> Response:
        get_running_loop().call_later(0.1, self._stop)
        return _json({"stopped": True})


def _answering(answer: Answer) -> Answer:
    """What goes wrong as JSON: 404 not there, 409 changed meanwhile, 400 anything else."""

    @wraps(answer)
    async def answers(request: Request) -> Response:
        try:
            return await answer(request)
        except jobs.OutrunError as error:
            status, why = 409, str(error)
        except UnknownError as error:
            status, why = 404, str(error)
        except InputError as error:
            status, why = 400, str(error)
        except ClientDisconnect:
            return PlainTextResponse("gone", 400)
        except OSError as error:
            status, why = 507, f"{error.filename or 'a file'}: {error.strerror or error}"
        answer_ = _json({"error": why}, status)
        # What else was on its way is not waited for.
        answer_.headers["connection"] = "close"
        return answer_

    return answers


def _json(told: Mapping[str, Any], status: int = 200) -> JSONResponse:
    return JSONResponse({"schema": SCHEMA, **told}, status)


def _packaged(package: str, name: str) -> bytes:
    return resources.files(package).joinpath(name).read_bytes()


def _modules(package: str) -> set[str]:
    return {one.name for one in resources.files(package).joinpath("script").iterdir()}


async def _pieces(request: Request, most: int) -> AsyncIterator[bytes]:
    """What a request brings, for as long as it brings something, and not too much."""
    stream, count = request.stream(), 0
    while True:
        try:
            piece = await wait_for(anext(stream), _PATIENCE_S)
        except StopAsyncIteration:
            return
        except TimeoutError:
            raise InputError(f"nothing came for {_PATIENCE_S:g} s") from None
        count += len(piece)
        if count > most:
            raise InputError(f"larger than {most / 1e6:g} MB")
        yield piece


async def _kept(
    request: Request, place: Path, called: str, read: Callable[[Path], dict[str, Any]], most: int
) -> dict[str, Any]:
    """What is read of a file that came, which is kept if it can be read."""
    place.parent.mkdir(exist_ok=True)
    with new_file(place, force=True) as scratch:
        with scratch.open("wb") as file:
            async for piece in _pieces(request, most):
                file.write(piece)
        try:
            return await to_thread(read, scratch)
        except InputError as error:
            raise InputError(str(error).replace(str(scratch), called)) from None


async def _asked(request: Request) -> Asked:
    """The JSON object that a request brings."""
    if request.headers.get("content-type", "").partition(";")[0].strip() != "application/json":
        raise InputError("content-type: application/json is wanted")
    body = b"".join([piece async for piece in _pieces(request, _MOST_JSON)])
    try:
        found = json.loads(body)
    except (ValueError, RecursionError):
        raise InputError("what was sent is not JSON") from None
    if not isinstance(found, dict):
        raise InputError("what was sent is no JSON object")
    return Asked(found)
