"""After a dispute or a bad sensor: verdicts before and after, strips cut, their results."""

import io
from collections.abc import AsyncIterator, Iterator
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import pypdf
import pytest

from api_shop import BAY_1, FLOW, NOZZLE, PLANT, T0, Shop, client_of, make_shop, put
from calibration_samples import INSTRUMENT, check, offset
from evidence_shop import WELD, SealedShop, cold_for, noisy, sealed_shop
from steadybead_collector.records.instruments import FittingRecord
from steadybead_collector.records.revisions import Act
from steadybead_domain.calibration.model import Fitting
from steadybead_domain.people import Actor, Role
from steadybead_domain.readings import Columns
from steadybead_domain.times import DAY, HOUR, SECOND
from steadybead_domain.welds import WeldEvent, WeldEventKind

API = "/api/v1"
pytestmark = pytest.mark.anyio
BENCH = Actor("bench", Role.MAINTENANCE)


@pytest.fixture(scope="module")
def anyio_backend() -> str:
    return "asyncio"


def level(value: float, at: int) -> Columns:
    """Make three steady minutes from half a minute before a time."""
    values = np.full(900, value)
    good = np.zeros(900, np.uint8)
    times = at - 30 * SECOND + np.arange(900, dtype=np.int64) * (SECOND // 5)
    return Columns(times, values, values, good, good, np.ones(900, np.uint32))


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    """Open a shop with an early and a late weld; its sensor was fitted a day before the first."""
    opened = make_shop(tmp_path)
    for name, at in (("early", T0 + HOUR), ("late", T0 + 9 * DAY)):
        put(opened, NOZZLE, level(320.0, at))
        put(opened, FLOW, level(54.0, at))
        place = (name, BAY_1, "a")
        told = ("welder", "test", "pp-speed-nozzle", 1)
        opened.records.welds.add(WeldEvent(WeldEventKind.START, *place, at, *told))
        end = at + 120 * SECOND
        opened.records.welds.add(WeldEvent(WeldEventKind.STOP, *place, end, "welder", "test"))
    opened.clock.advance(11 * DAY / SECOND)
    act = Act(BENCH, opened.clock(), "test")
    nozzle = next(c for c in PLANT.channels() if c.id == NOZZLE)
    fitting = Fitting("tc-7", NOZZLE, T0 - DAY)
    kept = opened.records.instruments
    kept.keep(INSTRUMENT, act)
    kept.keep_fitting(FittingRecord("f-1", fitting), nozzle, act)
    yield opened
    opened.close()


@pytest.fixture
async def client(shop: Shop) -> AsyncIterator[httpx.AsyncClient]:
    async with client_of(shop.app) as opened:
        opened.headers.update(shop.token(Role.QUALITY))
        yield opened


def found_28_high(shop: Shop) -> None:
    """Calibrate: the sensor shows 28 K too much, ten days after it was fitted."""
    at = T0 + 10 * DAY
    item = offset(
        348.0, 320.0, performed=at, effective=at, entered=shop.clock(), due=at + 365 * DAY
    )
    shop.records.instruments.keep_calibration(item, Act(BENCH, shop.clock(), "test"))


def words(impact: dict[str, Any]) -> dict[str, tuple[str, str, bool]]:
    (doubt,) = impact["doubts"]
    return {v["weld"]: (v["before"], v["after"], v["changed"]) for v in doubt["verdicts"]}


async def test_impact_tells_verdicts_before_and_after_for_both_ways_of_growth(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    found_28_high(shop)
    linear = (await client.get(f"{API}/calibrations/cal-1/impact")).json()
    assert linear["growth"] == "linear"
    assert "straight line" in linear["growth_words"]
    assert words(linear) == {
        "early": ("conforms", "conforms", False),  # 28 K times one eleventh
        "late": ("conforms", "cannot tell", True),  # 25 K off: 295 °C, and U is 6.6 K
    }
    full = (await client.get(f"{API}/calibrations/cal-1/impact?growth=full")).json()
    assert "worst" in full["growth_words"]
    assert words(full) == {
        "early": ("conforms", "does not conform", True),
        "late": ("conforms", "does not conform", True),
    }


async def test_the_page_of_a_calibration_marks_what_the_find_changes(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    found_28_high(shop)
    page = (await client.get("/calibrations/cal-1")).text
    assert page.count("<strong>does not conform</strong>") == 2  # full error: both records
    assert page.count("<strong>cannot tell</strong>") == 1  # grown in a line: the late one
    assert "straight line" in page


async def test_a_long_list_is_judged_piece_by_piece(client: httpx.AsyncClient, shop: Shop) -> None:
    found_28_high(shop)
    second = (await client.get(f"{API}/calibrations/cal-1/impact?first=1")).json()
    (doubt,) = second["doubts"]
    assert [w["id"] for w in doubt["welds"]] == ["early", "late"]
    assert ([v["weld"] for v in doubt["verdicts"]], doubt["verdicts_from"]) == (["late"], 1)


async def test_a_failed_reference_check_has_its_own_list(
    client: httpx.AsyncClient, shop: Shop
) -> None:
    nozzle = next(c for c in PLANT.channels() if c.id == NOZZLE)
    act = Act(BENCH, shop.clock(), "test")
    for name, at, shown in (("good", T0 + 2 * DAY, 320.0), ("bad", T0 + 10 * DAY, 335.0)):
        item = check(
            id=name, channel=NOZZLE, time=at, reference=320.0, shown=shown, entered=shop.clock()
        )
        shop.records.instruments.keep_check(item, nozzle, act)
    told = (await client.get(f"{API}/reference-checks/bad/impact")).json()
    (doubt,) = told["doubts"]
    assert (doubt["error"], doubt["good"]["id"]) == (15.0, "good")
    assert [w["id"] for w in doubt["welds"]] == ["late"]  # the good check clears the early one
    assert told["tolerance"] == 2.0
    first = await client.get(f"{API}/reference-checks/good/impact")
    assert first.status_code == 409
    assert "first one on nozzle" in first.json()["detail"]


@pytest.fixture
def sealed(tmp_path: Path) -> Iterator[SealedShop]:
    with sealed_shop(tmp_path) as opened:
        yield opened


async def test_strips_are_planned_cut_and_their_results_judge_the_rest(sealed: SealedShop) -> None:
    async with client_of(sealed.app) as opened:
        opened.headers.update(sealed.token())
        address = f"{API}/welds/{WELD}"
        said = {"id": "cut-1", "reason": "claimed to be laid cold", "width_mm": 40}
        made = await opened.post(f"{address}/cut-plans", json=said)
        assert made.status_code == 201
        plan = made.json()
        assert (await opened.post(f"{address}/cut-plans", json=said)).status_code == 200
        assert {s["strand"] for s in plan["strips"]} == {"worst", "borderline", "control"}
        worst = [s for s in plan["strips"] if s["strand"] == "worst"]
        assert min(s["start_mm"] for s in worst) < 1250.0 < max(s["end_mm"] for s in worst) + 100
        assert plan["rest"] == "waiting for results"
        for strip in plan["strips"]:
            outcome = "not met" if strip["strand"] == "worst" else "met"
            result = {
                "strip": strip["label"],
                "method": "bend",
                "outcome": outcome,
                "value": 35.0,
                "unit": "degrees",
                "laboratory": "test house",
            }
            answer = await opened.post(f"{address}/cut-results", json=result)
            assert answer.status_code == 201, answer.text
        (now,) = (await opened.get(f"{address}/cut-plans")).json()["items"]
        assert now["rest"] == "rejected where heat and air did not conform"
        assert len(now["results"]) == len(plan["strips"])
        assert len(now["steps"]) == 3
        sheet = await opened.get(f"{address}/cut-plans/cut-1/sheet")
        verdict = (await opened.get(f"{address}/verdict")).json()["verdict"]
    assert sheet.headers["content-type"] == "application/pdf"
    text = pypdf.PdfReader(io.BytesIO(sheet.content)).pages[0].extract_text()
    assert "W1" in text
    assert "mm" in text
    assert verdict == "does not conform"  # tests speak of the weld, the log of heat and air


async def test_wrong_entries_are_told_and_nothing_is_kept(sealed: SealedShop) -> None:
    async with client_of(sealed.app) as opened:
        opened.headers.update(sealed.token())
        address = f"{API}/welds/{WELD}"
        early = {"strip": "W1", "method": "bend", "outcome": "met"}
        before = await opened.post(f"{address}/cut-results", json=early)
        assert before.status_code == 422  # there is no plan yet
        assert "none" in before.json()["detail"]
        await opened.post(f"{address}/cut-plans", json={"reason": "dispute"})
        wrong = {"strip": "Z9", "method": "bite", "outcome": "met"}
        answer = await opened.post(f"{address}/cut-results", json=wrong)
        assert answer.status_code == 422
        assert {e["at"] for e in answer.json()["errors"]} == {"strip", "method"}
        late = {**early, "time": "2030-01-01T00:00:00Z"}
        assert (await opened.post(f"{address}/cut-results", json=late)).status_code == 422
        assert (await opened.get(f"{address}/cut-plans")).json()["items"][0]["results"] == []
        assert (await opened.get(f"{address}/cut-plans/nothing/sheet")).status_code == 404
        opened.headers.update(sealed.token(Role.WELDER))
        refused = await opened.post(f"{address}/cut-plans", json={"reason": "dispute"})
        assert refused.status_code == 403


async def test_a_result_that_was_wrong_is_corrected_beside_the_first(sealed: SealedShop) -> None:
    async with client_of(sealed.app) as opened:
        opened.headers.update(sealed.token())
        address = f"{API}/welds/{WELD}"
        await opened.post(f"{address}/cut-plans", json={"reason": "dispute"})
        first = {"id": "r-1", "strip": "C1", "method": "tensile", "outcome": "not met"}
        assert (await opened.post(f"{address}/cut-results", json=first)).status_code == 201
        (plan,) = (await opened.get(f"{address}/cut-plans")).json()["items"]
        assert plan["rest"].startswith("all in doubt")
        other = {**first, "outcome": "met"}
        assert (await opened.post(f"{address}/cut-results", json=other)).status_code == 409
        mended = {**other, "revision": 2}
        assert (await opened.post(f"{address}/cut-results", json=mended)).status_code == 201
        (plan,) = (await opened.get(f"{address}/cut-plans")).json()["items"]
        assert plan["rest"] == "waiting for results"
        assert [r["revision"] for r in plan["results"]] == [1, 2]


async def test_no_readings_no_plan(shop: Shop, client: httpx.AsyncClient) -> None:
    event = WeldEvent(
        WeldEventKind.START, "bare", BAY_1, "b", T0 + DAY, "x", "test", None, None, "1", "2"
    )
    shop.records.welds.add(event)
    shop.records.welds.add(
        WeldEvent(WeldEventKind.STOP, "bare", BAY_1, "b", T0 + DAY + 60 * SECOND, "x", "test")
    )
    answer = await client.post(f"{API}/welds/bare/cut-plans", json={"reason": "dispute"})
    assert answer.status_code == 409
    assert "no average has good readings" in answer.json()["detail"]


def test_a_cold_stretch_is_really_in_the_sample() -> None:
    assert cold_for(noisy(320.0, 1.0, 30, 1), 300, 320, 250.0).value.min() == 250.0
