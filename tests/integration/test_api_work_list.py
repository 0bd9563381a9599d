"""The work list over HTTP and as a calendar feed, read back by an independent parser."""

from collections.abc import AsyncIterator, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import pytest
from icalendar import Calendar

from api_shop import FLOW, T0, Shop, client_of, make_shop, put
from calibration_samples import FITTING, INSTRUMENT
from maintenance_samples import drift_finding, filter_finding
from records_samples import CHIEF
from steadybead_api.work import running_share
from steadybead_collector.records.instruments import FittingRecord
from steadybead_collector.records.revisions import Act
from steadybead_domain.people import Role
from steadybead_domain.readings import Columns
from steadybead_domain.times import DAY, HOUR, MINUTE, SECOND

pytestmark = pytest.mark.anyio
FEED = "/api/v1/work-list.ics"


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    opened = make_shop(tmp_path)
    opened.records.add_findings([filter_finding(hours=30.0), drift_finding()])
    opened.clock.advance(60)
    yield opened
    opened.close()


@pytest.fixture
async def client(shop: Shop) -> AsyncIterator[httpx.AsyncClient]:
    async with client_of(shop.app) as opened:
        yield opened


def blowing(shop: Shop, hours: list[tuple[int, int]], flow: float = 50.0) -> None:
    """Store a reading a minute: air in [start, end) hours before now, none else."""
    now = shop.clock()
    for start, end in hours:
        time = np.arange(now - start * HOUR, now - end * HOUR, MINUTE, dtype=np.int64)
        n = len(time)
        put(
            shop,
            FLOW,
            Columns(
                time,
                np.full(n, flow),
                np.full(n, flow),
                np.zeros(n, np.uint8),
                np.zeros(n, np.uint8),
                np.ones(n, np.uint32),
            ),
        )


async def test_the_list_has_days_bounds_and_advice(client: httpx.AsyncClient, shop: Shop) -> None:
    headers = shop.token(Role.VIEWER)
    answer = await client.get("/api/v1/work-list", headers=headers)
    items = answer.json()["items"]
    assert [i["kind"] for i in items] == ["check", "filter change"]
    check, change = items
    assert check["overdue"]
    assert "needle probe" in check["to_do"]
    assert change["earliest"] < change["due"] < change["latest"]
    assert not change["overdue"]
    assert (await client.get("/api/v1/work-list")).status_code == 401


async def test_the_feed_is_a_calendar(client: httpx.AsyncClient, shop: Shop) -> None:
    answer = await client.get(FEED, headers=shop.token(Role.MAINTENANCE))
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    text = answer.content
    assert text.startswith(b"BEGIN:VCALENDAR\r\n")
    assert max(len(line) for line in text.split(b"\r\n")) <= 75  # RFC 5545, 3.1
    calendar: Any = Calendar.from_ical(text)
    assert (calendar["VERSION"], calendar["METHOD"]) == ("2.0", "PUBLISH")
    events: dict[str, Any] = {str(e["UID"]): e for e in calendar.walk("VEVENT")}
    change = events["filter-north-bay-1@steadybead"]
    assert str(change["SUMMARY"]).startswith("Bay one: intake filter: about 30 running hours left")
    day = change["DTSTART"].dt
    listed = (await client.get("/api/v1/work-list", headers=shop.token(Role.VIEWER))).json()
    due = next(i["due"] for i in listed["items"] if i["kind"] == "filter change")
    assert day.isoformat() == due[:10]
    assert "4 times in 5 between" in str(change["DESCRIPTION"])
    assert len(events) == 2


async def test_an_address_takes_a_viewers_token_and_no_other(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    def bare(role: Role) -> str:
        return shop.token(role)["Authorization"].removeprefix("Bearer ")

    assert (await client.get(FEED)).status_code == 401
    assert (await client.get(f"{FEED}?token=sb_unknown")).status_code == 401
    refused = await client.get(f"{FEED}?token={bare(Role.ADMINISTRATOR)}")
    assert (refused.status_code, "--role viewer" in refused.json()["detail"]) == (403, True)
    assert (await client.get(f"{FEED}?token={bare(Role.VIEWER)}")).status_code == 200
    elsewhere = await client.get(f"/api/v1/work-list?token={bare(Role.VIEWER)}")
    assert elsewhere.status_code == 401


async def test_calibrations_that_are_due_stand_on_it(client: httpx.AsyncClient, shop: Shop) -> None:
    act = Act(CHIEF, shop.clock(), "test")
    fitting = replace(FITTING, start=T0 - DAY)
    nozzle = next(c for c in shop.services.plant().channels() if c.id == FITTING.channel)
    shop.records.instruments.keep(INSTRUMENT, act)
    shop.records.instruments.keep_fitting(FittingRecord("f-1", fitting), nozzle, act)
    items = (await client.get("/api/v1/work-list", headers=shop.token(Role.VIEWER))).json()["items"]
    (due,) = [i for i in items if i["kind"] == "calibration"]
    assert due["overdue"]
    assert "K-0007 (type K, class 1): no calibration on record" in due["what"]


async def test_the_share_of_running_is_measured(client: httpx.AsyncClient, shop: Shop) -> None:
    """The calendar's day has 9 hours, air blew for 4 of them; Monday counts from the first air."""
    station = shop.services.plant().stations[0]
    assert running_share(shop.services, station, shop.clock()) == 1.0
    shop.clock.now = T0 - T0 % DAY + 11 * DAY + 15 * HOUR + MINUTE  # Friday, after work
    for back in range(5):
        blowing(shop, [(24 * back + 6, 24 * back + 2)])
    shop.clock.now += SECOND
    share = running_share(shop.services, station, shop.clock())
    assert share == pytest.approx(20 / 42, rel=0.05)
    assert client is not None
