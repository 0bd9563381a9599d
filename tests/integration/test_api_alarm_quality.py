"""The alarms' own figures over HTTP, as metrics and on pages; and while the API is away."""

from collections.abc import AsyncIterator, Iterator
from dataclasses import replace
from pathlib import Path

import httpx
import pytest
from fastapi import FastAPI
from prometheus_client import CollectorRegistry

from api_shop import T0, Shop, client_of, make_shop
from records_samples import BAY_2, fact
from steadybead_api.app import create_app
from steadybead_collector.config.notify import NotifyTarget
from steadybead_domain.alarms.codec import alarm_to_json
from steadybead_domain.alarms.delivery import Attempt, Outcome
from steadybead_domain.alarms.model import Priority
from steadybead_domain.alarms.notices import Notice, Told
from steadybead_domain.alarms.receivers import Receiver
from steadybead_domain.alarms.state import alarm_state
from steadybead_domain.people import Role
from steadybead_domain.times import MINUTE, SECOND

pytestmark = pytest.mark.anyio
QUALITY = "/api/v1/alarm-quality"


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


def come_and_go(shop: Shop, name: str, at_s: float, lasts_s: float | None, what: str = "") -> None:
    raised = replace(fact(name, at_s, active=True), fingerprint=what or name, what=what or name)
    shop.records.add_alarm_facts([raised])
    if lasts_s is not None:
        gone = replace(raised, time=raised.time + round(lasts_s * SECOND), active=False)
        shop.records.add_alarm_facts([gone])


async def test_figures_of_the_last_day(client: httpx.AsyncClient, shop: Shop) -> None:
    for i in range(12):
        come_and_go(shop, f"f{i}", 20.0 * i, 5.0)
    for i in range(3):
        come_and_go(shop, f"c{i}", 600.0 + 15.0 * i, 5.0, "rattles")
    shop.clock.advance(3600)
    found = (await client.get(QUALITY)).json()
    assert found["raised"] == 15
    assert found["most_in_ten_minutes"] == 13
    assert found["flood_share"] > 0
    assert [c["what"] for c in found["chattering"]] == ["rattles"]
    assert found["worst"][0] == {
        "fingerprint": "rattles",
        "station": "north/bay-1",
        "what": "rattles",
        "raised": 3,
    }
    # 24 h end on Monday at 8:30 by the shop's calendar, which opens at 7
    assert found["operator_hours"] == pytest.approx(1.5)
    assert found["per_operator_hour"] == pytest.approx(15 / 1.5)
    assert found["by_role"] == {"welder": 15}


async def test_a_condition_that_stood_before_the_stretch_is_still_standing(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    come_and_go(shop, "old", -5 * 86_400.0, None, "stands for days")
    come_and_go(shop, "past", -5 * 86_400.0, 60.0, "over long ago")
    found = (await client.get(QUALITY)).json()
    assert [c["what"] for c in found["standing"]] == ["stands for days"]
    assert found["raised"] == 0


@pytest.mark.parametrize(
    "query",
    [
        "?start=2026-05-04T07:30:00Z&end=2026-05-04T07:30:00Z",
        "?start=2026-01-01T00:00:00Z&end=2026-05-04T07:30:00Z",
        "?start=yesterday",
    ],
)
async def test_a_wrong_stretch_is_refused_with_a_remedy(
    client: httpx.AsyncClient, query: str
) -> None:
    answer = await client.get(QUALITY + query)
    assert answer.status_code == 422
    assert answer.json()["title"]


async def test_metrics_carry_the_figures_and_name_nothing(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    come_and_go(shop, "al1", 0.0, 5.0)
    shop.clock.advance(60)
    text = (await client.get("/metrics")).text
    assert "steadybead_alarms_raised 1.0" in text
    assert "steadybead_alarms_flood_ratio 0.0" in text
    assert "bay-1" not in text


async def test_notices_are_listed_with_their_attempts(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    notices = shop.records.notices
    told = (Told("al1", T0, "f"),)
    notices.add([Notice(f"n{i}", "mail", T0 + i, f"s{i}", "body", told) for i in range(3)])
    notices.note("n0", Attempt(T0 + 5, Outcome.DELIVERED))
    notices.note("n1", Attempt(T0 + 6, Outcome.FAILED, "no answer"))
    page = (await client.get("/api/v1/notices?limit=2")).json()
    rest = (await client.get(f"/api/v1/notices?cursor={page['next']}")).json()
    assert [(n["id"], n["state"]) for n in [*page["items"], *rest["items"]]] == [
        ("n2", "waiting"),
        ("n1", "waiting"),
        ("n0", "delivered"),
    ]
    assert page["items"][1]["attempts"][0]["detail"] == "no answer"
    assert rest["next"] is None


async def test_pages_show_figures_receivers_and_a_dead_one(tmp_path: Path) -> None:
    shop = make_shop(tmp_path)
    targets = (NotifyTarget(Receiver("night mail"), folder="messages"),)
    come_and_go(shop, "al1", 0.0, None, "gun a: no air <b>")
    shop.records.notices.add([Notice("n1", "night mail", T0, "[x] high", "body", ())])
    shop.records.notices.note("n1", Attempt(T0 + SECOND, Outcome.FAILED, "connection refused"))
    shop.clock.advance(60)
    app = shop_app(shop, targets)
    async with client_of(app) as client:
        client.headers.update(shop.token(Role.VIEWER))
        page = (await client.get("/alarm-quality?days=7")).text
        assert "night mail" in page
        assert "connection refused" in page
        assert "gun a: no air &lt;b&gt;" in page
        one = (await client.get("/alarms/al1")).text
        for word in ("Likely cause", "What to do", "Value against limit", "Who must act"):
            assert word in one
        assert "gun-a/flow" in one
        assert (await client.get("/alarms/nothing")).status_code == 404
        assert (await client.get("/alarms")).status_code == 200
        assert (await client.get("/work-list")).status_code == 200
        client.headers.pop("Authorization")
        assert (await client.get("/alarms/al1")).status_code == 303
    shop.close()


def shop_app(shop: Shop, targets: tuple[NotifyTarget, ...]) -> FastAPI:
    return create_app(replace(shop.services, targets=targets, registry=CollectorRegistry()))


async def test_an_alarm_that_clears_while_the_api_is_away_is_gone_when_it_is_back(
    tmp_path: Path,
) -> None:
    """The new API hears what the broker retains, and reads the rest from the records."""
    first = make_shop(tmp_path)
    raised = fact("al1", 0, active=True)
    other = replace(fact("al2", 0, active=True), station=BAY_2, priority=Priority.LOW)
    first.records.add_alarm_facts([raised, other])
    first.board.connected(T0)
    for told in (raised, other):
        alarm = alarm_state([told], [], T0)
        payload = httpx.Response(200, json=alarm_to_json(alarm)).content
        first.board.take(f"{told.station}/alarm/{told.alarm}", payload, retained=True)
    async with client_of(first.app) as client:
        client.headers.update(first.token(Role.ADMINISTRATOR))
        await client.post("/api/v1/alarms/al1/acknowledge")
    first.close()
    again = make_shop(tmp_path)
    again.records.add_alarm_facts([replace(raised, time=T0 + MINUTE, active=False)])
    again.clock.advance(3600)
    again.board.connected(again.clock())
    payload = httpx.Response(200, json=alarm_to_json(alarm_state([other], [], T0))).content
    again.board.take(f"{BAY_2}/alarm/al2", payload, retained=True)
    async with client_of(again.app) as client:
        client.headers.update(again.token(Role.ADMINISTRATOR))
        items = (await client.get("/api/v1/alarms")).json()["items"]
        assert [a["id"] for a in items] == ["al2"]
        page = (await client.get("/alarms")).text
        assert "/alarms/al2" in page
        assert "/alarms/al1" not in page
    again.close()
