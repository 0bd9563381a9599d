"""Routers of the addresses under the prefix, and how an application takes routes over."""

from fastapi import APIRouter, FastAPI, Security

from steadybead_api.access import BEARER, SESSION

PREFIX = "/api/v1"


def api_router(tag: str) -> APIRouter:
    """Make a router of addresses that programs call, described under `tag`."""
    return APIRouter(prefix=PREFIX, tags=[tag], dependencies=[Security(BEARER), Security(SESSION)])


def take(whole: FastAPI | APIRouter, router: APIRouter) -> None:
    """Take the routes of a router as they are; including it would build each a second time."""
    whole.routes.extend(router.routes)
