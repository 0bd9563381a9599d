"""`reference-checks`: a needle probe, or a flow meter, held to the gun beside its own reading."""

from typing import Annotated, Any

from fastapi import Query, Request, Response

from steadybead_api import impact
from steadybead_api import instrument_acts as acts
from steadybead_api.access import CheckingActor, Reader, services_of
from steadybead_api.calibration_routes import FirstQuery, GrowthQuery
from steadybead_api.fields import (
    Channel,
    Limit,
    Name,
    Number,
    PairCursor,
    Station,
    Time,
    Words,
    cursor_of,
    key_of,
)
from steadybead_api.instrument_routes import REPEAT, Entered, RecordId, Revision
from steadybead_api.instrument_schemas import CheckImpactItem, ReferenceCheckItem
from steadybead_api.measuring import Measuring
from steadybead_api.problems import Problem
from steadybead_api.routers import api_router
from steadybead_api.schemas import Listed
from steadybead_api.services import Services
from steadybead_api.worth import recorded_at
from steadybead_domain.calibration.codec import to_json
from steadybead_domain.calibration.impact import Growth
from steadybead_domain.calibration.reference_check import ReferenceCheck
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.plant import Channel as PlantChannel

router = api_router("measuring")


class ReferenceCheckEntry(Entered):
    """A check; send your own `id`, and a repeat after a lost answer changes nothing.

    `time` is now if absent. `shown` is what the channel read; if absent, its reading at that time
    is taken. Values are in the channel's unit, `expanded_uncertainty` is U of the reference.
    """

    id: Name | None = None
    channel: Channel
    time: Time | None = None
    reference: Number
    shown: Number | None = None
    nozzle: Words
    reference_instrument: Words
    expanded_uncertainty: Number
    coverage_factor: Number = 2.0
    flow_l_min: Number | None = None
    occasion: Words = ""
    withdrawn: bool = False
    revision: Revision = 1


@router.get(
    "/reference-checks",
    response_model=Listed[ReferenceCheckItem],
    summary="Reference checks, the latest first",
)
def reference_checks(
    request: Request,
    _reader: Reader,
    channel: Annotated[Channel | None, Query()] = None,
    station: Annotated[Station | None, Query()] = None,
    limit: Limit = 1000,
    cursor: PairCursor = None,
) -> dict[str, Any]:
    """List the newest revision of each check."""
    services = services_of(request)
    page = services.records.instruments.check_page(
        limit,
        key_of(cursor),
        None if channel is None else ChannelId.parse(channel),
        None if station is None else StationId.parse(station),
    )
    units = {c.id: c.unit for c in services.plant().channels()}
    items = [check_item(c, units.get(c.channel, "")) for c in page.items]
    return {"items": items, "next": cursor_of(page.next)}


@router.post(
    "/reference-checks",
    response_model=ReferenceCheckItem,
    status_code=201,
    summary="Enter a reference check, or a revision of one",
    responses={200: {"model": ReferenceCheckItem, "description": REPEAT}},
)
def enter_check(
    request: Request, response: Response, actor: CheckingActor, said: ReferenceCheckEntry
) -> dict[str, Any]:
    """Keep a check; nothing is kept if anything is wrong with it."""
    services = services_of(request)
    act = acts.act_of(services, actor)
    channel = acts.the_channel(services, ChannelId.parse(said.channel))
    record = acts.new_id("r", said.id, said.revision)
    time = act.now if said.time is None else said.time
    known = _same(services, record, said.revision)
    time = known.time if said.time is None and known is not None else time
    shown = known.shown if said.shown is None and known is not None else said.shown
    if shown is None:
        shown = _shown(services, channel, time)
    members = {**dict(said), "id": record, "channel": channel.id, "time": time, "shown": shown}
    item = ReferenceCheck(**members, author=actor.name, entered=act.now)
    kept, is_new = acts.keep_check(services, item, act)
    response.status_code = 201 if is_new else 200
    response.headers["Location"] = f"/api/v1/reference-checks/{kept.id}"
    return check_item(kept, channel.unit)


@router.get(
    "/reference-checks/{check}",
    response_model=ReferenceCheckItem,
    summary="The newest revision of a reference check",
)
def reference_check(request: Request, _reader: Reader, check: RecordId) -> dict[str, Any]:
    """Give one check."""
    services = services_of(request)
    return _item(services, _revisions(services, check)[-1])


@router.get(
    "/reference-checks/{check}/revisions",
    response_model=Listed[ReferenceCheckItem],
    summary="All revisions of a reference check, the newest first",
)
def revisions(request: Request, _reader: Reader, check: RecordId) -> dict[str, Any]:
    """List what was entered under one id; nothing of it is ever changed."""
    services = services_of(request)
    found = _revisions(services, check)
    return {"items": [_item(services, c) for c in reversed(found)], "next": None}


@router.get(
    "/reference-checks/{check}/impact",
    response_model=CheckImpactItem,
    summary="What a failed reference check puts in doubt: a span and weld records",
)
def impact_of_check(
    request: Request,
    reader: Reader,
    check: RecordId,
    growth: GrowthQuery = Growth.LINEAR,
    first: FirstQuery = 0,
) -> dict[str, Any]:
    """List every weld record since the last check that was able to reveal the error."""
    services = services_of(request)
    found = _revisions(services, check)[-1]
    asked = impact.Asked(growth, first)
    try:
        return impact.check_impact(services, Measuring(services), found, reader, asked)
    except ValueError as error:
        raise Problem(409, "reference-check", str(error)) from None


def check_item(check: ReferenceCheck, unit: str) -> dict[str, Any]:
    """Describe a check."""
    return {**to_json(check), "deviation": check.deviation, "unit": unit}


def _item(services: Services, check: ReferenceCheck) -> dict[str, Any]:
    known = next((c for c in services.plant().channels() if c.id == check.channel), None)
    return check_item(check, "" if known is None else known.unit)


def _revisions(services: Services, check: str) -> list[ReferenceCheck]:
    found = services.records.instruments.check_revisions(check)
    if not found:
        raise Problem(404, "reference-check", f"there is no reference check {check}")
    return found


def _same(services: Services, check: str, revision: int) -> ReferenceCheck | None:
    """Find what was told before under this id: a repeat must not be filled in anew."""
    found = services.records.instruments.check_revisions(check)
    return next((c for c in found if c.revision == revision), None)


def _shown(services: Services, channel: PlantChannel, time: int) -> float:
    found = recorded_at(services, channel, time)
    if found is None:
        text = f"{channel.id.channel} had no reading then: enter what it showed"
        raise Problem(422, "shown", f"shown: {text}", errors=[{"at": "shown", "detail": text}])
    return found
