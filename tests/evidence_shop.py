"""A shop whose readings are sealed: a weld of twenty minutes, its daily root, its evidence."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from api_shop import (
    BAY_1,
    DROP,
    FLOW,
    NOZZLE,
    PLANT,
    T0,
    AccessPolicy,
    Clock,
    FastAPI,
    create_app,
    make_shop,
)
from steadybead_api.evidence.export import evidence_file
from steadybead_api.services import Services
from steadybead_collector.evidence.keeper import RootKeeper
from steadybead_collector.evidence.ways import FolderWay
from steadybead_collector.records.store import Records
from steadybead_collector.stores import SqliteReadings
from steadybead_domain.people import Actor, Role
from steadybead_domain.readings import Batch, Columns
from steadybead_domain.times import DAY, MINUTE, SECOND
from steadybead_domain.weld_details import WeldDetails
from steadybead_domain.welds import Weld, WeldEvent, WeldEventKind

QA = Actor("Quim", Role.QUALITY)
WELD = "w-4711-12"


@dataclass
class SealedShop:
    """Stores in a folder, and what an API over them stands on."""

    folder: Path
    clock: Clock
    readings: SqliteReadings
    records: Records
    services: Services
    app: FastAPI

    @property
    def weld(self) -> Weld:
        found = self.records.welds.get(WELD)
        assert found is not None
        return found

    def evidence(self) -> bytes:
        return evidence_file(self.services, self.folder, self.weld, QA)

    def keeper(self, drop: Path | None = None) -> RootKeeper:
        ways = () if drop is None else (FolderWay(drop),)
        return RootKeeper(self.readings, self.folder, "north", ways, self.clock)

    def token(self, role: Role = Role.QUALITY) -> dict[str, str]:
        actor = Actor(f"the {role}", role)
        by = Actor("test", Role.ADMINISTRATOR)
        secret = self.records.access.create_token(actor, by, self.clock(), "test")
        return {"Authorization": f"Bearer {secret}"}


def noisy(level: float, spread: float, minutes: int, seed: int) -> Columns:
    """Make readings at 5 Hz from five minutes before T0, in steps of 0.01."""
    n = minutes * 300
    value = np.round(level + np.random.default_rng(seed).normal(0.0, spread, n), 2)
    return Columns(
        T0 - 5 * MINUTE + np.arange(n, dtype=np.int64) * (SECOND // 5),
        value,
        value,
        np.zeros(n, np.uint8),
        np.zeros(n, np.uint8),
        np.ones(n, np.uint32),
    )


def cold_for(columns: Columns, from_s: int, to_s: int, value: float) -> Columns:
    """Put a cold stretch in."""
    values = columns.value.copy()
    values[(columns.time >= T0 + from_s * SECOND) & (columns.time < T0 + to_s * SECOND)] = value
    return replace(columns, value=values, raw=values)


def weld_events(stop: int | None = T0 + 20 * MINUTE) -> Iterator[WeldEvent]:
    """Tell the record's start and stop."""
    details = WeldDetails(seam_length_mm=5000.0, sheet="PP-H, 8 mm", rod="PP-H, round 3 mm")
    yield WeldEvent(
        WeldEventKind.START,
        WELD,
        BAY_1,
        "a",
        T0,
        "Ana",
        "test",
        "pp-speed-nozzle",
        1,
        "4711",
        "12",
        "Ana",
        details,
    )
    if stop is not None:
        yield WeldEvent(WeldEventKind.STOP, WELD, BAY_1, "a", stop, "Ana", "test")


@contextmanager
def sealed_shop(folder: Path, *, cold: bool = True, seal: bool = True) -> Iterator[SealedShop]:
    """Open a shop two days after its weld; with `cold`, 20 s of it were far too cold."""
    base = make_shop(folder, AccessPolicy())
    readings = SqliteReadings(folder, PLANT)
    heat = noisy(320.0, 1.0, 30, 1)
    columns = {
        NOZZLE: cold_for(heat, 300, 320, 250.0) if cold else heat,
        FLOW: noisy(54.0, 0.5, 30, 2),
        DROP: noisy(120.0, 2.0, 30, 3),
    }
    readings.append(Batch(T0, columns))
    for event in weld_events():
        base.records.welds.add(event)
    base.clock.advance(2 * DAY / SECOND)
    if seal:
        readings.seal(base.clock())
    services = replace(base.services, readings=readings, data_dir=folder)
    app = create_app(replace(services, registry=type(services.registry)()))
    try:
        yield SealedShop(folder, base.clock, readings, base.records, services, app)
    finally:
        readings.close()
        base.close()
