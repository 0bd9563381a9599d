"""`/healthz`, `/readyz`, `/metrics`: open to all, and naming nothing of the shop."""

from typing import Any

from fastapi import APIRouter, Request, Response
from prometheus_client import generate_latest
from prometheus_client.exposition import CONTENT_TYPE_PLAIN_0_0_4

from steadybead_api.access import services_of
from steadybead_api.schemas import Health, Readiness
from steadybead_api.services import Condition, Services
from steadybead_domain.ports import StoreError

router = APIRouter(tags=["health"])


@router.get("/healthz", response_model=Health, summary="The process answers")
def healthz() -> dict[str, str]:
    """Answer."""
    return {"status": "alive"}


@router.get(
    "/readyz",
    response_model=Readiness,
    responses={503: {"model": Readiness, "description": "what is wrong"}},
    summary="Broker subscribed and stores open",
)
def readyz(request: Request, response: Response) -> dict[str, Any]:
    """Answer 200 only if everything holds, else 503 with what is wrong."""
    conditions = all_conditions(services_of(request))
    ready = all(c.ok for c in conditions)
    response.status_code = 200 if ready else 503
    items = [{"name": c.name, "ok": c.ok, "detail": c.detail} for c in conditions]
    return {"ready": ready, "conditions": items}


@router.get("/metrics", response_class=Response, summary="Prometheus text", include_in_schema=False)
def metrics(request: Request) -> Response:
    """Give the counters."""
    services = services_of(request)
    return Response(generate_latest(services.registry), media_type=CONTENT_TYPE_PLAIN_0_0_4)


def all_conditions(services: Services) -> list[Condition]:
    """Give every condition of readiness."""
    reachable = services.live.reachable
    broker = "" if reachable else "the broker has not granted the live subscription"
    return [
        Condition("live", reachable, broker),
        _records(services),
        _readings(services),
        Condition("running", not services.stopping.is_set(), ""),
        *services.status(),
    ]


def _records(services: Services) -> Condition:
    try:
        services.records.check()
    except StoreError as error:
        return Condition("records", False, str(error))
    return Condition("records", True)


def _readings(services: Services) -> Condition:
    try:
        services.readings.latest([])
    except StoreError as error:
        return Condition("readings", False, str(error))
    return Condition("readings", True)
