"""What hands out the page: its files, what it must know of the session, and the way to the broker. One port for all.

Who may come in. The page talks to the broker with the rights of the browser's user, so no other web page must be able
to use that: a link is only relayed, and a question only answered, for a page of our own origin, and only under a name
that a foreign site cannot make point here (an address, ``localhost``, or this machine's own name); anything else is a
page that rebinds its name.
"""

from __future__ import annotations

import ipaddress
import json
import socket
from collections.abc import Awaitable, Callable, Mapping
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from starlette.applications import Starlette
from starlette.datastructures import Headers
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import Mount, Route, WebSocketRoute
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from starlette.websockets import WebSocket

from pitwall.screen.relay import Dial, relay

FILES = Path(__file__).parent / "static"

CONTENT_POLICY = "; ".join((
    "default-src 'none'", "script-src 'self'", "style-src 'self'", "img-src 'self' data:", "connect-src 'self'",
    "manifest-src 'self'", "worker-src 'self'", "base-uri 'none'", "form-action 'none'", "frame-ancestors 'none'",
))  # fmt: skip
"""Content Security Policy, level 3: nothing inline, nothing from elsewhere, in nobody's frame."""

HEADERS = {
    "content-security-policy": CONTENT_POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    # A page of yesterday's version beside today's daemon would be worse than a question to the server.
    "cache-control": "no-cache",
}


Ask = Callable[[Mapping[str, Any]], Mapping[str, Any]]
"""Answers a page: from the fields that it sent to those of the answer."""
MOST_ASKED_BYTES = 4096


def application(
    about: Mapping[str, Any], dial: Dial, ask: Mapping[str, Ask] | None = None, names: frozenset[str] | None = None
) -> Starlette:
    """The application.

    Args:
        about: what the page must know before the first message: handed out as ``/about.json``.
        dial: opens a connection to the broker, for each page.
        ask: what a page may ask, by the path's one word. It is posted as a JSON object: what is asked may be a token or
            a comment, and no address holds either.
        names: host names under which this machine may be called, beside addresses; its own ones when left out.
    """
    body = json.dumps(about)

    async def tell(request: Request) -> Response:
        return Response(body, media_type="application/json")

    async def missing(request: Request, problem: Exception) -> Response:
        return PlainTextResponse(f"nothing at {request.url.path}: the screen is at /", status_code=404)

    async def join(page: WebSocket) -> None:
        await relay(page, dial)

    async def alive(request: Request) -> Response:
        return JSONResponse({"screen": "ok"})

    return Starlette(
        routes=[
            Route("/about.json", tell),
            Route("/alive", alive),
            *(Route(f"/{word}", _asked(answer), methods=["POST"]) for word, answer in (ask or {}).items()),
            WebSocketRoute("/mqtt", join),
            Mount("/", StaticFiles(directory=FILES, html=True)),
        ],
        middleware=[Middleware(_OwnHouse, names=own_names() if names is None else names)],
        exception_handlers={404: missing},
    )


def _asked(answer: Ask) -> Callable[[Request], Awaitable[Response]]:
    async def asked(request: Request) -> Response:
        body = b""
        async for part in request.stream():
            body += part
            if len(body) > MOST_ASKED_BYTES:
                return PlainTextResponse(f"at most {MOST_ASKED_BYTES} bytes may be asked", status_code=413)
        try:
            fields = json.loads(body)
            json.dumps(fields, ensure_ascii=False).encode()  # half a character of two could be answered to nobody
        except (ValueError, RecursionError):
            fields = None
        if not isinstance(fields, dict):
            return PlainTextResponse("a JSON object is asked for", status_code=400)
        return JSONResponse(answer(fields))

    return asked


def own_names() -> frozenset[str]:
    """The names that this machine goes by, lower case."""
    name = socket.gethostname().lower()
    return frozenset({"localhost", name, name.partition(".")[0], f"{name.partition('.')[0]}.local"})


def is_own(host: str, names: frozenset[str]) -> bool:
    """True for a ``Host`` header that no foreign site can have: an address, or one of our names; with or without port.

    Args:
        host: the header's value.
        names: our names.
    """
    try:
        name = urlsplit(f"//{host}").hostname
    except ValueError:
        return False
    if not name:
        return False
    try:
        ipaddress.ip_address(name.partition("%")[0])
    except ValueError:
        return name in names
    return True


def _is_of(origin: str | None, host: str) -> bool:
    try:
        return origin is not None and urlsplit(origin).netloc.lower() == host.lower()
    except ValueError:  # no address at all
        return False


class _OwnHouse:
    """Lets in whoever calls us by our own name, pages of our own origin only; puts the headers on every answer."""

    def __init__(self, app: ASGIApp, names: frozenset[str]) -> None:
        self._app, self._names = app, names

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        # What only looks may come from anywhere; what asks or joins must be a page of ours.
        asks = scope["type"] == "websocket" or scope["method"] not in ("GET", "HEAD")
        reason = self._refusal(Headers(scope=scope), asks)
        if reason is None:
            await self._app(scope, receive, self._with_headers(send))
        elif scope["type"] == "websocket":
            await WebSocket(scope, receive, send).close(1008, reason)
        else:
            await PlainTextResponse(reason, status_code=403)(scope, receive, self._with_headers(send))

    def _refusal(self, headers: Headers, asks: bool) -> str | None:
        host, origin = headers.get("host", ""), headers.get("origin")
        if not is_own(host, self._names):
            return f"{host!r} is not a name of this machine: use its address"
        if asks and not _is_of(origin, host):
            return "pages of other origins may not come in"
        return None

    def _with_headers(self, send: Send) -> Send:
        async def sending(message: Message) -> None:
            if message["type"] == "http.response.start":
                extra = [(name.encode(), value.encode()) for name, value in HEADERS.items()]
                message = {**message, "headers": [*message.get("headers", ()), *extra]}
            await send(message)

        return sending
