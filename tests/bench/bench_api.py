"""What the API costs over a real HTTP connection, on the embedded stores."""

import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import numpy as np

from api_server import served
from api_shop import NOZZLE, PLANT, T0, Clock, ramp
from records_samples import CHIEF, start, stop
from steadybead_api.app import create_app
from steadybead_api.live_board import LiveBoard
from steadybead_api.services import AccessPolicy, Services
from steadybead_collector.records.store import Records, open_records
from steadybead_collector.records.welds import WeldSearch
from steadybead_collector.stores import open_readings
from steadybead_domain.readings import Batch
from steadybead_domain.times import SECOND, format_rfc3339

PART = 20_000
STEP_S = 0.2
JSON, CSV, PARQUET = "application/json", "text/csv", "application/vnd.apache.parquet"


def main(short: bool) -> list[dict[str, Any]]:
    """Run all."""
    readings, records = (100_000, 50) if short else (2_000_000, 300)
    with tempfile.TemporaryDirectory(prefix="bench-api-") as folder:
        found = over_http(Path(folder), readings)
        return [*found, *weld_records(Path(folder), records)]


@contextmanager
def client(folder: Path, readings: int) -> Iterator[tuple[httpx.Client, Clock]]:
    """Serve a shop with one long channel."""
    clock = Clock()
    records = open_records("sqlite", folder, clock)
    store = open_readings("sqlite", folder, PLANT)
    for first in range(0, readings, PART):
        at = T0 + int(first * STEP_S * SECOND)
        store.append(Batch(clock(), {NOZZLE: ramp(PART, STEP_S, at)}))
    while store.maintain():
        pass
    board = LiveBoard(lambda: PLANT, clock)
    services = Services(store, records, lambda: PLANT, board, AccessPolicy("open"), clock)
    token = records.access.create_token(CHIEF, CHIEF, clock(), "bench")
    headers = {"Authorization": f"Bearer {token}"}
    with (
        served(create_app(services), services.stopping) as address,
        httpx.Client(base_url=address, timeout=120, headers=headers) as opened,
    ):
        yield opened, clock
    store.close()
    records.close()


def over_http(folder: Path, readings: int) -> list[dict[str, Any]]:
    """Ask as a page, a spreadsheet and a data scientist do."""
    with client(folder, readings) as (http, clock):
        whole = {
            "channel": str(NOZZLE),
            "start": format_rfc3339(T0),
            "end": format_rfc3339(T0 + int(readings * STEP_S * SECOND)),
        }

        def ask(accept: str, **more: int) -> int:
            params = {**whole, **{name: str(value) for name, value in more.items()}}
            headers = {"Accept": accept}
            with http.stream("GET", "/api/v1/readings", params=params, headers=headers) as answer:
                answer.raise_for_status()
                return sum(len(part) for part in answer.iter_bytes())

        weld = {"station": "north/bay-1", "gun": "a", "weld": "w1"}
        http.post("/api/v1/welds", json=weld).raise_for_status()
        clock.advance(1200)
        http.post("/api/v1/welds/w1/stop").raise_for_status()
        clock.advance(60)
        return [
            figure("api: stations", median_ms(lambda: http.get("/api/v1/stations")), "ms"),
            figure("api: page of 10,000 readings as JSON", median_ms(lambda: ask(JSON)), "ms"),
            figure("api: 2,000 buckets", median_ms(lambda: ask(JSON, points=2000)), "ms"),
            figure(
                "api: trace of a 20-minute weld at 5 Hz",
                median_ms(lambda: http.get("/api/v1/welds/w1/trace")),
                "ms",
            ),
            figure("api: readings a second as CSV", readings / timed(lambda: ask(CSV)), "1/s"),
            figure(
                "api: readings a second as Parquet", readings / timed(lambda: ask(PARQUET)), "1/s"
            ),
        ]


def weld_records(folder: Path, count: int) -> list[dict[str, Any]]:
    """Write weld records one by one, each durable, and list the newest."""
    records: Records = open_records("sqlite", folder)

    def write() -> None:
        for number in range(count):
            records.add_weld_event(start(f"h{number}", number * 60))
            records.add_weld_event(stop(f"h{number}", number * 60 + 50))

    seconds = timed(write)
    listing = median_ms(lambda: records.welds.page(WeldSearch(), 50))
    records.close()
    return [
        figure("records: durable weld events a second", 2 * count / seconds, "1/s"),
        figure(f"records: newest 50 of {count} welds", listing, "ms"),
    ]


def median_ms(run: Callable[[], object], times: int = 9) -> float:
    """Take the median of some runs after one that warms up."""
    run()
    return 1e3 * float(np.median([timed(run) for _ in range(times)]))


def timed(run: Callable[[], object]) -> float:
    """Give the seconds of one run."""
    began = time.perf_counter()
    run()
    return time.perf_counter() - began


def figure(name: str, value: float, unit: str) -> dict[str, Any]:
    """Make a line of the report; none of these has a goal yet."""
    return {"name": name, "value": round(value, 3), "unit": unit, "goal": None, "met": None}
