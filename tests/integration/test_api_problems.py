"""Every kind of error is problem details (RFC 9457), and says nothing of the inside."""

from collections.abc import Iterator
from http import HTTPStatus
from pathlib import Path
from typing import Any

import httpx
import pytest

from api_shop import Shop, client_of, make_shop
from records_samples import start
from steadybead_api.middleware import LARGEST_BODY, POLICY
from steadybead_api.services import Condition
from steadybead_domain.people import Role
from steadybead_domain.ports import StoreError

pytestmark = pytest.mark.anyio


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    opened = make_shop(tmp_path)
    opened.records.add_weld_event(start("w1"))
    yield opened
    opened.close()


def check_problem(answer: httpx.Response, status: int) -> dict[str, Any]:
    """Hold an answer to RFC 9457."""
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    problem: dict[str, Any] = answer.json()
    assert problem["status"] == status
    assert problem["title"] == HTTPStatus(status).phrase
    assert problem["instance"] == answer.request.url.path
    assert problem["type"] == "about:blank" or problem["type"].startswith("urn:steadybead:problem:")
    assert problem["detail"]
    assert "Traceback" not in answer.text
    return problem


async def test_bytes_that_no_address_has_are_refused(shop: Shop) -> None:
    sent: list[dict[str, Any]] = []
    scope = {
        "type": "http",
        "method": "GET",
        "path": "/api/v1/welds",
        "query_string": b"job=\xff",
        "headers": [],
    }

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Any) -> None:
        sent.append(message)

    await shop.app(scope, receive, send)
    assert sent[0]["status"] == 400


async def test_a_length_of_thousands_of_digits_is_too_large(shop: Shop) -> None:
    async with client_of(shop.app) as client:
        headers = {"content-length": "9" * 5000}
        check_problem(await client.post("/api/v1/welds", headers=headers), 413)


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [
        ("GET", "/api/v1/nothing", 404),
        ("GET", "/nothing/at/all", 404),
        ("DELETE", "/api/v1/welds", 405),
        ("PUT", "/healthz", 405),
        ("GET", "/api/v1/welds/unknown", 404),
        ("GET", "/api/v1/stations/north/unknown", 404),
        ("GET", "/api/v1/stations/no!rth/bay-1", 404),
        ("GET", "/api/v1/procedures/unknown", 404),
        ("GET", "/api/v1/procedures/pp-speed-nozzle?revision=2", 404),
        ("GET", "/api/v1/welds?limit=0", 422),
        ("GET", "/api/v1/welds/w!1", 422),
        ("GET", "/api/v1/alarms?cursor=abc", 422),
        ("GET", "/api/v1/readings", 422),
    ],
)
async def test_errors_of_addresses_and_values(
    shop: Shop, method: str, path: str, status: int
) -> None:
    async with client_of(shop.app) as client:
        answer = await client.request(method, path, headers=shop.token(Role.VIEWER))
    check_problem(answer, status)
    if status == 405:
        assert answer.headers["allow"]


async def test_validation_names_each_fault(shop: Shop) -> None:
    async with client_of(shop.app) as client:
        body = {"gun": "a b", "time": 3}
        answer = await client.post("/api/v1/welds", json=body, headers=shop.token(Role.WELDER))
    problem = check_problem(answer, 422)
    assert {e["at"] for e in problem["errors"]} == {"body.station", "body.gun", "body.time"}


@pytest.mark.parametrize("content", [b"{", b"\xff\xfe", b"[1,2", b"NaN"])
async def test_body_that_is_no_json(shop: Shop, content: bytes) -> None:
    async with client_of(shop.app) as client:
        headers = {**shop.token(Role.WELDER), "Content-Type": "application/json"}
        answer = await client.post("/api/v1/welds", content=content, headers=headers)
    check_problem(answer, answer.status_code)
    assert answer.status_code in (400, 422)


async def test_bodies_are_bounded_with_and_without_a_length(shop: Shop) -> None:
    async def parts() -> Any:
        for _ in range(20):
            yield b" " * (LARGEST_BODY // 10)

    async with client_of(shop.app) as client:
        headers = {**shop.token(Role.WELDER), "Content-Type": "application/json"}
        whole = b" " * (LARGEST_BODY + 1)
        for path in ("/api/v1/welds", "/login"):
            check_problem(await client.post(path, content=whole, headers=headers), 413)
            check_problem(await client.post(path, content=parts(), headers=headers), 413)


async def test_store_that_fails_is_a_503_with_its_remedy(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> None:
        raise StoreError("the disk is full: free space")

    monkeypatch.setattr(type(shop.records.welds), "get", fail)
    async with client_of(shop.app) as client:
        answer = await client.get("/api/v1/welds/w1", headers=shop.token(Role.VIEWER))
    assert check_problem(answer, 503)["detail"] == "the disk is full: free space"


async def test_defect_is_a_500_that_keeps_its_secrets(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> None:
        raise RuntimeError("inner word")

    monkeypatch.setattr(type(shop.records.welds), "get", fail)
    async with client_of(shop.app) as client:
        answer = await client.get("/api/v1/welds/w1", headers=shop.token(Role.VIEWER))
    check_problem(answer, 500)
    assert "inner word" not in answer.text


async def test_every_answer_carries_the_security_headers(shop: Shop) -> None:
    async with client_of(shop.app) as client:
        for path in ("/healthz", "/api/v1/stations", "/nothing", "/openapi.json"):
            headers = (await client.get(path)).headers
            assert headers["content-security-policy"] == POLICY
            assert headers["x-content-type-options"] == "nosniff"
        assert (await client.get("/api/v1/stations")).headers["cache-control"] == "no-store"
    assert "unsafe" not in POLICY


async def test_ready_only_with_broker_stores_and_collector(shop: Shop, tmp_path: Path) -> None:
    collector = [Condition("collector", False, "no SUBACK yet")]
    object.__setattr__(shop.services, "status", lambda: collector)
    async with client_of(shop.app) as client:
        assert await _wrong(client) == {"live", "collector"}
        shop.board.connected(shop.clock())
        collector[0] = Condition("collector", True)
        assert await _wrong(client) == set()
        shop.board.disconnected()
        assert await _wrong(client) == {"live"}
        shop.board.connected(shop.clock())
        shop.readings.close()
        (tmp_path / "records.db").write_bytes(b"no database at all" * 1000)
        assert await _wrong(client) == {"readings", "records"}


async def _wrong(client: httpx.AsyncClient) -> set[str]:
    answer = await client.get("/readyz")
    wrong = {c["name"] for c in answer.json()["conditions"] if not c["ok"]}
    assert answer.status_code == (503 if wrong else 200)
    assert answer.json()["ready"] is not bool(wrong)
    return wrong


async def test_metrics_count_answers_without_naming_the_shop(shop: Shop) -> None:
    async with client_of(shop.app) as client:
        await client.get("/api/v1/stations/north/bay-1", headers=shop.token(Role.VIEWER))
        await client.request("BREW", "/api/v1/stations")
        text = (await client.get("/metrics")).text
    line = (
        'steadybead_http_answers_total{method="GET",'
        'route="/api/v1/stations/{site}/{station}",status="200"} 1.0'
    )
    assert line in text
    assert "steadybead_broker_subscribed 0.0" in text
    assert "north" not in text
    assert "BREW" not in text


async def test_a_browser_is_shown_a_page_where_there_is_nothing(shop: Shop) -> None:
    async with client_of(shop.app) as client:
        page = await client.get("/nothing", headers={"Accept": "text/html"})
        api = await client.get("/api/v1/nothing", headers={"Accept": "text/html"})
        program = await client.get("/nothing")
    assert page.status_code == 404
    assert page.headers["content-type"].startswith("text/html")
    assert "There is nothing at this address" in page.text
    assert 'href="/"' in page.text
    check_problem(api, 404)
    check_problem(program, 404)
