"""Entries that a device sends later than they were made: their times, their order, each once."""

from collections.abc import AsyncIterator, Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from api_shop import BAY_1, T0, Shop, client_of, make_shop
from steadybead_domain.people import Role
from steadybead_domain.times import HOUR, MINUTE, SECOND, format_rfc3339

pytestmark = pytest.mark.anyio
WELDS = "/api/v1/welds"
NOT_SENT = {"author", "time", "approved_by", "approved_at", "provenance"}


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    opened = make_shop(tmp_path)
    opened.clock.now = T0 + HOUR
    yield opened
    opened.close()


@pytest.fixture
async def client(shop: Shop) -> AsyncIterator[httpx.AsyncClient]:
    async with client_of(shop.app) as opened:
        opened.headers.update(shop.token(Role.WELDER, "Wanda"))
        yield opened


def at(minutes: float) -> str:
    return format_rfc3339(T0 + int(minutes * MINUTE))


async def start(client: httpx.AsyncClient, weld: str, minutes: float, **more: Any) -> Any:
    body = {"station": str(BAY_1), "gun": "a", "weld": weld, "time": at(minutes), **more}
    return await client.post(WELDS, json=body)


async def stop(client: httpx.AsyncClient, weld: str, minutes: float) -> Any:
    return await client.post(f"{WELDS}/{weld}/stop", json={"time": at(minutes)})


async def test_start_stop_and_what_was_seen_keep_the_times_of_the_act(
    client: httpx.AsyncClient,
) -> None:
    seen = {"visual": "accepted", "entry": "e-1", "acted": at(11)}
    for status in ((201, 200, 201), (200, 200, 200)):  # all of it twice: the answers were lost
        answers = (
            await start(client, "w-1", 0, job="4711"),
            await stop(client, "w-1", 10),
            await client.post(f"{WELDS}/w-1/amendments", json=seen),
        )
        assert tuple(a.status_code for a in answers) == status
    weld = (await client.get(f"{WELDS}/w-1")).json()
    assert (weld["start"], weld["stop"], weld["visual"]) == (at(0), at(10), "accepted")
    [item] = (await client.get(f"{WELDS}/w-1/amendments")).json()["items"]
    assert (item["acted"], item["time"]) == (at(11), at(60))


async def test_a_start_behind_a_later_record_does_not_end_that_one(
    client: httpx.AsyncClient,
) -> None:
    assert (await start(client, "w-other", 30)).status_code == 201
    answer = await start(client, "w-mine", 5)
    assert answer.status_code == 409
    assert answer.json()["type"] == "urn:steadybead:problem:later-record"
    assert "as a late entry" in answer.json()["detail"]
    late = await start(client, "w-mine", 5, stop=at(20), reason="made without network")
    assert late.status_code == 201
    other = (await client.get(f"{WELDS}/w-other")).json()
    assert other["stop"] is None
    assert (await start(client, "w-other", 30)).status_code == 200  # its repeat is still one


async def test_a_gun_that_was_started_before_is_taken_over_as_ever(
    client: httpx.AsyncClient,
) -> None:
    await start(client, "w-1", 5)
    assert (await start(client, "w-2", 20)).status_code == 201
    first = (await client.get(f"{WELDS}/w-1")).json()
    assert (first["stop"], first["ended_by"]) == (at(20), "next start")


async def test_clocks_that_differ_a_little_stop_nothing(client: httpx.AsyncClient) -> None:
    await start(client, "w-1", 5)
    answer = await stop(client, "w-1", 5 - 0.1)
    assert (answer.status_code, answer.json()["stop"]) == (200, at(5))
    await start(client, "w-2", 20)
    assert (await stop(client, "w-2", 19)).status_code == 422


async def test_a_procedure_is_that_of_the_time_of_the_start(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    revision = (await client.get("/api/v1/procedures/pp-speed-nozzle")).json()
    shop.clock.now = T0 + 2 * HOUR
    writer = shop.token(Role.QUALITY, "Quinn")
    told = {n: v for n, v in revision.items() if n not in NOT_SENT and v is not None}
    for window in [v for v in told.values() if isinstance(v, dict)]:
        window.pop("unit")
    body = {**told, "revision": revision["revision"] + 1, "note": "newer", "reason": "newer"}
    kept = await client.post("/api/v1/procedures", json=body, headers=writer)
    assert kept.status_code == 201, kept.text
    shop.clock.advance(60 * SECOND)
    later = (await start(client, "w-then", 60, gun="b")).json()
    now = (await client.post(WELDS, json={"station": str(BAY_1), "gun": "a"})).json()
    assert now["procedure_revision"] == later["procedure_revision"] + 1


@pytest.mark.parametrize("acted", ["1999-01-01T00:00:00Z", "2099-01-01T00:00:00Z", "soon"])
async def test_a_time_that_cannot_be_is_refused(client: httpx.AsyncClient, acted: str) -> None:
    await start(client, "w-1", 0)
    body = {"visual": "accepted", "acted": acted}
    assert (await client.post(f"{WELDS}/w-1/amendments", json=body)).status_code == 422


async def test_an_entry_of_another_record_is_refused(client: httpx.AsyncClient) -> None:
    for weld in ("w-1", "w-2"):
        await start(client, weld, 0 if weld == "w-1" else 30)
    body = {"visual": "accepted", "entry": "e-1"}
    assert (await client.post(f"{WELDS}/w-1/amendments", json=body)).status_code == 201
    answer = await client.post(f"{WELDS}/w-2/amendments", json=body)
    assert (answer.status_code, answer.json()["type"]) == (409, "urn:steadybead:problem:entry")
