"""Signing in by name, the first administrator, people and shared tablets, in a real browser."""

from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from browser_watch import PHONE, WIDE, Opener, Watch, violations
from fakes_pages import ShopServer, open_shop_server

pytestmark = pytest.mark.chromium
PASSWORD = "four words in a row"  # noqa: S105
NAME = '[name="name"]'


@pytest.fixture
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ShopServer]:
    """A shop that asks for a login, as after the first start of `run`."""
    with open_shop_server(tmp_path_factory.mktemp("shop"), read=False, demo=False) as running:
        for row in running.shop.records.access.tokens():
            by = row.actor
            running.shop.records.access.revoke_token(row.id, by, row.created + 1, "test")
        yield running


def accessible(page: Page) -> None:
    width = page.evaluate("document.documentElement.scrollWidth")
    assert page.viewport_size is not None
    assert width <= page.viewport_size["width"]
    assert violations(page) == []


def begin(opener: Opener, server: ShopServer, **options: Any) -> Page:
    """Make the first administrator, as the console's address lets one."""
    page = opener(f"/first?code={server.services.first.code()}", **options)
    accessible(page)
    page.get_by_label("Your name").fill("Ana Reis")
    page.get_by_label("Password").fill(PASSWORD)
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="People", exact=True)).to_be_visible()
    return page


@pytest.mark.parametrize("size", [PHONE, WIDE])
def test_from_the_first_start_to_a_welder_with_a_pin(
    opener: Opener, server: ShopServer, watch: Watch, size: dict[str, int]
) -> None:
    watch.expect("401", "409")
    page = begin(opener, server, viewport=size)
    form = page.locator('[data-form="new"]')
    form.locator(NAME).fill("Rui")
    form.get_by_role("button").click()
    expect(form.locator('[data-part="outcome"]')).to_contain_text("give a password or a PIN")
    expect(form.locator('[data-part="outcome"]')).to_be_in_viewport()
    expect(page.locator(".person-card", has_text="Rui")).to_have_count(0)
    form.get_by_label("PIN").fill("4711")
    form.get_by_role("button").click()
    card = page.locator(".person-card", has_text="Rui")
    expect(card).to_contain_text("no password · PIN")
    accessible(page)
    page.get_by_label("Where this tablet stands").fill("bay 1")
    page.get_by_role("button", name="Make this browser a shared tablet").click()
    page.wait_for_url("**/signin")
    expect(page.get_by_role("heading", name="At bay 1")).to_be_visible()
    accessible(page)
    page.goto(server.url + "/signin")
    page.get_by_label("Who").select_option("Rui")
    page.get_by_label("PIN").fill("4712")
    page.get_by_role("button", name="Sign in with the PIN").click()
    expect(page.locator("#problem")).to_contain_text("Name and PIN do not belong together")
    page.get_by_label("PIN").fill("4711")
    page.keyboard.press("Enter")
    expect(page.locator(".person")).to_contain_text("Rui welder")
    expect(page.get_by_role("link", name="People", exact=True)).to_have_count(0)


def test_an_account_is_changed_and_closed_after_a_second_tap(
    opener: Opener, server: ShopServer, watch: Watch
) -> None:
    watch.expect("409")
    page = begin(opener, server)
    form = page.locator('[data-form="new"]')
    form.locator(NAME).fill("Eva")
    form.get_by_label("Password").fill("another long one")
    form.get_by_role("button").click()
    card = page.locator(".person-card", has_text="Eva")
    card.get_by_text("Change").click()
    card.get_by_label("Role").select_option("quality")
    card.get_by_role("button", name="Give this role").click()
    expect(card).to_contain_text("quality: procedures")
    card.get_by_text("Change").click()
    close = card.get_by_role("button", name="Close the account of Eva")
    close.click()
    expect(close).to_have_text("Sure? Tap once more.")
    close.click()
    expect(card.get_by_role("button", name="Open the account of Eva")).to_be_visible()
    own = page.locator(".person-card", has_text="Ana Reis")
    own.get_by_text("Change").click()
    for _ in range(2):
        own.get_by_role("button", name="Close the account").click()
    expect(page.locator("#outcome")).to_contain_text("last administrator")


def test_one_changes_ones_own_password(opener: Opener, server: ShopServer, watch: Watch) -> None:
    watch.expect("403")
    page = begin(opener, server)
    page.locator(".person").click()
    accessible(page)
    page.get_by_label("Your password until now").fill("not this one")
    page.get_by_label("New password").fill("five words in a row now")
    page.get_by_role("button", name="Change it").click()
    expect(page.locator("#outcome")).to_contain_text("do not belong together")
    page.get_by_label("Your password until now").fill(PASSWORD)
    page.get_by_role("button", name="Change it").click()
    page.wait_for_url("**/signin?next=/account")
    page.get_by_label("Name", exact=True).fill("ana reis")
    page.get_by_label("Password").fill("five words in a row now")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Your account")).to_be_visible()
