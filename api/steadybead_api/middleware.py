"""Plain ASGI layers: they pass streams through as they come."""

import contextlib
import re
from time import perf_counter
from typing import Final

from fastapi.responses import JSONResponse
from prometheus_client import CollectorRegistry, Counter, Histogram
from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from steadybead_api import problems

LARGEST_BODY: Final = 64 * 1024
LARGEST_BODY_OF: Final = {"/api/v1/plant-file/check": 544 * 1024}  # 256 KiB, escaped
# uPlot and our own scripts set styles through the CSSOM (`element.style.…`), which a policy does
# not forbid; no page needs an inline style or script, so none is allowed.
POLICY: Final = (
    "default-src 'self'; img-src 'self' data:; object-src 'none'; base-uri 'none';"
    " frame-ancestors 'none'; form-action 'self'"
)
HEADERS: Final = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
}


class SecurityHeaders:
    """Adds the headers to every answer; what the API tells is not kept by caches."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        private = scope["path"].startswith(("/api/", "/login", "/logout"))

        async def sending(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
                if private:
                    headers.setdefault("Cache-Control", "no-store")
            await send(message)

        await self._app(scope, receive, sending)


_MOST_DIGITS: Final = 15


class _TooLargeError(Exception):
    pass


class BodyLimit:
    """Refuses bodies that are too large, also those that do not say how long they are.

    And queries with bytes that no URI has (RFC 3986): what reads the address later trips on them.
    """

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        largest = LARGEST_BODY_OF.get(scope["path"], LARGEST_BODY)
        length = Headers(scope=scope).get("content-length", "0")
        if not length.isdecimal() or len(length) > _MOST_DIGITS or int(length) > largest:
            await self._refuse(scope, receive, send, largest)
            return
        if not scope["query_string"].isascii():
            members = problems.body(400, None, "write other bytes as %XX", scope["path"])
            answer = JSONResponse(members, 400, media_type=problems.MEDIA_TYPE)
            await answer(scope, receive, send)
            return
        taken = 0
        started = False

        async def receiving() -> Message:
            nonlocal taken
            message = await receive()
            if message["type"] == "http.request":
                taken += len(message.get("body", b""))
                if taken > largest:
                    raise _TooLargeError
            return message

        async def sending(message: Message) -> None:
            nonlocal started
            if taken <= largest:  # else the layers below answer to the error made here
                started = True
                await send(message)

        with contextlib.suppress(_TooLargeError):
            await self._app(scope, receiving, sending)
        if taken > largest and not started:
            await self._refuse(scope, receive, send, largest)

    @staticmethod
    async def _refuse(scope: Scope, receive: Receive, send: Send, largest: int) -> None:
        detail = f"send at most {largest} bytes"
        members = problems.body(413, None, detail, scope["path"])
        await JSONResponse(members, 413, media_type=problems.MEDIA_TYPE)(scope, receive, send)


class Measured:
    """Counts answers by route and status, and how long they took to begin."""

    def __init__(self, app: ASGIApp, registry: CollectorRegistry) -> None:
        self._app = app
        labels = ("method", "route")
        self._answers = Counter(
            "steadybead_http_answers", "Answers", (*labels, "status"), registry=registry
        )
        self._seconds = Histogram(
            "steadybead_http_first_byte_seconds", "Time to the answer", labels, registry=registry
        )

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        began = perf_counter()

        async def sending(message: Message) -> None:
            if message["type"] == "http.response.start":
                place = (_method(scope), _route(scope))
                self._answers.labels(*place, str(message["status"])).inc()
                self._seconds.labels(*place).observe(perf_counter() - began)
            await send(message)

        await self._app(scope, receive, sending)


def _method(scope: Scope) -> str:
    method = str(scope["method"])
    return method if method in {"GET", "HEAD", "POST", "OPTIONS"} else "other"


def _route(scope: Scope) -> str:
    """Give the path with names in the place of its values, so that no value becomes a label."""
    if "route" not in scope:
        return "none"
    path = str(scope["path"])
    for name, value in reversed(scope.get("path_params", {}).items()):
        found = list(re.finditer(rf"/{re.escape(str(value))}(?=/|$)", path))
        if found:
            path = f"{path[: found[-1].start()]}/{{{name}}}{path[found[-1].end() :]}"
    return path
