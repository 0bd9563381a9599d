"""The trace side by side: each moment takes what was known then, and no more."""

import io
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from api_shop import DROP, FLOW, NOZZLE, NOZZLE_B, T0, Shop, client_of, make_shop, put
from records_samples import start, stop
from steadybead_api import side_by_side
from steadybead_domain.people import Role
from steadybead_domain.readings import Columns, Quality, Reason
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


def columns(times_s: list[float], values: list[float], bad: tuple[int, ...] = ()) -> Columns:
    """Make readings at seconds after T0; those of `bad` are an open circuit."""
    n = len(times_s)
    quality, reason = np.zeros(n, np.uint8), np.zeros(n, np.uint8)
    quality[list(bad)], reason[list(bad)] = Quality.BAD, Reason.OPEN_CIRCUIT
    time = (T0 + np.array(times_s) * SECOND).astype(np.int64)
    value = np.array(values)
    return Columns(time, value, value, quality, reason, np.ones(n, np.uint32))


def weld_with(shop: Shop) -> None:
    """Lay a weld of 20 s: the nozzle every second with a hole, the flow now and then."""
    seconds = [float(s) for s in range(50) if not 8 <= s < 45]
    put(shop, NOZZLE, columns(seconds, [300.0 + s for s in seconds], bad=(3,)))
    put(shop, FLOW, columns([0.5, 1.5, 46.2], [50.0, 51.0, 52.0]))
    put(shop, NOZZLE_B, columns([1.0], [111.0]))
    shop.records.add_weld_event(start("w1", 0))
    shop.records.add_weld_event(stop("w1", 20))
    shop.clock.advance(600)


@pytest.mark.parametrize("media", ["text/csv", "application/vnd.apache.parquet"])
async def test_each_row_takes_what_was_known(shop: Shop, media: str) -> None:
    weld_with(shop)
    async with client_of(shop.app) as client:
        headers = {**shop.token(Role.QUALITY), "Accept": media}
        answer = await client.get("/api/v1/welds/w1/table", headers=headers)
    assert answer.status_code == 200, answer.text
    body = io.BytesIO(answer.content)
    table = pd.read_csv(body) if media == "text/csv" else pd.read_parquet(body)
    nozzle, flow = "gun-a/nozzle [Cel]", "gun-a/flow [L/min]"
    assert list(table.columns) == ["time", nozzle, flow, "air/filter [Pa]"]
    seconds = [(pd.Timestamp(t).timestamp() - T0 / SECOND) for t in table["time"]]
    assert seconds == [0, 1, 2, 3, 4, 5, 6, 7, 45, 46, 47, 48, 49]
    # The bad reading at 3 s shows the one before; nothing is older than 30 s, the silence allowed.
    assert table[nozzle].tolist() == [300, 301, 302, 302, 304, 305, 306, 307, *range(345, 350)]
    assert table[flow].tolist()[1:8] == [50, 51, 51, 51, 51, 51, 51]
    assert table[flow].tolist()[10:] == [52, 52, 52]
    assert table[flow].isna().tolist() == [True, *[False] * 7, True, True, *[False] * 3]
    assert table["air/filter [Pa]"].isna().all()


async def test_a_weld_without_readings_is_an_empty_table(shop: Shop) -> None:
    shop.records.add_weld_event(start("w1", 0))
    shop.records.add_weld_event(stop("w1", 20))
    async with client_of(shop.app) as client:
        answer = await client.get("/api/v1/welds/w1/table", headers=shop.token(Role.VIEWER))
        missing = await client.get("/api/v1/welds/w9/table", headers=shop.token(Role.VIEWER))
    assert answer.text.splitlines() == [
        f"time,gun-a/nozzle [Cel],gun-a/flow [L/min],{DROP.channel} [Pa]"
    ]
    assert missing.status_code == 404


async def test_too_many_rows_are_refused_with_a_remedy(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(side_by_side, "MOST_ROWS", 5)
    weld_with(shop)
    async with client_of(shop.app) as client:
        answer = await client.get("/api/v1/welds/w1/table", headers=shop.token(Role.VIEWER))
    assert answer.status_code == 409
    assert "take the trace in one column" in answer.json()["detail"]
