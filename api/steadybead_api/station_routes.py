"""`stations`: what the plant file names, and how it stands now."""

from typing import Any

from fastapi import Request

from steadybead_api.access import Reader, services_of
from steadybead_api.columns import reading_table, rows
from steadybead_api.fields import station_id
from steadybead_api.problems import Problem
from steadybead_api.routers import api_router
from steadybead_api.schemas import Listed, StationDetail, StationItem
from steadybead_domain.live import LiveStation
from steadybead_domain.plant import Channel, Station
from steadybead_domain.readings import Columns, Reading

router = api_router("stations")


@router.get("/stations", response_model=Listed[StationItem], summary="All stations, live")
def stations(request: Request, _reader: Reader) -> dict[str, Any]:
    """List the stations of the plant file in its order."""
    services = services_of(request)
    snapshot = services.live.snapshot(services.clock())
    live = {s.station: s for s in snapshot.stations}
    items = [station_item(s, live[s.id]) for s in services.plant().stations if s.id in live]
    return {"items": items, "next": None}


@router.get("/stations/{site}/{station}", response_model=StationDetail, summary="One station, live")
def station(request: Request, _reader: Reader, site: str, station: str) -> dict[str, Any]:
    """Give a station with its channels and their newest stored readings."""
    services = services_of(request)
    wanted = station_id(site, station)
    found = services.plant().station(wanted)
    live = services.live.snapshot(services.clock()).station(wanted)
    if found is None or live is None:
        raise Problem(404, "station", f"station {wanted} is not in the plant file")
    latest = services.readings.latest([c.id for c in found.channels])
    channels = [_channel_item(c, latest.get(c.id)) for c in found.channels]
    return {**station_item(found, live), "channels": channels}


def station_item(found: Station, live: LiveStation) -> dict[str, Any]:
    """Describe a station."""
    now = live.to_json()
    return {
        "id": str(found.id),
        "site": found.id.site,
        "station": found.id.station,
        "name": found.name or found.id.station,
        "procedure": found.procedure,
        "air_source": found.air.kind.value,
        **{name: now[name] for name in ("fitness", "reasons", "time", "guns", "values")},
    }


def _channel_item(channel: Channel, latest: Reading | None) -> dict[str, Any]:
    newest = None
    if latest is not None:
        newest = rows(reading_table(Columns.of([latest]), channel.unit))[0]
    return {
        "id": str(channel.id),
        "quantity": channel.quantity.value,
        "unit": channel.unit,
        "wire_unit": channel.wire_unit,
        "gun": channel.gun,
        "flow_reference": None if channel.flow is None else channel.flow.reference.value,
        "position": None if channel.flow is None else channel.flow.position,
        "latest": newest,
    }
