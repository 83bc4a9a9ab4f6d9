"""The gate before every page: whose name was called, where a request comes from, how large it is, who asks.

Host allow-list: against DNS rebinding. Origin == Host on unsafe methods and on every WebSocket handshake: against
other pages in the same browser (RFC 6454, RFC 6455 section 10.2, Fetch standard). Content policy: CSP level 3.
"""

from collections.abc import Iterable, MutableMapping
from http.cookies import CookieError, SimpleCookie
from typing import Any, Final

from starlette.datastructures import Headers
from starlette.responses import PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from wayrule.web.keys import Keys

MOST_BYTES: Final = 64 * 1024
"""The largest body of any request: a form."""

MOST_ADDRESS: Final = 2048
"""The longest path with its query."""

SAFE: Final = frozenset({"GET", "HEAD"})

POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'{style}; img-src 'self' data: blob:; "
    "connect-src 'self' ws://{host}; frame-src 'self'; form-action 'self'; frame-ancestors 'self'; base-uri 'none'"
)
"""No script but our own files. Charts style their own shadow trees: `style` allows that, on their page only."""

HEADERS: Final = {
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",  # "no-referrer" would make the Origin of our own forms "null"
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
    "x-frame-options": "SAMEORIGIN",
}


class Guard:
    """Wraps the pages; lets nothing by that is not called for by name, from here, small enough."""

    def __init__(self, app: ASGIApp, hosts: Iterable[str], keys: Keys, cookie: str) -> None:
        self._app, self._hosts, self._keys, self._cookie = app, frozenset(h.lower() for h in hosts), keys, cookie

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request or handshake."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        refused = self._refused(scope, headers)
        if refused is not None:
            await _refuse(refused, scope, receive, send)
            return
        scope["role"] = self._keys.role(_cookie(headers, self._cookie))
        host = headers["host"]
        if scope["type"] == "websocket":
            await self._app(scope, receive, send)
            return
        body = await _body(receive) if scope["method"] not in SAFE else b""
        if body is None:
            await _refuse((413, f"At most {MOST_BYTES} bytes are taken."), scope, receive, send)
            return
        await self._app(scope, _once(body, receive), _with_headers(send, host))

    def _refused(self, scope: Scope, headers: Headers) -> tuple[int, str] | None:
        """Why a request does not get in: status and sentence."""
        named = headers.getlist("host")
        if len(named) != 1 or named[0].lower() not in self._hosts:
            return 421, "This desk does not answer to that name. Use the address that `wayrule serve` printed."
        if len(scope.get("raw_path") or b"") + len(scope["query_string"]) > MOST_ADDRESS:
            return 414, "That address is too long."
        if scope["type"] == "http" and scope["method"] not in SAFE | {"POST"}:
            return 405, "Only GET, HEAD and POST are answered."
        unsafe = scope["type"] == "websocket" or scope["method"] not in SAFE
        if unsafe and headers.getlist("origin") != [f"http://{named[0]}"]:
            return 403, "This was not asked from a page of this desk."
        if headers.get("content-length", "0").strip() not in _SIZES:
            return 413, f"At most {MOST_BYTES} bytes are taken."
        return None


class _Sizes:
    """Sizes that are taken."""

    def __contains__(self, text: str) -> bool:
        return text.isascii() and text.isdigit() and len(text) < 9 and int(text) <= MOST_BYTES


_SIZES: Final = _Sizes()


def _cookie(headers: Headers, name: str) -> str | None:
    try:
        found = SimpleCookie(headers.get("cookie", "")).get(name)
    except CookieError:
        return None
    return found.value if found else None


async def _body(receive: Receive) -> bytes | None:
    """All of a body, or None when it is more than is taken, whatever it said of its size."""
    parts, size = [], 0
    while True:
        message = await receive()
        if message["type"] != "http.request":
            return b""
        parts.append(message.get("body", b""))
        size += len(parts[-1])
        if size > MOST_BYTES:
            return None
        if not message.get("more_body", False):
            return b"".join(parts)


def _once(body: bytes, receive: Receive) -> Receive:
    """The body again, for the page; then whatever comes."""
    kept: list[Message] = [{"type": "http.request", "body": body, "more_body": False}]

    async def again() -> Message:
        return kept.pop() if kept else await receive()

    return again


def _with_headers(send: Send, host: str) -> Send:
    """Every answer carries the policy; one that sets its own keeps it."""

    async def sending(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            own = {name.lower() for name, _ in message["headers"]}
            policy = {"content-security-policy": POLICY.format(style="", host=host), "cache-control": "no-store"}
            more = [(k.encode(), v.encode()) for k, v in (HEADERS | policy).items() if k.encode() not in own]
            message["headers"] = [*message["headers"], *more]
        await send(message)

    return sending


async def _refuse(why: tuple[int, str], scope: Scope, receive: Receive, send: Send) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 1008, "reason": ""})  # before it is accepted: answered 403
        return
    status, sentence = why
    answer: Response = PlainTextResponse(sentence + "\n", status, headers=HEADERS | {"connection": "close"})
    await answer(scope, receive, send)
