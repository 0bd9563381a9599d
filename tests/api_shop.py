"""A small shop for tests of the API: two stations, stores of its own, a clock that tests move."""

from dataclasses import dataclass, replace
from pathlib import Path

import httpx
import numpy as np
from fastapi import FastAPI
from prometheus_client import CollectorRegistry

from steadybead_api.app import create_app
from steadybead_api.live_board import LiveBoard
from steadybead_api.services import AccessPolicy, Services
from steadybead_collector.records.store import Records, open_records
from steadybead_collector.stores.memory import MemoryReadings
from steadybead_domain.conversion.specs import FlowReference
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.live import Fitness, GunState, LiveGun, LiveStation, LiveValue
from steadybead_domain.people import Actor, Role
from steadybead_domain.plant import Channel, FlowMeter, Plant, Station
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Batch, Columns, Quality, Reading, Reason
from steadybead_domain.times import SECOND, parse_rfc3339

T0 = parse_rfc3339("2026-05-04T07:30:00Z")
BAY_1 = StationId("north", "bay-1")
BAY_2 = StationId("north", "bay-2")
NOZZLE = ChannelId("north", "bay-1", "gun-a/nozzle")
FLOW = ChannelId("north", "bay-1", "gun-a/flow")
NOZZLE_B = ChannelId("north", "bay-1", "gun-b/nozzle")
DROP = ChannelId("north", "bay-1", "air/filter")
PLANT = Plant(
    "north",
    "Europe/Lisbon",
    (
        Station(
            BAY_1,
            (
                Channel(NOZZLE, Quantity.NOZZLE_TEMPERATURE, "Cel"),
                Channel(
                    FLOW,
                    Quantity.AIR_FLOW,
                    "L/min",
                    flow=FlowMeter(reference=FlowReference.ACTUAL, position="after the filter"),
                ),
                Channel(NOZZLE_B, Quantity.NOZZLE_TEMPERATURE, "Cel"),
                Channel(DROP, Quantity.FILTER_PRESSURE_DROP, "Pa"),
            ),
            "Bay one",
            "pp-speed-nozzle",
        ),
        Station(
            BAY_2,
            (
                Channel(
                    ChannelId("north", "bay-2", "gun-a/nozzle"), Quantity.NOZZLE_TEMPERATURE, ""
                ),
            ),
        ),
    ),
    name="North shop",
)


@dataclass
class Clock:
    now: int = T0

    def __call__(self) -> int:
        return self.now

    def advance(self, seconds: float) -> None:
        self.now += int(seconds * SECOND)


@dataclass
class Shop:
    """Everything that stands behind one application."""

    clock: Clock
    readings: MemoryReadings
    records: Records
    board: LiveBoard
    services: Services
    app: FastAPI

    def token(self, role: Role, name: str = "") -> dict[str, str]:
        """Make a token; give the header that carries it."""
        actor = Actor(name or f"the {role}", role)
        by = Actor("test", Role.ADMINISTRATOR)
        secret = self.records.access.create_token(actor, by, self.clock(), "test")
        return {"Authorization": f"Bearer {secret}"}

    def with_access(self, access: AccessPolicy) -> FastAPI:
        """Build another application over the same stores."""
        return create_app(replace(self.services, access=access, registry=CollectorRegistry()))

    def close(self) -> None:
        self.readings.close()
        self.records.close()


def make_shop(folder: Path, access: AccessPolicy | None = None) -> Shop:
    """Open a shop with empty stores."""
    clock = Clock()
    readings = MemoryReadings()
    records = open_records("sqlite", folder, clock)
    board = LiveBoard(lambda: PLANT, clock)
    services = Services(
        readings=readings,
        records=records,
        plant=lambda: PLANT,
        live=board,
        access=access or AccessPolicy(),
        clock=clock,
        data_dir=folder,
    )
    return Shop(clock, readings, records, board, services, create_app(services))


def client_of(app: FastAPI, client: tuple[str, int] = ("127.0.0.1", 50000)) -> httpx.AsyncClient:
    """Make a client that calls the application in this process."""
    transport = httpx.ASGITransport(app, raise_app_exceptions=False, client=client)
    return httpx.AsyncClient(transport=transport, base_url="http://localhost")


def ramp(n: int, step_s: float = 0.2, start: int = T0) -> Columns:
    """Make n good readings, rising by 0.01 a step from 300."""
    return Columns(
        start + np.arange(n, dtype=np.int64) * int(step_s * SECOND),
        300.0 + np.arange(n, dtype=np.float64) * 0.01,
        300.0 + np.arange(n, dtype=np.float64) * 0.01,
        np.zeros(n, np.uint8),
        np.zeros(n, np.uint8),
        np.ones(n, np.uint32),
    )


def mixed() -> Columns:
    """Make one reading of each quality, one of them without a value."""
    return Columns.of(
        [
            Reading(T0, 301.25, 301.25, Quality.GOOD, Reason.NONE, 1),
            Reading(T0 + 1, -0.1, -0.1, Quality.UNCERTAIN, Reason.TIME_OF_RECEIPT, 1),
            Reading(T0 + SECOND, None, 99.0, Quality.BAD, Reason.OPEN_CIRCUIT, 1),
            Reading(T0 + 2 * SECOND, 1e-7, 1e-7, Quality.BAD, Reason.CLOCK, 1),
        ]
    )


def put(shop: Shop, channel: ChannelId, columns: Columns) -> None:
    """Store readings."""
    shop.readings.append(Batch(shop.clock(), {channel: columns}))


def live_of(
    station: StationId = BAY_1,
    time: int = T0,
    fitness: Fitness = Fitness.FIT,
    value: float = 320.0,
) -> LiveStation:
    """Make what a collector says of a station."""
    reasons = () if fitness is Fitness.FIT else ("air flow low",)
    shown = LiveValue(
        "gun-a/nozzle", "nozzle_temperature", time, value, "Cel", "good", "", 300.0, 340.0
    )
    return LiveStation(
        station, time, fitness, reasons, (LiveGun("a", GunState.READY, T0),), (shown,)
    )
