"""SIGKILL at random moments under load, of each process in turn."""

import contextlib
import os
import random
import signal
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from brokers_ingest import Mosquitto, free_port
from faults.judging import Opening, await_fresh, settled, sqlite_in
from faults.processes import (
    ON_CHANGES,
    Engine,
    Postgres,
    Program,
    collecting,
    engine_behind_shim,
    kept_mosquitto,
    kill_mosquitto,
    running,
    workshop,
)
from faults.sending import Load, plant_text
from faults.table import Row
from influx_server import Gate
from steadybead_collector.stores.influx.reader import InfluxReader

Act = Callable[[], None]
HASTY = 0.25  # so many of the kills fall while the program still starts


@dataclass(slots=True)
class Bed:
    """A running shop under load: `kill` and `start` are those of the victim."""

    load: Load
    opening: Opening
    kill: Act
    start: Act
    exact: bool = True


def strike(bed: Bed, times: int, draw: random.Random) -> list[float]:
    """Kill so many times at random moments; give the recovery times that were measured."""
    recovery: list[float] = []
    for number in range(times):
        time.sleep(draw.uniform(0.2, 1.2))
        since, first = time.monotonic(), bed.load.sent
        bed.kill()
        bed.start()
        if number + 1 < times and draw.random() < HASTY:
            continue
        recovery.append(await_fresh(bed.opening, bed.load, first, since))
    return recovery


def judged(bed: Bed, row: Row, times: int, seed: int) -> Row:
    """Strike, then compare everything."""
    row.recovery_s = strike(bed, times, random.Random(seed))  # noqa: S311
    bed.load.finish()
    count = settled(bed.opening, bed.load, exact=bed.exact)
    row.sent, row.missing, row.doubled = count.sent, count.missing, count.doubled
    return row


def written(folder: Path, text: str) -> Path:
    plant = folder / "plant.toml"
    plant.write_text(text, "utf-8")
    return plant


@contextlib.contextmanager
def foreign_shop(folder: Path, extra: str = "") -> Iterator[tuple[Mosquitto, Program]]:
    """Run a Mosquitto and, beside it, the collector with the embedded store."""
    with ExitStack() as stack:
        broker = stack.enter_context(kept_mosquitto(folder, extra))
        program = collecting(folder, written(folder, plant_text(f'url = "{broker.url}"')), folder)
        stack.callback(program.kill)
        program.start()
        yield broker, program


def kill_collector(times: int, seed: int) -> list[Row]:
    """SIGKILL of the collector; Mosquitto keeps what it acknowledged."""
    with workshop() as folder, foreign_shop(folder) as (broker, program), ExitStack() as stack:
        load = Load(broker.url)
        stack.callback(load.close)
        bed = Bed(load, sqlite_in(folder), program.kill, program.launch)
        row = Row("kill-collector", "SIGKILL collector", times, 0, 0, 0, note="foreign Mosquitto")
        return [judged(bed, row, times, seed)]


@contextlib.contextmanager
def whole_shop(folder: Path, data: Path | None = None) -> Iterator[tuple[str, Program, Path]]:
    """Run broker, collector, stores and API in one `run`; give the broker's url, too."""
    data = data or folder / "data"
    listen = f"127.0.0.1:{free_port()}"
    plant = written(folder, plant_text(f'listen = "{listen}"'))
    program = running(folder, plant, data)
    try:
        program.start()
        yield f"mqtt://{listen}", program, data
    finally:
        program.kill()


def broker_pid(data: Path) -> int:
    return int((data / "broker" / "broker.pid").read_text())


def kill_broker(times: int, seed: int) -> list[Row]:
    """SIGKILL of the embedded broker alone; its owner starts it again."""

    def kill() -> None:
        with contextlib.suppress(ProcessLookupError, OSError, ValueError):
            os.kill(broker_pid(data), signal.SIGKILL)

    with workshop() as folder, whole_shop(folder) as (url, _, data), ExitStack() as stack:
        load = Load(url)
        stack.callback(load.close)
        bed = Bed(load, sqlite_in(data), kill, lambda: None, exact=False)
        row = Row("kill-broker", "SIGKILL embedded broker", times, 0, 0, 0)
        return [judged(bed, row, times, seed)]


def kill_all(times: int, seed: int) -> list[Row]:
    """SIGKILL of the whole process in embedded mode, its broker at the same moment."""
    draw = random.Random(seed + 1)  # noqa: S311

    def kill() -> None:
        acts: list[Act] = [program.kill]
        with contextlib.suppress(OSError, ValueError):
            pid = broker_pid(data)
            acts.insert(draw.randrange(2), lambda: os.kill(pid, signal.SIGKILL))
        for act in acts:
            with contextlib.suppress(ProcessLookupError):
                act()

    with workshop() as folder, whole_shop(folder) as (url, program, data), ExitStack() as stack:
        load = Load(url)
        stack.callback(load.close)
        bed = Bed(load, sqlite_in(data), kill, program.launch, exact=False)
        row = Row("kill-all", "SIGKILL whole process", times, 0, 0, 0, note="`run`, embedded")
        return [judged(bed, row, times, seed)]


@contextlib.contextmanager
def readings_shop(
    folder: Path, records: str = "sqlite"
) -> Iterator[tuple[Mosquitto, Program, Engine, Gate]]:
    """Run a Mosquitto, a readings server and the collector."""
    with ExitStack() as stack:
        engine, gate = stack.enter_context(engine_behind_shim(folder))
        broker = stack.enter_context(kept_mosquitto(folder))
        text = plant_text(f'url = "{broker.url}"', readings=gate.store_url(), records=records)
        program = collecting(folder, written(folder, text), folder / "data")
        stack.callback(program.kill)
        program.start()
        yield broker, program, engine, gate


@contextlib.contextmanager
def server_shop(folder: Path) -> Iterator[tuple[Mosquitto, Program, Postgres, Gate]]:
    """Run a Mosquitto, a readings server, a records server and the collector."""
    with ExitStack() as stack:
        postgres = Postgres()
        stack.callback(postgres.close)
        postgres.start()
        shop = readings_shop(folder, postgres.url)
        broker, program, _, gate = stack.enter_context(shop)
        yield broker, program, postgres, gate


def influx_of(gate: Gate) -> Opening:
    return lambda: InfluxReader(gate.address())


def kill_influx(times: int, seed: int) -> list[Row]:
    """SIGKILL of the readings server; the collector's spool bridges it."""
    with workshop() as folder, readings_shop(folder) as (broker, _, engine, gate):
        load = Load(broker.url)
        try:
            bed = Bed(load, influx_of(gate), engine.kill, engine.start)
            note = "InfluxDB 1.6.7 engine behind a path shim"
            row = Row("kill-influx", "SIGKILL readings server", times, 0, 0, 0, note=note)
            return [judged(bed, row, times, seed)]
        finally:
            load.close()


def kill_postgres(times: int, seed: int) -> list[Row]:
    """SIGKILL of the records server and its children; receipts wait for it."""
    with workshop() as folder, server_shop(folder) as (broker, _, postgres, gate):
        load = Load(broker.url)
        try:
            bed = Bed(load, influx_of(gate), postgres.kill, postgres.start)
            row = Row("kill-postgres", "SIGKILL records server", times, 0, 0, 0, note="PostgreSQL")
            return [judged(bed, row, times, seed)]
        finally:
            load.close()


def kill_servers_collector(times: int, seed: int) -> list[Row]:
    """SIGKILL of a collector that writes to servers."""
    with workshop() as folder, server_shop(folder) as (broker, program, _, gate):
        load = Load(broker.url)
        try:
            bed = Bed(load, influx_of(gate), program.kill, program.launch)
            note = "on InfluxDB and PostgreSQL"
            row = Row("kill-server-collector", "SIGKILL collector", times, 0, 0, 0, note=note)
            return [judged(bed, row, times, seed)]
        finally:
            load.close()


def kill_foreign(times: int, seed: int) -> list[Row]:
    """SIGKILL of a foreign Mosquitto, with its defaults and with the setting that keeps all."""
    rows = []
    for extra, note in (
        ("", "`persistence true` alone"),
        (ON_CHANGES, "with `autosave_on_changes true`, `autosave_interval 1`"),
    ):
        with workshop() as folder, foreign_shop(folder, extra) as (broker, _):
            load = Load(broker.url, 20.0)
            try:

                def kill(broker: Mosquitto = broker) -> None:
                    kill_mosquitto(broker)

                bed = Bed(load, sqlite_in(folder), kill, broker.start, exact=False)
                row = Row("kill-foreign", "SIGKILL Mosquitto", times, 0, 0, 0, note=note)
                row.ours = False
                rows.append(judged(bed, row, times, seed))
            finally:
                load.close()
    return rows
