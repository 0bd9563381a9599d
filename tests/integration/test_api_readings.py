"""Readings over HTTP: pages, buckets, and files that hold the same figures."""

import csv
import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import pyarrow.parquet as pq
import pytest

from api_shop import DROP, NOZZLE, T0, Shop, client_of, make_shop, mixed, put, ramp
from steadybead_domain.people import Role
from steadybead_domain.readings import Columns
from steadybead_domain.times import SECOND, format_rfc3339, parse_rfc3339

pytestmark = pytest.mark.anyio
URL = "/api/v1/readings"


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    opened = make_shop(tmp_path)
    yield opened
    opened.close()


def query(start: int = T0, end: int = T0 + 3600 * SECOND, **more: str) -> dict[str, str]:
    times = {"start": format_rfc3339(start), "end": format_rfc3339(end)}
    return {"channel": str(NOZZLE), **times, **more}


async def get(shop: Shop, accept: str = "application/json", **params: Any) -> httpx.Response:
    async with client_of(shop.app) as client:
        headers = {**shop.token(Role.VIEWER), "Accept": accept}
        return await client.get(URL, params=query(**params), headers=headers)


async def test_reading_carries_time_value_unit_quality_reason(shop: Shop) -> None:
    put(shop, NOZZLE, mixed())
    answer = await get(shop)
    assert answer.status_code == 200
    assert answer.json() == {
        "items": [
            _item("2026-05-04T07:30:00.000000Z", 301.25, "good", ""),
            _item("2026-05-04T07:30:00.000001Z", -0.1, "uncertain", "time of receipt"),
            _item("2026-05-04T07:30:01.000000Z", None, "bad", "open circuit"),
            _item("2026-05-04T07:30:02.000000Z", 1e-7, "bad", "clock"),
        ],
        "next": None,
    }


def _item(time: str, value: float | None, quality: str, reason: str) -> dict[str, Any]:
    return {"time": time, "value": value, "unit": "Cel", "quality": quality, "reason": reason}


async def test_interval_includes_its_start_and_not_its_end(shop: Shop) -> None:
    put(shop, NOZZLE, ramp(10, 1.0))
    answer = await get(shop, start=T0 + 2 * SECOND, end=T0 + 4 * SECOND)
    assert [parse_rfc3339(i["time"]) - T0 for i in answer.json()["items"]] == [
        2 * SECOND,
        3 * SECOND,
    ]


async def test_pages_hold_at_most_ten_thousand_and_join_without_loss(shop: Shop) -> None:
    put(shop, NOZZLE, ramp(25_001, 0.1))
    times: list[str] = []
    sizes: list[int] = []
    cursor: dict[str, str] = {}
    while True:
        page = (await get(shop, **cursor)).json()
        sizes.append(len(page["items"]))
        times += [i["time"] for i in page["items"]]
        if page["next"] is None:
            break
        cursor = {"cursor": page["next"]}
    assert sizes == [10_000, 10_000, 5_001]
    assert len(set(times)) == 25_001
    assert times == sorted(times)


async def test_last_page_that_is_just_full_has_no_next(shop: Shop) -> None:
    put(shop, NOZZLE, ramp(20, 1.0))
    assert (await get(shop, limit="20")).json()["next"] is None
    assert (await get(shop, limit="19")).json()["next"] is not None


@pytest.mark.parametrize("points", [{}, {"points": "7"}])
async def test_csv_and_parquet_hold_the_same_as_json(shop: Shop, points: dict[str, str]) -> None:
    put(shop, NOZZLE, Columns.concat([mixed(), ramp(45_000, 0.02, T0 + 10 * SECOND)]))
    expected: list[dict[str, Any]] = []
    cursor: dict[str, str] = {}
    while True:
        page = (await get(shop, **cursor, **points)).json()
        expected += page["items"]
        if page["next"] is None:
            break
        cursor = {"cursor": page["next"]}
    as_csv = await get(shop, "text/csv", **points)
    as_parquet = await get(shop, "application/vnd.apache.parquet", **points)
    assert _from_csv(as_csv.text) == expected
    assert _from_parquet(as_parquet.content) == expected
    assert 'filename="north_bay-1_gun-a_nozzle.csv"' in as_csv.headers["content-disposition"]


def _from_csv(text: str) -> list[dict[str, Any]]:
    numbers = {"value": float, "n": int, "min": float, "mean": float, "max": float}
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    return [
        {
            k: numbers[k](v) if k in numbers and v else (None if k in numbers else v)
            for k, v in row.items()
        }
        for row in rows
    ]


def _from_parquet(data: bytes) -> list[dict[str, Any]]:
    rows = pq.read_table(io.BytesIO(data)).to_pylist()
    moments = ("time", "start", "end")
    return [
        {k: v.strftime("%Y-%m-%dT%H:%M:%S.%fZ") if k in moments else v for k, v in row.items()}
        for row in rows
    ]


async def test_empty_interval_gives_an_empty_page_and_a_bare_header(shop: Shop) -> None:
    assert (await get(shop)).json() == {"items": [], "next": None}
    assert (await get(shop, "text/csv")).text == "time,value,unit,quality,reason\r\n"
    table = pq.read_table(io.BytesIO((await get(shop, "application/vnd.apache.parquet")).content))
    assert table.num_rows == 0
    assert table.column_names == ["time", "value", "unit", "quality", "reason"]


async def test_buckets_summarise_exactly(shop: Shop) -> None:
    columns = ramp(600, 0.1)
    put(shop, NOZZLE, columns)
    page = (await get(shop, end=T0 + 60 * SECOND, points="6")).json()
    assert page["next"] is None
    assert [b["n"] for b in page["items"]] == [100] * 6
    parts = columns.value.reshape(6, 100)
    assert [b["mean"] for b in page["items"]] == pytest.approx(np.mean(parts, axis=1), rel=1e-12)
    assert [b["min"] for b in page["items"]] == list(np.min(parts, axis=1))
    assert [b["max"] for b in page["items"]] == list(np.max(parts, axis=1))
    assert page["items"][1]["start"] == "2026-05-04T07:30:10.000000Z"


async def test_recalibrated_equals_recorded_without_a_calibration(shop: Shop) -> None:
    put(shop, NOZZLE, mixed())
    recorded = (await get(shop, **{"as": "recorded"})).json()
    assert (await get(shop, **{"as": "recalibrated"})).json() == recorded


async def test_channel_of_an_older_plant_is_still_read(shop: Shop) -> None:
    gone = type(DROP)("north", "bay-9", "gun-a/nozzle")
    put(shop, gone, ramp(2))
    items = (await get(shop, channel=str(gone))).json()["items"]
    assert [i["unit"] for i in items] == ["", ""]


@pytest.mark.parametrize(
    ("params", "status"),
    [
        ({"channel": "north/bay-1"}, 422),
        ({"channel": "north/bay-1/gun-a/nothing"}, 404),
        ({"start": "yesterday"}, 422),
        ({"start": "2026-05-04T07:30:00"}, 422),
        ({"start": "2027-01-01T00:00:00Z"}, 422),
        ({"points": "0"}, 422),
        ({"points": "10001"}, 422),
        ({"limit": "10001"}, 422),
        ({"cursor": "x"}, 422),
        ({"cursor": "99999999999999999999"}, 422),
        ({"as": "wished"}, 422),
    ],
)
async def test_bad_question_is_answered_by_a_problem(
    shop: Shop, params: dict[str, str], status: int
) -> None:
    async with client_of(shop.app) as client:
        answer = await client.get(
            URL, params={**query(), **params}, headers=shop.token(Role.VIEWER)
        )
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"


async def test_unknown_media_type_is_not_acceptable(shop: Shop) -> None:
    assert (await get(shop, "image/png")).status_code == 406
    assert (await get(shop, "image/png, */*;q=0.1")).status_code == 200
    assert (
        (await get(shop, "application/json;q=0.5, text/csv"))
        .headers["content-type"]
        .startswith("text/csv")
    )
