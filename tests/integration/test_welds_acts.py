"""Amendments, late entries, sign-offs and procedures over HTTP, and their pages."""

from collections.abc import AsyncIterator, Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from api_shop import BAY_1, FLOW, NOZZLE, T0, Shop, client_of, make_shop, put, ramp
from steadybead_api.services import AccessPolicy
from steadybead_api.verdict_keeper import SETTLED, judge_waiting
from steadybead_domain.people import Role
from steadybead_domain.times import HOUR, MINUTE, SECOND, format_rfc3339

pytestmark = pytest.mark.anyio
WELDS = "/api/v1/welds"


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    opened = make_shop(tmp_path)
    opened.clock.now = T0 + 2 * HOUR
    yield opened
    opened.close()


@pytest.fixture
async def client(shop: Shop) -> AsyncIterator[httpx.AsyncClient]:
    async with client_of(shop.app) as opened:
        opened.headers.update(shop.token(Role.QUALITY, "Quinn"))
        yield opened


async def laid(client: httpx.AsyncClient, **more: Any) -> dict[str, Any]:
    """Enter a weld of ten minutes from T0 on."""
    body = {"station": str(BAY_1), "gun": "a", "time": at(0), "stop": at(10), **more}
    answer = await client.post(WELDS, json={"reason": "forgotten", **body})
    assert answer.status_code in {200, 201}, answer.text
    found: dict[str, Any] = answer.json()
    return found


def at(minutes: float) -> str:
    return format_rfc3339(T0 + int(minutes * MINUTE))


async def test_a_late_entry_keeps_its_times_and_details(client: httpx.AsyncClient) -> None:
    weld = await laid(client, job="4711", seam="12", seam_length_mm=480, visual="accepted")
    assert (weld["start"], weld["stop"], weld["ended_by"]) == (at(0), at(10), "late entry")
    assert (weld["seam_length_mm"], weld["visual"]) == (480.0, "accepted")
    [item] = (await client.get(f"{WELDS}/{weld['id']}/amendments")).json()["items"]
    assert (item["reason"], item["author"], item["changes"]) == ("forgotten", "Quinn", [])


@pytest.mark.parametrize(
    ("body", "where"),
    [
        ({"reason": ""}, "reason"),
        ({"stop": at(-1)}, "stop"),
        ({"stop": at(600)}, "stop"),
        ({"time": None}, "time"),
        ({"seam_length_mm": -3}, "seam_length_mm"),
        ({"weather": "fog"}, "weather"),
    ],
)
async def test_a_late_entry_that_cannot_be_names_the_field(
    client: httpx.AsyncClient, body: dict[str, Any], where: str
) -> None:
    whole = {"station": str(BAY_1), "gun": "a", "time": at(0), "stop": at(10), "reason": "late"}
    answer = await client.post(WELDS, json={**whole, **body})
    assert answer.status_code == 422
    assert where in [error["at"] for error in answer.json()["errors"]]
    assert (await client.get(WELDS)).json()["items"] == []


async def test_an_amendment_shows_before_and_after(client: httpx.AsyncClient) -> None:
    weld = await laid(client, job="4711")
    address = f"{WELDS}/{weld['id']}/amendments"
    refused = await client.post(address, json={"job": "4712"})
    assert refused.status_code == 422
    assert [e["at"] for e in refused.json()["errors"]] == ["reason"]
    answer = await client.post(address, json={"job": "4712", "stop": at(9), "reason": "typo"})
    assert answer.status_code == 201
    assert (answer.json()["job"], answer.json()["stop"]) == ("4712", at(9))
    assert (await client.post(address, json={"job": "4712"})).status_code == 200
    item = (await client.get(address)).json()["items"][-1]
    changes = {c["field"]: (c["before"], c["after"]) for c in item["changes"]}
    assert changes == {"job": ("4711", "4712"), "stop": (at(10), at(9))}
    assert (await client.post(f"{WELDS}/nobody/amendments", json={})).status_code == 404
    assert (await client.post(address, json={"gun": "b"})).status_code == 422


async def test_a_procedure_named_later_gets_the_revision_of_that_day(
    client: httpx.AsyncClient,
) -> None:
    weld = await laid(client)
    await revise(client, 2, rod="round, 4 mm")
    address = f"{WELDS}/{weld['id']}/amendments"
    other = {"procedure": "pe-hd-speed-nozzle", "reason": "other sheet"}
    assert (await client.post(address, json=other)).json()["procedure_revision"] == 1
    back = {"procedure": "pp-speed-nozzle", "reason": "it was PP after all"}
    assert (await client.post(address, json=back)).json()["procedure_revision"] == 1
    unknown = await client.post(address, json={"procedure": "nothing", "reason": "x"})
    assert unknown.status_code == 422


async def test_a_welder_fills_in_but_does_not_rename_the_welder(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    weld = await laid(client, welder="Anna")
    address = f"{WELDS}/{weld['id']}/amendments"
    welder = shop.token(Role.WELDER, "Bo")
    assert (await client.post(address, json={"beads": 3}, headers=welder)).status_code == 201
    asked = await client.post(address, json={"welder": "Anna"}, headers=welder)
    assert asked.status_code == 403  # or it would tell by 200 whether the guess was right
    viewer = shop.token(Role.VIEWER, "Vi")
    assert (await client.post(address, json={"beads": 4}, headers=viewer)).status_code == 403


async def test_names_stay_hidden_in_amendments_and_sign_offs(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    weld = await laid(client, qualification="I-3")
    address = f"{WELDS}/{weld['id']}"
    await client.post(f"{address}/amendments", json={"welder": "Anna"})
    signing = shop.token(Role.WELDER, "Anna")
    await client.post(f"{address}/signatures", json={"as_role": "welder"}, headers=signing)
    viewer = shop.token(Role.VIEWER, "Vi")
    for path in ("", "/amendments", "/signatures"):
        told = (await client.get(address + path, headers=viewer)).text
        assert "Anna" not in told.replace('"author":"Anna"', "")
        assert "I-3" not in told
    page = (await client.get(f"/welds/{weld['id']}", headers=viewer)).text
    assert "Anna" not in page
    assert "I-3" not in page
    mine = (await client.get(f"{address}/signatures", headers=signing)).json()["items"]
    assert mine[0]["name"] == "Anna"


async def test_two_people_sign_off(client: httpx.AsyncClient, shop: Shop) -> None:
    weld = await laid(client)
    address = f"{WELDS}/{weld['id']}/signatures"
    welder = shop.token(Role.WELDER, "Anna")
    as_supervisor = {"as_role": "supervisor"}
    assert (await client.post(address, json=as_supervisor, headers=welder)).status_code == 403
    first = await client.post(address, json={"as_role": "welder"}, headers=welder)
    assert first.status_code == 201
    assert (await client.post(address, json=as_supervisor)).json()["covers"]
    await client.post(f"{WELDS}/{weld['id']}/amendments", json={"remarks": "a scratch"})
    items = (await client.get(address)).json()["items"]
    assert [i["covers"] for i in items] == [False, False]
    assert (await client.post(address, json={"as_role": "chief"})).status_code == 422


async def revise(client: httpx.AsyncClient, revision: int, **changes: Any) -> httpx.Response:
    known = (await client.get("/api/v1/procedures/pp-speed-nozzle")).json()
    windows = ("nozzle_temperature", "air_flow", "travel_speed", "rod_force")
    texts = ("id", "title", "material", "process", "flow_reference", "source", "edition", "rod")
    body = {n: known[n] for n in texts}
    body |= {n: {"low": known[n]["low"], "high": known[n]["high"]} for n in windows}
    more = {"revision": revision, "reason": "trials", **changes}
    return await client.post("/api/v1/procedures", json={**body, **more})


async def test_a_procedure_is_revised_approved_and_shown(client: httpx.AsyncClient) -> None:
    answer = await revise(client, 2, nozzle_temperature={"low": 305, "high": 335})
    assert answer.status_code == 201, answer.text
    item = answer.json()
    assert item["provenance"]["nozzle_temperature"] == "set by the shop"
    assert (item["revision"], item["approved_at"], item["author"]) == (2, None, "Quinn")
    again = await revise(client, 2, nozzle_temperature={"low": 305, "high": 335})
    assert again.status_code == 200
    other = await revise(client, 2, nozzle_temperature={"low": 310, "high": 335})
    assert other.status_code == 409
    approve = "/api/v1/procedures/pp-speed-nozzle/approve"
    assert (await client.post(approve, json={"revision": 2})).json()["approved_by"] == "Quinn"
    assert (await client.post(approve, json={"revision": 9})).status_code == 404
    page = (await client.get("/procedures/pp-speed-nozzle")).text
    assert "305 – 335 °C" in page
    assert "set by the shop" in page
    old = (await client.get("/procedures/pp-speed-nozzle?revision=1")).text
    assert "300 – 340 °C" in old


async def test_a_bad_procedure_names_every_field(client: httpx.AsyncClient, shop: Shop) -> None:
    answer = await revise(
        client, 2, air_flow={"low": 60, "high": 50}, process="9", reason="", title=" "
    )
    assert answer.status_code == 422
    found = {error["at"] for error in answer.json()["errors"]}
    assert found == {"air_flow", "process", "reason", "title"}
    welder = shop.token(Role.WELDER, "Anna")
    body = {"revision": 1}
    path = "/api/v1/procedures/pp-speed-nozzle/approve"
    assert (await client.post(path, json=body, headers=welder)).status_code == 403


async def test_waiting_welds_are_judged_and_then_found(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    put(shop, NOZZLE, ramp(4000))
    put(shop, FLOW, ramp(4000))
    weld = await laid(client, job="4711", seam="12")
    assert (await client.get(f"{WELDS}?verdict=cannot+tell")).json()["items"] == []
    assert judge_waiting(shop.services) == 1
    assert judge_waiting(shop.services) == 0
    told = (await client.get(f"{WELDS}/{weld['id']}/verdict")).json()["verdict"]
    [found] = (await client.get(f"{WELDS}?verdict={told}")).json()["items"]
    assert found["id"] == weld["id"]
    page = (await client.get(f"/welds?job=4711&seam=12&verdict={told}")).text
    assert f'href="/welds/{weld["id"]}"' in page
    assert len(shop.records.welds.amendments(weld["id"])) == 1


async def test_a_weld_that_has_just_ended_waits_for_its_last_readings(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    started = await client.post(WELDS, json={"station": str(BAY_1), "gun": "a"})
    shop.clock.advance(60)
    await client.post(f"{WELDS}/{started.json()['id']}/stop")
    assert judge_waiting(shop.services) == 0
    shop.clock.advance(SETTLED / SECOND + 1)
    assert judge_waiting(shop.services) == 1


@pytest.mark.parametrize(
    "path", ["/welds", "/welds/new", "/procedures", "/procedures/new", "/quality", "/?wall"]
)
async def test_pages_open(client: httpx.AsyncClient, path: str) -> None:
    answer = await client.get(path)
    assert answer.status_code == 200
    assert "<h1" in answer.text


async def test_a_search_by_welder_is_for_quality(client: httpx.AsyncClient, shop: Shop) -> None:
    await laid(client, welder="Anna")
    assert "Bay one" in (await client.get("/welds?welder=anna")).text.split("<tbody>")[1]
    welder = shop.token(Role.WELDER, "Bo")
    refused = (await client.get("/welds?welder=anna", headers=welder)).text
    assert "needs the quality role" in refused
    assert "<tbody>" not in refused


@pytest.mark.parametrize("day", ["2026-13-01", "yesterday", "0001-01-01"])
async def test_a_day_that_is_none_is_said(client: httpx.AsyncClient, day: str) -> None:
    assert "This is no day" in (await client.get(f"/welds?day={day}")).text


async def test_a_day_is_one_of_the_site(client: httpx.AsyncClient, shop: Shop) -> None:
    # Lisbon has summer time in May: 23:30 UTC belongs to the next day there
    shop.clock.now = T0 + 48 * HOUR
    late = {"time": "2026-05-04T23:30:00Z", "stop": "2026-05-04T23:40:00Z"}
    weld = await laid(client, **late)
    assert weld["id"] in (await client.get("/welds?day=2026-05-05")).text
    assert weld["id"] not in (await client.get("/welds?day=2026-05-04")).text


async def test_hot_time_without_a_record_is_on_the_quality_page(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    put(shop, NOZZLE, ramp(9000))  # half an hour at 300 °C and more
    shop.clock.now = T0 + HOUR
    before = (await client.get("/quality")).text
    assert "Bay one, a" in before.split('id="hot"')[1]
    await laid(client, stop=at(30))
    after = (await client.get("/quality")).text
    assert "Bay one, a" not in after.split('id="hot"')[1]


FORM = {"Content-Type": "application/x-www-form-urlencoded"}


@pytest.mark.parametrize(
    ("body", "headers"),
    [("token=wrong", {}), ("next=%2Fwelds", {}), ("token=x", {"Origin": "http://evil.example"})],
)
async def test_a_sign_in_form_that_fails_is_shown_again(
    shop: Shop, body: str, headers: dict[str, str]
) -> None:
    app = shop.with_access(AccessPolicy(read="login"))
    async with client_of(app) as stranger:
        answer = await stranger.post("/login", content=body, headers={**FORM, **headers})
        assert answer.status_code == 303
        page = await stranger.get(answer.headers["location"])
    assert page.status_code == 200
    assert "<form" in page.text
    problem = page.text.split('id="problem"')[1].split("</p>")[0]
    assert "hidden" not in problem.split(">")[0]
