"""`/login` and `/logout`: who proves to be known gets a session in a cookie no script can read."""

from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit

from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import JSONResponse, RedirectResponse
from pydantic import ValidationError

from steadybead_api.access import (
    COOKIE,
    CSRF_HEADER,
    check_csrf,
    csrf_of,
    services_of,
    session_secret,
)
from steadybead_api.problems import Problem
from steadybead_api.schemas import LoggedIn
from steadybead_api.signing_in import Login, sign_in
from steadybead_collector.records.access import SESSION_LENGTH
from steadybead_domain.people import Actor
from steadybead_domain.ports import StoreError
from steadybead_domain.times import SECOND

router = APIRouter(tags=["access"])
FORM = "application/x-www-form-urlencoded"
MOST_FIELDS = 20


_BODY = {
    "requestBody": {
        "required": True,
        "content": {
            kind: {
                "schema": {
                    "type": "object",
                    "properties": {name: {"type": "string"} for name in Login.model_fields},
                }
            }
            for kind in ("application/json", FORM)
        },
    }
}


@router.post(
    "/login",
    response_model=LoggedIn,
    responses={303: {"description": "logged in from a form; go to the page"}},
    openapi_extra=_BODY,
    summary="Open a session by token, password, PIN or the code of the first start",
)
async def login(request: Request) -> Response:
    """Take JSON or a form; set the session's cookie. A form that fails is shown again."""
    try:
        return await _logged_in(request)
    except (Problem, StoreError) as error:
        if not _is_form(request):
            raise
        why = error.kind if isinstance(error, Problem) else "store"
        return RedirectResponse(_sign_in_again(await form_of(request), why, str(error)), 303)


async def _logged_in(request: Request) -> Response:
    check_origin(request)
    said = await _said(request)
    before = request.cookies.get(COOKIE)
    actor, secret = await run_in_threadpool(sign_in, request, said)
    if before is not None:  # the browser forgets it now; so does the server
        access, now = services_of(request).records.access, services_of(request).clock()
        await run_in_threadpool(access.log_out, before, now, "http")
    response = _answer(request, said, actor, secret)
    set_cookie(request, response, secret)
    return response


@router.post(
    "/logout",
    responses={303: {"description": "the session has ended; go to the first page"}},
    status_code=303,
    response_class=RedirectResponse,
    summary="End the session",
)
async def logout(request: Request) -> Response:
    """End the session; its CSRF token comes in the header or in the form's field `csrf`."""
    secret = session_secret(request)
    if secret is not None:
        form = await form_of(request) if _is_form(request) else {}
        try:
            check_csrf(request, request.headers.get(CSRF_HEADER) or form.get("csrf"))
        except Problem:
            if _is_form(request):
                return RedirectResponse("/signin?problem=form", 303)
            raise
        services = services_of(request)
        await run_in_threadpool(services.records.access.log_out, secret, services.clock(), "http")
    response = RedirectResponse("/", 303)
    response.delete_cookie(COOKIE, path="/", httponly=True, samesite="strict")
    return response


def set_cookie(request: Request, response: Response, secret: str) -> None:
    """Hand the session's secret to the browser."""
    response.set_cookie(
        COOKIE,
        secret,
        max_age=SESSION_LENGTH // SECOND,
        path="/",
        secure=request.url.scheme == "https",
        httponly=True,
        samesite="strict",
    )


def check_origin(request: Request) -> None:
    """Raise Problem 403 if a browser says that another site's page sent this."""
    origin = request.headers.get("origin")
    if origin is None:
        return
    if origin == "null" or urlsplit(origin).netloc != request.headers.get("host"):
        raise Problem(403, "origin", "log in from this server's own page")


def local_page(target: str) -> str:
    """Keep a redirection on this server."""
    parts = urlsplit(target)
    plain = target.isprintable() and target.startswith("/") and "\\" not in target
    stays = plain and not target.startswith("//") and not parts.netloc and not parts.scheme
    return target if stays else "/"


def _sign_in_again(form: dict[str, str], problem: str, detail: str) -> str:
    if form.get("code"):
        return "/first?" + urlencode({"code": form["code"], "problem": detail})
    return "/signin?" + urlencode({"problem": problem, "next": local_page(form.get("next", "/"))})


def _answer(request: Request, said: Login, actor: Actor, secret: str) -> Response:
    if _is_form(request):
        return RedirectResponse(local_page(said.next), 303)
    members = {"actor": actor.name, "role": actor.role.value, "csrf": csrf_of(secret)}
    return JSONResponse(members)


async def _said(request: Request) -> Login:
    try:
        if _is_form(request):
            return Login.model_validate(await form_of(request))
        return Login.model_validate_json(await request.body())
    except ValidationError as error:
        faults = "; ".join(_fault(fault) for fault in error.errors())
        raise Problem(422, "validation", faults) from None


def _fault(fault: Any) -> str:
    place = ".".join(str(part) for part in fault["loc"]) or "body"
    return f"{place}: {fault['msg']}"


async def form_of(request: Request) -> dict[str, str]:
    """Read a form, the last value of each field; Problem 422 if it has too many."""
    text = (await request.body()).decode(errors="replace")
    try:
        fields = parse_qs(text, keep_blank_values=True, max_num_fields=MOST_FIELDS)
    except ValueError:
        raise Problem(422, "validation", f"send at most {MOST_FIELDS} fields") from None
    return {name: values[-1] for name, values in fields.items()}


def _is_form(request: Request) -> bool:
    return request.headers.get("content-type", "").split(";")[0].strip().lower() == FORM
