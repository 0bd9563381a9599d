"""In the demo, a visitor from this very machine is logged in by the first page.

Only over a loopback address and with a loopback name in `Host`, so that no page of a foreign
site can get in by giving its own name this machine's address.
"""

from ipaddress import ip_address

from fastapi import Request, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from steadybead_api import problems
from steadybead_api.access import current_actor, services_of
from steadybead_api.login_routes import set_cookie
from steadybead_domain.people import Actor, Role
from steadybead_domain.ports import StoreError

VISITOR = Actor("demo visitor", Role.ADMINISTRATOR)
_NAMES = {"localhost", "127.0.0.1", "::1"}
_NOT_PAGES = ("/api/", "/static/", "/healthz", "/readyz", "/metrics", "/openapi.json")


class DemoVisitor:
    """Opens the session before the page is made, and hands out its cookie with the page."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        if scope["type"] != "http" or not _is_page_from_here(scope):
            await self._app(scope, receive, send)
            return
        request = Request(scope)
        try:
            secret = await run_in_threadpool(_opened, request)
        except StoreError as error:  # no handler stands around this layer
            await problems.from_store(request, error)(scope, receive, send)
            return
        if secret is None:
            await self._app(scope, receive, send)
            return
        cookie = Response()
        set_cookie(request, cookie, secret)

        async def sending(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers.append("set-cookie", cookie.headers["set-cookie"])
            await send(message)

        await self._app(scope, receive, sending)


def _is_page_from_here(scope: Scope) -> bool:
    request = Request(scope)
    if not services_of(request).access.demo or scope["method"] != "GET":
        return False
    wants_page = "text/html" in request.headers.get("accept", "")
    is_page = not scope["path"].startswith(_NOT_PAGES)
    return wants_page and is_page and _is_loopback(request)


def _is_loopback(request: Request) -> bool:
    client = request.client
    try:
        near = client is not None and ip_address(client.host).is_loopback
    except ValueError:
        return False
    return near and request.url.hostname in _NAMES


def _opened(request: Request) -> str | None:
    if current_actor(request) is not None:
        return None
    services = services_of(request)
    secret = services.records.access.open_demo_session(VISITOR, services.clock())
    request.state.opened_session = secret
    request.state.actor = VISITOR
    return secret
