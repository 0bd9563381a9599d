"""A small invented shop for the pages: sources in memory, an API with the same addresses."""

import asyncio
import itertools
import json
import math
import secrets
import time
from collections.abc import AsyncIterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Annotated, Any

from fastapi import FastAPI, Form, Request
from fastapi.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.responses import StreamingResponse

from steadybead_api.page_routes import router_over
from steadybead_dashboards.shell import Person
from steadybead_domain.alarms.codec import alarm_to_json
from steadybead_domain.alarms.model import Alarm, AlarmFact, AlarmState, Priority
from steadybead_domain.conversion.specs import FlowReference
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.live import Fitness, GunState, LiveGun, LiveStation, LiveValue
from steadybead_domain.plant import Channel, Plant, Station
from steadybead_domain.procedures import Procedure, Window
from steadybead_domain.quantities import Quantity
from steadybead_domain.times import MINUTE, SECOND, format_rfc3339, parse_rfc3339
from steadybead_domain.welds import Weld

TEMPERATURE = Window(300.0, 340.0, "Cel")
FLOW = Window(45.0, 55.0, "L/min")
PROCEDURE = Procedure(
    "pp-speed-nozzle",
    "PP, speed nozzle",
    "PP",
    "641",
    TEMPERATURE,
    FLOW,
    FlowReference.DIN_1343,
    "invented for tests",
    "none",
)
QUANTITIES = {"nozzle": Quantity.NOZZLE_TEMPERATURE, "flow": Quantity.AIR_FLOW}
TOKEN = "let-me-in"  # noqa: S105 - opens an invented shop
PERIOD = SECOND // 5


def station(name: str, title: str, guns: str) -> Station:
    """Build a station with nozzle temperature and flow a gun, and a filter pressure drop."""
    here = StationId("north", name)
    channels = [
        Channel(ChannelId("north", name, f"gun-{gun}/{what}"), quantity, quantity.facts.unit)
        for gun in guns
        for what, quantity in QUANTITIES.items()
    ]
    filter_drop = ChannelId("north", name, "blower/filter-drop")
    channels.append(Channel(filter_drop, Quantity.FILTER_PRESSURE_DROP, "Pa"))
    return Station(here, tuple(channels), title, PROCEDURE.id)


PLANT = Plant(
    "north",
    "Europe/Lisbon",
    (
        station("bay-1", "Bay 1", "ab"),
        station("bay-2", "Bay 2", "a"),
        station("duct-hall", "Duct hall", "a"),
        station("bay-4", "Bay 4 <b>", "a"),
        station("yard", "Yard", "a"),
    ),
    name="North works",
)
STATES = {
    ("bay-1", "a"): GunState.WELDING,
    ("bay-1", "b"): GunState.READY,
    ("bay-2", "a"): GunState.HOT,
    ("duct-hall", "a"): GunState.WARMING,
    ("bay-4", "a"): GunState.COOLING,
}
LEVELS = {  # nozzle temperature in °C, flow in L/min
    ("bay-1", "a"): (322.0, 49.8),
    ("bay-1", "b"): (318.0, 50.6),
    ("bay-2", "a"): (347.0, 38.4),
    ("duct-hall", "a"): (214.0, 50.1),
    ("bay-4", "a"): (141.0, 52.0),
}


@dataclass
class Shop:
    """The state of the invented shop, to be changed by tests while pages look on."""

    signed_in: bool = True
    role: str = "administrator"
    open_to_read: bool = True
    sending: bool = True
    refusing: bool = False
    broker: bool = True
    levels: dict[tuple[str, str], tuple[float, float]] = field(default_factory=LEVELS.copy)
    states: dict[tuple[str, str], GunState] = field(default_factory=STATES.copy)
    fitness: dict[str, tuple[Fitness, tuple[str, ...]]] = field(default_factory=dict)
    alarms: dict[str, Alarm] = field(default_factory=dict)
    welds: dict[str, Weld] = field(default_factory=dict)
    acts: list[tuple[str, str]] = field(default_factory=list)
    queues: list[asyncio.Queue[str]] = field(default_factory=list)
    csrf: str = field(default_factory=lambda: secrets.token_hex(8))
    started: int = field(default_factory=lambda: time.time_ns() // 1000)

    def __post_init__(self) -> None:
        """Fill in what happened before the pages were opened."""
        self.fitness = {
            "bay-1": (Fitness.FIT, ()),
            "bay-2": (Fitness.NOT_FIT, ("air flow of gun a below its window for 2 min (100 %)",)),
            "duct-hall": (Fitness.NOT_FIT, ("gun a is warming",)),
            "bay-4": (Fitness.FIT, ()),
        }
        now = self.started
        low = alarm("alarm-1", "bay-2", now - 2 * MINUTE, "air flow below its window")
        self.alarms = {low.raised.alarm: low}
        stop = now - 10 * MINUTE
        self.welds = {
            "w-1001": Weld(
                "w-1001",
                StationId("north", "bay-1"),
                "a",
                stop - 12 * MINUTE,
                stop,
                PROCEDURE.id,
                1,
                "T-2281",
                "S14",
                "M. Duarte",
                "reader at bay 1",
                "reader at bay 1",
                "stop",
            )
        }

    def live_station(self, name: str, now: int) -> LiveStation:
        """Say what one station is doing."""
        guns = [gun for (place, gun) in self.states if place == name]
        open_welds = {w.gun: w.id for w in self.welds.values() if self._open_at(w, name)}
        fitness, reasons = self.fitness[name]
        return LiveStation(
            StationId("north", name),
            now,
            fitness,
            reasons,
            tuple(
                LiveGun(
                    g,
                    self.states[name, g],
                    self.started - 3 * MINUTE,
                    open_welds.get(g),
                    PROCEDURE.id,
                )
                for g in guns
            ),
            tuple(v for g in guns for v in self._values(name, g, now)),
        )

    def _open_at(self, weld: Weld, name: str) -> bool:
        return weld.stop is None and weld.station.station == name

    def _values(self, name: str, gun: str, now: int) -> list[LiveValue]:
        temperature, flow = self.levels[name, gun]
        wave = math.sin(now / SECOND / 3)
        rows = [
            ("nozzle", temperature + 1.5 * wave, TEMPERATURE),
            ("flow", flow + 0.4 * wave, FLOW),
        ]
        return [
            LiveValue(
                f"gun-{gun}/{what}",
                QUANTITIES[what].value,
                now,
                round(value, 2),
                QUANTITIES[what].facts.unit,
                "good",
                "",
                window.low,
                window.high,
            )
            for what, value, window in rows
        ]

    def tell(self, name: str, data: Mapping[str, Any]) -> None:
        """Send an event to every page."""
        for queue in self.queues:
            queue.put_nowait(sse(name, data))

    def raise_alarm(self, raised: Alarm) -> None:
        """Raise or change an alarm and tell the pages."""
        self.alarms[raised.raised.alarm] = raised
        self.tell("alarm", alarm_to_json(raised))


def alarm(name: str, place: str, time_us: int, what: str) -> Alarm:
    """Build a high, unacknowledged alarm of gun a."""
    fact = AlarmFact(
        name,
        f"{place}/a/{what}",
        "flow_low",
        StationId("north", place),
        "a",
        ChannelId("north", place, "gun-a/flow"),
        time_us,
        active=True,
        priority=Priority.HIGH,
        latching=False,
        what=what,
        value=38.4,
        limit=45.0,
        unit="L/min",
        cause="air-path restriction",
        to_do="Stop welding, look at hose, nozzle and filter",
        for_whom="welder",
    )
    return Alarm(fact, AlarmState.UNACKNOWLEDGED, True, None, "", None, None)


def weld_json(weld: Weld) -> dict[str, Any]:
    """Write a weld record as the API does."""
    return {
        "id": weld.id,
        "station": str(weld.station),
        "gun": weld.gun,
        "start": format_rfc3339(weld.start),
        "stop": None if weld.stop is None else format_rfc3339(weld.stop),
        "job": weld.job,
        "seam": weld.seam,
        "procedure": weld.procedure,
    }


def sse(name: str, data: Mapping[str, Any]) -> str:
    """Write one server-sent event."""
    return f"event: {name}\ndata: {json.dumps(data)}\n\n"


class ShopSources:
    """The shop as the pages' sources."""

    def __init__(self, shop: Shop) -> None:
        self.shop = shop

    def now(self) -> int:
        return time.time_ns() // 1000

    def person(self, request: Request) -> Person | None:
        del request
        if not self.shop.signed_in:
            return None
        return Person("Ana Reis", self.shop.role, frozenset({"weld", "acknowledge", "see welders"}))

    def csrf(self, request: Request) -> str:
        del request
        return self.shop.csrf if self.shop.signed_in else ""

    def may_read(self, request: Request) -> bool:
        del request
        return self.shop.open_to_read or self.shop.signed_in

    def plant(self) -> Plant:
        return PLANT

    def live(self) -> Mapping[StationId, LiveStation]:
        now = self.now()
        return {StationId("north", n): self.shop.live_station(n, now) for n in self.shop.fitness}

    def link(self) -> bool:
        return self.shop.broker

    def alarms(self) -> Sequence[Alarm]:
        return list(self.shop.alarms.values())

    def procedures(self) -> Mapping[str, Procedure]:
        return {PROCEDURE.id: PROCEDURE}

    def procedure_of(self, weld: Weld) -> Procedure | None:
        return PROCEDURE if weld.procedure == PROCEDURE.id else None

    def welds(
        self, station: StationId | None, limit: int, cursor: str | None
    ) -> tuple[Sequence[Weld], str | None]:
        del cursor
        rows = [w for w in self.shop.welds.values() if station is None or w.station == station]
        return sorted(rows, key=lambda w: -w.start)[:limit], None

    def weld(self, weld_id: str) -> Weld | None:
        return self.shop.welds.get(weld_id)


def readings(shop: Shop, channel: str, start: int, end: int) -> list[dict[str, Any]]:
    """Give a trace at 5 Hz: a gap of 20 s, 10 s uncertain, 5 s bad without value."""
    place, owner, what = channel.split("/")[1:]
    level = shop.levels[place, owner.removeprefix("gun-")][0 if what == "nozzle" else 1]
    size = 6.0 if what == "nozzle" else 1.2
    rows: list[dict[str, Any]] = []
    for t in range(start - start % PERIOD, end, PERIOD):
        phase = t // SECOND % 300
        if 100 <= phase < 120:
            continue
        value: float | None = round(level + size * math.sin(t / SECOND / 17), 2)
        quality, reason = "good", ""
        if 200 <= phase < 210:
            quality, reason = "uncertain", "time of receipt"
        elif 250 <= phase < 255:
            quality, reason, value = "bad", "open circuit", None
        rows.append(
            {
                "time": format_rfc3339(t),
                "value": value,
                "unit": "Cel" if what == "nozzle" else "L/min",
                "quality": quality,
                "reason": reason,
            }
        )
    return rows


def gaps(times: Sequence[str]) -> list[dict[str, str]]:
    """Give the stretches of more than a second without a reading."""
    pairs = itertools.pairwise(times)
    apart = [(a, b) for a, b in pairs if parse_rfc3339(b) - parse_rfc3339(a) > SECOND]
    return [{"start": a, "end": b} for a, b in apart]


def fake_app(shop: Shop) -> FastAPI:
    """Build the application: the real pages over the invented shop."""
    app = FastAPI()
    app.include_router(router_over(ShopSources(shop)))
    _add_live(app, shop)
    _add_reads(app, shop)
    _add_acts(app, shop)
    _add_sessions(app, shop)
    return app


def _add_live(app: FastAPI, shop: Shop) -> None:
    @app.get("/api/v1/live")
    async def live() -> Response:
        if shop.refusing:
            return PlainTextResponse("down", 503)
        return StreamingResponse(_stream(shop), media_type="text/event-stream")


async def _stream(shop: Shop) -> AsyncIterator[str]:
    queue: asyncio.Queue[str] = asyncio.Queue()
    shop.queues.append(queue)
    try:
        yield sse("link", {"broker": shop.broker})
        for shown in shop.alarms.values():
            yield sse("alarm", alarm_to_json(shown))
        while not shop.refusing:
            now = time.time_ns() // 1000
            for name in shop.fitness if shop.sending else ():
                yield sse("live", shop.live_station(name, now).to_json())
            if shop.sending:
                yield sse("link", {"broker": shop.broker})
            try:
                yield await asyncio.wait_for(queue.get(), 0.25)
            except TimeoutError:
                continue
    finally:
        shop.queues.remove(queue)


def _add_reads(app: FastAPI, shop: Shop) -> None:
    @app.get("/api/v1/readings")
    def read(request: Request, channel: str, start: str, end: str) -> Response:
        rows = readings(shop, channel, parse_rfc3339(start), parse_rfc3339(end))
        if "text/csv" not in request.headers["accept"]:
            return JSONResponse({"items": rows, "next": None})
        lines = [",".join(str(v) for v in row.values()) for row in rows]
        header = "time,value,unit,quality,reason"
        return PlainTextResponse("\n".join([header, *lines]) + "\n", media_type="text/csv")

    @app.get("/api/v1/alarms")
    def alarms() -> dict[str, Any]:
        return {"items": [alarm_to_json(a) for a in shop.alarms.values()], "next": None}

    @app.get("/api/v1/welds/{weld_id}")
    def weld(weld_id: str) -> dict[str, Any]:
        return weld_json(shop.welds[weld_id])

    @app.get("/api/v1/welds/{weld_id}/trace")
    def trace(weld_id: str) -> dict[str, Any]:
        weld = shop.welds[weld_id]
        end = weld.stop + MINUTE if weld.stop is not None else time.time_ns() // 1000
        channels = [
            f"{weld.station}/gun-{weld.gun}/nozzle",
            f"{weld.station}/gun-{weld.gun}/flow",
        ]
        columns = []
        for channel in channels:
            rows = readings(shop, channel, weld.start - MINUTE, end)
            keys = ("time", "value", "quality", "reason")
            lists = {k: [r[k] for r in rows] for k in keys}
            window = TEMPERATURE if channel.endswith("nozzle") else FLOW
            columns.append(
                {
                    "channel": channel,
                    "window": {"low": window.low, "high": window.high, "unit": "", "note": ""},
                    "gaps": gaps(lists["time"]),
                    **lists,
                }
            )
        return {"weld": weld_id, "channels": columns}


def _add_acts(app: FastAPI, shop: Shop) -> None:
    def refusal(request: Request) -> Response | None:
        if request.headers.get("x-csrf-token") == shop.csrf:
            return None
        return JSONResponse({"title": "Forbidden", "detail": "token against forgery"}, 403)

    @app.post("/api/v1/alarms/{alarm_id}/acknowledge")
    async def acknowledge(request: Request, alarm_id: str) -> Response:
        if (refused := refusal(request)) is not None:
            return refused
        shop.acts.append(("acknowledge", alarm_id))
        known = shop.alarms[alarm_id]
        done = replace(known, state=AlarmState.ACKNOWLEDGED, acknowledged_by="Ana Reis")
        shop.raise_alarm(done)
        return JSONResponse(alarm_to_json(done))

    @app.post("/api/v1/welds")
    async def start(request: Request) -> Response:
        if (refused := refusal(request)) is not None:
            return refused
        body = await request.json()
        now = time.time_ns() // 1000
        weld = Weld(
            f"w-{1002 + len(shop.acts)}",
            StationId.parse(body["station"]),
            body["gun"],
            now,
            None,
            body.get("procedure"),
            1,
            body.get("job"),
            body.get("seam"),
            body.get("welder"),
            "Ana Reis",
        )
        shop.welds[weld.id] = weld
        shop.acts.append(("start", weld.id))
        return JSONResponse(weld_json(weld), 201)

    @app.post("/api/v1/welds/{weld_id}/stop")
    async def stop(request: Request, weld_id: str) -> Response:
        if (refused := refusal(request)) is not None:
            return refused
        shop.acts.append(("stop", weld_id))
        now = time.time_ns() // 1000
        shop.welds[weld_id] = replace(shop.welds[weld_id], stop=now, stopped_by="Ana Reis")
        return JSONResponse(weld_json(shop.welds[weld_id]))


def _add_sessions(app: FastAPI, shop: Shop) -> None:
    @app.post("/login")
    async def login(
        token: Annotated[str, Form()],
        next: Annotated[str, Form()] = "/",  # noqa: A002 - the form's own word
    ) -> Response:
        shop.signed_in = token == TOKEN
        return RedirectResponse(next if shop.signed_in else "/signin?problem=token", 303)

    @app.post("/logout")
    async def logout() -> Response:
        shop.signed_in = False
        return RedirectResponse("/", 303)
