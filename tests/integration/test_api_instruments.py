"""Instruments, calibrations, reference checks, impact and worth over HTTP."""

from collections.abc import AsyncIterator, Iterator
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import pytest

from api_shop import FLOW, NOZZLE, T0, Shop, client_of, make_shop, put, ramp
from records_samples import start, stop
from steadybead_domain.people import Role
from steadybead_domain.times import DAY, HOUR, SECOND, format_rfc3339

pytestmark = pytest.mark.anyio
LATER = T0 + 30 * DAY
API = "/api/v1"
INSTRUMENT = {
    "id": "tc-7",
    "serial": "K-0007",
    "kind": "type K, class 1",
    "unit": "Cel",
    "tolerance": 2.0,
    "interval_days": 365,
}
CALIBRATION = {
    "id": "cal-1",
    "instrument": "tc-7",
    "performed": format_rfc3339(T0 + 10 * SECOND),
    "kind": "piecewise",
    "unit": "Cel",
    "points": [
        {"reference": 100.0, "as_found": 101.0},
        {"reference": 300.0, "as_found": 305.0},
        {"reference": 500.0, "as_found": 503.0},
    ],
    "expanded_uncertainty": 1.0,
    "reference_instrument": "dry block 12",
    "certificate": "2026-0417",
}
CHECK = {
    "id": "check-1",
    "channel": str(NOZZLE),
    "time": format_rfc3339(T0 + 60 * SECOND),
    "reference": 312.0,
    "shown": 304.0,
    "nozzle": "speed 5 mm",
    "reference_instrument": "needle probe 44-12",
    "expanded_uncertainty": 2.0,
    "flow_l_min": 50.0,
}


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    opened = make_shop(tmp_path)
    opened.clock.now = LATER
    yield opened
    opened.close()


@pytest.fixture
async def client(shop: Shop) -> AsyncIterator[httpx.AsyncClient]:
    async with client_of(shop.app) as opened:
        opened.headers.update(shop.token(Role.MAINTENANCE, "Rui"))
        yield opened


async def entered(client: httpx.AsyncClient, path: str, body: dict[str, Any]) -> Any:
    answer = await client.post(f"{API}/{path}", json=body)
    assert answer.status_code == 201, answer.text
    return answer.json()


async def fitted(client: httpx.AsyncClient) -> None:
    await entered(client, "instruments", INSTRUMENT)
    body = {"id": "f-1", "channel": str(NOZZLE), "start": format_rfc3339(T0 - DAY)}
    await entered(client, "instruments/tc-7/fittings", body)


async def readings(client: httpx.AsyncClient, figures: str, points: str = "") -> Any:
    query = {"channel": str(NOZZLE), "start": format_rfc3339(T0), "as": figures}
    query["end"] = format_rfc3339(T0 + 100 * SECOND)
    if points:
        query["points"] = points
    answer = await client.get(f"{API}/readings", params=query)
    assert answer.status_code == 200
    return answer.json()["items"]


async def test_a_calibration_changes_the_recalibrated_readings_and_not_the_recorded(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    put(shop, NOZZLE, ramp(100, 0.2))
    await fitted(client)
    before = await readings(client, "recorded")
    assert await readings(client, "recalibrated") == before
    await entered(client, "calibrations", CALIBRATION)
    assert await readings(client, "recorded") == before
    after = [r["value"] for r in await readings(client, "recalibrated")]
    values = [r["value"] for r in before]
    assert after[:50] == values[:50]
    # by hand: correction -1 K at 101 shown, -5 K at 305 shown, straight between them
    by_hand = [v - (1 + 4 * (v - 101) / 204) for v in values[50:]]
    assert after[50:] == pytest.approx(by_hand)


async def test_summaries_are_recalibrated_exactly(client: httpx.AsyncClient, shop: Shop) -> None:
    put(shop, NOZZLE, ramp(100, 0.2))
    await fitted(client)
    await entered(client, "calibrations", CALIBRATION)
    single = [r["value"] for r in await readings(client, "recalibrated")]
    (bucket,) = await readings(client, "recalibrated", "1")
    assert bucket["mean"] == pytest.approx(np.mean(single))
    assert (bucket["min"], bucket["max"]) == pytest.approx((min(single), max(single)))
    (recorded,) = await readings(client, "recorded", "1")
    assert recorded["mean"] == pytest.approx(300.495)


async def test_csv_and_the_trace_of_a_weld_follow_the_figures(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    put(shop, NOZZLE, ramp(100, 0.2, T0 + 10 * SECOND))
    shop.records.add_weld_event(start("w1", 10))
    shop.records.add_weld_event(stop("w1", 30))
    await fitted(client)
    await entered(client, "calibrations", CALIBRATION)
    for query in ("", "?points=1"):
        join = "&" if query else "?"
        recorded, better = [
            (await client.get(f"{API}/welds/w1/trace{query}{join}as={name}")).json()["channels"][0]
            for name in ("recorded", "recalibrated")
        ]
        key = "max" if query else "value"
        assert recorded[key][0] - better[key][0] == pytest.approx(4.9, abs=0.1)
    csv = await client.get(
        f"{API}/readings",
        params={
            "channel": str(NOZZLE),
            "start": format_rfc3339(T0),
            "end": format_rfc3339(T0 + HOUR),
            "as": "recalibrated",
        },
        headers={"Accept": "text/csv"},
    )
    first = csv.text.splitlines()[1].split(",")
    assert float(first[1]) == pytest.approx(300 - (1 + 4 * 199 / 204))


@pytest.mark.parametrize(
    ("changed", "at", "words"),
    [
        ({"points": list(reversed(CALIBRATION["points"]))}, "points[2]", "order the points"),  # type: ignore[call-overload]
        ({"performed": format_rfc3339(LATER + DAY)}, "performed", "future"),
        ({"performed": format_rfc3339(T0 - 5 * DAY)}, "performed", "revise it first"),
        ({"instrument": "nobody"}, "instrument", "enter it first"),
        ({"unit": "L/min"}, "unit", "does not fit"),
        ({"expanded_uncertainty": 0.0}, "expanded_uncertainty", "above 0"),
        ({"reference_instrument": " "}, "reference_instrument", "serial number"),
        ({"points": [{"reference": 1.0}] * 3}, "points", "neither as-found nor as-left"),
        ({"effective": format_rfc3339(T0 - 40 * DAY)}, "effective", "overlaps"),
    ],
)
async def test_a_bad_calibration_names_field_and_remedy_and_stores_nothing(
    client: httpx.AsyncClient, shop: Shop, changed: dict[str, Any], at: str, words: str
) -> None:
    await fitted(client)
    standing = {
        **CALIBRATION,
        "id": "cal-0",
        "performed": format_rfc3339(T0 - 2 * DAY),
        "effective": format_rfc3339(T0 - 20 * DAY),
    }
    await entered(client, "calibrations", standing)
    answer = await client.post(f"{API}/calibrations", json={**CALIBRATION, **changed})
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    problem = answer.json()
    assert any(e["at"] == at and words in e["detail"] for e in problem["errors"]), problem
    assert words in problem["detail"]
    assert [c.id for c in shop.records.instruments.calibrations()] == ["cal-0"]


async def test_unknown_fields_and_wrong_kinds_are_refused(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    await fitted(client)
    slips: list[dict[str, Any]] = [
        {"as_fund": 1},
        {"kind": "cubic"},
        {"points": []},
        {"due": "soon"},
    ]
    for wrong in slips:
        answer = await client.post(f"{API}/calibrations", json={**CALIBRATION, **wrong})
        assert answer.status_code == 422
        assert answer.json()["errors"]
    assert shop.records.instruments.calibrations() == []


async def test_repeats_and_revisions(client: httpx.AsyncClient) -> None:
    await fitted(client)
    first = await entered(client, "calibrations", CALIBRATION)
    again = await client.post(f"{API}/calibrations", json=CALIBRATION)
    assert (again.status_code, again.json()) == (200, first)
    other = {**CALIBRATION, "certificate": "other"}
    answer = await client.post(f"{API}/calibrations", json=other)
    assert answer.status_code == 409
    assert "revision 2" in answer.json()["detail"]
    second = await entered(client, "calibrations", {**other, "revision": 2})
    assert second["revision"] == 2
    listed = (await client.get(f"{API}/calibrations?instrument=tc-7")).json()["items"]
    assert listed == [second]
    assert (await client.get(f"{API}/calibrations/cal-1")).json() == second
    history = (await client.get(f"{API}/calibrations/cal-1/revisions")).json()["items"]
    assert history == [second, first]
    fitting = {"id": "f-1", "channel": str(NOZZLE)}
    answer = await client.post(f"{API}/instruments/tc-7/fittings", json=fitting)
    assert answer.status_code == 200


@pytest.mark.parametrize(
    ("role", "path", "body", "status"),
    [
        (Role.WELDER, "instruments", INSTRUMENT, 403),
        (Role.WELDER, "calibrations", CALIBRATION, 403),
        (Role.WELDER, "reference-checks", CHECK, 201),
        (Role.VIEWER, "reference-checks", CHECK, 403),
        (Role.QUALITY, "instruments", INSTRUMENT, 201),
        (Role.ADMINISTRATOR, "instruments", INSTRUMENT, 201),
    ],
)
async def test_roles(shop: Shop, role: Role, path: str, body: dict[str, Any], status: int) -> None:
    async with client_of(shop.app) as client:
        assert (await client.post(f"{API}/{path}", json=body)).status_code == 401
        answer = await client.post(f"{API}/{path}", json=body, headers=shop.token(role, "N"))
    assert answer.status_code == status
    if status == 201:
        assert answer.json()["author"] == "N"


async def test_a_check_takes_the_reading_of_its_time_and_now(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    shop.clock.now = T0 + 20 * SECOND
    put(shop, NOZZLE, ramp(100, 0.2))
    said = {k: v for k, v in CHECK.items() if k not in ("time", "shown")}
    kept = await entered(client, "reference-checks", said)
    assert (kept["time"], kept["shown"]) == (format_rfc3339(shop.clock.now), 300.99)
    assert kept["deviation"] == pytest.approx(300.99 - 312)
    shop.clock.advance(60)
    again = await client.post(f"{API}/reference-checks", json=said)
    assert (again.status_code, again.json()) == (200, kept)
    shop.clock.advance(600)
    answer = await client.post(f"{API}/reference-checks", json={**said, "id": "late"})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["at"] == "shown"
    assert "enter what it showed" in answer.json()["detail"]


@pytest.mark.parametrize(
    ("changed", "at"),
    [
        ({"reference": 5000.0}, "reference"),
        ({"time": format_rfc3339(LATER + HOUR)}, "time"),
        ({"nozzle": ""}, "nozzle"),
        ({"expanded_uncertainty": -1.0}, "expanded_uncertainty"),
        ({"channel": "north/bay-1/gun-z/nozzle"}, "channel"),
        ({"flow_l_min": 0.0}, "flow_l_min"),
    ],
)
async def test_a_bad_check_is_refused(
    client: httpx.AsyncClient, shop: Shop, changed: dict[str, Any], at: str
) -> None:
    answer = await client.post(f"{API}/reference-checks", json={**CHECK, **changed})
    assert answer.status_code == 422
    assert [e["at"] for e in answer.json()["errors"]] == [at]
    assert shop.records.instruments.checks(NOZZLE) == []


async def test_checks_are_listed_and_revised(client: httpx.AsyncClient) -> None:
    await entered(client, "reference-checks", CHECK)
    await entered(client, "reference-checks", {**CHECK, "revision": 2, "withdrawn": True})
    for query in ("", f"?channel={NOZZLE}", "?station=north/bay-1"):
        (item,) = (await client.get(f"{API}/reference-checks{query}")).json()["items"]
        assert (item["revision"], item["withdrawn"], item["unit"]) == (2, True, "Cel")
    assert (await client.get(f"{API}/reference-checks?station=north/bay-2")).json()["items"] == []
    found = (await client.get(f"{API}/reference-checks/check-1/revisions")).json()["items"]
    assert [c["revision"] for c in found] == [2, 1]


async def test_an_instrument_tells_its_history(client: httpx.AsyncClient) -> None:
    await fitted(client)
    await entered(client, "calibrations", CALIBRATION)
    await entered(client, "reference-checks", CHECK)
    found = (await client.get(f"{API}/instruments/tc-7")).json()
    kinds = [e["kind"] for e in found["history"]]
    assert kinds == ["checked", "failed as found", "fitted"]
    assert (found["state"], found["failed_as_found"]) == ("valid", True)
    assert found["fitted"]["channel"] == str(NOZZLE)
    assert found["history"][1]["error"] == pytest.approx(5.0)
    off = {"id": "f-1", "channel": str(NOZZLE), "end": format_rfc3339(T0 + HOUR), "revision": 2}
    await entered(client, "instruments/tc-7/fittings", off)
    found = (await client.get(f"{API}/instruments/tc-7")).json()
    assert found["fitted"] is None
    assert "removed" in [e["kind"] for e in found["history"]]
    listed = (await client.get(f"{API}/sensors/history?channel={NOZZLE}")).json()["items"]
    assert {e["serial"] for e in listed} == {"K-0007"}


async def test_impact_lists_the_welds_since_the_last_good_check(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    await fitted(client)
    for name, begin, end in (("before", 0, 50), ("across", 55, 120), ("inside", 200, 300)):
        shop.records.add_weld_event(start(name, begin))
        shop.records.add_weld_event(stop(name, end))
    shop.records.add_weld_event(start("other-gun", 210, "b"))
    good = {
        **CHECK,
        "reference": 304.0,
    }  # at 60 s: deviation 0, U 2 K: shows that 5 K were not there
    await entered(client, "reference-checks", good)
    found = {**CALIBRATION, "performed": format_rfc3339(T0 + DAY)}
    await entered(client, "calibrations", found)
    impact = (await client.get(f"{API}/calibrations/cal-1/impact")).json()
    assert (impact["error"], impact["tolerance"], impact["in_doubt"]) == (5.0, 2.0, True)
    (doubt,) = impact["doubts"]
    assert doubt["good"]["id"] == "check-1"
    assert doubt["start"] == format_rfc3339(T0 + 60 * SECOND)
    assert [w["id"] for w in doubt["welds"]] == ["across", "inside"]
    passed = {**found, "revision": 2, "points": [{"reference": 300.0, "as_found": 301.0}]}
    passed |= {"kind": "offset", "valid_low": 0.0, "valid_high": 500.0}
    await entered(client, "calibrations", passed)
    impact = (await client.get(f"{API}/calibrations/cal-1/impact")).json()
    assert (impact["in_doubt"], impact["doubts"]) == (False, [])


async def test_impact_follows_the_instrument_over_channels_to_the_last_good_calibration(
    client: httpx.AsyncClient,
) -> None:
    await entered(client, "instruments", INSTRUMENT)
    path = "instruments/tc-7/fittings"
    other = "north/bay-1/gun-b/nozzle"
    spans = [("f-0", other, -20, -15), ("f-1", other, -10, -5), ("f-2", str(NOZZLE), -5, None)]
    for name, channel, begin, end in spans:
        body = {"id": name, "channel": channel, "start": format_rfc3339(T0 + begin * DAY)}
        if end is not None:
            body["end"] = format_rfc3339(T0 + end * DAY)
        await entered(client, path, body)
    good = {**CALIBRATION, "id": "cal-0", "performed": format_rfc3339(T0 - 12 * DAY)}
    await entered(client, "calibrations", good)
    await entered(client, "calibrations", CALIBRATION)
    impact = (await client.get(f"{API}/calibrations/cal-1/impact")).json()
    places = [(d["channel"], d["start"]) for d in impact["doubts"]]
    assert places == [
        (str(NOZZLE), format_rfc3339(T0 - 5 * DAY)),
        (other, format_rfc3339(T0 - 10 * DAY)),
    ]


async def test_worth_lists_the_budget_term_by_term(client: httpx.AsyncClient, shop: Shop) -> None:
    put(shop, NOZZLE, ramp(100, 0.2))
    query = {"channel": str(NOZZLE), "time": format_rfc3339(T0 + 10 * SECOND)}
    found = (await client.get(f"{API}/worth", params=query)).json()
    assert (found["recorded"], found["best"]) == (300.5, 300.5)
    # root sum of squares by hand: 1.5, 2, 5, 0.2 and 1 · S(25 °C)/S(300 °C) rectangular, 0.5 normal
    rectangular = [1.5, 2.0, 5.0, 0.2, 40.5 / 41.45]
    by_hand = 2 * (sum(x * x / 3 for x in rectangular) + 0.25) ** 0.5
    assert found["expanded"] == pytest.approx(by_hand, abs=0.01)
    assert {t["distribution"] for t in found["terms"]} == {"rectangular", "normal"}
    assert all(t["assumed"] for t in found["terms"])
    assert [t["name"] for t in found["terms"] if t["averages_over_s"]] == [
        "noise of the gas stream"
    ]
    mean = (await client.get(f"{API}/worth", params={**query, "over_s": "200"})).json()
    assert 0 < found["expanded"] - mean["expanded"] < 0.2
    await entered(client, "reference-checks", {**CHECK, "time": format_rfc3339(T0 + SECOND)})
    checked = (await client.get(f"{API}/worth", params=query)).json()
    assert (checked["nozzle"], checked["checks"]) == ("speed 5 mm", ["check-1"])
    assert checked["best"] == pytest.approx(308.5)
    assert checked["expanded"] < 3.5
    other = (await client.get(f"{API}/worth", params={**query, "nozzle": "round 5 mm"})).json()
    assert other["correction"] is None


async def test_worth_of_a_flow_says_what_was_assumed(client: httpx.AsyncClient) -> None:
    query: dict[str, str] = {"channel": str(FLOW), "value": "50"}
    found = (await client.get(f"{API}/worth", params=query)).json()
    assert "no ambient pressure is known: 1013.25 hPa taken" in found["assumptions"]
    assert any("temperature at the meter, taken" in t["name"] for t in found["terms"])
    query = {"channel": "north/bay-1/air/filter", "value": "50"}
    answer = await client.get(f"{API}/worth", params=query)
    assert answer.status_code == 422
    assert "no uncertainty budget" in answer.json()["detail"]
    query = {"channel": str(NOZZLE)}
    answer = await client.get(f"{API}/worth", params=query)
    assert (answer.status_code, "give a value" in answer.json()["detail"]) == (422, True)


async def test_sensors_say_what_is_due_and_findings_too(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    await fitted(client)
    await entered(client, "calibrations", {**CALIBRATION, "due": format_rfc3339(LATER + DAY)})
    put(shop, NOZZLE, ramp(100, 0.2, LATER - 20 * SECOND))
    found = (await client.get(f"{API}/sensors?station=north/bay-1")).json()["items"]
    assert [s["channel"] for s in found[:2]] == [str(NOZZLE), str(FLOW)]
    assert (found[0]["serial"], found[0]["state"]) == ("K-0007", "due soon")
    assert found[0]["expanded"] > 5
    assert (found[1]["state"], found[1]["expanded"]) == ("none", None)
    findings = (await client.get(f"{API}/findings")).json()["items"]
    assert [f["kind"] for f in findings] == [
        "calibration_failed_as_found",
        "calibration_due_soon",
    ]
    assert findings[1]["next_step"] == "have it calibrated before then"
    shop.clock.advance(2 * 86_400)
    findings = (await client.get(f"{API}/findings?station=north/bay-1")).json()["items"]
    assert findings[1]["kind"] == "calibration_overdue"
    assert (await client.get(f"{API}/findings?station=north/bay-2")).json()["items"] == []


async def test_what_is_not_there_is_said(client: httpx.AsyncClient) -> None:
    for path in (
        "instruments/none",
        "calibrations/none",
        "calibrations/none/impact",
        "calibrations/none/revisions",
        "reference-checks/none",
    ):
        answer = await client.get(f"{API}/{path}")
        assert answer.status_code == 404
        assert "there is no" in answer.json()["detail"]
