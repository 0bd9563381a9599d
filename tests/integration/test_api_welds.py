"""Weld records over HTTP: started, stopped, searched, and their traces."""

import csv
import io
from collections.abc import AsyncIterator, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import httpx
import jsonschema_rs
import numpy as np
import pytest

from api_shop import BAY_1, DROP, FLOW, NOZZLE, NOZZLE_B, T0, Shop, client_of, make_shop, put, ramp
from records_samples import start
from steadybead_api.weld_schemas import Trace
from steadybead_domain.people import Actor, Role
from steadybead_domain.procedures import Window
from steadybead_domain.times import DAY, HOUR, SECOND, format_rfc3339, parse_rfc3339

pytestmark = pytest.mark.anyio


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    opened = make_shop(tmp_path)
    yield opened
    opened.close()


@pytest.fixture
async def client(shop: Shop) -> AsyncIterator[httpx.AsyncClient]:
    async with client_of(shop.app) as opened:
        opened.headers.update(shop.token(Role.QUALITY, "Quinn"))
        yield opened


async def begin(client: httpx.AsyncClient, **more: Any) -> httpx.Response:
    return await client.post("/api/v1/welds", json={"station": str(BAY_1), "gun": "a", **more})


async def test_start_makes_an_id_and_takes_the_stations_procedure(
    client: httpx.AsyncClient,
) -> None:
    answer = await begin(client, job="J-7", seam="S1")
    assert answer.status_code == 201
    weld = answer.json()
    assert answer.headers["location"] == f"/api/v1/welds/{weld['id']}"
    told = {
        "id": weld["id"],
        "station": "north/bay-1",
        "gun": "a",
        "start": "2026-05-04T07:30:00.000000Z",
        "stop": None,
        "procedure": "pp-speed-nozzle",
        "procedure_revision": 1,
        "job": "J-7",
        "seam": "S1",
        "welder": None,
        "started_by": "Quinn",
        "stopped_by": "",
        "ended_by": "",
    }
    assert {name: weld[name] for name in told} == told
    said = {name for name, value in weld.items() if name not in told and value not in ("", None, 0)}
    assert said == set()
    assert (await client.get(answer.headers["location"])).json() == weld


async def test_repeated_start_and_stop_change_nothing(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    first = await begin(client, weld="w1", job="J")
    shop.clock.advance(10)
    again = await begin(client, weld="w1", job="other")
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    shop.clock.advance(10)
    stopped = (await client.post("/api/v1/welds/w1/stop")).json()
    shop.clock.advance(10)
    assert (await client.post("/api/v1/welds/w1/stop", json={})).json() == stopped
    assert stopped["stop"] == "2026-05-04T07:30:20.000000Z"
    assert (stopped["stopped_by"], stopped["ended_by"]) == ("Quinn", "stop")


async def test_new_start_ends_the_record_that_runs_on_the_gun(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    await begin(client, weld="w1")
    await begin(client, weld="other-gun", gun="b")
    shop.clock.advance(30)
    await begin(client, weld="w2")
    ended = (await client.get("/api/v1/welds/w1")).json()
    assert (ended["stop"], ended["ended_by"]) == ("2026-05-04T07:30:30.000000Z", "next start")
    open_now = (await client.get("/api/v1/welds?open=true")).json()["items"]
    assert {w["id"] for w in open_now} == {"w2", "other-gun"}
    assert [w["id"] for w in (await client.get("/api/v1/welds?open=false")).json()["items"]] == [
        "w1"
    ]


async def test_id_of_another_gun_is_a_conflict(client: httpx.AsyncClient) -> None:
    await begin(client, weld="w1")
    answer = await begin(client, weld="w1", gun="b")
    assert answer.status_code == 409
    assert "north/bay-1 gun a" in answer.json()["detail"]


@pytest.mark.parametrize(
    "wrong",
    [
        {"station": "north/nowhere"},
        {"station": "bay-1"},
        {"gun": "z"},
        {"gun": "a b"},
        {"procedure": "unknown"},
        {"time": "1970-01-01T00:00:00Z"},
        {"time": "2099-01-01T00:00:00Z"},
        {"time": 5},
        {"time": "now"},
        {"weld": "a/b"},
        {"job": "x" * 201},
        {"seam": "a\u0000b"},
    ],
)
async def test_start_that_cannot_be_is_refused_whole(
    client: httpx.AsyncClient, shop: Shop, wrong: dict[str, Any]
) -> None:
    answer = await begin(client, **wrong)
    assert answer.status_code == 422
    assert answer.json()["detail"]
    assert (await client.get("/api/v1/welds")).json()["items"] == []
    assert shop.records.changes_since(0)[0] == len(shop.records.procedures.newest())


async def test_stop_before_the_start_is_refused(client: httpx.AsyncClient) -> None:
    await begin(client, weld="w1")
    early = {"time": format_rfc3339(T0 - 20 * SECOND)}
    assert (await client.post("/api/v1/welds/w1/stop", json=early)).status_code == 422
    assert (await client.get("/api/v1/welds/w1")).json()["stop"] is None
    assert (await client.post("/api/v1/welds/nothing/stop")).status_code == 404


async def test_search_and_pages(client: httpx.AsyncClient, shop: Shop) -> None:
    for number in range(25):
        await begin(client, weld=f"w-{number:02}", gun="ab"[number % 2], job=f"J{number % 3}")
        shop.clock.advance(60)
    found: list[str] = []
    cursor = ""
    while True:
        page = (await client.get(f"/api/v1/welds?limit=10{cursor}")).json()
        found += [w["id"] for w in page["items"]]
        if page["next"] is None:
            break
        cursor = f"&cursor={page['next']}"
    assert found == [f"w-{n:02}" for n in reversed(range(25))]
    some = (await client.get("/api/v1/welds?job=J1&gun=b&station=north/bay-1")).json()["items"]
    assert [w["id"] for w in some] == ["w-19", "w-13", "w-07", "w-01"]
    begun = "start=2026-05-04T07:31:00Z&end=2026-05-04T07:33:00Z"
    assert [w["id"] for w in (await client.get(f"/api/v1/welds?{begun}")).json()["items"]] == [
        "w-02",
        "w-01",
    ]
    assert len((await client.get("/api/v1/welds?id=w-1")).json()["items"]) == 10
    assert (await client.get("/api/v1/welds?id=w_1")).json()["items"] == []


async def welded(client: httpx.AsyncClient, shop: Shop, seconds: float) -> None:
    """Run a record and let the margin after it pass."""
    await begin(client, weld="w1")
    shop.clock.advance(seconds)
    await client.post("/api/v1/welds/w1/stop")
    shop.clock.advance(3600)


async def test_trace_covers_the_margins_and_the_channels_of_gun_and_air(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    for channel in (NOZZLE, FLOW, NOZZLE_B, DROP):
        put(shop, channel, ramp(4000, 0.1, T0 - 100 * SECOND))
    await welded(client, shop, 120)
    trace = (await client.get("/api/v1/welds/w1/trace")).json()
    assert (trace["start"], trace["end"]) == (
        format_rfc3339(T0 - 60 * SECOND),
        format_rfc3339(T0 + 180 * SECOND),
    )
    assert [c["channel"] for c in trace["channels"]] == [str(NOZZLE), str(FLOW), str(DROP)]
    nozzle = trace["channels"][0]
    assert len(nozzle["time"]) == len(nozzle["value"]) == len(nozzle["quality"]) == 2400
    assert nozzle["time"][0] == trace["start"]
    assert nozzle["gaps"] == []
    assert nozzle["window"] == {"low": 300.0, "high": 340.0, "unit": "Cel", "note": ""}
    assert trace["channels"][2]["window"] is None
    assert trace["procedure"]["id"] == "pp-speed-nozzle"
    assert trace["next"] is None


async def test_the_whole_answer_has_the_shape_that_is_told_whatever_the_channels_share(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    own = ramp(900, 0.2, T0 - 50 * SECOND)
    shifted = ramp(900, 0.2, T0 - 50 * SECOND + 1)
    for channel, columns in ((NOZZLE, own), (FLOW, own), (DROP, shifted)):
        put(shop, channel, columns)
    await welded(client, shop, 120)
    shape = Trace.model_json_schema(mode="serialization")
    for query in ("", "?points=50"):
        answer = (await client.get(f"/api/v1/welds/w1/trace{query}")).json()
        jsonschema_rs.validate(shape, answer)
    channels = (await client.get("/api/v1/welds/w1/trace")).json()["channels"]
    for channel, columns in zip(channels, (own, own, shifted), strict=True):
        assert channel["time"] == [format_rfc3339(int(time)) for time in columns.time]
        assert channel["value"] == columns.value.tolist()


async def test_flow_window_is_carried_into_the_meters_own_figures(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    # DIN 1343 (0 °C, 1013.25 hPa): q_actual = q_norm · 293.15 / 273.15 at 20 °C, same pressure
    await welded(client, shop, 10)
    flow = (await client.get("/api/v1/welds/w1/trace")).json()["channels"][1]
    assert flow["window"]["low"] == pytest.approx(45 * 293.15 / 273.15, abs=0.01)
    assert flow["window"]["high"] == pytest.approx(55 * 293.15 / 273.15, abs=0.01)
    assert "20 °C" in flow["window"]["note"]


async def test_gaps_are_marked_where_nothing_came(client: httpx.AsyncClient, shop: Shop) -> None:
    whole = ramp(1200, 0.2, T0 - 60 * SECOND)
    held = (whole.time >= T0 + 20 * SECOND) & (whole.time < T0 + 25 * SECOND)
    put(shop, NOZZLE, whole.take(~held))
    await welded(client, shop, 120)
    for query in ("", "?points=600"):
        channels = (await client.get(f"/api/v1/welds/w1/trace{query}")).json()["channels"]
        gaps = [
            [(parse_rfc3339(g[side]) - T0) / SECOND for side in ("start", "end")]
            for g in channels[0]["gaps"]
        ]
        assert gaps == [[pytest.approx(20, abs=0.4), pytest.approx(25, abs=0.4)]], query
        assert len(channels[1]["gaps"]) == 1  # a channel without readings is one gap
        assert channels[1]["gaps"][0]["start"] == format_rfc3339(T0 - 60 * SECOND)


async def test_running_record_is_traced_up_to_now(client: httpx.AsyncClient, shop: Shop) -> None:
    await begin(client, weld="w1")
    shop.clock.advance(5)
    trace = (await client.get("/api/v1/welds/w1/trace")).json()
    assert trace["end"] == format_rfc3339(T0 + 5 * SECOND)


async def test_long_trace_comes_in_pages_that_join(client: httpx.AsyncClient, shop: Shop) -> None:
    put(shop, NOZZLE, ramp(23_000, 0.1))
    put(shop, FLOW, ramp(2_300, 1.0))
    await welded(client, shop, 2300)
    times: dict[str, list[str]] = {str(NOZZLE): [], str(FLOW): []}
    cursor, pages = "", 0
    while True:
        trace = (await client.get(f"/api/v1/welds/w1/trace{cursor}")).json()
        pages += 1
        for channel in trace["channels"][:2]:
            assert len(channel["time"]) <= 10_000
            times[channel["channel"]] += channel["time"]
        if trace["next"] is None:
            break
        cursor = f"?cursor={trace['next']}"
    assert pages == 3
    assert {name: len(set(t)) for name, t in times.items()} == {
        str(NOZZLE): 23_000,
        str(FLOW): 2_300,
    }
    assert times[str(NOZZLE)] == sorted(times[str(NOZZLE)])


async def test_trace_file_holds_every_reading(client: httpx.AsyncClient, shop: Shop) -> None:
    columns = ramp(600, 0.2)
    put(shop, NOZZLE, columns)
    put(shop, DROP, ramp(10, 1.0))
    await welded(client, shop, 120)
    answer = await client.get("/api/v1/welds/w1/trace", headers={"Accept": "text/csv"})
    rows = list(csv.DictReader(io.StringIO(answer.text, newline="")))
    assert list(rows[0]) == ["channel", "time", "value", "unit", "quality", "reason"]
    values = [float(r["value"]) for r in rows if r["channel"] == str(NOZZLE)]
    assert np.array_equal(values, columns.value)
    assert sum(r["channel"] == str(DROP) for r in rows) == 10


async def test_record_of_a_station_that_left_the_plant_keeps_its_page(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    gone = type(BAY_1)("north", "bay-9")
    shop.records.add_weld_event(start("w9", station=gone))
    trace = (await client.get("/api/v1/welds/w9/trace")).json()
    assert trace["channels"] == []
    assert trace["weld"]["station"] == "north/bay-9"


async def test_record_open_for_days_is_still_answered(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    put(shop, NOZZLE, ramp(100, 1.0))
    await begin(client, weld="w1")
    shop.clock.advance(3 * DAY / SECOND)
    trace = (await client.get("/api/v1/welds/w1/trace?points=500")).json()
    assert sum(trace["channels"][0]["n"]) == 100
    assert parse_rfc3339(trace["end"]) - T0 == 3 * DAY
    assert parse_rfc3339(trace["channels"][0]["gaps"][-1]["end"]) - T0 > HOUR


async def test_record_without_a_procedure_is_held_to_its_stations_of_that_day(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    bare = replace(start("w1"), procedure=None, procedure_revision=None)
    shop.records.add_weld_event(bare)
    item = shop.records.procedures.newest()[0].procedure
    later = replace(item, id="pp-speed-nozzle", nozzle_temperature=Window(1.0, 2.0, "Cel"))
    chief = Actor("Chief", Role.QUALITY)
    shop.records.procedures.add(later, chief, T0 + SECOND, "test")
    trace = (await client.get("/api/v1/welds/w1/trace")).json()
    assert trace["weld"]["procedure"] is None
    assert (trace["procedure"]["id"], trace["procedure"]["revision"]) == ("pp-speed-nozzle", 1)
    assert trace["channels"][0]["window"]["low"] == 300.0
