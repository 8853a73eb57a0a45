"""The server of the page: it listens on this machine only, and answers no page but its own.

A browser lets any page that is open send requests here. So the name of the host is checked (a
stranger's name may point at this machine), the origin of everything that makes work, the size of
what is sent; nothing is changed by a GET, and nothing from outside is loaded or told.
"""

import contextlib
import json
import mimetypes
from collections.abc import AsyncIterator, Awaitable, Callable, Generator
from functools import partial
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import anyio
import anyio.to_thread
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from reedbore import stopping
from reedbore.errors import ReedboreError
from reedbore.page.jobs import Job, Jobs

HOSTS = ["127.0.0.1", "localhost"]
LARGEST_BODY = 200_000
LARGEST_FILE = 100_000_000
"""Of a recording or a passage: five minutes of two channels at 48 kHz in 24 bits. [bytes]"""

POLICY = (
    "default-src 'self'; script-src 'self'; style-src 'self' 'unsafe-inline'; "
    "img-src 'self' data: blob:; media-src 'self' blob:; connect-src 'self'; object-src 'none'; "
    "worker-src 'self'; base-uri 'none'; frame-ancestors 'none'; form-action 'self'"
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(self), geolocation=()",
}

Body = dict[str, Any]


class Plotly(StaticFiles):
    """One file of the installed plotly: its library for browsers."""

    def lookup_path(self, path: str) -> Any:
        """Find that file, and no other."""
        return super().lookup_path(path) if path == "plotly.min.js" else ("", None)


def plotly_folder() -> Path:
    """Find the installed plotly without importing it."""
    found = find_spec("plotly")
    if found is None or found.origin is None:
        raise ReedboreError("plotly is missing, so the page cannot draw; install reedbore again")
    return Path(found.origin).parent / "package_data"


async def _read(request: Request) -> Body:
    """Read what was sent: one JSON object of bounded size."""
    if _kind(request) != "application/json":
        raise HTTPException(415, "send JSON, as application/json")
    return _object(await _bytes(request, LARGEST_BODY))


async def _read_file(request: Request) -> Body:
    """Read what is asked, a line of JSON, and the file that follows as it is, under `data`."""
    if _kind(request) != "application/octet-stream":
        raise HTTPException(415, "send a file as application/octet-stream")
    asked, _, data = (await _bytes(request, LARGEST_FILE)).partition(b"\n")
    return {**_object(asked), "data": data}


def _kind(request: Request) -> str:
    return str(request.headers.get("content-type", "").partition(";")[0].strip())


async def _bytes(request: Request, most: int) -> bytes:
    read = bytearray()
    async for chunk in request.stream():
        read += chunk
        if len(read) > most:
            size = f"{most // 1_000_000} MB" if most >= 1_000_000 else f"{most // 1000} kB"
            raise HTTPException(413, f"more than {size} were sent")
    return bytes(read)


def _object(read: bytes) -> Body:
    try:
        body = json.loads(read, parse_constant=_refuse)
    except (ValueError, RecursionError):
        raise HTTPException(422, "what was sent cannot be read as JSON") from None
    if not isinstance(body, dict):
        raise HTTPException(422, "what was sent must be a JSON object")
    return body


def _refuse(word: str) -> float:
    raise ValueError(word)


def _worker(name: str, kind: str) -> Callable[[Request], Awaitable[Response]]:
    """Make the endpoint of one function of `api`."""

    async def endpoint(request: Request) -> Response:
        jobs: Jobs = request.app.state.jobs
        body = await READ.get(name, _read)(request)
        job, failure = jobs.begin(heard=kind == "heard"), None
        answer: Any = None
        try:
            async with anyio.create_task_group() as group:
                group.start_soon(job.watch, request)
                try:
                    answer = await job.run(partial(_call, name, body), getattr(jobs, kind))
                except Exception as error:
                    failure = error
                group.cancel_scope.cancel()
        finally:
            jobs.end(job)
        if failure is not None:
            raise failure
        if name == "sound" and request.app.state.ahead is not None:
            request.app.state.ahead(body)
        return Response(answer.body, media_type=answer.kind, headers=dict(answer.headers))

    return endpoint


def _call(name: str, body: Body) -> Any:
    """Call a function of `api`, which is imported only now: the server must start at once."""
    from reedbore.page import api  # noqa: PLC0415

    return getattr(api, name)(body)


def _streamer(name: str) -> Callable[[Request], Awaitable[Response]]:
    """Make the endpoint of one generator of `api`: a line of JSON for each of its documents."""

    async def endpoint(request: Request) -> Response:
        jobs: Jobs = request.app.state.jobs
        body = await READ.get(name, _read)(request)
        job = jobs.begin()
        try:
            documents = await job.run(partial(_call, name, body), jobs.long)
            first = await job.run(partial(next, documents, None), jobs.long)
        except BaseException:
            jobs.end(job)
            raise
        told = _told(jobs, job, documents, first)
        return StreamingResponse(told, media_type="application/x-ndjson")

    return endpoint


async def _told(
    jobs: Jobs, job: Job, documents: Generator[Any], first: Any
) -> AsyncIterator[bytes]:
    """Write documents as lines; what goes wrong on the way is the last one."""
    try:
        document = first
        while document is not None:
            yield (json.dumps(document, ensure_ascii=False, allow_nan=False) + "\n").encode()
            document = await job.run(partial(next, documents, None), jobs.long)
    except ReedboreError as error:
        yield (json.dumps(_refusal(error), ensure_ascii=False) + "\n").encode()
    except stopping.Stopped:
        return
    finally:
        jobs.end(job)
        with contextlib.suppress(ValueError):  # it still runs; then it ends at its next check
            documents.close()


def _refusal(error: ReedboreError) -> dict[str, str | None]:
    """Tell what is wrong, and where."""
    from reedbore.page.answers import sentence, where  # noqa: PLC0415 - brings the kernel along

    return {"error": sentence(error), "where": where(error)}


def _reader(name: str) -> Callable[[Request], Awaitable[Response]]:
    """Make the endpoint of what can be read without sending anything."""

    async def endpoint(request: Request) -> Response:
        jobs: Jobs = request.app.state.jobs
        found = await anyio.to_thread.run_sync(partial(_document, name), limiter=jobs.at_once)
        return JSONResponse(found)

    return endpoint


def _document(name: str) -> Any:
    if name == "choices":
        from reedbore.page import choices  # noqa: PLC0415

        return choices.document()
    from reedbore.page.lesson import steps  # noqa: PLC0415

    return steps.told()


def _failed(status: int) -> Callable[[Request, Exception], Response]:
    def handler(_: Request, error: Exception) -> Response:
        if isinstance(error, HTTPException):
            return JSONResponse({"error": error.detail}, error.status_code, error.headers)
        if isinstance(error, ReedboreError):
            return JSONResponse(_refusal(error), status)
        if isinstance(error, stopping.Stopped | ClientDisconnect):
            return JSONResponse({"error": "stopped"}, status)
        says = "this is a mistake of ours; the terminal shows where"
        return JSONResponse({"error": says}, status)

    return handler


class Guard:
    """Keep strangers' pages from making work, and tell the browser what this page may load."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = {name: value.decode("latin-1") for name, value in scope["headers"]}
        is_ours = headers.get(b"origin") == f"http://{headers.get(b'host')}"

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                told = dict(HEADERS)
                told["cache-control"] = (
                    "no-store" if scope["path"].startswith("/api/") else "no-cache"
                )
                message["headers"] = [
                    *(pair for pair in message["headers"] if pair[0].decode() not in told),
                    *((name.encode(), value.encode()) for name, value in told.items()),
                ]
            await send(message)

        if scope["method"] in ("GET", "HEAD") or is_ours:
            await self.app(scope, receive, guarded)
        else:
            refusal = JSONResponse({"error": "only the page itself may ask for this"}, 403)
            await refusal(scope, receive, guarded)


WORKERS = {"predict": "at_once", "sound": "heard"}
WORKERS |= dict.fromkeys(("look", "bore", "pulse", "take", "lesson/turns"), "quick")
WORKERS |= dict.fromkeys(("read", "passage/open"), "quick")
WORKERS |= dict.fromkeys(("judge", "lesson/check", "lesson/truth"), "slow")
"""Functions of `api`, and which places of `jobs.Jobs` they take."""

STREAMERS = "map", "table", "passage", "voice", "atlas"

READ = {"voice": _read_file, "passage_open": _read_file}
"""Functions of `api` that are given a file as it is."""


def _post(name: str, endpoint: Callable[[Request], Awaitable[Response]]) -> Route:
    return Route(f"/{name}", endpoint, methods=["POST"])


def make_app() -> Starlette:
    """Make the application: the page, plotly, and one endpoint for each function of `api`.

    Returns
    -------
    Starlette
        With `state.jobs`, whose `stop` stops everything under way.
    """
    mimetypes.add_type("text/javascript", ".js")  # some systems say otherwise
    posts = [_post(name, _worker(name.replace("/", "_"), kind)) for name, kind in WORKERS.items()]
    posts += [_post(name, _streamer(name)) for name in STREAMERS]
    gets = [Route(f"/{name}", _reader(name), methods=["GET"]) for name in ("choices", "lesson")]
    files = [
        Mount("/vendor", Plotly(directory=plotly_folder())),
        Mount("/", StaticFiles(directory=Path(__file__).with_name("static"), html=True)),
    ]
    app = Starlette(
        routes=[Mount("/api", routes=[*gets, *posts]), *files],
        middleware=[Middleware(Guard), Middleware(TrustedHostMiddleware, allowed_hosts=HOSTS)],
        exception_handlers={
            HTTPException: _failed(500),
            ReedboreError: _failed(422),
            stopping.Stopped: _failed(503),
            ClientDisconnect: _failed(400),
            Exception: _failed(500),
        },
    )
    app.state.jobs = Jobs()
    app.state.ahead = None  # told the body of each sound that was asked for, by whoever serves
    return app
