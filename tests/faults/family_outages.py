"""Something is away for long, or slow: broker, stores."""

import random
import signal
import time
from collections.abc import Callable
from pathlib import Path

from faults.family_kills import foreign_shop, influx_of, readings_shop, server_shop
from faults.judging import Opening, await_fresh, settled, sqlite_in
from faults.processes import Program, collecting, workshop
from faults.sending import Load
from faults.table import Row

Act = Callable[[], object]
PACKS_S = 40.0
STEADY_S = 20.0  # packs a second over long outages: 200 readings/s
MOST_WAITING = 60_000  # a station's own buffer while nobody answers


def minutes_of(times: int) -> float:
    """Give the length of an outage in seconds: `times` counts its minutes."""
    return times * 60.0


def _outage(row: Row, load: Load, opening: Opening, away: Act, back: Act, length_s: float) -> Row:
    time.sleep(3)
    away()
    time.sleep(length_s)
    since, first = time.monotonic(), load.sent
    back()
    row.recovery_s = [await_fresh(opening, load, first, since, 300.0)]
    time.sleep(3)
    load.finish(300.0)
    count = settled(opening, load, 300.0, exact=row.family != "broker-away")
    row.sent, row.missing, row.doubled = count.sent, count.missing, count.doubled
    return row


def broker_away(times: int, seed: int) -> list[Row]:
    """Stop the broker for so many minutes; the stations keep what they have."""
    del seed
    with workshop() as folder, foreign_shop(folder) as (broker, _):
        load = Load(broker.url, STEADY_S, most_waiting=MOST_WAITING)
        try:
            row = Row("broker-away", f"broker away {times} min", 1, 0, 0, 0)
            return [
                _outage(row, load, sqlite_in(folder), broker.stop, broker.start, minutes_of(times))
            ]
        finally:
            load.close()


def store_away(times: int, seed: int) -> list[Row]:
    """Stop the readings server for so many minutes; the spool keeps what comes."""
    del seed
    with workshop() as folder, readings_shop(folder) as (broker, _, engine, gate):
        load = Load(broker.url, STEADY_S, most_waiting=MOST_WAITING)
        try:
            row = Row("store-away", f"readings server away {times} min", 1, 0, 0, 0)
            length = minutes_of(times)
            return [_outage(row, load, influx_of(gate), engine.kill, engine.start, length)]
        finally:
            load.close()


def records_away(times: int, seed: int) -> list[Row]:
    """Stop the records server for so many minutes; messages wait in the broker."""
    del seed
    with workshop() as folder, server_shop(folder) as (broker, _, postgres, gate):
        load = Load(broker.url, STEADY_S, most_waiting=MOST_WAITING)
        try:
            row = Row("records-away", f"records server away {times} min", 1, 0, 0, 0)
            length = minutes_of(times)
            return [_outage(row, load, influx_of(gate), postgres.kill, postgres.start, length)]
        finally:
            load.close()


def slow_store(times: int, seed: int) -> list[Row]:
    """Let the readings server stand still for seconds, again and again."""
    draw = random.Random(seed)  # noqa: S311
    with workshop() as folder, readings_shop(folder) as (broker, _, engine, gate):
        load = Load(broker.url, PACKS_S)
        try:
            row = Row("slow-store", "readings server stands still, 1 to 15 s", times, 0, 0, 0)
            for _ in range(times):
                engine.tell(signal.SIGSTOP)
                time.sleep(draw.choice((1.0, 2.0, 4.0, 15.0)))
                since, first = time.monotonic(), load.sent
                engine.tell(signal.SIGCONT)
                row.recovery_s.append(await_fresh(influx_of(gate), load, first, since))
                time.sleep(draw.uniform(0.1, 1.0))
            return [counted(row, influx_of(gate), load)]
        finally:
            load.close()


def counted(row: Row, opening: Opening, load: Load, *, exact: bool = True) -> Row:
    """End the load, compare, and fill the row."""
    load.finish()
    count = settled(opening, load, exact=exact)
    row.sent, row.missing, row.doubled = count.sent, count.missing, count.doubled
    return row


def two_with_one_identity(times: int, seed: int) -> list[Row]:
    """Run a second collector with the same name at the broker beside the first, 3 to 6 s each."""
    draw = random.Random(seed)  # noqa: S311
    with workshop() as folder, server_shop(folder) as (broker, _, _, gate):
        twin = twin_of(folder)
        load = Load(broker.url, PACKS_S)
        try:
            row = Row("two-collectors", "two collectors with one identity", times, 0, 0, 0)
            row.note = "on the same servers"
            for _ in range(times):
                twin.launch()
                time.sleep(draw.uniform(3.0, 6.0))
                since, first = time.monotonic(), load.sent
                twin.kill()
                row.recovery_s.append(await_fresh(influx_of(gate), load, first, since))
            return [counted(row, influx_of(gate), load)]
        finally:
            twin.kill()
            load.close()


def twin_of(folder: Path) -> Program:
    """Make a collector that another machine runs by mistake: all it shares is the name."""
    data = folder / "twin"
    data.mkdir()
    name = "mqtt-client-id"
    (data / name).write_bytes((folder / "data" / name).read_bytes())
    return collecting(data, folder / "plant.toml", data)
