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


async def test_out_of_service_needs_a_reason_and_lasts_until_somebody_returns_it(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    shop.records.add_alarm_facts([fact("al1", 0, active=True)])
    path = "/api/v1/alarms/al1"
    assert (await client.post(f"{path}/take-out-of-service", json={})).status_code == 422
    blank = await client.post(f"{path}/take-out-of-service", json={"reason": "  "})
    assert (blank.status_code, "give a reason" in blank.json()["detail"]) == (422, True)
    away = await client.post(f"{path}/take-out-of-service", json={"reason": "gun is at repair"})
    assert away.json()["state"] == "out of service"
    shop.clock.advance(40 * 86_400)
    assert await states(client) == {"al1": "out of service"}
    assert (await client.post(f"{path}/return-to-service")).json()["state"] == "unacknowledged"
    told = (await client.get(f"{path}/history")).json()
    assert [(a["kind"], a["actor"], a["reason"]) for a in told["acts"]] == [
        ("take out of service", "Chief", "gun is at repair"),
        ("return to service", "Chief", ""),
    ]
    assert [f["active"] for f in told["facts"]] == [True]


async def test_what_is_over_cannot_be_put_away(client: httpx.AsyncClient, shop: Shop) -> None:
    shop.records.add_alarm_facts([fact("al1", 0, active=True)])
    await client.post("/api/v1/alarms/al1/acknowledge")
    shop.records.add_alarm_facts([fact("al1", 60, active=False)])
    shelf = {"until": "2026-05-04T08:30:00Z", "reason": "late"}
    for path, body in (("shelve", shelf), ("take-out-of-service", {"reason": "late"})):
        answer = await client.post(f"/api/v1/alarms/al1/{path}", json=body)
        assert (answer.status_code, "is over" in answer.json()["detail"]) == (409, True)
    assert await states(client) == {}


async def test_two_browsers_at_once_make_one_acknowledgement(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    shop.records.add_alarm_facts([fact("al1", 0, active=True)])
    other = shop.token(Role.WELDER, "Ana")
    first = await client.post("/api/v1/alarms/al1/acknowledge")
    shop.clock.advance(1)
    second = await client.post("/api/v1/alarms/al1/acknowledge", headers=other)
    assert first.json() == second.json()
    assert second.json()["acknowledged_by"] == "Chief"
    assert len((await client.get("/api/v1/alarms/al1/history")).json()["acts"]) == 1


async def test_an_acknowledgement_of_an_older_raise_is_not_one_of_the_newer(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    """The alarm came back while a page still showed its first raise."""
    raised = fact("al1", 0, active=True)
    shop.records.add_alarm_facts(
        [raised, fact("al1", 5, active=False), fact("al1", 9, active=True)]
    )
    shop.clock.advance(10)
    seen = {"of_raise": "2026-05-04T07:30:00Z"}
    answer = (await client.post("/api/v1/alarms/al1/acknowledge", json=seen)).json()
    assert answer["state"] == "unacknowledged"
    again = {"of_raise": answer["last_raised"]}
    answer = (await client.post("/api/v1/alarms/al1/acknowledge", json=again)).json()
    assert answer["state"] == "acknowledged"


async def test_welders_acknowledge_but_do_not_put_away(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    shop.records.add_alarm_facts([fact("al1", 0, active=True)])
    welder = shop.token(Role.WELDER)
    for path in ("shelve", "unshelve", "take-out-of-service", "return-to-service"):
        body = {"until": "2026-05-04T08:30:00Z", "reason": "noise"}
        answer = await client.post(f"/api/v1/alarms/al1/{path}", json=body, headers=welder)
        assert answer.status_code == 403


async def test_a_station_that_is_on_again_leaves_nothing_to_acknowledge(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    silent = replace(fact("al1", 0, active=True), kind="station_silent", gun=None, channel=None)
    shop.records.add_alarm_facts([silent])
    assert await states(client) == {"al1": "unacknowledged"}
    shop.records.add_alarm_facts([replace(silent, time=silent.time + SECOND, active=False)])
    assert await states(client) == {}


async def test_act_on_nothing_is_not_found(client: httpx.AsyncClient) -> None:
    body = {"until": "2026-05-04T08:30:00Z", "reason": "why"}
    for path in ("acknowledge", "shelve", "unshelve", "take-out-of-service", "return-to-service"):
        answer = await client.post(
            f"/api/v1/alarms/al9/{path}", json={} if path == "acknowledge" else body
        )
        assert (answer.status_code, answer.json()["detail"]) == (404, "there is no alarm al9")
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
