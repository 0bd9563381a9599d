"""The disk: full and room again, read-only, and cut off."""

import contextlib
import random
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from brokers_ingest import Mosquitto
from faults import disks
from faults.family_kills import whole_shop, written
from faults.family_outages import counted
from faults.judging import await_fresh, sqlite_in
from faults.processes import Program, collecting, kept_mosquitto, workshop
from faults.sending import Load, plant_text
from faults.table import Row


class CannotRunError(RuntimeError):
    """This machine does not allow the fault; says why."""


def _need_root() -> None:
    if (reason := disks.why_not()) is not None:
        raise CannotRunError(reason)


@contextlib.contextmanager
def _shop_on(folder: Path, data: Path) -> Iterator[tuple[Mosquitto, Program]]:
    with kept_mosquitto(folder) as broker:
        plant = written(folder, plant_text(f'url = "{broker.url}"'))
        program = collecting(folder, plant, data)
        try:
            program.start()
            yield broker, program
        finally:
            program.kill()


def _fill_and_free(place: Path, load: Load, times: int, draw: random.Random, row: Row) -> None:
    """Fill the disk for a few seconds, then give the room back."""
    for _ in range(times):
        time.sleep(draw.uniform(0.3, 1.5))
        plug = disks.fill(place, draw.choice((0, 0, 8_192, 65_536, 262_144)))
        time.sleep(draw.uniform(2.0, 5.0))
        since, first = time.monotonic(), load.sent
        plug.unlink()
        row.recovery_s.append(await_fresh(sqlite_in(place), load, first, since, 240.0))


def disk_full(times: int, seed: int) -> list[Row]:
    """Fill the collector's disk; a foreign broker has another one."""
    _need_root()
    row = Row("disk-full", "disk full for 2 to 5 s", times, 0, 0, 0, note="collector's disk")
    with (
        workshop() as folder,
        disks.in_memory(folder / "disk", 96) as place,
        _shop_on(folder, place) as (broker, program),
    ):
        load = Load(broker.url)
        try:
            _fill_and_free(place, load, times, random.Random(seed), row)  # noqa: S311
            row = counted(row, sqlite_in(place), load)
        finally:
            load.close()
        row.note += f", {program.tracebacks()} tracebacks" if program.tracebacks() else ""
    return [row]


def disk_full_embedded(times: int, seed: int) -> list[Row]:
    """Fill the disk on which everything lies, the embedded broker's messages too."""
    _need_root()
    row = Row("disk-full-embedded", "disk full for 2 to 5 s", times, 0, 0, 0)
    row.note = "`run`, embedded broker on the same disk"
    with (
        workshop() as folder,
        disks.in_memory(folder / "disk", 96) as place,
        whole_shop(folder, place) as (url, program, _),
    ):
        load = Load(url)
        try:
            _fill_and_free(place, load, times, random.Random(seed), row)  # noqa: S311
            row = counted(row, sqlite_in(place), load, exact=False)
        finally:
            load.close()
        row.note += f", {program.tracebacks()} tracebacks" if program.tracebacks() else ""
    return [row]


def _break_and_mend(
    disk: disks.LoopDisk,
    program: Program,
    load: Load,
    breaking: Callable[[], None],
    suffers_s: float,
) -> float:
    """Break the disk under the collector, end it, mount anew, start; give the recovery time."""
    breaking()
    time.sleep(suffers_s)
    program.kill()
    disk.unmount()
    since, first = time.monotonic(), load.sent
    disk.mount()
    program.launch()
    return await_fresh(sqlite_in(disk.place / "data"), load, first, since)


def _on_loop_disk(row: Row, times: int, seed: int, *, cut: bool) -> list[Row]:
    _need_root()
    draw = random.Random(seed)  # noqa: S311
    with workshop() as folder, disks.loop_disk(folder) as disk:
        data = disk.place / "data"
        with _shop_on(folder, data) as (broker, program):
            load = Load(broker.url)
            try:
                for _ in range(times):
                    time.sleep(draw.uniform(0.2, 1.5))
                    suffers_s = 0.0 if cut else draw.uniform(1.0, 3.0)
                    breaking = disk.cut if cut else disk.freeze
                    row.recovery_s.append(_break_and_mend(disk, program, load, breaking, suffers_s))
                row = counted(row, sqlite_in(data), load)
            finally:
                load.close()
                program.kill()
    return [row]


def power_cut_disk(times: int, seed: int) -> list[Row]:
    """Cut a real file system off under the collector: readings, records and notes beside them."""
    row = Row("power-cut-disk", "power cut of the collector's disk", times, 0, 0, 0)
    row.note = "ext4 shut down without its log"
    return _on_loop_disk(row, times, seed, cut=True)


def read_only(times: int, seed: int) -> list[Row]:
    """Make the file system read-only under the collector; mend it by mounting anew."""
    row = Row("read-only", "file system turns read-only for 1 to 3 s", times, 0, 0, 0)
    return _on_loop_disk(row, times, seed, cut=False)
