"""Searching weld records: 100,000 of them, each way of asking, in the store and over HTTP."""

import statistics
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import httpx
import sqlalchemy as sa
from prometheus_client import CollectorRegistry

from api_server import served
from steadybead_api.app import create_app
from steadybead_api.live_board import LiveBoard
from steadybead_api.services import AccessPolicy, Services
from steadybead_collector.records import rows, weld_index
from steadybead_collector.records.schema import change, weld_event
from steadybead_collector.records.schema import weld_index as index_table
from steadybead_collector.records.store import Records, open_records
from steadybead_collector.records.welds import WeldSearch
from steadybead_collector.stores import MemoryReadings
from steadybead_domain.ids import StationId
from steadybead_domain.people import Actor, Role
from steadybead_domain.plant import Plant
from steadybead_domain.times import DAY, HOUR, MINUTE, parse_rfc3339
from steadybead_domain.welds import WeldEvent, WeldEventKind

WELDS = 100_000
T0 = parse_rfc3339("2024-01-02T07:00:00Z")
WORDS = ("conforms", "cannot tell", "conforms", "does not conform", "")
PAGE = 50
ROUNDS = 15
GOAL_MS = 200.0


def main(short: bool) -> list[dict[str, Any]]:
    """Give one figure for each way of asking; the goal is 200 ms."""
    figures = measure(2_000 if short else WELDS)
    return [
        {
            "name": f"search: {name}",
            "value": round(ms, 2),
            "unit": "ms",
            "goal": GOAL_MS,
            "met": ms <= GOAL_MS,
        }
        for name, ms in figures.items()
    ]


def fill(records: Records, count: int) -> None:
    """Write `count` finished records of three years, in large transactions."""
    with records._database.write() as connection:
        first = int(connection.scalar(sa.select(sa.func.max(change.c.seq))) or 0)
        for lowest in range(0, count, 5_000):
            part = range(lowest, min(lowest + 5_000, count))
            events = [event for i in part for event in told(i)]
            numbers = [first + 1 + 2 * lowest + k for k in range(len(events))]
            connection.execute(sa.insert(change), [{"seq": n, "kind": "weld"} for n in numbers])
            values = [
                {"seq": n, **rows.weld_event_values(e)}
                for n, e in zip(numbers, events, strict=True)
            ]
            connection.execute(sa.insert(weld_event), values)
            starts = zip(numbers[::2], events[::2], events[1::2], part, strict=True)
            indexed = [row(n, begun, ended, i) for n, begun, ended, i in starts]
            connection.execute(sa.insert(index_table), indexed)


def told(i: int) -> tuple[WeldEvent, WeldEvent]:
    """Give start and stop of the i-th record."""
    begun = T0 + i * 12 * MINUTE
    station = StationId("north", f"bay-{i % 20}")
    start = WeldEvent(
        WeldEventKind.START, f"w{i:07}", station, "ab"[i // 20 % 2], begun, "reader", "mqtt",
        "pp-speed-nozzle", 1, f"J-{i // 25}", f"S{i % 25}", f"w-{i % 12}",
    )  # fmt: skip
    return start, replace(start, kind=WeldEventKind.STOP, time=begun + 9 * MINUTE)


def row(seq: int, begun: WeldEvent, ended: WeldEvent, i: int) -> dict[str, object]:
    """Give the row of the index, as the store would write it."""
    return {
        "weld": begun.weld, "seq": seq, "site": begun.station.site,
        "station": begun.station.station, "gun": begun.gun, "start": begun.time,
        "stop": ended.time, "procedure": begun.procedure,
        "job": weld_index.folded(begun.job), "seam": weld_index.folded(begun.seam),
        "welder": weld_index.folded(begun.welder), "verdict": WORDS[i % len(WORDS)],
        "excursions": i % 7, "kinds": "cl"[: i % 3],
    }  # fmt: skip


def searches(count: int) -> dict[str, WeldSearch]:
    """Give each way of asking."""
    middle = T0 + count // 2 * 12 * MINUTE
    last = f"J-{count // 50}"
    return {
        "all, newest first": WeldSearch(),
        "job": WeldSearch(job=last),
        "job and seam": WeldSearch(job=last, seam="S7"),
        "seam alone": WeldSearch(seam="s7"),
        "welder": WeldSearch(welder="w-7"),
        "station": WeldSearch(StationId("north", "bay-3")),
        "station and gun, open": WeldSearch(StationId("north", "bay-3"), "a", is_open=True),
        "day": WeldSearch(began_from=middle, began_before=middle + DAY),
        "verdict": WeldSearch(verdict="does not conform"),
        "verdict and excursion": WeldSearch(verdict="conforms", has_excursion=True),
        "kind of excursion": WeldSearch(excursion_kind="l"),
        "excursion and welder": WeldSearch(welder="w-7", has_excursion=True),
        "nothing found": WeldSearch(job="no such job"),
    }


def median_ms(ask: Callable[[], object]) -> float:
    """Time a question."""
    ask()
    taken = []
    for _ in range(ROUNDS):
        began = time.perf_counter()
        ask()
        taken.append(1000 * (time.perf_counter() - began))
    return statistics.median(taken)


def measure(count: int = WELDS) -> dict[str, float]:
    """Give milliseconds by way of asking: the store's page of 50, and two pages over HTTP."""
    with tempfile.TemporaryDirectory() as folder:
        records = open_records("sqlite", Path(folder))
        fill(records, count)
        assert records.welds.get(f"w{count - 1:07}") is not None
        with records._database.read() as connection:
            assert weld_index.is_complete(connection)
        found = {
            name: median_ms(lambda search=search: records.welds.page(search, PAGE))  # type: ignore[misc]
            for name, search in searches(count).items()
        }
        found |= over_http(records, count)
        records.close()
    return found


def over_http(records: Records, count: int) -> dict[str, float]:
    """Time the page and the API of one search."""
    now = T0 + count * 12 * MINUTE + HOUR
    plant = Plant("north", "Europe/Lisbon", ())
    board = LiveBoard(lambda: plant, lambda: now)
    services = Services(
        MemoryReadings(), records, lambda: plant, board, AccessPolicy("open"), lambda: now,
        registry=CollectorRegistry(),
    )  # fmt: skip
    actor = Actor("bench", Role.QUALITY)
    token = records.access.create_token(actor, actor, now, "bench")
    headers = {"Authorization": f"Bearer {token}"}
    job = f"J-{count // 50}"
    app = create_app(services)
    with served(app, services.stopping) as address, httpx.Client(base_url=address) as client:

        def asked(path: str) -> Callable[[], object]:
            def ask() -> object:
                answer = client.get(path, headers=headers)
                assert answer.status_code == 200, answer.text
                return answer

            return ask

        return {
            "page of job and seam": median_ms(asked(f"/welds?job={job}&seam=S7")),
            "page of all": median_ms(asked("/welds")),
            "API, job and seam": median_ms(asked(f"/api/v1/welds?job={job}&seam=S7")),
        }
