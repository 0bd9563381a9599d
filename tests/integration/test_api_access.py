"""Who may do what, and what a session adds to it."""

import re
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from api_shop import BAY_1, Shop, client_of, make_shop
from records_samples import fact, start
from steadybead_api.access import COOKIE
from steadybead_api.services import AccessPolicy
from steadybead_collector.records.access import SESSION_LENGTH
from steadybead_domain.people import Actor, Role
from steadybead_domain.times import SECOND

pytestmark = pytest.mark.anyio
HOUR = "start=2026-05-04T07:30:00Z&end=2026-05-04T08:30:00Z"
READS = [
    "/api/v1/stations",
    "/api/v1/stations/north/bay-1",
    f"/api/v1/readings?channel=north/bay-1/gun-a/nozzle&{HOUR}",
    "/api/v1/alarms",
    "/api/v1/alarms/al1",
    "/api/v1/findings",
    "/api/v1/filter-changes",
    "/api/v1/welds",
    "/api/v1/welds/w1",
    "/api/v1/welds/w1/trace",
    "/api/v1/procedures",
    "/api/v1/procedures/pp-speed-nozzle",
    "/api/v1/procedures/pp-speed-nozzle/revisions",
    "/api/v1/quarantine",
]
NEW_WELD = {"station": str(BAY_1), "gun": "b"}
SHELF = {"until": "2026-05-04T08:30:00Z", "reason": "waits for a part"}
ACTS = {
    "/api/v1/filter-changes": (
        {"station": "north/bay-1"},
        {"maintenance", "quality", "administrator"},
    ),
    "/api/v1/welds": (NEW_WELD, {"welder", "quality", "administrator"}),
    "/api/v1/welds/w1/stop": ({}, {"welder", "quality", "administrator"}),
    "/api/v1/alarms/al1/acknowledge": (
        {},
        {"welder", "maintenance", "quality", "administrator"},
    ),
    "/api/v1/alarms/al1/shelve": (SHELF, {"maintenance", "administrator"}),
    "/api/v1/alarms/al1/unshelve": ({}, {"maintenance", "administrator"}),
}
FREE = ["/healthz", "/readyz", "/metrics", "/openapi.json"]


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    opened = make_shop(tmp_path)
    opened.records.add_weld_event(start("w1"))
    opened.records.add_alarm_facts([fact("al1", 0, active=True)])
    opened.board.connected(opened.clock())
    yield opened
    opened.close()


async def test_every_route_of_the_api_asks_who_is_there(shop: Shop) -> None:
    paths = shop.app.openapi()["paths"].items()
    described = {
        (re.sub(r"\{\w+\}", "x", path), method)
        for path, methods in paths
        for method in methods
        if path.startswith("/api/v1/")
    }
    assert len(described) >= len(READS) + len(ACTS) + 1
    viewer = shop.token(Role.VIEWER)
    async with client_of(shop.app) as client:
        for path, method in sorted(described):
            assert (await client.request(method, path)).status_code == 401, (method, path)
            if method != "get":
                answer = await client.request(method, path, headers=viewer)
                own = path == "/api/v1/me/secret"  # everybody's own, once the body is right
                assert answer.status_code == (422 if own else 403), (method, path)


@pytest.mark.parametrize("role", list(Role))
async def test_every_role_may_read(shop: Shop, role: Role) -> None:
    async with client_of(shop.app) as client:
        headers = shop.token(role)
        for path in READS:
            assert (await client.get(path, headers=headers)).status_code == 200, path


async def test_stranger_reads_only_what_is_open(shop: Shop) -> None:
    open_app = shop.with_access(AccessPolicy("open"))
    async with client_of(shop.app) as closed, client_of(open_app) as opened:
        for path in READS:
            refused = await closed.get(path)
            assert refused.status_code == 401, path
            assert refused.headers["www-authenticate"] == "Bearer"
            assert (await opened.get(path)).status_code == 200, path
        for path in FREE:
            assert (await closed.get(path)).status_code == 200, path


@pytest.mark.parametrize("role", list(Role))
@pytest.mark.parametrize("path", list(ACTS))
async def test_act_needs_one_of_its_roles(shop: Shop, role: Role, path: str) -> None:
    body, allowed = ACTS[path]
    async with client_of(shop.app) as client:
        answer = await client.post(path, json=body, headers=shop.token(role))
    assert answer.status_code == (
        (201 if path.endswith(("welds", "filter-changes")) else 200) if role in allowed else 403
    )
    done = [e for e in shop.records.audit.page(50).items if e.what != "token created"]
    assert [e.actor for e in done] == ([f"the {role}"] if role in allowed else [])


@pytest.mark.parametrize("path", list(ACTS))
async def test_act_needs_a_login_even_where_reading_is_open(shop: Shop, path: str) -> None:
    async with client_of(shop.with_access(AccessPolicy("open"))) as client:
        assert (await client.post(path, json=ACTS[path][0])).status_code == 401


@pytest.mark.parametrize("header", ["Bearer wrong", "Bearer ", "Basic abc", "sb_x"])
async def test_bad_credentials_are_refused_even_where_reading_is_open(
    shop: Shop, header: str
) -> None:
    async with client_of(shop.with_access(AccessPolicy("open"))) as client:
        answer = await client.get("/api/v1/stations", headers={"Authorization": header})
    assert answer.status_code == 401


async def test_revoked_token_and_its_sessions_are_refused(shop: Shop) -> None:
    headers = shop.token(Role.QUALITY)
    async with client_of(shop.app) as client:
        await log_in(client, headers)
        row = shop.records.access.tokens()[0]
        boss = Actor("boss", Role.ADMINISTRATOR)
        assert shop.records.access.revoke_token(row.id, boss, shop.clock(), "test")
        assert not shop.records.access.revoke_token(row.id, boss, shop.clock(), "test")
        assert (await client.get("/api/v1/stations")).status_code == 401
        assert (await client.get("/api/v1/stations", headers=headers)).status_code == 401


async def log_in(client: httpx.AsyncClient, headers: dict[str, str]) -> str:
    secret = headers["Authorization"].removeprefix("Bearer ")
    answer = await client.post("/login", json={"token": secret})
    assert answer.status_code == 200
    csrf: str = answer.json()["csrf"]
    return csrf


async def test_session_cookie_is_kept_from_scripts_and_other_sites(shop: Shop) -> None:
    async with client_of(shop.app) as client:
        secret = shop.token(Role.WELDER)["Authorization"].removeprefix("Bearer ")
        answer = await client.post("/login", json={"token": secret})
    cookie = answer.headers["set-cookie"]
    assert cookie.startswith(f"{COOKIE}=")
    assert {"HttpOnly", "SameSite=strict", "Path=/"} <= set(cookie.split("; "))
    assert answer.json() == {
        "actor": "the welder",
        "role": "welder",
        "csrf": answer.json()["csrf"],
    }
    assert len(answer.json()["csrf"]) == 64


async def test_session_reads_and_acts_only_with_its_csrf_token(shop: Shop) -> None:
    async with client_of(shop.app) as client:
        csrf = await log_in(client, shop.token(Role.WELDER))
        assert (await client.get("/api/v1/stations")).status_code == 200
        path = "/api/v1/welds/w1/stop"
        for sent in ({}, {"X-CSRF-Token": "wrong"}, {"X-CSRF-Token": csrf[:-1]}):
            refused = await client.post(path, headers=sent)
            assert refused.status_code == 403
            assert refused.json()["type"].endswith(":csrf")
        assert shop.records.welds.get("w1").stop is None  # type: ignore[union-attr]
        assert (await client.post(path, headers={"X-CSRF-Token": csrf})).status_code == 200


async def test_session_ends_by_age_and_by_logout(shop: Shop) -> None:
    async with client_of(shop.app) as client:
        await log_in(client, shop.token(Role.WELDER))
        shop.clock.advance(SESSION_LENGTH / SECOND + 1)
        assert (await client.get("/api/v1/stations")).status_code == 401
        csrf = await log_in(client, shop.token(Role.WELDER))
        kept = client.cookies[COOKIE]
        assert (await client.post("/logout")).status_code == 403
        assert (await client.post("/logout", headers={"X-CSRF-Token": csrf})).status_code == 303
        client.cookies.set(COOKIE, kept)
        assert (await client.get("/api/v1/stations")).status_code == 401


async def test_form_leads_to_the_page_and_back_to_signing_in(shop: Shop) -> None:
    secret = shop.token(Role.WELDER)["Authorization"].removeprefix("Bearer ")
    async with client_of(shop.app) as client:
        wrong = await client.post("/login", data={"token": "sb_no", "next": "/welds"})
        assert wrong.status_code == 303
        assert wrong.headers["location"] == "/signin?problem=token&next=%2Fwelds"
        right = await client.post("/login", data={"token": secret, "next": "/welds"})
        assert (right.status_code, right.headers["location"]) == (303, "/welds")
        stale = await client.post("/logout", data={"csrf": "old"})
        assert stale.headers["location"].startswith("/signin?problem=form")


@pytest.mark.parametrize(
    "target", ["//evil.example", "https://evil.example/", "/\\evil.example", "javascript:x", ""]
)
async def test_login_never_leads_to_another_site(shop: Shop, target: str) -> None:
    secret = shop.token(Role.WELDER)["Authorization"].removeprefix("Bearer ")
    async with client_of(shop.app) as client:
        answer = await client.post("/login", data={"token": secret, "next": target})
    assert answer.headers["location"] == "/"


@pytest.mark.parametrize(
    ("origin", "status"),
    [("http://localhost", 200), ("http://evil.example", 403), ("null", 403)],
)
async def test_login_from_another_sites_page_is_refused(
    shop: Shop, origin: str, status: int
) -> None:
    secret = shop.token(Role.WELDER)["Authorization"].removeprefix("Bearer ")
    async with client_of(shop.app) as client:
        answer = await client.post("/login", json={"token": secret}, headers={"Origin": origin})
    assert answer.status_code == status


HTML = {"Accept": "text/html"}


async def test_demo_visitor_on_this_machine_is_let_in_by_the_first_page(shop: Shop) -> None:
    app = shop.with_access(AccessPolicy("open", demo=True))
    async with client_of(app) as client:
        page = await client.get("/", headers=HTML)
        assert page.status_code == 200
        assert COOKIE in client.cookies
        again = await client.get("/", headers=HTML)
        assert "set-cookie" not in again.headers
        csrf = again.text.partition('name="csrf-token" content="')[2].partition('"')[0]
        acted = await client.post("/api/v1/welds/w1/stop", headers={"X-CSRF-Token": csrf})
        assert acted.status_code == 200
        assert acted.json()["stopped_by"] == "demo visitor"


@pytest.mark.parametrize(
    ("peer", "host"),
    [
        ("192.0.2.7", "localhost"),
        ("127.0.0.1", "shop.example"),
        ("127.0.0.1", "127.0.0.1.x.example"),
    ],
)
async def test_demo_lets_nobody_else_in(shop: Shop, peer: str, host: str) -> None:
    app = shop.with_access(AccessPolicy("open", demo=True))
    async with client_of(app, (peer, 5000)) as client:
        page = await client.get("/", headers={**HTML, "Host": host})
    assert "set-cookie" not in page.headers


async def test_without_demo_nobody_gets_a_session_unasked(shop: Shop) -> None:
    async with client_of(shop.with_access(AccessPolicy("open"))) as client:
        page = await client.get("/", headers=HTML)
    assert "set-cookie" not in page.headers


async def test_search_by_welder_needs_the_quality_role(shop: Shop) -> None:
    async with client_of(shop.app) as client:
        body = {**NEW_WELD, "welder": "the welder", "weld": "w2"}
        assert (
            await client.post("/api/v1/welds", json=body, headers=shop.token(Role.WELDER))
        ).json()["welder"] == "the welder"
        seen = {}
        for role in Role:
            headers = shop.token(role)
            found = await client.get("/api/v1/welds?welder=the+welder", headers=headers)
            assert found.status_code == (200 if role in ("quality", "administrator") else 403)
            seen[role.value] = (await client.get("/api/v1/welds/w2", headers=headers)).json()[
                "welder"
            ]
    assert {role for role, name in seen.items() if name} == {"quality", "administrator", "welder"}
