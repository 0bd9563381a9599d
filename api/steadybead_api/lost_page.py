"""What a browser is shown at an address where there is nothing: a page, with a way back."""

from fastapi import FastAPI, Request
from fastapi.responses import Response
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException

from steadybead_api import problems
from steadybead_api.page_routes import Pages
from steadybead_api.page_sources import ServiceSources
from steadybead_api.services import Services
from steadybead_dashboards.catalogue import mark
from steadybead_dashboards.render import renderer
from steadybead_dashboards.signin import ProblemPage

NOTHING = mark("There is nothing at this address")
NOTHING_REMEDY = mark("It may have been mistyped. Choose a page above.")
_NOT_PAGES = ("/api/", "/static/", "/openapi.json")


def install(app: FastAPI, services: Services) -> None:
    """Show a page where a browser asks for a page; programs get problem details as before."""
    pages = Pages(ServiceSources(services), renderer())

    def page(request: Request) -> Response:
        shell = pages.shell(request)
        return pages.answer(ProblemPage(shell, 404, NOTHING, NOTHING_REMEDY), 404)

    async def answer(request: Request, error: HTTPException) -> Response:
        if error.status_code == 404 and _wants_page(request):
            return await run_in_threadpool(page, request)
        return problems.from_http(request, error)

    app.exception_handler(HTTPException)(answer)


def _wants_page(request: Request) -> bool:
    asks = request.method == "GET" and "text/html" in request.headers.get("accept", "")
    return asks and not request.url.path.startswith(_NOT_PAGES)
