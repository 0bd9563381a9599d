"""A process that writes readings until it is killed, and what it must have written.

Run as `python store_writer.py FOLDER FIRST [COUNT]`: appends batch after batch from number FIRST
on, keeps house between, and prints the number of each batch once it is acknowledged.
"""

import sys
from pathlib import Path

import numpy as np

from steadybead_collector.stores import SqliteReadings
from steadybead_domain.ids import ChannelId
from steadybead_domain.readings import Batch, Columns
from steadybead_domain.times import SECOND

START = 1_777_879_800_000_000
CHANNELS = tuple(ChannelId("north", f"bay-{i}", "gun-a/nozzle") for i in range(5))
EACH = 40
STEP = SECOND


def columns_of(channel: int, first: int, count: int) -> Columns:
    """Give readings number `first` on of a channel: their values follow from their numbers."""
    number = np.arange(first, first + count, dtype=np.int64)
    value = ((number * 7_919 + channel) % 40_000) / 100.0
    zeros = np.zeros(count, np.uint8)
    time = START + number * STEP + channel
    return Columns(time, value, value + 1.0, zeros, zeros, np.ones(count, np.uint32))


def batch_of(number: int) -> Batch:
    """Give batch `number`: the next 40 s of five channels."""
    columns = {name: columns_of(i, number * EACH, EACH) for i, name in enumerate(CHANNELS)}
    return Batch(START + (number + 1) * EACH * STEP, columns)


def main(folder: str, first: str, count: str = "1000000") -> None:
    store = SqliteReadings(Path(folder))
    for number in range(int(first), int(first) + int(count)):
        result = store.append(batch_of(number))
        if number % 3 == 0:
            store.release(result.position - 20)
        store.maintain()
        print(number, flush=True)  # noqa: T201
    store.close()


if __name__ == "__main__":
    main(*sys.argv[1:])
