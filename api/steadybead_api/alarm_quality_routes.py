"""`alarm-quality` and `notices`: whether the alarms serve their people, and who was told what."""

from collections.abc import Iterable
from typing import Annotated, Any

from fastapi import Query, Request

from steadybead_api.access import Reader, services_of
from steadybead_api.alarm_figures import LONGEST, Figures, figures
from steadybead_api.alarm_schemas import AlarmQualityItem, NoticeItem
from steadybead_api.fields import Limit, PairCursor, Time, cursor_of, key_of
from steadybead_api.problems import Problem
from steadybead_api.routers import api_router
from steadybead_api.schemas import Listed
from steadybead_collector.records.notices import Sent
from steadybead_domain.times import DAY

router = api_router("alarms")


@router.get(
    "/alarm-quality", response_model=AlarmQualityItem, summary="How well the alarms serve people"
)
def quality(
    request: Request,
    _reader: Reader,
    start: Annotated[Time | None, Query(description="24 h before `end` if absent")] = None,
    end: Annotated[Time | None, Query(description="now if absent")] = None,
) -> dict[str, Any]:
    """Give the figures of a stretch of time, of the last 24 h if none is named."""
    services = services_of(request)
    until = services.clock() if end is None else end
    since = until - DAY if start is None else start
    if not 0 < until - since <= LONGEST:
        days = LONGEST // DAY
        raise Problem(422, "interval", f"let `end` lie after `start`, at most {days} days")
    return _written(figures(services, since, until))


@router.get("/notices", response_model=Listed[NoticeItem], summary="Who was told, newest first")
def notices(
    request: Request, _reader: Reader, limit: Limit = 100, cursor: PairCursor = None
) -> dict[str, Any]:
    """List the notices to the receivers of the plant file, with each attempt to deliver them."""
    page = services_of(request).records.notices.page(limit, key_of(cursor))
    return {"items": [_notice(sent) for sent in page.items], "next": cursor_of(page.next)}


def _written(found: Figures) -> dict[str, Any]:
    quality, counts = found.quality, dict(found.quality.worst)
    return {
        "start": quality.start,
        "end": quality.end,
        "operator_hours": found.operator_hours,
        "raised": quality.raised,
        "per_operator_hour": quality.per_hour,
        "flood_share": quality.flood_share,
        "most_in_ten_minutes": quality.most_in_ten_minutes,
        "chattering": _counts(found, quality.chattering, counts),
        "standing": _counts(found, quality.standing, counts),
        "worst": _counts(found, counts, counts),
        "by_role": dict(quality.by_role),
    }


def _counts(
    found: Figures, fingerprints: Iterable[str], counts: dict[str, int]
) -> list[dict[str, Any]]:
    return [
        {
            "fingerprint": key,
            "station": str(found.newest[key].station),
            "what": found.newest[key].what,
            "raised": counts.get(key, 0),
        }
        for key in fingerprints
    ]


def _notice(sent: Sent) -> dict[str, Any]:
    notice = sent.notice
    return {
        "id": notice.id,
        "receiver": notice.receiver,
        "time": notice.time,
        "subject": notice.subject,
        "body": notice.body,
        "alarms": [told.alarm for told in notice.told],
        "state": sent.state,
        "attempts": [
            {"time": a.time, "outcome": a.outcome.value, "detail": a.detail} for a in sent.attempts
        ],
    }
