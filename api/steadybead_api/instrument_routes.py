"""`instruments`: sensors and meters with a serial number, and where they are fitted."""

from typing import Annotated, Any

from fastapi import Path, Request, Response
from pydantic import BaseModel, ConfigDict, Field

from steadybead_api import instrument_acts as acts
from steadybead_api.access import CalibratingActor, Reader, services_of
from steadybead_api.fields import Channel, Cursor, Limit, Name, Number, Time, Words, paged
from steadybead_api.instrument_schemas import FittingItem, InstrumentDetail, InstrumentItem
from steadybead_api.measuring import Measuring
from steadybead_api.routers import api_router
from steadybead_api.schemas import Listed
from steadybead_collector.records.instruments import FittingRecord
from steadybead_domain.calibration.codec import to_json
from steadybead_domain.calibration.history import Entry, history
from steadybead_domain.calibration.model import Fitting, Instrument
from steadybead_domain.ids import ChannelId

router = api_router("measuring")
RecordId = Annotated[str, Path(pattern=r"^[A-Za-z0-9_-]{1,64}$")]
Revision = Annotated[
    int, Field(ge=1, le=2**31 - 1, description="1 for a new record, the next number to correct it")
]
REPEAT = "it was entered already; nothing was changed"


class Entered(BaseModel):
    """What is entered says nothing that is not asked for, so that no slip goes unseen."""

    model_config = ConfigDict(extra="forbid")


class InstrumentEntry(Entered):
    """An instrument; send your own `id`, and a repeat after a lost answer changes nothing."""

    id: Name | None = None
    serial: Words
    kind: Words
    unit: Words
    tolerance: Number
    interval_days: int | None = None
    revision: Revision = 1


class FittingEntry(Entered):
    """An instrument is put on a channel; `start` is now, or that of the revision before, if absent.

    A further revision with an `end` takes it off.
    """

    id: Name | None = None
    channel: Channel
    start: Time | None = None
    end: Time | None = None
    withdrawn: bool = False
    revision: Revision = 1


@router.get(
    "/instruments", response_model=Listed[InstrumentItem], summary="All instruments, and if due"
)
def instruments(
    request: Request, _reader: Reader, limit: Limit = 1000, cursor: Cursor = None
) -> dict[str, Any]:
    """List the newest revision of each instrument in the order of entry."""
    services = services_of(request)
    measuring, now = Measuring(services), services.clock()
    page, following = paged(list(measuring.instruments.values()), limit, cursor)
    return {"items": [instrument_item(measuring, i, now) for i in page], "next": following}


@router.post(
    "/instruments",
    response_model=InstrumentItem,
    status_code=201,
    summary="Enter an instrument, or a revision of one",
    responses={200: {"model": InstrumentItem, "description": REPEAT}},
)
def enter_instrument(
    request: Request, response: Response, actor: CalibratingActor, said: InstrumentEntry
) -> dict[str, Any]:
    """Keep an instrument; nothing is kept if anything is wrong with it."""
    services = services_of(request)
    act = acts.act_of(services, actor)
    members = {**dict(said), "id": acts.new_id("i", said.id, said.revision)}
    item = Instrument(**members, author=actor.name, entered=act.now)
    kept, is_new = acts.keep_instrument(services, item, act)
    response.status_code = 201 if is_new else 200
    response.headers["Location"] = f"/api/v1/instruments/{kept.id}"
    return instrument_item(Measuring(services), kept, act.now)


@router.get(
    "/instruments/{instrument}",
    response_model=InstrumentDetail,
    summary="One instrument with its history",
)
def instrument(request: Request, _reader: Reader, instrument: RecordId) -> dict[str, Any]:
    """Give an instrument, all its fittings, and what was found at it, newest first."""
    services = services_of(request)
    found = acts.the_instrument(services, instrument)
    measuring = Measuring(services)
    own = [f for f in measuring.fittings if f.fitting.instrument == found.id]
    places = dict.fromkeys(f.fitting.channel for f in own)
    checks = [check for place in places for check in measuring.checks(place)]
    entries = history(found, [f.fitting for f in own], measuring.calibrations, checks)
    return {
        **instrument_item(measuring, found, services.clock()),
        "fittings": [fitting_item(f) for f in own],
        "history": [entry_item(e, found) for e in reversed(entries)],
        "revisions": [i.revision for i in services.records.instruments.revisions(found.id)],
    }


@router.post(
    "/instruments/{instrument}/fittings",
    response_model=FittingItem,
    status_code=201,
    summary="Fit an instrument to a channel, or take it off",
    responses={200: {"model": FittingItem, "description": REPEAT}},
)
def fit(
    request: Request,
    response: Response,
    actor: CalibratingActor,
    instrument: RecordId,
    said: FittingEntry,
) -> dict[str, Any]:
    """Keep a fitting from–to; a channel carries one instrument at a time."""
    services = services_of(request)
    found = acts.the_instrument(services, instrument)
    act = acts.act_of(services, actor)
    place = ChannelId.parse(said.channel)
    record = acts.new_id("f", said.id, said.revision)
    known = [f.fitting.start for f in services.records.instruments.fittings() if f.id == record]
    start = said.start if said.start is not None else next(iter(known), act.now)
    own = Fitting(found.id, place, start, said.end, actor.name, act.now)
    item = FittingRecord(record, own, said.revision, said.withdrawn)
    kept, is_new = acts.keep_fitting(services, item, act)
    response.status_code = 201 if is_new else 200
    return fitting_item(kept)


def instrument_item(measuring: Measuring, found: Instrument, now: int) -> dict[str, Any]:
    """Describe an instrument."""
    judged = measuring.due(found, now)
    own = (
        f for f in measuring.fittings if f.fitting.instrument == found.id and f.fitting.covers(now)
    )
    fitted = next(own, None)
    return {
        **to_json(found),
        "state": judged.state.value,
        "due": judged.due,
        "failed_as_found": judged.failed_as_found,
        "fitted": None if fitted is None else fitting_item(fitted),
    }


def fitting_item(found: FittingRecord) -> dict[str, Any]:
    """Describe a fitting."""
    return {
        **to_json(found.fitting),
        "id": found.id,
        "revision": found.revision,
        "withdrawn": found.withdrawn,
    }


def entry_item(entry: Entry, instrument: Instrument | None, unit: str = "") -> dict[str, Any]:
    """Describe a line of a history."""
    return {
        "time": entry.time,
        "kind": entry.kind.value,
        "channel": None if entry.channel is None else str(entry.channel),
        "instrument": None if instrument is None else instrument.id,
        "serial": None if instrument is None else instrument.serial,
        "author": entry.author,
        "error": entry.error,
        "expanded": entry.expanded,
        "unit": unit if instrument is None else instrument.unit,
        "reference": entry.reference,
    }
