"""A long run on a hastened clock: what a process holds must not grow with the hours."""

import random
import statistics
import threading
import time
from contextlib import ExitStack
from dataclasses import dataclass, field

import httpx
import psutil

from brokers_ingest import Publisher
from faults.family_kills import written
from faults.family_outages import counted
from faults.judging import sqlite_in
from faults.processes import Program, kept_mosquitto, serving, workshop
from faults.sending import ROOT, SITE, Load, plant_text
from faults.stepped import hastened
from faults.table import Row
from steadybead_collector.clock import wall_clock

SPEED = 360
PACE = 30.0
HOUR_S = 3600 / SPEED
MIB = 2**20


@dataclass(slots=True)
class Held:
    """What a process held, looked at once a simulated hour."""

    pid: int
    memory: list[float] = field(default_factory=list)
    files: list[int] = field(default_factory=list)
    threads: list[int] = field(default_factory=list)

    def look(self) -> None:
        process = psutil.Process(self.pid)
        self.memory.append(process.memory_info().rss / MIB)
        self.files.append(process.num_fds())
        self.threads.append(process.num_threads())

    def told(self) -> str:
        """Compare the second sixth of the run, when all is warm, with the fourth and the last."""
        sixth = max(1, len(self.memory) // 6)
        early, late = slice(sixth, 2 * sixth), slice(-sixth, None)
        middle = slice(3 * sixth, 4 * sixth)
        memory = [statistics.median(self.memory[part]) for part in (early, middle, late)]
        files = [max(self.files[part]) for part in (early, late)]
        threads = [max(self.threads[part]) for part in (early, late)]
        held = " → ".join(f"{mib:.0f}" for mib in memory)
        return f"{held} MB, {files[0]} → {files[1]} files, {threads[0]} → {threads[1]} threads"


class Visitor:
    """Asks the API this and that, as pages do, and sends rubbish to the broker."""

    def __init__(self, address: str, url: str, seed: int) -> None:
        self._draw = random.Random(seed)  # noqa: S311
        self._address, self._client = address, Publisher(url)
        self._end = threading.Event()
        self.answers = self.silences = 0
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        year = "start=2026-01-01T00:00:00Z&end=2027-12-31T00:00:00Z"
        paths = (
            "",
            "api/v1/stations",
            "api/v1/alarms",
            "api/v1/quarantine",
            f"api/v1/readings?channel={SITE}/bay-1/gun-a/nozzle&{year}&points=200",
        )
        with httpx.Client(base_url=self._address, timeout=30.0) as client:
            while not self._end.wait(0.5):
                try:
                    self.answers += client.get(self._draw.choice(paths)).status_code == 200
                except httpx.HTTPError:
                    self.silences += 1
                rubbish = self._draw.randbytes(20)
                self._client.send(f"{ROOT}/{SITE}/bay-1/senml", rubbish, number=self.answers)

    def stop(self) -> None:
        self._end.set()
        self._thread.join()
        self._client.close()


def soak(times: int, seed: int) -> list[Row]:
    """Run so many simulated hours."""
    row = Row("soak", f"{times} simulated hours", 1, 0, 0, 0)
    with workshop() as folder, ExitStack() as stack:
        broker = stack.enter_context(kept_mosquitto(folder, ""))
        plant = written(folder, plant_text(f'url = "{broker.url}"', 3))
        start = wall_clock()
        clock = hastened(SPEED, start)
        words = (str(plant), str(folder), str(folder / "offset"), str(SPEED), str(start))
        program = Program(("stepped", *words), folder / "stepped.log")
        stack.callback(program.kill)
        program.start()
        pages = serving(folder, plant, folder)
        stack.callback(pages.kill)
        pages.start()
        load = Load(broker.url, PACE / SPEED, 3, clock=clock, pace=PACE)
        stack.callback(load.close)
        visitor = Visitor(f"http://127.0.0.1:{pages.words[-1]}/", broker.url, seed)
        stack.callback(visitor.stop)
        held = [Held(program.pid), Held(pages.pid)]
        for _ in range(times):
            time.sleep(HOUR_S)
            for one in held:
                one.look()
        visitor.stop()
        row = counted(row, sqlite_in(folder), load)
        row.note = (
            f"{SPEED} times as fast, {row.sent / times / 3600:.1f} readings a simulated second,"
            f" {visitor.answers:,} answers of the API, {visitor.silences} failed;"
            f" collector {held[0].told()}; API {held[1].told()}"
        )
    return [row]
