"""How fast packs become durable readings: `python tests/bench/bench_ingest.py`.

Packs of ten SenML records, two of them converted (thermocouple with its cold junction), go through
decoding, rules, conversion and the SQLite store; no network. Prints packs and readings a second.
"""

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import orjson

sys.path.insert(0, str(Path(__file__).parent.parent))

from fakes_ingest import NOW, MemoryFacts
from plants_ingest import plant_file
from steadybead_collector.config import load_plant_file
from steadybead_collector.ingest.commit import Ingest
from steadybead_collector.ingest.receipts import Receipts
from steadybead_collector.mqtt.inbox import Message
from steadybead_collector.mqtt.senml import decode_json
from steadybead_collector.stores import open_readings

TOPIC = "steadybead/v1/north/bay-1/senml"
PACKS = 20_000


def packs() -> list[Message]:
    """Make packs: five instants 0.2 s apart of two channels each."""
    made = []
    for number in range(PACKS):
        base = NOW / 1e6 - 2 * PACKS + number
        records: list[dict[str, object]] = []
        for step in range(5):
            records += [
                {"n": "nozzle", "t": 0.2 * step, "v": 8.1 + number % 100 / 100},
                {"n": "terminal", "u": "Cel", "t": 0.2 * step, "v": 25.0 + step / 100},
            ]
        records[0] |= {"bn": "gun-a/", "bt": base}
        made.append(Message(TOPIC, orjson.dumps(records), NOW + number, number % 65_535 + 1))
    return made


def timed(what: str, work: Callable[[], None]) -> None:
    """Run once and print the rates."""
    start, start_cpu = time.perf_counter(), time.process_time()
    work()
    spent, cpu = time.perf_counter() - start, time.process_time() - start_cpu
    rate = f"{PACKS / spent:,.0f} packs/s, {10 * PACKS / spent:,.0f} readings/s"
    print(f"{what}: {rate}, {1e6 * cpu / PACKS:.1f} us of processor a pack")  # noqa: T201


def commit_all(messages: list[Message], size: int) -> None:
    """Commit in batches into a fresh SQLite store."""
    with tempfile.TemporaryDirectory() as folder:
        plant = load_plant_file(plant_file(Path(folder))).plant
        readings = open_readings("sqlite", Path(folder), plant)
        ingest = Ingest(plant, "steadybead/v1", readings, MemoryFacts(), Receipts())

        ingest.commit(messages[:1])
        ingest.counts.clear()

        def run() -> None:
            for at in range(1, len(messages), size):
                ingest.commit(messages[at : at + size])

        timed(f"durable, {size} packs a batch", run)
        if dict(ingest.counts) != {"accepted": 10 * (PACKS - 1), "duplicate": 0}:
            raise SystemExit(f"wrong outcome: {ingest.counts}")
        readings.close()


def main() -> None:
    """Print all figures."""
    messages = packs()

    def decode() -> None:
        for message in messages:
            decode_json(message.payload)

    timed("decode alone", decode)
    for size in (10, 100, 1000):
        commit_all(messages, size)


if __name__ == "__main__":
    main()
