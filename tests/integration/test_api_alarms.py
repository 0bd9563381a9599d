"""Alarms over HTTP: derived state, acknowledgement, shelving, and the pages of the list."""

from collections.abc import AsyncIterator, Iterator
from dataclasses import replace
from pathlib import Path

import httpx
import pytest

from api_shop import T0, Shop, client_of, make_shop
from records_samples import BAY_2, fact, refusal
from steadybead_domain.alarms.model import ActKind, AlarmAct
from steadybead_domain.people import Actor, Role
from steadybead_domain.times import SECOND

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
        opened.headers.update(shop.token(Role.ADMINISTRATOR, "Chief"))
        yield opened


async def states(client: httpx.AsyncClient, query: str = "") -> dict[str, str]:
    items = (await client.get(f"/api/v1/alarms{query}")).json()["items"]
    return {item["id"]: item["state"] for item in items}


async def test_life_of_an_alarm(client: httpx.AsyncClient, shop: Shop) -> None:
    shop.records.add_alarm_facts([fact("al1", 0, active=True)])
    assert await states(client) == {"al1": "unacknowledged"}
    shop.clock.advance(5)
    answer = await client.post("/api/v1/alarms/al1/acknowledge", json={"reason": "on my way"})
    assert answer.json()["state"] == "acknowledged"
    assert answer.json()["acknowledged_by"] == "Chief"
    assert answer.json()["acknowledged_at"] == "2026-05-04T07:30:05.000000Z"
    shop.records.add_alarm_facts([fact("al1", 60, active=False)])
    assert await states(client) == {}
    assert await states(client, "?state=all") == {"al1": "normal"}


async def test_alarm_that_went_before_anybody_saw_it_stays_in_the_list(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    shop.records.add_alarm_facts([fact("al1", 0, active=True), fact("al1", 9, active=False)])
    assert await states(client) == {"al1": "returned to normal, unacknowledged"}
    await client.post("/api/v1/alarms/al1/acknowledge")
    assert await states(client) == {}


async def test_alarm_that_came_back_after_its_acknowledgement_is_listed_again(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    shop.records.add_alarm_facts([fact("al1", 0, active=True)])
    await client.post("/api/v1/alarms/al1/acknowledge")
    shop.records.add_alarm_facts(
        [fact("al1", 60, active=False), fact("al1", 90, active=True), fact("al1", 95, active=False)]
    )
    assert await states(client) == {"al1": "returned to normal, unacknowledged"}
    shop.clock.advance(100)
    old = {"of_raise": "2026-05-04T07:30:00Z"}
    await client.post("/api/v1/alarms/al1/acknowledge", json=old)
    assert await states(client) == {"al1": "returned to normal, unacknowledged"}
    await client.post("/api/v1/alarms/al1/acknowledge")
    assert await states(client) == {}


async def test_shelf_ends_by_time_or_by_hand(client: httpx.AsyncClient, shop: Shop) -> None:
    shop.records.add_alarm_facts([fact("al1", 0, active=True)])
    shelf = {"until": "2026-05-04T08:30:00Z", "reason": "waits for a part"}
    answer = await client.post("/api/v1/alarms/al1/shelve", json=shelf)
    assert answer.json()["state"] == "shelved"
    assert answer.json()["shelved_until"] == "2026-05-04T08:30:00.000000Z"
    shop.clock.advance(1)
    assert (await client.post("/api/v1/alarms/al1/unshelve")).json()["state"] == "unacknowledged"
    shop.clock.advance(1)
    await client.post("/api/v1/alarms/al1/shelve", json=shelf)
    shop.clock.advance(3600)
    assert await states(client) == {"al1": "unacknowledged"}


@pytest.mark.parametrize(
    "wrong",
    [
        {"until": "2026-05-04T07:00:00Z", "reason": "past"},
        {"until": "2026-05-06T07:30:00Z", "reason": "too long"},
        {"until": "2026-05-04T08:00:00Z", "reason": " "},
        {"until": "2026-05-04T08:00:00Z"},
        {"reason": "for ever"},
    ],
)
async def test_shelf_needs_an_end_within_a_day_and_a_reason(
    client: httpx.AsyncClient, shop: Shop, wrong: dict[str, str]
) -> None:
    shop.records.add_alarm_facts([fact("al1", 0, active=True)])
    assert (await client.post("/api/v1/alarms/al1/shelve", json=wrong)).status_code == 422
    assert await states(client) == {"al1": "unacknowledged"}


async def test_act_on_nothing_is_not_found(client: httpx.AsyncClient) -> None:
    assert (await client.post("/api/v1/alarms/al9/acknowledge")).status_code == 404
    assert (await client.get("/api/v1/alarms/al9")).status_code == 404


async def test_open_list_skips_what_is_settled_and_still_pages(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    chief = Actor("Chief", Role.ADMINISTRATOR)
    for number in range(30):
        name = f"al{number:02}"
        raised = replace(fact(name, number, active=True), fingerprint=name)
        shop.records.add_alarm_facts([raised])
        if number % 3:
            gone = replace(raised, time=raised.time + SECOND, active=False)
            shop.records.add_alarm_facts([gone])
            act = AlarmAct(name, ActKind.ACKNOWLEDGE, T0 + 60 * SECOND, "Chief")
            shop.records.alarms.act(act, chief, "http")
    found: list[str] = []
    cursor = ""
    while True:
        page = (await client.get(f"/api/v1/alarms?limit=4{cursor}")).json()
        found += [a["id"] for a in page["items"]]
        if page["next"] is None:
            break
        cursor = f"&cursor={page['next']}"
    assert found == [f"al{n:02}" for n in reversed(range(0, 30, 3))]
    assert len(await states(client, "?state=all")) == 30


async def test_lists_of_one_station(client: httpx.AsyncClient, shop: Shop) -> None:
    elsewhere = replace(fact("al2", 1, active=True), station=BAY_2, channel=None)
    shop.records.add_alarm_facts([fact("al1", 0, active=True), elsewhere])
    assert set(await states(client, "?station=north/bay-2")) == {"al2"}


async def test_quarantine_shows_payload_and_remedy(client: httpx.AsyncClient, shop: Shop) -> None:
    shop.records.quarantine(
        [refusal(b'[{"u":"furlong"}]'), refusal(b"\xff\x00", outcome="payload")]
    )
    rows = (await client.get("/api/v1/quarantine")).json()["items"]
    assert [(r["payload"], r["payload_encoding"]) for r in rows] == [
        ("/wA=", "base64"),
        ('[{"u":"furlong"}]', "text"),
    ]
    assert rows[1]["remedy"] == "send `Cel`"
    some = (await client.get("/api/v1/quarantine?outcome=unit&limit=1")).json()
    assert (len(some["items"]), some["next"]) == (1, None)
