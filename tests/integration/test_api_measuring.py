"""Windows for the air in the meter, hints at wiring, and channels that the plant file changed."""

from collections.abc import AsyncIterator, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import pytest
from prometheus_client import CollectorRegistry

from api_shop import BAY_1, FLOW, NOZZLE, T0, Shop, client_of, live_of, make_shop, put, ramp
from calibration_samples import FITTING, INSTRUMENT, calibration
from records_samples import start, stop
from steadybead_api.app import create_app
from steadybead_collector.records.instruments import FittingRecord
from steadybead_collector.records.revisions import Act
from steadybead_collector.watch.publisher import live_payload
from steadybead_domain.conversion.specs import FlowPrinciple, FlowReference, Thermocouple
from steadybead_domain.ids import ChannelId
from steadybead_domain.live import GunState, LiveGun
from steadybead_domain.people import Actor, Role
from steadybead_domain.plant import Channel, FlowMeter, Plant, Station
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Columns
from steadybead_domain.times import DAY, SECOND, format_rfc3339

pytestmark = pytest.mark.anyio
INLET = ChannelId("north", "bay-1", "gun-a/inlet")
SET = ChannelId("north", "bay-1", "gun-a/set")
API = "/api/v1"


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    opened = make_shop(tmp_path)
    opened.clock.now = T0 + 60 * SECOND
    yield opened
    opened.close()


@pytest.fixture
async def client(shop: Shop) -> AsyncIterator[httpx.AsyncClient]:
    async with client_of(shop.app) as opened:
        opened.headers.update(shop.token(Role.QUALITY))
        yield opened


def with_plant(shop: Shop, *channels: Channel) -> httpx.AsyncClient:
    """Give a client of an application with another plant file over the same stores."""
    plant = Plant("north", "Europe/Lisbon", (Station(BAY_1, channels, "Bay one"),))
    services = replace(shop.services, plant=lambda: plant, registry=CollectorRegistry())
    client = client_of(create_app(services))
    client.headers.update(shop.token(Role.QUALITY))
    return client


def level(value: float, n: int = 100, raw: float | None = None) -> Columns:
    """Make n good readings of one value, the last a moment before T0 + 60 s."""
    whole = ramp(n, 0.2, T0 + 40 * SECOND)
    flat = np.full(n, value)
    return replace(whole, value=flat, raw=flat if raw is None else np.full(n, raw))


async def window(shop: Shop, meter: FlowMeter, *others: Channel) -> Any:
    shop.records.add_weld_event(start("w1", 40))
    shop.records.add_weld_event(stop("w1", 60))
    flow = Channel(FLOW, Quantity.AIR_FLOW, "L/min", flow=meter)
    async with with_plant(shop, flow, *others) as client:
        trace = (await client.get(f"{API}/welds/w1/trace")).json()
    return trace["channels"][0]["window"]


async def test_the_window_is_converted_for_the_air_that_was_in_the_meter(shop: Shop) -> None:
    # by hand (DIN 1343: 0 °C, 1013.25 hPa): 45 · 333.15 / 273.15 · 1013.25 / 1120 at 60 °C
    put(shop, INLET, level(60.0))
    inlet = Channel(INLET, Quantity.GUN_INLET_TEMPERATURE, "Cel")
    meter = FlowMeter(temperature_at="gun-a/inlet", pressure_at=112_000.0)
    found = await window(shop, meter, inlet)
    assert found["low"] == pytest.approx(45 * 333.15 / 273.15 * 1013.25 / 1120, abs=0.01)
    assert "air of 60 °C and 1120 hPa" in found["note"]
    assert "taken" not in found["note"]


async def test_the_window_says_which_default_it_used(shop: Shop) -> None:
    inlet = Channel(INLET, Quantity.GUN_INLET_TEMPERATURE, "Cel")
    found = await window(shop, FlowMeter(temperature_at="gun-a/inlet"), inlet)
    assert found["low"] == pytest.approx(45 * 293.15 / 273.15, abs=0.01)
    assert "no reading of gun-a/inlet: 20 °C taken" in found["note"]
    assert "no ambient pressure is known: 1013.25 hPa taken" in found["note"]


async def test_a_thermal_mass_meter_needs_no_state_of_the_air(shop: Shop) -> None:
    meter = FlowMeter(FlowPrinciple.THERMAL_MASS, FlowReference.DIN_1343)
    found = await window(shop, meter)
    assert (found["low"], found["high"], found["note"]) == (45.0, 55.0, "")


def thermocouple(letter: str = "K") -> tuple[Channel, Channel]:
    how = Thermocouple(letter, 25.0)
    return (
        Channel(NOZZLE, Quantity.NOZZLE_TEMPERATURE, "mV", how),
        Channel(SET, Quantity.SET_TEMPERATURE, "Cel"),
    )


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        # NIST Monograph 175: J 18.538 mV at 340 °C less 1.277 mV at 25 °C; K 13.874 less 1.000
        (17.261, "the wire is probably type J"),
        (-12.874, "the leads are probably reversed"),
        (12.874, ""),
    ],
)
async def test_wiring_mistakes_are_findings_with_their_likely_cause(
    shop: Shop, raw: float, words: str
) -> None:
    put(shop, NOZZLE, level(0.0, raw=raw))
    put(shop, SET, level(340.0))
    async with with_plant(shop, *thermocouple()) as client:
        items = (await client.get(f"{API}/findings")).json()["items"]
        page = (await client.get(f"/sensors/{NOZZLE}")).text
    found = [i for i in items if i["kind"].replace(" ", "_") == "wiring_implausible"]
    assert len(found) == (1 if words else 0)
    assert ("wiring-hint" in page) == bool(words)
    assert words in page


@pytest.mark.parametrize(("state", "hints"), [(GunState.COOLING, 0), (GunState.WARMING, 1)])
async def test_a_gun_that_cools_is_no_wiring_mistake(
    shop: Shop, state: GunState, hints: int
) -> None:
    """2.0 mV of type K are 73 °C with the terminal at 25 °C; 300 °C are set."""
    put(shop, NOZZLE, level(0.0, raw=2.0))
    put(shop, SET, level(300.0))
    told = replace(live_of(time=shop.clock()), guns=(LiveGun("a", state, T0),))
    shop.board.connected(shop.clock())
    shop.board.take("north/bay-1/live", live_payload(told), retained=True)
    async with with_plant(shop, *thermocouple()) as client:
        items = (await client.get(f"{API}/findings")).json()["items"]
    assert len([i for i in items if "wiring" in i["kind"]]) == hints


def calibrated(shop: Shop) -> None:
    act = Act(Actor("Bench", Role.MAINTENANCE), T0, "test")
    kept = shop.records.instruments
    nozzle = next(c for c in shop.services.plant().channels() if c.id == NOZZLE)
    kept.keep(INSTRUMENT, act)
    kept.keep_fitting(FittingRecord("f-1", replace(FITTING, start=T0 - DAY)), nozzle, act)
    kept.keep_calibration(calibration(performed=T0, effective=T0), act)


async def recalibrated(client: httpx.AsyncClient) -> list[float]:
    query = {"channel": str(NOZZLE), "as": "recalibrated", "start": format_rfc3339(T0)}
    query["end"] = format_rfc3339(T0 + DAY)
    answer = await client.get(f"{API}/readings", params=query)
    assert answer.status_code == 200
    return [r["value"] for r in answer.json()["items"]]


async def test_a_channel_that_left_the_plant_file_keeps_its_calibration(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    calibrated(shop)
    put(shop, NOZZLE, level(303.0))
    assert await recalibrated(client) == [300.0] * 100
    flow = Channel(FLOW, Quantity.AIR_FLOW, "L/min", flow=FlowMeter())
    async with with_plant(shop, flow) as other:
        assert await recalibrated(other) == [300.0] * 100


async def test_a_channel_that_now_measures_something_else_is_not_corrected(shop: Shop) -> None:
    calibrated(shop)
    put(shop, NOZZLE, level(50.0))
    flow = Channel(NOZZLE, Quantity.AIR_FLOW, "L/min", flow=FlowMeter())
    async with with_plant(shop, flow) as client:
        assert await recalibrated(client) == [50.0] * 100
        assert (await client.get("/sensors")).status_code == 200


async def test_readings_without_a_value_stay_without(client: httpx.AsyncClient, shop: Shop) -> None:
    calibrated(shop)
    rows = level(303.0)
    rows.quality[3], rows.reason[3] = 2, 3  # bad: open circuit
    put(shop, NOZZLE, rows)
    found = await recalibrated(client)
    assert found[3] is None
    assert found[4] == 300.0


@pytest.mark.parametrize(
    "path",
    [
        "/sensors?station=north/nowhere",
        "/sensors/north/bay-1/gun-z/nozzle",
        "/sensors/north/bay-1/gun%20a/nozzle",
        "/reference-check?station=x",
        "/calibrations/none",
    ],
)
async def test_pages_of_what_is_not_there_say_so(client: httpx.AsyncClient, path: str) -> None:
    answer = await client.get(path, headers={"Accept": "text/html"})
    assert answer.status_code == 404
    assert "No such" in answer.text


async def test_pages_lead_a_stranger_to_the_sign_in(shop: Shop) -> None:
    async with client_of(shop.app) as stranger:
        for path in ("/sensors", f"/sensors/{NOZZLE}", "/reference-check", "/calibration"):
            answer = await stranger.get(path)
            assert answer.status_code == 303
            assert answer.headers["location"].startswith("/signin?next=")


async def test_whole_lists_come_in_pages_that_join(client: httpx.AsyncClient) -> None:
    found: list[str] = []
    cursor = ""
    while True:
        answer = await client.get(f"{API}/sensors?limit=2{cursor}")
        page = answer.json()
        assert len(page["items"]) <= 2
        found += [s["channel"] for s in page["items"]]
        if page["next"] is None:
            break
        cursor = f"&cursor={page['next']}"
    assert found == [s["channel"] for s in (await client.get(f"{API}/sensors")).json()["items"]]
    assert len(found) == 5


async def test_a_value_that_cannot_be_has_no_worth(client: httpx.AsyncClient) -> None:
    query = {"channel": str(NOZZLE), "value": "1e6"}
    answer = await client.get(f"{API}/worth", params=query)
    assert answer.status_code == 422
    assert "cannot be: give -40 to 900" in answer.json()["detail"]
