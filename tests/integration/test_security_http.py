"""What stands between the shop and a hostile browser: headers, sessions, names, logs, bodies."""

import csv
import gzip
import io
import logging
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import httpx
import pytest
from prometheus_client import CollectorRegistry

from api_shop import PLANT, Shop, client_of, make_shop, put, ramp
from records_samples import fact, start
from route_table import TABLE
from steadybead_api.access import COOKIE, CSRF_HEADER
from steadybead_api.app import create_app
from steadybead_api.export import csv_stream
from steadybead_api.middleware import HEADERS, LARGEST_BODY
from steadybead_api.signing_in import TABLET_COOKIE
from steadybead_dashboards.render import SECURITY_HEADERS
from steadybead_domain.people import Role

pytestmark = pytest.mark.anyio
SCRIPT: Final = "<script>alert(1)</script>'\"><img src=x onerror=alert(2)>"
RAW: Final = ("<script>alert", "<img src=x")
CSP: Final = "Content-Security-Policy"
EVENTS: Final = ("onclick", "onload", "onerror", "onsubmit", "onchange", "oninput")
PARTS: Final = {
    "{site}": "north",
    "{station}": "bay-1",
    "{weld_id}": "w1",
    "{weld}": "w1",
    "{alarm}": "al1",
    "{procedure}": "bad",
    "{owner}": "gun-a",
    "{what}": "nozzle",
    "{number}": "1",
    "{plan}": "1",
}


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    opened = make_shop(tmp_path)
    opened.records.add_weld_event(start("w1"))
    opened.records.add_alarm_facts([fact("al1", 0, active=True)])
    opened.services.stopping.set()  # event streams end at once
    yield opened
    opened.close()


def address(path: str) -> str:
    for name, value in PARTS.items():
        path = path.replace(name, value)
    return path.replace("{", "").replace("}", "")


def hardened(answer: httpx.Response) -> bool:
    """Tell whether all headers are there; pages have a policy of their own, stricter still."""
    wanted = {name: value for name, value in HEADERS.items() if name != CSP}
    policy = answer.headers.get(CSP) in {HEADERS[CSP], SECURITY_HEADERS[CSP]}
    return policy and all(answer.headers.get(name) == value for name, value in wanted.items())


async def test_every_answer_of_every_route_carries_the_headers(shop: Shop) -> None:
    chief = shop.token(Role.ADMINISTRATOR)
    async with client_of(shop.app) as client:
        for (method, path), headers in ((place, who) for place in TABLE for who in ({}, chief)):
            answer = await client.request(method, address(path), headers=headers)
            assert hardened(answer), (method, path, answer.status_code)


async def test_so_do_errors_files_and_downloads(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    chief = shop.token(Role.ADMINISTRATOR)
    csv_file = {**chief, "Accept": "text/csv"}
    async with client_of(shop.app) as client:
        page = (await client.get("/signin")).text
        static = page.partition('href="/static/')[2].partition('"')[0]
        asked = {
            f"/static/{static}": (200, {}),
            "/nothing": (404, {}),
            "/api/v1/welds/w1/trace": (200, csv_file),
            "/api/v1/welds?limit=0": (422, chief),
        }
        for path, (status, headers) in asked.items():
            answer = await client.get(path, headers=headers)
            assert (answer.status_code, hardened(answer)) == (status, True), path
        large = await client.post("/login", content=b"x" * (LARGEST_BODY + 1))
        assert (large.status_code, hardened(large)) == (413, True)

        def fail(*_: object) -> None:
            raise RuntimeError("inner word")

        monkeypatch.setattr(type(shop.records.welds), "get", fail)
        for path in ("/api/v1/welds/w1", "/welds/w1"):
            defect = await client.get(path, headers=chief)
            assert (defect.status_code, hardened(defect)) == (500, True)
            assert defect.headers["cache-control"] == "no-store"


async def test_the_policy_allows_nothing_inline_and_nothing_from_elsewhere(shop: Shop) -> None:
    for text in (HEADERS[CSP], SECURITY_HEADERS[CSP]):
        policy = dict(part.strip().partition(" ")[::2] for part in text.split(";"))
        assert policy.get("object-src", policy["default-src"]) == "'none'"
        assert policy.get("script-src", policy["default-src"]) == "'self'"
        assert policy["frame-ancestors"] == policy["base-uri"] == "'none'"
        assert policy["form-action"] == "'self'"
        assert not [word for word in ("unsafe", "http", "*") if word in text]
    async with client_of(shop.app) as client:
        for (method, path), rule in TABLE.items():
            if method == "GET" and (rule.page or path == "/signin"):
                page = await client.get(address(path), headers=shop.token(Role.ADMINISTRATOR))
                low = page.text.lower()
                assert " style=" not in low, path
                assert "javascript:" not in low, path
                assert not [x for x in EVENTS if f" {x}=" in low], path


async def in_a_browser(client: httpx.AsyncClient, secret: dict[str, str]) -> tuple[str, str]:
    """Sign in by token; give cookie and CSRF token."""
    token = secret["Authorization"].removeprefix("Bearer ")
    answer = await client.post("/login", json={"token": token})
    return answer.cookies[COOKIE], str(answer.json()["csrf"])


async def test_signing_in_makes_a_new_session_and_ends_the_one_before(shop: Shop) -> None:
    async with client_of(shop.app) as client:
        client.cookies.set(COOKIE, "chosen-by-somebody-else")
        first, csrf = await in_a_browser(client, shop.token(Role.WELDER))
        assert first != "chosen-by-somebody-else"
        second, _ = await in_a_browser(client, shop.token(Role.QUALITY))
        assert second != first
    for stale in ("chosen-by-somebody-else", first):
        async with client_of(shop.app) as thief:
            thief.cookies.set(COOKIE, stale)
            assert (await thief.get("/api/v1/stations")).status_code == 401
            act = await thief.post("/api/v1/welds/w1/stop", headers={CSRF_HEADER: csrf})
            assert act.status_code == 401


async def test_a_session_is_unguessable(shop: Shop) -> None:
    async with client_of(shop.app) as client:
        secrets = {(await in_a_browser(client, shop.token(Role.WELDER)))[0] for _ in range(5)}
    assert len(secrets) == 5
    assert min(len(secret) for secret in secrets) >= 43  # 256 bits in base64url


async def test_many_names_from_one_address_are_slowed_down_too(shop: Shop) -> None:
    async with client_of(shop.app) as client:
        for number in range(31):
            said = {"name": f"guess {number}", "pin": "0000"}
            assert (await client.post("/login", json=said)).status_code == 401
        late = await client.post("/login", json={"name": "another", "pin": "0000"})
        assert late.status_code == 429
    async with client_of(shop.app, ("192.0.2.9", 1)) as elsewhere:
        said = {"name": "another", "pin": "0000"}
        assert (await elsewhere.post("/login", json=said)).status_code == 401


async def test_a_forwarded_address_is_not_believed_from_anybody(shop: Shop) -> None:
    """Only the server in front may name the caller; the application reads no such header."""
    async with client_of(shop.app) as client:
        answers = []
        for number in range(32):
            headers = {"X-Forwarded-For": f"203.0.113.{number}", "Forwarded": f"for={number}"}
            said = {"name": f"guess {number}", "pin": "0000"}
            answers.append((await client.post("/login", json=said, headers=headers)).status_code)
    assert answers[-1] == 429


async def test_no_secret_comes_into_a_log(
    shop: Shop, caplog: pytest.LogCaptureFixture, capfd: pytest.CaptureFixture[str]
) -> None:
    caplog.set_level(logging.DEBUG)
    token = shop.token(Role.ADMINISTRATOR)
    secret = token["Authorization"].removeprefix("Bearer ")
    hidden = {secret, "a secret pass phrase", "47110815", "wrong pass phrase"}
    async with client_of(shop.app) as client:
        body = {"name": "Rui", "role": "welder", "password": "a secret pass phrase"}
        await client.post("/api/v1/people", json=body, headers=token)
        await client.post("/api/v1/people/1/secret", json={"pin": "47110815"}, headers=token)
        tablet = await client.post("/api/v1/tablets", json={"place": "bay 1"}, headers=token)
        hidden.add(tablet.cookies[TABLET_COOKIE])
        for said in (
            {"name": "Rui", "password": "a secret pass phrase"},
            {"name": "Rui", "password": "wrong pass phrase"},
            {"name": "Rui", "pin": "47110815"},
            {"token": secret},
            {"token": secret, "password": 7},
        ):
            answer = await client.post("/login", json=said)
            hidden |= {answer.cookies.get(COOKIE, secret)}
            assert not [h for h in hidden if h in answer.text]
        await client.get(f"/api/v1/work-list.ics?token={secret}")
        hidden.add(str(shop.services.first.code() or secret))
    ours = [record for record in caplog.records if not record.name.startswith("http")]
    told = (
        "".join(caplog.handler.format(record) for record in ours)
        + "".join(capfd.readouterr())
        + str(shop.records.audit.page(100).items)
    )
    assert not [h for h in hidden if h in told]


async def test_names_with_a_script_in_them_stay_names(shop: Shop) -> None:
    chief = shop.token(Role.ADMINISTRATOR, SCRIPT[:60])
    stations = tuple(replace(s, name=SCRIPT) for s in PLANT.stations)
    plant = replace(PLANT, name=SCRIPT, stations=stations)
    services = replace(shop.services, plant=lambda: plant, registry=CollectorRegistry())
    put(shop, PLANT.stations[0].channels[0].id, ramp(50))
    window = {"low": 300.0, "high": 320.0}
    words = dict.fromkeys(("title", "material", "source", "edition", "rod", "note"), SCRIPT)
    words["process"] = "641"
    procedure = {"id": "bad", "revision": 1, "nozzle_temperature": window, "air_flow": window}
    weld = {"station": "north/bay-1", "gun": "b", "weld": "w2", "procedure": "pp-speed-nozzle"}
    acts: dict[str, dict[str, Any]] = {
        "procedures": procedure | words | {"flow_reference": "actual"},
        "welds": weld | {"job": SCRIPT, "seam": SCRIPT, "welder": SCRIPT[:60], "remarks": SCRIPT},
        "welds/w1/amendments": {"reason": SCRIPT, "job": SCRIPT, "seam": SCRIPT},
        "alarms/al1/shelve": {"until": "2026-05-04T08:30:00Z", "reason": SCRIPT},
        "people": {"name": SCRIPT[:60], "role": "viewer"},
        "tablets": {"place": SCRIPT},
        "filter-changes": {"station": "north/bay-1", "note": SCRIPT},
    }
    async with client_of(create_app(services)) as client:
        for path, body in acts.items():
            done = await client.post(f"/api/v1/{path}", json=body, headers=chief)
            assert done.status_code in {200, 201}, (path, done.text)
        met = 0
        for (method, path), rule in TABLE.items():
            if method != "GET":
                continue
            answer = await client.get(address(path), headers=chief)
            kind = answer.headers.get("content-type", "")
            if kind.startswith("text/html"):
                assert not [raw for raw in RAW if raw in answer.text], path
                met += "&lt;script&gt;alert" in answer.text
            else:
                assert rule.page is False or answer.status_code == 303, (path, kind)
        strange = await client.get(f"/welds?job={SCRIPT}", headers=chief)
        assert not [raw for raw in RAW if raw in strange.text]
    assert met > 12


@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠"])
def test_a_text_is_no_formula_in_a_spreadsheet_and_a_number_stays_one(sign: str) -> None:
    class Part:
        def table(self) -> dict[str, list[object]]:
            return {f"{sign}name": [f"{sign}1+1", "plain"], "value": [-1.5, 2]}

    text = b"".join(csv_stream([f"{sign}name", "value"], [Part()])).decode()  # type: ignore[list-item]
    head, first, second = csv.reader(io.StringIO(text, newline=""))
    assert head == [f"'{sign}name", "value"]
    assert first == [f"'{sign}1+1", "-1.5"]
    assert second == ["plain", "2"]


async def test_a_packed_body_is_not_unpacked(shop: Shop) -> None:
    bomb = gzip.compress(b"[" + b" " * 50_000_000 + b"]")
    assert len(bomb) < LARGEST_BODY
    headers = {**shop.token(Role.ADMINISTRATOR), "Content-Encoding": "gzip"}
    async with client_of(shop.app) as client:
        for path in ("/api/v1/welds", "/login"):
            answer = await client.post(path, content=bomb, headers=headers)
            assert answer.status_code == 422


@pytest.mark.parametrize("path", ["/login", "/language", "/logout"])
async def test_a_form_of_many_fields_is_refused_not_stumbled_over(shop: Shop, path: str) -> None:
    form = "application/x-www-form-urlencoded"
    async with client_of(shop.app) as client:
        client.cookies.set(COOKIE, "x")
        content = "&".join(f"f{i}=1" for i in range(1000))
        answer = await client.post(path, content=content, headers={"Content-Type": form})
    assert answer.status_code in {303, 403, 422}


@pytest.mark.parametrize(
    "path",
    [
        "/static/x/../../../../etc/passwd",
        "/static/x/%2e%2e/%2e%2e/%2e%2e/etc/passwd",
        "/static/x//etc/passwd",
        "/static/x/..%5c..%5capp.py",
        "/static/x/%00",
        "/api/v1/welds/..%2f..%2fetc%2fpasswd/evidence",
        "/api/v1/welds/w1/cut-plans/..%2f1/sheet",
    ],
)
async def test_no_path_leads_out(shop: Shop, path: str) -> None:
    async with client_of(shop.app) as client:
        page = (await client.get("/signin")).text
        print_ = page.partition('href="/static/')[2].partition("/")[0]
        real = path.replace("/static/x/", f"/static/{print_}/")
        answer = await client.get(real, headers=shop.token(Role.ADMINISTRATOR))
    assert answer.status_code in {404, 422}
    assert "root:" not in answer.text


async def test_a_foreign_host_name_is_given_back_nowhere(shop: Shop) -> None:
    headers = {**shop.token(Role.ADMINISTRATOR), "Host": "evil.example"}
    headers["X-Forwarded-Host"] = "evil.example"
    async with client_of(shop.app) as client:
        for method, path in TABLE:
            answer = await client.request(method, address(path), headers=headers)
            assert "evil.example" not in answer.text + str(answer.headers), path
