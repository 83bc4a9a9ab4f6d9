"""The pages behind one gate, as an ASGI application."""

import json
import os
from collections.abc import Awaitable, Callable, Sequence
from typing import Any, Final
from urllib.parse import parse_qsl, quote

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.routing import BaseRoute, Route, WebSocketRoute
from starlette.types import ASGIApp
from starlette.websockets import WebSocket, WebSocketDisconnect

from wayrule.errors import WayruleError
from wayrule.web.guard import POLICY, Guard
from wayrule.web.jobs import DEFECT
from wayrule.web.page import Ask, Moved, Office, Page, Reply, Shown, Told, View
from wayrule.web.pages import PAGES
from wayrule.web.paper import STATIC, draw

ALONE: Final = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; "
    "sandbox allow-same-origin allow-modals; frame-ancestors 'self'"
)
"""A document of the project folder on its own: its own styles and drawings, no script, no form, no address."""

FORM: Final = "application/x-www-form-urlencoded"


def make_app(office: Office, hosts: Sequence[str], cookie: str = "wayrule") -> ASGIApp:
    """The whole desk.

    Parameters
    ----------
    hosts : names with port under which it answers, as a browser writes them
    cookie : in which a browser keeps its session; one for each port, as cookies do not tell ports apart
    """
    routes: list[BaseRoute] = [
        Route("/static/{name}", _static, methods=["GET"]),
        Route("/enter", _enter(office, cookie), methods=["POST"]),
        WebSocketRoute("/work/{ident}/live", _live(office)),
    ]
    for page in PAGES:
        routes += [
            Route(path, _answer(office, page, view, "reads"), methods=["GET"]) for path, view in page.reads.items()
        ]
        routes += [
            Route(path, _answer(office, page, view, "acts"), methods=["POST"]) for path, view in page.acts.items()
        ]
    app = Starlette(routes=routes, exception_handlers={HTTPException: _not_here, Exception: _defect})
    app.router.redirect_slashes = False
    return Guard(GZipMiddleware(app, minimum_size=1000), hosts, office.keys, cookie)


def _answer(office: Office, page: Page, view: View, needs: str) -> Callable[[Request], Awaitable[Response]]:
    """A view as an endpoint: who may not read sees the door, who may not act is told so."""

    async def endpoint(request: Request) -> Response:
        role = request.scope["role"]
        if role is None:
            return _html(draw("door.html.j2", "door", {"menu": ()}), 401)
        if needs == "acts" and role != "acts":
            return PlainTextResponse("Only paired devices may do this; this one watches.\n", 403)
        form = await _form(request) if needs == "acts" else {}
        ask = Ask(office, request.path_params, dict(request.query_params), form, role)
        try:
            reply = await run_in_threadpool(view, ask)
            return await run_in_threadpool(_response, reply, page, ask, request.headers["host"])
        except WayruleError as known:
            said = str(known).replace(f"{office.root}{os.sep}", "")  # where on the disk is nobody's business
            if "application/json" in request.headers.get("accept", ""):
                return JSONResponse({"error": said}, 422)
            return _html(draw("error.html.j2", "error", {"menu": PAGES, "said": said}), 422)

    return endpoint


async def _form(request: Request) -> dict[str, str]:
    """The words of a form.

    Raises
    ------
    HTTPException   for anything else, and for one that cannot be read
    """
    body = await request.body()
    if body and request.headers.get("content-type", "").split(";")[0].strip().lower() != FORM:
        raise HTTPException(415, "Forms are taken, nothing else.")
    try:
        pairs = parse_qsl(body.decode("ascii"), keep_blank_values=True, max_num_fields=50, errors="strict")
    except ValueError:
        raise HTTPException(400, "That form cannot be read.") from None
    return dict(pairs)


def _response(reply: Reply, page: Page, ask: Ask, host: str) -> Response:
    """A reply as HTTP."""
    if isinstance(reply, Shown):
        words = {"menu": PAGES, "here": page.name, "acts": ask.role == "acts", "running": ask.office.jobs.running()}
        answer = _html(draw(reply.template, page.name, words | dict(reply.words)))
        if reply.charts:
            answer.headers["content-security-policy"] = POLICY.format(style=" 'unsafe-inline'", host=host)
        return answer
    if isinstance(reply, Moved):
        return RedirectResponse(reply.to, 303)
    if isinstance(reply, Told):
        return Response(json.dumps(reply.content, allow_nan=False), media_type="application/json")
    answer = Response(reply.data, media_type=reply.media)
    if reply.name:
        answer.headers["content-disposition"] = f"attachment; filename*=UTF-8''{quote(reply.name)}"
    if reply.alone:
        answer.headers["content-security-policy"] = ALONE
    return answer


def _html(text: str, status: int = 200) -> Response:
    return Response(text, status, media_type="text/html")


async def _static(request: Request) -> Response:
    found = STATIC.get(request.path_params["name"])
    if found is None:
        raise HTTPException(404)
    read, media = found
    data = await run_in_threadpool(read)
    return Response(data, media_type=media, headers={"cache-control": "private, max-age=86400"})


def _enter(office: Office, cookie: str) -> Callable[[Request], Awaitable[Response]]:
    """The key, brought by a script of ours from behind the # of the address, becomes a session."""

    async def endpoint(request: Request) -> Response:
        session = office.keys.enter((await _form(request)).get("key", "")[:100])
        if session is None:
            return PlainTextResponse("That key is wrong, used or too old.\n", 403)
        answer = Response(status_code=204)
        answer.set_cookie(cookie, session, httponly=True, samesite="strict", path="/")
        return answer

    return endpoint


def _live(office: Office) -> Callable[[WebSocket], Awaitable[None]]:
    """The steps of one piece of work, as they come."""

    async def endpoint(socket: WebSocket) -> None:
        job = office.jobs.find(socket.path_params["ident"])
        if socket.scope["role"] is None or job is None:
            await socket.close(1008)
            return
        await socket.accept()
        seen, content = -1, {"state": "running"}
        try:
            while content["state"] == "running":
                before = seen
                seen, content = await run_in_threadpool(office.jobs.wait, job, seen, 5.0)
                if seen != before:
                    await socket.send_json(content)
            await socket.close()
        except (WebSocketDisconnect, RuntimeError):
            return  # the watcher left; the work goes on

    return endpoint


async def _not_here(request: Request, error: Exception) -> Response:  # noqa: ARG001
    assert isinstance(error, HTTPException)
    detail: Any = error.detail
    return PlainTextResponse(f"{detail}\n", error.status_code, headers=error.headers)


async def _defect(request: Request, error: Exception) -> Response:  # noqa: ARG001
    """No trace for the page; the server prints it on the terminal."""
    return PlainTextResponse(DEFECT + "\n", 500)
