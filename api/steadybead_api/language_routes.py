"""`/language`: which language a browser's pages are in, kept in a cookie of that browser."""

from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from steadybead_api.login_routes import check_origin, form_of, local_page
from steadybead_dashboards.catalogue import LANGUAGES, chosen_language

COOKIE: Final = "steadybead_language"
YEAR_S: Final = 365 * 86400

router = APIRouter(include_in_schema=False)


def language_of(request: Request) -> str:
    """Give the language that this browser chose, else one that it accepts, else English."""
    accepted = request.headers.get("accept-language", "")
    return chosen_language(request.cookies.get(COOKIE), accepted)


@router.post("/language")
async def choose(request: Request) -> Response:
    """Keep a choice and go back to the page; an unknown language changes nothing."""
    check_origin(request)
    said = await form_of(request)
    wanted = said.get("language", "")
    response = RedirectResponse(local_page(said.get("next", "/")), 303)
    if wanted in LANGUAGES:
        response.set_cookie(
            COOKIE,
            wanted,
            max_age=YEAR_S,
            path="/",
            secure=request.url.scheme == "https",
            httponly=True,
            samesite="lax",
        )
    return response
