"""One running product: which rooms are open, in which order they open and close."""

import contextlib
import dataclasses
import threading
from collections.abc import Iterator, Sequence
from pathlib import Path

from prometheus_client import CollectorRegistry

from steadybead_api.collector_metrics import CollectorMetrics, QuarantineMetrics
from steadybead_api.conditions import collector_conditions, collector_elsewhere, disk_condition
from steadybead_api.health_server import HealthServer
from steadybead_api.live_feed import LiveFeed
from steadybead_api.notice_metrics import NoticeMetrics
from steadybead_api.plant_stores import open_plant_readings, open_plant_records, weld_spans
from steadybead_api.services import AccessPolicy, Condition, Services
from steadybead_api.verdict_keeper import VerdictKeeper
from steadybead_collector.claiming import Claiming
from steadybead_collector.clock import wall_clock
from steadybead_collector.collector import Collector
from steadybead_collector.config import MqttSettings, PlantFile
from steadybead_collector.evidence.keeper import RootKeeper, Sealing
from steadybead_collector.evidence.ways import ways_of
from steadybead_collector.locking import lock_folder
from steadybead_collector.mqtt.broker import EmbeddedBroker
from steadybead_collector.notify.notifier import Notifier, ReceiverStatus
from steadybead_collector.notify.opening import notifier_of
from steadybead_collector.pipeline import unheard
from steadybead_collector.records.store import Records
from steadybead_collector.retention import Retention
from steadybead_domain.errors import PlainError
from steadybead_domain.plant import Plant
from steadybead_domain.ports import ReadingsStore, Span

STOP_WITHIN_S = 3.0
READY_WITHIN_S = 5.0
STOP_NOTIFIER_WITHIN_S = 0.7


def broker_settings(
    plant_file: PlantFile, data_dir: Path, stack: contextlib.ExitStack, *, start: bool
) -> MqttSettings:
    """Give the settings with a url: the plant file's, or that of the embedded broker.

    With `start` the embedded broker is started and closed with the stack; without it, another
    process of this data folder has it.
    """
    settings = plant_file.mqtt
    if settings.url is not None:
        return settings
    note = data_dir / "broker" / "url"
    if not start:
        url = note.read_text("utf-8") if note.is_file() else f"mqtt://{settings.listen}"
        return dataclasses.replace(settings, url=url)
    broker = EmbeddedBroker(data_dir, settings.listen)
    url = broker.start()
    stack.callback(broker.stop)
    note.write_text(url, "utf-8")
    return dataclasses.replace(settings, url=url)


@contextlib.contextmanager
def open_shop(
    plant_file: PlantFile, data_dir: Path, *, collect: bool, serve: bool, demo: bool = False
) -> Iterator[tuple[MqttSettings, Services | None]]:
    """Open what `collect` and `serve` ask for; close all of it in reverse order.

    Gives the broker's settings and, with `serve`, what the API stands on. Raises PlainError.
    """
    data_dir.mkdir(parents=True, exist_ok=True, mode=0o700)
    with contextlib.ExitStack() as stack:
        if collect:
            stack.enter_context(lock_folder(data_dir))
        mqtt = broker_settings(plant_file, data_dir, stack, start=collect)
        records = open_plant_records(plant_file, data_dir)
        stack.callback(records.close)
        notifier = notifier_of(plant_file, records.notices, data_dir) if collect else None
        collector = None
        if collect:
            collector = _open_collector(plant_file, mqtt, data_dir, records, notifier, stack)
            _start_notifier(notifier, stack)
            if not serve:
                _tell_health(plant_file, data_dir, _Rooms(records, collector, notifier), stack)
        services = None
        if serve:
            rooms = _Rooms(records, collector, notifier)
            services = _open_services(plant_file, mqtt, data_dir, rooms, stack, demo=demo)
        yield mqtt, services


@dataclasses.dataclass(frozen=True, slots=True)
class _Rooms:
    """What is open already when the API is put together."""

    records: Records
    collector: Collector | None
    notifier: Notifier | None

    def receivers(self) -> Sequence[ReceiverStatus]:
        """Tell how the receivers of notices fare."""
        return () if self.notifier is None else self.notifier.status()


def _start_notifier(notifier: Notifier | None, stack: contextlib.ExitStack) -> None:
    """Begin to tell people, once it is sure that no other collector has these stations."""
    if notifier is not None:
        stack.callback(notifier.stop, STOP_NOTIFIER_WITHIN_S)
        notifier.start()


def _open_collector(
    plant_file: PlantFile,
    mqtt: MqttSettings,
    data_dir: Path,
    records: Records,
    notifier: Notifier | None,
    stack: contextlib.ExitStack,
) -> Collector:
    readings = open_plant_readings(plant_file, data_dir, records)
    stack.callback(readings.close)
    _keep_house(plant_file, readings, records, stack)
    if plant_file.store.records != "sqlite":  # a folder's lock does it for a single machine
        stations = [station.id for station in plant_file.plant.stations]
        claiming = Claiming(records.claims, stations, data_dir, wall_clock)
        stack.callback(claiming.stop, STOP_WITHIN_S)
        claiming.start()
    hear = unheard if notifier is None else notifier.hear
    collector = Collector(plant_file, readings, records, mqtt.url or "", data_dir, hear=hear)
    stack.callback(collector.stop, STOP_WITHIN_S)
    collector.start()
    _keep_roots(plant_file, readings, data_dir, records, stack)
    # What is published before the first subscription ever is lost: no sender may start earlier.
    collector.wait_ready(READY_WITHIN_S)
    return collector


def _keep_roots(
    plant_file: PlantFile,
    readings: ReadingsStore,
    data_dir: Path,
    records: Records,
    stack: contextlib.ExitStack,
) -> None:
    """Make each day's root over the sealed readings, where the store seals them."""
    if isinstance(readings, Sealing):
        ways = ways_of(plant_file, data_dir)
        site, trail = plant_file.plant.site, records.audit
        keeper = RootKeeper(readings, data_dir, site, ways, wall_clock, trail)
        stack.callback(keeper.stop, STOP_WITHIN_S)
        keeper.start()


def _keep_house(
    plant_file: PlantFile,
    readings: ReadingsStore,
    records: Records,
    stack: contextlib.ExitStack,
) -> None:
    """Forget old refusals from time to time, and readings if the plant file says so."""
    days, refusal_days = plant_file.store.keep_days, plant_file.operations.quarantine_days

    def spans(now: int) -> Iterator[Span]:
        return weld_spans(records, now)

    retention = Retention(readings, spans, days, wall_clock, records.refusals, refusal_days)
    stack.callback(retention.stop, STOP_WITHIN_S)
    retention.start()


def _open_services(
    plant_file: PlantFile,
    mqtt: MqttSettings,
    data_dir: Path,
    rooms: _Rooms,
    stack: contextlib.ExitStack,
    *,
    demo: bool,
) -> Services:
    collector = rooms.collector
    readings = open_plant_readings(plant_file, data_dir, None, read_only=True)
    stack.callback(readings.close)

    def plant() -> Plant:
        return plant_file.plant if collector is None else collector.plant

    feed = LiveFeed(mqtt, plant, wall_clock)
    stack.callback(feed.close)
    feed.start()
    read = "open" if demo or plant_file.access.read == "open" else "login"
    registry = _registry(rooms)
    services = Services(
        readings=readings,
        records=rooms.records,
        plant=plant,
        live=feed,
        access=AccessPolicy(read="open" if read == "open" else "login", demo=demo),
        clock=wall_clock,
        status=lambda: _conditions(rooms, plant_file, data_dir),
        stopping=threading.Event(),
        registry=registry,
        targets=plant_file.notify,
        rule=plant_file.rule,
        data_dir=data_dir,
    )
    verdicts = VerdictKeeper(services)
    stack.callback(verdicts.close)
    verdicts.start()
    return services


def _registry(rooms: _Rooms) -> CollectorRegistry:
    """Make the metrics of what runs in this process."""
    registry = CollectorRegistry()
    if rooms.collector is not None:
        registry.register(CollectorMetrics(rooms.collector.status))
        registry.register(QuarantineMetrics(rooms.records.refusals))
    if rooms.notifier is not None:
        registry.register(NoticeMetrics(rooms.notifier.status))
    return registry


def _tell_health(
    plant_file: PlantFile, data_dir: Path, rooms: _Rooms, stack: contextlib.ExitStack
) -> None:
    """Answer probes of a collector without pages, where the plant file names a port for it."""
    place = plant_file.operations.health
    if place is not None:
        server = HealthServer(
            place, lambda: _conditions(rooms, plant_file, data_dir), _registry(rooms)
        )
        stack.callback(server.stop)
        server.start()


def _conditions(rooms: _Rooms, plant_file: PlantFile, data_dir: Path) -> Sequence[Condition]:
    disk = disk_condition(data_dir, plant_file.operations.disk_low_mb)
    if rooms.collector is None:
        return (*collector_elsewhere(data_dir, rooms.records, wall_clock()), disk)
    receivers = None if rooms.notifier is None else rooms.receivers()
    return (*collector_conditions(rooms.collector.status(), receivers), disk)


def folder_beside(config: Path, data: Path | None) -> Path:
    """Give the data folder: the one named, or one beside the plant file."""
    if data is not None and data.exists() and not data.is_dir():
        raise PlainError(f"{data}: is a file; --data names a folder")
    return data if data is not None else config.absolute().parent / "steadybead-data"
