"""A collector whose clock the harness sets: `stepped PLANT DATA OFFSET SPEED START`.

OFFSET is a file of eight bytes, the µs to add to this machine's clock; SPEED says how much faster
it goes from START (µs since 1970) on. The machine's own clock is left alone, because others use
it. Beside the clock it is the collector of `collect`. The nursery starts it.
"""

import mmap
import sys
import threading
from collections.abc import Callable
from pathlib import Path

from steadybead_collector.clock import wall_clock
from steadybead_collector.collector import Collector
from steadybead_collector.config import load_plant_file
from steadybead_collector.records.store import open_records
from steadybead_collector.stores import open_readings


class Offset:
    """The µs that clocks are off, shared between processes."""

    def __init__(self, path: Path) -> None:
        if not path.exists():
            path.write_bytes(bytes(8))
        with path.open("r+b") as file:
            self._bytes = mmap.mmap(file.fileno(), 8)

    @property
    def us(self) -> int:
        return int.from_bytes(self._bytes[:8], "little", signed=True)

    @us.setter
    def us(self, value: int) -> None:
        self._bytes[:8] = value.to_bytes(8, "little", signed=True)


def hastened(speed: int, start: int) -> Callable[[], int]:
    """Give a clock that agrees with this machine's at `start` and goes `speed` times as fast."""
    return lambda: start + (wall_clock() - start) * speed


def main(words: list[str]) -> int:
    """Collect until killed."""
    plant_path, data, path = (Path(word) for word in words[:3])
    offset, clock = Offset(path), hastened(int(words[3]), int(words[4]))
    plant_file = load_plant_file(plant_path)
    readings = open_readings("sqlite", data, plant_file.plant)
    records = open_records("sqlite", data)
    url = plant_file.mqtt.url or ""
    collector = Collector(
        plant_file, readings, records, url, data, clock=lambda: clock() + offset.us
    )
    collector.start()
    collector.wait_ready(20)
    sys.stdout.write("collecting\n")
    sys.stdout.flush()
    threading.Event().wait()
    return 0
