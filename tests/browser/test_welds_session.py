"""A session that ends while a page is open, and a sign-in form without scripts."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from browser_watch import Opener, Watch
from fakes_pages import ShopServer, now_us, open_shop_server
from steadybead_api.access import COOKIE

pytestmark = pytest.mark.chromium


@pytest.fixture
def server(tmp_path: Path) -> Iterator[ShopServer]:
    with open_shop_server(tmp_path, read=False, demo=False) as running:
        yield running


def test_an_ended_session_is_said_and_leads_to_the_sign_in(
    opener: Opener, server: ShopServer, watch: Watch
) -> None:
    watch.expect("401", "ERR_", "Failed to load resource")
    secret = server.services.records.access.log_in(server.token, now_us(), "test")
    assert secret is not None
    page = opener("/signin")
    page.context.add_cookies([{"name": COOKIE, "value": secret, "url": server.url}])
    page.goto(server.url + "/")
    expect(page.locator("#link")).to_have_text("Live")
    server.services.records.access.log_out(secret, now_us(), "test")
    server.stop()
    server.start()  # the stream is opened anew, and refused
    expect(page.locator("#link")).to_have_text("Signed out", timeout=20_000)
    banner = page.locator("#stale")
    expect(banner).to_contain_text("You are signed out")
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    banner.get_by_role("link", name="Sign in again").click()
    expect(page).to_have_url(f"{server.url}/signin?next=/")
    assert not [url for url in asked if url.endswith("/api/v1/live")]


def test_a_lost_connection_is_not_called_signed_out(
    opener: Opener, server: ShopServer, watch: Watch
) -> None:
    watch.expect("ERR_", "Failed to load resource")
    secret = server.services.records.access.log_in(server.token, now_us(), "test")
    page = opener("/signin")
    page.context.add_cookies([{"name": COOKIE, "value": secret or "", "url": server.url}])
    page.goto(server.url + "/")
    expect(page.locator("#link")).to_have_text("Live")
    server.stop()
    expect(page.locator("#link")).to_have_text("Connection lost", timeout=20_000)
    expect(page.locator("#stale").get_by_role("link")).not_to_be_visible()
    server.start()
    expect(page.locator("#link")).to_have_text("Live", timeout=20_000)


def test_without_scripts_a_wrong_token_shows_the_form_again(
    browser: Browser, server: ShopServer
) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{server.url}/signin?next=/welds")
    page.locator("#token").fill("wrong")
    page.locator("#token").press("Enter")
    expect(page.get_by_role("alert")).to_be_visible()
    expect(page.locator("#token")).to_be_visible()
    assert "{" not in page.inner_text("body")
    page.locator("#token").fill(server.token)
    page.locator("#token").press("Enter")
    expect(page).to_have_url(f"{server.url}/welds")
    context.close()
