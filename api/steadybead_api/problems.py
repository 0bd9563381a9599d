"""Errors as RFC 9457 problem details."""

import logging
from collections.abc import Mapping, Sequence
from functools import partial
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from starlette.exceptions import HTTPException

from steadybead_collector.event_log import event
from steadybead_domain.ports import StoreError

MEDIA_TYPE = "application/problem+json"
_KINDS = "urn:steadybead:problem:"
_log = logging.getLogger(__name__)


class Problem(Exception):  # noqa: N818
    """An answer that is not what was asked for; `kind` names it, `detail` says what to do.

    `errors` list mistakes field by field, each with its remedy: members `at` and `detail`.
    """

    def __init__(
        self,
        status: int,
        kind: str,
        detail: str,
        headers: Mapping[str, str] | None = None,
        errors: Sequence[Mapping[str, str]] = (),
    ) -> None:
        super().__init__(detail)
        self.status = status
        self.kind = kind
        self.detail = detail
        self.headers = headers
        self.errors = errors


def body(status: int, kind: str | None, detail: str, instance: str) -> dict[str, Any]:
    """Build the members of a problem; without `kind` the status says it all."""
    return {
        "type": "about:blank" if kind is None else _KINDS + kind,
        "title": HTTPStatus(status).phrase,
        "status": status,
        "detail": detail,
        "instance": instance,
    }


def answer(request: Request, problem: Problem) -> JSONResponse:
    """Write a problem."""
    members = body(problem.status, problem.kind, problem.detail, request.url.path)
    if problem.errors:
        members["errors"] = [dict(error) for error in problem.errors]
    return _response(members, problem.headers)


def install(app: FastAPI, headers: Mapping[str, str]) -> None:
    """Make every error of the application a problem.

    `headers` go with the answer to a defect, which is made outside of all layers.
    """
    app.exception_handler(Problem)(answer)
    app.exception_handler(HTTPException)(from_http)
    app.exception_handler(RequestValidationError)(_from_validation)
    app.exception_handler(StoreError)(from_store)
    app.exception_handler(Exception)(partial(_from_defect, headers=headers))


def _response(members: dict[str, Any], headers: Mapping[str, str] | None = None) -> JSONResponse:
    return JSONResponse(members, members["status"], headers=headers, media_type=MEDIA_TYPE)


def from_http(request: Request, error: HTTPException) -> JSONResponse:
    """Write what the framework raised as a problem."""
    detail = {
        404: "there is nothing at this address",
        405: "this address does not take this method",
    }.get(error.status_code, str(error.detail))
    return _response(body(error.status_code, None, detail, request.url.path), error.headers)


def _from_validation(request: Request, error: RequestValidationError) -> JSONResponse:
    faults = [
        {"at": ".".join(str(part) for part in fault["loc"]), "detail": fault["msg"]}
        for fault in error.errors()
    ]
    detail = "; ".join(f"{fault['at']}: {fault['detail']}" for fault in faults[:5])
    members = body(422, "validation", detail, request.url.path)
    return _response({**members, "errors": faults})


def from_store(request: Request, error: StoreError) -> JSONResponse:
    """Write what a store cannot do now as a problem: ask again later."""
    _log.error("store: %s", error, extra=event("store_fault"))
    return _response(body(503, "store", str(error), request.url.path), {"Retry-After": "5"})


async def _from_defect(
    request: Request, error: Exception, headers: Mapping[str, str]
) -> JSONResponse:
    path = request.url.path
    _log.error("defect at %s", path, exc_info=error, extra=event("defect", path=path))
    detail = "this is a defect of the server; its log has the details"
    members = body(500, None, detail, request.url.path)
    return _response(members, {**headers, "Cache-Control": "no-store"})
