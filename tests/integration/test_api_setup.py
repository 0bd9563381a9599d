"""Set-up over HTTP: what is heard, what is refused and why, a plant file checked; bad input."""

from collections.abc import AsyncIterator, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import httpx
import pytest

from api_shop import BAY_1, BAY_2, FLOW, NOZZLE, T0, Shop, client_of, make_shop, put, ramp
from plants_ingest import PLANT
from records_samples import refusal
from steadybead_api.access import SETTING_UP
from steadybead_api.middleware import LARGEST_BODY_OF
from steadybead_api.setup_routes import LARGEST_TEXT
from steadybead_domain.diagnosis.clock_watch import ClockWatch
from steadybead_domain.people import Role
from steadybead_domain.readings import Columns, Quality, Reading, Reason
from steadybead_domain.times import HOUR, MINUTE, SECOND, format_rfc3339

pytestmark = pytest.mark.anyio
HEARD = "/api/v1/heard"
CHECK = "/api/v1/plant-file/check"
REASONS = "/api/v1/quarantine/reasons"


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
        opened.headers.update(shop.token(Role.MAINTENANCE, "Marta"))
        yield opened


async def items(client: httpx.AsyncClient, path: str) -> list[dict[str, Any]]:
    answer = await client.get(path)
    assert answer.status_code == 200, answer.text
    found: list[dict[str, Any]] = answer.json()["items"]
    return found


async def test_each_channel_says_what_is_heard_of_it(client: httpx.AsyncClient, shop: Shop) -> None:
    put(shop, NOZZLE, ramp(51))  # 5 Hz for 10 s
    shop.clock.advance(11)
    put(shop, FLOW, Columns.of([Reading(T0, None, 3.2, Quality.BAD, Reason.LOOP_FAULT, 1)]))
    nozzle, flow, other, drop, bay_2 = await items(client, HEARD)
    assert (nozzle["channel"], nozzle["state"]) == ("north/bay-1/gun-a/nozzle", "heard")
    assert nozzle["last_heard"] == format_rfc3339(T0 + 10 * SECOND)
    assert nozzle["per_second"] == pytest.approx(5.0)
    assert (nozzle["raw"], nozzle["wire_unit"]) == (pytest.approx(300.5), "Cel")
    assert (nozzle["value"], nozzle["unit"], nozzle["quality"]) == (300.5, "Cel", "good")
    assert (flow["raw"], flow["value"], flow["per_second"]) == (3.2, None, None)
    assert (flow["quality"], flow["reason"]) == ("bad", "loop fault")
    assert [r["state"] for r in (other, drop, bay_2)] == ["never heard"] * 3
    assert bay_2["last_heard"] is None


async def test_a_channel_that_fell_silent_keeps_its_last_rate(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    put(shop, NOZZLE, ramp(301, step_s=1.0))
    shop.clock.advance(300 + 29)
    assert (await items(client, f"{HEARD}?station=north/bay-1"))[0]["state"] == "heard"
    shop.clock.advance(2)
    nozzle = (await items(client, f"{HEARD}?station=north/bay-1"))[0]
    assert (nozzle["state"], nozzle["per_second"]) == ("silent", pytest.approx(1.0))


async def test_stations_are_counted_and_a_clock_ahead_is_seen(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    put(shop, NOZZLE, ramp(51))
    shop.clock.advance(7)
    bay_1, bay_2 = await items(client, f"{HEARD}/stations")
    assert (bay_1["station"], bay_1["channels"], bay_1["heard"]) == (str(BAY_1), 4, 1)
    assert bay_1["clock_ahead_s"] == pytest.approx(3.0)
    assert (bay_2["heard"], bay_2["last_heard"], bay_2["clock_ahead_s"]) == (0, None, None)
    shop.clock.advance(4)
    assert (await items(client, f"{HEARD}/stations"))[0]["clock_ahead_s"] is None


async def test_the_finding_on_a_clock_stands_with_its_number(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    put(shop, NOZZLE, ramp(51))
    watch, found = ClockWatch(BAY_1), []
    for minute in range(0, 200, 5):
        received = T0 + minute * MINUTE
        found += watch.note(received, received - 7 * MINUTE)
    shop.records.add_findings(found)
    shop.clock.advance(4 * HOUR / SECOND)
    bay_1 = (await items(client, f"{HEARD}/stations"))[0]
    assert bay_1["clock_ahead_s"] == pytest.approx(-420.0)
    assert "420 s behind" in bay_1["clock_words"]


async def test_refusals_are_gathered_by_topic_and_reason(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    unknown = "unknown_channel"
    rows = [refusal(b"%d" % i, i, "conflict") for i in range(5)]
    rows = [replace(r, detail=f"value {i}") for i, r in enumerate(rows)]
    rows += [replace(refusal(b"x", 20, unknown), detail="no channel 'gun-a/nozle'")] * 3
    rows += [replace(refusal(b"y", 30, unknown), detail="no channel 'gun-c/flow'")]
    rows += [replace(refusal(b"z", 10, "unknown_station"), topic="steadybead/v1/north/bay-9/senml")]
    shop.records.quarantine(rows)
    found = await items(client, REASONS)
    assert [(r["outcome"], r["rows"], r["count"]) for r in found] == [
        (unknown, 1, 1),
        (unknown, 1, 3),
        ("unknown_station", 1, 1),
        ("conflict", 5, 5),
    ]
    assert found[1]["detail"] == "no channel 'gun-a/nozle'"
    assert found[3]["detail"] == "value 4"
    assert found[3]["first_received"] == format_rfc3339(T0)
    assert found[3]["last_received"] == format_rfc3339(T0 + 4 * SECOND)
    assert all(r["remedy"] for r in found)
    newest = (await items(client, "/api/v1/quarantine?limit=1"))[0]
    assert newest["id"] == found[2]["newest"]
    since = format_rfc3339(T0 + 15 * SECOND)
    assert [r["outcome"] for r in await items(client, f"{REASONS}?start={since}")] == [unknown] * 2


async def test_a_sound_plant_file_is_described_and_compared(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    answer = await client.post(CHECK, json={"text": PLANT})
    assert answer.status_code == 200, answer.text
    found = answer.json()
    assert (found["in_order"], found["problems"], found["site"]) == (True, [], "north")
    assert found["stations"] == [
        {"station": "bay-1", "name": "", "guns": 1, "channels": 5},
        {"station": "bay-2", "name": "", "guns": 1, "channels": 3},
    ]
    assert found["channels"] == 8
    assert "north/bay-1/blower/pressure" in found["added"]
    assert found["removed"] == ["north/bay-1/gun-b/nozzle", "north/bay-1/air/filter"]
    assert "north/bay-1/gun-a/nozzle" in found["changed"]
    assert shop.services.plant().station(BAY_2) is not None  # what is in force stays in force


async def test_mistakes_come_with_line_and_remedy(client: httpx.AsyncClient) -> None:
    wrong = PLANT.replace('id = "bay-2"', 'id = "bay 2"').replace('type = "K"', 'type = "X"')
    found = (await client.post(CHECK, json={"text": wrong})).json()
    assert (found["in_order"], found["stations"], found["channels"]) == (False, [], 0)
    lines = [wrong.splitlines()[p["line"] - 1] for p in found["problems"]]
    assert 'type = "X"' in lines[0]
    assert lines[1] == 'id = "bay 2"'
    assert all(p["what"] and p["remedy"] for p in found["problems"])
    broken = (await client.post(CHECK, json={"text": PLANT + "\nid = ["})).json()
    assert "TOML" in broken["problems"][0]["what"]


async def test_a_checked_text_reads_no_file_of_the_server(
    client: httpx.AsyncClient, tmp_path: Path
) -> None:
    secret = tmp_path / "secret"
    secret.write_text("hunter2")
    answers = []
    for path in (secret, tmp_path / "none"):
        table = f'[mqtt]\nurl = "mqtt://h:1883"\nuser = "u"\npassword_file = "{path}"\n'
        answer = await client.post(CHECK, json={"text": table + PLANT})
        answers.append(answer.text)
    assert answers[0] == answers[1]
    assert "hunter2" not in answers[0]


@pytest.mark.parametrize("role", list(Role))
async def test_only_those_who_set_up_see_it(role: Role, shop: Shop) -> None:
    expected = 200 if role in SETTING_UP else 403
    async with client_of(shop.app) as client:
        client.headers.update(shop.token(role))
        for path in (HEARD, f"{HEARD}/stations"):
            assert (await client.get(path)).status_code == expected
        assert (await client.post(CHECK, json={"text": ""})).status_code == expected
    async with client_of(shop.app) as stranger:
        for path in (HEARD, f"{HEARD}/stations", REASONS):
            assert (await stranger.get(path)).status_code == 401
        assert (await stranger.post(CHECK, json={"text": ""})).status_code == 401


@pytest.mark.parametrize(
    ("body", "status"),
    [
        (b"", 422),
        (b"[]", 422),
        (b'{"text": 5}', 422),
        (b'{"text": "", "x": 1}', 422),
        (b'{"text": "\\ud800"}', 422),
        (b'{"text": "\\u0000"}', 200),
        (b'{"text": "%s"}' % (b"x" * (LARGEST_TEXT + 1)), 422),
        (b'{"text": "%s"}' % (b"\\n" * LARGEST_TEXT), 200),
        (b" " * (LARGEST_BODY_OF[CHECK] + 1), 413),
    ],
)
async def test_bad_bodies_are_answered(client: httpx.AsyncClient, body: bytes, status: int) -> None:
    headers = {"Content-Type": "application/json"}
    answer = await client.post(CHECK, content=body, headers=headers)
    assert answer.status_code == status, answer.text[:300]
    if status == 200:
        assert answer.json()["in_order"] is False


@pytest.mark.parametrize("query", ["station=x", "station=north/bay-1&limit=0", "cursor=a_b_c"])
async def test_bad_questions_are_answered(client: httpx.AsyncClient, query: str) -> None:
    assert (await client.get(f"{HEARD}?{query}")).status_code == 422
