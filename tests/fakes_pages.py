"""A small invented shop: the real API and pages over real stores, fed without broker or gun."""

import json
import math
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import uvicorn
from prometheus_client import CollectorRegistry

from steadybead_api.app import create_app
from steadybead_api.live_board import LiveBoard
from steadybead_api.services import AccessPolicy, Services
from steadybead_collector.records.store import Records, open_records
from steadybead_collector.stores import MemoryReadings
from steadybead_collector.watch.publisher import live_payload
from steadybead_domain.alarms.codec import alarm_to_json
from steadybead_domain.alarms.model import AlarmFact, AlarmState, Priority
from steadybead_domain.alarms.state import alarm_state
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.live import Fitness, GunState, LiveGun, LiveStation, LiveValue
from steadybead_domain.people import Actor, Role
from steadybead_domain.plant import AirSource, Channel, FlowMeter, Plant, Station
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Batch, Columns, Quality, Reason
from steadybead_domain.times import MINUTE, SECOND
from steadybead_domain.welds import WeldEvent, WeldEventKind

PROCEDURE = "pp-speed-nozzle"
LIMITS = {Quantity.NOZZLE_TEMPERATURE: (300.0, 340.0), Quantity.AIR_FLOW: (45.0, 55.0)}
NAMES = {"nozzle": Quantity.NOZZLE_TEMPERATURE, "flow": Quantity.AIR_FLOW}
PERIOD = SECOND // 5
TICK_S = 0.25
ANA = Actor("Ana Reis", Role.ADMINISTRATOR)
READER = Actor("reader at bay 1", Role.WELDER)


def station(name: str, title: str, guns: str) -> Station:
    """Build a station with nozzle temperature and flow a gun, and a filter pressure drop."""
    channels = [
        Channel(
            ChannelId("north", name, f"gun-{gun}/{what}"),
            quantity,
            quantity.facts.unit,
            flow=FlowMeter() if what == "flow" else None,
        )
        for gun in guns
        for what, quantity in NAMES.items()
    ]
    filter_drop = ChannelId("north", name, "blower/filter-drop")
    channels.append(Channel(filter_drop, Quantity.FILTER_PRESSURE_DROP, "Pa"))
    air = AirSource(intake_filter_limit_pa=250.0)
    return Station(StationId("north", name), tuple(channels), title, PROCEDURE, air)


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


@dataclass
class Gun:
    """What a gun does: state, nozzle temperature in °C, flow in L/min."""

    state: GunState
    temperature: float
    flow: float


def start_guns() -> dict[tuple[str, str], Gun]:
    """Give the guns as they stand when the pages are opened; the yard is silent."""
    return {
        ("bay-1", "a"): Gun(GunState.READY, 322.0, 49.8),
        ("bay-1", "b"): Gun(GunState.READY, 318.0, 50.6),
        ("bay-2", "a"): Gun(GunState.HOT, 347.0, 38.4),
        ("duct-hall", "a"): Gun(GunState.WARMING, 214.0, 50.1),
        ("bay-4", "a"): Gun(GunState.COOLING, 141.0, 52.0),
    }


def start_fitness() -> dict[str, tuple[Fitness, tuple[str, ...]]]:
    """Give the fitness of the stations as they stand when the pages are opened."""
    low = "air flow of gun a below its window, output 100 %"
    return {
        "bay-1": (Fitness.FIT, ()),
        "bay-2": (Fitness.NOT_FIT, (low,)),
        "duct-hall": (Fitness.NOT_FIT, ("gun a is warming",)),
        "bay-4": (Fitness.FIT, ()),
    }


def now_us() -> int:
    """Tell the time."""
    return time.time_ns() // 1000


@dataclass
class Shop:
    """The collector's part, played by hand: tests change it while pages look on."""

    records: Records
    readings: MemoryReadings
    board: LiveBoard
    sending: bool = True
    hides_records: bool = False
    guns: dict[tuple[str, str], Gun] = field(default_factory=start_guns)
    fitness: dict[str, tuple[Fitness, tuple[str, ...]]] = field(default_factory=start_fitness)
    since: int = field(default_factory=now_us)
    filled_to: int = 0
    published: set[str] = field(default_factory=set)
    unheard: frozenset[ChannelId] = frozenset()

    def step(self) -> None:
        """Measure up to now, and publish as the collector does."""
        if not self.sending:
            return
        now = now_us()
        self.fill(now)
        for name in self.fitness:
            self.board.take(
                f"north/{name}/live", live_payload(self.live(name, now)), retained=False
            )
        self._publish_alarms(now)

    def live(self, name: str, now: int) -> LiveStation:
        """Say what one station is doing."""
        guns = [gun for (place, gun) in self.guns if place == name]
        fitness, reasons = self.fitness[name]
        station_id = StationId("north", name)
        return LiveStation(
            station_id,
            now,
            fitness,
            reasons,
            tuple(self._live_gun(station_id, gun) for gun in guns),
            tuple(v for gun in guns for v in self._values(name, gun, now)),
        )

    def fill(self, now: int) -> None:
        """Append readings at 5 Hz up to now."""
        start = self.filled_to or now - 30 * MINUTE
        times = np.arange(start - start % PERIOD, now, PERIOD, dtype=np.int64)
        times = times[times >= start]
        self.filled_to = now
        if len(times) == 0:
            return
        columns = {}
        for (place, letter), gun in self.guns.items():
            for what, level in (("nozzle", gun.temperature), ("flow", gun.flow)):
                channel = ChannelId("north", place, f"gun-{letter}/{what}")
                if channel in self.unheard:
                    continue
                size = 6.0 if what == "nozzle" else 1.2
                columns[channel] = measured(times, level, size, self.since - 5 * MINUTE)
        self.readings.append(Batch(now, columns))

    def raise_alarm(self, name: str, place: str, what: str, priority: Priority) -> None:
        """Raise an alarm of gun a now."""
        self.records.alarms.add_facts([fact(name, place, what, priority, now_us(), active=True)])

    def end_alarm(self, name: str) -> None:
        """Let the condition of an alarm end now."""
        occurrence = self.records.alarms.get(name)
        assert occurrence is not None
        raised = occurrence.facts[0]
        self.records.alarms.add_facts([replace(raised, time=now_us(), active=False)])

    def add_weld(self, name: str, start: int, stop: int | None) -> None:
        """Keep a record of gun a of bay 1, told by a reader at the bay."""
        place = StationId("north", "bay-1")
        began = WeldEvent(
            WeldEventKind.START, name, place, "a", start, READER.name, "mqtt", PROCEDURE, 1
        )
        self.records.add_weld_event(replace(began, job="T-2281", seam="S14", welder="M. Duarte"))
        if stop is not None:
            self.records.add_weld_event(replace(began, kind=WeldEventKind.STOP, time=stop))

    def _live_gun(self, place: StationId, letter: str) -> LiveGun:
        weld = None if self.hides_records else self.records.welds.open_on(place, letter)
        state = self.guns[place.station, letter].state
        if weld is not None and state is GunState.READY:
            state = GunState.WELDING
        return LiveGun(letter, state, self.since, None if weld is None else weld.id, PROCEDURE)

    def _values(self, name: str, letter: str, now: int) -> list[LiveValue]:
        gun = self.guns[name, letter]
        wave = math.sin(now / SECOND / 3)
        levels = {"nozzle": gun.temperature + 1.5 * wave, "flow": gun.flow + 0.4 * wave}
        return [
            LiveValue(
                f"gun-{letter}/{what}",
                NAMES[what].value,
                now,
                round(value, 2),
                NAMES[what].facts.unit,
                "good",
                "",
                *LIMITS[NAMES[what]],
            )
            for what, value in levels.items()
            if ChannelId("north", name, f"gun-{letter}/{what}") not in self.unheard
        ]

    def _publish_alarms(self, now: int) -> None:
        page = self.records.alarms.page(100)
        derived = [alarm_state(o.facts, o.acts, now) for o in page.items]
        shown = {a.raised.alarm: a for a in derived if a.state is not AlarmState.NORMAL}
        for name in self.published - shown.keys():
            self.board.take(f"north/bay-2/alarm/{name}", b"", retained=False)
        for name, alarm in shown.items():
            payload = json_bytes(alarm_to_json(alarm))
            topic = f"{alarm.raised.station}/alarm/{name}"
            self.board.take(topic, payload, retained=False)
        self.published = set(shown)


def json_bytes(data: dict[str, object]) -> bytes:
    """Write JSON."""
    return json.dumps(data).encode()


def measured(times: np.ndarray, level: float, size: float, flaws_to: int) -> Columns:
    """Make readings with, in every five minutes, a gap of 20 s, 10 s uncertain and 5 s bad.

    From `flaws_to` on all are good: what a page says of now depends on no phase of the clock.
    """
    phase = np.where(times < flaws_to, times // SECOND % 300, 0)
    kept = (phase < 100) | (phase >= 120)
    times, phase = times[kept], phase[kept]
    value = np.round(level + size * np.sin(times / SECOND / 17), 2)
    uncertain = (phase >= 200) & (phase < 210)
    bad = (phase >= 250) & (phase < 255)
    quality = np.where(bad, Quality.BAD, np.where(uncertain, Quality.UNCERTAIN, Quality.GOOD))
    reasons = np.where(uncertain, Reason.TIME_OF_RECEIPT, Reason.NONE)
    reason = np.where(bad, Reason.OPEN_CIRCUIT, reasons)
    return Columns(
        times,
        np.where(bad, 0.0, value),
        value,
        quality.astype(np.uint8),
        reason.astype(np.uint8),
        np.ones(len(times), np.uint32),
    )


def fact(
    name: str, place: str, what: str, priority: Priority, time_us: int, *, active: bool
) -> AlarmFact:
    """Build a fact of gun a."""
    return AlarmFact(
        name,
        f"{place}/a/{what}",
        "flow_low",
        StationId("north", place),
        "a",
        ChannelId("north", place, "gun-a/flow"),
        time_us,
        active,
        priority,
        latching=False,
        what=what,
        value=38.4,
        limit=45.0,
        unit="L/min",
        cause="air-path restriction",
        to_do="stop welding; look at hose, nozzle and filter",
        for_whom="welder",
    )


class ShopServer:
    """Serves the shop on one loopback port, and can be stopped and started again."""

    def __init__(self, shop: Shop, services: Services) -> None:
        self.shop = shop
        self.services = services
        self.token = services.records.access.create_token(ANA, ANA, now_us(), "test")
        self.port = 0
        self._server: uvicorn.Server | None = None
        self._thread: threading.Thread | None = None

    @property
    def url(self) -> str:
        """Give the address of the first page."""
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Serve; the port stays the same over a restart."""
        taken = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        taken.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        taken.bind(("127.0.0.1", self.port))
        self.port = taken.getsockname()[1]
        fresh = replace(self.services, registry=CollectorRegistry(), stopping=threading.Event())
        self.services = fresh
        config = uvicorn.Config(
            create_app(fresh), log_level="warning", timeout_graceful_shutdown=1, lifespan="on"
        )
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(
            target=self._server.run, kwargs={"sockets": [taken]}, daemon=True
        )
        self._thread.start()
        pause = threading.Event()
        while not self._server.started:
            assert self._thread.is_alive()
            pause.wait(0.02)

    def stop(self) -> None:
        """End; idempotent."""
        if self._server is None or self._thread is None:
            return
        self.services.stopping.set()
        self._server.should_exit = True
        self._thread.join(10)
        assert not self._thread.is_alive()
        self._server = None


@contextmanager
def open_shop_server(
    folder: Path,
    *,
    read: bool = True,
    demo: bool = True,
    plant: Plant = PLANT,
    unheard: frozenset[ChannelId] = frozenset(),
) -> Iterator[ShopServer]:
    """Open the shop in a folder and serve it; `demo` signs the browser in by itself.

    `unheard`: channels of guns that never send.
    """
    records = open_records("sqlite", folder)
    board = LiveBoard(lambda: plant, now_us)
    shop = Shop(records, MemoryReadings(), board, unheard=unheard)
    policy = AccessPolicy(read="open" if read else "login", demo=demo)
    services = Services(shop.readings, records, lambda: plant, board, policy, now_us)
    board.connected(now_us())
    now = now_us()
    stop = now - 10 * MINUTE
    shop.add_weld("w-1001", stop - 12 * MINUTE, stop)
    flow_low = "air flow below its window"
    shop.records.alarms.add_facts(
        [fact("alarm-1", "bay-2", flow_low, Priority.HIGH, now - 2 * MINUTE, active=True)]
    )
    server = ShopServer(shop, services)
    ended = threading.Event()
    collector = threading.Thread(target=_run, args=(shop, ended), daemon=True)
    try:
        shop.step()  # heard before the first page is asked for
        server.start()
        collector.start()
        yield server
    finally:
        ended.set()
        collector.join(10)
        server.stop()
        records.close()


def _run(shop: Shop, ended: threading.Event) -> None:
    while not ended.wait(TICK_S):
        shop.step()
