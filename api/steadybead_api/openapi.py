"""The OpenAPI document, with the errors that every address can answer with."""

from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from steadybead_api.problems import MEDIA_TYPE
from steadybead_api.schemas import ProblemDetails

_REFERENCE = "#/components/schemas/{model}"
_MEANINGS = {
    "400": "the request cannot be read",
    "401": "no login, or a bad one",
    "403": "the role does not allow this",
    "404": "there is no such thing",
    "406": "this media type is not offered",
    "409": "something else is there already",
    "429": "too many wrong tries: wait as long as Retry-After says",
    "405": "this address does not take this method",
    "413": "the body is too large",
    "422": "a value is not acceptable",
    "503": "a store or the broker is away",
}


def install(app: FastAPI) -> None:
    """Make the application describe itself completely."""

    def described() -> dict[str, Any]:
        if app.openapi_schema is None:
            app.openapi_schema = _described(app)
        return app.openapi_schema

    app.openapi = described  # type: ignore[method-assign]


def _described(app: FastAPI) -> dict[str, Any]:
    document: dict[str, Any] = get_openapi(
        title=app.title, version=app.version, description=app.description, routes=app.routes
    )
    schemas = document.setdefault("components", {}).setdefault("schemas", {})
    for unused in ("HTTPValidationError", "ValidationError"):
        schemas.pop(unused, None)
    schemas["ProblemDetails"] = ProblemDetails.model_json_schema(
        ref_template=_REFERENCE, mode="serialization"
    )
    for methods in document["paths"].values():
        for operation in methods.values():
            _add_problems(operation["responses"])
    return document


def _add_problems(responses: dict[str, Any]) -> None:
    shape = {"schema": {"$ref": "#/components/schemas/ProblemDetails"}}
    for status, meaning in _MEANINGS.items():
        problem = {"description": meaning, "content": {MEDIA_TYPE: shape}}
        known = responses.get(status)
        if known is None or status == "422":
            responses[status] = problem
        else:
            known.setdefault("content", {})[MEDIA_TYPE] = shape
