"""What devices do: repeat, come late, replay their buffer, share a name, start counting anew."""

import random
import time
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import orjson
import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from brokers_ingest import Publisher, until
from faults.family_kills import foreign_shop, written
from faults.judging import in_quarantine, opened, rows_of, sqlite_in
from faults.processes import collecting, kept_mosquitto, workshop
from faults.sending import ROOT, SITE, channel, plant_text
from faults.table import Row
from steadybead_domain.readings import Columns, Quality

HOUR_US = 3_600_000_000
DAY_US = 24 * HOUR_US
RECORDS = 50
COUNTER = """unit = "count"
conversion = { kind = "pulse", litres_per_pulse = 0.01 }
"""


@dataclass(slots=True)
class Sent:
    """What a device sent: (name, time in µs): value, by the number of the pack."""

    packs: list[dict[tuple[str, int], float]] = field(default_factory=list)

    def payload(self, number: int) -> bytes:
        return orjson.dumps(
            [{"n": name, "t": t / 1e6, "v": v} for (name, t), v in self.packs[number].items()]
        )


def series(packs: int, start_us: int, step_us: int, name: str = "gun-a/nozzle") -> Sent:
    """Make packs of RECORDS readings, one after the other."""
    moments = (start_us + i * step_us for i in range(packs * RECORDS))
    values = ((name, t) for t in moments)
    rows = [(key, 200 + i % 3201 / 32) for i, key in enumerate(values)]
    return Sent([dict(rows[i : i + RECORDS]) for i in range(0, len(rows), RECORDS)])


def tell(client: Publisher, sent: Sent, order: list[int], station: int = 1) -> None:
    """Send packs in the order given."""
    topic = f"{ROOT}/{SITE}/bay-{station}/senml"
    for number in order:
        client.send(topic, sent.payload(number), number=number)
        if client.waiting > 150:
            until(lambda: client.waiting < 100, 60)
    client.flush(60)


def compare(folder: Path, sent: list[Sent], row: Row, station: int = 1, wait_s: float = 60) -> None:
    """Compare: each reading once, with the value sent first or with another's in quarantine."""
    must: dict[tuple[str, int], set[float]] = {}
    for one in sent:
        for pack in one.packs:
            for key, value in pack.items():
                must.setdefault(key, set()).add(value)
    names = {name for name, _ in must}
    moments_sent = [moment for _, moment in must]
    span = (min(moments_sent) - HOUR_US, max(moments_sent) + HOUR_US)  # each try has its own
    end = time.monotonic() + wait_s
    while True:
        found: list[tuple[tuple[str, int], float]] = []
        with opened(sqlite_in(folder)) as store:
            for name in names:
                rows = Columns.concat(store.read(channel(station, name), *span))
                moments = [(name, t) for t in rows.time.tolist()]
                found += zip(moments, rows.raw.tolist(), strict=True)
        there = {key for key, _ in found}
        if must.keys() <= there or time.monotonic() > end:
            break
        time.sleep(0.2)
    row.sent += sum(len(pack) for one in sent for pack in one.packs)
    row.missing += len(must.keys() - there)
    row.doubled += len(found) - len(there) + sum(v not in must.get(k, ()) for k, v in found)


def devices(times: int, seed: int) -> list[Row]:
    """Try each habit so many times, each with a span of time of its own."""
    draw = random.Random(seed)  # noqa: S311
    base = time.time_ns() // 1_000_000 * 1000 - 300 * DAY_US
    rows = []
    for habit in (_duplicates, _out_of_order, _replay, _one_name, _one_place):
        with workshop() as folder, foreign_shop(folder) as (broker, _), ExitStack() as stack:
            client = Publisher(broker.url)
            stack.callback(client.close)
            title = (habit.__doc__ or "").rstrip(".").strip()
            row = Row("devices", title[0].lower() + title[1:], times, 0, 0, 0)
            for number in range(times):
                habit(folder, client, base + number * 3 * DAY_US, draw, row)
            rows.append(row)
    return [*rows, counter_restarts(times, seed)]


def _duplicates(folder: Path, client: Publisher, base: int, draw: random.Random, row: Row) -> None:
    """A device sends everything two or three times."""
    sent = series(40, base, 200_000)
    order = [n for n in range(40) for _ in range(draw.choice((2, 3)))]
    tell(client, sent, order)
    compare(folder, [sent], row)


def _out_of_order(
    folder: Path, client: Publisher, base: int, draw: random.Random, row: Row
) -> None:
    """Readings come out of order by up to six hours."""
    sent = series(60, base, 7_200_000)
    order = list(range(60))
    draw.shuffle(order)
    tell(client, sent, order)
    compare(folder, [sent], row)


def _replay(folder: Path, client: Publisher, base: int, draw: random.Random, row: Row) -> None:
    """A gateway replays its buffer after a day, half of it known."""
    first = series(60, base, 1_000_000)
    known = sorted(draw.sample(range(60), 30))
    tell(client, first, known)
    tell(client, series(30, base + DAY_US, 1_000_000), list(range(30)))
    tell(client, first, list(range(60)))
    compare(folder, [first, series(30, base + DAY_US, 1_000_000)], row)


def _one_name(folder: Path, client: Publisher, base: int, draw: random.Random, row: Row) -> None:
    """Two devices share one name at the broker and throw each other out."""
    url = f"mqtt://{client._client.host}:{client._client.port}"
    halves = [series(20, base, 500_000), series(20, base + 250_000, 500_000)]
    twins = [Twin(url) for _ in halves]
    for number in range(20):
        for twin, half in zip(twins, halves, strict=True):
            twin.send(f"{ROOT}/{SITE}/bay-1/senml", half.payload(number))
        time.sleep(draw.uniform(0.0, 0.05))
    for twin in twins:
        twin.close()
    compare(folder, halves, row)


def _one_place(folder: Path, client: Publisher, base: int, draw: random.Random, row: Row) -> None:
    """Two devices with one name send other values for the same times."""
    one = series(20, base, 500_000)
    other = Sent([{key: value + 0.5 for key, value in pack.items()} for pack in one.packs])
    for number in range(20):
        for sent in draw.sample((one, other), 2):
            tell(client, sent, [number])
    compare(folder, [one, other], row)
    until(lambda: _conflicts(folder, one) == 20 * RECORDS, 30)


def _conflicts(folder: Path, one: Sent) -> int:
    keys = {key for pack in one.packs for key in pack}
    return len(in_quarantine(folder) & keys)


class Twin:
    """A device that takes the name of another one, and sends again until it has an answer."""

    def __init__(self, url: str) -> None:
        host, port = url.removeprefix("mqtt://").rsplit(":", 1)
        self._client = paho.Client(
            CallbackAPIVersion.VERSION2, client_id="bay-1", clean_session=False
        )
        self._client.reconnect_delay_set(0.05, 0.2)  # type: ignore[arg-type]
        self._client.connect(host, int(port))
        self._client.loop_start()
        self._sent, self._answered = 0, 0
        self._client.on_publish = self._count

    def _count(self, *_: object) -> None:
        self._answered += 1

    def send(self, topic: str, payload: bytes) -> None:
        self._client.publish(topic, payload, qos=1)
        self._sent += 1

    def close(self) -> None:
        until(lambda: self._answered >= self._sent, 120)
        self._client.disconnect()
        self._client.loop_stop()


def counter_restarts(times: int, seed: int) -> Row:
    """Let a pulse counter start at 0 again, unannounced.

    Every count must be kept as it came. A flow is told for each but the first count and the first
    after each restart; those are bad, and none is absurd.
    """
    draw = random.Random(seed)  # noqa: S311
    row = Row("devices", "a counter starts anew without a word", times, 0, 0, 0)
    base = time.time_ns() // 1_000_000 * 1000 - DAY_US
    with workshop() as folder, kept_mosquitto(folder) as broker, ExitStack() as stack:
        text = plant_text(f'url = "{broker.url}"', 1).replace('unit = "L/min"\n', COUNTER)
        program = collecting(folder, written(folder, text), folder)
        stack.callback(program.kill)
        program.start()
        client = Publisher(broker.url)
        stack.callback(client.close)
        count, packs = draw.randrange(10**6), []
        for number in range(times + 1):
            pack = {}
            for i in range(RECORDS):
                count = 0 if number and i == RECORDS // 2 else count + draw.randrange(60, 70)
                pack["gun-a/flow", base + (number * RECORDS + i) * 1_000_000] = float(count)
            packs.append(pack)
        sent = Sent(packs)
        tell(client, sent, list(range(len(packs))))
        compare(folder, [sent], row)
        with opened(sqlite_in(folder)) as store:
            stored = rows_of(store, channel(1, "gun-a/flow"))
        good = stored.quality != Quality.BAD
        absurd = int((good & ((stored.value < 35) | (stored.value > 43))).sum())
        row.note = f"{int((~good).sum()) - 1} flows marked bad, {absurd} absurd ones"
        row.doubled += absurd
        assert len(np.unique(stored.time)) == len(stored)
    return row
