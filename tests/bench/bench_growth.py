"""Readings a second against the number of stations, the whole line, beside a paho subscriber.

The same count of messages comes from one station, from ten, a hundred and a thousand; each has ten
channels. The reference takes the same packets and only counts and acknowledges them.
"""

import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from bench.bench_line import RECORDS, collecting, counting, figure, messages
from raw_publisher import packets, save

SIZES = (1, 10, 100, 1000)
COUNT, ROUNDS = 40_000, 3


def main(short: bool) -> list[dict[str, Any]]:
    """Run all; needs mosquitto."""
    found: list[dict[str, Any]] = []
    for stations in SIZES[:2] if short else SIZES:
        found += at(stations, 2_000 if short else COUNT, 1 if short else ROUNDS)
    return found


def at(stations: int, count: int, rounds: int) -> Iterator[dict[str, Any]]:
    """Measure one size."""
    with tempfile.TemporaryDirectory(prefix="bench-growth-") as name:
        folder = Path(name)
        save(folder / "packets", packets(messages(count, stations)))
        pairs = [
            (counting(folder, count)[0], collecting(folder, count, stations)) for _ in range(rounds)
        ]
    ceiling, ours = max(pair[0] for pair in pairs), max(pair[1] for pair in pairs)
    yield figure(f"growth: {stations} stations: readings", ours[0] * RECORDS, "1/s")
    yield figure(f"growth: {stations} stations: share of paho's messages", ours[0] / ceiling, "")
    yield figure(f"growth: {stations} stations: CPU a message", ours[1], "µs")
