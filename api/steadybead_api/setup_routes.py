"""`heard` and `plant-file/check`: what an integrator asks while sensors are being wired."""

from typing import Annotated, Any, Final

from fastapi import Depends, Query, Request
from pydantic import BaseModel, ConfigDict, Field

from steadybead_api.access import SETTING_UP, may_act, may_see, services_of
from steadybead_api.fields import Cursor, Limit, Station, paged
from steadybead_api.heard import HeardChannel, HeardStation, heard_channels, heard_stations
from steadybead_api.plant_check import PlantCheck, check_text
from steadybead_api.routers import api_router
from steadybead_api.schemas import Listed
from steadybead_api.setup_schemas import HeardItem, HeardStationItem, PlantCheckItem
from steadybead_domain.ids import StationId
from steadybead_domain.people import Actor

router = api_router("set-up")
LARGEST_TEXT: Final = 256 * 1024
Integrator = Annotated[Actor, Depends(may_see(SETTING_UP))]
CheckingIntegrator = Annotated[Actor, Depends(may_act(SETTING_UP))]


class PlantText(BaseModel):
    """The text of a plant file."""

    model_config = ConfigDict(extra="forbid")
    text: Annotated[str, Field(max_length=LARGEST_TEXT)]


@router.get(
    "/heard",
    response_model=Listed[HeardItem],
    summary="Each channel of the plant file and what is heard of it",
)
def heard(
    request: Request,
    _integrator: Integrator,
    station: Annotated[Station | None, Query()] = None,
    limit: Limit = 1000,
    cursor: Cursor = None,
) -> dict[str, Any]:
    """List channels in the plant file's order, with raw and converted value."""
    where = None if station is None else StationId.parse(station)
    page, following = paged(heard_channels(services_of(request), where), limit, cursor)
    return {"items": [_heard_item(h) for h in page], "next": following}


@router.get(
    "/heard/stations",
    response_model=Listed[HeardStationItem],
    summary="How many channels of each station are heard, and how its clock stands",
)
def stations(request: Request, _integrator: Integrator) -> dict[str, Any]:
    """List stations in the plant file's order."""
    services = services_of(request)
    found = heard_stations(services, heard_channels(services))
    return {"items": [_station_item(s) for s in found], "next": None}


@router.post(
    "/plant-file/check",
    response_model=PlantCheckItem,
    summary="Check the text of a plant file; nothing is kept",
)
def check(request: Request, _integrator: CheckingIntegrator, said: PlantText) -> dict[str, Any]:
    """Give every mistake with its line and remedy, or what the text describes.

    The rules are those of `steadybead check` and of every start. Files that it names (passwords,
    certificates) are not looked up here.
    """
    return _check_item(check_text(said.text, services_of(request).plant()))


def _heard_item(heard: HeardChannel) -> dict[str, Any]:
    channel, reading = heard.channel, heard.reading
    return {
        "channel": str(channel.id),
        "station": str(channel.id.station_id),
        "gun": channel.gun,
        "quantity": channel.quantity.value,
        "state": heard.state,
        "last_heard": None if reading is None else reading.time,
        "per_second": heard.per_second,
        "raw": None if reading is None else reading.raw,
        "wire_unit": channel.wire_unit,
        "value": None if reading is None else reading.value,
        "unit": channel.unit,
        "quality": "" if reading is None else reading.quality.word,
        "reason": "" if reading is None else reading.reason.text,
        "hint": heard.hint,
    }


def _station_item(heard: HeardStation) -> dict[str, Any]:
    return {
        "station": str(heard.station),
        "channels": heard.channels,
        "heard": heard.heard,
        "last_heard": heard.last_heard,
        "clock_ahead_s": heard.clock_ahead_s,
        "clock_words": heard.clock_words,
    }


def _check_item(found: PlantCheck) -> dict[str, Any]:
    file = found.plant_file
    plant = None if file is None else file.plant
    stations = () if plant is None else plant.stations
    problems = [{"line": p.line, "what": p.message, "remedy": p.remedy} for p in found.problems]
    return {
        "in_order": plant is not None,
        "problems": problems,
        "more": found.more,
        "site": "" if plant is None else plant.site,
        "name": "" if plant is None else plant.name,
        "timezone": "" if plant is None else plant.timezone,
        "stations": [
            {
                "station": s.id.station,
                "name": s.name,
                "guns": len(s.guns),
                "channels": len(s.channels),
            }
            for s in stations
        ],
        "channels": sum(len(s.channels) for s in stations),
        "receivers": 0 if file is None else len(file.notify),
        "added": [str(name) for name in found.added],
        "removed": [str(name) for name in found.removed],
        "changed": [str(name) for name in found.changed],
    }
