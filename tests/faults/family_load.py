"""Too much at once: a burst of everybody, and one station that floods."""

import contextlib
import random
import signal
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import numpy as np

from brokers_ingest import Publisher, free_port
from faults.family_kills import foreign_shop, written
from faults.family_outages import counted
from faults.judging import Opening, await_fresh, opened, rows_of, sqlite_in
from faults.processes import Program, collecting, workshop
from faults.sending import NAMES, SITE, Load, channel, plant_text
from faults.table import Row
from steadybead_collector.mqtt.broker import EmbeddedBroker
from steadybead_domain.ports import ReadingsStore

BURST_S = 60.0
FACTOR = 100
FLOOD_PACKS = 400
FLOOD_BYTES = 12 * 2**20
WIDE = 300  # records in one pack of the flood


def burst(times: int, seed: int) -> list[Row]:
    """Send a hundred times as much for a minute, then as before."""
    del seed
    with workshop() as folder, foreign_shop(folder, "") as (broker, _):
        load = Load(broker.url, 2000.0, pace=2000.0 / FACTOR)
        try:
            row = Row("burst", f"{FACTOR}× burst for {BURST_S:.0f} s", times, 0, 0, 0)
            rates = []
            for _ in range(times):
                time.sleep(5)
                before = load.sent
                load.pace = 2000.0
                time.sleep(BURST_S)
                load.pace = 2000.0 / FACTOR
                rates.append((load.sent - before) / BURST_S)
                since, first = time.monotonic(), load.sent
                row.recovery_s.append(await_fresh(sqlite_in(folder), load, first, since, 300.0))
            row.note = f"from 200 to {10 * max(rates):,.0f} readings/s as the sender got them out"
            return [counted(row, sqlite_in(folder), load)]
        finally:
            load.close()


@contextlib.contextmanager
def _small_broker(folder: Path) -> Iterator[tuple[str, Program]]:
    """Run an embedded broker that holds little, and beside it the collector."""
    broker = EmbeddedBroker(folder, f"127.0.0.1:{free_port()}", FLOOD_BYTES)
    plant = written(folder, plant_text(f'url = "{broker.start()}"', 3))
    program = collecting(folder, plant, folder / "data")
    try:
        program.start()
        yield broker.url, program
    finally:
        program.tell(signal.SIGCONT)
        program.kill()
        broker.stop()


class Flood:
    """A station that sends as fast as it can, in wide packs, until it is told to stop."""

    def __init__(self, url: str, base_us: int) -> None:
        self.client = Publisher(url)
        self.client._client.reconnect_delay_set(0.2, 0.5)  # type: ignore[arg-type]
        self.base_us, self.sent = base_us, 0
        self._end, self.running = threading.Event(), threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        topic = f"steadybead/v1/{SITE}/bay-3/senml"
        while not self._end.is_set():
            if self.client.waiting >= FLOOD_PACKS or not self.running.is_set():
                self._end.wait(0.005)
                continue
            self.client.send(topic, self.payload(self.sent), number=self.sent)
            self.sent += 1

    def payload(self, number: int) -> bytes:
        start = self.base_us + number * WIDE * 100
        records = ",".join(
            f'{{"n":"gun-a/nozzle","t":{(start + i * 100) / 1e6:.6f},"v":{200 + i}}}'
            for i in range(WIDE)
        )
        return f"[{records}]".encode()

    def stop(self) -> None:
        self._end.set()
        self._thread.join()

    def hold_against(self, store: ReadingsStore, row: Row) -> int:
        """Compare all that it got an answer for; give what is missing."""
        stored = rows_of(store, channel(3, NAMES[0]))
        times = stored.time - self.base_us
        known = np.array(sorted(set(self.client.acknowledged)), np.int64)
        must = (known[:, None] * WIDE + np.arange(WIDE)).ravel() * 100
        missing = len(np.setdiff1d(must, times))
        never_sent = (times < 0) | (times >= self.sent * WIDE * 100) | (times % 100 != 0)
        wrong = stored.raw != 200 + times // 100 % WIDE
        row.doubled += len(times) - len(np.unique(times)) + int((never_sent | wrong).sum())
        row.sent += len(must)
        return missing


def flood(times: int, seed: int) -> list[Row]:
    """Let one station fill the broker while the collector stands still, then let it go on."""
    draw = random.Random(seed)  # noqa: S311
    row = Row("flood", "one station floods until the broker is full", times, 0, 0, 0)
    row.note = f"collector stopped meanwhile, embedded broker held to {FLOOD_BYTES // 2**20} MiB"
    with workshop() as folder, _small_broker(folder) as (url, program), ExitStack() as stack:
        opening = sqlite_in(folder / "data")
        load = Load(url, 40.0)
        stack.callback(load.close)
        flooding = Flood(url, load.base_us - 86_000_000_000)
        stack.callback(flooding.client.close)
        stack.callback(flooding.stop)
        flooding.running.clear()
        for _ in range(times):
            time.sleep(1)
            program.tell(signal.SIGSTOP)
            flooding.running.set()
            _until_refused(flooding)
            time.sleep(draw.uniform(0.5, 2.0))
            since, first = time.monotonic(), load.sent
            program.tell(signal.SIGCONT)
            row.recovery_s.append(await_fresh(opening, load, first, since, 300.0))
            flooding.running.clear()
        row = counted(row, opening, load, exact=False)
        flooding.stop()
        flooding.client.flush(120)
        row.missing += _flood_missing(opening, flooding, row)
    return [row]


def _until_refused(flooding: Flood) -> None:
    """Wait until the broker has answered nothing for 3 s."""
    last, since = -1, time.monotonic()
    while time.monotonic() - since < 3.0:
        if len(flooding.client.acknowledged) != last:
            last, since = len(flooding.client.acknowledged), time.monotonic()
        time.sleep(0.1)


def _flood_missing(opening: Opening, flooding: Flood, row: Row) -> int:
    """Compare once nothing is missing, or after two minutes."""
    end = time.monotonic() + 120
    while True:
        trial = Row("", "", 0, 0, 0, 0)
        with opened(opening) as store:
            missing = flooding.hold_against(store, trial)
        if not missing or time.monotonic() > end:
            row.sent += trial.sent
            row.doubled += trial.doubled
            return missing
        time.sleep(1)
