"""`sensors` and `worth`: the instrument behind each channel, and what a value is worth."""

from typing import Annotated, Any

from fastapi import Query, Request

from steadybead_api.access import Reader, services_of
from steadybead_api.fields import Channel, Cursor, Limit, Number, Station, Time, paged
from steadybead_api.instrument_acts import the_channel
from steadybead_api.instrument_routes import entry_item
from steadybead_api.instrument_schemas import EntryItem, SensorItem, WorthItem
from steadybead_api.measuring import Measuring
from steadybead_api.problems import Problem
from steadybead_api.routers import api_router
from steadybead_api.schemas import Listed
from steadybead_api.sensors import Sensor, sensors
from steadybead_api.worth import Valued, Valuer, near_in_store, recorded_at
from steadybead_domain.ids import ChannelId, StationId

router = api_router("measuring")
OverQuery = Annotated[float, Query(ge=0.0, le=1e9, description="a mean over so many seconds")]


@router.get(
    "/sensors",
    response_model=Listed[SensorItem],
    summary="The instrument behind each channel, its calibration and uncertainty now",
)
def all_sensors(
    request: Request,
    _reader: Reader,
    station: Annotated[Station | None, Query()] = None,
    limit: Limit = 1000,
    cursor: Cursor = None,
) -> dict[str, Any]:
    """List the channels of the plant file in its order."""
    services = services_of(request)
    where = None if station is None else StationId.parse(station)
    page, following = paged(sensors(services, where), limit, cursor)
    return {"items": [_sensor_item(s) for s in page], "next": following}


@router.get(
    "/sensors/history",
    response_model=Listed[EntryItem],
    summary="What is on record about a channel, the newest first",
)
def sensor_history(
    request: Request,
    _reader: Reader,
    channel: Annotated[Channel, Query()],
    limit: Limit = 1000,
    cursor: Cursor = None,
) -> dict[str, Any]:
    """List fittings, calibrations and reference checks of a channel's instruments."""
    services = services_of(request)
    found = the_channel(services, ChannelId.parse(channel))
    page, following = paged(Measuring(services).history(found.id), limit, cursor)
    return {"items": [entry_item(e, i, found.unit) for e, i in page], "next": following}


@router.get("/worth", response_model=WorthItem, summary="What a value is worth at a time")
def worth(
    request: Request,
    _reader: Reader,
    channel: Annotated[Channel, Query()],
    time: Annotated[Time | None, Query(description="now if absent")] = None,
    value: Annotated[
        Number | None, Query(description="recorded; the reading at the time if absent")
    ] = None,
    nozzle: Annotated[str, Query(max_length=200)] = "",
    over_s: OverQuery = 0.0,
) -> dict[str, Any]:
    """Give the uncertainty budget of a nozzle temperature or an air flow, term by term."""
    services = services_of(request)
    found = the_channel(services, ChannelId.parse(channel))
    at = services.clock() if time is None else time
    recorded = recorded_at(services, found, at) if value is None else value
    if recorded is None:
        raise Problem(422, "value", "value: there is no reading at that time; give a value")
    facts = found.quantity.facts
    if not facts.low <= recorded <= facts.high:
        text = f"{recorded:g} {facts.unit} cannot be: give {facts.low:g} to {facts.high:g}"
        raise Problem(422, "value", f"value: {text}", errors=[{"at": "value", "detail": text}])
    valuer = Valuer(services, Measuring(services))
    near = near_in_store(services, at)
    try:
        valued = valuer.value(found, at, recorded, near, nozzle or None)
    except ValueError as error:
        raise Problem(422, "budget", str(error)) from None
    return worth_item(valued, over_s)


def worth_item(valued: Valued, over_s: float) -> dict[str, Any]:
    """Describe a worth; the budget of a mean where a time is given."""
    worth, correction = valued.worth, valued.worth.correction
    budget = worth.budget.over(over_s) if over_s else worth.budget
    stretch = worth.stretch
    outside = stretch.correction is not None and not (
        stretch.correction.low <= worth.recorded <= stretch.correction.high
    )
    figures = budget.to_json()
    del figures["unit"]
    return {
        "channel": str(valued.channel.id),
        "time": valued.time,
        "unit": valued.channel.unit,
        "recorded": worth.recorded,
        "recalibrated": worth.recalibrated,
        "best": worth.best,
        "over_s": over_s,
        "nozzle": valued.nozzle,
        "flow_l_min": valued.flow_l_min,
        "instrument": stretch.instrument,
        "calibration": None if stretch.calibration is None else stretch.calibration.id,
        "outside_calibrated_range": outside,
        "correction": None if correction is None else correction.value,
        "checks": [] if correction is None else list(correction.checks),
        "beyond_checked_flow": correction is not None and correction.beyond,
        "assumptions": list(valued.assumptions),
        **figures,
    }


def _sensor_item(sensor: Sensor) -> dict[str, Any]:
    instrument, due, valued = sensor.instrument, sensor.due, sensor.valued
    return {
        "channel": str(sensor.channel.id),
        "station": str(sensor.channel.id.station_id),
        "gun": sensor.channel.gun,
        "quantity": sensor.channel.quantity.value,
        "unit": sensor.channel.unit,
        "instrument": None if instrument is None else instrument.id,
        "serial": None if instrument is None else instrument.serial,
        "state": sensor.state,
        "due": None if due is None else due.due,
        "failed_as_found": due is not None and due.failed_as_found,
        "value": sensor.value,
        "expanded": None if valued is None else valued.worth.budget.expanded,
    }
