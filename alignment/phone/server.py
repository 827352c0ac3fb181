"""
The page at the machine as a web application: one page, served from where the log is.

Every request passes the guard first; what it may do is decided by its key. Nothing that a visitor sends is a name or a
path on this computer.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Awaitable, Callable, Sequence
from http import HTTPStatus
from importlib.resources import files
from typing import Any, Final
from urllib.parse import parse_qs

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from alignment.errors import StringtrueError
from alignment.phone import photos
from alignment.phone.guard import COOKIE, HEADERS, Guard, Role
from alignment.phone.job import Job, Saved, Told
from alignment.phone.view import draw_row, view_of
from alignment.show.words import phone as words

__all__ = ["make_app"]

LARGEST_FORM: Final = 4096
"""Bytes of an answer: a reading and its id."""
MOST_FIELDS: Final = 20
LARGEST_BODY: Final = photos.LARGEST + 10_000
"""Bytes of any request: a photograph and what a form wraps it in."""
STATIC: Final = {"phone.css": "text/css", "phone.js": "text/javascript", "icon.svg": "image/svg+xml"}
"""Files of the page, by name; no other name is looked up."""

Handler = Callable[[Request], Awaitable[Response]]


def make_app(job: Job, guard: Guard) -> Starlette:
    """
    The application of one log.

    Parameters
    ----------
    job : Job
        The machine and its log.
    guard : Guard
        Who may come in.
    """
    # of a form that is none it says on the terminal what is wrong with each byte
    logging.getLogger("python_multipart").setLevel(logging.ERROR)
    templates = Environment(
        loader=PackageLoader("alignment.phone"), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True,
    )  # fmt: skip
    writing = asyncio.Lock()

    def draw(name: str, status: int = 200, **values: Any) -> HTMLResponse:
        return HTMLResponse(templates.get_template(name).render(words=words.LABELS, **values), status)

    def guarded(handler: Callable[[Request, Role], Awaitable[Response]], needed: Role = Role.reader) -> Handler:
        async def handle(request: Request) -> Response:
            role = guard.role_of_cookie(request.cookies.get(COOKIE, ""))
            if role is None or (needed is Role.writer and role is not Role.writer):
                raise HTTPException(HTTPStatus.FORBIDDEN)
            return await handler(request, role)

        return handle

    async def enter(request: Request) -> Response:
        """Take the key out of the address; a page in between, so that the cookie goes along from a page of ours."""
        role = guard.role_of_key(request.query_params.get("key", ""))
        if role is None:
            raise HTTPException(HTTPStatus.FORBIDDEN)
        answer = draw("enter.html")
        answer.set_cookie(COOKIE, guard.cookie_for(role), httponly=True, samesite="strict", path="/")
        return answer

    def whole(role: Role, told: Told | None = None, status: int = 200, skip: Sequence[str] = ()) -> Response:
        return draw("page.html", status, view=view_of(job, skip), may_write=role is Role.writer, told=told)

    async def page(request: Request, role: Role) -> Response:
        return await run_in_threadpool(whole, role, skip=request.query_params.getlist("skip")[:MOST_FIELDS])

    async def home(request: Request) -> Response:
        return await (enter(request) if "key" in request.query_params else guarded(page)(request))

    async def answer(request: Request, role: Role) -> Response:  # noqa: ARG001  # the guard has used it
        body = await _body(request, LARGEST_FORM)
        try:
            form = parse_qs(body.decode("utf-8", "replace"), max_num_fields=MOST_FIELDS)
        except ValueError:
            raise HTTPException(HTTPStatus.BAD_REQUEST) from None
        said = {key: values[-1][:200] for key, values in form.items()}
        async with writing:
            told = await run_in_threadpool(job.take, said)
        return await run_in_threadpool(answered, request, told)

    def answered(request: Request, told: Told) -> Response:
        if "application/json" in request.headers.get("accept", ""):
            status = {Saved.refused: 422, Saved.conflict: 409}.get(told.saved, 200)
            return JSONResponse({"saved": told.saved.value, "message": told.message, "version": told.version}, status)
        if told.saved in (Saved.saved, Saved.again):
            return RedirectResponse("/", 303)
        return whole(Role.writer, told, 409 if told.saved is Saved.conflict else 422)

    async def photograph(request: Request, role: Role) -> Response:  # noqa: ARG001
        data = await _photo(request)
        async with writing:
            told = await run_in_threadpool(job.photograph, data, request.query_params.get("id", "")[:64])
        return await run_in_threadpool(answered, request, told)

    async def state(request: Request, role: Role) -> Response:  # noqa: ARG001
        return JSONResponse({"version": await run_in_threadpool(job.version)})

    async def picture(request: Request, role: Role) -> Response:  # noqa: ARG001
        drawn = await run_in_threadpool(draw_row, job, request.query_params.get("row", "")[:200])
        return Response(drawn, media_type="image/svg+xml")

    async def static(request: Request) -> Response:
        name = request.path_params["name"]
        if name not in STATIC:
            raise HTTPException(HTTPStatus.NOT_FOUND)
        return Response(files("alignment.phone").joinpath("static", name).read_bytes(), media_type=STATIC[name])

    async def refused(request: Request, error: Exception) -> Response:  # noqa: ARG001
        status = error.status_code if isinstance(error, HTTPException) else 500
        return draw("refused.html", status, why=words.refusal(status))

    async def unusable(request: Request, error: Exception) -> Response:
        """A layout or log that cannot be read any more: said on the page, and nothing is taken."""
        if "application/json" in request.headers.get("accept", ""):
            return JSONResponse({"saved": Saved.refused.value, "message": str(error), "version": ""}, 503)
        return draw("refused.html", 503, why=str(error))

    app = Starlette(
        routes=[
            Route("/", home),
            Route("/answer", guarded(answer, Role.writer), methods=["POST"]),
            Route("/photo", guarded(photograph, Role.writer), methods=["POST"]),
            Route("/state", guarded(state)),
            Route("/picture.svg", guarded(picture)),
            Route("/static/{name}", static),
        ],
        exception_handlers={HTTPException: refused, StringtrueError: unusable, Exception: refused},
    )
    app.add_middleware(_Door, guard=guard)
    return app


async def _body(request: Request, most: int) -> bytes:
    """Body of a request, not longer than may be."""
    data = b""
    async for part in request.stream():
        data += part
        if len(data) > most:
            raise HTTPException(HTTPStatus.REQUEST_ENTITY_TOO_LARGE)
    return data


async def _photo(request: Request) -> bytes:
    """A photograph: the body itself, or the one file of a form."""
    if not request.headers.get("content-type", "").startswith("multipart/form-data"):
        return await _body(request, photos.LARGEST)
    async with request.form(max_files=1, max_fields=4, max_part_size=4096) as form:
        sent = form.get("photo")
        if sent is None or isinstance(sent, str):
            raise HTTPException(HTTPStatus.BAD_REQUEST)
        return await sent.read(photos.LARGEST + 1)


class _Door:
    """Lets in what was sent to this server by its own name and, where it writes, from its own page."""

    def __init__(self, app: Any, *, guard: Guard) -> None:
        self.app = app
        self.guard = guard

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        def header(name: bytes) -> list[str]:
            return [value.decode("latin-1") for key, value in scope["headers"] if key == name]

        taken = 0

        async def counted() -> Any:
            nonlocal taken
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > LARGEST_BODY:
                raise HTTPException(HTTPStatus.REQUEST_ENTITY_TOO_LARGE)
            return message

        async def with_headers(message: Any) -> None:
            if message["type"] == "http.response.start":
                kept = [(k, v) for k, v in message["headers"] if k.lower() != b"server"]
                message["headers"] = kept + [(k.lower().encode(), v.encode()) for k, v in HEADERS.items()]
            await send(message)

        writes = scope["method"] not in ("GET", "HEAD")
        if not self.guard.is_host(header(b"host")) or (writes and not self.guard.is_origin(header(b"origin"))):
            await Response("not for this address\n", 421 if not writes else 403)(scope, receive, with_headers)
            return
        await self.app(scope, counted, with_headers)
