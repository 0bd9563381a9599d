"""The demo: first reading soon, alarms by themselves, and a second one beside the first."""

import time

from brokers_ingest import until
from steadybead_domain.times import parse_rfc3339
from whole_process import Server, server

FIRST_READING_S = 15.0  # what we promise a newcomer, from the end of the install
FIRST_FILTER_S = 60.0  # after the first reading


def readings_shown(running: Server) -> int:
    items = running.client.get("api/v1/stations").json()["items"]
    return sum(value["value"] is not None for item in items for value in item["values"])


def asks_for_a_filter(running: Server) -> bool:
    items = running.client.get("api/v1/findings").json()["items"]
    return any(item["kind"] == "filter_limit" for item in items)


def test_the_demo_shows_a_first_reading_soon_and_stations_come_alive() -> None:
    began = time.monotonic()
    with server("demo", "--port", "0", "--no-browser") as running:
        until(lambda: readings_shown(running) > 0, FIRST_READING_S)
        assert time.monotonic() - began < FIRST_READING_S
        items = running.client.get("api/v1/stations").json()["items"]
        assert len(items) == 3
        until(lambda: asks_for_a_filter(running), FIRST_FILTER_S)
        assert "change the filter" in running.client.get("/maintenance").text
        until(lambda: readings_shown(running) >= 10, 30.0)
        newest = running.client.get("api/v1/stations").json()["items"][1]["time"]
        assert abs(time.time() * 1e6 - parse_rfc3339(newest)) < 10e6
        page = running.client.get("/").text
        assert all(item["name"].split(",")[0] in page for item in items)
        with server("demo", "--port", "0", "--no-browser") as beside:
            assert beside.address != running.address
        assert running.stop() == 0
