"""Accounts, PINs on shared tablets, the first administrator: over HTTP, as pages use them."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import argon2
import httpx
import pytest
import sqlalchemy as sa

from api_shop import Shop, client_of, make_shop
from steadybead_api.access import COOKIE, CSRF_HEADER
from steadybead_api.signing_in import TABLET_COOKIE
from steadybead_collector.records import accounts
from steadybead_collector.records.accounts import PIN_SESSION_LENGTH
from steadybead_collector.records.schema import account_fact
from steadybead_domain.people import Role
from steadybead_domain.times import SECOND

pytestmark = pytest.mark.anyio
ANA = {"name": "Ana Reis", "password": "four words in a row"}


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    opened = make_shop(tmp_path)
    yield opened
    opened.close()


async def person(shop: Shop, client: httpx.AsyncClient, **members: Any) -> dict[str, Any]:
    """Make an account; the default is a welder with a PIN."""
    chief = shop.token(Role.ADMINISTRATOR)
    body = {"name": "Rui", "role": "welder", "password": "a long enough one"} | members
    pin = body.pop("pin", None)
    made = await client.post("/api/v1/people", json=body, headers=chief)
    assert made.status_code == 201, made.text
    if pin is not None:
        path = f"/api/v1/people/{made.json()['id']}/secret"
        made = await client.post(path, json={"pin": pin}, headers=chief)
        assert made.status_code == 200, made.text
    found: dict[str, Any] = made.json()
    return found


async def tablet(shop: Shop, client: httpx.AsyncClient) -> str:
    """Make the client a shared tablet; give its secret."""
    chief = shop.token(Role.ADMINISTRATOR)
    answer = await client.post("/api/v1/tablets", json={"place": "bay 1"}, headers=chief)
    assert answer.status_code == 201
    return str(answer.cookies[TABLET_COOKIE])


async def test_secrets_are_kept_by_the_second_recommended_option_of_rfc_9106(
    shop: Shop, products_hasher: argon2.PasswordHasher, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(accounts, "_HASHER", products_hasher)
    async with client_of(shop.app) as client:
        await person(shop, client, pin="2846")
        signing = {"name": "Rui", "password": "a long enough one"}
        assert (await client.post("/login", json=signing)).status_code == 200
    with shop.records._database.read() as connection:
        query = sa.select(account_fact.c.value).where(account_fact.c.value.startswith("$"))
        kept = list(connection.scalars(query))
    assert len(kept) == 2
    # RFC 9106, section 4: Argon2id, t=3, p=4, m=2^16 KiB, 128 bit of salt, 256 bit of tag
    option = argon2.Parameters(argon2.Type.ID, 19, 16, 32, 3, 65_536, 4)
    assert [argon2.extract_parameters(hashed) for hashed in kept] == [option, option]


async def test_the_first_administrator_needs_the_code_of_the_console(shop: Shop) -> None:
    code = shop.services.first.code()
    assert code is not None
    async with client_of(shop.app) as client:
        wrong = await client.post("/login", json={**ANA, "code": "guess"})
        assert (wrong.status_code, wrong.json()["type"]) == (401, "urn:steadybead:problem:code")
        assert (await client.get("/first?code=guess")).status_code == 404
        assert "Make the administrator" in (await client.get(f"/first?code={code}")).text
        short = await client.post("/login", json={**ANA, "password": "short", "code": code})
        assert short.status_code == 409
        assert "10 to 200 characters" in short.json()["detail"]
        made = await client.post("/login", json={**ANA, "code": code})
        assert made.status_code == 200
        assert made.json()["role"] == "administrator"
        again = await client.post("/login", json={**ANA, "name": "Eve", "code": code})
        assert again.status_code == 401
    assert shop.services.first.code() is None
    assert [a.name for a in shop.records.accounts.all()] == ["Ana Reis"]


async def test_a_token_of_an_administrator_makes_the_code_needless(shop: Shop) -> None:
    shop.token(Role.ADMINISTRATOR)
    assert shop.services.first.code() is None


async def test_a_name_and_its_password_open_a_session_that_acts(shop: Shop) -> None:
    async with client_of(shop.app) as client:
        await person(shop, client)
        signed = await client.post(
            "/login", json={"name": " rui ", "password": "a long enough one"}
        )
        assert signed.json()["actor"] == "Rui"
        headers = {CSRF_HEADER: signed.json()["csrf"]}
        body = {"station": "north/bay-1", "gun": "a"}
        assert (await client.post("/api/v1/welds", json=body)).status_code == 403
        done = await client.post("/api/v1/welds", json=body, headers=headers)
        assert done.status_code == 201
        assert (await client.get("/api/v1/people")).status_code == 403
        assert (await client.post("/api/v1/people", json={}, headers=headers)).status_code == 403


@pytest.mark.parametrize(
    "body",
    [
        {"name": "Rui", "password": "another long one"},
        {"name": "Nobody", "password": "a long enough one"},
        {"name": "Rui", "pin": "4711"},
        {"token": "sb_nothing"},
    ],
)
async def test_what_does_not_belong_together_opens_nothing(
    shop: Shop, body: dict[str, str]
) -> None:
    async with client_of(shop.app) as client:
        await person(shop, client, pin="4711")
        answer = await client.post("/login", json=body)
        assert answer.status_code == 401
        assert COOKIE not in answer.cookies


@pytest.mark.parametrize(
    "body",
    [{}, {"name": "Rui"}, {"token": "x", "password": "y"}, {"token": "x", "name": "Rui"},
     {"name": "Rui", "password": "x", "pin": "1"}, {"name": "Rui", "pin": "1", "code": "c"}],
)  # fmt: skip
async def test_two_ways_at_once_or_none_are_refused(shop: Shop, body: dict[str, str]) -> None:
    async with client_of(shop.app) as client:
        assert (await client.post("/login", json=body)).status_code == 422


async def test_guessing_gets_slower_and_slower(shop: Shop) -> None:
    async with client_of(shop.app) as client:
        await person(shop, client)
        wrong = {"name": "Rui", "password": "x" * 10}
        answers = [(await client.post("/login", json=wrong)).status_code for _ in range(7)]
        assert answers == [401] * 5 + [429] * 2
        waits = []
        for _ in range(12):
            late = await client.post("/login", json=wrong)
            assert late.status_code == 429
            waits.append(int(late.headers["Retry-After"]))
            shop.clock.advance(waits[-1])
            assert (await client.post("/login", json=wrong)).status_code == 401
        assert waits == [1, 2, 4, 8, 16, 32, 64, 128, 256, 512, 900, 900]
        right = {"name": "Rui", "password": "a long enough one"}
        assert (await client.post("/login", json=right)).status_code == 429
        shop.clock.advance(900)
        assert (await client.post("/login", json=right)).status_code == 200
        assert (await client.post("/login", json=wrong)).status_code == 401


async def test_a_pin_is_good_on_a_shared_tablet_only_and_for_an_hour(shop: Shop) -> None:
    async with client_of(shop.app) as client:
        await person(shop, client, pin="4711")
        said = {"name": "Rui", "pin": "4711"}
        elsewhere = await client.post("/login", json=said)
        assert elsewhere.json()["type"] == "urn:steadybead:problem:tablet"
        client.cookies.set(TABLET_COOKIE, await tablet(shop, client))
        page = (await client.get("/signin")).text
        assert "At bay 1" in page
        assert "<option>Rui</option>" in page
        assert (await client.post("/login", json=said)).status_code == 200
        assert (await client.get("/api/v1/stations")).status_code == 200
        shop.clock.advance(PIN_SESSION_LENGTH / SECOND + 1)
        assert (await client.get("/api/v1/stations")).status_code == 401
        chief = shop.token(Role.ADMINISTRATOR)
        gone = await client.post("/api/v1/tablets/1/withdraw", headers=chief)
        assert gone.status_code == 204
        assert (await client.post("/login", json=said)).status_code == 401
        again = await client.post("/api/v1/tablets/1/withdraw", headers=chief)
        assert again.status_code == 404


async def test_an_administrator_has_no_pin(shop: Shop) -> None:
    async with client_of(shop.app) as client:
        made = await person(shop, client, role="administrator")
        chief = shop.token(Role.ADMINISTRATOR)
        path = f"/api/v1/people/{made['id']}"
        refused = await client.post(f"{path}/secret", json={"pin": "4711"}, headers=chief)
        assert refused.status_code == 409
        other = await person(shop, client, name="Eva", pin="4711")
        promoted = await client.post(
            f"/api/v1/people/{other['id']}/role", json={"role": "administrator"}, headers=chief
        )
        assert promoted.status_code == 200
        client.cookies.set(TABLET_COOKIE, await tablet(shop, client))
        said = {"name": "Eva", "pin": "4711"}
        assert (await client.post("/login", json=said)).status_code == 401


async def test_a_change_ends_the_sessions(shop: Shop) -> None:
    chief = shop.token(Role.ADMINISTRATOR)
    async with client_of(shop.app) as client:
        made = await person(shop, client)
        path = f"/api/v1/people/{made['id']}"
        for act, body in (
            ("role", {"role": "quality"}),
            ("secret", {"password": "another long one"}),
            ("close", {}),
        ):
            signed = await client.post(
                "/login", json={"name": "Rui", "password": "a long enough one"}
            )
            assert signed.status_code == 200
            assert (await client.get("/api/v1/stations")).status_code == 200
            changed = await client.post(f"{path}/{act}", json=body, headers=chief)
            assert changed.status_code == 200
            assert (await client.get("/api/v1/stations")).status_code == 401
            if act == "secret":
                back = {"password": "a long enough one"}
                await client.post(f"{path}/secret", json=back, headers=chief)
        closed = await client.post("/login", json={"name": "Rui", "password": "a long enough one"})
        assert closed.status_code == 401
        opened = await client.post(f"{path}/open", headers=chief)
        assert (opened.json()["closed"], opened.json()["role"]) == (False, "quality")


async def test_the_last_administrator_stays(shop: Shop) -> None:
    code = shop.services.first.code()
    async with client_of(shop.app) as client:
        signed = await client.post("/login", json={**ANA, "code": code})
        headers = {CSRF_HEADER: signed.json()["csrf"]}
        for act, body in (("close", {}), ("role", {"role": "viewer"})):
            refused = await client.post(f"/api/v1/people/1/{act}", json=body, headers=headers)
            assert refused.status_code == 409
            assert "last administrator" in refused.json()["detail"]
        second = {"name": "Eva", "role": "administrator", "password": "quite another one"}
        assert (
            await client.post("/api/v1/people", json=second, headers=headers)
        ).status_code == 201
        assert (await client.post("/api/v1/people/1/close", headers=headers)).status_code == 200


async def test_names_are_unique_by_their_look(shop: Shop) -> None:
    chief = shop.token(Role.ADMINISTRATOR)
    async with client_of(shop.app) as client:
        await person(shop, client, name="José  Ramos")
        for same in ("josé ramos", "JOSE\u0301 RAMOS"):
            taken = await client.post(
                "/api/v1/people", json={"name": same, "role": "viewer"}, headers=chief
            )
            assert taken.status_code == 409
        listed = (await client.get("/api/v1/people", headers=chief)).json()["items"]
        assert [p["name"] for p in listed] == ["José Ramos"]
        assert "argon2" not in str(listed)


async def test_a_program_is_not_given_a_person_s_name_and_its_token_can_be_withdrawn(
    shop: Shop,
) -> None:
    chief = shop.token(Role.ADMINISTRATOR)
    async with client_of(shop.app) as client:
        await person(shop, client, name="José Ramos")
        for name, status in (("JOSE\u0301  RAMOS", 409), ("report maker", 201)):
            made = await client.post(
                "/api/v1/tokens", json={"name": name, "role": "viewer"}, headers=chief
            )
            assert made.status_code == status
        bearer = {"Authorization": f"Bearer {made.json()['token']}"}
        assert (await client.get("/api/v1/stations", headers=bearer)).status_code == 200
        listed = (await client.get("/api/v1/tokens", headers=chief)).json()["items"]
        (own,) = [t for t in listed if t["name"] == "report maker"]
        assert made.json()["token"] not in str(listed)
        place = f"/api/v1/tokens/{own['id']}/withdraw"
        for status in (204, 404):
            assert (await client.post(place, headers=chief)).status_code == status
        assert (await client.get("/api/v1/stations", headers=bearer)).status_code == 401


async def test_one_changes_ones_own_password_by_the_old_one(shop: Shop) -> None:
    async with client_of(shop.app) as client:
        await person(shop, client)
        signed = await client.post("/login", json={"name": "Rui", "password": "a long enough one"})
        headers = {CSRF_HEADER: signed.json()["csrf"]}
        new = {"current": "wrong wrong", "password": "the next long one"}
        assert (
            await client.post("/api/v1/me/secret", json=new, headers=headers)
        ).status_code == 403
        new["current"] = "a long enough one"
        assert (
            await client.post("/api/v1/me/secret", json=new, headers=headers)
        ).status_code == 200
        assert (await client.get("/api/v1/stations")).status_code == 401
        for password, status in (("a long enough one", 401), ("the next long one", 200)):
            said = {"name": "Rui", "password": password}
            assert (await client.post("/login", json=said)).status_code == status


async def test_every_change_stands_in_the_audit_trail_without_secrets(shop: Shop) -> None:
    async with client_of(shop.app) as client:
        await person(shop, client, pin="4711")
        await client.post("/login", json={"name": "Rui", "password": "a long enough one"})
    trail = shop.records.audit.page(20).items
    assert [e.what for e in trail if e.subject == "Rui"] == [
        "logged in",
        "account pin",
        "account made",
    ]
    assert "4711" not in str(trail)
    assert "long enough" not in str(trail)
    assert {e.via for e in trail if e.what == "logged in"} == {"http password"}


async def test_a_form_without_scripts_is_shown_again_with_the_reason(shop: Shop) -> None:
    async with client_of(shop.app) as client:
        await person(shop, client)
        wrong = await client.post(
            "/login", data={"name": "Rui", "password": "no", "next": "/welds"}
        )
        assert wrong.status_code == 303
        page = await client.get(wrong.headers["location"])
        assert "do not belong together" in page.text
        assert 'value="/welds"' in page.text


async def test_pages_of_people_ask_for_an_administrator(shop: Shop) -> None:
    async with client_of(shop.app) as client:
        assert (await client.get("/people")).status_code == 303
        assert (await client.get("/people", headers=shop.token(Role.QUALITY))).status_code == 403
        await person(shop, client, name="<b>Bea</b>")
        page = await client.get("/people", headers=shop.token(Role.ADMINISTRATOR))
        assert page.status_code == 200
        assert "&lt;b&gt;Bea" in page.text
        assert (await client.get("/account")).status_code == 303
        own = await client.get("/account", headers=shop.token(Role.WELDER))
        assert "You came with a token" in own.text
