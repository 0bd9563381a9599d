"""Findings and work on filters over HTTP: numbers, roles, repeats, bad input, before and after."""

from collections.abc import AsyncIterator, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import pytest

from api_shop import DROP, FLOW, NOZZLE, T0, Shop, client_of, make_shop, put
from calibration_samples import FITTING, INSTRUMENT
from maintenance_samples import drift_finding, filter_change, filter_finding
from records_samples import CHIEF
from steadybead_api.filter_effect import drop_now
from steadybead_collector.records.instruments import FittingRecord
from steadybead_collector.records.revisions import Act
from steadybead_domain.diagnosis.standing import finding_id
from steadybead_domain.ids import StationId
from steadybead_domain.people import Role
from steadybead_domain.plant import Channel
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Columns
from steadybead_domain.times import DAY, HOUR, MINUTE, SECOND, format_rfc3339

pytestmark = pytest.mark.anyio
FINDINGS = "/api/v1/findings"
CHANGES = "/api/v1/filter-changes"
CHANGED = {"id": "fc-9", "station": "north/bay-1", "time": format_rfc3339(T0 + HOUR), "note": "new"}


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    opened = make_shop(tmp_path)
    opened.clock.advance(2 * 3600)
    yield opened
    opened.close()


@pytest.fixture
async def client(shop: Shop) -> AsyncIterator[httpx.AsyncClient]:
    async with client_of(shop.app) as opened:
        opened.headers.update(shop.token(Role.MAINTENANCE, "Marta"))
        yield opened


async def items(client: httpx.AsyncClient, query: str = "") -> list[dict[str, Any]]:
    answer = await client.get(FINDINGS + query)
    assert answer.status_code == 200, answer.text
    found: list[dict[str, Any]] = answer.json()["items"]
    return found


async def test_a_finding_is_given_with_all_its_numbers(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    told = drift_finding()
    shop.records.add_findings([told])
    (item,) = await items(client)
    assert item == {
        "id": finding_id(told),
        **told.to_json(),
        "urgency": "soon",
        "open": True,
        "ended": None,
        "ended_by": "",
    }
    assert item["evidence"]["share of thermocouple_drift"] == 0.91
    assert (await client.get(f"{FINDINGS}/{item['id']}")).json() == item
    missing = await client.get(f"{FINDINGS}/fd-none")
    assert (missing.status_code, missing.json()["detail"]) == (404, "there is no finding fd-none")


async def test_findings_by_station_and_whether_they_stand(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    bay_2 = StationId("north", "bay-2")
    shop.records.add_findings(
        [filter_finding(), drift_finding(1), filter_finding("filter_due", 2, hours=4.0)]
    )
    shop.records.add_findings([filter_finding(at_s=3, station=bay_2)])
    kinds = [i["kind"] for i in await items(client)]
    assert kinds == ["filter_forecast", "filter_due", "thermocouple_drift", "filter_forecast"]
    assert [i["station"] for i in await items(client, "?station=north/bay-2")] == [str(bay_2)]
    stands = await items(client, "?open=true&station=north/bay-1")
    assert [(i["kind"], i["urgency"]) for i in stands] == [
        ("filter_due", "now"),
        ("thermocouple_drift", "soon"),
    ]
    (over,) = await items(client, "?open=false")
    assert (over["kind"], over["ended_by"]) == ("filter_forecast", "a newer finding")
    assert over["ended"] == format_rfc3339(T0 + 2 * SECOND)


@pytest.mark.parametrize("query", ["", "&open=true", "&open=false"])
async def test_findings_are_paged_without_gap_or_repeat(
    client: httpx.AsyncClient, shop: Shop, query: str
) -> None:
    shop.records.add_findings([filter_finding(at_s=n) for n in range(9)])
    shop.records.add_findings([drift_finding(n, f"kind-{n}", since_s=n) for n in range(5)])
    whole = [i["id"] for i in await items(client, f"?limit=100{query}")]
    seen: list[str] = []
    cursor = ""
    while True:
        page = (await client.get(f"{FINDINGS}?limit=3{query}{cursor}")).json()
        seen += [i["id"] for i in page["items"]]
        if page["next"] is None:
            break
        cursor = f"&cursor={page['next']}"
    assert seen == whole
    assert len(whole) == len(set(whole)) == {"": 14, "&open=true": 6, "&open=false": 8}[query]


async def test_another_instrument_ends_what_was_said_of_the_old_one(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    shop.records.add_findings([drift_finding()])
    act = Act(CHIEF, T0 + HOUR, "test")
    shop.records.instruments.keep(replace(INSTRUMENT, interval_days=None), act)
    fitting = replace(FITTING, channel=NOZZLE, start=T0 + MINUTE)
    nozzle = Channel(NOZZLE, Quantity.NOZZLE_TEMPERATURE, "Cel")
    shop.records.instruments.keep_fitting(FittingRecord("f-9", fitting), nozzle, act)
    (item,) = await items(client)
    assert (item["open"], item["ended_by"]) == (False, "another instrument was fitted")


async def test_a_change_ends_the_filter_s_findings_and_is_kept_once(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    shop.records.add_findings([filter_finding("filter_limit", hours=0.0)])
    answer = await client.post(CHANGES, json=CHANGED)
    assert answer.status_code == 201
    kept = answer.json()
    assert kept == {
        **CHANGED,
        "kind": "changed",
        "author": "Marta",
        "entered": format_rfc3339(shop.clock()),
    }
    assert answer.headers["location"] == f"{CHANGES}/fc-9"
    shop.clock.advance(60)
    again = await client.post(CHANGES, json=CHANGED)
    assert (again.status_code, again.json()) == (200, kept)
    assert (await client.get(CHANGES)).json() == {"items": [kept], "next": None}
    (over,) = await items(client)
    assert (over["open"], over["ended_by"]) == (False, "filter changed")


async def test_a_repeat_without_a_time_is_the_same_entry(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    body = {"id": "fc-1", "station": "north/bay-1"}
    first = await client.post(CHANGES, json=body)
    shop.clock.advance(5)
    second = await client.post(CHANGES, json=body)
    assert (first.status_code, second.status_code) == (201, 200)
    assert first.json() == second.json()


@pytest.mark.parametrize(
    ("change", "status", "at", "words"),
    [
        ({"station": "north/nowhere"}, 422, "station", "not in the plant file"),
        ({"station": "bay 1"}, 422, "body.station", "site/station"),
        ({"time": format_rfc3339(T0 + DAY)}, 422, "time", "enter when it was done"),
        ({"time": "2019-01-01T00:00:00Z"}, 422, "time", "before 2020"),
        ({"time": "yesterday"}, 422, "body.time", "RFC 3339"),
        ({"kind": "burnt"}, 422, "body.kind", "'changed', 'tapped out' or 'inspected'"),
        ({"note": "x" * 201}, 422, "body.note", "200"),
        ({"id": "a b"}, 422, "body.id", "pattern"),
        ({"colour": "red"}, 422, "body.colour", ""),
    ],
)
async def test_bad_entries_are_refused_with_place_and_remedy(
    client: httpx.AsyncClient, change: dict[str, str], status: int, at: str, words: str
) -> None:
    answer = await client.post(CHANGES, json={**CHANGED, **change})
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    (error,) = answer.json()["errors"]
    assert error["at"] == at
    assert words in error["detail"]
    assert (await client.get(CHANGES)).json()["items"] == []


async def test_the_same_id_with_other_contents_is_refused(client: httpx.AsyncClient) -> None:
    await client.post(CHANGES, json=CHANGED)
    answer = await client.post(CHANGES, json={**CHANGED, "kind": "inspected"})
    assert answer.status_code == 409
    assert "give another id" in answer.json()["detail"]
    assert len((await client.get(CHANGES)).json()["items"]) == 1


@pytest.mark.parametrize("role", list(Role))
async def test_who_may_record_work_on_a_filter(shop: Shop, role: Role) -> None:
    allowed = {Role.MAINTENANCE, Role.QUALITY, Role.ADMINISTRATOR}
    async with client_of(shop.app) as client:
        answer = await client.post(CHANGES, json=CHANGED, headers=shop.token(role))
        assert answer.status_code == (201 if role in allowed else 403)
        assert (await client.post(CHANGES, json=CHANGED)).status_code == 401
        assert (await client.get(CHANGES)).status_code == 401
    assert len(shop.records.filter_changes.all()) == (role in allowed)


def minutes(start: int, level: list[float]) -> Columns:
    n = len(level)
    value = np.array(level)
    zeros = np.zeros(n, np.uint8)
    times = start + np.arange(n, dtype=np.int64) * MINUTE + 5 * SECOND
    return Columns(times, value, value, zeros, zeros, np.ones(n, np.uint32))


async def test_before_and_after_are_the_running_minutes_on_either_side(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    loaded, clean = [150.0] * 10 + [200.0] * 10, [60.0] * 20
    still = [0.5] * 10  # the blower stands while the filter is changed
    put(shop, DROP, minutes(T0, loaded + still + clean))
    put(shop, FLOW, minutes(T0, [50.0] * 20 + [0.0] * 10 + [54.0] * 20))
    time = format_rfc3339(T0 + 25 * MINUTE)
    await client.post(CHANGES, json={**CHANGED, "time": time})
    found = (await client.get(f"{CHANGES}/fc-9")).json()
    assert found["before"] == {"drop_pa": pytest.approx(200.0), "flow_l_min": pytest.approx(50.0)}
    assert found["after"] == {"drop_pa": pytest.approx(60.0), "flow_l_min": pytest.approx(54.0)}


async def test_the_drop_now_is_of_the_filter_that_is_in_now(shop: Shop) -> None:
    now = shop.clock()
    put(shop, DROP, minutes(now - 20 * MINUTE, [200.0] * 16 + [60.0] * 4))
    put(shop, FLOW, minutes(now - 20 * MINUTE, [50.0] * 20))
    station = shop.services.plant().stations[0]
    changed = replace(filter_change(), station=station.id, time=now - 4 * MINUTE)
    mixed, own = drop_now(shop.services, station), drop_now(shop.services, station, changed)
    assert mixed is not None
    assert own is not None
    assert mixed.drop_pa == pytest.approx(144.0)
    assert own.drop_pa == pytest.approx(60.0)


async def test_without_air_there_is_no_after(client: httpx.AsyncClient, shop: Shop) -> None:
    put(shop, DROP, minutes(T0, [150.0] * 10 + [0.0] * 10))
    put(shop, FLOW, minutes(T0, [50.0] * 10 + [0.0] * 10))
    await client.post(CHANGES, json={**CHANGED, "time": format_rfc3339(T0 + 10 * MINUTE)})
    found = (await client.get(f"{CHANGES}/fc-9")).json()
    assert found["before"]["drop_pa"] == pytest.approx(150.0)
    assert found["after"] is None
    assert (await client.get(f"{CHANGES}/none")).status_code == 404


async def test_work_is_listed_by_station_the_latest_first(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    act = Act(CHIEF, shop.clock(), "test")
    for n in range(3):
        shop.records.filter_changes.keep(filter_change(f"fc-{n}", 60.0 * n), act)
    page = (await client.get(f"{CHANGES}?limit=2&station=north/bay-1")).json()
    assert [c["id"] for c in page["items"]] == ["fc-2", "fc-1"]
    rest = (await client.get(f"{CHANGES}?limit=2&cursor={page['next']}")).json()
    assert ([c["id"] for c in rest["items"]], rest["next"]) == (["fc-0"], None)
    assert (await client.get(f"{CHANGES}?station=north/bay-2")).json()["items"] == []
