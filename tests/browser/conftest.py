"""A browser, and a watch on what every page of a test does behind the scenes."""

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright

from browser_watch import ARGUMENTS, WIDE, Opener, Watch, found_chromium
from fakes_pages import ShopServer, open_shop_server


def chromium() -> str:
    """Find a Chromium; without one skip aloud, in CI fail."""
    found = found_chromium()
    if found is None and os.environ.get("CI") == "true":
        pytest.fail("no Chromium here: install the package chromium; CI must run these tests")
    if found is None:
        pytest.skip("no Chromium here: install the package chromium to run the browser tests")
    return found


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser a module: while it is open, its loop runs here and no other one can start."""
    path = chromium()
    expect.set_options(timeout=15_000)
    with sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield running
        running.close()


@pytest.fixture
def server(tmp_path: Path) -> Iterator[ShopServer]:
    with open_shop_server(tmp_path) as running:
        yield running


@pytest.fixture
def watch(server: ShopServer) -> Watch:
    return Watch(server.url)


@pytest.fixture
def opener(browser: Browser, server: ShopServer, watch: Watch) -> Iterator[Opener]:
    """Open pages, each in a browser context of its own; check them all at the end."""
    contexts: list[BrowserContext] = []

    def opened(path: str, **options: Any) -> Page:
        settings = {"viewport": WIDE, "color_scheme": "light", **options}
        context = browser.new_context(**settings)
        context.set_default_timeout(15_000)
        contexts.append(context)
        watch.follow(context)
        page = context.new_page()
        page.goto(server.url + path)
        return page

    yield opened
    try:
        watch.check(contexts)
    finally:
        for context in contexts:
            context.close()
