"""Who may do what, on every route of the application: a full matrix route × role."""

import re
from collections.abc import Iterator
from itertools import product
from pathlib import Path
from typing import Final

import httpx
import pytest
from fastapi import FastAPI
from fastapi.routing import iter_route_contexts

from api_shop import Shop, client_of, make_shop
from records_samples import fact, start
from route_table import TABLE, Rule
from steadybead_api.access import CSRF_HEADER
from steadybead_api.services import AccessPolicy
from steadybead_domain.people import Role

pytestmark = pytest.mark.anyio
_PARTS: Final = {
    "site": "north",
    "station": "bay-1",
    "weld": "w1",
    "weld_id": "w1",
    "alarm": "al1",
    "procedure": "pp-speed-nozzle",
    "fingerprint": "none",
    "number": "77",
    "plan": "1",
    "owner": "gun-a",
    "what": "nozzle",
}
SIGN_IN: Final = "/signin?next="


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


def routes_of(app: FastAPI) -> set[tuple[str, str]]:
    """List what the application answers to, from the application itself."""
    return {
        (method, re.sub(r":\w+}", "}", str(route.path)))
        for route in iter_route_contexts(app.routes)
        for method in set(route.methods or {"?"}) - {"HEAD"}
    }


def address(path: str) -> str:
    return re.sub(r"{(\w+)}", lambda found: _PARTS.get(found[1], "x"), path)


def outcome(answer: httpx.Response) -> str:
    """Sort an answer: in, sign in (page), sign in (program), another role, or csrf."""
    place = answer.request.url.path
    assert answer.status_code < 500 or place == "/readyz", (place, answer.text[:300])
    if answer.status_code == 303 and answer.headers["location"].startswith(SIGN_IN):
        return "sign-in page"
    if answer.status_code == 401 and "login" in answer.text:
        return "log in"
    if answer.status_code == 403:
        kind = answer.headers["content-type"].startswith("application/problem+json")
        said = answer.json()["type"].rpartition(":")[2] if kind else "role"
        return str(said)
    return "in"


def wanted(rule: Rule, role: Role | None, *, is_open: bool) -> str:
    """Say what a rule lets happen to somebody; `role` None is a stranger."""
    if role is not None:
        return "in" if role in rule.roles else "role"
    if rule.strangers == "always" or (rule.strangers == "open" and is_open):
        return "in"
    return "sign-in page" if rule.page else "log in"


def test_every_route_stands_in_the_table_and_the_table_has_no_other(shop: Shop) -> None:
    routes = routes_of(shop.app)
    assert len(routes) > 80
    assert routes - TABLE.keys() == set(), "write down in tests/route_table.py who may use these"
    assert TABLE.keys() - routes == set()


def test_only_get_and_post_are_there_and_every_post_is_an_act_or_the_way_in(shop: Shop) -> None:
    assert {method for method, _ in routes_of(shop.app)} == {"GET", "POST"}
    free = {path for (method, path), rule in TABLE.items() if method == "POST" and not rule.act}
    assert free == {"/login", "/language"}
    assert not [path for (method, path), rule in TABLE.items() if method == "GET" and rule.act]


@pytest.mark.parametrize("is_open", [False, True], ids=["login", "open"])
async def test_strangers_get_what_the_table_says(shop: Shop, is_open: bool) -> None:
    app = shop.with_access(AccessPolicy("open" if is_open else "login"))
    found, asked = {}, {}
    async with client_of(app) as client:
        for (method, path), rule in TABLE.items():
            found[method, path] = outcome(await client.request(method, address(path)))
            asked[method, path] = wanted(rule, None, is_open=is_open)
    assert found == asked


@pytest.mark.parametrize("role", list(Role))
async def test_a_token_of_a_role_gets_what_the_table_says(shop: Shop, role: Role) -> None:
    headers, found, asked = shop.token(role), {}, {}
    async with client_of(shop.app) as client:
        for (method, path), rule in TABLE.items():
            answer = await client.request(method, address(path), headers=headers)
            found[method, path] = outcome(answer)
            asked[method, path] = wanted(rule, role, is_open=False)
    assert found == asked


async def signed_in(shop: Shop, client: httpx.AsyncClient, role: Role) -> str:
    secret = shop.token(role)["Authorization"].removeprefix("Bearer ")
    answer = await client.post("/login", json={"token": secret})
    return str(answer.json()["csrf"])


@pytest.mark.parametrize("role", list(Role))
async def test_a_session_acts_only_with_the_token_of_its_page(shop: Shop, role: Role) -> None:
    acts = {place: rule for place, rule in TABLE.items() if rule.act and place[1] != "/logout"}
    async with client_of(shop.app) as client:
        csrf = await signed_in(shop, client, role)
        other = await signed_in(shop, client, role)
        assert csrf != other
        for (method, path), rule in acts.items():
            for sent in ("", csrf, "é"):
                headers = {CSRF_HEADER: sent.encode()}
                answer = await client.request(method, address(path), headers=headers)
                assert outcome(answer) == "csrf", path
            answer = await client.request(method, address(path), headers={CSRF_HEADER: other})
            assert outcome(answer) == wanted(rule, role, is_open=False), path
        assert (await client.post("/logout")).status_code == 403


async def test_an_act_by_session_from_another_sites_form_is_refused(shop: Shop) -> None:
    """A form of a foreign page can send no header, and its body is no JSON by name."""
    async with client_of(shop.app) as client:
        csrf = await signed_in(shop, client, Role.ADMINISTRATOR)
        for (method, path), rule in TABLE.items():
            if rule.act and path != "/logout":
                sent = {"csrf": csrf, CSRF_HEADER: csrf}
                answer = await client.request(method, address(path), data=sent)
                assert outcome(answer) == "csrf", path


async def test_other_methods_do_nothing(shop: Shop) -> None:
    headers = shop.token(Role.ADMINISTRATOR)
    before = shop.records.audit.head()
    async with client_of(shop.app) as client:
        for method, (_, path) in product(("PUT", "PATCH", "DELETE"), TABLE):
            answer = await client.request(method, address(path), headers=headers)
            assert answer.status_code in {404, 405}, path
    assert shop.records.audit.head() == before
