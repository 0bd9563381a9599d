"""`quarantine`: what was refused, why, and what to do about it."""

import base64
from typing import Annotated, Any, Final

from fastapi import Query, Request

from steadybead_api.access import Reader, services_of
from steadybead_api.fields import Cursor, Limit, Time, cursor_of, key_of
from steadybead_api.routers import api_router
from steadybead_api.schemas import Listed, QuarantineItem
from steadybead_api.setup_schemas import RefusalReasonItem
from steadybead_collector.records.refusals import QuarantineRow, RefusalReason
from steadybead_domain.times import DAY

router = api_router("quarantine")
GATHERED_FOR: Final = 7 * DAY


@router.get(
    "/quarantine", response_model=Listed[QuarantineItem], summary="Refusals, the newest first"
)
def quarantine(
    request: Request,
    _reader: Reader,
    outcome: Annotated[str | None, Query(max_length=64, pattern=r"^[^\x00]*$")] = None,
    limit: Limit = 1000,
    cursor: Cursor = None,
) -> dict[str, Any]:
    """List refused records and messages; a repeat is one row that counts."""
    page = services_of(request).records.refusals.page(limit, key_of(cursor), outcome)
    return {"items": [quarantine_item(r) for r in page.items], "next": cursor_of(page.next)}


@router.get(
    "/quarantine/reasons",
    response_model=Listed[RefusalReasonItem],
    summary="Refusals gathered by topic and reason, the latest first",
)
def reasons(
    request: Request,
    _reader: Reader,
    start: Annotated[Time | None, Query(description="came since; 7 days if absent")] = None,
    limit: Limit = 200,
) -> dict[str, Any]:
    """Gather refused records and messages; each unknown channel or wrong unit stands by itself."""
    services = services_of(request)
    since = services.clock() - GATHERED_FOR if start is None else start
    found = services.records.refusals.reasons(since, limit)
    return {"items": [_reason_item(r) for r in found], "next": None}


def _reason_item(reason: RefusalReason) -> dict[str, Any]:
    refused = reason.newest.refused
    return {
        "topic": refused.topic,
        "outcome": refused.outcome,
        "detail": refused.detail,
        "remedy": refused.remedy,
        "rows": reason.rows,
        "count": reason.count,
        "first_received": reason.first_received,
        "last_received": reason.last_received,
        "newest": reason.newest.id,
    }


def quarantine_item(row: QuarantineRow) -> dict[str, Any]:
    """Describe a refusal."""
    refused = row.refused
    try:
        payload, encoding = refused.payload.decode(), "text"
    except UnicodeDecodeError:
        payload, encoding = base64.b64encode(refused.payload).decode(), "base64"
    return {
        "id": row.id,
        "topic": refused.topic,
        "payload": payload,
        "payload_encoding": encoding,
        "payload_sha256": refused.payload_sha256.hex(),
        "first_received": refused.received,
        "last_received": row.last_received,
        "count": row.count,
        "outcome": refused.outcome,
        "detail": refused.detail,
        "remedy": refused.remedy,
        "record": refused.record,
    }
